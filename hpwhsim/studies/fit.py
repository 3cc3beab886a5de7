"""Fit a few keys of a scenario to metered readings, within bounds, by least squares.

What is compared are sums over some days to a month (`_blocks`), each over its column's mean: thermostats make
the hour at which a store is charged a matter of chance, and in shorter sums that chance outweighs the keys.
Columns are weighted by their own scatter. How the sums answer to a key is taken across a wide step, with
smooth draws, because a new number of random draws moves a month by more than a small step does; the year
itself has the scenario's own draws, so that the fitted scenario gives what was compared.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

import hpwhsim
from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import WeatherYear, read_year
from hpwhsim.errors import InputError
from hpwhsim.evaluation.reading import with_changes
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded
from hpwhsim.simulation.year import Record, Year, run_years, year_of
from hpwhsim.studies import fit_estimate as estimate
from hpwhsim.studies.fit_faults import Reach, refuse_no_use, refuse_units, still
from hpwhsim.studies.fit_keys import Ranged, refuse_no_rating, within
from hpwhsim.studies.fit_measures import LIMITS, agreement
from hpwhsim.studies.fit_meter import COLUMNS, HOUR, MONTH, Metered, read_meter, whole_months

MAX_INFLATION = 10.0
"""Of a key's variance by the other keys: a correlation of 0.95 between two. Common practice, no source."""
MAX_CORRELATION = (1.0 - 1.0 / MAX_INFLATION) ** 0.5
MIN_EFFECT = 0.005  # of the mean sum, root mean square, from one bound to the other; thermostats alone make 0.003
MIN_SCATTER = 0.002  # of the mean sum: no column is trusted further
MIN_DAYS = 14  # of hourly or daily readings
MIN_SPARE = 3  # sums beyond the number of keys
BLOCK_DAYS = 365.0 / 12.0
MIN_BLOCKS = 8
STEP = 0.15  # of the bounds, to either side, at the second round
MAX_STEPS = 6  # in a round
ENOUGH = 0.1  # of a standard error: a step that is no more ends the round

Tick = Callable[[int], object]
"""Told of so many more simulated years."""


class Fit(NamedTuple):
    """A scenario fitted to readings."""

    record: Record  # what --json prints
    loaded: Loaded  # the scenario with the fitted values
    metered: Metered
    before: dict[str, Array]  # computed with the scenario as it was, by column, for each reading
    after: dict[str, Array]  # computed with the fitted keys


class _Problem(NamedTuple):
    """What is fitted to what."""

    loaded: Loaded
    keys: Sequence[Ranged]
    metered: Metered
    blocks: list[slice]  # rows of the readings
    tick: Tick

    @property
    def low(self) -> Array:
        return np.array([key.low for key in self.keys])

    @property
    def width(self) -> Array:
        return np.array([key.high - key.low for key in self.keys])

    def years(self, shares: Sequence[Array], *, smooth: bool = False) -> list[Year]:
        """The years at places between the bounds, 0 to 1 for each key."""
        jobs = [within(self.loaded, self.keys, self.low + self.width * share) for share in shares]
        if smooth and self.loaded.scenario.hot_water.draws == "random":
            jobs = [with_changes(job, {"hot_water.draws": "smooth"}) for job in jobs]
        years = []
        for job, year in zip(jobs, run_years(jobs), strict=True):
            if isinstance(year, InputError):
                said = ", ".join(f"{key.key}={key.text(key.own(job) or 0.0)}" for key in self.keys)
                raise InputError(f"--key: {said}: {year}")
            years.append(year)
        self.tick(len(years))
        return years

    def sums(self, year: Year, column: str) -> Array:
        """Mean by hour in each block, over the mean of the readings; (blocks,)."""
        return self._blocked(self.metered.of_year(year.hourly[COLUMNS[column]]), column)

    def measured(self) -> dict[str, Array]:
        return {name: self._blocked(values, name) for name, values in self.metered.columns.items()}

    def _blocked(self, values: Array, column: str) -> Array:
        hours = self.metered.hours * self.metered.scale
        by_hour = [values[rows].sum() / hours[rows].sum() for rows in self.blocks]
        measured = self.metered.columns.get(column, values)
        return np.array(by_hour) / (measured.sum() / hours.sum())


class _Search(NamedTuple):
    """Where the search stands."""

    share: Array  # (p,) 0 to 1 between the bounds
    year: Year  # there
    residual: dict[str, Array]  # measured less computed, by column

    def cost(self, weight: dict[str, float]) -> float:
        return sum(float((weight[name] * r) @ (weight[name] * r)) for name, r in self.residual.items())


def fit(loaded: Loaded, path: Path, keys: Sequence[Ranged], tick: Tick = lambda count: None) -> Fit:
    """Fit keys of a scenario to the readings of a meter.

    Parameters
    ----------
    loaded : Loaded
        The scenario, whose own values are what the fit is compared with.
    path : Path
        The meter's file, as of `read_meter`.
    keys : sequence of Ranged
        What is fitted, between which bounds.
    tick : function
        Called with the number of years simulated since.

    Raises
    ------
    InputError
        If readings are wrong, a bound is no value of its key, or the readings do not tell the keys apart.
    """
    refuse_no_rating(loaded, keys)
    weather = read_year(loaded.scenario.site.weather)
    metered = read_meter(path, float(weather.attrs["utc_offset_h"]))
    refuse_no_use(metered)
    problem = _Problem(loaded, keys, metered, _blocks(metered, len(keys)), tick)
    (own,) = run_years([loaded])
    before = year_of(own)
    tick(1)
    _refuse_absent(problem, before)
    share = np.array([_start(key, loaded) for key in keys])
    place = _at(problem, share)
    jacobian, reach = _across(problem, place)
    cautions = [text for name in metered.columns for text in refuse_units(metered, name, reach[name])]
    most = before.connected
    modules = before.made.modules
    power = modules * (most.compressor + most.beside) + most.resistance + most.other + most.grinder
    cautions += still(metered, power / 1000.0)
    weight = dict.fromkeys(metered.columns, 1.0)
    for last in (False, True):
        if last:
            weight = _weights(place, len(keys))
            jacobian = _around(problem, place)
        _refuse_alike(problem, jacobian, weight, before)
        place = _settle(problem, place, jacobian, weight)
    weight = _weights(place, len(keys))
    found = estimate.spread(_stacked(jacobian, weight), _stacked(place.residual, weight))
    fitted = within(loaded, keys, problem.low + problem.width * place.share)
    computed = [
        {name: metered.of_year(year.hourly[COLUMNS[name]]) for name in metered.columns}
        for year in (before, place.year)
    ]
    rows = [_key(problem, place, found, number) for number in range(len(keys))]
    record = _record(problem, weather, rows, found, place, computed)
    record["cautions"] = [*metered.cautions, *cautions, *_cautions(problem, weather, rows, before)]
    return Fit(record, fitted, metered, *computed)


# -- what is compared ----------------------------------------------------------------------------------


def _blocks(metered: Metered, keys: int) -> list[slice]:
    """Rows by block: a month each, or where there are fewer, `MIN_BLOCKS` of equal length."""
    rows, days = metered.first.size, float(metered.hours.sum()) / 24.0
    if metered.spacing == MONTH:
        count, allowed = rows, f"{keys + MIN_SPARE} months or more for {keys} keys"
    else:
        count = min(rows, max(MIN_BLOCKS, round(days / BLOCK_DAYS), keys + MIN_SPARE))
        allowed = f"{MIN_DAYS} days or more"
    sums = count * len(metered.columns)
    if sums < keys + MIN_SPARE or (metered.spacing != MONTH and days < MIN_DAYS):
        raise InputError(f"{metered.file}: got {days:.3g} days in {rows} rows; allowed {allowed}")
    edges = [round(number * rows / count) for number in range(count + 1)]
    return [slice(a, b) for a, b in zip(edges, edges[1:], strict=False)]


def _refuse_absent(problem: _Problem, year: Year) -> None:
    """Refuse a column of something that the plant does not have."""
    for name in problem.metered.columns:
        if COLUMNS[name] not in year.hourly or not year.hourly[COLUMNS[name]].any():
            there = [c for c in COLUMNS if COLUMNS[c] in year.hourly and year.hourly[COLUMNS[c]].any()]
            raise InputError(
                f"{problem.metered.file}: column {name}: the scenario's plant has none; "
                f"allowed {', '.join(there)}"
            )


def _start(key: Ranged, loaded: Loaded) -> float:
    """Where the search begins, 0 to 1: the scenario's own value, or the middle where it gives none."""
    own = key.own(loaded)
    return 0.5 if own is None else min(max((own - key.low) / (key.high - key.low), 0.0), 1.0)


def _at(problem: _Problem, share: Array) -> _Search:
    (year,) = problem.years([share])
    measured = problem.measured()
    return _Search(share, year, {name: m - problem.sums(year, name) for name, m in measured.items()})


# -- how the sums answer to the keys -------------------------------------------------------------------


def _across(problem: _Problem, place: _Search) -> tuple[dict[str, Array], dict[str, Reach]]:
    """Change of the sums from bound to bound of each key, and which totals the bounds reach."""
    count = len(problem.keys)
    ends = problem.years(_ends(place.share, np.zeros(count), np.ones(count)), smooth=True)
    reach = {}
    for name in problem.metered.columns:
        start = float(problem.metered.of_year(place.year.hourly[COLUMNS[name]]).sum())
        low = high = 1.0
        for pair in zip(ends[::2], ends[1::2], strict=True):
            ratios = [problem.metered.of_year(y.hourly[COLUMNS[name]]).sum() / start for y in pair]
            low, high = low * min(1.0, *ratios), high * max(1.0, *ratios)
        reach[name] = Reach(low * start, start, high * start)
    return _slopes(problem, ends, np.ones(count)), reach


def _around(problem: _Problem, place: _Search) -> dict[str, Array]:
    """Change of the sums by key around a place, for the whole width of the bounds."""
    low, high = np.maximum(place.share - STEP, 0.0), np.minimum(place.share + STEP, 1.0)
    return _slopes(problem, problem.years(_ends(place.share, low, high), smooth=True), high - low)


def _ends(share: Array, low: Array, high: Array) -> list[Array]:
    """One key at a time at its lower and upper end."""
    moved = []
    for number in range(share.size):
        for end in (low, high):
            one = share.copy()
            one[number] = end[number]
            moved.append(one)
    return moved


def _slopes(problem: _Problem, ends: Sequence[Year], apart: Array) -> dict[str, Array]:
    """Jacobian (blocks, p) of every column that the plant has, those without readings over their own mean."""
    found = {}
    for name, key in COLUMNS.items():
        if key in ends[0].hourly and ends[0].hourly[key].any():
            sums = np.array([problem.sums(year, name) for year in ends])
            if name not in problem.metered.columns:  # over its mean of one place
                rate = [problem.metered.of_year(year.hourly[key]).sum() for year in ends]
                sums *= np.array(rate)[:, None] / np.mean(rate)
            found[name] = ((sums[1::2] - sums[::2]) / apart[:, None]).T
    return found


def _refuse_alike(
    problem: _Problem, jacobian: dict[str, Array], weight: dict[str, float], year: Year
) -> None:
    """Refuse keys that the readings do not answer to, or that they do not tell apart."""
    names = list(problem.metered.columns)
    effect = np.max([np.sqrt((jacobian[name] ** 2).mean(axis=0)) for name in names], axis=0)
    for key, moved in zip(problem.keys, effect, strict=True):
        if moved < MIN_EFFECT:
            raise InputError(
                f"{problem.metered.file}: {', '.join(names)} do not identify {key.key}: from {key.text(key.low)} "
                f"to {key.text(key.high)} the compared sums move by {moved:.2%}; allowed {MIN_EFFECT:.1%} or "
                "more, or leave this key out"
            )
    stacked = _stacked(jacobian, weight)
    inflation = estimate.inflation(stacked)
    if inflation.max() <= MAX_INFLATION:
        return
    alike = np.abs(estimate.correlation(stacked))
    np.fill_diagonal(alike, 0.0)
    one, other = sorted(int(n) for n in np.unravel_index(int(np.argmax(alike)), alike.shape))
    size = f"{alike[one, other]:.3f}, variance {inflation.max():.3g} times that of one key alone"
    raise InputError(
        f"{problem.metered.file}: {', '.join(names)} do not tell {problem.keys[one].key} and "
        f"{problem.keys[other].key} apart: got a correlation of {size}; allowed {MAX_CORRELATION:.2f}, "
        f"{MAX_INFLATION:g} times; {_remedy(problem, jacobian, weight)}"
    )


def _remedy(problem: _Problem, jacobian: dict[str, Array], weight: dict[str, float]) -> str:
    """What to measure so that the keys are told apart."""
    middle = float(np.median([weight[name] for name in problem.metered.columns]))
    metered = {COLUMNS[name] for name in problem.metered.columns}
    found = {}
    for name in jacobian:
        if COLUMNS[name] not in metered and name != "hot_water_litres":
            worst = estimate.inflation(_stacked(jacobian, {**weight, name: middle})).max()
            if worst <= MAX_INFLATION:
                found[name] = worst
    leave = "give the other with --set"
    if not found:
        return f"no other single meter does: fit one of them and {leave}"
    best = sorted(found, key=lambda name: found[name])[:2]
    return f"readings of {' or '.join(best)} beside these would; or fit one of them and {leave}"


# -- the search ----------------------------------------------------------------------------------------


def _stacked(by_column: dict[str, Array], weight: dict[str, float]) -> Array:
    """The weighted columns below each other."""
    return np.concatenate([by_column[name] * weight[name] for name in weight])


def _weights(place: _Search, keys: int) -> dict[str, float]:
    """One over the scatter of each column, root mean square with its part of the degrees of freedom."""
    total = sum(r.size for r in place.residual.values())
    return {
        name: 1.0 / max(MIN_SCATTER, float(np.sqrt(r @ r / (r.size * (1.0 - keys / total)))))
        for name, r in place.residual.items()
    }


def _settle(
    problem: _Problem, place: _Search, jacobian: dict[str, Array], weight: dict[str, float]
) -> _Search:
    """Steps by one Jacobian until they are small beside the standard errors."""
    stacked = _stacked({name: jacobian[name] for name in weight}, weight)
    for _ in range(MAX_STEPS):
        residual = _stacked(place.residual, weight)
        change = estimate.step(stacked, residual, -place.share, 1.0 - place.share)
        error = estimate.spread(stacked, residual).standard_error
        if np.all(np.abs(change) <= np.maximum(ENOUGH * error, 1e-4)):
            break
        better = None
        for _ in range(3):
            moved = _at(problem, place.share + change)
            if moved.cost(weight) < place.cost(weight):
                better = moved
                break
            change = change / 2.0
        if better is None:
            break
        place = better
    return place


# -- what is reported ----------------------------------------------------------------------------------


def _key(problem: _Problem, place: _Search, found: estimate.Spread, number: int) -> Record:
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


def _agreements(
    problem: _Problem, computed: Sequence[dict[str, Array]]
) -> list[dict[str, object]]:
    """The measures of each column, as read and by whole month, before and after."""
    metered, p = problem.metered, len(problem.keys)
    months = whole_months(metered)
    found: list[dict[str, object]] = []
    for name, measured in metered.columns.items():
        for spacing in dict.fromkeys((metered.spacing, MONTH)):
            pairs = [(measured, one[name]) for one in computed]
            if spacing != metered.spacing:
                pairs = [
                    tuple(np.array([v[rows].sum() for rows in months.rows]) for v in pair) for pair in pairs
                ]
            points = pairs[0][0].size
            if points <= p or not pairs[0][0].any():
                continue
            before, after = (agreement(m, c, p, spacing) for m, c in pairs)
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


def _record(
    problem: _Problem,
    weather: WeatherYear,
    rows: list[Record],
    found: estimate.Spread,
    place: _Search,
    computed: Sequence[dict[str, Array]],
) -> Record:
    loaded, metered = problem.loaded, problem.metered
    return {
        "title": loaded.scenario.title,
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
        "weather.station": weather.attrs["station"],
        "weather.sha256": weather.attrs["sha256"],
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


def _cautions(
    problem: _Problem, weather: WeatherYear, rows: Sequence[Record], before: Year
) -> list[str]:
    """What limits the use of the fit."""
    metered, scenario, said = problem.metered, problem.loaded.scenario, []
    for row in rows:
        if row["at_bound"]:
            said.append(
                f"{row['key']} is at its {'lower' if row['at_bound'] == 'low' else 'upper'} bound: the readings "
                "ask for a value beyond it, or for another key; intervals hold for keys inside their bounds"
            )
        if not row["identified"]:
            said.append(
                f"{row['key']} is not identified: its 95 % interval is wider than its bounds, so that the "
                "readings say nothing that the bounds do not"
            )
    months = {start.month for start in metered.starts}
    sources = {weather.attrs["source_years"][month - 1] for month in months}
    years = ", ".join(str(year) for year in metered.years)
    if sources != set(metered.years):
        said.append(
            f"the weather is that of a typical year, not of {years}: what differs goes into the fitted keys; "
            "--weather FILE takes a file of the measured year"
        )
    if any(year % 7 != 2001 % 7 for year in metered.years) and scenario.hot_water.metered is None:
        shift = (metered.starts[0].weekday() - int(metered.first[0] // 24)) % 7
        if shift:
            said.append(
                f"rows are matched by date: the nominal year begins on a Monday, so that weekdays of the "
                f"readings fall {shift} days later in the week, and weekends of use do not meet"
            )
    if scenario.hot_water.draws == "random":
        said.append(
            f"the draws are those of hot_water.seed {scenario.hot_water.seed}, not the building's own: part of "
            "the scatter; sensitivities are taken with smooth draws"
        )
    if metered.spacing == HOUR and "electricity_kwh" in metered.columns:
        said.append(
            "hours of electricity: when a thermostat charges the store is chance, which no key corrects; read "
            "the months beside the hours"
        )
    if scenario.run.years > 1:
        said.append(f"the year compared is the last of run.years {scenario.run.years}")
    said.append(
        "intervals say what the scatter of the readings leaves open, not what the model, the weather or the "
        "meter has wrong; agreement within the Guideline's limits does not prove the inputs right"
    )
    return said
