"""What every heat source starts from: nothing of any kind, the frost of an air coil, a word on a default."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.frost import (
    LEAST_SPLIT_K,
    LOADS,
    MOST_SPLIT_K,
    SPLIT_PER_APPROACH,
    USUAL_SPLIT_K,
    Frost,
    frost_losses,
)
from hpwhsim.plant.arrays import FrostTable, SourceKind, Sources, SourceState
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.plant.room_coil import airflow_of, surface_split
from hpwhsim.scenario.schema import Scenario
from hpwhsim.source.ground_loop import BoreField, History, Loop
from hpwhsim.source.neighbours import Neighbours
from hpwhsim.source.room import Around
from hpwhsim.source.room_setup import Air, AirPath, make_room, room_kind
from hpwhsim.source.wastewater import Exchanger, Pumping, Well

PRACTICE = "common practice, no source"
SOIL_DIFFUSIVITY = 0.05 / 86400.0  # m²/s, of the soil around cellars and wells; common practice, no source
SOIL_DEPTH = 1.5  # m, mean depth of that soil; common practice, no source
FROST_FROM, FROST_TO, FROST_HUMIDITIES = -30.0, 12.0, 13  # °C, rows of 1 K; columns of relative humidity


class Sourced(NamedTuple):
    """A source ready to march."""

    sources: Sources
    state: SourceState
    drawn: Array  # (hour,) air that the machine draws where it does not draw its room's, °C
    frost: Frost  # of that air, each (hour, share of the full coil load)
    around: Around
    rejected: Array  # (hour,) W
    sewage: Array  # (step,) m³
    sewage_temperature: Array  # (step,) °C
    exchange: Array  # (hour,)
    to_neighbours: tuple[float, float]  # of a room's mass and of its air to the neighbouring spaces, W/K
    neighbours: Neighbours | None  # of a room


def coil_frost(scenario: Scenario, made: Made, air: Air, pressure: Array) -> Frost:
    """What frost costs a coil in `air`; nothing where there is no such coil or a table counts it.

    The surface follows the heat that the coil takes from air of that temperature, at full speed and at part
    speed; in a room it is that of the coil which dries its air. The last axis of what is returned is the
    coil's load over that at full speed, `LOADS`, of which a machine of fixed speed has the last alone.
    """
    heat_pump = scenario.plant.heat_pump
    counted = heat_pump is None or heat_pump.defrosts_by == "none"
    water = scenario.plant.source_kind in ("ground-loop", "wastewater")
    loads = LOADS if heat_pump is not None and heat_pump.min_speed_fraction < 1.0 else LOADS[-1:]
    temperature = np.asarray(air.temperature, dtype=np.float64)[..., None]
    humidity, pressure = np.asarray(air.humidity)[..., None], np.asarray(pressure)[..., None]
    block = scenario.plant.source.room
    if counted or water:
        split = np.broadcast_to(USUAL_SPLIT_K, (1,))
    elif block is not None:
        heat, airflow = made.taken_w(temperature) * loads, airflow_of(block, made.source_heat)
        split = surface_split(heat, airflow, block.bypass, temperature, humidity, pressure)
    else:
        split = SPLIT_PER_APPROACH * made.coil.per_heat * made.taken_w(temperature) * loads
    return frost_losses(
        temperature,
        humidity,
        pressure,
        split_k=np.clip(split, LEAST_SPLIT_K, MOST_SPLIT_K),
        kind="none" if counted or water else "reverse-cycle",
    )


def no_sources(kind: SourceKind) -> Sources:
    """All kinds of sources, none of them real."""
    flat = np.ones((2, 2, 1))
    return Sources(
        kind=int(kind),
        room=make_room(room_kind("cellar"), AirPath(0.1)),
        frost=FrostTable(FROST_FROM, 1.0, flat, flat.copy(), np.zeros((2, 2, 1))),
        field=BoreField(np.zeros(2), 0.0),
        loop=Loop(0.0, 0.0, 1.0, np.zeros((1, 2)), np.ones(1), np.zeros(1), 1.0),
        well=Well(1.0, 0.0, 0.0, 0.0, Exchanger(1.0, 1.0, 1.0, False)),
        pumping=Pumping(0.0, 0.0),
    )


def no_around() -> Around:
    """What lies around a room, where there is none."""
    return Around(*(np.zeros(1) for _ in Around._fields))


def at_rest(well: float = 0.0, history: History | None = None) -> SourceState:
    """A source at the start; `well` is the water of a wet well. [°C]"""
    nothing = np.zeros(1, dtype=np.int64)
    return SourceState(
        room=np.zeros(3),
        reference=np.zeros(3),
        air=np.zeros(1),
        gain=np.zeros(1),
        coil=np.zeros(1),
        frost=np.zeros((3, LOADS.size)),
        history=history or History(np.zeros((1, 1)), nothing, nothing.copy()),
        drop=np.zeros(1),
        hour_heat=np.zeros(1),
        well=np.array([well]),
    )


def say(found: list[Assumption], key: str, value: str, source: str) -> None:
    """Put a value that was worked out among the assumptions."""
    found.append({"key": f"plant.source.{key}", "value": value, "source": source})
