"""A heater in the pipe that leaves the store, ahead of the branch of the loop: the backup in series.

It lifts what taps and loop take to its setpoint, as far as its power reaches over the water that flows at
that moment, and stands while none flows. The tempering valve and the branch of the loop come after it. Draws
act at their own seconds; the store's water is taken in order, hottest first, by taps and loop together. What
comes straight from the heat pump is used as it comes; what is not used yet waits on top of the store.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.kernel import kernel, kernel_apart, kernel_inside
from hpwhsim.plant.arrays import Array, Plant
from hpwhsim.plant.draw_times import DrawTimes, Window, stretch
from hpwhsim.plant.flows import Moved, loop_reach, loop_volume, most_hot
from hpwhsim.storage.tank import RHO_CP, Scratch, drawn_heat, reconstruct, shift, stir_feet

SMALL = 1e-9  # s, cells or K that make no difference


class Lifted(NamedTuple):
    """What passed the heater in a part of a step; volumes in cells, heat in cell·K."""

    taps: float
    loop: float
    loop_heat: float  # in the loop's water as it left the store, above 0 °C
    added: float  # by the heater
    added_loop: float  # of that, to the loop
    short: float  # use volume delivered below the minimum temperature
    missing: float  # heat missing to use temperature
    short_seconds: float  # for which taps ran with that
    coldest: float  # that left the heater, °C; infinite where nothing flowed
    store: float  # from the store
    waiting: float  # straight from the heat pump, still on top of the store at the end


@kernel
def lift(
    plant: Plant, rate: float, mains: float, most: float, loop: float, entering: float, setpoint: float
) -> tuple[float, float]:
    """Temperature after the heater [°C] and hot water to the taps [cells/s], while water flows steadily.

    Parameters
    ----------
    plant : Plant
        The plant.
    rate, mains : float
        Water wanted at use temperature [cells/s], and cold water [°C].
    most : float
        Most hot water in what the tempering valve passes.
    loop : float
        Water to the loop. [cells/s]
    entering, setpoint : float
        Water at the heater, and what it is lifted to. [°C]

    Notes
    -----
    The valve mixes to use temperature: ``taps (hot - mains) = rate (use - mains)``. Where the power does not
    reach, ``hot = entering + power / (taps + loop)``; both give a quadratic for the taps' water.
    """
    wanted = rate * max(plant.use_temperature - mains, 0.0)
    open_flow = most * rate if wanted > 0.0 else 0.0
    hot = max(entering, setpoint)
    taps = open_flow
    if hot > mains:
        taps = min(open_flow, wanted / (hot - mains))
    power = plant.backup_power / (RHO_CP * plant.column.cell_volume)
    if entering >= setpoint or (taps + loop) * (setpoint - entering) <= power:
        return hot, taps
    a, b, c = entering - mains, (entering - mains) * loop + power - wanted, -wanted * loop
    inside = b * b - 4.0 * a * c
    taps = open_flow
    if inside >= 0.0:
        root = -1.0
        if b > 0.0:
            root = -2.0 * c / (b + np.sqrt(inside))
        elif a > 0.0:
            root = (np.sqrt(inside) - b) / (2.0 * a)
        if root >= 0.0:
            taps = min(root, open_flow)
    return entering + power / (taps + loop), taps


@kernel_inside
def through_heater(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    mains: float,
    straight: float,
    loop: float,
    setpoint: float,
    times: DrawTimes,
    window: Window,
) -> Lifted:
    """What taps and loop take through the heater in a window, its draws one after the other.

    Parameters
    ----------
    temperature, scratch, plant
        The store with `reconstruct` done [°C], its work space, and the plant. Nothing is moved.
    mains : float
        Cold water. [°C]
    straight : float
        Water that comes straight from the heat pump. [cells/s]
    loop : float
        Water to the loop. [cells/s]
    setpoint : float
        Of the heater; minus infinity: there is none. [°C]
    times, window
        The draws, and the part of the hour.
    """
    cells, outlet = plant.column.mixed_cells, plant.outlet[0]
    most = most_hot(plant, mains)
    taps = looped = loop_heat = added = added_loop = short = missing = short_seconds = 0.0
    coldest = np.inf
    volume = taken = waiting = 0.0  # from the store so far, and the heat in it
    at, now = window.at, window.since
    while now < window.until:
        end, rate, at = stretch(times, window, at, now, plant.column.cell_volume)
        left = end - now
        now = end
        if plant.use_temperature <= mains:
            rate = 0.0
        if rate <= 0.0 and loop <= 0.0:
            waiting += straight * left
            continue
        while left > SMALL:
            seconds, part, entering, reached = left, 0.0, outlet, taken
            hot = to_taps = 0.0
            short_of_straight = True
            if straight > 0.0:
                hot, to_taps = lift(plant, rate, mains, most, loop, outlet, setpoint)
                beyond = to_taps + loop - straight
                short_of_straight = beyond > 0.0 and waiting <= SMALL
                if not short_of_straight:
                    if beyond > 0.0:
                        seconds = min(left, waiting / beyond)
                    waiting = max(waiting - beyond * seconds, 0.0)
            if short_of_straight:
                part = 1.0 if volume == 0.0 else 1e-3
                whole = to_taps + loop
                for _ in range(6):
                    below = (drawn_heat(temperature, scratch, volume + part, mains, cells) - taken) / part
                    exhausted = volume > temperature.size and abs(below - mains) < SMALL
                    share = min(straight / whole, 1.0) if whole > 0.0 else 0.0
                    entering = share * outlet + (1.0 - share) * below
                    hot, to_taps = lift(plant, rate, mains, most, loop, entering, setpoint)
                    whole = to_taps + loop
                    flow = max(whole - straight, 0.0)
                    before, seconds = part, left
                    if flow * left > 1.0 and not exhausted:  # a cell at a time
                        seconds = 1.0 / flow
                    part = flow * seconds
                    if part <= 1e-12 or abs(part - before) <= 1e-9 * part:
                        break
                if part <= 1e-12:
                    part = 0.0
                else:  # the heat of just the water that is taken
                    reached = drawn_heat(temperature, scratch, volume + part, mains, cells)
                    share = min(straight / whole, 1.0)
                    entering = share * outlet + (1.0 - share) * (reached - taken) / part
                    hot = entering
                    if entering < setpoint:
                        power = plant.backup_power / (RHO_CP * plant.column.cell_volume)
                        hot = min(setpoint, entering + power / whole)
            volume += part
            taken = reached
            taps += to_taps * seconds
            looped += loop * seconds
            loop_heat += loop * seconds * entering
            added += (to_taps + loop) * seconds * (hot - entering)
            added_loop += loop * seconds * (hot - entering)
            coldest = min(coldest, hot)
            if rate > 0.0 and to_taps >= most * rate:  # the valve stands open
                at_tap = mains + most * (hot - mains)
                missing += rate * seconds * max(plant.use_temperature - at_tap, 0.0)
                if at_tap < plant.minimum_temperature - SMALL:
                    short += rate * seconds
                    short_seconds += seconds
            left -= seconds
    return Lifted(
        taps,
        looped,
        loop_heat,
        added,
        added_loop,
        short,
        missing,
        short_seconds,
        coldest,
        volume,
        waiting,
    )


@kernel_apart
def circulate_lifted(
    temperature: Array,
    scratch: Scratch,
    plant: Plant,
    mains: float,
    flow: float,
    loop_watts: float,
    loop_back: float,
    setpoint: float,
    times: DrawTimes,
    window: Window,
) -> tuple[Moved, float, float]:
    """Serve taps and loop through the heater in a part of a step and move the column.

    As `circulate`, with a heater between the store and the branch of the loop. The loop leaves at the lifted
    temperature, and its loss follows that; where the power does not reach, it leaves colder and comes back
    colder.

    Returns
    -------
    moved, short_seconds, coldest : Moved, float, float
        What moved, the time that taps ran short [s], and the coldest water after the heater [°C].
    """
    column, outlet = plant.column, plant.outlet[0]
    joule = RHO_CP * column.cell_volume
    seconds = window.until - window.since
    top = temperature[temperature.size - 1]
    loop = loop_loss = 0.0
    if loop_watts > 0.0:
        full = loop_watts / joule
        turns = full / (plant.loop_supply - loop_back)  # the loop's own flow
        reached = outlet if flow / seconds >= turns else top
        if reached < setpoint:
            reached = min(setpoint, reached + plant.backup_power / joule / turns)
        reach = loop_reach(plant, reached)
        loop_loss = full * reach
        loop = loop_volume(plant, reached, reach, loop_back, loop_loss)
    found = through_heater(temperature, scratch, plant, mains, flow / seconds, loop, setpoint, times, window)
    loop, loop_loss = found.loop, loop_loss * seconds
    loop_return = (found.loop_heat + found.added_loop - loop_loss) / loop if loop > 0.0 else 0.0
    # What waits on top of a store that gave water goes in after that has left.
    later = found.waiting if found.store > 0.0 else 0.0
    direct = flow - later
    out_bottom, out_top = shift(
        temperature,
        scratch,
        found.taps - direct,
        loop,
        plant.loop_port,
        mains,
        loop_return,
        outlet,
        column.mixed_cells,
    )
    if column.mixed_cells > 0:
        stir_feet(temperature, scratch, found.taps - direct, loop, plant.loop_port, column.mixed_cells)
    inlet = min(direct, found.taps) * mains + out_bottom
    leaving = out_top + min(direct, found.taps + loop) * outlet
    if later > 0.0:
        reconstruct(temperature, scratch, temperature[0])
        pushed, _ = shift(temperature, scratch, -later, 0.0, float(temperature.size), 0.0, 0.0, outlet, 0)
        inlet += pushed
    to_taps = leaving - found.loop_heat
    moved = Moved(
        heat=flow * outlet - inlet,
        inlet=inlet,
        taps=found.taps,
        taps_heat=to_taps - found.taps * mains + found.added - found.added_loop,
        loop_heat=found.loop_heat + found.added_loop - loop * loop_return,
        added=found.added,
        short=found.short,
        missing=found.missing,
    )
    return moved, found.short_seconds, found.coldest
