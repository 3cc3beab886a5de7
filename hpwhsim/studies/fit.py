"""Fit a few keys of a scenario to metered readings, within bounds, by least squares.

What is compared are sums over some days to a month (`blocks_of`), each over its column's mean: thermostats
make the hour at which a store is charged a matter of chance, and in shorter sums that outweighs the keys.
Columns are weighted by their own scatter. How the sums answer to a key is taken across a wide step, with
smooth draws, because a new number of random draws moves a month by more than a small step does; the year
itself has the scenario's own draws, so that the fitted scenario gives what was compared.
"""

from collections.abc import Sequence
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import read_year
from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import Loaded
from hpwhsim.simulation.year import Year, run_year
from hpwhsim.studies import fit_estimate as estimate
from hpwhsim.studies.fit_faults import Reach, refuse_no_use, refuse_units, still
from hpwhsim.studies.fit_keys import Ranged, refuse_no_rating, within
from hpwhsim.studies.fit_meter import COLUMNS, LITRES, Metered, read_meter
from hpwhsim.studies.fit_problem import (
    Place,
    Problem,
    Tick,
    at,
    blocks_of,
    refuse_absent,
    stacked,
    start_share,
)
from hpwhsim.studies.fit_record import Record, cautions_of, key_row, record_of

MAX_INFLATION = 20.0
"""Of a key's variance by the other keys: between two a correlation of 0.975. Rules of thumb are 10 to 30:
common practice, no source."""
MAX_CORRELATION = (1.0 - 1.0 / MAX_INFLATION) ** 0.5
MIN_EFFECT = 0.005
"""Of a key from bound to bound on the compared sums, root mean square; thermostats alone make 0.003."""
MIN_SCATTER = 0.002  # of the mean sum: no column is trusted further
STEP = 0.15  # of the bounds, to either side, at the second round
MAX_STEPS = 6  # in a round
ENOUGH = (0.5, 0.1)  # of a standard error: a step that is no more ends the first, the second round
LEAST = (1e-2, 2e-4)  # of the bounds: so does one that is no more than this


class Fit(NamedTuple):
    """A scenario fitted to readings."""

    record: Record  # what --json prints
    loaded: Loaded  # the scenario with the fitted values
    metered: Metered
    before: dict[str, Array]  # computed with the scenario as it was, by column, for each reading
    after: dict[str, Array]  # computed with the fitted keys


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
    problem = Problem(loaded, keys, metered, blocks_of(metered, len(keys)), tick)
    place_of = np.array([start_share(key, loaded) for key in keys])
    for share in _ends(place_of, np.zeros(len(keys)), np.ones(len(keys))):
        within(loaded, keys, problem.low + problem.width * share)  # said before the first year
    before = run_year(loaded)
    tick(1)
    refuse_absent(problem, before)
    place = at(problem, place_of)
    jacobian, reach = _across(problem, place)
    cautions = [text for name in metered.columns for text in refuse_units(metered, name, reach[name])]
    cautions += still(metered, _most_kwh(before))
    weight = dict.fromkeys(metered.columns, 1.0)
    for number in (0, 1):
        if number:
            weight = _weights(place, len(keys))
            jacobian = _around(problem, place)
        _refuse_alike(problem, jacobian, weight)
        place, left = _settle(problem, place, jacobian, weight, number)
    weight = _weights(place, len(keys))
    found = estimate.spread(stacked(jacobian, weight), stacked(place.residual, weight))
    fitted = within(loaded, keys, problem.low + problem.width * place.share)
    computed = [
        {name: metered.of_year(year.hourly[COLUMNS[name]]) for name in metered.columns}
        for year in (before, place.year)
    ]
    rows = [key_row(problem, place, found, number) for number in range(len(keys))]
    record = record_of(problem, weather.attrs, rows, found, place, computed)
    record["last_step"] = left
    record["cautions"] = [*metered.cautions, *cautions, *cautions_of(problem, weather.attrs, rows)]
    if left > 1.0:
        record["cautions"].append(
            f"the search ended where its next step would still be {left:.1f} standard errors: the sums do "
            "not answer evenly to the keys; try narrower bounds, or other values to begin at"
        )
    return Fit(record, fitted, metered, *computed)


def _most_kwh(year: Year) -> float:
    """Electricity of an hour in which all parts of the plant run. [kWh]"""
    most = year.connected
    power = year.made.modules * (most.compressor + most.beside)
    return (power + most.resistance + most.other + most.grinder) / 1000.0


# -- how the sums answer to the keys -------------------------------------------------------------------


def _across(problem: Problem, place: Place) -> tuple[dict[str, Array], dict[str, Reach]]:
    """Change of the sums from bound to bound of each key, and which totals the bounds reach."""
    count = len(problem.keys)
    ends = problem.years(_ends(place.share, np.zeros(count), np.ones(count)), smooth=True)
    reach = {}
    for name in problem.metered.columns:
        start = float(problem.metered.of_year(place.year.hourly[COLUMNS[name]]).sum())
        low = high = 1.0
        for pair in zip(ends[::2], ends[1::2], strict=True):
            totals = [float(problem.metered.of_year(y.hourly[COLUMNS[name]]).sum()) for y in pair]
            ratios = [total / start if start else 1.0 for total in totals]
            low, high = low * min(1.0, *ratios), high * max(1.0, *ratios)
        reach[name] = Reach(low * start, start, high * start)
    return _slopes(problem, ends, np.ones(count)), reach


def _around(problem: Problem, place: Place) -> dict[str, Array]:
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


def _slopes(problem: Problem, ends: Sequence[Year], apart: Array) -> dict[str, Array]:
    """Jacobian (blocks, p) of every column that the plant has, those without readings over their own mean."""
    found = {}
    for name, key in COLUMNS.items():
        totals = [problem.metered.of_year(year.hourly[key]).sum() for year in ends if key in year.hourly]
        if name in problem.metered.columns or (totals and min(totals) > 0.0):
            sums = np.array([problem.sums(year, name) for year in ends])
            if name not in problem.metered.columns:  # over its mean of one place
                sums *= np.array(totals)[:, None] / np.mean(totals)
            found[name] = ((sums[1::2] - sums[::2]) / apart[:, None]).T
    return found


def _refuse_alike(problem: Problem, jacobian: dict[str, Array], weight: dict[str, float]) -> None:
    """Refuse keys that the readings do not answer to, or that they do not tell apart."""
    names = list(problem.metered.columns)
    effect = np.max([np.sqrt((jacobian[name] ** 2).mean(axis=0)) for name in names], axis=0)
    for key, moved in zip(problem.keys, effect, strict=True):
        if moved < MIN_EFFECT:
            raise InputError(
                f"{problem.metered.file}: {', '.join(names)} do not identify {key.key}: from "
                f"{key.text(key.low)} to {key.text(key.high)} the compared sums move by "
                f"{100.0 * moved:.2f} %; allowed {100.0 * MIN_EFFECT:.1f} % or more, or leave this key out"
            )
    weighted = stacked(jacobian, weight)
    inflation = estimate.inflation(weighted)
    if inflation.max() <= MAX_INFLATION:
        return
    alike = np.abs(estimate.correlation(weighted))
    np.fill_diagonal(alike, 0.0)
    bad = inflation > MAX_INFLATION
    alike[~(bad[:, None] | bad[None, :])] = 0.0
    one, other = sorted(int(n) for n in np.unravel_index(int(np.argmax(alike)), alike.shape))
    raise InputError(
        f"{problem.metered.file}: {', '.join(names)} do not tell {problem.keys[one].key} and "
        f"{problem.keys[other].key} apart: got estimates with a correlation of {alike[one, other]:.3f} and "
        f"{inflation.max():.3g} times the variance of one key alone; allowed {MAX_INFLATION:g} times, of two "
        f"keys a correlation of {MAX_CORRELATION:.3f}; {_remedy(problem, jacobian, weight)}"
    )


def _remedy(problem: Problem, jacobian: dict[str, Array], weight: dict[str, float]) -> str:
    """What to measure so that the keys are told apart: one column more, or two."""
    middle = float(np.median([weight[name] for name in problem.metered.columns]))
    metered = {COLUMNS[name] for name in problem.metered.columns}
    more = [name for name in jacobian if name != COLUMNS[LITRES] and COLUMNS[name] not in metered]
    leave = "fit one of them and give the other with --set"
    for count in (1, 2):
        found = {}
        for names in combinations(more, count):
            beside = weight | dict.fromkeys(names, middle)
            worst = float(estimate.inflation(stacked(jacobian, beside)).max())
            if worst <= MAX_INFLATION:
                found[" and ".join(names)] = worst
        if found:
            best = sorted(found, key=lambda name: found[name])[:2]
            return f"readings of {', or of '.join(best)}, beside these would; or {leave}"
    return f"readings of no one or two columns more would: {leave}"


# -- the search ----------------------------------------------------------------------------------------


def _weights(place: Place, keys: int) -> dict[str, float]:
    """One over the scatter of each column, root mean square with its part of the degrees of freedom."""
    total = sum(r.size for r in place.residual.values())
    return {
        name: 1.0 / max(MIN_SCATTER, float(np.sqrt(r @ r / (r.size * (1.0 - keys / total)))))
        for name, r in place.residual.items()
    }


def _settle(
    problem: Problem, place: Place, jacobian: dict[str, Array], weight: dict[str, float], number: int
) -> tuple[Place, float]:
    """Steps by one Jacobian until they are small, by the number of the round.

    Returns
    -------
    place : Place
        Where the search ended.
    left : float
        The largest step that it would take next, in standard errors, or in `LEAST` where that is more.
    """
    weighted = stacked(jacobian, weight)
    for steps in range(MAX_STEPS + 1):
        residual = stacked(place.residual, weight)
        change = estimate.step(weighted, residual, -place.share, 1.0 - place.share)
        error = estimate.spread(weighted, residual).standard_error
        small = np.maximum(ENOUGH[number] * error, LEAST[number])
        left = float(np.max(np.abs(change) / np.maximum(error, LEAST[number])))
        if steps == MAX_STEPS or np.all(np.abs(change) <= small):
            break
        better = _lower(problem, place, change, weight)
        if better is None:
            break
        place = better
    return place, left


def _lower(problem: Problem, place: Place, change: Array, weight: dict[str, float]) -> Place | None:
    """Where a step, or a half or a quarter of it, leaves less than before; None where none does."""
    for part in (1.0, 0.5, 0.25):
        moved = at(problem, place.share + part * change)
        if moved.cost(weight) < place.cost(weight):
            return moved
    return None
