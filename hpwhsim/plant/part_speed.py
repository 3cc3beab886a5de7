"""A module at part speed: its coil takes less heat, so that it evaporates nearer to its source."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import Plant, WaterSide

SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)

NEAR = 1e-3  # K, that close the source of the full-speed map is found
MOST_TRIES = 30
WARMER = 2.0  # K, of the steps in which a source is looked for at which the map holds numbers
MOST_WARMER = 15  # of these steps


@kernel_apart
def full_speed_source(plant: Plant, source: float, inlet: float, outlet: float, speed: float) -> float:
    """Source at which a module of full speed evaporates as one of `speed` does at `source`. [°C]

    At a share s of full speed the coil takes s times the heat that it would take at the same evaporating
    temperature, and needs s times the difference. So the map, which is of full speed, is read at the source
    ``T' = T + (1 - s) k q(T')``, with k the coil's kelvin per watt and q the heat that a module takes by the
    map at T'. The evaporating temperature is ``T' - k q(T') = T - s k q(T')``, below the source at any speed.

    Parameters
    ----------
    plant : Plant
        The plant.
    source, inlet, outlet : float
        Source, water entering and leaving. [°C]
    speed : float
        Share of full speed.
    """
    if speed >= 1.0 or plant.coil <= 0.0:
        return source
    part = (1.0 - speed) * plant.coil
    met = source
    heat = coil_heat(plant, met, inlet, outlet)
    steps = 0
    while np.isnan(heat) and steps < MOST_WARMER:  # too cold for full speed
        met += WARMER * (1.0 - speed)
        heat = coil_heat(plant, met, inlet, outlet)
        steps += 1
    if np.isnan(heat):
        return source
    last, gap_last = met, met - source - part * heat
    met = source + part * heat
    for _ in range(MOST_TRIES):
        heat = coil_heat(plant, met, inlet, outlet)
        if np.isnan(heat):  # between a point where it works and one where it does not
            met = 0.5 * (met + last)
            continue
        gap = met - source - part * heat
        if abs(gap) <= NEAR:
            break
        slope = (gap - gap_last) / (met - last) if met != last else 1.0
        last, gap_last = met, gap
        met -= gap / (slope if slope > 0.1 else 1.0)
    return met


@kernel
def coil_heat(plant: Plant, source: float, inlet: float, outlet: float) -> float:
    """Heat that a module of full speed takes from its source, without frost; NaN where it cannot work. [W]"""
    capacity, power, _ = look_up(plant.machine, source, inlet, outlet)
    return capacity - plant.gas_share * power


@kernel
def perform(plant: Plant, source: float, inlet: float, outlet: float) -> tuple[float, float, bool]:
    """Capacity and power of a module over its speed, as `look_up`, at the plant's present speed."""
    if plant.speed[0] < 1.0:
        source = full_speed_source(plant, source, inlet, outlet, plant.speed[0])
    return look_up(plant.machine, source, inlet, outlet)


@kernel_apart
def part_frost(
    plant: Plant, frost: Array, source: float, inlet: float, capacity: float, pause: float
) -> tuple[float, float, float, float]:
    """What frost costs at part speed: capacity, power, share drawn back, share of the time to thaw.

    Parameters
    ----------
    plant : Plant
        The plant.
    frost : ndarray, shape (3, share of the full coil load)
        What frost costs in this hour.
    source, inlet : float
        Source and water entering. [°C]
    capacity, pause : float
        Capacity in this hour at full speed over that of a clean coil, with what else costs heat; and the
        share of the time for defrosts where these are events (the capacity is then without frost), else 0.

    Notes
    -----
    The surface follows the heat that the coil takes: its load over that of full speed is read between the
    columns. Below the first the frost is that of the first.
    """
    outlet = plant.outlet[0]
    if plant.water_side != SINGLE:
        outlet = inlet + (plant.rise if plant.water_side == MULTI else 1.0)
    columns = frost.shape[1]
    load = plant.speed[0]
    full = coil_heat(plant, source, inlet, outlet)
    met = full_speed_source(plant, source, inlet, outlet, load)
    here = coil_heat(plant, met, inlet, outlet)
    if full > 0.0 and here > 0.0:
        load = min(load * here / full, 1.0)
    place = min(max(load * columns - 1.0, 0.0), columns - 1.0)
    k = min(int(place), columns - 2)
    u = place - k
    clear = (1.0 - u) * frost[0, k] + u * frost[0, k + 1]
    power = (1.0 - u) * frost[1, k] + u * frost[1, k + 1]
    drawn = (1.0 - u) * frost[2, k] + u * frost[2, k + 1]
    if pause > 0.0:
        return capacity, power, drawn, 1.0 - clear
    return capacity * clear / frost[0, columns - 1], power, drawn, 0.0
