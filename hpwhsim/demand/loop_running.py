"""When the loop's pump runs: heat that the plant gives and the loop loses over the day; crossover.

Water runs through the loop as a plug and cools towards the air while it moves and while it stands: after s
seconds in the loop ``exp(-s/tau)`` is left of the excess that it came with; tau is the loop's cooling time.
When the pump starts again, what stood in the loop comes back to the plant first, until hot water has run
through: that is the reheating of water and copper. The plant gives, at each moment of running::

    rho c flow (supply - return)

and the heat lost to the air is that less what the loop gains. Over a day that repeats both are the same.

A running share between 0 and 1 is taken as that share of the flow without a pause, as of a pump that starts
and stops often within the hour. Draws, which bring fresh hot water to the supply pipes, are left out.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.arrays import Array
from hpwhsim.demand.loop_pipes import RHO_CP
from hpwhsim.demand.recirculation import HotLoop
from hpwhsim.errors import OutOfRangeError

DAY = 86400.0  # s
SHORTEST = 1e-6  # s of full flow; shorter stretches are rounding
FORGOTTEN = 50.0  # cooling times after which nothing is left of an excess


class Profile(NamedTuple):
    """A day of the loop that repeats, each (24,) by hour from midnight."""

    running: Array  # share of the time that the pump runs
    heat: Array  # from the plant, W
    lost: Array  # to the air around the pipes, W
    back: Array  # water coming back, mean of what flows; NaN while none does, °C
    coldest: Array  # lowest at the loop's end, standing or running, °C


class Crossover(NamedTuple):
    """What cold water that leaks into the loop does."""

    back: float  # water coming back to the plant, °C
    heat: float  # more from the plant, W
    cautions: tuple[str, ...]


def daily_profile(loop: HotLoop, running: ArrayLike) -> Profile:
    """Heat of the loop by hour for a pump that runs by the clock.

    Parameters
    ----------
    loop : HotLoop
        At its running temperatures.
    running : array_like of float or bool, shape (24 * n,)
        Share of the time that the pump runs in equal parts of the day from midnight, 0 to 1.

    Returns
    -------
    Profile
        Without any running the loop is as warm as the air, and gives and takes nothing.

    Raises
    ------
    OutOfRangeError
        If the parts are not whole parts of the hours, or a share is NaN or not 0 to 1.

    Examples
    --------
    >>> from hpwhsim.demand.recirculation import loop_of_watts
    >>> loop = loop_of_watts(2000.0, 60.0, 55.0, 20.0)
    >>> by_day = daily_profile(loop, [0] * 6 + [1] * 16 + [0] * 2)
    >>> by_day.heat[[5, 6, 7, 12, 22]].round()
    array([   0., 6578., 2000., 2000.,    0.])
    >>> round(by_day.heat.mean()), round(by_day.lost.mean()), round(float(by_day.coldest.min()), 1)
    (1524, 1524, 21.5)
    """
    share = np.asarray(running, dtype=np.float64)
    if share.ndim != 1 or share.size == 0 or share.size % 24:
        raise OutOfRangeError(
            f"running of the loop: got shape {share.shape}; allowed (24,) or whole multiples"
        )
    if not np.all((share >= 0.0) & (share <= 1.0)):  # NaN fails this too
        raise OutOfRangeError("running of the loop: got a share that is not 0 to 1")
    hourly = share.reshape(24, -1).mean(axis=1)
    excess, tau, passage = loop.supply - loop.ambient, loop.cooling_time, loop.passage
    full = RHO_CP * loop.flow * excess  # W, of water that would come back as cold as the air
    edges = np.linspace(0.0, DAY, share.size + 1)
    ran = np.concatenate(([0.0], np.cumsum(share))) * (DAY / share.size)  # s of full flow, at the edges
    total = float(ran[-1])
    if total <= SHORTEST:
        no_back, cold = np.full(24, np.nan), np.full(24, loop.ambient)
        return Profile(hourly, np.zeros(24), np.zeros(24), no_back, cold)

    def clock(low: Array, high: Array) -> tuple[Array, Array, NDArray[np.int64]]:
        """Time [s] at which flow number `low` and `high` [s] pass the plant, and the part of the day.

        Each stretch must lie within one part; days before and after are those before and after 0 to `total`.
        """
        middle = 0.5 * (low + high)
        lap = np.floor(middle / total)
        part = np.clip(np.searchsorted(ran, middle - lap * total, side="right") - 1, 0, share.size - 1)
        first = edges[part] + lap * DAY
        done = ran[part] + lap * total
        return first + (low - done) / share[part], first + (high - done) / share[part], part

    # what leaves the loop in a day, in stretches over which its entry and its exit each lie in one part
    low, high = _stretches(np.concatenate((ran, (ran + passage) % total)), 0.0, total)
    out_low, out_high, part = clock(low, high)
    in_low, in_high, _ = clock(low - passage, high - passage)
    age_low, age_high = out_low - in_low, out_high - in_high
    hour = part // (share.size // 24)
    given = (high - low) * (1.0 - _mean_left(age_low / tau, age_high / tau))
    heat = np.asarray(np.bincount(hour, weights=given, minlength=24), dtype=np.float64) * full / 3600.0

    # what the loop holds at the hours, as flow that has not left yet
    laps = int(min(passage / total, FORGOTTEN * tau / DAY)) + 1
    knots = (ran + total * np.arange(-laps, 1)[:, np.newaxis]).ravel()
    at_hours = ran[:: share.size // 24]
    held = np.empty(25)
    for i, now in enumerate(at_hours):
        start, end = _stretches(knots, max(now - passage, -laps * total), now)
        in_start, in_end, _ = clock(start, end)
        time = 3600.0 * i
        held[i] = np.sum((end - start) * _mean_left((time - in_start) / tau, (time - in_end) / tau))
    lost = heat - full * np.diff(held) / 3600.0

    # the oldest water at the end of the loop: as it starts to flow, or at the end of an hour
    oldest = np.zeros(24)
    np.maximum.at(oldest, hour, np.maximum(age_low, age_high))
    last = np.searchsorted(high, at_hours[1:] + SHORTEST, side="right") - 1  # -1: it left the day before
    waited = 3600.0 * np.arange(1, 25) - out_high[last] + np.where(last < 0, DAY, 0.0)
    oldest = np.maximum(oldest, age_high[last] + waited)

    back = np.full(24, np.nan)
    flowing = hourly > 0.0
    back[flowing] = loop.supply - heat[flowing] / (RHO_CP * loop.flow * hourly[flowing])
    return Profile(hourly, heat, lost, back, loop.ambient + excess * np.exp(-oldest / tau))


def aquastat_profile(loop: HotLoop, start: float, stop: float) -> Profile:
    """Heat of the loop where a thermostat on the return pipe runs the pump, the same in every hour.

    The pump starts when the end of the loop has cooled to `start`. Water as cold as that comes back until hot
    water has run through; then the end jumps to the running loop's temperature and the pump stops. If `stop`
    is above that, it never does.

    Parameters
    ----------
    loop : HotLoop
        At its running temperatures.
    start, stop : float
        Of the return pipe. [°C]

    Raises
    ------
    OutOfRangeError
        If not ambient < start < stop.

    Notes
    -----
    In New York buildings 110 degF with a band of 5 degF cut the loop's penalty by about 40 % (Goldner, Home
    Energy, Nov/Dec 1999). This cuts less, because draws that keep the end warm are left out.

    Examples
    --------
    >>> from hpwhsim.demand.recirculation import loop_of_watts
    >>> found = aquastat_profile(loop_of_watts(2000.0, 60.0, 55.0, 20.0), 43.3, 46.1)
    >>> round(float(found.running[0]), 3), round(found.heat[0])
    (0.247, 1651)
    """
    if not loop.ambient < start < stop:
        raise OutOfRangeError(
            f"thermostat of the loop: got {start:g} to {stop:g} degC; allowed above the air around the pipes "
            f"({loop.ambient:g} degC), the start below the stop"
        )
    if stop > loop.back:
        return daily_profile(loop, np.ones(24))
    cycle = loop.cooling_time * math.log((loop.supply - loop.ambient) / (start - loop.ambient))
    running = loop.passage / cycle
    heat = np.full(24, RHO_CP * loop.flow * running * (loop.supply - start))
    at_start = np.full(24, start)
    return Profile(np.full(24, running), heat, heat, at_start, at_start)


def crossover(loop: HotLoop, leak: float, cold: float) -> Crossover:
    """What water that crosses between hot and cold pipes does to a running loop.

    As much hot water leaves the loop into cold pipes as cold water enters it: through single-lever or
    thermostatic valves that are open on both sides, hoses shut at their end, worn cartridges, missing check
    valves. The hot water leaves as hot as the plant sends it and none of it is used, which is the worst case;
    the loss of the loop itself is taken as before.

    Parameters
    ----------
    loop : HotLoop
        Without the leak.
    leak : float
        Cold water that enters the loop. [m³/s]
    cold : float
        Its temperature. [°C]

    Raises
    ------
    OutOfRangeError
        If the leak is not 0 to below the loop's flow, or the cold water is not below the return.

    Examples
    --------
    Twenty litres an hour in a loop that returns at 55 °C:

    >>> from hpwhsim.demand.recirculation import loop_of_watts
    >>> found = crossover(loop_of_watts(2000.0, 60.0, 55.0, 20.0), 20.0 / 3.6e6, 12.0)
    >>> round(found.back, 1), round(found.heat)
    (52.2, 1102)
    """
    if not (0.0 <= leak < loop.flow and cold < loop.back):
        raise OutOfRangeError(
            f"recirculation.crossover: got {3.6e6 * leak:g} L/h of {cold:g} degC; allowed 0 to below the "
            f"loop's flow ({3.6e6 * loop.flow:.0f} L/h), colder than its return ({loop.back:.1f} degC)"
        )
    heat = RHO_CP * leak * (loop.supply - cold)
    back = loop.back - leak / loop.flow * (loop.supply - cold)
    if leak == 0.0:
        return Crossover(back, heat, ())
    said = (
        f"crossover: {3.6e6 * leak:.0f} L/h of cold water in the loop bring it back {loop.back - back:.1f} K "
        f"colder and take {heat / 1e3:.2f} kW more heat; what else it does at the taps (water too cold or "
        "suddenly too hot) is not counted",
        "crossover: warm water in cold pipes and a cooler loop both favour Legionella; tracing and mending "
        "it, check valves and tempering valves are for licensed practice under local codes",
    )
    return Crossover(back, heat, said)


def _stretches(knots: Array, low: float, high: float) -> tuple[Array, Array]:
    """Starts and ends of what the knots cut `low` to `high` into."""
    inside = np.unique(np.concatenate(([low, high], knots[(knots > low) & (knots < high)])))
    long = np.diff(inside) > SHORTEST
    return inside[:-1][long], inside[1:][long]


def _mean_left(first: Array, last: Array) -> Array:
    """Mean of exp(-x) while x runs evenly from `first` to `last`."""
    low, span = np.minimum(first, last), np.abs(last - first)
    safe = np.maximum(span, 1e-12)
    return np.asarray(np.exp(-low) * np.where(span > 1e-12, -np.expm1(-safe) / safe, 1.0))
