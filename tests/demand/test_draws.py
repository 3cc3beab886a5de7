"""Random and smooth draws: what they conserve, what they follow, and their peaks."""

from typing import Any

import numpy as np
import pytest
from draw_cases import random_draws
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.demand import draws
from hpwhsim.demand.draws import bin_events, event_stretches, smooth_draws
from hpwhsim.demand.households import Events, _candidates, _households, building_events
from hpwhsim.demand.patterns import Pattern, named_pattern
from hpwhsim.errors import OutOfRangeError
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.tables import read_table

pytestmark = pytest.mark.law

Array = NDArray[np.float64]

SEEDS = range(200, 206)  # not those the model was tuned with


def lopsided() -> Pattern:
    """An invented pattern in which weekdays, weekends and months differ strongly."""
    hours = np.arange(24)
    weekday = 0.2 + np.exp(-(((hours - 7) / 2.0) ** 2)) * 3.0
    weekend = 0.2 + np.exp(-(((hours - 11) / 3.0) ** 2)) * 2.0
    month = 1.0 + 0.3 * np.cos(np.arange(12) / 12.0 * 2.0 * np.pi)
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    return Pattern(
        "test", weekday / weekday.sum(), weekend / weekend.sum(), month / (month @ days / 365), "invented"
    )


def one_event(start: int, duration: int, litres: float) -> Events:
    return Events(
        np.zeros(1, np.int32),
        np.zeros(1, np.int8),
        np.array([start], np.int32),
        np.array([duration], np.int32),
        np.array([litres]),
    )


@pytest.mark.slow
def test_hourly_means_follow_the_pattern() -> None:
    """Weekday, weekend and month means over 12 seeds are the pattern's.

    Each seed is one independent sample, so the standard error comes from the seeds themselves; 4.5 of them
    (12 samples: one false alarm in some 1000 per hour, and the seeds are fixed), plus 0.001 of the day for
    draws that reach over the edge of an hour. Exchanged weekdays and weekends are off by up to 0.15.
    """
    pattern, apartments, litres = lopsided(), 40, 150.0
    weekend = np.arange(365) % 7 >= 5
    month = np.repeat(np.arange(12), [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    samples = []
    for seed in range(12):
        days = random_draws(apartments, litres, pattern, 1, seed).reshape(365, 24) / (apartments * litres)
        months = [days[month == m].sum(axis=1).mean() for m in range(12)]
        samples.append(np.concatenate((days[~weekend].mean(axis=0), days[weekend].mean(axis=0), months)))
    sample = np.array(samples)
    # The mean month factor of the weekdays and of the weekends is 1 within 0.1 %.
    expected = np.concatenate((pattern.weekday, pattern.weekend, pattern.month))
    error = sample.std(axis=0, ddof=1) / np.sqrt(len(sample))
    assert np.all(np.abs(sample.mean(axis=0) - expected) < 4.5 * error + 0.001)
    assert np.corrcoef(sample.mean(axis=0)[:24], pattern.weekday)[0, 1] > 0.99


@pytest.mark.published
def test_shares_of_the_kinds_of_use() -> None:
    """Building America protocols, two bedrooms, mixed 110 degF from 125 and 58 degF: hot shares of the kinds.

    shower (14 + 2 x 4.67) x 52/67 and so on over their sum; one building's year scatters by about 2 %, 5 %
    for the rarer kinds: 8 % allowed over the mean of six seeds.
    """
    mixed = 52.0 / 67.0
    hot = np.array([23.34 * mixed, 5.84 * mixed, 20.82 * mixed, 3.91, 3.76])
    shares = []
    for seed in SEEDS:
        events = building_events(20, 150.0, named_pattern("apartments"), seed)
        shares.append(np.bincount(events.kind, weights=events.litres) / events.litres.sum())
    assert np.mean(shares, axis=0) == pytest.approx(hot / hot.sum(), rel=0.08)


@pytest.mark.published
def test_households_differ_and_rest() -> None:
    """Daily use of households is skewed (LBNL draw-pattern report: medians are used), and some days see none.

    Median below the mean; the largest of 200 households uses 2 to 6 times the mean; days away are 6 % (common
    practice, no source), and days without a draw at home are rare: 4 to 10 % of all.
    """
    events = building_events(200, 140.0, named_pattern("apartments"), 7)
    use = np.bincount(events.apartment, weights=events.litres)
    assert np.median(use) < 0.95 * use.mean()
    assert 2.0 < use.max() / use.mean() < 6.0
    day = events.start // 86400
    used = np.bincount(events.apartment * 365 + day, minlength=200 * 365) > 0
    assert 0.04 < 1.0 - used.mean() < 0.10
    assert events.duration.min() >= 1
    assert np.percentile(events.duration[events.kind == 0], 99) < 30 * 60  # showers an engineer believes


GPM = LITRES_PER_GALLON / 60.0  # L/s
MOST_GPM = {0: 2.5, 2: 2.2}  # 10 CFR 430.32(p): showerheads at 80 psi; (o): faucets at 60 psi
MIXED = (49.0 - (58 - 32) / 1.8) / ((110 - 58) / 1.8)  # water of 110 degF in one of 49 degC, mains of 58 degF


@pytest.mark.published
@pytest.mark.parametrize(
    ("litres", "people"), [(20.0, 1.0), (20.0, 8.0), (160.0, 2.0), (400.0, 1.0), (400.0, 8.0)]
)
def test_fixtures_keep_their_flow_in_one_home(litres: float, people: float) -> None:
    """One home, four seeds: whatever it uses, a shower is a shower of the same head.

    No shower above 2.5 gpm, no sink above 2.2 gpm of mixed water (10 CFR 430.32(p) and (o)). The mean shower
    of a year is 1.9 to 2.3 gpm: 2.25 gpm with a spread of 30 %, cut off at 2.5, is 2.08 in the mean, and the
    least of these years holds some 20 showers (0.42 / sqrt(20) = 0.09 of standard error). Showers last 3 to
    15 minutes in the mean. A minute holds no more than what shower, tub (7 gpm), sink and machines pass
    together. The year's litres are the stated ones, and the cut of the last draw moves flows by under 1e-4.
    """
    for seed in range(4):
        events = building_events(1, litres, named_pattern("apartments"), seed, people)
        gpm = events.litres / events.duration / GPM * MIXED
        for kind, most in MOST_GPM.items():
            assert gpm[events.kind == kind].max() <= most * (1.0 + 1e-4)
        shower = events.kind == 0
        assert 1.9 < gpm[shower].mean() < 2.3
        assert 3.0 * 60.0 < events.duration[shower].mean() < 15.0 * 60.0
        assert events.litres.sum() == pytest.approx(365.0 * litres, rel=1e-12)
        minute = bin_events(events, 60).max() / 60.0 / GPM * MIXED
        assert minute <= 2.5 + 7.0 + 2.2 + 5.0 + 2.5


def test_more_use_is_more_draws_and_longer_ones() -> None:
    """From 60 to 240 L a day, one home of two: four times the litres are twice the draws, and not flow."""
    few, many = (building_events(1, litres, named_pattern("apartments"), 3, 2.0) for litres in (60.0, 240.0))
    assert many.start.size > 2.0 * few.start.size
    for kind in (0, 2):
        flows = [(e.litres / e.duration)[e.kind == kind].mean() for e in (few, many)]
        assert flows[1] == pytest.approx(flows[0], rel=0.1)
        lasts = [e.duration[e.kind == kind].mean() for e in (few, many)]
        assert 1.0 < lasts[1] / lasts[0] < 2.7  # between 0.6 and 1.6 of the table's


@pytest.mark.independent
def test_use_temperature_sets_what_a_fixture_takes() -> None:
    """A shower of 110 degF takes (110 - 58) / (140 - 58) = 0.634 of its flow of water of 140 degF."""
    pattern = named_pattern("apartments")
    mixed, hot = (building_events(20, 150.0, pattern, 1, 2.2, (f - 32) / 1.8) for f in (110.0, 140.0))
    flows = [(e.litres / e.duration)[e.kind == 0].mean() for e in (mixed, hot)]
    assert flows[1] / flows[0] == pytest.approx(52.0 / 82.0, rel=0.01)  # 9,000 showers each


@pytest.mark.independent
@pytest.mark.parametrize("steps", [4, 12, 60, pytest.param(360, marks=pytest.mark.long)])
def test_stretches_are_the_events(steps: int) -> None:
    """Summed over a step of any length, the stretches of constant flow hold what the events do, bit for bit.

    Independent path: events are binned one by one, stretches are integrated.
    """
    events = building_events(3, 150.0, named_pattern("apartments"), 5)
    first, until, flow = event_stretches(events)
    assert first.shape == (8761,)
    assert (first[0], first[-1]) == (0, until.size)
    hour = np.repeat(np.arange(8760), np.diff(first))
    end = 3600.0 * hour + until
    start = np.concatenate(([0.0], end[:-1]))
    assert np.all(end > start)
    assert end[-1] == 365 * 86400
    edges = np.arange(8760 * steps + 1) * (3600.0 / steps)
    total = np.concatenate(([0.0], np.cumsum(flow * (end - start))))
    filled = np.interp(edges, np.concatenate(([0.0], end)), total)
    assert np.diff(filled) == pytest.approx(bin_events(events, steps), abs=1e-8)
    at = np.flatnonzero(np.diff(first) > 3)[0]
    part = slice(first[at], first[at + 1])
    exact = float((flow[part] * (end - start)[part]).sum())
    assert exact == bin_events(events, 1)[at]


@pytest.mark.independent
def test_overlapping_events_add_and_wrap() -> None:
    """1 L/s for 60 s and 2 L/s for 20 s within it: 1, 3, 1 L/s; one that passes the year's end goes on."""
    two = Events(
        np.zeros(3, np.int32),
        np.zeros(3, np.int8),
        np.array([100, 110, 365 * 86400 - 40], np.int32),
        np.array([60, 20, 100], np.int32),
        np.array([60.0, 40.0, 200.0]),
    )
    first, until, flow = event_stretches(two)
    assert until[: first[1]].tolist() == [60.0, 100.0, 110.0, 130.0, 160.0, 3600.0]
    assert flow[: first[1]].tolist() == [2.0, 0.0, 1.0, 3.0, 1.0, 0.0]
    assert until[first[8759] :].tolist() == [3560.0, 3600.0]
    assert flow[first[8759] :].tolist() == [0.0, 2.0]


def test_a_year_in_parts_has_the_same_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    """What bounds the memory of a big building changes no bit, and no draw across a boundary is lost."""
    events = building_events(2, 150.0, named_pattern("apartments"), 8)
    whole = event_stretches(events)
    monkeypatch.setattr(draws, "AT_ONCE", events.start.size // 7)
    for one, other in zip(event_stretches(events), whole, strict=True):
        assert np.array_equal(one, other)


def test_same_seed_same_draws() -> None:
    """A run is a function: A, B, A gives A; another seed gives something else."""
    pattern = named_pattern("apartments")
    first = random_draws(5, 150.0, pattern, 12, 3)
    other = random_draws(5, 150.0, pattern, 12, 4)
    assert np.array_equal(random_draws(5, 150.0, pattern, 12, 3), first)
    assert not np.array_equal(other, first)


@pytest.mark.parametrize("coarse", [1, 4, 12, 60, 120])
def test_the_step_does_not_matter(coarse: int) -> None:
    """The same events at any step: fine bins sum to coarse ones bit for bit (flows are dyadic fractions)."""
    pattern = named_pattern("apartments")
    fine = random_draws(4, 150.0, pattern, 360, 9)
    assert np.array_equal(
        fine.reshape(-1, 360 // coarse).sum(axis=1), random_draws(4, 150.0, pattern, coarse, 9)
    )


def test_events_stay_when_apartments_are_added() -> None:
    """An apartment's draws depend on the seed and its own number; the building's total takes more or fewer.

    Of the smaller set nearly all are in the larger: what is left out or let in is the building's total over
    what its households would use, within 15 %; one burst of draws was cut short.
    """
    pattern = named_pattern("apartments")
    small = building_events(20, 150.0, pattern, 11)
    large = building_events(24, 150.0, pattern, 11)

    def keys(events: Events) -> set[tuple[int, ...]]:
        kept = events.apartment < 20
        columns = (events.apartment, events.kind, events.start, events.duration)
        return set(zip(*(column[kept].tolist() for column in columns), strict=True))

    ours, theirs = keys(small), keys(large)
    few, many = sorted((ours, theirs), key=len)
    assert len(few - many) <= 8
    assert len(few) > 0.85 * len(many)


def test_apartments_do_not_copy_each_other() -> None:
    """Streams are distinct: no two apartments share the times of their draws, beyond chance, nor do seeds."""
    events = building_events(3, 150.0, named_pattern("apartments"), 0)
    other = building_events(3, 150.0, named_pattern("apartments"), 1)
    first, second = (events.start[events.apartment == apartment] for apartment in (1, 2))
    assert np.isin(first, second).mean() < 0.01
    assert np.isin(other.start[other.apartment == 0], first).mean() < 0.01


@pytest.mark.parametrize(
    ("apartments", "limit"), [(1, None), (20, 0.25), pytest.param(100, 0.10, marks=pytest.mark.long)]
)
def test_year_without_the_factor(apartments: int, limit: float | None) -> None:
    """Before draws are taken by rank, the expected total of the households is the stated use already.

    Mean of 30 seeds within 3.5 standard errors of 1, the error taken from the seeds. A building's total is
    close to 1: within four standard deviations (6.1 % measured for 20 apartments, 2.5 % for 100); a single
    home's is not, as it holds the home's own level of use.
    """
    pattern = named_pattern("apartments")
    stated = apartments * 150.0 * 365.0
    seeds = 300 if apartments == 1 else 30
    totals = []
    for seed in range(seeds):
        homes = _households(apartments, pattern, seed, 2.2, 0.03)
        events, _ = _candidates(homes, 150.0, pattern, 2.2, 49.0, 1.0)
        totals.append(events.litres.sum() / stated)
    error = np.std(totals, ddof=1) / np.sqrt(seeds)
    assert np.mean(totals) == pytest.approx(1.0, abs=3.5 * error)
    if limit is not None:
        assert np.abs(np.array(totals) - 1.0).max() < limit


def test_draws_stay_in_the_hours_of_the_pattern() -> None:
    """A pattern with all use at 07-08 on weekdays and 20-21 at weekends: the middle of every draw lies there.

    Hours without any use get none, whatever the habits and queues; one second for rounding.
    """
    weekday, weekend = np.zeros(24), np.zeros(24)
    weekday[7] = weekend[20] = 1.0
    pattern = Pattern("test", weekday, weekend, np.ones(12), "invented")
    events = building_events(5, 150.0, pattern, 2)
    middle = events.start + events.duration / 2.0
    first = np.where((middle // 86400) % 7 >= 5, 20, 7) * 3600
    second = middle % 86400 - first
    assert second.min() >= -1.0
    assert second.max() <= 3601.0


@pytest.mark.independent
def test_event_across_an_hour_splits_by_time() -> None:
    """90 L over 90 s, 60 s of them before 1 o'clock: 60 and 30 L (dyadic flow of 1 L/s: exact)."""
    draws = bin_events(one_event(3540, 90, 90.0), 60)
    assert draws[59] == 60.0
    assert draws[60] == 30.0
    assert draws.sum() == 90.0


@pytest.mark.independent
def test_event_across_the_year_wraps() -> None:
    """100 s at 2 L/s from 40 s before the end of the year: 80 L in the last step, 120 L in the first."""
    draws = bin_events(one_event(365 * 86400 - 40, 100, 200.0), 12)
    assert draws[-1] == 80.0
    assert draws[0] == 120.0
    assert draws.sum() == 200.0


@settings(max_examples=25, deadline=None)
@given(
    apartments=st.integers(1, 8),
    litres=st.floats(1.0, 500.0),
    steps=st.sampled_from([1, 2, 5, 12, 60]),
    seed=st.integers(0, 2**32 - 1),
    people=st.floats(1.0, 12.0),
)
def test_draws_conserve_the_stated_use(
    apartments: int, litres: float, steps: int, seed: int, people: float
) -> None:
    """Conservation: the year holds 365 stated days per apartment.

    Flows are rounded to 2**-51 of twice what the fullest hour could hold; that moves the year by under 1e-8.
    """
    draws = random_draws(apartments, litres, named_pattern("apartments"), steps, seed, people)
    assert draws.shape == (8760 * steps,)
    assert draws.min() >= 0.0
    assert draws.sum() == pytest.approx(365.0 * apartments * litres, rel=1e-8)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(
    rows=st.sampled_from([1, 2, 4]),
    steps=st.sampled_from([1, 2, 4, 12, 60]),
    seed=st.integers(0, 1000),
)
def test_smooth_draws_keep_every_hour(rows: int, steps: int, seed: int) -> None:
    """Conservation hour by hour, from records of one, two or four rows an hour; float rounding only."""
    record = np.random.default_rng(seed).gamma(0.5, 40.0, 8760 * rows)
    draws = smooth_draws(record, steps)
    assert draws.shape == (8760 * steps,)
    assert draws.reshape(8760, -1).sum(axis=1) == pytest.approx(
        record.reshape(8760, -1).sum(axis=1), rel=1e-12
    )
    if steps % rows == 0:
        parts = draws.reshape(8760 * rows, -1)
        assert np.array_equal(parts.min(axis=1), parts.max(axis=1))


@pytest.mark.contract
@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"apartments": 0}, "building.apartments"),
        ({"litres_per_apartment_day": -1.0}, "daily_use_per_apartment"),
        ({"litres_per_apartment_day": float("inf")}, "daily_use_per_apartment"),
        ({"steps_per_hour": 7}, "steps_per_hour"),
        ({"steps_per_hour": 0}, "steps_per_hour"),
        ({"seed": -1}, "hot_water.seed"),
        ({"seed": 2**32}, "hot_water.seed"),
        ({"people_per_apartment": 0.5}, "people_per_apartment"),
        ({"people_per_apartment": 12.5}, "people_per_apartment"),
        ({"people_per_apartment": float("nan")}, "people_per_apartment"),
    ],
)
def test_bad_arguments(changes: dict[str, Any], message: str) -> None:
    good: dict[str, Any] = {
        "apartments": 2,
        "litres_per_apartment_day": 100.0,
        "steps_per_hour": 12,
        "seed": 1,
    }
    arguments = {**good, **changes}
    with pytest.raises(OutOfRangeError, match=message):
        random_draws(pattern=named_pattern("apartments"), **arguments)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("record", "steps"),
    [
        (np.ones(8784), 12),
        (np.full(8760, -1.0), 12),
        (np.full(8760, np.nan), 12),
        (np.ones(8760 * 4), 6),
        (np.ones(0), 1),
    ],
)
def test_bad_records(record: Array, steps: int) -> None:
    with pytest.raises(OutOfRangeError):
        smooth_draws(record, steps)


@pytest.mark.published
@pytest.mark.parametrize("kind", ["clothes_washer", "dishwasher"])
def test_published_gaps_are_means_over_the_draws(kind: str) -> None:
    """Fills of an appliance follow one another by the table's minutes in the mean, closer in busy hours.

    Gaps are nearly alike as shares of the day's use: pairs of a burst are told by that, within a half.
    3 % for the hours at which some thousand pairs happen to lie.
    """
    rows = [row["kind"] for row in read_table("demand_end_uses")]
    minutes = float(read_table("demand_end_uses")[rows.index(kind)]["gap_minutes"])
    pattern = named_pattern("apartments")
    events = building_events(60, 150.0, pattern, 3)
    mine = events.kind == rows.index(kind)
    order = np.lexsort((events.start[mine], events.apartment[mine]))
    start, home = events.start[mine][order].astype(float), events.apartment[mine][order]
    edges = np.concatenate(([0.0], np.cumsum(pattern.weekday)))
    share = np.floor(start / 86400.0) + np.interp(start % 86400.0 / 3600.0, np.arange(25), edges)
    pair = (np.diff(home) == 0) & (np.abs(np.diff(share) * 1440.0 / minutes - 1.0) < 0.5)
    gaps = np.diff(start)[pair] / 60.0
    assert gaps.size > 2000
    assert gaps.mean() == pytest.approx(minutes, rel=0.03)
    assert np.percentile(gaps, 10) < 0.7 * minutes
