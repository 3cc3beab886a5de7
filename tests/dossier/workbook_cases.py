"""The live figures of a workbook beside those of the engine."""

import re
from typing import Any

import pytest
from cases import ROOT
from recalculation import OFFICE, table

from hpwhsim.evaluation.result import Result
from hpwhsim.results.records import flatten

DEMO = ROOT / "scenarios" / "central-air.yaml"
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
RELATIVE = 1e-9  # what a reviewer is promised; doubles added in another order differ by some 1e-14


def close(live: float | None, engine: float | None) -> bool:
    """Within RELATIVE; of figures that are nothing but rounding, within 1e-12 of themselves; or both none."""
    if live is None or engine is None:
        return live is engine
    return abs(live - engine) <= max(RELATIVE * abs(engine), 1e-12)


def check_front(book: Any) -> None:
    """Each figure of the front sheet is that of the cell that it names, and of the columns beside it."""
    sheets: dict[str, list[list[Any]]] = {}
    held = 0
    for row in (cells for cells in table(book, "Front") if len(cells) > 6):
        at = re.fullmatch(r"(.+), ([A-Z])(\d+)", str(row[6]))
        if at is None or at[1] == "Checks":
            continue
        there = sheets.setdefault(at[1], table(book, at[1]))[int(at[3]) - 1]
        column = ord(at[2]) - ord("A")
        if at[1] == "Savings" and column == 3:
            assert row[2:6] == there[3:7], row
        elif at[1] == "Summary" and isinstance(row[3], float):
            assert row[3] == there[column], row
        elif at[1] == "Life cycle":
            assert (row[2] or None) == (there[column] or None), row
            assert (row[2] is None) == bool(row[3]), row  # a reason where there is no figure
        else:
            continue
        held += 1
    assert held > 5


def live_figures(book: Any) -> dict[str, float | None]:
    """Live figures of Summary, as key (plant | baseline), and of Savings, as saved key; None: empty.

    Those of the front sheet are held to be what stands where it says that they stand.
    """
    check_front(book)
    rows = table(book, "Summary")
    sides = {at: name.removesuffix(", live") for at, name in enumerate(rows[4]) if name and ", live" in name}
    found = {}
    for row in rows[5:]:
        row += [None] * 3  # the reader leaves out cells that are empty to the end
        for at, side in sides.items():
            if row[at] != "as in the engine" and (row[at] is not None or row[at + 1] is not None):
                found[f"{row[1]} ({side})"] = row[at]
    if "Savings" in book.sheetnames:
        found |= {f"saved {row[1]}": row[5] for row in table(book, "Savings")[1:] if len(row) > 7 and row[1]}
    return found


def engine_figures(result: Result) -> dict[str, float | None]:
    """The same from the record of the engine, not from the sheet's own copy."""
    found: dict[str, float | None] = {}
    for name, side in result.sides.items():
        for key, value in flatten(side.record).items():
            if value is None or isinstance(value, float | int):
                found[f"{key} ({name})"] = value
    return found | {f"saved {key}": line.saved for key, line in result.savings.items()}


def wrong(book: Any, result: Result) -> dict[str, tuple[float | None, float | None]]:
    """Live figures that are not the engine's."""
    engine = engine_figures(result)
    live = live_figures(book)
    assert len(live) > 20
    return {key: (value, engine[key]) for key, value in live.items() if not close(value, engine[key])}
