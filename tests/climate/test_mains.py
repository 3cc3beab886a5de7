"""Mains water: its laws, months and ends that a user gives; its formula is a check of `tankyear verify`."""

import numpy as np
import pytest
from cases import CHICAGO
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.climate.mains import (
    by_month,
    mains_hours_held,
    mains_of_day,
    mains_temperature,
    stretched,
)
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.published


@pytest.mark.law
def test_all_hours_of_a_day_are_the_same() -> None:
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    monthly = np.array([-10.0, -9.0, -2.0, 1.0, 2.0, 14.0, 15.0, 14.5, 12.0, 6.0, 0.0, -6.0])
    air = np.repeat(monthly, 24 * days) + 6.0 * np.sin(np.arange(8760) * 2.0 * np.pi / 24.0)
    air += (52.0 - 32.0) / 1.8 - air.mean()
    year = mains_temperature(air, latitude=41.0)
    assert year.shape == (8760,)
    assert np.all(np.ptp(year.reshape(365, 24), axis=1) == 0.0)


@pytest.mark.law
def test_southern_hemisphere_is_half_a_year_away() -> None:
    """+90 for -90 degrees mirrors the wave about the mean (common practice, no source)."""
    day = np.arange(1, 366)
    north, south = mains_of_day(day, 15.0, 20.0), mains_of_day(day, 15.0, 20.0, southern=True)
    assert north + south == pytest.approx(np.full(365, 2.0 * (15.0 + 6.0 / 1.8)), abs=1e-9)
    air = 15.0 + 10.0 * np.cos(2.0 * np.pi * np.arange(8760) / 8760.0)
    assert mains_temperature(air, -35.0)[0] > mains_temperature(air, 35.0)[0]


def test_very_cold_site_is_held_at_freezing_and_counted() -> None:
    """Mean -5 °C, range 40 K: the formula's ratio is 0.19 and its lowest -1.67 - 3.8 = -5.5 °C."""
    air = -5.0 - 20.35 * np.cos(2.0 * np.pi * (np.arange(8760) - 360.0) / 8760.0)
    year = mains_temperature(air, 65.0)
    held = mains_hours_held(air, 65.0)
    assert year.min() == 0.0
    assert 24 < held < 8760
    assert held == np.count_nonzero(year == 0.0)
    assert mains_hours_held(air + 15.0, 65.0) == 0


@pytest.mark.law
@given(mean=st.floats(-10.0, 30.0), swing=st.floats(0.0, 45.0), day=st.integers(1, 365))
def test_the_main_swings_less_than_the_air(mean: float, swing: float, day: int) -> None:
    """The abstract's amplitude is about 0.4 of the air's; up to 30 °C mean it stays below the air's own."""
    got = float(mains_of_day(day, mean, swing))
    assert got >= 0.0
    assert got <= mean + 6.0 / 1.8 + swing / 2.0 + 1e-9 or got == 0.0


@pytest.mark.contract
@pytest.mark.parametrize(("mean", "swing"), [(-20.0, 40.0), (10.0, -1.0), (np.nan, 10.0), (10.0, np.nan)])
def test_where_the_formula_ends(mean: float, swing: float) -> None:
    with pytest.raises(OutOfRangeError, match="mains water"):
        mains_of_day(1, mean, swing)


@pytest.mark.contract
def test_a_part_of_a_year_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="8760"):
        mains_temperature(np.zeros(8784), 40.0)
    air = np.zeros(8760)
    air[5] = np.nan
    with pytest.raises(OutOfRangeError, match="8760"):
        mains_temperature(air, 40.0)


# --- cold water as given -----------------------------------------------------------------------------------

STARTS = np.concatenate(([0], np.cumsum(MONTH_DAYS)))
MONTHS = [5.0, 5.0, 7.0, 10.0, 14.0, 18.0, 21.0, 22.0, 19.0, 15.0, 10.0, 6.0]


@pytest.mark.law
@given(st.lists(st.floats(8.0, 30.0), min_size=12, max_size=12))
def test_monthly_means_are_met(months: list[float]) -> None:
    """Each month has the mean given, whatever the others; to 1e-6 K, where none is held at 0."""
    year = by_month(months)
    assert year.shape == (8760,)
    if year.min() > 0.0:
        daily = year.reshape(365, 24)[:, 0]
        means = np.add.reduceat(daily, STARTS[:-1]) / MONTH_DAYS
        assert means == pytest.approx(np.array(months), abs=1e-6)


@pytest.mark.law
def test_months_run_into_each_other_smoothly() -> None:
    daily = by_month(MONTHS)[::24]
    around = np.concatenate((daily, daily[:1]))
    assert np.abs(np.diff(around)).max() < 0.2  # 4 K from month to month are 0.13 K a day


@pytest.mark.law
def test_the_same_all_year_stays_the_same() -> None:
    assert np.all(by_month([12.5] * 12) == 12.5)


@pytest.mark.law
def test_a_winter_low_stretches_the_formula() -> None:
    """Chicago's formula made to reach 4.5 degC: mean and time of year stay, and all else is in proportion."""
    year = mains_temperature(read_weather(CHICAGO)["dry_bulb_c"].values, 41.98)
    low = stretched(year, 4.5, None)
    assert low.min() == pytest.approx(4.5, abs=1e-6)
    assert low.mean() == pytest.approx(year.mean(), abs=1e-6)
    assert low.argmin() == year.argmin()
    assert (low - low.mean()) / (4.5 - low.mean()) == pytest.approx(
        (year - year.mean()) / (year.min() - year.mean()), abs=1e-6
    )
    both = stretched(year, 4.5, 21.0)
    assert (both.min(), both.max()) == pytest.approx((4.5, 21.0), abs=1e-6)
    assert stretched(year, None, 21.0).max() == pytest.approx(21.0, abs=1e-6)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-0.1, None, "allowed 0 to 40"),
        (None, 40.1, "allowed 0 to 40"),
        (19.0, None, "winter_low: got 19 .*below the year's mean of 13"),
        (None, 9.0, "summer_high: got 9 .*above the year's mean of 13"),
        (12.0, 11.0, "winter_low: got 12 .*below .*summer_high"),
        (None, 30.0, r"with the other end of the year \(-4\.0 °C then\) at 0 to 40"),
    ],
)
def test_ends_that_cannot_be(low: float | None, high: float | None, words: str) -> None:
    year = 13.0 + 5.0 * np.sin(2.0 * np.pi * np.arange(8760) / 8760.0)
    with pytest.raises(OutOfRangeError, match=words):
        stretched(year, low, high)


@pytest.mark.contract
@pytest.mark.parametrize("months", [[10.0] * 11, [10.0] * 11 + [41.0], [10.0] * 11 + [np.nan]])
def test_months_that_cannot_be(months: list[float]) -> None:
    with pytest.raises(OutOfRangeError, match=r"hot_water\.cold_water\.monthly"):
        by_month(months)
