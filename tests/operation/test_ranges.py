"""Ranges of the points in the units of the user: conversion factors of NIST SP 811, appendix B."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from hpwhsim.operation.ranges import shown_span

pytestmark = pytest.mark.published


@pytest.mark.parametrize(
    ("unit", "value", "us_unit", "shown"),
    [
        ("L/s", 1.0, "gpm", "15.9"),  # 1 gpm = 6.309020e-2 L/s
        ("L/min", 10.0, "gpm", "2.6"),
        ("L", 100.0, "gal", "26.4"),  # 1 gal = 3.785412 L
        ("kPa", 100.0, "psi", "14.5"),  # 1 psi = 6.894757 kPa
        ("m", 10.0, "ft", "32.8"),  # 1 ft = 0.3048 m
        ("degC", 60.0, "°F", "140.0"),
        ("kW", 12.0, "kW", "12.0"),
    ],
)
def test_a_point_is_in_inch_pound_units(unit: str, value: float, us_unit: str, shown: str) -> None:
    facts: Any = SimpleNamespace(hourly={"x": np.full(8760, value)}, us=True)
    point = cast(Any, SimpleNamespace(series="x", unit=unit, kind="AI"))
    assert shown_span(facts, point) == (us_unit, f"{shown} to {shown}")
