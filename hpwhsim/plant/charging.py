"""The heat pump on its store: what it gives by the water that it meets, and the store that it charges."""

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart, kernel_inside, kernel_inside_apart
from hpwhsim.plant.arrays import Cause, Plant, WaterSide
from hpwhsim.plant.flows import hot_needed
from hpwhsim.plant.part_speed import perform
from hpwhsim.plant.state import Duty, Heat, Hour
from hpwhsim.storage.heating import at_wall, cool_between, heat_wall
from hpwhsim.storage.layers import (
    RHO_CP,
    Layers,
    add_head,
    foot,
    insert,
    mean_above,
    mean_brought,
    sensed,
    take_above,
    take_foot,
    top_of,
)

SMALLEST_LIFT = 3.0  # K between the heat pump's inlet and outlet below which it does not run
THAWED = 0.02  # share of the store from which a defrost takes its heat, at the machine's return
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
WRAPPED = int(WaterSide.WRAPPED)
WORKS = -1  # no refusal
SOURCE_TOO_COLD, WATER_TOO_WARM = int(Cause.SOURCE_TOO_COLD), int(Cause.WATER_TOO_WARM)
AGREED = 1e-3  # K, of the water at the machine
AGREED_HEAT, MOST_ROUNDS = 1e-3, 20  # share of the heat by which two rounds of a while may differ


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
    if inlet > hottest_inlet(plant):
        return WATER_TOO_WARM
    capacity, _, _ = look_up(plant.machine, source, inlet, hottest if single else inlet + rise)
    if not np.isnan(capacity):
        return WORKS
    coldest = plant.machine.water_in_c[0]
    capacity, _, _ = look_up(plant.machine, source, coldest, hottest if single else coldest + rise)
    return SOURCE_TOO_COLD if np.isnan(capacity) else WATER_TOO_WARM


@kernel_inside
def hottest_inlet(plant: Plant) -> float:
    """Warmest water with which the machine works. [°C]"""
    most = plant.outlet[0] - SMALLEST_LIFT
    if plant.water_side != SINGLE:
        most = plant.outlet[0] + 0.1 - (plant.rise if plant.water_side == MULTI else 1.0)
    return min(most, plant.highest_inlet)


@kernel_inside
def straight_through(plant: Plant) -> bool:
    """Whether the machine's water passes by the store on its way to the taps."""
    return plant.water_side == SINGLE and plant.charge_apart == 0


@kernel_inside
def mixed_inlet(flow: float, cold: float, mains: float, below: float) -> float:
    """Mains water and water of the store on their way to the machine. [°C]"""
    return mains if flow <= cold else (cold * mains + (flow - cold) * below) / flow


@kernel_apart
def heat_of_machine(plant: Plant, duty: Duty, below: float) -> Heat:
    """What the running modules give by the water that comes to them, of the store at `below` °C.

    Single-pass: the first law on machine and mixing tee gives the flow that is heated to the outlet.
    """
    cold, mains = duty.cold, duty.mains
    single = plant.water_side == SINGLE
    inlet = mains if cold > 0.0 else below
    highest = hottest_inlet(plant)
    rise = plant.rise if plant.water_side == MULTI else 1.0
    flow = capacity = power = 0.0
    inside = True
    for _ in range(20):
        outlet = plant.outlet[0] if single else inlet + rise
        capacity, power, inside = perform(plant, duty.source, inlet, outlet)
        if inlet > highest or np.isnan(capacity):
            why = refusal(plant, duty.source, inlet)
            return Heat(WATER_TOO_WARM if why == WORKS else why, 0.0, 0.0, 0.0, inlet, inside)
        capacity *= duty.frosted[0] * duty.units / RHO_CP
        if not single:
            flow = capacity / rise if plant.water_side == MULTI else 0.0
            break
        before = inlet
        flow = (capacity + cold * (mains - below)) / max(plant.outlet[0] - below, 1e-6)
        if flow <= cold:
            flow = capacity / (plant.outlet[0] - mains)
        inlet = mixed_inlet(flow, cold, mains, below)
        if abs(inlet - before) < AGREED:
            break
    return Heat(WORKS, flow, capacity, duty.units * duty.frosted[1] * power, inlet, inside)


@kernel_apart
def heat_over(plant: Plant, layers: Layers, duty: Duty, first: Heat, seconds: float) -> tuple[Heat, float]:
    """What running modules give over a while in which more than one layer comes to them.

    Warmer water above the first layer is heated in a larger flow, which takes more of it: single-pass, as
    much water comes as their heat brings to the outlet. That heat changes little with the inlet, so that a
    few rounds agree.

    Parameters
    ----------
    plant, layers, duty
        The plant, its store, and what the modules work on.
    first : Heat
        By the water that comes first.
    seconds : float
        Of heating.

    Returns
    -------
    heat, mean : Heat, float
        And mean of the store's water that comes. [°C]
    """
    heat, mean = first, first.inlet
    for _ in range(MOST_ROUNDS):
        if plant.water_side == SINGLE:
            brought = (heat.heat - duty.cold * (plant.outlet[0] - duty.mains)) * seconds
            mean = mean_brought(layers, plant.intake_port, brought, plant.outlet[0])
        else:
            mean = mean_above(layers, plant.intake_port, heat.flow * seconds)
        again = heat_of_machine(plant, duty, mean)
        if again.refused != WORKS:
            break
        agreed = abs(again.heat - heat.heat) < AGREED_HEAT * heat.heat
        heat = again
        if agreed:
            break
    return heat, mean


@kernel_inside
def at_intake(plant: Plant, layers: Layers) -> tuple[float, float]:
    """Water of the store that flows to the machine [°C], and how much of it is alike [m³]."""
    if plant.water_side == WRAPPED:
        _, met = at_wall(layers, plant.condenser_top, plant.outlet[0])
        return met, np.inf
    if plant.intake_port <= 0.0:
        return foot(layers), layers.volume[layers.span[0]]
    here, above, _ = sensed(layers, plant.intake_port)
    return here, above


@kernel_inside
def of_intake(plant: Plant, layers: Layers, volume: float) -> float:
    """Mean of the `volume` that flows to the machine. [°C]"""
    return mean_above(layers, plant.intake_port, volume)


@kernel_apart
def entering(plant: Plant, layers: Layers, hour: Hour, use: float, source: float, units: float) -> float:
    """Water that the machine gets, or would. [°C]

    Of a machine past which the mains water flows to the store it is that water, mixed with as much from the
    bottom of the store as `units` modules heat beside it.

    Parameters
    ----------
    plant, layers, hour
        The plant, its store, and its hour.
    use : float
        Water wanted at use temperature. [m³/s]
    source, units : float
        Temperature of the source [°C], and modules running.
    """
    below, _ = at_intake(plant, layers)
    if use <= 0.0 or not straight_through(plant):
        return below
    capacity, _, _ = look_up(plant.machine, source, below, plant.outlet[0])
    if np.isnan(capacity) or plant.outlet[0] - below < 1.0:
        return min(hour.mains, below)
    top = top_of(layers)
    cold = hot_needed(plant, use, hour.mains, top)
    flow = units * capacity / RHO_CP + cold * (hour.mains - below)
    return mixed_inlet(flow / (plant.outlet[0] - below), cold, hour.mains, below)


@kernel_apart
def charge(plant: Plant, layers: Layers, heat: Heat, seconds: float) -> tuple[float, float]:
    """Charge the store in place where the machine's water does not pass by it; see the returns.

    Between ports the water leaves at the intake and comes back at the return; multi-pass water has gained the
    rise. A condenser at the wall gives each layer in proportion to what it lacks. Inversions are left.

    Returns
    -------
    heat, inlet : float, float
        Heat given, and heat of the water before (of a condenser at the wall its temperature times heat).
        [m³·K]
    """
    if plant.water_side == WRAPPED:
        given = heat.heat * seconds
        lacking, met = at_wall(layers, plant.condenser_top, plant.outlet[0])
        given = min(given, lacking)
        if given > 0.0:
            heat_wall(layers, plant.condenser_top, plant.outlet[0], given / lacking)
        return given, met * given
    volume = heat.flow * seconds
    if volume <= 0.0:
        return 0.0, 0.0
    if plant.intake_port <= 0.0:
        before = take_foot(layers, volume)
    else:
        before = take_above(layers, plant.intake_port, volume)
    given = heat.heat * seconds
    back = plant.outlet[0]
    if plant.water_side == MULTI:
        back = (before + given) / volume
    if plant.return_port >= plant.column.volume:
        add_head(layers, volume, back)
    else:
        insert(layers, plant.return_port - volume, volume, back)
    return volume * back - before, before


@kernel
def draw_back(plant: Plant, layers: Layers, heat: float) -> None:
    """Take the heat of a defrost [m³·K] out of the store, in place, where the machine gives its own."""
    if plant.water_side == WRAPPED:
        cool_between(layers, 0.0, plant.condenser_top, heat)
    else:
        top = plant.return_port
        cool_between(layers, max(top - THAWED * plant.column.volume, 0.0), top, heat)


@kernel_inside_apart
def thaw_power(plant: Plant, inlet: float, source: float, frosted: tuple[float, float]) -> float:
    """Power of a module while it defrosts: that of heating, as the yearly frost factors count it. [W]"""
    outlet = plant.outlet[0]
    if plant.water_side != SINGLE:
        outlet = inlet + (plant.rise if plant.water_side == MULTI else 1.0)
    _, power, _ = perform(plant, source, inlet, outlet)
    return 0.0 if np.isnan(power) else frosted[1] * power
