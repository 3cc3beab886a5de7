"""Mass curve against published and worked values, cumulative curves by brute force, and its laws."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.errors import OutOfRangeError
from hpwhsim.sizing.mass_curve import least_recovery, least_storage
from hpwhsim.verification.shared_tables import rows

pytestmark = pytest.mark.published

Array = NDArray[np.float64]

BARRED = np.isin(np.arange(24), range(16, 21))


@pytest.fixture(scope="module")
def day() -> Array:
    """Shares of the stated day."""
    use = np.array([float(row["use"]) for row in rows("two_peak_day")])
    return np.asarray(use / use.sum())


def by_windows(draw: Array, supply: Array) -> float:
    """Greatest excess of draw over supply in any window of the repeating record, window by window."""
    n = draw.size
    greatest = 0.0
    for first in range(n):
        excess = 0.0
        for k in range(2 * n):
            excess += draw[(first + k) % n] - supply[(first + k) % n]
            greatest = max(greatest, excess)
    return greatest


def by_recursion(draw: Array, supply: Array, repeats: int) -> float:
    """The sequent-peak recursion as it is written."""
    deficit = greatest = 0.0
    for net in np.tile(draw - supply, repeats):
        deficit = max(0.0, deficit + net)
        greatest = max(greatest, deficit)
    return greatest


def test_shares_of_the_worked_curve(day: Array) -> None:
    """The curve as it is quoted, three digits; peak hour 10.7 % and peak three hours 27.5 % of this day.

    5e-4: half the last digit.
    """
    assert day.max() == pytest.approx(0.107, abs=5e-4)
    assert np.convolve(day, np.ones(3)).max() == pytest.approx(0.275, abs=5e-4)
    curve = least_storage(day, 1.0 / np.arange(24, 6, -2))
    quoted = [0.194, 0.146, 0.128, 0.108, 0.087, 0.060, 0.030, 0.007, 0.0]
    assert curve.storage == pytest.approx(quoted, abs=5e-4)


@pytest.mark.independent
def test_locked_out_storage_is_the_draw_of_the_barred_hours(day: Array) -> None:
    """Closed form: nothing comes in, and the store can be full at 16:00; 0.283 of the day. 1e-12: rounding.

    The critical period is the bar itself, which no recovery shortens: slope 0. With 19 of 24 hours left,
    1/19 of the day per hour is the least that keeps up; there the store is not full at 16:00.
    """
    curve = least_storage(day, 1.0 / np.array([18.0, 12.0, 4.0]), ~BARRED)
    assert curve.storage == pytest.approx(np.full(3, day[16:21].sum()), abs=1e-12)
    assert day[16:21].sum() == pytest.approx(0.283, abs=5e-4)
    assert curve.start.tolist() == [16, 16, 16]
    assert curve.end.tolist() == [21, 21, 21]
    assert curve.hours.tolist() == [0.0, 0.0, 0.0]
    assert least_recovery(day, ~BARRED) == pytest.approx(1.0 / 19.0, rel=1e-12)
    assert least_storage(day, 1.0 / 19.001, ~BARRED).storage[0] == np.inf
    at_least = least_storage(day, 1.0 / 19.0, ~BARRED)
    assert at_least.storage[0] == pytest.approx(by_windows(day, ~BARRED / 19.0), abs=1e-12)
    rounded = least_storage(day, (1.0 - 1e-12) / 19.0, ~BARRED)  # missed by rounding, not by capacity
    assert rounded.storage[0] == pytest.approx(at_least.storage[0], abs=1e-11)


@pytest.mark.independent
def test_a_day_by_hand() -> None:
    """Draw 6 at hour 1 and 2 at hour 3, recovery 2/h: the hour of the 6 leaves 4; 8 a day is just made.

    Recovery 3: 6 - 3 = 3. Recovery 5: 1. Recovery 6: none, and no critical period. Recovery 1: never.
    A bar in the hours 3 and 0 at recovery 4: 2 are missing after hour 3, still 2 after hour 0, and 4 after
    hour 1; the period wraps over midnight, with one hour of heating in it.
    """
    draw = np.array([0.0, 6.0, 0.0, 2.0])
    curve = least_storage(draw, [2.0, 3.0, 5.0, 6.0, 1.0])
    assert curve.storage.tolist() == [4.0, 3.0, 1.0, 0.0, np.inf]
    assert curve.start.tolist() == [1, 1, 1, 0, 0]
    assert curve.end.tolist() == [2, 2, 2, 0, 0]
    assert curve.hours.tolist() == [1.0, 1.0, 1.0, 0.0, np.inf]
    night = least_storage(draw, 4.0, [0, 1, 1, 0])
    assert (night.storage[0], night.start[0], night.end[0], night.hours[0]) == (4.0, 3, 6, 1.0)
    assert least_storage(draw, 4.0, np.zeros(4)).storage[0] == np.inf
    assert least_recovery(draw, np.zeros(4)) == np.inf
    assert least_recovery(np.zeros(4), np.zeros(4)) == 0.0


records = st.integers(2, 12).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.0, 10.0), min_size=n, max_size=n).map(np.array),
        st.lists(st.sampled_from([0.0, 0.5, 1.0, 1.2]), min_size=n, max_size=n).map(np.array),
    )
)


@pytest.mark.independent
@given(record=records, margin=st.floats(1.0, 5.0), per_hour=st.integers(1, 6))
def test_three_ways_to_the_same_storage(record: tuple[Array, Array], margin: float, per_hour: int) -> None:
    """All windows one by one, and the recursion step by step over two and over five repeats.

    1e-9 of the draw: sums in another order; a recovery that just keeps up drifts by rounding.
    """
    draw, output = record
    rate = least_recovery(draw, output, per_hour) * margin
    curve = least_storage(draw, min(rate, 1e6), output, per_hour)
    if np.isinf(rate):
        assert curve.storage[0] == np.inf
        return
    supply = rate * output / per_hour
    size = pytest.approx(curve.storage[0], abs=1e-9 * (1.0 + draw.sum()))
    assert by_windows(draw, supply) == size
    assert by_recursion(draw, supply, 2) == size
    assert by_recursion(draw, supply, 5) == size
    inside = np.arange(curve.start[0], curve.end[0]) % draw.size
    assert draw[inside].sum() - supply[inside].sum() == size
    assert curve.hours[0] == pytest.approx(output[inside].sum() / per_hour, abs=1e-12)


@pytest.mark.law
@given(record=records)
def test_the_curve_is_convex_and_falls_by_the_critical_hours(record: tuple[Array, Array]) -> None:
    """A greatest of straight lines -hours x recovery + draw: each is a tangent, never undercut.

    1e-9 of the draw: rounding of sums.
    """
    draw, output = record
    least = least_recovery(draw, output)
    if np.isinf(least):
        return
    curve = least_storage(draw, least * np.linspace(1.0, 4.0, 25) + 1e-6, output)
    slack = 1e-9 * (1.0 + draw.sum())
    assert (np.diff(curve.storage) <= slack).all()
    assert (np.diff(curve.storage, 2) >= -slack).all()
    for k in range(curve.recovery.size):
        tangent = curve.storage[k] - curve.hours[k] * (curve.recovery - curve.recovery[k])
        assert (curve.storage >= tangent - slack).all()


@pytest.mark.independent
def test_slope_by_difference_is_minus_the_critical_hours(day: Array) -> None:
    """Between two bends the curve is straight: 1e-9, rounding over a difference of 1e-4."""
    for hours in (22.0, 16.0, 12.0):
        curve = least_storage(day, 1.0 / hours + np.array([-5e-5, 0.0, 5e-5]))
        slope = (curve.storage[2] - curve.storage[0]) / 1e-4
        assert slope == pytest.approx(-curve.hours[1], abs=1e-9)


@pytest.mark.law
@given(
    one=st.lists(st.floats(0.0, 5.0), min_size=24, max_size=24).map(np.array),
    two=st.lists(st.floats(0.0, 5.0), min_size=24, max_size=24).map(np.array),
    margin=st.floats(1.0, 3.0),
)
def test_two_uses_on_one_plant_need_no_more_than_the_sum(one: Array, two: Array, margin: float) -> None:
    """The handbook adds recovery to recovery and storage to storage: safe, for peaks need not coincide.

    1e-9 of the draw: rounding of sums.
    """
    rates = [margin * least_recovery(draw) for draw in (one, two)]
    parts = sum(least_storage(draw, rate).storage[0] for draw, rate in zip((one, two), rates, strict=True))
    both = least_storage(one + two, sum(rates)).storage[0]
    assert both <= parts + 1e-9 * (1.0 + one.sum() + two.sum())


@pytest.mark.independent
def test_finer_steps_show_the_peak_inside_the_hour() -> None:
    """A peak of 30 L within 10 minutes, recovery 60 L/h: an hour's mean needs none, the steps 30 - 10 L."""
    steps = np.zeros((24, 6))
    steps[7, 2] = 30.0
    assert least_storage(steps.sum(axis=1), 60.0).storage[0] == 0.0
    fine = least_storage(steps.ravel(), 60.0, steps_per_hour=6)
    assert fine.storage[0] == pytest.approx(20.0, rel=1e-12)
    assert (fine.start[0], fine.end[0]) == (44, 45)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: least_storage([1.0, -1.0], 1.0), "draw: got -1; allowed 0 or more"),
        (lambda: least_storage([1.0, np.nan], 1.0), "draw: got nan"),
        (lambda: least_storage([], 1.0), "one row of steps"),
        (lambda: least_storage([1.0, 2.0], 1.0, [1.0]), "one row of steps"),
        (lambda: least_storage([1.0], np.inf), "recovery: got inf"),
        (lambda: least_storage([1.0], 1.0, steps_per_hour=0), "steps per hour: got 0"),
    ],
)
def test_what_is_refused(call: Any, said: str) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        call()
