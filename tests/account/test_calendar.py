"""Sets of hours of the nominal year against the calendar of the standard library."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hpwhsim.account.calendar import QUARTERS, When, hour_name, mask
from hpwhsim.constants import HOURS
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent

START = datetime(2001, 1, 1)
QUARTER = timedelta(minutes=15)


@pytest.mark.slow
@settings(max_examples=30)
@given(
    months=st.lists(st.integers(1, 12), min_size=1, max_size=12, unique=True),
    days=st.sampled_from(["all", "weekdays", "weekends"]),
    start=st.integers(0, 95),
    end=st.integers(0, 96),
)
def test_quarters_by_the_calendar_of_the_standard_library(
    months: list[int], days: str, start: int, end: int
) -> None:
    """Independent method: every quarter of 2001 is asked for its month, weekday and time of day."""
    assume(start != end)
    expected = np.zeros(QUARTERS, dtype=bool)
    for i in range(QUARTERS):
        time = START + i * QUARTER
        at = time.hour * 4 + time.minute // 15
        inside = start <= at < end if end > start else at >= start or at < end
        kind = {"all": True, "weekdays": time.weekday() < 5, "weekends": time.weekday() >= 5}[days]
        expected[i] = inside and kind and time.month in months
    when = When(tuple(months), days, ((start * 15, end * 15),))
    assert np.array_equal(mask(when, 4), expected)


def test_counts_of_2001() -> None:
    """Calendar of 2001: 261 days Monday to Friday, 104 on weekends; June to September have 86 and 36."""
    assert mask(When()).sum() == HOURS
    assert mask(When(days="weekdays")).sum() == 261 * 24
    assert mask(When(days="weekends")).sum() == 104 * 24
    summer = (6, 7, 8, 9)
    assert mask(When(summer, "weekdays", ((840, 1080),))).sum() == 86 * 4
    assert mask(When(summer, "weekends")).sum() == 36 * 24


def test_night_after_friday_is_saturday() -> None:
    """5 January 2001 was a Friday: its hours from 22:00 count as weekday, those after midnight do not."""
    night = mask(When(days="weekdays", windows=((22 * 60, 6 * 60),)))
    friday = 4 * 24
    assert night[friday + 22 : friday + 24].all()
    assert not night[friday + 24 : friday + 30].any()
    assert night[:6].all()  # Monday, 1 January, before 6


@pytest.mark.law
def test_windows_add_up() -> None:
    """Two windows hold what each holds; overlapping counts once."""
    morning, late = ((360, 540),), ((480, 660),)
    both = mask(When(windows=morning + late))
    assert np.array_equal(both, mask(When(windows=morning)) | mask(When(windows=late)))
    assert both.sum() == 365 * 5


def test_names_of_hours() -> None:
    """Weekdays of 2001 by calendar: 14 July was a Saturday; it is day 195 of the year."""
    assert hour_name(194 * 24 + 7) == "Sat 14 Jul 07:00"


@pytest.mark.contract
@pytest.mark.parametrize(
    ("when", "per_hour", "words"),
    [
        (When(months=(0, 1)), 1, ["months", "[0, 1]", "1 to 12"]),
        (When(months=()), 1, ["months", "[]"]),
        (When(days="sunday"), 1, ["days", "sunday", "weekdays"]),
        (When(windows=((930, 1260),)), 1, ["hours", "930", "multiples of 60"]),
        (When(windows=((930, 1265),)), 4, ["hours", "1265", "multiples of 15"]),
        (When(windows=((60, 60),)), 1, ["hours", "60 to 60"]),
        (When(windows=((1440, 60),)), 1, ["hours", "1440"]),
        (When(windows=((60, 1500),)), 1, ["hours", "1500"]),
    ],
)
def test_impossible_hours_are_refused(when: When, per_hour: int, words: list[str]) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        mask(when, per_hour)
    for word in words:
        assert word in str(caught.value)
