"""Hours of the nominal year by month, kind of day and stretch of the day.

The nominal year is 2001: 1 January is a Monday, 365 days, each stamp the start of its hour in local standard
time. There is no daylight saving: a window of clock time that is meant in summer time is written an hour
earlier. There are no holidays: one that falls on Monday to Friday is a weekday.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.constants import HOURS, MONTH_DAYS
from hpwhsim.errors import OutOfRangeError

QUARTERS = 4 * HOURS
DAY = 1440  # minutes
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ALL_MONTHS = tuple(range(1, 13))

_MONTH_OF_DAY = np.repeat(ALL_MONTHS, MONTH_DAYS)
_WEEKEND = np.arange(365) % 7 >= 5
_DAYS = {"all": np.full(365, True), "weekdays": ~_WEEKEND, "weekends": _WEEKEND}


class When(NamedTuple):
    """A set of hours of the year; without anything said, all of them."""

    months: tuple[int, ...] = ALL_MONTHS  # 1 to 12
    days: str = "all"  # all | weekdays (Monday to Friday) | weekends
    windows: tuple[tuple[int, int], ...] = ()  # start and end, minutes after midnight; empty: the whole day


def mask(when: When, per_hour: int = 1) -> NDArray[np.bool_]:
    """Which steps of the year belong to a set of hours.

    A window whose end is not after its start runs over midnight; what lies after midnight counts to the day
    and month it lies in, so that Friday's night does not reach into Saturday where only weekdays are asked.

    Parameters
    ----------
    when : When
        The hours.
    per_hour : int
        Steps in an hour: 1, or 4 for quarters of an hour.

    Returns
    -------
    ndarray of bool, shape (8760 * per_hour,)

    Raises
    ------
    OutOfRangeError
        If a month is not 1 to 12, there is none, the kind of day is unknown, or a window is outside the day,
        empty, or does not start and end at a whole step.

    Examples
    --------
    >>> peak = When(months=(6, 7, 8), days="weekdays", windows=((14 * 60, 18 * 60),))
    >>> int(mask(peak).sum()), int(mask(peak, 4).sum())  # 66 weekdays of 4 hours
    (264, 1056)
    """
    if not when.months or not set(when.months) <= set(ALL_MONTHS):
        raise OutOfRangeError(f"months: got {list(when.months)}; allowed one or more of 1 to 12")
    if when.days not in _DAYS:
        raise OutOfRangeError(f"days: got {when.days!r}; allowed {', '.join(_DAYS)}")
    step = 60 // per_hour
    slots = np.full(DAY // step, not when.windows)
    for start, end in when.windows:
        if not (0 <= start < DAY and 0 <= end <= DAY and start != end) or start % step or end % step:
            raise OutOfRangeError(
                f"hours: got minutes {start} to {end} of the day; allowed windows within 0 to {DAY} that "
                f"start and end at multiples of {step} min"
            )
        last = end if end > start else end + DAY
        slots[np.arange(start // step, last // step) % slots.size] = True
    days = np.isin(_MONTH_OF_DAY, when.months) & _DAYS[when.days]
    return np.asarray(days[:, None] & slots).ravel()


def hour_name(hour: int) -> str:
    """Weekday, date and time at which an hour of the year starts.

    Examples
    --------
    >>> hour_name(0), hour_name(8759)
    ('Mon 01 Jan 00:00', 'Mon 31 Dec 23:00')
    """
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")  # not of the user's language
    time = datetime(2001, 1, 1) + timedelta(hours=hour)
    return f"{names[time.weekday()]} {time.day:02d} {MONTH_NAMES[time.month - 1]} {time.hour:02d}:00"
