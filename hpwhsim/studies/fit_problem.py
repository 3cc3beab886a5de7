"""What a fit compares: sums of the readings over days to a month, beside those of a simulated year."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.evaluation.reading import with_changes
from hpwhsim.scenario.reading import Loaded
from hpwhsim.simulation.year import Year, run_years
from hpwhsim.studies.fit_keys import Ranged, within
from hpwhsim.studies.fit_meter import COLUMNS, MONTH, Metered

MIN_DAYS = 14  # of hourly or daily readings
MIN_SPARE = 3  # sums beyond the number of keys
BLOCK_DAYS = 365.0 / 12.0
MIN_BLOCKS = 8

Tick = Callable[[int], object]
"""Told of so many more simulated years."""


class Problem(NamedTuple):
    """What is fitted to what."""

    loaded: Loaded
    keys: Sequence[Ranged]
    metered: Metered
    blocks: list[slice]  # rows of the readings
    tick: Tick

    @property
    def low(self) -> Array:
        """Lower bounds of the keys; (p,)."""
        return np.array([key.low for key in self.keys])

    @property
    def width(self) -> Array:
        """From lower to upper bound; (p,)."""
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
        """The readings as `sums` has them, by column."""
        return {name: self._blocked(values, name) for name, values in self.metered.columns.items()}

    def _blocked(self, values: Array, column: str) -> Array:
        hours = self.metered.hours * self.metered.scale
        by_hour = [values[rows].sum() / hours[rows].sum() for rows in self.blocks]
        measured = self.metered.columns.get(column, values)
        return np.array(by_hour) / (measured.sum() / hours.sum())


class Place(NamedTuple):
    """Where the search stands."""

    share: Array  # (p,) 0 to 1 between the bounds
    year: Year  # there
    residual: dict[str, Array]  # measured less computed, by column

    def cost(self, weight: dict[str, float]) -> float:
        """Sum of the weighted squares of what is left."""
        return sum(float((weight[name] * r) @ (weight[name] * r)) for name, r in self.residual.items())


def stacked(by_column: dict[str, Array], weight: dict[str, float]) -> Array:
    """The weighted columns below each other."""
    return np.concatenate([by_column[name] * weight[name] for name in weight])


def blocks_of(metered: Metered, keys: int) -> list[slice]:
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
    return [slice(a, b) for a, b in pairwise(edges)]


def refuse_absent(problem: Problem, year: Year) -> None:
    """Refuse a column of something that the plant does not have."""
    for name in problem.metered.columns:
        if COLUMNS[name] not in year.hourly or not year.hourly[COLUMNS[name]].any():
            there = [c for c in COLUMNS if COLUMNS[c] in year.hourly and year.hourly[COLUMNS[c]].any()]
            raise InputError(
                f"{problem.metered.file}: column {name}: the scenario's plant has none; "
                f"allowed {', '.join(there)}"
            )


def start_share(key: Ranged, loaded: Loaded) -> float:
    """Where the search begins, 0 to 1: the scenario's own value, or the middle where it gives none."""
    own = key.own(loaded)
    return 0.5 if own is None else min(max((own - key.low) / (key.high - key.low), 0.0), 1.0)


def at(problem: Problem, share: Array) -> Place:
    """The year at a place between the bounds, and what it leaves of the readings."""
    (year,) = problem.years([share])
    measured = problem.measured()
    return Place(share, year, {name: m - problem.sums(year, name) for name, m in measured.items()})
