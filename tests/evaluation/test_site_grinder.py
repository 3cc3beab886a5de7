"""The grinder pump of a sewage plant in the connected load."""

import pytest
from cases import ROOT

from hpwhsim.evaluation.evaluate import check
from hpwhsim.evaluation.site_checks import site_checks
from hpwhsim.scenario.reading import changed, read_scenario
from hpwhsim.simulation.connected_load import connected
from hpwhsim.simulation.year import run_year

pytestmark = pytest.mark.independent

SEWAGE = ROOT / "scenarios" / "wastewater.yaml"
CHECKS = ["site.checks.voltage=480 V", "site.checks.power_factor=0.8"]
GRINDING = ["plant.source.wastewater.grinding=1.1 kWh/m3", "plant.source.wastewater.flow=14.4 m3/h"]


def test_grinding_takes_its_energy_at_the_flow_of_the_exchanger() -> None:
    """By hand: 1.1 kWh for each of 14.4 m3 an hour are 15.84 kW; inputs of the march are rounded."""
    assembly = check(read_scenario(SEWAGE, [*CHECKS, *GRINDING])).assembly
    assert connected(assembly).grinder == pytest.approx(15_840.0, rel=1e-8)


@pytest.mark.contract
@pytest.mark.parametrize("name", ["ground", "central-air"])
def test_without_sewage_nothing_grinds(name: str) -> None:
    assembly = check(read_scenario(ROOT / "scenarios" / f"{name}.yaml", ["baseline=null"])).assembly
    assert connected(assembly).grinder == 0.0


@pytest.mark.year
def test_the_motor_is_in_the_connected_load_and_the_circuits() -> None:
    """By hand: 5 kW of nameplate for 15.84 kW; apparent power over 0.8, three-phase current at 480 V."""
    loaded = read_scenario(SEWAGE, [*CHECKS, *GRINDING])
    year = run_year(loaded)
    written = changed(loaded.scenario, ["plant.source.wastewater.grinder_power=5 kW"], SEWAGE.parent)
    rows, others = (
        {row.name: row.value or 0.0 for row in site_checks(scenario, year)}
        for scenario in (loaded.scenario, written)
    )
    less = (15.84 - 5.0) / 0.8
    assert rows["connected load"] - others["connected load"] == pytest.approx(less)
    amperes = 1e3 * less / (3.0**0.5 * 480.0)
    assert rows["full-load current"] - others["full-load current"] == pytest.approx(amperes)
    assert rows["minimum circuit ampacity, plant"] > others["minimum circuit ampacity, plant"]
