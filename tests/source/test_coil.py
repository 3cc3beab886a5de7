"""The coil's sensible and latent heat: CoolProp's humid air, a bracketing solver, conservation."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from hpwhsim.climate import moist_air
from hpwhsim.source.coil import COLDEST_SURFACE, CP_VAPOUR, CP_WATER, VAPORISATION, humidity_at, split
from hpwhsim.source.offer import Offer, met

pytestmark = pytest.mark.independent


def enthalpy(dry_bulb_c: float, water: float) -> float:
    """Of moist air per kg of dry air: ASHRAE Fundamentals 2017, chapter 1, equation 30. [J/kg]"""
    return (1.006 * dry_bulb_c + water * (2501.0 + 1.86 * dry_bulb_c)) * 1000.0


SEA_LEVEL = 101325.0


def fixed(temperature: float) -> Offer:
    """Air that the coil does not cool: it draws from one place and blows to another."""
    return Offer(temperature, 0.0, -np.inf, np.inf, np.inf)


def table(references: Path) -> list[dict[str, float]]:
    lines = (references / "coil_bypass_split.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [{name: float(value) for name, value in row.items()} for row in rows]


def test_table_with_air_of_ideal_gases(references: Path) -> None:
    """The same table as the room uses the coil: 0.42 % less vapour moves heat by 1.6 W and 0.025 K at most.

    In the wettest row 0.42 % of the humidity ratio, 0.0158 kg/kg, times 0.094 kg/s and 2.5 MJ/kg is 16 W at
    the inlet, and the surface gives back all but a tenth of it by being colder.
    """
    for row in table(references):
        air = (row["T_in_C"], row["RH"], SEA_LEVEL)
        water = float(moist_air.humidity_ratio_from_relative(*air))
        kelvin = row["T_in_C"] + 273.15
        volume = 287.042 * kelvin * (1.0 + 1.607858 * water) / SEA_LEVEL  # equation 26 there, m³/kg
        flow = row["flow_m3s"] / volume
        found = split(row["Q_evap_W"], flow, row["bypass"], SEA_LEVEL, fixed(row["T_in_C"]), water, 0.0)
        assert found.surface == pytest.approx(row["ADP_C"], abs=0.025)
        assert found.sensible == pytest.approx(row["sensible_W"], abs=1.6)
        if row["latent_W"] == 0.0:
            assert found.latent == 0.0
            assert found.condensate == 0.0


@pytest.mark.parametrize("pressure", [SEA_LEVEL, 83500.0])
@pytest.mark.parametrize("relative", [1.0, 0.55])
def test_humidity_is_that_of_moist_air(pressure: float, relative: float) -> None:
    """hpwhsim.climate.moist_air, itself held against psychrolib: the same equations, so 1e-12.

    Slope: central difference over 0.02 K, whose error is its third derivative: below 1e-6 of the slope.
    """
    for temperature in (-40.0, -15.0, -0.5, 0.3, 7.1, 20.0, 45.0, 75.0):
        ratio, slope = humidity_at(temperature, relative, pressure)
        around = moist_air.humidity_ratio_from_relative(
            [temperature - 0.01, temperature, temperature + 0.01], relative, pressure
        )
        assert ratio == pytest.approx(around[1], rel=1e-12)
        assert slope == pytest.approx((around[2] - around[0]) / 0.02, rel=1e-6)


def enthalpy_given(surface: float, inlet: float, water: float, pressure: float) -> float:
    """Heat from each kg of air that touches a surface: enthalpies, less the condensate's. [J/kg]"""
    left = min(float(moist_air.humidity_ratio_at_saturation(surface, pressure)), water)
    condensate = (water - left) * CP_WATER * max(surface, 0.0)
    return enthalpy(inlet, water) - enthalpy(surface, left) - condensate


@given(
    inlet=st.floats(-5.0, 40.0),
    relative=st.floats(0.0, 1.0),
    heat=st.floats(10.0, 3e4),
    flow=st.floats(0.02, 2.0),
    bypass=st.floats(0.0, 0.5),
    pressure=st.floats(7e4, 1.05e5),
)
def test_any_coil_against_a_bracketing_solver(
    inlet: float, relative: float, heat: float, flow: float, bypass: float, pressure: float
) -> None:
    """Brent's method on the enthalpies of moist_air.

    The coil stops at 1e-9 of the heat, so the heat given back at its surface is right to 1e-8, and the
    surface to that over the heat capacity of air: below 1e-6 K up to 100 K of cooling.
    """
    water = float(moist_air.humidity_ratio_from_relative(inlet, relative, pressure))
    contact = flow * (1.0 - bypass)
    if heat / contact > enthalpy_given(-90.0, inlet, water, pressure):
        heat = 0.5 * contact * enthalpy_given(-90.0, inlet, water, pressure)
    found = split(heat, flow, bypass, pressure, fixed(inlet), water, 0.0)

    def missing(surface: float) -> float:
        return contact * enthalpy_given(surface, inlet, water, pressure) - heat

    assert missing(found.surface) == pytest.approx(0.0, abs=1e-8 * heat)
    assert found.surface == pytest.approx(brentq(missing, -95.0, inlet, xtol=1e-10), abs=1e-6)
    assert found.sensible + found.latent == pytest.approx(heat, rel=1e-14)
    assert found.latent >= 0.0
    assert found.condensate >= 0.0
    saturated = float(moist_air.humidity_ratio_at_saturation(found.surface, pressure))
    assert found.condensate == pytest.approx(contact * max(water - saturated, 0.0), abs=1e-9 * flow)
    assert found.frozen == (found.surface < COLDEST_SURFACE)


@pytest.mark.law
def test_dry_coil_has_no_latent_heat_at_all() -> None:
    """A surface above the dew point leaves the water where it is: exactly 0, sensible heat only.

    Air of 20 °C and 0.005 kg/kg has its dew point at 4 °C; 0.1 kg/s cooled by 1000 W with a bypass of 0.2
    comes to a surface of 20 - 1000 / (0.08 (1006 + 1860 0.005)) = 7.689 °C.
    """
    found = split(1000.0, 0.1, 0.2, SEA_LEVEL, fixed(20.0), 0.005, 0.0)
    assert found.latent == 0.0
    assert found.condensate == 0.0
    assert found.sensible == 1000.0
    assert found.surface == pytest.approx(20.0 - 1000.0 / (0.08 * (1006.0 + 1860.0 * 0.005)), rel=1e-12)
    assert split(500.0, 0.1, 0.2, SEA_LEVEL, fixed(20.0), 0.0, 0.0).sensible == 500.0


@pytest.mark.law
def test_nothing_taken_does_nothing() -> None:
    found = split(0.0, 0.0, 0.2, SEA_LEVEL, fixed(20.0), 0.005, 0.0)
    assert found == (20.0, 0.0, 0.0, 0.0, False)


@pytest.mark.law
def test_split_depends_on_heat_per_flow_only() -> None:
    """Two modules with two modules' heat are two coils: every term of the balance is per kg of air."""
    one = split(1500.0, 0.12, 0.2, SEA_LEVEL, fixed(20.0), 0.0073, 0.0)
    two = split(3000.0, 0.24, 0.2, SEA_LEVEL, fixed(20.0), 0.0073, 0.0)
    assert two.surface == pytest.approx(one.surface, abs=1e-7)
    assert two.latent == pytest.approx(2.0 * one.latent, rel=1e-7)


@pytest.mark.contract
def test_more_heat_than_the_air_can_give_is_said() -> None:
    """Down to -15 °C at the surface it works; beyond, the split is flagged, and still adds up.

    Dry air: the surface reaches -15 °C at contact flow x 1006 J/kgK x 35 K. Even a request that would bring
    the air below absolute zero comes back with its flag.
    """
    limit = 0.1 * 0.8 * 1006.0 * (20.0 - COLDEST_SURFACE)
    assert not split(0.999 * limit, 0.1, 0.2, SEA_LEVEL, fixed(20.0), 0.0, 0.0).frozen
    assert split(1.001 * limit, 0.1, 0.2, SEA_LEVEL, fixed(20.0), 0.0, 0.0).frozen
    for water in (0.0, 0.0073):
        absurd = split(1e6, 0.1, 0.2, SEA_LEVEL, fixed(20.0), water, 0.0)
        assert absurd.frozen
        assert absurd.sensible + absurd.latent == pytest.approx(1e6, rel=1e-14)
        assert 0.0 <= absurd.condensate <= 0.08 * water


@pytest.mark.law
@given(
    heat=st.floats(10.0, 5000.0),
    slope=st.floats(0.0, 0.02),
    low=st.floats(0.0, 19.0),
    water=st.floats(0.0, 0.016),
    feedback=st.floats(0.0, 0.9),
)
def test_coil_and_the_air_it_dries_agree(
    heat: float, slope: float, low: float, water: float, feedback: float
) -> None:
    """The air that a coil cools and dries itself: solved together, it is the air that gives the same split.

    The coil is asked again with the air it ends up with held fixed; both stop at 1e-9 of the heat.
    """
    air = Offer(24.0, slope, low, 22.0, np.inf)
    found = split(heat, 0.15, 0.2, SEA_LEVEL, air, (1.0 - feedback) * water, feedback)
    saturated, _ = humidity_at(max(found.surface, -100.0), 1.0, SEA_LEVEL)
    at_inlet = water if found.latent == 0.0 else (1.0 - feedback) * water + feedback * saturated
    again = split(heat, 0.15, 0.2, SEA_LEVEL, fixed(met(air, found.sensible)), at_inlet, 0.0)
    if found.surface > -90.0:
        assert again.surface == pytest.approx(found.surface, abs=1e-5)
        assert again.latent == pytest.approx(found.latent, abs=1e-6 * heat)


@pytest.mark.published
def test_latent_heat_is_that_of_the_vapour_less_its_condensate() -> None:
    """ASHRAE Fundamentals 2017, chapter 1: vapour 2501 + 1.86 t kJ/kg, water 4.186 t, ice not counted."""
    found = split(1500.0, 0.12, 0.2, SEA_LEVEL, fixed(20.0), 0.0073, 0.0)
    per_kg = VAPORISATION + CP_VAPOUR * 20.0 - CP_WATER * found.surface
    assert found.latent == pytest.approx(found.condensate * per_kg, rel=1e-12)


@pytest.mark.contract
def test_offer_is_a_bounded_line() -> None:
    offer = Offer(20.0, 0.01, 12.0, 19.0, np.inf)
    assert [met(offer, heat) for heat in (0.0, 300.0, 2000.0)] == [19.0, 17.0, 12.0]
