"""Sizing on the draws of many years: laws of chance, plants written anew, and years that were not tried."""

from math import comb
from typing import Any

import numpy as np
import pytest
from cases import ROOT
from numpy.typing import NDArray
from sizing_cases import ALONE, DEMO

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.sizing import allowed_failures
from hpwhsim.simulation.draw_seeds import next_seeds, quantiles
from hpwhsim.sizing.design_days import judge
from hpwhsim.sizing.heights import heights_of, other_heights
from hpwhsim.sizing.least_store import COARSE, NEAR, least_store, spread
from hpwhsim.sizing.mass_curve import least_storage
from hpwhsim.sizing.report import sizing_figure, sizing_text
from hpwhsim.sizing.seeds import DRAWN, exact_interval, seeds_for
from hpwhsim.sizing.size import size
from hpwhsim.sizing.storage_curve import classical, point
from hpwhsim.sizing.trials import (
    Bench,
    alone,
    failing_years,
    hot_litres,
    make_bench,
    new_years,
    plant_of,
    with_seeds,
)

Array = NDArray[np.float64]

pytestmark = [pytest.mark.independent, pytest.mark.year]

SMALL = (*ALONE, "building.apartments=10", "plant.heat_pump.modules=1", "plant.storage.tanks=1")
RIGHT_WITH = 0.99  # chance with which a count by chance alone stays inside its limit


def bench_of(*overrides: str, years: int = 0, name: str = "central-air") -> Bench:
    scenario = read_scenario(ROOT / "scenarios" / f"{name}.yaml", overrides).scenario
    bench = make_bench(scenario, read_weather(scenario.site.weather))
    return with_seeds(bench, years) if years else bench


@pytest.fixture(scope="module")
def small() -> Bench:
    """10 apartments on 24 kW with the draws of 20 years."""
    return bench_of(*SMALL, years=20)


# -- chance --------------------------------------------------------------------------------------------


@pytest.mark.law
@pytest.mark.parametrize(("years", "probability"), [(20, 0.95), (40, 0.95), (9, 0.8), (30, 0.9)])
def test_a_new_year_needs_more_as_seldom_as_is_said(years: int, probability: float) -> None:
    """Years of a skewed need, 20,000 times: the new one exceeds the store by the chance asked for, or less.

    With one more failing it would exceed it more often. 3 standard errors are 0.6 points at most.
    """
    needs = np.random.default_rng(3).lognormal(0.0, 0.5, (20000, years + 1))
    tried, new = np.sort(needs[:, :-1], axis=1), needs[:, -1]
    k = allowed_failures(years, probability)
    misses = [float((new > tried[:, -1 - more]).mean()) for more in (k, k + 1)]
    assert misses[0] <= 1.0 - probability + 0.006
    assert misses[1] > 1.0 - probability


@pytest.mark.parametrize(("hits", "trials"), [(0, 20), (1, 20), (4, 30), (30, 30)])
def test_exact_interval_by_sums_of_the_binomial(hits: int, trials: int) -> None:
    """At either end the tail from what was seen outwards is 2.5 %, added up term by term."""

    def tail(chance: float, counts: range) -> float:
        return sum(comb(trials, k) * chance**k * (1.0 - chance) ** (trials - k) for k in counts)

    low, high = exact_interval(hits, trials)
    assert low == 0.0 if hits == 0 else tail(low, range(hits, trials + 1)) == pytest.approx(0.025, rel=1e-6)
    assert high == 1.0 if hits == trials else tail(high, range(hits + 1)) == pytest.approx(0.025, rel=1e-6)


def test_years_to_be_sure() -> None:
    """59 for 95 % with 95 % confidence: Wilks's one-sided sample (from memory), and by powers."""
    assert seeds_for(0.95) == 59
    for probability in (0.8, 0.9, 0.99):
        years = seeds_for(probability)
        assert probability**years <= 0.05 < probability ** (years - 1)


def test_quantiles_of_places() -> None:
    """9 values, by hand: place p (n + 1) is the value itself; a missing store (inf) stays at its place."""
    found = quantiles([5.0, 1.0, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0, np.inf])
    assert found == {"min": 1.0, "p10": 1.0, "median": 5.0, "p90": np.inf, "max": np.inf}


# -- the draws of other years --------------------------------------------------------------------------


def _arrays(name: str, value: Any) -> dict[str, Array]:
    if not isinstance(value, tuple):
        return {name: np.asarray(value)}
    parts: dict[str, Array] = {}
    for key, part in value._asdict().items():
        parts |= _arrays(f"{name}.{key}", part)
    return parts


@pytest.mark.parametrize("name", ["central-air", "wastewater"])
def test_draws_of_another_year_are_those_of_its_scenario(name: str) -> None:
    """Design days with the draws of seed 8 against those of the scenario written with it: equal, bit for bit.

    Whatever else of the drive is another one with other draws must be among `DRAWN`. Once made, once read.
    """
    few = ("building.apartments=4", "hot_water.seed=7")
    bench = bench_of(*few, name=name)
    written = bench_of(few[0], "hot_water.seed=8", name=name).design
    for _ in range(2):
        [draws] = new_years(bench, [8])
        found = draws.on(bench.design)
        assert found.peak_from == written.peak_from != bench.design.peak_from
        mine, theirs, own = (_arrays("", d.drive) for d in (found, written, bench.design))
        assert mine.keys() == theirs.keys()
        for key, values in mine.items():
            assert np.array_equal(values, theirs[key], equal_nan=True), key
        moved = {
            key.split(".")[1] for key in own if not np.array_equal(own[key], theirs[key], equal_nan=True)
        }
        assert moved <= set(DRAWN)
        assert "use" in moved


@pytest.mark.slow
@pytest.mark.contract
def test_smooth_draws_bear_no_probability() -> None:
    """No diversity, and said so; one year of draws alone is tried."""
    overrides = ("hot_water.draws=smooth", "sizing.max_modules=1", "sizing.max_tanks=1")
    record: Any = size(read_scenario(DEMO, overrides))
    assert record["draws"] is None
    assert "least_storage_litres" not in record["chosen"]
    assert any("the store is sized without diversity" in said for said in record["cautions"])
    assert "years of draws pass" not in sizing_text(record)


# -- the store of many years ---------------------------------------------------------------------------


@pytest.mark.long
def test_the_store_is_that_of_the_years_one_by_one() -> None:
    """9 years of which 1 may fail, each written anew: no more fail with it, and more a little below."""
    bench = bench_of(*SMALL, "sizing.min_probability=0.8", years=9)
    assert bench.allowed == 1
    least = least_store(bench, 1, 1.0)

    def failing(volume: float) -> int:
        seeds = [draws.seed for draws in bench.draws]
        assert seeds == list(range(7, 16))
        short = []
        for seed in seeds:
            overrides = (*SMALL, f"hot_water.seed={seed}", f"plant.storage.volume='{volume!r} m3'")
            scenario = read_scenario(DEMO, overrides).scenario
            anew = make_bench(scenario, bench.weather)
            short.append(judge(anew.design, assemble(scenario, bench.weather).plant).short_litres > 1e-6)
        return sum(short)

    assert failing(least.volume) <= 1
    assert least.fails >= least.volume * (1.0 - 1.01 * NEAR)
    assert failing(least.fails) > 1
    needs = sorted(spread(bench, 1, 1.0, least.volume).values())
    assert needs[-2] <= least.volume * (1.0 + 1e-9) < needs[-1]


@pytest.mark.law
@pytest.mark.long
def test_years_not_tried_fail_as_seldom_as_is_said(small: Bench) -> None:
    """30 years not tried, on the store of 20 years and on one that half of these need.

    Of the share of all years that need more than the neediest of n tried, nothing is known but that it is a
    beta variable (1, n): failures among 30 others are then beta-binomial. Its 99 % point is the limit. Of the
    middle one of the 20 the share is a beta variable (10, 11): of it too the count lies above its 1 % point,
    and more fail than with the neediest.
    """
    from scipy.stats import betabinom

    limit = int(betabinom.ppf(RIGHT_WITH, 30, 1, 20))
    new = small._replace(draws=new_years(small, next_seeds(small.scenario, 20, 30)))
    store = least_store(small, 1, 1.0).volume
    middle = sorted(spread(small, 1, 1.0, store).values())[10]
    assert failing_years(small, plant_of(small, 1, 1.0, store)) == ()
    many, half = (failing_years(new, plant_of(new, 1, 1.0, volume)) for volume in (store, middle))
    assert len(many) <= limit
    assert len(half) >= int(betabinom.ppf(1.0 - RIGHT_WITH, 30, 10, 11)) > 0
    assert len(half) > len(many)
    assert exact_interval(len(many), 30)[0] <= 0.05 < exact_interval(len(half), 30)[0]


@pytest.mark.slow
def test_mass_curve_of_the_neediest_year(small: Bench) -> None:
    """The classical answer of many years: the greatest of the years' own, each by the plain recursion."""
    c = classical(small)
    full = small.assembly.made.capacity / 1000.0 / c.kwh_per_litre
    factor = c.largest / 16.0 / full
    found = point(small, c, 1, factor)
    recovery = found.capacity / 1000.0 / c.kwh_per_litre / c.steps_per_hour
    needs = []
    for draws in small.draws:
        deficit = most = 0.0
        for litres, share in zip(hot_litres(alone(small, draws)), c.rated, strict=True):
            deficit = max(deficit + litres - recovery * share, 0.0)
            most = max(most, deficit)
        needs.append(most)
    assert found.classical == pytest.approx(max(needs), rel=1e-6)
    each = [
        least_storage(y, recovery * c.steps_per_hour, c.rated, c.steps_per_hour).storage[0] for y in c.years
    ]
    assert max(each) > 1.3 * float(np.median(each))


@pytest.mark.slow
def test_heights_are_those_of_a_plant_written_with_them() -> None:
    """Least stores with another sensor, stop and return height, against scenarios that have it: `COARSE`."""
    bench = bench_of(*SMALL)
    own = heights_of(bench, 1)
    assert own.sensor == pytest.approx(0.5)
    found = {other.heights: other.volume for other in other_heights(bench, 1, 1.0)}
    assert next(iter(found)) == own
    keys = {"sensor": "plant.controls.sensor_height", "stop": "plant.controls.stop_height"}
    checked = 0
    for heights, volume in found.items():
        for name, key in {**keys, "back": "recirculation.return_height"}.items():
            if getattr(heights, name) != getattr(own, name):
                anew = bench_of(*SMALL, f"{key}={getattr(heights, name)}")
                assert volume == pytest.approx(least_store(anew, 1, 1.0).volume, rel=1.5 * COARSE)
                checked += 1
    assert checked == len(found) - 1 >= 6
    assert max(found.values()) > 1.1 * min(found.values())


@pytest.mark.slow
@pytest.mark.contract
def test_the_record_and_what_is_said_of_it() -> None:
    """3 years of draws, of which none may fail: chosen plant, counts, spread, text and picture."""
    overrides = (*SMALL, "sizing.seeds=3", "sizing.min_probability=0.75", "sizing.max_modules=1")
    loaded = read_scenario(DEMO, overrides)
    record: Any = size(loaded, 2)
    assert record["draws"]["seeds"] == [7, 8, 9]
    assert record["draws"]["may_fail"] == 0
    chosen = record["chosen"]
    weather = read_weather(loaded.scenario.site.weather)
    for seed in (7, 8, 9):
        volume = f"plant.storage.volume='{chosen['storage_litres']!r} L'"
        tanks = f"plant.storage.tanks={chosen['tanks']}"
        scenario = read_scenario(DEMO, [*overrides, volume, tanks, f"hot_water.seed={seed}"]).scenario
        bench = make_bench(scenario, weather)
        assert judge(bench.design, bench.assembly.plant).short_litres <= 1e-6
    assert chosen["draws"]["failing_seeds"] == []
    assert (chosen["draws"]["share_low"], chosen["draws"]["share_high"]) == exact_interval(3, 3)
    need = chosen["least_storage_litres"]
    assert need["min"] <= need["p10"] <= need["median"] <= need["p90"] <= need["max"]
    assert need["max"] == pytest.approx(chosen["explained"]["storage_litres"], rel=COARSE)
    assert chosen["year"]["seed"] == 7
    assert list(record["seeds"]["short_days_by_seed"]) == ["10", "11"]
    assert record["seeds"]["draws"]["years"] == 2
    text = sizing_text(record)
    assert "draws: 3 years (seeds 7 to 9), of which 0 may fail" in text
    assert "days spread by 0.15, the largest hour at least the handbook's" in text
    assert "design days of 3 of 3 years of draws pass" in text
    assert "minimum store of each year of draws alone" in text
    assert any("draws of seed 7 alone" in said for said in record["cautions"])
    assert sizing_figure(record).startswith(b"\x89PNG")
