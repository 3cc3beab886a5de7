"""What the sheets of the workbook are built with: cells and columns that carry formula and value together.

Every formula is written with the value it has, so that a reader that does not recalculate shows the figures.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.account.energy import MONTH_DAYS, MONTH_STARTS

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Array = NDArray[np.float64]

HOURS = 8760
FIRST = 2  # row of the first hour, counted from 1
LAST = FIRST + HOURS - 1


class Cell(NamedTuple):
    """A cell that other formulas may use."""

    ref: str  # with its sheet, such as 'Carbon'!$C$4, or its name
    value: float


class Column(NamedTuple):
    """A column of an hourly sheet."""

    sheet: str
    letter: str
    values: Array  # shape (8760,); NaN where the cell is empty

    @property
    def range(self) -> str:
        """All hours."""
        return self.rows(slice(0, HOURS))

    @property
    def months(self) -> str:
        """The months of all hours, in the same sheet."""
        return f"'{self.sheet}'!$B${FIRST}:$B${LAST}"

    def rows(self, hours: slice) -> str:
        """Some hours that lie together."""
        return f"'{self.sheet}'!${self.letter}${FIRST + hours.start}:${self.letter}${FIRST + hours.stop - 1}"

    def total(self) -> tuple[str, float]:
        """Formula and value of the year's sum."""
        return f"=SUM({self.range})", float(np.nansum(self.values))

    def month(self, number: int) -> tuple[str, float]:
        """Formula and value of the sum of month 1 to 12."""
        value = float(np.nansum(self.values[hours_of_month(number)]))
        return f"=SUMIFS({self.range},{self.months},{number})", value

    def month_highest(self, number: int) -> tuple[str, float]:
        """Formula and value of the highest of month 1 to 12, whose rows lie together."""
        hours = hours_of_month(number)
        return f"=MAX({self.rows(hours)})", float(self.values[hours].max())


def hours_of_month(number: int) -> slice:
    """Hours of month 1 to 12.

    Examples
    --------
    >>> hours_of_month(2)
    slice(744, 1416, None)
    """
    start = int(MONTH_STARTS[number - 1])
    return slice(start, start + 24 * MONTH_DAYS[number - 1])


class Book:
    """A workbook being written, with the few formats that it uses."""

    def __init__(self, title: str, sheets: Sequence[str]) -> None:
        from xlsxwriter import Workbook

        self.file = BytesIO()
        self.book = Workbook(self.file, {"in_memory": True})
        # the same year gives the same bytes, whenever it is written
        self.book.set_properties({"title": title, "created": datetime(2001, 1, 1)})
        self.formats: dict[str, Format] = {
            "title": self.book.add_format({"bold": True, "font_size": 14}),
            "head": self.book.add_format(
                {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top", "bg_color": "#E8EEF4"}
            ),
            "part": self.book.add_format({"bold": True}),
            "text": self.book.add_format({"valign": "top"}),
            "wrap": self.book.add_format({"text_wrap": True, "valign": "top"}),
            "number": self.book.add_format({"num_format": "#,##0.00", "valign": "top"}),
            "fine": self.book.add_format({"num_format": "0.000000", "valign": "top"}),
            "tiny": self.book.add_format({"num_format": "0.0E+00", "valign": "top"}),
            "input": self.book.add_format(
                {"num_format": "General", "bg_color": "#FFF6D6", "border": 1, "valign": "top"}
            ),
            "time": self.book.add_format({"num_format": "mm-dd hh:mm"}),
        }
        self.sheets: dict[str, Worksheet] = {name: self.book.add_worksheet(name) for name in sheets}

    def text(self, sheet: str, row: int, column: int, text: str, style: str = "text") -> None:
        """Text as it is: a leading = is no formula, a web address no link."""
        self.sheets[sheet].write_string(row, column, text, self.formats[style])

    def texts(self, sheet: str, row: int, texts: Sequence[str], style: str = "head", column: int = 0) -> None:
        """A row of texts."""
        for i, text in enumerate(texts):
            self.text(sheet, row, column + i, text, style)

    def number(self, sheet: str, row: int, column: int, value: float, style: str = "number") -> Cell:
        """A number, in full precision whatever the format shows."""
        self.sheets[sheet].write_number(row, column, value, self.formats[style])
        return Cell(_ref(sheet, row, column), value)

    def named(self, sheet: str, row: int, column: int, value: float, name: str) -> Cell:
        """A number to be changed by hand, with a name that formulas use."""
        cell = self.number(sheet, row, column, value, "input")
        self.book.define_name(name, f"={cell.ref}")
        return Cell(name, value)

    def live(
        self, sheet: str, row: int, column: int, formula: str, value: float, style: str = "number"
    ) -> Cell:
        """A formula and the value it has."""
        self.sheets[sheet].write_formula(row, column, formula, self.formats[style], value)
        return Cell(_ref(sheet, row, column), value)

    def widths(self, sheet: str, *widths: float, freeze: int = 0) -> None:
        """Widths of the columns from the left, and how many rows stay in sight."""
        for i, width in enumerate(widths):
            self.sheets[sheet].set_column(i, i, width)
        if freeze:
            self.sheets[sheet].freeze_panes(freeze, 0)

    def close(self) -> bytes:
        """The bytes of the file."""
        self.book.close()
        return self.file.getvalue()


def _ref(sheet: str, row: int, column: int) -> str:
    return f"'{sheet}'!${letter(column)}${row + 1}"


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


def sum_of(cells: Sequence[Cell]) -> tuple[str, float]:
    """Formula and value of the sum of cells of a sheet that need not lie together."""
    return "=" + "+".join(cell.ref for cell in cells), float(sum(cell.value for cell in cells))


def difference(book: Book, at: tuple[str, int, int], live: Cell, engine: Cell) -> None:
    """How far a live figure is from the engine's, over the engine's; the plain difference below 1e-6."""
    size = max(abs(engine.value), 1e-6)
    formula = f"=ABS({live.ref}-{engine.ref})/MAX(ABS({engine.ref}),0.000001)"
    book.live(*at, formula, abs(live.value - engine.value) / size, "tiny")


def hourly_sheet(book: Book, sheet: str, columns: Mapping[str, Array]) -> dict[str, Column]:
    """Fill an hourly sheet: start of the hour, month, then `columns`, each shape (8760,)."""
    page = book.sheets[sheet]
    book.texts(sheet, 0, ["hour starting (local standard time)", "month", *columns])
    month = np.repeat(np.arange(1, 13), np.array(MONTH_DAYS) * 24)
    start = 36892.0  # 1 January 2001 in the day count of spreadsheets
    page.set_column(0, 0, 14, book.formats["time"])
    page.set_column(2, 1 + len(columns), 13)
    page.write_column(1, 0, (start + np.arange(HOURS) / 24.0).tolist())
    page.write_column(1, 1, month.tolist())
    for i, values in enumerate(columns.values(), start=2):
        if np.isfinite(values).all():
            page.write_column(1, i, values.tolist())
        else:
            for row in np.flatnonzero(np.isfinite(values)).tolist():
                page.write_number(1 + row, i, float(values[row]))
    page.freeze_panes(1, 2)
    return {
        name: Column(sheet, letter(i), values) for i, (name, values) in enumerate(columns.items(), start=2)
    }
