"""Currents, ampacity, breakers and transformers against code examples and a table of transformers."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.checks import Check
from hpwhsim.account.electrical import (
    IEC_BREAKERS,
    NEC_BREAKERS,
    TRANSFORMERS,
    Service,
    amperes,
    electrical_checks,
    least_ampacity,
    next_size,
)
from hpwhsim.errors import OutOfRangeError

PLANT = Service(
    worst_quarter_kw=40.0,
    modules=2,
    compressor_kw=15.0,
    resistance_kw=24.0,
    trace_kw=0.0,
    other_kw=1.8,
    power_factor=0.9,
    volts=208.0,
    phases=3,
    building_volts=None,
    spare_amperes=None,
)


def row(checks: list[Check], name: str) -> Check:
    (found,) = [c for c in checks if c.name.startswith(name)]
    return found


def test_code_examples() -> None:
    """Trade press on NEC 422: examples of water heaters at 240 V. Half of the last digits.

    4,500 W: 18.75 A, conductors for 23.44 A, breaker to 150 %: 28.1, so 30 A (ecmweb.com article 20899335).
    5,500 W: 22.9 A, x 1.25 = 28.6 A, next breaker 30 A (forums.mikeholt.com).
    """
    small = amperes(4.5, 240.0, 1)
    assert small == 18.75
    assert least_ampacity([], 0.0, small) == pytest.approx(23.44, abs=0.005)
    assert next_size(1.5 * small, NEC_BREAKERS) == 30
    large = amperes(5.5, 240.0, 1)
    assert large == pytest.approx(22.9, abs=0.05)
    assert least_ampacity([], 0.0, large) == pytest.approx(28.6, abs=0.05)
    assert next_size(least_ampacity([], 0.0, large), NEC_BREAKERS) == 30


@pytest.mark.parametrize(
    ("kva", "at_208", "at_400", "at_480"),
    [
        (30, 83.3, 43.3, 36.1),
        (45, 124.9, 65.0, 54.1),
        (75, 208.2, 108.3, 90.2),
        (112.5, 312.3, 162.4, 135.3),
        (150, 416.4, 216.5, 180.4),
        (225, 624.5, 324.8, 270.6),
        (300, 832.7, 433.0, 360.8),
        (500, 1388.0, 721.7, 601.4),
        (750, 2082.0, 1083.0, 902.1),
        (1000, 2776.0, 1443.0, 1203.0),
    ],
)
def test_transformer_table(kva: float, at_208: float, at_400: float, at_480: float) -> None:
    """calibration-and-site-checks.md section 4; half of the last printed digit."""
    assert kva in TRANSFORMERS[3]
    for volts, published in ((208.0, at_208), (400.0, at_400), (480.0, at_480)):
        digit = 0.5 if published > 1000.0 else 0.051
        assert amperes(kva, volts, 3) == pytest.approx(published, abs=digit)


def test_a_plant_by_hand() -> None:
    """Two compressors of 15 kW, 24 kW of resistance, 1.8 kW of pumps, power factor 0.9, 208 V three-phase.

    15 / 0.9 = 16.667 kVA: 46.26 A; 24 kVA: 66.62 A; 2 kVA: 5.55 A. Full load 164.69 A; ampacity
    2.25 x 46.26 + 5.55 + 1.25 x 66.62 = 192.91 A, next breaker 200 A. One module 57.83 A, breaker 60 A.
    """
    checks = electrical_checks(PLANT)
    assert row(checks, "demand").value == pytest.approx(44.44, abs=0.005)
    assert row(checks, "current").value == pytest.approx(123.4, abs=0.05)
    assert row(checks, "connected load").value == pytest.approx(59.33, abs=0.005)
    assert row(checks, "full-load current").value == pytest.approx(164.69, abs=0.01)
    plant = row(checks, "minimum circuit ampacity, plant")
    assert plant.value == pytest.approx(192.91, abs=0.01)
    assert "next breaker 200 A" in plant.limit
    module = row(checks, "minimum circuit ampacity, one module")
    assert module.value == pytest.approx(57.83, abs=0.01)
    assert "next breaker 60 A" in module.limit
    heaters = row(checks, "minimum circuit ampacity, resistance")
    assert heaters.value == pytest.approx(83.27, abs=0.01)
    assert "next breaker 90 A" in heaters.limit
    assert {c.state for c in checks} == {"confirm"}
    assert all("local electrical code" in c.limit for c in checks)


def test_heat_trace_has_a_circuit_of_its_own() -> None:
    """2.4 kW on 208 V three-phase: 6.66 A, by NEC 427.4 (from memory) 125 % of it, 8.33 A, breaker 15 A.

    The plant's ampacity grows by these 8.33 A, its connected load by 2.4 kVA: 59.33 and 192.91 without it.
    """
    checks = electrical_checks(PLANT._replace(trace_kw=2.4))
    trace = row(checks, "minimum circuit ampacity, heat trace")
    assert trace.value == pytest.approx(8.33, abs=0.005)
    assert "next breaker 15 A" in trace.limit
    assert row(checks, "minimum circuit ampacity, plant").value == pytest.approx(201.24, abs=0.01)
    assert row(checks, "connected load").value == pytest.approx(61.73, abs=0.005)
    assert row(checks, "full-load current").value == pytest.approx(171.35, abs=0.01)
    without = electrical_checks(PLANT)
    assert not [c for c in without if c.name.endswith("heat trace")]


def test_demand_is_no_more_than_what_is_connected() -> None:
    """30 kW of resistance alone are 30 kVA, not 30 / 0.9; and 83.3 A at 208 V (its table of transformers)."""
    heaters = PLANT._replace(worst_quarter_kw=30.0, modules=0, resistance_kw=30.0, other_kw=0.0)
    checks = electrical_checks(heaters)
    assert row(checks, "demand").value == row(checks, "connected load").value == 30.0
    assert row(checks, "current").value == pytest.approx(83.3, abs=0.05)


def test_transformer_where_the_voltage_is_not_the_buildings() -> None:
    """59.3 kVA connected: 75 kVA is the next standard size; none where the voltages are the same."""
    other = row(electrical_checks(PLANT._replace(building_volts=480.0)), "transformer")
    assert "480 V to 208 V: 75 kVA" in other.limit
    same = electrical_checks(PLANT._replace(building_volts=208.0))
    assert row(same, "voltage of the building").state == "ok"
    assert not [c for c in same if c.name == "transformer"]
    huge = PLANT._replace(modules=100, building_volts=480.0)
    assert "more than one transformer" in row(electrical_checks(huge), "transformer").limit


@pytest.mark.parametrize(("building", "volts"), [(208.0, 120.0), (240.0, 120.0), (400.0, 230.0)])
def test_one_phase_is_fed_from_line_and_neutral(building: float, volts: float) -> None:
    """V / sqrt(3) in a star (208Y/120, 400Y/230), half of V in 240/120 split phase; common practice."""
    of = PLANT._replace(modules=1, compressor_kw=1.0, volts=volts, phases=1, building_volts=building)
    assert row(electrical_checks(of), "voltage of the building").state == "ok"
    assert row(electrical_checks(of._replace(building_volts=480.0)), "transformer").state == "confirm"


def test_service_that_is_left() -> None:
    """192.9 A against 400 A and against 150 A."""
    assert row(electrical_checks(PLANT._replace(spare_amperes=400.0)), "plant against").state == "ok"
    assert row(electrical_checks(PLANT._replace(spare_amperes=150.0)), "plant against").state == "confirm"


def test_sizes_by_standard() -> None:
    """230 and 400 V are fed by IEC breakers; above the largest size there are several circuits."""
    name = "minimum circuit ampacity, plant"
    assert "IEC" in row(electrical_checks(PLANT._replace(volts=400.0)), name).source
    assert "NEC" in row(electrical_checks(PLANT._replace(volts=480.0)), name).source
    assert "several circuits" in row(electrical_checks(PLANT._replace(compressor_kw=1500.0)), name).limit
    for sizes in (NEC_BREAKERS, IEC_BREAKERS, *TRANSFORMERS.values()):
        assert list(sizes) == sorted(set(sizes))
        assert next_size(float(sizes[-1]), sizes) == sizes[-1]
        assert next_size(sizes[-1] + 1.0, sizes) is None


@given(st.lists(st.floats(0.0, 500.0), max_size=6), st.floats(0.0, 500.0), st.floats(0.0, 500.0))
def test_ampacity_lies_between_the_sum_and_a_quarter_more(
    motors: list[float], other: float, resistance: float
) -> None:
    """Law: at least the full-load current, at most 1.25 of it, and blind to the order. 1e-12: rounding."""
    total = sum(motors) + other + resistance
    found = least_ampacity(motors, other, resistance)
    assert total * (1.0 - 1e-12) <= found <= 1.25 * total * (1.0 + 1e-12)
    assert least_ampacity(motors[::-1], other, resistance) == pytest.approx(found, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"volts": 277.0}, "277 V with 3 phases; allowed 1 phase: 120, 208, 230, 240 V; 3 phase: 208"),
        ({"volts": 120.0}, "120 V with 3 phases"),
        ({"phases": 2}, "2 phases"),
        ({"power_factor": 0.0}, "power factor: got 0"),
        ({"power_factor": 1.1}, "power factor: got 1.1"),
        ({"compressor_kw": -1.0}, "compressor"),
        ({"resistance_kw": float("nan")}, "resistance"),
        ({"trace_kw": -1.0}, "heat trace"),
    ],
)
def test_impossible_services_are_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        electrical_checks(PLANT._replace(**change))
    assert words in str(caught.value)
