"""What water leaves for the loop: the coldest of store, loop tank and tempering valve."""

from pathlib import Path

import numpy as np
import pytest
from cases import ROOT

from hpwhsim.plant.loop import NO_LOOP, loop_supply, make_loop
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.independent

STORE, TANK = ROOT / "scenarios" / "central-air.yaml", ROOT / "scenarios" / "loop-tank.yaml"
HELD = (130.0 - 32.0) / 1.8  # °C, its setpoint


@pytest.mark.parametrize(
    ("file", "overrides", "supply", "key"),
    [
        (STORE, [], 65.0, "plant.storage.setpoint"),  # 149 degF
        (STORE, ["hot_water.tempering_valve=54 degC"], 54.0, "hot_water.tempering_valve"),
        (STORE, ["plant.storage.setpoint=60 degC"], 60.0, "plant.storage.setpoint"),
        (TANK, [], HELD, "recirculation.loop_tank.setpoint"),
        (TANK, ["hot_water.tempering_valve=52 degC"], 52.0, "hot_water.tempering_valve"),
        (TANK, ["hot_water.tempering_valve=56 degC"], HELD, "recirculation.loop_tank.setpoint"),
    ],
)
def test_the_coldest_on_the_way_is_the_supply(
    file: Path, overrides: list[str], supply: float, key: str
) -> None:
    """A thermostatic valve only cools: what reaches it colder passes as it is."""
    found, of = loop_supply(read_scenario(file, overrides).scenario)
    assert found == pytest.approx(supply, abs=1e-9)
    assert of == key


def test_the_loss_of_a_running_loop_is_that_of_all_apartments() -> None:
    """32 apartments of 85 W are 2720 W of water at 55.5 °C on average, in every hour; the pump as written.

    At its own supply its water is warmer, and loses more by the log-mean excess over air of 22 °C.
    """
    scenario = read_scenario(STORE, ["recirculation.pump_power=45 W"]).scenario
    loop = make_loop(scenario, np.full(8760, 10.0), [], [])
    first, last = 65.0 - 22.0, loop.back[0] - 22.0
    excess = (first - last) / np.log(first / last)
    assert excess > 55.5 - 22.0
    assert loop.loss.tolist() == [pytest.approx(2720.0 * excess / (55.5 - 22.0), rel=1e-9)] * 24
    assert loop.pump.tolist() == [45.0] * 24
    assert not NO_LOOP.loss.any()


def test_a_pump_that_stands_takes_nothing() -> None:
    """From 5:15 to 22:30: nothing by night, 3/4 of 60 W in the hour from 5, half in the hour from 22."""
    overrides = ["recirculation.pump_power=60 W", 'recirculation.schedule=["05:15-22:30"]']
    loop = make_loop(read_scenario(STORE, overrides).scenario, np.full(8760, 10.0), [], [])
    assert loop.pump[:8] == pytest.approx([0, 0, 0, 0, 0, 45.0, 60.0, 60.0])
    assert loop.pump[21:] == pytest.approx([60.0, 30.0, 0.0])
