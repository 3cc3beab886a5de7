"""The warmest source that any schedule could meet, hour by hour: what a bound may count on.

Heat that a machine takes cools its source, now and later, and nothing it does warms it but its own losses:

* *Outdoor air*, and air that a machine draws from elsewhere than its room, do not depend on the schedule.
* *Ground.* The wall is that of a field from which no heat was ever taken, in all years, warmed by what
  others reject and by a loop pump that runs all the time. From there to the machine the heat that it takes
  at the least counts (`meet`).
* *Wet well.* Its water is that of a well from which no heat was taken, the warmest of the hour; from there
  to the machine as above. A *sewer* passes by and does not depend on the past.
* *Room.* Its twin without machine, in which the plant's losses are as large as they can be: a store as hot
  as it gets in air as cold as it gets, standby, fans and pumps of all modules. Walls and humid air answer in
  one direction to heat and to water (for steps short against the walls), so that no schedule's room is
  warmer; make-up air counts where it warms or moistens. What the coil takes in the same step is left out,
  on the safe side. Two things are reasoned, not proved: power without heat at starts is no gain to the room,
  since it costs more than its warmth brings back; and heat of condensation, which reaches `room_offer` a step
  late, adds up to nothing over the steps.

The met temperature falls as the heat taken grows, and that is linear in the inlet between the points of the
map: its warmest is found at these points, for each number of modules and both ends of the outlet.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Array, Drive, Plant, SourceKind, WaterSide
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.heat_source import meet
from hpwhsim.plant.running import machine_now
from hpwhsim.source.coil import CP_AIR
from hpwhsim.source.ground_loop import History, book_hour, loop_offer, make_history, wall_drop
from hpwhsim.source.offer import Offer
from hpwhsim.source.room import Around, Room, State, Step, room_step
from hpwhsim.source.wastewater import sewer_offer, well_offer, well_step

CLEAN = 1.0, 1.0  # what frost costs a water source
SAME_K, SAME_HUMIDITY = 0.01, 1e-6  # K and kg/kg, that close make-up air is found that changes nothing
MOST_TRIES = 60


class Warmest(NamedTuple):
    """What no schedule can better; each (hour,) unless said."""

    met: Array  # source temperature, °C
    exact: bool  # the source is met just so; else it may be colder
    around: Array  # air around the store, °C
    around_least: float  # the coldest that it may be in the year, °C
    coldest: float  # water: mains, or what colder air may make of it, °C


def warmest(assembly: Assembly, hottest: float, years: int) -> Warmest:
    """The warmest source and surroundings in the last of `years` years.

    Parameters
    ----------
    assembly : Assembly
        The plant before its march; nothing in it is changed.
    hottest : float
        Of all water in the plant. [°C]
    years : int
        That the plant runs.
    """
    plant, drive = assembly.plant, assembly.drive
    kind, room = plant.sources.kind, plant.sources.room
    around, least = np.full(drive.source.size, plant.column.room), plant.column.room
    if kind == SourceKind.ROOM:
        least, around = _room(assembly, hottest)
    coldest = min(float(drive.mains.min()), least)
    if kind == SourceKind.OUTDOOR_AIR:
        return Warmest(drive.source, True, around, least, coldest)
    if kind == SourceKind.ROOM:
        met = around if room.intake_here else drive.source
        return Warmest(met, not room.intake_here, around, least, coldest)
    met = np.full(drive.source.size, -np.inf)
    inlets, outlets = _inlets(plant, coldest), np.unique([drive.outlet.min(), drive.outlet.max()])
    if kind == SourceKind.GROUND_LOOP:
        pump = float(plant.sources.loop.pump.max())
        _ground(plant, drive, make_history(plant.sources.field, years), years, pump, inlets, outlets, met)
    else:
        start = float(assembly.state.well[0])
        free, slope = np.empty(plant.modules + 1), np.empty(plant.modules + 1)
        _sewage(kind == SourceKind.WET_WELL, plant, drive, start, inlets, outlets, free, slope, met)
    return Warmest(met, False, around, least, coldest)


def _inlets(plant: Plant, coldest: float) -> Array:
    """Inlets at which the heat taken may be least: those of the map, from the coldest water up. [°C]"""
    axis = plant.machine.water_in_c
    if plant.machine.water_out_c.size > 1 and plant.water_side != WaterSide.SINGLE:
        axis = np.union1d(axis, plant.machine.water_out_c - plant.rise)  # the outlet follows the inlet
    return np.append(coldest, axis[axis > coldest])


@kernel
def _warmest_met(plant: Plant, offer: Offer, modules: int, inlets: Array, outlets: Array) -> float:
    """Warmest temperature at which `modules` modules and `offer` agree; -inf where they cannot work. [°C]"""
    most = -np.inf
    for outlet in outlets:
        plant.outlet[0] = outlet
        for inlet in inlets:
            found, _ = meet(machine_now(plant), offer, inlet, float(modules), CLEAN)
            if found > most:  # NaN is not
                most = found
    return most


@kernel
def _ground(
    plant: Plant,
    drive: Drive,
    history: History,
    years: int,
    pump: float,
    inlets: Array,
    outlets: Array,
    met: Array,
) -> None:
    """Fill `met` [°C] from a field that only ever got heat, `pump` W of it all year from its pumps."""
    field, loop = plant.sources.field, plant.sources.loop
    before = plant.outlet[0]
    for year in range(years):
        for hour in range(met.size):
            drop = wall_drop(field, history)
            if year == years - 1:
                for modules in range(1, plant.modules + 1):
                    offer = loop_offer(loop, field, drop, modules, drive.rejected[hour])
                    met[hour] = max(met[hour], _warmest_met(plant, offer, modules, inlets, outlets))
            book_hour(history, -pump - drive.rejected[hour])
    plant.outlet[0] = before


@kernel
def _sewage(
    well: bool,
    plant: Plant,
    drive: Drive,
    start: float,
    inlets: Array,
    outlets: Array,
    free: Array,
    slope: Array,
    met: Array,
) -> None:
    """Fill `met` [°C] from a wet well that starts at `start` °C, or from a sewer.

    `free` and `slope` are work space for the best offers to each number of modules.
    """
    source, dt, before = plant.sources.well, plant.step_seconds, plant.outlet[0]
    per_hour = drive.sewage.size // met.size
    now = start
    for hour in range(met.size):
        free[:], slope[:] = -np.inf, np.inf
        for step in range(hour * per_hour, (hour + 1) * per_hour):
            inflow, warm, left = drive.sewage[step], drive.sewage_temperature[step], drive.exchange[hour]
            for modules in range(1, plant.modules + 1):
                running = float(modules)
                if well:
                    offer = well_offer(source, now, inflow, warm, left, running, plant.modules, dt)
                else:
                    exchanger, floor = source.exchanger, source.floor
                    offer = sewer_offer(exchanger, floor, inflow, warm, left, running, plant.modules, dt)
                if offer.most > 0.0:
                    free[modules] = max(free[modules], offer.free)
                    slope[modules] = min(slope[modules], offer.slope)
            if well:
                now, _, _ = well_step(source, now, inflow, warm, 0.0, dt)
        for modules in range(1, plant.modules + 1):
            if free[modules] > -np.inf:
                offer = Offer(free[modules], slope[modules], -np.inf, free[modules], np.inf)
                met[hour] = max(met[hour], _warmest_met(plant, offer, modules, inlets, outlets))
    plant.outlet[0] = before


def _room(assembly: Assembly, hottest: float) -> tuple[float, Array]:
    """Coldest air of the room in the year, and the warmest in each hour. [°C]"""
    plant, drive, state = assembly.plant, assembly.drive, assembly.state
    room, dt = plant.sources.room, plant.step_seconds
    around = drive.around._replace(
        exchanged=drive.around.exchanged.copy(), exchanged_humidity=drive.around.exchanged_humidity.copy()
    )
    loss = plant.column.loss
    loss += plant.loop_tank.loss if plant.loop_tank.volume > 0.0 else 0.0
    steady = plant.standby_power + plant.crankcase_power + plant.pump_power
    steady += plant.fan_power if room.exhaust_here else 0.0
    air = np.empty(drive.source.size)
    start = State(state.reference[0], state.reference[1], state.reference[2])
    per_hour = drive.looks
    _twin(room, around, start, dt, per_hour, 0.0, 0.0, air)
    coldest = _coldest_air(plant, drive, float(air.min()))
    gain = loss * max(hottest - coldest, 0.0) + plant.modules * steady
    _twin(room, around, start, dt, per_hour, float(plant.modules), gain, air)
    return coldest, air


def _coldest_air(plant: Plant, drive: Drive, without: float) -> float:
    """Coldest air of a room that is no colder than `without` where nothing cools it. [°C]

    A heated room keeps its setpoint. A machine that draws the room's air stands when that is too cold for it;
    one that blows air from elsewhere into the room makes it no colder than that air after the coil; and a
    room that gives its air away gets its make-up air.
    """
    room = plant.sources.room
    if room.heated and room.most_heating == np.inf:
        return room.heat_to
    if room.intake_here and room.exhaust_here:
        return min(without, plant.lowest_source)
    if room.intake_here:
        return min(without, plant.lowest_source, float(drive.around.exchanged.min()))
    taken = float(np.nanmax(plant.machine.capacity_w - plant.machine.power_w))
    return min(without, float(drive.around.intake.min()) - taken / (CP_AIR * room.module_flow))


@kernel
def _twin(
    room: Room,
    around: Around,
    state: State,
    dt: float,
    per_hour: int,
    modules: float,
    gain: float,
    air: Array,
) -> None:
    """Fill `air` [°C], the warmest step of each hour and the last one before it, of a room given `gain` W."""
    last = -np.inf
    for hour in range(air.size):
        air[hour] = last
        for _ in range(per_hour):
            found = _warm_step(room, around, hour, state, dt, modules, gain)
            state, last = found.state, found.air
            air[hour] = max(air[hour], last)


@kernel
def _warm_step(
    room: Room, around: Around, hour: int, state: State, dt: float, modules: float, gain: float
) -> Step:
    """One step with make-up air for 0 to `modules` modules, whichever makes the room warmer and more humid.

    Air of `modules` modules is exchanged, with temperature and humidity raised to those of the room that it
    makes: then it takes nothing out, and no smaller flow could bring in more. Fields of `around` are changed.
    """
    alone = room_step(room, around, hour, state, dt, 0.0, 0.0, gain)
    if room.intake_here == room.exhaust_here or modules == 0.0:
        return alone
    warm, damp = around.exchanged[hour], around.exchanged_humidity[hour]
    around.exchanged[hour] = max(warm, alone.air)
    around.exchanged_humidity[hour] = max(damp, alone.state.humidity)
    found = alone
    for _ in range(MOST_TRIES):
        found = room_step(room, around, hour, state, dt, modules, 0.0, gain)
        warmer = found.air - around.exchanged[hour]
        damper = found.state.humidity - around.exchanged_humidity[hour]
        if warmer <= SAME_K and damper <= SAME_HUMIDITY:
            break
        around.exchanged[hour] += 2.0 * max(warmer, 0.0)
        around.exchanged_humidity[hour] += 2.0 * max(damper, 0.0)
    around.exchanged[hour], around.exchanged_humidity[hour] = warm, damp
    return found
