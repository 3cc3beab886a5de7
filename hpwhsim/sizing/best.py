"""The best plants of a catalogue, over values of other keys too, by the figures of their years.

A plant is tried on the design days of all years of draws first, as `size` judges it; only one that passes is
simulated through its year, with its costs, CO2e and baseline.
"""

from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any, NamedTuple

import numpy as np

import hpwhsim
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import Findings, InputError
from hpwhsim.evaluation.baselines import Baselines
from hpwhsim.evaluation.evaluate import Checked, check, evaluated, years_of
from hpwhsim.evaluation.reading import with_changes
from hpwhsim.io.units import MONEY, POWER, VOLUME, as_text
from hpwhsim.results.asked import KEYS
from hpwhsim.results.records import absent, flatten
from hpwhsim.scenario.files import short_overrides, without_folders
from hpwhsim.scenario.reading import Loaded
from hpwhsim.search.engine import BUDGET, Point, search
from hpwhsim.search.goals import Goals, Tried, goals_of, not_accounted
from hpwhsim.search.outcome import Found, outcome
from hpwhsim.search.varied import Axis, no_overlap
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.catalogue import Choice, Market
from hpwhsim.sizing.trials import Bench, make_bench, with_seeds
from hpwhsim.sizing.whole_year import judged_year

MODULES, CAPACITY = "plant.heat_pump.modules", "plant.heat_pump.capacity"
STORE, TANKS = "plant.storage.volume", "plant.storage.tanks"
CAPITAL = "costs.capital"
NOT_VARIED = {
    **dict.fromkeys((MODULES, CAPACITY, STORE, TANKS), "the catalogue has it"),
    CAPITAL: "the catalogue adds to it",
    "sizing": "it is the same for all plants",
    "hot_water.seed": "nobody chooses the draws",
}
AT_ONCE = 8  # years kept in memory together
SEARCH_SEED = 1


class Variant(NamedTuple):
    """The scenario with one value of each varied key, on its design days."""

    bench: Bench
    market: Market


class Plant(NamedTuple):
    """A plant to be tried."""

    variant: Variant
    choice: Choice
    values: dict[str, str]  # by key of the scenario, all that is chosen


class _Shop:
    """Tries plants of the catalogue."""

    def __init__(self, loaded: Loaded, axes: Sequence[Axis], goals: Goals) -> None:
        self.loaded, self.keys = loaded, tuple(dict.fromkeys([*goals.keys, *KEYS]))
        self.varied = [
            {axis.key: value for axis, value in zip(axes, values, strict=True)}
            for values in product(*(axis.values for axis in axes))
        ]
        self.shape = tuple(len(axis.values) for axis in axes)
        self.variants: dict[int, Variant | str] = {}
        self.baselines = Baselines()
        self.values: list[dict[str, str]] = []  # of every plant that was tried
        made = [one for place in range(len(self.varied)) if isinstance(one := self.variant(place), Variant)]
        if not made:
            raise InputError(f"--vary: none of the plants can be built: {self.variants[0]}")
        self.first = made[0]

    @property
    def sizes(self) -> tuple[int, ...]:
        """How many values each choice has."""
        return (*self.shape, len(self.first.market.machines), len(self.first.market.stores))

    def variant(self, place: int) -> Variant | str:
        """One of the combinations of varied keys; in words why it cannot be built."""
        if place not in self.variants:
            values = self.varied[place]
            try:
                self.variants[place] = _variant(with_changes(self.loaded, values))
            except InputError as error:
                if not values:
                    raise
                self.variants[place] = " ".join(without_folders(str(error), self.loaded).split())
        return self.variants[place]

    def __call__(self, points: Sequence[Point]) -> list[Tried]:
        """What some plants gave, in their order."""
        from tqdm import tqdm

        found: list[Tried] = []
        with tqdm(total=len(points), unit="plant", leave=False, disable=None) as bar:  # None: not in a pipe
            for start in range(0, len(points), AT_ONCE):
                some = points[start : start + AT_ONCE]
                found += self._tried(some)
                bar.update(len(some))
        return found

    def _tried(self, points: Sequence[Point]) -> list[Tried]:
        found: dict[Point, Tried] = {}
        plants: dict[int, dict[Point, Plant]] = {}
        for point in points:
            place = int(np.ravel_multi_index(point[:-2], self.shape)) if self.shape else 0
            variant = self.variant(place)
            market = (self.first if isinstance(variant, str) else variant).market
            choice = market.choice(market.machines[point[-2]], market.stores[point[-1]])
            values = self.varied[place] | _changes(self.loaded, choice)
            self.values.append(values)
            if isinstance(variant, str):
                found[point] = Tried({}, variant)
            else:
                plants.setdefault(place, {})[point] = Plant(variant, choice, values)
        passing: dict[Point, Plant] = {}
        for here in plants.values():
            market = next(iter(here.values())).variant.market
            trials = market.trials([plant.choice for plant in here.values()])
            for (point, plant), trial in zip(here.items(), trials, strict=True):
                if trial.passes:
                    passing[point] = plant
                else:
                    found[point] = Tried({}, f"fails {', '.join(trial.failed)} on the design days")
        found |= zip(passing, self._years(list(passing.values())), strict=True)
        return [found[point] for point in points]

    def _years(self, plants: Sequence[Plant]) -> list[Tried]:
        """The whole years of plants that pass on the design days."""
        ready: list[Checked | str] = []
        for plant in plants:
            try:
                ready.append(check(with_changes(self.loaded, plant.values), self.baselines))
            except InputError as error:
                ready.append(" ".join(without_folders(str(error), self.loaded).split()))
        checked = [one for one in ready if isinstance(one, Checked)]
        first = [years_of(one, self.baselines) for one in checked[:1]]  # with the baseline, which is shared
        years = iter([*first, *at_once(lambda one: years_of(one, self.baselines), checked[1:])])
        found = []
        for plant, one in zip(plants, ready, strict=True):
            if isinstance(one, str):
                found.append(Tried({}, one))
                continue
            result = evaluated(one.collected, *next(years))
            scenario, sizing = one.collected.loaded.scenario, plant.variant.bench.sizing
            year, modules = result.plant.year, plant.choice.modules
            judged = judged_year(scenario, sizing, year, modules, one.assembly)
            if judged["fails"]:
                found.append(Tried({}, f"fails {', '.join(judged['fails'])} in the whole year"))
            else:
                found.append(Tried(_figures(result.record, self.keys)))
        return found


def _variant(loaded: Loaded) -> Variant:
    with loaded.named():
        bench = make_bench(loaded.scenario, read_weather(loaded.scenario.site.weather))
    hot_water = loaded.scenario.hot_water
    if hot_water.draws == "random" and hot_water.metered is None:
        bench = with_seeds(bench, bench.sizing.seeds)
    return Variant(bench, Market(bench))


def _changes(loaded: Loaded, choice: Choice) -> dict[str, str]:
    """The keys of a choice."""
    heat_pump, costs = loaded.scenario.plant.heat_pump, loaded.scenario.costs
    found = {MODULES: str(choice.modules)}
    if heat_pump is not None and heat_pump.capacity is not None:
        found[CAPACITY] = as_text(choice.module.size, POWER)
    found |= {STORE: as_text(choice.volume, VOLUME), TANKS: str(choice.tanks)}
    if costs is not None:
        found[CAPITAL] = as_text(costs.capital + choice.total["cost"], MONEY)
    return found


def _figures(record: Mapping[str, Any], keys: Sequence[str]) -> dict[str, float | None]:
    """Numbers of a record by key."""
    flat = flatten(record)
    values = {key: flat.get(key, absent(key)) for key in keys}
    return {key: value if isinstance(value, float | int) else None for key, value in values.items()}


def best_size(
    loaded: Loaded, objectives: Sequence[str], axes: Sequence[Axis] = (), budget: int = BUDGET
) -> Found:
    """Find the plant of the catalogue, or the front, that is best by the figures of its year.

    Parameters
    ----------
    loaded : Loaded
        The scenario; its block ``sizing`` has what must hold and the catalogue, whose cost is added to
        ``costs.capital``.
    objectives : sequence of str
        One or two, as `goals_of` reads them.
    axes : sequence of Axis
        Other keys and their values.
    budget : int
        Plants that may be tried; where there are no more, all are.

    Raises
    ------
    InputError
        If an objective, a varied key or the scenario is wrong.
    """
    wrong, goals = Findings(), Goals((), ())
    overridden = [text for text in loaded.overrides if text.partition("=")[0].strip() != "site.weather"]
    no_overlap(axes, overridden, None)
    with wrong.step():
        goals = goals_of(objectives, {}, "--objectives")
    for axis in axes:
        wrong.lines += [
            f"--vary {axis.key}: {why}; allowed another key"
            for key, why in NOT_VARIED.items()
            if f"{axis.key}.".startswith(f"{key}.") or f"{key}.".startswith(f"{axis.key}.")
        ]
    keys = [axis.key for axis in axes]
    wrong.lines += [f"--objectives {line}" for line in not_accounted(goals, loaded.scenario, keys)]
    wrong.raise_any(str(loaded.path))
    shop = _Shop(loaded, axes, goals)
    searched = search(shop.sizes, goals, shop, budget, SEARCH_SEED)
    tried = list(zip(shop.values, searched.tried.values(), strict=True))
    found = outcome(goals, tried, searched.combinations, SEARCH_SEED, budget)
    bench = shop.first.bench
    return found._replace(
        changes=tuple(shop.values),
        record={
            "title": loaded.scenario.title,
            "tool.version": hpwhsim.__version__,
            "scenario.sha256": loaded.sha256,
            "scenario.overrides": list(short_overrides(loaded)),
            "conditions": _conditions(bench),
            "choices": _offered(shop, axes),
            **found.record,
            "cautions": [],
        },
    )


def _conditions(bench: Bench) -> list[str]:
    """What every plant that is simulated has passed."""
    said = [f"criterion on the design days and in the whole year: {', '.join(bench.criterion)}"]
    if bench.draws:
        said.append(
            f"design days of {len(bench.draws)} years of random draws, of which {bench.allowed} may fail: "
            f"a probability of {bench.sizing.min_probability:g}"
        )
    if bench.scenario.costs is not None:
        said.append("costs.capital as written, and the catalogue's modules and tanks")
    if bench.sizing.modules is None or bench.sizing.tanks is None:
        said.append(
            "modules or tanks have the packaged INVENTED costs; sizing.modules and sizing.tanks give others"
        )
    return said


def _offered(shop: _Shop, axes: Sequence[Axis]) -> list[dict[str, Any]]:
    """What there was to choose from."""
    market = shop.first.market
    columns: dict[str, list[str]] = {axis.key: list(axis.labels) for axis in axes}
    columns[MODULES] = [str(number) for _, number in market.machines]
    columns[CAPACITY] = [as_text(step.size, POWER) for step, _ in market.machines]
    columns[STORE] = [as_text(step.size * number, VOLUME) for step, number in market.stores]
    columns[TANKS] = [str(number) for _, number in market.stores]
    listed = {key: list(dict.fromkeys(texts)) for key, texts in columns.items()}
    return [{"key": key, "values": texts, "count": len(texts)} for key, texts in listed.items()]
