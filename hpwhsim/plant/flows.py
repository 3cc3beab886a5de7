"""What flows in a step: the charge by the heat pump, the draw at the taps, the loop, and the store."""

from typing import NamedTuple

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Array, BackupMode, Plant, WaterSide
from hpwhsim.storage.tank import RHO_CP, Scratch, drawn_heat, heat_below, reconstruct, shift, stir_feet

SMALLEST_LIFT = 3.0  # K between the heat pump's inlet and outlet below which it does not run
SERIES = int(BackupMode.SERIES)
MULTI = int(WaterSide.MULTI)
WRAPPED = int(WaterSide.WRAPPED)


class Moved(NamedTuple):
    """What a step moved; volumes in cells, heat in cell·K."""

    heat: float  # from the heat pump into the water
    inlet: float  # heat in the water that flowed to the heat pump: its volume times its temperature
    taps: float  # hot water to the taps
    taps_heat: float  # with it, above mains temperature, the series heater's share included
    loop_heat: float  # lost by the loop
    added: float  # by the series heater
    short: float  # use volume delivered below the minimum temperature
    missing: float  # heat missing to use temperature


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
) -> tuple[float, float, float, bool]:
    """Single-pass flow that `modules` modules heat to the outlet temperature in one step.

    The mains water that enters in the same step and the water at the bottom of the store flow to the machine
    together. The store's water comes cell by cell, each with its own temperature, capacity and power, so
    that the answer hardly depends on the step.

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
    flow, cop, duty, inside : float, float, float, bool
        Water heated [cells], coefficient of performance, share of the step that the machine ran, and whether
        it stayed inside the performance map. The flow is NaN where the machine cannot work at all.
    """
    to_cells = modules * seconds / (RHO_CP * plant.column.cell_volume)
    n = temperature.size
    flow = heat = energy = depth = 0.0
    left = 1.0
    inside = True
    while left > 1e-9:
        bound = min(int(depth) + 1.0, n, deepest)
        below = temperature[0]
        if bound - depth > 1e-9:
            below = heat_below(temperature, scratch, bound) - heat_below(temperature, scratch, depth)
            below /= bound - depth
        elif cold <= 0.0:
            break
        inlet = mains if cold > 0.0 else below
        rate = capacity = power = 0.0
        for _ in range(20):
            capacity, power, known = look_up(plant.machine, source, inlet, plant.outlet[0])
            capacity *= frosted[0]
            too_warm = inlet > plant.highest_inlet or plant.outlet[0] - inlet < SMALLEST_LIFT
            if too_warm or np.isnan(capacity):
                return (np.nan, 0.0, 0.0, known) if flow == 0.0 else (flow, heat / energy, 1.0 - left, inside)
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
            if bound - depth <= 1e-9:
                break
            time = min(left, (bound - depth) / (rate - cold))
            depth += time * (rate - cold)
        flow += time * rate
        heat += time * rate * (plant.outlet[0] - inlet)
        energy += time * rate * (plant.outlet[0] - inlet) * frosted[1] * power / capacity
        left -= time
    if flow <= 0.0:
        return 0.0, 0.0, 0.0, inside
    return flow, heat / energy, 1.0 - left, inside


@kernel
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
    cells = plant.condenser_cells
    port = plant.return_port - plant.intake_port
    between = temperature[plant.intake_port :]  # the intake is at its foot
    if plant.intake_port > 0:
        reconstruct(between, scratch, between[0])
    inlet = between[0]
    lacking = 0.0
    if not multi:
        inlet = 0.0
        for i in range(cells):
            lacks = max(plant.outlet[0] - temperature[i], 0.0)
            lacking += lacks
            inlet += lacks * temperature[i]
        inlet = inlet / lacking if lacking > 0.0 else plant.outlet[0]
    rise = plant.rise if multi else 1.0
    flow = heat = power = 0.0
    inside = True
    for _ in range(10 if multi else 1):
        if inlet > plant.highest_inlet or inlet + rise > plant.outlet[0] + 0.1:
            return np.nan, 0.0, 0.0, inlet, True
        capacity, power, inside = look_up(plant.machine, source, inlet, inlet + rise)
        if np.isnan(capacity):
            return np.nan, 0.0, 0.0, inlet, inside
        heat = frosted[0] * capacity * to_cells
        if multi:
            flow = min(heat / rise, float(port))  # no faster than the water below the port
            before = inlet
            inlet = heat_below(between, scratch, flow) / flow
            if abs(inlet - before) < 1e-3:
                break
    energy = modules * seconds * frosted[1] * power
    if not multi and heat > lacking:  # charged within the step
        energy *= lacking / heat
        heat = lacking
    if multi:
        warmed = inlet + heat / flow
        shift(between, scratch, -flow, flow, port, 0.0, warmed, 0.0, 0)
    else:
        for i in range(cells):
            temperature[i] += heat * max(plant.outlet[0] - temperature[i], 0.0) / lacking
    return heat, energy, flow, inlet, inside


@kernel
def charge_between(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    modules: float,
    source: float,
    deepest: float,
    frosted: tuple[float, float],
) -> tuple[float, float, float, float, float, bool]:
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
    heat, energy, flow, inlet, duty, inside : float, float, float, float, float, bool
        As `reheat`, with the share of the step that the machine ran. The heat is NaN where it cannot work.
    """
    between = temperature[plant.intake_port : plant.return_port]
    reconstruct(between, scratch, between[0])
    flow, cop, duty, inside = charge(
        between, scratch, plant, seconds, modules, source, between[0], 0.0, deepest, frosted
    )
    if np.isnan(flow):
        return np.nan, 0.0, 0.0, between[0], 0.0, inside
    if flow == 0.0:
        return 0.0, 0.0, 0.0, between[0], duty, inside
    if flow >= between.size - 1e-9:
        duty = 1.0  # all that lies between the ports passed: the charge is not over
    outlet = plant.outlet[0]
    left, _ = shift(between, scratch, -flow, 0.0, between.size, 0.0, 0.0, outlet, 0)
    heat = flow * outlet - left
    energy = heat * RHO_CP * plant.column.cell_volume / cop
    return heat, energy, flow, left / flow, duty, inside


@kernel
def draw_back(temperature: Array, plant: Plant, heat: float) -> None:
    """Take the heat of a defrost [cell·K] out of the store, in place, where the machine gives its own."""
    if plant.water_side == WRAPPED:
        for i in range(plant.condenser_cells):
            temperature[i] -= heat / plant.condenser_cells
    elif plant.water_side == MULTI:
        temperature[plant.return_port] -= heat
    else:
        temperature[plant.return_port - 1] -= heat


@kernel
def draw(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    use: float,
    mains: float,
    hot: float,
    heater: float,
) -> tuple[float, float, float, float]:
    """Water that the taps take from the top of the store in one step.

    A thermostatic valve mixes hot and mains water to use temperature; where the hot water is too cold for
    that it passes with no more cold water than the valve lets by at its end (`most_hot`), and a series heater
    raises it as far as its power goes.

    Parameters
    ----------
    temperature, scratch, plant
        The store with `reconstruct` done [°C], its work space, and the plant.
    use : float
        Water wanted at use temperature. [cells]
    mains : float
        Cold water. [°C]
    hot : float
        Water that comes straight from the heat pump, at its outlet temperature. [cells]
    heater : float
        Largest rise by the series heater. [K]

    Returns
    -------
    volume : float
        From the top of the column. [cells]
    added : float
        Heat of the series heater. [cell·K]
    short : float
        Use volume delivered below the minimum temperature. [cells]
    missing : float
        Heat missing to use temperature. [cell·K]
    """
    share = hot / use
    room = max(most_hot(plant, mains) - share, 1e-9)  # of each use volume, for hot water of the store
    wanted = plant.use_temperature - mains - share * (plant.outlet[0] - mains)
    volume = added = short = missing = 0.0
    left = use
    taken = 0.0
    k = 0
    cells = plant.column.mixed_cells
    if wanted <= 0.0:
        return volume, added, short, missing
    while left > 1e-12 * use:
        reached = drawn_heat(temperature, scratch, k + 1.0, mains, cells)
        parcel = reached - taken
        if (parcel - mains) * room >= wanted:  # the valve mixes
            served = (parcel - mains) / wanted
            if served >= left:
                part = min(1.0, left / served)
                for _ in range(4):
                    gap = drawn_heat(temperature, scratch, k + part, mains, cells) - taken
                    part -= (gap - part * mains - left * wanted) / (parcel - mains)
                    part = min(max(part, 0.0), 1.0)
                return volume + part, added, short, missing
            volume += 1.0
        else:  # the valve stands open
            served = 1.0 / room
            if k > temperature.size and parcel - mains < 1e-9:
                served = left  # only mains water is left
            served = min(served, left)
            volume += served * room
            at_tap = mains + share * (plant.outlet[0] - mains) + room * (parcel - mains)
            lifted = min(plant.use_temperature, at_tap + heater)
            added += served * (lifted - at_tap)
            missing += served * (plant.use_temperature - lifted)
            if lifted < plant.minimum_temperature:
                short += served
        left -= served
        taken = reached
        k += 1
    return volume, added, short, missing


@kernel
def most_hot(plant: Plant, mains: float) -> float:
    """Most hot water in what the plant's tempering valve passes, at the end of its travel.

    The valve holds its setpoint while hot water is warmer than that by its least difference, and lets by as
    much cold water then as at the end of its travel.
    """
    span = plant.valve_setpoint + plant.valve_difference - mains
    return 1.0 - plant.valve_difference / span if span > plant.valve_difference else 1.0


@kernel
def hot_needed(plant: Plant, use: float, mains: float, hot: float) -> float:
    """Water at `hot` °C that the taps take to make `use` of water at use temperature. [cells]."""
    rise = plant.use_temperature - mains
    if use <= 0.0 or rise <= 0.0:
        return 0.0
    return use * rise / max(hot - mains, rise / most_hot(plant, mains))


@kernel
def circulate(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    use: float,
    mains: float,
    flow: float,
    loop_watts: float,
    loop_back: float,
) -> Moved:
    """Serve taps and loop in one step and move the column.

    Taps and loop share what comes straight from the heat pump; the top of the store gives the rest, or
    takes what is left over. The loop loses its heat and comes back at its port.

    Parameters
    ----------
    temperature, scratch, plant
        The store with `reconstruct` done [°C], its work space, and the plant. The store is moved in place.
    seconds : float
        Length of the step. [s]
    use : float
        Water wanted at use temperature. [cells]
    mains : float
        Cold water. [°C]
    flow : float
        Water that the heat pump heats from the bottom to its outlet temperature. [cells]
    loop_watts, loop_back : float
        Loss of the loop [W], 0 without one, and the temperature of its return [°C].
    """
    column, outlet = plant.column, plant.outlet[0]
    joule = RHO_CP * column.cell_volume
    top = temperature[temperature.size - 1]
    loop = loop_loss = 0.0
    supply = outlet if flow > hot_needed(plant, use, mains, top) else top
    if loop_watts > 0.0:
        around = plant.loop_ambient
        reach = (top - around) / (loop_back - around)  # a cooler loop loses less
        loop_loss = loop_watts * seconds / joule * min(max(reach, 0.0), 1.0)
        loop = loop_loss / (supply - min(loop_back, supply - 2.0))
    need = hot_needed(plant, use, mains, outlet)
    added = short = missing = 0.0
    if flow >= need + loop:
        taps = need
        to_taps = need * outlet  # heat in that water
        supply = outlet
    else:
        drawn = from_store = 0.0
        straight = flow * need / (need + loop)
        if need > 0.0:
            rise = plant.backup_power * seconds / (joule * use) if plant.backup_mode == SERIES else 0.0
            drawn, added, short, missing = draw(temperature, scratch, plant, use, mains, straight, rise)
            from_store = drawn_heat(temperature, scratch, drawn, mains, column.mixed_cells)
        taps = drawn + straight
        to_taps = from_store + straight * outlet
        if loop > 0.0:
            from_top = drawn + loop - (flow - straight)
            rest = drawn_heat(temperature, scratch, from_top, mains, column.mixed_cells) - from_store
            supply = (rest + (flow - straight) * outlet) / loop
    loop_return = supply - loop_loss / loop if loop > 0.0 else 0.0
    out_bottom, out_top = shift(
        temperature,
        scratch,
        taps - flow,
        loop,
        plant.loop_port,
        mains,
        loop_return,
        outlet,
        column.mixed_cells,
    )
    if column.mixed_cells > 0:
        stir_feet(temperature, scratch, taps - flow, loop, plant.loop_port, column.mixed_cells)
    inlet = min(flow, taps) * mains + out_bottom
    leaving = out_top + min(flow, taps + loop) * outlet
    if loop == 0.0:
        to_taps = leaving
    return Moved(
        heat=flow * outlet - inlet,
        inlet=inlet,
        taps=taps,
        taps_heat=to_taps - taps * mains + added,
        loop_heat=leaving - to_taps - loop * loop_return,
        added=added,
        short=short,
        missing=missing,
    )


@kernel
def through_tank(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    seconds: float,
    use: float,
    mains: float,
    flow: float,
    loop_watts: float,
    loop_back: float,
    held: float,
) -> tuple[Moved, float, float]:
    """Serve taps and loop by the loop's own tank in one step and move the column.

    The taps' hot water leaves the tank, and as much from the store (or straight from the heat pump) takes its
    place; the store's foot sees cold water only. The tank is well mixed and ends the step at the temperature
    of what leaves it (implicit, so stable for any draw). Where the taps' water does not run through it, the
    tank serves the loop alone and the store the taps.

    Parameters
    ----------
    temperature, scratch, plant, seconds, use, mains, flow, loop_watts, loop_back
        As for `circulate`.
    held : float
        The tank at the start. [°C]

    Returns
    -------
    moved, held, lost : Moved, float, float
        What moved, the tank at the end [°C], and its standby loss [cell·K]. The loop's loss falls with the
        tank's temperature below `loop_back`.
    """
    column, tank, outlet = plant.column, plant.loop_tank, plant.outlet[0]
    joule = RHO_CP * column.cell_volume
    size = tank.volume / column.cell_volume
    reach = (held - plant.loop_ambient) / (loop_back - plant.loop_ambient)
    loop_loss = loop_watts * seconds / joule * min(max(reach, 0.0), 1.0)
    lost = tank.loss * seconds / joule * (held - column.room)
    if tank.through == 0.0:
        moved = circulate(temperature, scratch, plant, seconds, use, mains, flow, 0.0, loop_back)
        held -= (loop_loss + lost) / size
        return (
            Moved(
                moved.heat,
                moved.inlet,
                moved.taps,
                moved.taps_heat,
                loop_loss,
                moved.added,
                moved.short,
                moved.missing,
            ),
            held,
            lost,
        )
    taps = 0.0
    most = most_hot(plant, mains)
    if use > 0.0 and plant.use_temperature > mains:
        taps = use * min((plant.use_temperature - mains) / max(held - mains, 1e-6), most)
    out_bottom, out_top = shift(
        temperature,
        scratch,
        taps - flow,
        0.0,
        plant.loop_port,
        mains,
        0.0,
        outlet,
        column.mixed_cells,
    )
    if column.mixed_cells > 0:
        stir_feet(temperature, scratch, taps - flow, 0.0, plant.loop_port, column.mixed_cells)
    inlet = min(flow, taps) * mains + out_bottom
    leaving = out_top + min(flow, taps) * outlet
    held = (size * held + leaving - loop_loss - lost) / (size + taps)
    short = missing = 0.0
    if taps >= most * use > 0.0:  # the valve stands open
        at_tap = mains + most * (held - mains)
        missing = use * max(plant.use_temperature - at_tap, 0.0)
        short = use if at_tap < plant.minimum_temperature else 0.0
    moved = Moved(
        heat=flow * outlet - inlet,
        inlet=inlet,
        taps=taps,
        taps_heat=taps * (held - mains),
        loop_heat=loop_loss,
        added=0.0,
        short=short,
        missing=missing,
    )
    return moved, held, lost


@kernel
def heat_tank(
    plant: Plant, seconds: float, held: float, on: bool, source: float
) -> tuple[float, float, float, bool]:
    """Heat the loop's own tank by its thermostat for one step.

    Parameters
    ----------
    plant : Plant
        The plant.
    seconds : float
        Length of the step. [s]
    held : float
        The tank. [°C]
    on : bool
        Whether its heater is on.
    source : float
        Outdoor air, for its heat pump. [°C]

    Returns
    -------
    held, heat, energy, on : float, float, float, bool
        The tank at the end [°C], heat given and electricity taken [J], and whether the heater stays on.
    """
    tank = plant.loop_tank
    on = held < tank.setpoint - (0.0 if on else tank.dead_band)
    if not on:
        return held, 0.0, 0.0, False
    capacity, power = tank.power, tank.power
    if tank.power == 0.0:
        capacity, power, _ = look_up(tank.machine, source, held, held + tank.rise)
        if np.isnan(capacity):
            return held, 0.0, 0.0, True
    kelvin = RHO_CP * tank.volume
    share = min((tank.setpoint - held) * kelvin / (capacity * seconds), 1.0)
    heat = share * capacity * seconds
    return held + heat / kelvin, heat, share * power * seconds, share >= 1.0
