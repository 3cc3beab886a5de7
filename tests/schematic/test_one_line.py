"""The electrical one-line: legible, and its numbers are those of the site checks."""

import re
from typing import Any

import pytest
from cases import ROOT
from drawing_cases import assert_legible, texts

from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.schematic.one_line import one_line, one_line_svg

pytestmark = [pytest.mark.contract, pytest.mark.year]

SUPPLIES = {
    "same voltage": (),
    "transformer": ("site.checks.building_voltage=480 V",),
    "not known": ("site.checks.building_voltage=null", "site.checks.available_current=null"),
    "one module, no heater": ("plant.heat_pump.modules=1", "plant.backup={kind: none}"),
    "europe": ("site.checks.voltage=400 V", "site.checks.building_voltage=400 V"),
    "heat trace": ("plant.heat_pump.water_lines.length=20 m", "plant.heat_pump.water_lines.protection=trace"),
}


def record_of(*overrides: str) -> tuple[dict[str, Any], int]:
    loaded = read_scenario(
        ROOT / "scenarios" / "central-air.yaml", [*overrides, "baseline=null", "costs=null"]
    )
    plant = evaluate(loaded).plant
    return dict(plant.record), plant.year.made.modules


@pytest.mark.slow
@pytest.mark.parametrize("name", SUPPLIES)
def test_the_one_line_has_the_numbers_of_the_checks(name: str) -> None:
    record, modules = record_of(*SUPPLIES[name])
    figure = one_line(record, modules)
    assert figure is not None
    assert_legible(figure)
    drawn = " ".join(text for text, _ in texts(figure))
    rows: Any = record["checks"]
    circuits = [row for row in rows if row["name"].startswith("minimum circuit ampacity, ")]
    # each module has a circuit of its own
    assert len(circuits) + modules - 1 == len(re.findall(r"[\d.,]+ A at least", drawn))
    assert all(f"HP-{n}" in drawn for n in range(1, modules + 1))
    for row in circuits:
        assert f"{row['value']:.4g} A at least" in drawn, row["name"]
        size = re.search(r"\d+ A", row["limit"])
        assert size is not None
        assert size[0] in drawn, row["name"]
    assert ("transformer for" in drawn) == any(row["name"] == "transformer" for row in rows)
    assert ("heat trace" in drawn) == (name == "heat trace")
    assert one_line_svg(record, modules) == one_line_svg(record, modules)


def test_many_modules_are_one_circuit_with_their_number() -> None:
    record, _ = record_of()
    figure = one_line(record, 7)
    assert figure is not None
    assert_legible(figure)
    drawn = " ".join(text for text, _ in texts(figure))
    assert "7 circuits" in drawn
    assert "HP-1 to HP-7" in drawn


def test_without_electrical_checks_there_is_none() -> None:
    record, modules = record_of("site.checks=null")
    assert one_line(record, modules) is None
    assert one_line_svg(record, modules) is None
