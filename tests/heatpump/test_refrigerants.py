"""The table of refrigerants against the published values it was made from, and CoolProp."""

import pytest

from hpwhsim.errors import InputError
from hpwhsim.heatpump.refrigerants import names, refrigerant
from hpwhsim.heatpump.states import Fluid

pytestmark = pytest.mark.published

ASKED = (  # by the design of this engine
    *("R-744", "R-410A", "R-32", "R-454B", "R-513A", "R-134a"),
    *("R-290", "R-1234yf", "R-1234ze(E)", "R-407C", "R-600a", "R-717"),
)


@pytest.mark.contract
def test_every_refrigerant_is_there() -> None:
    assert set(ASKED) <= set(names())
    for name in names():
        assert sum(share for _, share in refrigerant(name).composition) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("name", "basis", "published"),
    [
        ("R-410A", "AR4-100", 2088),
        ("R-407C", "AR4-100", 1774),
        ("R-454B", "AR4-100", 466),
        ("R-513A", "AR4-100", 631),
        ("R-410A", "AR6-100", 2256),
        ("R-407C", "AR6-100", 1908),
        ("R-513A", "AR6-100", 673),
    ],
)
def test_published_blends(name: str, basis: str, published: int) -> None:
    """Blend values as regulations and the EPA Emission Factors Hub 2026 print them, whole numbers."""
    assert round(refrigerant(name).warming(basis)) == pytest.approx(published, abs=1)


def test_eu_worked_blend() -> None:
    """Regulation (EC) 842/2006 Annex I part 2: the blend 23/25/52 of 550, 3400, 1300 is 1652.5: R-407C."""
    values = {"R-32": 550.0, "R-125": 3400.0, "R-134a": 1300.0}
    assert sum(share * values[c] for c, share in refrigerant("R-407C").composition) == pytest.approx(1652.5)


@pytest.mark.independent
def test_critical_points_and_compositions_are_those_of_coolprop() -> None:
    """The table prints two decimals of CoolProp; its predefined mixtures hold the nominal compositions."""
    from CoolProp import CoolProp

    for name in names():
        of = refrigerant(name)
        if of.fluid:
            state = CoolProp.AbstractState("HEOS", of.fluid)
            assert of.critical_c == pytest.approx(state.T_critical() - 273.15, abs=0.006)
            assert of.critical_pressure == pytest.approx(state.p_critical(), abs=600.0)
        else:
            points = [p for p in Fluid(of)._state.all_critical_points() if p.stable and p.p > 0.0]
            assert min(abs(p.T - 273.15 - of.critical_c) for p in points) < 0.01
        if len(of.composition) > 1:
            mixture = CoolProp.AbstractState("HEOS", f"{name.replace('-', '')}.MIX")
            for got, (_, share) in zip(mixture.get_mass_fractions(), of.composition, strict=True):
                assert got == pytest.approx(share, abs=1e-4)


@pytest.mark.contract
def test_names_are_forgiving_and_errors_helpful() -> None:
    assert refrigerant("r744") is refrigerant("R-744")
    assert refrigerant("R1234ZE(e)").name == "R-1234ze(E)"
    with pytest.raises(InputError, match="did you mean R-410A"):
        refrigerant("R-410")
    with pytest.raises(InputError, match="AR7-100"):
        refrigerant("R-32").warming("AR7-100")
    with pytest.raises(InputError, match="R-290 has no value in AR5-100"):
        refrigerant("R-290").warming("AR5-100")
