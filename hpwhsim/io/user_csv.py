"""CSV files that a user hands in: comma, header row, ``#`` comments; messages name line and column."""

import csv
import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls


def rows(file: Path, columns: Sequence[str]) -> Iterator[tuple[int, dict[str, str]]]:
    """Line number and fields of each row of a CSV file with exactly these columns, in any order.

    Raises
    ------
    InputError
        If the file cannot be read or is empty, its columns are others, or a row has more or fewer fields.
    """
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        reason = err.strerror if isinstance(err, OSError) else "it is not UTF-8 text"
        raise InputError(f"{file}: cannot be read: {reason}") from None
    header: list[str] = []
    for line, content in enumerate(text.splitlines(), start=1):
        if not content.strip() or content.lstrip().startswith("#"):
            continue
        refuse_controls(content, f"{file}: line {line}")
        fields = [field.strip() for field in next(csv.reader([content]))]
        if not header:
            header = fields
            if sorted(header) != sorted(columns):
                raise InputError(
                    f"{file}: line {line}: the columns must be {', '.join(columns)}, got {', '.join(header)}"
                )
            continue
        if len(fields) != len(header):
            raise InputError(f"{file}: line {line}: {len(header)} fields are needed, got {len(fields)}")
        yield line, dict(zip(header, fields, strict=True))
    if not header:
        raise InputError(f"{file}: is empty; the columns must be {', '.join(columns)}")


def number(file: Path, line: int, column: str, text: str, low: float = 0.0, high: float = math.inf) -> float:
    """A finite number of `low` to `high`.

    Raises
    ------
    InputError
        If `text` is none.
    """
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not (math.isfinite(found) and low <= found <= high):
        allowed = f"{low:g} to {high:g}"
        if math.isinf(high):
            allowed = "zero or more" if low == 0.0 else f"{low:g} or more"
        if math.isinf(low):
            allowed = "finite"
        got = f"got {text!r}" if text else "got nothing"
        raise InputError(f"{file}: line {line}: column {column}: a number, {allowed}, is needed, {got}")
    return found


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
    found = [
        [number(file, line, key, row[key], *limits[key]) for key in limits]
        for line, row in rows(file, tuple(limits))
    ]
    if len(found) != HOURS:
        leap = " (leave out 29 February)" if len(found) == HOURS + 24 else ""
        raise InputError(
            f"{file}: {len(found)} rows; {HOURS} are needed, one for each hour of the year{leap}"
        )
    return dict(zip(limits, np.array(found).T.copy(), strict=True))
