"""What the building, or several on one plant, draw in the year: litres of each step, and when they run."""

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.demand.draws import bin_events, event_stretches, smooth_draws
from hpwhsim.demand.households import Events, building_events
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


class Households(NamedTuple):
    """All that the random draws of a building follow from."""

    apartments: int
    litres: float  # L of a mean apartment and day
    weekday: tuple[float, ...]
    weekend: tuple[float, ...]
    month: tuple[float, ...]
    weekend_factor: float
    seed: int
    people: float  # in a mean apartment
    use_temperature: float  # °C
    day_spread: float


def use_of_year(
    scenario: Scenario, latitude: float, steps_per_hour: int, found: list[Assumption]
) -> tuple[Array, Array, DrawTimes]:
    """Litres at use temperature in each even part of the year's hours and in each step, and when they run.

    What is worked out for it joins `found`.
    """
    hot_water = scenario.hot_water
    if hot_water.metered is not None:
        return _smooth([read_metered(hot_water.metered, scenario.building.apartments)], steps_per_hour)
    pattern = pattern_of(scenario, latitude)
    if not isinstance(hot_water.pattern, Path):  # what it stands for is assumed, whoever chose it
        found.append(
            {
                "key": "hot_water.pattern",
                "value": f"{pattern.name}, {pattern.basis}",
                "source": pattern.source,
            }
        )
    litres = _daily_litres(scenario, found)
    if hot_water.draws == "random":
        return _drawn((_households(scenario, pattern, litres),), steps_per_hour)
    return _smooth([hourly_use(scenario.building.apartments, litres, pattern)], steps_per_hour)


def use_of_buildings(
    scenarios: Sequence[Scenario], latitude: float, steps_per_hour: int
) -> tuple[Array, Array, DrawTimes]:
    """As `use_of_year`, of several buildings that one plant serves: the sum of what each would draw.

    All of them have random draws or none, and one temperature at which use is counted.
    """
    patterns = {
        at: pattern_of(one, latitude) for at, one in enumerate(scenarios) if one.hot_water.metered is None
    }
    litres = {at: _daily_litres(scenarios[at], []) for at in patterns}
    if scenarios[0].hot_water.draws == "random":
        homes = [_households(scenarios[at], patterns[at], litres[at]) for at in patterns]
        return _drawn(tuple(homes), steps_per_hour)
    records = []
    for at, one in enumerate(scenarios):
        if one.hot_water.metered is not None:
            records.append(read_metered(one.hot_water.metered, one.building.apartments))
        else:
            records.append(hourly_use(one.building.apartments, litres[at], patterns[at]))
    return _smooth(records, steps_per_hour)


def _daily_litres(scenario: Scenario, found: list[Assumption]) -> float:
    """Litres of a mean apartment and day; where the handbook gives them that joins `found`."""
    hot_water = scenario.hot_water
    if hot_water.daily_use_per_apartment is not None:
        return hot_water.daily_use_per_apartment * 1000.0
    litres, source = average_day_litres(scenario.building.apartments, hot_water.use_temperature)
    found.append(
        {"key": "hot_water.daily_use_per_apartment", "value": f"{litres:.1f} L/day", "source": source}
    )
    return litres


def _smooth(records: Sequence[Array], steps_per_hour: int) -> tuple[Array, Array, DrawTimes]:
    """Records of the litres of a year's hours, or of parts of them, added and spread evenly."""
    whole, rows = records[0], math.lcm(*(record.size // HOURS for record in records))
    if len(records) > 1:
        whole = np.zeros(rows * HOURS)
        for record in records:
            parts = rows * HOURS // record.size
            whole += np.repeat(record / parts, parts)
    return smooth_draws(whole, max(rows, EVEN_PARTS)), smooth_draws(whole, steps_per_hour), EVEN


def _households(scenario: Scenario, pattern: Pattern, litres: float) -> Households:
    return Households(
        scenario.building.apartments,
        litres,
        tuple(pattern.weekday.tolist()),
        tuple(pattern.weekend.tolist()),
        tuple(pattern.month.tolist()),
        pattern.weekend_factor,
        scenario.hot_water.seed,
        scenario.building.people_per_apartment,
        scenario.hot_water.use_temperature,
        scenario.hot_water.day_spread,
    )


@lru_cache(maxsize=4)
def _drawn(buildings: tuple[Households, ...], steps_per_hour: int) -> tuple[Array, Array, DrawTimes]:
    """The draws of buildings, kept: plants that are compared have the same ones. Not to be written to."""
    events = _events(buildings[0])
    if len(buildings) > 1:
        parts = [events, *map(_events, buildings[1:])]
        events = Events._make(np.concatenate(values) for values in zip(*parts, strict=True))
    first, until, flow = event_stretches(events)
    even = bin_events(events, EVEN_PARTS)
    seen = even if steps_per_hour == EVEN_PARTS else bin_events(events, steps_per_hour)
    times = DrawTimes(first, until, flow / 1000.0)
    for kept in (even, seen, times.until, times.flow):
        kept.flags.writeable = False
    return even, seen, times


def _events(of: Households) -> Events:
    """Every draw of a building in the year."""
    pattern = Pattern(
        "", np.array(of.weekday), np.array(of.weekend), np.array(of.month), "", of.weekend_factor
    )
    return building_events(
        of.apartments, of.litres, pattern, of.seed, of.people, of.use_temperature, of.day_spread
    )
