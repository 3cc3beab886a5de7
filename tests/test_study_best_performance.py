"""The best that a map offers, against the march's own look-up, by hand, and lines below by their law."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.simulation.best_performance import line_below, over_inlets


def invented_map(rng: np.random.Generator, outlets: int, holes: float) -> PerformanceMap:
    source, inlet = np.array([-15.0, -5.0, 2.0, 20.0]), np.array([5.0, 20.0, 40.0, 50.0])
    shape = (4, 4, outlets)
    capacity = np.where(rng.random(shape) < holes, np.nan, rng.uniform(4e3, 2e4, shape))
    outlet = np.array([60.0, 70.0])[:outlets] if outlets > 1 else np.array([np.nan])
    return PerformanceMap(source, inlet, outlet, capacity, capacity / rng.uniform(1.5, 5.0, shape))


@settings(max_examples=25)
@given(
    seed=st.integers(0, 2**32 - 1),
    outlets=st.sampled_from([1, 2]),
    holes=st.sampled_from([0.0, 0.2]),
    fixed=st.booleans(),
)
def test_no_look_up_of_the_march_beats_the_best_of_the_map(
    seed: int, outlets: int, holes: float, fixed: bool
) -> None:
    """The march's own look-up at random inlets from the coldest up; 1e-9: rounding of the interpolation."""
    rng = np.random.default_rng(seed)
    machine = invented_map(rng, outlets, holes)
    sources, cold = rng.uniform(-18.0, 24.0, 12), rng.uniform(2.0, 30.0)
    outlet = 63.0 if fixed else None
    inlets = np.union1d([cold, 55.0], machine.water_in_c[machine.water_in_c > cold])
    best = over_inlets(machine, sources, inlets, outlet)
    colder = over_inlets(machine, sources, inlets, outlet, colder=True)
    for k, source in enumerate(sources):
        for inlet in np.append(rng.uniform(cold, 55.0, 10), cold):
            for found, met in ((best, source), (colder, source - rng.exponential(8.0))):
                got, power, _ = look_up(machine, met, inlet, outlet or rng.uniform(58.0, 72.0))
                if not np.isnan(got):
                    assert got <= found.capacity[k].max() * (1.0 + 1e-9)
                    assert power / got >= found.per_heat[k].min() * (1.0 - 1e-9)


def test_best_of_a_map_by_hand() -> None:
    """One source, inlets 10 and 50 °C: 8 kW at COP 4 and 6 kW at COP 2.

    At 20 °C: a quarter of the way, 7.5 kW and 2.25 kW. At 0 °C: the map's edge. Source 5 K past the end: the
    edge. A machine that works at no inlet has no capacity. At 10 °C and colder sources: that of 0 °C.
    """
    values = np.array([[[8e3], [6e3]], [[np.nan], [np.nan]]])
    machine = PerformanceMap(
        np.array([0.0, 10.0]),
        np.array([10.0, 50.0]),
        np.array([60.0]),
        values,
        values / np.array([[4.0], [2.0]]),
    )
    found = over_inlets(machine, [0.0, -5.0, 5.0, 10.0], [0.0, 10.0, 20.0])
    assert found.capacity == pytest.approx(np.array([[8e3, 8e3, 7.5e3]] * 2 + [[0.0] * 3] * 2))
    assert found.per_heat[:2] == pytest.approx(np.array([[0.25, 0.25, 2.25 / 7.5]] * 2))
    assert np.isinf(found.per_heat[2:]).all()
    assert over_inlets(machine, [10.0], [10.0], colder=True).per_heat == pytest.approx(np.array([[0.25]]))


@given(seed=st.integers(0, 2**32 - 1), points=st.integers(1, 12))
def test_a_line_below_touches_and_does_not_cross(seed: int, points: int) -> None:
    """Nowhere above a point, and no line through two of the points that is below all is higher at its place.

    1e-12, 1e-9: rounding.
    """
    rng = np.random.default_rng(seed)
    x, y = np.unique(rng.uniform(0.0, 40.0, points)), rng.uniform(0.1, 0.6, points)
    y = np.sort(y)[: x.size]  # rising, as electricity over warmth is
    at = np.array([rng.uniform(x[0], x[-1])])
    level, slope = line_below((x, y[None, :]), at)
    assert (level + slope * x <= y + 1e-12).all()
    for i in range(x.size):
        for j in range(i):
            other = (y[i] - y[j]) / (x[i] - x[j])
            if (y[i] + other * (x - x[i]) <= y + 1e-12).all():
                assert level + slope * at >= y[i] + other * (at - x[i]) - 1e-9
