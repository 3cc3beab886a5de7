"""Mains water against the worked table of the Burch and Christensen formula."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.climate.mains import mains_hours_held, mains_of_day, mains_temperature, mean_and_range
from hpwhsim.errors import OutOfRangeError

CASES = {"cold": (44.0, 50.0), "mixed": (52.0, 45.0), "warm": (70.0, 25.0)}  # mean and range, °F


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def test_all_days_of_the_worked_table(references: Path) -> None:
    """mains-check.csv, worked from the published formula in °F; 4 digits printed, so 1e-4 K allowed."""
    text = (references / "mains-check.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    assert {row["case"] for row in rows} == set(CASES)
    for row in rows:
        mean, swing = float(row["Tavg_F"]), float(row["dT_monthly_max_F"])
        got = mains_of_day(float(row["day"]), celsius(mean), swing / 1.8)
        assert float(got) == pytest.approx(float(row["Tmains_C"]), abs=1e-4)


@pytest.mark.parametrize(
    ("case", "low", "low_day", "high", "high_day", "mean"),
    [
        ("cold", 40.000, 50, 60.000, 233, 50.002),
        ("mixed", 47.200, 42, 68.800, 225, 58.0025),
        ("warm", 67.750, 24, 84.250, 207, 76.002),
    ],
)
def test_extremes_of_the_year(
    case: str, low: float, low_day: int, high: float, high_day: int, mean: float
) -> None:
    """water-and-ground-temperature.md, section 1, worked checks in °F with 3 digits printed.

    The ratios there are 0.40, 0.48 and 0.66; with the mistaken slope of 0.1 "mixed" would swing by 54 °F.
    The mean of "mixed" is printed there as 58.003; its own formula re-added in °F gives 58.0025.
    """
    day = np.arange(1, 366)
    year = mains_of_day(day, celsius(CASES[case][0]), CASES[case][1] / 1.8) * 1.8 + 32.0
    assert year.min() == pytest.approx(low, abs=5e-4)
    assert year.max() == pytest.approx(high, abs=5e-4)
    assert (day[year.argmin()], day[year.argmax()]) == (low_day, high_day)
    assert year.mean() == pytest.approx(mean, abs=5e-4)


def test_hourly_year_uses_monthly_means() -> None:
    """A lopsided year of 11.1111 °C mean whose warmest and coldest months lie 25 K apart is the "mixed" case.

    Printed there: 47.2 °F on day 42. All 24 hours of a day are the same.
    """
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    monthly = np.array([-10.0, -9.0, -2.0, 1.0, 2.0, 14.0, 15.0, 14.5, 12.0, 6.0, 0.0, -6.0])
    air = np.repeat(monthly, 24 * days) + 6.0 * np.sin(np.arange(8760) * 2.0 * np.pi / 24.0)
    air += (52.0 - 32.0) / 1.8 - air.mean()
    assert mean_and_range(air) == pytest.approx((11.111111, 25.0), abs=1e-6)
    year = mains_temperature(air, latitude=41.0)
    assert year.shape == (8760,)
    assert year[41 * 24] == pytest.approx(celsius(47.2), abs=1e-4)
    assert np.all(np.ptp(year.reshape(365, 24), axis=1) == 0.0)


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


@given(mean=st.floats(-10.0, 30.0), swing=st.floats(0.0, 45.0), day=st.integers(1, 365))
def test_the_main_swings_less_than_the_air(mean: float, swing: float, day: int) -> None:
    """The abstract's amplitude is about 0.4 of the air's; up to 30 °C mean it stays below the air's own."""
    got = float(mains_of_day(day, mean, swing))
    assert got >= 0.0
    assert got <= mean + 6.0 / 1.8 + swing / 2.0 + 1e-9 or got == 0.0


@pytest.mark.parametrize(("mean", "swing"), [(-20.0, 40.0), (10.0, -1.0), (np.nan, 10.0), (10.0, np.nan)])
def test_where_the_formula_ends(mean: float, swing: float) -> None:
    with pytest.raises(OutOfRangeError, match="mains water"):
        mains_of_day(1, mean, swing)


def test_a_part_of_a_year_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="8760"):
        mains_temperature(np.zeros(8784), 40.0)
    air = np.zeros(8760)
    air[5] = np.nan
    with pytest.raises(OutOfRangeError, match="8760"):
        mains_temperature(air, 40.0)
