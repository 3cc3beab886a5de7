"""The bound under perfect foresight: closed forms, dynamic programming, duality, controls it must beat."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.errors import OutOfRangeError
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.study.best_performance import line_below, over_inlets
from hpwhsim.study.foresight import Schedule, best_schedule, share_of_saving
from hpwhsim.study.reduced import Grade, ReducedPlant, Tank

Array = NDArray[np.float64]

EXACT = 1e-8  # relative: the solver's tolerance of 1e-7 on each limit, over sums of the size of one and more


def invented_year() -> tuple[ReducedPlant, Array, NDArray[np.int64]]:
    """An invented plant of 20 apartments, an evening price, and the month of each hour."""
    rng = np.random.default_rng(7)
    hour = np.arange(8760)
    outdoor = (
        10.0 - 12.0 * np.cos(2.0 * np.pi * hour / 8760) + 4.0 * np.sin(2.0 * np.pi * (hour % 24 - 9) / 24)
    )
    shape = np.array(
        [1, 1, 1, 1, 2, 5, 11, 13, 9, 6, 5, 4, 4, 4, 3, 3, 4, 6, 8, 8, 7, 5, 3, 2], dtype=np.float64
    )
    plant = ReducedPlant(
        demand=150.0 * np.tile(shape / shape.sum(), 365) * rng.gamma(4.0, 0.25, 8760),
        capacity=12.0 + 0.2 * outdoor,
        per_heat=1.0 / (2.4 + 0.05 * outdoor),
        storage=100.0,
        backup=30.0,
        loss_share=0.003,
        loss_constant=-0.05,
    )
    price = np.where((hour % 24 >= 16) & (hour % 24 < 21), 0.45, 0.18)
    return (
        plant,
        price,
        np.repeat(np.arange(12), np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24),
    )


def spent(best: Schedule) -> float:
    """Objective of a schedule that was found, and proved within the rounding of its own dual prices."""
    assert best.converged, best.message
    assert best.bound == pytest.approx(best.objective, rel=EXACT, abs=EXACT)
    return best.objective


def test_lossless_store_at_a_flat_price_costs_demand_over_cop() -> None:
    """First law: what goes in comes out, whenever; and with no store at all, hour by hour."""
    demand = np.array([0.0, 7.0, 1.0, 4.0])
    for storage in (0.0, 3.0, 100.0):
        best = best_schedule(ReducedPlant(demand, 8.0, 0.25, storage), 0.2)
        assert spent(best) == pytest.approx(0.2 * 12.0 * 0.25, rel=EXACT)
    # what passes straight through a store that stays at its coldest loses nothing
    lossy = best_schedule(ReducedPlant(demand, 8.0, 0.25, 0.0, loss_share=0.1), 1.0)
    assert spent(lossy) == pytest.approx(3.0, rel=EXACT)
    assert lossy.heat_pump_heat == pytest.approx(demand, abs=1e-7)


def test_two_prices() -> None:
    """A repeating day, cheap from 0 to 6, COP 4; 1 kWh in each hour, 6 of them cheap. Closed forms.

    Ample store and capacity: all at the cheap price. Store of 5 kWh: 5 of the 18 dear kWh move. Capacity of
    2 kWh an hour: 12 kWh can be made while it is cheap.
    """
    price = np.where(np.arange(24) < 6, 0.1, 0.3)
    one = np.ones(24)
    ample = best_schedule(ReducedPlant(one, 50.0, 0.25, 100.0), price)
    assert spent(ample) == pytest.approx(0.1 * 24 * 0.25, rel=EXACT)
    assert ample.heat_pump_heat[6:] == pytest.approx(np.zeros(18), abs=1e-7)
    assert ample.electricity.sum() == pytest.approx(6.0, rel=EXACT)
    small = best_schedule(ReducedPlant(one, 50.0, 0.25, 5.0), price)
    assert spent(small) == pytest.approx((0.1 * 11 + 0.3 * 13) * 0.25, rel=EXACT)
    weak = best_schedule(ReducedPlant(one, 2.0, 0.25, 100.0), price)
    assert spent(weak) == pytest.approx((0.1 * 12 + 0.3 * 12) * 0.25, rel=EXACT)


@pytest.mark.parametrize(("dear", "hour"), [(0.2, 9), (0.5, 2)])
def test_storing_pays_if_the_price_falls_by_more_than_the_loss(dear: float, hour: int) -> None:
    """One draw of 3 kWh at hour 9, one cheap hour 2 at 0.1, loss 10 % an hour.

    Charged at the end of hour 2, drawn at the start of hour 9: kept through six hours, so that the heat costs
    0.1 / 0.9^6 = 0.188; a price of 0.18 beats it, one of 0.5 does not. Heat made in hour 9 itself costs
    that hour's price.
    """
    price = np.full(12, 1.0)
    price[2], price[9] = 0.1, 0.18 if hour == 9 else dear
    demand = np.zeros(12)
    demand[9] = 3.0
    plant = ReducedPlant(demand, 50.0, 0.5, 50.0, loss_share=0.1, ends=(0.0, 0.0))
    best = best_schedule(plant, price)
    per_kwh = 0.18 if hour == 9 else 0.1 / 0.9**6
    assert spent(best) == pytest.approx(0.5 * 3.0 * per_kwh, rel=EXACT)
    assert int(np.argmax(best.heat_pump_heat)) == hour


def test_a_store_that_must_stay_warm_pays_its_loss() -> None:
    """Held at 20 kWh, loss 2 % of what the draw of 5 leaves, and 0.3 kWh beside it: 0.02 x 15 + 0.3 + 5."""
    plant = ReducedPlant(
        np.full(48, 5.0), 9.0, 1.0, 40.0, least=20.0, loss_share=0.02, loss_constant=0.3, ends=(20.0, 20.0)
    )
    assert spent(best_schedule(plant, 1.0)) == pytest.approx(48 * 5.6, rel=EXACT)


def test_a_cold_store_in_a_warm_room_gains_no_more_than_it_can() -> None:
    """Nothing heats but the room, as warm as 10 kWh of store; 10 % of the difference decays in an hour.

    After n hours 10 (1 - 0.9^n) kWh are there: 2.71 after three. The fourth hour's draw takes these at most,
    and what an hour at the coldest water lets in, -10 ln 0.9 = 1.0536 kWh.
    """
    plant = ReducedPlant(
        np.array([0.0, 0.0, 0.0, 2.71]), 0.0, 1.0, 50.0, loss_share=0.1, loss_constant=-1.0, ends=(0.0, 0.0)
    )
    best = best_schedule(plant, 1.0)
    assert spent(best) == 0.0
    assert (best.stored <= 10.0 * (1.0 - 0.9 ** np.arange(5)) + 1e-7).all()
    for draw, served in ((2.71 + 1.053, True), (2.71 + 1.054, False)):
        late = plant._replace(demand=np.array([0.0, 0.0, 0.0, draw]))
        assert best_schedule(late, 1.0).converged == served


def test_backup_joins_where_capacity_ends_and_fuel_has_its_own_price() -> None:
    """10 kWh in one hour, no store: 6 by the heat pump at COP 3, 4 by the backup; electric, then gas."""
    plant = ReducedPlant(np.array([10.0]), 6.0, 1.0 / 3.0, 0.0, backup=9.0)
    electric = best_schedule(plant, 0.3, demand_charge=2.0)
    assert spent(electric) == pytest.approx(0.3 * 6.0 + 2.0 * 6.0, rel=EXACT)
    assert electric.backup_heat == pytest.approx([4.0], rel=EXACT)
    gas = best_schedule(plant._replace(backup_per_heat=1.25), 0.3, fuel_signal=0.1, demand_charge=2.0)
    # efficiency 0.8; the charge makes fuel cheaper than electricity: 0.1 x 1.25 against (0.3 + 2) / 3
    assert spent(gas) == pytest.approx(0.125 * 9.0 + (0.3 + 2.0) / 3.0, rel=EXACT)
    assert gas.electricity == pytest.approx([1.0 / 3.0], rel=EXACT)


def test_demand_charge_levels_the_load() -> None:
    """Ample store, no energy price: one period runs at the mean; of two, the longer takes all the load.

    48 hours at p carry as much as 24 hours at 2 p, and only the sum of the two peaks is billed.
    """
    demand = np.zeros(72)
    demand[::9] = 18.0  # 144 kWh
    plant = ReducedPlant(demand, 50.0, 0.5, 500.0)
    flat = best_schedule(plant, 0.0, demand_charge=10.0)
    assert spent(flat) == pytest.approx(10.0 * 0.5 * 144.0 / 72.0, rel=EXACT)
    two = best_schedule(plant, 0.0, demand_charge=10.0, period=np.arange(72) // 24 // 2)
    assert spent(two) == pytest.approx(10.0 * 0.5 * 144.0 / 48.0, rel=EXACT)


def by_dynamic_programming(plant: ReducedPlant, price: Array) -> float:
    """Least cost over whole kWh of store, heat pump and backup, hour by hour; inf where there is no way."""
    assert plant.ends is not None
    capacity, backup = np.asarray(plant.capacity), np.asarray(plant.backup)
    per_heat = np.asarray(plant.per_heat)
    cost = {int(plant.ends[0]): 0.0}
    for t, drawn in enumerate(plant.demand):
        reached: dict[int, float] = {}
        for stored, so_far in cost.items():
            for q in range(int(capacity[t]) + 1):
                for b in range(int(backup[t]) + 1):
                    after = stored + q + b - int(drawn)
                    if 0 <= after <= plant.storage:
                        paid = so_far + price[t] * (q * per_heat[t] + b * plant.backup_per_heat)
                        reached[after] = min(reached.get(after, np.inf), paid)
        cost = reached
    return min((paid for stored, paid in cost.items() if stored >= plant.ends[1]), default=np.inf)


@st.composite
def whole_numbers(draw: st.DrawFn) -> tuple[ReducedPlant, Array]:
    hours = draw(st.integers(1, 7))

    def series(low: int, high: int) -> Array:
        return np.array(
            draw(st.lists(st.integers(low, high), min_size=hours, max_size=hours)), dtype=np.float64
        )

    storage = draw(st.integers(0, 6))
    ends = float(draw(st.integers(0, storage))), float(draw(st.integers(0, storage)))
    plant = ReducedPlant(
        demand=series(0, 4),
        capacity=series(0, 4),
        per_heat=series(1, 4) / 8.0,
        storage=float(storage),
        backup=series(0, 2),
        ends=ends,
    )
    return plant, series(1, 9) / 10.0


@given(case=whole_numbers())
def test_the_program_meets_dynamic_programming(case: tuple[ReducedPlant, Array]) -> None:
    """Without loss this is a flow in a network: with whole numbers its best is whole, so both must agree.

    Integrality of network flows: Ford and Fulkerson; a textbook result. Where no schedule exists both say so.
    """
    plant, price = case
    best = best_schedule(plant, price)
    expected = by_dynamic_programming(plant, price)
    if np.isinf(expected):
        assert not best.converged
        assert np.isnan(best.objective)
        assert "heated all the time" in best.message
    else:
        assert spent(best) == pytest.approx(expected, rel=EXACT, abs=EXACT)


@given(case=whole_numbers(), more=st.floats(0.0, 5.0), loss=st.floats(0.0, 0.2))
def test_more_store_or_capacity_never_costs_more(
    case: tuple[ReducedPlant, Array], more: float, loss: float
) -> None:
    """What a small plant can do a larger one can do too; whatever the loss as a share of the heat."""
    plant, price = case
    plant = plant._replace(loss_share=loss, ends=None)
    small = best_schedule(plant, price)
    for grown in (
        plant._replace(storage=plant.storage + more),
        plant._replace(capacity=np.asarray(plant.capacity) + more),
        plant._replace(backup=np.asarray(plant.backup) + more),
    ):
        if small.converged:
            assert spent(best_schedule(grown, price)) <= spent(small) + EXACT * (1.0 + abs(small.objective))


def thermostat(
    plant: ReducedPlant,
    room: float,
    decay: float,
    on: float,
    off: float,
    rng: np.random.Generator,
    parts: int,
) -> tuple[Array, Array, Array, float, float]:
    """Heat, backup heat and draw of each hour, end and lowest of a store run by a thermostat in short parts.

    Draws fall into parts of the hour at random; each part's decay towards `room` is exact. What the store
    cannot give is not delivered.
    """
    assert plant.ends is not None
    hours = plant.demand.size
    heat, backup, drawn = np.zeros(hours), np.zeros(hours), np.zeros(hours)
    stored, lowest, running = plant.ends[0], plant.ends[0], False
    for t in range(hours):
        split = rng.dirichlet(np.full(parts, 0.3))
        for part in range(parts):
            running = stored < off if running else stored < on
            added = min(running * np.asarray(plant.capacity)[t] / parts, plant.storage - stored)
            room_left = plant.storage - stored - added
            helped = min(np.asarray(plant.backup)[t] / parts, room_left) if stored < 0.2 * on else 0.0
            served = min(split[part] * plant.demand[t], stored + added + helped)
            stored += added + helped - served
            stored = room + (stored - room) * decay ** (1.0 / parts)
            lowest = min(lowest, stored)
            heat[t] += added
            backup[t] += helped
            drawn[t] += served
    return heat, backup, drawn, stored, lowest


@settings(max_examples=40)
@given(
    seed=st.integers(0, 2**32 - 1),
    storage=st.floats(2.0, 60.0),
    loss=st.floats(0.0, 0.2),
    room=st.floats(-0.2, 0.4),
    band=st.floats(0.1, 0.9),
    parts=st.integers(1, 12),
)
def test_no_thermostat_beats_the_bound(
    seed: int, storage: float, loss: float, room: float, band: float, parts: int
) -> None:
    """The law that makes it a bound, on stores that decay exactly inside the hour, at any order of events."""
    rng = np.random.default_rng(seed)
    warm = room * storage  # heat at which the store is as warm as its room
    plant = ReducedPlant(
        demand=rng.gamma(0.5, 6.0, 72),
        capacity=rng.uniform(2.0, 9.0, 72),
        per_heat=rng.uniform(0.2, 0.6, 72),
        storage=storage,
        backup=np.full(72, 4.0),
        loss_share=loss,
        loss_constant=-loss * warm,
        ends=(storage * rng.uniform(0.0, 1.0), 0.0),
    )
    assert plant.ends is not None
    on, off = storage * band * 0.9, storage * (0.5 + 0.5 * band)
    heat, backup, drawn, end, lowest = thermostat(plant, warm, 1.0 - loss, on, off, rng, parts)
    assume(
        lowest >= 0.0
    )  # a cold room may chill the store below the coldest water: outside the count of heat
    price = rng.uniform(0.05, 0.5, 72)
    paid = float(price @ (heat * np.asarray(plant.per_heat) + backup))
    plant = plant._replace(demand=drawn, ends=(plant.ends[0], end))
    assert spent(best_schedule(plant, price)) <= paid + EXACT * (1.0 + paid)
    # what the thermostat did is itself a schedule of the program: no more heat is there than it used
    assert best_schedule(plant._replace(capacity=heat, backup=backup), price).converged


def test_a_year_is_solved_and_proved() -> None:
    """8760 hours: the dual prices prove the optimum, the schedule keeps its limits, months' peaks cost."""
    plant, price, month = invented_year()
    best = best_schedule(plant, price)
    cost = spent(best)
    kept = (1.0 - plant.loss_share) * (best.stored[:-1] - plant.demand) - plant.loss_constant
    made = best.heat_pump_heat + best.backup_heat
    assert (best.stored[1:] <= kept + made + 1e-6).all()
    assert (best.heat_pump_heat <= np.asarray(plant.capacity) + 1e-6).all()
    assert best.stored.min() >= -1e-6
    assert best.stored.max() <= 100.0 + 1e-6
    assert best.stored[-1] >= best.stored[0] - 1e-6
    assert cost == pytest.approx(float(price @ best.electricity), rel=EXACT)
    charged = best_schedule(plant, price, demand_charge=15.0, period=month)
    peaks = [charged.electricity[month == m].max() for m in range(12)]
    expected = float(price @ charged.electricity) + 15.0 * sum(peaks)
    assert spent(charged) == pytest.approx(expected, rel=EXACT)
    before = cost + 15.0 * sum(best.electricity[month == m].max() for m in range(12))
    assert cost < charged.objective < before


def test_heat_value_is_the_slope_of_the_cost() -> None:
    """Difference of two optima 2e-3 kWh apart: the cost is straight between its bends. 1e-5: the solver's."""
    plant, price, _ = invented_year()
    hours = slice(0, 240)
    plant = plant._replace(
        demand=plant.demand[hours],
        capacity=np.asarray(plant.capacity)[hours],
        per_heat=np.asarray(plant.per_heat)[hours],
    )
    best = best_schedule(plant, price[hours])
    for t in (3, 79, 200):
        costs = []
        for step in (-1e-3, 1e-3):
            demand = plant.demand.copy()
            demand[t] += step
            costs.append(spent(best_schedule(plant._replace(demand=demand), price[hours])))
        assert (costs[1] - costs[0]) / 2e-3 == pytest.approx(best.heat_value[t], abs=1e-5)


def test_a_plant_that_cannot_serve_says_when() -> None:
    """4 kWh stored, 1 made each hour, 2 drawn: 4 hours last, the fifth (number 4) runs empty; no numbers."""
    plant = ReducedPlant(np.full(10, 2.0), 1.0, 0.3, 10.0, ends=(4.0, 0.0))
    best = best_schedule(plant, 1.0)
    assert not best.converged
    assert best.message == "heated all the time, the store still runs empty in hour 4 (the first is 0)"
    assert np.isnan([best.objective, best.bound]).all()
    assert np.isnan(best.heat_pump_heat).all()
    cyclic = best_schedule(plant._replace(ends=None), 1.0)
    assert not cyclic.converged
    assert "hour 0 " in cyclic.message  # full at first, it runs empty when the record repeats
    end = best_schedule(plant._replace(demand=np.zeros(10), ends=(0.0, 10.0), capacity=0.9), 1.0)
    assert end.message == "heated all the time, the store still holds too little at the end"


def test_share_of_saving() -> None:
    """Half way; all; none; worse than before; nothing to save; a bound that was none."""
    assert share_of_saving(100.0, 90.0, 80.0) == 0.5
    assert share_of_saving(100.0, 80.0, 80.0) == 1.0
    assert share_of_saving(100.0, 100.0, 80.0) == 0.0
    assert share_of_saving(100.0, 110.0, 80.0) == -0.5
    assert share_of_saving(100.0, 99.0, 100.0) is None
    assert share_of_saving(100.0, 99.0, 100.0 - 1e-8) is None
    assert share_of_saving(100.0, 99.0, 101.0) is None
    assert share_of_saving(100.0, 70.0, 80.0) == 1.5
    with pytest.raises(OutOfRangeError, match="bound: got nan"):
        share_of_saving(100.0, 70.0, np.nan)


def invented_map(rng: np.random.Generator, outlets: int, holes: float) -> PerformanceMap:
    source, inlet = np.array([-15.0, -5.0, 2.0, 20.0]), np.array([5.0, 20.0, 40.0, 50.0])
    shape = (4, 4, outlets)
    capacity = np.where(rng.random(shape) < holes, np.nan, rng.uniform(4e3, 2e4, shape))
    outlet = np.array([60.0, 70.0])[:outlets] if outlets > 1 else np.array([np.nan])
    return PerformanceMap(source, inlet, outlet, capacity, capacity / rng.uniform(1.5, 5.0, shape))


@settings(max_examples=25)
@given(
    seed=st.integers(0, 2**32 - 1),
    outlets=st.sampled_from([1, 2]),
    holes=st.sampled_from([0.0, 0.2]),
    fixed=st.booleans(),
)
def test_no_look_up_of_the_march_beats_the_best_of_the_map(
    seed: int, outlets: int, holes: float, fixed: bool
) -> None:
    """The march's own look-up at random inlets from the coldest up; 1e-9: rounding of the interpolation."""
    rng = np.random.default_rng(seed)
    machine = invented_map(rng, outlets, holes)
    sources, cold = rng.uniform(-18.0, 24.0, 12), rng.uniform(2.0, 30.0)
    outlet = 63.0 if fixed else None
    inlets = np.union1d([cold, 55.0], machine.water_in_c[machine.water_in_c > cold])
    best = over_inlets(machine, sources, inlets, outlet)
    colder = over_inlets(machine, sources, inlets, outlet, colder=True)
    for k, source in enumerate(sources):
        for inlet in np.append(rng.uniform(cold, 55.0, 10), cold):
            for found, met in ((best, source), (colder, source - rng.exponential(8.0))):
                got, power, _ = look_up(machine, met, inlet, outlet or rng.uniform(58.0, 72.0))
                if not np.isnan(got):
                    assert got <= found.capacity[k].max() * (1.0 + 1e-9)
                    assert power / got >= found.per_heat[k].min() * (1.0 - 1e-9)


def test_best_of_a_map_by_hand() -> None:
    """One source, inlets 10 and 50 °C: 8 kW at COP 4 and 6 kW at COP 2.

    At 20 °C: a quarter of the way, 7.5 kW and 2.25 kW. At 0 °C: the map's edge. Source 5 K past the end: the
    edge. A machine that works at no inlet has no capacity. At 10 °C and colder sources: that of 0 °C.
    """
    values = np.array([[[8e3], [6e3]], [[np.nan], [np.nan]]])
    machine = PerformanceMap(
        np.array([0.0, 10.0]),
        np.array([10.0, 50.0]),
        np.array([60.0]),
        values,
        values / np.array([[4.0], [2.0]]),
    )
    found = over_inlets(machine, [0.0, -5.0, 5.0, 10.0], [0.0, 10.0, 20.0])
    assert found.capacity == pytest.approx(np.array([[8e3, 8e3, 7.5e3]] * 2 + [[0.0] * 3] * 2))
    assert found.per_heat[:2] == pytest.approx(np.array([[0.25, 0.25, 2.25 / 7.5]] * 2))
    assert np.isinf(found.per_heat[2:]).all()
    assert over_inlets(machine, [10.0], [10.0], colder=True).per_heat == pytest.approx(np.array([[0.25]]))


@given(seed=st.integers(0, 2**32 - 1), points=st.integers(1, 12))
def test_a_line_below_touches_and_does_not_cross(seed: int, points: int) -> None:
    """Nowhere above a point, and no line through two of the points that is below all is higher at its place.

    1e-12, 1e-9: rounding.
    """
    rng = np.random.default_rng(seed)
    x, y = np.unique(rng.uniform(0.0, 40.0, points)), rng.uniform(0.1, 0.6, points)
    y = np.sort(y)[: x.size]  # rising, as electricity over warmth is
    at = np.array([rng.uniform(x[0], x[-1])])
    level, slope = line_below((x, y[None, :]), at)
    assert (level + slope * x <= y + 1e-12).all()
    for i in range(x.size):
        for j in range(i):
            other = (y[i] - y[j]) / (x[i] - x[j])
            if (y[i] + other * (x - x[i]) <= y + 1e-12).all():
                assert level + slope * at >= y[i] + other * (at - x[i]) - 1e-9


def test_a_tank_gets_no_more_than_its_water_brings() -> None:
    """4 h of 2 kWh each; taps' water brings 5 kWh in hour 0 and 1 in hour 3; the tank holds 4, heated at 1:1.

    Of 8 kWh it starts with 1 and gets 5 + 1: its heater gives 1; the heat pump 6 at COP 3. Where the tank
    must come to 3 kWh in the last hour, one more is heated, and is left over.
    """
    none = np.zeros(4)
    tank = Tank(np.array([5.0, 0.0, 0.0, 1.0]), 9.0, 1.0, 4.0, 0.0, (1.0, 0.0))
    plant = ReducedPlant(np.full(4, 2.0), 9.0, 1.0 / 3.0, 9.0, ends=(0.0, 0.0), tank=tank)
    best = best_schedule(plant, 1.0)
    assert spent(best) == pytest.approx(6.0 / 3.0 + 1.0, rel=EXACT)
    warm = plant._replace(tank=tank._replace(least=none + np.array([0.0, 0.0, 0.0, 3.0])))
    assert spent(best_schedule(warm, 1.0)) == pytest.approx(6.0 / 3.0 + 2.0, rel=EXACT)


def test_a_tank_begins_each_hour_as_warm_as_its_loop_asks() -> None:
    """4 h of 1 kWh each, all from the tank's heater at 1:1; it starts with 1 kWh.

    4 kWh are drawn and 1 was there: 3. With 3 kWh at the start of the last hour its heater has to give 5
    before that: 1 + 5 - 3 = 3.
    """
    tank = Tank(0.0, 9.0, 1.0, 4.0, 0.0, (1.0, 0.0))
    plant = ReducedPlant(np.ones(4), 0.0, 0.0, 0.0, ends=(0.0, 0.0), tank=tank)
    assert spent(best_schedule(plant, 1.0)) == pytest.approx(3.0, rel=EXACT)
    warm = plant._replace(tank=tank._replace(floor=np.array([0.0, 0.0, 1.0, 3.0])))
    assert spent(best_schedule(warm, 1.0)) == pytest.approx(5.0, rel=EXACT)


def test_the_second_balance_has_its_price() -> None:
    """10 kWh of heat at 20 K; the machine gives 5 K, more for 0.01 per K·kWh: 150 K·kWh cost 1.5 kWh.

    10 kWh at 0.2 are 2 kWh. A backup of COP 1 that gives 50 K is dearer: 1 kWh of it spares 0.2 and 0.45.
    With no more than 12 K to be had beside the 5 it must help: 17 q + 50 b = 200, q + b = 10: b = 30 / 33.
    """
    grade = Grade(np.array([200.0]), 5.0, 50.0, 0.01, 50.0, 0.0, 0.0, 1e3, (0.0, 0.0))
    plant = ReducedPlant(np.array([10.0]), 20.0, 0.2, 0.0, backup=9.0, ends=(0.0, 0.0), grade=grade)
    assert spent(best_schedule(plant, 1.0)) == pytest.approx(3.5, rel=EXACT)
    held = best_schedule(plant._replace(grade=grade._replace(further=12.0), capacity=10.0 - 30.0 / 33.0), 1.0)
    b = 30.0 / 33.0
    assert held.backup_heat == pytest.approx([b], rel=1e-6)
    assert spent(held) == pytest.approx(b + (10.0 - b) * (0.2 + 0.12), rel=EXACT)


GOOD = ReducedPlant(np.ones(3), 2.0, 0.3, 5.0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: best_schedule(GOOD._replace(demand=np.array([1.0, -1.0, 0.0])), 1.0),
            "demand: got -1; allowed 0",
        ),
        (lambda: best_schedule(GOOD._replace(demand=np.zeros(0)), 1.0), "demand: got shape"),
        (lambda: best_schedule(GOOD._replace(capacity=np.inf), 1.0), "capacity: got inf"),
        (lambda: best_schedule(GOOD._replace(per_heat=np.ones(2)), 1.0), "per_heat: got shape"),
        (lambda: best_schedule(GOOD._replace(per_heat=np.nan), 1.0), "per_heat: got nan"),
        (lambda: best_schedule(GOOD._replace(storage=-1.0), 1.0), "storage: got -1"),
        (lambda: best_schedule(GOOD._replace(loss_share=1.0), 1.0), "loss_share: got 1"),
        (lambda: best_schedule(GOOD._replace(loss_constant=np.nan), 1.0), "loss_constant: got nan"),
        (
            lambda: best_schedule(GOOD._replace(ends=(6.0, 0.0)), 1.0),
            "ends, at the start: got 6; allowed 0 to 5",
        ),
        (lambda: best_schedule(GOOD, np.ones(2)), "signal: got shape"),
        (lambda: best_schedule(GOOD, 1.0, fuel_signal=np.nan), "fuel_signal: got nan"),
        (lambda: best_schedule(GOOD, 1.0, demand_charge=-1.0), "demand_charge: got -1"),
        (lambda: best_schedule(GOOD, 1.0, period=np.array([0, -1, 0])), "period: got"),
    ],
)
def test_what_is_refused(call: Any, said: str) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        call()


def test_where_the_machine_cannot_run_its_performance_is_not_read() -> None:
    """Capacity 0 with a COP that is not a number: the map has none there."""
    plant = ReducedPlant(np.array([1.0, 1.0]), np.array([2.0, 0.0]), np.array([0.5, np.nan]), 1.0)
    assert spent(best_schedule(plant, 1.0)) == pytest.approx(1.0, rel=EXACT)
