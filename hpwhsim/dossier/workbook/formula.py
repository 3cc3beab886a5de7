"""Formulas of a spreadsheet that carry their value, and columns to write them over.

A formula is put together with + - * / ** as its value is: text and number cannot come apart.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import reduce
from typing import NamedTuple, Union

import numpy as np

from hpwhsim.account.energy import MONTH_STARTS
from hpwhsim.arrays import Array
from hpwhsim.constants import MONTH_DAYS

Operand = Union["Formula", float]

_SUM, _PRODUCT, _POWER, _ATOM = range(4)  # how strongly the last operation binds


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula, or the place or name of a cell.

    Examples
    --------
    >>> price, kwh = Formula("price", 0.2), Formula("C4", 100.0)
    >>> (price * (kwh - 40.0)).text, (price * (kwh - 40.0)).value
    ('price*(C4-40)', 12.0)
    """

    text: str  # without the sign of equality
    value: float  # NaN: the cell shows nothing
    binds: int = _ATOM

    def _tight(self, binds: int) -> str:
        return self.text if self.binds >= binds else f"({self.text})"

    def __add__(self, other: Operand) -> "Formula":
        b = formula(other)
        return Formula(f"{self.text}+{b._tight(_PRODUCT)}", self.value + b.value, _SUM)

    def __sub__(self, other: Operand) -> "Formula":
        b = formula(other)
        return Formula(f"{self.text}-{b._tight(_PRODUCT)}", self.value - b.value, _SUM)

    def __radd__(self, other: float) -> "Formula":
        return formula(other) + self

    def __rsub__(self, other: float) -> "Formula":
        return formula(other) - self

    def __mul__(self, other: Operand) -> "Formula":
        b = formula(other)
        return Formula(f"{self._tight(_PRODUCT)}*{b._tight(_PRODUCT)}", self.value * b.value, _PRODUCT)

    def __truediv__(self, other: Operand) -> "Formula":
        b = formula(other)
        value = self.value / b.value if b.value else np.nan
        return Formula(f"{self._tight(_PRODUCT)}/{b._tight(_POWER)}", value, _PRODUCT)

    def __pow__(self, other: Operand) -> "Formula":
        b = formula(other)
        return Formula(f"{self._tight(_ATOM)}^{b._tight(_ATOM)}", self.value**b.value, _POWER)


EMPTY = Formula('""', np.nan)


def formula(value: Operand) -> Formula:
    """A number as a formula; a formula as it is."""
    if isinstance(value, Formula):
        return value
    text = str(int(value)) if float(value).is_integer() else repr(float(value))
    return Formula(text, float(value), _ATOM if value >= 0.0 else _SUM)


def added(parts: Iterable[Formula]) -> Formula:
    """The sum; 0 of nothing."""
    held = list(parts)
    return reduce(Formula.__add__, held) if held else formula(0.0)


def either(test: str, holds: bool, yes: Formula, no: Formula = EMPTY) -> Formula:
    """One of two; `holds` is what the text of the test now says."""
    return Formula(f"IF({test},{yes.text},{no.text})", yes.value if holds else no.value)


def ratio(over: Formula, under: Formula) -> Formula:
    """One over the other, nothing where that is 0."""
    return either(f"{under._tight(_PRODUCT)}=0", under.value == 0.0, EMPTY, over / under)


def _chosen(name: str, choose: Callable[[list[float]], float], parts: tuple[Operand, ...]) -> Formula:
    held = [formula(part) for part in parts]
    return Formula(f"{name}({','.join(p.text for p in held)})", choose([p.value for p in held]))


def maximum(*parts: Operand) -> Formula:
    """The largest."""
    return _chosen("MAX", max, parts)


def minimum(*parts: Operand) -> Formula:
    """The smallest."""
    return _chosen("MIN", min, parts)


class Words(NamedTuple):
    """A formula that gives a text, and the text that it now gives.

    Examples
    --------
    >>> said = quoted("saved: ").then(number_words(Formula("A1", 1234.4)))
    >>> said.text, said.value
    ('"saved: "&TEXT(A1,"#,##0")', 'saved: 1,234')
    """

    text: str  # without the sign of equality
    value: str

    def then(self, *others: "Words") -> "Words":
        """Texts one after the other."""
        parts = (self, *others)
        return Words("&".join(part.text for part in parts), "".join(part.value for part in parts))


LONGEST_LITERAL = 200  # a text within a formula may have 255 signs


def quoted(text: str) -> Words:
    """A text as it stands."""
    parts = [text[at : at + LONGEST_LITERAL] for at in range(0, len(text), LONGEST_LITERAL)] or [""]
    return Words("&".join('"' + part.replace('"', '""') + '"' for part in parts), text)


def number_words(of: Formula, digits: int = 0) -> Words:
    """A number with its thousands apart, and so many digits behind the point."""
    places = f".{'0' * digits}" if digits else ""
    return Words(f'TEXT({of.text},"#,##0{places}")', f"{of.value:,.{digits}f}")


def either_words(test: str, holds: bool, yes: Words, no: Words) -> Words:
    """One of two texts; `holds` is what the text of the test now says."""
    return Words(f"IF({test},{yes.text},{no.text})", yes.value if holds else no.value)


class Column(NamedTuple):
    """Cells one below the other."""

    sheet: str
    letter: str
    values: Array  # shape (8760,) of the hours, (years,) of others; NaN where the cell is empty
    first: int = 3  # row of the first value, counted from 1

    @property
    def range(self) -> str:
        """All rows."""
        return self.rows(slice(0, self.values.size))

    @property
    def months(self) -> str:
        """The months of all hours, in the same sheet."""
        return self._replace(letter="B").range

    def rows(self, rows: slice) -> str:
        """Some rows that lie together."""
        first, last = self.first + rows.start, self.first + rows.stop - 1
        return f"'{self.sheet}'!${self.letter}${first}:${self.letter}${last}"

    def cell(self, row: int) -> Formula:
        """One cell, from 0 or from the end."""
        at = row % self.values.size
        return Formula(f"'{self.sheet}'!${self.letter}${self.first + at}", float(self.values[at]))

    def _over(self, name: str, value: float) -> Formula:
        return Formula(f"{name}({self.range})", value)

    def total(self) -> Formula:
        """Sum of all rows."""
        return self._over("SUM", float(np.nansum(self.values)))

    def mean(self) -> Formula:
        """Mean of the rows that are not empty."""
        return self._over("AVERAGE", float(np.nanmean(self.values)))

    def highest(self) -> Formula:
        """Largest of all rows."""
        return self._over("MAX", float(np.nanmax(self.values)))

    def lowest(self) -> Formula:
        """Smallest of all rows."""
        return self._over("MIN", float(np.nanmin(self.values)))

    def count_if(self, sign: str, limit: float) -> Formula:
        """Rows that are < | > | >= the limit."""
        compare = {"<": np.less, ">": np.greater, ">=": np.greater_equal}[sign]
        number = float(np.count_nonzero(compare(self.values, limit)))
        return Formula(f'COUNTIF({self.range},"{sign}{formula(limit).text}")', number)

    def month(self, number: int) -> Formula:
        """Sum of month 1 to 12."""
        value = float(np.nansum(self.values[hours_of_month(number)]))
        return Formula(f"SUMIFS({self.range},{self.months},{number})", value)

    def month_highest(self, number: int) -> Formula:
        """Highest of month 1 to 12, whose rows lie together."""
        hours = hours_of_month(number)
        return Formula(f"MAX({self.rows(hours)})", float(self.values[hours].max()))


def weighed(one: Column, other: Column, rows: slice | None = None) -> Formula:
    """Sum of the products of two columns of one length; an empty cell counts as 0."""
    some = rows or slice(0, one.values.size)
    value = float(np.nansum((one.values * other.values)[some]))
    return Formula(f"SUMPRODUCT({one.rows(some)},{other.rows(some)})", value)


def hours_of_month(number: int) -> slice:
    """Hours of month 1 to 12.

    Examples
    --------
    >>> hours_of_month(2)
    slice(744, 1416, None)
    """
    start = int(MONTH_STARTS[number - 1])
    return slice(start, start + 24 * MONTH_DAYS[number - 1])


def letter(column: int) -> str:
    """Letters of a column counted from 0.

    Examples
    --------
    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return name
