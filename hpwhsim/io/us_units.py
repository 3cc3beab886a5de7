"""US units in SI, for figures that are published or read in them (NIST SP 811, appendix B.8)."""

from typing import NamedTuple

GALLON = 3.785411784e-3  # m³
LITRES_PER_GALLON = 3.785411784
BTU_H = 1055.05585262 / 3600.0  # W
KWH_PER_MMBTU = 1055.05585262 / 3.6
KWH_PER_THERM = 0.1 * KWH_PER_MMBTU  # 100,000 Btu (International Table)
KILOGRAM_PER_POUND = 0.45359237


class Conversion(NamedTuple):
    """How a value reads in inch-pound units: ``value * factor + offset``."""

    unit: str
    factor: float
    offset: float = 0.0


HEAT = Conversion("kBtu", 1e3 / KWH_PER_MMBTU)
FUEL = Conversion("therm", 1.0 / KWH_PER_THERM)
BY_UNIT = {
    "degC": Conversion("°F", 1.8, 32.0),
    "K": Conversion("°F difference", 1.8),
    "L": Conversion("gal", 1.0 / LITRES_PER_GALLON),
    "m3": Conversion("gal", 1.0 / GALLON),
    "W": Conversion("Btu/h", 1.0 / BTU_H),
    "kg": Conversion("lb", 1.0 / KILOGRAM_PER_POUND),
    "kg/year": Conversion("lb/year", 1.0 / KILOGRAM_PER_POUND),
    "kg/kWh": Conversion("lb/kWh", 1.0 / KILOGRAM_PER_POUND),
    "kg/s": Conversion("lb/s", 1.0 / KILOGRAM_PER_POUND),
    "USD/t": Conversion("USD/short ton", 907.18474e-3),
    "USD/MWh": Conversion("USD/MMBtu", KWH_PER_MMBTU / 1e3),
}
"""Inch-pound units by the unit of a result; heat and fuel in kWh have their own, electricity stays kWh."""
