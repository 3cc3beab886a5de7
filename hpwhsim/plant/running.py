"""The heat pump at work: why it cannot, and what it gives by the water that comes to it."""

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import Cause, Plant, WaterSide
from hpwhsim.plant.part_speed import outlet_of, perform
from hpwhsim.plant.state import Duty, Heat, Machine
from hpwhsim.storage.layers import RHO_CP, Layers, mean_above, mean_brought

SMALLEST_LIFT = 3.0  # K between the heat pump's inlet and outlet below which it does not run
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
WORKS = -1  # no refusal
SOURCE_TOO_COLD, WATER_TOO_WARM = int(Cause.SOURCE_TOO_COLD), int(Cause.WATER_TOO_WARM)
AGREED = 1e-3  # K, of the water at the machine
AGREED_HEAT, MOST_ROUNDS = 1e-3, 20  # share of the heat by which two rounds of a while may differ


@kernel
def machine_now(plant: Plant) -> Machine:
    """A module as it is now."""
    return Machine(
        performance=plant.machine,
        water_side=plant.water_side,
        outlet=plant.outlet[0],
        rise=plant.rise,
        highest_inlet=plant.highest_inlet,
        lowest_source=plant.lowest_source,
        coil=plant.coil,
        gas_share=plant.gas_share,
        speed=plant.speed[0],
    )


@kernel_apart
def refusal(machine: Machine, source: float, inlet: float) -> int:
    """Why the machine cannot work with this source and this water, a `Cause`; `WORKS` where it can. [°C]

    Where it could with the coldest water of its map, the water is too warm; where not even then, the source
    is too cold for the outlet temperature of the hour.
    """
    if not source >= machine.lowest_source:
        return SOURCE_TOO_COLD
    if inlet > hottest_inlet(machine):
        return WATER_TOO_WARM
    capacity, _, _ = look_up(machine.performance, source, inlet, outlet_of(machine, inlet))
    if not np.isnan(capacity):
        return WORKS
    coldest = machine.performance.water_in_c[0]
    capacity, _, _ = look_up(machine.performance, source, coldest, outlet_of(machine, coldest))
    return SOURCE_TOO_COLD if np.isnan(capacity) else WATER_TOO_WARM


@kernel
def hottest_inlet(machine: Machine) -> float:
    """Warmest water with which the machine works. [°C]"""
    most = machine.outlet - SMALLEST_LIFT
    if machine.water_side != SINGLE:
        most = machine.outlet + 0.1 - (machine.rise if machine.water_side == MULTI else 1.0)
    return min(most, machine.highest_inlet)


@kernel
def mixed_inlet(flow: float, cold: float, mains: float, below: float) -> float:
    """Mains water and water of the store on their way to the machine. [°C]"""
    return mains if flow <= cold else (cold * mains + (flow - cold) * below) / flow


@kernel_apart
def clear_capacity(machine: Machine, source: float, inlet: float) -> float:
    """Capacity of a module of full speed without frost; NaN where it cannot work. [W]"""
    capacity, _, _ = look_up(machine.performance, source, inlet, outlet_of(machine, inlet))
    return capacity


@kernel_apart
def heat_of_machine(machine: Machine, duty: Duty, below: float) -> Heat:
    """What the running modules give by the water that comes to them, of the store at `below` °C.

    Single-pass: the first law on machine and mixing tee gives the flow that is heated to the outlet.
    """
    cold, mains = duty.cold, duty.mains
    single = machine.water_side == SINGLE
    inlet = mains if cold > 0.0 else below
    highest = hottest_inlet(machine)
    flow = capacity = power = 0.0
    inside = True
    for _ in range(20):
        capacity, power, inside = perform(machine, duty.source, inlet)
        if inlet > highest or np.isnan(capacity):
            why = refusal(machine, duty.source, inlet)
            return Heat(WATER_TOO_WARM if why == WORKS else why, 0.0, 0.0, 0.0, inlet, inside)
        capacity *= duty.frosted[0] * duty.units / RHO_CP
        if not single:
            flow = capacity / machine.rise if machine.water_side == MULTI else 0.0
            break
        before = inlet
        flow = (capacity + cold * (mains - below)) / max(machine.outlet - below, 1e-6)
        if flow <= cold:
            flow = capacity / (machine.outlet - mains)
        inlet = mixed_inlet(flow, cold, mains, below)
        if abs(inlet - before) < AGREED:
            break
    return Heat(WORKS, flow, capacity, duty.units * duty.frosted[1] * power, inlet, inside)


@kernel_apart
def heat_over(
    machine: Machine, layers: Layers, intake: float, duty: Duty, first: Heat, seconds: float
) -> tuple[Heat, float]:
    """What running modules give over a while in which more than one layer comes to them.

    Warmer water above the first layer is heated in a larger flow, which takes more of it: single-pass, as
    much water comes as their heat brings to the outlet. That heat changes little with the inlet, so that a
    few rounds agree.

    Parameters
    ----------
    machine, layers : Machine, Layers
        The machine and its store.
    intake : float
        Height at which water leaves for the machine. [m³ below it]
    duty : Duty
        What the modules work on.
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
        if machine.water_side == SINGLE:
            brought = (heat.heat - duty.cold * (machine.outlet - duty.mains)) * seconds
            mean = mean_brought(layers, intake, brought, machine.outlet)
        else:
            mean = mean_above(layers, intake, heat.flow * seconds)
        again = heat_of_machine(machine, duty, mean)
        if again.refused != WORKS:
            break
        agreed = abs(again.heat - heat.heat) < AGREED_HEAT * heat.heat
        heat = again
        if agreed:
            break
    return heat, mean


@kernel_apart
def thaw_power(machine: Machine, inlet: float, source: float, frosted: tuple[float, float]) -> float:
    """Power of a module while it defrosts: that of heating, as the yearly frost factors count it. [W]"""
    _, power, _ = perform(machine, source, inlet)
    return 0.0 if np.isnan(power) else frosted[1] * power
