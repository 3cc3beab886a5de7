"""Sentences in both systems: the inch-pound value behind each metric one.

Electricity is kW and kWh in both.
"""

import re
from collections.abc import Mapping

from hpwhsim.io.us_units import BTU_H, BY_UNIT, GALLON, KILOGRAM_PER_POUND, LITRES_PER_GALLON, Conversion
from hpwhsim.results.numbers import MINUS

FOOT = 0.3048  # m, NIST SP 811
TEMPERATURE = BY_UNIT["degC"]
UNITS: Mapping[str, Conversion] = {
    "degC": TEMPERATURE,
    "°C": TEMPERATURE,
    "K": BY_UNIT["K"],
    "L": BY_UNIT["L"],
    "m3": BY_UNIT["m3"],
    "m³": BY_UNIT["m3"],
    "m": Conversion("ft", 1.0 / FOOT),
    "mm": Conversion("in", 12e-3 / FOOT),
    "m2": Conversion("ft2", FOOT**-2),
    "m²": Conversion("ft²", FOOT**-2),
    "kg": BY_UNIT["kg"],
    "kg/kWh": BY_UNIT["kg/kWh"],
    "kPa": Conversion("psi", 0.3048**2 / 4.4482216152605 * 1e3 / 144.0),
    "bar": Conversion("psi", 0.3048**2 / 4.4482216152605 * 1e5 / 144.0),
    "L/s": Conversion("gpm", 60.0 / LITRES_PER_GALLON),
    "m3/s": Conversion("gpm", 60.0 / GALLON),
    "kg/m3": Conversion("lb/ft3", FOOT**3 / KILOGRAM_PER_POUND),
    "W/K": Conversion("Btu/h/°F", 1.0 / BTU_H / 1.8),
    "W/m/K": Conversion("Btu/h/ft/°F", FOOT / BTU_H / 1.8),
    "W/m2/K": Conversion("Btu/h/ft2/°F", FOOT**2 / BTU_H / 1.8),
}
"""Metric units of sentences, and what they are in inch-pound units (NIST SP 811, appendix B.8)."""
AIR = (".airflow", ".vent_flow")
"""How the keys end whose flows are of air, which is cfm and not gpm."""
OF_AIR: Mapping[str, Conversion] = {**UNITS, "m3/s": Conversion("cfm", 60.0 / FOOT**3)}
NUMBER = rf"[-{MINUS}]?\d[\d,]*(?:\.\d+)?(?:e-?\d+)?"
BESIDE = re.compile(r"(?:degF|°F|gal|lb|ft|ft[23]|lb/ft2|lb/gal|cfm|gpm|psi|in|therm|kBtu/h) \($")
"""What stands before a metric value that is in brackets behind its inch-pound one."""
ENDS = "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True))
QUANTITY = re.compile(
    rf"(?<!= )(?<![\w./-])(?:(?P<first>{NUMBER})(?P<to> to | and |-))?(?P<value>{NUMBER}) (?P<unit>{ENDS})"
    rf"(?![\w/²³])(?! per )(?! ?\({NUMBER})"
)


def both(text: str, *, air: bool = False) -> str:
    """A sentence with the inch-pound value behind each metric one that has none beside it.

    Examples
    --------
    >>> both("the source is below -15 degC in 147 h"), both("32 to 42 °C")
    ('the source is below -15 degC (5 degF) in 147 h', '32 to 42 °C (89.6 to 107.6 °F)')
    >>> both("95 L = 0.095 m3/day")
    '95 L (25.1 gal) = 0.095 m3/day'
    >>> both("467 lb/ft2 (22.4 kPa)"), both("900 gal = 3.40687 m3"), both("30 kW for 40 L (10.6 gal)")
    ('467 lb/ft2 (22.4 kPa)', '900 gal = 3.40687 m3', '30 kW for 40 L (10.6 gal)')
    >>> both("0.139 m3/s", air=True), both("0.002 m3/s")
    ('0.139 m3/s (295 cfm)', '0.002 m3/s (31.7 gpm)')
    """
    units = OF_AIR if air else UNITS

    def also(match: re.Match[str]) -> str:
        if BESIDE.search(text[: match.start()]):
            return match[0]
        conversion = units[match["unit"]]
        ends = [_converted(number, conversion) for number in (match["first"], match["value"]) if number]
        unit = conversion.unit.replace("°", "deg") if match["unit"] == "degC" else conversion.unit
        return f"{match[0]} ({(match['to'] or '').join(ends)} {unit})"

    return QUANTITY.sub(also, text)


def _converted(number: str, conversion: Conversion) -> str:
    value = float(number.replace(",", "").replace(MINUS, "-")) * conversion.factor + conversion.offset
    text = f"{round(value, 1):g}" if conversion.offset else f"{value:.3g}"
    text = f"{value:,.0f}" if abs(value) >= 1000.0 else text
    return text.replace("-", MINUS if MINUS in number else "-")
