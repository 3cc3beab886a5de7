"""Checks of `source`'s room: the zone of ISO 13790 and the coil that cools and dries its air."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate import moist_air
from hpwhsim.constants import CP_AIR
from hpwhsim.source.coil import CP_VAPOUR, CP_WATER, split
from hpwhsim.source.offer import Offer
from hpwhsim.source.room import State, Step, room_step
from hpwhsim.source.room_setup import Air, AirPath, Zone, make_around, make_room
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

HOUR = 3600.0
SEA_LEVEL = 101_325.0  # Pa
# 100 m² of floor, medium; windows 40, opaque parts 60, ventilation 50 W/K
ZONE = Zone(100.0, 250.0, "medium", outdoors=60.0, windows=40.0, air_changes=50.0 / 1200.0 / 250.0 * HOUR)
PATH = AirPath(module_airflow=0.12)
TO_SURFACE, TO_MASS, MASS = 1552.5, 9.1 * 250.0, 165e5  # W/K, W/K, J/K of that zone


def _steps(zone: Zone, outdoors: Array, start: float, count: int, dt: float, heat: float = 0.0) -> list[Step]:
    """Steps of the zone in hourly outdoor air, with `heat` taken from its dry air."""
    around = make_around(zone, PATH, Air(outdoors, 0.0), 10.0, Air(20.0, 0.006), Air(30.0, 0.01))
    room, state, done = make_room(zone, PATH), State(start, 0.0, 0.0), []
    for k in range(count):
        hour = int(k * dt / HOUR + 1e-9) % outdoors.size
        done.append(room_step(room, around, hour, state, dt, 1.0 if heat else 0.0, heat, 0.0))
        state = done[-1].state
    return done


def zone_checks() -> Iterator[Check]:
    """Free float and heat of the check case, steady states by hand, and scipy on the three nodes."""
    cold = np.zeros(100)
    free = _steps(ZONE, cold, 20.0, 100, HOUR)
    warm = _steps(replace(ZONE, heat_to=20.0), cold, 20.0, 100, HOUR)
    air, mass, heat = [], [], []
    for row in rows("room_check_case"):
        hour, at = int(row["hour"]) - 1, f"hour {row['hour']}"
        if row["air_C"]:
            air.append(Point(at, float(row["air_C"]), free[hour].air))
            mass.append(Point(at, float(row["mass_C"]), free[hour].state.mass))
        if row["heating_W"]:
            heat.append(Point(at, float(row["heating_W"]), warm[hour].heating))
    yield worst("source.room.free_air", air)
    yield worst("source.room.free_mass", mass)
    yield worst("source.room.held", heat)
    settled = _steps(replace(ZONE, heat_to=20.0), np.zeros(1), 15.0, 1000, 10.0 * HOUR)[-1]
    yield held("source.room.steady_heat", settled.heating)
    sink = _steps(ZONE, np.full(1, 20.0), 15.0, 1000, 10.0 * HOUR, heat=1000.0)[-1]
    yield held("source.room.sink_air", sink.air)
    yield held("source.room.sink_mass", sink.state.mass)
    yield _days_by_scipy()


def _days_by_scipy() -> Check:
    """Two lopsided days of outdoor air: the mass of the zone at 300 s beside scipy's integration."""
    from scipy.integrate import solve_ivp

    outdoors = np.array([4.0 + 9.0 * np.sin(h / 3.7) - 0.2 * h for h in range(48)])
    steps = _steps(ZONE, outdoors, 18.0, 48 * 12, 300.0)
    opaque = 1.0 / (1.0 / 60.0 - 1.0 / TO_MASS)

    def rate(t: float, mass: Array, out: float) -> Array:
        # air and surfaces store nothing: two balances give them from the mass
        balance = np.array([[TO_SURFACE + 50.0, -TO_SURFACE], [-TO_SURFACE, TO_SURFACE + TO_MASS + 40.0]])
        _, surface = np.linalg.solve(balance, np.array([50.0 * out, 40.0 * out + TO_MASS * mass[0]]))
        return np.array([(TO_MASS * (surface - mass[0]) + opaque * (out - mass[0])) / MASS])

    mass, points = 18.0, []
    for hour, out in enumerate(outdoors):
        end = solve_ivp(rate, (0.0, HOUR), [mass], args=(float(out),), rtol=1e-10, atol=1e-10)
        mass = float(end.y[0, -1])
        points.append(Point(f"hour {hour + 1}", mass, steps[12 * hour + 11].state.mass))
    return worst("source.room.scipy", points)


def coil_checks() -> Iterator[Check]:
    """The table of CoolProp's humid air, whose saturated air holds 0.42 % more vapour than ideal gases.

    A total pressure lower by that factor gives ideal gases the same humidity. The table counts the vapour's
    whole enthalpy as latent, the coil that less the condensate's: added back.
    """
    from CoolProp.HumidAirProp import HAPropsSI

    ratio = HAPropsSI("W", "T", 283.15, "R", 1.0, "P", SEA_LEVEL)
    vapour = ratio / (moist_air.MASS_RATIO + ratio) * SEA_LEVEL
    factor = vapour / float(moist_air.saturation_pressure(10.0))
    found: dict[str, list[Point]] = {}
    for row in rows("coil_bypass_split"):
        cells = {name: float(value) for name, value in row.items()}
        asked = ("T", cells["T_in_C"] + 273.15, "R", cells["RH"], "P", SEA_LEVEL)
        water, flow = HAPropsSI("W", *asked), cells["flow_m3s"] / HAPropsSI("V", *asked)
        inlet = Offer(cells["T_in_C"], 0.0, -np.inf, np.inf, np.inf)
        coil = split(cells["Q_evap_W"], flow, cells["bypass"], SEA_LEVEL / factor, inlet, water, 0.0)
        leaving = water - coil.condensate / flow
        values = {
            "ADP_C": coil.surface,
            "T_out_C": cells["T_in_C"] - coil.sensible / (flow * (CP_AIR + CP_VAPOUR * leaving)),
            "sensible_W": coil.sensible,
            "latent_W": coil.latent + coil.condensate * CP_WATER * coil.surface,
            "condensate_kg_h": coil.condensate * 3600.0,
        }
        at = f"{row['T_in_C']} °C, RH {row['RH']}, {row['flow_m3s']} m3/s, bypass {row['bypass']}"
        for column, value in values.items():
            found.setdefault(column, []).append(Point(at, cells[column], float(value)))
    for column, name in (
        ("ADP_C", "surface"),
        ("T_out_C", "outlet"),
        ("sensible_W", "sensible"),
        ("latent_W", "latent"),
        ("condensate_kg_h", "condensate"),
    ):
        yield worst(f"source.coil.{name}", found[column])
