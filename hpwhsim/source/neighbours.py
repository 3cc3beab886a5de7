"""The spaces behind the partitions of a machine's room: their air through the year, and what they give away.

They are homes of the packaged kind "apartment", as one zone of the same method as the room, with their own
sun, people, heating and air conditioner, and no heat to one another. Hour by hour their air floats between
the setpoints of heating and cooling; the room meets it behind its partitions and grilles.

What the machine takes out of them by way of its room, heat through partitions and heat and vapour with the
air of grilles, is taken from that zone in a second year, and the difference of its heating and cooling is
what the neighbours pay or save. So their thermostats say when it is heating season, as the room's own does.
The heat is taken from their air: in a heated hour all of it is made up. While they float they become a little
colder by it; that fall is not met by the room again, and `Effect.colder` reports it.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel
from hpwhsim.source.room import Around, Room, State, room_step
from hpwhsim.source.room_setup import Air, AirPath, Zone, coil_surface, make_around, make_room, room_kind

HOUR = 3600.0
WARM_UP = 744  # hours of December that go before the year
START_C, START_HUMIDITY = 20.0, 0.007  # °C, kg/kg, forgotten by then


class Neighbours(NamedTuple):
    """The neighbours' zone, and its year with nothing taken from it."""

    room: Room
    around: Around
    year: Array  # (5, hour) as `room_year` fills it

    @property
    def air(self) -> Array:
        """Air, shape (hour,). [°C]"""
        return np.asarray(self.year[0])

    @property
    def humidity(self) -> Array:
        """Its humidity ratio, shape (hour,). [kg/kg]"""
        return np.asarray(self.year[1])


class Effect(NamedTuple):
    """What the neighbours' plants do more or less when heat and vapour are taken; each (hour,)."""

    heating: Array  # more, W
    cooling: Array  # less, sensible, W
    drying: Array  # less, latent, W
    colder: Array  # air, K


@kernel
def room_year(room: Room, around: Around, taken: Array, vapour: Array, state: State, found: Array) -> None:
    """Fill `found` (5, hour): air [°C], humidity [kg/kg], heating, cooling and drying [W] of a room.

    `taken` is heat out of its air [W] and `vapour` water out of it [kg/s], each (hour,), at most all that the
    air holds. What is given off is the same all year: `around.moisture` is changed and left as it was.
    """
    hours = found.shape[1]
    given_off = around.moisture[0]
    for i in range(hours - WARM_UP, 2 * hours):
        hour = i % hours
        held = room.vapour_mass / HOUR * state.humidity + given_off
        held += room.supply * around.supply_humidity[hour]
        around.moisture[hour] -= min(vapour[hour], held)
        step = room_step(room, around, hour, state, HOUR, 0.0, 0.0, -taken[hour])
        around.moisture[hour] = given_off
        state = step.state
        found[0, hour], found[1, hour] = step.air, step.state.humidity
        found[2, hour], found[3, hour], found[4, hour] = step.heating, step.cooling, step.drying


def make_neighbours(
    floor_area: float,
    outdoors: Air,
    solar: Array,
    pressure: float,
    *,
    heat_to: float | None,
    cool_to: float | None,
) -> Neighbours:
    """Homes of `floor_area` m² in all, in the weather of the year.

    Parameters
    ----------
    floor_area : float
        Of the homes together. [m²]
    outdoors : Air
        Each value (hour,).
    solar : ndarray, shape (hour,)
        Sun that comes in through their windows per floor area. [W/m²]
    pressure : float
        [Pa]
    heat_to, cool_to : float or None
        Setpoints; None: not heated, not cooled. [°C]
    """
    zone = neighbour_zone(floor_area, heat_to=heat_to, cool_to=cool_to)
    path = AirPath(0.1)  # no machine stands in it
    around = make_around(zone, path, outdoors, 10.0, outdoors, outdoors, solar * floor_area, pressure)
    room = make_room(zone, path, pressure)
    nothing = np.zeros(solar.size)
    return Neighbours(room, around, _year(room, around, nothing, nothing))


def neighbour_zone(floor_area: float, *, heat_to: float | None, cool_to: float | None) -> Zone:
    """The zone of the neighbours: homes of the packaged kind, with no partitions to others."""
    return replace(
        room_kind("apartment", floor_area),
        neighbours=0.0,
        heat_to=heat_to,
        heating_power=np.inf,
        cool_to=cool_to,
        cooling_power=np.inf,
        coil_surface=coil_surface(26.0 if cool_to is None else cool_to),
    )


def effect(homes: Neighbours, taken: Array, vapour: Array) -> Effect:
    """What heat [W] and vapour [kg/s] taken from the neighbours' air change, each (hour,)."""
    without = homes.year
    found = _year(homes.room, homes.around, taken, vapour)
    return Effect(found[2] - without[2], without[3] - found[3], without[4] - found[4], without[0] - found[0])


def _year(room: Room, around: Around, taken: Array, vapour: Array) -> Array:
    found = np.zeros((5, taken.size))
    start = START_C if not room.heated else room.heat_to
    room_year(room, around, taken, vapour, State(start, START_HUMIDITY, 0.0), found)
    return found
