"""The loop over the day against water moved cell by cell, and laws: energy closes, less running is less."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.demand.loop_pipes import RHO_CP
from hpwhsim.demand.loop_running import Profile, aquastat_profile, crossover, daily_profile
from hpwhsim.demand.recirculation import HotLoop, loop_of_watts
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.law

CELLS = 90


def loop_with(passage: float, cooling_time: float, flow: float = 2e-4) -> HotLoop:
    """A loop by its two times. [s]"""
    back = 21.0 + (61.0 - 21.0) * math.exp(-passage / cooling_time)
    return HotLoop(61.0, back, 21.0, flow, RHO_CP * flow * passage)


LOOP = loop_with(1800.0, 3.0 * 3600.0)


def stand(cells: np.ndarray, loop: HotLoop, seconds: float) -> np.ndarray:
    """Cells of standing water after a time, by scipy from dT/dt = -(T - T_air)/tau."""
    from scipy.integrate import solve_ivp

    def slope(_: float, t: np.ndarray) -> np.ndarray:
        return -(t - loop.ambient) / loop.cooling_time

    return np.asarray(solve_ivp(slope, (0.0, seconds), cells, rtol=1e-9, atol=1e-9).y[:, -1])


def push(cells: np.ndarray, loop: HotLoop, step: float) -> tuple[np.ndarray, float]:
    """Cells after one cell of water has entered in `step` seconds, and the heat from the plant [J]."""
    left = math.exp(-0.5 * step / loop.cooling_time)
    cooled = loop.ambient + (cells - loop.ambient) * left
    heat = RHO_CP * loop.flow * step * (loop.supply - cooled[-1])
    moved = np.concatenate(([loop.supply], cooled[:-1]))
    return loop.ambient + (moved - loop.ambient) * left, heat


def cell_by_cell(loop: HotLoop, on: list[bool]) -> tuple[np.ndarray, np.ndarray]:
    """Heat from the plant and heat lost by hour [W] after a few days of the same hours."""
    step = loop.passage / CELLS
    steps = round(3600.0 / step)
    assert steps * step == pytest.approx(3600.0, rel=1e-12)
    cells = np.full(CELLS, loop.ambient)
    heat, lost = np.zeros(24), np.zeros(24)
    for _ in range(4):
        for hour in range(24):
            before, given = cells.sum(), 0.0
            if on[hour]:
                for _ in range(steps):
                    cells, joule = push(cells, loop, step)
                    given += joule
            else:
                cells = stand(cells, loop, 3600.0)
            heat[hour] = given / 3600.0
            lost[hour] = heat[hour] - (cells.sum() - before) * loop.heat_capacity / CELLS / 3600.0
    return heat, lost


NIGHT_OFF = [5 <= h < 22 for h in range(24)]
LOPSIDED = [h in (0, 3, 6, 7, 8, 9, 13, 20, 21) for h in range(24)]
LATE = [h == 23 for h in range(24)]


@pytest.mark.independent
@pytest.mark.parametrize("on", [NIGHT_OFF, LOPSIDED, LATE, [True] * 24])
@pytest.mark.parametrize("loop", [LOOP, loop_with(7200.0, 5400.0), loop_with(450.0, 20000.0)])
def test_day_against_water_moved_cell_by_cell(loop: HotLoop, on: list[bool]) -> None:
    """The plug in 90 cells moved one cell a step, and scipy's solve_ivp for the standing loop.

    1e-3 of the largest: half-step cooling of the cells is off by (step/tau)²/24 and the outlet by its age.
    """
    heat, lost = cell_by_cell(loop, on)
    found = daily_profile(loop, on)
    assert found.heat == pytest.approx(heat, abs=1e-3 * heat.max())
    assert found.lost == pytest.approx(lost, abs=1e-3 * heat.max())


@pytest.mark.independent
def test_a_standing_loop_cools_exponentially() -> None:
    """Lumped: a loop whose pump stands from 22 to 5 h loses C (T - T_air)(1 - exp(-7 h/tau)).

    With a passage that is short against tau the loop is as warm everywhere: 1 % for what it cools on its way.
    """
    loop = loop_with(100.0, 4.0 * 3600.0)
    found = daily_profile(loop, NIGHT_OFF)
    standing = found.lost[22:].sum() + found.lost[:5].sum()
    held = loop.heat_capacity * (loop.supply - loop.ambient)
    assert 3600.0 * standing == pytest.approx(held * -math.expm1(-7.0 / 4.0), rel=0.01)
    # the plant gives it back in the first hour of running, beside the usual loss
    reheat = 3600.0 * (found.heat[5] - loop.loss)
    assert reheat == pytest.approx(3600.0 * standing, rel=0.01)
    assert found.heat[6:22] == pytest.approx(loop.loss, rel=1e-9)
    assert found.coldest[4] == pytest.approx(21.0 + (loop.back - 21.0) * math.exp(-7.0 / 4.0), rel=1e-9)


def test_running_all_day_is_the_design() -> None:
    """Steady state: the plant gives the loss of the running loop, and the water comes back as designed."""
    found = daily_profile(LOOP, np.ones(24))
    assert found.heat == pytest.approx(LOOP.loss, rel=1e-9)
    assert found.lost == pytest.approx(LOOP.loss, rel=1e-9)
    assert found.back == pytest.approx(LOOP.back, abs=1e-9)
    assert found.coldest == pytest.approx(LOOP.back, abs=1e-9)


def test_a_loop_that_never_runs() -> None:
    found = daily_profile(LOOP, np.zeros(24))
    assert not found.heat.any()
    assert not found.lost.any()
    assert np.isnan(found.back).all()
    assert (found.coldest == LOOP.ambient).all()


shares = st.lists(st.one_of(st.just(0.0), st.just(1.0), st.floats(0.01, 1.0)), min_size=24, max_size=24)


def check_laws(loop: HotLoop, found: Profile) -> None:
    """Over the day what is given is lost; no hour gives more than water as cold as the air would take."""
    assert found.lost.sum() == pytest.approx(found.heat.sum(), rel=1e-9, abs=1e-9 * loop.loss)
    assert (found.lost >= -1e-9 * loop.loss).all()
    assert (found.lost <= loop.ua * (loop.supply - loop.ambient) * (1.0 + 1e-9)).all()
    most = RHO_CP * loop.flow * found.running * (loop.supply - loop.ambient)
    assert (found.heat <= most * (1.0 + 1e-9) + 1e-9).all()
    assert (found.coldest <= loop.back + 1e-9).all()
    assert (found.coldest >= loop.ambient - 1e-9).all()
    flowing = found.running > 0.0
    assert (np.isnan(found.back) == ~flowing).all()
    given_back = RHO_CP * loop.flow * found.running * (loop.supply - found.back)
    assert given_back[flowing] == pytest.approx(found.heat[flowing], rel=1e-9, abs=1e-6)


@given(share=shares, passage=st.floats(30.0, 2e4), tau=st.floats(600.0, 1e5))
def test_energy_closes_over_any_day(share: list[float], passage: float, tau: float) -> None:
    loop = loop_with(passage, tau)
    check_laws(loop, daily_profile(loop, share))


@given(share=shares, hour=st.integers(0, 23), passage=st.floats(30.0, 2e4), tau=st.floats(600.0, 1e5))
def test_less_running_costs_less(share: list[float], hour: int, passage: float, tau: float) -> None:
    """Law: with less flow at any time no water in the loop is younger, so none is warmer. 1e-9: rounding."""
    loop = loop_with(passage, tau)
    less = [*share[:hour], 0.0, *share[hour + 1 :]]
    full, cut = daily_profile(loop, share), daily_profile(loop, less)
    assert (cut.lost <= full.lost + 1e-9 * loop.loss).all()
    assert (cut.coldest <= full.coldest + 1e-9).all()


def test_the_day_may_be_cut_finer() -> None:
    """Minutes that say the same as hours give the same; half an hour less of running is colder at its end."""
    minutes = np.repeat(np.array(NIGHT_OFF, dtype=float), 60)
    by_hour, by_minute = daily_profile(LOOP, NIGHT_OFF), daily_profile(LOOP, minutes)
    for one, other in zip(by_hour, by_minute, strict=True):
        assert other == pytest.approx(one, rel=1e-9, abs=1e-9, nan_ok=True)
    minutes[5 * 60 : 5 * 60 + 30] = 0.0
    later = daily_profile(LOOP, minutes)
    assert later.running[5] == 0.5
    assert later.coldest.min() < by_hour.coldest.min()
    check_laws(LOOP, later)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("running", "word"),
    [
        ([1.0] * 23, "shape"),
        ([], "shape"),
        ([[1.0] * 24], "shape"),
        ([1.1] + [0.0] * 23, "0 to 1"),
        ([math.nan] * 24, "0 to 1"),
    ],
)
def test_impossible_days_are_refused(running: list[float], word: str) -> None:
    with pytest.raises(OutOfRangeError, match=word):
        daily_profile(LOOP, running)


# -- thermostat --------------------------------------------------------------------------------------


@pytest.mark.independent
@pytest.mark.parametrize("start", [43.3, 50.0, 30.0])
def test_thermostat_against_water_moved_cell_by_cell(start: float) -> None:
    """The plug in cells with the pump switched by its last cell, over 20 cycles after 2.

    1 %: the switch waits for the end of a step, 20 s of cycles of 1 to 4 h.
    """
    cells, on, heat, ran, time = np.full(CELLS, LOOP.supply), True, 0.0, 0.0, 0.0
    step = LOOP.passage / CELLS
    left = math.exp(-step / LOOP.cooling_time)
    cycles, before = 0, (0.0, 0.0, 0.0)
    while cycles < 22:
        if on:
            cells, joule = push(cells, LOOP, step)
            heat, ran = heat + joule, ran + step
        else:
            cells = LOOP.ambient + (cells - LOOP.ambient) * left
        time += step
        if on and cells[-1] >= start + 2.0:
            on = False
        elif not on and cells[-1] < start:
            on, cycles = True, cycles + 1
            if cycles == 2:
                before = (heat, ran, time)
    found = aquastat_profile(LOOP, start, start + 2.0)
    span = time - before[2]
    assert found.heat[0] == pytest.approx((heat - before[0]) / span, rel=0.01)
    assert found.running[0] == pytest.approx((ran - before[1]) / span, rel=0.01)
    check_laws(LOOP, found)


def test_thermostat_between_its_limits() -> None:
    """Just below the running loop's return it hardly ever stops; above it never does."""
    near = aquastat_profile(LOOP, LOOP.back - 1e-6, LOOP.back)
    assert near.heat == pytest.approx(LOOP.loss, rel=1e-6)
    assert near.running == pytest.approx(1.0, rel=1e-5)
    never = aquastat_profile(LOOP, LOOP.back - 1.0, LOOP.back + 1.0)
    assert never.running == pytest.approx(1.0, abs=0.0)
    assert never.heat == pytest.approx(LOOP.loss, rel=1e-9)


@pytest.mark.published
def test_thermostat_saves_less_than_was_measured() -> None:
    """Goldner (1999): 110 degF with 5 degF cut the penalty of the loop by about 40 %.

    At 140 degF out, 130 back, 75 around, the loop alone gives about half of that: draws are left out.
    """
    loop = loop_of_watts(4000.0, 60.0, 54.4, 23.9)
    cut = 1.0 - aquastat_profile(loop, 43.3, 46.1).heat[0] / loop.loss
    assert 0.15 < cut < 0.40


@pytest.mark.contract
@pytest.mark.parametrize(("start", "stop"), [(20.0, 25.0), (45.0, 44.0), (math.nan, 50.0)])
def test_impossible_thermostats_are_refused(start: float, stop: float) -> None:
    with pytest.raises(OutOfRangeError, match="thermostat"):
        aquastat_profile(LOOP, start, stop)


# -- crossover ---------------------------------------------------------------------------------------


@given(leak=st.floats(0.0, 0.99), cold=st.floats(0.0, 30.0))
def test_crossover_closes_the_balance(leak: float, cold: float) -> None:
    """First law on plant and pipes: what goes out at supply and comes back as a mixture.

    The leak leaves the loop hot and comes in cold; the rest loses what the loop loses. 1e-9: rounding.
    """
    volume = leak * LOOP.flow
    found = crossover(LOOP, volume, cold)
    rest = LOOP.flow - volume
    end = LOOP.supply - LOOP.loss / (RHO_CP * rest)  # of the water that stayed in the loop
    mixed = (rest * end + volume * cold) / LOOP.flow
    assert found.back == pytest.approx(mixed, rel=1e-9, abs=1e-7)
    out = RHO_CP * LOOP.flow * (LOOP.supply - found.back)
    assert out == pytest.approx(LOOP.loss + found.heat, rel=1e-9)


@pytest.mark.independent
def test_crossover_by_hand_and_in_words() -> None:
    """36 L/h (1e-5 m³/s) of 11 °C against 61 °C: 1e-5 x 4.131e6 x 50 = 2066 W, and 50 K x 1/20 = 2.5 K.

    5e-4: four digits of rho c.
    """
    found = crossover(LOOP, 1e-5, 11.0)
    assert found.heat == pytest.approx(2066.0, rel=5e-4)
    assert LOOP.back - found.back == pytest.approx(2.5, rel=1e-9)
    assert "36 L/h" in found.cautions[0]
    assert "2.5 K" in found.cautions[0]
    assert "local codes" in found.cautions[1]
    assert crossover(LOOP, 0.0, 11.0) == (LOOP.back, 0.0, ())


@pytest.mark.contract
@pytest.mark.parametrize(("leak", "cold"), [(-1e-6, 10.0), (2e-4, 10.0), (1e-5, 60.0), (math.nan, 10.0)])
def test_impossible_crossover_is_refused(leak: float, cold: float) -> None:
    with pytest.raises(OutOfRangeError, match="crossover"):
        crossover(LOOP, leak, cold)
