"""What the march books of energy: each kilowatt-hour once, by hand and by the first law; days, not years."""

from typing import Any

import numpy as np
import pytest
from control_cases import assembled, first_days, marched, simple_map
from plant_cases import plant

from hpwhsim.arrays import Array
from hpwhsim.plant.arrays import Hourly, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.heat_source import taken_at
from hpwhsim.plant.lines import Shift, lines_year
from hpwhsim.plant.running import machine_now
from hpwhsim.scenario.lines import WaterLines

pytestmark = pytest.mark.independent

SMOOTH = "hot_water.draws=smooth"
FED = (SMOOTH, "plant.controls.lock_outs=null")
GIVEN = {"fan_power": 200.0, "pump_power": 100.0, "standby_power": 50.0, "crankcase_power": 0.0}


def day_of(found: Assembly, store: float, **plant: Any) -> tuple[Assembly, Hourly]:
    """One day of May, in air of 7 °C, with other fields of the plant."""
    changed = found._replace(plant=found.plant._replace(**plant))
    drive = first_days(changed, (130,))
    one = np.ones(drive.source.size)
    drive = drive._replace(source=7.0 * one, frost_capacity=one, frost_power=one, frost_drawn=0.0 * one)
    return changed, marched(changed, drive, store)


def module_machine(modules: int) -> dict[str, Any]:
    return {"machine": simple_map(12e3), "lowest_source": -30.0, "highest_inlet": 75.0, "modules": modules}


def test_fuel_is_heat_over_efficiency() -> None:
    """A boiler of 80 % burns 1.25 kWh for each kWh of heat, and none of it is electric power."""
    found = assembled("gas-boiler", SMOOTH, "plant.backup.efficiency=0.8")
    _, out = day_of(found, 40.0)
    assert out.backup_heat.sum() > 0.0
    assert out.backup_energy == pytest.approx(1.25 * out.backup_heat, rel=1e-12)
    assert not out.quarter_power.any()


def test_what_stands_and_what_runs_takes_its_own_power() -> None:
    """Of two modules each second is either run, with fan and pump, or stood, with the standby power."""
    found = assembled("central-air", *FED)
    _, out = day_of(found, 40.0, **module_machine(2), **GIVEN)
    ran = out.module_seconds
    assert 0.0 < ran.sum() < 2.0 * 86400.0
    assert out.fan_energy == pytest.approx(200.0 * ran, rel=1e-9)
    assert out.pump_energy == pytest.approx(100.0 * ran, rel=1e-9)
    assert out.standby_energy == pytest.approx(50.0 * (2.0 * 3600.0 - ran), rel=1e-9, abs=1e-6)
    assert out.heat_pump_energy == pytest.approx(out.heat_pump_heat / 3.0, rel=1e-9)


@pytest.mark.law
def test_power_is_all_that_is_purchased() -> None:
    """Energy is the integral of power, hour by hour, the heater of the loop's own tank among it."""
    found = assembled("loop-tank", *FED)
    _, out = day_of(found, 45.0, **module_machine(2), **GIVEN)
    parts: list[Array] = [
        out.heat_pump_energy,
        out.fan_energy,
        out.pump_energy,
        out.standby_energy,
        out.backup_energy,
        out.loop_heater_energy,
    ]
    assert out.loop_heater_energy.sum() > 0.0
    assert out.quarter_power.reshape(-1, 4).sum(axis=1) == pytest.approx(np.sum(parts, axis=0), rel=1e-9)
    assert out.loop_heater_heat == pytest.approx(out.loop_heater_energy, rel=1e-12)  # an element


@pytest.mark.law
@pytest.mark.parametrize("share", [0.9, 0.75])
def test_the_source_gives_what_the_gas_is_not_given(share: float) -> None:
    """First law of the refrigerant: heat to the water is the source's and that part of the electricity."""
    found = assembled("wastewater", *FED, "recirculation=null")
    _, out = day_of(found, 40.0, **module_machine(1), gas_share=share)
    assert out.heat_pump_heat.sum() > 0.0
    taken = out.heat_pump_heat - share * out.heat_pump_energy
    assert out.source[SourceRow.TAKEN] == pytest.approx(taken, rel=1e-9, abs=1e-3)
    assert out.machine_loss == pytest.approx((1.0 - share) * out.heat_pump_energy, rel=1e-9)


@pytest.mark.slow
def test_a_frosted_machine_takes_less_from_its_source() -> None:
    """Two modules of 30 kW and 10 kW, frosted to 0.9 and 0.985, of whose power nine tenths reach the gas."""
    found = taken_at(machine_now(plant(gas_share=0.9)), 7.0, 20.0, 2.0, (0.9, 0.985))
    assert found == pytest.approx(2.0 * (0.9 * 30e3 - 0.9 * 0.985 * 10e3), rel=1e-12)


@pytest.mark.published
def test_frost_takes_power_and_capacity_in_the_proportion_of_the_rule() -> None:
    """10 CFR 430 Subpart B Appendix M: 1.5 % of power where 10 % of capacity, defrosts included, are lost.

    Of these ten, defrosts take 2 x 0.28744 x 394/2834 x 0.6 = 4.80 % of what is left: 5.47 % are frost's.
    0.1 %: six digits of the drive.
    """
    drive = assembled("central-air").drive
    frosted = drive.frost_capacity < 0.99
    assert frosted.sum() > 100
    lost = (1.0 - drive.frost_power[frosted]) / (1.0 - drive.frost_capacity[frosted])
    assert lost == pytest.approx(np.full(lost.size, 0.015 / 0.05467), rel=1e-3)


@pytest.mark.parametrize(("standing", "lost"), [(0.0, 2.0), (0.4, 2.5)])
def test_lines_lose_a_share_of_what_the_machine_gives(standing: float, lost: float) -> None:
    """Of 10 kWh a fifth is lost on the way, and 8 reach the store.

    What the lines lost standing, 0.4 kWh, is made up on the way too: of 10.5 kWh 2.1 are lost, and the 0.4.
    """
    block = WaterLines.model_validate({"length": "10 m"})
    one = np.ones(8760)
    found = lines_year(
        block,
        Shift(0.0, 0.0, None),
        0.2 * one,
        heat_kwh=8.0 * one,
        standing_kwh=standing * one,
        running=one,
        held=0.0 * one,
        air=20.0 * one,
    )
    assert found.loss_kwh == pytest.approx(lost * one, rel=1e-12)
