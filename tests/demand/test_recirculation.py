"""The hot-water loop against scipy, sums by hand, measured orders of magnitude, and laws of heat."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.demand.loop_pipes import (
    GPM,
    RHO_CP,
    ROUGHNESS,
    conductance,
    friction_per_metre,
    tubes,
)
from hpwhsim.demand.loop_sections import Section, read_sections, riser_sections
from hpwhsim.demand.recirculation import BARE_SHARE, VALVE_DROP, design, loop_of_watts
from hpwhsim.errors import InputError, OutOfRangeError

pytestmark = pytest.mark.law

INCH = 0.0254


def chain(*parts: Section) -> list[Section]:
    """Sections one after the other."""
    return [p._replace(fed_by=(i - 1,) if i else ()) for i, p in enumerate(parts)]


def building(**changes: Any) -> list[Section]:
    """An invented building: 48 apartments on 6 risers of 8 floors."""
    usual: dict[str, Any] = {
        "risers": 6,
        "floors": 8,
        "apartments_per_riser": 8,
        "main_length": 15.0,
        "riser_spacing": 9.0,
        "floor_height": 3.0,
        "main_insulation": 0.0381,
        "riser_insulation": 0.0254,
        "main_ambient": 18.0,
        "riser_ambient": 23.0,
    }
    return riser_sections(**(usual | changes))


PIPE = Section("1 in", 40.0, INCH, 20.0, "supply", ())


# -- loops -------------------------------------------------------------------------------------------


@pytest.mark.independent
def test_one_pipe_cools_as_the_differential_equation_says() -> None:
    """First law for a metre, -rho c Q dT/dx = U (T - T_air), by scipy over unlike pipes. 1e-8: its error."""
    from scipy.integrate import solve_ivp

    parts = chain(PIPE, Section("3/4 in", 130.0, 0.5 * INCH, 8.0, "return", ()))
    found = design(parts, 58.0, 7.0)
    temperature = 58.0
    for part, entering in zip(parts, found.entering, strict=True):
        assert entering == pytest.approx(temperature, rel=1e-8)
        per_metre = float(conductance(tubes()[part.size].outer, part.insulation, bare_share=BARE_SHARE))

        def slope(_: float, t: np.ndarray, u: float = per_metre, air: float = part.ambient) -> np.ndarray:
            return -u * (t - air) / (RHO_CP * found.loop.flow)

        temperature = solve_ivp(slope, (0.0, part.length), [temperature], rtol=1e-10, atol=1e-10).y[0, -1]
    assert temperature == pytest.approx(51.0, rel=1e-8)
    assert found.loop.back == pytest.approx(51.0, abs=1e-9)


@pytest.mark.parametrize("drop", [0.5, 3.0, 5.0, 15.0])
def test_loss_is_flow_times_drop(drop: float) -> None:
    """First law, over the whole loop and over each section; 1e-9: rounding.

    A drop so large that a branch would get too little is not reached.
    """
    found = design(building(), 60.0, drop)
    loop = found.loop
    assert found.loss.sum() == pytest.approx(RHO_CP * loop.flow * (60.0 - loop.back), rel=1e-9)
    assert loop.loss == pytest.approx(found.loss.sum(), rel=1e-9)
    free = design(building(), 60.0, drop, least_flow=0.0)
    assert free.loop.back == pytest.approx(60.0 - drop, abs=1e-9)
    assert loop.flow >= free.loop.flow * (1.0 - 1e-12)


@pytest.mark.independent
def test_two_risers_by_hand() -> None:
    """A lopsided ladder, worked out step by step: the first riser takes half the flow, the returns mix."""
    parts = building(risers=2, floors=1, apartments_per_riser=2, riser_spacing=25.0)
    assert [(p.side, p.fed_by, p.share) for p in parts] == [
        ("supply", (), 1.0),  # 0: main to the first riser
        ("supply", (0,), 0.5),  # 1: main to the second
        ("supply", (0,), 0.5),  # 2: first riser
        ("return", (2,), 0.5),
        ("supply", (1,), 0.5),  # 4: second riser
        ("return", (4,), 0.5),
        ("return", (5,), 0.5),  # 6: main from the second riser
        ("return", (3, 6), 1.0),
    ]
    assert [p.length for p in parts] == [15.0, 25.0, 3.0, 3.0, 3.0, 3.0, 25.0, 15.0]
    found = design(parts, 60.0, 6.0, least_flow=0.0)

    def cooled(entering: float, place: int) -> float:
        part = parts[place]
        carried = RHO_CP * found.loop.flow * part.share
        ua = part.length * conductance(tubes()[part.size].outer, part.insulation, bare_share=BARE_SHARE)
        return part.ambient + (entering - part.ambient) * math.exp(-float(ua) / carried)

    node = cooled(60.0, 0)
    near = cooled(cooled(node, 2), 3)
    far = cooled(cooled(cooled(cooled(node, 1), 4), 5), 6)
    assert cooled(0.5 * near + 0.5 * far, 7) == pytest.approx(found.loop.back, abs=1e-9)
    assert far < near - 0.5  # the far riser's water is colder


def test_one_pipe_in_place_of_the_loop() -> None:
    """The one pipe of `HotLoop` loses per kelvin what all sections do, but for the mixing of unlike branches.

    2 %: in this building the air differs by 5 K between mains and risers, of 37 K.
    """
    for drop in (2.0, 5.0, 10.0):
        found = design(building(), 60.0, drop)
        assert found.loop.ua == pytest.approx(found.ua.sum(), rel=0.02)
    single = design([PIPE], 60.0, 5.0)
    assert single.loop.ua == pytest.approx(float(single.ua[0]), rel=1e-9)  # exact for one pipe


@given(
    cut=st.floats(0.01, 0.99),
    length=st.floats(5.0, 500.0),
    insulation=st.floats(0.0, 0.1),
    air=st.floats(-10.0, 30.0),
    drop=st.floats(0.5, 10.0),
)
def test_sections_add(cut: float, length: float, insulation: float, air: float, drop: float) -> None:
    """Law: a pipe cut in two loses, holds and resists what it did in one. 1e-9: rounding."""
    whole = PIPE._replace(length=length, insulation=insulation, ambient=air)
    end = Section("3/4 in", 30.0, INCH, 15.0, "return", ())
    halves = (whole._replace(length=cut * length), whole._replace(length=(1.0 - cut) * length))
    one, two = (design(chain(*parts, end), 60.0, drop) for parts in ((whole,), halves))
    assert two.loss.sum() == pytest.approx(one.loss.sum(), rel=1e-9)
    assert two.ua.sum() == pytest.approx(one.ua.sum(), rel=1e-9)
    assert two.loop.flow == pytest.approx(one.loop.flow, rel=1e-9)
    assert two.loop.heat_capacity == pytest.approx(one.loop.heat_capacity, rel=1e-9)
    assert two.head == pytest.approx(one.head, rel=1e-9)


@pytest.mark.slow
@given(thin=st.floats(0.0, 0.05), more=st.floats(1e-3, 0.05))
def test_an_insulated_building_loses_less(thin: float, more: float) -> None:
    """Law: more insulation on the risers, less loss, less flow, less head."""
    before = design(building(riser_insulation=thin), 60.0, 5.0, least_flow=0.0)
    after = design(building(riser_insulation=thin + more), 60.0, 5.0, least_flow=0.0)
    assert after.loss.sum() < before.loss.sum()
    assert after.loop.flow < before.loop.flow
    assert after.head < before.head


def test_parallel_pipes_share_the_flow() -> None:
    """Four branches alike lose four times what one does with a quarter of the flow; they have its head."""
    four = chain(PIPE, PIPE._replace(share=0.25, parallel=4, side="return"))
    found = design(four, 60.0, 5.0)
    assert found.speed[1] == pytest.approx(found.speed[0] / 4.0, rel=1e-12)
    assert found.ua[1] == pytest.approx(4.0 * found.ua[0], rel=1e-12)
    inner = tubes()["1 in"].inner
    mean = 0.5 * (60.0 + found.loop.back)
    drops = [40.0 * 1.5 * float(friction_per_metre(v, inner, mean)) for v in found.speed]
    assert found.head == pytest.approx(sum(drops) + VALVE_DROP, rel=1e-12)


@pytest.mark.independent
def test_head_and_pump_by_hand() -> None:
    """Darcy and Weisbach with f = 0.316/Re^0.25 (Blasius, smooth, Re 4e3 to 1e5), 50 % for fittings.

    4 %: Blasius against Churchill at the Re of 2e4 here, roughness included.
    """
    parts = chain(PIPE, PIPE._replace(side="return", size="3/4 in", length=60.0))
    found = design(parts, 60.0, 1.0, valve_drop=0.0)
    head = 0.0
    for part, speed in zip(parts, found.speed, strict=True):
        inner = tubes()[part.size].inner
        reynolds = 988.0 * speed * inner / 0.47e-3
        assert 5e3 < reynolds < 1e5
        head += 1.5 * 0.316 / reynolds**0.25 * part.length / inner * 0.5 * 988.0 * speed**2
    assert found.head == pytest.approx(head, rel=0.04)
    assert found.pump_power(0.25) == pytest.approx(4.0 * found.head * found.loop.flow, rel=1e-12)
    assert ROUGHNESS / tubes()["1 in"].inner < 1e-4


def test_the_longest_way_makes_the_head() -> None:
    """The pump sees the last riser, whose way along the mains is the longest; one riser is a plain series."""
    far, near = (design(building(riser_spacing=s), 60.0, 5.0) for s in (20.0, 5.0))
    assert far.head > near.head
    even = design(building(risers=1), 60.0, 5.0, least_flow=0.0, valve_drop=0.0)
    inner = np.array([tubes()[s.size].inner for s in building(risers=1)])
    length = np.array([s.length for s in building(risers=1)])
    mean = 0.5 * (60.0 + even.loop.back)
    series = 1.5 * np.sum(length * friction_per_metre(even.speed, inner, mean))
    assert even.head == pytest.approx(float(series), rel=1e-12)


@pytest.mark.independent
def test_of_two_ways_the_longer_one_makes_the_head() -> None:
    """A pipe that parts in two of 10 and 80 m, which come together again: out, the long one and back."""
    half = PIPE._replace(share=0.5, fed_by=(0,))
    parts = [PIPE, half._replace(length=10.0), half._replace(length=80.0)]
    parts.append(PIPE._replace(side="return", fed_by=(1, 2)))
    found = design(parts, 60.0, 1.0, least_flow=0.0, valve_drop=0.0)
    inner = np.array([tubes()[part.size].inner for part in parts])
    friction = friction_per_metre(found.speed, inner, 0.5 * (60.0 + found.loop.back))
    lost = 1.5 * friction * np.array([part.length for part in parts])
    assert found.head == pytest.approx(float(lost[[0, 2, 3]].sum()), rel=1e-12)


@pytest.mark.independent
def test_each_branch_gets_its_least_flow() -> None:
    """0.5 gpm in each of six risers is 3 gpm, more than a drop of 8 K asks for; it is said."""
    found = design(building(), 60.0, 8.0)
    assert found.loop.flow == pytest.approx(3.0 * GPM, rel=1e-9)
    assert 60.0 - found.loop.back < 8.0
    assert any("1.89 L/min" in said for said in found.cautions)
    assert design(building(), 60.0, 5.0).cautions == ()


@pytest.mark.contract
@pytest.mark.parametrize(("drop", "limit"), [(2.0, "1.5 m/s"), (3.5, "1 m/s"), (6.0, "")])
def test_fast_water_is_said(drop: float, limit: str) -> None:
    """Above 1.0 and 1.5 m/s in copper (common practice, no source)."""
    parts = chain(PIPE._replace(length=200.0), Section("1/2 in", 50.0, 0.5 * INCH, 20.0, "return", ()))
    said = [text for text in design(parts, 60.0, drop).cautions if "m/s" in text]
    assert len(said) == bool(limit)
    assert all(f"above {limit}" in text and "1/2 in" in text for text in said)


@pytest.mark.published
def test_loss_of_an_apartment_and_share_of_the_heat() -> None:
    """Central plants of the Pacific Northwest: 80 to 110 W per apartment, 25 to 35 % of load (from memory).

    Goldner measured 38 % of the fuel in New York. An invented, insulated building must be of that order:
    beside 25 gal a day from 55 to 140 degF (1875 kWh a year) its loop takes 20 to 38 %.
    """
    each = design(building(), 60.0, 5.0).loss.sum() / 48
    assert 60.0 < each < 130.0
    yearly = each * 8.76
    assert 0.20 < yearly / (yearly + 1875.0) < 0.38


def test_loop_of_watts_keeps_its_numbers() -> None:
    """First law; and the standing loop's cooling time is that of 1 in tube with 1 in of glass fibre."""
    loop = loop_of_watts(1800.0, 60.0, 51.0, 22.0)
    assert loop.loss == pytest.approx(1800.0, rel=1e-12)
    pipe = design([PIPE], 60.0, 5.0).loop
    assert loop.cooling_time == pytest.approx(pipe.cooling_time, rel=1e-9)
    for wrong in (
        (0.0, 60.0, 51.0, 22.0),
        (1e3, 51.0, 60.0, 22.0),
        (1e3, 60.0, 20.0, 22.0),
        (math.nan, 60.0, 51.0, 22.0),
    ):
        with pytest.raises(OutOfRangeError, match="loop"):
            loop_of_watts(*wrong)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("parts", "supply", "drop", "word"),
    [
        ([], 60.0, 5.0, "no section"),
        ([PIPE], 60.0, 0.0, "drop"),
        ([PIPE], 60.0, 21.0, "half"),
        ([PIPE], math.nan, 5.0, "nan"),
        ([PIPE._replace(length=-1.0)], 60.0, 5.0, "-1 m"),
        ([PIPE._replace(length=0.0)], 60.0, 5.0, "0 m of pipe"),
        ([PIPE._replace(fed_by=(0,))], 60.0, 5.0, "fed by"),
        ([PIPE._replace(size="7/8 in")], 60.0, 5.0, "7/8 in"),
    ],
)
def test_impossible_loops_are_refused(parts: list[Section], supply: float, drop: float, word: str) -> None:
    with pytest.raises(OutOfRangeError, match=word):
        design(parts, supply, drop)


@pytest.mark.contract
def test_no_risers_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="risers"):
        building(risers=0)


# -- the user's list ---------------------------------------------------------------------------------

HEAD = "size,length_m,insulation_mm,ambient_c,side,parallel\n"


@pytest.mark.contract
def test_sections_of_a_file(tmp_path: Path) -> None:
    file = tmp_path / "loop.csv"
    file.write_text(
        f"# invented\n{HEAD}2 in,30,38,18,supply,1\n22 mm,24,25,23,supply,6\n3/4 in,54,25,20,return,1\n"
    )
    first, second, third = read_sections(file)
    assert first == Section("2 in", 30.0, 0.038, 18.0, "supply", (), 1.0, 1)
    assert second == Section("22 mm", 24.0, 0.025, 23.0, "supply", (0,), 1.0 / 6.0, 6)
    assert third == Section("3/4 in", 54.0, 0.025, 20.0, "return", (1,), 1.0, 1)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("2.2 in,30,38,18,supply,1", ["line 2", "size", "2.2 in", "2-1/2 in"]),
        ("2 in,-3,38,18,supply,1", ["length_m", "-3"]),
        ("2 in,30,38,18,out,1", ["side", "'out'", "supply or return"]),
        ("2 in,30,38,18,supply,1.5", ["parallel", "whole"]),
        ("2 in,30,38,18,supply,0", ["parallel", "1 to"]),
        ("2 in,30,38,18,return,1\n2 in,30,38,18,supply,1", ["line 3", "direction of flow"]),
    ],
)
def test_wrong_files_are_named(tmp_path: Path, line: str, words: list[str]) -> None:
    file = tmp_path / "loop.csv"
    file.write_text(HEAD + line)
    with pytest.raises(InputError) as caught:
        read_sections(file)
    for word in ["loop.csv", *words]:
        assert word in str(caught.value)
