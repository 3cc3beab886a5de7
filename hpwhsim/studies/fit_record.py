"""What a fit reports: its keys with their intervals, the agreement before and after, and cautions."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

import hpwhsim
from hpwhsim.arrays import Array
from hpwhsim.scenario.files import short_overrides
from hpwhsim.studies.fit_estimate import Spread
from hpwhsim.studies.fit_measures import LIMITS, agreement
from hpwhsim.studies.fit_meter import HOUR, MONTH, whole_months
from hpwhsim.studies.fit_problem import Place, Problem

Record = dict[str, Any]

DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def key_row(problem: Problem, place: Place, found: Spread, number: int) -> Record:
    """One fitted key: its value, 95 % interval, and whether the readings identify it."""
    key, share, width = problem.keys[number], float(place.share[number]), float(problem.width[number])
    value = key.low + width * share
    half = float(found.half_width[number]) * width
    bound = "low" if share <= 1e-6 else "high" if share >= 1.0 - 1e-6 else None
    return {
        "key": key.key,
        "unit": key.unit,
        "low": key.low,
        "high": key.high,
        "scenario": key.own(problem.loaded),
        "fitted": float(f"{value:.7g}"),
        "standard_error": float(found.standard_error[number]) * width,
        "low_95": value - half,
        "high_95": value + half,
        "at_bound": bound,
        "identified": 2.0 * half < width,
    }


def _agreements(problem: Problem, computed: Sequence[dict[str, Array]]) -> list[dict[str, object]]:
    """The measures of each column, as read and by whole month, before and after."""
    metered, p = problem.metered, len(problem.keys)
    months = whole_months(metered)
    found: list[dict[str, object]] = []
    for name, measured in metered.columns.items():
        for spacing in dict.fromkeys((metered.spacing, MONTH)):
            series = [measured, *(one[name] for one in computed)]
            if spacing != metered.spacing:
                series = [np.array([v[rows].sum() for rows in months.rows]) for v in series]
            points = series[0].size
            if points <= p or not series[0].any():
                continue
            before, after = (agreement(series[0], one, p, spacing) for one in series[1:])
            limits = LIMITS.get(spacing)
            found.append(
                {
                    "column": name,
                    "spacing": spacing,
                    "points": points,
                    "parameters": p,
                    "before": before._asdict(),
                    "after": after._asdict(),
                    "limits": None if limits is None else limits._asdict(),
                }
            )
    return found


def record_of(
    problem: Problem,
    weather: Mapping[str, Any],
    rows: list[Record],
    found: Spread,
    place: Place,
    computed: Sequence[dict[str, Array]],
) -> Record:
    """What --json prints, but for the cautions."""
    loaded, metered = problem.loaded, problem.metered
    return {
        "title": loaded.scenario.title,
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
        "weather.station": weather["station"],
        "weather.sha256": weather["sha256"],
        "metered": {
            "file": metered.file.name,
            "sha256": metered.sha256,
            "spacing": metered.spacing,
            "first": metered.starts[0].isoformat(timespec="minutes"),
            "last": metered.starts[-1].isoformat(timespec="minutes"),
            "rows": len(metered.starts),
            "columns": list(metered.columns),
            "compared_sums": len(problem.blocks),
        },
        "keys": rows,
        "correlation": [[float(v) for v in row] for row in found.correlation],
        "variance_inflation": [float(v) for v in found.inflation],
        "scatter": {name: float(np.sqrt((r**2).mean())) for name, r in place.residual.items()},
        "agreement": _agreements(problem, computed),
    }


def cautions_of(problem: Problem, weather: Mapping[str, Any], rows: Sequence[Record]) -> list[str]:
    """What limits the use of the fit."""
    metered, scenario, said = problem.metered, problem.loaded.scenario, []
    for row in rows:
        if row["at_bound"]:
            said.append(
                f"{row['key']} is at its {'lower' if row['at_bound'] == 'low' else 'upper'} bound: the "
                "readings ask for a value beyond it, or for another key; intervals hold inside the bounds"
            )
        if not row["identified"]:
            said.append(
                f"{row['key']} is not identified: its 95 % interval is wider than its bounds, so that the "
                "readings say nothing that the bounds do not"
            )
    months = {start.month for start in metered.starts}
    sources = {weather["source_years"][month - 1] for month in months}
    years = ", ".join(str(year) for year in metered.years)
    if sources != set(metered.years):
        span = str(min(sources)) if len(sources) == 1 else f"months from {min(sources)} to {max(sources)}"
        said.append(
            f"the weather is of {span}, the readings of {years}: what differs goes into the fitted keys; "
            "--weather FILE takes a file of the measured year"
        )
    days = [(start, int(first // 24) % 7) for start, first in zip(metered.starts, metered.first, strict=True)]
    off = next(((start, day) for start, day in days if start.weekday() != day), None)
    if off is not None and metered.spacing != MONTH:
        start, day = off
        said.append(
            f"rows are matched by date: {start:%Y-%m-%d} was a {DAY_NAMES[start.weekday()]}, in the nominal "
            f"year it is a {DAY_NAMES[day]}, so that weekdays and weekends do not meet"
        )
    if scenario.hot_water.draws == "random":
        said.append(
            f"the draws are those of hot_water.seed {scenario.hot_water.seed}, not the building's own, and "
            "add to the scatter; --set hot_water.draws=smooth leaves the seed out"
        )
    if metered.spacing == HOUR and "electricity_kwh" in metered.columns:
        said.append(
            "hours of electricity: no key says in which hour a thermostat charges the store; read the months "
            "beside them"
        )
    if scenario.run.years > 1:
        said.append(f"the year compared is the last of run.years {scenario.run.years}")
    said.append(
        "intervals say what the scatter of the readings leaves open, not what the model, the weather or the "
        "meter has wrong; agreement within the Guideline's limits does not prove the inputs right"
    )
    return said
