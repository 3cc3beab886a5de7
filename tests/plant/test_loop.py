"""The loop follows its supply: pipes that cool exponentially, conductance by hand, pumps, and laws."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import central_air, number, run, worked
from hypothesis import given
from hypothesis import strategies as st
from layer_cases import column, filled, heat
from plant_cases import SECONDS, VOLUME, circulate, hour_with, plant

from hpwhsim.demand.loop_sections import Section
from hpwhsim.demand.recirculation import design, loss_at_supply
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.plant.arrays import LoopTank
from hpwhsim.plant.flows import loop_flow, loop_reach
from hpwhsim.plant.loop import LoopYear, make_loop
from hpwhsim.plant.loop_tank import beside_tank
from hpwhsim.plant.state import LoopState, Moved
from hpwhsim.scenario.reading import scenario_from
from hpwhsim.storage.layers import RHO_CP

pytestmark = pytest.mark.independent

WAY = Section("1 in", 50.0, 0.0254, 20.0, "supply", ())
LOOP = (WAY, WAY._replace(side="return", fed_by=(0,)))


def lost_from(top: float, watts: float = 0.0, back: float = 55.0, **more: Any) -> tuple[float, float]:
    """Loss of the loop [W] of a store all at `top` °C, and the change of heat in the store. [W]"""
    store = filled(column(VOLUME, 2.0), top)
    _, moved = circulate(plant(**more), store, hour_with(loop_watts=watts, loop_back=back))
    return moved.loop_heat * RHO_CP / SECONDS, (VOLUME * top - heat(store)) * RHO_CP / SECONDS


# --- the step --------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("top", [70.0, 60.0, 50.0, 30.0])
def test_pipes_worked_at_one_supply_lose_by_the_exponential_at_another(top: float) -> None:
    """100 m of tube worked out at 60 degC; at one flow T - T_air falls by exp(-UA / rho c V) at any supply.

    The loss is then rho c V (T_supply - T_air) (1 - exp(-UA / rho c V)): 60 to 55 degC in air of 20 degC
    leave 35/40 of the excess.
    """
    loop = design(LOOP, 60.0, 5.0).loop
    carried = loop.loss / 5.0
    assert math.exp(-loop.ua / carried) == pytest.approx(35.0 / 40.0, rel=1e-9)
    expected = carried * (top - 20.0) * (1.0 - math.exp(-loop.ua / carried))
    lost, given_up = lost_from(top, loop.loss, loop.back)
    assert lost == pytest.approx(expected, rel=1e-9)
    assert given_up == pytest.approx(lost, rel=1e-9)


@pytest.mark.law
def test_a_valve_ahead_of_the_loop_keeps_its_loss() -> None:
    """Behind a valve at 55 degC 60 and 79 degC give the loop the same; 50 degC gives less."""
    at = {"loop_limit": 55.0, "loop_supply": 55.0}
    losses = [lost_from(top, 1000.0, 50.0, **at)[0] for top in (79.0, 60.0, 55.0, 50.0)]
    assert losses[:3] == pytest.approx([1000.0] * 3, rel=1e-12)
    assert losses[3] == pytest.approx(1000.0 * 30.0 / 35.0, rel=1e-12)


@pytest.mark.law
@given(st.floats(0.0, 95.0), st.floats(0.0, 95.0))
def test_a_hotter_supply_never_loses_less(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert 0.0 <= loop_reach(plant(), low) <= loop_reach(plant(), high)


@pytest.mark.parametrize("top", [70.0, 60.0, 50.0, 40.0])
def test_the_flow_of_the_loop_is_its_own_at_any_supply(top: float) -> None:
    """A pump at one speed: 1 kW at a fall of 60 to 55 degC is 1000 W / (rho c 5 K), whatever is sent."""
    assert plant().loop_ambient == 20.0
    loss = 1000.0 / RHO_CP * (top - 20.0) / (60.0 - 20.0)
    assert loop_flow(plant(), top, 55.0, loss) == pytest.approx(1000.0 / (RHO_CP * 5.0), rel=1e-12)


def test_behind_a_mixing_valve_less_than_the_flow_of_the_loop_leaves_the_store() -> None:
    """Mixing by enthalpy: of a loop sent 55 degC that returns at 50 degC, 5/29 are water of 79 degC."""
    behind = plant(loop_limit=55.0, loop_supply=55.0)
    own = 1000.0 / (RHO_CP * 5.0)
    assert loop_flow(behind, 79.0, 50.0, 1000.0 / RHO_CP) == pytest.approx(own * 5.0 / 29.0, rel=1e-12)


def test_a_loop_tank_loses_by_its_own_temperature() -> None:
    """Tank at 66 degC, air at 20 degC, 1 kW at 60 degC: 46/40 kW."""
    tank = LoopTank(0.5, 0.0, 60.0, 3.0, 5e3, 0.0, plant().machine, 5.0, -20.0)
    hour = hour_with(loop_watts=1000.0, loop_back=55.0)
    moved, loop = beside_tank(
        plant(loop_tank=tank), hour, Moved(*[0.0] * 9), LoopState(66.0, False, 0.0, 0.0, 0.0), SECONDS
    )
    assert moved.loop_heat * RHO_CP / SECONDS == pytest.approx(1000.0 * 46.0 / 40.0, rel=1e-9)
    assert 66.0 - loop.held == pytest.approx(1150.0 * SECONDS / (RHO_CP * 0.5), rel=1e-9)


# --- a loss by apartment ---------------------------------------------------------------------------------


def test_a_loss_at_one_mean_by_hand() -> None:
    """60 W at a mean of 55.5 degC in air of 22 degC: 1.791 W/K. From 65 to 51.1 degC the logarithmic mean of
    the excess is 13.9 / ln(43/29.1) = 35.60 K: 63.8 W; from 79.4 degC 28.3 / ln(57.4/29.1) = 41.66 K: 74.6 W.
    """
    assert loss_at_supply(60.0, 55.5, 65.0, 51.1, 22.0) == pytest.approx(63.76, abs=0.01)
    assert loss_at_supply(60.0, 55.5, 79.4, 51.1, 22.0) == pytest.approx(74.62, abs=0.02)
    with pytest.raises(OutOfRangeError, match="a mean above the air"):
        loss_at_supply(60.0, 22.0, 65.0, 51.0, 22.0)


def raw_loop(folder: Path, **loop: Any) -> dict[str, Any]:
    raw = central_air(folder)
    raw["recirculation"] = {"loss_per_apartment": "60 W"} | loop
    return raw


def loop_of(raw: dict[str, Any], folder: Path) -> tuple[LoopYear, list[Any], list[str]]:
    found: list[Any] = []
    cautions: list[str] = []
    return make_loop(scenario_from(raw, folder), np.full(8760, 12.0), found, cautions), found, cautions


def test_the_setpoint_sets_the_loss(tmp_path: Path) -> None:
    """20 apartments, 60 W at 55.5 degC; air 22 degC, return 51 degC: by hand as above."""
    for setpoint, watts in ((60.0, 1192.7), (65.0, 1273.3), (79.4, 1490.0)):
        raw = raw_loop(tmp_path)
        raw["plant"] = {
            "family": "resistance",
            "storage": {"volume": "2000 L", "setpoint": f"{setpoint} degC"},
            "backup": {"kind": "resistance", "power": "40 kW"},
        }
        mean = (setpoint - 51.0) / math.log((setpoint - 22.0) / 29.0)
        loop, _, _ = loop_of(raw, tmp_path)
        assert loop.loss[0] == pytest.approx(1200.0 / 33.5 * mean, rel=1e-9)
        assert loop.loss[0] == pytest.approx(watts, abs=0.5)
    raw = raw_loop(tmp_path, loss_at="60 degC")
    assert loop_of(raw, tmp_path)[0].loss[0] == pytest.approx(1192.7 * 33.5 / 38.0, abs=0.5)


def test_the_pump_is_worked_out_or_as_given(tmp_path: Path) -> None:
    """By hand: 1192.7 W over 9 K are 32.1 mL/s (RHO_CP of 50 degC water); at 30 kPa and 0.25: 3.85 W."""
    loop, found, said = loop_of(raw_loop(tmp_path), tmp_path)
    flow = 1192.7 / 9.0 / RHO_CP
    assert loop.pump[0] == pytest.approx(30e3 * flow / 0.25, rel=1e-3)
    assert "recirculation.pump_power" in {item["key"] for item in found}
    assert any("recirculation.pump_power: not given" in line for line in said)
    more = loop_of(raw_loop(tmp_path, pump_head="60 kPa", pump_efficiency=0.5), tmp_path)[0]
    assert more.pump[0] == pytest.approx(loop.pump[0], rel=1e-12)
    as_given, _, quiet = loop_of(raw_loop(tmp_path, pump_power="85 W"), tmp_path)
    assert as_given.pump.tolist() == [85.0] * 24
    assert not [line for line in quiet if "pump_power" in line]


@pytest.mark.year
def test_the_pump_counts_in_kwh_and_in_every_quarter(tmp_path: Path) -> None:
    """250 W more of loop pump all day: 2,190 kWh more in the year, 0.25 kW in peak and quarters."""
    none, pump = (run(tmp_path, raw_loop(tmp_path, pump_power=f"{watts} W")) for watts in (0, 250))
    assert number(pump, "recirculation_pump_kwh") == pytest.approx(2190.0, rel=1e-12)
    assert number(pump, "electricity_kwh") - number(none, "electricity_kwh") == pytest.approx(2190.0)
    assert pump.quarter_kw - none.quarter_kw == pytest.approx(np.full(35040, 0.25))
    assert number(pump, "peak_kw") - number(none, "peak_kw") == pytest.approx(0.25)


@pytest.mark.year
def test_two_setpoints_in_a_year() -> None:
    """A resistance store at 149 and at 175 degF: the loop's kWh are as UA times the mean excess, within 1 %.

    Return 124 degF, air 22 degC: 35.60 K and 41.66 K. The store's top swings by its thermostat's dead band.
    With a tempering valve at 130 degF both lose the same.
    """

    def lost(*more: str) -> list[float]:
        return [
            number(
                worked("resistance", "hot_water.draws=smooth", f"plant.storage.setpoint={hot} degF", *more),
                "recirculation_loss_kwh",
            )
            for hot in (149, 175)
        ]

    cool, hot = lost()
    assert hot / cool == pytest.approx(41.66 / 35.60, rel=0.01)
    cool, hot = lost("hot_water.tempering_valve=130 degF")
    assert hot == pytest.approx(cool, rel=1e-6)


@pytest.mark.contract
def test_air_as_warm_as_the_mean_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"recirculation\.loss_at.*above recirculation\.ambient_temperature"):
        scenario_from(raw_loop(tmp_path, loss_at="30 degC", ambient_temperature="32 degC"), tmp_path)
