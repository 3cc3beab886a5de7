"""One window of the plant against balances and closed forms worked by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layer_cases import column, filled, heat, temperatures, volumes
from plant_cases import CLEAN, SECONDS, VOLUME, by_rise, circulate, hour_with, machine, plant

from hpwhsim.heatpump.frost import LOADS
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.plant.arrays import Cause, LoopTank, Plant, WaterSide
from hpwhsim.plant.charging import at_intake, charge, draw_back, entering, midway
from hpwhsim.plant.flows import hot_needed, most_hot
from hpwhsim.plant.loop_tank import beside_tank, heat_tank, serve_through
from hpwhsim.plant.part_speed import coil_heat, full_speed_source, part_frost, perform
from hpwhsim.plant.running import WORKS, heat_of_machine, machine_now, refusal
from hpwhsim.plant.serve import move
from hpwhsim.plant.state import Coming, Draw, Duty, Flow, Hour, Intake, LoopState, Moved
from hpwhsim.storage.heating import heat_wall
from hpwhsim.storage.layers import RHO_CP, Layers, slices
from hpwhsim.storage.order import settle

pytestmark = pytest.mark.independent

TO_HEAT = SECONDS / RHO_CP  # m³·K in the window per W
NOTHING = Moved(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
profiles = st.lists(st.floats(10.0, 60.0), min_size=1, max_size=40).map(sorted)


def ramp(low: float, high: float, slices: int = 40) -> Layers:
    """The store as slices from a temperature at the bottom to one at the top. [°C]"""
    return filled(column(VOLUME, 2.0), *np.linspace(low, high, slices))


def through_tank(
    of: Plant, store: Layers, hour: Hour, flow: Flow, loop: LoopState, seconds: float
) -> tuple[Moved, LoopState]:
    """Serve the taps through the loop's own tank and move the store, as the march does."""
    served, after, lost = serve_through(of, store, hour, flow, loop, seconds)
    return move(of, store, hour, flow, served, seconds)._replace(loop_heat=lost), after


# -- the machine ---------------------------------------------------------------------------------------


def test_charge_from_cold_water_is_capacity_over_lift() -> None:
    """30 kW from 10 to 60 °C: flow = heat / (rho c 50 K); a third of it is electricity."""
    found = heat_of_machine(machine_now(plant()), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 10.0)
    assert found.refused == WORKS
    assert found.flow == pytest.approx(30e3 / (RHO_CP * 50.0), rel=1e-9)
    assert found.heat * RHO_CP == pytest.approx(30e3, rel=1e-12)
    assert found.power == pytest.approx(10e3, rel=1e-12)
    assert found.inside


@pytest.mark.law
@pytest.mark.parametrize("cold", [0.0, 1e-5, 1e-4, 1e-2])
@pytest.mark.parametrize("below", [10.0, 30.0, 50.0])
def test_charge_gives_the_capacity_whatever_mains_water_comes_with_it(cold: float, below: float) -> None:
    """First law on machine and mixing tee: flow times lift is the capacity; mains water goes to it first."""
    found = heat_of_machine(machine_now(plant()), Duty(7.0, 1.0, cold, 8.0, CLEAN), below)
    assert found.heat * RHO_CP == pytest.approx(30e3, rel=1e-12)
    assert found.flow * (60.0 - found.inlet) == pytest.approx(found.heat, rel=1e-3)  # the inlet's 1e-3 K
    from_store = max(found.flow - cold, 0.0)
    mixed = (min(found.flow, cold) * 8.0 + from_store * below) / found.flow
    assert found.inlet == pytest.approx(mixed, abs=2e-3)


@pytest.mark.law
@pytest.mark.parametrize("frosted", [CLEAN, (0.9, 0.985)])
@pytest.mark.parametrize("units", [0.4, 1.0, 3.0])
def test_modules_and_frost_scale_capacity_and_power(frosted: tuple[float, float], units: float) -> None:
    found = heat_of_machine(machine_now(plant()), Duty(7.0, units, 0.0, 10.0, frosted), 20.0)
    assert found.heat * RHO_CP == pytest.approx(units * frosted[0] * 30e3, rel=1e-12)
    assert found.power == pytest.approx(units * frosted[1] * 10e3, rel=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("side", list(WaterSide))
def test_the_machine_stands_where_the_water_is_too_warm_or_the_source_too_cold(side: WaterSide) -> None:
    """59.5 °C is above the hottest inlet of each; a source below the plant's lowest is named as the cause."""
    p = plant(water_side=int(side))
    if side != WaterSide.SINGLE:
        p = p._replace(machine=by_rise(p.machine))
    assert (
        heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 59.5).refused
        == Cause.WATER_TOO_WARM
    )
    assert refusal(machine_now(p), 7.0, 59.5) == Cause.WATER_TOO_WARM
    assert refusal(machine_now(p), -20.1, 30.0) == Cause.SOURCE_TOO_COLD
    assert refusal(machine_now(p), 7.0, 30.0) == WORKS


def coming(use: float) -> Coming:
    """Water of the store at 20 °C, and a draw. [m³/s]"""
    return Coming(Intake(20.0, np.inf, 0.0), Draw(use, 0.0, 300.0, -1), 0.0)


def test_water_that_enters_is_the_store_s_and_with_draws_mains_water() -> None:
    """By hand: 0.6 L/s of use at 49 °C from 60 °C are 0.468 L/s of mains water, more than is heated."""
    p, store, hour = plant(), filled(column(VOLUME, 2.0), 20.0, 60.0), hour_with(10.0)
    assert entering(p, store, hour, coming(0.0), 7.0, 1.0) == 20.0
    cold = 0.6e-3 * 39.0 / 50.0
    flow = (30e3 / RHO_CP + cold * (10.0 - 20.0)) / (60.0 - 20.0)
    assert entering(p, store, hour, coming(0.6e-3), 7.0, 1.0) == pytest.approx(
        10.0 if flow <= cold else 15.0, abs=1e-9
    )
    cold = 1e-4 * 39.0 / 50.0
    flow = (30e3 / RHO_CP + cold * (10.0 - 20.0)) / (60.0 - 20.0)
    mixed = (cold * 10.0 + (flow - cold) * 20.0) / flow
    assert entering(p, store, hour, coming(1e-4), 7.0, 1.0) == pytest.approx(mixed, rel=1e-9)


# -- taps ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hot", "share"), [(60.0, 0.78), (49.0, 1.0), (80.0, 39.0 / 70.0), (40.0, 1.0)])
def test_thermostatic_mixing(hot: float, share: float) -> None:
    """Mixing by enthalpy at 10 °C mains and 49 °C use: hot share = (49 - 10) / (hot - 10), at most 1."""
    assert hot_needed(plant(), 1.0, 10.0, hot) == pytest.approx(share, rel=1e-12)


def test_no_hot_water_where_the_mains_are_warm_enough() -> None:
    assert hot_needed(plant(), 1.0, 50.0, 60.0) == 0.0


@pytest.mark.slow
@pytest.mark.law
@given(profiles, st.floats(0.001, 1.9), st.floats(2.0, 30.0), st.floats(0.0, 0.3))
def test_a_draw_delivers_use_temperature_from_any_layers(
    profile: list[float], use: float, mains: float, straight: float
) -> None:
    """Heat drawn + heat missing = what water at use temperature holds above mains, for any draw and layering.

    To 1e-9: each layer is water of one temperature. `straight` comes from the machine at 60 °C.
    """
    store = filled(column(VOLUME, 2.0), *profile)
    served, moved = circulate(plant(), store, hour_with(mains), use=use, straight=straight)
    wanted = use * (49.0 - mains)
    # water colder than mains gives less than nothing: what is missing is counted at the tap
    if profile[0] >= mains:
        assert moved.taps_heat + moved.missing == pytest.approx(wanted, rel=1e-9)
    assert moved.taps <= use * (1.0 + 1e-9)
    assert 0.0 <= moved.short <= use * (1.0 + 1e-9)
    assert 0.0 <= moved.short_seconds <= SECONDS * (1.0 + 1e-9)
    assert served.store <= moved.taps + 1e-12


def test_draw_from_a_cold_store_counts_what_is_short() -> None:
    """Store at 40 °C, minimum 43 °C: all short all the time, 9 K missing."""
    store = filled(column(VOLUME, 2.0), 40.0)
    _, moved = circulate(plant(), store, hour_with(), use=0.1)
    assert (moved.taps, moved.short, moved.missing) == pytest.approx((0.1, 0.1, 0.9))
    assert moved.short_seconds == pytest.approx(SECONDS)


def test_a_draw_past_the_end_of_the_hot_water_is_short_by_the_rest() -> None:
    """By hand: 0.2 m³ of 60 °C over 10 °C serve 0.2/0.78 m³ at use temperature; the rest of 0.4 is short."""
    store = filled(column(VOLUME, 2.0), *[10.0] * 9, 60.0)
    _, moved = circulate(plant(), store, hour_with(), use=0.4)
    served = 0.2 / 0.78
    assert moved.short == pytest.approx(0.4 - served, rel=1e-9)
    assert moved.missing == pytest.approx((0.4 - served) * 39.0, rel=1e-9)
    assert moved.taps_heat == pytest.approx(0.2 * 50.0, rel=1e-9)
    assert moved.short_seconds == pytest.approx(SECONDS * (0.4 - served) / 0.4, rel=1e-9)
    assert heat(store) == pytest.approx(VOLUME * 10.0, rel=1e-9)


@pytest.mark.law
@given(
    profiles,
    st.floats(0.0, 0.35),
    st.floats(0.0, 0.35),
    st.floats(0.0, 20e3),
    st.sampled_from([0.0, 0.02, 0.3]),
    st.integers(1, 3),
)
@settings(max_examples=300)
def test_circulation_keeps_the_heat(
    profile: list[float], use: float, straight: float, loop_watts: float, stirred: float, tanks: int
) -> None:
    """First law over store, machine, taps and loop for any flows; 1e-12 of the heat that passed."""
    of = column(VOLUME, 2.0, stirred=stirred, tanks=tanks)
    p, store = plant(column=of), filled(of, *profile)
    settle(store, of)
    before = heat(store)
    _, moved = circulate(p, store, hour_with(10.0, loop_watts=loop_watts), use=use, straight=straight)
    through = before + abs(moved.heat) + abs(moved.taps_heat) + moved.loop_heat + (use + straight) * 60.0
    gained = moved.heat - moved.taps_heat - moved.loop_heat
    assert heat(store) - before == pytest.approx(gained, abs=1e-12 * through)
    assert volumes(store).sum() == pytest.approx(VOLUME, rel=1e-12)


# -- the loop ------------------------------------------------------------------------------------------


def test_loop_loses_its_constant_heat_and_returns_at_its_temperature() -> None:
    """2 kW for 300 s; 60 °C out, 50 °C back: flow = loss / (rho c 10 K), found again in the moved store."""
    store = filled(column(VOLUME, 2.0), 60.0)
    _, moved = circulate(plant(), store, hour_with(loop_watts=2e3))
    assert moved.loop_heat == pytest.approx(2e3 * TO_HEAT, rel=1e-12)
    inserted = 2e3 * TO_HEAT / 10.0
    assert volumes(store) == pytest.approx([1.0 + inserted, 1.0 - inserted], rel=1e-9)  # it sinks, and mixes
    mean = (60.0 + 50.0 * inserted) / (1.0 + inserted)
    assert temperatures(store) == pytest.approx([mean, 60.0], rel=1e-9)


def test_a_cold_loop_loses_in_proportion() -> None:
    """At a top of 35 °C in air of 20 °C, where 2 kW are lost from 60 °C: 15/40 of the loss."""
    store = filled(column(VOLUME, 2.0), 35.0)
    _, moved = circulate(plant(), store, hour_with(loop_watts=2e3))
    assert moved.loop_heat == pytest.approx(750.0 * TO_HEAT, rel=1e-12)


# -- charging in place ---------------------------------------------------------------------------------


@pytest.mark.law
@pytest.mark.parametrize("side", [WaterSide.MULTI, WaterSide.WRAPPED])
@pytest.mark.parametrize("frosted", [CLEAN, (0.9, 0.985)])
def test_reheating_gives_the_capacity(side: WaterSide, frosted: tuple[float, float]) -> None:
    """First law: heat into the store = capacity x time, whatever the layers."""
    p = plant(water_side=int(side), machine=by_rise(machine()), return_port=0.5 * VOLUME)
    store = ramp(15.0, 52.0)
    before, profile = heat(store), slices(store, 40)
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, frosted), 15.0)
    given, inlet = charge(p, store, at_intake(p, store), found, SECONDS)
    assert found.power == pytest.approx(frosted[1] * 10e3, rel=1e-12)
    assert given == pytest.approx(frosted[0] * 30e3 * TO_HEAT, rel=1e-12)
    assert heat(store) - before == pytest.approx(given, rel=1e-9)
    assert slices(store, 40)[20:] == pytest.approx(profile[20:], abs=1e-9)
    if side == WaterSide.MULTI:
        passed = found.flow * SECONDS
        assert passed == pytest.approx(given / 5.0, rel=1e-12)  # 5 K of rise
        edges = VOLUME * np.linspace(0.0, 1.0, 41)
        below = np.interp(passed, edges, np.concatenate(([0.0], np.cumsum(profile) * VOLUME / 40)))
        assert inlet == pytest.approx(below, rel=1e-9)  # the water's heat before
    else:
        assert found.flow == 0.0
        assert inlet / given == pytest.approx(found.inlet, rel=1e-12)


@given(profiles, st.floats(0.0, 20.0))
def test_a_condenser_meets_midway_what_it_meets_when_half_is_given(
    profile: list[float], given: float
) -> None:
    """Independent path: half of the heat put into the layers, which are then looked at."""
    p = plant(water_side=int(WaterSide.WRAPPED), machine=by_rise(machine()), outlet=np.array([65.0]))
    store = filled(p.column, *profile)
    here = at_intake(p, store)
    half = min(0.5 * given, 0.99 * here.lacking)
    heat_wall(store, p.condenser_top, 65.0, half / here.lacking)
    assert midway(p, here, 2.0 * half) == pytest.approx(at_intake(p, store).temperature, abs=1e-6)


@pytest.mark.law
@pytest.mark.parametrize("side", list(WaterSide))
def test_a_defrost_takes_its_heat_and_no_more(side: WaterSide) -> None:
    store = filled(column(VOLUME, 2.0), 50.0)
    draw_back(plant(water_side=int(side)), store, 0.35)
    assert heat(store) == pytest.approx(VOLUME * 50.0 - 0.35, rel=1e-12)


@pytest.mark.law
def test_a_wrapped_condenser_heats_nothing_past_its_hottest_water() -> None:
    """Cold foot under hot water, far more capacity than room: all it covers ends at 60 °C, nothing above."""
    p = plant(water_side=int(WaterSide.WRAPPED), machine=by_rise(machine(3e6)), condenser_top=0.75 * VOLUME)
    store = filled(column(VOLUME, 2.0), 10.0, 59.0)
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 10.0)
    given, _ = charge(p, store, at_intake(p, store), found, SECONDS)
    assert slices(store, 4) == pytest.approx([60.0, 60.0, 60.0, 59.0])
    assert given == pytest.approx(1.0 * 50.0 + 0.5 * 1.0)


@pytest.mark.law
def test_a_charge_between_ports_moves_only_what_lies_between() -> None:
    """First law on the machine, and plug flow: water outside the ports keeps its temperature."""
    p = plant(intake_port=0.2, return_port=1.5, charge_apart=1)
    store = filled(column(VOLUME, 2.0), *np.linspace(12.0, 40.0, 30), *np.linspace(61.0, 65.0, 10))
    before = slices(store, 40)
    mean = float(before[4:8].mean())
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), mean)
    given, inlet = charge(p, store, at_intake(p, store), found, SECONDS)
    assert given == pytest.approx(found.flow * SECONDS * 60.0 - inlet, rel=1e-12)
    assert heat(store) - before.sum() * VOLUME / 40 == pytest.approx(given, rel=1e-9)
    after = slices(store, 40)
    assert after[:4] == pytest.approx(before[:4], abs=1e-9)
    assert after[30:] == pytest.approx(before[30:], abs=1e-9)
    assert np.all(after[4:29] >= before[4:29])


@pytest.mark.law
def test_ports_at_the_ends_charge_like_the_plain_store() -> None:
    """Independent path: without draws, bottom to top between ports and past the taps is the same charge."""
    p, store, other = plant(), ramp(12.0, 40.0), ramp(12.0, 40.0)
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 13.0)
    given, _ = charge(p, store, at_intake(p, store), found, SECONDS)
    _, moved = circulate(p, other, hour_with(), straight=found.flow * SECONDS)
    assert given == pytest.approx(moved.heat, rel=1e-12)
    assert slices(store, 40) == pytest.approx(slices(other, 40), abs=1e-9)


@pytest.mark.law
def test_multi_pass_water_leaves_what_is_below_its_intake() -> None:
    p = plant(water_side=int(WaterSide.MULTI), machine=by_rise(machine()), intake_port=0.3, return_port=1.0)
    store = ramp(15.0, 40.0)
    before = slices(store, 40)
    found = heat_of_machine(machine_now(p), Duty(7.0, 1.0, 0.0, 10.0, CLEAN), 20.0)
    given, inlet = charge(p, store, at_intake(p, store), found, SECONDS)
    assert given == pytest.approx(30e3 * TO_HEAT, rel=1e-12)
    assert slices(store, 40)[:6] == pytest.approx(before[:6], abs=1e-9)
    assert inlet / (found.flow * SECONDS) >= before[6] - 1e-9


# -- valve and loop's own tank -------------------------------------------------------------------------


@pytest.mark.parametrize(("hot", "at_tap"), [(59.0, 49.0), (54.0, 10.0 + 39.0 * 44.0 / 49.0), (70.0, 49.0)])
def test_a_tempering_valve_holds_its_setpoint_down_to_its_difference(hot: float, at_tap: float) -> None:
    """Mixing at the end of its travel: 10 K above 49 °C with mains of 10 °C is 39/49 of hot water at most."""
    p = plant(valve_setpoint=49.0, valve_difference=10.0)
    assert most_hot(p, 10.0) == pytest.approx(39.0 / 49.0, rel=1e-12)
    _, moved = circulate(p, filled(column(VOLUME, 2.0), hot), hour_with(), use=0.1)
    assert moved.missing == pytest.approx(0.1 * (49.0 - at_tap), abs=1e-9)
    assert moved.taps == pytest.approx(0.1 * (at_tap - 10.0) / (hot - 10.0), rel=1e-9)


def own_tank(**changes: object) -> LoopTank:
    """A loop tank of 0.4 m³ at 55 °C with a resistance of 9 kW."""
    tank = LoopTank(0.4, 0.0, 55.0, 3.0, 9e3, 1.0, machine(), 5.0, -np.inf)
    return tank._replace(**changes)


def held_at(temperature: float, on: bool = False) -> LoopState:
    return LoopState(temperature, on, 0.0, 0.0, 0.0)


@pytest.mark.slow
def test_a_loop_tank_warms_as_the_taps_draw_through_it_and_gives_their_heat() -> None:
    """Closed form of a mixed tank between a store at 65 °C and taps that take constant heat.

    With u = tank - mains and D = store - mains: V u du / (D - u) = use rise dt, so that
    u0 - u - D ln((D - u)/(D - u0)) = use rise t / V. Implicit steps of 1 s: 0.1 % is allowed.
    """
    of = plant(loop_tank=own_tank(), outlet=np.array([65.0]))
    store, hour, loop = filled(of.column, 65.0), hour_with(10.0), held_at(50.0)
    rate, rise = 2e-4, 39.0  # m³/s at 49 °C
    for _ in range(3600):
        moved, loop = through_tank(of, store, hour, Flow(rate, 0.0, 0.0, 0.0, 0.0), loop, 1.0)
        assert moved.taps_heat == pytest.approx(rate * rise, rel=1e-7)
        assert moved.missing == moved.short == loop.lost == 0.0
    u, span = loop.held - 10.0, 55.0
    passed = 40.0 - u - span * np.log((span - u) / (span - 40.0))
    assert passed == pytest.approx(rate * rise * 3600.0 / 0.4, rel=1e-3)


@pytest.mark.law
@given(
    held=st.floats(20.0, 75.0),
    top=st.floats(20.0, 75.0),
    use=st.floats(1e-5, 1.0),
    straight=st.floats(0.0, 0.3),
)
@settings(max_examples=200)
def test_a_loop_tank_keeps_its_heat_and_books_what_is_missing(
    held: float, top: float, use: float, straight: float
) -> None:
    """First law of tank and store, and of the taps: heat given and heat missing are the heat asked for."""
    of = plant(loop_tank=own_tank(loss=5.0))
    store, hour = filled(of.column, top), hour_with(10.0, loop_watts=2e3)
    before = heat(store)
    flow = Flow(use / 60.0, 0.0, straight / 60.0, 0.0, 0.0)
    moved, loop = through_tank(of, store, hour, flow, held_at(held), 60.0)
    change = heat(store) - before + 0.4 * (loop.held - held)
    # each volume that leaves through the taps comes in as mains water: heat above mains
    gained = moved.heat - moved.taps_heat - moved.loop_heat - loop.lost
    assert change == pytest.approx(gained, abs=1e-9)
    assert moved.taps_heat + moved.missing == pytest.approx(39.0 * use, rel=1e-6)


def test_a_loop_beside_the_store_cools_its_tank_by_hand() -> None:
    """2 kW out of 0.4 m³ in an hour, at the loop's own supply: 7.2 MJ over 0.4 rho c = 4.36 K."""
    of = plant(loop_tank=own_tank(through=0.0))
    moved, loop = beside_tank(of, hour_with(loop_watts=2e3), NOTHING, held_at(60.0), 3600.0)
    fall = 60.0 - loop.held
    assert fall == pytest.approx(7.2e6 / (0.4 * RHO_CP), rel=1e-12) == pytest.approx(4.36, abs=0.01)
    assert moved.loop_heat * RHO_CP == pytest.approx(7.2e6)
    assert moved == NOTHING._replace(loop_heat=moved.loop_heat)  # the store is left alone


def test_the_loop_tank_is_heated_to_its_setpoint_and_no_further() -> None:
    """9 kW against 0.4 rho c: 0.327 K a minute; the last step takes the rest; it stands below its range."""
    of = plant(loop_tank=own_tank())
    assert heat_tank(of.loop_tank, held_at(52.5), 60.0, 7.0) == held_at(52.5)  # within the dead band
    found = heat_tank(of.loop_tank, held_at(51.9), 60.0, 7.0)
    assert (found.heat, found.energy, found.on) == (540e3, 540e3, True)
    rise = found.held - 51.9
    assert rise == pytest.approx(540e3 / (0.4 * RHO_CP)) == pytest.approx(0.327, abs=1e-3)
    found = heat_tank(of.loop_tank, held_at(54.9, on=True), 60.0, 7.0)
    assert found.held == pytest.approx(55.0)
    assert found.heat == found.energy == pytest.approx(0.1 * 0.4 * RHO_CP)
    assert not found.on
    own = plant(loop_tank=own_tank(power=0.0, lowest=-10.0))
    found = heat_tank(own.loop_tank, held_at(50.0, on=True), 60.0, -10.1)
    assert (found.held, found.heat, found.energy) == (50.0, 0.0, 0.0)
    found = heat_tank(own.loop_tank, held_at(50.0, on=True), 60.0, -9.9)
    assert (found.heat, found.energy) == pytest.approx((1.8e6, 6e5), rel=1e-9)


# -- part speed ----------------------------------------------------------------------------------------


def coiled(**changes: object) -> Plant:
    """A machine whose coil takes 21 kW at 7 °C and needs 10 K for it; capacity rises by 3 % a kelvin."""
    grid = np.arange(-40.0, 46.0)
    capacity = 30e3 * (1.0 + 0.03 * (grid - 7.0)).clip(0.1)[:, None, None] * np.ones((1, 2, 1))
    steep = PerformanceMap(
        grid, np.array([5.0, 60.0]), np.array([60.0]), capacity, np.full(capacity.shape, 10e3)
    )
    return plant(machine=steep, coil=10.0 / 21e3, gas_share=0.9, turndown=0.1, **changes)


@pytest.mark.parametrize("source", [-15.0, 0.0, 7.0, 25.0])
def test_part_speed_evaporates_below_its_source(source: float) -> None:
    """At s of full speed the coil takes s times the heat: so has it s times the difference. At 1 all stays.

    10 K, asked for where 4 K were anchored, would put the refrigerant above the air at a fifth of the speed.
    """
    p = coiled()
    before = np.inf
    for speed in (0.1, 0.2, 0.5, 0.9, 1.0):
        p.speed[0] = speed
        met = full_speed_source(machine_now(p), source, 20.0)
        heat = coil_heat(machine_now(p), met, 20.0)
        evaporating = met - p.coil * heat
        assert evaporating == pytest.approx(
            source - speed * p.coil * heat, abs=2e-3
        )  # its resolution, 1e-3 K
        assert evaporating < source
        assert evaporating < before
        before = evaporating
    assert met == source
    assert perform(machine_now(p), source, 20.0) == look_up(p.machine, source, 20.0, 60.0)


def test_frost_at_part_speed_is_that_of_the_coil_s_load() -> None:
    """Between the columns of `LOADS`; at full speed that of the hour; and other losses of the hour stay."""
    p = coiled()
    frost = np.array([1.0 - 0.1 * LOADS, 1.0 - 0.02 * LOADS, 0.05 * LOADS])
    before = -1.0
    for speed in (0.1, 0.3, 0.6, 1.0):
        p.speed[0] = speed
        capacity, power, drawn, pause = part_frost(machine_now(p), frost, 0.0, 20.0, 0.9 * 0.97, 0.0)
        assert capacity / 0.97 == pytest.approx(1.0 - 2.0 * drawn, rel=1e-12)
        assert power == pytest.approx(1.0 - 0.4 * drawn, rel=1e-12)
        assert pause == 0.0
        assert drawn > before
        before = drawn
    assert drawn == pytest.approx(0.05, rel=1e-12)
    p.speed[0] = 0.3
    capacity, _, drawn, pause = part_frost(machine_now(p), frost, 0.0, 20.0, 0.97, 0.1)  # defrosts as events
    assert capacity == 0.97
    assert pause == pytest.approx(2.0 * drawn, rel=1e-12)
