"""Estimated charges and published losses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.charge import estimated_charge, published_losses
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.scenario.families import REFRIGERANTS

pytestmark = pytest.mark.contract


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_every_refrigerant_of_a_machine_has_a_usual_charge(name: str) -> None:
    charge = estimated_charge(name, 100.0)
    assert 0.0 < charge.low_kg < charge.kg < charge.high_kg
    assert "common practice, no source" in charge.source


@pytest.mark.independent
def test_light_liquids_take_less() -> None:
    """Of one volume of liquid a refrigerant weighs as its liquid does: R-290 is about half of R-134a.

    Liquid at 40 degC, CoolProp: R-290 467, R-32 893, R-134a 1147 kg/m3: the usual charges keep that order.
    """
    from CoolProp.CoolProp import PropsSI

    held = ("R-290", "R-32", "R-134a")
    density = [PropsSI("D", "T", 313.15, "Q", 0, refrigerant(name).fluid) for name in held]
    charge = [estimated_charge(name, 1.0).kg for name in held]
    assert sorted(density) == density
    assert sorted(charge) == charge


@pytest.mark.independent
def test_lines_come_on_top() -> None:
    """By hand: 60 kW at 0.25 kg/kW and 30 m at 0.05 kg/m are 16.5 kg."""
    assert estimated_charge("R-410A", 60.0, line_kg_per_m=0.05, line_m=30.0).kg == pytest.approx(16.5)
    own = estimated_charge("R-9999", 60.0, kg_per_kw=0.2, line_kg_per_m=0.05, line_m=30.0)
    assert own[:3] == pytest.approx((13.5, 13.5, 13.5))
    assert "as given" in own.source


@pytest.mark.published
def test_published_losses_by_hand() -> None:
    """UK Defra, by hand: 10 kg of R-134a, GWP 1530, 12 years.

    Air conditioning with heat pumps, 8.5 % a year, 80 % left, 95 % recovered: 10 x 1530 x 0.085 = 1300.5 and
    10 x 1530 x 0.8 x 0.05 / 12 = 51: 1351.5 kg CO2e/a.
    Heat pumps alone, 0.3 %, 80 %, 99 %: 45.9 + 10.2 = 56.1. carbon.md: the two leaks differ 28-fold.
    """
    rows = {row.equipment: row for row in published_losses(10.0, 1530.0, 12.0)}
    tight, leaky = rows["heat pumps alone"], rows["air conditioning with heat pumps"]
    assert leaky.kgco2e == pytest.approx(1351.5, rel=1e-12)
    assert tight.kgco2e == pytest.approx(56.1, rel=1e-12)
    assert leaky.annual_leak / tight.annual_leak == pytest.approx(28.3, abs=0.05)
    assert all(row.installation_loss in (0.01, 0.002) for row in rows.values())


@pytest.mark.law
@given(st.floats(0.0, 1e4), st.sampled_from(REFRIGERANTS))
def test_charge_is_proportional_to_the_machine(rated_kw: float, name: str) -> None:
    """Law by definition of kg per kW. 1e-12: rounding."""
    assert estimated_charge(name, 2.0 * rated_kw).kg == pytest.approx(
        2.0 * estimated_charge(name, rated_kw).kg, rel=1e-12
    )


def test_what_is_refused() -> None:
    with pytest.raises(InputError, match=r"no usual charge is known for R-9999"):
        estimated_charge("R-9999", 10.0)
    for options in (
        {"rated_kw": -1.0},
        {"line_m": -1.0},
        {"line_kg_per_m": float("nan")},
        {"kg_per_kw": -0.1},
    ):
        with pytest.raises(OutOfRangeError, match="allowed 0 or more"):
            estimated_charge("R-744", **({"rated_kw": 10.0} | options))
