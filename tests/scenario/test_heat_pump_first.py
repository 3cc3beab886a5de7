"""Settings that nobody wrote: the heat pump is called before the backup starts, however the store cools."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO
from hypothesis import example, given, settings
from hypothesis import strategies as st
from layer_cases import column, filled

from hpwhsim.account.adequacy import cautions as year_cautions
from hpwhsim.account.adequacy import time_text
from hpwhsim.scenario.heat_pump_first import BACKUP_HEIGHT, Settings
from hpwhsim.scenario.reading import scenario_from
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.writing import assumptions, cautions
from hpwhsim.storage.heating import coldest_foot
from hpwhsim.storage.layers import sensed

pytestmark = pytest.mark.contract

SLICES = 48  # of the store


def scenario(setpoint: float, condenser: str = "single-pass", **keys: Any) -> Scenario:
    """An invented plant with resistance beside a heat pump; keys with __ for the dots below `plant`."""
    plant: dict[str, Any] = {
        "family": "central-air",
        "heat_pump": {
            "refrigerant": "R-134a",
            "condenser": condenser,
            "capacity": "20 kW",
            "cop": 3.0,
            "rated_at": {"source": "7 degC", "water_in": "40 degC", "water_out": "45 degC"},
        },
        "storage": {"volume": "2000 L", "setpoint": f"{setpoint} degC"},
        "backup": {"kind": "resistance", "power": "10 kW"},
    }
    for path, value in keys.items():
        block, _, key = path.partition("__")
        plant.setdefault(block, {})[key] = value
    raw = {
        "title": "invented",
        "site": {"weather": str(CHICAGO)},
        "building": {"apartments": 10},
        "hot_water": {"use_temperature": "48 degC"},
        "plant": plant,
    }
    return scenario_from(raw, Path())


def layers(found: Settings, profile: np.ndarray) -> tuple[float, float]:
    """What start sensor and backup's sensor feel in a settled store. [°C]"""
    of = column()
    store = filled(of, *profile)
    return sensed(store, found.sensor_height)[0], coldest_foot(store, of, min(found.backup_height, 0.99))


@pytest.mark.slow
@pytest.mark.law
@given(
    st.floats(49.0, 85.0),
    st.sampled_from(["single-pass", "multi-pass", "wrap-around"]),
    st.one_of(st.none(), st.floats(0.05, 0.95)),
    st.one_of(st.none(), st.floats(1.0, 8.0)),
    st.lists(st.floats(0.0, 1.0), min_size=SLICES, max_size=SLICES),
)
@example(49.0, "single-pass", None, 8.0, [0.5] * SLICES)  # a wide band under a setpoint hardly above use
@settings(deadline=None, max_examples=200)
def test_no_settled_store_starts_the_backup_without_calling(
    setpoint: float, condenser: str, height: float | None, band: float | None, drops: list[float]
) -> None:
    """Law of order: a settled store is nowhere hotter below. A cold backup sensor implies a call."""
    keys: dict[str, Any] = {}
    if height is not None:
        keys["backup__height"] = height
    if band is not None:
        keys["backup__dead_band"] = f"{band} K"
    found = scenario(setpoint, condenser, **keys).settings
    profile = np.sort(found.backup_start - 2.0 + 8.0 * np.array(drops))
    start, backup = layers(found, profile)
    assert found.stop_height <= found.sensor_height
    if backup < found.backup_start:
        assert start < found.start_at
    # a charged store lets the backup rest
    charged = np.full(SLICES, found.stop_at)
    assert layers(found, charged)[1] >= min(found.backup_setpoint, found.stop_at)
    if 43.3 + (band or 3.0) <= found.stop_at:  # else no setpoint does both, and a caution says so
        assert found.backup_setpoint <= found.stop_at + 1e-9
    # and neither waits until hot water runs short
    assert found.backup_start >= 43.3 - 1e-9
    assert found.start_at > 43.3
    assert found.outlet_temperature >= found.stop_at


@pytest.mark.law
@pytest.mark.parametrize("condenser", ["single-pass", "multi-pass", "wrap-around"])
@pytest.mark.parametrize("setpoint", [48.9, 54.4, 57.2, 60.0, 65.6, 76.7])  # 120 to 170 degF
def test_the_order_holds_over_the_usual_setpoints(setpoint: float, condenser: str) -> None:
    found = scenario(setpoint, condenser)
    assert found.settings.backup_start <= found.settings.start_at - 0.99
    assert found.settings.backup_setpoint <= found.settings.stop_at
    assert found.settings.sensor_height <= found.settings.backup_height
    assert not [line for line in cautions(found) if "backup" in line]


@pytest.mark.independent
def test_a_wide_dead_band_of_the_backup_is_no_wait_for_cold_taps() -> None:
    """Water is short below 43.3 degC; a backup 8 K wide that starts there heats to 51.3, more than 48 + 3."""
    found = scenario(49.0, backup__dead_band="8 K")
    assert found.settings.backup_start == pytest.approx(43.3, abs=1e-9)
    (why,) = [item for item in assumptions(found) if item["key"] == "plant.backup.setpoint"]
    assert why["value"] == "51.3 degC"
    assert "before hot water is unmet" in why["source"]


@pytest.mark.law
@given(st.floats(50.0, 80.0), st.floats(45.0, 80.0), st.floats(0.5, 15.0))
@settings(deadline=None, max_examples=100)
def test_a_backup_that_was_set_moves_the_dead_band(setpoint: float, backup: float, band: float) -> None:
    """Where a dead band of 2 K or more lets the heat pump go first, it does; where not, a caution says so."""
    found = scenario(setpoint, backup__setpoint=f"{backup} degC", backup__dead_band=f"{band} K")
    first = found.settings.backup_start < found.settings.start_at
    last = found.settings.backup_setpoint <= found.settings.stop_at + 1e-9
    possible = backup - band <= setpoint - 3.0 and backup <= setpoint - 1.0
    assert (first and last) or not possible
    assert bool([line for line in cautions(found) if "the backup" in line]) is not (first and last)


def test_heights_follow_each_other() -> None:
    low = scenario(65.0, backup__height=0.2).settings
    assert low.sensor_height == low.backup_height == 0.2
    high = scenario(65.0, controls__sensor_height=0.8).settings
    assert high.backup_height == 0.8 > BACKUP_HEIGHT
    raised = scenario(65.0, heat_pump__intake_height=0.4).settings
    assert raised.sensor_height >= raised.stop_height >= 0.4


@pytest.mark.independent
def test_a_multi_pass_outlet_lets_the_charge_end() -> None:
    """The water of the last pass comes at the temperature that ends the call, and leaves a rise above it."""
    found = scenario(50.0, "multi-pass").settings
    assert found.outlet_temperature - 5.0 >= found.stop_at - 1e-9
    assert scenario(65.0, "multi-pass").settings.outlet_temperature == 65.0


def test_what_is_worked_out_stands_among_the_assumptions_with_its_value() -> None:
    found = scenario(57.2)
    by_key = {item["key"]: item for item in assumptions(found)}
    assert by_key["plant.backup.setpoint"]["value"] == "49.2 degC"
    assert "heat pump starts 1 K before" in by_key["plant.backup.setpoint"]["source"]
    assert by_key["plant.controls.dead_band"]["value"] == "10 K"
    assert by_key["plant.controls.sensor_height"]["value"] == "0.35"
    assert by_key["plant.controls.stop_height"]["value"] == "0.15"
    assert by_key["plant.backup.height"]["value"] == "0.6"


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"backup__setpoint": "58 degC", "controls__dead_band": "10 K"}, "the backup runs first"),
        ({"backup__height": 0.2, "controls__sensor_height": 0.5}, "sensor_height 0.5 lies above"),
        ({"backup__setpoint": "59.5 degC", "backup__dead_band": "12 K"}, "the backup goes on alone"),
    ],
)
def test_a_reversed_order_is_cautioned(keys: dict[str, Any], said: str) -> None:
    assert said in "\n".join(cautions(scenario(60.0, **keys)))


def test_the_year_cautions_of_hours_not_called_and_of_short_runs() -> None:
    """Six starts an hour of running: common practice, no source."""
    rest: dict[str, Any] = {
        "short_hours": 0.0,
        "short_litres": 0.0,
        "minimum_c": 43.3,
        "edge_hours": 0.0,
        "supply_min_c": 50.0,
        "run_hours": 2000.0,
    }
    assert year_cautions(**rest, not_called_hours=3.0) == []
    (said,) = year_cautions(**rest, not_called_hours=12.0)
    assert "12.0 h in which the heat pump's sensors are satisfied" in said
    starts, hours = np.array([1000.0, 6400.0]), np.array([1000.0, 900.0])
    (said,) = year_cautions(**rest, starts=starts, module_hours=hours)
    assert "module 2 starts 6,400 times" in said
    assert year_cautions(**rest, starts=np.array([300.0]), module_hours=np.array([10.0])) == []


@pytest.mark.parametrize(("hours", "said"), [(0.0, "0.0 h"), (0.0194, "1.2 min"), (2.5, "2.5 h")])
def test_minutes_of_short_water_are_not_said_as_no_time(hours: float, said: str) -> None:
    """19 L that a tap lacks for 70 s are no 0.0 h."""
    assert time_text(hours) == said
