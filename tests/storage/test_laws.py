"""Laws of the store in any order of what happens to it: heat, volume, order, extremes, count of layers."""

import os
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layer_cases import Array, column, filled, heat, temperatures, volumes
from scipy.optimize import isotonic_regression

from hpwhsim.storage.heating import at_wall, coldest_foot, cool_between, heat_upper, heat_wall
from hpwhsim.storage.layers import (
    FEWEST,
    FIRST_LOSS,
    MOST,
    NEAR,
    PLACES,
    SPARE,
    Column,
    Layers,
    add_foot,
    add_head,
    cut,
    foot,
    heat_of,
    level_of,
    make_layers,
    mean_above,
    sensed,
    slices,
    take_above,
    take_foot,
    take_head,
)
from hpwhsim.storage.order import insert, merge, pool, settle
from hpwhsim.storage.still import conduct, enter, lose, stir_feet

pytestmark = pytest.mark.law

COLDEST, HOTTEST = 5.0, 95.0  # °C
degrees = st.floats(COLDEST, HOTTEST)
shares = st.floats(0.0, 1.0)
stores = st.lists(degrees, min_size=1, max_size=60)


# -- one thing at a time -------------------------------------------------------------------------------


@pytest.mark.independent
@given(st.lists(st.tuples(degrees, st.floats(1e-4, 1.0)), min_size=1, max_size=30))
def test_pooling_is_isotonic_regression(layers: list[tuple[float, float]]) -> None:
    """Barlow et al. 1972, weighed by volume: as scipy's solver has it, which works in another order."""
    warm, size = (np.array(values) for values in zip(*layers, strict=True))
    of = column(float(size.sum()))
    store = filled(of, *warm)
    low, n = store.span[:2]
    store.volume[low : low + n] = size
    store.span[1] = pool(store, low, low + n, low) - low
    found = np.repeat(temperatures(store), _blocks(size, volumes(store)))
    assert found == pytest.approx(isotonic_regression(warm, weights=size).x, abs=1e-9)


def _blocks(size: Array, pooled: Array) -> Array:
    """How many of the layers `size` each of the layers `pooled` holds."""
    edges = np.searchsorted(np.cumsum(size), np.cumsum(pooled) - 1e-12) + 1
    return np.diff(np.concatenate(([0], edges)))


@pytest.mark.slow
@pytest.mark.independent
@given(stores.map(sorted), shares, st.floats(0.001, 0.9))
def test_what_is_taken_is_what_was_there(profile: list[float], place: float, share: float) -> None:
    """Bottom, top and any height: the heat by hand sums over fine slices; what is left stays in order."""
    of = column()
    fine = np.interp
    for take in ("foot", "head", "above"):
        store = filled(of, *profile)
        edges = np.linspace(0.0, 1.0, len(profile) + 1)
        below = np.concatenate(([0.0], np.cumsum(profile) / len(profile)))
        start = {"foot": 0.0, "head": 1.0 - share, "above": place * (1.0 - share)}[take]
        expected = fine(start + share, edges, below) - fine(start, edges, below)
        if take == "above":
            assert mean_above(store, start, share) == pytest.approx(expected / share, abs=1e-8)
            out = take_above(store, start, share)
        else:
            out = take_foot(store, share) if take == "foot" else take_head(store, share)
        assert out == pytest.approx(expected, abs=1e-10)
        assert heat(store) == pytest.approx(below[-1] - expected, abs=1e-10)
        assert volumes(store).sum() == pytest.approx(1.0 - share, abs=1e-12)
        assert np.all(volumes(store) >= -1e-15)  # rounding at the very top
        assert np.all(np.diff(temperatures(store)) >= -1e-9)


@pytest.mark.slow
@given(stores.map(sorted), shares, st.floats(1e-6, 2.0), degrees)
def test_water_put_at_a_height_stands_there(
    profile: list[float], height: float, volume: float, warm: float
) -> None:
    """Below it nothing changes, above it everything is lifted by its volume."""
    of = column()
    store = filled(of, *profile)
    insert(store, height, volume, warm, False)
    assert heat(store) == pytest.approx(np.mean(profile) + volume * warm, rel=1e-12)
    assert volumes(store).sum() == pytest.approx(1.0 + volume, rel=1e-12)
    other = filled(of, *profile)
    joined = np.min(np.abs(np.array(profile) - warm)) < NEAR  # then the layer that it joins has the mean
    if not joined:
        assert take_foot(store, height) == pytest.approx(take_foot(other, height), abs=1e-9)
        assert take_foot(store, volume * (1.0 - 1e-9)) == pytest.approx(warm * volume, rel=1e-8)


@given(stores.map(sorted), shares, st.floats(1e-3, 2.0), degrees)
def test_water_put_where_it_does_not_belong_mixes_as_little_as_it_can(
    profile: list[float], height: float, volume: float, warm: float
) -> None:
    """Isotonic regression of the store with that water in it, by another library."""
    of = column()
    store, other = filled(of, *profile), filled(of, *profile)
    insert(other, height, volume, warm, False)
    insert(store, height, volume, warm, True)
    size, before = volumes(other), temperatures(other)
    expected = isotonic_regression(before, weights=size).x
    assert np.all(np.diff(temperatures(store)) >= -1e-9)
    edges = np.cumsum(size) - 0.5 * size
    found = temperatures(store)[np.searchsorted(np.cumsum(volumes(store)), edges)]
    assert found[size > 1e-6] == pytest.approx(expected[size > 1e-6], abs=1e-6)


@given(stores.map(sorted), st.floats(0.01, 0.99))
def test_a_cut_changes_nothing_but_the_number_of_layers(profile: list[float], height: float) -> None:
    of = column()
    store = filled(of, *profile)
    k = cut(store, height)
    assert volumes(store)[: k - store.span[0]].sum() == pytest.approx(height, abs=1e-8)
    assert store.span[1] <= len(profile) + 1
    assert slices(store, len(profile)) == pytest.approx(profile, abs=1e-9)


@given(stores.map(sorted), degrees)
def test_a_level_is_the_lowest_height_so_warm(profile: list[float], value: float) -> None:
    """A sensor there reads the value or more, and just below it less."""
    of = column()
    store = filled(of, *profile)
    level = level_of(store, of, value)
    if level < of.volume:
        assert sensed(store, level + 1e-9)[0] >= value
    if level > 0.0:
        assert sensed(store, level - 1e-9)[0] < value


@pytest.mark.slow
@pytest.mark.independent
def test_a_sensor_says_how_far_its_layer_reaches() -> None:
    """Three layers of 0.2, 0.3 and 0.5 m³; at 0.3 it stands in the second, 0.2 below its top."""
    store = filled(column(), *[10.0] * 2, *[40.0] * 3, *[60.0] * 5)
    settle(store, column())
    low = store.span[0]
    store.volume[low : low + 3], store.temperature[low : low + 3] = (0.2, 0.3, 0.5), (10.0, 40.0, 60.0)
    store.span[1] = 3
    assert sensed(store, 0.3) == pytest.approx((40.0, 0.2, 0.1))
    assert sensed(store, 0.0) == pytest.approx((10.0, 0.2, 0.0))
    assert sensed(store, 1.0)[0] == 60.0
    assert foot(store) == 10.0


# -- heaters -------------------------------------------------------------------------------------------


@given(stores.map(sorted), st.floats(0.0, 0.99), st.floats(0.0, 80.0), st.floats(40.0, 95.0))
def test_heating_the_upper_store(profile: list[float], height: float, given: float, setpoint: float) -> None:
    """Heat taken is heat stored; nothing below the heater changes; nothing is driven past the setpoint."""
    of = column()
    store = filled(of, *profile)
    below = take_foot(filled(of, *profile), height) if height > 0.0 else 0.0
    taken = heat_upper(store, of, height, given, setpoint)
    room = np.maximum(setpoint - np.array(profile), 0.0)
    above = np.clip(np.linspace(0.0, 1.0, len(profile) + 1)[1:] - height, 0.0, 1.0 / len(profile))
    assert taken == pytest.approx(min(given, float((room * above).sum())), abs=1e-7)
    assert heat(store) - np.mean(profile) == pytest.approx(taken, abs=1e-9)
    assert np.all(temperatures(store) <= max(*profile, setpoint) + 1e-9)
    if height > 1e-6:
        assert take_foot(store, height) == pytest.approx(below, abs=1e-6)  # a sliver is no layer
    assert taken <= given


@pytest.mark.independent
@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (10.0 / 3.0, [60.0, 40.0, 45.0]),  # a third of a m³ by 10 K: the first tank alone
        (20.0 / 3.0, [60.0, 50.0, 45.0]),
        (1e3, [60.0, 60.0, 60.0]),
    ],
)
def test_tanks_in_series_are_heated_one_by_one(given: float, expected: list[float]) -> None:
    """Hand sums: no plume rises out of a tank, so a heat-up of the whole store heats each of them."""
    of = column(tanks=3)
    store = filled(of, 50.0, 40.0, 45.0)
    taken = heat_upper(store, of, 0.0, given, 60.0)
    assert taken == pytest.approx(min(given, (10.0 + 20.0 + 15.0) / 3.0))
    assert slices(store, 3) == pytest.approx(expected)
    assert coldest_foot(store, of, 0.0) == pytest.approx(min(expected))
    assert coldest_foot(store, of, 0.75) == pytest.approx(expected[2])


@pytest.mark.independent
@pytest.mark.parametrize("height", [0.6, 0.6125, 0.645, 0.0])
def test_the_backup_heats_exactly_what_lies_above_its_height(height: float) -> None:
    """A cold store: heat to 60 °C above the height is volume times rise; and power is not exceeded."""
    of = column()
    assert heat_upper(filled(of, 20.0), of, height, 1e9, 60.0) == pytest.approx((1.0 - height) * 40.0)
    store = filled(of, 20.0)
    for _ in range(500):  # in small parts it comes to the same, and no further
        heat_upper(store, of, height, 0.35, 60.0)
        settle(store, of)
    assert heat(store) - 20.0 == pytest.approx((1.0 - height) * 40.0)
    if height > 0.0:
        assert take_foot(store, height) == pytest.approx(20.0 * height)


@pytest.mark.slow
@given(stores.map(sorted), st.floats(0.05, 1.0), st.floats(50.0, 80.0), shares)
def test_a_wall_gives_each_layer_a_share_of_what_it_lacks(
    profile: list[float], top: float, hottest: float, share: float
) -> None:
    """Sums over slices by hand; nothing above the wall changes, and nothing passes the hottest water."""
    of = column()
    store = filled(of, *profile)
    warm = np.array(profile)
    part = np.clip(top - np.linspace(0.0, 1.0, warm.size + 1)[:-1], 0.0, 1.0 / warm.size)
    lacks = part * np.maximum(hottest - warm, 0.0)
    lacking, met = at_wall(store, top, hottest)
    assert lacking == pytest.approx(lacks.sum(), abs=1e-9)
    if lacks.sum() > 1e-6:
        assert met == pytest.approx((lacks * warm).sum() / lacks.sum(), abs=1e-6)
    heat_wall(store, top, hottest, share)
    assert heat(store) - warm.mean() == pytest.approx(share * lacking, abs=1e-6)
    assert temperatures(store).max() <= max(warm.max(), hottest) + 1e-9


@pytest.mark.slow
@given(stores.map(sorted), st.floats(0.0, 0.9), st.floats(0.01, 0.1), st.floats(0.0, 0.5))
def test_a_defrost_cools_what_lies_between(
    profile: list[float], bottom: float, size: float, given: float
) -> None:
    of = column()
    store = filled(of, *profile)
    cool_between(store, bottom, bottom + size, given)
    assert heat(store) == pytest.approx(np.mean(profile) - given, rel=1e-12, abs=1e-12)


# -- in any order --------------------------------------------------------------------------------------

FLOW = st.floats(1e-5, 0.6)
DEEDS = st.one_of(
    st.tuples(st.just("draw"), FLOW, degrees),
    st.tuples(st.just("charge"), FLOW, degrees),
    st.tuples(st.just("between"), FLOW, degrees, shares, shares),
    st.tuples(st.just("loop"), FLOW, degrees, shares),
    st.tuples(st.just("cut"), shares),
    st.tuples(st.just("settle")),
    st.tuples(st.just("merge"), st.integers(1, 60)),
    st.tuples(st.just("conduct"), st.floats(1.0, 1e5)),
    st.tuples(st.just("element"), shares, st.floats(0.0, 20.0), st.floats(40.0, 90.0)),
    st.tuples(st.just("wall"), st.floats(0.05, 1.0), st.floats(50.0, 90.0), shares),
    st.tuples(st.just("defrost"), shares),
    st.tuples(st.just("stand"), st.floats(0.0, 0.1)),
    st.tuples(st.just("stir"), FLOW, FLOW, shares),
)


def happens(deed: tuple[Any, ...], store: Layers, of: Column) -> float:
    """Let one thing happen to the store; the heat that it says to have brought. [m³·K]"""
    kind, values = deed[0], [float(v) for v in deed[1:]]
    volume = values[0] * of.volume if values else 0.0
    if kind == "draw":
        enter(store, of, volume, values[1])
        return volume * values[1] - take_head(store, volume)
    if kind == "charge":
        add_head(store, volume, values[1])
        return volume * values[1] - take_foot(store, volume)
    if kind == "between":
        low = values[2] * (of.volume - volume)
        high = low + values[3] * (of.volume - volume - low)
        out = take_above(store, low, volume)
        insert(store, high, volume, values[1], of.tanks == 1)
        return volume * values[1] - out
    if kind == "loop":
        insert(store, values[2] * of.volume, volume, values[1], of.tanks == 1)
        return volume * values[1] - take_head(store, volume)
    if kind == "cut":
        cut(store, volume)
    elif kind == "settle":
        settle(store, of)
    elif kind == "merge" and of.tanks == 1:
        low, n = store.span[:2]
        store.span[1] = merge(store, low, low + n, int(values[0]), FIRST_LOSS) - low
        assert store.span[1] <= max(int(values[0]), 1)
    elif kind == "conduct":
        conduct(store, of, values[0])
    elif kind == "element":
        settle(store, of)
        return float(heat_upper(store, of, 0.99 * volume, values[1] * of.volume, values[2]))
    elif kind == "wall":
        lacking, _ = at_wall(store, volume, values[1])
        heat_wall(store, volume, values[1], values[2])
        return values[2] * lacking
    elif kind == "defrost":
        bottom = 0.9 * volume
        given = 0.02 * of.volume
        cool_between(store, bottom, bottom + 0.1 * of.volume, given)
        return -given
    elif kind == "stand":
        return -float(lose(store, of.room, values[0]))
    elif kind == "stir" and of.stirred > 0.0:
        stir_feet(store, of, volume, values[1] * of.volume, values[2] * of.volume)
    return 0.0


@pytest.mark.slow
@settings(max_examples=300)
@given(
    stores,
    st.integers(1, 4),
    st.sampled_from([0.0, 0.1, 0.5]),
    st.floats(0.05, 20.0),
    st.lists(DEEDS, max_size=25),
)
def test_heat_and_volume_are_kept_whatever_happens(
    profile: list[float], tanks: int, stirred: float, volume: float, deeds: list[tuple[Any, ...]]
) -> None:
    """First law to 1e-12 of the heat that passed, volume to 1e-12; no new high or low but by a defrost."""
    of = column(volume, stirred=stirred, tanks=tanks)
    store = filled(of, *profile)
    owed, passed, thawed = heat(store), heat(store), 0.0
    for deed in deeds:
        before = heat(store)
        brought = happens(deed, store, of)
        flow = float(deed[1]) if deed[0] in ("draw", "charge", "between", "loop") else 0.0
        passed += abs(brought) + flow * of.volume * HOTTEST
        # a wall's edge may fall on a sliver that is no layer
        slack = 1e-6 * of.volume if deed[0] == "wall" else 1e-12 * passed
        assert heat(store) - before == pytest.approx(brought, abs=slack)
        assert heat_of(store) == pytest.approx(heat(store), rel=1e-12)
        owed += heat(store) - before
        assert volumes(store).sum() == pytest.approx(of.volume, rel=1e-12)
        assert np.all(volumes(store) >= 0.0)
        thawed += 0.2 if deed[0] == "defrost" else 0.0
        assert temperatures(store).min() >= COLDEST - thawed - 1e-9
        assert temperatures(store).max() <= HOTTEST + 1e-9
        low, n = store.span[:2]
        assert 0 < n < PLACES - 2
        assert 0 < low < PLACES - n
    settle(store, of)
    assert heat(store) == pytest.approx(owed, rel=1e-12)
    size = of.volume / tanks
    below = np.cumsum(volumes(store)) - volumes(store)
    same = np.floor(below[1:] / size + 1e-7) == np.floor(below[:-1] / size + 1e-7)
    assert np.all(np.diff(temperatures(store))[same] >= -1e-9)


COMPILED = pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")),
    reason="takes long without the compiler, with which make test runs it",
)


@pytest.mark.slow
@pytest.mark.parametrize("tanks", [1, 2, 3, 5, *(pytest.param(n, marks=COMPILED) for n in (20, 100))])
def test_the_number_of_layers_is_bounded(tanks: int) -> None:
    """A year's worth of random draws, charges and standing: never more layers than the arrays hold.

    Settled they are no more than are said to stay and the spare ones, of many tanks a few in each.
    """
    rng = np.random.default_rng(1)
    of = column(stirred=0.1, tanks=tanks)
    store = filled(of, *[60.0] * 100)
    settled = 0
    for k in range(20_000):
        volume = float(rng.exponential(0.02)) / tanks + 1e-6
        if rng.random() < 0.5:
            take_head(store, volume)
            enter(store, of, volume, float(rng.uniform(5.0, 20.0)))
        else:
            take_foot(store, volume)
            add_head(store, volume, float(rng.uniform(50.0, 65.0)))
        assert store.span[0] > 0
        assert store.span[0] + store.span[1] < PLACES
        settle(store, of)
        settled = max(settled, int(store.span[1]))
        if k % 20 == 0:
            conduct(store, of, 3600.0)
    most = MOST + SPARE if tanks == 1 else tanks * (max(MOST // tanks, FEWEST) + 2)
    assert settled <= most


def test_joining_near_water_keeps_its_heat() -> None:
    """Water within `NEAR` of an end layer joins it; other water is a layer of its own."""
    store = make_layers(column(), np.array([20.0, 60.0]))
    add_foot(store, 0.1, 20.0 + 0.9 * NEAR)
    add_head(store, 0.1, 60.0 - 0.9 * NEAR)
    assert store.span[1] == 2
    add_foot(store, 0.1, 20.0 - 2.0 * NEAR)
    add_head(store, 0.1, 60.0 + 2.0 * NEAR)
    assert store.span[1] == 4
    assert heat(store) == pytest.approx(0.5 * 80.0 + 0.2 * 80.0, rel=1e-12)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    stirred=st.sampled_from([0.0, 0.1]),
    tanks=st.sampled_from([1, 3]),
    cap=st.sampled_from([65.0, 25.0]),
    sharp=st.booleans(),
)
def test_the_moving_layers_do_not_sort_heat(
    seed: int, stirred: float, tanks: int, cap: float, sharp: bool
) -> None:
    """Second law on the march's own store: draws and charges of any size, stirring, conduction and loss.

    A litre counts by a convex function of its temperature, least at the room's. What is left over flows in
    less flows out may not grow: every joining of layers loses. 1e-9 of the store's worth for rounding.
    """
    rng = np.random.default_rng(seed)
    slices, cold, hot = 48, 8.0, 65.0
    level = (
        np.where(np.arange(slices) < rng.integers(2, 46), cold, hot)
        if sharp
        else rng.uniform(cold, hot, slices)
    )
    of = column(stirred=stirred, tanks=tanks)
    store = filled(of, *np.sort(level))

    def worth(celsius: Any) -> Any:  # parabola about the room's 20 °C, straight from the cap on
        below = np.minimum(celsius, cap) - of.room
        return 0.5 * below**2 + (cap - of.room) * np.maximum(np.asarray(celsius) - cap, 0.0)

    def held() -> float:
        return float((volumes(store) * worth(temperatures(store))).sum())

    balance = held() + 1e-9 * float(worth(hot) - worth(cold))
    for _ in range(300):
        volume = float(rng.exponential(0.01)) + 1e-6
        if rng.random() < 0.5:
            mains = rng.uniform(cold, 15.0)
            out = take_head(store, volume)
            enter(store, of, volume, mains)
            if stirred > 0.0:
                stir_feet(store, of, volume, 0.0, 0.5)
            balance += volume * float(worth(mains) - worth(out / volume))
        else:
            out = take_foot(store, volume)
            add_head(store, volume, hot)
            balance += volume * float(worth(hot) - worth(out / volume))
        settle(store, of)
        conduct(store, of, 3600.0)
        lose(store, of.room, 0.001)
        assert held() <= balance
