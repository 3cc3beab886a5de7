"""A tank of the loop's own, well mixed: beside the store, or between it and the taps."""

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import LoopTank, Plant
from hpwhsim.plant.flows import loop_reach, most_hot
from hpwhsim.plant.serve import at_outlet
from hpwhsim.plant.state import Flow, Hour, LoopState, Moved, Served
from hpwhsim.storage.layers import RHO_CP, Layers

HARD_DRAW = 0.02  # of the tank in a while; with it the year's kWh agree with that by the minute to 1e-4


@kernel
def loop_losses(plant: Plant, hour: Hour, seconds: float, held: float) -> tuple[float, float]:
    """What the loop and the tank at `held` °C lose in a while. [m³·K]"""
    loop = hour.loop_watts * seconds / RHO_CP * loop_reach(plant, held)
    return loop, plant.loop_tank.loss * seconds / RHO_CP * (held - plant.column.room)


@kernel
def tank_turns(plant: Plant, hour: Hour, loop: LoopState, use: float, top: float) -> bool:
    """Whether the tank is heated, drawn on hard, or may start its heater in a while.

    Parameters
    ----------
    plant, hour, loop
        The plant, its hour, and the tank.
    use, top : float
        Water at use temperature wanted in the while [m³]; water that would take its place [°C].
    """
    tank = plant.loop_tank
    share = use / tank.volume
    lost, stood = loop_losses(plant, hour, plant.step_seconds, loop.held)
    falls = (lost + stood) / tank.volume + share * max(loop.held - top, 0.0)
    return loop.on or share > HARD_DRAW or loop.held - falls < tank.setpoint - tank.dead_band


@kernel
def with_loop(moved: Moved, lost: float) -> Moved:
    """What moved, and what the loop lost from its own tank. [m³·K]"""
    return Moved(
        moved.heat,
        moved.inlet,
        moved.taps,
        moved.taps_heat,
        lost,
        moved.added,
        moved.short,
        moved.short_seconds,
        moved.missing,
    )


@kernel
def beside_tank(
    plant: Plant, hour: Hour, moved: Moved, loop: LoopState, seconds: float
) -> tuple[Moved, LoopState]:
    """The loop served by its own tank alone, beside what `moved` for the taps."""
    lost, stood = loop_losses(plant, hour, seconds, loop.held)
    held = loop.held - (lost + stood) / plant.loop_tank.volume
    both = with_loop(moved, lost)
    return both, LoopState(held, loop.on, stood, 0.0, 0.0)


@kernel
def head_heat(plant: Plant, layers: Layers, hour: Hour, volume: float) -> float:
    """Heat of the `volume` that leaves the top of the store; past its water comes mains water. [m³·K]"""
    low = layers.span[0]
    k, rest = at_outlet(plant, layers)
    left, heat = volume, 0.0
    while left > rest:
        heat += rest * layers.temperature[k]
        left -= rest
        k -= 1
        if k < low:
            return heat + left * hour.mains
        rest = layers.volume[k]
    return heat + left * layers.temperature[k]


@kernel
def above_mains(
    plant: Plant, layers: Layers, hour: Hour, passing: float, kept: float, taps: float
) -> tuple[float, float]:
    """Heat above mains of `taps` out of a tank into which as much flows, and the heat of that. [m³·K]

    The tank holds `kept` [m³·K] at the end but for these; of what flows in, `passing` comes straight from the
    machine. [m³]
    """
    coming = head_heat(plant, layers, hour, max(taps - passing, 0.0))
    coming += min(passing, taps) * plant.outlet[0]
    return taps * ((kept + coming) / (plant.loop_tank.volume + taps) - hour.mains), coming


@kernel
def serve_through(
    plant: Plant, layers: Layers, hour: Hour, flow: Flow, loop: LoopState, seconds: float
) -> tuple[Served, LoopState, float]:
    """What taps take from the loop's own tank in a while, the tank, and what the loop loses. [m³·K]

    The taps' hot water leaves the tank, and as much from the store (or straight from the heat pump) takes its
    place; the store's foot sees cold water only. The tank is well mixed and ends the while at the temperature
    of what leaves it (implicit, so stable for any draw); the taps take what makes their use of it. The store
    is moved by that later.
    """
    tank, mains = plant.loop_tank, hour.mains
    lost, stood = loop_losses(plant, hour, seconds, loop.held)
    use, passing = flow.use * seconds, flow.straight * seconds
    valve = most_hot(plant, mains)
    kept = tank.volume * loop.held - lost - stood
    wanted = use * max(plant.use_temperature - mains, 0.0)
    taps = valve * use if wanted > 0.0 else 0.0
    above, coming = above_mains(plant, layers, hour, passing, kept, taps)
    above -= wanted  # grows with what the taps take
    if above > 0.0:  # the valve mixes: less than all, found between none and all
        low, high, below = 0.0, taps, -wanted
        side = 0
        for _ in range(60):  # regula falsi; an end that stays twice counts half, so that it does not stay
            taps = (low * above - high * below) / (above - below)
            apart, coming = above_mains(plant, layers, hour, passing, kept, taps)
            apart -= wanted
            if abs(apart) <= 1e-10 * wanted:
                break
            if apart > 0.0:
                high, above = taps, apart
                if side > 0:
                    below *= 0.5
                side = 1
            else:
                low, below = taps, apart
                if side < 0:
                    above *= 0.5
                side = -1
    held = (kept + coming) / (tank.volume + taps)
    short = missing = short_seconds = 0.0
    if taps >= valve * use > 0.0:  # the valve stands open
        at_tap = mains + valve * (held - mains)
        missing = use * max(plant.use_temperature - at_tap, 0.0)
        if at_tap < plant.minimum_temperature:
            short, short_seconds = use, seconds
    store = max(taps - passing, 0.0)
    served = Served(
        taps, taps * (held - mains), 0.0, 0.0, store, 0.0, 0.0, short, short_seconds, missing, held
    )
    return served, LoopState(held, loop.on, stood, 0.0, 0.0), lost


@kernel_apart
def heat_tank(tank: LoopTank, loop: LoopState, seconds: float, source: float) -> LoopState:
    """Heat the tank by its thermostat for a while, with the source of its heat pump. [°C]"""
    held = loop.held
    on = held < tank.setpoint - (0.0 if loop.on else tank.dead_band)
    if not on:
        return LoopState(held, False, loop.lost, 0.0, 0.0)
    capacity, power = tank.power, tank.power
    if tank.power == 0.0:
        if source < tank.lowest:
            return LoopState(held, True, loop.lost, 0.0, 0.0)
        capacity, power, _ = look_up(tank.machine, source, held, held + tank.rise)
        if np.isnan(capacity):
            return LoopState(held, True, loop.lost, 0.0, 0.0)
    kelvin = RHO_CP * tank.volume
    share = min((tank.setpoint - held) * kelvin / (capacity * seconds), 1.0)
    heat = share * capacity * seconds
    return LoopState(held + heat / kelvin, share >= 1.0, loop.lost, heat, share * power * seconds)
