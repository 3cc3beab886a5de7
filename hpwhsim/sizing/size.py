"""Size a plant: adequacy as written, the trade-off curve, the best of real steps, and its whole year."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import islice, pairwise
from math import inf, isfinite
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

import hpwhsim
from hpwhsim.climate.cold_days import LENGTHS
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded, changed
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.scenario.writing import assumptions
from hpwhsim.simulation.draw_seeds import next_seeds
from hpwhsim.sizing.catalogue import BY, LARGER, Choice, Market, refuse_catalogue
from hpwhsim.sizing.design_days import Judged
from hpwhsim.sizing.heights import other_heights
from hpwhsim.sizing.many_years import draws_record, finite, heights_record, served, spread_record, years_said
from hpwhsim.sizing.reliability import chances
from hpwhsim.sizing.storage_curve import Point, classical, curve, point
from hpwhsim.sizing.trials import (
    Bench,
    Trial,
    hot_litres,
    make_bench,
    new_years,
    plant_of,
    try_plant,
    with_seeds,
)
from hpwhsim.sizing.whole_year import choice_year, with_choice

if TYPE_CHECKING:
    pass

Record = dict[str, object]

MOST_YEARS = 20  # choices that are simulated through the whole year until one passes
LISTED = 6  # cheapest choices in the record


def size(loaded: Loaded, years: int = 0) -> Record:
    """Size the plant of a scenario.

    Parameters
    ----------
    loaded : Loaded
        The scenario that has been read.
    years : int
        Years of random draws, other than those it is sized on, with which the chances of a short day are
        counted.

    Raises
    ------
    InputError
        If the plant has no heat pump, cannot run on the design days, or a file is wrong.
    """
    scenario = loaded.scenario
    if scenario.sizing is None:
        scenario = changed(scenario, ["sizing={}"], Path())
        loaded = loaded._replace(scenario=scenario)
    if years > 0 and scenario.hot_water.metered is not None:
        raise InputError("--seeds: hot_water.metered gives the draws; there is one year of them")
    with loaded.named():
        refuse_catalogue(scenario)  # a wrong one is said before the work
    weather = read_weather(scenario.site.weather)
    with loaded.named():
        bench = make_bench(scenario, weather)
    sizing = bench.sizing
    if scenario.hot_water.draws == "random" and scenario.hot_water.metered is None:
        bench = with_seeds(bench, sizing.seeds)
    points = curve(bench)
    record: Record = {
        "title": scenario.title,
        "criterion": list(sizing.criterion),
        "limits": _limits(sizing),
        "design_days": _days(bench),
        "draws": draws_record(bench),
        "as_written": {
            "capacity_kw": bench.assembly.made.capacity * bench.assembly.plant.modules / 1000.0,
            "modules": bench.assembly.plant.modules,
            "storage_litres": 1000.0 * scenario.plant.storage.volume,
            **{days: _adequacy(make_bench(scenario, weather, days, bench.assembly)) for days in LENGTHS},
            **served(bench, bench.assembly.plant),
        },
        "day_litres": bench.day_litres,
        "curve": [_point(p, bench.day_litres) for p in points],
        "by": BY[sizing.by],
    }
    market = Market(bench)
    passing = market.passing()
    found, tried = [], []
    for choice in islice(passing, MOST_YEARS):
        found.append(choice)
        year = choice_year(loaded, choice, weather)
        tried.append({**_choice(choice), **year})
        if year["passes"]:
            record["chosen"] = {**_beside(bench, market, choice), "year": year}
            if years > 0:
                new = next_seeds(scenario, sizing.seeds, years)
                other = bench._replace(draws=new_years(bench, new))
                factor = choice.module.size / bench.assembly.made.capacity
                plant = plant_of(other, choice.modules, factor, choice.volume, choice.tanks)
                record["seeds"] = chances(with_choice(scenario, choice), weather, new) | served(other, plant)
            break
    found += islice(passing, max(LISTED - len(found), 0))
    if not found:
        largest = market.choice(market.machines[-1], market.stores[-1])
        record["largest"] = _neighbour((largest, market.trial(largest)))
    record["choices"] = [_choice(choice) for choice in found[:LISTED]]
    record["years_tried"] = tried
    record["cautions"] = _cautions(bench, points, found, record.get("chosen"))
    record["assumptions"] = [item for item in assumptions(scenario) if str(item["key"]).startswith("sizing.")]
    return record | {
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
        "weather.sha256": weather.attrs["sha256"],
        "weather.station": weather.attrs["station"],
    }


# -- the record ----------------------------------------------------------------------------------------


def _limits(sizing: Sizing) -> Record:
    limits: Record = {"short_litres": 1000.0 * sizing.max_unmet_volume}
    if "run-hours" in sizing.criterion:
        limits["run_hours"] = sizing.max_run_hours / 3600.0
    if "backup-share" in sizing.criterion:
        limits["backup_share"] = sizing.max_backup_share
    return limits


def _name(day: int) -> str:
    """Month and day of a day of the nominal year (0 to 364)."""
    return (date(2001, 1, 1) + timedelta(days=int(day))).isoformat()[5:]


def _days(bench: Bench) -> Record:
    design = bench.design
    cold = design.days[design.cold.start // 24 : design.cold.stop // 24]
    by_day = 1000.0 * design.drive.use.reshape(design.days.size, -1).sum(axis=1)
    mean = 1000.0 * float(bench.assembly.drive.use.sum()) / 365.0
    found: Record = {
        "cold_days": [_name(day) for day in cold],
        "mean_c": design.mean_c,
        "mains_c": float(design.drive.mains[design.cold].mean()),
        "use_litres": [float(v) for v in by_day[design.cold.start // 24 : design.cold.stop // 24]],
        "mean_use_litres": mean,
    }
    if design.peak_at >= 0:
        found["peak_on"] = _name(design.days[design.peak_at])
        found["peak_over_mean"] = float(by_day[design.peak_at]) / mean
        found["peak_from"] = _name(design.peak_from) if design.peak_from >= 0 else "handbook"
    return found


def _one(judged: Judged) -> Record:
    return {
        "short_litres": judged.short_litres,
        "short_hours": judged.short_hours,
        "short_hours_by_cause": judged.short_by_cause,
        "most_run_hours_in_a_day": finite(judged.run_hours),
        "backup_share": judged.backup_share,
        "store_min_top_c": judged.lowest_top_c,
    }


def _judged(trial: Trial) -> Record:
    found: Record = {"passes": trial.passes, "fails": list(trial.failed), **_one(trial.whole)}
    if trial.seed >= 0:
        found["seed"] = trial.seed
    if trial.one_out is not None:
        found["one_module_out"] = _one(trial.one_out)
    return found


def _adequacy(bench: Bench) -> Record:
    """The plant as written, with all modules and with one out."""
    everything = bench._replace(criterion=("n-1",), short_volume=inf)
    return {**_days(bench), **_judged(try_plant(everything, bench.assembly.plant))}


def _point(p: Point, day_litres: float) -> Record:
    found: Record = {
        "capacity_kw": p.capacity / 1000.0,
        "run_hours": finite(p.run_hours),
        "storage_litres": finite(p.storage),
        "storage_share": finite(p.storage / day_litres),
        "most_run_hours_in_a_day": finite(p.least.trial.whole.run_hours),
        "largest_store_fails": list(p.least.trial.failed),
        "next_smaller_fails_litres": 1000.0 * p.least.fails,
        "mass_curve_litres": finite(p.classical),
        "mass_curve_share": finite(p.classical / day_litres),
        "mass_curve_cold_litres": finite(p.cold),
        "mass_curve_loaded_litres": finite(p.loaded),
        "mass_curve_loaded_share": finite(p.loaded / day_litres),
    }
    if np.isfinite(p.sharp) and np.isfinite(p.heated):
        found |= {
            "larger_that_fail": [
                {"from_litres": 1000.0 * f.first, "to_litres": 1000.0 * f.last, "fails": list(f.criteria)}
                for f in p.least.again
            ],
            "cold_capacity_litres": finite(p.cold - p.classical),
            "loop_and_loss_litres": finite(p.loaded - p.cold),
            "lukewarm_litres": finite(p.sharp - p.loaded),
            "mixing_litres": p.heated - p.sharp,
            "sensors_litres": finite(p.storage - p.heated),
        }
    return found


def _choice(choice: Choice) -> Record:
    return {
        "modules": choice.modules,
        "module_kw": choice.module.size / 1000.0,
        "capacity_kw": choice.capacity / 1000.0,
        "tanks": choice.tanks,
        "tank_litres": 1000.0 * choice.tank.size,
        "storage_litres": 1000.0 * choice.volume,
        **choice.total,
    }


def _beside(bench: Bench, market: Market, choice: Choice) -> Record:
    """The choice on the design days, with its neighbours, and why its store is as large as it is."""
    beside = market.beside(choice)
    factor = choice.module.size / bench.assembly.made.capacity
    why = point(bench, classical(bench), choice.modules, factor, explain=True)
    more: Record = {}
    if bench.draws:
        more = served(bench, plant_of(bench, choice.modules, factor, choice.volume, choice.tanks))
        near = why.least.volume if isfinite(why.least.volume) else choice.volume
        more["least_storage_litres"] = spread_record(bench, choice.modules, factor, near)
    return {
        **_choice(choice),
        **more,
        "design_days": _judged(beside.trial),
        "smallest_storage_litres": 1000.0 * beside.smallest.volume,
        "one_step_less_storage": _neighbour(beside.smaller_tank),
        "next_smaller_that_fails": _neighbour(beside.failing_tank),
        "one_step_less_capacity": _neighbour(beside.smaller_modules),
        "larger_stores": {
            "tried": len(beside.larger),
            "up_to_share": float(LARGER[-1]) - 1.0,
            "failing": sum(not trial.passes for trial in beside.larger),
            "fails": sorted({name for trial in beside.larger for name in trial.failed}),
        },
        "explained": _point(why, bench.day_litres),
        "heights": heights_record(other_heights(bench, choice.modules, factor)),
    }


def _neighbour(pair: tuple[Choice, Trial] | None) -> Mapping[str, object] | None:
    return None if pair is None else {**_choice(pair[0]), **_judged(pair[1])}


def _cautions(bench: Bench, points: Sequence[Point], found: Sequence[Choice], chosen: object) -> list[str]:
    said = [
        "design days come from a typical-year file: extreme years are colder; codes and the responsible "
        "engineer set the design temperature"
    ]
    if bench.sizing.modules is None or bench.sizing.tanks is None:
        said.append(
            "cost, weight or carbon of modules or tanks are the packaged INVENTED numbers; give "
            "sizing.modules and sizing.tanks for a choice that means something"
        )
    said += years_said(bench, chosen)
    hot_water = bench.scenario.hot_water
    if hot_water.draws == "smooth" or hot_water.metered is not None:
        flow = float(hot_litres(bench).reshape(24 * bench.design.days.size, -1).sum(axis=1).max())
        said.append(
            "draws are spread over each hour, which hides the peaks within it: common practice adds 10 to 30 "
            f"minutes of the largest flow, here {flow / 6.0:,.0f} to {flow / 2.0:,.0f} L of hot water; "
            "hot_water.draws=random has peaks of its own"
        )
    if not points:
        said.append(
            "the heat pump cannot run on the design days: the backup alone meets the criterion there, and "
            "the design days do not size the heat pump; sweep the year"
        )
    more = [b for a, b in pairwise(points) if b.storage > a.storage * 1.02]
    if more:
        said.append(
            f"at {', '.join(f'{p.capacity / 1000.0:.0f}' for p in more)} kW more capacity needs more "
            "storage than a little less of it: that is control, not heat. A charge that is over sooner "
            "leaves the store part empty when a peak or a lockout comes; see "
            "plant.controls.sensor_height and lock_outs"
        )
    backup = bench.scenario.plant.backup
    alone = bench.assembly.plant.modules == 1 or any(choice.modules == 1 for choice in found)
    if "n-1" in bench.sizing.criterion and alone:
        left = "what the store holds" if backup.kind == "none" else "the backup alone"
        said.append(f"n-1 with one module: one out of one leaves {left}")
    if backup.kind != "none" and "backup-share" not in bench.sizing.criterion:
        said.append(
            "the backup helps to meet the criterion; add backup-share to sizing.criterion, or set "
            "plant.backup=null, to size the heat pump by itself"
        )
    if bench.scenario.plant.source_kind != "outdoor-air":
        said.append(
            "the source stays as written while modules and store change; on the design days it starts from "
            "what the plant as written left of it"
        )
    return said
