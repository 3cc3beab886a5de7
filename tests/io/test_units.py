"""Quantities against outside values, round trips, and what is refused."""

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.errors import InputError
from hpwhsim.io import units
from hpwhsim.io.units import (
    CONDUCTIVITY,
    DAILY_VOLUME,
    DIFFERENCE,
    DURATION,
    FLOW,
    HEAT_LOSS,
    LENGTH,
    MASS_FACTOR,
    POWER,
    TEMPERATURE,
    VOLUME,
    Kind,
    QuantityError,
    as_text,
    read_quantity,
)

pytestmark = pytest.mark.published
KINDS = [value for value in vars(units).values() if isinstance(value, Kind)]

BTU = 1055.05585262  # J, International Table, NIST SP 811 appendix B.8
GALLON = 3.785411784e-3  # m3, exact: 231 cubic inches, NIST SP 811 appendix B.8
POUND = 0.45359237  # kg, exact, NIST SP 811 appendix B.8


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("40 gal", VOLUME, 40 * GALLON),
        ("1,000 gal", VOLUME, 1000 * GALLON),
        ("1e3 gal", VOLUME, 1000 * GALLON),
        ("40gal", VOLUME, 40 * GALLON),
        ("150 L", VOLUME, 0.150),
        ("10 ft3", VOLUME, 10 * 0.028316846592),  # NIST SP 811 B.8: cubic foot, all digits
        ("132 L", DAILY_VOLUME, 0.132),
        ("35 gal", DAILY_VOLUME, 35 * GALLON),
        ("35 gal/day", DAILY_VOLUME, 35 * GALLON),
        ("35 gal per day", DAILY_VOLUME, 35 * GALLON),
        ("35 gpd", DAILY_VOLUME, 35 * GALLON),
        ("35 kW", POWER, 35000.0),
        ("100 W", POWER, 100.0),
        ("400 kBtu/h", POWER, 400e3 * BTU / 3600),
        ("400 MBH", POWER, 400e3 * BTU / 3600),
        ("0.4 MMBtu/hr", POWER, 400e3 * BTU / 3600),
        ("2 ton_refrigeration", POWER, 24000 * BTU / 3600),  # 12,000 Btu/h each, NIST SP 811 B.8
        ("2 tons", POWER, 24000 * BTU / 3600),
        ("2 ton", POWER, 24000 * BTU / 3600),
        ("2 tons of refrigeration", POWER, 24000 * BTU / 3600),
        ("2.2 W/K", HEAT_LOSS, 2.2),
        ("2 W/degC", HEAT_LOSS, 2.0),  # as one expression this can come out 274 times too small
        ("2 W/°C", HEAT_LOSS, 2.0),
        ("8 Btu/h/delta_degF", HEAT_LOSS, 8 * BTU / 3600 * 1.8),
        ("8 Btu/(h*degF)", HEAT_LOSS, 8 * BTU / 3600 * 1.8),
        ("8 Btu/h-°F", HEAT_LOSS, 8 * BTU / 3600 * 1.8),
        ("1.5 m", LENGTH, 1.5),
        ("60 in", LENGTH, 1.524),  # an inch is 25.4 mm, exact
        ("5 ft", LENGTH, 1.524),
        ("10 min", DURATION, 600.0),
        ("2 h", DURATION, 7200.0),
        ("12 gpm", FLOW, 12 * GALLON / 60),
        ("100 cfm", FLOW, 100 * 0.028316846592 / 60),
        ("0.64 W/m/K", CONDUCTIVITY, 0.64),
        ("0.64 W/(m K)", CONDUCTIVITY, 0.64),
        ("0.64 W/mK", CONDUCTIVITY, 0.64),
        ("0.64 W/m-K", CONDUCTIVITY, 0.64),
        ("0.39 kg/kWh", MASS_FACTOR, 0.39),
        ("860 lb/MWh", MASS_FACTOR, 860 * POUND / 1000),
        ("10 delta_degF", DIFFERENCE, 10 / 1.8),
        ("5 K", DIFFERENCE, 5.0),
        ("5 delta_degC", DIFFERENCE, 5.0),
    ],
)
def test_text_reads_as_engineers_mean_it(text: str, kind: Kind, value: float) -> None:
    """Defined or exact factors, NIST SP 811 (2008) appendix B.8; only rounding of floats is allowed."""
    assert read_quantity(text, kind) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "degc"),
    [
        ("32 degF", 0.0),  # melting ice
        ("212 degF", 100.0),
        ("-40 degF", -40.0),  # where the two scales cross
        ("140 °F", 60.0),
        ("140 deg F", 60.0),
        ("−10 °C", -10.0),
        ("273.15 K", 0.0),
    ],
)
def test_fixed_points_of_the_temperature_scales(text: str, degc: float) -> None:
    """Fixed points of the Fahrenheit and Celsius scales; exact, because a reading is rounded to 1e-9 K."""
    assert read_quantity(text, TEMPERATURE) == degc


@pytest.mark.parametrize(
    ("text", "kind", "published", "half_digit"),
    [
        ("1 kBtu/h", POWER, 1e6 / 3412.142, 0.0005 / 3412.142 * 1e6 / 3412.142),  # 1 kWh = 3412.142 Btu
        ("1 therm/h", POWER, 29307.1, 0.05),  # 29.3071 kWh
        ("1 MMBtu/h", POWER, 293071.1, 0.05),  # 293.0711 kWh
        ("1 Btu/h-ft-degF", CONDUCTIVITY, 1.7307, 0.00005),
        ("1 ton_refrigeration", POWER, 12000 * 1055.05585 / 3600, 12000 * 0.000005 / 3600),
        ("1 gal", VOLUME, 3.785411784e-3, 5e-13),
    ],
)
def test_published_conversions(text: str, kind: Kind, published: float, half_digit: float) -> None:
    """Check values, fluid properties, section 3; the tolerance is half of the last printed digit."""
    assert read_quantity(text, kind) == pytest.approx(published, rel=0, abs=half_digit)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("text", "kind", "hint"),
    [
        ("40", VOLUME, "such as '40 gal' (write the unit too)"),
        (40, VOLUME, "such as '40 gal' (write the unit too)"),
        (40.5, POWER, "such as '35 kW'"),
        (True, VOLUME, "write a number and its unit"),
        (None, VOLUME, "write a number and its unit"),
        ("", VOLUME, "write a number and its unit"),
        ("gal", VOLUME, "write a number and its unit"),
        ("150 F", TEMPERATURE, "write degF"),
        ("60 C", TEMPERATURE, "write degC"),
        ("2 W/C", HEAT_LOSS, "write degC"),
        ("5 degC", DIFFERENCE, "write delta_degC"),
        ("9 degF", DIFFERENCE, "write delta_degF"),
        ("10 delta_degF", TEMPERATURE, "not a difference"),
        ("2 ton", VOLUME, "kg, lb or tonne"),
        ("2 tons", MASS_FACTOR, "kg, lb or tonne"),
        ("0.4 ton/MWh", MASS_FACTOR, "kg, lb or tonne"),
        ("400 MBtu/h", POWER, "kBtu for a thousand or MMBtu for a million"),
        ("40 galons", VOLUME, "did you mean 'gallons'?"),
        ("35 mw", POWER, "no unit"),  # MW or mW: not ours to guess
        ("40 gal/day", VOLUME, "does not measure a volume"),
        ("12 gpm", VOLUME, "does not measure a volume"),
        ("35 kWh", POWER, "does not measure a power"),
        ("5 m", POWER, "does not measure a power"),
        ("nan gal", VOLUME, "finite"),
        ("inf gal", VOLUME, "finite"),
        ("1e999 gal", VOLUME, "too large"),
        ("1,5 gal", VOLUME, "a comma may only part thousands"),
        ("1,0000 gal", VOLUME, "a comma may only part thousands"),
        ("1/2 in", LENGTH, "one number and one unit"),
        ("5 ft 6 in", LENGTH, "one number and one unit"),
        ("40-50 gal", VOLUME, "one number and one unit"),
        ("3 (m", LENGTH, "does not measure a length"),
        ("3 m**", LENGTH, "does not measure a length"),
        ("3 m**m", LENGTH, "does not measure a length"),
        ("3 m**99999999", LENGTH, "one number and one unit"),
        ("3 __class__", LENGTH, "no unit"),
    ],
)
def test_refusals_say_what_to_write(text: object, kind: Kind, hint: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, kind)
    message = str(caught.value)
    assert hint in message
    assert "\n" not in message
    assert isinstance(caught.value, InputError)


@pytest.mark.law
@settings(deadline=None)  # the first reading imports pint
@given(st.sampled_from(KINDS), st.floats(allow_nan=False, allow_infinity=False))
def test_what_is_written_reads_back_the_same(kind: Kind, value: float) -> None:
    """A law: as_text then read_quantity is the identity, to the bit."""
    back = read_quantity(as_text(value, kind), kind)
    assert back == value
    assert math.copysign(1.0, back) == math.copysign(1.0, value)


@pytest.mark.slow
@pytest.mark.contract
@settings(deadline=None)  # the first reading imports pint
@given(st.text(max_size=30), st.sampled_from(KINDS))
def test_any_text_is_read_or_refused_never_a_crash(text: str, kind: Kind) -> None:
    for candidate in (text, f"5 {text}"):
        try:
            value = read_quantity(candidate, kind)
        except QuantityError:
            continue
        assert math.isfinite(value)


@settings(deadline=None)  # the first reading imports pint
@given(st.floats(-459, 1e4))
def test_fahrenheit_to_celsius(fahrenheit: float) -> None:
    """(F - 32) / 1.8 by definition; 1e-9 K because a reading is rounded there."""
    assert read_quantity(f"{fahrenheit!r} degF", TEMPERATURE) == pytest.approx(
        (fahrenheit - 32) / 1.8, abs=1.1e-9
    )


@pytest.mark.contract
def test_example_of_each_kind_reads() -> None:
    assert all(math.isfinite(read_quantity(kind.example, kind)) for kind in KINDS)


@pytest.mark.contract
def test_import_does_not_load_pint() -> None:
    code = "import sys, hpwhsim.io.units; print('pint' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"
