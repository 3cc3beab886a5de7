"""Numbers for reading, one rule for every screen, page and document: thousands apart, a true minus."""

from hpwhsim.results.declared import declared

MINUS = "\N{MINUS SIGN}"
NOTHING = 1e-6  # a smaller figure is the rounding of a zero


def amount(value: object, unit: str = "") -> str:
    """A number for reading: four digits or whole."""
    if not isinstance(value, float | int):
        return "" if value is None else str(value)
    text = f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"
    return f"{text.replace('-', MINUS)} {unit}".strip()


def decimals(value: object, digits: int = 1) -> str:
    """A number with `digits` behind the point, and no minus before a zero; nothing for what is no number."""
    if not isinstance(value, float | int):
        return ""
    return f"{round(value, digits) + 0.0:,.{digits}f}".replace("-", MINUS)


def degrees(value: float) -> str:
    """A temperature for a label, three digits."""
    return f"{value:.3g} °C".replace("-", MINUS)


def shown(name: str, value: float, *, unit: bool = False) -> str:
    """A value of the record as its declaration says; what is not zero does not read as zero.

    Parameters
    ----------
    name : str
        Key of the record.
    value : float
        Its value.
    unit : bool
        Whether the unit follows.

    Examples
    --------
    >>> shown("electricity_kwh", 30000.5178, unit=True)
    '30,001 kWh'
    >>> shown("peak_kw", 0.00625, unit=True)
    '0.0063 kW'
    """
    row = declared(name)
    text = format(value, row.format) if row.format else amount(value)
    if not any(digit in text for digit in "123456789"):
        text = f"{value:.2g}" if abs(value) > NOTHING else text.removeprefix("-")
    if "e" not in text:
        text = text.replace("-", MINUS)
    return f"{text} {row.screen_unit}".strip() if unit else text
