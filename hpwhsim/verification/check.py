"""One outside check: a value of a source, the band that counts as a hit, and what the program computes."""

from typing import Literal, NamedTuple

Kind = Literal[
    "analytic", "reference library", "handbook table", "test procedure", "measured plant", "common practice"
]
KINDS: tuple[Kind, ...] = (
    "analytic",
    "reference library",
    "handbook table",
    "test procedure",
    "measured plant",
    "common practice",
)
"""What stands behind a check."""


class Check(NamedTuple):
    """A number of the program beside that of a source."""

    name: str  # unique, package first: "storage.front.6h"
    package: str  # package of hpwhsim that it tests
    kind: Kind
    says: str  # what is held against what, one line
    unit: str
    expected: float  # or the middle of a published band
    low: float  # obtained is a hit within low to high
    high: float
    tolerance: str  # why that wide, one phrase
    obtained: float
    span: tuple[float, float] | None  # lowest and highest computed where inputs are assumed
    source: str  # citation as readers see it

    @property
    def verdict(self) -> Literal["hit", "miss"]:
        """Hit: what is computed lies in the band; where inputs are assumed, its span meets the band."""
        least, most = self.span if self.span is not None else (self.obtained, self.obtained)
        return "hit" if least <= self.high and most >= self.low else "miss"  # NaN is a miss


def near(
    name: str,
    kind: Kind,
    says: str,
    unit: str,
    expected: float,
    obtained: float,
    tolerance: str,
    source: str,
    *,
    absolute: float = 0.0,
    relative: float = 0.0,
) -> Check:
    """A check of one value: a hit within `absolute`, or `relative` of what is expected, the wider of them."""
    room = max(absolute, relative * abs(expected))
    return Check(
        name,
        name.partition(".")[0],
        kind,
        says,
        unit,
        float(expected),
        float(expected) - room,
        float(expected) + room,
        tolerance,
        float(obtained),
        None,
        source,
    )


def between(
    name: str,
    kind: Kind,
    says: str,
    unit: str,
    low: float,
    high: float,
    obtained: float,
    tolerance: str,
    source: str,
    span: tuple[float, float] | None = None,
) -> Check:
    """A check of a published band: a hit within it, or where `span`, over assumed inputs, meets it."""
    package = name.partition(".")[0]
    middle = (low + high) / 2.0
    return Check(name, package, kind, says, unit, middle, low, high, tolerance, float(obtained), span, source)
