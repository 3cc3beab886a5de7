"""Storage against recovery by the mass curve: the classical answer, to hold the march against.

Draw and recovery are laid side by side as sums over time; the greatest gap between them is the storage that
the day needs (Rippl 1883). The store is perfect here: what it holds is hot, and what it holds is usable.
Draws are in any unit of hot water or heat, litres or kWh alike; storage comes back in the same unit and
recovery is that unit per hour.

Hourly draws hide the peaks inside the hour: give finer steps, or add 10 to 30 minutes of the peak flow.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Ints
from hpwhsim.errors import OutOfRangeError

ROUNDING = 1e-9  # of a record's draw: a recovery that misses by less makes it
REPEATS = 2  # of the record: a deficit that begins before its end is followed into the next one
"""Of still water at 50 °C, m²/s."""


class MassCurve(NamedTuple):
    """Least storage for each recovery; all of shape (m,)."""

    recovery: Array  # at full output, unit of the draw per hour
    storage: Array  # least usable storage, unit of the draw; inf where the draw cannot be made at all
    start: Ints  # first step of the critical period
    end: Ints  # step after its last; beyond the record's end where it runs into the next one
    hours: Array  # of full output in the critical period: minus the slope of storage over recovery


def least_storage(
    draw: ArrayLike, recovery: ArrayLike, output: ArrayLike = 1.0, steps_per_hour: int = 1
) -> MassCurve:
    """Least usable storage of a record that repeats, for one recovery or for many.

    Sequent-peak recursion: the deficit grows by what is drawn over what is recovered, and never falls below
    zero, where the store is full: ``D[t] = max(0, D[t-1] + draw[t] - supply[t])``. Over two repeats of the
    record its highest value is the storage. The curve over recovery is convex and falls with the slope
    ``-hours``.

    Parameters
    ----------
    draw : array_like of float, shape (n,)
        Hot water, or heat, drawn in each step of a day or of a year. [L or kWh]
    recovery : array_like of float, one number or shape (m,)
        Recovery at full output; from running hours h of a day it is the day's draw / h. [L/h or kWh/h]
    output : array_like of float, one number or shape (n,)
        Share of full output that each step allows: 0 where charging is barred, 1 where it is not (a mask of
        permitted steps serves), anything else where capacity follows the source.
    steps_per_hour : int
        Steps in an hour.

    Returns
    -------
    MassCurve
        In the order of `recovery`.

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or the shapes do not fit.

    References
    ----------
    .. [1] W. Rippl, Minutes of Proceedings of the Institution of Civil Engineers 71, 270-278, 1883; the
       method and its recursion were seen in lecture notes that name it.

    Examples
    --------
    >>> curve = least_storage([0.0, 6.0, 0.0, 2.0], [2.0, 3.0, 1.0])
    >>> curve.storage.tolist(), curve.hours.tolist()
    ([4.0, 3.0, inf], [1.0, 1.0, inf])
    """
    draws, shares = _record(draw, output)
    recoveries = np.atleast_1d(_checked("recovery", recovery))
    n = draws.size
    least = least_recovery(draws, shares, steps_per_hour)
    storage, hours = np.full(recoveries.size, np.inf), np.full(recoveries.size, np.inf)
    start, end = np.zeros(recoveries.size, dtype=np.int64), np.zeros(recoveries.size, dtype=np.int64)
    for k, rate in enumerate(recoveries):
        if rate < least * (1.0 - ROUNDING) or np.isinf(least):
            continue
        net = draws - rate * shares / steps_per_hour
        gap = np.concatenate(([0.0], np.cumsum(np.tile(net, REPEATS))))
        deficit = gap - np.minimum.accumulate(gap)  # the recursion, summed up
        last = int(np.argmax(deficit))
        first = int(np.flatnonzero(deficit[: last + 1] == 0.0)[-1])
        storage[k] = deficit[last]
        hours[k] = np.tile(shares, REPEATS)[first:last].sum() / steps_per_hour
        start[k], end[k] = first % n, first % n + last - first
    return MassCurve(recoveries, storage, start, end, hours)


def least_recovery(draw: ArrayLike, output: ArrayLike = 1.0, steps_per_hour: int = 1) -> float:
    """Least recovery that makes the record's draw at all, with any storage.

    Arguments as for `least_storage`. With a bar of b hours a day it is the day's draw / (24 - b).

    Returns
    -------
    float
        Unit of the draw per hour; inf where something is drawn and every step is barred.

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or the shapes do not fit.
    """
    if isinstance(steps_per_hour, bool) or steps_per_hour < 1:
        raise OutOfRangeError(f"steps per hour: got {steps_per_hour}; allowed a whole number, 1 or more")
    draws, shares = _record(draw, output)
    drawn, hours = float(draws.sum()), float(shares.sum()) / steps_per_hour
    if drawn == 0.0:
        return 0.0
    return drawn / hours if hours > 0.0 else np.inf


def _checked(name: str, values: ArrayLike) -> Array:
    """`values` as floats; refuses what is negative or not finite."""
    array = np.asarray(values, dtype=np.float64)
    for wrong in np.extract(~((array >= 0.0) & (array < np.inf)), array)[:1]:
        raise OutOfRangeError(f"{name}: got {wrong:g}; allowed 0 or more")
    return array


def _record(draw: ArrayLike, output: ArrayLike) -> tuple[Array, Array]:
    """Draw and share of output of each step, both (n,)."""
    draws, shares = _checked("draw", draw), _checked("share of output", output)
    if draws.ndim != 1 or draws.size == 0 or shares.shape not in ((), draws.shape):
        raise OutOfRangeError(
            f"draw and share of output: got shapes {draws.shape} and {shares.shape}; allowed one row of "
            "steps, and one share or as many"
        )
    return draws, np.broadcast_to(shares, draws.shape)
