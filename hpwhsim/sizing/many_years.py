"""What is recorded and said of the many years of draws, and of other heights, that a plant was sized on."""

from collections.abc import Sequence
from math import inf, isfinite
from typing import Any

from hpwhsim.plant.arrays import Plant
from hpwhsim.simulation.draw_seeds import quantiles
from hpwhsim.sizing.heights import KEYS, Found
from hpwhsim.sizing.least_store import spread
from hpwhsim.sizing.seeds import SURE, exact_interval, seeds_for
from hpwhsim.sizing.trials import NEEDIEST, Bench, failing_years

Record = dict[str, object]

MUCH = 0.1  # change of the least store by another height that is worth a caution


def draws_record(bench: Bench) -> Record | None:
    """The years of draws whose design days a plant must serve, and what that bears; None: not random."""
    if not bench.draws:
        return None
    years, allowed = len(bench.draws), bench.allowed
    return {
        "years": years,
        "seeds": [draws.seed for draws in bench.draws],
        "probability": bench.sizing.min_probability,
        "may_fail": allowed,
        "chance_of_a_new_year": (years - allowed) / (years + 1),
        "years_to_be_sure": seeds_for(bench.sizing.min_probability),
        "sure": SURE,
        "day_spread": bench.scenario.hot_water.day_spread,
    }


def served(bench: Bench, plant: Plant) -> Record:
    """On how many years' design days a plant meets the criterion, and the interval of that chance."""
    if not bench.draws:
        return {}
    failing, years = failing_years(bench, plant), len(bench.draws)
    low, high = exact_interval(years - len(failing), years)
    return {
        "draws": {
            "years": years,
            "failing_seeds": list(failing),
            "share": (years - len(failing)) / years,
            "share_low": low,
            "share_high": high,
        }
    }


def spread_record(bench: Bench, modules: int, factor: float, volume: float) -> Record:
    """Least store of each year of draws alone, and how they spread; None: no store of those tried. [L]"""
    litres = {seed: 1000.0 * need for seed, need in spread(bench, modules, factor, volume).items()}
    found = quantiles(list(litres.values()))
    return {
        "by_seed": {str(seed): finite(need) for seed, need in litres.items()},
        **{name: finite(need) for name, need in found.items()},
    }


def heights_record(found: Sequence[Found]) -> list[Record]:
    """Least stores with other heights, as written first."""
    return [
        {
            "sensor_height": other.heights.sensor,
            "stop_height": other.heights.stop,
            "return_height": finite(other.heights.back),
            "least_storage_litres": finite(1000.0 * other.volume),
        }
        for other in found
    ]


def years_said(bench: Bench, chosen: Any) -> list[str]:
    """Cautions on reliability and heights."""
    said = []
    if bench.scenario.hot_water.metered is not None:
        said.append(
            "the store is sized on one metered year alone: sizing.seeds and sizing.min_probability have no "
            "effect"
        )
    elif not bench.draws:
        said.append(
            "smooth draws are the mean of many homes: the store is sized without diversity, and no "
            "probability can be stated; hot_water.draws=random sizes it on sizing.seeds years of draws"
        )
    else:
        years, sure = len(bench.draws), seeds_for(bench.sizing.min_probability)
        if years < sure:
            said.append(
                f"{years} years of draws bear {100.0 * bench.sizing.min_probability:g} % as an expectation; "
                f"to be 95 % sure takes {sure} years or more, none failing (sizing.seeds)"
            )
        said.append(
            f"the whole year was simulated with the draws of seed {bench.draws[0].seed} alone; --seeds N "
            "counts days with unmet hot water over N other years"
        )
    return said + _heights_said(chosen)


def _heights_said(chosen: Any) -> list[str]:
    """By how much other heights change the minimum store."""
    if chosen is None:
        return []
    written, *others = chosen["heights"]
    base = written["least_storage_litres"] or inf
    said = []
    for name, key in KEYS.items():
        field = f"{name}_height"
        need = {
            other[field]: other["least_storage_litres"] or inf
            for other in others
            if other[field] != written[field]
        }
        if not need or all(abs(litres - base) < MUCH * base for litres in need.values() if base < inf):
            continue
        low, high = min(need, key=lambda h: need[h]), max(need, key=lambda h: need[h])
        with_ = " and ".join(f"{_litres(need[h])} with {h:.2g}" for h in dict.fromkeys((low, high)))
        said.append(
            f"{key} decides: at the chosen capacity the minimum store is {_litres(base)} with "
            f"{written[field]:.2g} as written, {with_} (the {NEEDIEST} neediest years of draws)"
        )
    return said


def _litres(value: float) -> str:
    return f"{value:,.0f} L" if isfinite(value) else "none that was tried"


def finite(value: float) -> float | None:
    """The value, or None where it has none."""
    return value if isfinite(value) else None
