"""The bound under perfect foresight against closed forms, and what it refuses."""

from typing import Any

import numpy as np
import pytest
from foresight_cases import EXACT, spent

from hpwhsim.control_bound.linear_program import best_schedule, share_of_saving
from hpwhsim.control_bound.reduced_plant import Grade, ReducedPlant, Tank
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent


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


@pytest.mark.law
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


@pytest.mark.contract
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


@pytest.mark.contract
def test_where_the_machine_cannot_run_its_performance_is_not_read() -> None:
    """Capacity 0 with a COP that is not a number: the map has none there."""
    plant = ReducedPlant(np.array([1.0, 1.0]), np.array([2.0, 0.0]), np.array([0.5, np.nan]), 1.0)
    assert spent(best_schedule(plant, 1.0)) == pytest.approx(1.0, rel=EXACT)
