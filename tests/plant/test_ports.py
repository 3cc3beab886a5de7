"""Heights act where they are: a port moved by a thousandth of the height acts in proportion."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from drive_cases import march_hours, still
from layer_cases import column, filled, temperatures, volumes
from plant_cases import VOLUME, by_rise, circulate, hour_with, machine, plant

from hpwhsim.plant.arrays import WaterSide
from hpwhsim.plant.charging import at_intake, charge
from hpwhsim.plant.running import heat_of_machine, machine_now
from hpwhsim.plant.state import Duty
from hpwhsim.storage.heating import at_wall, coldest_foot, heat_upper
from hpwhsim.storage.layers import Layers, sensed

pytestmark = pytest.mark.law

CLEAN = (1.0, 1.0)
HEIGHTS = np.concatenate((np.arange(0.3, 0.7, 0.05), [0.333, 0.334])) * VOLUME


def layered() -> Layers:
    """Colder below, with a thermocline in the middle. [°C]"""
    profile = np.concatenate((np.full(8, 12.0), np.linspace(15.0, 55.0, 400), np.full(6, 58.0)))
    return filled(column(VOLUME, 2.0), *profile)


def moment(store: Layers) -> float:
    """First moment of the heat over the height."""
    volume, warm = volumes(store), temperatures(store)
    return float((volume * warm * (np.cumsum(volume) - 0.5 * volume)).sum())


def charged(**ports: float) -> float:
    p, store = plant(charge_apart=1, **ports), layered()
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 12.0)
    charge(p, store, at_intake(p, store), found, 300.0)
    return moment(store)


def loop_returns(port: float) -> float:
    store = layered()
    circulate(plant(loop_port=port), store, hour_with(loop_watts=20e3))
    return moment(store)


def wrapped_to(top: float) -> float:
    p = plant(water_side=int(WaterSide.WRAPPED), machine=by_rise(machine()), condenser_top=top)
    store = layered()
    charge(
        p,
        store,
        at_intake(p, store),
        heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 12.0),
        300.0,
    )
    return moment(store)


ACTS: dict[str, Callable[[float], float]] = {
    "backup heats": lambda z: heat_upper(layered(), column(VOLUME, 2.0), z, 1e9, 60.0),
    "intake": lambda z: charged(intake_port=z, return_port=1.8),
    "return": lambda z: charged(intake_port=0.0, return_port=z),
    "loop": loop_returns,
    "wall": wrapped_to,
    "wall lacks": lambda z: at_wall(layered(), z, 60.0)[0],
}


@pytest.mark.slow
@pytest.mark.parametrize("act", ACTS)
def test_a_port_acts_at_its_exact_height(act: str) -> None:
    """Monotone; 0.333 and 0.334 of the height differ, by about a fiftieth of what 0.05 of it does."""
    heights = np.sort(HEIGHTS)
    found = {float(z): ACTS[act](float(z)) for z in heights}
    changes = np.diff([found[float(z)] for z in heights])
    assert np.all(changes > 0.0) or np.all(changes < 0.0)
    near = abs(found[0.334 * VOLUME] - found[0.333 * VOLUME])
    far = abs(ACTS[act](0.35 * VOLUME) - ACTS[act](0.30 * VOLUME))
    assert near == pytest.approx(far / 50.0, rel=0.5)  # the profile is not straight, and has 400 steps


def stepped(height: float) -> Layers:
    """12 °C below a height, 58 °C above it."""
    store = filled(column(VOLUME, 2.0), 12.0, 58.0)
    low = store.span[0]
    store.volume[low : low + 2] = height * VOLUME, (1.0 - height) * VOLUME
    return store


@pytest.mark.independent
def test_a_sensor_and_a_draw_see_the_water_at_their_height() -> None:
    """A front at 0.3335 of the height: 12 °C at 0.333, 58 °C at 0.334; a draw there has 1 L that is hot."""
    of = column(VOLUME, 2.0)
    assert sensed(stepped(0.3335), 0.333 * VOLUME)[0] == 12.0
    assert sensed(stepped(0.3335), 0.334 * VOLUME)[0] == 58.0
    assert coldest_foot(stepped(0.3335), of, 0.333 * VOLUME) == 12.0
    assert coldest_foot(stepped(0.3335), of, 0.334 * VOLUME) == 58.0
    for port, hot in ((0.333, 0.0), (0.334, 1e-3)):
        store = stepped(0.3335)
        moved = circulate(plant(draw_port=port * VOLUME), store, hour_with(), use=0.05).moved
        assert moved.short == pytest.approx(0.05 - hot * 48.0 / 39.0, rel=1e-9)
        assert volumes(store).sum() == pytest.approx(VOLUME, rel=1e-12)


@pytest.mark.independent
@pytest.mark.parametrize("height", [0.333, 0.334, 0.5])
def test_a_charge_starts_when_the_front_is_at_its_sensor(tmp_path: Path, height: float) -> None:
    """Plug flow by hand: the sensor at a share of 2 m³ sees mains water when that much has been drawn.

    Drawn are 200 L an hour at use temperature, of them 39/53 hot; 0.333 and 0.334 of the height are 49 s
    apart. Running hours give the moment, to the 2 s in which a sensor is met and 10 s of a window.
    """
    still_plant = still(
        tmp_path,
        {"dead_band": "6 K", "sensor_height": height, "stop_height": 0.1},
        {"condenser": "single-pass", "outlet_temperature": "63 degC"},
    )
    of = still_plant.plant.column._replace(diffusivity=0.0)
    found = still_plant._replace(plant=still_plant.plant._replace(column=of))
    hours = 12
    parts = found.drive.use.size // 8760
    hot = float(found.plant.outlet[0])
    use, mains = np.full(hours * parts, 0.2 / parts), np.full(hours, 10.0)
    out = march_hours(found, hours, draws=True, use=use, mains=mains, start=hot).out
    cold = 0.2 * (found.plant.use_temperature - 10.0) / (hot - 10.0)  # m³/h
    first = int(np.argmax(out.run_seconds > 0.0))
    started = first + 1.0 - out.run_seconds[first] / 3600.0
    assert started == pytest.approx(height * of.volume / cold, abs=12.0 / 3600.0)


@pytest.mark.parametrize("intake", [0.0, 0.05, 0.1, 0.2])
def test_a_machine_gives_its_heat_wherever_its_water_comes_from(tmp_path: Path, intake: float) -> None:
    """A machine of 20 kW whatever the water gives 20 kW times its time, from steep and from stirred water.

    Its flow times the rise of the water in it, summed over windows, against a product. The water that comes
    to it is layered: at the top of the stirred foot each litre is warmer than the one before. A window agrees
    to a thousandth, and windows err to both sides.
    """
    found = still(
        tmp_path,
        {"dead_band": "6 K", "sensor_height": 0.4, "stop_height": 0.25},
        {"condenser": "single-pass", "outlet_temperature": "63 degC", "intake_height": intake},
    )
    of = found.plant.column
    found = found._replace(plant=found.plant._replace(column=of._replace(stirred=0.1 * of.volume)))
    hours = 72
    parts = found.drive.use.size // 8760
    use, mains = np.full(hours * parts, 0.2 / parts), np.full(hours, 10.0)
    out = march_hours(found, hours, draws=True, use=use, mains=mains, start=63.0).out
    assert out.module_seconds.sum() > 10 * 3600.0
    ran = out.module_seconds > 600.0
    power = out.heat_pump_heat[ran] / out.module_seconds[ran]
    assert power == pytest.approx(20e3, rel=2e-3)
    assert out.heat_pump_heat.sum() == pytest.approx(20e3 * out.module_seconds.sum(), rel=5e-4)
