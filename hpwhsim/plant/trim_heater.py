"""A heater in the pipe that leaves the store, ahead of the branch of the loop: the backup in series.

It lifts what taps and loop take to its setpoint, as far as its power reaches over the water that flows at
that moment, and stands while none flows. The tempering valve and the branch of the loop come after it. Draws
act at their own seconds; the store's water is taken in order, hottest first, by taps and loop together.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Array, Plant
from hpwhsim.plant.draw_times import DrawTimes, Window, stretch
from hpwhsim.plant.flows import Moved, loop_reach, loop_volume, most_hot
from hpwhsim.storage.tank import RHO_CP, Scratch, drawn_heat, shift, stir_feet

SMALL = 1e-9  # s, cells or K that make no difference
SPLITS = 8  # passes for the share of water straight from the heat pump; the share settles to 1e-7 in a few


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


NOTHING = Lifted(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, np.inf)


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


@kernel
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
        Share of the water at the heater that comes straight from the heat pump.
    loop : float
        Water to the loop. [cells/s]
    setpoint : float
        Of the heater. [°C]
    times, window
        The draws, and the part of the hour.
    """
    cells, outlet = plant.column.mixed_cells, plant.outlet[0]
    most = most_hot(plant, mains)
    taps = looped = loop_heat = added = added_loop = short = missing = short_seconds = 0.0
    coldest = np.inf
    volume = taken = 0.0  # from the store so far, and the heat in it
    at, now = window.at, window.since
    while now < window.until:
        end, rate, at = stretch(times, window, at, now, plant.column.cell_volume)
        left = end - now
        now = end
        if plant.use_temperature <= mains:
            rate = 0.0
        if rate <= 0.0 and loop <= 0.0:
            continue
        while left > SMALL:
            seconds = left
            part = 1.0 if volume == 0.0 else 1e-3
            entering = hot = to_taps = reached = 0.0
            for _ in range(5):
                reached = drawn_heat(temperature, scratch, volume + part, mains, cells)
                entering = (reached - taken) / part
                exhausted = volume > temperature.size and abs(entering - mains) < SMALL
                entering = straight * outlet + (1.0 - straight) * entering
                hot, to_taps = lift(plant, rate, mains, most, loop, entering, setpoint)
                flow = (to_taps + loop) * (1.0 - straight)
                before, seconds = part, left
                if flow * left > 1.0 and not exhausted:  # a cell at a time
                    seconds = 1.0 / flow
                part = flow * seconds
                if part <= 1e-12 or abs(part - before) <= 1e-9 * part:
                    break
            if part <= 1e-12:
                reached, part = taken, 0.0
            else:  # the heat of just the water that is taken
                reached = drawn_heat(temperature, scratch, volume + part, mains, cells)
                entering = straight * outlet + (1.0 - straight) * (reached - taken) / part
                if entering < setpoint:
                    power = plant.backup_power / (RHO_CP * plant.column.cell_volume)
                    hot = min(setpoint, entering + power / (to_taps + loop))
                else:
                    hot = entering
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
    return Lifted(taps, looped, loop_heat, added, added_loop, short, missing, short_seconds, coldest)


@kernel
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

    As `circulate`, with a heater between the store and the branch of the loop. What comes straight from the
    heat pump is mixed evenly into what flows. The loop leaves at the lifted temperature, and its loss follows
    that; where the power does not reach, it leaves colder and comes back colder.

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
        reached = outlet if flow > 0.0 and outlet > top else top
        full = loop_watts / joule
        if reached < setpoint:
            turns = full / (plant.loop_supply - loop_back)  # the loop's own flow
            reached = min(setpoint, reached + plant.backup_power / joule / turns)
        reach = loop_reach(plant, reached)
        loop_loss = full * reach
        loop = loop_volume(plant, reached, reach, loop_back, loop_loss)
    share, found = 0.0, NOTHING
    for _ in range(SPLITS):
        found = through_heater(temperature, scratch, plant, mains, share, loop, setpoint, times, window)
        whole, before = found.taps + found.loop, share
        share = min(flow / whole, 1.0) if whole > 0.0 else 0.0
        if abs(share - before) <= 1e-7:
            break
    loop, loop_loss = found.loop, loop_loss * seconds
    loop_return = (found.loop_heat + found.added_loop - loop_loss) / loop if loop > 0.0 else 0.0
    out_bottom, out_top = shift(
        temperature,
        scratch,
        found.taps - flow,
        loop,
        plant.loop_port,
        mains,
        loop_return,
        outlet,
        column.mixed_cells,
    )
    if column.mixed_cells > 0:
        stir_feet(temperature, scratch, found.taps - flow, loop, plant.loop_port, column.mixed_cells)
    inlet = min(flow, found.taps) * mains + out_bottom
    leaving = out_top + min(flow, found.taps + loop) * outlet
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
