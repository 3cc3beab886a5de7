"""Named hours in which the power of a block is looked at, such as the peak hours of the grid."""

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from hpwhsim.account.calendar import mask
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.errors import InputError
from hpwhsim.evaluation.costs import when
from hpwhsim.scenario.money import PeakHours
from hpwhsim.scenario.schema import Scenario

FORM = (
    "NAME=WORDS: a name of small letters, digits and _, and words such as HH:MM-HH:MM, Jun-Sep, weekdays or "
    "weekends, 07-18; 'evening=Dec-Feb weekdays 17:00-20:00' or 'system=07-18 08-02 17:00-18:00'"
)
_DATE = re.compile(r"(0[1-9]|1[0-2])-([0-3]\d)")


class NamedHours(NamedTuple):
    """Hours of the year under a name."""

    name: str
    words: str  # which they are
    mask: NDArray[np.bool_]  # (35040,) quarters of an hour


def named_hours(text: str) -> NamedHours:
    """Hours as a user writes them.

    Raises
    ------
    InputError
        If they are none.

    Examples
    --------
    >>> named_hours("system=07-18 17:00-18:00").mask.sum()
    np.int64(4)
    """
    name, equals, rest = text.partition("=")
    dates, windows, days, months = list[str](), list[str](), "all", "Jan-Dec"
    for word in rest.replace(",", " ").split():
        if _DATE.fullmatch(word):
            dates.append(word)
        elif ":" in word:
            windows.append(word)
        elif word in ("all", "weekdays", "weekends"):
            days = word
        else:
            months = word if months == "Jan-Dec" else f"{months},{word}"
    block = {"name": name.strip(), "months": months, "days": days, "hours": windows}
    try:
        hours = PeakHours.model_validate(block)
    except ValidationError:
        raise InputError(f"--hours {text}: allowed {FORM}") from None
    found = mask(when(hours), 4)
    if dates:
        inside = np.zeros(365, dtype=bool)
        for date in dates:
            inside[_day(date, text)] = True
        found &= np.repeat(inside, 96)
    if not equals or not found.any():
        raise InputError(f"--hours {text}: got no hour of the year; allowed {FORM}")
    return NamedHours(hours.name, " ".join(rest.split()), found)


def _words(hours: PeakHours) -> str:
    """Which hours a scenario has under a name."""
    return str(hours).removeprefix(f"{hours.name} (").removesuffix(")")


def _day(date: str, text: str) -> int:
    """Day of the year, from 0, of a month and day."""
    month, day = (int(part) for part in date.split("-"))
    if not 1 <= day <= MONTH_DAYS[month - 1]:
        raise InputError(f"--hours {text}: got {date}; allowed a day of the year without 29 February")
    return int(sum(MONTH_DAYS[: month - 1])) + day - 1


def hours_of(scenarios: Sequence[Scenario], given: Sequence[str]) -> list[NamedHours]:
    """The hours that were given, and those of ``savings.peak_hours`` that all scenarios have alike.

    Raises
    ------
    InputError
        If a name stands for none, or is given twice.
    """
    found = [named_hours(text) for text in given]
    names = [hours.name for hours in found]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"--hours {name}: given twice; allowed a name of its own for each")
    first = scenarios[0].savings.peak_hours
    for hours in first:
        alike = all(hours in one.savings.peak_hours for one in scenarios)
        if alike and hours.name not in names:
            found.append(NamedHours(hours.name, _words(hours), mask(when(hours), 4)))
    return found
