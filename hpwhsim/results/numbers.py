"""Numbers for reading, one rule for every screen, page and document: thousands apart, a true minus."""

MINUS = "\N{MINUS SIGN}"


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
