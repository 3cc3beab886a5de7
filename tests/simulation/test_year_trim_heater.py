"""A backup in series and random draws through days of the year: setpoints, steps of any length, messages."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import HEAVY_DEMO, ROOT, central_air, refusal

from hpwhsim.account.valve import valve_year
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.arrays import Hourly
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.sizing.design_days import _cut
from hpwhsim.storage.layers import RHO_CP

pytestmark = pytest.mark.contract

DEMO = ROOT / "scenarios" / "central-air.yaml"
TRIM = ("plant.backup.kind=resistance", "plant.backup.mode=series", "plant.backup.power=15 kW")
SMALL = ("plant.storage.volume=150 gal", "plant.storage.setpoint=60 degC")


def ready(*overrides: str) -> Assembly:
    loaded = read_scenario(DEMO, (*HEAVY_DEMO, *overrides))
    return assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))


def days(assembly: Assembly, first: int, count: int) -> tuple[Hourly, float]:
    """March some days from a charged store; what they brought, and the heat that is missing in a balance."""
    drive = _cut(assembly.drive, first + np.arange(count))
    store = assembly.start.copy()
    out = march(assembly.plant, drive, assembly.state, store)
    stored = float((store - assembly.start).mean()) * RHO_CP * assembly.plant.column.volume
    gone = (out.taps_heat + out.loop_heat + out.storage_loss).sum() + stored
    given = (out.heat_pump_heat + out.backup_heat).sum()
    return out, float(given - gone) / float(given)


def kwh(joules: Any) -> float:
    return float(joules.sum()) / 3.6e6


@pytest.mark.slow
@pytest.mark.law
def test_the_setpoint_sets_the_heat() -> None:
    """A store charged to 60 °C feeds taps and loop; lifted to 122, 140 and 180 degF on three winter days.

    Hotter supply, more of it from the heater; below the store's own temperature hardly any. The loop that
    leaves at 82 °C and comes back at 51 °C takes its loss and warms the store: the heat pump gives less.
    Nothing is lost (1e-12), and the heater stays within its power.
    """
    heat, pumped = [], []
    for setpoint in (122, 140, 180):
        out, missing = days(
            ready(*TRIM, "plant.backup.power=60 kW", f"plant.backup.setpoint={setpoint} degF", SMALL[1]),
            14,
            3,
        )
        assert abs(missing) < 1e-12
        assert out.backup_heat.max() <= 60e3 * 3600.0 * (1.0 + 1e-9)
        heat.append(kwh(out.backup_heat))
        pumped.append(kwh(out.heat_pump_heat))
    assert heat[0] < 0.05 * heat[1]
    assert heat[1] < 0.5 * heat[2]
    assert pumped[0] > pumped[1] > pumped[2]


@pytest.mark.law
@pytest.mark.parametrize("loop", [(), ("recirculation=",)])
def test_days_do_not_depend_on_the_steps(loop: tuple[str, ...]) -> None:
    """Random draws, a store that is too small, a heater in series, 4 to 360 steps an hour, five January days.

    Draws act at their own seconds: what is short agrees to 2 % or 5 L, the time to 3 %, the electricity to
    0.3 %. With a step's mean flow the litres of a year ran from 1,531 to 9,226.
    """
    overrides = (*TRIM, *SMALL, *loop)
    found = []
    for steps in (4, 12, 60, 360):
        out, missing = days(ready(*overrides, f"run.steps_per_hour={steps}"), 5, 5)
        assert abs(missing) < 1e-12
        electricity = kwh(out.quarter_power)
        short = 1e3 * float(out.short_volume.sum())
        found.append((short, float(out.short_seconds.sum()), electricity))
    assert found[1][0] > 100.0  # something to agree on
    for short, seconds, electricity in found:
        assert short == pytest.approx(found[1][0], rel=0.02, abs=5.0)
        assert seconds == pytest.approx(found[1][1], rel=0.03, abs=60.0)
        assert electricity == pytest.approx(found[1][2], rel=0.003)


def setpoint_of(*overrides: str) -> float:
    """What the heater of the demo is set to, from the list of assumptions. [degC]"""
    found = [item for item in ready(*TRIM, *overrides).assumptions if item["key"] == "plant.backup.setpoint"]
    assert len(found) == 1
    assert "common practice" in found[0]["source"]
    return float(found[0]["value"].removesuffix(" degC"))


def test_the_default_setpoint_serves_taps_and_loop() -> None:
    """124 degF and 5 K for the loop; without one the use temperature, or what the tempering valve needs."""
    assert setpoint_of() == pytest.approx((124 - 32) / 1.8 + 5.0, abs=0.01)
    assert setpoint_of("recirculation=") == pytest.approx((120 - 32) / 1.8, abs=0.01)
    valve = ("hot_water.tempering_valve=52 degC", "hot_water.tempering_min_difference=8 K")
    assert setpoint_of("recirculation=", *valve) == pytest.approx(60.0)


def test_a_setpoint_that_serves_nobody_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    raw = central_air(tmp_path)
    raw["recirculation"] = {"loss_per_apartment": "60 W", "return_temperature": "51 degC"}
    raw["plant"]["backup"] = {"kind": "gas", "power": "9 kW", "mode": "series", "setpoint": "46 degC"}
    import yaml

    path = tmp_path / "case.yaml"
    path.write_text(yaml.safe_dump(raw))
    loaded = read_scenario(path)
    said = "\n".join(assemble(loaded.scenario, read_weather(loaded.scenario.site.weather)).cautions)
    assert "plant.backup.setpoint 46 degC is below hot_water.use_temperature 49 degC" in said
    assert "is not above recirculation.return_temperature 51 degC" in said
    tank = "{volume: 100 gal, setpoint: 130 degF, power: 9 kW}"
    told = refusal(
        [
            "run",
            str(DEMO),
            *(f"--set={item}" for item in TRIM),
            "--set=recirculation.served_by=loop-tank",
            "--set=recirculation.return_height=",
            f"--set=recirculation.loop_tank={tank}",
        ],
        capsys,
    )
    assert "plant.backup.mode" in told
    assert "parallel: the taps' water runs through the loop's own tank" in told


@pytest.mark.law
def test_a_tank_of_the_loops_own_beside_a_trim_heater() -> None:
    """The heater then lifts the taps' water alone: the loop takes nothing from it."""
    assembly = ready(
        *TRIM,
        "plant.backup.power=200 kW",
        "plant.backup.setpoint=75 degC",
        SMALL[1],
        "recirculation.served_by=loop-tank",
        "recirculation.return_height=",
        "recirculation.loop_tank={volume: 100 gal, setpoint: 130 degF, power: 9 kW, connection: parallel}",
    )
    out, _ = days(assembly, 14, 3)
    # 60 W an apartment of water at 55.5 °C; fed at 54.4 °C or, below the thermostat, a dead band less
    tank, air = assembly.plant.loop_tank, assembly.plant.loop_ambient
    most = 32 * 0.06 * 72.0 * (tank.setpoint - air) / (55.5 - air)
    least = most * (tank.setpoint - tank.dead_band - 5.0 - air) / (tank.setpoint - air)  # 5 K along the loop
    assert least < kwh(out.loop_heat) < most
    # all of the taps' water is lifted from 60 °C or less to 75: at least 15 of its 75 - mains
    assert kwh(out.backup_heat) > 0.2 * kwh(out.taps_heat)
    assert kwh(out.backup_heat) < kwh(out.taps_heat)


@pytest.mark.independent
def test_the_valve_sees_the_flow_of_the_draws() -> None:
    """A tap at 0.1 L/s for 30 s of a quarter of an hour is 0.1 L/s at the valve, not the mean 0.0033."""
    given: dict[str, Any] = {
        "use_m3": [3e-3, 0.0, 0.0, 0.0],
        "mains_c": [10.0],
        "hot_c": [65.0],
        "step_seconds": 900.0,
        "use_c": 49.0,
        "setpoint_c": 49.0,
        "difference_k": 0.0,
        "loop_flow": np.zeros(24),
        "least_flow": 0.05e-3,
        "most_flow": 0.2e-3,
    }
    assert valve_year(**given).uncontrolled.tolist() == [True]
    found = valve_year(**given, flow_m3s=[0.0, 1e-4, 0.0], hour_of_flow=[0, 0, 0])
    assert found.uncontrolled.tolist() == [False]
    assert found.over.tolist() == [False]
