"""Checks of `heatpump`'s refrigerant lines, pipe friction, frost and refrigerants."""

import math
from collections.abc import Iterator

import numpy as np

from hpwhsim.climate.moist_air import humidity_ratio_from_relative
from hpwhsim.heatpump.frost import SUBLIMATION, latent_share, melt_heat_share
from hpwhsim.heatpump.lines import Point as CyclePoint
from hpwhsim.heatpump.lines import drop_factors
from hpwhsim.heatpump.machine import Compressor
from hpwhsim.heatpump.pipes import friction
from hpwhsim.heatpump.refrigerants import names, refrigerant
from hpwhsim.heatpump.states import Fluid
from hpwhsim.pipe_friction import friction_factor
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

KELVIN = 273.15
ENHANCEMENT = 1.0043  # ASHRAE RP-1485 at sea level, -20 to 10 °C
PLAIN = Compressor(isentropic=(0.7,), gas_share=1.0, clearance=0.0)  # of the reference cycle
NAMES = {"R134a": "R-134a", "R410A": "R-410A", "R32": "R-32", "R290": "R-290", "CO2": "R-744"}


def reference_point(fluid: str, evaporating_c: float) -> CyclePoint:
    """Cycle of the reference table: superheat 5 K, condensing 60 °C, saturated liquid, efficiency 0.70.

    R-744: 95 bar, exit 25 °C. States by CoolProp's own flashes.
    """
    from CoolProp.CoolProp import PropsSI

    low = PropsSI("P", "T", evaporating_c + KELVIN, "Q", 1, fluid)
    suction = evaporating_c + 5.0
    h1, s1 = (PropsSI(x, "P", low, "T", suction + KELVIN, fluid) for x in "HS")
    if fluid == "CO2":
        high = 95e5
        h3 = PropsSI("H", "P", high, "T", 25.0 + KELVIN, fluid)
    else:
        high = PropsSI("P", "T", 60.0 + KELVIN, "Q", 1, fluid)
        h3 = PropsSI("H", "P", high, "Q", 0, fluid)
    work = (PropsSI("H", "P", high, "S", s1, fluid) - h1) / 0.7
    return CyclePoint(low, high, suction, h1 + work - h3, work)


def suction_checks() -> Iterator[Check]:
    """One kelvin lost in the suction line: capacity and COP of five refrigerants."""
    from CoolProp.CoolProp import PropsSI

    capacity, cop = [], []
    for row in rows("suction_drop_sensitivity"):
        fluid, evaporating = row["fluid"], float(row["T_evap_C"])
        point = reference_point(fluid, evaporating)
        dropped = point.low_pressure - PropsSI("P", "T", evaporating - 1.0 + KELVIN, "Q", 1, fluid)
        heat, power = drop_factors(Fluid(refrigerant(NAMES[fluid])), PLAIN, point, dropped, 0.0)
        at = f"{NAMES[fluid]} evaporating at {evaporating:g} °C"
        capacity.append(Point(at, float(row["capacity_change_pct"]), 100.0 * (heat - 1.0)))
        cop.append(Point(at, float(row["COP_change_pct"]), 100.0 * (heat / power - 1.0)))
    yield worst("heatpump.suction_drop.capacity", capacity)
    yield worst("heatpump.suction_drop.cop", cop)


def friction_checks() -> Iterator[Check]:
    """Darcy's factor: laminar, fully rough, between; and a pipe of a textbook."""
    from scipy.optimize import brentq

    laminar = [Point(f"Re {re:g}", 64.0 / re, float(friction_factor(re, 1e-4))) for re in (10.0, 100.0, 1e3)]
    yield worst("pipe_friction.laminar", laminar)
    rough = [
        Point(f"roughness {e:g}", (2.0 * math.log10(3.7 / e)) ** -2.0, float(friction_factor(1e12, e)))
        for e in (1e-4, 1e-3, 1e-2, 0.05)
    ]
    yield worst("pipe_friction.rough", rough)
    turbulent = []
    for e in (0.0, 1e-5, 1e-4, 1e-3, 1e-2):
        for re in (1e4, 1e5, 1e6, 1e7):

            def off(f: float, e: float = e, re: float = re) -> float:
                return 1.0 / math.sqrt(f) + 2.0 * math.log10(e / 3.7 + 2.51 / (re * math.sqrt(f)))

            exact = float(brentq(off, 1e-3, 1.0))
            turbulent.append(Point(f"Re {re:g}, roughness {e:g}", exact, float(friction_factor(re, e))))
    yield worst("pipe_friction.turbulent", turbulent)
    pound, foot, psi = 0.45359237, 0.3048, 6894.757
    density, viscosity = 62.36 * pound / foot**3, 7.536e-4 * pound / foot
    flow = 0.2 * foot**3 * density
    drop = friction(flow, density, viscosity, 2.0 / 12.0 * foot, 200.0 * foot, 7e-6 * foot)
    yield held("pipe_friction.textbook", float(drop) / psi)


def frost_checks() -> Iterator[Check]:
    """Latent share, frost and melting heat of 65 states of air.

    The table's air is real and holds 0.43 % more vapour: at a pressure lower by that much ideal gases do.
    """
    pressure = 101_325.0 / ENHANCEMENT
    shares, melting, frost = [], [], []
    for row in rows("frost_load"):
        dry, relative = float(row["T_air_C"]), float(row["RH_pct"]) / 100.0
        air = dry, float(humidity_ratio_from_relative(dry, relative, pressure)), pressure
        at = f"{dry:g} °C, RH {relative:g}"
        found = float(np.asarray(latent_share(*air)))
        shares.append(Point(at, float(row["latent_share"]), found))
        melted = 100.0 * float(np.asarray(melt_heat_share(*air)))
        melting.append(Point(at, float(row["melt_heat_share_of_output_pct"]), melted))
        if row["frost"] == "1":
            frost.append(Point(at, float(row["frost_kg_per_kWh_evap"]), found / SUBLIMATION * 3.6e6))
    yield worst("heatpump.frost.latent_share", shares)
    yield worst("heatpump.frost.melting_heat", melting)
    yield worst("heatpump.frost.mass", frost)


def refrigerant_checks() -> Iterator[Check]:
    """Critical points by CoolProp."""
    from CoolProp import CoolProp

    temperature, pressure = [], []
    for name in names():
        of = refrigerant(name)
        if of.fluid:
            state = CoolProp.AbstractState("HEOS", of.fluid)
            temperature.append(Point(name, state.T_critical() - KELVIN, of.critical_c))
            pressure.append(Point(name, state.p_critical() / 1e5, of.critical_pressure / 1e5))
    yield worst("heatpump.refrigerants.critical_temperature", temperature)
    yield worst("heatpump.refrigerants.critical_pressure", pressure)
