"""A scenario over several years of random draws: how peaks, bills and energy spread from seed to seed.

A peak is the largest of 35,040 quarters of an hour, and of one year of draws it is one draw of chance. The
same year of weather is simulated with the draws of the seeds that follow the scenario's own; its baseline
has the same draws.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from hpwhsim.errors import InputError
from hpwhsim.evaluation.evaluate import check, evaluated, years_of
from hpwhsim.evaluation.result import Collected, Result
from hpwhsim.results.records import absent, flatten
from hpwhsim.scenario.reading import Loaded, baseline_of, with_keys
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.draw_seeds import next_seeds, quantiles
from hpwhsim.simulation.year import ONE_SEED, Ready, reseeded, unmarched, year_of, years_ready

Record = Mapping[str, Any]

HEADLINES = (
    "peak_kw",
    "costs.demand_usd",
    "energy_cost",
    "electricity_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "cop_plant",
    "cop_net",
    "short_hours",
    "short_litres",
    "total_kgco2e",
    "baseline.peak_kw",
    "savings.electricity_kwh",
    "savings.kgco2e",
    "savings.cost_usd",
    "costs.npv_usd",
)
"""Figures that reports show, with power in the peak hours of the savings; each year's value is kept."""
LINE_PARTS = ("plant", "baseline", "saved")  # of a line of the savings
QUANTILES = ("p10", "median", "p90")
AT_ONCE = 8  # years kept in memory together


def is_random(scenario: Scenario) -> bool:
    """Whether chance decides the draws of a scenario."""
    return scenario.hot_water.draws == "random" and scenario.hot_water.metered is None


def evaluate_over(loaded: Loaded, count: int = 0) -> Result:
    """A scenario's result, and with `count` seeds how its figures spread.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    count : int
        Years of random draws, that of the scenario's own seed first; 0: none but its own, and no spread.

    Returns
    -------
    Result
        Its record has ``seeds``: the seeds, and `QUANTILES` of every number of the record that differs
        between them, named as `hpwhsim.results.records.flatten` does; of `HEADLINES` also the value of each
        year, alike or not. Quantiles are those of `hpwhsim.simulation.draw_seeds.quantiles`.

    Raises
    ------
    InputError
        As `hpwhsim.evaluation.evaluate.evaluate`, or if the draws are not random.
    """
    if count and not is_random(loaded.scenario):
        raise InputError(
            f"{loaded.path}: --seeds: got {count}; allowed nothing unless hot_water.draws is random and "
            "hot_water.metered is not given"
        )
    checked = check(loaded)
    shared = [unmarched(ready) for ready in (checked.plant, checked.baseline) if ready is not None]
    own = evaluated(checked.collected, *years_of(checked))
    if not count:
        return own
    seeds = next_seeds(loaded.scenario, 0, count)
    rows = [figures(own.record)]
    for first in range(1, count, AT_ONCE):
        rows += _others(checked.collected, shared, seeds[first : first + AT_ONCE])
    record = dict(own.record)
    cautions: Any = record["cautions"]
    record["cautions"] = [text for text in cautions if not text.startswith(ONE_SEED)]
    record["seeds"] = {"count": count, "seeds": seeds, "figures": _spread(rows)}
    year = own.plant.year._replace(record=record)
    return replace(own, plant=replace(own.plant, year=year, record=record))


def figures(record: Record) -> dict[str, float]:
    """The numbers of a record one by one."""
    numbers = {key: value for key, value in record.items() if key not in ("assumptions", "cautions")}
    return {key: float(value) for key, value in flatten(numbers).items() if isinstance(value, float | int)}


def is_headline(key: str) -> bool:
    """Whether reports show the spread of a figure."""
    return key in HEADLINES or line_part(key) is not None


def line_part(key: str) -> tuple[str, str] | None:
    """Of a saving in named hours, such as ``july.highest_kw``, its name and whose it is; None otherwise."""
    name, _, part = key.removeprefix("savings.lines[").removesuffix("]").partition("][")
    if key.startswith("savings.lines[") and "." in name and part in LINE_PARTS:
        return name, part
    return None


def _spread(rows: Sequence[Mapping[str, float]]) -> dict[str, dict[str, Any]]:
    """Quantiles over the years, by figure."""
    found = {}
    for key in dict.fromkeys(key for row in rows for key in row):
        held = [row.get(key, absent(key)) for row in rows]
        values = [value for value in held if isinstance(value, float)]
        headline = is_headline(key)
        if len(values) == len(rows) and (headline or min(values) < max(values)):
            of = quantiles(values)
            found[key] = {name: of[name] for name in QUANTILES} | ({"values": values} if headline else {})
    return found


def _others(collected: Collected, shared: Sequence[Ready], seeds: Sequence[int]) -> list[dict[str, float]]:
    """Figures of the years of other seeds, simulated at once, from plants set up and never marched."""
    cases, ready = [], []
    for seed in seeds:
        loaded = with_keys(collected.loaded, {"hot_water.seed": seed})
        baseline = baseline_of(loaded)
        cases.append(collected._replace(loaded=loaded, baseline=baseline))
        # one after the other: their draws are made once
        both = (loaded,) if baseline is None else (loaded, baseline)
        ready += [reseeded(one, of) for one, of in zip(shared, both, strict=True)]
    years = iter([year_of(found) for found in years_ready(ready)])
    return [
        figures(evaluated(case, next(years), next(years) if case.baseline is not None else None).record)
        for case in cases
    ]
