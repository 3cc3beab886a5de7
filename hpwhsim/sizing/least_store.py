"""The least store that passes on the design days, with the draws of one year or of many."""

from collections.abc import Callable
from itertools import groupby
from typing import NamedTuple

import numpy as np

from hpwhsim.plant.arrays import Plant
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.seeds import Draws
from hpwhsim.sizing.trials import (
    NEEDIEST,
    ROUNDING,
    Bench,
    Trial,
    alone,
    hardest,
    ordered,
    plant_of,
    try_plant,
    try_year,
)

LARGEST, SMALLEST = 4.0, 0.02  # stores that are tried, over the hot water of the largest day
STRIDE = 1.25  # about, from one store that is tried to the next
GRID = np.geomspace(SMALLEST, LARGEST, 1 + round(float(np.log(LARGEST / SMALLEST) / np.log(STRIDE))))
NEAR = 0.005  # of a store, that close its least volume is found
FOOT = 0.01  # share of the height at which an ideal store's sensor stands
COARSE = 0.04  # the same where the least stores of many years are compared
STRIDES = 4  # of the grid, in which a year of many is first tried


class Failing(NamedTuple):
    """Neighbouring stores of the grid that fail."""

    first: float  # m³
    last: float  # m³
    criteria: tuple[str, ...]  # all that one or more of them fail


class Least(NamedTuple):
    """The smallest store that passes."""

    volume: float  # inf: none of those tried, m³
    fails: float  # the next smaller one that was tried; 0: none, the smallest of all passes, m³
    trial: Trial  # of that store; of the largest where none passes
    again: tuple[Failing, ...]  # larger ones that fail


def least_store(
    bench: Bench, modules: int, factor: float, plain: int = 0, beyond: bool = False, near: float = NEAR
) -> Least:
    """Smallest store that passes.

    Stores about a quarter apart (`GRID`) are tried from the smallest up; between the first that passes and
    the one before, which fails, bisection finds an edge. A larger store is not always the safer one: it may
    have been charged last before the heat pump had to stop, or not. So the edge is ragged by a few percent
    (a little below it a store may pass again), and `beyond` tries the larger stores too.

    With the draws of many years the store is that of the neediest of them but those that may fail, and all
    years are tried with it.

    Parameters
    ----------
    bench, modules, factor
        As for `plant_of`.
    plain : int
        0: the store as it is; 1: all of it is heated; 2: and nothing in it mixes.
    beyond : bool
        Whether to say which of the larger stores fail; of many years of draws on the `NEEDIEST`.
    near : float
        Share of the store, that close it is found.
    """

    def plant(volume: float) -> Plant:
        return _plain(plant_of(bench, modules, factor, volume), plain)

    def tried(volume: float, brief: bool = True) -> Trial:
        return try_year(bench, plant(volume), brief)

    if not bench.draws:
        found = _least_above(0.0, bench.day_litres, tried, near)
    else:
        found = _least_of_years(bench, factor * modules * bench.assembly.made.capacity, plant, near)
    if not beyond or np.isinf(found.volume):
        return found
    few = hardest(bench, factor * modules * bench.assembly.made.capacity, NEEDIEST)
    grid = GRID[GRID * bench.day_litres / 1000.0 > found.volume] * bench.day_litres / 1000.0
    larger = [(float(v), try_plant(few, plant(v)).failed) for v in grid]
    again = []
    for fails, stretch in groupby(larger, key=lambda pair: bool(pair[1])):
        stores = list(stretch)
        if fails:
            names = {name for _, failed in stores for name in failed}
            again.append(Failing(stores[0][0], stores[-1][0], tuple(sorted(names))))
    return found._replace(again=tuple(again))


def _least_above(
    above: float, day_litres: float, tried: Callable[..., Trial], near: float, stride: int = 1
) -> Least:
    """The smallest store above one that fails (0: of all) that passes with the draws of one year.

    With a `stride` of more than 1 the grid is first tried in such strides, up to the first that passes.
    `tried` judges a volume [m³], briefly but where its answer is kept (``brief=False``).
    """
    grid = GRID * day_litres / 1000.0
    first = int(np.searchsorted(grid, above * (1.0 + ROUNDING), side="right"))
    if first == grid.size:
        return Least(np.inf, above, tried(float(grid[-1]), brief=False), ())
    known: dict[int, Trial] = {}
    if stride > 1:
        for at in range(min(first + stride - 1, grid.size - 1), grid.size, stride):
            known[at] = tried(float(grid[at]))
            if known[at].passes:
                break
            first = at + 1
    at, trial = first, None
    for at in range(first, grid.size):
        trial = known.get(at) or tried(float(grid[at]))
        if trial.passes:
            break
    if trial is None or not trial.passes:
        return Least(np.inf, float(grid[-1]), tried(float(grid[-1]), brief=False), ())
    low, high = (max(float(grid[at - 1]), above) if at > 0 else above), float(grid[at])
    while low > 0.0 and high - low > near * high:
        middle = float(np.sqrt(low * high))
        found = tried(middle)
        if found.passes:
            high, trial = middle, found
        else:
            low = middle
    return Least(high, low, trial, ())


def _least_of_years(bench: Bench, capacity: float, plant: Callable[[float], Plant], near: float) -> Least:
    """The smallest store with which no more years of draws fail than may.

    The store grows to what the least needy of the years needs that are one too many, until every year was
    tried with it or is one of those that may fail. The neediest come first, so that most pass at once.
    """
    store: Least | None = None
    needs: dict[int, Least] = {}  # by seed, of years that failed with a smaller store
    passed: dict[int, float] = {}  # by seed, the last store that passed
    done = False
    while not done:
        done = True
        for draws in ordered(bench, capacity):
            volume = store.volume if store is not None else 0.0
            fails = draws.seed in needs and needs[draws.seed].volume > volume
            if fails or (store is not None and passed.get(draws.seed) == volume):
                continue
            done = False
            one = alone(bench, draws)

            def tried(volume: float, brief: bool = True, one: Bench = one) -> Trial:
                return try_year(one, plant(volume), brief)

            if store is not None and tried(volume).passes:
                passed[draws.seed] = volume
                continue
            found = _least_above(volume, bench.day_litres, tried, near, STRIDES)
            needs[draws.seed] = found._replace(trial=found.trial._replace(seed=draws.seed))
            passed[draws.seed] = found.volume
            over = sorted((n for n in needs.values() if n.volume > volume), key=lambda n: n.volume)
            if len(over) > bench.allowed:
                store = over[0]
                if np.isinf(store.volume):
                    return store
    assert store is not None  # fewer years may fail than there are
    return store


def spread(bench: Bench, modules: int, factor: float, volume: float) -> dict[int, float]:
    """Least store of each year of draws alone, by seed, to `COARSE`. [m³]

    From a store of `volume` [m³] it goes down the grid while the year passes, or up where it fails.
    """
    grid = GRID * bench.day_litres / 1000.0

    def need(draws: Draws) -> float:
        one = alone(bench, draws)

        def tried(volume: float, brief: bool = True) -> Trial:
            return try_year(one, plant_of(bench, modules, factor, volume), brief)

        high = volume
        if not tried(volume).passes:
            return _least_above(volume, bench.day_litres, tried, COARSE, STRIDES).volume
        low = 0.0
        for smaller in grid[grid < volume][::-1].tolist():
            if not tried(smaller).passes:
                low = smaller
                break
            high = smaller
        while low > 0.0 and high - low > COARSE * high:
            middle = float(np.sqrt(low * high))
            low, high = (low, middle) if tried(middle).passes else (middle, high)
        return high

    found = at_once(need, bench.draws)
    return {draws.seed: litres for draws, litres in zip(bench.draws, found, strict=True)}


def _plain(plant: Plant, level: int) -> Plant:
    """The plant with an ideal store: 1, charged from the foot as soon as it is not full; 2, unmixed too."""
    if level >= 1:
        controls = plant.controls
        plant = plant._replace(
            controls=controls._replace(
                start_level=FOOT * plant.column.volume,
                stop_level=0.0,
                start_at=controls.stop_at,
                stage_delay=0.0,
                minimum_off=0.0,
            )
        )
    if level >= 2:
        plant = plant._replace(column=plant.column._replace(stirred=0.0, diffusivity=0.0))
    return plant
