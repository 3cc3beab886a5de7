"""What the script of a year's page reads: hourly series, units, stretches of the year, map of COP, carbon."""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.charts.cop_map import BIN, cop_surface, lowest_source_c, outlet_c, rated_points, view
from hpwhsim.charts.year import MADE, PURCHASED, USED, WEEK, coldest_and_warmest
from hpwhsim.evaluation.result import Result
from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY, YELLOW
from hpwhsim.page.hours import cop_by_hour, packed
from hpwhsim.results.declared import declared, record_keys
from hpwhsim.results.inch_pound import METRIC, QUANTITIES, inch_pound

NAMED = {
    BLUE: "blue",
    SKY: "sky",
    GREEN: "green",
    YELLOW: "gold",
    ORANGE: "orange",
    RED: "red",
    PINK: "pink",
    "0.6": "grey",
    "0.3": "dark",
    "k": "ink",
}
"""Hues of the pictures by the name that the page's style gives them, so that dark paper has its own."""
TEMPERATURES = (
    ("dry_bulb_c", ORANGE),
    ("source_c", GREEN),
    ("mains_c", SKY),
    ("store_top_c", RED),
    ("store_mean_c", "k"),
    ("store_bottom_c", BLUE),
    ("water_in_c", PINK),
)
ALONE = (("backup_heat_kwh", "from the heater", RED), *MADE[2:])
"""Heat made without a heat pump: the heater backs nothing up."""
CAUSES = (RED, SKY, ORANGE, BLUE, GREEN, PINK, YELLOW, "0.6")
"""Hues of the causes, in the order of their hours."""
COP = "cop_hour"
READ = "Point at it or use the arrow keys to read it, with Shift in tens."
GRID = (120, 90)  # points of the map across and up


def part(key: str, colour: str, label: str = "") -> list[str]:
    """One series of a picture: key, label, name of its hue."""
    return [key, label or declared(key).label, NAMED[colour]]


def meanings(names: Iterable[str]) -> dict[str, dict[str, Any]]:
    """Label, unit and conversion of each name that the script shows."""
    found: dict[str, dict[str, Any]] = {}
    for name in names:
        row = declared(name)
        us = inch_pound(row)
        unit = row.screen_unit if row.in_record and row.where == "record" else row.unit
        unit = {"1": "", "degC": "°C"}.get(unit, unit)
        found[name] = {"label": row.label, "long": row.long_name, "unit": unit}
        if us is not None:
            us_unit = "lb CO2e" if unit == "kg CO2e" else us.unit
            found[name]["us"] = [us_unit, us.factor, us.offset]
        if unit in METRIC:
            found[name]["si"] = METRIC[unit]
    for name, quantity in QUANTITIES.items():
        found[name] = {"label": "", "unit": quantity.unit, "long": ""}
        if quantity.inch_pound is not None:
            found[name]["us"] = quantity.inch_pound
        if quantity.unit in METRIC:
            found[name]["si"] = METRIC[quantity.unit]
    return found


def run_words(record: Mapping[str, Any]) -> str:
    """Which run a picture or file is of."""
    return (
        f"tankyear {record['tool.version']}; scenario {record['scenario.sha256'][:12]}; "
        f"weather {record['weather.sha256'][:12]}"
    )


def stretches(hourly: Mapping[str, Array]) -> dict[str, list[int]]:
    """First hour and end of the stretches of the year that readers ask for first."""
    coldest, warmest = (24 * day for day in coldest_and_warmest(hourly["dry_bulb_c"]))
    peak_day = 24 * int(np.argmax(hourly["hot_water_litres"].reshape(365, 24).sum(axis=1)))
    return {
        "coldest week": [coldest, coldest + WEEK],
        "warmest week": [warmest, warmest + WEEK],
        "peak-use day": [peak_day, peak_day + 24],
    }


def year_data(result: Result, us: bool) -> dict[str, Any]:
    """All that the script reads of a result, as JSON has it."""
    year, record = result.plant.year, result.plant.record
    hourly: dict[str, Array] = {str(name): result.hourly[name].values for name in result.hourly.data_vars}
    series = dict(hourly)
    if year.machine is not None:
        series[COP] = cop_by_hour(hourly)
    causes = [name for name in hourly if name.startswith("backup_hours.")]
    causes.sort(key=lambda name: -float(hourly[name].sum()))

    def seen(parts: Iterable[tuple[str, str, str]]) -> list[list[str]]:
        return [
            part(key, colour, label) for key, label, colour in parts if hourly.get(key, np.zeros(1)).any()
        ]

    temperatures = [part(key, colour) for key, colour in TEMPERATURES if key in hourly]
    if np.array_equal(hourly.get("source_c", 0.0), hourly["dry_bulb_c"]):
        temperatures = [one for one in temperatures if one[0] != "source_c"]
    data: dict[str, Any] = {
        "kind": "year",
        "title": record["title"],
        "run": run_words(record),
        "us": us,
        "months": MONTH_NAMES,
        "keys": meanings(dict.fromkeys([*hourly, *(row.name for row in record_keys())])),
        "hours": packed(series),
        "temperatures": temperatures,
        "made": seen(MADE if "heat_pump_heat_kwh" in hourly else ALONE),
        "used": seen(USED),
        "purchased": seen(PURCHASED),
        "causes": [
            [name, cause_name(name.partition(".")[2]), NAMED[CAUSES[at]]] for at, name in enumerate(causes)
        ],
        "stretches": stretches(hourly),
        "map": _map(result),
        "carbon": _carbon(result),
    }
    data["keys"][COP] = {"label": "COP of the heat pump", "unit": "", "long": cop_by_hour.__doc__}
    return data


def _map(result: Result) -> dict[str, Any] | None:
    """COP of one module over source and inlet, and the heat of the year by squares; None without a map."""
    year, scenario = result.plant.year, result.loaded.scenario
    machine, hourly = year.machine, year.hourly
    if machine is None:
        return None
    lowest = lowest_source_c(machine, scenario)
    at, rating = rated_points(scenario)
    runs = np.isfinite(hourly["water_in_c"])
    met, inlet = hourly["source_c"][runs], hourly["water_in_c"][runs]
    heat = hourly["heat_pump_heat_kwh"][runs]
    left, right = view([*(p[0] for p in at), lowest, hourly["source_c"].min(), hourly["source_c"].max()])
    low, high = view([*(p[1] for p in at), *inlet, hourly["mains_c"].min(), machine.water_in_c[-1] - BIN])
    low = max(low, 0.0)
    source, water = np.linspace(left, right, GRID[0]), np.linspace(low, high, GRID[1])
    cop = cop_surface(machine, source, water, outlet_c(scenario, water))
    x_edges, y_edges = np.arange(left, right + 0.5 * BIN, BIN), np.arange(low, high + 0.5 * BIN, BIN)
    squares, _, _ = np.histogram2d(met, inlet, (x_edges, y_edges), weights=heat)
    return {
        "source": [left, right],
        "water": [low, high],
        "cop": [[None if np.isnan(v) else round(float(v), 3) for v in row] for row in cop],
        "side": BIN,
        "squares": [
            [float(x_edges[i]), float(y_edges[j]), round(float(squares[i, j]), 3)]
            for i, j in np.argwhere(squares > 0.0)
        ],
        "lowest": lowest,
        "rated": at,
        "rating": rating,
    }


def _carbon(result: Result) -> dict[str, Any] | None:
    """Cumulative CO2e by year of service [kg], from year 0; None where it is not counted."""
    record: Any = result.plant.record
    if "carbon.cumulative_kgco2e" not in record:
        return None
    found = {
        "energy": [0.0, *record["carbon.cumulative_operational_kgco2e"]],
        "total": [0.0, *record["carbon.cumulative_kgco2e"]],
        "turns": record.get("carbon.turning_years", []),
    }
    if "baseline.cumulative_kgco2e" in record:
        found["baseline"] = [0.0, *record["baseline.cumulative_kgco2e"]]
        found["family"] = str(record["baseline.family"]).replace("-", " ")
    return found
