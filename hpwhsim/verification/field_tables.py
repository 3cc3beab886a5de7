"""The tables of the field results: what was measured, what was assumed of each plant, and where it stands."""

import csv
from functools import cache
from pathlib import Path
from typing import NamedTuple

from hpwhsim.tables.sources import cited
from hpwhsim.verification import shared_tables

PLANTS = Path(__file__).with_name("plants")
"""The scenarios of the plants and the tables beside them."""
FIELD = "field"
"""The package that these checks name: none of the program's, but the whole of it."""
WEATHER = "weather."
"""How the inputs begin that are the weather's: the place, and how much warmer than its normals."""
HOUSE = "house."
"""How the inputs begin that a measured boundary has and no scenario: they meet the year's sums alone."""


class Input(NamedTuple):
    """One input of a plant."""

    plant: str
    key: str  # of the scenario, or one of weather. or house.
    low: str  # as written in a scenario; empty where nothing was assumed
    middle: str
    high: str
    mark: str  # measured, derived or assumed
    source: str  # citation as readers see it


class Measured(NamedTuple):
    """One measured result."""

    name: str
    plant: str
    quantity: str  # one of `field_plants.QUANTITIES`
    against: str  # empty; baseline; or keys of the plant that it is compared with, ; between them
    says: str
    unit: str
    expected: float
    low: float
    high: float
    tolerance: str
    source: str  # citation as readers see it


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a table beside the scenarios, by its name without ``.csv``; lines with ``#`` are comments."""
    lines = (PLANTS / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line and not line.startswith("#")))


def spelt(source: str) -> str:
    """Ids of the table of sources, and words between them, as readers see them."""
    return str(cited(source))


@cache
def inputs() -> dict[str, tuple[Input, ...]]:
    """The inputs of each plant, by its name."""
    found: dict[str, tuple[Input, ...]] = {}
    for row in rows("inputs"):
        one = Input(**row | {"source": spelt(row["source"])})
        found[one.plant] = (*found.get(one.plant, ()), one)
    return found


@cache
def measured() -> tuple[Measured, ...]:
    """All measured results."""
    return tuple(
        Measured(
            row["name"],
            row["plant"],
            row["quantity"],
            row["against"],
            row["says"],
            row["unit"],
            float(row["expected"]),
            float(row["low"]),
            float(row["high"]),
            spelt(row["tolerance"]),
            spelt(row["source"]),
        )
        for row in shared_tables.rows("field-results")
    )


def hypotheses() -> dict[str, str]:
    """What may explain a miss, by the name of its check."""
    return {row["name"]: row["hypothesis"] for row in rows("misses")}


def not_compared() -> list[tuple[str, str, str]]:
    """Measured results that nothing is held against: result, reason, source."""
    return [(row["result"], row["reason"], spelt(row["source"])) for row in rows("not_compared")]
