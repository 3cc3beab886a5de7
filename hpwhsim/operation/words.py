"""Quantities as the trade writes them: in SI, in US customary units, or in both."""

import re
from collections.abc import Iterable

from hpwhsim.io.units import (
    DIFFERENCE,
    DURATION,
    FLOW,
    LENGTH,
    LINE_POWER,
    POWER,
    PRESSURE,
    TEMPERATURE,
    VOLUME,
    Kind,
)
from hpwhsim.io.us_units import GALLON
from hpwhsim.results.numbers import MINUS, amount
from hpwhsim.scenario.parts import Window

FOOT, PSI = 0.3048, 0.45359237 * 9.80665 / 0.0254**2  # m, Pa; NIST SP 811, appendix B.8
_US = re.compile(r"\d\s*(delta_degF|degF|gal|gpm|gph|cfm|ft|in|psi|k?Btu|MBH|MMBtu|tons?|hp)\b")
_DEGREES = (("delta_degF", "°F"), ("delta_degC", "K"), ("degF", "°F"), ("degC", "°C"))


def tenths(value: float) -> str:
    """A number to a tenth, without a point where it is whole."""
    return f"{round(value, 1) + 0.0:g}".replace("-", MINUS)


def time_text(seconds: float) -> str:
    """A time in the unit in which it is a plain number.

    Examples
    --------
    >>> time_text(600.0), time_text(30.0), time_text(7200.0)
    ('10 min', '30 s', '2 h')
    """
    for size, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= size and seconds % size == 0.0:
            return f"{seconds / size:g} {unit}"
    return f"{seconds:g} s" if seconds < 120.0 else f"{tenths(seconds / 60.0)} min"


def in_si(value: float, kind: Kind) -> str:
    """A quantity in SI, or in what is written beside it."""
    if kind is TEMPERATURE:
        return f"{tenths(value)} °C"
    if kind is DURATION:
        return time_text(value)
    if kind is VOLUME:
        return amount(1e3 * value, "L")
    if kind is FLOW:
        return amount(1e3 * value, "L/s") if value >= 1e-3 else amount(6e4 * value, "L/min")
    if kind is POWER:
        return amount(value / 1e3, "kW") if value >= 1e3 else amount(value, "W")
    if kind is PRESSURE:
        return amount(value / 1e5, "bar") if value >= 1e6 else amount(value / 1e3, "kPa")
    if kind is DIFFERENCE:
        return f"{round(value, 2):g} K"
    return amount(value, {LENGTH: "m", LINE_POWER: "W/m"}.get(kind, kind.unit))


def in_us(value: float, kind: Kind) -> str:
    """A quantity in US customary units; empty where these have no other unit, or none is in use here."""
    if kind is TEMPERATURE:
        return f"{tenths(1.8 * value + 32.0)} °F"
    if kind is DIFFERENCE:
        return f"{tenths(1.8 * value)} °F"
    sizes = {
        VOLUME: (GALLON, "gal"),
        FLOW: (GALLON / 60.0, "gpm"),
        LENGTH: (FOOT, "ft"),
        PRESSURE: (PSI, "psi"),
        LINE_POWER: (1.0 / FOOT, "W/ft"),
    }
    if kind not in sizes:
        return ""
    size, unit = sizes[kind]
    return amount(value / size, unit)


def quantity(value: float, kind: Kind, us: bool) -> str:
    """A quantity for a sentence: US customary units first where the user writes them.

    Examples
    --------
    >>> quantity(65.0, TEMPERATURE, us=True), quantity(65.0, TEMPERATURE, us=False)
    ('149 °F (65 °C)', '65 °C')
    """
    plain, other = in_si(value, kind), in_us(value, kind) if us else ""
    return f"{other} ({plain})" if other else plain


def air_flow(value: float, us: bool) -> str:
    """A flow of air for a sentence. [m³/s]

    Examples
    --------
    >>> air_flow(0.0915, us=True)
    '194 cfm (91.5 L/s)'
    """
    plain = in_si(value, FLOW)
    return f"{value * 60.0 / FOOT**3:,.0f} cfm ({plain})" if us else plain


def as_written(text: str) -> str:
    """What the user wrote, where that is in US customary units, with degrees as readers see them; else ''.

    Examples
    --------
    >>> as_written("149 degF"), as_written("10 delta_degF"), as_written("65 degC")
    ('149 °F', '10 °F', '')
    """
    if not _US.search(text):
        return ""
    words = " ".join(text.split())
    for plain, sign in _DEGREES:
        words = words.replace(plain, sign)
    return words.replace("-", MINUS) if words.startswith("-") else words


def windows_text(windows: Iterable[Window]) -> str:
    """Windows of the day.

    Examples
    --------
    >>> windows_text([Window(1020, 1200), Window(60, 120)])
    '17:00 to 20:00 and 01:00 to 02:00'
    """
    return " and ".join(str(window).replace("-", " to ") for window in windows)


def listed(words: Iterable[str]) -> str:
    """Words with commas, and `and` before the last.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
