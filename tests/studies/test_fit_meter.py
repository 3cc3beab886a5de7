"""A meter's file: rows in their hours, and every fault of a meter named with its row."""

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from fit_cases import nominal_hour, times, write_rows

from hpwhsim.errors import InputError
from hpwhsim.studies import fit_faults
from hpwhsim.studies.fit_faults import Reach
from hpwhsim.studies.fit_meter import read_meter, whole_months

pytestmark = pytest.mark.contract

YEAR = np.arange(8760.0)  # each hour holds its own number
KWH = "electricity_kwh"


def stamps(start: str, end: str, spacing: str = "hour") -> list[str]:
    return [time.isoformat(timespec="minutes") for time in times(start, end, spacing)]


def meter(path: Path, at: list[str], values: list[object] | None = None, column: str = KWH) -> Path:
    rng = np.random.default_rng(2)
    return write_rows(path / "meter.csv", [column], at, [values or rng.uniform(1.0, 2.0, len(at)).tolist()])


def refused(path: Path) -> str:
    with pytest.raises(InputError) as error:
        fit_faults.refuse_no_use(read_meter(path, -6.0))
    return str(error.value)


# -- where rows stand ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "end", "spacing", "rows"),
    [
        ("2023-03-05", "2023-04-05", "hour", 31 * 24),
        ("2023-11-20", "2024-02-10", "hour", 82 * 24),  # across the new year
        ("2021-01-01", "2023-01-01", "day", 730),  # two years
        ("2022-05-01", "2023-05-01", "month", 12),
    ],
)
def test_rows_are_in_their_hours(tmp_path: Path, start: str, end: str, spacing: str, rows: int) -> None:
    """Month, day and hour as counted by hand in `nominal_hour`."""
    at = times(start, end, spacing)
    found = read_meter(meter(tmp_path, stamps(start, end, spacing)), -6.0)
    assert (found.spacing, len(found.starts)) == (spacing, rows)
    first = [nominal_hour(time) for time in at]
    assert found.first.tolist() == first
    hours = found.hours.tolist()
    assert found.of_year(YEAR).tolist() == [sum(YEAR[a : a + n]) for a, n in zip(first, hours, strict=True)]


def test_29_february_is_left_out_of_hours_and_days(tmp_path: Path) -> None:
    """Whether the file has it or not; in months the computed February is longer by 29/28."""
    at = stamps("2024-02-01", "2024-03-20")
    whole = read_meter(meter(tmp_path, at), -6.0)
    without = read_meter(meter(tmp_path, [time for time in at if "02-29" not in time]), -6.0)
    assert whole.first.tolist() == without.first.tolist()
    assert [("29 February" in text) for text in whole.cautions] == [True]
    assert without.cautions == []
    months = read_meter(meter(tmp_path, stamps("2023-10-01", "2024-06-01", "month")), -6.0)
    assert months.scale.tolist() == [1.0] * 4 + [29.0 / 28.0] + [1.0] * 3
    assert "29/28" in months.cautions[0]


def test_times_with_an_offset_are_put_on_the_plants_clock(tmp_path: Path) -> None:
    """Chicago's civil time through spring and autumn of 2023 by Python's time zones, and UTC."""
    start, hours = datetime(2023, 1, 1, 6, tzinfo=UTC), 8760  # midnight in Chicago
    instants = [start + timedelta(hours=n) for n in range(hours)]
    for zone in (ZoneInfo("America/Chicago"), UTC, timezone(timedelta(hours=9))):
        at = [time.astimezone(zone).isoformat() for time in instants]
        found = read_meter(meter(tmp_path, at), -6.0)
        assert found.first.tolist() == list(range(8760)), zone
    days = [f"2023-03-{day:02d}T00:00{'-06:00' if day <= 12 else '-05:00'}" for day in range(1, 29)]
    assert read_meter(meter(tmp_path, days), -6.0).spacing == "day"


def test_whole_months_are_those_with_every_row(tmp_path: Path) -> None:
    found = whole_months(read_meter(meter(tmp_path, stamps("2024-01-10", "2024-04-05")), -6.0))
    assert found.names == ["Feb 2024", "Mar 2024"]
    assert [rows.stop - rows.start for rows in found.rows] == [28 * 24, 31 * 24]


# -- what is wrong with rows ---------------------------------------------------------------------------


HOURS = stamps("2023-03-01", "2023-12-01")


def without(*lost: str) -> list[str]:
    return [time for time in HOURS if time not in lost]


def twice(time: str) -> list[str]:
    place = HOURS.index(time)
    return [*HOURS[:place], time, *HOURS[place:]]


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (without("2023-03-02T04:00", "2023-03-02T05:00"), ["line 31:", "2 hours missing", "not filled"]),
        (without("2023-03-12T02:00"), ["line 269:", "clocks go to summer time", "local standard time"]),
        (twice("2023-11-05T01:00"), ["twice on a Sunday", "clocks leave summer time", "offset from UTC"]),
        (twice("2023-06-07T01:00"), ["'2023-06-07T01:00' twice", "each time once"]),
        ([HOURS[1], HOURS[0], *HOURS[2:]], ["'2023-03-01T00:00' after '2023-03-01T01:00'", "order of time"]),
        ([time.replace(":00", ":30") for time in HOURS], ["line 3:", "full hour"]),
        (["01/03/2023 00:00", *HOURS[1:]], ["line 3:", "'01/03/2023 00:00'", "ISO time"]),
        ([HOURS[0] + "-06:00", *HOURS[1:]], ["line 4:", "offset from UTC in all rows or in none"]),
        (stamps("2023-03-01T06:00", "2023-06-01", "day"), ["midnight"]),
        (stamps("2023-01-15", "2023-12-20", "month")[:1] * 2, ["apart"]),
        ([f"2023-{month:02d}-15" for month in range(1, 13)], ["first day of a month"]),
        (
            [*stamps("2023-01-01", "2024-01-01", "month")[:3], "2023-06-01", "2023-07-01"],
            ["2 months missing"],
        ),
        ([*stamps("2023-03-01", "2023-03-20", "day")[:9], "2023-03-12"], ["2 days missing"]),
        (
            [f"2023-03-01T{n // 4:02d}:{n % 4 * 15:02d}" for n in range(96)],
            ["0.25 h apart", "an hour, a day"],
        ),
        (HOURS[:1], ["one row"]),
    ],
)
def test_a_fault_of_the_times_is_named(tmp_path: Path, at: list[str], words: list[str]) -> None:
    said = refused(meter(tmp_path, at))
    assert [word for word in words if word not in said] == [], said
    assert said.startswith(str(tmp_path))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("nan", ["'nan'", "finite number"]),
        ("", ["got nothing", "not filled"]),
        ("1,5", ["3 cells"]),
        ("n/a", ["'n/a'"]),
        ("-0.3", ["'-0.3'", "zero or more"]),
    ],
)
def test_a_fault_of_a_value_is_named(tmp_path: Path, value: str, words: list[str]) -> None:
    at = stamps("2023-03-01", "2023-03-20")
    values: list[object] = [1.0 + 0.1 * (n % 7) for n in range(len(at))]
    values[40] = value
    said = refused(meter(tmp_path, at, values))
    assert [word for word in [*words, "line 43"] if word not in said] == [], said


def test_many_faults_of_a_kind_are_one_line_with_their_number(tmp_path: Path) -> None:
    at = without(*(f"2023-05-{day:02d}T10:00" for day in range(1, 21)))
    assert re.search(r"1 hour missing.*\(and 19 more such rows\)$", refused(meter(tmp_path, at)))


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ("time,heat_kwh", ["unknown heat_kwh", "say which heat", "heat_to_taps_kwh"]),
        ("time", ["time alone", KWH]),
        (KWH, ["missing time"]),
        ("time,litres,hot_water_litres", ["the same"]),
        ("time;electricity_kwh", ["unknown time;electricity_kwh"]),
    ],
)
def test_a_wrong_header_is_named(tmp_path: Path, columns: str, words: list[str]) -> None:
    path = tmp_path / "meter.csv"
    path.write_text(f"{columns}\n2023-01-01{',1' * columns.count(',')}\n")
    said = refused(path)
    assert [word for word in words if word not in said] == [], said


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    assert "there is no such file" in refused(tmp_path / "nowhere.csv")


# -- counters, units, meters that stood still ----------------------------------------------------------


def counted(values: list[float], reset: int | None = None) -> list[object]:
    total, found = 500.0, []
    for place, value in enumerate(values):
        total = value if place == reset else total + value
        found.append(total)
    return list(found)


def test_a_running_counter_and_its_reset_are_named(tmp_path: Path) -> None:
    at = stamps("2023-03-01", "2023-05-01", "day")
    use = [10.0 + n % 5 for n in range(len(at))]
    assert "running counter" in refused(meter(tmp_path, at, counted(use)))
    said = refused(meter(tmp_path, at, counted(use, reset=30)))
    assert "a reset at line 33 from" in said
    assert "to 10" in said


def test_use_that_rises_through_half_a_year_is_no_counter(tmp_path: Path) -> None:
    """Seven bills from summer to winter: what a counter looks like is only told by the computed use."""
    at = stamps("2023-06-01", "2024-01-01", "month")
    values: list[object] = [2000.0 + 150.0 * n for n in range(len(at))]
    found = read_meter(meter(tmp_path, at, values), -6.0)
    fit_faults.refuse_no_use(found)
    assert fit_faults.refuse_units(found, KWH, Reach(12e3, 15e3, 20e3)) == []
    counter = read_meter(meter(tmp_path, at, counted([2000.0 + n for n in range(len(at))])), -6.0)
    with pytest.raises(InputError, match="running counter: they only rise, and"):
        fit_faults.refuse_units(counter, KWH, Reach(12e3, 15e3, 20e3))


def test_a_reset_between_monthly_readings_of_a_counter_is_named(tmp_path: Path) -> None:
    """Too few rows to tell by themselves; their differences are the computed use."""
    at = stamps("2023-01-01", "2024-01-01", "month")
    values = counted([2000.0 + 40.0 * (n % 3) for n in range(len(at))], reset=7)
    found = read_meter(meter(tmp_path, at, values), -6.0)
    fit_faults.refuse_no_use(found)
    with pytest.raises(InputError, match="a reset at line 10 to 2040"):
        fit_faults.refuse_units(found, KWH, Reach(20e3, 24e3, 30e3))


@pytest.mark.parametrize("value", [0.0, 3.5])
def test_a_column_that_never_changes_is_no_reading(tmp_path: Path, value: float) -> None:
    at = stamps("2023-03-01", "2023-05-01", "day")
    assert f"got {value:g} in every row" in refused(meter(tmp_path, at, [value] * len(at)))


@pytest.mark.published
@pytest.mark.parametrize(
    ("column", "factor", "unit"),
    [
        (KWH, 1000.0, "Wh"),
        (KWH, 0.001, "MWh"),
        (KWH, 3.6, "MJ"),
        (KWH, 3.6e6, "J"),
        (KWH, 3.412142, "kBtu"),  # NIST SP 811 (2008), appendix B.8: 1 Btu (IT) is 1.055056 kJ
        ("litres", 0.2641720, "gallons"),  # the same: 1 gallon is 3.785412 L
        ("litres", 0.001, "m3"),
        ("litres", 0.03531466, "ft3"),  # the same: 1 ft3 is 28.31685 L
        ("litres", 1.0 / 60.0, "L/min"),
    ],
)
def test_another_unit_is_named(tmp_path: Path, column: str, factor: float, unit: str) -> None:
    """A plant that takes 20 % more than the scenario, its bounds 0.7 to 1.5 times."""
    at = stamps("2023-03-01", "2023-05-01")
    rng = np.random.default_rng(5)
    use = rng.uniform(5.0, 15.0, len(at))
    found = read_meter(meter(tmp_path, at, (1.2 * factor * use).tolist(), column), -6.0)
    total = float(use.sum())
    with pytest.raises(InputError) as error:
        fit_faults.refuse_units(found, column, Reach(0.7 * total, total, 1.5 * total))
    said = str(error.value)
    assert f"looks like {unit} (" in said or f"or {unit} (" in said
    right = read_meter(meter(tmp_path, at, (1.2 * use).tolist(), column), -6.0)
    assert fit_faults.refuse_units(right, column, Reach(0.7 * total, total, 1.5 * total)) == []


def test_a_total_that_no_unit_explains_is_cautioned(tmp_path: Path) -> None:
    found = read_meter(meter(tmp_path, stamps("2023-03-01", "2023-05-01")), -6.0)
    total = float(found.columns[KWH].sum())
    (said,) = fit_faults.refuse_units(found, KWH, Reach(0.4 * total, 0.5 * total, 0.6 * total))
    assert "2 times" in said


def test_a_meter_that_stood_still_or_caught_up_is_cautioned(tmp_path: Path) -> None:
    at = stamps("2023-03-01", "2023-05-01")
    rng = np.random.default_rng(5)
    plain: list[object] = rng.uniform(5.0, 15.0, len(at)).tolist()
    assert fit_faults.still(read_meter(meter(tmp_path, at, plain), -6.0), 20.0) == []
    zero, same, jump = list(plain), list(plain), list(plain)
    zero[100:300], same[100:160], jump[500] = [0.0] * 200, [7.25] * 60, 900.0
    for values, words in (
        (zero, "0 in 200 rows from line 103"),
        (same, "the same 7.25 in 60 rows from line 103"),
        (jump, "900 kWh at line 503 is more than all parts"),
    ):
        (said,) = fit_faults.still(read_meter(meter(tmp_path, at, values), -6.0), 20.0)
        assert words in said
