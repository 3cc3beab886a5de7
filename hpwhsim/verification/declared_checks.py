"""Checks by their row of `shared/checks.csv`, which says what is held, how closely and why so."""

import math
from collections.abc import Iterable
from functools import cache
from typing import NamedTuple

from hpwhsim.tables.sources import cited
from hpwhsim.verification.check import KINDS, Check, between, near
from hpwhsim.verification.shared_tables import rows


class Row(NamedTuple):
    """A row of the table; text as it stands there."""

    name: str
    kind: str
    unit: str
    expected: str  # empty: of a table of its own, or of a library
    absolute: str  # the wider of both counts
    relative: str
    low: str  # of a published band, instead of a value
    high: str
    says: str
    tolerance: str
    source: str  # with ids of `tables/sources.csv`


class Point(NamedTuple):
    """One of many values that a check holds."""

    at: str  # where: "7 °C, 10 to 60 °C"
    expected: float
    obtained: float


@cache
def declared() -> dict[str, Row]:
    """Rows of the table by name.

    Raises
    ------
    ValueError
        If a name comes twice, or a row has a kind that is none.
    """
    found: dict[str, Row] = {}
    for cells in rows("checks"):
        row = Row(**cells)
        if row.name in found or row.kind not in KINDS:
            raise ValueError(f"checks.csv: {row.name}: a name that comes twice, or kind {row.kind!r}")
        found[row.name] = row
    return found


def held(
    name: str,
    obtained: float,
    expected: float | None = None,
    span: tuple[float, float] | None = None,
    at: str = "",
) -> Check:
    """What was obtained, by the row `name` of the table.

    Parameters
    ----------
    name : str
        Of the check.
    obtained : float
        What the program computes.
    expected : float, optional
        Where the row has none.
    span : pair of float, optional
        Lowest and highest computed where inputs are assumed.
    at : str
        Where the worst of many points lies.
    """
    row = declared()[name]
    says = f"{row.says}; {at}" if at else row.says
    kind = next(kind for kind in KINDS if kind == row.kind)
    source = str(cited(row.source))
    if row.low:
        low, high = float(row.low), float(row.high)
        return between(name, kind, says, row.unit, low, high, obtained, row.tolerance, source, span)
    value = float(row.expected) if expected is None else expected
    room = {"absolute": float(row.absolute or 0.0), "relative": float(row.relative or 0.0)}
    check = near(name, kind, says, row.unit, value, obtained, row.tolerance, source, **room)
    return check._replace(span=span)


def worst(name: str, points: Iterable[Point]) -> Check:
    """The point that lies farthest from what is expected, by the room that the row `name` gives."""
    listed = list(points)
    row = declared()[name]

    def distance(point: Point) -> float:
        room = max(float(row.absolute or 0.0), float(row.relative or 0.0) * abs(point.expected))
        apart = abs(point.obtained - point.expected)
        return math.inf if math.isnan(apart) else apart / max(room, 1e-300)

    at = max(listed, key=distance)
    return held(name, at.obtained, at.expected, at=f"worst of {len(listed)}: {at.at}")
