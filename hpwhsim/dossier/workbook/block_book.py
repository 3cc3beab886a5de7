"""A block of buildings as a workbook: a row for each plant, and formulas that add them up again."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from hpwhsim.blocks.record import PER_APARTMENT, figure
from hpwhsim.blocks.report import caution_words, field_words, figures_of, rank_label, size_words
from hpwhsim.dossier.workbook.formula import Column, Formula, formula, letter, ratio
from hpwhsim.dossier.workbook.sheets import Book, number_format
from hpwhsim.results.declared import declared
from hpwhsim.scenario.schema import Dossier

Record = Mapping[str, Any]

BLOCK, BUILDINGS, MONTHS, HOURS, DAY, CAUTIONS = (
    "Block",
    "Buildings",
    "Months",
    "Named hours",
    "Peak day",
    "Cautions",
)
KW = "#,##0.0"
FIRST = 3  # row of the first building, counted from 1
BEFORE = ("building", "serves", "bore field", "buildings", "plants", "apartments")
COUNTED = (3, 4, 5)  # columns of `BEFORE` that hold whole numbers
WITHOUT_SUM = ("cop_plant", "peak_kw")


def block_workbook(record: Record) -> bytes:
    """The bytes of ``block.xlsx``.

    Totals are sums of the rows of the sheet Buildings; the coincident peak is the largest sum of the rows of
    the sheet Peak day, which has every plant quarter of an hour by quarter of an hour.

    Parameters
    ----------
    record : mapping
        What `tankyear block --json` prints.
    """
    sheets = [BLOCK, BUILDINGS, MONTHS, *([HOURS] if record["hours"] else []), DAY, CAUTIONS]
    book = Book(str(record["title"]), sheets, Dossier().paper)
    columns = _buildings(book, record)
    peak = _peak_day(book, record)
    _powers(book, MONTHS, "month", record["months"], ("electricity_kwh", "fuel_kwh"))
    if record["hours"]:
        _powers(book, HOURS, "name", record["hours"], ())
    _cautions(book, record)
    _block(book, record, columns, peak)
    return book.close()


def _buildings(book: Book, record: Record) -> dict[str, Column]:
    """The sheet of rows, and its columns of numbers by the key of each."""
    figures, rank_by = figures_of(record), record["rank"]["by"]
    heads = [*BEFORE, "sum of its plants' own peaks [kW]"]
    keys = ["peaks_kw"]
    shown = [KW]
    for one in figures:
        heads.append(f"{one.label} [{one.unit}]" if one.unit else one.label)
        keys.append(one.key)
        shown.append("")
    label, unit = rank_label(rank_by)
    ranked = len(BEFORE) + len(keys)
    numbers = set(heads[3:])
    book.text(BUILDINGS, 0, 0, f"{record['title']}: a row for each plant", "title")
    book.heads(BUILDINGS, 1, [*heads, f"{label} [{unit}]" if unit else label, "rank"], numbers)
    columns = {}
    rows = record["rows"]
    for at, row in enumerate(rows, start=FIRST - 1):
        texts = (row["building"], ", ".join(row["serves"]), row["field"])
        for column, text in enumerate(texts):
            book.text(BUILDINGS, at, column, str(text), "wrap")
        for column, key in zip(COUNTED, ("buildings", "plants", "apartments"), strict=True):
            book.number(BUILDINGS, at, column, row[key], book.shown_as("#,##0"))
    for place, key in enumerate(("buildings", "plants", "apartments"), start=COUNTED[0]):
        columns[key] = _column(place, [row[key] for row in rows])
    for place, key in enumerate(keys, start=len(BEFORE)):
        style = book.shown_as(KW) if key in ("peaks_kw", "at_peak_kw") else book.declared(declared(key))
        for at, row in enumerate(rows, start=FIRST - 1):
            if row.get(key) is not None:
                book.number(BUILDINGS, at, place, row[key], style)
        columns[key] = _column(place, [row.get(key) for row in rows])
    _ranks(book, record, columns, ranked)
    _sums(book, columns, len(rows))
    book.widths(BUILDINGS, 26, 20, 10, *(11 for _ in range(ranked + 2 - 3)), freeze=2, across=1)
    return columns


def _column(place: int, values: list[Any]) -> Column:
    numbers = np.array([math.nan if value is None else float(value) for value in values])
    return Column(BUILDINGS, letter(place), numbers, FIRST)


def _ranks(book: Book, record: Record, columns: Mapping[str, Column], place: int) -> None:
    """The figure that is ranked by, from its cells, and the place among all, both as formulas."""
    by, rows = record["rank"]["by"], record["rows"]
    bare, most = by.removesuffix(PER_APARTMENT), record["rank"]["best"] == "most"
    whole = _column(place, [figure(row, by) for row in rows])
    for at, value in enumerate(whole.values):
        row = FIRST - 1 + at
        own = columns[bare].cell(at) if bare in columns else formula(rows[at][bare])
        over = own / columns["apartments"].cell(at) if by.endswith(PER_APARTMENT) else own
        cell = book.live(BUILDINGS, row, place, over, book.shown_as("#,##0.0##"))
        better = np.count_nonzero(whole.values > value if most else whole.values < value)
        text = f"RANK({cell.text},{whole.range},{0 if most else 1})"
        book.live(BUILDINGS, row, place + 1, Formula(text, 1.0 + better), book.shown_as("0"))


def _sums(book: Book, columns: Mapping[str, Column], count: int) -> None:
    """The row of sums below the rows."""
    row = FIRST - 1 + count
    book.text(BUILDINGS, row, 0, "sum", "part")
    for place, (key, column) in enumerate(columns.items(), start=COUNTED[0]):
        if key not in WITHOUT_SUM and not np.isnan(column.values).any():
            counted = key in ("buildings", "plants", "apartments")
            kw = key in ("peaks_kw", "at_peak_kw")
            shown = "#,##0" if counted else KW if kw else number_format(declared(key))
            book.live(BUILDINGS, row, place, column.total(), book.shown_as(shown))


def _peak_day(book: Book, record: Record) -> Formula:
    """The sheet of the day of the peak; the largest of its sums."""
    day = record["peak_day"]
    names = list(day["kw"])
    book.text(
        DAY, 0, 0, f"The day of the coincident peak, {day['day']}: kW by the quarter of an hour", "title"
    )
    book.heads(DAY, 1, ["time", "block", *names], {"block", *names})
    style = book.shown_as("#,##0.00")
    series = np.array([day["kw"][name] for name in names])
    last = letter(len(names) + 1)
    for quarter in range(96):
        row = quarter + 2
        book.text(DAY, row, 0, f"{quarter // 4:02d}:{15 * (quarter % 4):02d}")
        for place, value in enumerate(series[:, quarter], start=2):
            book.number(DAY, row, place, float(value), style)
        total = Formula(f"SUM(C{row + 1}:{last}{row + 1})", float(series[:, quarter].sum()))
        book.live(DAY, row, 1, total, style)
    book.widths(DAY, 10, 12, *(16 for _ in names), freeze=2, across=2)
    return Column(DAY, "B", series.sum(axis=0), 3).highest()


POWER_HEADS = {
    "coincident_kw": "coincident peak [kW]",
    "sum_kw": "sum of own peaks [kW]",
    "mean_kw": "mean [kW]",
    "baseline_coincident_kw": "baselines' peak [kW]",
}


def _powers(book: Book, sheet: str, name: str, rows: list[Record], more: tuple[str, ...]) -> None:
    """Peaks by month or in named hours; the diversity factor is a formula."""
    energy = [f"{declared(key).label} [kWh]" for key in more]
    heads = [name, "at", *energy, *POWER_HEADS.values(), "diversity factor"]
    heads += ["which hours"] if not more else []
    book.text(sheet, 0, 0, "Peak power, 15-minute means of all plants together", "title")
    book.heads(sheet, 1, heads, set(heads[2 : 2 + len(energy) + len(POWER_HEADS) + 1]))
    for at, row in enumerate(rows, start=2):
        book.text(sheet, at, 0, str(row[name]))
        book.text(sheet, at, 1, f"{row['weekday']} {row['time']}")
        for place, key in enumerate(more, start=2):
            book.number(sheet, at, place, row[key], book.declared(declared(key)))
        cells = {}
        for place, key in enumerate(POWER_HEADS, start=2 + len(more)):
            if row[key] is not None:
                cells[key] = book.number(sheet, at, place, row[key], book.shown_as(KW))
        end = 2 + len(more) + len(POWER_HEADS)
        book.live(sheet, at, end, ratio(cells["sum_kw"], cells["coincident_kw"]), book.shown_as("0.00"))
        if not more:
            book.text(sheet, at, end + 1, row["hours"], "beside")
    book.widths(sheet, 22, 18, *(14 for _ in heads[2:]), freeze=2, across=1)
    if not more:
        book.width(sheet, len(heads) - 1, len(heads) - 1, 44)


def _cautions(book: Book, record: Record) -> None:
    book.text(CAUTIONS, 0, 0, "What these figures must not be read without", "title")
    texts = [caution_words(one) for one in record["cautions"]]
    texts += [f"failed: {one['building']}: {one['message']}" for one in record["failed"]]
    texts += [field_words(one) for one in record["fields"]]
    for at, text in enumerate(texts, start=1):
        book.text(CAUTIONS, at, 0, text, "wrap")
    book.widths(CAUTIONS, 130)


def _block(book: Book, record: Record, columns: Mapping[str, Column], peak: Formula) -> None:
    """The front sheet: every total a formula of the other sheets."""
    book.text(BLOCK, 0, 0, str(record["title"]), "title")
    book.text(BLOCK, 1, 0, f"{size_words(record)}; weather: {', '.join(record['weather.stations'])}", "wrap")
    run = f"tankyear {record['tool.version']}; table {record['table']}, {record['table.sha256'][:12]}"
    book.text(BLOCK, 2, 0, run)
    book.heads(BLOCK, 4, ["figure", "value", " unit"], {"value"})
    at = 5
    for one in figures_of(record):
        column = columns[one.key]
        if one.key in (*WITHOUT_SUM, "at_peak_kw") or np.isnan(column.values).any():
            continue
        book.text(BLOCK, at, 0, one.label)
        book.live(BLOCK, at, 1, column.total(), book.declared(declared(one.key)))
        book.text(BLOCK, at, 2, one.unit, "beside")
        at += 1
    useful = columns["heat_to_taps_kwh"].total() + columns["recirculation_loss_kwh"].total()
    bought = columns["electricity_kwh"].total()
    if "fuel_kwh" in columns:
        bought = bought + columns["fuel_kwh"].total()
    own = columns["peaks_kw"].total()
    lines = (
        (declared("cop_plant").label, ratio(useful, bought), "", "0.00"),
        ("coincident peak, 15-minute mean", peak, "kW", KW),
        ("sum of the plants' own peaks", own, "kW", KW),
        ("diversity factor", ratio(own, peak), "", "0.00"),
    )
    for label, value, unit, shown in lines:
        book.text(BLOCK, at, 0, label)
        book.live(BLOCK, at, 1, value, book.shown_as(shown))
        book.text(BLOCK, at, 2, unit, "beside")
        at += 1
    when = record["peak"]
    book.text(BLOCK, at, 0, f"the coincident peak stands on {when['weekday']} {when['time']}")
    book.widths(BLOCK, 60, 16, 14)
