"""What the building draws in the year: litres of each step, and when they run."""

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
    season,
)
from hpwhsim.plant.draw_times import EVEN, DrawTimes
from hpwhsim.plant.machine import Assumption
from hpwhsim.scenario.schema import Scenario
from hpwhsim.tables.sources import cited

EVEN_PARTS = 12  # of an hour, through each of which draws are taken as even where water is not short


def pattern_of(scenario: Scenario, latitude: float) -> Pattern:
    """Shape of the day, season and week of a scenario without metered use.

    Raises
    ------
    InputError
        If there is no such pattern, its file is wrong, or the month factors have no mean of 1.
    """
    hot_water = scenario.hot_water
    months = hot_water.month_factors
    if months is None:
        months = season(southern=latitude < 0.0)
    elif isinstance(months, str):
        months = None
    if isinstance(hot_water.pattern, Path):
        return read_pattern(hot_water.pattern, months, hot_water.weekend_factor)
    return named_pattern(hot_water.pattern, months, hot_water.weekend_factor)


def shape_of_day(scenario: Scenario, latitude: float) -> str:
    """Which shape of the day stands behind a year, whose use that is, and the source."""
    if scenario.hot_water.metered is not None:
        return f"as metered, {scenario.hot_water.metered.name}"
    pattern = pattern_of(scenario, latitude)
    return f"{pattern.name}, {pattern.basis} ({cited(pattern.source)})"


def use_of_year(
    scenario: Scenario, latitude: float, steps_per_hour: int, found: list[Assumption]
) -> tuple[Array, Array, DrawTimes]:
    """Litres at use temperature in each even part of the year's hours and in each step, and when they run.

    What is worked out for it joins `found`.
    """
    hot_water, building = scenario.hot_water, scenario.building
    if hot_water.metered is not None:
        record = read_metered(hot_water.metered, building.apartments)
        parts = max(record.size // HOURS, EVEN_PARTS)
        return smooth_draws(record, parts), smooth_draws(record, steps_per_hour), EVEN
    pattern = pattern_of(scenario, latitude)
    if not isinstance(hot_water.pattern, Path):  # what it stands for is assumed, whoever chose it
        found.append(
            {
                "key": "hot_water.pattern",
                "value": f"{pattern.name}, {pattern.basis}",
                "source": pattern.source,
            }
        )
    if hot_water.daily_use_per_apartment is None:
        litres, source = average_day_litres(building.apartments, hot_water.use_temperature)
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
            pattern.weekend_factor,
            steps_per_hour,
            hot_water.seed,
            building.people_per_apartment,
            hot_water.use_temperature,
            hot_water.day_spread,
        )
    hourly = hourly_use(building.apartments, litres, pattern)
    return smooth_draws(hourly, EVEN_PARTS), smooth_draws(hourly, steps_per_hour), EVEN


@lru_cache(maxsize=4)
def _drawn(
    apartments: int,
    litres: float,
    weekday: tuple[float, ...],
    weekend: tuple[float, ...],
    month: tuple[float, ...],
    weekend_factor: float,
    steps_per_hour: int,
    seed: int,
    people: float,
    use_temperature: float,
    day_spread: float,
) -> tuple[Array, Array, DrawTimes]:
    """The draws of a building, kept: plants that are compared have the same ones. Not to be written to."""
    pattern = Pattern("", np.array(weekday), np.array(weekend), np.array(month), "", weekend_factor)
    events = building_events(apartments, litres, pattern, seed, people, use_temperature, day_spread)
    first, until, flow = event_stretches(events)
    even = bin_events(events, EVEN_PARTS)
    seen = even if steps_per_hour == EVEN_PARTS else bin_events(events, steps_per_hour)
    times = DrawTimes(first, until, flow / 1000.0)
    for kept in (even, seen, times.until, times.flow):
        kept.flags.writeable = False
    return even, seen, times
