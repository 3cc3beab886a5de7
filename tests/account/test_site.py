"""Weights, floor loads, air and lines against tables of water and hand calculations."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.checks import Check, amount, counted, held, worst_first
from hpwhsim.account.site import Lines, Structure, service_checks, structural_checks, water_density
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent

GALLON = 3.785411784e-3  # m3, NIST SP 811 appendix B.8
POUND = 0.45359237  # kg

THOUSAND = Structure(
    volume_m3=1000.0 * GALLON,
    tanks=2,
    height_m=1.5,
    hot_c=60.0,
    empty_kg=None,
    footprint_m2=None,
    floor_pa=None,
    modules=2,
    module_kw=100.0,
    module_kg=None,
)


def row(checks: list[Check], name: str) -> Check:
    (found,) = [c for c in checks if c.name.startswith(name)]
    return found


def value(checks: list[Check], name: str) -> float:
    found = row(checks, name).value
    assert found is not None
    return found


@pytest.mark.published
@pytest.mark.parametrize(
    ("t", "kg_m3", "lb_gal"),
    [
        (4.0, 999.97, 8.345),
        (10.0, 999.70, 8.343),
        (15.0, 999.10, 8.338),
        (60.0, 983.20, 8.205),
        (82.0, 970.53, 8.100),
    ],
)
def test_density_of_water(t: float, kg_m3: float, lb_gal: float) -> None:
    """calibration-and-site-checks.md section 3 (IAPWS); half of the last digit, and 10 ppm of Kell's fit."""
    assert water_density(t) == pytest.approx(kg_m3, abs=0.005 + 0.01)
    assert water_density(t) * GALLON / POUND == pytest.approx(lb_gal, abs=0.0006)


def test_density_of_water_by_iapws() -> None:
    """IAPWS-95 by CoolProp, 0.5 to 99.5 degC at one atmosphere.

    Kell's fit is another equation on an older temperature scale: 10 ppm up to 60 degC, 20 ppm above.
    """
    from CoolProp.CoolProp import PropsSI

    for t in np.arange(0.5, 99.6, 3.0):
        exact = PropsSI("D", "T", 273.15 + t, "P", 101325.0, "Water")
        assert water_density(float(t)) == pytest.approx(exact, rel=1e-5 if t < 60.0 else 2e-5)
    for wrong in (-0.1, 100.1, float("nan")):
        with pytest.raises(OutOfRangeError, match="0 to 100"):
            water_density(wrong)


@pytest.mark.published
def test_a_thousand_gallons() -> None:
    """calibration-and-site-checks.md section 3: 8,343 lb of water at 10 degC; it grows 1.68 % to 60, 63 L.

    Half of the last printed digit. The shell: 0.8 to 1.5 lb/gal, common practice, no source.
    """
    checks = structural_checks(THOUSAND)
    shell = value(checks, "store empty")
    assert 0.8 < shell / POUND / 1000.0 < 1.5
    full = value(checks, "store full")
    assert (full - shell) / POUND == pytest.approx(8343.0, abs=0.6)
    assert value(checks, "one full tank") == pytest.approx(full / 2.0)
    grown = value(checks, "water that expands")
    assert grown / 3785.411784 == pytest.approx(0.0168, abs=5e-5)
    assert grown == pytest.approx(63.5, abs=0.5)
    loads = {c.name for c in checks if c.state == "confirm"}
    assert loads == {"floor load of the full store", "load of one module on the floor, over its footprint"}
    assert {c.state for c in checks if c.name not in loads} == {"information"}


@pytest.mark.published
def test_a_column_of_water_on_its_own_foot() -> None:
    """calibration-and-site-checks.md section 3: 1.5 m of water are 14.7 kPa, 307 lb/ft2; last digits."""
    checks = structural_checks(THOUSAND._replace(empty_kg=0.0, footprint_m2=1000.0 * GALLON / 1.5))
    load = value(checks, "floor load")
    assert load == pytest.approx(14.7, abs=0.05)
    assert row(checks, "floor load").text == "14.7 kPa (307 lb/ft2)"


def test_a_floor_that_carries_and_one_that_does_not() -> None:
    """The same store over 4 m2 and over 40 m2, a floor of 150 lb/ft2 (7.18 kPa)."""
    floor = 150.0 * POUND * 9.80665 / 0.3048**2
    heavy = row(structural_checks(THOUSAND._replace(footprint_m2=4.0, floor_pa=floor)), "floor load")
    light = row(structural_checks(THOUSAND._replace(footprint_m2=40.0, floor_pa=floor)), "floor load")
    assert (heavy.state, light.state) == ("fail", "ok")
    assert heavy.ratio == pytest.approx(10.0 * (light.ratio or 0.0))
    assert "at most 7.18 kPa (150 lb/ft2): exceeded" in heavy.limit
    assert "licensed structural engineer" in light.limit


@pytest.mark.published
def test_modules() -> None:
    """About 1,100 kg (2,500 lb) for a large module of 100 kW; common practice, no source. 5 %: 'about'."""
    assert value(structural_checks(THOUSAND), "one module") / POUND == pytest.approx(2500.0, rel=0.05)
    given_ = structural_checks(THOUSAND._replace(module_kg=900.0, modules=3))
    assert value(given_, "all modules") == 2700.0
    assert "given" in row(given_, "all modules").source
    assert not [c for c in structural_checks(THOUSAND._replace(modules=0)) if "module" in c.name]


def test_a_roof_carries_a_module_on_its_footprint() -> None:
    """By hand: 900 kg x 9.80665 over 1.5 m2 are 5.88 kPa (123 lb/ft2), whatever all modules weigh.

    Ordinary flat roofs are designed for 20 lb/ft2 (ASCE 7, from memory), said where nothing is given.
    """
    of = THOUSAND._replace(module_kg=900.0, module_m2=1.5, modules=4, outdoors=True)
    found = row(structural_checks(of), "load of one module on the roof")
    assert found.value == pytest.approx(5.884, abs=5e-4)
    assert found.state == "confirm"
    assert "(20 lb/ft2)" in found.limit
    assert "site.checks.max_roof_load" in found.limit
    for limit, state in ((4.0e3, "fail"), (6.0e3, "ok")):
        held_ = row(structural_checks(of._replace(under_pa=limit)), "load of one module on the roof")
        assert held_.state == state
        assert held_.ratio == pytest.approx(5884.0 / limit, rel=1e-4)
    on_tanks = structural_checks(of._replace(on_tanks=True))
    assert not [c for c in on_tanks if "footprint" in c.name]


@pytest.mark.law
@given(st.floats(0.1, 100.0), st.floats(1.1, 10.0))
def test_weight_grows_with_volume(volume: float, factor: float) -> None:
    """Law: weights are proportional to the volume, the load of the floor is not. 1e-12: rounding."""
    base = structural_checks(THOUSAND._replace(volume_m3=volume))
    more = structural_checks(THOUSAND._replace(volume_m3=factor * volume))
    for name in ("store empty", "store full", "water that expands"):
        assert value(more, name) == pytest.approx(factor * value(base, name), rel=1e-12)
    assert value(more, "floor load") == pytest.approx(value(base, "floor load"), rel=1e-12)


def test_air() -> None:
    """By hand: 30 kW over 1.2 kg/m3 x 1.006 kJ/kgK x 6 K = 4.14 m3/s, at 2.5 m/s 1.66 m2; 8,780 cfm."""
    checks = service_checks(source_kw=30.0, indoors=True)
    assert value(checks, "air flow") == pytest.approx(4.142, abs=5e-4)
    assert row(checks, "air flow").text == "4.14 m3/s (8,780 cfm)"
    opening = row(checks, "free area")
    assert opening.limit_value == pytest.approx(1.657, abs=5e-4)
    assert (opening.value, opening.state) == (None, "confirm")
    assert row(checks, "condensate drain").text == "not given"
    # met it stays to be confirmed: the limit is common practice only
    for opening_m2, words, state in ((2.0, ": met", "confirm"), (1.0, ": not met", "fail")):
        found = row(service_checks(source_kw=30.0, opening_m2=opening_m2), "free area")
        assert words in found.limit
        assert found.state == state
        assert found.ratio == pytest.approx(1.657 / opening_m2, abs=5e-4)


@pytest.mark.contract
def test_no_opening_for_a_machine_outdoors() -> None:
    assert not [c for c in service_checks(source_kw=30.0) if "opening" in c.name]


def test_air_by_the_flow_of_the_units() -> None:
    """A flow that is known goes before one worked out from heat: 0.35 m3/s at 2.5 m/s need 0.14 m2."""
    checks = service_checks(source_kw=30.0, airflow=(0.35, "as given"), indoors=True)
    assert value(checks, "air flow") == 0.35
    assert row(checks, "free area").limit_value == pytest.approx(0.14)
    assert row(checks, "air flow").source.startswith("as given")


def test_a_loop_tank_is_weighed_apart() -> None:
    """By hand: 1,000 gal of water at 10 degC are 8,343 lb; the store's own rows stay as they are."""
    checks = structural_checks(THOUSAND._replace(loop_tank_m3=1000.0 * GALLON))
    shell = 140.0 * 1000.0 * GALLON
    assert (value(checks, "loop tank full") - shell) / POUND == pytest.approx(8343.0, abs=0.6)
    assert [c for c in checks if not c.name.startswith("loop tank")] == structural_checks(THOUSAND)


FEET = 0.3048  # m


def lines(length: float, height: float = 0.0, **limits: float) -> Lines:
    """Lines of a one-to-one split: 25 to 50 ft are common (common practice, no source)."""
    of = Lines("refrigerant lines", length, height, None, None, 50.0 * FEET, 30.0 * FEET)
    return of._replace(**limits)


@pytest.mark.contract
def test_lines_are_held_against_what_is_common() -> None:
    """Beyond it a person has to look; it fails nothing."""
    for feet, beyond in ((49.0, False), (51.0, True)):
        length, height = service_checks(lines=lines(feet * FEET))
        assert length.beyond == beyond
        assert (length.state, height.state) == ("confirm", "confirm")
        assert length.ratio == pytest.approx(feet / 50.0)
        assert "common practice, no source" in length.source


@pytest.mark.contract
def test_lines_are_held_against_the_machines_own_limits() -> None:
    own = lines(80.0 * FEET, 20.0, max_length=100.0 * FEET, max_height=15.0)
    length, height = service_checks(lines=own)
    assert (length.state, height.state) == ("ok", "fail")
    assert height.ratio == pytest.approx(20.0 / 15.0)
    free = own._replace(max_length=None, max_height=None, usual_length=None, usual_height=None)
    assert {c.state for c in service_checks(lines=free)} == {"information"}


@pytest.mark.contract
def test_heat_trace_and_drain() -> None:
    assert service_checks() == []
    checks = service_checks(trace_heating_kw=1.2, source_kw=10.0, condensate_l_per_day=18.9)
    assert "emergency power" in row(checks, "heat trace").limit
    assert row(checks, "condensate drain").text == "18.9 L/day (4.99 gal/day)"


@pytest.mark.contract
def test_a_limit_from_memory_is_never_ok() -> None:
    assert held("x", 1.0, 2.0, "kg", "s").state == "ok"
    assert held("x", 2.0, 2.0, "kg", "s").state == "ok"
    assert held("x", 2.1, 2.0, "kg", "s").state == "fail"
    assert held("x", 1.0, 2.0, "kg", "s", sure=False).state == "confirm"
    assert held("x", 2.1, 2.0, "kg", "s", sure=False).state == "fail"
    assert held("x", 1.0, 2.0, "kg", "s", limit_kind="at least").state == "fail"
    assert held("x", 1.0, 2.0, "kg", "s", limit_kind="at least").ratio == 2.0
    assert held("x", 2.0, 2.0, "kg", "s", limit_kind="at least").state == "ok"
    assert held("x", 2.0, 2.0, "kg", "s", limit_kind="below").state == "fail"


@pytest.mark.contract
def test_what_failed_comes_first_by_how_far() -> None:
    some = [
        Check("weight", 1.0, "kg", "", "", "information"),
        held("fits", 1.0, 2.0, "kg", "s"),
        held("a little over", 2.1, 2.0, "kg", "s"),
        Check("not given", None, "kg", "", "", "confirm"),
        held("far over", 9.0, 2.0, "kg", "s"),
    ]
    found = worst_first(some)
    assert [c.name for c in found] == ["far over", "a little over", "not given", "fits", "weight"]
    assert counted(c.state for c in found) == "2 fail, 1 confirm, 1 ok, 1 information"


@pytest.mark.published
def test_checks_go_into_the_users_units() -> None:
    """NIST SP 811 appendix B.8: 1 lb/ft2 is 47.88026 Pa; value and limit go together, their ratio stays."""
    check = held("floor", 9.576052, 4.788026, "kPa", "s")
    us = check.in_units(us=True)
    assert us.value == pytest.approx(200.0)
    assert us.limit_value == pytest.approx(100.0)
    assert (us.unit, us.ratio) == ("lb/ft2", pytest.approx(check.ratio))
    assert us.text == "200 lb/ft2 (9.58 kPa)"
    assert us.in_units(us=False).value == pytest.approx(9.576052)
    assert held("x", 3.0, 2.0, "A", "s").in_units(us=True).unit == "A"


@pytest.mark.published
def test_amounts_in_both_units() -> None:
    """NIST SP 811 appendix B.8: lb 0.45359237 kg, ft 0.3048 m, gal 3.785411784 L."""
    assert amount(0.0, "A") == "0 A"
    assert amount(123456.0, "kg") == "123,000 kg (272,000 lb)"
    assert amount(0.0123, "m") == "0.0123 m (0.0404 ft)"


@pytest.mark.contract
@pytest.mark.parametrize(
    "change",
    [
        {"volume_m3": 0.0},
        {"height_m": -1.0},
        {"tanks": 0},
        {"footprint_m2": 0.0},
        {"floor_pa": 0.0},
        {"empty_kg": -1.0},
        {"module_kg": float("nan")},
        {"module_kw": float("inf")},
    ],
)
def test_impossible_structures_are_refused(change: dict[str, Any]) -> None:
    with pytest.raises(OutOfRangeError, match="site check"):
        structural_checks(THOUSAND._replace(**change))


@pytest.mark.contract
def test_impossible_services_are_refused() -> None:
    for options in ({"trace_heating_kw": -1.0}, {"source_kw": float("nan")}, {"lines": lines(-1.0)}):
        with pytest.raises(OutOfRangeError, match="site check"):
            service_checks(**options)
