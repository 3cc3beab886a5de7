"""Rooms for the tests, in a steady outside world, and ways to step them."""

import numpy as np
from numpy.typing import NDArray

from hpwhsim.constants import CP_AIR
from hpwhsim.source.room import Around, Room, State, Step, room_step
from hpwhsim.source.room_setup import (
    AIR_CAPACITY,
    MASS_CLASSES,
    Air,
    AirPath,
    Zone,
    make_around,
    make_room,
)

Array = NDArray[np.float64]

HOUR = 3600.0
NO_DUCTS = AirPath(module_airflow=0.12)
DENSITY = AIR_CAPACITY / CP_AIR  # kg of dry air per m³ at sea level
# Check case of the zone: 100 m² of floor, medium; windows 40, opaque parts 60, ventilation 50 W/K.
CHECK = Zone(100.0, 250.0, "medium", outdoors=60.0, windows=40.0, air_changes=50.0 / 1200.0 / 250.0 * HOUR)


def build(
    zone: Zone,
    outdoors: tuple[float, float] = (0.0, 0.0),
    path: AirPath = NO_DUCTS,
    *,
    ground: float = 10.0,
    neighbour: tuple[float, float] = (20.0, 0.006),
    elsewhere: tuple[float, float] = (30.0, 0.01),
) -> tuple[Room, Around]:
    """A room in a steady outside world of temperatures [°C] and humidity ratios [kg/kg]."""
    around = make_around(zone, path, Air(*outdoors), ground, Air(*neighbour), Air(*elsewhere))
    return make_room(zone, path), around


def run(
    room: Room,
    around: Around,
    state: State,
    steps: int,
    dt: float,
    *,
    modules: float = 0.0,
    heat: float = 0.0,
    gain: float = 0.0,
) -> list[Step]:
    """`steps` steps in the first hour's world."""
    done = []
    for _ in range(steps):
        done.append(room_step(room, around, 0, state, dt, modules, heat, gain))
        state = done[-1].state
    return done


def steady(room: Room, around: Around, *, modules: float = 0.0, heat: float = 0.0, gain: float = 0.0) -> Step:
    """The room after 1000 steps of 10 hours: the slowest mass of the tests has forgotten its start."""
    start = State(15.0, 0.005, 0.0)
    return run(room, around, start, 1000, 10.0 * HOUR, modules=modules, heat=heat, gain=gain)[-1]


def conductance(zone: Zone, ventilation: float) -> float:
    """Closed form: air to all that surrounds it, ventilation beside the surfaces in series. [W/K]"""
    to_surface = 3.45 * zone.surface_ratio * zone.floor_area
    shell = zone.windows + zone.outdoors + zone.ground + zone.neighbours
    return ventilation + 1.0 / (1.0 / to_surface + 1.0 / shell)


def independent(
    zone: Zone, outdoors: Array, sun: Array, sink: Array, pressure: float = 101325.0
) -> tuple[Array, Array, Array]:
    """ISO 13790 annex C as its equations are printed, an hour at a time: air, heating and cooling.

    The equations are those of the standard, quoted from memory; nothing of the engine is used. Heating and
    cooling by its own procedure: the air with no heat and with 10 W per m2, and the line between them.
    """
    floor, capacity, mass_area = zone.floor_area, *MASS_CLASSES[zone.mass_class]
    surfaces = 4.5 * floor
    is_, ms, w = 3.45 * surfaces, 9.1 * mass_area * floor, zone.windows
    ve = 1200.0 * pressure / 101325.0 * zone.air_changes * zone.volume / 3600.0
    em = 1.0 / (1.0 / zone.outdoors - 1.0 / ms)
    h1 = 1.0 / (1.0 / ve + 1.0 / is_)
    h2 = h1 + w
    h3 = 1.0 / (1.0 / h2 + 1.0 / ms)
    c, share = capacity * floor / 3600.0, mass_area * floor / surfaces
    air, heating, cooling = (np.zeros(outdoors.size) for _ in range(3))

    def solve(hc: float, start: float, out: float, m: float, s: float) -> tuple[float, float]:
        inside = 0.5 * zone.gain + hc
        total = m + em * out + h3 * (s + w * out + h1 * (inside / ve + out)) / h2
        end = (start * (c - 0.5 * (h3 + em)) + total) / (c + 0.5 * (h3 + em))
        mean = 0.5 * (start + end)
        surface = (ms * mean + s + w * out + h1 * (out + inside / ve)) / (ms + w + h1)
        return (is_ * surface + ve * out + inside) / (is_ + ve), end

    mass = 20.0
    for _ in range(2):  # the first year settles the mass
        for i, (out, gain) in enumerate(zip(outdoors, sun, strict=True)):
            to_mass = share * (0.5 * zone.gain + gain)
            to_surface = (1.0 - share - w / (9.1 * surfaces)) * (0.5 * zone.gain + gain)

            world = (mass, float(out), to_mass, to_surface)
            free, ten, found = solve(-sink[i], *world)[0], solve(10.0 * floor - sink[i], *world)[0], 0.0
            for setpoint, wanted in ((zone.heat_to, free < (zone.heat_to or -1e9)), (zone.cool_to, True)):
                if setpoint is not None and wanted and (setpoint == zone.heat_to or free > setpoint):
                    found = 10.0 * floor * (setpoint - free) / (ten - free)
                    break
            heating[i], cooling[i] = max(found, 0.0), max(-found, 0.0)
            air[i], mass = solve(found - sink[i], *world)
    return air, heating, cooling
