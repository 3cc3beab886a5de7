"""How often hot water runs short, over years of random draws."""

from collections.abc import Sequence
from math import sqrt
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import changed
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.years import march_years

if TYPE_CHECKING:
    import xarray as xr

SURE = 1.959964  # standard deviations of a 95 % interval


def chances(scenario: Scenario, weather: "xr.Dataset", seeds: Sequence[int]) -> dict[str, object]:
    """How often hot water runs short, over years of random draws.

    Parameters
    ----------
    scenario, weather
        The plant and its year of weather.
    seeds : sequence of int
        One year each, at least one.

    Returns
    -------
    dict
        Days with any water delivered short by seed; their share of all days, and the share of years with one
        or more, each with its 95 % interval (Wilson's score).
    """
    from tqdm import tqdm

    days = []
    for seed in tqdm(seeds, unit="year", leave=False, disable=None):  # None: no bar in a pipe
        drawn = changed(scenario, ["hot_water.draws=random", f"hot_water.seed={seed}"], Path())
        assembly = assemble(drawn, weather)
        short = march_years(assembly, scenario.run.years).last.short_volume
        days.append(int((short.reshape(365, 24).sum(axis=1) > 0.0).sum()))
    years = len(days)
    low, high = wilson(sum(d > 0 for d in days), years)
    day_low, day_high = of_days(days, 365)
    return {
        "years": years,
        "short_days_by_seed": dict(zip(map(str, seeds), days, strict=True)),
        "chance_of_a_short_day": sum(days) / (365.0 * years),
        "chance_of_a_short_day_low": day_low,
        "chance_of_a_short_day_high": day_high,
        "chance_of_a_year_with_one": sum(d > 0 for d in days) / years,
        "chance_of_a_year_with_one_low": low,
        "chance_of_a_year_with_one_high": high,
    }


def of_days(hits: Sequence[int], days: int) -> tuple[float, float]:
    """95 % interval of the share of days that are hits, from the hits of some years of `days` days each.

    Short days come in runs, and some years have more than others: as many days count as would, if they
    were independent, spread as the years do (the design effect of a clustered sample, unverified).

    Examples
    --------
    >>> [round(v, 4) for v in of_days([0, 9, 0, 3], 365)]
    [0.0022, 0.0296]
    """
    mean, years = sum(hits) / len(hits), len(hits)
    spread = sum((hit - mean) ** 2 for hit in hits) / (years - 1) if years > 1 else 0.0
    effect = max(spread / (mean * (1.0 - mean / days)), 1.0) if 0.0 < mean < days else 1.0
    return wilson(sum(hits) / effect, days * years / effect)


def wilson(hits: float, trials: float) -> tuple[float, float]:
    """95 % interval of a share by Wilson's score.

    References
    ----------
    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22, 209-212, 1927 (unverified).

    Examples
    --------
    >>> low, high = wilson(0, 10)
    >>> round(low, 4), round(high, 4)
    (0.0, 0.2775)
    """
    share, z2 = hits / trials, SURE**2
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = SURE / (1 + z2 / trials) * sqrt(share * (1 - share) / trials + z2 / (4 * trials**2))
    return max(middle - half, 0.0), min(middle + half, 1.0)
