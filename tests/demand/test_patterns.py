"""Patterns of the day, the user's files, use by building size."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.constants import MONTH_DAYS
from hpwhsim.demand.households import _end_uses
from hpwhsim.demand.patterns import (
    BY_OTHER_BASIS,
    Pattern,
    average_day_litres,
    hourly_use,
    named_pattern,
    read_metered,
    read_pattern,
)
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

NAMES = [row["pattern"] for row in read_table("demand_pattern_sources")]

Writer = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Writer:
    def to_file(text: str) -> Path:
        path = tmp_path / "given.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


def pattern_csv(weekday: list[float] | None = None) -> list[str]:
    shares = weekday or [1.0 / 24.0] * 24
    return ["hour,weekday,weekend", *(f"{hour},{shares[hour]},{1.0 / 24.0}" for hour in range(24))]


@pytest.mark.law
@pytest.mark.parametrize("name", NAMES)
def test_shares_sum_to_one(name: str) -> None:
    """A day's shares are shares: rounding of 24 sums allows 1e-12."""
    pattern = named_pattern(name)
    assert pattern.weekday.sum() == pytest.approx(1.0, abs=1e-12)
    assert pattern.weekend.sum() == pytest.approx(1.0, abs=1e-12)
    assert pattern.source


@pytest.mark.published
def test_published_peak_of_the_combined_profile() -> None:
    """Building America combined profile: 7.9 % at 07-08, 1.90 times the mean hour (NREL/TP-550-49426).

    Printed to three decimals with a sum of 0.999: half a digit allowed.
    """
    day = named_pattern("apartments").weekday
    assert int(day.argmax()) == 7
    assert day.max() == pytest.approx(0.079, abs=5e-4)
    assert day.max() * 24 == pytest.approx(1.90, abs=5e-3)


@pytest.mark.published
def test_two_profiles_agree() -> None:
    """The reference building's schedule (NREL/TP-5500-46861) is the combined profile within 0.0045."""
    difference = named_pattern("apartments").weekday - named_pattern("midrise").weekday
    assert np.abs(difference).max() < 0.0045


@pytest.mark.independent
@pytest.mark.parametrize("use_c", [40.0, 43.3, 49.0, 55.0, 60.0, 65.0])
@pytest.mark.parametrize("apartments", [1, 35, 500])
def test_the_default_litres_have_one_heat(use_c: float, apartments: int) -> None:
    """By heat above 58 degF (10 CFR 430 Subpart B Appendix E), whatever the temperature they are counted at.

    Litres of 49 degC are the handbook's. Taken as water of 140 degF they would hold (140 - 58) / (120 - 58) =
    1.32 times the heat, which the record says; 49 degC is 120.2 degF.
    """
    cold = (58 - 32) / 1.8
    litres, said = average_day_litres(apartments, use_c)
    assert litres * (use_c - cold) == pytest.approx(average_day_litres(apartments)[0] * (49.0 - cold))
    assert pytest.approx(82.0 / 62.0 - 1.0, abs=0.005) == BY_OTHER_BASIS
    assert f"{100 * BY_OTHER_BASIS:.0f} % more" in said
    assert ("by heat above cold water of 14.4 degC" in said) == (use_c != 49.0)


@pytest.mark.published
def test_the_multifamily_shape_against_its_source() -> None:
    """Chmielewska 2025, 42 buildings: about 18 % of a working day in the morning, up to 45 % in the evening.

    The table says which hours were filled in: all of the weekend, which is that of single homes.
    """
    pattern, homes = named_pattern("multifamily"), named_pattern("apartments")
    assert pattern.weekday[6:9].sum() == pytest.approx(0.18, abs=1e-9)
    assert pattern.weekday[17:22].sum() == pytest.approx(0.45, abs=1e-9)
    assert pattern.weekend == pytest.approx(homes.weekend)
    assert homes.weekday[17:22].sum() < 0.31  # what single homes leave out
    rows = [row for row in read_table("demand_patterns") if row["pattern"] == "multifamily"]
    measured = {int(row["hour"]) for row in rows if row["weekday_status"] == "measured-sum"}
    assert measured == {6, 7, 8, 17, 18, 19, 20, 21}
    assert {row["weekend_status"] for row in rows} == {"filled"}
    assert {row["weekday_status"] for row in rows} == {"measured-sum", "filled"}


@pytest.mark.published
def test_clusters_of_the_sink() -> None:
    """Event schedules of 2007 (demand-season-and-shape.md): 16 to 18 clusters of 1.87 sink draws a day."""
    uses, _ = _end_uses(49.0)
    assert 16.0 < uses[2].draws_per_day / uses[2].burst < 18.0


def test_unknown_name_lists_the_known() -> None:
    with pytest.raises(InputError, match=r"offices.*apartments, midrise, multifamily"):
        named_pattern("offices")


@pytest.mark.independent
def test_weekday_and_month_lie_where_they_should() -> None:
    """The nominal year starts on Monday: 6 January is its first Saturday; February begins on day 31."""
    weekday, weekend = np.zeros(24), np.zeros(24)
    weekday[7] = weekend[10] = 1.0
    pattern = Pattern("test", weekday, weekend, np.ones(12), "invented")
    use = hourly_use(2, 100.0, pattern).reshape(365, 24)
    assert [int(day.argmax()) for day in use[:8]] == [7, 7, 7, 7, 7, 10, 10, 7]
    february = named_pattern("apartments", [0.95, 1.5, *([0.9545454545] * 9), 1.0])
    days = hourly_use(2, 100.0, february).reshape(365, 24).sum(axis=1)
    assert np.all(days[31:59] > 1.4 * days[30])
    assert np.all(days[31:59] > 1.4 * days[59])


@pytest.mark.law
@given(
    apartments=st.integers(1, 5000),
    litres=st.floats(0.0, 1000.0),
    factors=st.lists(st.floats(0.5, 2.0), min_size=12, max_size=12),
    name=st.sampled_from(NAMES),
)
def test_year_holds_the_stated_use(apartments: int, litres: float, factors: list[float], name: str) -> None:
    """Conservation: the hours sum to 365 stated days whatever the months; float rounding only."""
    mean = float(np.array(factors) @ MONTH_DAYS) / 365.0
    pattern = named_pattern(name, [factor / mean for factor in factors])
    use = hourly_use(apartments, litres, pattern)
    assert use.shape == (8760,)
    assert use.min() >= 0.0
    assert use.sum() == pytest.approx(365.0 * apartments * litres, rel=1e-9)


@pytest.mark.parametrize("factors", [[1.0] * 11, [1.2] * 12, [-1.0, 3.0] + [1.0] * 10, [float("nan")] * 12])
def test_bad_month_factors(factors: list[float]) -> None:
    with pytest.raises(InputError, match="month_factors"):
        named_pattern("apartments", factors)


@pytest.mark.parametrize(("apartments", "litres"), [(0, 100.0), (-3, 100.0), (5, -1.0), (5, float("nan"))])
def test_impossible_building(apartments: int, litres: float) -> None:
    with pytest.raises(OutOfRangeError):
        hourly_use(apartments, litres, named_pattern("apartments"))


def test_pattern_file_is_read(write: Writer) -> None:
    """Rows may come in any order; rounded shares are normalised."""
    shares = [0.0] * 24
    shares[6], shares[19] = 0.3335, 0.667
    lines = pattern_csv(shares)
    pattern = read_pattern(write("\n".join(["# invented", lines[0], *reversed(lines[1:])])))
    assert pattern.weekday[6] == pytest.approx(0.3335 / 1.0005)
    assert pattern.weekday.sum() == pytest.approx(1.0, abs=1e-12)
    assert pattern.weekend[3] == pytest.approx(1.0 / 24.0)


@pytest.mark.parametrize(
    ("line", "replacement", "message"),
    [
        (0, "hour,workday,weekend", "missing weekday; unknown workday"),
        (5, None, "column hour: missing 4"),
        (5, "3,0.04,0.04", "line 6: column hour: got '3'; .*each once"),
        (5, "24,0.04,0.04", "column hour: got '24'; allowed the whole numbers 0 to 23"),
        (5, "4.5,0.04,0.04", "column hour: got '4.5'"),
        (5, "4,-0.04,0.04", "line 6: column weekday.*got '-0.04'"),
        (5, "4,0.09,0.0416666667", "column weekday: got a sum of 1.048"),
    ],
)
def test_bad_pattern_file(write: Writer, line: int, replacement: str | None, message: str) -> None:
    """Every fault is named with the file, the line and the column."""
    lines = pattern_csv()
    lines[line : line + 1] = [] if replacement is None else [replacement]
    with pytest.raises(InputError, match=message) as caught:
        read_pattern(write("\n".join(lines)))
    assert "given.csv" in str(caught.value)


def metered_csv(year: int = 2023, per_hour: int = 1) -> list[str]:
    """A record whose value is its row number, without 29 February."""
    step = timedelta(seconds=3600 // per_hour)
    times = [datetime(year, 1, 1) + place * step for place in range(366 * 24 * per_hour)]
    times = [time for time in times if time.year == year and (time.month, time.day) != (2, 29)]
    return ["time,litres", *(f"{time.isoformat()},{row}" for row, time in enumerate(times))]


@pytest.mark.parametrize(("year", "per_hour"), [(2023, 1), (2024, 1), (2023, 4)])
def test_metered_record(write: Writer, year: int, per_hour: int) -> None:
    """One year in order, at its own resolution, also a leap year whose leap day was left out."""
    record = read_metered(write("\n".join(metered_csv(year, per_hour))), 100)
    assert np.array_equal(record, np.arange(8760 * per_hour))


@pytest.mark.parametrize(
    ("line", "replacement", "message"),
    [
        (0, ["when,litres"], "missing time; unknown when"),
        (100, [], "8759 rows"),
        (100, ["2023-01-05T03:00:00,-2"], "line 101: column litres.*got '-2'"),
        (100, ["2023-01-05T04:00:00,2"], "line 101: column time: got '2023-01-05T04:00:00'; allowed rows"),
        (100, ["2022-01-05T03:00:00,2"], "line 101: column time: got '2022-01-05T03:00:00'; allowed rows"),
        (100, ["5 January 3 am,2"], "line 101: column time: got '5 January 3 am'; allowed an ISO time"),
        (100, ["2023-01-05T03:00:00-05:00,2"], "line 101: column time.*without an offset"),
        (100, ["2024-02-29T03:00:00,2"], "line 101: column time.*leave out 29 February"),
    ],
)
def test_bad_metered_record(write: Writer, line: int, replacement: list[str], message: str) -> None:
    """Every fault is named with the file, the line and the column."""
    lines = metered_csv()
    lines[line : line + 1] = replacement
    with pytest.raises(InputError, match=message) as caught:
        read_metered(write("\n".join(lines)), 100)
    assert "given.csv" in str(caught.value)


def test_record_that_stamps_the_end_of_the_hour(write: Writer) -> None:
    """A logger that starts at 01:00 is refused, not shifted in silence."""
    lines = metered_csv()
    stamped = [lines[0], *lines[2:], "2024-01-01T00:00:00,8759"]
    with pytest.raises(InputError, match="from 1 January 00:00"):
        read_metered(write("\n".join(stamped)), 100)
