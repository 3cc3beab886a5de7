"""The spread of a year's figures over years of random draws, as rows."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.evaluation.draw_years import QUANTILES, line_part
from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import amount

Record = Mapping[str, Any]
NAMES = {"p10": "P10", "median": "median", "p90": "P90"}
DRAW_HEADS = ("figure", "unit", *(NAMES[name] for name in QUANTILES), "minimum", "maximum", "this year")
SURE_OF_TENTHS = 9  # years from which P10 and P90 lie within them


def label(key: str) -> tuple[str, str]:
    """What a figure is called, and its unit."""
    if (line := line_part(key)) is not None:  # power in the peak hours, such as summer_afternoon.highest_kw
        (name, whose) = line
        hours, what = name.rsplit(".", 1)
        power = "highest" if what == "highest_kw" else "mean"
        return f"{hours}: {power}, {whose}", "kW"
    row = declarations()[key]
    return row.label, row.screen_unit


def draw_title(record: Record) -> str:
    """What the rows are."""
    found = record["seeds"]
    few = (
        "" if found["count"] >= SURE_OF_TENTHS else "; of so few P10 and P90 are the minimum and the maximum"
    )
    return (
        f"Over {found['count']} years of random draws in the same weather, seeds {found['seeds'][0]} to "
        f"{found['seeds'][-1]}{few}"
    )


def draw_rows(record: Record) -> list[list[str]]:
    """Headlines as text below `DRAW_HEADS`; what is zero in every year is left out."""
    rows = []
    for key, found in record["seeds"]["figures"].items():
        values = found.get("values", ())
        if any(values):
            cells = [found[name] for name in QUANTILES] + [min(values), max(values), values[0]]
            rows.append([*label(key), *map(amount, cells)])
    return rows
