"""Weather files: the right value in the right hour, the sun as witness, whatever the text looks like."""

import csv
import gzip
import hashlib
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import weather_cases
import xarray as xr
from numpy.typing import NDArray
from pvlib import solarposition
from weather_cases import CSV, CSV_WORD, EPW, EPW_CELL, SHIPPED, Bench, Edit, keep

from hpwhsim.climate import typical_year
from hpwhsim.climate.typical_year import VARIABLES, read_weather, read_year
from hpwhsim.io import disk_cache

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
own_cache = weather_cases.own_cache
lines = weather_cases.lines
bench = weather_cases.bench


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


@pytest.mark.published
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
        assert data.country == "USA"  # a cell of the EPW's first line; TMY3 is of the United States alone
        raw = gzip.decompress((root / "weather" / name).read_bytes())
        assert data.sha256 == hashlib.sha256(raw).hexdigest()
        assert f"`{data.sha256}`" in text


@pytest.mark.published
def test_shipped_headers_hold_the_station_alone(root: Path, lines: dict[str, list[str]]) -> None:
    """No comment, design condition, ground temperature, typical period; the rows are those of the README."""
    head = lines[EPW][:8]
    assert head[1:4] == ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    assert head[5:7] == ["COMMENTS 1,", "COMMENTS 2,"]
    raw = gzip.decompress((root / "weather" / EPW).read_bytes())
    rows = b"\r\n".join(raw.split(b"\r\n")[8:])
    assert f"`{hashlib.sha256(rows).hexdigest()}`" in (root / "weather" / "README.md").read_text("utf-8")


@pytest.mark.independent
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


@pytest.mark.published
def test_humidity_ratio_is_that_of_the_dew_point(root: Path) -> None:
    """Golden, hour 0: dew point -4.0 °C at 806 mbar; 455.2 Pa over water by the formula of WMO-No. 8.

    0.621945 x 455.2 / (80600 - 455.2) = 0.003533; the formulas differ by 0.1 %.
    """
    data = read_weather(root / "weather" / "golden-co-724666-tmy3.csv.gz").isel(time=0)
    assert (float(data.dew_point_c), float(data.pressure_pa)) == (-4.0, 80_600.0)
    assert float(data.humidity_ratio) == pytest.approx(0.003533, abs=5e-6)


@pytest.mark.independent
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


@pytest.mark.independent
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


@pytest.mark.slow
@pytest.mark.independent
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


@pytest.mark.slow
@pytest.mark.published
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


@pytest.mark.independent
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


@pytest.mark.independent
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


@pytest.mark.parametrize(("cell", "country"), [("ita", "ITA"), ("unknown", ""), ("-", "")])
def test_the_country_of_a_station_is_its_cell_or_not_known(bench: Bench, cell: str, country: str) -> None:
    """ISO 3166-1 has three letters; PVGIS writes 'unknown'."""
    assert bench.read(EPW, lambda text: [text[0].replace(",USA,", f",{cell},"), *text[1:]]).country == country


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


# ---------------------------------------------------------------- kept on disk


@pytest.mark.law
def test_kept_year_is_the_read_year(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A, B, A: the second A comes from disk without the parser and is identical."""
    a = bench.file(CSV, bench.put(CSV, "dry", [7], ""))
    first, other = read_weather(a), bench.read(EPW, keep)
    typical_year._year.cache_clear()  # not from memory
    with monkeypatch.context() as patch:
        patch.setattr("hpwhsim.climate.typical_year.parse", lambda *_: pytest.fail("parsed again"))
        again = read_weather(a)
    assert again.identical(first)
    assert not again.identical(other)
    assert isinstance(again.cautions, tuple)
    assert isinstance(again.source_years, tuple)


@pytest.mark.law
def test_a_year_in_memory_is_that_of_the_file_and_nobody_writes_to_it(bench: Bench) -> None:
    """The arrays are shared; a dataset has its own; a file of another content under the same name is read."""
    path = bench.file(CSV, keep)
    year = read_year(path)
    assert read_year(path) is year
    with pytest.raises(ValueError, match="read-only"):
        year["dry_bulb_c"].values[0] = 99.0
    data = year.to_dataset()
    assert {name: data[name].values.tolist() for name in VARIABLES} == {
        name: column.values.tolist() for name, column in year.columns.items()
    }
    data["dry_bulb_c"].values[0] = 99.0
    assert read_year(path)["dry_bulb_c"].values[0] != 99.0
    text = path.read_bytes()
    path.write_bytes(bench.file(CSV, bench.put(CSV, "dry", [100], "11.3")).read_bytes())
    assert read_year(path)["dry_bulb_c"].values[100] == 11.3
    path.write_bytes(text)
    assert read_year(path)["dry_bulb_c"].values[100] == year["dry_bulb_c"].values[100]


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
