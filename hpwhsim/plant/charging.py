"""What heats the store in a step: the heat pump, which may draw heat back for a defrost, and the backup."""

from typing import NamedTuple

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart, kernel_inside
from hpwhsim.plant.arrays import Array, Cause, Plant, WaterSide
from hpwhsim.plant.part_speed import perform
from hpwhsim.storage.tank import (
    RHO_CP,
    Scratch,
    at_height,
    coldest_foot,
    heat_below,
    heat_upper,
    level_of,
    pass_between,
    reconstruct,
    settle,
)

SMALLEST_LIFT = 3.0  # K between the heat pump's inlet and outlet below which it does not run
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
WRAPPED = int(WaterSide.WRAPPED)


class Worked(NamedTuple):
    """What the heat pump did in a part of a step."""

    heat: float  # given to the store, cell·K; of water that passes by the store: known when it has moved
    energy: float  # electricity for that heat, J
    flow: float  # water heated, cells
    inlet: float  # its temperature before, °C
    cop: float  # of water that passes by the store
    duty: float  # share of the time that the machine ran
    inside: bool  # the point lies in the performance map
    refused: bool  # the machine cannot work; `refusal` says why
    reached: bool  # the stop sensor is warm within the part


RESTING = Worked(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, True, False, False)
STARTING_UP = Worked(0.0, 0.0, 0.0, 0.0, 0.0, 1.0, True, False, False)
WORKS = -1  # no refusal
SOURCE_TOO_COLD, WATER_TOO_WARM = int(Cause.SOURCE_TOO_COLD), int(Cause.WATER_TOO_WARM)


@kernel_apart
def refusal(plant: Plant, source: float, inlet: float) -> int:
    """Why the machine cannot work with this source and this water, a `Cause`; `WORKS` where it can.

    Where it could with the coldest water of its map, the water is too warm; where not even then, the source
    is too cold for the outlet temperature of the hour.

    Parameters
    ----------
    plant : Plant
        The plant.
    source, inlet : float
        Temperature of the source and of the water at the machine. [°C]
    """
    hottest = plant.outlet[0]
    single = plant.water_side == SINGLE
    rise = plant.rise if plant.water_side == MULTI else 1.0
    if not source >= plant.lowest_source:
        return SOURCE_TOO_COLD
    # the slack of `reheat` on the hottest outlet, and that of `charge` on the lift
    most = hottest - SMALLEST_LIFT if single else hottest + 0.1 - rise
    if inlet > plant.highest_inlet or inlet > most:
        return WATER_TOO_WARM
    capacity, _, _ = look_up(plant.machine, source, inlet, hottest if single else inlet + rise)
    if not np.isnan(capacity):
        return WORKS
    coldest = plant.machine.water_in_c[0]
    capacity, _, _ = look_up(plant.machine, source, coldest, hottest if single else coldest + rise)
    return SOURCE_TOO_COLD if np.isnan(capacity) else WATER_TOO_WARM


@kernel_inside
def deepest_charge(plant: Plant, temperature: Array, running: int, since: float, lift: float) -> float:
    """How much of the column may flow to the machine before the charge is over. [cells]"""
    controls = plant.controls
    if controls.minimum_run > (since if running > 0 else 0.0):
        return float(temperature.size)
    return max(level_of(temperature, controls.stop_at + lift) - controls.stop_level, 0.0)


@kernel
def charge(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    modules: float,
    source: float,
    mains: float,
    cold: float,
    deepest: float,
    frosted: tuple[float, float],
) -> tuple[float, float, float, bool, bool]:
    """Single-pass flow that `modules` modules heat to the outlet temperature in one step.

    The mains water that enters in the same step and the water at the bottom of the store flow to the machine
    together. The store's water comes cell by cell, each with its own temperature, capacity and power, so
    that the answer hardly depends on the step. Between ports (`charge_apart`) it comes from the intake up to
    the return port.

    Parameters
    ----------
    temperature, scratch, plant
        The store with `reconstruct` done [°C], its work space, and the plant.
    seconds : float
        Length of the step. [s]
    modules : float
        Modules running, times their share of full speed.
    source, mains : float
        Temperature of the source and of the mains water. [°C]
    cold : float
        Mains water entering in the step. [cells]
    deepest : float
        How much of the column may flow to the machine before the charge is over. [cells]
    frosted : tuple of two floats
        Capacity and power over those of the map.

    Returns
    -------
    flow, cop, duty, inside, reached : float, float, float, bool, bool
        Water heated [cells], coefficient of performance, share of the step that the machine ran, whether it
        stayed inside the performance map, and whether the charge came as deep as it may. The flow is NaN
        where the machine cannot work at all.
    """
    to_cells = modules * seconds / (RHO_CP * plant.column.cell_volume)
    foot, head = 0.0, float(temperature.size)
    if plant.charge_apart > 0:
        foot, head = plant.intake_port, plant.return_port
    flow = heat = energy = 0.0
    level, end = foot, min(foot + deepest, head)  # water between them may flow to the machine
    left = 1.0
    inside = True
    while left > 1e-9:
        # a level that rounding leaves a hair below a cell's edge is at that edge
        bound = min(np.floor(level + 1e-9) + 1.0, end)
        below = temperature[min(int(level), temperature.size - 1)]
        if bound - level > 1e-9:
            below = heat_below(temperature, scratch, bound) - heat_below(temperature, scratch, level)
            below /= bound - level
        elif cold <= 0.0:
            break
        inlet = mains if cold > 0.0 else below
        rate = capacity = power = 0.0
        for _ in range(20):
            capacity, power, known = perform(plant, source, inlet, plant.outlet[0])
            capacity *= frosted[0]
            too_warm = inlet > plant.highest_inlet or plant.outlet[0] - inlet < SMALLEST_LIFT
            if too_warm or np.isnan(capacity):
                if flow == 0.0:
                    return np.nan, 0.0, 0.0, known, False
                return flow, heat / energy, 1.0 - left, inside, False
            before = inlet
            rate = capacity * to_cells + cold * (mains - below)  # first law on machine and mixing tee
            rate /= max(plant.outlet[0] - below, 1e-6)
            if rate <= cold:
                rate = capacity * to_cells / (plant.outlet[0] - mains)
                inlet = mains
            else:
                inlet = (cold * mains + (rate - cold) * below) / rate
            if abs(inlet - before) < 1e-3:
                break
        inside = inside and known
        time = left
        if rate > cold:
            if bound - level <= 1e-9:
                break
            whole = (bound - level) / (rate - cold)  # time in which all of this cell passes
            time = min(left, whole)
            level = bound if whole <= left else level + time * (rate - cold)
        flow += time * rate
        heat += time * rate * (plant.outlet[0] - inlet)
        energy += time * rate * (plant.outlet[0] - inlet) * frosted[1] * power / capacity
        left -= time
    reached = foot + deepest < head and level >= end - 1e-9
    if flow <= 0.0:
        return 0.0, 0.0, 0.0, inside, reached
    return flow, heat / energy, 1.0 - left, inside, reached


@kernel_apart
def reheat(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    modules: float,
    source: float,
    frosted: tuple[float, float],
) -> tuple[float, float, float, float, bool]:
    """Heat the store by a multi-pass machine or a wrapped condenser for one step, in place.

    Multi-pass water leaves at its intake, gains the rise and comes back at its port. A wrapped condenser
    gives its heat to the cells that it covers in proportion to what each lacks to the hottest water it
    makes, and works at the mean temperature so weighted. Inversions are left to `settle`.

    Parameters
    ----------
    temperature, scratch, plant
        The store with `reconstruct` done [°C], its work space, and the plant. The store is heated in place.
    seconds : float
        Time of heating. [s]
    modules : float
        Modules running, times their share of full speed.
    source : float
        Temperature of the source. [°C]
    frosted : tuple of two floats
        Capacity and power over those of the map.

    Returns
    -------
    heat, energy, flow, inlet, inside : float, float, float, float, bool
        Heat given [cell·K], electricity [J], water heated [cells] and its temperature before [°C], and
        whether the point lies inside the performance map. The heat is NaN where the machine cannot work.
    """
    multi = plant.water_side == MULTI
    to_cells = modules * seconds / (RHO_CP * plant.column.cell_volume)
    low, high = plant.intake_port, plant.return_port
    lacking = 0.0
    if multi:
        reconstruct(temperature, scratch, temperature[0])
        inlet = at_height(temperature, low + 0.5)  # of the first water
    else:
        inlet = 0.0
        for i in range(temperature.size):
            lacks = covered(plant, i) * max(plant.outlet[0] - temperature[i], 0.0)
            lacking += lacks
            inlet += lacks * temperature[i]
        inlet = inlet / lacking if lacking > 0.0 else plant.outlet[0]
    rise = plant.rise if multi else 1.0
    flow = heat = power = 0.0
    inside = True
    for _ in range(10 if multi else 1):
        if inlet > plant.highest_inlet or inlet + rise > plant.outlet[0] + 0.1:
            return np.nan, 0.0, 0.0, inlet, True
        capacity, power, inside = perform(plant, source, inlet, inlet + rise)
        if np.isnan(capacity):
            return np.nan, 0.0, 0.0, inlet, inside
        heat = frosted[0] * capacity * to_cells
        if multi:
            flow = min(heat / rise, high - low)  # no faster than the water below the port
            before = inlet
            inlet = heat_below(temperature, scratch, low + flow) - heat_below(temperature, scratch, low)
            inlet /= flow
            if abs(inlet - before) < 1e-3:
                break
    energy = modules * seconds * frosted[1] * power
    if not multi and heat > lacking:  # charged within the step
        energy *= lacking / heat
        heat = lacking
    if multi:
        pass_between(temperature, scratch, low, high, flow, inlet + heat / flow)
    else:
        for i in range(temperature.size):
            share = covered(plant, i)
            if share <= 0.0:
                break
            temperature[i] += heat * share * max(plant.outlet[0] - temperature[i], 0.0) / lacking
    return heat, energy, flow, inlet, inside


@kernel_inside
def covered(plant: Plant, cell: int) -> float:
    """Share of a cell's height that a wrapped condenser covers."""
    return min(max(plant.condenser_cells - cell, 0.0), 1.0)


@kernel_apart
def charge_between(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    modules: float,
    source: float,
    deepest: float,
    frosted: tuple[float, float],
) -> tuple[float, float, float, float, float, bool, bool]:
    """Charge between two ports of the store in one step, in place: single-pass water leaves at the intake.

    It comes back at the return port at the outlet temperature; what is above that port stands, and takes part
    by rising plumes only (`settle`). Taps and loop are then served by the store alone.

    Parameters
    ----------
    temperature, scratch, plant
        The store [°C], its work space, and the plant. The store is charged in place; inversions are left.
    seconds, modules, source, deepest, frosted
        As for `charge`.

    Returns
    -------
    heat, energy, flow, inlet, duty, inside, reached : float, float, float, float, float, bool, bool
        As `reheat`, with the share of the step that the machine ran, and whether the charge came as deep as
        it may. The heat is NaN where it cannot work.
    """
    low, high = plant.intake_port, plant.return_port
    reconstruct(temperature, scratch, temperature[0])
    foot, outlet = at_height(temperature, low + 0.5), plant.outlet[0]
    flow, cop, duty, inside, reached = charge(
        temperature, scratch, plant, seconds, modules, source, foot, 0.0, deepest, frosted
    )
    if np.isnan(flow):
        return np.nan, 0.0, 0.0, foot, 0.0, inside, False
    if flow == 0.0:
        return 0.0, 0.0, 0.0, foot, duty, inside, reached
    left = pass_between(temperature, scratch, low, high, flow, outlet)
    heat = flow * outlet - left
    energy = heat * RHO_CP * plant.column.cell_volume / cop
    return heat, energy, flow, left / flow, duty, inside, reached


@kernel
def draw_back(temperature: Array, plant: Plant, heat: float) -> None:
    """Take the heat of a defrost [cell·K] out of the store, in place, where the machine gives its own."""
    if plant.water_side == WRAPPED:
        for i in range(temperature.size):
            temperature[i] -= heat * covered(plant, i) / plant.condenser_cells
    else:
        # the water on either side of its return port, in shares that change steadily with the port's height
        level = plant.return_port - (0.0 if plant.water_side == MULTI else 1.0)
        cell = min(int(level), temperature.size - 1)
        upper = min(cell + 1, temperature.size - 1)
        share = level - cell
        temperature[cell] -= (1.0 - share) * heat
        temperature[upper] -= share * heat


@kernel_apart
def thaw_power(plant: Plant, temperature: Array, source: float, frosted: tuple[float, float]) -> float:
    """Power of a module while it defrosts: that of heating, as the yearly frost factors count it. [W]"""
    inlet = at_height(temperature, plant.intake_port + 0.5)
    outlet = plant.outlet[0]
    if plant.water_side != SINGLE:
        outlet = inlet + (plant.rise if plant.water_side == MULTI else 1.0)
    _, power, _ = perform(plant, source, inlet, outlet)
    return 0.0 if np.isnan(power) else frosted[1] * power


@kernel_inside
def work(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    modules: float,
    source: float,
    mains: float,
    cold: float,
    deepest: float,
    frosted: tuple[float, float],
) -> Worked:
    """Run the heat pump for `seconds` of a step, by how its water goes through the store.

    Parameters as for `charge`. A store between ports, a multi-pass machine's and a wrapped one is heated in
    place; water that a single-pass machine passes by the store is left for the step to move.
    """
    reached = False
    if plant.charge_apart == 0 and plant.water_side == SINGLE:
        flow, cop, duty, inside, reached = charge(
            temperature, scratch, plant, seconds, modules, source, mains, cold, deepest, frosted
        )
        if np.isnan(flow):
            return Worked(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, inside, True, False)
        return Worked(0.0, 0.0, flow, 0.0, cop, duty, inside, False, reached)
    if plant.charge_apart > 0:
        heat, energy, flow, inlet, duty, inside, reached = charge_between(
            temperature, scratch, plant, seconds, modules, source, deepest, frosted
        )
    else:
        duty = 1.0
        heat, energy, flow, inlet, inside = reheat(
            temperature, scratch, plant, seconds, modules, source, frosted
        )
    if np.isnan(heat):
        return Worked(0.0, 0.0, 0.0, inlet, 0.0, 0.0, inside, True, False)
    settle(temperature, scratch)
    return Worked(heat, energy, flow, inlet, 0.0, duty, inside, False, reached)


@kernel_inside
def heat_top(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    permitted: bool,
    level: float,
    setpoint: float,
    seconds: float,
    on: bool,
    waited: float,
) -> tuple[float, bool, float]:
    """Heat the store from `level` up by the backup in a part of a step, in place.

    Parameters
    ----------
    temperature, scratch, plant
        The store [°C], its work space, and the plant.
    permitted : bool
        Whether the backup may run.
    level : float
        Where the part that it heats begins; its sensor feels the layer above that, one cell thick. [cells]
    setpoint : float
        It stops there, and starts a dead band below. [°C]
    seconds : float
        Length of the part. [s]
    on : bool
        Whether it ran.
    waited : float
        How long it has wanted to run. [s]

    Returns
    -------
    heat, on, waited : float, bool, float
        Heat given [cell·K], and the state after.
    """
    sensed = coldest_foot(temperature, scratch, level)
    if not permitted or sensed >= setpoint:
        on, waited = False, 0.0
    elif sensed < setpoint - plant.backup_dead_band:
        on = waited >= plant.backup_delay
        waited += seconds
    if not on:
        return 0.0, False, waited
    most = plant.backup_power * seconds / (RHO_CP * plant.column.cell_volume)
    heat = heat_upper(temperature, scratch, level, most, setpoint)
    return heat, heat >= most, waited  # less: it reached its setpoint within the part
