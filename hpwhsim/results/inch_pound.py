"""How results read in inch-pound units: heat in kBtu, fuel in therms, electricity in kilowatt-hours."""

from typing import NamedTuple

from hpwhsim.io.us_units import BY_UNIT, FUEL, HEAT, KWH_PER_MMBTU, Conversion
from hpwhsim.results.declared import Declared


def inch_pound(row: Declared) -> Conversion | None:
    """The conversion of a variable or key; None where both systems have the same unit.

    The trade purchases electricity in kWh and fuel in therms in either system; heat is kBtu.

    Examples
    --------
    >>> from hpwhsim.results.declared import declared
    >>> [inch_pound(declared(key)) for key in ("electricity_kwh", "peak_kw")]
    [None, None]
    >>> [inch_pound(declared(key)).unit for key in ("fuel_kwh", "heat_to_taps_kwh", "source_c")]
    ['therm', 'kBtu', '°F']
    """
    if row.unit != "kWh":
        return BY_UNIT.get(row.unit)
    if "fuel" in row.name or row.name.endswith("gas_kwh"):
        return FUEL
    purchased = row.sign == "positive purchased" or row.name.endswith(("electricity_kwh", "credit_kwh"))
    mixed = row.name.startswith("room_penalty")
    return None if purchased or mixed else HEAT


METRIC = {"MMBtu": Conversion("MWh", KWH_PER_MMBTU / 1e3)}
"""How results in inch-pound units read in SI."""


class Quantity(NamedTuple):
    """A figure of documents that is no key of the record: its unit, and how it reads in the other system."""

    unit: str
    inch_pound: Conversion | None = None


HEAT_MWH, ALL_MWH, ALL_KWH, MMBTU = "heat_mwh", "all_mwh", "with_room_kwh", "energy_mmbtu"
CO2E_KG, TONNES = "co2e_kg", "co2e_t"
QUANTITIES = {
    HEAT_MWH: Quantity("MWh", Conversion("MMBtu", 1e3 / KWH_PER_MMBTU)),
    ALL_MWH: Quantity("MWh", Conversion("MMBtu", 1e3 / KWH_PER_MMBTU)),
    ALL_KWH: Quantity("kWh", HEAT),
    CO2E_KG: Quantity("kg", BY_UNIT["kg"]),
    TONNES: Quantity("t", Conversion("short tons", 1.0 / 0.90718474)),
    MMBTU: Quantity("MMBtu"),
}
"""Figures by the name that documents use: heat, electricity and fuel together, CO2e, site energy."""
