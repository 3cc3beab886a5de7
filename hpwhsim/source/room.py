"""A room that a machine draws its air from, or blows it into: one step of its heat and its water.

Heat: the simple hourly method of ISO 13790, annex C, five resistances and one capacity, by Crank and
Nicolson for any step. Air, surfaces and mass are three nodes; only the mass stores heat, so that the air
answers at once. A step is linear in the heat given to the air, and heating and cooling follow from that line.
Sun comes in through the windows to surfaces and mass.

Cooling: where outdoor air is colder and dry enough, windows are opened first. What is left the air
conditioner takes, whose coil has an apparatus dew point: air that touches it leaves saturated at that
temperature, so that the split of its heat is that of the way from the room's air to there, whatever share of
the air passes the coil by. Its fan stops with it: nothing dries off its wet coil into the room. Water goes
out after the machine's own coil took its share of the step, an error of the order of the step.

Water: one well-mixed mass of air, multiplied for what walls and furnishings buffer, by an implicit step with
the coil's condensate in it: what leaves in a step depends on the humidity at its end. Air above the ceiling
of humidity gives up the rest, to the dehumidifier where there is one, and else as dew on cold surfaces once
it is saturated. The heat of that condensation, and the dehumidifier's electricity, go to the air.

Machine: air goes round in kilograms of dry air. What leaves the room is replaced at once by as much.

- Exhaust into the room: the coil's sensible heat is taken from the air and its condensate from the water.
- Only one of intake and exhaust in the room: as much air as the machine moves is exchanged with where the
  replacement comes from (intake in the room) or where the machine draws its air (exhaust in the room). It
  is added to infiltration in full; a fan that unbalances a house displaces some of its infiltration, so
  that this is the most that make-up air can cost.

The same step without machine gives the reference room; penalties and credits are differences.

References
----------
.. [1] ISO 13790:2008, annex C. Equation C.4 was seen in public code, the rest is unverified and
   checked by an independent balance.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import CP_AIR
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.source.coil import Split, humidity_at, split
from hpwhsim.source.offer import Offer

DRIED_ENOUGH = 1e-9  # kg/kg above the ceiling of humidity that may stay
MOST_STEPS = 60


class Room(NamedTuple):
    """What stays the same through the year; made by `room_setup.make_room`."""

    to_surface: float  # air to surfaces, W/K
    to_mass: float  # surfaces to mass, W/K
    window: float  # surfaces to outdoors, W/K
    shell: float  # mass to the equivalent temperature of all opaque parts, W/K
    capacity: float  # of the mass, J/K
    supply: float  # dry air of infiltration and vents, kg/s
    vapour_mass: float  # dry air that would hold the vapour of air and buffer, kg
    pressure: float  # of the air, Pa
    heated: bool
    heat_to: float  # °C, means nothing where not heated
    most_heating: float  # W
    cooled: bool
    cool_to: float  # °C, means nothing where not cooled
    most_cooling: float  # sensible, W
    air_out_at: float  # windows are opened where the air would be warmer, °C
    coil_surface: float  # apparatus dew point of the air conditioner, °C
    coil_humidity: float  # of air saturated there, kg/kg
    coil_per_kelvin: float  # heat capacity of the air that touches it, J/kgK of dry air
    coil_per_kilogram: float  # heat of the water that it takes out, J/kg
    ceiling: float  # relative humidity: the dehumidifier's setpoint, or 1
    drying_heat: float  # to the air per water that leaves it at the ceiling, J/kg
    drying_power: float  # electricity for it, 0 without dehumidifier, J/kg
    module_flow: float  # dry air through a running module, kg/s
    bypass: float  # of its coil
    intake_here: bool  # the machine draws the room's air
    exhaust_here: bool  # the machine blows into the room


class Around(NamedTuple):
    """What the room meets hour by hour, each (hour,); made by `room_setup.make_around`."""

    shell: Array  # equivalent temperature of outdoors, ground and neighbours at the opaque parts, °C
    window: Array  # outdoors, °C
    supply: Array  # infiltration and vents, mixed, °C
    supply_humidity: Array  # kg/kg
    exchanged: Array  # what comes in for the machine while it runs, °C
    exchanged_humidity: Array  # kg/kg
    intake: Array  # what the machine draws where it does not draw the room's air, °C
    intake_humidity: Array  # kg/kg
    to_air: Array  # gains by the node that they enter, W
    to_surface: Array
    to_mass: Array
    moisture: Array  # given off in the room, kg/s
    airing: Array  # the most heat that opened windows take out of air at `Room.air_out_at`, W
    airing_flow: Array  # of outdoor air, dry, at which they take that, kg/s
    outdoor_humidity: Array  # kg/kg
    sun: Array  # that comes in at the windows, W; in the gains above but for what goes straight out again


class State(NamedTuple):
    """What a room carries from step to step."""

    mass: float  # temperature of the mass node, °C
    humidity: float  # kg/kg
    drying: float  # water taken at the ceiling of humidity in the last step, kg/s; 0 at first


class Step(NamedTuple):
    """What a step did; means over the step, `state` at its end."""

    state: State
    air: float  # °C
    heating: float  # W
    cooling: float  # sensible, of the air conditioner, W
    drying: float  # latent, of the air conditioner, W
    aired: float  # sensible, taken out by opened windows, W
    dehumidifier: float  # electricity, W
    sensible: float  # of the coil's heat, W
    condensate: float  # of the coil, wherever it stands in the air, kg in the step
    dried: float  # by the dehumidifier, or as dew on surfaces where there is none, kg in the step
    frozen: bool  # the coil was asked for more heat than the air can give
    converged: bool  # the humidity met its ceiling; heat and water close in any case
    heat_residual: float  # heat into the room less rise of its mass, W
    water_residual: float  # water into the room less rise of its humidity, kg/s


class Answer(NamedTuple):
    """The three nodes in a step with no heat to the air, and what they gain per watt."""

    mass: float  # mean over the step, °C
    surface: float  # °C
    air: float  # °C
    mass_slope: float  # K/W
    surface_slope: float  # K/W
    air_slope: float  # K/W


@kernel
def answer(room: Room, around: Around, hour: int, mass: float, exchange: float, dt: float) -> Answer:
    """Solve the three nodes for one step of `dt` seconds.

    Parameters
    ----------
    room, around, hour
        The room, what it meets, and the hour.
    mass : float
        Temperature of the mass at the start. [°C]
    exchange : float
        Dry air exchanged for the machine. [kg/s]
    dt : float
        Step. [s]
    """
    ventilation = CP_AIR * (room.supply + exchange)
    brought = CP_AIR * (room.supply * around.supply[hour] + exchange * around.exchanged[hour])
    brought += around.to_air[hour]
    passed = room.to_surface / (room.to_surface + ventilation)  # of heat at the air node, on to the surfaces
    light = ventilation * passed + room.window
    meeting = light + room.to_mass
    at_surface = around.to_surface[hour] + room.window * around.window[hour] + passed * brought
    inward = room.to_mass / meeting  # of heat at the surfaces, on to the mass
    at_mass = around.to_mass[hour] + room.shell * around.shell[hour] + inward * at_surface
    stored = room.capacity / dt
    held = stored + 0.5 * (inward * light + room.shell)
    mean = (stored * mass + 0.5 * at_mass) / held
    mean_slope = 0.5 * inward * passed / held
    surface = (room.to_mass * mean + at_surface) / meeting
    surface_slope = (room.to_mass * mean_slope + passed) / meeting
    total = room.to_surface + ventilation
    air = (room.to_surface * surface + brought) / total
    air_slope = (room.to_surface * surface_slope + 1.0) / total
    return Answer(mean, surface, air, mean_slope, surface_slope, air_slope)


@kernel
def condition(room: Room, airing: float, air: float, slope: float) -> tuple[float, float, float]:
    """Heating, sensible cooling, and heat that opened windows take out. [W]

    They bring the air from `air` °C to its setpoint as far as they can; `airing` is the most of the windows.
    """
    if room.heated and air < room.heat_to:
        return min((room.heat_to - air) / slope, room.most_heating), 0.0, 0.0
    if airing > 0.0 and air > room.air_out_at:
        asked = (air - room.air_out_at) / slope
        aired = min(asked, airing)
        return 0.0, min(asked - aired, room.most_cooling) if room.cooled else 0.0, aired
    if room.cooled and air > room.cool_to:
        return 0.0, min((air - room.cool_to) / slope, room.most_cooling), 0.0
    return 0.0, 0.0, 0.0


@kernel
def line(room: Room, airing: float, air: float, slope: float, per_heat: float, heat: float) -> Offer:
    """Air temperature over a heat taken from the room, heating and cooling included.

    Parameters
    ----------
    room : Room
        The room.
    airing : float
        The most heat that opened windows take out. [W]
    air : float
        Air with no heat taken and neither heating nor cooling. [°C]
    slope : float
        Rise of the air per heat given to it. [K/W]
    per_heat : float
        Fall of the air per heat taken. [K/W]
    heat : float
        Heat about which the line must be right. [W]

    Notes
    -----
    While neither plant runs at full power the line is bounded by the two setpoints. Where the heating could
    not hold its setpoint at `heat`, it gives all it has: the line starts that much higher and the setpoint
    bounds it from above. Cooling mirrors this. Each is exact at `heat` and on its side of it; the whole
    curve of a room with limited power has one bend more than an `Offer`.
    """
    low = room.heat_to if room.heated else -np.inf
    high, most_cooling = room.cool_to if room.cooled else np.inf, room.most_cooling
    if airing > 0.0:
        high, most_cooling = room.air_out_at, airing + (room.most_cooling if room.cooled else 0.0)
    if air - per_heat * heat + slope * room.most_heating < low:
        return Offer(air + slope * room.most_heating, per_heat, -np.inf, low, np.inf)
    if air - per_heat * heat - slope * most_cooling > high:
        return Offer(air - slope * most_cooling, per_heat, high, np.inf, np.inf)
    return Offer(air, per_heat, low, high, np.inf)


@kernel
def water_balance(
    room: Room, around: Around, hour: int, humidity: float, exchange: float, dt: float
) -> tuple[float, float]:
    """Terms of ``kept * humidity at the end = come - what is taken out``. [kg/s]"""
    stays = room.vapour_mass / dt
    come = stays * humidity + around.moisture[hour]
    come += room.supply * around.supply_humidity[hour] + exchange * around.exchanged_humidity[hour]
    return stays + room.supply + exchange, come


@kernel
def through_coil(
    room: Room,
    around: Around,
    hour: int,
    nodes: Answer,
    kept: float,
    come: float,
    flow: float,
    heat: float,
    given: float,
) -> Split:
    """Split of the coil's `heat` [W], with the room's answer to it where the coil draws the room's air.

    `given` is the other heat to the air [W], `come` the water come less what is dried out [kg/s], `flow` the
    dry air of the machine [kg/s].
    """
    if not room.intake_here:
        outside = Offer(around.intake[hour], 0.0, -np.inf, np.inf, np.inf)
        return split(heat, flow, room.bypass, room.pressure, outside, around.intake_humidity[hour], 0.0)
    contact, fall = 0.0, 0.0
    if room.exhaust_here:
        contact, fall = flow * (1.0 - room.bypass), nodes.air_slope
    airing = around.airing[hour]
    air = line(room, airing, nodes.air + nodes.air_slope * given, nodes.air_slope, fall, heat)
    water, feedback = come / (kept + contact), contact / (kept + contact)
    return split(heat, flow, room.bypass, room.pressure, air, water, feedback)


@kernel_apart
def room_offer(
    room: Room,
    around: Around,
    hour: int,
    state: State,
    dt: float,
    modules: float,
    heat: float,
    gain: float,
) -> Offer:
    """Air temperature at the machine's intake over the heat it takes in the coming step.

    Parameters
    ----------
    room, around, hour, state
        The room, what it meets, the hour, and the state at the start of the step.
    dt : float
        Step. [s]
    modules : float
        Modules that would run.
    heat : float
        Heat that they are expected to take, such as that of the last step in which they ran. [W]
    gain : float
        Heat that the plant gives to the room's air. [W]

    Returns
    -------
    Offer
        Over the whole heat taken: its slope has the sensible share of `heat`. Exact at `heat`, but for what
        the dehumidifier changes against the last step.
    """
    if not room.intake_here:
        return Offer(around.intake[hour], 0.0, -np.inf, np.inf, np.inf)
    flow = modules * room.module_flow
    exchange = 0.0 if room.exhaust_here else flow
    nodes = answer(room, around, hour, state.mass, exchange, dt)
    given = gain + room.drying_heat * state.drying
    per_heat = 0.0
    if room.exhaust_here and heat > 0.0:
        kept, come = water_balance(room, around, hour, state.humidity, exchange, dt)
        come = max(come - state.drying, 0.0)
        part = through_coil(room, around, hour, nodes, kept, come, flow, heat, given)
        per_heat = nodes.air_slope * part.sensible / heat
    airing = around.airing[hour]
    return line(room, airing, nodes.air + nodes.air_slope * given, nodes.air_slope, per_heat, heat)


@kernel
def dried_by_cooling(room: Room, air: float, cooling: float, kept: float, humidity: float) -> float:
    """Water that the air conditioner's coil takes out while it takes `cooling` W from air at `air` °C. [kg/s]

    `humidity` is what the step would end with but for that, and `kept` the dry air that holds it over the
    step [kg/s]: the air at the coil has the humidity at the step's end.
    """
    if cooling <= 0.0 or humidity <= room.coil_humidity:
        return 0.0
    touching = cooling / (room.coil_per_kelvin * (air - room.coil_surface))
    return touching * kept / (kept + touching) * (humidity - room.coil_humidity)


@kernel_apart
def room_step(
    room: Room,
    around: Around,
    hour: int,
    state: State,
    dt: float,
    modules: float,
    heat: float,
    gain: float,
) -> Step:
    """Take the room through one step; the reference room has no modules, no heat taken and no gain.

    Parameters
    ----------
    room, around, hour, state
        The room, what it meets, the hour, and the state at the start of the step.
    dt : float
        Step. [s]
    modules : float
        Mean number of modules running.
    heat : float
        Mean heat that they take from the air, at least 0. [W]
    gain : float
        Mean heat that the plant gives to the room's air: loss of tank and pipes, standby, and the fan's power
        where the air it warms ends in the room. [W]

    Notes
    -----
    The coil's split depends on heat per flow only, so means over a step give the split while running.
    """
    flow = modules * room.module_flow
    exchange = flow if room.intake_here != room.exhaust_here else 0.0
    nodes = answer(room, around, hour, state.mass, exchange, dt)
    kept, come = water_balance(room, around, hour, state.humidity, exchange, dt)

    airing, aired_flow = around.airing[hour], 0.0
    # what is dried out, from the last step's by secant and, each third time, bisection; 0 in most rooms
    drying, least, most = min(state.drying, come), -1.0, come
    last_drying = last_excess = 0.0
    for i in range(MOST_STEPS):
        given = gain + room.drying_heat * drying
        part = through_coil(room, around, hour, nodes, kept, come - drying, flow, heat, given)
        removed = part.condensate if room.exhaust_here else 0.0
        given -= part.sensible if room.exhaust_here else 0.0
        humidity = (come - drying - removed) / kept
        heating, cooling, aired = condition(
            room, airing, nodes.air + nodes.air_slope * given, nodes.air_slope
        )
        given += heating - cooling - aired
        air = nodes.air + nodes.air_slope * given
        aired_flow = around.airing_flow[hour] * aired / airing if aired > 0.0 else 0.0
        humidity += aired_flow / (kept + aired_flow) * (around.outdoor_humidity[hour] - humidity)
        taken = dried_by_cooling(room, air, cooling, kept + aired_flow, humidity)
        humidity -= taken / (kept + aired_flow)
        allowed, rise = humidity_at(air, room.ceiling, room.pressure)
        excess = humidity - allowed
        converged = abs(excess) <= DRIED_ENOUGH or (drying == 0.0 and excess < 0.0)
        if converged or i == MOST_STEPS - 1:
            break
        if excess > 0.0:
            least = drying
        else:
            most = drying
        if i == 0:
            warming = 0.0 if heating + cooling + aired > 0.0 else nodes.air_slope * room.drying_heat
            more = excess / (1.0 / kept + rise * warming)
        else:
            more = -excess * (drying - last_drying) / (excess - last_excess)
        last_drying, last_excess = drying, excess
        drying = max(drying + more, 0.0)
        if i % 3 == 2 or not least < drying < most:
            drying = max(0.5 * (least + most), 0.0)

    mean = nodes.mass + nodes.mass_slope * given
    surface = nodes.surface + nodes.surface_slope * given
    end = 2.0 * mean - state.mass
    heat_in = given + around.to_air[hour] + around.to_surface[hour] + around.to_mass[hour]
    heat_in += room.shell * (around.shell[hour] - mean) + room.window * (around.window[hour] - surface)
    heat_in += CP_AIR * room.supply * (around.supply[hour] - air)
    heat_in += CP_AIR * exchange * (around.exchanged[hour] - air)
    water_in = around.moisture[hour] - removed - drying - taken
    water_in += aired_flow * (around.outdoor_humidity[hour] - humidity)
    water_in += room.supply * (around.supply_humidity[hour] - humidity)
    water_in += exchange * (around.exchanged_humidity[hour] - humidity)
    return Step(
        state=State(end, humidity, drying),
        air=air,
        heating=heating,
        cooling=cooling,
        drying=taken * room.coil_per_kilogram,
        aired=aired,
        dehumidifier=room.drying_power * drying,
        sensible=part.sensible,
        condensate=part.condensate * dt,
        dried=drying * dt,
        frozen=part.frozen,
        converged=converged,
        heat_residual=heat_in - room.capacity * (end - state.mass) / dt,
        water_residual=water_in - room.vapour_mass * (humidity - state.humidity) / dt,
    )
