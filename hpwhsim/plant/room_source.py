"""A machine's room as the march reads it: zone, air paths, soil, neighbours, and how it starts."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation, humidity_ratio_from_relative
from hpwhsim.climate.window_sun import FACING, window_sun
from hpwhsim.constants import HOURS
from hpwhsim.plant.arrays import FrostTable, SourceKind
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.plant.plain_source import (
    FROST_FROM,
    FROST_HUMIDITIES,
    FROST_TO,
    PRACTICE,
    SOIL_DEPTH,
    SOIL_DIFFUSIVITY,
    Sourced,
    at_rest,
    coil_frost,
    say,
)
from hpwhsim.plant.room_coil import airflow_of
from hpwhsim.scenario.room import AIR_PER_KW, HEATING_EFFICIENCY, HOME_AREA
from hpwhsim.scenario.room import Room as RoomBlock
from hpwhsim.scenario.schema import Scenario
from hpwhsim.source.neighbours import Neighbours, make_neighbours
from hpwhsim.source.room_setup import (
    Air,
    AirPath,
    Place,
    Zone,
    coil_surface,
    make_around,
    make_room,
    room_kind,
)

if TYPE_CHECKING:
    import xarray as xr

GLASS_LOSS = 2.5  # W/m²K, of windows whose area is given and whose loss is not; common practice, no source
PLACES = {
    "room": Place.ROOM,
    "outdoors": Place.OUTDOORS,
    "neighbours": Place.NEIGHBOUR,
    "elsewhere": Place.ELSEWHERE,
}


AIRFLOW_SOURCE = f"{AIR_PER_KW} of coil heat; {PRACTICE}"


def module_airflow(block: RoomBlock, made: Made) -> float:
    """Air that a running module moves, as given or usual. [m³/s]"""
    return airflow_of(block, made.source_heat)


def room_source(
    scenario: Scenario,
    block: RoomBlock,
    made: Made,
    outdoors: Air,
    pressure: Array,
    plain: Sourced,
    found: list[Assumption],
    weather: "xr.Dataset",
) -> Sourced:
    """A room as source; `plain` holds what it has of no other kind."""
    zone = _zone(block, found)
    airflow = module_airflow(block, made)
    if block.airflow is None:
        say(found, "room.airflow", f"{airflow:.3g} m3/s", AIRFLOW_SOURCE)
    path = AirPath(airflow, block.bypass, PLACES[block.intake], PLACES[block.exhaust], PLACES[block.make_up])
    mean_pressure = float(pressure.mean())
    room = make_room(zone, path, mean_pressure)
    hours = np.arange(HOURS)
    wave = surface_wave(np.asarray(outdoors.temperature))
    soil = ground_temperature(SOIL_DEPTH, hours / 24.0, *wave, SOIL_DIFFUSIVITY)
    sun = window_sun(weather)
    homes = _homes(scenario, block, outdoors, sun, mean_pressure, found)
    neighbour = _neighbour(block, homes, mean_pressure)
    further = block.elsewhere_temperature
    elsewhere = _air(20.0 if further is None else further, block.elsewhere_humidity, mean_pressure)
    glass = block.facing or dict.fromkeys(FACING, zone.window_area / len(FACING))
    solar = _through(block, {name: area * sun[name] for name, area in glass.items()})
    around = make_around(zone, path, outdoors, soil, neighbour, elsewhere, solar, mean_pressure)
    intake = {Place.OUTDOORS: outdoors, Place.NEIGHBOUR: neighbour, Place.ELSEWHERE: elsewhere}.get(
        path.intake, outdoors
    )
    drawn = Air(
        np.broadcast_to(intake.temperature, (HOURS,)).astype(np.float64),
        np.broadcast_to(intake.humidity, (HOURS,)).astype(np.float64),
    )
    rows = np.arange(FROST_FROM, FROST_TO + 0.5)
    shares = np.linspace(0.0, 1.0, FROST_HUMIDITIES)
    grid = shares * humidity_ratio_at_saturation(rows, mean_pressure)[:, None]
    frost = coil_frost(scenario, made, Air(rows[:, None], grid), np.full((1, 1), mean_pressure))
    start = 20.0 if zone.heat_to is None else zone.heat_to
    if zone.heat_to is None:  # near what the room floats to: weighted by its conductances
        start = _floating(zone, outdoors, soil, float(np.mean(np.asarray(neighbour.temperature)[:744])))
    state = at_rest()
    damp = float(humidity_ratio_from_relative(start, 0.5, mean_pressure))
    state.room[:] = state.reference[:] = start, damp, 0.0
    state.coil[0] = made.source_heat
    state.air[0] = start
    return plain._replace(
        sources=plain.sources._replace(
            kind=int(SourceKind.ROOM),
            room=room,
            frost=FrostTable(FROST_FROM, 1.0, frost.capacity, frost.power, frost.drawn_back),
        ),
        state=state,
        drawn=np.asarray(drawn.temperature),
        frost=coil_frost(scenario, made, drawn, pressure),
        around=around,
        to_neighbours=(
            room.shell * zone.neighbours / max(zone.outdoors + zone.ground + zone.neighbours, 1e-9),
            1200.0 * mean_pressure / 101325.0 * zone.vent,
        ),
        neighbours=homes,
    )


def _homes(
    scenario: Scenario,
    block: RoomBlock,
    outdoors: Air,
    sun: dict[str, Array],
    pressure: float,
    found: list[Assumption],
) -> Neighbours:
    """The neighbouring spaces in this weather."""
    area = block.neighbour_floor_area
    if area is None:
        area = HOME_AREA * scenario.building.apartments
        say(
            found,
            "room.neighbour_floor_area",
            f"{area:g} m2",
            f"{HOME_AREA:g} m2 for each apartment; {PRACTICE}",
        )
    usual = room_kind("apartment")
    even = usual.window_area / usual.floor_area / len(FACING)
    solar = _through(block, {name: even * values for name, values in sun.items()})
    return make_neighbours(
        area,
        outdoors,
        solar,
        pressure,
        heat_to=None if block.neighbour_heating == "none" else block.neighbours_heated_to,
        cool_to=None if block.neighbour_cooling == "none" else block.neighbour_cooling_setpoint,
    )


def _through(block: RoomBlock, on: dict[str, Array]) -> Array:
    """What comes in of the sun on the glass."""
    return np.asarray(block.window_solar_gain * (1.0 - block.window_shading) * sum(on.values()))


def _neighbour(block: RoomBlock, homes: Neighbours, pressure: float) -> Air:
    """Air behind partitions and grilles, hour by hour."""
    warm, humidity = homes.air, homes.humidity
    if block.neighbour_temperature is not None:
        warm = np.full(HOURS, block.neighbour_temperature)
        humidity = np.minimum(humidity, humidity_ratio_at_saturation(warm, pressure))
    if block.neighbour_humidity is not None:
        humidity = humidity_ratio_from_relative(warm, block.neighbour_humidity, pressure)
    return Air(warm, humidity)


def _air(temperature: float, relative: float, pressure: float) -> Air:
    return Air(temperature, humidity_ratio_from_relative(temperature, relative, pressure))


def _floating(zone: Zone, outdoors: Air, soil: Array, neighbours: float) -> float:
    """Temperature near which an unheated room starts the year: its surroundings in January, weighted."""
    january = slice(0, 744)
    leaks = 1200.0 * zone.air_changes * zone.volume / 3600.0
    out = zone.outdoors + zone.windows + leaks
    inside = zone.neighbours + 1200.0 * zone.vent
    total = out + inside + zone.ground
    if total == 0.0:
        return neighbours
    held = out * float(np.mean(np.asarray(outdoors.temperature)[january]))
    held += zone.ground * float(soil[january].mean()) + inside * neighbours + zone.gain
    return held / total


def _zone(block: RoomBlock, found: list[Assumption]) -> Zone:
    """The room: what the modeler wrote, and for the rest what is usual for its kind."""
    usual = room_kind(block.kind, block.floor_area)
    if block.height is not None:
        usual = replace(usual, volume=block.height * usual.floor_area)
    glass = None if block.facing is None else sum(block.facing.values())
    if glass is not None and block.window_loss is None:
        usual = replace(usual, windows=GLASS_LOSS * glass)
    given: dict[str, Any] = {
        "mass_class": block.mass,
        "outdoors": block.loss_to_outdoors,
        "windows": block.window_loss,
        "ground": block.loss_to_ground,
        "neighbours": block.loss_to_neighbours,
        "air_changes": block.air_changes,
        "vent": block.vent_flow,
        "gain": block.gains,
        "moisture": block.moisture,
        "window_area": glass,
        "airing": block.airing,
    }
    units = ("", " W/K", " W/K", " W/K", " W/K", " 1/h", " m3/s", " W", " kg/s", " m2", " 1/h")
    keys = (
        "mass",
        "loss_to_outdoors",
        "window_loss",
        "loss_to_ground",
        "loss_to_neighbours",
        "air_changes",
        "vent_flow",
        "gains",
        "moisture",
        "window_area",
        "airing",
    )
    origin = f"usual for a {block.kind} (invented); {PRACTICE}"
    for (name, value), key, unit in zip(given.items(), keys, units, strict=True):
        if value is None:
            held = getattr(usual, name)
            why = origin
            if key == "window_loss" and glass is not None:
                why = f"{GLASS_LOSS:g} W/m2K of the glass given; {PRACTICE}"
            say(found, f"room.{key}", f"{held}" if unit == "" else f"{held:.4g}{unit}", why)
    if block.floor_area is None:
        say(found, "room.floor_area", f"{usual.floor_area:g} m2", origin)
    if block.height is None:
        say(found, "room.height", f"{usual.volume / usual.floor_area:.3g} m", origin)
    heats, cools = block.heated_by != "none", block.cooled_by != "none"
    if block.heating is None:
        say(found, "room.heating", block.heated_by, origin)
    if block.cooling is None:
        say(found, "room.cooling", block.cooled_by, origin)
    if heats and block.heating_efficiency is None:
        say(found, "room.heating_efficiency", f"{HEATING_EFFICIENCY[block.heated_by]:g}", PRACTICE)
    heat_to = (block.heating_setpoint or usual.heat_to or 20.0) if heats else None
    cool_to = (block.cooling_setpoint or usual.cool_to or 26.0) if cools else None
    if heats and block.heating_setpoint is None:
        say(found, "room.heating_setpoint", f"{heat_to:g} degC", origin)
    if cools and block.cooling_setpoint is None:
        say(found, "room.cooling_setpoint", f"{cool_to:g} degC", origin)
    coil = coil_surface(26.0 if cool_to is None else cool_to)
    if cools and block.cooling_coil is None:
        say(
            found,
            "room.cooling_coil",
            f"{coil:g} degC",
            f"sensible share 0.75 at the usual rating; {PRACTICE}",
        )
    changed = {name: value for name, value in given.items() if value is not None}
    return replace(
        usual,
        **changed,
        heat_to=heat_to,
        heating_power=np.inf,
        cool_to=cool_to,
        cooling_power=np.inf,
        coil_surface=coil if block.cooling_coil is None else block.cooling_coil,
        dry_to=block.dehumidifier_setpoint,
        drying_efficiency=block.dehumidifier_efficiency,
    )
