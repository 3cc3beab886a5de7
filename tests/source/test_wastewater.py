"""Wet well, street sewer and exchanger, against integration, log-mean differences and closed balances."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.errors import OutOfRangeError
from hpwhsim.source.offer import met
from hpwhsim.source.wastewater import (
    RHO_CP,
    Exchanger,
    Pumping,
    Well,
    exchanger_slope,
    make_exchanger,
    make_well,
    pumping_energy,
    sewer_offer,
    well_offer,
    well_step,
)
from hpwhsim.verification.sewage import steady as steady_sewage

pytestmark = pytest.mark.independent

# Invented plant: 3 kW/K of exchanger, 2 L/s of sewage and 2.5 L/s of loop water, a well of 2 m³.
EXCHANGER = make_exchanger(3000.0, 2.0e-3, 2.5e-3, direct=False)
WELL = make_well(2.0, 15.0, 12.0, 5.0, EXCHANGER)
ENDLESS = np.inf


# --- exchanger


def log_mean(first: float, second: float) -> float:
    return first if abs(first - second) < 1e-9 * first else (first - second) / np.log(first / second)


@pytest.mark.parametrize("loop_flow", [2.5e-3, 2.0e-3 * (1.0 + 1e-7), 2.0e-3, 0.7e-3])
@pytest.mark.parametrize("left", [1.0, 0.6])
def test_exchanger_meets_the_log_mean_difference(loop_flow: float, left: float) -> None:
    """Independent method: Q = UA LMTD of counterflow, from the temperatures that the slope gives.

    1e-6: the log of two nearly equal differences loses half its digits in the second case.
    """
    exchanger = make_exchanger(3000.0, 2.0e-3, loop_flow, direct=False)
    heat, sewage_in = 20e3, 18.0
    slope = exchanger_slope(exchanger, ENDLESS, left, 2, 2)
    to_machine = sewage_in - slope * heat
    from_machine = to_machine - heat / exchanger.loop
    sewage_out = sewage_in - heat / exchanger.sewage
    mean = log_mean(sewage_in - to_machine, sewage_out - from_machine)
    assert 3000.0 * left * mean == pytest.approx(heat, rel=1e-6)


def test_balanced_exchanger_is_one_over_ua() -> None:
    """Closed form: with equal flows the difference is the same all along and T - Ta = Q / UA."""
    balanced = make_exchanger(4000.0, 2e-3, 2e-3, direct=False)
    assert exchanger_slope(balanced, ENDLESS, 1.0, 1, 1) == pytest.approx(1.0 / 4000.0, rel=1e-12)


@pytest.mark.parametrize("left", [1.0, 0.799])
def test_sewage_at_the_evaporator(left: float) -> None:
    """Incropera and DeWitt: an evaporator has eps = 1 - exp(-NTU).

    The clean one is in the machine's map, so the met temperature is the inlet at which the clean evaporator
    would evaporate where the fouled one does. Clean, it is the sewage itself.
    """
    direct = make_exchanger(3000.0, 2e-3, 0.0, direct=True)
    heat, sewage = 20e3, direct.sewage

    def approach(ua: float) -> float:
        return float(heat / (sewage * (1.0 - np.exp(-ua / sewage))))

    slope = exchanger_slope(direct, ENDLESS, left, 1, 1)
    met_c = 18.0 - slope * heat
    assert met_c - approach(3000.0) == pytest.approx(18.0 - approach(3000.0 * left), abs=1e-10)
    assert (slope == 0.0) == (left == 1.0)


@pytest.mark.law
def test_half_the_modules_are_half_the_exchanger() -> None:
    """Two equal plants side by side: one running with half the heat meets the same temperature."""
    whole = exchanger_slope(EXCHANGER, ENDLESS, 0.8, 4, 4)
    assert exchanger_slope(EXCHANGER, ENDLESS, 0.8, 2, 4) == pytest.approx(2.0 * whole, rel=1e-12)
    assert exchanger_slope(EXCHANGER, ENDLESS, 0.8, 0, 4) == exchanger_slope(EXCHANGER, ENDLESS, 0.8, 1, 4)


@pytest.mark.law
@given(
    st.floats(100.0, 1e5),
    st.floats(1e-5, 1e-2),
    st.floats(1e-5, 1e-2),
    st.floats(0.05, 1.0),
    st.booleans(),
)
def test_fouling_only_makes_it_colder(
    ua: float, sewage: float, loop: float, left: float, direct: bool
) -> None:
    """Second law: the machine never meets water warmer than the sewage, nor a fouled exchanger a better one.

    1e-12 of 1 / Cmin: rounding where the exchanger is so large that the slope vanishes.
    """
    exchanger = make_exchanger(ua, sewage, loop, direct)
    clean = exchanger_slope(exchanger, ENDLESS, 1.0, 1, 1)
    fouled = exchanger_slope(exchanger, ENDLESS, left, 1, 1)
    thin = exchanger_slope(exchanger, 0.5 * exchanger.sewage, left, 1, 1)
    rounding = 1e-12 / (RHO_CP * min(sewage, loop))
    assert -rounding <= clean <= fouled + rounding
    assert fouled <= thin + rounding


# --- well


@pytest.mark.parametrize(
    ("start", "inflow", "inflow_c", "heat", "dt", "loss"),
    [
        (18.0, 0.05, 24.0, 30e3, 300.0, 15.0),
        (18.0, 0.0, 24.0, 30e3, 300.0, 0.0),  # nothing flows, nothing is lost
        (6.0, 1e-6, 30.0, 0.0, 60.0, 200.0),
        (9.0, 7.0, 21.0, 80e3, 3600.0, 40.0),  # several fillings in a step
        (25.0, 0.001, 10.0, 5e3, 60.0, 15.0),
    ],
)
def test_step_and_offer_match_an_integrator(
    start: float, inflow: float, inflow_c: float, heat: float, dt: float, loss: float
) -> None:
    """scipy.integrate.solve_ivp on the balance of the well, with the mean temperature as a second unknown.

    1e-7 K: the integrator works to 1e-11 of 20 °C, a few hundred times.
    """
    from scipy.integrate import solve_ivp

    well = WELL._replace(loss=loss)

    def rate(_: float, state: np.ndarray) -> list[float]:
        now = state[0]
        flow = RHO_CP * inflow / dt
        gain = flow * (inflow_c - now) - well.loss * (now - well.around) - heat
        return [gain / well.capacity, now / dt]

    done = solve_ivp(rate, (0.0, dt), [start, 0.0], rtol=1e-11, atol=1e-11)
    end, mean = done.y[:, -1]
    got, overflow, lost = well_step(well, start, inflow, inflow_c, heat * dt, dt)
    assert got == pytest.approx(end, abs=1e-7)
    assert overflow == pytest.approx(RHO_CP * inflow * mean, rel=1e-8, abs=1e-3)
    assert lost == pytest.approx(loss * dt * (mean - well.around), rel=1e-6, abs=1e-3)
    offer = well_offer(well, start, inflow, inflow_c, 0.8, 1, 1, dt)
    drop = exchanger_slope(well.exchanger, ENDLESS, 0.8, 1, 1) * heat
    assert met(offer, heat) == pytest.approx(mean - drop, abs=1e-7)


STEPS = (
    st.floats(0.0, 40.0),
    st.floats(0.0, 20.0),
    st.floats(0.0, 45.0),
    st.floats(0.0, 2e5),
    st.floats(1.0, 3600.0),
    st.floats(0.05, 50.0),
    st.floats(0.0, 500.0),
)


@pytest.mark.law
@given(*STEPS)
def test_the_step_closes(
    start: float, inflow: float, inflow_c: float, heat: float, dt: float, volume: float, loss: float
) -> None:
    """First law: inflow heat - overflow heat - wall loss - heat taken = change of stored heat.

    1e-12 of the largest term: rounding of five terms.
    """
    well = make_well(volume, loss, 12.0, 5.0, EXCHANGER)
    end, overflow, lost = well_step(well, start, inflow, inflow_c, heat * dt, dt)
    terms = (RHO_CP * inflow * inflow_c, -overflow, -lost, -heat * dt, -well.capacity * (end - start))
    scale = max(well.capacity * 40.0, RHO_CP * inflow * 45.0, *map(abs, terms))
    assert abs(sum(terms)) <= 1e-12 * scale


@pytest.mark.law
@given(*STEPS)
def test_most_leaves_the_well_at_its_floor(
    start: float, inflow: float, inflow_c: float, heat: float, dt: float, volume: float, loss: float
) -> None:
    """Definition of the floor: the most ends there, less stays above; nothing to take from colder sewage.

    1e-9 K is rounding, of a well filled up to 400 times in a step.
    """
    well = make_well(volume, loss, 12.0, 5.0, EXCHANGER)
    most = well_offer(well, start, inflow, inflow_c, 1.0, 1, 1, dt).most
    assert most >= 0.0
    untouched, _, _ = well_step(well, start, inflow, inflow_c, 0.0, dt)
    end, _, _ = well_step(well, start, inflow, inflow_c, most * dt, dt)
    assert end == pytest.approx(min(untouched, well.floor), abs=1e-9)
    less, _, _ = well_step(well, start, inflow, inflow_c, min(heat, most) * dt, dt)
    assert less >= end - 1e-9


@pytest.mark.law
@pytest.mark.parametrize("inflow", [0.4, 0.03])
def test_parts_of_a_step_add_up(inflow: float) -> None:
    """Exactness: one step of five minutes is five of a minute; rounding only.

    The smaller inflow sets the closed form of the long step against the series of the short ones.
    """
    once, overflow, lost = well_step(WELL, 19.0, inflow, 26.0, 9e6, 300.0)
    now, sum_overflow, sum_lost = 19.0, 0.0, 0.0
    for _ in range(5):
        now, part, wall = well_step(WELL, now, inflow / 5.0, 26.0, 1.8e6, 60.0)
        sum_overflow += part
        sum_lost += wall
    assert now == pytest.approx(once, rel=1e-12)
    assert sum_overflow == pytest.approx(overflow, rel=1e-12)
    assert sum_lost == pytest.approx(lost, rel=1e-12)


def test_a_well_without_heat_taken_ends_between_inflow_and_room() -> None:
    """Long run, closed form: T = (rc q Tin + UA Ts) / (rc q + UA).

    After 50 fillings e^-50 of the start is left.
    """
    now = 5.0
    for _ in range(10_000):
        now, _, _ = well_step(WELL, now, 0.01, 25.0, 0.0, 300.0)
    flow = RHO_CP * 0.01 / 300.0
    assert now == pytest.approx((flow * 25.0 + 15.0 * 12.0) / (flow + 15.0), abs=1e-9)


def month_in_the_well(well: Well) -> tuple[np.ndarray, float, float]:
    """30 days of random inflow and demand; overflow temperatures, heat taken, and the most by the floor."""
    rng = np.random.default_rng(7)
    steps = 30 * 288
    inflow = 0.05 * rng.random(steps) * (rng.random(steps) < 0.4)
    inflow_c = 12.0 + 15.0 * rng.random(steps)
    demand = 60e3 * (rng.random(steps) < 0.5)
    now, taken, walls = 15.0, 0.0, 0.0
    left = np.full(steps, np.nan)
    for i in range(steps):
        offer = well_offer(well, now, inflow[i], inflow_c[i], 1.0, 1, 1, 300.0)
        heat = min(demand[i], offer.most)
        now, overflow, lost = well_step(well, now, inflow[i], inflow_c[i], heat * 300.0, 300.0)
        taken += heat * 300.0
        walls += lost
        if inflow[i] > 0.0:
            left[i] = overflow / (RHO_CP * inflow[i])
    held = well.capacity * (15.0 - now)
    return left, taken, float(RHO_CP * inflow @ (inflow_c - well.floor)) + held - walls


@pytest.mark.law
def test_heat_taken_over_a_month_is_below_the_heat_above_the_floor() -> None:
    """Law of the drain balance: heat <= rc V (T - floor), and no sewage leaves below the floor.

    The demand is far more than the sewage holds, so the limit must bind: over 80 % of it is taken.
    """
    left, taken, limit = month_in_the_well(WELL)
    assert np.nanmin(left) >= WELL.floor - 1e-9
    assert 0.8 * limit < taken <= limit * (1.0 + 1e-12)


# --- street sewer


@pytest.mark.law
def test_heat_taken_never_exceeds_what_flows_by() -> None:
    """Law: rc V (T - floor) in each hour, hours without flow and below the floor included."""
    rng = np.random.default_rng(3)
    flow = 6.0 * rng.random(8760) * (rng.random(8760) < 0.9)
    temperature = 4.0 + 16.0 * rng.random(8760)
    demand = 100e3 * rng.random(8760)
    heat = np.zeros(8760)
    leaving = np.zeros(8760)
    for hour in range(8760):
        offer = sewer_offer(EXCHANGER, 8.0, flow[hour], temperature[hour], 0.9, 2, 2, 3600.0)
        heat[hour] = 3600.0 * min(demand[hour], offer.most)
        leaving[hour] = temperature[hour]
        if flow[hour] > 0.0:
            leaving[hour] -= heat[hour] / (RHO_CP * flow[hour])
    above = RHO_CP * flow * np.maximum(temperature - 8.0, 0.0)
    assert np.all(heat <= above * (1.0 + 1e-12))
    assert np.all(leaving >= np.minimum(temperature, 8.0) - 1e-9)
    assert np.all(heat[(flow == 0.0) | (temperature < 8.0)] == 0.0)
    bound = heat == above  # hours in which the sewer was the limit, and others, both there
    assert 100 < np.count_nonzero(bound & (above > 0.0)) < 8000


def test_the_pump_gets_no_more_than_the_sewer_carries() -> None:
    """Thin sewer, large exchanger, by hand: sewage leaves as cold as the loop comes, T - Ta = Q/Cs - Q/Cl.

    1e-9 K: what an exchanger of 10 MW/K leaves is below that.
    """
    huge = make_exchanger(1e7, 2e-3, 3e-3, direct=False)
    offer = sewer_offer(huge, 5.0, 3.6, 15.0, 1.0, 1, 1, 3600.0)  # half the pump's flow
    heat = 10e3
    drop = heat / (RHO_CP * 1e-3) - heat / huge.loop
    assert met(offer, heat) == pytest.approx(15.0 - drop, abs=1e-9)
    assert met(offer, 0.0) == 15.0


# --- own building: what a plant may take from the drain of the water it heats


def steady(cold: float, share: float, kept: float) -> tuple[float, float]:
    """Flow [m³/h] and temperature of the sewage for steady use at 60 °C with nothing else on the way."""
    sewage = steady_sewage(cold, share, kept)
    return float(sewage.flow[100]), float(sewage.temperature[100])


@pytest.mark.published
def test_what_the_drain_holds_over_what_the_taps_took(references: Path) -> None:
    """shared/wastewater_mixing.csv, all rows: heat to 5 °C in kWh/m³, and over the heat of the taps.

    Printed to 3 and 2 digits; the kWh with 4.186 MJ/m³K, so they are compared at that constant.
    """
    text = (references / "wastewater_mixing.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    assert len(rows) == 48
    for row in rows:
        cold, share = float(row["T_cold_C"]), float(row["hot_fraction_60C"])
        flow, temperature = steady(cold, share, float(row["kept_heat_share"]))
        most = 3600.0 * sewer_offer(EXCHANGER, 5.0, flow, temperature, 1.0, 1, 1, 3600.0).most
        taps = RHO_CP * share * (60.0 - cold)
        assert most / taps == pytest.approx(float(row["source_heat_over_DHW_heat"]), abs=5.1e-4)
        assert most / 3.6e6 * 4.186e6 / RHO_CP == pytest.approx(float(row["kWh_per_m3_to_5C"]), abs=0.0051)
        for cop in (3.0, 5.0):
            for loss in (0.0, 0.2):
                needed = (1.0 - 1.0 / cop) * taps * (1.0 + loss)
                ratio = float(row["source_heat_over_DHW_heat"])
                assert (needed <= most) == (ratio >= (1.0 - 1.0 / cop) * (1.0 + loss))


@pytest.mark.published
@pytest.mark.parametrize(
    ("share", "drops"), [(0.3, (10.0, 11.2, 12.0)), (0.4, (13.3, 15.0, 16.0)), (0.5, (16.7, 18.8, 20.0))]
)
def test_cooling_of_the_whole_stream(share: float, drops: tuple[float, ...]) -> None:
    """Worked table of f (Th - Tc) (1 - 1/COP), 50 K, COP 3, 4, 5; printed to 0.1 K, so 0.05 allowed."""
    flow, _ = steady(10.0, share, 1.0)
    for cop, drop in zip((3.0, 4.0, 5.0), drops, strict=True):
        heat = (1.0 - 1.0 / cop) * RHO_CP * share * 50.0
        assert heat / (RHO_CP * flow) == pytest.approx(drop, abs=0.0501)


# --- electricity, set-up


def test_pumping_energy() -> None:
    """Hand: 1.2 kW of pumps for 3 modules, one of them 600 s: 240 kJ; 30 Wh/m³ on 0.4 m³: 43.2 kJ."""
    pumps, grinder = pumping_energy(Pumping(1200.0, 30.0 * 3600.0), 600.0, 3, 0.4)
    assert (pumps, grinder) == (pytest.approx(240e3), pytest.approx(43.2e3))


@pytest.mark.contract
@pytest.mark.parametrize("wrong", [0.0, -1.0, np.nan, np.inf])
def test_sizes_must_be_above_zero(wrong: float) -> None:
    for arguments in ((wrong, 1e-3, 1e-3), (1e3, wrong, 1e-3), (1e3, 1e-3, wrong)):
        with pytest.raises(OutOfRangeError, match="allowed more than 0"):
            make_exchanger(*arguments, direct=False)
    with pytest.raises(OutOfRangeError, match="volume"):
        make_well(wrong, 1.0, 12.0, 5.0, EXCHANGER)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("loss", "around", "floor", "key"),
    [
        (-1.0, 12.0, 5.0, "loss"),
        (1.0, 60.0, 5.0, "around"),
        (1.0, 12.0, -0.1, "min_temperature"),
        (1.0, 12.0, 50.0, "min_temperature"),
    ],
)
def test_well_refuses_what_is_out_of_range(loss: float, around: float, floor: float, key: str) -> None:
    with pytest.raises(OutOfRangeError, match=key):
        make_well(2.0, loss, around, floor, EXCHANGER)


def test_set_up() -> None:
    """1 L/s of water carries 4.13 kW/K; a direct evaporator does not read the loop's flow."""
    assert make_exchanger(1e3, 1e-3, 0.0, direct=True) == Exchanger(1e3, RHO_CP * 1e-3, 0.0, True)
    assert WELL.capacity == 2.0 * RHO_CP
