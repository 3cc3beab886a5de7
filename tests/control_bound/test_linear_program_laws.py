"""The bound under perfect foresight: dynamic programming, duality, controls that it must beat."""

import numpy as np
import pytest
from foresight_cases import EXACT, spent
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.control_bound.linear_program import best_schedule
from hpwhsim.control_bound.reduced_plant import ReducedPlant

pytestmark = pytest.mark.law

Array = NDArray[np.float64]


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


@pytest.mark.independent
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


@pytest.mark.independent
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
