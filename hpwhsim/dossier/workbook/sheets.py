"""The workbook being written: cells, rows of factors that may be changed, and sheets of hours.

Every formula is written with the value it has, so that a reader that does not recalculate shows the figures.
"""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS, MONTH_DAYS
from hpwhsim.dossier.workbook.formula import Column, Formula, letter
from hpwhsim.io.units import Kind, written_in

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Cells = dict[str, Formula]
Columns = Mapping[str, Column]

SOLID, DOTTED = (
    1,
    4,
)  # borders of cells that may be changed: a number, and a formula in place of which one may
NUMBERS = {
    "USD": "#,##0.00",
    "USD/year": "#,##0.00",
    "USD/month": "#,##0.00",
    "USD/t": "#,##0.00",
    "USD/MWh": "#,##0.00",
    "MWh/year": "#,##0.00",
    "kg CO2e/year": "#,##0.0",
    "t": "#,##0.00",
    "year": "0.0#",
    "1/year": "0.0000",
    "1": "0.0###",
    "kW": "#,##0.0##",
    "kg": "#,##0.0#######",
    "kWh/month": "#,##0.0##",
    "kg CO2e/kg": "#,##0.0##",
    "kg CO2e/kWh": "0.000000",
    "kg/kWh": "0.0000E+00",
    "MMBtu/kWh": "0.0000000000",
}
"""How numbers of a unit are shown; others as they are. Prices: two to six decimals."""

FIRST_DAY = 36892.0  # 1 January 2001 in the day count of spreadsheets


class Book:
    """A workbook being written, with the few formats that it uses."""

    def __init__(self, title: str, sheets: Sequence[str]) -> None:
        from xlsxwriter import Workbook

        self.file = BytesIO()
        self.book = Workbook(self.file, {"in_memory": True})
        # the same year gives the same bytes, whenever it is written
        self.book.set_properties({"title": title, "created": datetime(2001, 1, 1)})
        formats: dict[str, dict[str, object]] = {
            "title": {"bold": True, "font_size": 14},
            "head": {"bold": True, "bottom": 1, "text_wrap": True, "bg_color": "#E8EEF4"},
            "part": {"bold": True},
            "text": {},
            "wrap": {"text_wrap": True},
            "beside": {"align": "left", "indent": 1},  # apart from the number on its left
            "number": {"num_format": "#,##0.00"},
            "fine": {"num_format": "0.000000"},
            "tiny": {"num_format": "0.0E+00"},
            "input": {"border": 1},
            "time": {"num_format": "mm-dd hh:mm"},
        }
        self.formats: dict[str, Format] = {}
        for name, held in formats.items():
            self._add(name, held)
        self.units: dict[tuple[str, str], Formula] = {}  # conversions that are in a sheet already
        self.sheets: dict[str, Worksheet] = {name: self.book.add_worksheet(name) for name in sheets}
        self.later: dict[str, Sequence[Array]] = {}  # columns of numbers of which row 2 alone is written

    def _add(self, name: str, held: Mapping[str, object]) -> str:
        """A format under a name, once."""
        if name not in self.formats:
            self.formats[name] = self.book.add_format({"valign": "top", **held})
        return name

    def in_unit(self, unit: str, border: int = 0) -> str:
        """Name of the format of numbers of a unit: those that may be changed have a border."""
        shown = NUMBERS.get(unit) or ("#,##0.00####" if unit.startswith("USD/") else "General")
        return self._add(f"{shown} {border}", {"num_format": shown, "border": border})

    def text(self, sheet: str, row: int, column: int, text: str, style: str = "text") -> None:
        """Text as it is: a leading = is no formula, a web address no link."""
        self.sheets[sheet].write_string(row, column, text, self.formats[style])

    def texts(self, sheet: str, row: int, texts: Sequence[str], style: str = "head", column: int = 0) -> None:
        """A row of texts; heads have two lines."""
        if style == "head":
            self.sheets[sheet].set_row(row, 30)
        for i, text in enumerate(texts):
            self.text(sheet, row, column + i, text, style)

    def number(self, sheet: str, row: int, column: int, value: float, style: str = "number") -> Formula:
        """A number, in full precision whatever the format shows."""
        self.sheets[sheet].write_number(row, column, value, self.formats[style])
        return _place(sheet, row, column, value)

    def live(self, sheet: str, row: int, column: int, of: Formula, style: str = "number") -> Formula:
        """A formula and the value it has."""
        shown = "" if math.isnan(of.value) else of.value
        self.sheets[sheet].write_formula(row, column, f"={of.text}", self.formats[style], shown)
        return _place(sheet, row, column, of.value)

    def given(self, sheet: str, row: int, column: int, value: float, name: str, unit: str = "") -> Formula:
        """A number to be changed by hand, with a name that formulas use."""
        return self._name(self.number(sheet, row, column, value, self.in_unit(unit, SOLID)), name)

    def follows(self, sheet: str, row: int, column: int, of: Formula, name: str, unit: str = "") -> Formula:
        """A formula that may be overwritten with a number, with a name that formulas use."""
        return self._name(self.live(sheet, row, column, of, self.in_unit(unit, DOTTED)), name)

    def choice(self, sheet: str, row: int, column: int, text: str, name: str, among: Column) -> None:
        """A text to be picked by hand from the cells of a column, with a name that formulas use."""
        self.text(sheet, row, column, text, "input")
        self.sheets[sheet].data_validation(
            row, column, row, column, {"validate": "list", "source": f"={among.range}"}
        )
        self._name(_place(sheet, row, column, math.nan), name)

    def _name(self, cell: Formula, name: str) -> Formula:
        self.book.define_name(name, f"={cell.text}")
        return Formula(name, cell.value)

    def widths(self, sheet: str, *widths: float, freeze: int = 0) -> None:
        """Widths of the columns from the left, and how many rows stay in sight."""
        for i, width in enumerate(widths):
            self.sheets[sheet].set_column(i, i, width)
        if freeze:
            self.sheets[sheet].freeze_panes(freeze, 0)

    def close(self) -> bytes:
        """The bytes of the file."""
        self.book.close()
        files = {f"xl/worksheets/sheet{n}.xml": name for n, name in enumerate(self.sheets, start=1)}
        whole = BytesIO()
        # level 5 takes a third less time than the usual 6, for 2 % more bytes
        with ZipFile(self.file) as written, ZipFile(whole, "w", ZIP_DEFLATED, compresslevel=5) as out:
            for item in written.infolist():
                data, sheet = written.read(item), files.get(item.filename)
                if sheet in self.later:
                    data = _completed(data.decode(), self.later[sheet]).encode()
                out.writestr(item, data)
        return whole.getvalue()


def _completed(sheet: str, columns: Sequence[Array]) -> str:
    """The XML of a sheet with rows 3 and on of columns of numbers, styled as row 2; NaN is an empty cell.

    xlsxwriter takes a call and a few checks for each cell, and there are half a million: put together here,
    they take a third of the time. ECMA-376 part 1, 18.3.1.73 (row) and 18.3.1.4 (c) (unverified).
    """
    last = columns[0].size + 1
    cells = []
    for at, values in enumerate(columns):
        name = letter(at)
        found = re.search(rf'<c r="{name}2"( s="\d+")', sheet)
        style = found[1] if found else ""
        cells.append(
            [
                f'<c r="{name}{row}"{style}><v>{value!r}</v></c>' if value == value else ""  # not of NaN
                for row, value in enumerate(
                    np.where(np.isfinite(values), values, np.nan)[1:].tolist(), start=3
                )
            ]
        )
    rows = (f'<row r="{n}">{"".join(row)}</row>' for n, row in enumerate(zip(*cells, strict=True), start=3))
    sheet = re.sub(
        r'<dimension ref="A1:([A-Z]+)\d+"/>', rf'<dimension ref="A1:\g<1>{last}"/>', sheet, count=1
    )
    return sheet.replace("</sheetData>", f"{''.join(rows)}</sheetData>", 1)


def _place(sheet: str, row: int, column: int, value: float) -> Formula:
    return Formula(f"'{sheet}'!${letter(column)}${row + 1}", value)


def at(written: object, *path: str | int) -> Any:
    """What stands at a place of nested blocks and lists as they were written; None where nothing does."""
    for step in path:
        if isinstance(step, str) and isinstance(written, Mapping):
            written = written.get(step)
        elif isinstance(step, int) and isinstance(written, list) and step < len(written):
            written = written[step]
        else:
            return None
    return written


CHANGEABLE = "may be changed"
UNITS = "conversion of units; Btu and pound as in NIST SP 811, appendix B"


class Page:
    """A sheet of factors, one below the other: label, unit, value, may be changed, name, source."""

    def __init__(self, book: Book, sheet: str, row: int = 0) -> None:
        self.book, self.sheet, self.row = book, sheet, row
        heads = ["factor", "unit", "value", CHANGEABLE, "name of the cell"]
        book.texts(sheet, row, [*heads, "source, or key of the sheet Inputs"])

    def _labels(self, label: str, unit: str, may: str, name: str, source: str) -> None:
        self.row += 1
        self.book.texts(self.sheet, self.row, [label, unit], "text")
        self.book.texts(self.sheet, self.row, [may, name, source], "beside", column=3)

    def given(self, label: str, unit: str, value: float, name: str, source: str = "") -> Formula:
        """A number to be changed by hand."""
        self._labels(label, unit, "yes", name, source)
        return self.book.given(self.sheet, self.row, 2, value, name, unit)

    def quantity(
        self, label: str, unit: str, value: float, name: str, source: str, written: object, kind: Kind
    ) -> Formula:
        """A number to be changed by hand in the unit in which it was written, and below it in `unit`.

        `value` is in the unit of `kind`, which `unit` is another name of. Where `written`, what the modeler
        wrote, is in that unit already, or is not what made the value, there is one row.
        """
        as_written = written_in(written, kind)
        if as_written is None or as_written[2] == 1.0 or as_written[0] * as_written[2] != value:
            return self.given(label, unit, value, name, source)
        number, words, factor = as_written
        one = self.given(f"{label}, as it was written", words, number, f"{name}_as_written", source)
        if (words, unit) not in self.book.units:
            ratio = f"{unit} in 1 {words}"
            key = re.sub(r"\W+", "_", f"{unit}_in_{words}")
            converts = self.given(ratio, unit, factor, key, UNITS)
            self.book.units[words, unit] = converts
        times = self.book.units[words, unit]
        return self.follows(label, unit, one * times, name, f"{name}_as_written times {times.text}")

    def follows(self, label: str, unit: str, of: Formula, name: str, source: str = "") -> Formula:
        """What follows from other cells and may be overwritten."""
        self._labels(label, unit, "yes, in place of its formula", name, source)
        return self.book.follows(self.sheet, self.row, 2, of, name, unit)

    def choice(self, label: str, text: str, name: str, among: Column, source: str) -> None:
        """A text picked from a column."""
        self._labels(label, "", "yes, from its list", name, source)
        self.book.choice(self.sheet, self.row, 2, text, name, among)


def difference(book: Book, at: tuple[str, int, int], live: Formula, engine: Formula) -> Formula:
    """How far a live figure is from the engine's, over the engine's or over a thousandth if that is more.

    The thousandth of a kWh, a kg or a USD keeps figures that are nothing but rounding from looking moved.
    """
    size = max(abs(engine.value), 1e-3)
    text = f"ABS({live.text}-{engine.text})/MAX(ABS({engine.text}),0.001)"
    return book.live(*at, Formula(text, abs(live.value - engine.value) / size), "tiny")


def hourly_sheet(book: Book, sheet: str, columns: Mapping[str, Array]) -> dict[str, Column]:
    """Fill an hourly sheet: start of the hour, month, then `columns`, each shape (8760,)."""
    page = book.sheets[sheet]
    book.texts(sheet, 0, ["hour starting (local standard time)", "month", *columns])
    page.set_column(0, 0, 14)
    page.set_column(2, 1 + len(columns), 13)
    start = FIRST_DAY + np.arange(HOURS) / 24.0
    month = np.repeat(np.arange(1.0, 13.0), np.array(MONTH_DAYS) * 24)
    page.write_number(1, 0, start[0], book.formats["time"])
    for i, values in enumerate((month, *columns.values()), start=1):
        if math.isfinite(values[0]):
            page.write_number(1, i, values[0])
    book.later[sheet] = (start, month, *columns.values())
    page.freeze_panes(1, 2)
    return {
        name: Column(sheet, letter(i), values) for i, (name, values) in enumerate(columns.items(), start=2)
    }
