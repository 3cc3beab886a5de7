"""Life-cycle costs against closed forms, textbook cash flows and a case worked by hand."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hpwhsim.account.economics import (
    Incentive,
    PlantCosts,
    Terms,
    cash_flow,
    heat_cost,
    incentive_amounts,
    internal_rate,
    life_cycle,
    payback_years,
    present_value,
)
from hpwhsim.errors import OutOfRangeError
from hpwhsim.verification.account import BASELINE, PLANT, TERMS

pytestmark = pytest.mark.independent

REL = 1e-12  # rounding of sums of some ten floats


def test_life_cycle_worked_by_hand() -> None:
    """Three years at 10 %, electricity growing 5 %, fuel 2 %, by hand in decimal fractions.

    Plant: 7500 after incentives; 420 + 50 = 470; 441 + 50 + 300 = 791; 463.05 + 50 = 513.05; worth
    7500 + 427.2727 + 653.7190 + 385.4621 = 8966.4538. Baseline: 2000; 2448 + 200 + 31.5 = 2679.5;
    2496.96 + 200 + 33.075 = 2730.035; 2546.8992 + 200 + 34.72875 = 2781.62795; worth 8782.0146.
    Value -184.4392 USD. Heat 12 MWh a year, worth 29.8422 MWh: 300.4620 and 294.2815 USD/MWh. Avoided 0.5,
    0.4, 0.3 t, worth 1.010518 t: 182.5194 USD/t. Saving of a year at today's prices:
    30 - 400 + 2400 + 200 - 50 = 2180; 5500 extra: 2.52294 years. Half of the last digit.
    """
    found = life_cycle(PLANT, BASELINE, TERMS)
    assert found.net_flow == pytest.approx([-5500.0, 2209.5, 1939.035, 2268.57795], rel=REL)
    assert found.extra_capital == 5500.0
    assert found.first_year_saving == 2180.0
    assert found.simple_payback == pytest.approx(2.52294, abs=5e-6)
    assert found.npv == pytest.approx(-184.4392, abs=5e-5)
    assert found.discounted_payback is None
    assert found.carbon_cost == pytest.approx(182.5194, abs=5e-5)
    assert found.heat_cost == pytest.approx(300.4620, abs=5e-5)
    assert found.baseline_heat_cost == pytest.approx(294.2815, abs=5e-5)
    assert found.irr is not None
    assert 0.0 < found.irr < 0.10  # it pays back, but not at 10 %
    assert present_value(found.net_flow, found.irr) == pytest.approx(0.0, abs=1e-8)
    assert found.reasons == {"discounted_payback": "not paid back within 3 years"}


@pytest.mark.parametrize(
    ("flow", "rate"),
    [
        ([-100.0, 110.0], 0.10),
        ([-100.0, 0.0, 121.0], 0.10),
        ([-100.0, 60.0, 60.0], (0.6 + math.sqrt(0.36 + 2.4)) / 2.0 - 1.0),  # x^2 - 0.6 x - 0.6 = 0, x = 1 + r
        ([-100.0, 0.0, 0.0, 74.0], 0.74 ** (1.0 / 3.0) - 1.0),  # a loss: negative
        ([0.0, -80.0, 100.0], 0.25),  # nothing in the first year
        ([-1e6, 1.0], 1e-6 - 1.0),  # next to nothing comes back
    ],
)
def test_internal_rate_by_closed_form(flow: list[float], rate: float) -> None:
    """Closed forms of one or two amounts; 1e-12 because a root is found to rounding of 1 + rate."""
    found, reason = internal_rate(np.array(flow))
    assert found == pytest.approx(rate, abs=1e-12)
    assert reason == ""


@pytest.mark.published
def test_two_rates_are_none() -> None:
    """Lorie and Savage, J. Business 28 (1955): the oil pump, -1600, +10000, -10000; from memory.

    Both 25 % and 400 % make its value nothing, so neither is its rate.
    """
    pump = np.array([-1600.0, 10000.0, -10000.0])
    assert present_value(pump, 0.25) == present_value(pump, 4.0) == 0.0
    rate, reason = internal_rate(pump)
    assert rate is None
    assert "more than once" in reason


@given(
    rate=st.floats(-0.05, 0.5),
    years=st.integers(1, 40),
    saving=st.floats(1.0, 1e5),
)
def test_internal_rate_of_an_annuity(rate: float, years: int, saving: float) -> None:
    """Closed form: capital = saving (1 - (1 + r)^-n) / r has the rate r. 1e-9: near 0 the form cancels."""
    assume(abs(rate) > 1e-4)
    capital = saving * (1.0 - (1.0 + rate) ** -years) / rate
    found, _ = internal_rate(np.array([-capital, *[saving] * years]))
    assert found == pytest.approx(rate, abs=1e-9)


@given(
    capital=st.floats(5e3, 2e4),
    saving=st.floats(1e3, 3e3),
    replacement=st.floats(0.0, 8e3),
    year=st.integers(2, 19),
)
def test_internal_rate_with_a_replacement_is_the_one_root(
    capital: float, saving: float, replacement: float, year: int
) -> None:
    """Independent method: the roots of the polynomial in 1 / (1 + r) by numpy (eigenvalues of its matrix).

    A rate is given only where there is one positive root with a positive rate, and is that root; 1e-6 is
    what eigenvalues of a matrix of size 20 keep.
    """
    flow = np.array([-capital, *[saving] * 20])
    flow[year] -= replacement
    rate, _ = internal_rate(flow)
    assume(rate is not None and rate > 0.0)
    assert rate is not None
    roots = np.roots(flow[::-1])
    real = [root.real for root in roots if abs(root.imag) < 1e-9 and 0.0 < root.real < 1.0]
    assert len(real) == 1
    assert rate == pytest.approx(1.0 / real[0] - 1.0, abs=1e-6)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("flow", "words"),
    [
        ([0.0, 0.0], "no extra money"),
        ([0.0, 50.0], "no extra money"),
        ([100.0, -10.0, -10.0], "no extra money"),  # cheaper to buy, dearer to run
        ([-100.0, -10.0], "never begins to come back"),
        ([-100.0, 90.0, -1.0], "more than once"),
    ],
)
def test_no_internal_rate_has_a_reason(flow: list[float], words: str) -> None:
    rate, reason = internal_rate(np.array(flow))
    assert rate is None
    assert words in reason


@given(years=st.integers(1, 20), rate=st.floats(0.0, 0.2))
def test_discounted_payback_by_closed_form(years: int, rate: float) -> None:
    """Closed form: capital = annuity factor of n years is paid back after n years at the rate.

    1e-9: the running sum is nothing there but for rounding.
    """
    factor = (1.0 - (1.0 + rate) ** -years) / rate if rate > 1e-6 else float(years)
    assume(rate > 1e-3 or rate == 0.0)
    flow = np.array([-factor, *[1.0] * 30])
    assert payback_years(flow, rate) == pytest.approx(years, abs=1e-9)


def test_payback_waits_for_a_later_replacement() -> None:
    """By hand: sums -100, -40, 20, -70, -10, 20; it stays above nothing from 4 + 10/30 on."""
    flow = np.array([-100.0, 60.0, 60.0, -90.0, 60.0, 30.0])
    assert payback_years(flow, 0.0) == pytest.approx(4.0 + 1.0 / 3.0, rel=REL)
    assert payback_years(flow[:-1], 0.0) is None


def costs(capital: float, electricity: float, fuel: float) -> PlantCosts:
    return PlantCosts(capital, electricity, fuel, heat_mwh=20.0, kgco2e=electricity + 2.0 * fuel)


money = st.floats(0.0, 1e5)
shares = st.floats(-0.05, 0.15)


@pytest.mark.law
@given(capital=money, electricity=money, fuel=money, discount=shares, growth=shares, inflation=shares)
def test_real_and_nominal_rates_give_the_same_value(
    capital: float, electricity: float, fuel: float, discount: float, growth: float, inflation: float
) -> None:
    """NIST Handbook 135: (1 + nominal) = (1 + real) (1 + inflation) for every rate; the value is the same."""

    def nominal(rate: float) -> float:
        return (1.0 + rate) * (1.0 + inflation) - 1.0

    plant = costs(capital, electricity, fuel)._replace(maintenance=77.0, replacements=((7, 900.0),))
    base = costs(100.0, 500.0, 300.0)
    real = Terms(15, discount, growth, 0.5 * growth)
    grown = Terms(15, nominal(discount), nominal(growth), nominal(0.5 * growth), inflation)
    one, other = life_cycle(plant, base, real).npv, life_cycle(plant, base, grown).npv
    assert other == pytest.approx(one, rel=1e-9, abs=1e-6)  # of differences of up to 1e6 USD


@pytest.mark.law
@given(capital=money, electricity=money, fuel=money)
def test_change_of_roles_changes_the_sign(capital: float, electricity: float, fuel: float) -> None:
    """Law: what one plant is worth against the other, the other loses; a plant is worth nothing to itself."""
    a, b = costs(capital, electricity, fuel), costs(3e4, 2e3, 4e3)
    terms = Terms(20, 0.03, 0.01, 0.02)
    ab, ba = life_cycle(a, b, terms), life_cycle(b, a, terms)
    assert ab.npv == pytest.approx(-ba.npv, rel=REL)
    assert ab.first_year_saving == -ba.first_year_saving
    assert np.array_equal(ab.net_flow, -ba.net_flow)
    assert (ab.irr is None) or (ba.irr is None)
    same = life_cycle(a, a, terms)
    assert (same.npv, same.simple_payback, same.discounted_payback) == (0.0, 0.0, 0.0)


@pytest.mark.law
def test_without_growth_and_discount_the_paybacks_agree() -> None:
    """Law: 12,000 USD extra, 1,600 saved a year: 7.5 years both ways."""
    found = life_cycle(costs(15e3, 400.0, 0.0), costs(3e3, 0.0, 2e3), Terms(20, 0.0))
    assert found.simple_payback == 7.5
    assert found.discounted_payback == 7.5


@pytest.mark.law
def test_price_of_carbon_at_the_cost_of_carbon_makes_the_value_nothing() -> None:
    """Law: each tonne avoided paid at `carbon_cost` in its year brings the value to nothing."""
    found = life_cycle(PLANT, BASELINE, TERMS)
    assert found.carbon_cost is not None
    tonnes = (np.asarray(BASELINE.kgco2e) - np.asarray(PLANT.kgco2e)) / 1000.0
    paid = np.concatenate(([0.0], tonnes * found.carbon_cost))
    assert found.npv + present_value(paid, TERMS.discount_rate) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.law
def test_price_of_carbon_is_the_same_in_real_and_nominal_rates() -> None:
    """NIST Handbook 135: both ways give one present value; (1 + nominal) = (1 + real)(1 + inflation)."""
    up = 1.025
    nominal = Terms(3, 1.10 * up - 1.0, 1.05 * up - 1.0, 1.02 * up - 1.0, up - 1.0)
    real, other = life_cycle(PLANT, BASELINE, TERMS), life_cycle(PLANT, BASELINE, nominal)
    assert nominal.real_rate == pytest.approx(TERMS.discount_rate, rel=REL)
    assert real.carbon_cost is not None
    assert other.carbon_cost == pytest.approx(real.carbon_cost, rel=1e-9)


@pytest.mark.law
def test_heat_sold_at_its_cost_pays_for_the_plant() -> None:
    """Law: 12 MWh a year sold at `heat_cost` is worth what the plant costs."""
    price = heat_cost(PLANT, TERMS)
    assert price is not None
    sold = np.array([0.0, *[12.0 * price] * 3])
    assert present_value(sold - cash_flow(PLANT, TERMS), 0.10) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.law
def test_nothing_saved_has_reasons_and_keeps_its_sign() -> None:
    """Dearer to buy and to run, more carbon: every None says why, and the losses are shown as such.

    4,000 more at first, and 700 at the end of each of ten years: at 5 % these are worth 700 x 7.721735.
    """
    plant = PlantCosts(5e3, 900.0, 0.0, kgco2e=300.0)
    found = life_cycle(plant, PlantCosts(1e3, 200.0, 0.0, kgco2e=100.0), Terms(10, 0.05))
    assert found.first_year_saving == -700.0
    assert found.npv == pytest.approx(-4000.0 - 700.0 * 7.721735, abs=5e-4)
    nones = {key for key, value in found._asdict().items() if value is None}
    assert nones == set(found.reasons)
    assert nones == {
        "simple_payback",
        "discounted_payback",
        "irr",
        "carbon_cost",
        "heat_cost",
        "baseline_heat_cost",
    }


@pytest.mark.law
def test_cheaper_both_ways_is_paid_back_at_once() -> None:
    """Carbon and money saved: the cost of carbon is negative, the payback nothing, and there is no rate."""
    found = life_cycle(costs(1e3, 100.0, 0.0), costs(2e3, 0.0, 300.0), Terms(5, 0.04))
    assert found.simple_payback == found.discounted_payback == 0.0
    assert found.carbon_cost is not None
    assert found.carbon_cost < 0.0
    assert found.irr is None


def test_incentives_worked_by_hand() -> None:
    """90,000 USD capital, 36 kW, 118 MMBtu of site energy and -4,000 kWh of electricity saved.

    500 x 20 units = 10,000; 450 x 36 = 16,200; 25 x 118 = 2,950 + 1,000 lump = 3,950; 0.30 x nothing = 0
    (more electricity is used); 70,000 capped at half the capital, 45,000. Sum 75,150; 20,000 more is
    cut to the 14,850 that are left.
    """
    incentives = [
        Incentive(per_unit=500.0, units=20),
        Incentive(per_kw=450.0),
        Incentive(lump_sum=1000.0, per_mmbtu=25.0),
        Incentive(per_kwh=0.30),
        Incentive(lump_sum=70e3, cap=0.5),
        Incentive(lump_sum=20e3),
    ]
    paid = incentive_amounts(
        incentives, capital=90e3, capacity_kw=36.0, site_mmbtu_saved=118.0, electricity_kwh_saved=-4000.0
    )
    assert paid == pytest.approx((10e3, 16.2e3, 3950.0, 0.0, 45e3, 14850.0), rel=REL)


@pytest.mark.law
def test_energy_that_is_not_saved_earns_and_costs_nothing() -> None:
    """30 MMBtu more site energy and 200 kWh less electricity: 0.10 x 200 = 20 USD, nothing for the rest."""
    paid = incentive_amounts(
        [Incentive(per_mmbtu=25.0), Incentive(per_kwh=0.10)],
        capital=5e3,
        capacity_kw=9.0,
        site_mmbtu_saved=-30.0,
        electricity_kwh_saved=200.0,
    )
    assert paid == pytest.approx((0.0, 20.0), rel=REL)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("plant", "terms", "words"),
    [
        (PLANT, TERMS._replace(years=0), ["costs.years", "0"]),
        (PLANT, TERMS._replace(discount_rate=-1.0), ["costs.discount_rate", "-1"]),
        (PLANT, TERMS._replace(fuel_escalation=math.nan), ["costs.fuel_escalation", "nan"]),
        (PLANT._replace(replacements=((4, 1.0),)), TERMS, ["costs.replacements", "year 4", "(3)"]),
        (PLANT._replace(replacements=((0, 1.0),)), TERMS, ["costs.replacements", "year 0"]),
        (PLANT._replace(capital=math.nan), TERMS, ["costs", "nan"]),
        (PLANT._replace(kgco2e=[1.0, 2.0]), TERMS, ["kgco2e", "2 values", "3 years"]),
    ],
)
def test_impossible_costs_are_refused(plant: PlantCosts, terms: Terms, words: list[str]) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        life_cycle(plant, BASELINE, terms)
    for word in words:
        assert word in str(caught.value)
