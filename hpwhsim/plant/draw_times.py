"""When taps run within an hour: to the second where water runs short or is lifted."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel


class DrawTimes(NamedTuple):
    """Draws of every hour as stretches of constant flow, cut at the hours; the same whatever the step."""

    first: NDArray[np.int64]  # (hour + 1,) first stretch of each hour; (1,): draws are even through a part
    until: Array  # (stretch,) its end, s from the start of its hour
    flow: Array  # (stretch,) of water at use temperature, m³/s; 0 while no tap runs


class Window(NamedTuple):
    """A while of an hour, for a walk along its draws."""

    at: int  # stretch that holds its start; -1: the draws are even
    last: int  # last stretch of the hour
    since: float  # s from the start of the hour
    until: float  # the same
    use: float  # water at use temperature where draws are even, m³/s


EVEN = DrawTimes(np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0))
"""Draws that are even through every part of an hour."""


@kernel
def stretch(times: DrawTimes, window: Window, at: int, now: float) -> tuple[float, float, int]:
    """End [s of the hour], flow [m³/s] and next index of the stretch that holds the moment `now`.

    It ends with the window at the latest.
    """
    if at < 0:
        return window.until, window.use, at
    if at < window.last and times.until[at] <= window.until:
        return times.until[at], times.flow[at], at + 1
    return window.until, times.flow[at], at


@kernel
def stretch_at(times: DrawTimes, hour: int, at: int, now: float) -> int:
    """The stretch that holds a moment of an hour [s], looked for from `at` on."""
    at = max(at, times.first[hour])
    last = times.first[hour + 1] - 1
    while at < last and times.until[at] <= now:
        at += 1
    return at


@kernel
def mean_use(times: DrawTimes, window: Window, most: float) -> tuple[float, float]:
    """Mean flow of a window [m³/s], and the end of that which draws `most` at most [s of the hour]."""
    drawn, now, at = 0.0, window.since, window.at
    while now < window.until:
        end, flow, at = stretch(times, window, at, now)
        more = flow * (end - now)
        if drawn + more > most:
            end = now + max((most - drawn) / flow, 1.0)
            drawn += flow * (end - now)
            return drawn / (end - window.since), end
        drawn += more
        now = end
    return drawn / (window.until - window.since), window.until


@kernel
def taps_run(times: DrawTimes, hour: int, since: float, until: float) -> float:
    """Time of an hour's while in which taps run; all of it where draws are even. [s]"""
    if times.first.size == 1:
        return until - since
    run, now, at = 0.0, since, stretch_at(times, hour, 0, since)
    last = times.first[hour + 1] - 1
    while now < until:
        end = min(times.until[at], until) if at < last else until
        if times.flow[at] > 0.0:
            run += end - now
        now = end
        at += 1
    return run
