"""Sewage of a building and of a street, and fouling, against the published balance and closed forms."""

from pathlib import Path

import numpy as np
import pytest
from draw_cases import random_draws
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.climate.mains import mains_of_day
from hpwhsim.demand.patterns import named_pattern
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.source.drains import (
    Sewage,
    building_sewage,
    cold_shape,
    other_cold_litres,
    read_sewer,
    u_left,
)
from hpwhsim.source.wastewater import RHO_CP

pytestmark = pytest.mark.law

EVEN = np.full(24, 1.0 / 24.0)
# "mixed" case of the mains formula: mean 52 °F, monthly range 45 °F; coldest on day 42
MAINS = np.repeat(mains_of_day(np.arange(1, 366), (52.0 - 32.0) / 1.8, 25.0), 24)


def sewage_of(
    use: np.ndarray,
    mains: np.ndarray | float,
    cold: float,
    shape: np.ndarray = EVEN,
    *,
    use_temperature: float = 60.0,
    heat_left: float = 1.0,
    cistern_pickup: float = 0.0,
    room: float = 20.0,
    lag: float = 0.0,
    screening_loss: float = 0.0,
    drain_loss: float = 0.0,
    around: float = 0.0,
) -> Sewage:
    return building_sewage(
        use,
        np.broadcast_to(mains, 8760),
        cold,
        shape,
        use_temperature=use_temperature,
        heat_left=heat_left,
        cistern_pickup=cistern_pickup,
        room=room,
        lag=lag,
        screening_loss=screening_loss,
        drain_loss=drain_loss,
        around=around,
    )


def draws(seed: int) -> np.ndarray:
    """Random use of three invented apartments in steps of 5 minutes. [m³]"""
    return random_draws(3, 140.0, named_pattern("apartments"), 12, seed) / 1000.0


# --- the mixing balance


@pytest.mark.independent
def test_cisterns_warm_the_cold_share() -> None:
    """Mixing formula by hand: 10 + 0.45 x 50 x 0.85 + 0.55 x 4 = 31.325; a room at 12 °C leaves 2 of the 4 K.

    Mains at 25 °C is not cooled by a room at 20 °C.
    """
    use, cold = np.full(8760, 0.45), 24.0 * 0.55
    kept = {"heat_left": 0.85, "cistern_pickup": 4.0}
    assert sewage_of(use, 10.0, cold, **kept).temperature == pytest.approx(31.325, rel=1e-12)
    assert sewage_of(use, 10.0, cold, room=12.0, **kept).temperature == pytest.approx(30.225, rel=1e-12)
    warm = sewage_of(0.0 * use + 1e-9, 25.0, cold, **kept)
    assert warm.temperature == pytest.approx(25.0, abs=1e-6)


def test_taps_colder_than_mains_draw_mains() -> None:
    """No tap cools: use at 20 °C from mains at 24 °C is 24 °C."""
    got = sewage_of(np.full(8760, 1.0), 24.0, 0.0, use_temperature=20.0)
    assert got.temperature == pytest.approx(24.0, rel=1e-12)


@pytest.mark.published
@pytest.mark.parametrize("use_temperature", [40.0, 49.0, 60.0])
def test_other_cold_water_of_a_dutch_home(use_temperature: float) -> None:
    """Same source: the assumed cold water leaves 14.3 K over all the water, whatever the use temperature.

    Toilet and washing machine are (33.3 + 14.3)/119.5 of indoor use, so the cold share is at least that.
    """
    cold = other_cold_litres(100.0, use_temperature)
    share = 100.0 / (100.0 + cold)
    assert share * (use_temperature - 11.5) == pytest.approx(14.3, rel=1e-12)
    assert 1.0 - share >= 47.6 / 119.5
    tepid = other_cold_litres(100.0, 30.0)
    assert tepid / (100.0 + tepid) == pytest.approx(47.6 / 119.5, rel=1e-12)


# --- sharp checks


def test_colder_when_hot_use_falls_at_the_same_flow() -> None:
    """At fixed total flow the temperature follows the hot share; a constant would be wrong."""
    found = [
        sewage_of(np.full(8760, hot), 10.0, 24.0 * (1.0 - hot), heat_left=0.85).temperature[0]
        for hot in (0.0, 0.2, 0.4, 0.6)
    ]
    assert np.diff(found) == pytest.approx(0.2 * 50.0 * 0.85, rel=1e-9)
    assert found[0] == pytest.approx(10.0)


@given(
    st.integers(0, 50),
    st.floats(0.0, 3.0),
    st.floats(0.0, 1.0),
    st.floats(0.0, 8.0),
    st.floats(0.0, 86400.0),
    st.floats(0.0, 0.9),
)
def test_water_and_heat_of_the_year(
    seed: int, cold: float, kept: float, pickup: float, lag: float, lost: float
) -> None:
    """Conservation: all the water comes, not the hot water alone, and no sewage is warmer than what went in.

    The year's water and heat are re-added from the use alone; 1e-11: rounding of 8760 sums.
    """
    rng = np.random.default_rng(seed)
    use = 0.3 * rng.random(8760) * (rng.random(8760) < 0.5)
    shape = rng.dirichlet(np.ones(24))
    got = sewage_of(
        use, MAINS, cold, shape, heat_left=kept, cistern_pickup=pickup, lag=lag, screening_loss=lost
    )
    other = cold * np.tile(shape, 365)
    warming = np.clip(20.0 - MAINS, 0.0, pickup)
    heat = (use + other) @ MAINS + kept * use @ (60.0 - MAINS) + other @ warming
    assert got.flow.min() >= 0.0
    assert got.flow.sum() == pytest.approx((1.0 - lost) * (use.sum() + 365.0 * cold), rel=1e-11)
    assert got.flow @ got.temperature == pytest.approx((1.0 - lost) * heat, rel=1e-11)
    assert got.temperature.min() >= MAINS.min() - 1e-9
    assert got.temperature.max() <= max(60.0 * kept + 20.46 * (1.0 - kept), 28.46) + 1e-9
    if lag == 0.0:
        share = use / np.maximum(use + other, 1e-300)
        assert np.all(got.temperature <= MAINS + share * (60.0 - MAINS) + (1.0 - share) * pickup + 1e-9)


@pytest.mark.slow
@pytest.mark.independent
@settings(max_examples=20)
@given(st.floats(0.05, 1.0), st.floats(0.0, 500.0), st.floats(0.0, 25.0))
def test_drains_cool_as_a_pipe_of_that_loss(cold: float, loss: float, around: float) -> None:
    """A pipe of UA around which it is Ta, at one flow: T - Ta falls to e^(-UA / C) of itself.

    Incropera and DeWitt, internal flow with constant surroundings: ln of the ratio of differences = UA / C.
    """
    use = np.full(8760, 0.1)
    before = sewage_of(use, 10.0, 24.0 * cold)
    after = sewage_of(use, 10.0, 24.0 * cold, drain_loss=loss, around=around)
    carried = (0.1 + cold) * RHO_CP / 3600.0
    assert after.flow == pytest.approx(before.flow, rel=1e-12)
    ratio = (after.temperature[7] - around) / (before.temperature[7] - around)
    assert ratio == pytest.approx(np.exp(-loss / carried), rel=1e-9)
    assert min(around, before.temperature[7]) - 1e-9 <= after.temperature[7]
    assert after.temperature[7] <= max(around, before.temperature[7]) + 1e-9


def test_less_water_arrives_nearer_to_its_surroundings() -> None:
    """The same drains with half of the water: the ratio of differences is squared."""
    found = [
        sewage_of(np.full(8760, v), 10.0, 24.0 * v, drain_loss=200.0, around=15.0).temperature[0] - 15.0
        for v in (0.2, 0.1)
    ]
    first = sewage_of(np.full(8760, 0.2), 10.0, 4.8).temperature[0] - 15.0
    assert found[1] / first == pytest.approx((found[0] / first) ** 2, rel=1e-9)


def test_late_winter_is_the_worst_season() -> None:
    """With the published mains wave, coldest on day 42, heat to 5 °C over tap heat is least in February.

    The tap heat is the largest there while the ratio is the least; the same use every day.
    """
    use = np.full(8760, 0.2)
    got = sewage_of(use, MAINS, 24.0 * 0.4, use_temperature=49.0, heat_left=0.85, cistern_pickup=4.0)
    month = np.repeat(np.repeat(np.arange(12), [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]), 24)
    held = np.bincount(month, got.flow * (got.temperature - 5.0))
    taps = np.bincount(month, use * (49.0 - MAINS))
    days = np.bincount(month)
    assert int(np.argmin(held / taps)) == 1
    assert int(np.argmax(taps / days)) == 1
    assert (held / taps).max() > 1.3 * (held / taps).min()


@pytest.mark.independent
def test_the_lag_is_a_first_order_spread() -> None:
    """Closed form: of water that came evenly in [0, dt], 1 - lag/dt (e^(dt/lag) - 1) e^(-t/lag) is out at t.

    Compared at the ends t of later steps, to rounding.
    """
    use = np.zeros(8760 * 12)
    use[3000] = 1.0
    lag, dt = 1800.0, 300.0
    got = sewage_of(use, 10.0, 0.0, lag=lag)
    for later in (1, 2, 6, 30):
        out = got.flow[3000 : 3000 + later].sum()
        expected = 1.0 - lag / dt * np.expm1(dt / lag) * np.exp(-later * dt / lag)
        assert out == pytest.approx(expected, rel=1e-12)
    assert got.flow[2999] < 1e-12
    assert got.temperature[3000:3100] == pytest.approx(60.0, rel=1e-12)
    arrival = float(got.flow @ np.arange(got.flow.size)) * dt - 3000 * dt
    assert arrival == pytest.approx(lag, abs=0.5 * dt)  # steps are counted from their start


@pytest.mark.slow
def test_new_year_follows_on_old_year() -> None:
    """A typical year is a circle: moving the use by half a year moves the sewage by half a year."""
    use = draws(1)
    half = use.size // 2
    once = sewage_of(use, 10.0, 0.3, lag=5400.0)
    turned = sewage_of(np.roll(use, half), 10.0, 0.3, lag=5400.0)
    assert np.roll(once.flow, half) == pytest.approx(turned.flow, rel=1e-10, abs=1e-15)
    assert np.roll(once.temperature, half) == pytest.approx(turned.temperature, abs=1e-9)


def test_hours_do_not_depend_on_the_step() -> None:
    """The lag is exact for an even flow: hourly steps and their twelfths give the same hours, to rounding."""
    hourly = np.random.default_rng(5).random(8760) * 0.2
    coarse = sewage_of(hourly, MAINS, 1.0, lag=2400.0)
    fine = sewage_of(np.repeat(hourly / 12.0, 12), MAINS, 1.0, lag=2400.0)
    assert fine.flow.reshape(-1, 12).sum(axis=1) == pytest.approx(coarse.flow, rel=1e-11)
    heat = (fine.flow * fine.temperature).reshape(-1, 12).sum(axis=1)
    assert heat == pytest.approx(coarse.flow * coarse.temperature, rel=1e-11)


def test_a_run_is_a_function() -> None:
    """A, B, A gives the same A; nothing given is changed."""
    use = draws(2)
    before = use.copy()
    first = sewage_of(use, MAINS, 0.5, lag=1800.0)
    sewage_of(2.0 * use, 8.0, 0.1, lag=60.0)
    again = sewage_of(use, MAINS, 0.5, lag=1800.0)
    assert np.array_equal(first.flow, again.flow)
    assert np.array_equal(first.temperature, again.temperature)
    assert np.array_equal(use, before)


@pytest.mark.contract
def test_no_water_is_no_sewage_and_no_nan() -> None:
    got = sewage_of(np.zeros(8760), 9.0, 0.0, lag=1800.0)
    assert not got.flow.any()
    assert got.temperature == pytest.approx(9.0)


def test_cold_shape_keeps_a_base() -> None:
    """Shares of a day: they sum to 1, and no hour is below the even quarter of a twenty-fourth."""
    shape = cold_shape(named_pattern("apartments").weekday)
    assert shape.sum() == pytest.approx(1.0, rel=1e-12)
    assert shape.min() >= 0.25 / 24.0


@pytest.mark.contract
@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"heat_left": 1.1}, "heat_left"),
        ({"cistern_pickup": -1.0}, "cistern_pickup"),
        ({"room": 80.0}, "room"),
        ({"lag": -1.0}, "lag"),
        ({"lag": np.nan}, "lag"),
        ({"screening_loss": 1.0}, "screening_loss"),
        ({"cold": -0.1}, "cold_use"),
        ({"use_temperature": np.inf}, "use_temperature"),
        ({"use": np.ones(100)}, "8760 values or a multiple"),
        ({"use": np.full(8760, np.nan)}, "8760 values or a multiple"),
        ({"mains": np.full(8760, 55.0)}, "mains"),
        ({"shape": np.ones(24)}, "cold_pattern"),
    ],
)
def test_refused(change: dict[str, object], key: str) -> None:
    given = {"use": np.ones(8760), "mains": 10.0, "cold": 1.0, **change}
    with pytest.raises(OutOfRangeError, match=key):
        sewage_of(**given)  # a mixed bag by intent


@pytest.mark.contract
def test_other_cold_water_refused() -> None:
    with pytest.raises(OutOfRangeError, match="use_temperature"):
        other_cold_litres(100.0, 11.0)
    with pytest.raises(OutOfRangeError, match="daily_use"):
        other_cold_litres(-1.0, 50.0)


# --- street sewer


def sewer_text(rows: int = 8760, header: str = "flow_m3_per_h,temperature_c") -> list[str]:
    """Lines of an invented series; hour h has h/1000 m³/h and 10 + h/1000 °C."""
    return [
        "# invented",
        header,
        *(f"{h / 1000.0},{10.0 + h / 1000.0}" for h in range(rows)),
    ]


@pytest.mark.independent
def test_known_values_in_known_hours(tmp_path: Path) -> None:
    file = tmp_path / "sewer.csv"
    lines = sewer_text()
    file.write_text("\n".join(lines), encoding="utf-8")
    got = read_sewer(file)
    assert (got.flow[0], got.flow[5000], got.temperature[8759]) == (0.0, 5.0, 18.759)
    turned = [",".join(reversed(line.split(","))) if "," in line else line for line in lines]
    file.write_text("\n".join(turned), encoding="utf-8")
    assert np.array_equal(read_sewer(file).flow, got.flow)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("line", "text", "message"),
    [
        (
            1,
            "flow,temperature_c",
            "missing flow_m3_per_h; unknown flow; allowed flow_m3_per_h, temperature_c",
        ),
        (10, "-1,12", "line 11: column flow_m3_per_h: got '-1'; allowed a finite number of 0 to 100000"),
        (10, "1,55", "line 11: column temperature_c: got '55'; allowed a finite number of 0 to 45"),
        (10, "# gone", "got 8759 rows; allowed 8760"),
    ],
)
def test_sewer_file_refused(tmp_path: Path, line: int, text: str, message: str) -> None:
    """One short message that names file, line and column."""
    lines = sewer_text()
    lines[line] = text
    file = tmp_path / "sewer.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match=message) as caught:
        read_sewer(file)
    assert "sewer.csv" in str(caught.value)


# --- fouling


@pytest.mark.published
def test_fouling_meets_the_published_points() -> None:
    """Spa plant, doi 10.1177/0143624412463571: -16.9 % in a month, -20.1 % after five; printed to 0.1 %."""
    left = u_left(0.169, 0.201, 6.0, "saturating")
    assert left[730] == pytest.approx(1.0 - 0.169, abs=5e-4)
    assert left[5 * 730] == pytest.approx(1.0 - 0.201, abs=5e-4)


@pytest.mark.parametrize("growth", ["saturating", "linear"])
@given(
    st.floats(0.001, 0.9),
    st.floats(0.001, 1.0),
    st.floats(0.1, 14.0),
)
def test_fouling_grows_and_is_reset_by_cleaning(
    growth: str, limit: float, of_limit: float, interval: float
) -> None:
    """Between cleanings U never rises, at each it is clean again, and the loss keeps to its limit."""
    left = u_left(limit * of_limit, limit, interval, growth)
    cleanings = np.arange(0, 8760, round(interval * 730.0))
    assert np.all(left[cleanings] == 1.0)
    assert np.all(np.delete(np.diff(left), cleanings[1:] - 1) <= 0.0)
    assert left.min() >= 1.0 - limit - 1e-12
    assert left.min() < 1.0


@pytest.mark.independent
def test_straight_line_to_its_limit() -> None:
    """By hand: 10 % a month to 25 %: 5 % after half a month, 25 % after 2.5 months and later."""
    left = u_left(0.10, 0.25, 12.0, "linear")
    assert left[[365, 730, 1825, 5000]] == pytest.approx([0.95, 0.90, 0.75, 0.75])


def test_never_cleaned_and_never_fouled() -> None:
    assert np.all(u_left(0.1, 0.3, np.inf, "saturating") == 0.7)
    assert np.all(u_left(0.0, 0.3, np.inf, "linear") == 1.0)
    assert np.all(u_left(0.3, 0.3, np.inf, "saturating") == 0.7)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("arguments", "key"),
    [
        ((0.3, 0.2, 1.0, "linear"), "fouling"),
        ((0.1, 1.0, 1.0, "linear"), "max_fouling"),
        ((0.1, 0.2, 0.0, "linear"), "cleaning_interval"),
        ((0.1, 0.2, np.nan, "linear"), "cleaning_interval"),
        ((0.1, 0.2, 1.0, "square"), "fouling_growth"),
    ],
)
def test_fouling_refused(arguments: tuple[float, float, float, str], key: str) -> None:
    with pytest.raises(InputError, match=key):
        u_left(*arguments)
