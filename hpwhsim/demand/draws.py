"""Draws of hot water in each step: an even flow through each hour, or the single taps of every household."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.demand.households import YEAR, Events
from hpwhsim.errors import OutOfRangeError

AT_ONCE = 2**21  # draws: bounds the memory


def smooth_draws(hourly: ArrayLike, steps_per_hour: int) -> Array:
    """Each hour's litres spread evenly over its steps.

    Parameters
    ----------
    hourly : array_like of float, shape (8760,), or (8760 * n,) for records of n rows per hour
        Litres used in each row. [L]
    steps_per_hour : int
        Steps of the march in an hour; a multiple or a divisor of n.

    Returns
    -------
    ndarray of float64, shape (8760 * steps_per_hour,)
        Litres drawn in each step. [L]

    Raises
    ------
    OutOfRangeError
        If the record is not a whole year, a value is negative or NaN, or the steps do not fit its rows.

    Examples
    --------
    >>> smooth_draws(np.full(8760, 12.0), 4)[:4]
    array([3., 3., 3., 3.])
    """
    record = np.asarray(hourly, dtype=np.float64)
    if record.ndim != 1 or record.size == 0 or record.size % HOURS:
        raise OutOfRangeError(f"hourly use must have 8760 values or a multiple, got shape {record.shape}")
    if not np.all(np.isfinite(record) & (record >= 0.0)):
        raise OutOfRangeError("hourly use must be zero or more in every hour, got a negative value or NaN")
    _check_steps(steps_per_hour)
    rows = record.size // HOURS
    if steps_per_hour % rows == 0:
        parts = steps_per_hour // rows
        return np.repeat(record / parts, parts)
    if rows % steps_per_hour == 0:
        return np.asarray(record.reshape(-1, rows // steps_per_hour).sum(axis=1))
    raise OutOfRangeError(
        f"run.steps_per_hour must be a multiple or a divisor of the record's {rows} rows per hour, "
        f"got {steps_per_hour}"
    )


def bin_events(events: Events, steps_per_hour: int) -> Array:
    """Litres in each step, shape (8760 * steps_per_hour,): each event's flow is constant over its duration.

    Exact: flows are whole multiples of a quantum, so steps of any length sum to the same hour, bit for bit.
    The quantum is a power of two, so small that it moves the year's litres by less than 1e-8.
    """
    _check_steps(steps_per_hour)
    step = 3600 // steps_per_hour
    n = HOURS * steps_per_hour
    # An event is a flow switched on at its start and off at its end. Each switch fills what is left of its
    # own step; the running sum of the switches fills the steps after it.
    quantum = _quantum(events)
    longest = int(events.duration.max(initial=0)) // step + 2
    filled = np.zeros(n + longest)
    running = np.zeros(n + longest)
    chunk = max(n, 2**18)  # bounds the memory of a big building
    for first in range(0, events.start.size, chunk):
        part = slice(first, first + chunk)
        flow = np.rint(events.litres[part] / events.duration[part] / quantum)
        for when in (events.start[part], events.start[part] + events.duration[part]):
            at = when // step
            running += np.bincount(at, weights=flow, minlength=n + longest)
            filled += np.bincount(at, weights=flow * (step - when + at * step), minlength=n + longest)
            np.negative(flow, out=flow)
    filled -= running * step
    np.cumsum(running, out=running)
    running *= step
    filled += running
    filled[:longest] += filled[n:]  # past midnight of 31 December: goes on on 1 January
    return filled[:n] * quantum


def _quantum(events: Events) -> float:
    """Flow of which all flows are whole multiples, so that no sum over an hour passes 2**52 of them. [L/s]"""
    if events.start.size == 0:
        return 1.0
    flow = events.litres / events.duration
    ends = (events.start + events.duration) // 3600
    switched = np.bincount(events.start // 3600, weights=flow, minlength=int(ends.max()) + 1)
    switched += np.bincount(ends, weights=flow, minlength=switched.size)
    most = 2.0 * 3600.0 * float(switched.max())
    return 2.0 ** (math.ceil(math.log2(most)) - 51) if most > 0.0 else 1.0


def event_stretches(events: Events) -> tuple[NDArray[np.int64], Array, Array]:
    """The year as stretches of constant flow, cut at the hours: what runs at every second.

    Flows that overlap add. Sums over a stretch are those of `bin_events`, bit for bit.

    Returns
    -------
    first : ndarray of int64, shape (8761,)
        First stretch of each hour.
    until, flow : ndarray of float64, shape (stretch,)
        End of each [s from the start of its hour], and the flow through it [L/s].
    """
    quantum = _quantum(events)
    flow = np.rint(events.litres / events.duration / quantum)
    start, end = events.start, events.start + events.duration
    running = float(flow[end > YEAR].sum())  # past the end of the year: goes on at its start
    end = np.where(end > YEAR, end - YEAR, end)
    untils: list[Array] = []
    flows: list[Array] = []
    counts: list[NDArray[np.int64]] = []
    length = 3600 * -(-HOURS // (1 + start.size // AT_ONCE))
    for low in range(0, YEAR, length):
        high = min(low + length, YEAR)
        on = np.flatnonzero((start >= low) & (start < high))
        off = np.flatnonzero((end >= low) & (end < high))
        marks = np.arange(low, high, 3600)
        when = np.concatenate((start[on], end[off], marks)).astype(np.int64)
        by = np.concatenate((flow[on], -flow[off], np.zeros(marks.size)))
        key = np.sort((when << 32) | np.arange(when.size))  # plain numbers sort faster than their places do
        when, by = key >> 32, by[key & 0xFFFFFFFF]
        at = np.flatnonzero(np.diff(when, prepend=-1))
        change, at = np.add.reduceat(by, at), when[at]
        kept = (change != 0.0) | (at % 3600 == 0)
        at = at[kept]
        sums = running + np.cumsum(change[kept])
        running = float(sums[-1])
        flows.append(sums * quantum)
        after = np.append(at[1:], high)
        untils.append((after - at // 3600 * 3600).astype(np.float64))
        counts.append(np.bincount((at - low) // 3600, minlength=marks.size))
    first = np.concatenate(([0], np.cumsum(np.concatenate(counts))))
    return first, np.concatenate(untils), np.concatenate(flows)


def _check_steps(steps_per_hour: int) -> None:
    whole = isinstance(steps_per_hour, int | np.integer) and not isinstance(steps_per_hour, bool)
    if not whole or steps_per_hour < 1 or 3600 % steps_per_hour:
        raise OutOfRangeError(
            f"run.steps_per_hour must divide 3600 s into whole seconds, got {steps_per_hour!r}"
        )
