"""Why, in events: hours of backup or of short hot water grouped into unbroken runs, each with its cause."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError

WORST = 10


class Event(NamedTuple):
    """One run of hours."""

    start: int  # its first hour
    length: int  # hours from its first to its last
    hours: Array  # (cause,) time booked to each cause, h
    amount: float  # kWh of backup, or litres delivered short
    cause: int  # to which most of that time is booked; the first of equals
    before: dict[str, float] | None  # each state in the hour before it; None: it begins with the record


class Events(NamedTuple):
    """All runs of a record, in order, and their totals."""

    events: list[Event]
    hours: Array  # (cause,) of the record, h
    amount: float  # of the record, kWh or litres


def find_events(
    seconds: ArrayLike, amount: ArrayLike, states: Mapping[str, ArrayLike], gap: int = 0
) -> Events:
    """Group the hours in which anything is booked into events.

    Parameters
    ----------
    seconds : array_like of float, shape (cause, hour)
        Time of backup, or of short hot water, booked to each cause in each hour. [s]
    amount : array_like of float, shape (hour,)
        What came of it: backup energy [kWh] or volume delivered short [L].
    states : mapping of str to array_like of float or bool, shape (hour,)
        State of source, store and control by name, such as source_c, store_top_c, lock_out; reported for the
        hour before each event.
    gap : int
        Quiet hours at most that do not end a event: a thermostat breaks one cold night into many.

    Returns
    -------
    Events
        Every hour with time or amount lies in one event, so that the events add up to the record.

    Raises
    ------
    OutOfRangeError
        If time or amount is negative or not finite, the shapes do not fit, or the gap is negative.

    Examples
    --------
    >>> seconds, kwh = [[0, 60, 90, 0], [0, 30, 0, 0]], [0, 2.0, 3.0, 0]
    >>> found = find_events(seconds, kwh, {"source_c": [-9.0, -8.0, 1.0, 2.0]})
    >>> [(s.start, s.length, s.amount, s.cause, s.before) for s in found.events]
    [(1, 2, 5.0, 0, {'source_c': -9.0})]
    """
    booked, much = np.asarray(seconds, dtype=np.float64), np.asarray(amount, dtype=np.float64)
    known = {name: np.asarray(values, dtype=np.float64) for name, values in states.items()}
    hours = much.size
    for name, values in {"amount": much, **known}.items():
        if values.shape != (hours,):
            raise OutOfRangeError(f"{name}: got shape {values.shape}; allowed ({hours},)")
    if booked.ndim != 2 or booked.shape[0] == 0 or booked.shape[1] != hours:
        raise OutOfRangeError(f"seconds: got shape {booked.shape}; allowed (cause, {hours})")
    for name, values in (("seconds", booked), ("amount", much)):
        for wrong in np.extract(~((values >= 0.0) & (values < np.inf)), values)[:1]:
            raise OutOfRangeError(f"{name}: got {wrong:g}; allowed 0 or more")
    if gap < 0:
        raise OutOfRangeError(f"gap: got {gap}; allowed 0 or more")
    active = np.flatnonzero((booked > 0.0).any(axis=0) | (much > 0.0))
    events = []
    if active.size > 0:
        for run in np.split(active, np.flatnonzero(np.diff(active) > gap + 1) + 1):
            start, end = int(run[0]), int(run[-1]) + 1
            by_cause = booked[:, start:end].sum(axis=1) / 3600.0
            events.append(
                Event(
                    start=start,
                    length=end - start,
                    hours=by_cause,
                    amount=float(much[start:end].sum()),
                    cause=int(np.argmax(by_cause)),
                    before={k: float(v[start - 1]) for k, v in known.items()} if start > 0 else None,
                )
            )
    return Events(events, booked.sum(axis=1) / 3600.0, float(much.sum()))


def worst(events: Sequence[Event], most: int = WORST) -> list[Event]:
    """The events of greatest amount, worst first; of equals the earlier first."""
    return sorted(events, key=lambda event: (-event.amount, event.start))[:most]
