"""Readings of a meter: a user's CSV file by the hour, day or month, placed in the nominal year.

Columns ``time`` and one or more of `COLUMNS`. Each row holds the use from its time on, until the next row: an
hour, a day or a calendar month. Any stretch of any year; what is wrong with a row is named and nothing is
filled in. Rows are matched to the nominal year by date and hour; what falls on 29 February is not compared,
and the computed February of a leap year is that of 28 days times 29/28.
"""

import hashlib
import math
from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.errors import InputError, together
from hpwhsim.io.user_csv import Row, header, read_rows

LITRES = "litres"
COLUMNS = {
    "electricity_kwh": "electricity_kwh",
    "fuel_kwh": "fuel_kwh",
    "heat_pump_heat_kwh": "heat_pump_heat_kwh",
    "heat_to_taps_kwh": "heat_to_taps_kwh",
    "recirculation_loss_kwh": "recirculation_loss_kwh",
    LITRES: "hot_water_litres",
    "hot_water_litres": "hot_water_litres",
}
"""Columns of the file, and the hourly result that each is compared with."""

HOUR, DAY, MONTH = "hour", "day", "month"
MANY = {HOUR: "hourly", DAY: "daily", MONTH: "monthly"}
STANDARD = (
    "local standard time all year, or every time with its offset from UTC, as in 2023-03-12T01:00-06:00"
)
START_OF_MONTH = np.concatenate(([0], np.cumsum(MONTH_DAYS))) * 24
FIRST_YEAR, LAST_YEAR = 1900, 2200
WILD = 1000.0  # times the mean of all others: of a year of hours, a ninth of its use in one of them
NO_FILL = "a gap is not filled: take the longest stretch without one"


class Metered(NamedTuple):
    """Readings, and the hours of the nominal year that they stand for; n rows."""

    file: Path
    sha256: str
    spacing: str  # HOUR, DAY or MONTH
    starts: list[datetime]  # local standard time
    lines: list[int]  # of the file
    columns: dict[str, Array]  # by column of the file, each (n,)
    first: np.ndarray[tuple[int], np.dtype[np.int64]]  # (n,) hour of the nominal year
    hours: np.ndarray[tuple[int], np.dtype[np.int64]]  # (n,) of the nominal year in a row
    scale: Array  # (n,) days of the row over those of the nominal year
    cautions: list[str]

    def of_year(self, hourly: Array) -> Array:
        """What a year of hours (8760,) holds in the times of the rows; (n,)."""
        total = np.concatenate(([0.0], np.cumsum(hourly)))
        return np.asarray((total[self.first + self.hours] - total[self.first]) * self.scale)

    @property
    def years(self) -> list[int]:
        """The calendar years of the rows."""
        return sorted({start.year for start in self.starts})


def read_meter(path: Path, utc_offset_h: float) -> Metered:
    """Read a meter's file.

    Parameters
    ----------
    path : Path
        CSV file.
    utc_offset_h : float
        Of the plant's local standard time, for times that are written with an offset.

    Raises
    ------
    InputError
        A line for each kind of fault, with row and value.
    """
    rows = read_rows(path, ("time", *_columns(path)))
    columns = [name for name in rows[0].cells if name != "time"]
    wrong = _Faults()
    times = _times(rows, wrong)
    values = {name: np.array([_value(row, name, wrong) for row in rows]) for name in columns}
    for name, column in values.items():
        _wild(rows, name, column, wrong)
    wrong.raise_any(path)
    spacing = _spacing(rows, times)
    aware = times[0].tzinfo is not None
    if aware and spacing == HOUR:
        site = timezone(timedelta(hours=utc_offset_h))
        times = [time.astimezone(site) for time in times]
    starts = [time.replace(tzinfo=None) for time in times]
    _in_order(rows, starts, spacing, aware, wrong)
    wrong.raise_any(path)
    return _placed(path, rows, starts, spacing, values)


class _Faults:
    """Faults by kind: the first of each is said in full, and how many follow it."""

    def __init__(self) -> None:
        self.first: dict[str, str] = {}
        self.count: Counter[str] = Counter()

    def add(self, kind: str, error: InputError) -> None:
        self.first.setdefault(kind, str(error))
        self.count[kind] += 1

    def raise_any(self, path: Path) -> None:
        if self.first:
            said = [
                line + (f" (and {self.count[kind] - 1} more such rows)" if self.count[kind] > 1 else "")
                for kind, line in self.first.items()
            ]
            raise together(str(path), said)


def _columns(path: Path) -> Sequence[str]:
    """The columns of readings that the header names; the reader of the file says what else is wrong."""
    names = header(path)
    allowed = f"time and one or more of {', '.join(COLUMNS)}"
    if unknown := [name for name in names if name not in COLUMNS and name != "time"]:
        heat = "heat_kwh" in unknown or "heat" in unknown
        which = "; say which heat: of the heat pump, at the taps or of the loop" if heat else ""
        said = ", ".join(name or "a column without a name" for name in unknown)
        raise InputError(f"{path}: columns: unknown {said}; allowed {allowed}{which}")
    found = [name for name in COLUMNS if name in names]
    if not found and names:
        raise InputError(f"{path}: columns: got time alone; allowed {allowed}")
    if {LITRES, COLUMNS[LITRES]} <= set(found):
        raise InputError(f"{path}: columns: got {LITRES} and {COLUMNS[LITRES]}, which are the same")
    return found or ("electricity_kwh",)


def _times(rows: Sequence[Row], wrong: _Faults) -> list[datetime]:
    found = []
    for row in rows:
        try:
            time = datetime.fromisoformat(row.cells["time"])
            if not FIRST_YEAR <= time.year <= LAST_YEAR:
                raise ValueError(time.year)
            found.append(time)
        except ValueError:
            allowed = f"an ISO time of {FIRST_YEAR} to {LAST_YEAR} such as 2023-01-01T00:00"
            wrong.add("time", row.error("time", allowed))
            found.append(datetime(2001, 1, 1))
    aware = [time.tzinfo is not None for time in found]
    if not wrong.first and any(aware) and not all(aware):
        row = rows[aware.index(not aware[0])]
        wrong.add("offset", row.error("time", "an offset from UTC in all rows or in none"))
    return found


def _value(row: Row, column: str, wrong: _Faults) -> float:
    try:
        value = row.number(column, -np.inf)
    except InputError as error:
        empty = "" if row.cells[column] else f"; {NO_FILL}"
        wrong.add(f"number {column}", InputError(f"{error}{empty}"))
        return 0.0
    if value < 0.0:
        allowed = "zero or more: use does not run backwards (a reset or a swapped sign is not corrected)"
        wrong.add(f"negative {column}", row.error(column, allowed))
    return value


def _wild(rows: Sequence[Row], column: str, values: Array, wrong: _Faults) -> None:
    """A reading far beyond all others: a counter that was reset, or a word of the logger for nothing."""
    for place in np.flatnonzero(values > WILD * values.min(initial=math.inf, where=values > 0.0)).tolist():
        others = float(np.delete(values, place).mean()) if values.size > 1 else 0.0
        if 0.0 < WILD * others < values[place]:
            allowed = f"at most {WILD:g} times the mean of all others, {others:.4g}"
            wrong.add(f"wild {column}", rows[place].error(column, allowed))


def _spacing(rows: Sequence[Row], times: Sequence[datetime]) -> str:
    """Hour, day or month, whichever most rows are apart."""
    if len(rows) < 2:
        raise InputError(f"{rows[0].file}: got one row; allowed two or more, by the hour, day or month")
    apart = Counter((late - early).total_seconds() / 3600.0 for early, late in pairwise(times))
    by = Counter[str]()
    for hours, count in apart.items():
        if hours == 1.0:
            by[HOUR] += count
        elif 23.0 <= hours <= 25.0:  # a day of civil time on which clocks change
            by[DAY] += count
        elif 28.0 * 24.0 - 1.0 <= hours <= 31.0 * 24.0 + 1.0:
            by[MONTH] += count
    if not by or sum(by.values()) < 0.5 * (len(rows) - 1):
        hours, count = apart.most_common(1)[0]
        raise InputError(
            f"{rows[0].file}: got rows that are mostly {hours:g} h apart ({count} of {len(rows) - 1}); "
            "allowed one row an hour, a day or a calendar month"
        )
    return by.most_common(1)[0][0]


def _next(start: datetime, spacing: str) -> datetime:
    if spacing == MONTH:
        return (start.replace(day=1) + timedelta(days=32)).replace(day=1)
    return start + timedelta(hours=1 if spacing == HOUR else 24)


def _in_order(
    rows: Sequence[Row], starts: Sequence[datetime], spacing: str, aware: bool, wrong: _Faults
) -> None:
    """Name every row that does not start where the last one ended."""
    for row, start in zip(rows, starts, strict=True):
        if start.minute or start.second or start.microsecond:
            wrong.add("begin", row.error("time", f"{MANY[spacing]} rows that start on the full hour"))
        elif spacing != HOUR and start.hour:
            wrong.add("begin", row.error("time", f"{MANY[spacing]} rows that start at midnight"))
        elif spacing == MONTH and start.day != 1:
            wrong.add("begin", row.error("time", "monthly rows that start on the first day of a month"))
    if wrong.first:
        return
    for before, row, early, start in zip(rows, rows[1:], starts, starts[1:], strict=False):
        due = _next(early, spacing)
        if start == due or (
            spacing != MONTH and (due.month, due.day) == (2, 29) and _passes_leap(due, start)
        ):
            continue
        last = before.cells["time"]
        sunday = not aware and spacing == HOUR and early.weekday() == 6 and early.hour <= 3
        if start == early:
            clock = sunday and early.month in (9, 10, 11, 3, 4)
            if clock:
                said = f"{row.cells['time']!r} twice on a Sunday, as where clocks leave summer time"
                wrong.add("autumn", row.error("time", STANDARD, said))
            else:
                wrong.add("twice", row.error("time", "each time once", f"{row.cells['time']!r} twice"))
        elif start < early:
            said = f"{row.cells['time']!r} after {last!r}"
            wrong.add("order", row.error("time", "rows in the order of time", said))
        elif start < due:
            said = f"{row.cells['time']!r} after {last!r}"
            wrong.add("early", row.error("time", f"one row a {spacing}", said))
        elif sunday and start - due == timedelta(hours=1) and early.month in (3, 4, 9, 10, 11):
            said = f"{row.cells['time']!r} after {last!r} on a Sunday, as where clocks go to summer time"
            wrong.add("spring", row.error("time", STANDARD, said))
        else:
            number = _between(due, start, spacing)
            said = f"{row.cells['time']!r} after {last!r}: {number} {spacing}{'s' * (number > 1)} missing"
            wrong.add("gap", row.error("time", f"no gap ({NO_FILL})", said))


def _passes_leap(due: datetime, start: datetime) -> bool:
    """Whether a file leaves out 29 February, as years of 8760 rows do."""
    return due.hour == 0 and start == due + timedelta(days=1)


def _between(due: datetime, start: datetime, spacing: str) -> int:
    if spacing == MONTH:
        return (start.year - due.year) * 12 + start.month - due.month
    return int((start - due) / timedelta(hours=1 if spacing == HOUR else 24))


def _placed(
    path: Path, rows: Sequence[Row], starts: list[datetime], spacing: str, values: dict[str, Array]
) -> Metered:
    """Rows in the nominal year, those of 29 February left out."""
    leap = np.array([spacing != MONTH and (time.month, time.day) == (2, 29) for time in starts])
    kept = [time for time, out in zip(starts, leap, strict=True) if not out]
    lines = [row.line for row, out in zip(rows, leap, strict=True) if not out]
    first = np.array([int(START_OF_MONTH[t.month - 1]) + 24 * (t.day - 1) + t.hour for t in kept])
    hours = np.full(first.size, 1 if spacing == HOUR else 24)
    scale = np.ones(first.size)
    cautions = []
    if spacing == MONTH:
        hours = np.array([24 * MONTH_DAYS[time.month - 1] for time in kept])
        long = np.array(
            [time.month == 2 and _next(time, MONTH) - time == timedelta(days=29) for time in kept]
        )
        scale[long] = 29.0 / 28.0
        if long.any():
            cautions.append("the computed February of a leap year is that of 28 days times 29/28")
    if leap.any():
        cautions.append(f"29 February is not compared ({int(leap.sum())} rows of the meter)")
    columns = {name: column[~leap] for name, column in values.items()}
    if first.size < 2:
        raise InputError(f"{path}: got no two rows outside of 29 February; allowed two or more")
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    return Metered(path, sha256, spacing, kept, lines, columns, first, hours, scale, cautions)


class Months(NamedTuple):
    """Whole calendar months of readings."""

    names: list[str]
    rows: list[slice]  # of the readings


def whole_months(metered: Metered) -> Months:
    """The calendar months of which every row is there."""
    found = Months([], [])
    begin = 0
    keys = [(time.year, time.month) for time in metered.starts]
    for end in range(1, len(keys) + 1):
        if end < len(keys) and keys[end] == keys[begin]:
            continue
        if int(metered.hours[begin:end].sum()) == 24 * MONTH_DAYS[keys[begin][1] - 1]:
            found.names.append(f"{MONTH_NAMES[keys[begin][1] - 1]} {keys[begin][0]}")
            found.rows.append(slice(begin, end))
        begin = end
    return found


def span_text(metered: Metered) -> str:
    """How many readings from when to when."""
    last = metered.starts[-1]
    form = "%Y-%m-%d %H:%M" if metered.spacing == HOUR else "%Y-%m-%d"
    return (
        f"{len(metered.starts):,} {MANY[metered.spacing]} readings, "
        f"{metered.starts[0].strftime(form)} to {last.strftime(form)}"
    )
