"""Sheets of hours: a row for each, below the label and the name of each column."""

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS, MONTH_DAYS
from hpwhsim.dossier.workbook.formula import Column, letter
from hpwhsim.dossier.workbook.sheets import Book, number_format, unit_of
from hpwhsim.results.declared import declarations

FIRST_DAY = 36892.0  # 1 January 2001 in the day count of spreadsheets
HEADS = 2  # rows: labels with units, and keys
AMOUNT = "#,##0.000"  # of an hour: a Wh, a tenth of a minute
OTHERS: dict[str, tuple[str, str, str, str]] = {
    "room_electricity_kwh": (
        "electricity of the room",
        "kWh",
        AMOUNT,
        "What the heat pump's room purchases more",
    ),
    "room_fuel_kwh": ("fuel of the room", "kWh", AMOUNT, "What the heat pump's room burns more"),
    "grid_kg_per_kwh": ("grid factor", "kg CO2e/kWh", "0.000000", "Mean factor of the grid at the meter"),
    "marginal_kg_per_kwh": ("marginal factor", "kg CO2e/kWh", "0.000000", "Marginal factor of the grid"),
    "usd_per_kwh": ("price", "USD/kWh", "0.0000##", "Price of electric energy, without tiers"),
    "price_band": ("price band", "1", "0", "Number of the price of electric energy in the sheet Factors"),
    "hour_of_day": ("hour", "h", "0", "Hour of the day at whose beginning the row starts, 0 to 23"),
    "weekend": ("weekend", "1", "0", "1 on Saturday and Sunday, else 0"),
}
"""Label, unit, format and meaning of columns that are no series of tables/results.csv."""
MEASURED = (
    (
        r"demand_(\d+)_kw",
        "demand {}",
        "kW",
        "Highest 15-minute mean in the hours that demand charge {} measures",
    ),
    (
        r"demand_(\d+)_with_room_kw",
        "demand {}, with room",
        "kW",
        "The same with the purchases of the room, charge {}",
    ),
    (r"(.+)_kwh", "energy in {}", "kWh", "Electricity in the named hours {}, room included"),
    (r"(.+)_kw", "power in {}", "kW", "Highest 15-minute mean in the named hours {}, room included"),
    (r"(.+)_hours", "hours of {}", "h", "Part of the hour within the named hours {}"),
)
"""The same of columns whose name holds a number or a name of the scenario's."""


def explained(name: str) -> tuple[str, str, str, str, str]:
    """Label, unit, format, meaning and sign of an hourly column."""
    row = declarations().get(name)
    if row is not None:
        shown = AMOUNT if row.kind == "sum" else number_format(row)
        return row.short, unit_of(row), shown, row.long_name, row.sign
    if name in OTHERS:
        return *OTHERS[name], ""
    for pattern, label, unit, meaning in MEASURED:
        if found := re.fullmatch(pattern, name):
            return label.format(found[1]), unit, AMOUNT, meaning.format(found[1]), ""
    raise KeyError(name)


def hourly_sheet(book: Book, sheet: str, columns: Mapping[str, Array]) -> dict[str, Column]:
    """Fill an hourly sheet: start of the hour, month, then `columns`, each shape (8760,)."""
    page = book.sheets[sheet]
    for first, last, width in ((0, 0, 12), (1, 1, 7), (2, 1 + len(columns), 9)):
        book.width(sheet, first, last, width)
    names = {name: explained(name) for name in columns}
    labels = [f"{label} [{unit}]" if unit != "1" else label for label, unit, *_ in names.values()]
    book.texts(sheet, 0, ["hour starting (local standard time)", "month", *labels])
    book.texts(sheet, 1, ["key", "", *columns], "key")
    page.set_row(1, 150)
    start = FIRST_DAY + np.arange(HOURS) / 24.0
    month = np.repeat(np.arange(1.0, 13.0), np.array(MONTH_DAYS) * 24)
    formats = ["time", "text", *(book.shown_as(shown) for _, _, shown, _, _ in names.values())]
    held = (start, month, *columns.values())
    for i, (values, style) in enumerate(zip(held, formats, strict=True)):
        if math.isfinite(values[0]):
            page.write_number(HEADS, i, values[0], book.formats[style])
        else:
            page.write_blank(HEADS, i, None, book.formats[style])
    book.later[sheet] = lambda written: completed(written, held)
    book.reach(sheet, HEADS + HOURS - 1, 1 + len(columns))
    book.freeze(sheet, HEADS, 2)
    return {
        name: Column(sheet, letter(i), values) for i, (name, values) in enumerate(columns.items(), start=2)
    }


def completed(sheet: str, columns: Sequence[Array]) -> str:
    """The XML of a sheet with the rows below its first hour, styled as that is; NaN is an empty cell.

    xlsxwriter takes a call and a few checks for each cell, and there are half a million: put together here,
    they take a third of the time. ECMA-376 part 1, 18.3.1.73 (row) and 18.3.1.4 (c) (unverified).
    """
    first, last = HEADS + 1, HEADS + columns[0].size
    cells = []
    for at, values in enumerate(columns):
        name = letter(at)
        found = re.search(rf'<c r="{name}{first}"( s="\d+")', sheet)
        style = found[1] if found else ""
        cells.append(
            [
                f'<c r="{name}{row}"{style}><v>{value!r}</v></c>' if value == value else ""  # not of NaN
                for row, value in enumerate(
                    np.where(np.isfinite(values), values, np.nan)[1:].tolist(), start=first + 1
                )
            ]
        )
    rows = (
        f'<row r="{n}">{"".join(row)}</row>'
        for n, row in enumerate(zip(*cells, strict=True), start=first + 1)
    )
    sheet = re.sub(
        r'<dimension ref="A1:([A-Z]+)\d+"/>', rf'<dimension ref="A1:\g<1>{last}"/>', sheet, count=1
    )
    return sheet.replace("</sheetData>", f"{''.join(rows)}</sheetData>", 1)
