"""CSV files that a user hands in: one set of rules for all of them.

UTF-8 text, with or without a byte order mark; commas between cells, ``#`` before a line of comment, blank
lines passed over; a header row with exactly the columns asked for, in any order; a row on a line of its own,
with a cell for each column, plain or in double quotes; numbers with a decimal point, finite, without
separators of thousands. A message names file, line and column, what was given and what is allowed.
"""

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.io.user_file import read_text

MOST_LINES = 1_100_000  # a year by the half minute
LONGEST_LINE = 10_000  # characters
FILES_HELD = 16  # hourly series of so many files are held: a study's cases name the same ones
_LINE_ENDS = re.compile("\r\n|\r|\n")
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?", re.ASCII | re.IGNORECASE)


class Row(NamedTuple):
    """One row of a user's file."""

    file: Path
    line: int  # in the file, the first is 1
    cells: dict[str, str]  # by column, without the blanks around them

    def error(self, column: str, allowed: str, got: str | None = None) -> InputError:
        """The error of a cell that is wrong, to be raised; `got` stands for the cell where it says more."""
        if got is None:
            got = repr(self.cells[column]) if self.cells[column] else "nothing"
        return InputError(f"{self.file}: line {self.line}: column {column}: got {got}; allowed {allowed}")

    def number(self, column: str, low: float = 0.0, high: float = math.inf, *, above: bool = False) -> float:
        """The number in a column.

        Raises
        ------
        InputError
            If it is no finite number of `low` to `high`, or where `above` is set, `low` itself.
        """
        cell = self.cells[column]
        value = float(cell) if _NUMBER.fullmatch(cell) else math.nan
        if not (math.isfinite(value) and low <= value <= high) or (above and value == low):
            limits = f" of {low:g} to {high:g}"
            if math.isinf(high):
                limits = "" if math.isinf(low) else f" above {low:g}" if above else f" of {low:g} or more"
            raise self.error(column, f"a finite number{limits}")
        return value


def read_rows(path: str | Path, *headers: Sequence[str]) -> list[Row]:
    """The rows of a user's file, one or more.

    Parameters
    ----------
    path : str or Path
        The file.
    *headers : sequence of str
        Sets of columns, one of which the file has; none: any columns, each once.

    Raises
    ------
    InputError
        If the file cannot be read, its columns are others, it has no row, or a row has more or fewer cells.
    """
    file = Path(path)
    return _rows(file, _text(file), headers)


def _rows(file: Path, text: str, headers: Sequence[Sequence[str]]) -> list[Row]:
    """`read_rows` of a text that is read already."""
    names: list[str] = []
    found = []
    for line, content in _written(file, text):
        cells = _cells(content, f"{file}: line {line}")
        if not names:
            names = cells
            if headers and sorted(names) not in [sorted(header) for header in headers]:
                raise _wrong_columns(file, line, names, headers)
            if twice := [name for name in dict.fromkeys(names) if names.count(name) > 1]:
                raise InputError(f"{file}: line {line}: columns: twice {', '.join(twice)}; allowed each once")
        elif len(cells) != len(names):
            raise InputError(
                f"{file}: line {line}: got {len(cells)} cells; allowed {len(names)}, as in the header"
            )
        else:
            found.append(Row(file, line, dict(zip(names, cells, strict=True))))
    if not found:
        needed = " or ".join(", ".join(header) for header in headers) or "of a table"
        got = "no row below the header" if names else "no header row"
        raise InputError(f"{file}: got {got}; allowed the columns {needed} and one or more rows of numbers")
    return found


def header(path: str | Path) -> list[str]:
    """The names of the columns; none where the file has no line.

    Raises
    ------
    InputError
        If the file or the line cannot be read.
    """
    for line, content in _written(Path(path), _text(Path(path))):
        return _cells(content, f"{path}: line {line}")
    return []


def _text(file: Path) -> str:
    return read_text(file, "a CSV file")


def _written(file: Path, text: str) -> Iterator[tuple[int, str]]:
    """Lines that hold something, with their number in the file."""
    lines = _LINE_ENDS.split(text)
    if len(lines) > MOST_LINES:
        raise InputError(f"{file}: got {len(lines):,} lines; allowed at most {MOST_LINES:,}")
    for line, content in enumerate(lines, start=1):
        if content.strip() and not content.lstrip().startswith("#"):
            yield line, content


def _cells(content: str, where: str) -> list[str]:
    if len(content) > LONGEST_LINE:
        raise InputError(f"{where}: got {len(content):,} characters; allowed at most {LONGEST_LINE:,}")
    refuse_controls(content, where)
    if '"' not in content:
        return [cell.strip() for cell in content.split(",")]
    try:
        return [cell.strip() for cell in next(csv.reader([content], strict=True, skipinitialspace=True))]
    except csv.Error:
        raise InputError(f"{where}: got a stray quotation mark; allowed cells on one line") from None


def _wrong_columns(file: Path, line: int, names: list[str], headers: Sequence[Sequence[str]]) -> InputError:
    """What is wrong with a header, beside the set of columns that is nearest to it."""
    nearest = max(headers, key=lambda header: (len(set(header) & set(names)), -len(header)))
    missing = [name for name in nearest if name not in names]
    wrong = [
        repr(name) if "\t" in name else name or "a column without a name"
        for name in names
        if name not in nearest
    ]
    twice = [name for name in nearest if names.count(name) > 1]
    said = [
        f"{what} {', '.join(which)}"
        for what, which in (("missing", missing), ("unknown", wrong), ("twice", twice))
        if which
    ]
    separated = "; separate cells by commas" if len(names) == 1 and re.search(r"[;\t]", names[0]) else ""
    allowed = " or ".join(", ".join(header) for header in headers)
    return InputError(f"{file}: line {line}: columns: {'; '.join(said)}; allowed {allowed}{separated}")


def read_hours(path: str | Path, limits: Mapping[str, tuple[float, float]]) -> dict[str, Array]:
    """Hourly series of a year.

    Parameters
    ----------
    path : str or Path
        One row for each hour from 1 January 00:00, local standard time, without a leap day.
    limits : mapping
        Lowest and highest value of each column; the file has exactly these columns.

    Returns
    -------
    dict of ndarray of float64, each (8760,)

    Raises
    ------
    InputError
        If the file or a value is wrong, or there are not 8760 rows.
    """
    file = Path(path)
    held = _hours(file, _text(file), tuple(limits.items()))
    return {name: values.copy() for name, values in held.items()}


@lru_cache(maxsize=FILES_HELD)
def _hours(file: Path, text: str, limits: tuple[tuple[str, tuple[float, float]], ...]) -> dict[str, Array]:
    """`read_hours` of a text: the same text is looked at once."""
    return hourly(_rows(file, text, (tuple(dict(limits)),)), dict(limits))


def hourly(rows: Sequence[Row], limits: Mapping[str, tuple[float, float]]) -> dict[str, Array]:
    """`read_hours` of rows that are read already."""
    values = [[row.number(key, *limits[key]) for key in limits] for row in rows]
    if len(values) != HOURS:
        leap = " (leave out 29 February)" if len(values) == HOURS + 24 else ""
        raise InputError(
            f"{rows[0].file}: got {len(values)} rows; allowed {HOURS}, one for each hour of the year{leap}"
        )
    return dict(zip(limits, np.array(values).T.copy(), strict=True))
