"""The year as a workbook: inputs, the hours of both plants, and formulas from them to every total."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.report.accounts import Cells, Columns, carbon_sheet, cost_sheet
from hpwhsim.report.comparison import life_cycle_sheet, savings_sheet
from hpwhsim.report.factors import factor_sheet, hourly_factors
from hpwhsim.report.sheets import Book, Cell, difference, hourly_sheet
from hpwhsim.study.dossier import Papers, Side, inputs
from hpwhsim.tables import read_table

Array = NDArray[np.float64]

SHEETS = (
    "Summary",
    "Savings",
    "Carbon",
    "Cost",
    "Life cycle",
    "Monthly",
    "Inputs",
    "Factors",
    "Checks",
    "Cautions",
    "Hourly plant",
    "Hourly baseline",
    "Hourly factors",
    "Columns",
)
SUMMED_BY_MONTH = (
    "electricity_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "storage_loss_kwh",
)


def workbook_bytes(papers: Papers) -> bytes:
    """The bytes of the XLSX file.

    Totals, savings, greenhouse gases and costs are formulas on the hourly rows and on the cells of the sheet
    Factors; each carries the value that it has, for readers that do not recalculate.

    Parameters
    ----------
    papers : Papers
        What was calculated.
    """
    sides, outside = papers.sides, hourly_factors(papers)
    there = {
        "Savings": papers.baseline is not None,
        "Hourly baseline": papers.baseline is not None,
        "Carbon": papers.grid is not None,
        "Cost": papers.plant.tariff is not None,
        "Life cycle": papers.answer.life_cycle is not None,
        "Hourly factors": bool(outside),
    }
    record = papers.plant.record
    book = Book(str(record["title"]), [name for name in SHEETS if there.get(name, True)])
    factors = factor_sheet(book, papers, hourly_sheet(book, "Hourly factors", outside) if outside else {})
    columns = {
        name: hourly_sheet(book, f"Hourly {name}", _columns(side, papers)) for name, side in sides.items()
    }
    live: dict[str, Cells] = {name: {} for name in sides}
    if papers.grid is not None:
        for name, cells in carbon_sheet(book, papers, columns, factors).items():
            live[name] |= cells
    if papers.plant.tariff is not None:
        for name, cells in cost_sheet(book, papers, columns, factors).items():
            live[name] |= cells
    _monthly(book, columns)
    differences = _summary(book, sides, columns, live)
    if papers.baseline is not None:
        differences["savings"] = savings_sheet(book, papers, columns, live, factors)
    if papers.answer.life_cycle is not None:
        life_cycle_sheet(book, papers, live)
    _inputs(book, papers)
    _checks(book, papers, differences)
    book.texts("Cautions", 0, ["What the reader must know before using the result"])
    cautions: Any = record["cautions"]
    for row, caution in enumerate(cautions, start=1):
        book.text("Cautions", row, 0, str(caution), "wrap")
    book.widths("Cautions", 120)
    _dictionary(book, columns)
    return book.close()


def _columns(side: Side, papers: Papers) -> dict[str, Array]:
    """Hourly series of a plant in the order of tables/results.csv, and what bills and savings measure."""
    hourly = side.year.hourly
    found = {
        row["name"]: hourly[row["name"]]
        for row in read_table("results")
        if row["name"] in hourly and row["name"] not in OF_ALL
    }
    if side.room:
        found["room_electricity_kwh"] = side.bought.room_electricity
        found["room_fuel_kwh"] = side.bought.room_fuel
    for n, values in enumerate(side.measured_kw(False), start=1):
        found[f"demand_{n}_kw"] = values
    if side.room:
        for n, values in enumerate(side.measured_kw(True), start=1):
            found[f"demand_{n}_with_room_kw"] = values
    if papers.baseline is not None:
        for name, when in papers.peak_hours.items():
            found |= {f"{name}_{what}": values for what, values in side.in_hours(when).items()}
    return found


OF_ALL = (
    "grid_kgco2e_per_kwh",
    "electricity_usd_per_kwh",
    "baseline_electricity_kwh",
    "baseline_fuel_kwh",
)
"""Hourly series that stand in another sheet."""


def _ratio(book: Book, at: tuple[str, int, int], over: list[Cell], under: list[Cell]) -> Cell:
    """A sum of cells over another, empty where that is 0."""
    top, bottom = ("+".join(cell.ref for cell in cells) for cells in (over, under))
    value = sum(c.value for c in under)
    quotient = sum(c.value for c in over) / value if value else 0.0
    return book.live(*at, f'=IF({bottom}=0,"",({top})/({bottom}))', quotient, "fine")


def _summary(
    book: Book, sides: Mapping[str, Side], columns: Mapping[str, Columns], live: dict[str, Cells]
) -> dict[str, str]:
    """Every figure of the record beside the formula that gives it; returns the ranges of differences."""
    sheet = "Summary"
    record: Mapping[str, Any] = sides["plant"].record
    book.text(sheet, 0, 0, str(record["title"]), "title")
    book.text(sheet, 1, 0, f"Weather: {record['weather.station']}; tankyear {record['tool.version']}")
    book.text(
        sheet,
        2,
        0,
        "Live figures are formulas on the hourly sheets and the sheet Factors (yellow cells may be changed); "
        "'engine' is what the program wrote into the annual record.",
    )
    heads = ["key", "what it is", "unit"]
    for name in sides:
        heads += [f"{name}, live", f"{name}, engine", "difference"]
    book.texts(sheet, 4, heads)
    book.widths(sheet, 30, 62, 9, *([17, 17, 11] * len(sides)), freeze=5)
    rows = [
        row
        for row in read_table("results")
        if row["where"] in ("both", "record")
        and not row["name"].startswith(("savings.", "baseline."))
        and any(isinstance(side.record.get(row["name"]), float | int) for side in sides.values())
    ]
    for at, row in enumerate(rows, start=5):
        key = row["name"]
        book.texts(sheet, at, [key, row["long_name"], row["unit"]], "text")
        for i, (name, side) in enumerate(sides.items()):
            value = side.record.get(key)
            if not isinstance(value, float | int):
                continue
            place = 3 + 3 * i
            engine = book.number(sheet, at, place + 1, float(value), _style(row["unit"]))
            cell = _figure(book, (sheet, at, place), key, row, columns[name], live[name])
            if cell is None:
                book.text(sheet, at, place, "as in the engine")
                continue
            live[name][key] = cell
            difference(book, (sheet, at, place + 2), cell, engine)
    return {
        name: f"'{sheet}'!${column}$6:${column}${5 + len(rows)}"
        for name, column in zip(sides, ("F", "I"), strict=False)
    }


def _style(unit: str) -> str:
    return "fine" if unit == "1" else "number"


def _figure(
    book: Book, at: tuple[str, int, int], key: str, row: Mapping[str, str], columns: Columns, live: Cells
) -> Cell | None:
    """The formula of a key of the record; None where the hourly rows do not give it."""
    if key in live:
        return book.live(*at, f"={live[key].ref}", live[key].value, _style(row["unit"]))
    if key in columns and row["kind"] == "sum":
        return book.live(*at, *columns[key].total(), _style(row["unit"]))
    if key in EXTREMES:
        column, function = EXTREMES[key]
        if column not in columns:
            return None
        values = columns[column].values
        find: Mapping[str, Any] = {"MAX": np.nanmax, "MIN": np.nanmin, "AVERAGE": np.nanmean}
        formula = f"={function}({columns[column].range})"
        return book.live(*at, formula, float(find[function](values)), _style(row["unit"]))
    if key not in RATIOS:
        return None
    over, under, less = RATIOS[key]
    top = [live[name] for name in over if name in live]
    bottom = [live[name] for name in under if name in live]
    taken = [live[name] for name in less if name in live]
    if not top or not bottom:
        return None
    value = sum(c.value for c in bottom) - sum(c.value for c in taken)
    below = "+".join(c.ref for c in bottom) + "".join(f"-{c.ref}" for c in taken)
    above = "+".join(c.ref for c in top)
    quotient = sum(c.value for c in top) / value if value else 0.0
    return book.live(*at, f'=IF({below}=0,"",({above})/({below}))', quotient, "fine")


EXTREMES = {
    "peak_kw": ("power_peak_kw", "MAX"),
    "source_min_c": ("source_c", "MIN"),
    "source_mean_c": ("source_c", "AVERAGE"),
    "room_min_c": ("room_c", "MIN"),
    "loop_min_c": ("loop_coldest_c", "MIN"),
    "store_min_top_c": ("store_top_c", "MIN"),
}
"""Keys of the record that are an extreme or mean of an hourly series."""

_BOUGHT = ("electricity_kwh", "fuel_kwh")
_HEAT_PUMP = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "trace_heating_kwh")
_USEFUL = ("heat_to_taps_kwh", "recirculation_loss_kwh")
RATIOS: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "cop_heat_pump": (("heat_pump_heat_kwh",), _HEAT_PUMP, ()),
    "cop_plant": (_USEFUL, _BOUGHT, ()),
    "cop_net": (
        _USEFUL,
        (*_BOUGHT, "room_heating_penalty_kwh"),
        ("room_cooling_credit_kwh", "dehumidifier_credit_kwh"),
    ),
}
"""Keys that are sums over sums: what is over, under, and taken from what is under."""


def _monthly(book: Book, columns: Mapping[str, Columns]) -> None:
    """Months of both plants, by SUMIFS on the month of each row."""
    sheet, row = "Monthly", 0
    book.widths(sheet, 26, *([12] * 13), freeze=0)
    for name, held in columns.items():
        book.text(sheet, row, 0, name, "title")
        book.texts(sheet, row + 1, ["key", *MONTH_NAMES, "year"])
        row += 2
        cells: dict[str, list[Cell]] = {}
        for key in SUMMED_BY_MONTH:
            book.text(sheet, row, 0, key)
            cells[key] = [book.live(sheet, row, m, *held[key].month(m)) for m in range(1, 13)]
            book.live(sheet, row, 13, f"=SUM(B{row + 1}:M{row + 1})", sum(c.value for c in cells[key]))
            row += 1
        book.text(sheet, row, 0, "peak_kw")
        peaks = [book.live(sheet, row, m, *held["power_peak_kw"].month_highest(m)) for m in range(1, 13)]
        book.live(sheet, row, 13, f"=MAX(B{row + 1}:M{row + 1})", max(c.value for c in peaks))
        row += 1
        book.text(sheet, row, 0, "cop_plant")
        for m in range(12):
            over = [cells[key][m] for key in _USEFUL]
            _ratio(book, (sheet, row, m + 1), over, [cells[key][m] for key in _BOUGHT])
        row += 2


def _inputs(book: Book, papers: Papers) -> None:
    """Every input with where it is from."""
    book.texts("Inputs", 0, ["key", "value", "origin", "source"])
    book.widths("Inputs", 44, 44, 12, 90, freeze=1)
    for row, item in enumerate(inputs(papers), start=1):
        book.texts("Inputs", row, item, "wrap")


def _checks(book: Book, papers: Papers, differences: Mapping[str, str]) -> None:
    """Whether the sheets add up to the engine's record, whether the year closes, and the plant's checks."""
    sheet = "Checks"
    book.texts(sheet, 0, ["check", "value", "limit", "source", "state"])
    book.widths(sheet, 56, 26, 70, 60, 12, freeze=1)
    row = 1
    for name, span in differences.items():
        book.text(sheet, row, 0, f"largest relative difference of live figures from the engine, {name}")
        book.live(sheet, row, 1, f"=MAX({span})", 0.0, "tiny")
        book.text(sheet, row, 2, "rounding, below 1e-9, until a cell is changed by hand")
        row += 1
    for name, side in papers.sides.items():
        balance = side.record["balance_error"]
        assert isinstance(balance, float)
        book.text(sheet, row, 0, f"heat in less heat out less change in the store, over heat in, {name}")
        book.number(sheet, row, 1, balance, "tiny")
        book.text(sheet, row, 2, "at most 1e-6")
        row += 1
    for check in papers.answer.checks:
        book.texts(sheet, row, [check.name, check.text, check.limit, check.source, check.state], "wrap")
        row += 1


def _dictionary(book: Book, columns: Mapping[str, Columns]) -> None:
    """What the columns of the hourly sheets mean."""
    sheet = "Columns"
    book.texts(sheet, 0, ["column", "unit", "what it is", "a positive value means"])
    book.widths(sheet, 36, 9, 80, 28, freeze=1)
    known = [row for row in read_table("results") if any(row["name"] in held for held in columns.values())]
    for at, row in enumerate(known, start=1):
        book.texts(sheet, at, [row["name"], row["unit"], row["long_name"], row["sign"]], "text")
