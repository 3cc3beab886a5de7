"""The charge control in short marches: what ends a charge, what lifts it, who runs first, who hunts."""

import numpy as np
import pytest
from control_cases import assembled, causes, first_days, marched, simple_map

from hpwhsim.plant.arrays import Drive, SourceKind
from hpwhsim.plant.assemble import Assembly
from hpwhsim.source.wastewater import RHO_CP as SEWAGE
from hpwhsim.storage.layers import RHO_CP

pytestmark = pytest.mark.law

PLAIN = ("plant.controls.lock_outs=null", "hot_water.draws=smooth")
NO_LOOP = "recirculation=null"


def simple(found: Assembly, **changes: object) -> Assembly:
    """The plant with modules of constant capacity that take any water."""
    kept = {"machine": simple_map(24e3), "lowest_source": -30.0, "highest_inlet": 75.0, **changes}
    return found._replace(plant=found.plant._replace(**kept))


@pytest.mark.independent
def test_a_raised_setpoint_moves_the_stop_sensor_too() -> None:
    """A store at 62 °C does not call (65 less 10); raised by 10 K it is charged until the foot has 70 °C."""
    found = simple(assembled("central-air", NO_LOOP, *PLAIN))
    controls, volume = found.plant.controls, found.plant.column.volume
    drive = first_days(found, (5,))
    drive = drive._replace(use=np.zeros_like(drive.use), source=np.full_like(drive.source, 5.0))
    lifted = drive._replace(lift=np.full_like(drive.lift, 10.0), outlet=drive.outlet + 10.0)
    out = marched(found, lifted, 62.0)
    heat = (volume - controls.stop_level) * (controls.stop_at + 10.0 - 62.0)
    given = out.heat_pump_heat.sum() / RHO_CP
    assert given > heat  # all above the stop sensor was heated that far
    assert marched(found, drive, 62.0).heat_pump_heat.sum() == 0.0  # without the lift nothing calls


@pytest.mark.contract
def test_a_start_sensor_at_the_foot_stands_a_hundredth_above_it() -> None:
    """At 0 cold water that comes in is at the sensor at once, and the march looked every 2 s."""
    found = assembled("central-air", "plant.controls.sensor_height=0", "plant.controls.stop_height=0")
    assert found.plant.controls.start_level == pytest.approx(0.01 * found.plant.column.volume)
    assert found.plant.controls.stop_level == 0.0


@pytest.mark.slow
@pytest.mark.parametrize("setpoint", [52.0, pytest.param(57.2, marks=pytest.mark.long), 65.0])
@pytest.mark.parametrize("condenser", ["single-pass", "multi-pass", "wrap-around"])
def test_by_default_the_backup_never_runs_uncalled(setpoint: float, condenser: str) -> None:
    """A weak heat pump with loop and draws: the backup runs, and always while the heat pump is called."""
    extra = () if condenser == "single-pass" else ("plant.heat_pump.refrigerant=R-134a",)
    found = assembled(
        "central-air",
        *PLAIN,
        *extra,
        f"plant.storage.setpoint={setpoint} degC",
        f"plant.heat_pump.condenser={condenser}",
        "plant.heat_pump.rated_at={source: 7 degC, water_in: 40 degC, water_out: 45 degC}",
        "plant.heat_pump.cop=3",
        "recirculation.return_temperature=45 degC",
        *("plant.controls.dead_band=null", "plant.controls.sensor_height=null"),
    )
    drive = first_days(found, (10, 11, 12, 13))
    drive = drive._replace(source=np.full_like(drive.source, 5.0))
    out = marched(simple(found, machine=simple_map(3e3)), drive, 50.0)
    hours = causes(out.backup_seconds)
    assert sum(hours.values()) > 1.0
    assert hours.get("NOT_CALLED", 0.0) == 0.0
    assert out.short_volume.sum() == 0.0


@pytest.mark.parametrize("start_loss", [0.0, 60.0])
def test_a_machine_at_its_hottest_inlet_does_not_hunt(start_loss: float) -> None:
    """Stopped by its water it rests a stage delay of 10 min: six starts an hour at most, most hours none."""
    found = assembled(
        "central-air",
        *PLAIN,
        "plant.heat_pump.refrigerant=R-134a",
        "plant.heat_pump.condenser=multi-pass",
        "plant.controls.min_run=0 s",
    )
    plant = simple(found, highest_inlet=52.0, start_loss=start_loss)
    drive = first_days(found, (10, 11))
    out = marched(plant, drive._replace(source=np.full_like(drive.source, 5.0)), 60.0)
    assert out.module_starts.max() <= 6.0 * 48


def test_nothing_starts_where_it_cannot_work() -> None:
    """Water too warm all day: no start is counted, and none of the loss of a start is paid."""
    found = simple(assembled("central-air", NO_LOOP, *PLAIN), highest_inlet=30.0, start_loss=60.0)
    drive = first_days(found, (5,))
    out = marched(found, drive._replace(use=np.zeros_like(drive.use)), 45.0)
    assert out.module_starts.sum() == 0.0
    assert out.heat_pump_energy.sum() == 0.0
    assert out.lockout_seconds.sum() > 0.0


def cooled(kind: str) -> tuple[Assembly, Drive]:
    """Four modules of 8 kW from the source, which bears one but not all of them, and a cold, idle store.

    The well's sewage brings 8 kW/K at 14 °C: with one module it settles 1 K below that, with two 2 K below,
    and the exchanger takes 2.6 K more. 11.9 °C in the well is then too cold for a limit of 10 °C.
    """
    file = {"well": "wastewater", "sewer": "wastewater", "ground": "ground", "room": "packaged"}[kind]
    extra = () if kind == "room" else (NO_LOOP, "plant.heat_pump.capacity=12 kW")
    use = (
        "hot_water.draws=smooth",
        "hot_water.daily_use_per_apartment=38 gal",
        "hot_water.month_factors=none",
    )
    found = assembled(file, *use, "plant.heat_pump.modules=4", *extra)
    drive = first_days(found, (1,))
    drive = drive._replace(use=drive.use * 3.0)
    if kind == "room":
        return found, drive
    flow = (2500.0 if kind == "sewer" else 8000.0) * found.plant.step_seconds / SEWAGE
    lowest, sources = 10.0, found.plant.sources
    if kind == "sewer":
        sources = sources._replace(kind=int(SourceKind.SEWER))
        lowest = 8.0  # two modules cool the 2.5 kW/K of it by 6.4 K
    elif kind == "ground":
        lowest = sources.loop.undisturbed - 2.5
    if kind != "ground":
        drive = drive._replace(
            sewage=np.full_like(drive.sewage, flow),
            sewage_temperature=np.full_like(drive.sewage_temperature, 14.0),
        )
    found = simple(found, machine=simple_map(12e3), lowest_source=lowest, sources=sources)
    return found, drive


@pytest.mark.parametrize("delay", [0.0, 600.0])
@pytest.mark.parametrize("kind", ["well", "sewer", "ground", "room"])
def test_modules_that_may_join_take_no_heat_from_the_first(kind: str, delay: float) -> None:
    """Law of staging: with three more modules at hand a plant gives no less heat than with one alone.

    A module that joins on a hair of spare heat cools the well to the limit within minutes, and then one alone
    cannot go on either: without a differential 78 starts a day, and the plant stands for a quarter of it.
    """
    found, drive = cooled(kind)
    found = found._replace(
        plant=found.plant._replace(controls=found.plant.controls._replace(stage_delay=delay))
    )
    alone = marched(found, drive._replace(most_modules=np.ones_like(drive.most_modules)), 40.0)
    out = marched(found, drive, 40.0)
    assert out.heat_pump_heat.sum() > 0.97 * alone.heat_pump_heat.sum()
    assert out.module_starts.sum() <= alone.module_starts.sum() + 24.0  # one an hour
