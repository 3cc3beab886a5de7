"""Weather files: the right value in the right hour, the sun as witness, and every fault refused by name."""

import csv
import gzip
import hashlib
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pvlib import solarposition

from hpwhsim import disk_cache
from hpwhsim.climate import moist_air, weather_checks, weather_text
from hpwhsim.climate.typical_year import VARIABLES, read_weather
from hpwhsim.errors import InputError

SHIPPED = {
    "greensboro-nc-723170-tmy3.csv.gz": "TMY3",
    "sand-point-ak-703165-tmy3.csv.gz": "TMY3",
    "golden-co-724666-tmy3.csv.gz": "TMY3",
    "chicago-il-725300-tmy3.epw.gz": "EPW",
}
CSV, EPW = "greensboro-nc-723170-tmy3.csv.gz", "chicago-il-725300-tmy3.epw.gz"
# cell of each column: its place in an EPW row (data dictionary, from 0), its header word in a TMY3 CSV
EPW_CELL = {"dry": 6, "dew": 7, "rh": 8, "pressure": 9, "ghi": 13, "dni": 14, "dhi": 15, "wind": 21}
CSV_WORD = {
    "dry": "Dry-bulb (C)",
    "dew": "Dew-point (C)",
    "rh": "RHum (%)",
    "pressure": "Pressure (mbar)",
    "ghi": "GHI (W/m^2)",
    "dni": "DNI (W/m^2)",
    "dhi": "DHI (W/m^2)",
    "wind": "Wspd (m/s)",
}
Edit = Callable[[list[str]], list[str]]


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing kept by an earlier run may answer a test."""
    monkeypatch.setattr(disk_cache, "folder", lambda kind: tmp_path / "cache")


@pytest.fixture(scope="session")
def lines(root: Path) -> dict[str, list[str]]:
    """Raw lines of the shipped files, without line ends."""
    text = {name: gzip.decompress((root / "weather" / name).read_bytes()).decode("ascii") for name in SHIPPED}
    return {name: body.replace("\r\n", "\n").rstrip("\n").split("\n") for name, body in text.items()}


class Bench:
    """Edits a shipped file and reads the result."""

    def __init__(self, folder: Path, lines: dict[str, list[str]]) -> None:
        self.folder, self.lines = folder, lines

    def file(self, name: str, edit: Edit, end: str = "\n") -> Path:
        """Path of an edited copy of the shipped file `name`."""
        path = self.folder / name.removesuffix(".gz")
        path.write_bytes((end.join(edit(list(self.lines[name]))) + end).encode("latin-1"))
        return path

    def read(self, name: str, edit: Edit) -> xr.Dataset:
        """Dataset of an edited copy."""
        return read_weather(self.file(name, edit))

    def first(self, name: str) -> int:
        """List index of the first hourly row."""
        return 8 if SHIPPED[name] == "EPW" else 2

    def cell(self, name: str, column: str) -> int:
        """Place of a column in the rows of a file."""
        return (
            EPW_CELL[column]
            if SHIPPED[name] == "EPW"
            else self.lines[name][1].split(",").index(CSV_WORD[column])
        )

    def put(self, name: str, column: str, hours: range | list[int], value: str) -> Edit:
        """Edit that writes `value` in a column for some hours of the year."""

        def edit(text: list[str]) -> list[str]:
            for hour in hours:
                row = text[self.first(name) + hour].split(",")
                row[self.cell(name, column)] = value
                text[self.first(name) + hour] = ",".join(row)
            return text

        return edit

    def swap(self, name: str, one: str, two: str) -> Edit:
        """Edit that exchanges the cells of two columns in every row, under an unchanged header."""

        def edit(text: list[str]) -> list[str]:
            i, j = self.cell(name, one), self.cell(name, two)
            for at in range(self.first(name), len(text)):
                row = text[at].split(",")
                row[i], row[j] = row[j], row[i]
                text[at] = ",".join(row)
            return text

        return edit


@pytest.fixture
def bench(tmp_path: Path, lines: dict[str, list[str]]) -> Bench:
    return Bench(tmp_path, lines)


def keep(text: list[str]) -> list[str]:
    return text


def sun_up(data: xr.Dataset, fraction: float = 0.5) -> NDArray[np.float64]:
    """Cosine of the zenith by the NREL solar position algorithm, which the reader does not use."""
    utc = pd.DatetimeIndex(data.time.values) + pd.Timedelta(hours=fraction - data.utc_offset_h)
    position = solarposition.get_solarposition(utc.tz_localize("UTC"), data.latitude, data.longitude)
    return np.cos(np.deg2rad(position["zenith"].to_numpy())).clip(0.0)


# ---------------------------------------------------------------- what is read


@pytest.mark.parametrize("name", SHIPPED)
def test_form_of_the_dataset(root: Path, name: str) -> None:
    data = read_weather(root / "weather" / name)
    assert dict(data.sizes) == {"time": 8760}
    assert data.time.dtype == "datetime64[ns]"
    assert data.time.values[0] == np.datetime64("2001-01-01T00:00")
    assert np.all(np.diff(data.time.values) == np.timedelta64(1, "h"))
    assert set(data.data_vars) == set(VARIABLES)
    for variable in data.data_vars.values():
        assert variable.dtype == np.float64
        assert variable.attrs["units"]
        assert variable.attrs["long_name"]
        assert np.all(np.isfinite(variable))
    assert data.source_format == SHIPPED[name]
    assert data.cautions == ()
    assert len(data.source_years) == 12


def test_published_station_facts(root: Path) -> None:
    """The table in weather/README.md, and its checksums against the bytes."""
    text = (root / "weather" / "README.md").read_text(encoding="utf-8")
    for name in SHIPPED:
        data = read_weather(root / "weather" / name)
        row = next(line for line in text.splitlines() if name in line and " / " in line)
        cells = [c.strip() for c in row.split("|")]
        low, mean, high = (float(c) for c in cells[7].split(" / "))
        air = data.dry_bulb_c.values
        assert (air.min(), round(float(air.mean()), 2), air.max()) == (low, mean, high)
        assert (data.elevation_m, data.utc_offset_h) == (float(cells[5]), float(cells[6]))
        assert cells[3] in data.station
        raw = gzip.decompress((root / "weather" / name).read_bytes())
        assert data.sha256 == hashlib.sha256(raw).hexdigest()
        assert f"`{data.sha256}`" in text


@pytest.mark.parametrize("hour", [0, 12, 31 * 24 - 1, 31 * 24, 59 * 24 + 13, 4000, 8759])
def test_known_value_in_known_hour(root: Path, lines: dict[str, list[str]], hour: int) -> None:
    """The row whose stamp is the end of the hour: 01/01 01:00 is the hour that starts at 00:00 (TMY3 manual).

    Read from the raw text by its date and time; the hour that starts at 00:00 has the stamp 01:00.
    """
    start = np.datetime64("2001-01-01T00:00") + np.timedelta64(hour, "h")
    stamp = pd.Timestamp(start)
    for name, form in SHIPPED.items():
        data = read_weather(root / "weather" / name).sel(time=start)
        if form == "EPW":
            want = (stamp.month, stamp.day, stamp.hour + 1)
            row = next(r for r in csv.reader(lines[name][8:]) if tuple(int(c) for c in r[1:4]) == want)
            found = [float(row[i]) for i in EPW_CELL.values()]
        else:
            head = lines[name][1].split(",")
            day, clock = f"{stamp.month:02d}/{stamp.day:02d}", f"{stamp.hour + 1:02d}:00"
            row = next(r for r in csv.reader(lines[name][2:]) if r[0][:5] == day and r[1] == clock)
            found = [float(row[head.index(word)]) for word in CSV_WORD.values()]
            found[3] *= 100.0
        found[2] /= 100.0
        got = [float(data[v]) for v in VARIABLES if v != "humidity_ratio"]
        assert got == pytest.approx(found, rel=1e-12)
        year = int(row[0]) if form == "EPW" else int(row[0][-4:])
        assert read_weather(root / "weather" / name).source_years[stamp.month - 1] == year


def test_humidity_ratio_is_that_of_the_dew_point(root: Path) -> None:
    """Golden, hour 0: dew point -4.0 °C at 806 mbar; 455.2 Pa over water by the formula of WMO-No. 8.

    0.621945 x 455.2 / (80600 - 455.2) = 0.003533; the formulas differ by 0.1 %.
    """
    data = read_weather(root / "weather" / "golden-co-724666-tmy3.csv.gz").isel(time=0)
    assert (float(data.dew_point_c), float(data.pressure_pa)) == (-4.0, 80_600.0)
    assert float(data.humidity_ratio) == pytest.approx(0.003533, abs=5e-6)


@pytest.mark.parametrize("name", SHIPPED)
def test_sun_stands_where_it_should(root: Path, name: str) -> None:
    """No radiation with the sun below the horizon for the whole hour, and the day's middle within 0.5 h.

    Sun by the NREL algorithm of pvlib. Clouds that prefer an afternoon move the middle of a typical year's
    radiation by up to 0.5 h; a wrong hour moves it by a full one.
    """
    data = read_weather(root / "weather" / name)
    ghi = data.ghi_w_m2.values
    dark = (sun_up(data, 0.0) + sun_up(data, 0.5) + sun_up(data, 1.0)) == 0.0
    assert ghi[dark].sum() < 0.002 * ghi.sum()
    hour = np.arange(8760) % 24 + 0.5
    cosine = sun_up(data)
    assert np.average(hour, weights=ghi) == pytest.approx(np.average(hour, weights=cosine), abs=0.5)


def test_both_formats_of_golden_and_chicago_agree_by_position(root: Path, shared: Path) -> None:
    """Golden is one file in both places; Chicago's 2015 edition differs from 2008 in direct sun only.

    shared/weather/README.md: same dry bulb, dew point, humidity, pressure, wind, global and diffuse.
    """
    golden = read_weather(root / "weather" / "golden-co-724666-tmy3.csv.gz")
    assert golden.identical(read_weather(shared / "weather" / "golden-co-724666-tmy3.csv"))
    new, old = (
        read_weather(p) for p in (root / "weather" / EPW, shared / "weather" / "chicago-il-725300-tmy3.epw")
    )
    for name in set(VARIABLES) - {"dni_w_m2"}:
        assert np.array_equal(new[name].values, old[name].values), name
    assert np.count_nonzero(new.dni_w_m2.values != old.dni_w_m2.values) == 192


def test_epw_and_csv_of_the_same_rows_agree(bench: Bench) -> None:
    """Greensboro's rows written as EPW (hour 1 to 24, pressure in Pa) give the dataset of the CSV."""
    data = bench.read(CSV, keep)
    rows = list(csv.reader(bench.lines[CSV][2:]))
    at = {column: bench.cell(CSV, column) for column in EPW_CELL}

    def rewrite(text: list[str]) -> list[str]:
        head = ["LOCATION,Greensboro,NC,USA,TMY3,723170,36.100,-79.950,-5.0,273", *text[1:8]]
        for row, old in zip(rows, text[8:], strict=True):
            cells = old.split(",")
            cells[0] = row[0][-4:]
            for column, place in EPW_CELL.items():
                cells[place] = row[at[column]] + ("00" if column == "pressure" else "")
            head.append(",".join(cells))
        return head

    other = bench.read(EPW, rewrite)
    for name in VARIABLES:
        assert np.array_equal(data[name].values, other[name].values), name
    assert other.source_years == data.source_years


def test_trial_files_have_the_published_means_and_no_cautions(shared: Path) -> None:
    """All twelve files of shared/weather: min, mean and max dry bulb and mean dew point of its README."""
    text = (shared / "weather" / "README.md").read_text(encoding="utf-8")
    rows = [
        [c.strip() for c in line.split("|")]
        for line in text.splitlines()
        if re.match(r"\| [a-z-]+-(\d{6}-tmy3|pvgis-tmy)\.(epw|csv) \| .* / .* / ", line)
    ]
    assert len(rows) == 12
    for row in rows:
        data = read_weather(shared / "weather" / row[1])
        air = data.dry_bulb_c.values
        low, mean, high = (float(c) for c in row[7].split(" / "))
        assert (round(float(air.min()), 1), round(float(air.max()), 1)) == (low, high)
        assert float(air.mean()) == pytest.approx(mean, abs=0.0051)
        assert float(data.dew_point_c.mean()) == pytest.approx(float(row[8]), abs=0.051)
        assert data.source_format == ("EPW" if "EPW" in row[4] else "TMY3")
        if "pvgis" not in row[1]:
            assert data.cautions == ()


# ---------------------------------------------------------------- UTC order


def test_pvgis_file_is_moved_to_local_time(shared: Path) -> None:
    """Piedmont: UTC order under a UTC+1 header. The sun by the NREL algorithm, 11 min into each hour.

    After the move the middle of the day's radiation is within 0.15 h of the sun's; without it 0.9 h off.
    """
    path = shared / "weather" / "piedmont-it-pvgis-tmy.epw"
    data = read_weather(path)
    raw = path.read_text(encoding="ascii").splitlines()[8:]
    dry = np.array([float(row.split(",")[6]) for row in raw])
    assert np.array_equal(data.dry_bulb_c.values[1:], dry[:-1])
    assert data.dry_bulb_c.values[0] == dry[-1]
    hour = np.arange(8760) % 24.0
    ghi = data.ghi_w_m2.values
    sun = np.average(hour, weights=sun_up(data, 0.1761))
    assert np.average(hour, weights=ghi) == pytest.approx(sun, abs=0.15)
    assert abs(np.average(hour, weights=np.roll(ghi, -1)) - sun) > 0.8
    assert any("PVGIS" in c and "+1 h" in c for c in data.cautions)
    assert any("11 min after the start of each hour" in c for c in data.cautions)


def pvgis(bench: Bench, offset: str, roll: int) -> Edit:
    """Chicago with the remark of PVGIS, a header offset, and its cells moved against the stamps."""

    def edit(text: list[str]) -> list[str]:
        place = text[0].split(",")
        place[8] = offset
        rows = [row.split(",") for row in text[8:]]
        moved = [a[:6] + b[6:] for a, b in zip(rows, rows[-roll:] + rows[:-roll], strict=True)]
        head = [",".join(place), *text[1:6], "COMMENTS 2,PVGIS (c) European Union", text[7]]
        return head + [",".join(row) for row in moved]

    return edit


def test_western_pvgis_file_is_moved_the_other_way(bench: Bench) -> None:
    """Chicago's rows in UTC order (6 h later) under UTC-6 come back as Chicago."""
    plain = bench.read(EPW, keep)
    moved = bench.read(EPW, pvgis(bench, "-6.0", 6))
    for name in VARIABLES:
        assert np.array_equal(moved[name].values, plain[name].values), name
    assert any("UTC order" in c and "-6 h" in c for c in moved.cautions)


def test_pvgis_file_in_local_order_stays(bench: Bench) -> None:
    moved = bench.read(EPW, pvgis(bench, "-6.0", 8760))
    assert np.array_equal(moved.dry_bulb_c.values, bench.read(EPW, keep).dry_bulb_c.values)
    assert moved.cautions == ()


def test_pvgis_file_with_a_broken_offset_is_rounded_and_says_so(bench: Bench) -> None:
    """UTC-5:30 header, rows in UTC order: the axis is UTC-5 (half hours round up)."""
    data = bench.read(EPW, pvgis(bench, "-5.5", 6))
    assert data.utc_offset_h == -5.0
    assert any("UTC-5" in c and "whole hour" in c for c in data.cautions)
    hour = np.arange(8760) % 24 + 0.5
    sun = np.average(hour, weights=sun_up(data))
    assert np.average(hour, weights=data.ghi_w_m2.values) == pytest.approx(sun, abs=0.2)


def test_other_file_with_a_wrong_clock_gets_a_caution(bench: Bench) -> None:
    """A longitude with the wrong sign puts Chicago's noon 12 h away; the rows are not touched."""

    def east(text: list[str]) -> list[str]:
        return [text[0].replace("-87.917", "87.917"), *text[1:]]

    data = bench.read(EPW, east)
    assert any("sun in the file" in c and "longitude 87.917" in c for c in data.cautions)
    assert np.array_equal(data.dry_bulb_c.values, bench.read(EPW, keep).dry_bulb_c.values)


# ---------------------------------------------------------------- how the text may look


@pytest.mark.parametrize("name", [CSV, EPW])
@pytest.mark.parametrize(
    ("encoding", "mark", "end"),
    [
        ("utf-8", b"\xef\xbb\xbf", "\r\n"),
        ("utf-16", b"", "\r\n"),
        ("utf-16-le", b"", "\n"),
        ("utf-16-be", b"", "\n"),
        ("latin-1", b"", "\r"),
    ],
)
def test_encodings_and_line_ends(bench: Bench, name: str, encoding: str, mark: bytes, end: str) -> None:
    text = list(bench.lines[name])
    text[0] = text[0].replace("Chicago", "Zürich").replace("GREENSBORO", "ZÜRICH")
    path = bench.folder / "odd name.dat"
    path.write_bytes(mark + (end.join(text) + end).encode(encoding))
    data, plain = read_weather(path), bench.read(name, keep)
    assert "rich" in data.station.lower()
    assert "ü" in data.station.lower()
    assert data.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    for variable in VARIABLES:
        assert np.array_equal(data[variable].values, plain[variable].values)


def test_format_is_found_by_content(bench: Bench) -> None:
    """A gzip-compressed EPW named .csv, and a plain TMY3 named .epw."""
    one, two = bench.folder / "a.csv", bench.folder / "b.epw"
    one.write_bytes(gzip.compress("\n".join(bench.lines[EPW]).encode()))
    two.write_text("\n".join(bench.lines[CSV]), encoding="ascii")
    assert read_weather(one).source_format == "EPW"
    assert read_weather(two).source_format == "TMY3"


def test_station_names_with_commas_and_letters_in_the_id(bench: Bench) -> None:
    def tmy3(text: list[str]) -> list[str]:
        return ['72317A,"GREENSBORO, PIEDMONT",NC,-5.0,36.100,-79.950,273', *text[1:]]

    def epw(text: list[str]) -> list[str]:
        return [text[0].replace("Chicago OHare Intl AP", '"Chicago, OHare"'), *text[1:]]

    assert bench.read(CSV, tmy3).station == "GREENSBORO, PIEDMONT NC 72317A"
    assert bench.read(EPW, epw).station == "Chicago, OHare IL USA 725300"


def test_spreadsheet_leftovers_are_harmless(bench: Bench) -> None:
    """Blank lines, empty cells after the last column, dates without leading zeros, 00:00 for 24:00."""

    def tidy(text: list[str]) -> list[str]:
        body = [re.sub(r"^0?(\d+)/0?(\d+)/", r"\1/\2/", row) + ",," for row in text[2:]]
        return [text[0] + ",,", text[1] + ",,", *body, "", ",,,", "\x1a"]

    plain = bench.read(CSV, keep)
    assert np.array_equal(bench.read(CSV, tidy).dry_bulb_c.values, plain.dry_bulb_c.values)

    def midnight(text: list[str]) -> list[str]:
        days = [row.split(",")[0] for row in text[2::24]]
        return [
            re.sub(r"^[^,]*,24:00", f"{days[((i - 1) // 24) % 365]},00:00", row) if i > 1 else row
            for i, row in enumerate(text)
        ]

    assert np.array_equal(bench.read(CSV, midnight).dry_bulb_c.values, plain.dry_bulb_c.values)


# ---------------------------------------------------------------- gaps


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
        "torn.gz": ((root / "weather" / CSV).read_bytes()[:3000], "cannot be read"),
        "bad.gz": (b"\x1f\x8b" + b"0" * 200, "cannot be read"),
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
    with pytest.raises(InputError, match="no such weather file"):
        read_weather(tmp_path / "none.epw")


# ---------------------------------------------------------------- kept, with a caution


def test_frost_in_a_florida_april_is_said(shared: Path, tmp_path: Path) -> None:
    """-18 °C in Miami in April: an hour and two days (rule of the season), 20 days (rule of the latitude)."""
    text = (shared / "weather" / "miami-fl-722020-tmy3.epw").read_text(encoding="ascii").splitlines()
    april = 8 + 90 * 24 + 100
    for hours, rule in ((1, "far from all days"), (48, "far from all days"), (480, "latitude 25.82")):
        rows = list(text)
        for at in range(april, april + hours):
            cells = rows[at].split(",")
            cells[6], cells[7], cells[8] = f"{-18.0 - at % 2}", "-20.0", "80"
            rows[at] = ",".join(cells)
        path = tmp_path / f"miami-{hours}.epw"
        path.write_text("\n".join(rows), encoding="ascii")
        data = read_weather(path)
        assert any(rule in c and f"{april + 1}" in c for c in data.cautions), data.cautions
        assert data.dry_bulb_c.values[april - 8] == -18.0 - april % 2


def test_stuck_sensor_and_wrong_elevation_are_said(bench: Bench) -> None:
    data = bench.read(CSV, bench.put(CSV, "dry", range(5000, 5060), "27.0"))
    assert any("without any change for 48 hours" in c for c in data.cautions)
    data = bench.read(EPW, lambda t: [t[0].replace("201.0", "2010"), *t[1:]])
    assert any("elevation of 2010 m" in c for c in data.cautions)


def test_humidity_just_above_100_and_slightly_negative_sun_are_held_and_said(bench: Bench) -> None:
    data = bench.read(EPW, bench.put(EPW, "rh", [10, 11], "103"))
    assert np.all(data.relative_humidity.values[10:12] == 1.0)
    assert any("2 hours (line 19-20) held at 100 %" in c for c in data.cautions)
    data = bench.read(EPW, bench.put(EPW, "ghi", [2], "-1.5"))
    assert data.ghi_w_m2.values[2] == 0.0
    assert any("1 hours (line 11) held at 0" in c for c in data.cautions)


def test_few_dew_points_above_the_dry_bulb_are_said(bench: Bench) -> None:
    data = bench.read(CSV, bench.put(CSV, "dew", [4000], "38"))
    assert any("above the dry bulb in 1 hours (line 4003)" in c for c in data.cautions)
    hour = data.isel(time=4000)
    saturated = moist_air.humidity_ratio_at_saturation(float(hour.dry_bulb_c), float(hour.pressure_pa))
    assert float(hour.humidity_ratio) == pytest.approx(float(saturated), rel=1e-12)


def test_radiation_that_does_not_add_up_is_said(bench: Bench) -> None:
    data = bench.read(EPW, bench.put(EPW, "dni", range(8760), "0"))
    assert any("global radiation differs from direct and diffuse" in c for c in data.cautions)


def test_real_jumps_pass(bench: Bench) -> None:
    """shared/weather/README.md: jumps of 16 K between two hours are real; here 16 K down in Greensboro."""
    air = bench.read(CSV, keep).dry_bulb_c.values
    hot = int(np.argmax(air))
    data = bench.read(CSV, bench.put(CSV, "dry", [hot + 1], f"{air[hot] - 16.0:.1f}"))
    assert not any("far from" in c or "latitude" in c for c in data.cautions)


# ---------------------------------------------------------------- kept on disk


def test_kept_year_is_the_read_year(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A, B, A: the second A comes from disk without the parser and is identical."""
    a = bench.file(CSV, bench.put(CSV, "dry", [7], ""))
    first, other = read_weather(a), bench.read(EPW, keep)
    with monkeypatch.context() as patch:
        patch.setattr("hpwhsim.climate.typical_year.parse", lambda *_: pytest.fail("parsed again"))
        again = read_weather(a)
    assert again.identical(first)
    assert not again.identical(other)
    assert isinstance(again.cautions, tuple)
    assert isinstance(again.source_years, tuple)


def test_edited_file_is_read_anew_and_a_damaged_store_is_no_harm(bench: Bench) -> None:
    first = bench.read(CSV, keep)
    edited = bench.read(CSV, bench.put(CSV, "dry", [100], "11.3"))
    assert edited.dry_bulb_c.values[100] == 11.3 != first.dry_bulb_c.values[100]
    for kept in disk_cache.folder("weather").iterdir():
        kept.write_bytes(b"PK damaged")
    assert bench.read(CSV, keep).identical(first)


def test_unwritable_store_is_no_harm(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = bench.folder / "file"
    blocked.write_text("a file where the folder should be", encoding="ascii")
    monkeypatch.setattr(disk_cache, "folder", lambda kind: blocked / "cache")
    assert bench.read(CSV, keep).sizes["time"] == 8760
