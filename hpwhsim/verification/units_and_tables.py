"""Checks of `io`'s units and of packaged `tables`."""

import math
from collections.abc import Iterator
from fractions import Fraction

from hpwhsim.demand.loop_pipes import tubes
from hpwhsim.io import units
from hpwhsim.tables import read_table
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, worst
from hpwhsim.verification.shared_tables import rows

INCH = 0.0254


def unit_checks() -> Iterator[Check]:
    """What engineers write, in SI, by kind."""
    kinds = {
        "VOLUME": units.VOLUME,
        "DAILY_VOLUME": units.DAILY_VOLUME,
        "POWER": units.POWER,
        "HEAT_LOSS": units.HEAT_LOSS,
        "LENGTH": units.LENGTH,
        "DURATION": units.DURATION,
        "FLOW": units.FLOW,
        "MASS_FACTOR": units.MASS_FACTOR,
        "TEMPERATURE": units.TEMPERATURE,
        "DIFFERENCE": units.DIFFERENCE,
    }
    points: dict[str, list[Point]] = {}
    for row in rows("quantities"):
        kind = row["kind"]
        found = units.read_quantity(row["text"], kinds[kind])
        points.setdefault(kind.lower(), []).append(Point(row["text"], float(row["si"]), found))
    for name, listed in points.items():
        yield worst(f"io.units.{name}", listed)


def table_checks() -> Iterator[Check]:
    """Copper tubes by printed weights and nominal sizes; use by building size; draws of the federal test."""
    weights, outer = [], []
    printed = {row["size"]: float(row["lb_per_ft"]) for row in rows("copper_tube_weights")}
    for tube in tubes().values():
        if not tube.size.endswith(" in"):
            continue
        nominal = sum(Fraction(part) for part in tube.size.removesuffix(" in").split("-"))
        outer.append(Point(tube.size, float(nominal + Fraction(1, 8)) * INCH, tube.outer))
        if tube.size in printed:
            section = math.pi * tube.wall * (tube.outer - tube.wall)
            weights.append(Point(tube.size, printed[tube.size], section / INCH**2 * 12.0 * 0.323))
    yield worst("tables.copper.weight", weights)
    yield worst("tables.copper.outer", outer)
    handbook: dict[tuple[str, str], float] = {}
    for row in rows("apartment-demand"):
        if row["table"] == "per_apartment_by_building_size":
            handbook[row["key"].split()[0], row["quantity"]] = float(row["value_gal"])
    points = [
        Point(
            f"{row['apartments']} apartments",
            handbook[row["apartments"], "average_day"],
            float(row["average_day_gal"]),
        )
        for row in read_table("demand_by_building_size")
    ]
    yield worst("tables.demand.average_day", points)
    draws: dict[str, float] = {}
    for row in read_table("draw_patterns_24h"):
        draws[row["pattern"]] = draws.get(row["pattern"], 0.0) + float(row["volume_gal"])
    daily = {row["pattern"]: float(row["gal_per_day"]) for row in rows("draw_pattern_totals")}
    yield worst(
        "tables.draw_patterns.volume", [Point(name, daily[name], total) for name, total in draws.items()]
    )
