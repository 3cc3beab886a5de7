"""All that is wrong with a scenario is listed at once: clashes in a block, between blocks, and of a plant.

Expected lines are read off the tables of keys in the manual: what each key says that it allows.
"""

import random
from pathlib import Path
from typing import Any

import pytest
import yaml
from cases import GOOD, GREENSBORO, ROOT

from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.scenario.good_parts import good_part
from hpwhsim.scenario.keys import known_fields
from hpwhsim.scenario.parts import Block
from hpwhsim.scenario.reading import read_scenario, scenario_from
from hpwhsim.scenario.schema import Scenario

pytestmark = pytest.mark.contract

SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


@pytest.fixture
def raw() -> dict[str, Any]:
    """A good scenario, as it stands in a file."""
    good: dict[str, Any] = yaml.safe_load(GOOD)
    good["site"]["weather"] = str(GREENSBORO)
    return good


def refused(
    capsys: pytest.CaptureFixture[str], folder: Path, raw: dict[str, Any], verb: str = "check"
) -> list[str]:
    """Lines of what is wrong; exit 2, nothing on standard output."""
    path = folder / "mine.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    words = ["--out", str(folder / "out")] if verb == "run" else []
    assert cli.main([verb, str(path), *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    head, *lines = said.err.splitlines()
    if not lines:
        return [head.partition("mine.yaml: ")[2]]
    assert head == f"tankyear: {path}: {len(lines)} things are wrong"
    assert all(line.startswith("  ") for line in lines)
    assert not (folder / "out").exists()
    return [line.removeprefix("  ") for line in lines]


def keys_of(lines: list[str]) -> list[str]:
    return [line.partition(": got ")[0] for line in lines]


def test_clashes_of_three_blocks_are_listed_once_each(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, raw: dict[str, Any]
) -> None:
    raw["plant"]["controls"] = {
        "demand_modules": 1,
        "signal_hours": 4,
        "sensor_height": 0.2,
        "stop_height": 0.5,
        "defrost_time": "5 min",
    }
    raw["recirculation"] = {
        "loss_per_apartment": "60 W",
        "conductivity": "0.04 W/m/K",
        "crossover": "1 gpm",
        "schedule": ["06:00-22:00"],
        "supply_drop": "4 K",
        "return_temperature": "50 degC",
    }
    raw["hot_water"] = {
        "min_temperature": "60 degC",
        "tempering_valve": "45 degC",
        "tempering_min_flow": "2 gpm",
        "tempering_max_flow": "1 gpm",
    }
    raw["plant"]["backup"] = {
        "kind": "resistance",
        "power": "9 kW",
        "efficiency": 0.9,
        "made_on": "2026-01-01",
    }
    lines = refused(capsys, tmp_path, raw)
    assert sorted(keys_of(lines)) == sorted(
        [
            *(f"plant.controls.{key}" for key in ("demand_modules", "signal_hours", "stop_height")),
            "plant.controls.defrost_time",
            *(f"recirculation.{key}" for key in ("conductivity", "crossover", "return_temperature")),
            *(f"hot_water.{key}" for key in ("min_temperature", "tempering_valve")),
            "hot_water.tempering_max_flow",
            *(f"plant.backup.{key}" for key in ("efficiency", "made_on")),
        ]
    )


def test_clashes_between_blocks_are_listed_beside_those_within_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, raw: dict[str, Any]
) -> None:
    """A rule is asked wherever the keys that it compares are good, whatever else is wrong."""
    raw["plant"]["backup"] = {"kind": "resistance", "power": "9 kW", "efficiency": 0.9}  # within a block
    raw["run"] = {"years": 3}  # with plant.family
    raw["costs"] = {
        "capital": "9,000 USD",
        "baseline": {"capital": "1 USD"},
        "inflation": 0.02,
    }  # without tariff
    raw["plant"]["storage"]["volume"] = "-4 gal"  # by itself
    raw["building"]["apartements"] = 3  # an unknown key
    lines = refused(capsys, tmp_path, raw)
    assert [line.split(": ")[0] for line in lines] == [
        "building.apartements",
        "plant.storage.volume",
        "plant.backup.efficiency",
        "costs.inflation",
        "run.years",
        "tariff",
        "costs.baseline",
    ]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        # a misspelt key is not missed a second time by the rules that need it
        ({"capacty": "18 kW", "capacity": None}, ["plant.heat_pump.capacty"]),
        # a key that is wrong by itself is not compared with others
        ({"condenser": "twice", "rise": "5 K"}, ["plant.heat_pump.condenser"]),
        ({"rise": "-5 K"}, ["plant.heat_pump.rise"]),
    ],
)
def test_one_fault_is_one_line(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    raw: dict[str, Any],
    change: dict[str, object],
    said: list[str],
) -> None:
    raw["plant"]["heat_pump"] |= change
    assert [line.split(": ")[0] for line in refused(capsys, tmp_path, raw)] == said


def test_what_needs_no_march_is_listed_with_what_the_schema_refuses(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, raw: dict[str, Any]
) -> None:
    """Prices, grid, refrigerant, supply, pattern and machine are asked though another block is wrong."""
    raw["site"]["checks"] = {"voltage": "300 V", "phases": 1}
    raw["hot_water"] = {"pattern": "nowhere"}
    raw["plant"]["heat_pump"] |= {"refrigerant": "R-290", "outlet_temperature": "88 degC"}
    raw["carbon"] = {"grid": "XXXX 2023", "gwp": "AR5-100"}
    (tmp_path / "price.csv").write_text("usd_per_kwh\n0.2\n")
    raw["tariff"] = {"electricity": str(tmp_path / "price.csv")}
    alone = refused(capsys, tmp_path, raw)
    raw["recirculation"] = {"loss_per_apartment": "60 W", "conductivity": "0.04 W/m/K"}
    beside = refused(capsys, tmp_path, raw)
    for lines in (alone, beside):
        for words in (
            "site.checks.voltage: got 300 V",
            "hot_water.pattern: no pattern named 'nowhere'",
            "R-290 makes 75 degC at most",
            "carbon.grid: got 'XXXX'",
            "price.csv",
        ):
            assert sum(words in line for line in lines) == 1, (words, lines)
    assert sum("R-290 has no value in AR5-100" in line for line in alone) == 1
    assert sorted(set(beside) - set(alone)) == [
        "recirculation.conductivity: got '0.04 W/m/K'; "
        "allowed nothing beside recirculation.loss_per_apartment"
    ]


def test_run_says_what_cannot_be_built_before_any_march(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, raw: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    raw["plant"]["heat_pump"] |= {"refrigerant": "R-290", "outlet_temperature": "88 degC"}
    raw["baseline"] = {
        "family": "resistance",
        "storage": {"volume": "400 gal", "setpoint": "140 degF"},
        "backup": {"kind": "resistance", "power": "40 kW"},
    }
    marched: list[object] = []
    monkeypatch.setattr("hpwhsim.simulation.year.march_each", lambda plants: marched.append(plants) or [])
    assert "R-290 makes 75 degC at most" in refused(capsys, tmp_path, raw, "run")[0]
    assert marched == []


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_what_is_good_of_a_good_file_is_all_of_it(path: Path) -> None:
    """The reading of parts, field by field, against the schema's reading of the whole."""
    scenario = read_scenario(path).scenario
    good = good_part(yaml.safe_load(path.read_text()), {"folder": str(path.parent)})
    assert good.block == scenario == good.sound
    assert good.block.model_dump() == scenario.model_dump()
    assert good.clashes == []


def blocks(block: type[Block] = Block) -> set[type[Block]]:
    below = set(block.__subclasses__())
    return below.union(*(blocks(one) for one in below)) if below else set()


def test_no_block_stops_at_its_first_clash() -> None:
    """Every check across keys of a block is one of its rules: another validator would end at the first."""
    assert Scenario in blocks()
    for block in blocks():
        validators = set(block.__pydantic_decorators__.model_validators)
        assert validators == {"_hold_rules"}, block


VALUES = (
    *(None, -1, 0, 3, 0.5, True, "x", [], {}, ["08:00-12:07"], "17:00-20:00", {"a": 1}),
    *("5 degC", "80 degC", "200 gal", "3 kW", "2 W/K", "1 USD", "0.2 USD/kWh", "none", "random"),
    *("gas", "ground", "loop-tank", "series", "R-290", "multi-pass", "wrap-around"),
)


def spoilt(raw: dict[str, Any], chance: random.Random) -> None:
    """One to six keys taken out, misspelt, or given another value, wherever they belong or not."""
    known = sorted(known_fields())
    for _ in range(chance.randint(1, 6)):
        *above, leaf = chance.choice(known).split(".")
        here = raw
        for key in above:
            if not isinstance(here.get(key), dict):
                here[key] = {}
            here = here[key]
        how = chance.random()
        if how < 0.2:
            here.pop(leaf, None)
        elif how < 0.3:
            here[f"{leaf}x"] = here.pop(leaf, 1)
        else:
            here[leaf] = chance.choice(VALUES)


@pytest.mark.parametrize("seed", range(60))
def test_whatever_is_spoilt_is_said_once(seed: int) -> None:
    """Law: a spoilt file is read or refused, never anything else, and no line of the refusal stands twice."""
    chance = random.Random(seed)
    path = chance.choice(SCENARIOS)
    raw = yaml.safe_load(path.read_text())
    spoilt(raw, chance)
    try:
        scenario_from(raw, path.parent)
    except InputError as error:
        lines = str(error).split("\n")
        assert len(set(lines)) == len(lines)
        assert len(lines) == 1 or lines[0].endswith(f"{len(lines) - 1} things are wrong")
