"""What a tempering valve at the plant could not do: too little flow, too much, or too little difference."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Flags


class ValveYear(NamedTuple):
    """Hours of the year in which the valve was outside its limits, (hour,)."""

    setpoint_c: float
    uncontrolled: Flags  # taps drew, and less than its least flow passed: water as hot as the store can pass
    over: Flags  # more than its most flow was asked for
    starved: Flags  # taps drew, and hot water was at some time too cold for it to hold its setpoint


def valve_year(
    use_m3: ArrayLike,
    mains_c: ArrayLike,
    hot_c: ArrayLike,
    *,
    step_seconds: float,
    use_c: float,
    setpoint_c: float,
    difference_k: float,
    loop_flow: ArrayLike,
    flow_m3s: ArrayLike | None = None,
    hour_of_flow: ArrayLike | None = None,
    least_flow: float | None,
    most_flow: float | None,
) -> ValveYear:
    """Hold the flows of a year against the limits of the valve.

    Parameters
    ----------
    use_m3 : array_like of float, shape (step,)
        Water at use temperature drawn in each step. [m³]
    mains_c, hot_c : array_like of float, shape (hour,)
        Cold water, and the coldest hot water that the store gave. [°C]
    step_seconds : float
        Length of a step. [s]
    use_c, setpoint_c : float
        Use temperature, and the setpoint of the valve, at least that. [°C]
    difference_k : float
        Least hot water above the setpoint with which it holds it. [K]
    loop_flow : array_like of float, shape (24,)
        What a loop sends through the valve beside the draws, by hour of the day. [m³/s]
    flow_m3s, hour_of_flow : array_like, shape (stretch,), or None
        Flows at use temperature while they run [m³/s], and the hour of each; None: the draws of a step are
        even through it.
    least_flow, most_flow : float or None
        Limits of the valve; None: it has none. [m³/s]

    Notes
    -----
    The taps mix water of the valve's setpoint down to use temperature, so that less than the use passes it.
    """
    mains = np.asarray(mains_c, dtype=np.float64)
    if flow_m3s is None or hour_of_flow is None:
        use = np.asarray(use_m3, dtype=np.float64) / step_seconds
        hour = np.repeat(np.arange(mains.size), use.size // mains.size)
    else:
        use, hour = np.asarray(flow_m3s, dtype=np.float64), np.asarray(hour_of_flow, dtype=np.int64)
    share = np.clip((use_c - mains) / np.maximum(setpoint_c - mains, 1e-6), 0.0, 1.0)
    loop = np.resize(np.asarray(loop_flow, dtype=np.float64), mains.size)
    through = use * share[hour] + loop[hour]
    drawing = (use > 0.0) & (share[hour] > 0.0)

    def any_of(flags: Flags) -> Flags:
        return np.bincount(hour, weights=flags, minlength=mains.size) > 0.0

    never = np.zeros(mains.size, dtype=np.bool_)
    low = never if least_flow is None else any_of(drawing & (through < least_flow))
    high = never if most_flow is None else any_of(through > most_flow)
    starved = any_of(drawing) & (np.asarray(hot_c) < setpoint_c + difference_k)
    return ValveYear(setpoint_c, low, high, starved)


def cautions(found: ValveYear) -> list[str]:
    """Cautions on a valve outside its limits."""
    said = []
    if found.uncontrolled.any():
        said.append(
            f"scald: in {int(found.uncontrolled.sum())} h the draw is below the minimum flow of the "
            "tempering valve, and water as hot as the store may pass: its size and its place are for "
            "licensed practice"
        )
    if found.over.any():
        said.append(
            f"in {int(found.over.sum())} h the draw is above the maximum flow of the tempering valve: its "
            "pressure drop is not counted"
        )
    if found.starved.any():
        said.append(
            f"in {int(found.starved.sum())} h the hot water is at some time too cold for the tempering valve "
            f"to hold {found.setpoint_c:.1f} degC"
        )
    return said
