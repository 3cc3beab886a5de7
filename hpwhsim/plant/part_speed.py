"""A module at part speed: its coil takes less heat, so that it evaporates nearer to its source."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import WaterSide
from hpwhsim.plant.state import Machine

SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)

NEAR = 1e-3  # K, that close the source of the full-speed map is found
MOST_TRIES = 30
WARMER = 2.0  # K, of the steps in which a source is looked for at which the map holds numbers
MOST_WARMER = 15  # of these steps


@kernel_apart
def full_speed_source(machine: Machine, source: float, inlet: float) -> float:
    """Source at which a module of full speed evaporates as one of `speed` does at `source`. [°C]

    At a share s of full speed the coil takes s times the heat that it would take at the same evaporating
    temperature, and needs s times the difference. So the map, which is of full speed, is read at the source
    ``T' = T + (1 - s) k q(T')``, with k the coil's kelvin per watt and q the heat that a module takes by the
    map at T'. The evaporating temperature is ``T' - k q(T') = T - s k q(T')``, below the source at any speed.

    Parameters
    ----------
    machine : Machine
        With its share of full speed.
    source, inlet : float
        Source, and water entering. [°C]
    """
    speed = machine.speed
    if speed >= 1.0 or machine.coil <= 0.0:
        return source
    part = (1.0 - speed) * machine.coil
    met = source
    heat = coil_heat(machine, met, inlet)
    steps = 0
    while np.isnan(heat) and steps < MOST_WARMER:  # too cold for full speed
        met += WARMER * (1.0 - speed)
        heat = coil_heat(machine, met, inlet)
        steps += 1
    if np.isnan(heat):
        return source
    last, gap_last = met, met - source - part * heat
    met = source + part * heat
    for _ in range(MOST_TRIES):
        heat = coil_heat(machine, met, inlet)
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
def outlet_of(machine: Machine, inlet: float) -> float:
    """Water leaving a machine that water of `inlet` °C enters. [°C]"""
    if machine.water_side == SINGLE:
        return machine.outlet
    return inlet + (machine.rise if machine.water_side == MULTI else 1.0)


@kernel
def coil_heat(machine: Machine, source: float, inlet: float) -> float:
    """Heat that a module of full speed takes from its source, without frost; NaN where it cannot work. [W]"""
    capacity, power, _ = look_up(machine.performance, source, inlet, outlet_of(machine, inlet))
    return capacity - machine.gas_share * power


@kernel
def perform(machine: Machine, source: float, inlet: float) -> tuple[float, float, bool]:
    """Capacity and power of a module over its speed, as `look_up`, at its present speed."""
    if machine.speed < 1.0:
        source = full_speed_source(machine, source, inlet)
    return look_up(machine.performance, source, inlet, outlet_of(machine, inlet))


@kernel_apart
def part_frost(
    machine: Machine, frost: Array, source: float, inlet: float, capacity: float, pause: float
) -> tuple[float, float, float, float]:
    """What frost costs at part speed: capacity, power, share drawn back, share of the time to thaw.

    Parameters
    ----------
    machine : Machine
        With its share of full speed.
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
    columns = frost.shape[1]
    load = machine.speed
    full = coil_heat(machine, source, inlet)
    met = full_speed_source(machine, source, inlet)
    here = coil_heat(machine, met, inlet)
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
