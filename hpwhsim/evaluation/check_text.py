"""Checks of a record as text."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.account.checks import Check, digits

FIELDS = ("name", "value", "unit", "limit", "source", "state", "limit_value", "limit_kind")
"""What a record keeps of a check, by the order of `Check`."""


def checks_in_units(record: Mapping[str, Any], us: bool) -> list[Check]:
    """The checks of a record in US customary units or in SI."""
    return [Check(*(row[name] for name in FIELDS)).in_units(us) for row in record.get("checks", ())]


def against(check: Check) -> str:
    """Value, limit and how far from it."""
    text = "not given" if check.value is None else f"{digits(check.value)} {check.unit}".strip()
    if check.limit_value is not None:
        text += f", {check.limit_kind} {digits(check.limit_value)} {check.unit}".rstrip()
    return text if check.ratio is None else f"{text} (ratio {check.ratio:.2f})"
