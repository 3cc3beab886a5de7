"""Measured plants beside computed ones: hits and misses are those that the manual lists."""

import pytest

from hpwhsim.verification import field_bands, field_plants
from hpwhsim.verification.check import Check
from hpwhsim.verification.field_page import tables
from hpwhsim.verification.field_plants import Effect, Result, results
from hpwhsim.verification.field_tables import Input, hypotheses, measured


@pytest.mark.long
@pytest.mark.published
@pytest.mark.year
def test_the_misses_are_those_that_the_manual_explains() -> None:
    """Sources: shared/field-results.csv. No band is widened: the bands are held in their table."""
    found = results()
    assert [one.check for one in found] == list(field_plants.checks())
    assert [one.check.name for one in found] == [one.name for one in measured()]
    bands = {one.name: (one.expected, one.low, one.high) for one in measured()}
    assert {one.check.name: (one.check.expected, one.check.low, one.check.high) for one in found} == bands
    assert {one.check.name for one in found if one.verdict != "hit"} == set(hypotheses())
    assert [row[0] for row in tables()["explained"].rows] == [
        one.check.name for one in found if one.verdict != "hit"
    ]
    for one in found:  # corners reach at least as far as any input alone
        assert one.check.span is not None
        least, most = one.check.span
        ends = [end for effect in one.effects for end in (effect.at_low, effect.at_high)]
        assert least <= min(ends) <= one.check.obtained <= max(ends) <= most, one.check.name
        assert list(one.effects) == sorted(one.effects, key=lambda effect: -effect.size)


@pytest.mark.published
def test_the_usual_charges_meet_the_certified_machines() -> None:
    """511 certified machines, 2016 to 2021, doi 10.5281/zenodo.5521597: tenth to ninetieth percentile."""
    found = {check.name: check for check in field_bands.checks()}
    assert set(found) == {f"field.charge.{name}" for name in ("r410a", "r32", "r290", "r407c")}
    assert all(check.verdict == "hit" for check in found.values())
    assert found["field.charge.r32"].obtained == pytest.approx(0.22)  # alone within the band: 0.19 to 0.36


def result(obtained: float, ends: list[tuple[float, float]], span: tuple[float, float]) -> Result:
    check = Check(
        "field.x", "plant", "measured plant", "x", "1", 10.0, 9.0, 11.0, "why", obtained, span, "source"
    )
    one = Input("x", "x", "1", "2", "3", "assumed", "source")
    return Result("x", check, tuple(Effect(one, *pair) for pair in ends))


@pytest.mark.law
def test_the_usual_span_adds_effects_in_quadrature() -> None:
    """3 and 4 make 5 on a side, and an input that only lowers has no part above."""
    one = result(20.0, [(17.0, 23.0), (24.0, 16.0), (20.0, 8.0)], (5.0, 30.0))
    assert one.usual == pytest.approx((20.0 - (9.0 + 16.0 + 144.0) ** 0.5, 25.0))


@pytest.mark.law
@pytest.mark.parametrize(
    ("span", "verdict", "inside"),
    [
        ((8.0, 16.0), "hit", 0.25),
        ((10.5, 20.5), "hit in a corner alone", 0.05),
        ((12.0, 20.0), "miss", 0.0),
        ((9.5, 10.5), "hit", 1.0),
    ],
)
def test_verdict_and_share_inside(span: tuple[float, float], verdict: str, inside: float) -> None:
    """The band is 9 to 11; alone no input moves the middle by more than 1."""
    middle = 10.0 if verdict == "hit" else 15.0
    one = result(middle, [(middle - 1.0, middle + 1.0)], span)
    assert one.verdict == verdict
    assert one.inside == pytest.approx(inside)
