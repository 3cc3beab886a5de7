"""Sheets that list: months, inputs, cautions, and what the columns of the hours are."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.energy import END_USES
from hpwhsim.dossier.workbook.formula import Formula, added, ratio
from hpwhsim.dossier.workbook.hourly import explained
from hpwhsim.dossier.workbook.sheets import Book, Columns, unit_of
from hpwhsim.dossier.workbook.summary_sheet import PURCHASED, USEFUL
from hpwhsim.evaluation.result import Result
from hpwhsim.results.declared import declared
from hpwhsim.sections.inputs import Input, inputs
from hpwhsim.sections.rows import HYGIENE, HYGIENE_HEADS, hygiene_rows

SUMMED_BY_MONTH = (
    "electricity_kwh",
    *END_USES,
    "fuel_kwh",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "storage_loss_kwh",
)


def monthly_sheet(book: Book, columns: Mapping[str, Columns]) -> None:
    """Months of both plants, by SUMIFS on the month of each row."""
    sheet, row = "Monthly", 0
    book.widths(sheet, 34, 24, 8, *([11] * 13), across=1)

    def named(key: str) -> str:
        one = declared(key)
        book.texts(sheet, row, [one.label, key, unit_of(one)], "text")
        return book.declared(one)

    for name, held in columns.items():
        book.text(sheet, row, 0, name, "title")
        book.heads(sheet, row + 1, ["figure", "key", "unit", *MONTH_NAMES, "year"], (*MONTH_NAMES, "year"))
        row += 2
        cells: dict[str, list[Formula]] = {}
        for key in (key for key in SUMMED_BY_MONTH if key in held):
            style = named(key)
            cells[key] = [book.live(sheet, row, m + 2, held[key].month(m), style) for m in range(1, 13)]
            whole = sum(c.value for c in cells[key])
            book.live(sheet, row, 15, Formula(f"SUM(D{row + 1}:O{row + 1})", whole), style)
            row += 1
        style = named("peak_kw")
        power = held["power_peak_kw"]
        peaks = [book.live(sheet, row, m + 2, power.month_highest(m), style) for m in range(1, 13)]
        highest = max(c.value for c in peaks)
        book.live(sheet, row, 15, Formula(f"MAX(D{row + 1}:O{row + 1})", highest), style)
        row += 1
        style = named("cop_plant")
        for m in range(12):
            over, under = (added(cells[key][m] for key in keys) for keys in (USEFUL, PURCHASED))
            book.live(sheet, row, m + 3, ratio(over, under), style)
        over, under = (added(held[key].total() for key in keys) for keys in (USEFUL, PURCHASED))
        book.live(sheet, row, 15, ratio(over, under), style)
        row += 2


def inputs_sheet(book: Book, result: Result) -> None:
    """Every input with where it is from."""
    book.texts("Inputs", 0, Input._fields)
    book.widths("Inputs", 44, 36, 12, 80, 12, freeze=1, across=1)
    for row, item in enumerate(inputs(result), start=1):
        book.texts("Inputs", row, item, "wrap")


def cautions_sheet(book: Book, result: Result) -> None:
    """What the reader must know, and temperatures that matter for Legionella."""
    sheet = "Cautions"
    book.texts(sheet, 0, ["What the reader must know before using the result"])
    cautions: Any = result.plant.record["cautions"]
    for row, caution in enumerate(cautions, start=1):
        book.text(sheet, row, 0, str(caution), "wrap")
    book.widths(sheet, 110, 14, 10, 14, 46, freeze=1)
    below = len(cautions) + 2
    for name, side in result.sides.items():
        book.text(sheet, below, 0, f"{HYGIENE} Of the {name}", "wrap")
        book.texts(sheet, below + 1, HYGIENE_HEADS)
        rows = hygiene_rows(side.record)
        for at, cells in enumerate(rows, start=below + 2):
            book.texts(sheet, at, cells, "wrap")
        below += len(rows) + 3


def columns_sheet(book: Book, columns: Mapping[str, Columns]) -> None:
    """What every column of the hourly sheets means."""
    sheet = "Columns"
    book.texts(sheet, 0, ["column", "label", "unit", "what it is", "a positive value means"])
    book.widths(sheet, 36, 26, 12, 80, 28, freeze=1, across=1)
    names = dict.fromkeys(name for held in columns.values() for name in held)
    for at, name in enumerate(names, start=1):
        label, unit, _, meaning, sign = explained(name)
        book.texts(sheet, at, [name, label, unit, meaning, sign], "wrap")
