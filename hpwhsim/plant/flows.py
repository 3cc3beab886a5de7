"""What flows in a step: the draw at the taps, the loop and its tank, and the store that they move."""

from typing import NamedTuple

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart, kernel_inside
from hpwhsim.plant.arrays import Array, Plant
from hpwhsim.storage.tank import RHO_CP, Scratch, drawn_heat, shift, stir_feet


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
def draw(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    use: float,
    mains: float,
    hot: float,
) -> tuple[float, float, float]:
    """Water that the taps take from the top of the store in one step.

    A thermostatic valve mixes hot and mains water to use temperature; where the hot water is too cold for
    that it passes with no more cold water than the valve lets by at its end (`most_hot`).

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

    Returns
    -------
    volume : float
        From the top of the column. [cells]
    short : float
        Use volume delivered below the minimum temperature. [cells]
    missing : float
        Heat missing to use temperature. [cell·K]
    """
    share = hot / use
    room = max(most_hot(plant, mains) - share, 1e-9)  # of each use volume, for hot water of the store
    wanted = plant.use_temperature - mains - share * (plant.outlet[0] - mains)
    volume = short = missing = 0.0
    left = use
    taken = 0.0
    k = 0
    cells = plant.column.mixed_cells
    if wanted <= 0.0:
        return volume, short, missing
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
                return volume + part, short, missing
            volume += 1.0
        else:  # the valve stands open
            served = 1.0 / room
            if k > temperature.size and parcel - mains < 1e-9:
                served = left  # only mains water is left
            served = min(served, left)
            volume += served * room
            at_tap = mains + share * (plant.outlet[0] - mains) + room * (parcel - mains)
            at_tap = min(plant.use_temperature, at_tap)
            missing += served * (plant.use_temperature - at_tap)
            if at_tap < plant.minimum_temperature:
                short += served
        left -= served
        taken = reached
        k += 1
    return volume, short, missing


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
def loop_reach(plant: Plant, supply: float) -> float:
    """Loss, and fall of temperature, of a loop fed from water at `supply` °C over those at its own supply.

    At one flow all along the loop the water's excess over the air is in proportion to that at its start.
    """
    excess = min(supply, plant.loop_limit) - plant.loop_ambient
    return max(excess, 0.0) / (plant.loop_supply - plant.loop_ambient)


@kernel_inside
def loop_volume(plant: Plant, supply: float, reach: float, back: float, loss: float) -> float:
    """What leaves the store for the loop where it loses `loss` [cell·K]. [cells]

    Parameters
    ----------
    plant : Plant
        The plant.
    supply, reach : float
        Water of the store [°C], and `loop_reach` of it.
    back : float
        Return at the loop's own supply. [°C]
    loss : float
        As said.

    Notes
    -----
    The loop's own flow does not change. A tempering valve mixes returning water into it, so that less of it
    passes through the store. No colder return than that of a fall of 2 K is taken.
    """
    returns = min(supply, plant.loop_limit) - (plant.loop_supply - back) * reach
    return loss / max(supply - returns, 2.0)


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
        Loss of the loop [W], 0 without one, and the temperature of its return [°C], both at its own supply.
    """
    column, outlet = plant.column, plant.outlet[0]
    joule = RHO_CP * column.cell_volume
    top = temperature[temperature.size - 1]
    loop = loop_loss = 0.0
    supply = outlet if flow > hot_needed(plant, use, mains, top) else top
    if loop_watts > 0.0:
        reach = loop_reach(plant, supply)
        loop_loss = loop_watts * seconds / joule * reach
        loop = loop_volume(plant, supply, reach, loop_back, loop_loss)
    need = hot_needed(plant, use, mains, outlet)
    short = missing = 0.0
    if flow >= need + loop:
        taps = need
        to_taps = need * outlet  # heat in that water
        supply = outlet
    else:
        drawn = from_store = 0.0
        straight = flow * need / (need + loop)
        if need > 0.0:
            drawn, short, missing = draw(temperature, scratch, plant, use, mains, straight)
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
        taps_heat=to_taps - taps * mains,
        loop_heat=leaving - to_taps - loop * loop_return,
        added=0.0,
        short=short,
        missing=missing,
    )


@kernel_apart
def beside_tank(
    moved: Moved, plant: Plant, seconds: float, loop_watts: float, held: float
) -> tuple[Moved, float, float]:
    """The loop served by its own tank alone, beside what `moved` for the taps; returns as `through_tank`."""
    column, tank = plant.column, plant.loop_tank
    joule = RHO_CP * column.cell_volume
    loop_loss = loop_watts * seconds / joule * loop_reach(plant, held)
    lost = tank.loss * seconds / joule * (held - column.room)
    held -= (loop_loss + lost) * column.cell_volume / tank.volume
    both = Moved(
        moved.heat,
        moved.inlet,
        moved.taps,
        moved.taps_heat,
        loop_loss,
        moved.added,
        moved.short,
        moved.missing,
    )
    return both, held, lost


@kernel_apart
def through_heat(
    temperature: Array,
    scratch: Scratch,
    mixed_cells: int,
    size: float,
    kept: float,
    taps: float,
    mains: float,
    flow: float,
    outlet: float,
) -> float:
    """Heat above mains of `taps` cells out of a loop tank into which as much flows from plant and store.

    The tank holds `size` cells and, but for these, `kept` cell·K at the end of the step; of what flows in,
    `flow` cells come straight from the machine. [cell·K]
    """
    entering = drawn_heat(temperature, scratch, max(taps - flow, 0.0), mains, mixed_cells)
    entering += min(flow, taps) * outlet
    return taps * ((kept + entering) / (size + taps) - mains)


@kernel_apart
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
    of what leaves it (implicit, so stable for any draw); the taps take what makes their use of it. Where
    their water does not run through it, the tank serves the loop alone and the store the taps.

    Parameters
    ----------
    temperature, scratch, plant, seconds, use, mains, flow, loop_watts, loop_back
        As for `circulate`.
    held : float
        The tank at the start. [°C]

    Returns
    -------
    moved, held, lost : Moved, float, float
        What moved, the tank at the end [°C], and its standby loss [cell·K]. The loop's loss follows the
        tank's temperature.
    """
    column, tank, outlet = plant.column, plant.loop_tank, plant.outlet[0]
    joule = RHO_CP * column.cell_volume
    size = tank.volume / column.cell_volume
    loop_loss = loop_watts * seconds / joule * loop_reach(plant, held)
    lost = tank.loss * seconds / joule * (held - column.room)
    if tank.through == 0.0:
        moved = circulate(temperature, scratch, plant, seconds, use, mains, flow, 0.0, loop_back)
        return beside_tank(moved, plant, seconds, loop_watts, held)
    most = most_hot(plant, mains)
    kept, wanted = size * held - loop_loss - lost, use * max(plant.use_temperature - mains, 0.0)
    taps = most * use if wanted > 0.0 else 0.0
    above = through_heat(temperature, scratch, column.mixed_cells, size, kept, taps, mains, flow, outlet)
    above -= wanted  # grows with what the taps take
    if above > 0.0:  # the valve mixes: less than all, found between none and all
        low, high, below = 0.0, taps, -wanted
        for _ in range(60):  # regula falsi; the end that stays counts half, so that it does not stay
            taps = (low * above - high * below) / (above - below)
            apart = through_heat(
                temperature, scratch, column.mixed_cells, size, kept, taps, mains, flow, outlet
            )
            apart -= wanted
            if abs(apart) <= 1e-10 * wanted:
                break
            if apart > 0.0:
                high, above, below = taps, apart, 0.5 * below
            else:
                low, below, above = taps, apart, 0.5 * above
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


@kernel_apart
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
        if source < tank.lowest:
            return held, 0.0, 0.0, True
        capacity, power, _ = look_up(tank.machine, source, held, held + tank.rise)
        if np.isnan(capacity):
            return held, 0.0, 0.0, True
    kelvin = RHO_CP * tank.volume
    share = min((tank.setpoint - held) * kelvin / (capacity * seconds), 1.0)
    heat = share * capacity * seconds
    return held + heat / kelvin, heat, share * power * seconds, share >= 1.0
