"""What machine stands behind a rating: the limit of all of them, parts that only improve, one evaporator."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.heatpump import rated
from hpwhsim.heatpump.anchor import Anchored, Rating, anchor_one, design, lorenz_cop, peak_efficiency
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.evaporator import solve_with_coil, taken
from hpwhsim.heatpump.machine import Machine
from hpwhsim.heatpump.states import Condensing, Isobars
from hpwhsim.scenario.families import REFRIGERANTS

pytestmark = pytest.mark.law

POINT = (7.0, 10.0, 60.0)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("source", "water_in", "water_out"), [(7.0, 10.0, 60.0), (-15.0, 5.0, 80.0), (0.0, 45.0, 50.0)]
)
def test_the_lorenz_limit_is_that_of_carnot_machines_in_a_row(
    source: float, water_in: float, water_out: float
) -> None:
    """Each of 20,000 Carnot machines warms the water by its slice; together they take the least work.

    Work of a slice at T is ``q (1 - T_source / T)``. The middle of a slice stands for it: 1e-9. At the
    arithmetic mean of the water the limit would be 0.01 to 8 % too low.
    """
    edges = np.linspace(water_in, water_out, 20_001) + 273.15
    slices = 0.5 * (edges[1:] + edges[:-1])
    work = np.mean(1.0 - (source + 273.15) / slices)
    assert lorenz_cop(source, water_in, water_out) == pytest.approx(1.0 / work, rel=1e-8)


@pytest.mark.independent
def test_the_lorenz_limit_by_hand() -> None:
    """7 °C, water 10 to 60 °C: mean 50 / ln(333.15 / 283.15) = 307.473 K, over 27.323 K: 11.2534.

    By the arithmetic mean, 308.15 K over 28 K, it would be 11.0054.
    """
    assert lorenz_cop(7.0, 10.0, 60.0) == pytest.approx(11.2534, abs=1e-4)


@lru_cache(maxsize=1)
def described(name: str) -> tuple[Machine, Isobars | Condensing, float, float]:
    """A machine before its rating, its high side, and the COP of its poorest and of its best parts."""
    machine = rated._machine(name, 10.0, 5.0, False, None, "test")
    high_side = sample(machine)
    parts = design(machine, np.linspace(0.0, 1.0, 21))
    cop = solve(
        machine,
        high_side,
        *POINT,
        scale=parts.efficiency / peak_efficiency(machine),
        approach_k=parts.approach_k,
        pinch_k=parts.pinch_k,
        deepest_k=parts.subcooling_k,
    ).cop
    return machine, high_side, float(np.nanmin(cop)), float(np.nanmax(cop))


def anchored(name: str, share: float) -> tuple[Anchored, Isobars | Condensing]:
    """The machine whose rated COP lies at `share` of the way from its poorest parts to its best."""
    machine, high_side, poorest, best = described(name)
    cop = poorest * (best / poorest) ** share * (1.0 - 1e-6)
    return anchor_one(machine, high_side, Rating(*POINT, 1.0, cop), "test"), high_side


FEW = {"R-134a", "R-290", "R-407C", "R-717", "R-744"}  # with glide and without, hot gas, transcritical


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in FEW else pytest.mark.long) for name in REFRIGERANTS]
)
@settings(max_examples=3, deadline=None)
@given(
    share=st.floats(-0.2, 0.98),  # below 0: less of the electricity reaches the gas
    more=st.floats(0.01, 0.3),
    outlet=st.sampled_from([50.0, 60.0, 65.0]),
)
def test_a_better_rated_machine_is_nowhere_worse(name: str, share: float, more: float, outlet: float) -> None:
    """COP away from the rating, in cold and warm air, with cold and with nearly hot water, one pass or many.

    1e-4: resolution of the search for the best pressure, and of that for the evaporating temperature.
    """
    source = np.repeat([-5.0, 25.0], 4)
    inlet = np.tile([5.0, 25.0, outlet - 15.0, outlet - 5.0], 2)
    cop = []
    for quality in (share, min(share + more, 0.999)):
        found, high_side = anchored(name, quality)
        assert abs(found.cop_residual[0]) < 1e-4
        cop.append(solve_with_coil(found.machine, high_side, found.coil, source, inlet, outlet)[0].cop)
    both = np.isfinite(cop[0]) & np.isfinite(cop[1])
    assert both.any()
    assert (cop[1][both] / cop[0][both]).min() > 1.0 - 1e-4


@settings(max_examples=50)
@given(a=st.floats(0.0, 1.0), b=st.floats(0.0, 1.0))
def test_parts_only_improve_and_never_jump(a: float, b: float) -> None:
    """Each part goes one way with the quality, and no faster than ten times its whole range."""
    machine = rated._machine("R-290", 10.0, 5.0, False, None, "test")
    worse, better = design(machine, min(a, b)), design(machine, max(a, b))
    gap = abs(a - b)
    for name, way, whole in (
        ("efficiency", 1.0, 0.45),
        ("subcooling_k", 1.0, 35.0),
        ("approach_k", -1.0, 5.0),
        ("pinch_k", -1.0, 2.5),
    ):
        step = way * (float(getattr(better, name)) - float(getattr(worse, name)))
        assert -1e-12 <= step <= 10.0 * whole * gap + 1e-12


@pytest.mark.slow
@pytest.mark.parametrize("name", ["R-290", "R-744"])
def test_the_evaporator_has_one_conductance(name: str) -> None:
    """Source less evaporating temperature over the heat taken is the same at every point of the map.

    The evaporating temperature is found from the map's capacity alone, by a cycle solved without any source.
    3e-3 of the capacity: two linear look-ups. A fixed approach is 10 to 40 % off at the ends.
    """
    machine = rated._machine(name, 10.0, 5.0, False, None, "test")
    high_side, rating = sample(machine), Rating(*POINT, 1.0, 3.2)
    found = anchor_one(machine, high_side, rating, "test")
    m = rated._map(found, high_side, (60.0,), "single-pass", 5.0, rating, "test")
    evaporating = np.arange(-30.0, 20.0, 0.5)
    bare = replace(found.machine, approach_k=0.0)
    for inlet in (10.0, 30.0):
        cycle = solve(bare, high_side, evaporating, inlet, 60.0)
        works = np.isfinite(cycle.cop)
        for source in (-15.0, 0.0, 7.0, 20.0):
            capacity, power = (rated._between(m, v, (source, inlet, 60.0)) for v in (m.capacity_w, m.power_w))
            if not np.isfinite(capacity):
                continue
            cold = np.interp(capacity, found.swept * cycle.volumetric[works], evaporating[works])
            heat = capacity - found.machine.compressor.gas_share * power
            approach = found.coil.approach_k * heat / (found.swept * found.coil.heat)
            assert source - cold == pytest.approx(approach, abs=0.15)
            assert cold < source


def test_colder_air_needs_less_approach_than_warmer() -> None:
    """R-290: a third of the heat at -20 °C of that at 35 °C, and a third of the difference."""
    found, high_side = anchored("R-290", 0.4)
    cycle, cold = solve_with_coil(found.machine, high_side, found.coil, [-15.0, 7.0, 35.0], 10.0, 60.0)
    approach = np.array([-15.0, 7.0, 35.0]) - cold
    heat = taken(found.machine, cycle)
    assert approach[1] == pytest.approx(found.machine.approach_k, abs=2e-3)
    np.testing.assert_allclose(approach / heat, approach[1] / heat[1], rtol=1e-3)
    assert approach[0] < 0.7 * approach[1] < 0.5 * approach[2]


def test_part_speed_evaporates_below_the_source_and_nearer_to_it() -> None:
    """A fifth of the speed: less than a quarter of the difference; never none of it."""
    found, high_side = anchored("R-290", 0.4)
    speed = np.array([0.1, 0.2, 0.5, 1.0])
    for source in (-10.0, 7.0, 20.0):  # warmer, a valve holds the evaporating temperature at 25 °C
        cycle, cold = solve_with_coil(found.machine, high_side, found.coil, source, 10.0, 60.0, speed)
        approach = source - cold
        assert (approach > 0.0).all()
        assert (np.diff(approach) > 0.0).all()
        np.testing.assert_allclose(
            approach / (speed * taken(found.machine, cycle)),
            found.coil.approach_k / found.coil.heat,
            rtol=5e-3,
        )
