"""Carbon over the years of service: where each loss falls, where the order turns, laws of the sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.carbon import (
    Life,
    life,
    lost_at_end,
    operational_by_year,
    operational_kgco2e,
    refrigerant_kgco2e,
    turning_years,
)
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.law

SHARE = st.floats(0.0, 1.0)


@pytest.mark.independent
def test_each_loss_falls_in_its_year() -> None:
    """By hand, 2 kg of GWP 1000: 1 % at filling, 5 % and 2 % every year, half of it at the end."""
    found = life([10.0, 20.0, 30.0], 2.0, 1000.0, 0.05, 0.5, installation_loss=0.01, service_loss=0.02)
    assert found.installation == pytest.approx([20.0, 0.0, 0.0])
    assert found.leak == pytest.approx([100.0, 100.0, 100.0])
    assert found.service == pytest.approx([40.0, 40.0, 40.0])
    assert found.end_of_life == pytest.approx([0.0, 0.0, 1000.0])
    assert found.cumulative == pytest.approx([170.0, 330.0, 1500.0])
    assert found.tewi == pytest.approx(60.0 + 300.0 + 1000.0)  # filling and service are no part of it


@pytest.mark.published
def test_end_of_life_by_what_is_recovered() -> None:
    """UK Defra: heat pumps 80 % left, 99 % recovered: 0.8 % lost; chillers 100 % and 95 %: 5 %."""
    assert lost_at_end(0.8, 0.99) == pytest.approx(0.008)
    assert lost_at_end(1.0, 0.95) == pytest.approx(0.05)
    for left, recovered in ((1.1, 0.5), (0.5, -0.1), (float("nan"), 0.5)):
        with pytest.raises(OutOfRangeError, match=r"carbon\.refrigerant"):
            lost_at_end(left, recovered)


@given(
    charge=st.floats(0.0, 1e3),
    gwp=st.floats(0.0, 1e4),
    leak=SHARE,
    loss=SHARE,
    years=st.integers(1, 40),
    factor=st.floats(0.0, 10.0),
)
def test_life_meets_the_yearly_definition(
    charge: float, gwp: float, leak: float, loss: float, years: int, factor: float
) -> None:
    """Laws: the years add to n times the yearly figure of EN 378, and all refrigerant is linear in GWP.

    1e-9 kg beside 1e-12: rounding where the numbers are next to nothing.
    """
    found = life(np.zeros(years), charge, gwp, leak, loss)
    yearly = refrigerant_kgco2e(charge, gwp, leak, loss, years)
    assert found.tewi == pytest.approx(years * yearly, rel=1e-12, abs=1e-9)
    more = life(np.zeros(years), charge, factor * gwp, leak, loss)
    assert more.tewi == pytest.approx(factor * found.tewi, rel=1e-12, abs=1e-9)


@given(st.integers(1, 8759), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_hours_add(cut: int, early: float, late: float) -> None:
    """Law: the year is the sum of its parts, hour by hour. 1e-12: order of adding."""
    kwh = np.linspace(0.0, 3.0, 8760)
    factors = np.where(np.arange(8760) < cut, early, late)
    whole = operational_by_year(kwh, factors, 3)
    parts = operational_kgco2e(kwh[:cut], early) + operational_kgco2e(kwh[cut:], late)
    assert whole == pytest.approx([parts] * 3, rel=1e-12, abs=1e-12)


@pytest.mark.independent
def test_a_grid_that_gets_cleaner() -> None:
    """By hand: 1000 kWh at 0.5, 0.4 and 0.3 kg/kWh."""
    assert operational_by_year(1000.0, [[0.5], [0.4], [0.3]], 3).tolist() == [500.0, 400.0, 300.0]
    assert operational_by_year(np.full(4, 250.0), [[0.5], [0.4], [0.3]], 3).tolist() == [500.0, 400.0, 300.0]


@pytest.mark.independent
@given(st.integers(1, 500), st.integers(1, 5000))
def test_order_turns_where_the_lines_cross(saved: int, start: int) -> None:
    """Independent: start - saved x year, above 0 in the first year, falls below 0 once, after start / saved.

    Whole numbers, so that the cumulative sums are exact.
    """
    years = 40
    leaky = life(np.full(years, 1000.0), 1.0, float(start), 0.0, 0.0, installation_loss=1.0)
    tight = life(np.full(years, 1000.0 + saved), 0.0, 0.0, 0.0, 0.0)
    turn = start // saved + 1
    assert turning_years(leaky, tight) == ([turn] if start > saved and turn <= years else [])
    assert turning_years(tight, leaky) == turning_years(leaky, tight)


@pytest.mark.independent
def test_scrapping_turns_the_order_back() -> None:
    """Better from the third year on, and worse again in the last, when the charge is lost: twice."""
    found = life([100.0] * 5, 1.0, 250.0, 0.0, 1.0, installation_loss=1.0)
    other = life([200.0] * 5, 0.0, 0.0, 0.0, 0.0)
    assert found.cumulative - other.cumulative == pytest.approx([150.0, 50.0, -50.0, -150.0, 0.0])
    assert turning_years(found, other) == [3]
    worse = life([100.0] * 5, 1.0, 260.0, 0.0, 1.0, installation_loss=1.0)
    assert turning_years(worse, other) == [3, 5]


def test_a_level_year_turns_nothing_by_itself() -> None:
    def plant(*yearly: float) -> Life:
        return life(yearly, 0.0, 0.0, 0.0, 0.0)

    flat = plant(10.0, 10.0, 10.0)
    assert turning_years(plant(11.0, 9.0, 11.0), flat) == []
    assert turning_years(plant(11.0, 9.0, 9.0), flat) == [3]
    assert turning_years(flat, flat) == []


@pytest.mark.contract
def test_what_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="3 years and factors of 2"):
        operational_by_year(1.0, [[0.4], [0.3]], 3)
    with pytest.raises(OutOfRangeError, match="0 years"):
        operational_by_year(1.0, 0.4, 0)
    with pytest.raises(OutOfRangeError, match="8760 factors for 12 values"):
        operational_by_year(np.ones(12), np.ones((1, 8760)), 3)
    with pytest.raises(OutOfRangeError, match=r"installation_loss: got 1\.5; allowed 0 to 1"):
        life([1.0], 1.0, 1.0, 0.1, 0.1, installation_loss=1.5)
    with pytest.raises(OutOfRangeError, match="service_loss: got nan"):
        life([1.0], 1.0, 1.0, 0.1, 0.1, service_loss=float("nan"))
    with pytest.raises(OutOfRangeError, match="operational_kgco2e: got -1"):
        life([1.0, -1.0], 1.0, 1.0, 0.1, 0.1)
    with pytest.raises(OutOfRangeError, match="annual_leak: got 3"):
        life([1.0], 1.0, 1.0, 3.0, 0.1)
    with pytest.raises(OutOfRangeError, match="got 1 and 2"):
        turning_years(life([1.0], 0, 0, 0, 0), life([1.0, 1.0], 0, 0, 0, 0))
