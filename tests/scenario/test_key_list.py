"""`tankyear keys` and the JSON Schema: all of it from the models, none of it beside them."""

import datetime
import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from cases import GOOD, ROOT
from jsonschema import Draft7Validator

from hpwhsim.errors import InputError
from hpwhsim.io import units
from hpwhsim.io.units import Kind
from hpwhsim.scenario import families, heat_pump_first, sources
from hpwhsim.scenario.json_schema import QUANTITY, schema, schema_text
from hpwhsim.scenario.key_list import key_list
from hpwhsim.scenario.keys import key_paths, walk
from hpwhsim.scenario.recirculation import RATED
from hpwhsim.scenario.starter import SCHEMA
from hpwhsim.scenario.templates import template
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

KEYS = {key.key: key for key in key_list()}
SCENARIOS = sorted(set((ROOT / "scenarios").rglob("*.yaml")) - set((ROOT / "scenarios" / "sweeps").iterdir()))
LOOP_TANK = "recirculation.loop_tank.heat_pump."


def plain(text: str) -> Any:
    """YAML as JSON has it: a date is text."""
    return json.loads(json.dumps(yaml.safe_load(text), default=datetime.date.isoformat))


def wrongs(raw: object) -> list[str]:
    """Paths at which the schema finds something wrong."""
    found = Draft7Validator(schema()).iter_errors(raw)
    return [".".join(map(str, error.absolute_path)) for error in found]


def test_every_key_that_may_be_written_is_listed() -> None:
    """All of the schema but what a loop tank's heat pump may not have."""
    left_out = set(key_paths()) - KEYS.keys()
    assert KEYS.keys() <= set(key_paths())
    assert len(KEYS) > 360
    assert all(
        path.startswith(LOOP_TANK) and path.removeprefix(LOOP_TANK).split(".")[0] not in RATED
        for path in left_out
    )


def test_every_key_and_block_has_its_meaning() -> None:
    """One line of more than a word, which does not begin in the middle of a sentence or repeat the unit."""
    said = {path: str(field.description or "") for path, field in walk()}
    assert [path for path, text in said.items() if len(text) <= 8 or "\n" in text] == []
    assert [path for path, text in said.items() if re.match(r"(of|its|to|they|it|that)\b", text)] == []
    assert [path for path, text in said.items() if re.search(r" \[[\w/]+\]", text)] == []


def test_every_key_says_what_may_be_written_and_where_its_default_is_from() -> None:
    assert [key.key for key in KEYS.values() if not key.type] == []
    assert [key.key for key in KEYS.values() if not (key.required or key.source)] == []
    assert [key.key for key in KEYS.values() if key.required and key.default] == []


def test_the_list_reads_type_range_and_default_from_the_model() -> None:
    """By hand from the classes of the schema."""
    assert KEYS["plant.storage.volume"][1:6] == ("a volume", "m3", "more than 0, at most 5000 m3", "", True)
    assert KEYS["plant.storage.height"][1:6] == (
        "a length",
        "m",
        "at least 0.2, at most 20 m",
        "1.5 m",
        False,
    )
    assert KEYS["plant.family"].allowed == " | ".join(families.FAMILIES)
    assert KEYS["plant.heat_pump.injection"].type == "true or false"
    assert KEYS["site.checks.phases"].allowed == "1 | 3"
    assert KEYS["hot_water.month_factors"].type == "a choice or a list of 12, each a number"
    assert KEYS["hot_water.month_factors"].allowed == "none; more than 0, at most 10"
    assert KEYS["recirculation.loop_tank.heat_pump.cop"].allowed == "at least 1, at most 15"
    assert KEYS["hot_water.metered"].type == "the path of a file"
    assert KEYS["plant.heat_pump.condenser"].default == "single-pass"


def test_a_default_says_the_numbers_that_the_code_computes_with() -> None:
    """Each stands once: the sentence is made of the constant."""
    said = {key.key.removeprefix("plant."): key.default for key in KEYS.values()}
    assert f"{heat_pump_first.OVER_USE:g} K" in said["backup.setpoint"]
    assert f"{heat_pump_first.LOOP_FALL:g} K" in said["backup.setpoint"]
    assert said["controls.dead_band"].startswith(f"{heat_pump_first.USUAL_BAND:g} K")
    assert said["source.wastewater.cleaning_interval"] == f"{sources.CLEANING_MONTHS} months"
    assert said["source.wastewater.exchanger"].endswith(f"{sources.EXCHANGE_K:g} K")
    assert said["source.room.heating_efficiency"] == "none 1, resistance 1, gas 0.9, heat-pump 3"
    for row in read_table("site_to_source"):
        assert row["factor"] in said["savings.electricity_to_source"] + said["savings.fuel_to_source"]


@pytest.mark.parametrize(
    ("pattern", "count"),
    [("", len(KEYS)), ("hot_water.tempering", 4), ("*.min_source", 1), ("plant.storage.volume", 1)],
)
def test_patterns(pattern: str, count: int) -> None:
    assert len(key_list(pattern)) == count


def test_the_keys_of_a_baseline_are_those_of_a_plant() -> None:
    found = key_list("baseline.storage.*")
    assert [key.key for key in found] == [
        key.key.replace("plant.", "baseline.") for key in key_list("plant.storage.*")
    ]


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("plant.storage.volumes", "did you mean plant.storage.volume?"),
        ("plant.heat_pump.lowest_source", "heat_pump.lowest_source is called heat_pump.min_source"),
        ("turndown", "heat_pump.turndown is called heat_pump.min_speed_fraction"),
        ("setpoints", "did you mean setpoint?"),
        ("*.zz*", "no key fits"),
        ("qqq", "no key fits"),
    ],
)
def test_a_pattern_that_fits_no_key_is_an_error(pattern: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)) as caught:
        key_list(pattern)
    assert "\n" not in str(caught.value)


# -- JSON Schema -------------------------------------------------------------------------------------


def test_the_shipped_schema_is_the_generated_one() -> None:
    """`tankyear keys --schema > hpwhsim/scenario/scenario.schema.json` writes it anew."""
    assert SCHEMA.read_text(encoding="utf-8") == schema_text()


def test_it_is_a_schema_of_draft_7_and_every_reference_leads_somewhere() -> None:
    Draft7Validator.check_schema(schema())
    named = set(re.findall(r'"#/definitions/([^"]+)"', schema_text()))
    assert named == set(schema()["definitions"])


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_the_worked_scenarios_are_valid(path: Path) -> None:
    assert wrongs(plain(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("family", families.FAMILIES)
def test_what_new_writes_is_valid(family: str) -> None:
    assert wrongs(plain(template(family, "weather.epw", SCHEMA.as_uri()))) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("plant.storage.volume", 900),
        ("plant.storage.volume", "much"),
        ("plant.storage.volume", "900"),
        ("plant.storage.tanks", 0),
        ("plant.storage.tanks", "two"),
        ("plant.storage.arrangement", "stacked"),
        ("plant.family", "steam"),
        ("plant.heat_pump.cop", 40),
        ("plant.heat_pump.lowest_source", "-20 degC"),
        ("plant.controls.lock_outs", ["5pm-8pm"]),
        ("hot_water.month_factors", [1.0] * 11),
        ("recirculation.loop_tank.heat_pump.table", "table.csv"),
        ("site.weather", None),
    ],
)
def test_what_is_wrong_is_found_where_it_stands(path: str, value: object) -> None:
    raw = plain(GOOD)
    assert wrongs(raw) == []
    here, *more = raw, *path.split(".")
    for key in more[:-1]:
        here = here.setdefault(key, {})
    here[more[-1]] = value
    assert any(path.startswith(at) for at in wrongs(raw))


@pytest.mark.parametrize(
    "kind", [value for value in vars(units).values() if isinstance(value, Kind)], ids=lambda kind: kind.noun
)
def test_quantities_as_engineers_write_them_fit_the_pattern(kind: Any) -> None:
    assert re.search(QUANTITY, kind.example)


@pytest.mark.parametrize(
    "text", ["40gal", "1,000 gal", "1e3 gal", ".5 in", "-4.5 degC", "−4 °C", "140 °F", "+3 K", " 7 kW "]
)
def test_the_pattern_takes_what_the_reader_takes(text: str) -> None:
    assert re.search(QUANTITY, text)
