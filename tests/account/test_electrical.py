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
    Circuit,
    Service,
    amperes,
    at_service,
    electrical_checks,
    largest_size,
    least_ampacity,
    next_size,
    protection,
)
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent

PLANT = Service(
    worst_quarter_kw=40.0,
    modules=2,
    compressor_kw=15.0,
    beside_kw=0.0,
    resistance_kw=24.0,
    element_kw=0.0,
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


@pytest.mark.published
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


@pytest.mark.published
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
    2.25 x 46.26 + 5.55 + 1.25 x 66.62 = 192.91 A. Device of the plant (NEC 440.22(B), from memory): 1.75
    x 46.26 + 46.26 + 5.55 + 83.27 = 216.0 A, the size at or below it 200 A; with 2.25 it is 239.2 A, 225 A.
    One module 57.83 A; device at most 80.96 A, so 80 A, and 104.1 A, so 100 A.
    """
    checks = electrical_checks(PLANT)
    assert row(checks, "demand").value == pytest.approx(44.44, abs=0.005)
    assert row(checks, "current").value == pytest.approx(123.4, abs=0.05)
    assert row(checks, "connected load").value == pytest.approx(59.33, abs=0.005)
    assert row(checks, "full-load current").value == pytest.approx(164.69, abs=0.01)
    plant = row(checks, "minimum circuit ampacity, plant")
    assert plant.value == pytest.approx(192.91, abs=0.01)
    assert "at most 200 A, up to 225 A" in plant.limit
    module = row(checks, "minimum circuit ampacity, one module")
    assert module.value == pytest.approx(57.83, abs=0.01)
    assert "at most 80 A, up to 100 A" in module.limit
    heaters = row(checks, "minimum circuit ampacity, resistance")
    assert heaters.value == pytest.approx(83.27, abs=0.01)
    assert "next breaker 90 A" in heaters.limit
    confirm = {c.name for c in checks if c.state == "confirm"}
    assert confirm == {"plant on the building's service", "voltage of the building"}  # nothing is given
    assert {c.state for c in checks if c.name not in confirm} == {"information"}
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


@pytest.mark.law
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


@pytest.mark.contract
def test_service_that_is_left() -> None:
    """192.9 A against 400 A and against 150 A; at an unknown voltage what is met stays to be confirmed."""
    name = "plant on the building"
    for spare, state in ((400.0, "ok"), (150.0, "fail")):
        given_ = PLANT._replace(spare_amperes=spare, building_volts=208.0)
        found = row(electrical_checks(given_), name)
        assert (found.state, found.limit_value) == (state, spare)
        assert found.ratio == pytest.approx(192.91 / spare, abs=1e-4)
        assert "no transformer" in found.limit
    unknown = row(electrical_checks(PLANT._replace(spare_amperes=400.0)), name)
    assert unknown.state == "confirm"
    assert "site.checks.building_voltage" in unknown.limit


@pytest.mark.law
def test_a_service_of_another_voltage_is_asked_at_its_own() -> None:
    """A transformer carries the same kVA: 93 A at 480 V are 93 x 480 / 208 = 214.6 A at 208 V.

    So 100 A that a 208 V panel has left do not feed a plant that draws 93 A at 480 V. By the table of
    transformers (calibration-and-site-checks.md section 4) 75 kVA are 90.2 A there and 208.2 A here.
    """
    assert at_service(93.0, 480.0, 3, 208.0) == pytest.approx(214.6, abs=0.05)
    assert at_service(90.2, 480.0, 3, 208.0) == pytest.approx(208.2, abs=0.1)
    assert at_service(50.0, 240.0, 1, 480.0) == 25.0
    plant = PLANT._replace(volts=480.0, building_volts=208.0, spare_amperes=100.0)
    checks = electrical_checks(plant)
    found, here = row(checks, "plant on the building"), row(checks, "minimum circuit ampacity, plant").value
    assert here is not None
    assert here < 100.0  # at the plant's voltage it would pass
    assert found.state == "fail"
    assert found.value == pytest.approx(here * 480.0 / 208.0)
    assert f"{found.value:.4g} A at the service's 208 V for {here:.4g} A at the plant's 480 V" in found.limit
    enough = row(electrical_checks(plant._replace(spare_amperes=200.0)), "plant on the building")
    assert enough.state == "ok"


@pytest.mark.law
@pytest.mark.parametrize(("building", "volts"), [(208.0, 120.0), (240.0, 120.0), (400.0, 230.0)])
def test_line_and_neutral_need_no_transformer(building: float, volts: float) -> None:
    """The current of a load between line and neutral is that of the line."""
    assert at_service(20.0, volts, 1, building) == 20.0


@pytest.mark.published
@pytest.mark.parametrize(
    ("motor", "usual", "most"),
    [(46.26, 80, 100), (20.0, 35, 45), (8.0, 15, 15), (5.0, 15, 15), (100.0, 175, 225), (3.0, 15, 15)],
)
def test_a_motor_compressor_has_no_breaker_of_the_next_size(motor: float, usual: int, most: int) -> None:
    """NEC 440.22(A), from memory: at most 175 %, 225 % to start, a standard size not above, 15 A at least.

    20 A: 35 and 45 A are sizes themselves; 100 A: 175 and 225 A; 8 A: 14 A is below 15 A.
    """
    circuit = Circuit([motor], 0.0, 0.0)
    assert (protection(circuit, 1.75), protection(circuit, 2.25)) == (usual, most)


@pytest.mark.law
def test_protection_never_undercuts_the_conductors_need() -> None:
    """Law: what protects a circuit passes the ampacity that it must carry."""
    for motor in (1.0, 7.9, 11.9, 23.0, 61.0, 333.0):
        for heaters in (0.0, 10.0, 400.0):
            circuit = Circuit([motor, 0.5 * motor], 2.0, heaters)
            size = protection(circuit, 1.75)
            assert size is not None
            assert size >= least_ampacity(circuit.motors, circuit.other, circuit.continuous)
    assert protection(Circuit([5000.0], 0.0, 0.0), 1.75) is None
    assert largest_size(14.0, NEC_BREAKERS) is None


def test_the_nameplate_goes_before_what_is_worked_out() -> None:
    """By hand: MCA 60 A of two modules without fans: 48 A each; plant 60 + 48 + 5.55 + 83.27 = 196.8 A.

    The module's own 57.83 A pass below 60 A; below 50 A they are to be confirmed.
    """
    named = electrical_checks(PLANT._replace(module_mca=60.0, module_mop=90.0))
    module = row(named, "minimum circuit ampacity, one module")
    assert (module.state, module.limit_value) == ("ok", 60.0)
    assert row(named, "maximum overcurrent protection").state == "ok"
    assert row(named, "minimum circuit ampacity, plant").value == pytest.approx(196.8, abs=0.05)
    small = electrical_checks(PLANT._replace(module_mca=50.0))
    assert row(small, "minimum circuit ampacity, one module").state == "confirm"
    assert row(electrical_checks(PLANT._replace(module_mop=50.0)), "maximum overcurrent").state == "fail"


def test_an_element_in_a_packaged_unit_is_on_its_circuit() -> None:
    """By hand: two units with 4.5 kW each at 240 V, one phase: 18.75 A (ecmweb.com article 20899335), x 1.25.

    A compressor of 0.9 kW at 0.9 is 4.167 A: 1.25 x 4.167 + 23.44 = 28.65 A; the other heaters are 15 kW.
    """
    unit = PLANT._replace(volts=240.0, phases=1, compressor_kw=0.9, element_kw=4.5, other_kw=0.0)
    checks = electrical_checks(unit)
    assert row(checks, "minimum circuit ampacity, one module").value == pytest.approx(28.65, abs=0.01)
    apart = row(checks, "minimum circuit ampacity, resistance heaters")
    assert apart.value == pytest.approx(1.25 * 62.5)
    inside = electrical_checks(unit._replace(resistance_kw=9.0))
    assert not [c for c in inside if "resistance heaters" in c.name]
    plant = row(inside, "minimum circuit ampacity, plant").value
    assert plant == pytest.approx(2.25 * 4.1667 + 2 * 23.4375, abs=0.01)
    named = row(
        electrical_checks(unit._replace(resistance_kw=9.0, module_mca=28.65)), "minimum circuit ampacity, p"
    )
    assert named.value == pytest.approx(plant, abs=0.02)


def test_fans_and_pumps_of_a_module_count() -> None:
    """0.9 kW at a power factor of 0.9 are 1 kVA: 2.776 A at 208 V in each of both modules."""
    checks = electrical_checks(PLANT._replace(beside_kw=0.9))
    module = row(checks, "minimum circuit ampacity, one module")
    assert module.value == pytest.approx(57.83 + 2.776, abs=0.01)
    assert row(checks, "minimum circuit ampacity, plant").value == pytest.approx(192.91 + 5.55, abs=0.02)


@pytest.mark.published
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


@pytest.mark.law
@given(st.lists(st.floats(0.0, 500.0), max_size=6), st.floats(0.0, 500.0), st.floats(0.0, 500.0))
def test_ampacity_lies_between_the_sum_and_a_quarter_more(
    motors: list[float], other: float, resistance: float
) -> None:
    """Law: at least the full-load current, at most 1.25 of it, and blind to the order. 1e-12: rounding."""
    total = sum(motors) + other + resistance
    found = least_ampacity(motors, other, resistance)
    assert total * (1.0 - 1e-12) <= found <= 1.25 * total * (1.0 + 1e-12)
    assert least_ampacity(motors[::-1], other, resistance) == pytest.approx(found, rel=1e-12)


@pytest.mark.contract
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
        ({"beside_kw": -1.0}, "fan and pump"),
        ({"module_mca": float("inf")}, "module_mca"),
    ],
)
def test_impossible_services_are_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        electrical_checks(PLANT._replace(**change))
    assert words in str(caught.value)
