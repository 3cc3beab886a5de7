"""The spread of a year's figures over years of random draws, as rows."""

from collections.abc import Mapping
from typing import Any

from hpwhsim.evaluation.draw_years import QUANTILES
from hpwhsim.results.numbers import amount
from hpwhsim.tables import read_table

Record = Mapping[str, Any]
NAMES = {"p10": "P10", "median": "median", "p90": "P90"}
DRAW_HEADS = ("figure", "unit", *(NAMES[name] for name in QUANTILES), "lowest", "highest", "this year")
SURE_OF_TENTHS = 9  # years from which P10 and P90 lie within them
LABELS = {
    "peak_kw": "peak power",
    "costs.demand_usd": "demand charges",
    "energy_cost": "energy bill",
    "electricity_kwh": "electricity",
    "resistance_kwh": "resistance",
    "fuel_kwh": "fuel",
    "cop_plant": "COP of the plant",
    "cop_net": "COP net of the room",
    "short_hours": "unmet hot water",
    "short_litres": "unmet hot water",
    "total_kgco2e": "CO2e, all",
    "baseline.peak_kw": "peak power, baseline",
    "savings.electricity_kwh": "electricity saved",
    "savings.kgco2e": "CO2e saved",
    "savings.cost_usd": "energy bill saved",
    "costs.npv_usd": "net present value",
}


def label(key: str) -> tuple[str, str]:
    """What a figure is called, and its unit."""
    if key not in LABELS:  # power in the peak hours, such as summer_afternoon.highest_kw.plant
        hours, what, whose = key.rsplit(".", 2)
        power = "highest" if what == "highest_kw" else "mean"
        return f"{hours}: {power}, {whose}", "kW"
    unit = next(row["unit"] for row in read_table("results") if row["name"] == key)
    return LABELS[key], unit.removesuffix("/year").removesuffix("1")


def draw_title(record: Record) -> str:
    """What the rows are."""
    found = record["seeds"]
    few = "" if found["count"] >= SURE_OF_TENTHS else "; of so few P10 and P90 are the lowest and the highest"
    return (
        f"Over {found['count']} years of random draws in the same weather, seeds {found['seeds'][0]} to "
        f"{found['seeds'][-1]}{few}"
    )


def draw_rows(record: Record) -> list[list[str]]:
    """Figures as text below `DRAW_HEADS`; what is nothing in every year is left out."""
    rows = []
    for key, found in record["seeds"]["figures"].items():
        values = found["values"]
        if any(values):
            cells = [found[name] for name in QUANTILES] + [min(values), max(values), values[0]]
            rows.append([*label(key), *map(amount, cells)])
    return rows
