"""From the words of a tariff to the bill: what a modeler writes reaches the account, by hand."""

from typing import Any

import numpy as np
import pytest

from hpwhsim.account.calendar import When
from hpwhsim.account.savings import Use, saved
from hpwhsim.account.tariff import Bill, bill
from hpwhsim.evaluation.costs import prices
from hpwhsim.scenario.tariff import Tariff

pytestmark = pytest.mark.independent

JANUARY, FEBRUARY, MARCH = 0, 31, 59  # first days
QUARTERS = 35_040


def billed(power: dict[tuple[int, int], float], burnt: float = 0.0, **written: Any) -> Bill:
    """The bill of a year with `power` kW in single quarters, by day of the year and quarter of the day."""
    kw = np.zeros(QUARTERS)
    for (day, quarter), value in power.items():
        kw[96 * day + quarter] = value
    tariff = prices(Tariff.model_validate({"electricity": "0.20 USD/kWh"} | written))
    return bill(tariff, kw, np.full(8760, burnt))


@pytest.mark.parametrize(("months", "expected"), [(1, [40, 20, 0]), (2, [40, 20, 20]), (11, [40, 20, 20])])
def test_a_ratchet_looks_back_as_many_months_as_written(months: int, expected: list[float]) -> None:
    """40 kW in January alone, half of it for so many months after, 10 USD/kW."""
    demand = [{"price": "10 USD/kW", "ratchet": 0.5, "ratchet_months": months}]
    found = billed({(JANUARY, 30): 40.0}, demand=demand)
    assert found.billed_kw[0][:3].tolist() == expected
    assert found.demand[:3].tolist() == [10.0 * kw for kw in expected]


@pytest.mark.parametrize(
    ("day", "quarter", "expected"),
    [
        (MARCH + 4, 64, 8.0),  # Monday 5 March, 16:00
        (MARCH + 4, 67, 8.0),  # 16:45
        (MARCH + 4, 63, 0.0),  # 15:45
        (MARCH + 4, 68, 0.0),  # 17:00
        (MARCH + 3, 64, 0.0),  # Sunday
        (FEBRUARY, 64, 0.0),  # Thursday 1 February: the charge is of March
    ],
)
def test_power_counts_in_the_quarters_days_and_months_written(
    day: int, quarter: int, expected: float
) -> None:
    demand = [{"price": "10 USD/kW", "months": [3], "days": "weekdays", "hours": ["16:00-17:00"]}]
    found = billed({(day, quarter): 8.0}, demand=demand)
    assert found.billed_kw[0].sum() == expected
    assert found.energy.sum() == pytest.approx(0.25 * 8.0 * 0.20)


def test_tiers_fixed_charge_and_fuel_by_month() -> None:
    """500 kWh in January: 0.20 each, 0.01 for the first 200 and 0.05 for the other 300; 12 USD a month.

    1 kWh of fuel an hour: 744 at 0.03 USD in January, 672 at 0.04 in February.
    """
    fuel = ["0.03 USD/kWh", "0.04 USD/kWh", *(["0 USD/kWh"] * 10)]
    tiers = [{"price": "0.01 USD/kWh", "up_to": "200 kWh"}, {"price": "0.05 USD/kWh"}]
    found = billed({(JANUARY, 5): 2000.0}, 1.0, tiers=tiers, fixed="12 USD/month", fuel=fuel)
    assert found.energy[0] == pytest.approx(100.0 + 2.0 + 15.0)
    assert found.fuel[:3] == pytest.approx([22.32, 26.88, 0.0])
    assert found.fixed.tolist() == [12.0] * 12
    assert found.total[0] == pytest.approx(117.0 + 22.32 + 12.0)


@pytest.mark.parametrize(("quarter", "inside"), [(55, False), (56, True), (71, True), (72, False)])
def test_savings_compare_power_in_the_quarters_of_their_hours(quarter: int, inside: bool) -> None:
    """14:00 to 18:00 of a summer weekday (Monday 4 June): 13:45 and 18:00 lie outside."""
    kw = np.zeros(QUARTERS)
    kw[96 * 154 + quarter] = 6.0
    use = Use(kw, 0.0, 1.0, 0.0, 0.0)
    none = use._replace(quarter_kw=np.zeros(QUARTERS))
    peaks = {"peak": When((6, 7, 8, 9), "weekdays", ((840, 1080),))}
    found = saved(none, use, 2.8, peaks)
    assert found["peak.highest_kw"].saved == (6.0 if inside else 0.0)
    assert found["electricity_kwh"].saved == pytest.approx(1.5)
