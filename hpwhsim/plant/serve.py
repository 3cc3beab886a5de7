"""Taps and loop take their water: from the top of the store, straight from the heat pump, through a heater.

What comes straight from the heat pump is used as it comes; what is not used yet waits on top of the store. A
backup in series stands in the pipe that leaves the store, ahead of the branch of the loop: it lifts what taps
and loop take to its setpoint, as far as its power reaches over the water that flows at that moment. The
tempering valve comes after it. Each layer of the store is water of one temperature, so that what a layer
serves is found at once.
"""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Plant
from hpwhsim.plant.draw_times import DrawTimes, Window, stretch
from hpwhsim.plant.flows import loop_reach, mixed, most_hot
from hpwhsim.plant.state import Flow, Hour, Moved, Served
from hpwhsim.storage.layers import RHO_CP, Layers, add_head, take_above, take_foot, take_head
from hpwhsim.storage.order import insert
from hpwhsim.storage.still import enter, stir_feet

SMALL = 1e-9  # s or K that make no difference
NOTHING = 1e-15  # m³


@kernel
def at_outlet(plant: Plant, layers: Layers) -> tuple[int, float]:
    """Place of the layer at the height where taps and loop draw, and how much of it lies below. [m³]"""
    low = layers.span[0]
    k = low + layers.span[1] - 1
    rest = layers.volume[k]
    if plant.draw_port < plant.column.volume:
        above = plant.column.volume - plant.draw_port
        while k > low and rest <= above:
            above -= rest
            k -= 1
            rest = layers.volume[k]
        rest -= above
    return k, rest


@kernel
def lifted(plant: Plant, hour: Hour, flow: Flow, entering: float, gain: float) -> tuple[float, float]:
    """Temperature after the heater [°C] and hot water to the taps [m³/s], while water flows steadily.

    Parameters
    ----------
    plant, hour
        The plant, and its hour.
    flow : Flow
        Water wanted at use temperature, and that to the loop.
    entering : float
        Water of the store. [°C]
    gain : float
        What water straight from the heat pump has more than that, or less. [m³·K/s]

    Notes
    -----
    The valve mixes to use temperature: ``taps (hot - mains) = use (use temperature - mains)``. Where the
    power does not reach, ``hot = entering + power / (taps + loop)``.
    """
    mains = hour.mains
    wanted = flow.use * max(plant.use_temperature - mains, 0.0)
    most = most_hot(plant, mains) * flow.use if wanted > 0.0 else 0.0
    taps = mixed(wanted, most, flow.loop, entering - mains, gain)
    hot = entering
    if gain != 0.0 and taps + flow.loop > 0.0:
        hot += gain / (taps + flow.loop)
    if hot >= hour.lifts_to:
        return hot, taps
    power = gain + plant.backup_power / RHO_CP
    taps = min(most, wanted / (hour.lifts_to - mains)) if hour.lifts_to > mains else most
    if (taps + flow.loop) * (hour.lifts_to - entering) <= power:
        return hour.lifts_to, taps
    taps = mixed(wanted, most, flow.loop, entering - mains, power)
    return entering + power / (taps + flow.loop), taps


@kernel
def serve(plant: Plant, layers: Layers, hour: Hour, flow: Flow, times: DrawTimes, window: Window) -> Served:
    """What taps and loop take in a window, its draws one after the other; nothing is moved yet.

    Parameters
    ----------
    plant, layers, hour
        The plant, its store and its hour.
    flow : Flow
        Straight from the heat pump, and to the loop.
    times, window
        The draws, and the while in which they are served.
    """
    outlet, straight = plant.outlet[0], flow.straight
    valve = most_hot(plant, hour.mains)
    low = layers.span[0]
    k, rest = at_outlet(plant, layers)
    here = layers.temperature[k]
    taps = taps_heat = looped = loop_heat = store = waiting = added = 0.0
    short = short_seconds = missing = 0.0
    coldest = np.inf
    at, now = window.at, window.since
    while now < window.until:
        end, rate, at = stretch(times, window, at, now)
        left = end - now
        now = end
        if plant.use_temperature <= hour.mains:
            rate = 0.0
        if rate <= 0.0 and flow.loop <= 0.0:
            waiting += straight * left
            continue
        asked = Flow(rate, 0.0, straight, 0.0, flow.loop)
        while left > SMALL:
            seconds = left
            entering = outlet
            of_store = 0.0
            beyond = 1.0
            if straight > 0.0:
                hot, to_taps = lifted(plant, hour, asked, outlet, 0.0)
                beyond = to_taps + flow.loop - straight
                if beyond <= 0.0:
                    waiting -= beyond * left
                elif waiting > NOTHING:
                    seconds = min(left, waiting / beyond)
                    waiting = max(waiting - beyond * seconds, 0.0)
                    beyond = 0.0
            if beyond > 0.0:
                hot, to_taps = lifted(plant, hour, asked, here, straight * (outlet - here))
                of_store = max(to_taps + flow.loop - straight, 0.0)
                if of_store * seconds > rest:
                    seconds = rest / of_store
                share = min(straight / (to_taps + flow.loop), 1.0) if straight > 0.0 else 0.0
                entering = here + share * (outlet - here)
                rest -= of_store * seconds
                store += of_store * seconds
            taps += to_taps * seconds
            taps_heat += to_taps * seconds * (hot - hour.mains)
            looped += flow.loop * seconds
            loop_heat += flow.loop * seconds * hot
            if hour.lifts_to > -np.inf:
                added += (to_taps + flow.loop) * seconds * max(hot - entering, 0.0)
            coldest = min(coldest, hot)
            if rate > 0.0 and to_taps >= valve * rate:  # the valve stands open
                at_tap = hour.mains + valve * (hot - hour.mains)
                missing += rate * seconds * max(plant.use_temperature - at_tap, 0.0)
                if at_tap < plant.minimum_temperature - SMALL:
                    short += rate * seconds
                    short_seconds += seconds
            left -= seconds
            if rest <= NOTHING:
                k -= 1
                if k >= low:
                    rest, here = layers.volume[k], layers.temperature[k]
                else:
                    rest, here = np.inf, hour.mains
    return Served(
        taps, taps_heat, looped, loop_heat, store, waiting, added, short, short_seconds, missing, coldest
    )


@kernel
def move(plant: Plant, layers: Layers, hour: Hour, flow: Flow, served: Served, seconds: float) -> Moved:
    """Move the store by what was served in a window of `seconds`: mains in, loop back, the charge down."""
    column, outlet = plant.column, plant.outlet[0]
    passing = flow.straight * seconds
    if served.store > 0.0:
        if plant.draw_port >= column.volume:
            take_head(layers, served.store)
        else:
            take_above(layers, plant.draw_port - served.store, served.store)
    loop_lost = 0.0
    if served.loop > 0.0:
        supply = served.loop_heat / served.loop
        loop_lost = hour.loop_watts / RHO_CP * loop_reach(plant, supply) * seconds
        back = (served.loop_heat - loop_lost) / served.loop
        port = min(plant.loop_port, plant.draw_port - served.store)
        insert(layers, port, served.loop, back, column.tanks == 1)
    # What waits on top of a store that gave water goes in after that has left.
    later = served.waiting if served.store > 0.0 else 0.0
    direct = passing - later
    rise = served.taps - direct
    out_foot = 0.0
    if rise > 0.0:
        enter(layers, column, rise, hour.mains)
        if column.tanks > 1 and column.stirred > 0.0:
            stir_feet(layers, column, rise, served.loop, plant.loop_port)
    elif rise < 0.0:
        out_foot = take_foot(layers, -rise)
    surplus = direct - served.taps - served.loop + served.store
    if surplus > NOTHING:
        add_head(layers, surplus, outlet)
    if later > 0.0:
        out_foot += take_foot(layers, later)
        add_head(layers, later, outlet)
    inlet = min(direct, served.taps) * hour.mains + out_foot
    return Moved(
        heat=passing * outlet - inlet,
        inlet=inlet,
        taps=served.taps,
        taps_heat=served.taps_heat,
        loop_heat=loop_lost,
        added=served.added,
        short=served.short,
        short_seconds=served.short_seconds,
        missing=served.missing,
    )
