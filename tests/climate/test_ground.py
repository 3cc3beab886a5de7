"""Ground temperature against a worked table, the heat equation, and a fit made another way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent

SOIL = 0.05 / 86400.0  # m²/s


@pytest.mark.law
def test_heat_equation_holds() -> None:
    """dT/dt = a d²T/dz² (Fourier), by central differences, good to 1e-4 of the largest rate."""
    day, depth, dz, dt = np.arange(0.0, 365.0, 7.0), 1.7, 0.01, 0.05

    def at(z: float, shift: float) -> np.ndarray:
        return ground_temperature(z, day + shift, 10.0, 12.0, 35.0, SOIL)

    rate = (at(depth, dt) - at(depth, -dt)) / (2.0 * dt)
    bend = (at(depth + dz, 0.0) - 2.0 * at(depth, 0.0) + at(depth - dz, 0.0)) / dz**2
    assert rate == pytest.approx(0.05 * bend, abs=1e-4 * np.abs(rate).max())


def test_surface_wave_is_the_least_squares_answer() -> None:
    """A general least-squares solver (numpy) on a rough, lopsided year gives the same three numbers."""
    random = np.random.default_rng(7)
    day = 0.5 + (np.arange(8760) + 0.5) / 24.0
    air = 5.0 + 9.0 * np.sin(day / 58.0 - 1.0) + np.abs(random.normal(0.0, 4.0, 8760)) + (day > 200.0)
    angle = 2.0 * np.pi / 365.0 * day
    fit, *_ = np.linalg.lstsq(np.column_stack([np.ones(8760), np.cos(angle), np.sin(angle)]), air)
    wave = surface_wave(air)
    again = wave.mean_c - wave.amplitude_k * np.cos(angle - 2.0 * np.pi / 365.0 * wave.day_of_minimum)
    assert again == pytest.approx(fit[0] + fit[1] * np.cos(angle) + fit[2] * np.sin(angle), abs=1e-9)
    assert wave.amplitude_k > 0.0


@pytest.mark.law
@given(
    depth=st.floats(0.0, 30.0),
    day=st.floats(0.0, 365.0),
    soil=st.floats(2e-7, 1.5e-6),
)
def test_deeper_swings_less(depth: float, day: float, soil: float) -> None:
    """Damping: at a depth the departure from the mean is at most exp(-depth / damping depth)."""
    damping = np.sqrt(2.0 * soil / (2.0 * np.pi / (365.0 * 86400.0)))  # sqrt(2 a / omega), any heat-flow text
    got = float(ground_temperature(depth, day, 10.0, 12.0, 35.0, soil))
    assert abs(got - 10.0) <= 12.0 * np.exp(-depth / damping) + 1e-9


@pytest.mark.contract
def test_bad_input_is_named() -> None:
    with pytest.raises(OutOfRangeError, match="diffusivity"):
        ground_temperature(1.0, 1.0, 10.0, 12.0, 35.0, 0.0)
    with pytest.raises(OutOfRangeError, match="depth"):
        ground_temperature([1.0, -0.1], 1.0, 10.0, 12.0, 35.0, SOIL)
    with pytest.raises(OutOfRangeError, match="finite"):
        ground_temperature(1.0, 1.0, np.nan, 12.0, 35.0, SOIL)
    with pytest.raises(OutOfRangeError, match="8760"):
        surface_wave(np.zeros(24))
