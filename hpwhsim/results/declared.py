"""What every hourly variable and record key is: unit, labels, number format; from tables/results.csv."""

from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from hpwhsim.tables import read_table


class Declared(NamedTuple):
    """One row of tables/results.csv."""

    name: str
    where: str  # hourly, record or both
    unit: str  # as files have it; 1 for a ratio
    kind: str  # sum, mean, min, max, value or text
    sign: str  # what a positive value means
    more_is: str  # better, worse or neutral
    format: str  # of the number on screens; empty: four digits
    label: str  # on screens and in tables
    short: str  # head of a narrow column
    long_name: str

    @property
    def in_record(self) -> bool:
        """Whether it is a key of the annual record."""
        return self.where != "hourly"

    @property
    def screen_unit(self) -> str:
        """The unit as screens show it: of a year's figure without "per year", of a ratio none."""
        unit = self.unit.removesuffix("/year")
        if unit == "kg" and self.name.rpartition(".")[2].endswith("kgco2e"):
            return "kg CO2e"
        return {"1": "", "year": "years"}.get(unit, unit)


@cache
def declarations() -> dict[str, Declared]:
    """All declarations by name, in the order of the table."""
    return {row["name"]: Declared(**row) for row in read_table("results")}


def declared(name: str) -> Declared:
    """The declaration of a variable or key.

    Raises
    ------
    KeyError
        If it is not declared: an error of the program.
    """
    return declarations()[name]


def record_keys() -> Iterator[Declared]:
    """Declarations of the keys of the annual record, in their order there."""
    return (row for row in declarations().values() if row.in_record)
