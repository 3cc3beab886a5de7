"""When taps run within an hour: the march reads the draws of a part of a step to the second."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.kernel import kernel

Array = NDArray[np.float64]


class DrawTimes(NamedTuple):
    """Draws of every hour as stretches of constant flow, cut at the hours; the same whatever the step."""

    first: NDArray[np.int64]  # (hour + 1,) first stretch of each hour; (1,): draws are even through a step
    until: Array  # (stretch,) its end, s from the start of its hour
    flow: Array  # (stretch,) of water at use temperature, m³/s; 0 while no tap runs


class Window(NamedTuple):
    """A part of a step, for a walk along its draws."""

    hour: int
    at: int  # stretch that holds its start
    since: float  # s from the start of the hour
    until: float  # the same
    use: float  # water at use temperature where draws are even, cells


EVEN = DrawTimes(np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0))
"""Draws that are even through every step."""


@kernel
def stretch(times: DrawTimes, window: Window, at: int, now: float, cell: float) -> tuple[float, float, int]:
    """End [s of the hour], flow [cells/s] and next index of the stretch that holds the moment `now`.

    It ends with the window at the latest. `cell` is the volume of a cell. [m³]
    """
    if times.first.size == 1:
        return window.until, window.use / (window.until - window.since), at
    end = window.until
    if at < times.first[window.hour + 1] - 1 and times.until[at] <= end:
        return times.until[at], times.flow[at] / cell, at + 1
    return end, times.flow[at] / cell, at


@kernel
def drawn_in(times: DrawTimes, window: Window, cell: float) -> tuple[float, int]:
    """Use in the window [cells], and the stretch that holds its end."""
    if times.first.size == 1:
        return window.use, window.at
    use = 0.0
    at, now = window.at, window.since
    while now < window.until:
        end, flow, at = stretch(times, window, at, now, cell)
        use += flow * (end - now)
        now = end
    return use, at


@kernel
def last_of(times: DrawTimes, window: Window, cell: float, use: float, part: float) -> float:
    """Time that taps run for the last `part` of the window's `use`, both in cells. [s]

    The store gives its hottest water first, so that the water that is short is the last that is drawn.
    """
    before = use - part
    seconds = taken = 0.0
    at, now = window.at, window.since
    while now < window.until:
        end, flow, at = stretch(times, window, at, now, cell)
        if flow > 0.0:
            more = flow * (end - now)
            share = min((taken + more - before) / more, 1.0)
            if share > 0.0:
                seconds += share * (end - now)
            taken += more
        now = end
    return seconds
