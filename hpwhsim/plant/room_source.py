"""A machine's room as the march reads it: zone, air paths, soil, neighbours, and how it starts."""

from dataclasses import replace
from typing import Any

import numpy as np

from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation, humidity_ratio_from_relative
from hpwhsim.plant.arrays import Array, FrostTable, SourceKind
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
from hpwhsim.scenario.schema import Room as RoomBlock
from hpwhsim.scenario.schema import Scenario
from hpwhsim.source.room_setup import Air, AirPath, Place, Zone, make_around, make_room, room_kind

HOURS = 8760
PLACES = {
    "room": Place.ROOM,
    "outdoors": Place.OUTDOORS,
    "neighbours": Place.NEIGHBOUR,
    "elsewhere": Place.ELSEWHERE,
}


AIRFLOW_SOURCE = f"0.07 m3/s per kW of coil heat; {PRACTICE}"


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
    neighbour = _air(block.neighbour_temperature, block.neighbour_humidity, mean_pressure)
    further = block.elsewhere_temperature
    elsewhere = _air(20.0 if further is None else further, block.elsewhere_humidity, mean_pressure)
    around = make_around(zone, path, outdoors, soil, neighbour, elsewhere)
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
        start = _floating(zone, outdoors, soil, block.neighbour_temperature)
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
    )


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
    }
    units = ("", " W/K", " W/K", " W/K", " W/K", " 1/h", " m3/s", " W", " kg/s")
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
    )
    origin = f"usual for a {block.kind} (invented); {PRACTICE}"
    for (name, value), key, unit in zip(given.items(), keys, units, strict=True):
        if value is None:
            held = getattr(usual, name)
            say(found, f"room.{key}", f"{held}" if unit == "" else f"{held:.4g}{unit}", origin)
    if block.floor_area is None:
        say(found, "room.floor_area", f"{usual.floor_area:g} m2", origin)
    if block.height is None:
        say(found, "room.height", f"{usual.volume / usual.floor_area:.3g} m", origin)
    heats = (block.heating or ("resistance" if usual.heat_to is not None else "none")) != "none"
    cools = (block.cooling or ("air-conditioner" if usual.cool_to is not None else "none")) != "none"
    heat_to = (block.heating_setpoint or usual.heat_to or 20.0) if heats else None
    cool_to = (block.cooling_setpoint or usual.cool_to or 26.0) if cools else None
    if heats and block.heating_setpoint is None:
        say(found, "room.heating_setpoint", f"{heat_to:g} degC", origin)
    if cools and block.cooling_setpoint is None:
        say(found, "room.cooling_setpoint", f"{cool_to:g} degC", origin)
    changed = {name: value for name, value in given.items() if value is not None}
    return replace(
        usual,
        **changed,
        heat_to=heat_to,
        heating_power=np.inf,
        cool_to=cool_to,
        cooling_power=np.inf,
        dry_to=block.dehumidifier_setpoint,
        drying_efficiency=block.dehumidifier_efficiency,
    )
