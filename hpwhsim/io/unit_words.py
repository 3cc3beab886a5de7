"""The units that may be written, their spellings, and what is said of words that are no unit.

References
----------
.. [1] NIST Special Publication 811 (2008), appendix B: inch, pound, gallon, International Table Btu.
"""

import re

# name: (definition for pint, spellings). No prefixes: every unit that may be written is here.
UNITS: dict[str, tuple[str, str]] = {
    "meter": ("[length]", "m metre metres meters"),
    "second": ("[time]", "s sec secs seconds"),
    "kilogram": ("[mass]", "kg kilograms"),
    "kelvin": ("[temperature]; offset: 0", "K kelvins"),
    "degree_Celsius": ("kelvin; offset: 273.15", "degC celsius"),
    "degree_Fahrenheit": ("5 / 9 * kelvin; offset: 233.15 + 200 / 9", "degF fahrenheit"),
    "millimeter": ("0.001 * meter", "mm millimetre"),
    "centimeter": ("0.01 * meter", "cm centimetre"),
    "kilometer": ("1000 * meter", "km kilometre"),
    "inch": ("0.0254 * meter", "in inches"),
    "foot": ("0.3048 * meter", "ft feet"),
    "square_meter": ("meter ** 2", "m2"),
    "square_foot": ("foot ** 2", "ft2 sqft"),
    "cubic_meter": ("meter ** 3", "m3 cum"),
    "cubic_foot": ("foot ** 3", "ft3 cuft"),
    "liter": ("0.001 * meter ** 3", "L l litre litres liters"),
    "milliliter": ("1e-6 * meter ** 3", "mL ml"),
    "gallon": ("231 * inch ** 3", "gal gals gallons"),
    "minute": ("60 * second", "min mins minutes"),
    "hour": ("3600 * second", "h hr hrs hours"),
    "day": ("86400 * second", "d days"),
    "month": ("[month]", "months"),  # of a bill: as a time, USD/kW/month would pass for USD/kWh
    "year": ("12 * month", "yr yrs years"),
    "gram": ("0.001 * kilogram", "g grams"),
    "tonne": ("1000 * kilogram", "t tonnes"),
    "pound": ("0.45359237 * kilogram", "lb lbs pounds"),
    "joule": ("kilogram * meter ** 2 / second ** 2", "J"),
    "kilojoule": ("1000 * joule", "kJ"),
    "megajoule": ("1e6 * joule", "MJ"),
    "watt": ("joule / second", "W watts"),
    "milliwatt": ("0.001 * watt", "mW"),
    "kilowatt": ("1000 * watt", "kW kilowatts"),
    "megawatt": ("1e6 * watt", "MW"),
    "watt_hour": ("watt * hour", "Wh"),
    "kilowatt_hour": ("1000 * watt * hour", "kWh"),
    "megawatt_hour": ("1e6 * watt * hour", "MWh"),
    "btu": ("1055.05585262 * joule", "Btu BTU"),
    "kilo_btu": ("1000 * btu", "kBtu kBTU"),
    "million_btu": ("1e6 * btu", "MMBtu mmBtu"),
    "therm": ("1e5 * btu", "therms"),
    "btu_per_hour": ("btu / hour", "Btuh BTUH"),
    "thousand_btu_per_hour": ("1000 * btu / hour", "MBH"),
    "ton_refrigeration": ("12000 * btu / hour", "tons_refrigeration TR"),
    "horsepower": ("745.69987158227022 * watt", "hp"),
    "gallon_per_minute": ("gallon / minute", "gpm GPM"),
    "gallon_per_hour": ("gallon / hour", "gph GPH"),
    "gallon_per_day": ("gallon / day", "gpd GPD"),
    "cubic_foot_per_minute": ("foot ** 3 / minute", "cfm CFM"),
    "pascal": ("kilogram / meter / second ** 2", "Pa pascals"),
    "kilopascal": ("1000 * pascal", "kPa"),
    "megapascal": ("1e6 * pascal", "MPa"),
    "bar": ("1e5 * pascal", "bars bara"),
    "dollar": ("[currency]", "USD dollars"),
    "cent": ("0.01 * dollar", "cents"),
    "psi": ("0.45359237 * 9.80665 / 0.0254 ** 2 * pascal", "psia"),
    "ounce": ("pound / 16", "oz ounces"),
    "psf": ("0.45359237 * 9.80665 / 0.3048 ** 2 * pascal", ""),
    "kilonewton": ("1000 * pascal * meter ** 2", "kN"),
    "ampere": ("[current]", "A amps amperes"),
    "volt": ("watt / ampere", "V volts"),
}
DELTAS = {"degree_Celsius": "delta_degree_Celsius", "degree_Fahrenheit": "delta_degree_Fahrenheit"}
SPELLINGS = {word: name for name, (_, words) in UNITS.items() for word in (name, *words.split())}
SPELLINGS |= {
    "delta_degC": "delta_degree_Celsius",
    "delta_degF": "delta_degree_Fahrenheit",
    "delta_K": "kelvin",
}
FOLDED: dict[str, set[str]] = {}
for _word, _name in SPELLINGS.items():
    FOLDED.setdefault(_word.casefold(), set()).add(_name)

# Words that look like units but do not say enough; the value is the hint.
HINTS = {
    "C": "write degC, or delta_degC for a difference: a plain C is no unit here",
    "F": "write degF, or delta_degF for a difference: a plain F is no unit here",
    "MBtu": "write kBtu for a thousand or MMBtu for a million: MBtu is used for both",
    "deg": "write degC or degF",
    "ton": "a ton is a unit only for a power (12,000 Btu/h); for a mass write kg, lb or tonne",
}
HINTS |= {"tons": HINTS["ton"], "c": HINTS["C"], "f": HINTS["F"], "mbtu": HINTS["MBtu"]}
HINTS |= {word: "money is counted in USD only" for word in ("EUR", "GBP", "CAD", "AUD", "CNY", "JPY")}
HINTS |= {"MBTU": HINTS["MBtu"], "Mbtu": HINTS["MBtu"]}

TIDY = (
    (re.compile("[−–]"), "-"),
    (re.compile("[℃]"), "degC"),
    (re.compile("[℉]"), "degF"),
    (re.compile("[°º]"), "deg"),
    (re.compile("[Δ∆]_?"), "delta_"),
    (re.compile("²"), "2"),
    (re.compile("³"), "3"),
    (re.compile("[·⋅×]"), "*"),
    (re.compile(r"\^"), "**"),
    (re.compile(r"[$]"), "USD"),
    (re.compile(r"\bper\b"), "/"),
    (re.compile(r"\bdelta\s+(?=deg)"), "delta_"),
    (re.compile(r"(?<=deg)\.?\s+(?=[CF]\b)"), ""),
    (re.compile(r"\b(?:cu|cubic)\.?\s*(?:ft|feet|foot)\b"), "ft3"),
    (re.compile(r"\b(tons?)\s+(?:of\s+)?refrigeration\b"), "ton_refrigeration"),
    (re.compile(r"\b(?:US|U\.S\.)\s*(?=gal)"), ""),
    (re.compile(r"\blbf?\s*/\s*(?:ft2|ft\*\*2|sq\.?\s*ft)(?![\w*])"), "psf"),  # the load of a floor
    (re.compile(r"\bmK\b"), "(m*K)"),  # conductivity: nobody means a thousandth of a kelvin
)
