"""The sheet of the years of random draws: figures of each, and their quantiles as formulas."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from hpwhsim.dossier.workbook.formula import Column, Formula, formula, letter
from hpwhsim.dossier.workbook.sheets import Book, difference
from hpwhsim.evaluation.draw_rows import NAMES, draw_title, label

SHEET = "Draws"
SHARES = {"p10": 0.1, "median": 0.5, "p90": 0.9}
TOP = 12  # row of the first year, counted from 0


def draw_sheet(book: Book, record: Mapping[str, Any]) -> Formula:
    """Fill the sheet; returns the largest relative difference of its quantiles from the engine's."""
    found = record["seeds"]
    figures = {key: of for key, of in found["figures"].items() if "values" in of}
    book.text(SHEET, 0, 0, draw_title(record), "title")
    book.text(
        SHEET,
        1,
        0,
        "Each row below is a year that the program simulated. A quantile lies at its fraction of the n + 1 "
        "gaps between n sorted values, between the two that are next to it.",
    )
    book.text(SHEET, 3, 0, "figure")
    for at, words in enumerate((*NAMES.values(), *(f"{name}, engine" for name in NAMES.values())), start=5):
        book.text(SHEET, at, 0, words)
    book.texts(SHEET, TOP - 1, ["seed", *figures])
    book.widths(SHEET, 22, *([20] * len(figures)), across=1)
    for row, seed in enumerate(found["seeds"], start=TOP):
        book.number(SHEET, row, 0, float(seed), "text")
    apart = [0.0]
    for at, (key, of) in enumerate(figures.items(), start=1):
        name, unit = label(key)
        book.text(SHEET, 3, at, f"{name} [{unit}]" if unit else name)
        for row, value in enumerate(of["values"], start=TOP):
            book.number(SHEET, row, at, value, "fine")
        column = Column(SHEET, letter(at), np.array(of["values"]), TOP + 1)
        for row, (which, share) in enumerate(SHARES.items(), start=5):
            live = book.live(SHEET, row, at, _quantile(column, share), "fine")
            engine = book.number(SHEET, row + 3, at, of[which], "fine")
            apart.append(difference(book, (SHEET, TOP + len(found["seeds"]) + row, at), live, engine).value)
    first, last = TOP + len(found["seeds"]) + 6, TOP + len(found["seeds"]) + 8
    book.text(SHEET, first - 1, 0, "difference, P10")
    book.text(SHEET, first, 0, "difference, median")
    book.text(SHEET, first + 1, 0, "difference, P90")
    end = letter(len(figures))
    return Formula(f"MAX('{SHEET}'!$B${first}:${end}${last})", max(apart))


def _quantile(column: Column, share: float) -> Formula:
    """A quantile as of `hpwhsim.sizing.seeds.quantiles`."""
    size = column.values.size
    at = min(max(share * (size + 1) - 1.0, 0.0), size - 1.0)
    low, ordered = int(at), np.sort(column.values)
    high, part = min(low + 1, size - 1), at - low
    one, other = (Formula(f"SMALL({column.range},{n + 1})", float(ordered[n])) for n in (low, high))
    return one + (other - one) * formula(part)
