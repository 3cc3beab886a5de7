"""The live figures of a workbook beside those of the engine."""

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


def live_figures(book: Any) -> dict[str, float | None]:
    """Live figures of Summary, as key (plant | baseline), and of Savings, as saved key; None: empty."""
    rows = table(book, "Summary")
    sides = {at: name.removesuffix(", live") for at, name in enumerate(rows[4]) if name and ", live" in name}
    found = {}
    for row in rows[5:]:
        row += [None] * 3  # the reader leaves out cells that are empty to the end
        for at, side in sides.items():
            if row[at] != "as in the engine" and (row[at] is not None or row[at + 1] is not None):
                found[f"{row[0]} ({side})"] = row[at]
    if "Savings" in book.sheetnames:
        found |= {f"saved {row[0]}": row[4] for row in table(book, "Savings")[1:] if len(row) > 6 and row[1]}
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
