"""The draws of a scenario: litres in each part of the year's hours, and when they run within them."""

from functools import lru_cache
from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.demand.draws import bin_events, event_stretches, smooth_draws
from hpwhsim.demand.households import building_events
from hpwhsim.demand.patterns import (
    Pattern,
    average_day_litres,
    hourly_use,
    named_pattern,
    read_metered,
    read_pattern,
)
from hpwhsim.plant.draw_times import EVEN, DrawTimes
from hpwhsim.plant.machine import Assumption
from hpwhsim.scenario.schema import Scenario

EVEN_PARTS = 12  # of an hour, through each of which draws are taken as even where water is not short


def use_of(scenario: Scenario, looks: int, found: list[Assumption]) -> tuple[Array, Array, DrawTimes]:
    """Litres at use temperature in each even part of the year's hours and in each step, and when they run."""
    hot_water, building = scenario.hot_water, scenario.building
    if hot_water.metered is not None:
        record = read_metered(hot_water.metered)
        parts = max(record.size // HOURS, EVEN_PARTS)
        return smooth_draws(record, parts), smooth_draws(record, looks), EVEN
    if isinstance(hot_water.pattern, Path):
        pattern = read_pattern(hot_water.pattern, hot_water.month_factors)
    else:
        pattern = named_pattern(hot_water.pattern, hot_water.month_factors)
    if hot_water.daily_use_per_apartment is None:
        litres, source = average_day_litres(building.apartments)
        found.append(
            {"key": "hot_water.daily_use_per_apartment", "value": f"{litres:.1f} L/day", "source": source}
        )
    else:
        litres = hot_water.daily_use_per_apartment * 1000.0
    if hot_water.draws == "random":
        return _drawn(
            building.apartments,
            litres,
            tuple(pattern.weekday.tolist()),
            tuple(pattern.weekend.tolist()),
            tuple(pattern.month.tolist()),
            looks,
            hot_water.seed,
            building.people_per_apartment,
            hot_water.use_temperature,
        )
    hourly = hourly_use(building.apartments, litres, pattern)
    return smooth_draws(hourly, EVEN_PARTS), smooth_draws(hourly, looks), EVEN


@lru_cache(maxsize=4)
def _drawn(
    apartments: int,
    litres: float,
    weekday: tuple[float, ...],
    weekend: tuple[float, ...],
    month: tuple[float, ...],
    steps_per_hour: int,
    seed: int,
    people: float,
    use_temperature: float,
) -> tuple[Array, Array, DrawTimes]:
    """The draws of a building, kept: plants that are compared have the same ones. Not to be written to."""
    pattern = Pattern("", np.array(weekday), np.array(weekend), np.array(month), "")
    events = building_events(apartments, litres, pattern, seed, people, use_temperature)
    first, until, flow = event_stretches(events)
    even = bin_events(events, EVEN_PARTS)
    seen = even if steps_per_hour == EVEN_PARTS else bin_events(events, steps_per_hour)
    times = DrawTimes(first, until, flow / 1000.0)
    for kept in (even, seen, times.until, times.flow):
        kept.flags.writeable = False
    return even, seen, times
