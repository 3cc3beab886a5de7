"""The store against exact results: the error-function front, idle conduction, standby decay, pooling."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import erfc, erfcx, gammaincinv

from hpwhsim.storage.tank import (
    RHO_CP,
    Column,
    at_height,
    coldest_foot,
    conduct,
    drawn_heat,
    heat_below,
    heat_upper,
    level_of,
    lose,
    make_column,
    make_scratch,
    reconstruct,
    settle,
    shift,
    stir_feet,
)

Array = NDArray[np.float64]
CELLS = 48
HEIGHT = 1.5  # m
WATER = 0.6406  # W/mK at 50 °C
HOT, COLD, USE = 60.0, 10.0, 45.0  # °C


def column(
    step_seconds: float, *, mixing: float = 0.0, conductivity: float = WATER, loss: float = 0.0
) -> Column:
    return make_column(
        1.0,
        HEIGHT,
        CELLS,
        step_seconds,
        loss=loss,
        room=20.0,
        conductivity=conductivity,
        inlet_mixing=mixing,
    )


def share_drawn(hours: float, steps_per_hour: int, mixing: float = 0.0) -> float:
    """Store volumes drawn until the outlet falls to 45 °C, emptied evenly in `hours`."""
    tank, scratch = column(3600.0 / steps_per_hour, mixing=mixing), make_scratch(CELLS)
    temperature = np.full(CELLS, HOT)
    per_step = CELLS / (hours * steps_per_hour)
    drawn, before = 0.0, (0.0, HOT)
    for _ in range(int(2 * hours * steps_per_hour)):
        reconstruct(temperature, scratch, COLD if mixing == 0.0 else temperature[0])
        _, out = shift(temperature, scratch, per_step, 0.0, CELLS // 2, COLD, COLD, HOT, tank.mixed_cells)
        middle, outlet = (drawn + 0.5 * per_step) / CELLS, out / per_step
        if outlet < USE:
            return float(before[0] + (before[1] - USE) / (before[1] - outlet) * (middle - before[0]))
        before = (middle, outlet)
        drawn += per_step
        conduct(temperature, make_scratch(temperature.size), tank)
        settle(temperature, scratch)
    raise AssertionError("the outlet never fell to 45 °C")


def front_share(hours: float) -> float:
    """The same from the exact front: plug flow with conduction, Carslaw and Jaeger (tanks.md section 2)."""
    alpha = WATER / RHO_CP
    speed = HEIGHT / (hours * 3600.0)

    def outlet(t: float) -> float:
        ahead = (HEIGHT - speed * t) / (2.0 * np.sqrt(alpha * t))
        behind = (HEIGHT + speed * t) / (2.0 * np.sqrt(alpha * t))
        cold = 0.5 * (erfc(ahead) + np.exp(-(ahead**2)) * erfcx(behind))
        return float(HOT - (HOT - COLD) * cold - USE)

    return float(brentq(outlet, 1.0, 2.0 * hours * 3600.0) / (hours * 3600.0))


@pytest.mark.parametrize(("hours", "published"), [(6.0, 0.970), (24.0, 0.939)])
@pytest.mark.parametrize("steps_per_hour", [4, 12, 60])
def test_share_drawn_meets_the_error_function_front(
    hours: float, published: float, steps_per_hour: int
) -> None:
    """0.970 emptied in 6 h, 0.939 in 24 h; 0.006 allowed: less than a third of a cell of 1/48."""
    assert front_share(hours) == pytest.approx(published, abs=0.0006)  # the printed digits
    assert share_drawn(hours, steps_per_hour) == pytest.approx(published, abs=0.006)


@pytest.mark.year
def test_sharp_front_survives_very_small_steps() -> None:
    """360 steps per hour: 2,160 remaps of a hundredth of a cell each smear no more than 0.006."""
    assert share_drawn(6.0, 360) == pytest.approx(0.970, abs=0.006)


@pytest.mark.parametrize("hours", [1.0, 6.0])
def test_default_inlet_mixing_leaves_85_to_95_percent_usable(hours: float) -> None:
    """Typical good tanks deliver 85 to 95 % (tanks.md section 2, published figures of merit)."""
    assert 0.85 < share_drawn(hours, 12, mixing=0.10) < 0.95


def test_stirred_inlet_without_conduction_is_one_mixed_layer_before_a_plug() -> None:
    """A wholly stirred column is the N = 1 row of tanks.md: V45 = -ln 0.7 = 0.3567, at any step."""
    for per_step in (0.2, 3.0, 40.0):
        scratch = make_scratch(CELLS)
        temperature = np.full(CELLS, HOT)
        steps = round(0.3567 * CELLS / per_step) or 1
        for _ in range(steps):
            reconstruct(temperature, scratch, temperature[0])
            shift(temperature, scratch, 0.3567 * CELLS / steps, 0.0, CELLS, COLD, COLD, HOT, CELLS)
        assert temperature == pytest.approx(np.full(CELLS, USE), abs=0.01)


def test_mixed_layers_formula_of_the_table() -> None:
    """tanks.md section 1: V45 of N layers is the inverse incomplete gamma function; N = 24 gives 0.8838."""
    assert gammaincinv(24, 0.3) / 24 == pytest.approx(0.8838, abs=5e-5)
    assert share_drawn(1.0, 60) > 0.97  # what first-order layers cannot do with 24 or 48 cells


def test_idle_two_layers_match_the_conduction_table(references: Path) -> None:
    """tank_idle_conduction.csv (image series): share of the height at 45 °C or above, within 0.005."""
    rows = [
        line
        for line in (references / "tank_idle_conduction.csv").read_text().splitlines()
        if not line.startswith("#")
    ]
    for row in csv.DictReader(rows):
        conductivity = float(row["k_eff"].split()[-1])
        tank = column(300.0, conductivity=conductivity)
        temperature = np.repeat([COLD, HOT], CELLS // 2)
        for _ in range(int(row["hours"]) * 12):
            conduct(temperature, make_scratch(temperature.size), tank)
        share = 1.0 - level_of(temperature, USE) / CELLS
        expected = float(row["frac_above_45"])
        assert share == pytest.approx(expected, abs=0.005), row


@pytest.mark.parametrize(
    ("litres", "loss", "end", "kwh"),
    [(189, 1.5, 53.86, 1.327), (300, 2.0, 54.78, 1.792), (4000, 12.0, 57.56, 11.17)],
)
def test_standby_decay(litres: float, loss: float, end: float, kwh: float) -> None:
    """tanks.md section 5: exponential cool-down from 60 °C in a 20 °C room over 24 h.

    The table takes 985 kg/m³ and 4181 J/kgK, we take 988.035 and 4181.3: 0.31 % more heat capacity, so the
    excess over the room is compared after correcting the time constant; then 0.1 %.
    """
    volume = litres / 1000.0
    tank = make_column(volume, 1.5, CELLS, 300.0, loss=loss, room=20.0, conductivity=WATER, inlet_mixing=0.1)
    temperature = np.full(CELLS, HOT)
    lost = 0.0
    for _ in range(288):
        conduct(temperature, make_scratch(temperature.size), tank)
        lost += lose(temperature, tank, tank.room)
    heat = lost * RHO_CP * tank.cell_volume / 3.6e6
    exact = 40.0 * np.exp(-loss * 86400.0 / (RHO_CP * volume))
    assert temperature - 20.0 == pytest.approx(np.full(CELLS, exact), rel=1e-9)
    table_capacity = 985.0 * 4181.0
    assert 20.0 + 40.0 * (exact / 40.0) ** (RHO_CP / table_capacity) == pytest.approx(end, abs=0.005)
    assert heat == pytest.approx(kwh, rel=0.0035)  # the 0.31 % of heat capacity and the printed digits


profiles = arrays(np.float64, CELLS, elements=st.floats(5.0, 95.0))


@given(profiles)
def test_settle_is_isotonic_regression(profile: Array) -> None:
    """Barlow et al. 1972: the max-min formula over all blocks gives the same answer, in no order at all."""
    temperature = profile.copy()
    settle(temperature, make_scratch(CELLS))
    sums = np.concatenate(([0.0], np.cumsum(profile)))
    for i in range(0, CELLS, 5):
        means = [min((sums[t] - sums[s]) / (t - s) for t in range(i + 1, CELLS + 1)) for s in range(i + 1)]
        assert temperature[i] == pytest.approx(max(means), abs=1e-9)
    assert np.all(np.diff(temperature) >= -1e-12)
    assert temperature.sum() == pytest.approx(profile.sum(), rel=1e-12)


@settings(deadline=None)
@given(
    profiles.map(np.sort),
    st.floats(-200.0, 200.0),
    st.floats(0.0, 100.0),
    st.integers(0, CELLS),
    st.integers(0, 12),
)
def test_shift_keeps_heat_and_makes_no_new_extremes(
    profile: Array, rise: float, inserted: float, port: int, mixed: int
) -> None:
    """First law for any flows, also many times the store in one step; 1e-9 of the heat that passed."""
    scratch = make_scratch(CELLS)
    temperature = profile.copy()
    reconstruct(temperature, scratch, temperature[0])
    port = max(port, mixed)
    bottom, top = shift(temperature, scratch, rise, inserted, port, 5.0, 50.0, 95.0, mixed)
    entered = max(rise, 0.0) * 5.0 + inserted * 50.0 + max(-(rise + inserted), 0.0) * 95.0
    through = entered + profile.sum() + abs(bottom) + abs(top)
    assert profile.sum() + entered == pytest.approx(temperature.sum() + bottom + top, abs=1e-9 * through)
    assert temperature.min() > 5.0 - 1e-6
    assert temperature.max() < 95.0 + 1e-6


@given(profiles.map(np.sort), st.floats(0.0, 300.0), st.integers(0, 12))
def test_drawn_heat_is_what_shift_lets_out(profile: Array, volume: float, mixed: int) -> None:
    """Two ways to the same number; 1e-9 of the heat that passes."""
    scratch = make_scratch(CELLS)
    temperature = profile.copy()
    reconstruct(temperature, scratch, temperature[0])
    expected = drawn_heat(temperature, scratch, volume, 5.0, mixed)
    _, out = shift(temperature, scratch, volume, 0.0, CELLS, 5.0, 5.0, 95.0, mixed)
    assert out == pytest.approx(expected, abs=1e-9 * (1.0 + abs(expected)) + 1e-9)


@pytest.mark.parametrize("stores", [1.0, 1.5, 10.0, 1000.0])
def test_a_draw_larger_than_the_store_is_exact(stores: float) -> None:
    """Unmixed: the old contents and then the inlet; mixed: the zone's exponential behind the plug."""
    scratch = make_scratch(CELLS)
    temperature = np.linspace(20.0, 60.0, CELLS)
    before = temperature.sum()
    reconstruct(temperature, scratch, COLD)
    _, out = shift(temperature, scratch, stores * CELLS, 0.0, CELLS, COLD, COLD, HOT, 0)
    assert out == pytest.approx(before + (stores - 1.0) * CELLS * COLD, rel=1e-12)
    assert temperature == pytest.approx(np.full(CELLS, COLD), abs=1e-9)
    temperature = np.full(CELLS, HOT)
    reconstruct(temperature, scratch, HOT)
    _, out = shift(temperature, scratch, stores * CELLS, 0.0, CELLS, COLD, COLD, HOT, 12)
    assert temperature[:12] == pytest.approx(
        np.full(12, COLD + (HOT - COLD) * np.exp(-stores * CELLS / 12.0))
    )
    assert out + temperature.sum() == pytest.approx(CELLS * HOT + stores * CELLS * COLD, rel=1e-12)


@given(profiles.map(np.sort), st.floats(0.0, float(CELLS)))
def test_reconstruction_is_continuous_and_keeps_cell_heat(profile: Array, z: float) -> None:
    """Heat below a level grows steadily and passes through the cell sums."""
    scratch = make_scratch(CELLS)
    reconstruct(profile, scratch, profile[0])
    for i in (0, 1, CELLS // 2, CELLS):
        assert heat_below(profile, scratch, float(i)) == pytest.approx(profile[:i].sum(), abs=1e-9)
    step = heat_below(profile, scratch, min(z + 1e-3, CELLS)) - heat_below(profile, scratch, z)
    assert step >= -1e-9


@given(profiles.map(np.sort), st.integers(0, CELLS - 1), st.floats(0.0, 500.0), st.floats(40.0, 95.0))
def test_heating_the_upper_store(profile: Array, cell: int, heat: float, setpoint: float) -> None:
    """Heat taken is heat stored; nothing below the heater changes; nothing is driven past the setpoint."""
    temperature = profile.copy()
    taken = heat_upper(temperature, make_scratch(CELLS), cell, heat, setpoint)
    assert temperature.sum() - profile.sum() == pytest.approx(taken, abs=1e-9)
    assert np.array_equal(temperature[:cell], profile[:cell])
    assert np.all(temperature <= np.maximum(profile.max(), setpoint) + 1e-9)
    assert taken <= heat + 1e-12


@pytest.mark.parametrize(
    ("heat", "expected"),
    [
        (40.0, [60.0, 40.0, 45.0]),  # 4 cells x 10 K: the first tank alone
        (80.0, [60.0, 50.0, 45.0]),
        (1e3, [60.0, 60.0, 60.0]),
    ],
)
def test_tanks_in_series_are_heated_one_by_one(heat: float, expected: list[float]) -> None:
    """Hand sums: no plume rises out of a tank, so a heat-up of the whole store heats each of them."""
    store, scratch = np.repeat([50.0, 40.0, 45.0], 4), make_scratch(12, 3)
    taken = heat_upper(store, scratch, 0, heat, 60.0)
    assert taken == pytest.approx(min(heat, 4 * (10.0 + 20.0 + 15.0)))
    assert store == pytest.approx(np.repeat(expected, 4))
    assert coldest_foot(store, scratch, 0) == pytest.approx(min(expected))
    assert coldest_foot(store, scratch, 9) == pytest.approx(expected[2])


@given(profiles.map(np.sort), st.floats(10.0, 90.0))
def test_sensor_and_level_agree(profile: Array, value: float) -> None:
    """The level at which a temperature stands reads that temperature."""
    level = level_of(profile, value)
    if 0.0 < level < CELLS:
        assert at_height(profile, level) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(("rise", "inserted"), [(0.7, 0.0), (-0.5, 0.9), (500.0, 0.0)])
def test_the_foot_of_a_later_tank_is_stirred_by_what_comes_up(rise: float, inserted: float) -> None:
    """A stirred volume emptied by plug flow forgets by exp(-v/V) and keeps its heat."""
    store = np.concatenate((np.linspace(12.0, 30.0, 10), np.linspace(40.0, 58.0, 10)))
    before = store.copy()
    stir_feet(store, make_scratch(20, 2), rise, inserted, 5, 3)
    through = rise + inserted
    spread = (before[10:13] - before[10:13].mean()) * np.exp(-through / 3.0)
    assert store[10:13] == pytest.approx(before[10:13].mean() + spread, abs=1e-12)
    assert np.array_equal(np.delete(store, [10, 11, 12]), np.delete(before, [10, 11, 12]))
    assert store.sum() == pytest.approx(before.sum(), rel=1e-14)


def test_nothing_is_stirred_by_water_that_goes_down() -> None:
    store = np.linspace(12.0, 58.0, 20)
    stir_feet(store, make_scratch(20, 2), -3.0, 1.0, 5, 3)
    assert np.array_equal(store, np.linspace(12.0, 58.0, 20))
