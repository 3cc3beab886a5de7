"""What the march reads and books in which hour and quarter: short marches of a day, by hand.

Every input of one hour only must show in that hour only; an index that is one off is seen at once.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import central_air
from drive_cases import Marched, march_hours, wide_table

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.independent

MACHINE: dict[str, Any] = {
    "condenser": "single-pass",
    "outlet_temperature": "63 degC",
    "refrigerant": "R-134a",
}
RESISTANCE = {"kind": "resistance", "power": "10 kW", "setpoint": "50 degC", "height": 0.5}


def plant(
    folder: Path,
    *,
    loop: bool = False,
    backup: tuple[str, ...] | None = None,
    turndown: float = 1.0,
    modules: int = 1,
    **controls: Any,
) -> Assembly:
    """20 kW in four steps an hour; a store of 2 m³ without losses."""
    raw = central_air(folder) | {"run": {"steps_per_hour": 4}}
    raw["plant"]["heat_pump"] = MACHINE | {
        "table": str(wide_table(folder / "wide.csv")),
        "min_speed_fraction": turndown,
        "modules": modules,
    }
    raw["plant"]["storage"] |= {"heat_loss": "0 W/K", "inlet_mixing": 0.0}
    raw["plant"]["controls"] = {"dead_band": "6 K", "sensor_height": 0.5, "stop_height": 0.15, **controls}
    if backup is not None:
        raw["plant"]["backup"] = RESISTANCE | {"lock_outs": list(backup)}
    if loop:
        raw["recirculation"] = {"loss_per_apartment": "100 W", "return_height": 0.8}
    path = folder / "plant.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    scenario = read_scenario(path).scenario
    return assemble(scenario, read_weather(scenario.site.weather))


def use_in(hours: int, hour: int, cubic_metres: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Water drawn in one hour, in four equal steps. [m³]"""
    use = np.zeros(4 * hours)
    use[4 * hour : 4 * hour + 4] = cubic_metres / 4.0
    return use


def run_hours(of: Marched) -> list[int]:
    return [int(hour) for hour in np.flatnonzero(of.out.run_seconds > 0.0)]


@pytest.mark.parametrize("hour", [0, 3, 7])
def test_the_loop_loses_in_its_hour_of_the_day(tmp_path: Path, hour: int) -> None:
    """2 kW in one hour of the day are 2 kWh in that hour, today and tomorrow.

    2 %: the loop loses by what leaves for it, and the store's top cools by up to half a kelvin of 38 K.
    """
    loss = np.zeros(24)
    loss[hour] = 2000.0
    out = march_hours(plant(tmp_path, loop=True), 30, loop_loss=loss).out
    booked = out.loop_heat / 3.6e6
    expected = np.zeros(30)
    expected[[h for h in (hour, hour + 24) if h < 30]] = 2.0
    assert booked == pytest.approx(expected, rel=0.02, abs=1e-6)


@pytest.mark.parametrize("hour", [1, 4])
def test_mains_water_is_that_of_the_hour(tmp_path: Path, hour: int) -> None:
    """100 L to 49 °C from 10 °C are 3.9 K·m³; in the one hour with mains of 30 °C they are 1.9 K·m³."""
    mains = np.full(6, 10.0)
    mains[hour] = 30.0
    use = np.full(24, 0.025)
    heat = march_hours(plant(tmp_path), 6, draws=True, use=use, mains=mains).out.taps_heat
    expected = np.full(6, 39.0)
    expected[hour] = 19.0
    assert heat / heat[0] == pytest.approx(expected / 39.0, rel=1e-6)


def test_permission_is_that_of_the_step(tmp_path: Path) -> None:
    """Barred from 2:00 to 4:00 and from 6:00 on: a cold store is charged in the hours between."""
    assembly = plant(tmp_path, lock_outs=["02:00-04:00", "06:00-24:00"])
    found = march_hours(assembly, 9, start=15.0)
    assert run_hours(found) == [0, 1, 4, 5]
    assert found.out.run_seconds[[0, 1, 4, 5]] == pytest.approx(3600.0)
    # 95 kWh for 2 m³ from 15 to 63 °C: it still calls when the bar comes, in 2, 3 and from 6 on
    assert found.out.lockout_seconds / 3600.0 == pytest.approx([0, 0, 1, 1, 0, 0, 1, 1, 1])


def test_a_bar_is_no_lock_out_for_a_store_that_does_not_call(tmp_path: Path) -> None:
    out = march_hours(plant(tmp_path, lock_outs=["02:00-04:00"]), 6).out
    assert out.lockout_seconds.sum() == 0.0


@pytest.mark.parametrize(("full", "runs"), [(True, False), (False, True)])
def test_a_bar_holds_while_there_is_a_reserve(tmp_path: Path, full: bool, runs: bool) -> None:
    """Reserve of 0.4 of the height: half a hot store is enough; a fifth is not, and the bar is off."""
    assembly = plant(tmp_path, lock_outs=["00:00-06:00"], reserve_height=0.4)
    cells = assembly.start.size
    hot = round((0.5 if full else 0.2) * cells)
    assembly.start[: cells - hot] = 15.0
    found = march_hours(assembly, 2)
    assert bool(found.out.run_seconds.sum() > 0.0) is runs


def test_power_is_booked_in_its_quarter(tmp_path: Path) -> None:
    """From a store at 15 °C with 7:00 open alone: 20 kW / 3 in each of its quarters, nothing in others."""
    found = march_hours(plant(tmp_path, charge_windows=["07:00-08:00"]), 10, start=15.0)
    power = found.out.quarter_power[:40] / 900.0
    expected = np.zeros(40)
    expected[28:32] = 20e3 / 3.0
    assert power == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_resistance_is_in_the_power_of_its_quarters(tmp_path: Path) -> None:
    """Energy is the integral of power: 10 kW of backup beside a barred machine, quarter by quarter."""
    assembly = plant(tmp_path, backup=(), charge_windows=["20:00-21:00"])
    out = march_hours(assembly, 8, start=15.0).out
    power = out.quarter_power[:32] / 900.0
    assert power.sum() / 4.0 == pytest.approx(out.backup_energy.sum() / 3.6e3, rel=1e-9)
    assert power[:12] == pytest.approx(np.full(12, 10e3))  # 1 m³ by 35 K is 40 kWh: four hours
    assert out.backup_energy[:3] == pytest.approx(np.full(3, 3.6e7))


def test_an_inverter_looks_at_the_lifted_front(tmp_path: Path) -> None:
    """In a boost of 8 K a store at 60 °C is cold from top to bottom: full speed, and no part load.

    By hand: one hour at 20 kW; at the least speed of 0.3 it would be 6 kWh.
    """
    assembly = plant(tmp_path, turndown=0.3, boost="8 K", boost_windows=["00:00-06:00"])
    out = march_hours(assembly, 1).out
    assert out.heat_pump_heat[0] / 3.6e6 > 15.0


def test_a_lifted_start_is_looked_for_in_time(tmp_path: Path) -> None:
    """A draw that brings the front to the start sensor of a boosted store starts a charge within minutes.

    All at 67 °C, a boost of 8 K (start below 62 °C); 1.05 m³ are drawn of 2 m³ in the second hour.
    """
    assembly = plant(tmp_path, boost="8 K", boost_windows=["00:00-06:00"])
    use = use_in(3, 1, 1.05 * (67.0 - 10.0) / 39.0)
    out = march_hours(assembly, 3, draws=True, use=use, mains=np.full(3, 10.0), start=67.0).out
    assert out.run_seconds[0] == 0.0
    assert out.run_seconds[1] > 60.0
    assert out.run_seconds[2] == pytest.approx(3600.0)


def test_a_barred_backup_stands_and_an_open_one_heats(tmp_path: Path) -> None:
    """Barred from 1:00 to 3:00: 10 kWh in the hours around, none in those two; 40 kWh are wanted."""
    assembly = plant(tmp_path, backup=("01:00-03:00",), charge_windows=["20:00-21:00"])
    energy = march_hours(assembly, 5, start=15.0).out.backup_energy / 3.6e6
    assert energy == pytest.approx([10.0, 0.0, 0.0, 10.0, 10.0])


def test_fewer_modules_run_in_a_demand_window(tmp_path: Path) -> None:
    """Three modules without a stage delay; one from 1:00 to 3:00, in a store that none can fill by then."""
    assembly = plant(tmp_path, modules=3, stage_delay="0 s", demand_windows=["01:00-03:00"], demand_modules=1)
    out = march_hours(assembly, 4, start=5.0).out
    assert out.module_seconds[:3] / 3600.0 == pytest.approx([3.0, 1.0, 1.0])
    assert out.heat_pump_heat[:3] / 3.6e6 == pytest.approx([60.0, 20.0, 20.0], rel=1e-6)


def test_a_lock_out_holds_in_the_hours_that_a_signal_opens(tmp_path: Path) -> None:
    """The signal is lowest from 0:00 to 8:00; barred from 2:00 to 4:00: open at 0, 1, 4, 5, 6, 7 each day."""
    path = tmp_path / "signal.csv"
    rows = ["signal", *(f"{0.1 if hour % 24 < 8 else 0.2 + 0.001 * (hour % 24)}" for hour in range(8760))]
    path.write_text("\n".join(rows) + "\n")
    assembly = plant(tmp_path, signal=str(path), signal_hours=8, lock_outs=["02:00-04:00"])
    open_hours = assembly.drive.permitted.reshape(365, 24, -1)
    assert np.array_equal(open_hours.all(axis=2), open_hours.any(axis=2))
    expected = np.isin(np.arange(24), [0, 1, 4, 5, 6, 7])
    assert np.array_equal(open_hours[:, :, 0], np.broadcast_to(expected, (365, 24)))
