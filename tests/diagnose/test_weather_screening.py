"""What is said of a weather file, against the file itself, other readers, and hand counts."""

import csv
import gzip
import json
import re
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from cases import CHICAGO, GOLDEN, GREENSBORO, ROOT, SAND_POINT, refusal
from pvlib.iotools import read_epw, read_tmy3

from hpwhsim.cli import main as cli
from hpwhsim.diagnose.weather_report import weather_figure, weather_text
from hpwhsim.diagnose.weather_screening import describe

pytestmark = pytest.mark.contract

FILES = {"chicago": CHICAGO, "golden": GOLDEN, "greensboro": GREENSBORO, "sand-point": SAND_POINT}


def text_of(path: Path) -> str:
    return gzip.decompress(path.read_bytes()).decode("ascii")


def by_pvlib(path: Path) -> pd.DataFrame:
    """Dry bulb and humidity of a file through pvlib, on the start of each hour of 2001."""
    stream = StringIO(text_of(path))
    frame, _ = read_epw(stream) if path == CHICAGO else read_tmy3(stream)
    index = pd.date_range("2001-01-01", periods=8760, freq="h")  # by position: months are of many years
    return pd.DataFrame(
        {"air": frame["temp_air"].to_numpy(float), "rh": frame["relative_humidity"].to_numpy(float)}, index
    )


@pytest.mark.independent
@pytest.mark.parametrize("path", FILES.values(), ids=FILES)
def test_figures_against_pvlib_and_pandas(path: Path) -> None:
    """Every count and mean again from pvlib's table with pandas; same numbers, so 1e-9 for the sums."""
    record: Any = describe(path, [-18.0]).record
    frame = by_pvlib(path)
    air, daily = frame.air, frame.air.resample("D").mean()
    said = record["dry_bulb"]
    assert said["min_c"] == air.min()
    assert pd.Timestamp(said["min_time"]) == air.idxmin()
    assert said["max_c"] == air.max()
    assert pd.Timestamp(said["max_time"]) == air.idxmax()
    assert said["mean_c"] == pytest.approx(air.mean(), abs=1e-9)
    assert [row["below_c"] for row in record["hours_below"]] == [0.0, -10.0, -15.0, -18.0, -20.0, -25.0]
    for row in record["hours_below"]:
        assert row["hours"] == (air < row["below_c"]).sum()
    assert record["humid_frost_hours"] == (air.between(-5.0, 5.0) & (frame.rh > 80.0)).sum()
    degree_days = (18.3 - daily).clip(lower=0.0).sum()
    assert record["heating_degree_days_k"] == pytest.approx(degree_days, abs=1e-9)
    assert pd.Timestamp(record["coldest_day"]["first_day"]) == daily.idxmin()
    assert record["coldest_day"]["mean_c"] == pytest.approx(daily.min(), abs=1e-9)
    three = daily.rolling(3).mean()  # none of these years has its coldest days across New Year
    assert pd.Timestamp(record["coldest_three_days"]["last_day"]) == three.idxmin()
    assert record["coldest_three_days"]["mean_c"] == pytest.approx(three.min(), abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("path", FILES.values(), ids=FILES)
def test_percentiles_are_exceeded_in_their_share_of_the_year(path: Path) -> None:
    """ASHRAE Fundamentals, Climatic Design Information (from memory): 99.6 % and 99 % of 8760 h are 35 and
    88 h colder. Values repeat (whole tenths or degrees), so no more than that are colder, and with the hours
    that tie more than that are no warmer; numpy's own quantile lies within a step of the sorted values.
    """
    air = np.sort(by_pvlib(path).air.to_numpy())
    said: Any = describe(path).record["dry_bulb"]
    for key, hours, share in (("99_6", 35, 0.004), ("99", 88, 0.01)):
        value = said[f"annual_{key}_percent_c"]
        assert (air < value).sum() <= hours < (air <= value).sum()
        assert air[hours - 1] <= np.quantile(air, share) <= air[hours + 1]
        assert air[hours - 1] <= value <= air[hours + 1]


@pytest.mark.published
def test_header_facts() -> None:
    """Figures of the first lines: LOCATION of the EPW, line 1 of the TMY3 CSV (USAF id, name, ...)."""
    head = text_of(CHICAGO).splitlines()[0].split(",")
    record: Any = describe(CHICAGO).record
    keys = ("latitude", "longitude", "utc_offset_h", "elevation_m")
    assert [record[key] for key in keys] == [float(cell) for cell in head[6:10]]
    assert head[1] in record["station"]
    assert (record["format"], record["hours"]) == ("EPW", 8760)
    cells = next(csv.reader([text_of(GOLDEN).splitlines()[0]]))
    record = describe(GOLDEN).record
    keys = ("utc_offset_h", "latitude", "longitude", "elevation_m")
    assert [record[key] for key in keys] == [float(cell) for cell in cells[3:7]]
    assert cells[1] in record["station"]
    rows = text_of(GOLDEN).splitlines()[2:]
    years = {row[:2]: int(row[6:10]) for row in reversed(rows)}  # of the first row of each month
    assert record["years_of_months"] == [years[f"{month:02d}"] for month in range(1, 13)]


@pytest.mark.published
@pytest.mark.parametrize(("path", "first", "hour"), [(CHICAGO, 8, 6), (GOLDEN, 2, 4)])
def test_the_coldest_hour_is_where_the_row_says(path: Path, first: int, hour: int) -> None:
    """EPW counts hours from 1, TMY3 stamps the end of the hour: row k of either begins at hour k - 1."""
    rows = [row.split(",") for row in text_of(path).splitlines()[first:]]
    dry = 6 if path == CHICAGO else text_of(path).splitlines()[1].split(",").index("Dry-bulb (C)")
    coldest = min(rows, key=lambda row: float(row[dry]))
    said: Any = describe(path).record["dry_bulb"]
    stamp = int(coldest[3]) if path == CHICAGO else int(coldest[1][:2])
    month, day = coldest[1:3] if path == CHICAGO else coldest[0].split("/")[:2]
    assert said["min_time"] == f"2001-{int(month):02d}-{int(day):02d}T{stamp - 1:02d}:00"
    assert int(said["min_time"][11:13]) == hour


@pytest.mark.published
def test_the_table_of_the_shipped_files(root: Path) -> None:
    """weather/README.md, made apart from this program: minimum, mean and maximum to its digits."""
    table = (root / "weather" / "README.md").read_text(encoding="utf-8")
    for path in FILES.values():
        row = next(line for line in table.splitlines() if line.startswith(f"| `{path.name}` |"))
        low, mean, high = re.findall(r"(-?[\d.]+) / (-?[\d.]+) / (-?[\d.]+)", row)[0]
        said: Any = describe(path).record["dry_bulb"]
        assert (said["min_c"], said["max_c"]) == (float(low), float(high))
        assert said["mean_c"] == pytest.approx(float(mean), abs=0.0051)


@pytest.mark.slow
@pytest.mark.published
def test_the_table_of_the_trial_files(shared: Path) -> None:
    """The table beside the trial weather, made apart: degree-days, cold percentiles and extremes of twelve
    climates to the digits it prints (half of the last one allowed).
    """
    table = (shared / "weather" / "README.md").read_text(encoding="utf-8")
    rows = [
        [cell.strip() for cell in line.split("|")] for line in table.splitlines() if line.startswith("| ")
    ]
    rows = [row for row in rows if row[1].endswith(("epw", "csv")) and row[7:8] and " / " in row[7]]
    assert len(rows) == 12
    for row in rows:
        record: Any = describe(shared / "weather" / row[1]).record
        low, _, high = (float(cell) for cell in row[7].split(" / "))
        cold = [float(cell) for cell in row[11].split(" / ")]
        said = record["dry_bulb"]
        assert (said["min_c"], said["max_c"]) == pytest.approx((low, high), abs=0.051)
        if "UTC order" not in str(record["warnings"]):  # its days begin an hour apart in the table
            assert record["heating_degree_days_k"] == pytest.approx(float(row[9]), abs=0.51)
        found = [said["annual_99_6_percent_c"], said["annual_99_percent_c"]]
        assert found == pytest.approx(cold, abs=0.051)


@pytest.mark.independent
def test_ground_against_the_first_harmonic_and_the_damping_depth() -> None:
    """Kusuda and Achenbach 1965: the wave of the surface times exp(-z / d), d = sqrt(2 alpha / omega).

    Amplitude of the surface from the Fourier transform of the hours. The hours miss the wave's very ends by
    at most (omega h / 2)^2 / 2 = 1e-7 of it.
    """
    air = by_pvlib(CHICAGO).air.to_numpy()
    surface = 2.0 * abs(np.fft.rfft(air)[1]) / 8760.0
    record: Any = describe(CHICAGO).record
    alpha = 0.05 / 86400.0
    depth = np.sqrt(2.0 * alpha / (2.0 * np.pi / (365.0 * 86400.0)))
    assert record["ground_diffusivity_m2_s"] == pytest.approx(alpha, rel=1e-12)
    for soil, z in zip(record["ground"], (1.0, 2.0), strict=True):
        assert soil["depth_m"] == z
        assert soil["amplitude_k"] == pytest.approx(surface * np.exp(-z / depth), rel=1e-6)
        assert soil["mean_c"] == pytest.approx(air.mean(), abs=1e-6)


@pytest.mark.published
def test_ground_against_the_header_of_the_file(shared: Path) -> None:
    """GROUND TEMPERATURES of the trial file (undisturbed earth, from the same weather by another program).

    Its soil is another and is not stated credibly, so only what no soil changes is compared: the mean of the
    twelve months (within 0.4 K: it weights months alike and rounds), and that the coldest month at 2 m comes
    in February or March.
    """
    path = shared / "weather" / "chicago-il-725300-tmy3.epw"
    cells = path.read_text(encoding="ascii").splitlines()[3].split(",")
    header = [float(cell) for cell in cells[22:34]]
    assert float(cells[18]) == 2.0
    soil: Any = describe(path).record["ground"]
    assert soil[1]["mean_c"] == pytest.approx(np.mean(header), abs=0.4)
    assert int(np.argmin(header)) + 1 in (2, 3)
    assert soil[1]["min_day"][5:7] in ("02", "03")


@pytest.mark.published
def test_mains_against_the_published_formula_by_hand() -> None:
    """Burch and Christensen 2007 in degF: mean 6 degF above the air, swing 0.4 + 0.01 (T - 44) of the range
    of monthly means, lowest on day 15 + 35 - (T - 44).
    """
    air = by_pvlib(CHICAGO).air
    mean_f = 1.8 * air.mean() + 32.0
    monthly = air.resample("MS").mean()
    swing_k = (0.4 + 0.01 * (mean_f - 44.0)) * (monthly.max() - monthly.min()) / 2.0
    mains: Any = describe(CHICAGO).record["mains"]
    assert mains["amplitude_k"] == pytest.approx(swing_k, rel=2e-4)  # whole days miss the wave's ends
    middle = 0.5 * (mains["min_c"] + mains["max_c"])
    assert middle == pytest.approx((mean_f + 6.0 - 32.0) / 1.8, abs=2e-3)
    day = pd.Timestamp(mains["min_day"]).day_of_year
    assert day == pytest.approx(15 + 35 - (mean_f - 44.0), abs=1.0)
    assert mains["hours_held_at_freezing"] == 0


# -- the command ---------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_verb_shows_files_side_by_side(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    names = [str(path) for path in FILES.values()]
    assert cli.main(["weather", *names, "--below", "0 degF", "--out", str(tmp_path / "o")]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "not a design condition" in " ".join(said.out.split())
    assert max(len(line) for line in said.out.splitlines() if not line.startswith(" ")) <= 100
    row = next(line for line in said.out.splitlines() if line.startswith("  99.6 %"))
    assert row.split()[2:] == ["-20.0", "-17.0", "-11.1", "-8.9"]
    assert "below -17.7778 degC" in said.out  # 0 degF
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == ["weather.json", "weather.png"]
    records = json.loads((tmp_path / "o" / "weather.json").read_text(encoding="utf-8"))["files"]
    assert [record["file"] for record in records] == names


def test_json_is_the_record_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["weather", str(GOLDEN), "--json"]) == 0
    first = capsys.readouterr()
    assert json.loads(first.out)["files"][0]["format"] == "TMY3"
    assert first.err == ""
    cli.main(["weather", str(CHICAGO), "--json"])
    capsys.readouterr()
    cli.main(["weather", str(GOLDEN), "--json"])
    assert capsys.readouterr().out == first.out  # A, B, A


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        ([str(GOLDEN), "nowhere.epw"], ["nowhere.epw", "no such"]),
        ([str(ROOT / "README.md")], ["README.md", "neither TMY3 CSV nor EPW"]),
        ([str(ROOT)], ["folder"]),
        ([], ["FILE"]),
        ([str(GOLDEN), "--below", "-18"], ["--below"]),
        ([str(GOLDEN), "--below", "18"], ["--below", "unit"]),
        ([str(GOLDEN), "--below", "18 C"], ["--below", "degC"]),
        ([str(GOLDEN), "--out", str(ROOT / "README.md")], ["--out", "cannot be written"]),
    ],
)
def test_wrong_input_is_one_message_and_exit_2(
    capsys: pytest.CaptureFixture[str], argv: list[str], words: list[str]
) -> None:
    said = refusal(["weather", *argv], capsys)
    for word in words:
        assert word in said


def test_a_place_too_cold_for_the_mains_formula_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """30 K below Chicago the mean is -20 degC; the published slope turns sign at -15.6 degC."""
    lines = text_of(CHICAGO).splitlines()
    for at in range(8, len(lines)):
        cells = lines[at].split(",")
        cells[6], cells[7] = f"{float(cells[6]) - 30.0:.1f}", f"{float(cells[7]) - 30.0:.1f}"
        lines[at] = ",".join(cells)
    (tmp_path / "cold.epw").write_text("\n".join(lines) + "\n")
    assert cli.main(["weather", str(tmp_path / "cold.epw")]) == 2
    said = capsys.readouterr().err
    assert "cold.epw" in said
    assert "mains water" in said


@pytest.mark.slow
def test_the_picture_is_the_same_twice_and_only_drawn_when_asked() -> None:
    sites = [describe(CHICAGO), describe(GOLDEN)]
    one = weather_figure(sites)
    assert one[:8] == b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2
    assert weather_figure(sites) == one
    code = "import sys; from hpwhsim.cli.main import main\n"
    code += "main(sys.argv[1:]); print('matplotlib' in sys.modules)"
    command = [sys.executable, "-c", code, "weather", str(GOLDEN)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False"


def test_warnings_of_the_reader_are_said(tmp_path: Path) -> None:
    """A file with one empty cell: the reader fills it and says so, and so does the verb."""
    lines = text_of(CHICAGO).splitlines()
    cells = lines[100].split(",")
    cells[6] = "99.9"  # the EPW code of a missing dry bulb
    lines[100] = ",".join(cells)
    (tmp_path / "hole.epw").write_text("\n".join(lines) + "\n")
    record = describe(tmp_path / "hole.epw").record
    assert "filled by straight lines" in str(record["warnings"])
    assert "warning: dry bulb (column 7)" in weather_text([record])
