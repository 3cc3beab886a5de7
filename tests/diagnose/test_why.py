"""Why the backup ran: events against the year's own record, another way of counting, and wrong files."""

import csv
import json
import shutil
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import central_air

from hpwhsim.cli import main as cli
from hpwhsim.diagnose.causes import why
from hpwhsim.diagnose.report import WHAT, why_text
from hpwhsim.errors import InputError
from hpwhsim.results.files import write_results
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year, to_dataset

pytestmark = [pytest.mark.contract, pytest.mark.year]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A year with lock-outs, a machine that stands in the cold, weak backup and short hot water."""
    import yaml

    folder = tmp_path_factory.mktemp("why")
    raw = central_air(folder, capacity_kw=12.0)
    raw["hot_water"] |= {"draws": "random", "seed": 2}
    raw["plant"]["backup"] = {"kind": "resistance", "power": "8 kW"}
    raw["plant"]["storage"]["volume"] = "700 L"
    raw["plant"]["controls"] = {"lock_outs": ["16:00-21:00"], "lock_out_below": "-10 degC"}
    path = folder / "case.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    year = run_year(read_scenario(path))
    write_results(folder / "out", year.record, to_dataset(year))
    return folder / "out"


def table(result: Path) -> list[dict[str, float]]:
    """hourly.csv, read with the standard library; what does not exist is NaN."""
    lines = (result / "hourly.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [{k: float(v) if v else np.nan for k, v in row.items() if k != "time"} for row in rows]


@pytest.mark.law
def test_totals_by_cause_are_those_of_the_record(result: Path) -> None:
    """Events add up to the annual record: hours by cause, kWh and litres; summed in another order, 1e-9."""
    record = json.loads((result / "annual.json").read_text())
    found: Any = why(result)
    assert len(record["backup_hours_by_cause"]) >= 3
    assert record["short_litres"] > 0.0
    for name, key in (("backup", "backup_resistance_kwh"), ("short", "short_litres")):
        here, unit = found[name], WHAT[name][1]
        assert here[unit] == pytest.approx(record[key], rel=1e-9)
        assert sum(event[unit] for event in here["events"]) == pytest.approx(record[key], rel=1e-9)
        assert here["hours_by_cause"] == pytest.approx(record[f"{name}_hours_by_cause"], rel=1e-9)
        for cause, hours in record[f"{name}_hours_by_cause"].items():
            parts = [event["hours_by_cause"].get(cause, 0.0) for event in here["events"]]
            assert sum(parts) == pytest.approx(hours, rel=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("name", "column", "unit"),
    [("backup", "backup_resistance_kwh", "kwh"), ("short", "short_litres", "litres")],
)
def test_spells_by_another_way_of_counting(result: Path, name: str, column: str, unit: str) -> None:
    """Runs of hours of hourly.csv by `itertools.groupby`, no quiet hour within; ten digits in print."""
    rows = table(result)
    runs = []
    for busy, group in groupby(range(8760), key=lambda hour: rows[hour][column] > 0.0):
        hours = list(group)
        if busy:
            runs.append((hours[0], len(hours), sum(rows[hour][column] for hour in hours)))
    found: Any = why(result, gap=0)
    events = found[name]["events"]
    assert len(events) == len(runs) > 20
    for event, (start, length, amount) in zip(events, runs, strict=True):
        stamp = np.datetime64("2001-01-01T00:00") + np.timedelta64(start, "h")
        assert event["start"] == str(stamp)[5:].replace("T", " ")
        assert event["length_h"] == length
        assert event[unit] == pytest.approx(amount, rel=1e-9)
        if start > 0:
            for key in ("source_c", "store_top_c", "store_mean_c", "lockout_hours", "run_hours"):
                assert event["before"][key] == pytest.approx(rows[start - 1][key], rel=1e-9, abs=1e-12)


@pytest.mark.independent
def test_causes_are_where_they_must_be(result: Path) -> None:
    """Barred hours are 16 to 21; the source is too cold below -10 °C: read back from the series by hour."""
    rows = table(result)
    for hour, row in enumerate(rows):
        if row.get("backup_hours.lock-out", 0.0) > 0.0:
            assert 16 <= hour % 24 < 21
        if row.get("backup_hours.source-too-cold", 0.0) > 0.0:
            assert row["source_c"] < -10.0
        if row.get("backup_hours.capacity", 0.0) > 0.0:
            assert row["source_c"] >= -10.0
            assert not 16 <= hour % 24 < 21
            assert row["run_hours"] > 0.0


@pytest.mark.independent
def test_the_ten_worst(result: Path) -> None:
    found: Any = why(result)
    amounts = sorted((event["kwh"] for event in found["backup"]["events"]), reverse=True)
    assert [event["kwh"] for event in found["backup"]["worst"]] == amounts[:10]


@pytest.mark.law
def test_a_gap_joins_spells_and_loses_nothing(result: Path) -> None:
    found: list[Any] = [why(result, gap)["backup"] for gap in (0, 3, 8760)]
    assert len(found[0]["events"]) > len(found[1]["events"]) > len(found[2]["events"]) == 1
    for one in found[1:]:
        assert one["hours_by_cause"] == pytest.approx(found[0]["hours_by_cause"], rel=1e-9)


def test_it_reads_result_files_alone(result: Path, tmp_path: Path) -> None:
    """Two files of the folder are enough, wherever they lie; a file of it is as good as the folder."""
    for name in ("annual.json", "hourly.nc"):
        shutil.copy(result / name, tmp_path / name)
    assert why(tmp_path) == why(result) == why(result / "annual.json") == why(result / "hourly.nc")


def test_files_of_two_runs_are_refused(result: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    shutil.copytree(result, folder)
    record = json.loads((folder / "annual.json").read_text())
    cause = max(record["backup_hours_by_cause"], key=lambda name: record["backup_hours_by_cause"][name])
    record["backup_hours_by_cause"][cause] += 0.01
    (folder / "annual.json").write_text(json.dumps(record))
    with pytest.raises(InputError, match=f"to {cause}.*run the scenario again"):
        why(folder)
    record["scenario.sha256"] = "0" * 64
    (folder / "annual.json").write_text(json.dumps(record))
    with pytest.raises(InputError, match="not of one run"):
        why(folder)


@pytest.mark.law
def test_kwh_and_litres_by_cause_are_those_of_the_record(result: Path) -> None:
    """One backup heater of 8 kW: its kWh by cause are its full-power hours times 8; litres sum to all."""
    found: Any = why(result)
    for cause, spent in found["backup"]["hours_by_cause"].items():
        assert found["backup"]["kwh_by_cause"][cause] == pytest.approx(8.0 * spent, rel=1e-9)
    litres = found["short"]["litres_by_cause"]
    assert sum(litres.values()) == pytest.approx(found["short"]["litres"], rel=1e-9)


@pytest.mark.parametrize("wrong", ["many", None, [], {"capacity": "many"}])
@pytest.mark.parametrize("key", ["backup_hours_by_cause", "short_litres"])
def test_a_record_damaged_by_hand(result: Path, tmp_path: Path, key: str, wrong: object) -> None:
    shutil.copy(result / "hourly.nc", tmp_path / "hourly.nc")
    record = json.loads((result / "annual.json").read_text()) | {key: wrong}
    (tmp_path / "annual.json").write_text(json.dumps(record))
    with pytest.raises(InputError, match="no annual record; run the scenario again"):
        why(tmp_path)


@pytest.mark.parametrize(
    ("series", "value", "said"),
    [
        ("backup_resistance_kwh", -1.0, "allowed 0 or more"),
        ("short_litres", np.nan, "allowed 0 or more"),
        ("backup_resistance_kwh", 99.0, "adds up to"),
        ("short_hours.capacity", -1.0, "allowed 0 or more"),
    ],
)
def test_hours_damaged_by_hand(result: Path, tmp_path: Path, series: str, value: float, said: str) -> None:
    import xarray as xr

    shutil.copy(result / "annual.json", tmp_path / "annual.json")
    data = xr.load_dataset(result / "hourly.nc", engine="scipy")
    data[series][4000] = value
    data.to_netcdf(tmp_path / "hourly.nc", engine="scipy")
    with pytest.raises(InputError, match=said) as caught:
        why(tmp_path)
    assert str(tmp_path) in str(caught.value)


@pytest.mark.parametrize(
    ("name", "what"), [("annual.json", "not valid JSON"), ("hourly.nc", "no NetCDF file")]
)
def test_missing_and_broken_files(
    capsys: pytest.CaptureFixture[str], result: Path, tmp_path: Path, name: str, what: str
) -> None:
    """One line on standard error and exit 2."""
    folder = tmp_path / "out"
    shutil.copytree(result, folder)
    (folder / name).write_text("not a result")
    assert cli.main(["why", str(folder)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert what in said
    (folder / name).unlink()
    assert cli.main(["why", str(folder)]) == 2
    assert name in capsys.readouterr().err
    assert cli.main(["why", str(tmp_path / "nowhere")]) == 2
    assert cli.main(["why", str(folder), "--gap", "-1"]) == 2


def test_the_command(capsys: pytest.CaptureFixture[str], result: Path) -> None:
    assert cli.main(["why", str(result), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert cli.main(["why", str(result)]) == 0
    text = capsys.readouterr().out
    assert text == why_text(found)
    for event in found["backup"]["worst"]:
        assert event["start"] in text
    assert cli.main(["why", str(result), "--all"]) == 0
    every = capsys.readouterr().out
    assert every.count("\n") > text.count("\n")
