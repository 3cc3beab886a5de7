"""Heights act where they are: a port moved by less than a cell acts in proportion."""

from collections.abc import Callable

import numpy as np
import pytest

from hpwhsim.storage.tank import (
    coldest_foot,
    heat_upper,
    make_scratch,
    pass_between,
    reconstruct,
    shift,
)

CELLS = 20


def layered() -> np.ndarray:
    """Colder below, with a thermocline in the middle. [°C]"""
    return np.concatenate((np.full(8, 12.0), np.linspace(15.0, 55.0, 6), np.full(6, 58.0)))


def height_of_heat(profile: np.ndarray) -> float:
    """First moment of the heat."""
    return float((profile * (np.arange(CELLS) + 0.5)).sum())


def heated_above(level: float) -> float:
    return heat_upper(layered(), make_scratch(CELLS), level, 1e9, 60.0)


def felt_at(level: float) -> float:
    return coldest_foot(layered(), make_scratch(CELLS), level)


def passed(low: float, high: float) -> float:
    store, scratch = layered(), make_scratch(CELLS)
    reconstruct(store, scratch, store[0])
    pass_between(store, scratch, low, high, 2.0, 60.0)
    return height_of_heat(store)


def loop_returns(level: float) -> float:
    store, scratch = layered(), make_scratch(CELLS)
    reconstruct(store, scratch, store[0])
    shift(store, scratch, 0.0, 1.5, level, 10.0, 40.0, 60.0, 0)
    return height_of_heat(store)


@pytest.mark.parametrize(
    ("of", "level"),
    [
        (heated_above, 9.0),
        (felt_at, 9.0),
        (lambda z: passed(z, 15.0), 8.0),
        (lambda z: passed(2.0, z), 12.0),
        (loop_returns, 10.0),
    ],
    ids=["backup heats", "backup feels", "intake", "return", "loop"],
)
def test_between_two_cells_a_port_acts_between(of: Callable[[float], float], level: float) -> None:
    """Monotone from one cell's edge to the next, between the two inside, and without a jump at the edges."""
    steps = [of(level + part) for part in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)]
    changes = np.diff(steps)
    assert np.all(changes >= 0.0) or np.all(changes <= 0.0)
    assert min(steps[0], steps[-1]) < steps[2] < max(steps[0], steps[-1])
    assert of(level + 1e-7) == pytest.approx(steps[0], abs=1e-4)
    assert of(level + 1.0 - 1e-7) == pytest.approx(steps[-1], abs=1e-4)


@pytest.mark.parametrize("level", [12.0, 12.25, 12.9, 0.0])
def test_the_backup_heats_exactly_what_lies_above_its_height(level: float) -> None:
    """A cold store: heat to 60 °C above the level is volume times rise; and power is not exceeded."""
    store = np.full(CELLS, 20.0)
    scratch = make_scratch(CELLS)
    assert heat_upper(store.copy(), scratch, level, 1e9, 60.0) == pytest.approx((CELLS - level) * 40.0)
    before = store.sum()
    for _ in range(500):  # in small parts it comes to the same, and no further
        heat_upper(store, scratch, level, 7.0, 60.0)
    assert store.sum() - before == pytest.approx((CELLS - level) * 40.0)
    assert np.all(np.diff(store) >= -1e-9)
    assert np.array_equal(store[: int(level)], np.full(int(level), 20.0))


@pytest.mark.parametrize(("low", "high", "volume"), [(2.3, 14.7, 3.1), (0.0, 20.0, 20.0), (5.5, 6.6, 1.1)])
def test_what_passes_between_ports_keeps_heat_and_leaves_the_rest(
    low: float, high: float, volume: float
) -> None:
    """First law; and cells wholly outside the ports keep their temperature."""
    store, scratch = layered(), make_scratch(CELLS)
    before = store.copy()
    reconstruct(store, scratch, store[0])
    taken = pass_between(store, scratch, low, high, volume, 60.0)
    assert store.sum() - before.sum() == pytest.approx(volume * 60.0 - taken, rel=1e-12)
    assert store[: int(low)] == pytest.approx(before[: int(low)], abs=1e-9)
    assert store[int(np.ceil(high)) :] == pytest.approx(before[int(np.ceil(high)) :], abs=1e-9)
