"""The cause that `why` names is the one put in: one short, invented drive for each."""

import numpy as np
import pytest
from control_cases import assembled, causes, first_days, marched, simple_map

from hpwhsim.plant.arrays import Drive, SourceKind, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.source.wastewater import RHO_CP

pytestmark = pytest.mark.independent

WINTER = (1, 2)
PLAIN = ("recirculation=null", "plant.controls.lock_outs=null", "hot_water.draws=smooth")


@pytest.fixture(scope="module")
def air() -> Assembly:
    """Two modules of constant capacity on outdoor air of 5 °C, without windows of the clock."""
    found = assembled("central-air", *PLAIN)
    plant = found.plant._replace(machine=simple_map(24e3), lowest_source=-20.0, highest_inlet=60.0)
    return found._replace(plant=plant)


def drive_of(assembly: Assembly, source: float = 5.0, use: float = 1.0) -> Drive:
    """Two days with one source temperature [°C], and the use times a factor."""
    drive = first_days(assembly, WINTER)
    return drive._replace(source=np.full_like(drive.source, source), use=drive.use * use)


def found_in(assembly: Assembly, drive: Drive, store: float = 40.0) -> dict[str, float]:
    """Hours of backup by cause."""
    return causes(marched(assembly, drive, store).backup_seconds)


def test_no_heat_pump(air: Assembly) -> None:
    without = air._replace(plant=air.plant._replace(modules=0))
    assert set(found_in(without, drive_of(air))) == {"NO_HEAT_PUMP"}


def test_lock_out(air: Assembly) -> None:
    drive = drive_of(air)._replace(permitted=np.zeros(1, dtype=np.bool_))
    assert set(found_in(air, drive)) == {"LOCK_OUT"}


def test_no_module_may_run_in_a_demand_window(air: Assembly) -> None:
    drive = drive_of(air)
    drive = drive._replace(most_modules=np.zeros_like(drive.most_modules))
    assert set(found_in(air, drive)) == {"LOCK_OUT"}


def test_source_below_the_lowest(air: Assembly) -> None:
    assert set(found_in(air, drive_of(air, source=-21.0))) == {"SOURCE_TOO_COLD"}


def test_source_too_cold_for_a_raised_outlet_is_not_water_too_warm(air: Assembly) -> None:
    """At -15 °C the machine makes 65 °C, not 75: a boost of 10 K stops it, however cold the water is."""
    works = np.ones((3, 2, 2), dtype=np.bool_)
    works[0, :, 1] = False
    plant = air.plant._replace(machine=simple_map(24e3, works))
    plant = plant._replace(machine=plant.machine._replace(water_out_c=np.array([65.0, 75.0])))
    cold = drive_of(air, source=-15.0)
    raised = cold._replace(outlet=np.full_like(cold.outlet, 75.0), lift=np.full_like(cold.lift, 10.0))
    plain = cold._replace(outlet=np.full_like(cold.outlet, 65.0))
    assert set(found_in(air._replace(plant=plant), raised)) == {"SOURCE_TOO_COLD"}
    assert "SOURCE_TOO_COLD" not in found_in(air._replace(plant=plant), plain)


def test_water_too_warm(air: Assembly) -> None:
    """Water of 40 °C all through the store, and a machine that takes none above 30 °C."""
    plant = air.plant._replace(highest_inlet=30.0)
    hours = found_in(air._replace(plant=plant), drive_of(air, use=0.0), store=40.0)
    assert set(hours) == {"WATER_TOO_WARM"}


def test_capacity(air: Assembly) -> None:
    """Small modules under a large load, all of them running at once."""
    plant = air.plant._replace(
        machine=simple_map(500.0), controls=air.plant.controls._replace(stage_delay=0.0)
    )
    assert set(found_in(air._replace(plant=plant), drive_of(air, use=3.0))) == {"CAPACITY"}


def test_waiting_for_the_next_stage(air: Assembly) -> None:
    controls = air.plant.controls._replace(stage_delay=1e7)
    plant = air.plant._replace(machine=simple_map(500.0), controls=controls)
    assert set(found_in(air._replace(plant=plant), drive_of(air, use=3.0))) == {"STARTING"}


def test_not_called(air: Assembly) -> None:
    """A backup set above the store: its sensors are satisfied, whatever the clock bars."""
    drive = drive_of(air, use=0.0)
    drive = drive._replace(backup_setpoint=np.full_like(drive.backup_setpoint, 75.0))
    assert set(found_in(air, drive, store=65.0)) == {"NOT_CALLED"}
    barred = drive._replace(permitted=np.zeros(1, dtype=np.bool_))
    assert set(found_in(air, barred, store=65.0)) == {"NOT_CALLED"}


@pytest.mark.slow
def test_a_sewer_without_flow_is_spent() -> None:
    found = assembled("wastewater", "recirculation=null", "hot_water.draws=smooth")
    drive = first_days(found, WINTER)
    kind = found.plant._replace(sources=found.plant.sources._replace(kind=int(SourceKind.SEWER)))
    dry = drive._replace(sewage=np.zeros_like(drive.sewage))
    assert set(found_in(found._replace(plant=kind), dry)) == {"SOURCE_SPENT"}


def test_modules_that_run_for_a_share_of_the_time_are_not_too_small() -> None:
    """A well at its floor gives what flows in and no more: both modules run, for part of each step.

    By hand: so much water a step, from 14 °C to the floor of 5 °C, is what two days can take from it. At COP
    3, with a tenth of the electricity lost by the shell, the store gets 1 / (1 - 0.9 / 3) of that.
    """
    found = assembled("wastewater", "recirculation=null", "hot_water.draws=smooth")
    controls = found.plant.controls._replace(stage_delay=0.0)
    sources = found.plant.sources
    sources = sources._replace(well=sources.well._replace(loss=0.0))
    plant = found.plant._replace(
        machine=simple_map(24e3), lowest_source=-20.0, controls=controls, sources=sources, gas_share=0.9
    )
    drive = first_days(found, WINTER)
    thin = drive._replace(
        sewage=np.full_like(drive.sewage, 0.05),
        sewage_temperature=np.full_like(drive.sewage_temperature, 14.0),
        use=drive.use * 3.0,
    )
    found.state.well[0] = 5.0
    out = marched(found._replace(plant=plant), thin, 40.0)
    given = 0.05 * drive.sewage.size * RHO_CP * 9.0  # J; 1e-5: how near to its floor the well is left
    assert out.source[SourceRow.TAKEN].sum() == pytest.approx(given, rel=1e-5)
    assert out.heat_pump_heat.sum() == pytest.approx(given / 0.7, rel=1e-5)
    hours = causes(out.backup_seconds)
    assert sum(hours.values()) > 1.0
    assert set(hours) == {"SOURCE_SPENT"}


@pytest.mark.law
@pytest.mark.parametrize("delay", [0.0, 600.0])
def test_modules_that_the_source_takes_away_are_not_starting(delay: float) -> None:
    """A well that cools with the heat taken: one of four modules runs on it, four would cool it too far.

    Without a stage delay nothing waits for a stage; with one, waiting ends after half an hour.
    """
    found = assembled(
        "wastewater",
        *("recirculation=null", "hot_water.draws=smooth"),
        *("plant.heat_pump.modules=4", "plant.heat_pump.capacity=12 kW"),
    )
    plant = found.plant._replace(controls=found.plant.controls._replace(stage_delay=delay))
    drive = first_days(found, WINTER)
    warm = drive._replace(
        sewage=np.full_like(drive.sewage, drive.sewage.mean()),
        sewage_temperature=np.full_like(drive.sewage_temperature, 14.0),
        use=drive.use * 3.0,
    )
    started = found._replace(plant=plant._replace(lowest_source=10.0))
    out = marched(started, warm, 40.0)
    hours = causes(out.backup_seconds)
    assert 0.0 < out.module_seconds.sum() < 0.9 * 4 * 48 * 3600.0
    assert hours.get("SOURCE_TOO_COLD", 0.0) > 0.8 * sum(hours.values())
    assert hours.get("STARTING", 0.0) <= (0.0 if delay == 0.0 else 3.0)
