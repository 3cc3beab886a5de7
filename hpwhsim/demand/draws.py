"""Draws of hot water in each step: an even flow through each hour, or the single taps of every household."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.demand.households import PEOPLE_PER_APARTMENT, Events, building_events
from hpwhsim.demand.patterns import HOURS, Pattern
from hpwhsim.errors import OutOfRangeError

Array = NDArray[np.float64]


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


def random_draws(
    apartments: int,
    litres_per_apartment_day: float,
    pattern: Pattern,
    steps_per_hour: int,
    seed: int,
    people_per_apartment: float = PEOPLE_PER_APARTMENT,
) -> Array:
    """Litres drawn in each step of the year by single taps, from a seed.

    The events lie in time to the second and do not depend on the step: sums over longer steps agree exactly.
    An apartment's events come from its own stream (seed, apartment), so they stay when apartments are added,
    apart from the one factor that brings the year's total to the stated use (see `building_events`).

    Parameters
    ----------
    apartments : int
        Number of apartments, 1 or more.
    litres_per_apartment_day : float
        Mean daily use of an apartment at use temperature. [L]
    pattern : Pattern
        Shares of the hours, weekday and weekend, and month factors.
    steps_per_hour : int
        Steps in an hour; must divide 3600.
    seed : int
        0 to 2**32 - 1.
    people_per_apartment : float
        Mean occupants, 1 to 6.

    Returns
    -------
    ndarray of float64, shape (8760 * steps_per_hour,)
        Litres drawn in each step, at use temperature. [L]

    Raises
    ------
    OutOfRangeError
        If an argument is out of its range.

    Examples
    --------
    >>> from hpwhsim.demand.patterns import named_pattern
    >>> draws = random_draws(2, 150.0, named_pattern("apartments"), 12, seed=1)
    >>> draws.shape, round(float(draws.sum()) / 365 / 2, 3)
    ((105120,), 150.0)
    """
    _check_steps(steps_per_hour)
    events = building_events(apartments, litres_per_apartment_day, pattern, seed, people_per_apartment)
    return bin_events(events, steps_per_hour)


def bin_events(events: Events, steps_per_hour: int) -> Array:
    """Litres in each step, shape (8760 * steps_per_hour,): each event's flow is constant over its duration.

    Exact: flows are whole multiples of a quantum, so steps of any length sum to the same hour, bit for bit.
    The quantum is a power of two, about 1e-12 of the year's litres per second; no sum here passes 2**52.
    """
    _check_steps(steps_per_hour)
    step = 3600 // steps_per_hour
    n = HOURS * steps_per_hour
    # An event is a flow switched on at its start and off at its end. Each switch fills what is left of its
    # own step; the running sum of the switches fills the steps after it.
    total = float(events.litres.sum())
    quantum = 2.0 ** (math.ceil(math.log2(total)) - 40) if total > 0.0 else 1.0
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


def _check_steps(steps_per_hour: int) -> None:
    whole = isinstance(steps_per_hour, int | np.integer) and not isinstance(steps_per_hour, bool)
    if not whole or steps_per_hour < 1 or 3600 % steps_per_hour:
        raise OutOfRangeError(
            f"run.steps_per_hour must divide 3600 s into whole seconds, got {steps_per_hour!r}"
        )
