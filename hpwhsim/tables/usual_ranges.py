"""What is usual in hot-water plants of housing, and the one caution on a value outside of it.

The ranges stand in ``usual_ranges.csv`` with their sources. A value outside of its range may be right: it is
cautioned, with the unit it may have been written in by mistake. Above ``refused_above`` it cannot be.
"""

from functools import cache
from typing import NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.tables import read_plain
from hpwhsim.tables.sources import cited

ROUNDED = "tankyear-default"  # beside other sources: a limit was rounded or widened
MODULE = "capacity of one module"  # a quantity of the table that several files give
UNUSUAL = "unusual: "
"""How every such caution opens."""


class Usual(NamedTuple):
    """One row of the table."""

    quantity: str
    of: tuple[str, ...]  # families, refrigerants or kinds; empty: all
    unit: str
    low: float
    high: float
    refused_above: float | None
    mistakes: tuple[tuple[str, float], ...]  # unit, and how many of it are one of `unit`
    source: str  # ids of the table of sources
    look: str  # what to look at
    note: str

    @property
    def unit_text(self) -> str:
        """The unit after a blank; nothing of a quantity without one."""
        return f" {self.unit}" if self.unit else ""

    @property
    def sources_text(self) -> str:
        """Citations of its sources, each with its status; that a limit was rounded is left to the table."""
        ids = self.source.split()
        return "; ".join(str(cited(f"[{one}]")) for one in ids if one != ROUNDED or len(ids) == 1)

    def inside(self, value: float) -> bool:
        """Whether a value is usual; the last digits of a sum are not looked at."""
        return self.low * (1.0 - 1e-9) <= value <= self.high * (1.0 + 1e-9)

    def otherwise(self, value: float) -> str:
        """What a value outside would be had it been written in another unit by mistake; empty: in none."""
        guesses = [
            f"{digits(value / size)}{self.unit_text} if {unit} were written"
            for unit, size in self.mistakes
            if self.inside(value / size)
        ]
        return " or ".join(guesses)


@cache
def usual_ranges() -> tuple[Usual, ...]:
    """Rows of the table."""
    found = []
    for row in read_plain("usual_ranges"):
        mistakes = tuple(item.rsplit(" ", 1) for item in row["mistakes"].split("; ") if item)
        found.append(
            Usual(
                row["quantity"],
                tuple(row["of"].split()),
                row["unit"],
                float(row["low"]),
                float(row["high"]),
                float(row["refused_above"]) if row["refused_above"] else None,
                tuple((unit, float(size)) for unit, size in mistakes),
                row["source"],
                row["look"],
                row["note"],
            )
        )
    return tuple(found)


def usual(quantity: str, of: str = "") -> Usual | None:
    """The range of a quantity; None where nothing is known of such a plant or refrigerant.

    Examples
    --------
    >>> usual("refrigerant charge", "R-32").high
    0.4
    >>> usual("annual COP", "gas-boiler") is None
    True
    """
    for row in usual_ranges():
        if row.quantity == quantity and (not row.of or of in row.of):
            return row
    return None


def unusual(quantity: str, value: float, where: str, of: str = "") -> list[str]:
    """The caution on a value outside of what is usual; empty where it is inside, or no range is known.

    Parameters
    ----------
    quantity, of : str
        As in the table.
    value : float
        In the unit of the table.
    where : str
        Key of the scenario or of the record, with file and column where a file gave it.

    Examples
    --------
    >>> unusual("annual leak", 0.03, "carbon.refrigerant.annual_leak")
    []
    >>> unusual("annual leak", 0.3, "carbon.refrigerant.annual_leak")[0].split(" (UK")[0]
    'unusual: carbon.refrigerant.annual_leak: annual leak 0.3 of charge; usual are 0.003 to 0.1'
    """
    row = usual(quantity, of)
    if row is None or row.inside(value):
        return []
    otherwise = row.otherwise(value)
    guess = f"; it would be {otherwise}" if otherwise else ""
    return [
        f"{UNUSUAL}{where}: {quantity} {digits(value)}{row.unit_text}; usual are {row.low:g} to {row.high:g} "
        f"({row.sources_text}){guess}; look at {row.look}"
    ]


def refuse(quantity: str, value: float, where: str) -> None:
    """Refuse a value that no plant, grid or bill has.

    Raises
    ------
    InputError
        Naming `where`, what was given, what is allowed, and the unit that was likely meant.

    Examples
    --------
    >>> refuse("grid factor", 0.39, "grid.csv: column kg_per_kwh: mean of the year")
    """
    row = usual(quantity)
    if row is None or row.refused_above is None or value <= row.refused_above:
        return
    otherwise = row.otherwise(value)
    guess = f"; it would be {otherwise}" if otherwise else ""
    raise InputError(
        f"{where}: got {digits(value)}{row.unit_text}; allowed at most {row.refused_above:g}{row.unit_text}, "
        f"usual are {row.low:g} to {row.high:g}{guess}"
    )


def digits(value: float) -> str:
    """A value to four digits, without a power of ten.

    Examples
    --------
    >>> digits(18000.0), digits(0.198321), digits(0.25)
    ('18,000', '0.1983', '0.25')
    """
    return f"{float(f'{value:.4g}'):,.12g}"
