"""Weather files with gaps and faults: short gaps filled as by hand, every fault refused by name."""

import re
from pathlib import Path

import numpy as np
import pytest
import weather_cases
from hypothesis import given, settings
from hypothesis import strategies as st
from weather_cases import CSV, CSV_WORD, EPW, EPW_CELL, Bench, Edit, keep

from hpwhsim.climate import weather_checks, weather_text
from hpwhsim.climate.typical_year import VARIABLES, read_weather
from hpwhsim.errors import InputError

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
own_cache = weather_cases.own_cache
lines = weather_cases.lines
bench = weather_cases.bench

# ---------------------------------------------------------------- gaps


@pytest.mark.independent
@pytest.mark.parametrize("code", ["99.9", "999", "9999", "-9900", "", "nan", "NA"])
@pytest.mark.parametrize("name", [CSV, EPW])
def test_three_hours_without_a_dry_bulb_are_filled(bench: Bench, name: str, code: str) -> None:
    """A straight line between the hours beside the gap, by hand; no other hour moves; it is said."""
    plain = bench.read(name, keep).dry_bulb_c.values
    data = bench.read(name, bench.put(name, "dry", range(1000, 1003), code))
    air = data.dry_bulb_c.values
    step = (plain[1003] - plain[999]) / 4.0
    assert air[1000:1003] == pytest.approx(plain[999] + step * np.array([1.0, 2.0, 3.0]), abs=1e-12)
    others = np.delete(np.arange(8760), [1000, 1001, 1002])
    assert np.array_equal(air[others], plain[others])
    line = bench.first(name) + 1001
    (caution,) = data.cautions
    assert f"{line}-{line + 2}" in caution
    assert "3 hours" in caution
    assert "dry" in caution.lower()


@pytest.mark.parametrize(
    ("name", "column", "code"),
    [
        (EPW, "dry", "99.9"),
        (EPW, "dew", "99.9"),
        (EPW, "rh", "999"),
        (EPW, "pressure", "999999"),
        (EPW, "ghi", "9999"),
        (EPW, "dni", "9999"),
        (EPW, "dhi", "9999"),
        (EPW, "wind", "999"),
        *((CSV, column, "-9900") for column in CSV_WORD),
    ],
)
def test_four_hours_of_a_missing_value_code_are_refused(
    bench: Bench, name: str, column: str, code: str
) -> None:
    """Codes of the EPW data dictionary and of the TMY3 manual (-9900), in each used column."""
    path = bench.file(name, bench.put(name, column, range(5000, 5004), code))
    with pytest.raises(InputError) as caught:
        read_weather(path)
    said = str(caught.value)
    line = bench.first(name) + 5001
    assert str(path) in said
    assert f"line {line}-{line + 3}" in said
    assert "allowed at most 3" in said
    assert (CSV_WORD[column] if name == CSV else f"(column {EPW_CELL[column] + 1})") in said


def test_codes_in_unused_columns_and_true_values_that_look_like_codes_pass(bench: Bench) -> None:
    """Albedo 99.0 stands in the shipped EPW; 999 mbar, 999 W/m² and 99.9 % humidity are real values."""
    data = bench.read(CSV, bench.put(CSV, "pressure", range(2000, 2010), "999"))
    assert data.cautions == ()
    assert np.all(data.pressure_pa.values[2000:2010] == 99_900.0)
    night = np.flatnonzero(bench.read(EPW, keep).relative_humidity.values == 1.0)[:5].tolist()
    humid = bench.read(EPW, bench.put(EPW, "rh", night, "99.9"))
    assert humid.cautions == ()
    assert humid.relative_humidity.values[night] == pytest.approx(0.999)


def test_missing_rows(bench: Bench) -> None:
    """Three missing rows are filled, their place known from the stamps beside them; four are refused."""
    for name in (CSV, EPW):
        plain = bench.read(name, keep)
        at = bench.first(name) + 3000
        data = bench.read(name, lambda text, at=at: text[:at] + text[at + 3 :])
        others = np.delete(np.arange(8760), [3000, 3001, 3002])
        for variable in set(VARIABLES) - {"humidity_ratio"}:
            assert np.array_equal(data[variable].values[others], plain[variable].values[others])
        middle = (plain.dry_bulb_c.values[2999] + plain.dry_bulb_c.values[3003]) / 2.0
        assert data.dry_bulb_c.values[3001] == pytest.approx(middle, abs=1e-12)
        assert any(f"after {at}" in c and "3 missing hourly rows" in c for c in data.cautions)
        with pytest.raises(InputError, match=rf"after line {at}: 4 hourly rows are missing.*8756 rows found"):
            bench.read(name, lambda text, at=at: text[:at] + text[at + 4 :])


def test_missing_row_beside_codes_counts_as_one_gap(bench: Bench) -> None:
    codes = bench.put(EPW, "dew", [3000, 3001, 3003], "99.9")
    with pytest.raises(InputError, match=r"dew point .*got 4 hours in a row"):
        bench.read(EPW, lambda text: [row for i, row in enumerate(codes(text)) if i != 8 + 3002])


def test_gap_over_new_year_closes_on_the_start(bench: Bench) -> None:
    plain = bench.read(CSV, keep).dry_bulb_c.values
    data = bench.read(CSV, bench.put(CSV, "dry", [8758, 8759, 0], "-9900"))
    step = (plain[1] - plain[8757]) / 4.0
    assert data.dry_bulb_c.values[[8758, 8759, 0]] == pytest.approx(plain[8757] + step * np.arange(1.0, 4.0))


def test_too_many_short_gaps(bench: Bench) -> None:
    """Every tenth hour missing is no typical year, though no gap is long."""
    with pytest.raises(InputError, match=r"Dry-bulb .*876 hours without a value.*allowed at most 438"):
        bench.read(CSV, bench.put(CSV, "dry", range(0, 8760, 10), "-9900"))


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(
    mask=st.lists(st.integers(0, 2919), max_size=60, unique=True),
    size=st.integers(1, 3),
    seed=st.integers(0, 2**32 - 1),
)
def test_repair_never_changes_a_given_hour(mask: list[int], size: int, seed: int) -> None:
    """Any pattern of short gaps: given hours stay, filled ones stay inside the range of the year."""
    values = np.random.default_rng(seed).normal(10.0, 8.0, 8760)
    lost = np.zeros(8760, dtype=np.bool_)
    for third in mask:
        if not lost[3 * third - 1]:
            lost[3 * third : 3 * third + size] = True
    place = weather_text.Place("invented", 40.0, -80.0, -5.0, 100.0)
    columns = {name: np.where(lost, np.nan, values) for name in weather_checks.LIMITS}
    rows = weather_text.Rows("EPW", place, "", columns, np.arange(9, 8769), (2001,) * 12)
    try:
        filled, cautions = weather_checks.fill_gaps(Path("invented"), rows, columns)
    except InputError:  # two gaps that touch
        runs = "".join("x" if m else " " for m in np.concatenate([lost, lost])).split()
        assert max(len(r) for r in runs) > 3
        return
    assert bool(cautions) == bool(lost.any())
    for column in filled.values():
        assert np.array_equal(column[~lost], values[~lost])
        assert values.min() <= column.min()
        assert column.max() <= values.max()


# ---------------------------------------------------------------- faults


def test_leap_year(bench: Bench) -> None:
    for name, stamp in ((CSV, "02/29/1988"), (EPW, "1988,2,29")):
        at = bench.first(name)

        def leap(text: list[str], at: int = at, stamp: str = stamp, name: str = name) -> list[str]:
            day = text[at + 58 * 24 : at + 59 * 24]
            old = r"^[^,]*" if name == CSV else r"^\d+,\d+,\d+"
            return text[: at + 59 * 24] + [re.sub(old, stamp, row) for row in day] + text[at + 59 * 24 :]

        with pytest.raises(InputError, match=r"8784 hourly rows with 29 February, a leap year.*8760"):
            bench.read(name, leap)


def test_doubled_row_and_wrong_order(bench: Bench) -> None:
    with pytest.raises(InputError, match=r"line 104: the same hour as line 103.*8761 rows found"):
        bench.read(CSV, lambda t: [*t[:103], t[102], *t[103:]])
    with pytest.raises(InputError, match=r"line 104: earlier than the row before it"):
        bench.read(CSV, lambda t: [*t[:102], t[103], t[102], *t[104:]])


def test_truncated_files(bench: Bench) -> None:
    with pytest.raises(InputError, match=r"ends with line 5002, 3760 hours before the end.*5000 rows found"):
        bench.read(CSV, lambda t: t[:5002])
    with pytest.raises(
        InputError, match=r"line 5002: got \d+ cells, allowed 71|line 5002: got \d+ cells, allowed 68"
    ):
        bench.read(CSV, lambda t: [*t[:5001], t[5001][:40]])
    with pytest.raises(InputError, match=r"line 5008: got \d+ cells, allowed 35"):
        bench.read(EPW, lambda t: [*t[:5007], t[5007][:60]])
    with pytest.raises(InputError, match="no hourly rows"):
        bench.read(EPW, lambda t: t[:8])


@pytest.mark.parametrize(
    ("name", "column", "value", "allowed"),
    [
        (CSV, "dry", "72.5", "-70 to 60"),
        (CSV, "dry", "-88", "-70 to 60"),
        (EPW, "dew", "45", "-80 to 40"),
        (EPW, "rh", "-1", "0 to 110"),
        (EPW, "rh", "140", "0 to 110"),
        (EPW, "pressure", "995", "45000 to 110000"),
        (CSV, "pressure", "700", "mbar"),
        (EPW, "ghi", "1600", "-10 to 1500"),
        (EPW, "wind", "-2", "0 to 75"),
        (EPW, "dry", "inf", "-70 to 60"),
    ],
)
def test_impossible_value_is_refused_with_its_line(
    bench: Bench, name: str, column: str, value: str, allowed: str
) -> None:
    path = bench.file(name, bench.put(name, column, [4321], value))
    with pytest.raises(InputError) as caught:
        read_weather(path)
    said = str(caught.value)
    assert f"{path}: line {bench.first(name) + 4322}, " in said
    assert allowed in said
    assert "got" in said


@pytest.mark.parametrize("value", ["abc", "12,5", "1O.0"])
def test_text_in_a_number_cell(bench: Bench, value: str) -> None:
    with pytest.raises(
        InputError, match=r"line 4324(, Dry-bulb \(C\): got '.*', allowed a number|: got \d+ cells)"
    ):
        bench.read(CSV, bench.put(CSV, "dry", [4321], value))


@pytest.mark.slow
def test_quotation_marks(bench: Bench) -> None:
    """Whole cells in quotation marks are read; a stray mark, which would swallow rows, is refused."""
    plain = bench.read(CSV, keep)
    quoted = bench.read(CSV, lambda t: [*t[:2], *('"' + row.replace(",", '","') + '"' for row in t[2:])])
    assert np.array_equal(quoted.dry_bulb_c.values, plain.dry_bulb_c.values)
    with pytest.raises(InputError, match="line 103: got a stray quotation mark"):
        bench.read(CSV, lambda t: [*t[:102], t[102].replace(",A,", ',"A,', 1), *t[103:]])


@pytest.mark.parametrize(
    ("name", "one", "two", "said"),
    [
        (CSV, "dry", "dew", r"Dew-point .*above the dry bulb in \d+ hours.*swapped"),
        (EPW, "dry", "dew", r"dew point .*above the dry bulb in \d+ hours.*swapped"),
        (CSV, "dry", "pressure", r"Dry-bulb .*allowed -70 to 60.*swapped"),
        (EPW, "dry", "pressure", r"dry bulb .*allowed -70 to 60.*swapped"),
        (EPW, "rh", "pressure", r"relative humidity .*allowed 0 to 110.*swapped"),
        (CSV, "dry", "rh", r"Dry-bulb .*allowed -70 to 60"),
        (CSV, "rh", "wind", r"Wspd .*allowed 0 to 75.*swapped"),
        (EPW, "rh", "ghi", r"relative humidity .*allowed 0 to 110.*swapped"),
        (CSV, "ghi", "dni", r"radiation columns are swapped"),
        (EPW, "ghi", "dhi", r"radiation columns are swapped"),
        (EPW, "dni", "dhi", r"radiation columns are swapped"),
    ],
)
def test_swapped_columns(bench: Bench, name: str, one: str, two: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        bench.read(name, bench.swap(name, one, two))


def test_missing_columns(bench: Bench) -> None:
    def drop(name: str, column: str, header: bool) -> Edit:
        at = bench.cell(name, column)
        first = bench.first(name) - int(header)

        def edit(text: list[str]) -> list[str]:
            return text[:first] + [
                ",".join(c for i, c in enumerate(row.split(",")) if i != at) for row in text[first:]
            ]

        return edit

    with pytest.raises(InputError, match=r"column 'Pressure \(mbar\)' not found"):
        bench.read(CSV, drop(CSV, "pressure", header=True))
    with pytest.raises(InputError, match=r"dew point .*allowed -80 to 40 °C .*swapped"):
        bench.read(EPW, drop(EPW, "dew", header=False))
    with pytest.raises(InputError, match=r"dew point .*allowed -80 to 40 °C .*swapped"):
        bench.read(EPW, drop(EPW, "dry", header=False))


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        (CSV, "36.100", "136.1", r"header latitude: got '136.1', allowed -90 to 90"),
        (CSV, "-79.950", "-279.9", r"header longitude: got '-279.9', allowed -180 to 180"),
        (EPW, "41.98300", "x", r"header latitude: got 'x'"),
        (EPW, "-6.0", "-600", r"header utc offset: got '-600', allowed -12 to 14"),
        (EPW, "201.0", "20100", r"header elevation: got '20100'"),
        (EPW, ",201.0", "", r"LOCATION: got 9 cells, allowed 10"),
    ],
)
def test_header_out_of_range(bench: Bench, name: str, old: str, new: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        bench.read(name, lambda t: [t[0].replace(old, new), *t[1:]])


def test_bad_stamps(bench: Bench) -> None:
    with pytest.raises(InputError, match=r"line 103, date and time: got 'x,.*allowed MM/DD/YYYY"):
        bench.read(CSV, lambda t: [*t[:102], "x" + t[102][10:], *t[103:]])
    with pytest.raises(InputError, match=r"line 103, date and time: got month 13"):
        bench.read(CSV, lambda t: [*t[:102], "13" + t[102][2:], *t[103:]])
    with pytest.raises(InputError, match=r"date and time: .*0:00, allowed"):
        bench.read(EPW, lambda t: [*t[:8], re.sub(r"^(\d+,\d+,\d+),1,", r"\1,0,", t[8]), *t[9:]])
    with pytest.raises(InputError, match=r"DATA PERIODS: got '1,4', allowed '1,1'"):
        bench.read(EPW, lambda t: [*t[:7], t[7].replace("PERIODS,1,1", "PERIODS,1,4"), *t[8:]])


def test_files_that_are_none(tmp_path: Path, root: Path) -> None:
    cases = {
        "empty.epw": (b"", "empty"),
        "blank.csv": (b"\n\n  \n", "empty"),
        "noise.epw": (np.random.default_rng(1).bytes(5000), "not text|neither TMY3 CSV nor EPW"),
        "other.csv": (b"time,temperature\n0,1\n", "neither TMY3 CSV nor EPW"),
        "torn.gz": ((root / "weather" / CSV).read_bytes()[:3000], "cannot be unpacked"),
        "bad.gz": (b"\x1f\x8b" + b"0" * 200, "cannot be unpacked"),
    }
    for name, (body, said) in cases.items():
        path = tmp_path / name
        path.write_bytes(body)
        with pytest.raises(InputError, match=said) as caught:
            read_weather(path)
        assert str(path) in str(caught.value)
        assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match="this is a folder"):
        read_weather(tmp_path)
    with pytest.raises(InputError, match="no such"):
        read_weather(tmp_path / "none.epw")
