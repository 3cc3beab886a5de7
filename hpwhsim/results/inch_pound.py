"""How results read in inch-pound units: heat in kBtu, fuel in therms, electricity in kilowatt-hours."""

from hpwhsim.io.us_units import BY_UNIT, FUEL, HEAT, Conversion
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
