"""Boost and outdoor reset: by how much the setpoint is raised, and that the whole charge follows it.

The worked charge: a store of 2 m³ at its setpoint of 60 °C, without draws and losses. The dead band of 6 K
says that a charge starts below 54 °C and ends at 57 °C; a lift of 8 K moves both to 62 and 65 °C.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from drive_cases import march_hours, still

from hpwhsim.plant.clock import make_clock
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.independent

SETPOINT, DEAD_BAND, LIFT = 60.0, 6.0, 8.0
STOP_HEIGHT = 0.15
BAND = {"dead_band": "6 K", "sensor_height": 0.5, "stop_height": STOP_HEIGHT}
BOOST = {"boost": "8 K", "boost_windows": ["02:00-10:00"]}
RESET = {"outdoor_reset": {"cold": "-5 degC", "mild": "15 degC", "rise": "8 K"}}
SINGLE: dict[str, Any] = {"condenser": "single-pass", "outlet_temperature": "63 degC"}
MULTI: dict[str, Any] = {
    "condenser": "multi-pass",
    "rise": "3 K",
    "outlet_temperature": "63 degC",
    "rated_at": {"source": "7 degC", "water_in": "45 degC", "water_out": "48 degC"},
}
WRAPPED: dict[str, Any] = {
    "condenser": "wrap-around",
    "rated_at": {"source": "7 degC", "water_in": "45 degC", "water_out": "46 degC"},
}
PORTS = SINGLE | {"return_height": 0.9, "intake_height": 0.05}


@pytest.mark.slow
@pytest.mark.parametrize(
    "machine", [SINGLE, MULTI, WRAPPED, PORTS], ids=["single-pass", "multi-pass", "wrap-around", "ports"]
)
def test_a_boost_is_one_charge_to_the_boosted_stop_temperature(
    tmp_path: Path, machine: dict[str, Any]
) -> None:
    """From a full store, in one run: the water at the stop sensor ends as warm as the lifted sensor asks.

    By hand: 8 K in 2 m³ are 18.4 kWh, an hour of the 20 kW machine; the window is eight hours long.
    """
    marched = march_hours(still(tmp_path, BAND | BOOST, machine), 10)
    run = marched.out.run_seconds / 3600.0
    assert run[:2].sum() == 0.0  # full: nothing before the window
    assert (
        marched.at(STOP_HEIGHT) >= SETPOINT + LIFT - DEAD_BAND / 2.0 - 0.5
    )  # it stops within a part of a step
    assert marched.out.module_starts[0] == 1
    assert run[2] > 0.6  # at once: 8 to 9 K in what a sensor sees take most of an hour


@pytest.mark.law
def test_outside_its_window_a_boost_changes_nothing(tmp_path: Path) -> None:
    """The store at 58 °C is neither too cold to start nor, in a window, left as it is."""
    for hours, runs in ((2, False), (3, True)):
        marched = march_hours(still(tmp_path, BAND | BOOST, SINGLE), hours, start=58.0)
        assert bool(marched.out.run_seconds.sum() > 0.0) is runs


def test_a_charge_begun_in_a_boost_goes_on_to_the_end_of_the_window_only(tmp_path: Path) -> None:
    """A window of one hour: at its end the store is warmer than the setpoint asks, and the machine stops."""
    controls = BAND | {"boost": "8 K", "boost_windows": ["02:00-03:00"]}
    out = march_hours(still(tmp_path, controls, SINGLE), 6).out
    assert out.run_seconds[2] > 0.95 * 3600.0
    assert out.run_seconds[3:].sum() == 0.0


@pytest.mark.parametrize(
    "machine", [SINGLE, MULTI, WRAPPED], ids=["single-pass", "multi-pass", "wrap-around"]
)
@pytest.mark.parametrize(("air", "rise"), [(-12.0, 8.0), (-5.0, 8.0), (5.0, 4.0), (15.0, 0.0), (25.0, 0.0)])
def test_the_reset_store_is_as_hot_as_the_weather_asks(
    tmp_path: Path, machine: dict[str, Any], air: float, rise: float
) -> None:
    """A cold store charged in steady air ends at the setpoint with its rise, less half the dead band.

    Straight between -5 °C (8 K) and 15 °C (0 K): 4 K at 5 °C, by hand. It goes no higher than what the
    machine makes.
    """
    assembly = still(tmp_path, BAND | RESET, machine)
    clock = make_clock(read_scenario(tmp_path / "still.yaml").scenario, np.full(8760, air), 0, 4)
    hours = 12
    marched = march_hours(
        assembly,
        hours,
        start=20.0,
        lift=clock.lift[:hours],
        outlet=clock.outlet[:hours],
    )
    stop = SETPOINT + rise - DEAD_BAND / 2.0
    assert marched.out.run_seconds[-1] == 0.0  # the charge is over
    assert (
        marched.at(STOP_HEIGHT + 0.1) > stop - 1e-9
    )  # a mixed store ends just there; above the front that conduction spreads
    hottest = SETPOINT + rise + (0.0 if machine is WRAPPED else 3.0)  # their outlet is 63 °C
    assert marched.store.max() <= hottest + 1e-6
    if machine is SINGLE:
        # what it makes in one pass; merged layers may lose a spread of 1e-5 K², 0.03 K in a hundredth of it
        assert marched.store.max() == pytest.approx(hottest, abs=0.03)


def test_reset_by_hand(tmp_path: Path) -> None:
    """Rise of 8 K at -5 °C and below, none from 15 °C, straight between: 0.4 K a kelvin."""
    still(tmp_path, BAND | RESET, SINGLE)
    scenario = read_scenario(tmp_path / "still.yaml").scenario
    air = np.resize([-30.0, -5.0, 0.0, 5.0, 10.0, 14.0, 15.0, 35.0], 8760)
    clock = make_clock(scenario, air, 0, 4)
    by_hand = np.resize([8.0, 8.0, 6.0, 4.0, 2.0, 0.4, 0.0, 0.0], 8760)
    assert clock.lift == pytest.approx(by_hand, abs=1e-12)
    assert clock.outlet == pytest.approx(63.0 + by_hand, abs=1e-12)


def test_boost_and_reset_add_up(tmp_path: Path) -> None:
    """Boost of 8 K from 2 to 10 h on 4 K of reset: 12 K in the window, 4 K outside, every day."""
    mild = {"outdoor_reset": {"cold": "-5 degC", "mild": "15 degC", "rise": "4 K"}}
    still(tmp_path, BAND | BOOST | mild, SINGLE)
    clock = make_clock(read_scenario(tmp_path / "still.yaml").scenario, np.full(8760, -9.0), 0, 4)
    of_day = np.arange(8760) % 24
    inside = (of_day >= 2) & (of_day < 10)
    assert np.array_equal(clock.lift, np.where(inside, 12.0, 4.0))


@pytest.mark.law
def test_no_window_and_no_reset_lift_nothing(tmp_path: Path) -> None:
    assert not still(tmp_path, BAND, SINGLE).drive.lift.any()
