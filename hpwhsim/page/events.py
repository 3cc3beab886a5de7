"""Events of unmet hot water and of backup: consecutive hours, how much was missing or given, and why."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np

from hpwhsim.account.adequacy import cause_name, time_text
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.results.texts import Exact
from hpwhsim.sections.parts import Part, Table, Text

MOST = 20  # rows of a table
Hourly = Mapping[str, Array]


class Event(NamedTuple):
    """Consecutive hours in which something happens."""

    first: int  # hour of the year
    hours: int
    amount: float  # of what the event is about, summed
    causes: dict[str, float]  # hours by cause, the longest first


def events(amount: Array, hours_by_cause: Mapping[str, Array]) -> list[Event]:
    """Events of a series, the largest first; of equal ones the earlier.

    Parameters
    ----------
    amount : ndarray, shape (8760,)
        What there is in each hour; an event is a run of hours above 0.
    hours_by_cause : mapping of str to ndarray, shape (8760,)
        Hours booked to each cause.
    """
    edges = np.flatnonzero(np.diff(np.r_[False, amount > 0.0, False].astype(np.int8)))
    found = []
    for first, end in edges.reshape(-1, 2).tolist():
        causes = {name: float(row[first:end].sum()) for name, row in hours_by_cause.items()}
        ordered = {name: causes[name] for name in sorted(causes, key=lambda n: (-causes[n], n))}
        some = {name: hours for name, hours in ordered.items() if hours > 0.0}
        found.append(Event(first, end - first, float(amount[first:end].sum()), some))
    return sorted(found, key=lambda one: (-one.amount, one.first))


def when(hour: int) -> str:
    """An hour of the nominal year as readers write it.

    Examples
    --------
    >>> when(31)
    '2 Jan, 07:00'
    """
    at = datetime(2001, 1, 1) + timedelta(hours=hour)
    return f"{at.day} {MONTH_NAMES[at.month - 1]}, {at:%H:%M}"


def event_parts(hourly: Hourly) -> list[Part]:
    """Tables of the largest events of unmet hot water and of backup; a sentence where there are none."""
    parts: list[Part] = []
    for prefix, name, key in (
        ("short_hours.", "unmet hot water", "short_litres"),
        ("backup_hours.", "backup", "backup_heat_kwh"),
    ):
        by_cause = {k.removeprefix(prefix): v for k, v in hourly.items() if k.startswith(prefix)}
        found = events(hourly.get(key, np.zeros(HOURS)), by_cause)
        if not found:
            parts.append(Text(f"No event of {name} in the year."))
            continue
        rows = []
        for one in found[:MOST]:
            causes = ", ".join(
                f"{cause_name(cause)} {time_text(hours)}" for cause, hours in one.causes.items()
            )
            rows.append((when(one.first), str(one.hours), _exact(one.amount, key), causes))
        if rest := found[MOST:]:  # so that the list adds up to the year
            amount = _exact(sum(one.amount for one in rest), key)
            rows.append((f"the other {len(rest)}", str(sum(one.hours for one in rest)), amount, ""))
        count = f"the {MOST} largest of {len(found)}" if len(found) > MOST else str(len(found))
        unit = "L" if key == "short_litres" else "kWh"
        heads = ("start", "hours, consecutive", f"{'volume' if unit == 'L' else 'heat'} [{unit}]", "causes")
        parts.append(Table(heads, rows, "lrrl", f"Events of {name}: {count}"))
    return parts


def _exact(amount: float, key: str) -> Exact:
    """An amount as it is read, of which the page knows the value."""
    return Exact(f"{amount:,.0f}" if amount >= 100.0 else f"{amount:.3g}", amount, key)
