"""Rooms for the tests, in a steady outside world, and ways to step them."""

from hpwhsim.source.coil import CP_AIR
from hpwhsim.source.room import Around, Room, State, Step, room_step
from hpwhsim.source.room_setup import AIR_CAPACITY, Air, AirPath, Zone, make_around, make_room

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
