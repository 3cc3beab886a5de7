"""The library gives what the command gives: records, hashes, messages."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import hpwhsim as ty
from hpwhsim.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
HOUSE = ROOT / "scenarios" / "resistance.yaml"
DEMO = ROOT / "scenarios" / "central-air.yaml"
STORE = "plant.storage.volume"

pytestmark = pytest.mark.contract


@pytest.fixture(scope="module")
def house() -> ty.Scenario:
    return ty.read(HOUSE)


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.year
def test_the_record_is_that_of_the_command(capsys: pytest.CaptureFixture[str], house: ty.Scenario) -> None:
    """design.md section 3: the same scenario, the same record and hash, overrides included."""
    volume = "1.2 m3"
    found = ty.evaluate(house.with_({STORE: volume}))
    assert printed(capsys, "run", str(HOUSE), "--set", f"{STORE}={volume}") == json.loads(
        json.dumps(found.record)
    )
    assert found.hourly.sizes == {"time": 8760}
    assert float(found.hourly["electricity_kwh"].sum()) == pytest.approx(
        found.record["electricity_kwh"], rel=1e-12
    )
    for name in found.hourly:
        assert found.hourly[name].attrs["units"]
        assert found.hourly[name].attrs["long_name"]


@pytest.mark.parametrize(
    "change",
    [
        {STORE: "-3 m3"},
        {STORE: 3},
        {"plant.storage.volum": "3 m3"},
        {"plant.storage.setpoint": "20 degC"},  # below what taps need: a check across keys
        {"building.apartments": 2.5, "hot_water.seed": -1},
    ],
)
def test_a_wrong_key_says_what_the_command_says(
    capsys: pytest.CaptureFixture[str], house: ty.Scenario, change: dict[str, Any]
) -> None:
    with pytest.raises(ty.InputError) as error:
        house.with_(change)
    assert main(["run", str(HOUSE), *(w for k, v in change.items() for w in ("--set", f"{k}={v}"))]) == 2
    assert capsys.readouterr().err == f"tankyear: {error.value}\n"


def test_a_candidate_is_checked_across_its_keys() -> None:
    """500 modules and a negative store pass nowhere."""
    plant = ty.read(DEMO)
    for change in ({"plant.heat_pump.modules": 500}, {STORE: "-3 m3"}, {"plant.storage.setpoint": "30 degC"}):
        with pytest.raises(ty.InputError):
            plant.with_(change)


def test_changes_build_on_each_other(house: ty.Scenario) -> None:
    twice = house.with_({STORE: "1 m3"}).with_({"hot_water.seed": 5, STORE: "2 m3"})
    assert twice[STORE] == 2.0
    assert twice["hot_water.seed"] == 5
    assert twice.overrides == ("hot_water.seed=5", f"{STORE}=2 m3")
    assert house[STORE] != 2.0
    assert twice.sha256 == house.sha256
    assert twice != house
    assert house.with_({}) == house


def test_a_weather_file_stays_when_other_keys_change(monkeypatch: pytest.MonkeyPatch) -> None:
    """A path given to `read` starts at the working folder, one in the file at the file's."""
    monkeypatch.chdir(ROOT / "weather")
    other = next(path.name for path in sorted(Path().glob("*.csv.gz")))
    found = ty.read(HOUSE, weather=other).with_({STORE: "1 m3"})
    assert found["site.weather"] == ROOT / "weather" / other


def test_a_mapping_is_a_scenario(house: ty.Scenario) -> None:
    """Without a file, and without a forged hash: it is that of the text that the mapping makes."""
    raw = yaml.safe_load(HOUSE.read_text(encoding="utf-8"))
    found = ty.Scenario.from_dict(raw, HOUSE.parent)
    assert found == house
    assert hash(found) == hash(house)
    assert len(found.sha256) == 64
    assert ty.Scenario.from_dict(house.to_dict()) == house
    assert ty.Scenario.from_dict(yaml.safe_load(house.to_yaml())) == house
    raw["plant"]["family"] = "steam-engine"
    with pytest.raises(ty.InputError, match=r"plant\.family"):
        ty.Scenario.from_dict(raw, HOUSE.parent)
    no_mapping: Any = ["title"]
    with pytest.raises(ty.InputError, match="allowed a mapping"):
        ty.Scenario.from_dict(no_mapping)


@pytest.mark.year
def test_a_mapping_can_be_handed_on_in_a_dossier(house: ty.Scenario, tmp_path: Path) -> None:
    """Its archive holds the text that the mapping made."""
    from hpwhsim.dossier.bundle import bundle

    made = ty.Scenario.from_dict(house.to_dict())
    path = tmp_path / "bundle.zip"
    path.write_bytes(bundle(ty.evaluate(made), {}))
    assert ty.verify_bundle(path).same


@pytest.mark.slow
@pytest.mark.year
def test_a_sweep_holds_the_year_of_each_case(house: ty.Scenario) -> None:
    volumes, seeds = ["0.8 m3", "1.2 m3"], [1, 2, 3]
    table = ty.sweep(house, {STORE: volumes, "hot_water.seed": seeds})
    assert table["electricity_kwh"].dims == (STORE, "hot_water.seed")
    assert table["monthly.electricity_kwh"].dims == (STORE, "hot_water.seed", "month")
    assert list(table[f"{STORE} (number)"].values) == [0.8, 1.2]
    for volume in volumes:
        for seed in seeds:
            case = table.sel({STORE: volume, "hot_water.seed": seed})
            own = ty.evaluate(house.with_({STORE: volume, "hot_water.seed": seed})).record
            for name in ("electricity_kwh", "peak_kw", "short_litres"):
                assert float(case[name]) == own[name]
            months: Any = own["monthly.electricity_kwh"]
            assert list(case["monthly.electricity_kwh"].values) == months
    spread = table["electricity_kwh"].std("hot_water.seed")
    assert np.all(spread > 0.0)


def test_a_sweep_refuses_a_case_before_the_first_year(house: ty.Scenario, monkeypatch: Any) -> None:
    from hpwhsim.simulation import year

    monkeypatch.setattr(year, "march_each", lambda plants: pytest.fail("a year was simulated"))
    with pytest.raises(ty.InputError, match=r"^case plant.storage.volume=-1 m3: "):
        ty.sweep(house, {STORE: ["1 m3", "-1 m3"]})
    for values in ([], "1 m3", ["1 m3", "1 m3"]):
        with pytest.raises(ty.InputError, match=f"^{STORE}: got "):
            ty.sweep(house, {STORE: values})
    with pytest.raises(ty.InputError, match=r"did you mean plant\.storage\.volume"):
        ty.sweep(house, {"plant.storage.volum": ["1 m3"]})


@pytest.mark.year
def test_scenarios_side_by_side(house: ty.Scenario) -> None:
    other = house.with_({STORE: "2 m3"})
    found = ty.compare({"small": house, "large": other})
    assert list(found.table.columns) == ["small", "large"]
    kwh = found.table.loc["electricity_kwh"]
    assert kwh["large"] == found.results["large"].record["electricity_kwh"]
    assert kwh["small"] == ty.simulate(house).record["electricity_kwh"]
    unnamed = ty.compare([house, other])
    assert len(unnamed.results) == 2


@pytest.mark.year
def test_why_is_that_of_the_written_files(tmp_path: Path, house: ty.Scenario) -> None:
    found = ty.evaluate(house.with_({"plant.backup.power": "2 kW"}))
    assert {path.name for path in found.write(tmp_path)} == {"annual.json", "hourly.csv", "hourly.nc"}
    assert ty.why(found) == ty.why(tmp_path)


def test_a_scenario_does_not_change(house: ty.Scenario) -> None:
    as_any: Any = house
    with pytest.raises(AttributeError, match="with_"):
        as_any.loaded = None
    with pytest.raises(KeyError):
        house["plant.storage.volum"]
    assert house["plant.heat_pump.cop"] is None
    assert house.title in repr(house)
    assert house.assumptions
    assert all(item["source"] for item in house.assumptions)


def test_names_are_there_before_they_are_loaded() -> None:
    """`dir` lists the library, and to look at it loads nothing."""
    code = (
        "import sys, hpwhsim; print(*dir(hpwhsim)); print(*sorted({'numpy', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    names, heavy = done.stdout.split("\n")[:2]
    assert {"read", "Scenario", "simulate", "evaluate", "compare", "sweep", "size", "why", "verify"} <= set(
        names.split()
    )
    assert heavy == ""
    for name in ty.__all__:
        assert getattr(ty, name) is not None
    assert callable(ty.evaluate)
    assert callable(ty.compare)
    name = "nothing"
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        assert getattr(ty, name)
