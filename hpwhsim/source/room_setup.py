"""Constants and hourly boundary of a room, from its areas, conductances and air flows.

References
----------
.. [1] ISO 13790:2008, annex C and table 12 (unverified): 4.5 m² of surface per m² of floor, surface
   coefficients 3.45 and 9.1 W/m²K, 1200 J/m³K for air, classes of mass.
"""

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation
from hpwhsim.constants import CP_AIR, JOULE_PER_KWH
from hpwhsim.errors import InputError
from hpwhsim.source.coil import CP_VAPOUR, CP_WATER, VAPORISATION
from hpwhsim.source.room import Around, Room
from hpwhsim.tables import read_table

AIR_TO_SURFACE = 3.45  # W/m²K
SURFACE_TO_MASS = 9.1  # W/m²K
SURFACE_RATIO = 4.5
AIR_CAPACITY = 1200.0  # J/m³K at 101.325 kPa
SEA_LEVEL = 101325.0  # Pa
MASS_CLASSES = {  # J/K and m² of mass area, per m² of floor
    "very light": (80e3, 2.5),
    "light": (110e3, 2.5),
    "medium": (165e3, 2.5),
    "heavy": (260e3, 3.0),
    "very heavy": (370e3, 3.5),
}
CONDENSATION = 2501e3 + (1860.0 - 4186.0) * 20.0  # J/kg, vapour of 20 °C to water of 20 °C
COLDER_OUTDOORS = 2.0  # K below a room, for its windows to be opened; common practice, no source
DRY_OUTDOORS = 0.012  # kg/kg, ASHRAE 55 upper limit of comfort (unverified)
COIL_SURFACE = 13.0  # °C: sensible share 0.75 at 26.7 °C, wet bulb 19.4 °C; common practice, no source
COIL_BELOW_AIR = 5.0  # K, at least; common practice, no source
AIR_OUT_AT = 26.0  # °C, where windows are opened in a room that is not cooled; common practice, no source
SECONDS_PER_HOUR = 3600.0


class Place(IntEnum):
    """Where air comes from or goes to."""

    ROOM = 0
    OUTDOORS = 1
    NEIGHBOUR = 2  # the space behind partitions and grilles
    ELSEWHERE = 3  # a further space of stated temperature and humidity


@dataclass(frozen=True)
class Zone:
    """A room as the modeler describes it."""

    floor_area: float  # m²
    volume: float  # of its air, m³
    mass_class: str  # a key of `MASS_CLASSES`
    outdoors: float = 0.0  # UA of opaque parts to outdoors, W/K
    windows: float = 0.0  # UA of windows and light doors to outdoors, W/K
    ground: float = 0.0  # UA to the ground, W/K
    neighbours: float = 0.0  # UA to the neighbouring space, W/K
    air_changes: float = 0.0  # infiltration from outdoors, 1/h
    vent: float = 0.0  # air from the neighbouring space through grilles and gaps, m³/s
    gain: float = 0.0  # internal gains, W
    moisture: float = 0.0  # vapour given off, kg/s
    buffering: float = 1.0  # vapour held by air and surfaces over that of the air alone
    surface_ratio: float = SURFACE_RATIO  # room surfaces over floor area
    window_area: float = 0.0  # glass that the sun meets, m²
    airing: float = 0.0  # air changes while windows are opened against heat, 1/h
    heat_to: float | None = None  # °C; None: not heated
    heating_power: float = math.inf  # W
    cool_to: float | None = None  # °C; None: not cooled
    cooling_power: float = math.inf  # sensible, W
    coil_surface: float = COIL_SURFACE  # apparatus dew point of the air conditioner, °C
    dry_to: float | None = None  # relative humidity that a dehumidifier holds; None: there is none
    drying_efficiency: float = 1.6  # litres per kWh; common practice, no source


@dataclass(frozen=True)
class AirPath:
    """The air of the machine; the defaults are a machine that stands in the room without ducts."""

    module_airflow: float  # of a running module, m³/s
    bypass: float = 0.2  # bypass factor of its coil; common practice, no source
    intake: Place = Place.ROOM
    exhaust: Place = Place.ROOM
    make_up: Place = Place.OUTDOORS  # what replaces room air that the machine blows elsewhere


class Air(NamedTuple):
    """Air of a space: one number for the year, or one for each hour."""

    temperature: ArrayLike  # °C
    humidity: ArrayLike  # kg/kg


def room_kind(name: str, floor_area: float | None = None) -> Zone:
    """Packaged defaults of a kind of room; invented, see the head of the table ``room_kinds``.

    Parameters
    ----------
    name : str
        A kind of the table, such as "cellar".
    floor_area : float, optional
        Instead of that of the table; conductances, gains and powers go with it, vents do not. [m²]

    Raises
    ------
    InputError
        If there is no such kind.

    Examples
    --------
    >>> room_kind("closet").neighbours
    20.0
    """
    rows = {row["kind"]: row for row in read_table("room_kinds")}
    if name not in rows:
        raise InputError(f"kind of room: got {name!r}, allowed {', '.join(rows)}")
    row = rows[name]
    area = float(row["floor_m2"]) if floor_area is None else floor_area

    def of_area(column: str) -> float:
        return float(row[column]) * area

    heated, cooled = bool(row["heat_to_c"]), bool(row["cool_to_c"])
    return Zone(
        floor_area=area,
        volume=of_area("height_m"),
        mass_class=row["mass_class"],
        outdoors=of_area("outdoors"),
        windows=of_area("windows"),
        ground=of_area("ground"),
        neighbours=of_area("neighbours"),
        air_changes=float(row["air_changes_h"]),
        vent=float(row["vent_m3_s"]),
        gain=of_area("gain_w_m2"),
        moisture=of_area("moisture_g_h_m2") / 1000.0 / SECONDS_PER_HOUR,
        buffering=float(row["buffering"]),
        surface_ratio=float(row["surface_ratio"]),
        window_area=of_area("window_m2"),
        airing=float(row["airing_h"]),
        heat_to=float(row["heat_to_c"]) if heated else None,
        heating_power=of_area("heating_w_m2") if heated else math.inf,
        cool_to=float(row["cool_to_c"]) if cooled else None,
        cooling_power=of_area("cooling_w_m2") if cooled else math.inf,
        coil_surface=coil_surface(float(row["cool_to_c"])) if cooled else COIL_SURFACE,
    )


def coil_surface(cool_to: float) -> float:
    """Usual apparatus dew point of an air conditioner that cools to `cool_to`. [°C]

    Examples
    --------
    >>> coil_surface(26.0), coil_surface(16.0)
    (13.0, 11.0)
    """
    return min(COIL_SURFACE, cool_to - COIL_BELOW_AIR)


def air_out_at(zone: Zone) -> float:
    """Air above which windows are opened where it is colder outdoors. [°C]"""
    if zone.cool_to is not None:
        return zone.cool_to
    return AIR_OUT_AT if zone.heat_to is None else max(AIR_OUT_AT, zone.heat_to)


def make_room(zone: Zone, path: AirPath, pressure: float = SEA_LEVEL) -> Room:
    """Constants of a room for any step.

    Parameters
    ----------
    zone : Zone
        The room.
    path : AirPath
        The machine's air. Volumes of air, here and in `zone`, are those of air of 1200 J/m³K at sea level,
        the constant of ISO 13790 (near 20 °C), and thinner with the pressure.
    pressure : float
        Air pressure at the site. [Pa]

    Raises
    ------
    InputError
        If a value is out of range, or the conductances are more than the method can place.
    """
    _check(zone, path, pressure)
    capacity, mass_area = MASS_CLASSES[zone.mass_class]
    density = _density(pressure)
    surfaces = zone.surface_ratio * zone.floor_area
    to_mass = SURFACE_TO_MASS * mass_area * zone.floor_area
    opaque = zone.outdoors + zone.ground + zone.neighbours
    if opaque >= to_mass:
        raise InputError(
            f"room: got {opaque:g} W/K through its opaque parts; allowed less than {to_mass:g} W/K, "
            f"what {zone.floor_area:g} m² of floor can pass on to the mass"
        )
    if mass_area * zone.floor_area + zone.windows / SURFACE_TO_MASS > surfaces:
        raise InputError(
            f"room: got {zone.windows:g} W/K through its windows; allowed at most "
            f"{SURFACE_TO_MASS * surfaces - to_mass:g} W/K for {zone.floor_area:g} m² of floor"
        )
    power = JOULE_PER_KWH / zone.drying_efficiency if zone.dry_to is not None else 0.0
    wet = float(humidity_ratio_at_saturation(zone.coil_surface, pressure))
    return Room(
        to_surface=AIR_TO_SURFACE * surfaces,
        to_mass=to_mass,
        window=zone.windows,
        shell=opaque / (1.0 - opaque / to_mass),
        capacity=capacity * zone.floor_area,
        supply=density * (_infiltration(zone) + zone.vent),
        vapour_mass=density * zone.volume * zone.buffering,
        pressure=pressure,
        heated=zone.heat_to is not None,
        heat_to=0.0 if zone.heat_to is None else zone.heat_to,
        most_heating=zone.heating_power,
        cooled=zone.cool_to is not None,
        cool_to=0.0 if zone.cool_to is None else zone.cool_to,
        most_cooling=zone.cooling_power,
        air_out_at=air_out_at(zone),
        coil_surface=zone.coil_surface,
        coil_humidity=wet,
        coil_per_kelvin=CP_AIR + CP_VAPOUR * wet,
        coil_per_kilogram=VAPORISATION + CP_VAPOUR * air_out_at(zone) - CP_WATER * zone.coil_surface,
        ceiling=1.0 if zone.dry_to is None else zone.dry_to,
        drying_heat=CONDENSATION + power,
        drying_power=power,
        module_flow=density * path.module_airflow,
        bypass=path.bypass,
        intake_here=path.intake == Place.ROOM,
        exhaust_here=path.exhaust == Place.ROOM,
    )


def make_around(
    zone: Zone,
    path: AirPath,
    outdoors: Air,
    ground: ArrayLike,
    neighbour: Air,
    elsewhere: Air,
    solar: ArrayLike = 0.0,
    pressure: float = SEA_LEVEL,
) -> Around:
    """What the room meets hour by hour.

    Parameters
    ----------
    zone, path : Zone, AirPath
        The room and the machine's air.
    outdoors, neighbour, elsewhere : Air
        Air outdoors, behind partitions and grilles, and in a further space; each value, as the others here,
        one number or of shape (hour,).
    ground : array_like of float
        Ground at the room. [°C]
    solar : array_like of float
        Sun that comes in through the windows. [W]
    pressure : float
        Air pressure at the site. [Pa]

    Returns
    -------
    Around
        Arrays of shape (hour,), or (1,) where all is constant.

    Raises
    ------
    InputError
        If a value is not finite.

    Notes
    -----
    Temperatures behind parallel conductances fold into one, weighted by conductance; the method is linear, so
    that this is exact. Of the gains that meet the surfaces it lets a share, ``windows / (9.1 surfaces)``, go
    straight out at the windows: it never enters and is not in these arrays.
    """
    airs = {Place.OUTDOORS: outdoors, Place.NEIGHBOUR: neighbour, Place.ELSEWHERE: elsewhere}
    given = [value for air in airs.values() for value in air]
    full = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (*given, ground, solar, [zone.gain]))
    )
    if not all(np.all(np.isfinite(values)) for values in full):
        raise InputError("room: temperatures, humidities and gains around it must be finite numbers")
    out_c, out_w, next_c, next_w, _, _, ground_c, sun, gain = full
    air_of = {place: (full[2 * i], full[2 * i + 1]) for i, place in enumerate(airs)}
    opaque = [(zone.outdoors, out_c), (zone.ground, ground_c), (zone.neighbours, next_c)]
    leaks, vent = _infiltration(zone), zone.vent
    # the machine's exchange brings air only where one of its two ends is in the room
    intake_here = path.intake == Place.ROOM
    exchanged = air_of[path.make_up] if intake_here else air_of[path.intake]
    intake = air_of[Place.OUTDOORS] if intake_here else air_of[path.intake]
    surfaces = zone.surface_ratio * zone.floor_area
    mass_share = MASS_CLASSES[zone.mass_class][1] / zone.surface_ratio
    spread = 0.5 * gain + sun
    colder = air_out_at(zone) - out_c
    opened = (colder >= COLDER_OUTDOORS) & (out_w <= DRY_OUTDOORS)
    aired = np.where(opened, _density(pressure) * zone.airing * zone.volume / SECONDS_PER_HOUR, 0.0)
    return Around(
        shell=_mix(opaque),
        window=out_c.copy(),
        supply=_mix([(leaks, out_c), (vent, next_c)]),
        supply_humidity=_mix([(leaks, out_w), (vent, next_w)]),
        exchanged=exchanged[0].copy(),
        exchanged_humidity=exchanged[1].copy(),
        intake=intake[0].copy(),
        intake_humidity=intake[1].copy(),
        to_air=0.5 * gain,
        to_surface=(1.0 - mass_share - zone.windows / (SURFACE_TO_MASS * surfaces)) * spread,
        to_mass=mass_share * spread,
        moisture=np.full(gain.shape, zone.moisture),
        airing=CP_AIR * aired * np.maximum(colder, 0.0),
        airing_flow=aired,
        outdoor_humidity=out_w.copy(),
        sun=sun.copy(),
    )


def _mix(parts: list[tuple[float, Array]]) -> Array:
    """Weighted mean; the first where nothing has weight, and then nothing depends on it."""
    total = sum(weight for weight, _ in parts)
    if total == 0.0:
        return parts[0][1].copy()
    return np.asarray(sum(weight * values for weight, values in parts) / total)


def _density(pressure: float) -> float:
    """Dry air per volume. [kg/m³]"""
    return AIR_CAPACITY / CP_AIR * pressure / SEA_LEVEL


def _infiltration(zone: Zone) -> float:
    """Air from outdoors. [m³/s]"""
    return zone.air_changes * zone.volume / SECONDS_PER_HOUR


def _check(zone: Zone, path: AirPath, pressure: float) -> None:
    """Refuse what is out of range."""
    if zone.mass_class not in MASS_CLASSES:
        raise InputError(f"class of mass: got {zone.mass_class!r}, allowed {', '.join(MASS_CLASSES)}")
    if path.make_up == Place.ROOM:
        raise InputError("make-up air: got the room itself, allowed outdoors, neighbour or elsewhere")
    finite = {
        "floor area [m²]": (zone.floor_area, 0.1, 1e6),
        "volume [m³]": (zone.volume, 0.1, 1e7),
        "surfaces over floor area": (zone.surface_ratio, 1.0, 100.0),
        "UA to outdoors [W/K]": (zone.outdoors, 0.0, 1e7),
        "UA of windows [W/K]": (zone.windows, 0.0, 1e7),
        "UA to the ground [W/K]": (zone.ground, 0.0, 1e7),
        "UA to neighbours [W/K]": (zone.neighbours, 0.0, 1e7),
        "air changes [1/h]": (zone.air_changes, 0.0, 1e3),
        "vents [m³/s]": (zone.vent, 0.0, 1e4),
        "glass [m²]": (zone.window_area, 0.0, 1e6),
        "air changes with open windows [1/h]": (zone.airing, 0.0, 1e3),
        "coil of the air conditioner [°C]": (zone.coil_surface, 0.0, 25.0),
        "vapour given off [kg/s]": (zone.moisture, 0.0, 10.0),
        "moisture buffering": (zone.buffering, 1.0, 1e3),
        "heating power [W]": (zone.heating_power, 0.0, math.inf),
        "cooling power [W]": (zone.cooling_power, 0.0, math.inf),
        "relative humidity held": (1.0 if zone.dry_to is None else zone.dry_to, 0.05, 1.0),
        "dehumidifier [L/kWh]": (zone.drying_efficiency, 0.1, 20.0),
        "airflow of a module [m³/s]": (path.module_airflow, 1e-3, 1e3),
        "bypass factor": (path.bypass, 0.0, 0.9),
        "air pressure [Pa]": (pressure, 5e4, 1.2e5),
    }
    for name, (value, low, high) in finite.items():
        if not low <= value <= high:  # NaN fails this too
            raise InputError(f"room, {name}: got {value:g}, allowed {low:g} to {high:g}")
    for name, setpoint in (("heating", zone.heat_to), ("cooling", zone.cool_to)):
        if setpoint is not None and not -20.0 <= setpoint <= 50.0:
            raise InputError(f"room, {name} setpoint: got {setpoint:g} °C, allowed -20 to 50 °C")
    if zone.cool_to is not None and zone.coil_surface > zone.cool_to - 1.0:
        raise InputError(
            f"room: got a cooling coil of {zone.coil_surface:g} °C for air of {zone.cool_to:g} °C; "
            "allowed at least 1 K below it"
        )
    if zone.heat_to is not None and zone.cool_to is not None and zone.heat_to > zone.cool_to:
        raise InputError(
            f"room: got heating to {zone.heat_to:g} °C above cooling to {zone.cool_to:g} °C; allowed up to it"
        )
