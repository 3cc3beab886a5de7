"""Cold build of a performance map by refrigerant, a map from the cache, and one look-up.

Run: pytest benchmarks/heatpump_map.py
"""

from pathlib import Path

import numpy as np
import platformdirs
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from hpwhsim.heatpump import rated
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.heatpump.rated import fit_one
from hpwhsim.heatpump.refrigerants import names
from hpwhsim.kernel import kernel

REFRIGERANTS = [name for name in names() if name != "R-125"]  # a component only


def build(refrigerant: str) -> PerformanceMap:
    return fit_one(refrigerant, 20e3, 3.4, 7.0, 10.0, 55.0, 55.0).machine


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cache folder of its own."""
    monkeypatch.setattr(platformdirs, "user_cache_dir", lambda name: str(tmp_path / name))


@pytest.mark.parametrize("refrigerant", REFRIGERANTS)
def test_bench_cold(benchmark: BenchmarkFixture, refrigerant: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the import of CoolProp, which takes 1 to 2 s once; a map must take less than 5 s with it."""
    import CoolProp.CoolProp

    assert CoolProp.CoolProp.get_global_param_string("version")
    monkeypatch.setattr(rated, "cached", lambda inputs, make: make())
    m = benchmark.pedantic(build, (refrigerant,), rounds=2, warmup_rounds=0)
    assert np.isfinite(m.capacity_w).mean() > 0.3
    if benchmark.stats is not None:  # None where benchmarks run as plain tests
        assert benchmark.stats.stats.min < 3.5


def test_bench_cached(benchmark: BenchmarkFixture) -> None:
    """A map at hand: less than 50 ms."""
    first = build("R-744")
    again = benchmark(build, "R-744")
    assert np.array_equal(first.capacity_w, again.capacity_w, equal_nan=True)
    if benchmark.stats is not None:
        assert benchmark.stats.stats.median < 0.05


@kernel
def many(m: PerformanceMap, source: np.ndarray, inlet: np.ndarray) -> float:
    """Sum of capacity over many look-ups. [W]"""
    total = 0.0
    for i in range(source.size):
        capacity, _, _ = look_up(m, source[i], inlet[i], 55.0)
        if capacity == capacity:
            total += capacity
    return total


def test_bench_million_look_ups(benchmark: BenchmarkFixture) -> None:
    """A million look-ups, as a year of one-minute steps has."""
    m = build("R-744")
    rng = np.random.default_rng(1)
    source, inlet = rng.uniform(-20.0, 40.0, 1_000_000), rng.uniform(5.0, 50.0, 1_000_000)
    many(m, source, inlet)
    assert benchmark(many, m, source, inlet) > 0.0
