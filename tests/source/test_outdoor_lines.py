"""Water lines outdoors against the insulated cylinder, the log-mean difference, an integration, and laws."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

from hpwhsim.errors import InputError
from hpwhsim.source.line_freezing import (
    ICE_HEAT,
    MELTING,
    freezing_hours,
    outage,
    water_line_cautions,
)
from hpwhsim.source.outdoor_lines import (
    WATER_HEAT,
    Trace,
    WaterLine,
    circulating_loss,
    glycol_loop,
    propylene_glycol,
    trace_heat,
)

pytestmark = pytest.mark.independent

Array = NDArray[np.float64]

LINE = WaterLine(10.0, 0.0266, 0.0286)  # invented: 1 in copper tube, 10 m
BTU_H_FT = 0.961515  # W/m, of 1 Btu/h ft

# Outside diameter of copper tube by nominal size (in), and loss of 1, 1.5 and 2 in of insulation, Btu/h ft:
# 140 °F water, 70 °F air, k 0.25 Btu in/h ft2 °F, film 1.65 Btu/h ft2 °F. Worked apart from this package.
CYLINDERS = """
0.875 9.92 7.08 5.85 5.15
1.125 11.77 8.19 6.67 5.82
1.375 13.59 9.28 7.47 6.45
1.625 15.40 10.34 8.24 7.07
2.125 18.99 12.44 9.75 8.27
2.625 22.55 14.50 11.23 9.43
3.125 26.10 16.54 12.68 10.57
4.125 33.18 20.60 15.55 12.81
"""
# ASHRAE Handbook, HVAC Applications, the same pipes with 1/2 in of glass fibre, Btu/h ft; from memory.
HANDBOOK = (17.7, 20.3, 23.4, 25.4, 29.6, 33.8, 39.5, 48.4)


def handbook_line(diameter_in: float, insulation_in: float) -> WaterLine:
    """Pipe of the table above."""
    return WaterLine(
        1.0,
        0.0254 * (diameter_in - 0.1),
        0.0254 * diameter_in,
        0.0254 * insulation_in,
        0.25 * 0.144228,  # W/mK of Btu in/h ft2 °F
        1.65 * 5.67826,
    )


ROWS = [[float(x) for x in row.split()] for row in CYLINDERS.strip().splitlines()]


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row[0]))
def test_insulated_cylinder(row: list[float]) -> None:
    """The table is printed to 0.01 Btu/h ft, 0.1 % of the least; its conversions to five digits."""
    for insulation, loss in zip((0.5, 1.0, 1.5, 2.0), row[1:], strict=True):
        line = handbook_line(row[0], insulation)
        assert 70.0 / 1.8 / line.resistance / BTU_H_FT == pytest.approx(loss, rel=2e-3)


@pytest.mark.published
def test_handbook_table_is_an_upper_limit() -> None:
    """The handbook's column carries fittings: 1.4 to 1.8 times the bare formula (from memory)."""
    for row, table in zip(ROWS, HANDBOOK, strict=True):
        ratio = table / (70.0 / 1.8 / handbook_line(row[0], 0.5).resistance / BTU_H_FT)
        assert 1.4 < ratio < 1.8


def test_resistance_is_the_integral_of_conduction() -> None:
    """dT/dr = -q / (2 pi k r), by quadrature; its tolerance is 1e-8."""
    r1, r2 = 0.5 * LINE.outer_m, 0.5 * LINE.outer_m + LINE.insulation_m
    across = quad(lambda r: 1.0 / (2.0 * math.pi * LINE.conductivity * r), r1, r2)[0]
    assert LINE.resistance == pytest.approx(across + 1.0 / (2.0 * math.pi * r2 * LINE.film), rel=1e-7)


# --- running and standing --------------------------------------------------------------------------------


def test_circulating_loss_is_the_integral_along_the_pipe() -> None:
    """dT/dx = -(T - air) / (R rate), by solve_ivp to 1e-10."""
    rate, out, back, air = 40.0, 15.0, 60.0, -10.0

    def lost(start: float) -> float:
        path = solve_ivp(
            lambda _, t: -(t - air) / (LINE.resistance * rate),
            (0.0, LINE.length_m),
            [start],
            rtol=1e-11,
            atol=1e-11,
        )
        return rate * (start - float(path.y[0, -1]))

    assert float(circulating_loss(LINE, out, back, air, rate)) == pytest.approx(
        lost(out) + lost(back), rel=1e-8
    )


def test_fast_water_loses_by_its_own_temperature() -> None:
    """With a great flow the water keeps its temperature: loss = length (T - air) / R; 1e-6 of NTU 2e-6."""
    fast = float(circulating_loss(LINE, 15.0, 60.0, -10.0, 1e8))
    assert fast == pytest.approx(LINE.length_m * (25.0 + 70.0) / LINE.resistance, rel=1e-6)


@pytest.mark.law
@given(length=st.floats(0.0, 100.0), more=st.floats(0.0, 100.0), air=st.floats(-40.0, 10.0))
def test_a_longer_line_loses_more(length: float, more: float, air: float) -> None:
    short, long = replace(LINE, length_m=length), replace(LINE, length_m=length + more)
    assert circulating_loss(long, 15.0, 60.0, air, 50.0) >= circulating_loss(short, 15.0, 60.0, air, 50.0)
    nothing = replace(LINE, length_m=0.0)
    assert float(circulating_loss(nothing, 15.0, 60.0, air, 50.0)) == 0.0


# --- heat trace ------------------------------------------------------------------------------------------

AIR = np.array([10.0, 5.0, 4.0, 0.0, -10.0, -30.0])


def test_self_regulating_trace_gives_what_the_pipe_loses() -> None:
    """By hand: (5 - air) / R per metre of two pipes of 10 m, up to 6 W/m; nothing from 5 °C on."""
    found = trace_heat(LINE, Trace(6.0), AIR)
    expected = [0.0, 0.0] + [20.0 * min((5.0 - t) / LINE.resistance, 6.0) for t in (4.0, 0.0, -10.0, -30.0)]
    np.testing.assert_allclose(found.power_w, expected, rtol=1e-12)
    assert found.power_w[-1] == 120.0  # the rating
    assert found.too_small.tolist() == [False, False, False, False, False, True]
    # at the coldest air it holds, the pipe at 5 °C loses just the rating
    assert (5.0 - found.holds_to_c) / LINE.resistance == pytest.approx(6.0, rel=1e-12)


@pytest.mark.law
def test_trace_rests_while_the_water_runs() -> None:
    whole, half = (trace_heat(LINE, Trace(6.0), AIR, share).power_w for share in (1.0, 0.5))
    np.testing.assert_allclose(half, 0.5 * whole)


def test_on_off_trace_draws_its_rating_below_the_thermostat() -> None:
    found = trace_heat(LINE, Trace(6.0, on_below_c=5.0, control="on-off"), AIR, 0.5)
    assert found.power_w.tolist() == [0.0, 0.0, 120.0, 120.0, 120.0, 120.0]
    assert found.too_small.tolist() == [False] * 5 + [True]


@pytest.mark.law
@given(air=st.floats(-40.0, 20.0), rating=st.floats(0.5, 30.0))
def test_self_regulating_never_draws_more_than_on_off(air: float, rating: float) -> None:
    smart = trace_heat(LINE, Trace(rating), [air]).power_w
    plain = trace_heat(LINE, Trace(rating, control="on-off"), [air]).power_w
    assert 0.0 <= smart[0] <= plain[0]


# --- glycol ----------------------------------------------------------------------------------------------


def test_effectiveness_limits() -> None:
    """Textbook counterflow: NTU/(1 + NTU) with equal rates; 1 - exp(-NTU) when one is infinite. Rounding."""
    even = glycol_loop(10.0, 60.0, 100.0, 100.0, 300.0)
    assert float(even.effectiveness) == pytest.approx(0.75, rel=1e-12)
    condensing = glycol_loop(10.0, 60.0, 100.0, 1e14, 300.0)
    assert float(condensing.effectiveness) == pytest.approx(-math.expm1(-3.0), rel=1e-9)
    near = glycol_loop(10.0, 60.0, 100.0, 100.0 * (1.0 + 1e-13), 300.0)
    assert float(near.effectiveness) == pytest.approx(0.75, rel=1e-9)


@given(water=st.floats(50.0, 1e4), glycol=st.floats(50.0, 1e4), ua=st.floats(50.0, 1e5))
def test_exchanger_by_the_log_mean_difference(water: float, glycol: float, ua: float) -> None:
    """The heat is UA times the log-mean of the two ends: another way to the same exchanger.

    The log-mean of ends that differ by 1e-6 of themselves loses digits: 1e-6 allowed.
    """
    found = glycol_loop(10.0, 60.0, water, glycol, ua)
    heat = water * 50.0
    a, b = float(found.hot_end_k), float(found.cold_end_k)
    assert a >= -1e-12  # rounding of 60 °C
    assert b >= -1e-12
    assert glycol * (float(found.machine_out_c) - float(found.machine_in_c)) == pytest.approx(heat, rel=1e-9)
    if min(a, b) < 1e-3:  # an exchanger of very many transfer units: the log-mean has no digits left
        return
    mean = a if abs(a - b) < 1e-6 * a else (a - b) / math.log(a / b)
    assert ua * mean == pytest.approx(heat, rel=1e-6)


@pytest.mark.law
def test_a_larger_exchanger_asks_less_of_the_machine() -> None:
    outlets = glycol_loop(10.0, 60.0, 100.0, 100.0, np.array([500.0, 1000.0, 5000.0])).machine_out_c
    assert (np.diff(outlets) < 0.0).all()
    assert (outlets > 60.0).all()


@pytest.mark.published
def test_propylene_glycol() -> None:
    """ASHRAE Handbook, Fundamentals, propylene glycol by mass, quoted from memory: first crystals of 30 %
    at about -13 °C, of 50 % at about -33 °C; specific heat of 30 % near 40 °C about 3.9 kJ/kgK, 1014 kg/m3.

    Tables of different makers lie within 1.5 K and 2 %.
    """
    found = propylene_glycol(0.3, 40.0)
    assert found.freezing_c == pytest.approx(-13.0, abs=1.5)
    assert propylene_glycol(0.5, 40.0).freezing_c == pytest.approx(-33.0, abs=1.5)
    assert found.heat_capacity == pytest.approx(3.9e3 * 1014.0, rel=0.02)
    for share, t in ((0.7, 40.0), (0.3, -20.0), (0.3, 120.0), (math.nan, 40.0)):
        with pytest.raises(InputError, match="propylene glycol"):
            propylene_glycol(share, t)


# --- outages ---------------------------------------------------------------------------------------------


def integrated(line: WaterLine, air: Array, hours: float, start_c: float) -> tuple[float, float, float]:
    """Hours to 0 °C, largest share of ice and share at the end, of one outage from row 0, by solve_ivp.

    Heat of one metre against the air of each hour, its temperature by water, ice and what is between.
    """
    bore = math.pi / 4.0 * line.inner_m**2
    wall = line.wall_heat * math.pi / 4.0 * (line.outer_m**2 - line.inner_m**2)
    liquid, ice, latent = WATER_HEAT * bore + wall, ICE_HEAT * bore + wall, MELTING * bore

    def temperature(heat: float) -> float:
        return heat / liquid if heat > 0.0 else min((heat + latent) / ice, 0.0)

    def at_zero(_: float, heat: Array) -> float:
        return float(heat[0])

    heat, least, to_zero = liquid * start_c, liquid * start_c, math.nan
    for hour in range(math.ceil(hours)):
        span = 3600.0 * min(1.0, hours - hour)
        path = solve_ivp(
            lambda _, e, now=float(air[hour]): [(now - temperature(float(e[0]))) / line.resistance],
            (0.0, span),
            [heat],
            events=at_zero,
            max_step=60.0,
            rtol=1e-8,
            atol=1e-3,
        )
        falls = [float(t) for t in path.t_events[0] if air[hour] < 0.0]
        if falls and math.isnan(to_zero):
            to_zero = hour + falls[0] / 3600.0
        heat = float(path.y[0, -1])
        least = min(least, heat)
    return to_zero, min(max(-least / latent, 0.0), 1.0), min(max(-heat / latent, 0.0), 1.0)


BARE = replace(LINE, insulation_m=0.006)
COLD_DAYS = {
    "steady": np.full(48, -12.0),
    "swing": -4.0 + 9.0 * np.sin(np.arange(48) / 24.0 * 2.0 * math.pi),
    "thaw": np.concatenate([np.full(20, -25.0), np.full(28, 8.0)]),
    "freeze through": np.full(48, -30.0),
    "just frozen, then thaw": np.concatenate([np.full(4, -30.0), np.full(44, 3.0)]),
    "frozen cold, then thaw": np.concatenate([np.full(12, -30.0), np.full(44, 3.0)]),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", COLD_DAYS)
@pytest.mark.parametrize("line", [LINE, BARE], ids=["insulated", "thin"])
@pytest.mark.parametrize("start_c", [0.5, 10.0, 60.0])
def test_outage_against_integration(name: str, line: WaterLine, start_c: float) -> None:
    """Every hour of 30.5: solve_ivp with steps of a minute.

    It meets the kink at 0 °C within a step or so: 0.02 h of time, and 1e-3 of ice.
    """
    air, hours = COLD_DAYS[name], 30.5
    found = outage(line, air, hours, start_c)
    to_zero, ice, end = integrated(line, air, hours, start_c)
    assert found.hours_to_zero[0] == pytest.approx(to_zero, abs=0.02, nan_ok=True)
    assert found.ice_share[0] == pytest.approx(ice, abs=1e-3)
    assert found.ice_at_end[0] == pytest.approx(end, abs=1e-3)


def test_hours_to_zero_in_closed_form() -> None:
    """Constant air: t = tau ln((T - air) / -air), and then freezing at -air / R per metre. Rounding."""
    air, start = -12.0, 10.0
    found = outage(LINE, np.full(100, air), 100.0, start)
    to_zero = LINE.time_constant * math.log((start - air) / -air) / 3600.0
    np.testing.assert_allclose(found.hours_to_zero, to_zero, rtol=1e-12)
    short = to_zero + 5.0
    ice = 5.0 * 3600.0 * -air / LINE.resistance / (MELTING * LINE.bore)
    np.testing.assert_allclose(outage(LINE, np.full(100, air), short, start).ice_share, ice, rtol=1e-9)
    assert (found.ice_begins, found.ice_share.max()) == (100, pytest.approx(min(1.0, found.ice_share[0])))


def test_frozen_pipe_in_hand_figures() -> None:
    """A 1 in pipe (26.6 mm) holds 0.556 kg/m; 333.6 kJ/kg of it is 185 kJ/m.

    At 0 °C in air of -12 °C it loses 12 K over R; R of 25 mm of foam is ln(39.3/14.3)/(2 pi 0.038) + 1/(2 pi
    0.0393 x 25) = 4.234 + 0.162 = 4.396 m K/W, so 2.73 W/m and 18.9 h to freeze through. Digits as written.
    """
    air = np.full(60, -12.0)
    full = 0.5557 * 333.6e3 / (12.0 / 4.396) / 3600.0
    start = outage(LINE, air, 60.0, 0.0)
    assert start.hours_to_zero[0] == 0.0
    almost, over = (outage(LINE, air, full * x, 0.0).ice_share[0] for x in (0.99, 1.01))
    assert almost == pytest.approx(0.99, abs=0.003)
    assert over == 1.0


@pytest.mark.law
def test_the_year_wraps_and_every_start_is_its_own() -> None:
    """An outage from any row of a lopsided year is that of row 0 of the year rolled to it. Exact."""
    rng = np.random.default_rng(7)
    air = rng.normal(-3.0, 8.0, 200)
    start = rng.uniform(0.0, 60.0, 200)
    found = outage(LINE, air, 36.0, start)
    for row in (0, 17, 150, 199):
        alone = outage(LINE, np.roll(air, -row), 36.0, start[row])
        assert found.ice_share[row] == alone.ice_share[0]
        assert found.ice_at_end[row] == alone.ice_at_end[0]
        np.testing.assert_equal(found.hours_to_zero[row], alone.hours_to_zero[0])


def test_counts_and_worst_start() -> None:
    """A cold night of 10 hours in a mild year: only outages that meet it freeze, the worst spans it whole."""
    air = np.full(8760, 6.0)
    air[1000:1010] = -20.0
    found = outage(BARE, air, 12.0, 8.0, blocking=0.3)
    begun = np.flatnonzero(found.ice_share > 0.0)
    assert found.ice_begins == begun.size > 0
    assert begun.min() >= 1000 - 12
    assert begun.max() < 1010
    assert found.blocked == np.count_nonzero(found.ice_share > 0.3) > 0
    assert 998 <= found.worst_start <= 1000
    assert found.ice_share[found.worst_start] == found.ice_share.max()
    mild = outage(BARE, np.full(8760, 3.0), 12.0, 8.0)
    assert (mild.ice_begins, mild.blocked, mild.ice_share.max()) == (0, 0, 0.0)
    assert np.isnan(mild.hours_to_zero).all()


@pytest.mark.law
@settings(max_examples=40)
@given(
    air=st.lists(st.floats(-30.0, 15.0), min_size=24, max_size=24),
    start=st.floats(0.0, 60.0),
    colder=st.floats(0.0, 10.0),
)
def test_colder_air_and_longer_outages_freeze_more(air: list[float], start: float, colder: float) -> None:
    """Laws; rounding of a sum of 24 exponentials is 1e-12."""
    here = np.array(air)
    found = outage(LINE, here, 12.0, start)
    assert (outage(LINE, here - colder, 12.0, start).ice_share >= found.ice_share - 1e-12).all()
    assert (outage(LINE, here, 20.0, start).ice_share >= found.ice_share - 1e-12).all()
    assert (outage(replace(LINE, insulation_m=0.05), here, 12.0, start).ice_share <= 1.0).all()
    assert (found.ice_at_end <= found.ice_share + 1e-12).all()


@pytest.mark.contract
@pytest.mark.parametrize(
    ("hours", "start", "air"),
    [(0.0, 10.0, -5.0), (9.0, 10.0, -5.0), (4.0, -1.0, -5.0), (4.0, 10.0, math.nan)],
)
def test_outages_that_are_refused(hours: float, start: float, air: float) -> None:
    with pytest.raises(InputError, match="outage"):
        outage(LINE, np.full(8, air), hours, start)


@pytest.mark.contract
def test_freezing_hours() -> None:
    air = np.array([-1.0, -2.0, 0.0, 3.0])
    assert freezing_hours(air) == (2.0, 2.0)
    assert freezing_hours(air, np.array([0.25, 1.0, 1.0, 1.0])) == (2.0, 1.25)


# --- what is said and refused ----------------------------------------------------------------------------


@pytest.mark.contract
def test_cautions() -> None:
    cold = np.full(48, -15.0)
    assert water_line_cautions(np.full(48, 2.0)) == ()
    assert "emergency power" in water_line_cautions(cold)[0]
    assert "licensed" in water_line_cautions(cold)[0]
    small = trace_heat(LINE, Trace(2.0), cold)
    stands = outage(LINE, cold, 24.0, 10.0)
    said = water_line_cautions(cold, trace=small, outage_hours=24.0, stands=stands)
    assert [any(word in text for text in said) for word in ("too small to hold the lines in 48", "24 h")] == [
        True,
        True,
    ]
    weak, strong = propylene_glycol(0.2, 40.0), propylene_glycol(0.5, 40.0)
    assert "first crystals" in water_line_cautions(cold, glycol=weak)[0]
    assert water_line_cautions(cold, glycol=strong) == ()


@pytest.mark.contract
@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"length_m": -1.0}, "length"),
        ({"length_m": math.nan}, "length"),
        ({"inner_m": 0.03}, "outer_diameter"),
        ({"insulation_m": 1.0}, "insulation"),
        ({"conductivity": 0.0}, "conductivity"),
        ({"film": 0.0}, "film"),
    ],
)
def test_pipes_that_are_refused(change: dict[str, float], key: str) -> None:
    LINE.check()
    with pytest.raises(InputError, match=rf"plant\.heat_pump\.water_lines\.{key}: got"):
        replace(LINE, **change).check()
