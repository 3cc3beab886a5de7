"""Figures and choices of a search in words."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import amount, shown

Record = Mapping[str, Any]


def figure(key: str, value: float | None, *, unit: bool = True) -> str:
    """A figure of the record for reading."""
    if value is None:
        return "-"
    return shown(key, value, unit=unit) if key in declarations() else amount(value)


def chosen_text(record: Record, values: Mapping[str, str]) -> str:
    """What was chosen where more than one value was offered: the last parts of each key, and its value."""
    varied = _varied(record, values)
    return ", ".join(f"{'.'.join(key.split('.')[-2:])} {values[key]}" for key in varied)


def _varied(record: Record, values: Mapping[str, str]) -> list[str]:
    """The keys of a case that were chosen; its capital follows from them."""
    names = [choice["key"] for choice in record["choices"] if choice["count"] > 1]
    return [key for key in values if key in names or ("rows" in names and key != "costs.capital")]
