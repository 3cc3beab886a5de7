"""The backup in series, and draws at their own seconds: hand-worked cases and balances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layer_cases import column, filled, heat, volumes
from plant_cases import SECONDS, VOLUME, Done, circulate, hour_of, hour_with, plant, window

from hpwhsim.plant.arrays import BackupMode, Plant
from hpwhsim.plant.draw_times import EVEN, DrawTimes, Window, mean_use, stretch_at, taps_run
from hpwhsim.storage.layers import RHO_CP, Layers, slices

pytestmark = pytest.mark.independent

LITRE = 1e-3  # m³


def heater(power: float, **changes: object) -> Plant:
    return plant(backup_mode=int(BackupMode.SERIES), backup_power=power, **changes)


def store_at(temperature: float) -> Layers:
    return filled(column(VOLUME, 2.0), temperature)


def lifted(
    p: Plant,
    store: Layers,
    times: DrawTimes,
    part: Window,
    setpoint: float,
    flow: float = 0.0,
    loop_watts: float = 0.0,
    back: float = 55.0,
) -> Done:
    hour = hour_with(10.0, lifts_to=setpoint, loop_watts=loop_watts, loop_back=back)
    seconds = part.until - part.since
    return circulate(
        p, store, hour, use=part.use * seconds, straight=flow, seconds=seconds, times=times, part=part
    )


def test_the_loop_is_lifted_by_hand() -> None:
    """Store at 50 °C, setpoint 60 °C, back at 55 °C, 2 kW lost: by hand 400 W/K flow through the heater.

    The heater gives 400 W/K x 10 K = 4 kW; half of it is lost by the loop, half comes back into the store.
    """
    p, store = heater(20e3), store_at(50.0)
    served, moved = lifted(p, store, EVEN, window(EVEN, 0.0, SECONDS), 60.0, loop_watts=2e3)
    joule = RHO_CP
    assert moved.added * joule / SECONDS == pytest.approx(4e3, rel=1e-9)
    assert moved.loop_heat * joule / SECONDS == pytest.approx(2e3, rel=1e-9)
    assert (heat(store) - 50.0 * VOLUME) * joule / SECONDS == pytest.approx(2e3, rel=1e-9)
    assert served.coldest == pytest.approx(60.0)


def test_a_loop_beyond_the_power_leaves_and_comes_back_colder() -> None:
    """The same with 1 kW: 400 W/K are lifted to 52.5 °C, 32.5 of the 40 K above the air: 1.625 kW lost.

    The 2 kW are lost at the loop's own supply of 60 °C, and its flow does not change: it falls by 4.06 K.
    """
    p, store = heater(1e3), store_at(50.0)
    served, moved = lifted(p, store, EVEN, window(EVEN, 0.0, SECONDS), 60.0, loop_watts=2e3)
    joule = RHO_CP
    lost = 2e3 * 32.5 / 40.0
    assert moved.loop_heat * joule / SECONDS == pytest.approx(lost, rel=1e-9)
    assert served.coldest == pytest.approx(50.0 + 1e3 / 400.0, rel=1e-9)
    assert moved.added * joule / SECONDS == pytest.approx(1e3, rel=1e-9)


@pytest.mark.parametrize("setpoint", [50.0, 60.0, 80.0])
def test_the_setpoint_is_reached_and_no_more_is_added(setpoint: float) -> None:
    """Power enough: taps take use x 39 / (setpoint - 10), each litre lifted from 45 °C; nothing is short."""
    p, store = heater(1e6), store_at(45.0)
    _, moved = lifted(p, store, EVEN, window(EVEN, 0.0, SECONDS, 0.1), setpoint)
    assert moved.taps == pytest.approx(0.1 * 39.0 / (setpoint - 10.0), rel=1e-9)
    assert moved.added == pytest.approx(moved.taps * (setpoint - 45.0), rel=1e-9)
    assert moved.taps_heat == pytest.approx(0.1 * 39.0, rel=1e-9)
    assert (moved.short_seconds, moved.short, moved.missing) == (0.0, 0.0, 0.0)


@pytest.mark.law
def test_hotter_water_passes_untouched() -> None:
    """Store at 60 °C above a setpoint of 55 °C: what `circulate` moves, and no heat."""
    p, store, other = heater(50e3), store_at(60.0), store_at(60.0)
    served, moved = lifted(p, store, EVEN, window(EVEN, 0.0, SECONDS, 0.15), 55.0, 0.05, 2e3)
    hour = hour_with(loop_watts=2e3, loop_back=55.0)
    _, plain = circulate(plant(), other, hour, use=0.15, straight=0.05)
    assert moved.added == 0.0
    assert served.coldest == pytest.approx(60.0)
    assert moved.taps == pytest.approx(plain.taps, rel=1e-9)
    assert moved.taps_heat == pytest.approx(plain.taps_heat, rel=1e-9)
    assert moved.loop_heat == pytest.approx(plain.loop_heat, rel=1e-9)
    assert slices(store, 40) == pytest.approx(slices(other, 40), abs=1e-9)


@pytest.mark.parametrize("until", [60.0, 300.0, 900.0])
def test_power_acts_while_water_flows_and_no_longer(until: float) -> None:
    """12 L/min for 30 s by 6 kW from 35 °C: rise 6000 / (rho c x 0.2 L/s) = 7.26 K, whatever the step.

    42.3 °C is below the minimum of 43: all 6 L are short for 30 s, and 6.74 K are missing.
    """
    rise = 6e3 / (RHO_CP * 0.2e-3)
    times = hour_of((10.0, 40.0, 0.2))
    p, store = heater(6e3), store_at(35.0)
    served, moved = lifted(p, store, times, window(times, 0.0, until), 60.0)
    assert served.coldest == pytest.approx(35.0 + rise, rel=1e-9)
    assert moved.added * RHO_CP == pytest.approx(6e3 * 30.0, rel=1e-9)
    assert moved.short == pytest.approx(6.0 * LITRE, rel=1e-9)
    assert moved.short_seconds == pytest.approx(30.0)
    assert moved.missing == pytest.approx(6.0 * LITRE * (14.0 - rise), rel=1e-9)


def test_draws_that_overlap_share_the_power() -> None:
    """0.1 L/s are served alone by 12 kW from 35 °C; while a second tap runs beside it both are short."""
    times = hour_of((0.0, 60.0, 0.1), (20.0, 30.0, 0.3))
    p, store = heater(12e3), store_at(35.0)
    served, moved = lifted(p, store, times, window(times, 0.0, 60.0), 49.0)
    assert served.coldest == pytest.approx(35.0 + 12e3 / (RHO_CP * 0.4e-3), rel=1e-9)
    assert moved.short_seconds == pytest.approx(10.0)
    assert moved.short == pytest.approx(4.0 * LITRE, rel=1e-9)


def test_the_power_is_shared_by_mixed_flow() -> None:
    """Taps and loop leave alike: the loop's part of a heater at full power is its part of the flow."""
    p, store = heater(10e3), store_at(40.0)
    times = hour_of((0.0, 60.0, 0.3))
    served, moved = lifted(p, store, times, window(times, 0.0, 60.0), 60.0, loop_watts=2e3)
    # the loop's flow is that for 60 °C out and 55 °C back, its loss that of what the power makes of it alone
    alone = 40.0 + 10e3 / (2e3 / 5.0)
    loop = 2e3 * (min(alone, 60.0) - 20.0) / 35.0 if alone < 55.0 else 2e3
    flow = loop / 5.0 / RHO_CP
    rise = 10e3 / (RHO_CP * (0.3e-3 + flow))
    assert served.coldest == pytest.approx(40.0 + rise, rel=1e-9)
    assert moved.taps == pytest.approx(0.3e-3 * 60.0, rel=1e-9)  # the valve stands open
    assert moved.taps_heat == pytest.approx(0.3e-3 * 60.0 * (30.0 + rise), rel=1e-9)


def test_what_the_machine_makes_serves_who_draws_then() -> None:
    """A machine gives 0.2 L/s of 60 °C; a tap draws 0.4 L/s for 10 s of 20; store at 45 °C, setpoint 56.

    Drawn in the first half, 0.339 L/s pass the heater, 0.2 of them at 60 °C, the rest at 45 °C. Drawn in the
    second half, 2 L wait on top of the store, and 0.312 L/s of 60 °C need no heater. What is left goes in.
    """
    flow = 0.2 * LITRE * 20.0
    for start, store_gives in ((0.0, True), (10.0, False)):
        times = hour_of((start, start + 10.0, 0.4))
        p, store = heater(1e6), store_at(45.0)
        _, moved = lifted(p, store, times, window(times, 0.0, 20.0), 56.0, flow)
        through = 0.4 * 39.0 / 46.0 if store_gives else 0.4 * 39.0 / 50.0
        heat = through * 56.0 - 0.2 * 60.0 - (through - 0.2) * 45.0 if store_gives else 0.0
        assert moved.taps == pytest.approx(10.0 * through * LITRE, rel=1e-9)
        assert moved.added == pytest.approx(10.0 * heat * LITRE, rel=1e-9, abs=1e-12)
        assert moved.taps_heat == pytest.approx(4.0 * LITRE * 39.0, rel=1e-9)
        left = 2.0 if store_gives else 4.0 - 10.0 * through
        assert slices(store, 1000)[-1] == pytest.approx(60.0 if left > 2.0 else 45.0 + 15.0 * left / 2.0)


@pytest.mark.slow
@pytest.mark.law
@given(
    st.lists(st.floats(10.0, 60.0), min_size=1, max_size=40).map(sorted),
    st.lists(st.tuples(st.integers(0, 800), st.integers(1, 100), st.floats(0.01, 1.0)), max_size=6),
    st.floats(0.0, 0.35),
    st.floats(0.0, 20e3),
    st.floats(0.0, 200e3),
    st.floats(44.0, 90.0),
    st.sampled_from([0.0, 0.1, 0.3]),
)
@settings(max_examples=300)
def test_first_law_and_power(
    profile: list[float],
    draws: list[tuple[int, int, float]],
    flow: float,
    loop_watts: float,
    power: float,
    setpoint: float,
    stirred: float,
) -> None:
    """Store, machine, heater, taps and loop close for any flows, to 1e-12 of the heat that passed.

    The heater stays within its power while water flows.
    """
    of = column(VOLUME, 2.0, stirred=stirred)
    times = hour_of(*((float(s), float(s + d), rate) for s, d, rate in draws))
    part = window(times, 0.0, 900.0)
    p, store = heater(power, column=of), filled(of, *profile)
    before = heat(store)
    _, moved = lifted(p, store, times, part, setpoint, flow, loop_watts, 50.0)
    mean, _ = mean_use(times, part, np.inf)
    use = 900.0 * mean
    through = before + abs(moved.heat) + abs(moved.taps_heat) + moved.loop_heat + (use + flow) * 90.0
    gained = moved.heat + moved.added - moved.taps_heat - moved.loop_heat
    assert heat(store) - before == pytest.approx(gained, abs=1e-12 * through)
    assert volumes(store).sum() == pytest.approx(VOLUME, rel=1e-12)
    flows = 900.0 if loop_watts > 0.0 else sum(float(b - a) for a, b in union(draws))
    assert -1e-6 <= moved.added * RHO_CP <= power * flows * (1.0 + 1e-6) + 1e-6
    assert -1e-9 <= moved.short <= use * (1.0 + 1e-9)
    assert 0.0 <= moved.short_seconds <= flows + 1e-6


def union(draws: list[tuple[int, int, float]]) -> list[tuple[int, int]]:
    """Time in which any draw runs, before 900 s."""
    seconds = {t for start, length, _ in draws for t in range(start, min(start + length, 900))}
    return [(t, t + 1) for t in sorted(seconds)]


def test_a_window_reads_its_own_seconds() -> None:
    """60 s at 0.1 L/s from 30 s on: 3 L in the first minute, 3 L in the second, none in the third."""
    times = hour_of((30.0, 90.0, 0.1))
    found = [60.0 * mean_use(times, window(times, s, s + 60.0), np.inf)[0] for s in (0.0, 60.0, 120.0)]
    assert found == pytest.approx([3e-3, 3e-3, 0.0])
    assert [taps_run(times, 0, s, s + 60.0) for s in (0.0, 60.0, 120.0)] == pytest.approx([30.0, 30.0, 0.0])
    assert [stretch_at(times, 0, 0, s) for s in (0.0, 29.0, 30.0, 89.0, 90.0, 3599.0)] == [0, 0, 1, 1, 2, 2]
    assert taps_run(EVEN, 0, 100.0, 400.0) == 300.0


def test_a_window_ends_where_it_has_drawn_enough() -> None:
    """0.1 L/s from 30 s on: 2 L are drawn at 50 s; the mean over these 50 s is 40 mL/s."""
    times = hour_of((30.0, 90.0, 0.1))
    mean, end = mean_use(times, window(times, 0.0, 300.0), 2e-3)
    assert end == pytest.approx(50.0)
    assert mean == pytest.approx(0.04e-3)


def test_short_time_is_that_of_the_last_water() -> None:
    """10 L in 100 s, then 10 L in 10 s, at 60 °C for as long as it lasts: the last water takes its own time.

    Hot are 0.78 of 15 L: the last 5 L, of the fast draw, take 5 s. With 5 L less, the last 10 L of the fast
    draw and none of the slow one: 10 s. Even draws by their share: 5 of 20 L in a quarter of the time.
    """
    times = hour_of((0.0, 100.0, 0.1), (200.0, 210.0, 1.0))
    for hot, seconds, litres in ((15.0, 5.0, 5.0), (10.0, 10.0, 10.0), (5.0, 60.0, 15.0)):
        of = column(VOLUME, 2.0)
        share = 0.78 * hot * LITRE / VOLUME
        store = filled(of, 10.0, 60.0)
        low = store.span[0]
        store.volume[low : low + 2] = VOLUME * (1.0 - share), VOLUME * share
        _, moved = circulate(
            plant(), store, hour_with(), times=times, part=window(times, 0.0, 300.0), seconds=300.0
        )
        assert moved.short == pytest.approx(litres * LITRE, rel=1e-9)
        assert moved.short_seconds == pytest.approx(seconds, rel=1e-9)
