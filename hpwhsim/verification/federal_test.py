"""Checks of `federal_test`: draws of 10 CFR 430 Appendix E, tanks whose factor follows from their loss."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hpwhsim.evaluation.reading import of_mapping
from hpwhsim.federal_test.draw_bench import draw_pattern, pattern_of
from hpwhsim.federal_test.rating import rate
from hpwhsim.io.us_units import GALLON
from hpwhsim.scenario.starter import WEATHER
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

RISE_K, EXCESS_K = (125 - 58) / 1.8, (125 - 67.5) / 1.8  # rise of the water, store above room


def electric_tank(loss: float, **storage: Any) -> dict[str, Any]:
    """An invented tank of 50 gal and 4.5 kW; `loss` in W/K."""
    held_store = {"volume": "50 gal", "height": "1.2 m", "setpoint": "125 degF", "heat_loss": f"{loss} W/K"}
    return {
        "title": "an invented electric tank",
        "site": {"weather": str(WEATHER)},
        "building": {"apartments": 1},
        "hot_water": {"daily_use_per_apartment": "45 gal"},
        "plant": {
            "family": "resistance",
            "storage": {**held_store, **storage},
            "backup": {"kind": "resistance", "power": "4.5 kW"},
        },
    }


def _record(tank: dict[str, Any], pattern: str) -> dict[str, object]:
    return rate(of_mapping(tank, Path.cwd()), pattern)


def _number(value: object) -> float:
    return value if isinstance(value, float) else math.nan


def draw_checks() -> Iterator[Check]:
    """Volume and heat of the four patterns, and which first-hour rating takes which."""
    from CoolProp.CoolProp import PropsSI

    density = PropsSI("D", "T", 273.15 + (125 - 32) / 1.8, "P", 101325, "Water")
    specific = PropsSI("C", "T", 273.15 + (91.5 - 32) / 1.8, "P", 101325, "Water")
    volumes, heats = [], []
    for row in rows("draw_pattern_totals"):
        volume = sum(draw.volume for draw in draw_pattern(row["pattern"]))
        volumes.append(Point(row["pattern"], float(row["gal_per_day"]), volume / GALLON))
        heats.append(
            Point(row["pattern"], float(row["btu"]), volume * density * specific * RISE_K / 1055.056)
        )
    yield worst("federal_test.draws.volume", volumes)
    yield worst("federal_test.draws.heat", heats)
    order = [row["pattern"] for row in rows("draw_pattern_totals")]
    limits = []
    for place, gallons in enumerate((18.0, 51.0, 75.0)):
        below, above = (order.index(pattern_of((gallons + d) * GALLON)) for d in (-0.1, 0.1))
        limits.append(Point(f"{gallons:g} gal", place + 0.5, 0.5 * (below + above)))
    yield worst("federal_test.draws.bins", limits)


def factor_checks() -> Iterator[Check]:
    """Uniform energy factor of an electric tank by its standby loss; first hour of a slow one."""
    for row in rows("draw_pattern_totals"):
        pattern = row["pattern"]
        if pattern == "low":  # three of four: a day of 10 s steps takes seconds
            continue
        delivered = float(row["gal_per_day"]) * GALLON * RHO_CP * RISE_K
        implied = delivered / (delivered + EXCESS_K * 86400.0)
        found = _record(electric_tank(1.0), pattern)
        yield held(f"federal_test.factor.{pattern}", _number(found["uniform_energy_factor"]), implied)
    for mixing in (0.0, 0.25):
        slow = electric_tank(1.0, inlet_mixing=mixing)
        slow["plant"]["backup"] |= {"power": "500 W", "height": 0}
        share = (1.0 - mixing) + mixing * math.log(67.0 / 52.0)
        hour = _number(_record(slow, "medium")["first_hour_rating_litres"]) / (GALLON * 1000.0)
        yield held(f"federal_test.first_hour.mixing_{mixing:g}", hour, 50.0 * share)
