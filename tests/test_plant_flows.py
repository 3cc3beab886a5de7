"""One step of the plant against balances and closed forms worked by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.heatpump.frost import LOADS
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.plant.arrays import BackupMode, LoopTank, Plant, StandingLines, WaterSide
from hpwhsim.plant.charging import charge, charge_between, draw_back, reheat
from hpwhsim.plant.controls import Controls
from hpwhsim.plant.flows import circulate, draw, heat_tank, hot_needed, most_hot, through_tank
from hpwhsim.plant.part_speed import coil_heat, full_speed_source, part_frost, perform
from hpwhsim.storage.tank import RHO_CP, drawn_heat, heat_below, make_column, make_scratch, reconstruct

CELLS = 40
SECONDS = 300.0
VOLUME = 2.0  # m³


def machine(capacity: float = 30e3, cop: float = 3.0, steeper: float = 0.0) -> PerformanceMap:
    """Constant capacity; power grows by the share `steeper` from 0 to 60 °C of inlet."""
    source, inlet, outlet = np.array([-20.0, 40.0]), np.array([0.0, 60.0]), np.array([60.0, 65.0])
    shape = (2, 2, 2)
    power = np.full(shape, capacity / cop)
    power[:, 1, :] *= 1.0 + steeper
    return PerformanceMap(source, inlet, outlet, np.full(shape, capacity), power)


NO_TANK = LoopTank(0.0, 0.0, 55.0, 3.0, 0.0, 1.0, machine(), 5.0, -20.0)


def plant(**changes: object) -> Plant:
    base = Plant(
        step_seconds=SECONDS,
        column=make_column(
            VOLUME, 2.0, CELLS, SECONDS, loss=0.0, room=20.0, conductivity=0.64, inlet_mixing=0.0
        ),
        machine=machine(),
        modules=1,
        water_side=int(WaterSide.SINGLE),
        sources=None,  # not read by what flows
        outlet=np.array([60.0]),
        rise=5.0,
        intake_port=0,
        return_port=20,
        draw_port=CELLS,
        charge_apart=0,
        valve_setpoint=49.0,
        valve_difference=0.0,
        condenser_cells=20,
        highest_inlet=60.0,
        turndown=1.0,
        coil=0.0,
        gas_share=1.0,
        speed=np.ones(1),
        fan_power=0.0,
        pump_power=0.0,
        crankcase_power=0.0,
        crankcase_below=0.0,
        standby_power=0.0,
        start_loss=0.0,
        lowest_source=-20.0,
        controls=Controls(16.0, 6.0, 50.0, 55.0, 0.0, 0.0, 0.0, True, False, 300.0),
        backup_mode=int(BackupMode.NONE),
        backup_power=0.0,
        backup_efficiency=1.0,
        backup_electric=1.0,
        reserve_level=0.0,
        backup_dead_band=3.0,
        backup_delay=0.0,
        use_temperature=49.0,
        minimum_temperature=43.0,
        loop_runs=0.0,
        loop_ambient=20.0,
        loop_supply=60.0,
        loop_limit=np.inf,
        loop_port=20,
        loop_tank=NO_TANK,
        lines=StandingLines(0.0, 1.0, 0.0, 0.0),
    )
    return base._replace(**changes)


CELL = VOLUME / CELLS
CLEAN = (1.0, 1.0)
TO_CELLS = SECONDS / (RHO_CP * CELL)  # cell·K in the step per W


def test_charge_from_cold_water_is_capacity_over_lift() -> None:
    """30 kW for 300 s from 10 to 60 °C: volume = heat / (rho c 50 K)."""
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 10.0)
    reconstruct(store, scratch, 10.0)
    flow, cop, duty, inside, _ = charge(store, scratch, p, SECONDS, 1, 7.0, 10.0, 0.0, 40.0, CLEAN)
    assert flow * CELL == pytest.approx(30e3 * SECONDS / (RHO_CP * 50.0), rel=1e-9)
    assert cop == pytest.approx(3.0, rel=1e-12)
    assert duty == pytest.approx(1.0)
    assert inside


@pytest.mark.parametrize("cold", [0.0, 0.5, 2.0, 30.0])
def test_charge_gives_the_capacity_whatever_mains_water_comes_with_it(cold: float) -> None:
    """First law on the machine: heat = capacity x time, through a thermocline and with mains mixed in."""
    p, scratch = plant(), make_scratch(CELLS)
    store = np.concatenate((np.linspace(10.0, 45.0, 10), np.full(30, 55.0)))
    reconstruct(store, scratch, 10.0)
    flow, _, duty, *_ = charge(store, scratch, p, SECONDS, 1, 7.0, 8.0, cold, 40.0, CLEAN)
    from_store = max(flow - cold, 0.0)
    taken = min(flow, cold) * 8.0 + heat_below(store, scratch, from_store)
    assert duty == pytest.approx(1.0)
    assert flow * 60.0 - taken == pytest.approx(30e3 * TO_CELLS, rel=1e-3)  # the inlet's iteration, 1e-3 K


@given(
    st.lists(st.floats(5.0, 45.0), min_size=CELLS, max_size=CELLS),
    st.floats(1e3, 3e5),
    st.floats(1.0, 400.0),
    st.floats(0.0, 2.0),
)
@settings(deadline=None, max_examples=150)
def test_a_charge_runs_its_full_time_while_there_is_water(
    cells: list[float], capacity: float, seconds: float, cold: float
) -> None:
    """Nothing but its sensor, or the end of the column, stops a charge: not the edge of a cell either."""
    p, scratch, store = plant(machine=machine(capacity=capacity)), make_scratch(CELLS), np.sort(cells)
    reconstruct(store, scratch, store[0])
    flow, _, duty, _, reached = charge(store, scratch, p, seconds, 1, 7.0, 10.0, cold, float(CELLS), CLEAN)
    assert not reached
    if flow - cold < CELLS - 1e-6:
        assert duty == pytest.approx(1.0, abs=1e-8)


@pytest.mark.parametrize("deepest", [0.25, 1.0, 3.7])
def test_a_charge_ends_at_its_sensor_alone(deepest: float) -> None:
    """1 MW would pass 20 cells: it ends where the sensor is, and says that this is why."""
    p, scratch, store = plant(machine=machine(capacity=1e6)), make_scratch(CELLS), np.full(CELLS, 10.0)
    reconstruct(store, scratch, 10.0)
    flow, _, duty, _, reached = charge(store, scratch, p, SECONDS, 1, 7.0, 10.0, 0.0, deepest, CLEAN)
    assert flow == pytest.approx(deepest)
    assert reached
    assert duty < 1.0


def test_charge_sees_each_parcel_at_its_own_temperature() -> None:
    """Half a store at 10 °C under 50 °C: with power linear in inlet, energy is the sum over both parts."""
    p = plant(machine=machine(capacity=1e6, steeper=0.5))
    scratch, store = make_scratch(CELLS), np.repeat([10.0, 50.0], CELLS // 2)
    reconstruct(store, scratch, 10.0)
    flow, cop, duty, *_ = charge(store, scratch, p, SECONDS, 1, 7.0, 10.0, 0.0, 30.0, CLEAN)
    assert flow == pytest.approx(30.0)
    heat = 20.0 * 50.0 + 10.0 * 10.0
    energy = (20.0 * 50.0 * (1.0 + 0.5 / 6.0) + 10.0 * 10.0 * (1.0 + 2.5 / 6.0)) / 3.0
    assert cop == pytest.approx(heat / energy, rel=1e-9)
    assert duty == pytest.approx(heat / (1e6 * TO_CELLS), rel=1e-9)


def test_charge_stands_where_the_water_is_too_warm() -> None:
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 58.0)
    reconstruct(store, scratch, 58.0)
    flow, *_ = charge(store, scratch, p, SECONDS, 1, 7.0, 10.0, 0.0, 40.0, CLEAN)
    assert np.isnan(flow)


@pytest.mark.parametrize(("hot", "share"), [(60.0, 0.78), (49.0, 1.0), (80.0, 39.0 / 70.0), (40.0, 1.0)])
def test_thermostatic_mixing(hot: float, share: float) -> None:
    """Mixing by enthalpy at 10 °C mains and 49 °C use: hot share = (49 - 10) / (hot - 10), at most 1."""
    assert hot_needed(plant(), 1.0, 10.0, hot) == pytest.approx(share, rel=1e-12)


def test_no_hot_water_where_the_mains_are_warm_enough() -> None:
    assert hot_needed(plant(), 1.0, 50.0, 60.0) == 0.0


@given(st.floats(0.01, 60.0), st.floats(2.0, 30.0), st.floats(0.0, 0.5))
@settings(deadline=None)
def test_draw_delivers_use_temperature_from_a_layered_store(
    use: float, mains: float, hot_share: float
) -> None:
    """Heat drawn + heat missing = what water at use temperature holds above mains, for any draw and layering.

    Exact while the valve mixes; a cell that straddles use temperature is one parcel, so 0.3 % is allowed.
    """
    p, scratch = plant(), make_scratch(CELLS)
    store = np.concatenate((np.full(10, mains), np.linspace(mains, 60.0, 10), np.full(20, 60.0)))
    reconstruct(store, scratch, mains)
    hot = min(hot_share * use, 0.999 * hot_needed(p, use, mains, 60.0))
    volume, short, missing = draw(store, scratch, p, use, mains, hot)
    heat = drawn_heat(store, scratch, volume, mains, 0) + hot * 60.0
    given_heat = heat - (volume + hot) * mains
    wanted = use * (49.0 - mains)
    assert given_heat + missing == pytest.approx(wanted, rel=3e-3)
    assert volume + hot <= use * (1.0 + 1e-9)
    assert 0.0 <= short <= use * (1.0 + 1e-9)


def test_draw_from_a_cold_store_counts_what_is_short() -> None:
    """Store at 40 °C, minimum 43 °C: all short, 9 K missing."""
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 40.0)
    reconstruct(store, scratch, 40.0)
    volume, short, missing = draw(store, scratch, p, 2.0, 10.0, 0.0)
    assert (volume, short, missing) == pytest.approx((2.0, 2.0, 18.0))


def test_a_draw_of_many_stores_in_one_step() -> None:
    """100 stores at once: the store's heat above 10 °C is all that comes out."""
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 60.0)
    reconstruct(store, scratch, 10.0)
    moved = circulate(store, scratch, p, SECONDS, 100.0 * CELLS, 10.0, 0.0, 0.0, 50.0)
    assert moved.taps_heat == pytest.approx(CELLS * 50.0, rel=1e-9)
    assert store == pytest.approx(np.full(CELLS, 10.0), abs=1e-9)
    served = CELLS / 0.78  # at use temperature, before the store is empty
    assert moved.short == pytest.approx(100.0 * CELLS - served, rel=1e-3)


@given(
    st.lists(st.floats(10.0, 60.0), min_size=CELLS, max_size=CELLS),
    st.floats(0.0, 100.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 20e3),
    st.floats(0.0, 0.3),
)
@settings(deadline=None)
def test_circulation_keeps_the_heat(
    temperatures: list[float], use: float, flow: float, loop_loss: float, mixing: float
) -> None:
    """First law over store, machine, taps and loop for any flows; 1e-9 of the heat that passed."""
    column = make_column(
        VOLUME, 2.0, CELLS, SECONDS, loss=0.0, room=20.0, conductivity=0.64, inlet_mixing=mixing
    )
    p = plant(column=column)
    scratch, store = make_scratch(CELLS), np.sort(np.array(temperatures))
    before = store.sum()
    reconstruct(store, scratch, store[0])
    moved = circulate(store, scratch, p, SECONDS, use, 10.0, flow, loop_loss, 50.0)
    through = before + abs(moved.heat) + abs(moved.taps_heat) + abs(moved.loop_heat) + (use + flow) * 60.0
    assert store.sum() - before == pytest.approx(
        moved.heat - moved.taps_heat - moved.loop_heat, abs=1e-9 * through
    )


def test_loop_loses_its_constant_heat_and_returns_at_its_temperature() -> None:
    """2 kW for 300 s; 60 °C out, 50 °C back: flow = loss / (rho c 10 K), found again in the moved profile."""
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 60.0)
    reconstruct(store, scratch, 60.0)
    moved = circulate(store, scratch, p, SECONDS, 0.0, 10.0, 0.0, 2e3, 50.0)
    assert moved.loop_heat == pytest.approx(2e3 * TO_CELLS, rel=1e-12)
    inserted = 2e3 * TO_CELLS / 10.0
    assert store[20] == pytest.approx(60.0 - 10.0 * inserted, rel=1e-9)
    assert np.delete(store, 20) == pytest.approx(np.full(CELLS - 1, 60.0), abs=1e-9)


def test_a_cold_loop_loses_in_proportion() -> None:
    """At a top of 35 °C in air of 20 °C, where 2 kW are lost from 60 °C: 15/40 of the loss."""
    p, scratch, store = plant(), make_scratch(CELLS), np.full(CELLS, 35.0)
    reconstruct(store, scratch, 35.0)
    moved = circulate(store, scratch, p, SECONDS, 0.0, 10.0, 0.0, 2e3, 50.0)
    assert moved.loop_heat == pytest.approx(750.0 * TO_CELLS, rel=1e-12)


@pytest.mark.parametrize("side", [WaterSide.MULTI, WaterSide.WRAPPED])
@pytest.mark.parametrize("frosted", [CLEAN, (0.9, 0.985)])
def test_reheating_gives_the_capacity(side: WaterSide, frosted: tuple[float, float]) -> None:
    """First law: heat into the store = capacity x time, electricity = power x time, whatever the layers."""
    p = plant(water_side=int(side), machine=machine()._replace(water_out_c=np.array([np.nan])))
    flat = [field[:, :, :1] for field in (p.machine.capacity_w, p.machine.power_w)]
    p = p._replace(machine=p.machine._replace(capacity_w=flat[0], power_w=flat[1]))
    scratch, store = make_scratch(CELLS), np.linspace(15.0, 52.0, CELLS)
    before = store.sum()
    reconstruct(store, scratch, store[0])
    heat, energy, flow, inlet, inside = reheat(store, scratch, p, SECONDS, 1, 7.0, frosted)
    assert heat == pytest.approx(frosted[0] * 30e3 * TO_CELLS, rel=1e-12)
    assert energy == pytest.approx(frosted[1] * 10e3 * SECONDS, rel=1e-12)
    assert store.sum() - before == pytest.approx(heat, rel=1e-9)
    assert inside
    if side == WaterSide.MULTI:
        assert flow == pytest.approx(heat / 5.0, rel=1e-12)  # 5 K of rise
        assert inlet == pytest.approx(
            heat_below(np.linspace(15.0, 52.0, CELLS), scratch, flow) / flow, abs=0.1
        )
    else:
        assert flow == 0.0
        covered = np.linspace(15.0, 52.0, CELLS)[:20]
        assert inlet == pytest.approx(np.average(covered, weights=60.0 - covered))
        assert np.array_equal(store[20:], np.linspace(15.0, 52.0, CELLS)[20:])


@pytest.mark.parametrize("side", [WaterSide.MULTI, WaterSide.WRAPPED])
def test_reheating_stops_at_the_hottest_water(side: WaterSide) -> None:
    p, scratch, store = plant(water_side=int(side)), make_scratch(CELLS), np.full(CELLS, 59.5)
    reconstruct(store, scratch, 59.5)
    assert np.isnan(reheat(store, scratch, p, SECONDS, 1, 7.0, CLEAN)[0])
    assert store == pytest.approx(np.full(CELLS, 59.5))


@pytest.mark.parametrize("side", list(WaterSide))
def test_a_defrost_takes_its_heat_and_no_more(side: WaterSide) -> None:
    store = np.full(CELLS, 50.0)
    draw_back(store, plant(water_side=int(side)), 7.0)
    assert store.sum() == pytest.approx(CELLS * 50.0 - 7.0, rel=1e-12)


def test_a_wrapped_condenser_heats_no_cell_past_its_hottest_water() -> None:
    """Cold foot under hot water, far more capacity than room: all covered cells end at 60 °C, none above."""
    p = plant(water_side=int(WaterSide.WRAPPED), machine=machine(capacity=3e6))
    scratch, store = make_scratch(CELLS), np.repeat([10.0, 59.0], CELLS // 2)
    reconstruct(store, scratch, 10.0)
    heat, energy, *_ = reheat(store, scratch, p._replace(condenser_cells=30), SECONDS, 1, 7.0, CLEAN)
    assert store[:30] == pytest.approx(np.full(30, 60.0))
    assert heat == pytest.approx(20 * 50.0 + 10 * 1.0)
    assert energy == pytest.approx(heat / TO_CELLS * SECONDS / 3.0)


def test_a_charge_between_ports_moves_only_what_lies_between() -> None:
    """First law on the machine, and plug flow: cells outside the ports keep their temperature."""
    p = plant(intake_port=4, return_port=30, charge_apart=1)
    scratch, store = make_scratch(CELLS), np.linspace(12.0, 40.0, CELLS)
    before = store.copy()
    heat, energy, flow, inlet, duty, inside, _ = charge_between(
        store, scratch, p, SECONDS, 1, 7.0, 40.0, CLEAN
    )
    assert inside
    assert duty == pytest.approx(1.0)
    assert heat == pytest.approx(30e3 * TO_CELLS, rel=1e-3)  # the inlet's iteration, 1e-3 K
    assert energy == pytest.approx(10e3 * SECONDS, rel=1e-3)
    assert flow * (60.0 - inlet) == pytest.approx(heat, rel=1e-12)
    assert store.sum() - before.sum() == pytest.approx(heat, rel=1e-9)
    assert np.array_equal(store[:4], before[:4])
    assert np.array_equal(store[30:], before[30:])


def test_ports_at_the_ends_charge_like_the_plain_store() -> None:
    """Independent path: without draws, bottom to top through `charge` and `circulate` is the same charge."""
    scratch, store = make_scratch(CELLS), np.linspace(12.0, 40.0, CELLS)
    other = store.copy()
    p = plant(intake_port=0, return_port=CELLS)
    heat, *_ = charge_between(store, scratch, p, SECONDS, 1, 7.0, 40.0, CLEAN)
    reconstruct(other, scratch, other[0])
    flow, *_ = charge(other, scratch, p, SECONDS, 1, 7.0, 10.0, 0.0, 40.0, CLEAN)
    moved = circulate(other, scratch, p, SECONDS, 0.0, 10.0, flow, 0.0, 50.0)
    assert heat == pytest.approx(moved.heat, rel=1e-9)
    assert store == pytest.approx(other, abs=1e-9)


def test_multi_pass_water_leaves_what_is_below_its_intake() -> None:
    p = plant(water_side=int(WaterSide.MULTI), intake_port=6)
    scratch, store = make_scratch(CELLS), np.linspace(15.0, 40.0, CELLS)
    before = store.copy()
    reconstruct(store, scratch, store[0])
    heat, _, _, inlet, _ = reheat(store, scratch, p, SECONDS, 1, 7.0, CLEAN)
    assert heat == pytest.approx(30e3 * TO_CELLS, rel=1e-12)
    assert store.sum() - before.sum() == pytest.approx(heat, rel=1e-9)
    assert np.array_equal(store[:6], before[:6])
    assert inlet > before[6] - 1.0


@pytest.mark.parametrize(("hot", "at_tap"), [(59.0, 49.0), (54.0, 10.0 + 39.0 * 44.0 / 49.0), (70.0, 49.0)])
def test_a_tempering_valve_holds_its_setpoint_down_to_its_difference(hot: float, at_tap: float) -> None:
    """Mixing at the end of its travel: 10 K above 49 °C with mains of 10 °C is 39/49 of hot water at most."""
    p = plant(valve_setpoint=49.0, valve_difference=10.0)
    assert most_hot(p, 10.0) == pytest.approx(39.0 / 49.0, rel=1e-12)
    scratch, store = make_scratch(CELLS), np.full(CELLS, hot)
    reconstruct(store, scratch, hot)
    volume, _, missing = draw(store, scratch, p, 2.0, 10.0, 0.0)
    assert missing == pytest.approx(2.0 * (49.0 - at_tap), abs=1e-9)
    assert volume == pytest.approx(2.0 * (at_tap - 10.0) / (hot - 10.0), rel=1e-9)


def own_tank(**changes: object) -> LoopTank:
    """A loop tank of 0.4 m³ at 55 °C with a resistance of 9 kW."""
    tank = LoopTank(0.4, 0.0, 55.0, 3.0, 9e3, 1.0, machine(), 5.0, -np.inf)
    return tank._replace(**changes)


def test_a_loop_tank_warms_as_the_taps_draw_through_it_and_gives_their_heat() -> None:
    """Closed form of a mixed tank between a store at 65 °C and taps that take constant heat.

    With u = tank - mains and D = store - mains: V u du / (D - u) = use rise dt, so that
    u0 - u - D ln((D - u)/(D - u0)) = use rise t / V. Implicit steps of 1 s: 0.1 % is allowed.
    """
    of = plant(loop_tank=own_tank(), outlet=np.array([65.0]))
    store, scratch = np.full(CELLS, 65.0), make_scratch(CELLS)
    mains, held, seconds, rate, rise = 10.0, 50.0, 1.0, 2e-4, 39.0  # m³/s at 49 °C
    use = rate * seconds / CELL
    for _ in range(3600):
        reconstruct(store, scratch, mains)
        moved, held, lost = through_tank(
            store[: of.draw_port], scratch, of, seconds, use, mains, 0.0, 0.0, 50.0, held
        )
        assert moved.taps_heat == pytest.approx(use * rise, rel=1e-7)
        assert moved.missing == moved.short == lost == 0.0
    u, span = held - mains, 55.0
    passed = 40.0 - u - span * np.log((span - u) / (span - 40.0))
    assert passed == pytest.approx(rate * rise * 3600.0 / 0.4, rel=1e-3)


@given(
    held=st.floats(20.0, 75.0),
    top=st.floats(20.0, 75.0),
    use=st.floats(0.01, 60.0),
    flow=st.floats(0.0, 9.0),
)
@settings(max_examples=200, deadline=None)
def test_a_loop_tank_keeps_its_heat_and_books_what_is_missing(
    held: float, top: float, use: float, flow: float
) -> None:
    """First law of tank and store, and of the taps: heat given and heat missing are the heat asked for."""
    of = plant(loop_tank=own_tank(loss=5.0))
    store, scratch, mains = np.full(CELLS, top), make_scratch(CELLS), 10.0
    reconstruct(store, scratch, mains)
    before = store.sum()
    moved, end, lost = through_tank(store, scratch, of, 60.0, use, mains, flow, 2e3, 50.0, held)
    size = 0.4 / CELL
    change = store.sum() - before + size * (end - held)
    # each volume that leaves through the taps comes in as mains water: heat above mains
    assert change == pytest.approx(moved.heat - moved.taps_heat - moved.loop_heat - lost, abs=1e-7)
    assert moved.taps_heat + moved.missing == pytest.approx(39.0 * use, rel=1e-6)


def test_a_loop_beside_the_store_cools_its_tank_by_hand() -> None:
    """2 kW out of 0.4 m³ in an hour, at the loop's own supply: 7.2 MJ over 0.4 rho c = 4.36 K."""
    of = plant(loop_tank=own_tank(through=0.0))
    store, scratch = np.full(CELLS, 60.0), make_scratch(CELLS)
    reconstruct(store, scratch, 10.0)
    moved, held, _ = through_tank(store, scratch, of, 3600.0, 0.0, 10.0, 0.0, 2e3, 50.0, 60.0)
    assert 60.0 - held == pytest.approx(7.2e6 / (0.4 * RHO_CP), rel=1e-12) == pytest.approx(4.36, abs=0.01)
    assert moved.loop_heat * CELL * RHO_CP == pytest.approx(7.2e6)
    assert np.all(store == 60.0)


def test_the_loop_tank_is_heated_to_its_setpoint_and_no_further() -> None:
    """9 kW against 0.4 rho c: 0.327 K a minute; the last step takes the rest; it stands below its range."""
    of = plant(loop_tank=own_tank())
    assert heat_tank(of, 60.0, 52.5, False, 7.0) == (52.5, 0.0, 0.0, False)  # within the dead band
    held, heat, energy, on = heat_tank(of, 60.0, 51.9, False, 7.0)
    assert (heat, energy, on) == (540e3, 540e3, True)
    assert held - 51.9 == pytest.approx(540e3 / (0.4 * RHO_CP)) == pytest.approx(0.327, abs=1e-3)
    held, heat, energy, on = heat_tank(of, 60.0, 54.9, True, 7.0)
    assert held == pytest.approx(55.0)
    assert heat == energy == pytest.approx(0.1 * 0.4 * RHO_CP)
    assert not on
    own = plant(loop_tank=own_tank(power=0.0, lowest=-10.0))
    assert heat_tank(own, 60.0, 50.0, True, -10.1)[:3] == (50.0, 0.0, 0.0)
    assert heat_tank(own, 60.0, 50.0, True, -9.9)[1:3] == pytest.approx((1.8e6 * 0.5 * 2, 6e5), rel=1e-9)


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
        met = full_speed_source(p, source, 20.0, 60.0, speed)
        heat = coil_heat(p, met, 20.0, 60.0)
        evaporating = met - p.coil * heat
        assert evaporating == pytest.approx(
            source - speed * p.coil * heat, abs=2e-3
        )  # its resolution, 1e-3 K
        assert evaporating < source
        assert evaporating < before
        before = evaporating
    assert met == source
    p.speed[0] = 1.0
    assert perform(p, source, 20.0, 60.0) == look_up(p.machine, source, 20.0, 60.0)


def test_frost_at_part_speed_is_that_of_the_coil_s_load() -> None:
    """Between the columns of `LOADS`; at full speed that of the hour; and other losses of the hour stay."""
    p = coiled()
    frost = np.array([1.0 - 0.1 * LOADS, 1.0 - 0.02 * LOADS, 0.05 * LOADS])
    before = -1.0
    for speed in (0.1, 0.3, 0.6, 1.0):
        p.speed[0] = speed
        capacity, power, drawn, pause = part_frost(p, frost, 0.0, 20.0, 0.9 * 0.97, 0.0)
        assert capacity / 0.97 == pytest.approx(1.0 - 2.0 * drawn, rel=1e-12)
        assert power == pytest.approx(1.0 - 0.4 * drawn, rel=1e-12)
        assert pause == 0.0
        assert drawn > before
        before = drawn
    assert drawn == pytest.approx(0.05, rel=1e-12)
    p.speed[0] = 0.3
    capacity, _, drawn, pause = part_frost(p, frost, 0.0, 20.0, 0.97, 0.1)  # defrosts as events
    assert capacity == 0.97
    assert pause == pytest.approx(2.0 * drawn, rel=1e-12)
