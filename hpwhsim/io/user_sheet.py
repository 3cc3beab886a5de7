"""The rows of a spreadsheet (XLSX) that a user hands in, as those of a CSV file."""

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.io.user_csv import Row


def read_sheet(path: Path, name: str) -> list[Row]:
    """The rows below the header of a sheet; formulas as the values that they had when they were saved.

    The first row that is not empty is the header. Columns without a head and empty rows are passed over, as
    are rows whose first cell begins with ``#``.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        The sheet; where there is none of this name, the first.

    Returns
    -------
    list of Row
        `Row.line` is the row of the spreadsheet, the first is 1.

    Raises
    ------
    InputError
        If the file is no spreadsheet, a head stands twice, a cell lies below no head, or there is no row.
    """
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = load_workbook(path, read_only=True, data_only=True)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except (BadZipFile, InvalidFileException, KeyError, ValueError):
        raise InputError(f"{path}: cannot be read: allowed a spreadsheet (XLSX) or a CSV file") from None
    try:
        sheet = book[name] if name in book.sheetnames else book.worksheets[0]
        lines = [(at, [_text(cell) for cell in row]) for at, row in enumerate(sheet.values, start=1)]
    finally:
        book.close()
    return list(_rows(path, [(at, row) for at, row in lines if any(row) and not row[0].startswith("#")]))


def _rows(path: Path, lines: list[tuple[int, list[str]]]) -> Iterator[Row]:
    if len(lines) < 2:
        raise InputError(f"{path}: got {'no row below the header' if lines else 'no header row'}")
    (at, heads), *below = lines
    if twice := [head for head in dict.fromkeys(heads) if head and heads.count(head) > 1]:
        raise InputError(f"{path}: row {at}: columns: twice {', '.join(twice)}; allowed each once")
    for at, cells in below:
        refuse_controls(cells, f"{path}: row {at}")
        if lost := [cell for head, cell in zip(heads, cells, strict=True) if cell and not head]:
            raise InputError(f"{path}: row {at}: got {lost[0]!r} below no head; allowed cells of a column")
        yield Row(path, at, {head: cell for head, cell in zip(heads, cells, strict=True) if head})


def _text(value: Any) -> str:
    """A cell as it would be typed."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime | date):
        return value.isoformat()[:10]
    if isinstance(value, float):
        return f"{value:.15g}"
    return str(value).strip()
