"""How much is used and when: patterns of the day, season, week, records of a meter, use by building size."""

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import DAYS, HOURS, MONTH_DAYS
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.io.user_csv import Row, read_rows
from hpwhsim.tables import read_table

MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)  # 0 ... 11 for each day
# The nominal year is 2001: 1 January is a Monday. True on Saturday and Sunday.
WEEKEND = np.arange(DAYS) % 7 >= 5
MOST_LITRES_AN_HOUR = 5000.0  # of a home, which draws no more in a day (hot_water.daily_use_per_apartment)
SUM_TOLERANCE = 1e-3  # of a day's shares: what rounding to three decimals leaves in print
MONTH_TOLERANCE = (
    0.02  # of the mean month factor: a plain mean of 1 is off a mean over days by less than that
)


HANDBOOK_C = (
    49.0  # the handbook's litres, about 120 degF at the fixtures; see tables/demand_by_building_size.csv
)
COLD_C = (58 - 32) / 1.8  # cold water of the tables: 58 degF, 10 CFR 430 Subpart B Appendix E
BY_OTHER_BASIS = (60.0 - COLD_C) / (HANDBOOK_C - COLD_C) - 1.0  # heat, were those litres of 140 degF


class Pattern(NamedTuple):
    """Shares of a day's use by hour, and factors of months and weekend."""

    name: str
    weekday: Array  # shape (24,), sums to 1
    weekend: Array  # shape (24,), sums to 1; Saturday and Sunday
    month: Array  # shape (12,), mean over the days of the year 1
    source: str  # where it comes from and how well it is known
    weekend_factor: float = 1.0  # use of a weekend day over that of a weekday
    basis: str = ""  # whose use it is


def named_pattern(
    name: str, month_factors: Sequence[float] | None = None, weekend_factor: float = 1.0
) -> Pattern:
    """Pattern from the packaged tables.

    Parameters
    ----------
    name : str
        A row of the table ``demand_pattern_sources``.
    month_factors : sequence of 12 floats, optional
        Use of each month over the mean of the year; without it every month has 1 (`season` has those of
        apartments).
    weekend_factor : float
        Use of a day of the weekend over that of a weekday.

    Raises
    ------
    InputError
        If there is no such pattern, or the factors are not 12 numbers with a mean of 1 (within 2 %).

    Examples
    --------
    >>> round(float(named_pattern("apartments").weekday[7]), 3)
    0.079
    """
    known = {row["pattern"]: row for row in read_table("demand_pattern_sources")}
    if name not in known:
        raise InputError(
            f"hot_water.pattern: no pattern named {name!r}; use one of {', '.join(known)} or a CSV file"
        )
    rows = sorted(
        (r for r in read_table("demand_patterns") if r["pattern"] == name), key=lambda r: int(r["hour"])
    )
    weekday = np.array([float(row["weekday"]) for row in rows])
    weekend = np.array([float(row["weekend"]) for row in rows])
    return Pattern(
        name,
        weekday / weekday.sum(),
        weekend / weekend.sum(),
        _months(month_factors),
        f"[{known[name]['source']}]; {known[name]['note']}",
        weekend_factor,
        known[name]["basis"],
    )


def season(southern: bool = False) -> tuple[float, ...]:
    """Use of each month over the mean of the year in apartments, at use temperature.

    Parameters
    ----------
    southern : bool
        South of the equator the season is moved by half a year (common practice, no source).

    References
    ----------
    .. [1] Packaged table ``demand_season``: shape of the SAP 2012 factors, size of Gerin et al. 2014.

    Examples
    --------
    >>> season()[0], season(southern=True)[6]
    (1.092, 1.092)
    """
    months = [float(row["use"]) for row in read_table("demand_season")]
    return tuple(months[6:] + months[:6] if southern else months)


def days_of(pattern: Pattern) -> Array:
    """Use of each day over the mean day, by month and day of the week, shape (365,), mean 1."""
    days = pattern.month[MONTH_OF_DAY] * np.where(WEEKEND, pattern.weekend_factor, 1.0)
    return np.asarray(days / days.mean())


def read_pattern(
    path: str | Path, month_factors: Sequence[float] | None = None, weekend_factor: float = 1.0
) -> Pattern:
    """Pattern from the user's CSV file with the columns ``hour`` (0 ... 23), ``weekday``, ``weekend``.

    Lines that start with ``#`` are comments. Each column must sum to 1 within 0.001 and is then normalised.

    Raises
    ------
    InputError
        If the file cannot be read, a column or an hour is missing, an hour comes twice, or a number is
        negative, not a number, or a column does not sum to 1.
    """
    file = Path(path)
    shares: dict[int, tuple[float, float]] = {}
    for row in read_rows(file, ("hour", "weekday", "weekend")):
        hour = row.number("hour")
        if hour not in range(24) or int(hour) in shares:
            raise row.error("hour", "the whole numbers 0 to 23, each once")
        shares[int(hour)] = row.number("weekday"), row.number("weekend")
    missing = [str(hour) for hour in range(24) if hour not in shares]
    if missing:
        raise InputError(f"{file}: column hour: missing {', '.join(missing)}; allowed each of 0 to 23 once")
    table = np.array([shares[hour] for hour in range(24)])
    for key, total in zip(("weekday", "weekend"), table.sum(axis=0), strict=True):
        if abs(total - 1.0) > SUM_TOLERANCE:
            raise InputError(
                f"{file}: column {key}: got a sum of {total:.4f}; allowed 1 (within {SUM_TOLERANCE})"
            )
    table /= table.sum(axis=0)
    return Pattern(
        file.name,
        table[:, 0].copy(),
        table[:, 1].copy(),
        _months(month_factors),
        f"user's file {file.name}",
        weekend_factor,
        "from a file",
    )


def read_metered(path: str | Path, apartments: int) -> Array:
    """Metered use of one year from the user's CSV file with the columns ``time``, ``litres``.

    Each row holds the litres used from its time on (hour starting, local standard time, ISO format); the
    first is 1 January 00:00. Any year without a leap day; its own weekdays are kept, row by row. Rows shorter
    than an hour are kept as they are if every hour has the same number of them.

    Parameters
    ----------
    path : str or Path
        The file.
    apartments : int
        Homes that the meter serves: none draws more than `MOST_LITRES_AN_HOUR`.

    Returns
    -------
    ndarray of float64, shape (8760 * n,)
        Litres in each row, n rows per hour; `hpwhsim.demand.draws.smooth_draws` takes it as it is. [L]

    Raises
    ------
    InputError
        If a column is missing, a value is missing, negative, no number or beyond the homes, all are 0, or
        the times are not one full year in order; the message names the file, the line and the column.
    """
    file = Path(path)
    rows = read_rows(file, ("time", "litres"))
    times = [_time(row) for row in rows]
    litres = np.array([row.number("litres") for row in rows])
    per_hour, rest = divmod(len(times), HOURS)
    if rest or per_hour == 0 or 3600 % per_hour:
        raise InputError(
            f"{file}: got {len(times)} rows; allowed {HOURS}, or that times a whole number of rows an hour"
        )
    most = MOST_LITRES_AN_HOUR * apartments / per_hour
    for value, row in zip(litres, rows, strict=True):
        if value > most:
            homes = f"{apartments} apartment{'s' if apartments > 1 else ''}"
            allowed = (
                f"at most {most:,g} L of {homes} in 1/{per_hour} h"
                if per_hour > 1
                else (f"at most {most:,g} L of {homes} in an hour")
            )
            raise row.error("litres", f"{allowed}: a reset of the meter, or another unit, reads so")
    # Compared in whole seconds of a year without leap day, so that any year fits the nominal one.
    month_start = np.concatenate(([0], np.cumsum(MONTH_DAYS)))
    step = 3600 // per_hour
    for place, (time, row) in enumerate(zip(times, rows, strict=True)):
        day = int(month_start[time.month - 1]) + time.day - 1
        second = ((day * 24 + time.hour) * 60 + time.minute) * 60 + time.second
        if second != place * step or time.microsecond or time.year != times[0].year:
            raise row.error("time", "rows that each start where the last one ended, from 1 January 00:00")
    if not litres.any():
        raise InputError(
            f"{file}: column litres: got 0 in all {len(rows)} rows; allowed a year in which water is drawn: "
            "a meter that was not connected, or another column, reads so"
        )
    return litres


def _time(row: Row) -> datetime:
    """The time of a row of metered use."""
    try:
        time = datetime.fromisoformat(row.cells["time"])
    except ValueError:
        raise row.error("time", "an ISO time such as 2023-01-01T00:00") from None
    if time.tzinfo is not None:
        raise row.error("time", "local standard time without an offset")
    if (time.month, time.day) == (2, 29):
        raise row.error("time", "a year of 365 days; leave out 29 February")
    return time


def hourly_use(apartments: int, litres_per_apartment_day: float, pattern: Pattern) -> Array:
    """Litres in each hour of the nominal year, shape (8760,), summing to the stated use times 365. [L]

    Parameters
    ----------
    apartments : int
        Number of apartments, 1 or more.
    litres_per_apartment_day : float
        Mean daily use of an apartment. [L]
    pattern : Pattern
        Shares of the hours, factors of months and weekend.

    Raises
    ------
    OutOfRangeError
        If a number is out of range.

    Examples
    --------
    >>> use = hourly_use(20, 150.0, named_pattern("apartments"))
    >>> use.shape, round(float(use.sum()), 3)
    ((8760,), 1095000.0)
    """
    check_building(apartments, litres_per_apartment_day)
    shares = np.where(WEEKEND[:, None], pattern.weekend, pattern.weekday)
    shares = shares * days_of(pattern)[:, None]
    return np.asarray(shares.ravel() * (apartments * litres_per_apartment_day))


def average_day_litres(apartments: int, use_temperature: float = HANDBOOK_C) -> tuple[float, str]:
    """Mean daily use per apartment by building size, and where it comes from.

    Linear between the sizes of the table (our choice), constant outside them. The table is taken as water of
    `HANDBOOK_C`, which is unverified; at another temperature of use as many litres have the same heat above
    cold water of `COLD_C`.

    Returns
    -------
    litres : float
        Litres per apartment and day, at use temperature. [L]
    source : str
        For the list of assumptions.

    References
    ----------
    .. [1] ASHRAE Handbook, HVAC Applications, service water heating (Werden & Spielvogel
       1969); packaged table ``demand_by_building_size``.

    Examples
    --------
    >>> round(average_day_litres(20)[0], 1), round(average_day_litres(20, 60.0)[0], 1)
    (159.0, 120.6)
    """
    check_building(apartments, 0.0)
    rows = read_table("demand_by_building_size")
    sizes = [float(row["apartments"]) for row in rows]
    gallons = [float(row["average_day_gal"]) for row in rows]
    litres = float(np.interp(apartments, sizes, gallons)) * LITRES_PER_GALLON
    source = (
        f"[{rows[0]['source']}]; average day, taken as water of {HANDBOOK_C:g} degC at the fixtures (no "
        f"temperature was found; at 60 degC the heat would be {100.0 * BY_OTHER_BASIS:.0f} % more)"
    )
    if use_temperature != HANDBOOK_C:
        litres *= (HANDBOOK_C - COLD_C) / (use_temperature - COLD_C)
        source += f"; turned to {use_temperature:.4g} degC by heat above cold water of {COLD_C:.1f} degC"
    return litres, source


def check_building(apartments: int, litres_per_apartment_day: float) -> None:
    """Raise `OutOfRangeError` unless there is at least one apartment and the use is zero or more."""
    if isinstance(apartments, bool) or not isinstance(apartments, int | np.integer) or apartments < 1:
        raise OutOfRangeError(f"building.apartments must be a whole number, 1 or more, got {apartments!r}")
    if not (math.isfinite(litres_per_apartment_day) and litres_per_apartment_day >= 0.0):
        raise OutOfRangeError(
            f"hot_water.daily_use_per_apartment must be zero or more, got {litres_per_apartment_day} L"
        )


def _months(factors: Sequence[float] | None) -> Array:
    """Month factors with a mean over the days of 1, shape (12,)."""
    if factors is None:
        return np.ones(12)
    months = np.array(factors, dtype=np.float64)
    if months.shape != (12,) or not np.all(np.isfinite(months) & (months >= 0.0)):
        raise InputError(
            f"hot_water.month_factors: 12 numbers, zero or more, are needed, got {list(factors)}"
        )
    mean = float(months @ MONTH_DAYS) / DAYS
    if abs(mean - 1.0) > MONTH_TOLERANCE:
        raise InputError(
            f"hot_water.month_factors: their mean must be 1 (within {MONTH_TOLERANCE}), got {mean:.3f}"
        )
    return months / mean
