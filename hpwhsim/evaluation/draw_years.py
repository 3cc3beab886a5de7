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
from hpwhsim.scenario.reading import Loaded, baseline_of, with_keys
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.draw_seeds import next_seeds, quantiles
from hpwhsim.simulation.year import ONE_SEED, run_years, year_of

Record = Mapping[str, Any]

FIGURES = (
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
"""Keys of the record whose spread is given, besides power in the peak hours of the savings."""
PARTS = ("plant", "baseline", "saved")  # of a line of the savings
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
        Its record has ``seeds``: the seeds, and by figure `QUANTILES` and the value of each year. Quantiles
        are those of `hpwhsim.sizing.seeds.quantiles`.

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
    collected = checked.collected
    own = evaluated(collected, *years_of(checked))
    if not count:
        return own
    seeds = next_seeds(loaded.scenario, 0, count)
    rows = [figures(own.record)]
    for first in range(1, count, AT_ONCE):
        rows += _others(collected, seeds[first : first + AT_ONCE])
    keys = [key for key in rows[0] if all(key in row for row in rows)]
    spread = {key: _spread([row[key] for row in rows]) for key in keys}
    record = dict(own.record)
    cautions: Any = record["cautions"]
    record["cautions"] = [text for text in cautions if not text.startswith(ONE_SEED)]
    record["seeds"] = {"count": count, "seeds": seeds, "figures": spread}
    year = own.plant.year._replace(record=record)
    return replace(own, plant=replace(own.plant, year=year, record=record))


def figures(record: Record) -> dict[str, float]:
    """Figures of a record whose spread is given; of the savings also ``NAME.highest_kw.plant`` and such."""
    found = {key: float(record[key]) for key in FIGURES if isinstance(record.get(key), float | int)}
    for name, line in record.get("savings.lines", {}).items():
        if "." in name:
            found |= {f"{name}.{part}": float(line[part]) for part in PARTS}
    return found


def _spread(values: Sequence[float]) -> dict[str, Any]:
    found = quantiles(values)
    return {name: found[name] for name in QUANTILES} | {"values": list(values)}


def _others(collected: Collected, seeds: Sequence[int]) -> list[dict[str, float]]:
    """Figures of the years of other seeds, simulated at once."""
    cases = []
    for seed in seeds:
        loaded = with_keys(collected.loaded, {"hot_water.seed": seed})
        cases.append(collected._replace(loaded=loaded, baseline=baseline_of(loaded)))
    bases = [case.baseline for case in cases if case.baseline is not None]
    years = [year_of(found) for found in run_years([*(case.loaded for case in cases), *bases])]
    plants, theirs = years[: len(cases)], iter(years[len(cases) :])
    return [
        figures(evaluated(case, plant, next(theirs, None)).record)
        for case, plant in zip(cases, plants, strict=True)
    ]
