"""The command as a user meets it: exit codes, one-line messages, files, nothing half-written."""

import csv
import json
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import numpy as np
import pytest
import xarray as xr
from cases import CHICAGO, ROOT

from hpwhsim.cli import main as cli
from hpwhsim.cli.verbs import check
from hpwhsim.errors import InputError
from hpwhsim.results import files
from hpwhsim.scenario.starter import SCHEMA, WEATHER

pytestmark = pytest.mark.contract

DEMO = ROOT / "scenarios" / "central-air.yaml"


def fails(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    """Run a command that must fail with exit 2 and one line on standard error; returns the line."""
    code = cli.main(argv)
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "Traceback" not in said.err
    return said.err


def set_(*pairs: str) -> list[str]:
    return [word for pair in pairs for word in ("--set", pair)]


@pytest.mark.parametrize("verb", ["run", "check", "compare", "size", "bound", "dossier"])
def test_a_plant_that_cannot_be_put_together_names_its_file(
    capsys: pytest.CaptureFixture[str], verb: str, tmp_path: Path
) -> None:
    """design.md section 5: the message names the file, also where the wrong pair of keys shows late."""
    cold = set_("recirculation.ambient_temperature=50 degC", "recirculation.return_temperature=49 degC")
    ground = ROOT / "scenarios" / "ground.yaml"
    if verb == "bound":  # which wants hours that cost more than others
        signal = tmp_path / "signal.csv"
        signal.write_text("signal\n" + "1\n2\n" * 4380)
        cold += set_(f"plant.controls.signal={signal}")
    line = fails(capsys, verb, str(ground), *cold)
    assert str(ground) in line
    assert "recirculation.return_temperature" in line


@pytest.mark.parametrize(
    ("override", "words"),
    [
        ("plant.storage.volume='900 gallonz'", ["plant.storage.volume", "gallonz"]),
        ("plant.storage.volume=900", ["plant.storage.volume", "unit"]),
        ("plant.storage.volume='-5 gal'", ["plant.storage.volume", "more than 0"]),
        ("plant.storage.setpoint='150 F'", ["plant.storage.setpoint", "degF"]),
        ("plant.storage.volum='900 gal'", ["plant.storage.volum", "plant.storage.volume"]),
        ("site.weather=nowhere.epw", ["site.weather", "nowhere.epw"]),
        ("plant.family=ground", ["plant.family", "ground", "central-air"]),
        ("plant.heat_pump.cop=40", ["plant.heat_pump.cop", "40"]),
        ("plant.storage.setpoint='94 degC'", ["plant.heat_pump.outlet_temperature", "94", "82.3"]),
        ("plant.heat_pump.refrigerant=R-12", ["plant.heat_pump.refrigerant", "R-744"]),
        ("run.steps_per_hour=7", ["run.steps_per_hour", "7", "12"]),
        ("plant.controls.lock_outs=['5pm-8pm']", ["plant.controls.lock_outs", "5pm"]),
        ("plant.heat_pump.condenser=double", ["plant.heat_pump.condenser", "single-pass"]),
    ],
)
def test_wrong_input_is_one_message_and_exit_2(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, override: str, words: list[str]
) -> None:
    """design.md sections 5 and 7: the file, the key, what was given and what is allowed."""
    said = fails(capsys, "run", str(DEMO), "--out", str(tmp_path / "out"), *set_(override))
    for word in words:
        assert word in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "argv",
    [
        [],
        ["fly", "x.yaml"],
        ["run"],
        ["run", "missing.yaml"],
        ["run", str(ROOT)],
        ["run", str(DEMO), "--weather", "missing.epw"],
        ["run", str(DEMO), "--weather", str(ROOT / "README.md")],
        ["keys", "nothing.of.this.name"],
        ["keys", "plant.heat_pump.lowest_source"],
        ["keys", "plant", "--schema"],
        ["new", "x.yaml", "--weather", "missing.epw"],
        ["new", str(DEMO), "--weather", str(CHICAGO)],
        ["new", "x.yaml", "--family", "steam", "--weather", str(CHICAGO)],
    ],
)
def test_wrong_command_lines(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, argv: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    fails(capsys, *argv)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("verb", [verb.name for verb in cli.VERBS])
def test_help_of_every_verb_has_an_example(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    assert cli.main([verb, "--help"]) == 0
    assert "example: tankyear" in capsys.readouterr().out


@pytest.mark.year
def test_json_is_the_record_and_nothing_else(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`--json`: standard output parses as one object with the contract's keys; no file without --out."""
    monkeypatch.chdir(tmp_path)
    assert cli.main(["run", str(DEMO), "--json"]) == 0
    said = capsys.readouterr()
    record = json.loads(said.out)
    assert said.err == ""
    keys = """electricity_kwh compressor_kwh resistance_kwh fuel_kwh peak_kw peak_time heat_to_taps_kwh
        recirculation_loss_kwh storage_loss_kwh heat_pump_heat_kwh source_heat_kwh cop_heat_pump cop_plant
        resistance_hours lockout_hours short_hours short_litres unmet_kwh source_min_c source_mean_c
        store_min_top_c balance_error assumptions cautions tool.version scenario.sha256 weather.sha256"""
    for key in keys.split():
        assert key in record
    assert record["electricity_kwh"] == pytest.approx(
        record["compressor_kwh"] + record["resistance_kwh"] + record["recirculation_pump_kwh"], rel=1e-12
    )
    assert record["source_heat_kwh"] == pytest.approx(
        record["heat_pump_heat_kwh"] + record["machine_loss_kwh"] - record["compressor_kwh"], rel=1e-12
    )
    assert all({"key", "value", "source"} <= set(a) for a in record["assumptions"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.year
def test_files_agree_with_the_record(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """annual.json, hourly.csv and hourly.nc of one run say the same; units on every column."""
    out = tmp_path / "results"
    assert cli.main(["run", str(DEMO), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "COP of the plant" in said
    assert f"Files: {out}/" in said.replace("\n  ", " ")
    assert "annual.json, hourly.csv, hourly.nc" in said
    assert sorted(p.name for p in out.iterdir()) == ["annual.json", "hourly.csv", "hourly.nc"]
    record = json.loads((out / "annual.json").read_text())
    text = (out / "hourly.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    assert len(rows) == 8760
    assert rows[0]["time"] == "2001-01-01T00:00"
    with xr.open_dataset(out / "hourly.nc", engine="scipy") as data:
        assert data.sizes["time"] == 8760
        assert str(data["time"].values[0]).startswith("2001-01-01T00:00")
        for name in data.data_vars:
            assert data[name].attrs["units"]
            assert data[name].attrs["long_name"]
            assert any(line.startswith(f"# {name} [{data[name].attrs['units']}]: ") for line in text)
            column = np.array([float(row[str(name)] or "nan") for row in rows])
            assert np.allclose(column, data[name].values, rtol=1e-9, atol=1e-9, equal_nan=True), name
        for key in ("electricity_kwh", "heat_to_taps_kwh", "resistance_hours", "short_litres"):
            assert float(data[key].sum()) == pytest.approx(record[key], rel=1e-9)


@pytest.mark.year
def test_an_unwritable_folder_is_said_and_leaves_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    said = fails(capsys, "run", str(DEMO), "--out", str(tmp_path / "file"))
    assert "--out" in said


@pytest.mark.year
def test_a_failure_while_writing_leaves_the_old_results(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk in the middle: the earlier files stay as they were and no part is left."""
    out = tmp_path / "results"
    assert cli.main(["run", str(DEMO), "--out", str(out)]) == 0
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    capsys.readouterr()

    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "hourly_text", full)
    said = fails(capsys, "run", str(DEMO), "--out", str(out), *set_("plant.storage.volume='400 gal'"))
    assert "No space left" in said
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before


def test_new_then_check_then_run(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What `new` writes passes `check`, for every family, and is never overwritten."""
    monkeypatch.chdir(tmp_path)
    for family in ("central-air", "resistance"):
        file = f"{family}.yaml"
        assert cli.main(["new", file, "--family", family, "--weather", str(CHICAGO)]) == 0
        assert cli.main(["check", file]) == 0
        said = capsys.readouterr().out
        assert "the input is good" in said
        assert "defaults in force" in said
        fails(capsys, "new", file, "--weather", str(CHICAGO))


def test_new_without_weather_brings_its_own(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The weather file lies beside the scenario, once for two of them; what is there is never overwritten."""
    monkeypatch.chdir(tmp_path)
    for file in ("one.yaml", "two.yaml"):
        assert cli.main(["new", file]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == [WEATHER.name, "one.yaml", "two.yaml"]
    assert cli.main(["check", "one.yaml"]) == 0
    assert "CHICAGO" in capsys.readouterr().out.upper()
    (tmp_path / WEATHER.name).write_text("another")
    assert "another file of this name" in fails(capsys, "new", "three.yaml")
    assert not (tmp_path / "three.yaml").exists()
    assert (tmp_path / WEATHER.name).read_text() == "another"


def test_new_tells_the_editor_where_the_schema_lies(tmp_path: Path) -> None:
    """The first line is the modeline of the YAML language server, with the URI of the installed schema."""
    assert cli.main(["new", str(tmp_path / "one.yaml")]) == 0
    line = (tmp_path / "one.yaml").read_text().splitlines()[0]
    uri = line.removeprefix("# yaml-language-server: $schema=")
    assert url2pathname(urlsplit(uri).path) == str(SCHEMA)
    assert json.loads(SCHEMA.read_text())["title"] == "tankyear scenario"


def test_the_packaged_weather_is_that_of_the_sources() -> None:
    """Two copies of one file; the folder of the package says where it is from."""
    assert WEATHER.read_bytes() == (ROOT / "weather" / WEATHER.name).read_bytes()
    assert WEATHER.name in WEATHER.with_name("README.md").read_text()


def test_keys_as_text_and_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """80 columns of text; the JSON has every part of a key."""
    assert cli.main(["keys"]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert cli.main(["keys", "plant.storage.height", "--json"]) == 0
    (key,) = json.loads(capsys.readouterr().out)["keys"]
    assert (key["type"], key["unit"], key["default"]) == ("a length", "m", "1.5 m")
    assert {"key", "allowed", "source", "meaning"} <= key.keys()
    assert cli.main(["keys", "--schema"]) == 0
    assert capsys.readouterr().out == SCHEMA.read_text()


def test_weather_option_overrides_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    golden = ROOT / "weather" / "golden-co-724666-tmy3.csv.gz"
    assert cli.main(["check", str(DEMO), "--weather", str(golden)]) == 0
    assert "GOLDEN" in capsys.readouterr().out.upper()


@pytest.mark.slow
@pytest.mark.year
def test_as_a_process(tmp_path: Path) -> None:
    """The installed command: its output read to the end, and closed after a line; no traceback."""
    code = "import sys; from hpwhsim.cli.main import main; sys.exit(main(sys.argv[1:]))"
    done = subprocess.run(
        [sys.executable, "-c", code, "check", str(DEMO)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert done.stderr == ""
    command = [sys.executable, "-m", "hpwhsim", "run", str(DEMO), "--out", str(tmp_path / "o")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as piped:
        assert piped.stdout is not None
        assert piped.stderr is not None
        assert piped.stdout.readline()
        piped.stdout.close()
        assert piped.stderr.read() == ""
    assert piped.returncode == 0


def test_a_nan_in_a_record_is_an_error_of_ours() -> None:
    with pytest.raises(ValueError, match="Out of range float"):
        files.record_text({"electricity_kwh": float("nan")})


def test_input_errors_are_what_the_command_prints(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(_: object) -> int:
        raise InputError("file.yaml: key: got 1; allowed 2")

    monkeypatch.setattr(cli, "VERBS", (check.VERB._replace(act=stop),))
    assert fails(capsys, "check", "file.yaml") == "tankyear: file.yaml: key: got 1; allowed 2\n"
