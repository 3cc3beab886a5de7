"""The year as a workbook: inputs, the hours of both plants, and formulas from them to every total."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import AT_LEAST, Check
from hpwhsim.account.energy import END_USES
from hpwhsim.arrays import Array
from hpwhsim.dossier.workbook.carbon_factors import POTENTIALS
from hpwhsim.dossier.workbook.carbon_sheet import carbon_sheet
from hpwhsim.dossier.workbook.cost_sheet import cost_sheet
from hpwhsim.dossier.workbook.draw_sheet import draw_sheet
from hpwhsim.dossier.workbook.factors import factor_sheet, hourly_factors
from hpwhsim.dossier.workbook.formula import Formula, added, maximum, ratio
from hpwhsim.dossier.workbook.life_cycle_sheet import life_cycle_sheet
from hpwhsim.dossier.workbook.savings_sheet import savings_sheet
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns, hourly_sheet
from hpwhsim.dossier.workbook.summary_sheet import PURCHASED, USEFUL, summary_sheet
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.results.declared import declarations
from hpwhsim.sections.inputs import Input, inputs
from hpwhsim.sections.rows import HYGIENE, HYGIENE_HEADS, hygiene_rows

SHEETS = (
    "Summary",
    "Savings",
    "Carbon",
    "Cost",
    "Life cycle",
    "Monthly",
    "Draws",
    "Inputs",
    "Factors",
    POTENTIALS,
    "Checks",
    "Cautions",
    "Hourly plant",
    "Hourly baseline",
    "Hourly factors",
    "Columns",
)
SUMMED_BY_MONTH = (
    "electricity_kwh",
    *END_USES,
    "fuel_kwh",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "storage_loss_kwh",
)


def workbook_bytes(result: Result) -> bytes:
    """The bytes of the XLSX file.

    Totals, savings, greenhouse gases and costs are formulas on the hourly rows and on cells of
    factors that may be changed; each carries the value that it has, for readers that do not recalculate.

    Parameters
    ----------
    result : Result
        What was calculated.
    """
    sides, outside = result.sides, hourly_factors(result)
    there = {
        "Savings": result.baseline is not None,
        "Hourly baseline": result.baseline is not None,
        "Carbon": result.grid is not None,
        POTENTIALS: result.grid is not None,
        "Cost": result.plant.tariff is not None,
        "Life cycle": result.plant.costs is not None,
        "Hourly factors": bool(outside),
        "Draws": "seeds" in result.plant.record,
    }
    record = result.plant.record
    book = Book(str(record["title"]), [name for name in SHEETS if there.get(name, True)])
    factors = factor_sheet(book, result, hourly_sheet(book, "Hourly factors", outside) if outside else {})
    columns = {
        name: hourly_sheet(book, f"Hourly {name}", _columns(side, result)) for name, side in sides.items()
    }
    live: dict[str, Cells] = {name: {} for name in sides}
    saved: Cells = {}
    of_savings: Cells = {}
    if factors.carbon is not None:
        _join(live, carbon_sheet(book, result, columns, factors.carbon))
    if factors.prices is not None:
        _join(live, cost_sheet(book, result, columns, factors.prices))
    if result.baseline is not None:
        saved, of_savings["savings"] = savings_sheet(book, result, columns, live, factors)
    if result.plant.costs is not None:
        live["plant"] |= life_cycle_sheet(book, result, columns, live, saved)
    _monthly(book, columns)
    if "seeds" in record:
        of_savings["years of draws"] = draw_sheet(book, record)
    differences = summary_sheet(book, sides, columns, live, factors) | of_savings
    _inputs(book, result)
    _checks(book, result, differences)
    book.texts("Cautions", 0, ["What the reader must know before using the result"])
    cautions: Any = record["cautions"]
    for row, caution in enumerate(cautions, start=1):
        book.text("Cautions", row, 0, str(caution), "wrap")
    book.widths("Cautions", 120, 14, 10, 14, 60)
    below = len(cautions) + 2
    for name, side in sides.items():
        book.text("Cautions", below, 0, f"{HYGIENE} Of the {name}", "wrap")
        book.texts("Cautions", below + 1, HYGIENE_HEADS)
        rows = hygiene_rows(side.record)
        for at, cells in enumerate(rows, start=below + 2):
            book.texts("Cautions", at, cells, "text")
        below += len(rows) + 3
    _dictionary(book, columns)
    return book.close()


def _join(live: dict[str, Cells], cells: Mapping[str, Cells]) -> None:
    for name, held in cells.items():
        live[name] |= held


def _columns(side: Side, result: Result) -> dict[str, Array]:
    """Hourly series of a plant in the order of tables/results.csv, and what bills and savings measure."""
    hourly = side.year.hourly
    found = {name: hourly[name] for name in declarations() if name in hourly and name not in OF_ALL}
    if side.room:
        found["room_electricity_kwh"] = side.bought.room_electricity
        found["room_fuel_kwh"] = side.bought.room_fuel
    for n, values in enumerate(side.measured_kw(False), start=1):
        found[f"demand_{n}_kw"] = values
    if side.room:
        for n, values in enumerate(side.measured_kw(True), start=1):
            found[f"demand_{n}_with_room_kw"] = values
    if result.baseline is not None:
        for name, when in result.peak_hours.items():
            found |= {f"{name}_{what}": values for what, values in side.in_hours(when).items()}
    return found


OF_ALL = (
    "grid_kgco2e_per_kwh",
    "electricity_usd_per_kwh",
    "baseline_electricity_kwh",
    "baseline_fuel_kwh",
)
"""Hourly series that stand in another sheet."""


def _monthly(book: Book, columns: Mapping[str, Columns]) -> None:
    """Months of both plants, by SUMIFS on the month of each row."""
    sheet, row = "Monthly", 0
    book.widths(sheet, 26, *([12] * 13), freeze=0)
    for name, held in columns.items():
        book.text(sheet, row, 0, name, "title")
        book.texts(sheet, row + 1, ["key", *MONTH_NAMES, "year"])
        row += 2
        cells: dict[str, list[Formula]] = {}
        for key in (key for key in SUMMED_BY_MONTH if key in held):
            book.text(sheet, row, 0, key)
            cells[key] = [book.live(sheet, row, m, held[key].month(m)) for m in range(1, 13)]
            whole = sum(c.value for c in cells[key])
            book.live(sheet, row, 13, Formula(f"SUM(B{row + 1}:M{row + 1})", whole))
            row += 1
        book.text(sheet, row, 0, "peak_kw")
        peaks = [book.live(sheet, row, m, held["power_peak_kw"].month_highest(m)) for m in range(1, 13)]
        highest = max(c.value for c in peaks)
        book.live(sheet, row, 13, Formula(f"MAX(B{row + 1}:M{row + 1})", highest))
        row += 1
        book.text(sheet, row, 0, "cop_plant")
        for m in range(12):
            over, under = (added(cells[key][m] for key in keys) for keys in (USEFUL, PURCHASED))
            book.live(sheet, row, m + 1, ratio(over, under), "fine")
        row += 2


def _inputs(book: Book, result: Result) -> None:
    """Every input with where it is from."""
    book.texts("Inputs", 0, Input._fields)
    book.widths("Inputs", 44, 44, 12, 90, 12, freeze=1)
    for row, item in enumerate(inputs(result), start=1):
        book.texts("Inputs", row, item, "wrap")


def _checks(book: Book, result: Result, differences: Cells) -> None:
    """Whether the sheets add up to the engine's record, whether the year closes, and the plant's checks."""
    sheet = "Checks"
    book.texts(
        sheet,
        0,
        ["check", "value", "limit", "source", "state", "ratio", "value, number", "limit, number", "unit"],
    )
    book.widths(sheet, 56, 26, 70, 60, 12, 9, 12, 12, 10, freeze=1)
    row = 1
    for name, largest in differences.items():
        book.text(sheet, row, 0, f"largest relative difference of live figures from the engine, {name}")
        value = book.live(sheet, row, 1, largest, "tiny")
        book.text(sheet, row, 2, "rounding, below 1e-9, until a cell is changed by hand")
        book.live(sheet, row, RATIO, value / 1e-9)
        row += 1
    for name, side in result.sides.items():
        balance = side.record["balance_error"]
        assert isinstance(balance, float)
        book.text(sheet, row, 0, f"heat in less heat out less change in the store, over heat in, {name}")
        value = book.number(sheet, row, 1, balance, "tiny")
        book.text(sheet, row, 2, "at most 1e-6")
        book.live(sheet, row, RATIO, maximum(value, 0.0 - value) / 1e-6)
        row += 1
    for check in result.checks:
        book.texts(sheet, row, [check.name, check.text, check.limit, check.source, check.state], "wrap")
        _check_ratio(book, row, check)
        row += 1


RATIO = 5  # column of the sheet Checks: value over limit, or limit over a value that must be at least that


def _check_ratio(book: Book, row: int, check: Check) -> None:
    """Value and limit of a check as numbers, and its ratio as their quotient."""
    value, limit = (
        None if number is None else book.number("Checks", row, RATIO + at, number)
        for at, number in ((1, check.value), (2, check.limit_value))
    )
    book.text("Checks", row, RATIO + 3, check.unit)
    if value is not None and limit is not None and check.ratio is not None:
        over, under = (limit, value) if check.limit_kind == AT_LEAST else (value, limit)
        book.live("Checks", row, RATIO, ratio(over, under))


def _dictionary(book: Book, columns: Mapping[str, Columns]) -> None:
    """What the columns of the hourly sheets mean."""
    sheet = "Columns"
    book.texts(sheet, 0, ["column", "unit", "what it is", "a positive value means"])
    book.widths(sheet, 36, 9, 80, 28, freeze=1)
    known = [row for row in declarations().values() if any(row.name in held for held in columns.values())]
    for at, row in enumerate(known, start=1):
        book.texts(sheet, at, [row.name, row.unit, row.long_name, row.sign], "text")
