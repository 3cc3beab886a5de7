"""The sheet of checks: whether sheets give the record, whether the year closes, and the plant's checks."""

from collections.abc import Mapping
from typing import NamedTuple

from hpwhsim.account.checks import AT_LEAST, FAIL, MEANING, OK, Check
from hpwhsim.dossier.workbook.formula import Formula, either_words, formula, maximum, quoted, ratio
from hpwhsim.dossier.workbook.sheets import Book, Cells
from hpwhsim.evaluation.result import Result

SHEET = "Checks"
HEADS = (
    "check",
    "value",
    "limit",
    "source",
    "state",
    "ratio",
    "value, number",
    "limit, number",
    "unit",
)
STATE, RATIO = 4, 5  # columns; ratio: value over limit, or limit over a value that must be at least that
CLOSE, BALANCED = (
    1e-9,
    1e-6,
)  # most that live figures differ from the engine's, and most left of a year's heat
CHANGED = "changed"
"""State of live figures that are no longer the engine's."""


class Checked(NamedTuple):
    """Where the front sheet finds what was checked: states of stretches of rows, and rows from 0."""

    live: str  # whether live figures are the engine's
    changed: bool  # whether one now is not
    balances: str  # whether the heat of the year is all accounted for
    closed: bool
    states: str  # of site and refrigerant; empty where there are none
    rows: Mapping[int, Check]


def checks_sheet(book: Book, result: Result, differences: Cells, elsewhere: Formula | None) -> Checked:
    """Fill the sheet; `elsewhere` are hours at another price than the sheet of prices says."""
    book.heads(SHEET, 0, HEADS, HEADS[RATIO : RATIO + 3])
    book.widths(SHEET, 48, 24, 52, 44, 12, 9, 12, 12, 16, freeze=1, across=1)
    row, ratios, closed = 0, [], True
    for name, largest in differences.items():
        row += 1
        book.text(
            SHEET, row, 0, f"largest relative difference of live figures from the engine, {name}", "wrap"
        )
        value = book.live(SHEET, row, 1, largest, "tiny")
        book.text(SHEET, row, 2, "rounding, below 1e-9, until a cell is changed by hand", "beside")
        ratios.append(book.live(SHEET, row, RATIO, value / CLOSE))
        _state(book, row, ratios[-1], 1.0, CHANGED)
    last = row + 1
    for name, side in result.sides.items():
        row += 1
        balance = side.record["balance_error"]
        assert isinstance(balance, float)
        said = f"heat in less heat out less change in the store, over heat in, {name}"
        book.text(SHEET, row, 0, said, "wrap")
        value = book.number(SHEET, row, 1, balance, "tiny")
        book.text(SHEET, row, 2, "at most 1e-6", "beside")
        over = book.live(SHEET, row, RATIO, maximum(value, 0.0 - value) / BALANCED)
        _state(book, row, over, 1.0, FAIL)
        closed &= over.value <= 1.0
    balances = f"'{SHEET}'!$E${last + 1}:$E${row + 1}"
    if elsewhere is not None:
        row += 1
        book.text(SHEET, row, 0, "hours of the year at another price than the sheet Price bands has", "wrap")
        value = book.live(SHEET, row, 1, elsewhere, "text")
        book.text(SHEET, row, 2, "none", "beside")
        _state(book, row, value, 0.0, FAIL)
    rows = {}
    for check in result.checks:
        row += 1
        texts = [check.name, check.text, check.limit, check.source, check.state]
        book.texts(SHEET, row, texts, "wrap")
        _ratio(book, row, check)
        rows[row] = check
    book.text(SHEET, row + 2, 0, MEANING)
    states = f"'{SHEET}'!$E${min(rows) + 1}:$E${max(rows) + 1}" if rows else ""
    changed = any(one.value > 1.0 for one in ratios)
    return Checked(f"'{SHEET}'!$E$2:$E${last}", changed, balances, closed, states, rows)


def _state(book: Book, row: int, value: Formula, most: float, beyond: str) -> None:
    """Ok where a value is at most so much."""
    test, holds = f"{value.text}<={formula(most).text}", value.value <= most
    book.words(SHEET, row, STATE, either_words(test, holds, quoted(OK), quoted(beyond)))


def _ratio(book: Book, row: int, check: Check) -> None:
    """Value and limit of a check as numbers, and its ratio as their quotient."""
    value, limit = (
        None if number is None else book.number(SHEET, row, RATIO + at, number)
        for at, number in ((1, check.value), (2, check.limit_value))
    )
    book.text(SHEET, row, RATIO + 3, check.unit, "beside")
    if value is not None and limit is not None and check.ratio is not None:
        over, under = (limit, value) if check.limit_kind == AT_LEAST else (value, limit)
        book.live(SHEET, row, RATIO, ratio(over, under))
