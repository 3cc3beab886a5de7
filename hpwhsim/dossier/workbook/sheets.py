"""The workbook being written: cells that formulas find again, formats, and how its sheets are printed.

Every formula is written with the value it has, so that a reader that does not recalculate shows the figures.
"""

import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import datetime
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile

from hpwhsim.dossier.workbook.formula import Column, Formula, Words, letter
from hpwhsim.io.plain_text import visible
from hpwhsim.results.declared import Declared
from hpwhsim.results.numbers import NOTHING

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Cells = dict[str, Formula]
Columns = Mapping[str, Column]
Completed = Callable[[str], str]

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
"""How factors of a unit are shown; others as they are. Prices: two to six decimals."""

FOUR_DIGITS = "[>=1000]#,##0;[<=-1000]-#,##0;0.0###"  # of what declares no format
LETTER, A4, TABLOID, A3 = 1, 9, 3, 8  # sizes of paper: ECMA-376 part 1, 18.3.1.63 (unverified)
PAPERS = {"letter": (LETTER, TABLOID), "A4": (A4, A3)}
"""Paper of a sheet, and of a wide one, by `dossier.paper`."""
EDGE, FOOT = 0.4, 0.6  # inches, of the print
WRAPPED = ("wrap", "beside", "head", "head of numbers")  # formats in which a text goes on below
LINE, PLAIN_WIDTH = 15.0, 8.43  # points, and digits: of a row and a column of which nothing is said
MOST_PAGES = 120  # of a sheet of hours: a narrow one is printed smaller
LONGEST_TITLE = 90  # signs in the footer, which holds 255


def number_format(row: Declared, value: float | None = None) -> str:
    """The spreadsheet's format of a figure as tables/results.csv declares it.

    What is not nothing does not read as 0: such a `value` is shown with its exponent.

    Examples
    --------
    >>> from hpwhsim.results.declared import declared
    >>> number_format(declared("electricity_kwh")), number_format(declared("cop_plant"))
    ('#,##0', '0.00')
    """
    found = re.fullmatch(r"(,?)\.(\d)([fe])", row.format)
    if found is None:
        return "0" if row.format == "d" else FOUR_DIGITS
    comma, digits, kind = found[1], int(found[2]), found[3]
    places = f".{'0' * digits}" if digits else ""
    if kind == "e":
        return f"0{places}E+00"
    if value is not None and NOTHING < abs(value) < 0.5 * 0.1**digits:
        return "0.0E+00"
    return f"{'#,##0' if comma else '0'}{places}"


def unit_of(row: Declared) -> str:
    """The unit of a figure; 1 of a ratio and of a number of things."""
    unit = row.unit or "1"
    return unit.replace("kg/", "kg CO2e/") if "CO2e" in row.screen_unit else unit


class Book:
    """A workbook being written, with the few formats that it uses."""

    def __init__(self, title: str, sheets: Sequence[str], paper: str) -> None:
        from xlsxwriter import Workbook

        self.title, self.paper = title, paper
        self.file = BytesIO()
        self.book = Workbook(self.file, {"in_memory": True})
        # the same year gives the same bytes, whenever it is written
        self.book.set_properties({"title": title, "created": datetime(2001, 1, 1)})
        formats: dict[str, dict[str, object]] = {
            "title": {"bold": True, "font_size": 14},
            "head": {"bold": True, "bottom": 1, "text_wrap": True, "bg_color": "#E8EEF4"},
            "head of numbers": {
                "bold": True,
                "bottom": 1,
                "text_wrap": True,
                "bg_color": "#E8EEF4",
                "align": "right",
            },
            "part": {"bold": True},
            "text": {},
            "wrap": {"text_wrap": True},
            "beside": {"align": "left", "indent": 1, "text_wrap": True},  # apart from the number on its left
            "number": {"num_format": "#,##0.00"},
            "fine": {"num_format": "0.000000"},
            "tiny": {"num_format": "0.0E+00"},
            "input": {"border": 1},
            "percent": {"num_format": "0.0"},
            "sentence": {"bold": True, "text_wrap": True, "font_size": 12},
            "key": {"rotation": 90, "font_size": 8, "bg_color": "#E8EEF4", "bottom": 1},
            "link": {"underline": 1, "font_color": "#0000C0", "indent": 1},
            "time": {"num_format": "mm-dd hh:mm"},
        }
        self.formats: dict[str, Format] = {}
        for name, held in formats.items():
            self._add(name, held)
        self.units: dict[tuple[str, str], Formula] = {}  # conversions that are in a sheet already
        self.sheets: dict[str, Worksheet] = {name: self.book.add_worksheet(name) for name in sheets}
        self.later: dict[str, Completed] = {}  # what adds rows to the XML of a sheet
        self.ends: dict[str, tuple[int, int]] = {
            name: (0, 0) for name in sheets
        }  # last row and column, from 0
        self.wide: dict[str, dict[int, float]] = {name: {} for name in sheets}  # widths of columns
        self.long: dict[str, list[tuple[int, int, str]]] = {name: [] for name in sheets}  # texts that wrap
        self.repeated: dict[str, int] = {}  # rows at the head of each printed page

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
        if style in WRAPPED:
            self.long[sheet].append((row, column, text))
        self.reach(sheet, row, column)

    def reach(self, sheet: str, row: int, column: int) -> None:
        """A cell that is within the area to be printed."""
        last, right = self.ends[sheet]
        self.ends[sheet] = max(last, row), max(right, column)

    def link(self, sheet: str, row: int, column: int, to: str, text: str) -> None:
        """Text that leads to a place of this workbook."""
        self.sheets[sheet].write_url(row, column, f"internal:{to}", self.formats["link"], text)
        self.reach(sheet, row, column)

    def words(self, sheet: str, row: int, column: int, of: Words, style: str = "text") -> None:
        """A formula that gives a text, and the text that it now gives."""
        self.sheets[sheet].write_formula(row, column, f"={of.text}", self.formats[style], of.value)
        self.reach(sheet, row, column)

    def spread(self, sheet: str, row: int, last: int, of: Words) -> None:
        """A sentence over columns up to the last, in two lines."""
        style = self.formats["sentence"]
        self.sheets[sheet].set_row(row, 34)
        self.sheets[sheet].merge_range(row, 0, row, last, "", style)
        self.words(sheet, row, 0, of, "sentence")

    def place(self, sheet: str, row: int, column: int, cell: Formula) -> None:
        """Where a cell stands, as text that leads there."""
        of, _, at = cell.text.replace("$", "").rpartition("!")
        name = of.strip("'")
        self.link(sheet, row, column, cell.text.replace("$", ""), f"{name}, {at}")

    def declared(self, row: Declared, value: float | None = None) -> str:
        """Name of the format of a figure of tables/results.csv."""
        return self.shown_as(number_format(row, value))

    def shown_as(self, shown: str) -> str:
        """Name of a format of numbers."""
        return self._add(shown, {"num_format": shown})

    def texts(self, sheet: str, row: int, texts: Sequence[str], style: str = "head", column: int = 0) -> None:
        """A row of texts."""
        for i, text in enumerate(texts, start=column):
            self.text(sheet, row, i, text, style)

    def heads(self, sheet: str, row: int, words: Sequence[str], numbers: Collection[str] = ()) -> None:
        """Heads of columns; those of numbers stand on their right, as these do."""
        for i, text in enumerate(words):
            self.text(sheet, row, i, text, "head of numbers" if text in numbers else "head")

    def number(self, sheet: str, row: int, column: int, value: float, style: str = "number") -> Formula:
        """A number, in full precision whatever the format shows."""
        self.sheets[sheet].write_number(row, column, value, self.formats[style])
        self.reach(sheet, row, column)
        return _place(sheet, row, column, value)

    def live(self, sheet: str, row: int, column: int, of: Formula, style: str = "number") -> Formula:
        """A formula and the value it has."""
        shown = "" if math.isnan(of.value) else of.value
        self.sheets[sheet].write_formula(row, column, f"={of.text}", self.formats[style], shown)
        self.reach(sheet, row, column)
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

    def widths(self, sheet: str, *widths: float, freeze: int = 0, across: int = 0) -> None:
        """Widths of the columns from the left, and how many rows and columns stay in sight."""
        for i, width in enumerate(widths):
            self.width(sheet, i, i, width)
        self.freeze(sheet, freeze, across)

    def width(self, sheet: str, first: int, last: int, width: float) -> None:
        """Width of columns, in digits."""
        self.sheets[sheet].set_column(first, last, width)
        self.wide[sheet] |= dict.fromkeys(range(first, last + 1), width)

    def freeze(self, sheet: str, rows: int, columns: int) -> None:
        """Keep rows and columns in sight; the rows head each printed page too."""
        self.sheets[sheet].freeze_panes(rows, columns)
        self.repeated[sheet] = rows

    def _high(self, name: str) -> None:
        """Rows as high as their texts in the widths of their columns: not every program sees to that."""
        lines: dict[int, int] = {}
        for row, column, text in self.long[name]:
            room = max(int(self.wide[name].get(column, PLAIN_WIDTH)), 1)
            lines[row] = max(lines.get(row, 1), len(wrap(text, room)))
        for row, many in lines.items():
            if many > 1:
                self.sheets[name].set_row(row, LINE * many)

    def _printed(self, name: str) -> None:
        """Landscape, as wide as a page, with what heads it on each and its number below."""
        sheet, hours = self.sheets[name], name in self.later
        sheet.set_landscape()
        sheet.set_paper(PAPERS[self.paper][hours])
        sheet.fit_to_pages(1, MOST_PAGES if hours else 0)
        sheet.set_margins(EDGE, EDGE, EDGE, FOOT)
        title = visible(self.title)
        title = (
            title if len(title) <= LONGEST_TITLE else f"{title[: LONGEST_TITLE - 1]}\N{HORIZONTAL ELLIPSIS}"
        )
        title = title.replace("&", "&&")
        sheet.set_footer(f"&L&8 {title}&C&8 &A&R&8 page &P of &N", {"margin": 0.5 * FOOT})
        sheet.print_area(0, 0, *self.ends[name])
        if self.repeated.get(name):
            sheet.repeat_rows(0, self.repeated[name] - 1)

    def close(self) -> bytes:
        """The bytes of the file."""
        for name in self.sheets:
            self._high(name)
            self._printed(name)
        self.book.close()
        files = {f"xl/worksheets/sheet{n}.xml": name for n, name in enumerate(self.sheets, start=1)}
        whole = BytesIO()
        # level 5 takes a third less time than the usual 6, for 2 % more bytes
        with ZipFile(self.file) as written, ZipFile(whole, "w", ZIP_DEFLATED, compresslevel=5) as out:
            for item in written.infolist():
                data, sheet = written.read(item), files.get(item.filename)
                if sheet in self.later:
                    data = self.later[sheet](data.decode()).encode()
                out.writestr(item, data)
        return whole.getvalue()


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


def difference(book: Book, at: tuple[str, int, int], live: Formula, engine: Formula) -> Formula:
    """How far a live figure is from the engine's, over the engine's or over a thousandth if that is more.

    The thousandth of a kWh, a kg or a USD keeps figures that are nothing but rounding from looking moved.
    """
    size = max(abs(engine.value), 1e-3)
    text = f"ABS({live.text}-{engine.text})/MAX(ABS({engine.text}),0.001)"
    return book.live(*at, Formula(text, abs(live.value - engine.value) / size), "tiny")
