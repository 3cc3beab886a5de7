"""A row of a list of checks: a value, what it is held against, where that is from, and what remains to do."""

from typing import NamedTuple

from hpwhsim.us_units import LITRES_PER_GALLON

OK, CONFIRM = "ok", "confirm"
LOCAL = "verify with local code"

# (IP unit, IP units in one SI unit): NIST SP 811 appendix B.
_IP = {
    "kg": ("lb", 1.0 / 0.45359237),
    "kPa": ("lb/ft2", 1e3 * 0.3048**2 / (0.45359237 * 9.80665)),
    "L": ("gal", 1.0 / LITRES_PER_GALLON),
    "L/day": ("gal/day", 1.0 / LITRES_PER_GALLON),
    "m": ("ft", 1.0 / 0.3048),
    "m2": ("ft2", 1.0 / 0.3048**2),
    "m3": ("ft3", 1.0 / 0.3048**3),
    "m3/s": ("cfm", 60.0 / 0.3048**3),
    "g/m3": ("lb/1,000 ft3", 0.3048**3 / 0.45359237),
}


def amount(value: float, unit: str) -> str:
    """A number with its unit to three digits, in SI and IP where they differ.

    Examples
    --------
    >>> amount(3785.0, "kg")
    '3,780 kg (8,340 lb)'
    """
    text = f"{_digits(value)} {unit}".strip()
    if unit in _IP:
        name, factor = _IP[unit]
        text += f" ({_digits(value * factor)} {name})"
    return text


def _digits(value: float) -> str:
    """Three digits, without an exponent."""
    return f"{float(f'{value:.3g}'):,.12g}"


class Check(NamedTuple):
    """One check; `state` is 'ok', or 'confirm' where a person has to look."""

    name: str
    value: float | None  # None: not known
    unit: str
    limit: str
    source: str
    state: str

    @property
    def text(self) -> str:
        """The value with its unit."""
        return "not given" if self.value is None else amount(self.value, self.unit)


def beyond(limit: str) -> bool:
    """Whether the text of a limit says that the value is beyond it.

    Examples
    --------
    >>> beyond("at most 4.8 kPa: exceeded"), beyond("at least 1.2 m2: not met"), beyond("at most 60 A: met")
    (True, True, False)
    """
    return any(words in limit for words in (": exceeded", ": not met"))


def held(
    name: str, value: float, most: float, unit: str, source: str, *, note: str = LOCAL, sure: bool = True
) -> Check:
    """A value against the most it may be; 'ok' only where it holds and the limit itself is `sure`."""
    fits = value <= most
    said = f"at most {amount(most, unit)}: {'met' if fits else 'exceeded'}; {note}"
    return Check(name, value, unit, said, source, OK if fits and sure else CONFIRM)
