"""Results in inch-pound units."""

import pytest

from hpwhsim.results.declared import declarations
from hpwhsim.results.inch_pound import inch_pound

# NIST SP 811 (2008), appendix B.8: SI value of one unit; temperatures B.5
PUBLISHED = {
    "kBtu": ("kWh", 1055.056 / 3600.0),
    "therm": ("kWh", 1.055056e8 / 3.6e6),
    "gal": ("m3", 3.785412e-3),
    "lb": ("kg", 0.4535924),
    "Btu/h": ("W", 1055.056 / 3600.0),
}


@pytest.mark.published
def test_factors_are_those_of_the_tables() -> None:
    seen = set()
    for row in declarations().values():
        us = inch_pound(row)
        if us is not None and us.unit in PUBLISHED:
            unit, size = PUBLISHED[us.unit]
            litres = 1000.0 if row.unit == "L" else 1.0
            assert row.unit in (unit, "L")
            assert us.factor == pytest.approx(1.0 / size / litres, rel=1e-6), row.name
            seen.add(us.unit)
        if row.unit == "degC":
            assert us is not None
            assert us.factor * 37.0 + us.offset == pytest.approx(98.6)  # B.5
    assert seen >= {"kBtu", "therm", "gal", "lb"}


@pytest.mark.contract
def test_electricity_stays_in_kilowatt_hours() -> None:
    """Common practice, no source: meters and tariffs of the United States are in kWh and kW."""
    for row in declarations().values():
        if row.sign == "positive purchased" and row.unit in ("kWh", "kW") and "fuel" not in row.name:
            assert inch_pound(row) is None or row.name.endswith("gas_kwh"), row.name
