"""The measures of ASHRAE Guideline 14 and the statistics of a fit, beside hand work and other libraries."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from hpwhsim.studies import fit_estimate as estimate
from hpwhsim.studies.fit_measures import LIMITS, agreement, cv_rmse, nmbe

pytestmark = pytest.mark.independent

HUNDREDS = np.full(4, 100.0)


@pytest.mark.published
def test_limits_of_the_guideline() -> None:
    """ASHRAE Guideline 14-2014 by restatements: 5 % and 15 % by month, 10 % and 30 % by hour; none by day."""
    assert {name: tuple(limits) for name, limits in LIMITS.items()} == {
        "month": (0.05, 0.15),
        "hour": (0.10, 0.30),
    }


def test_measures_by_hand() -> None:
    """Metered 100 four times. Computed 110, 90, 110, 90, p = 1: NMBE 0, CV(RMSE) sqrt(400/3)/100 = 11.55 %.

    Computed 105 four times: 5 % too much, with p = 0 both 5 % in size; with p = 1, 20/3/100 = 6.67 % and
    sqrt(100/3)/100 = 5.77 %.
    """
    swings = np.array([110.0, 90.0, 110.0, 90.0])
    assert nmbe(HUNDREDS, swings, 1) == 0.0
    assert cv_rmse(HUNDREDS, swings, 1) == pytest.approx(0.115470, abs=1e-6)
    high = np.full(4, 105.0)
    assert (nmbe(HUNDREDS, high, 0), cv_rmse(HUNDREDS, high, 0)) == pytest.approx((-0.05, 0.05))
    assert (nmbe(HUNDREDS, high, 1), cv_rmse(HUNDREDS, high, 1)) == pytest.approx(
        (-0.066667, 0.057735), abs=1e-6
    )


def test_a_year_of_bills_by_hand() -> None:
    """Twelve months of 1000 kWh, computed 950 six times and 1030 six times, p = 1.

    Sum of differences 6*50 - 6*30 = 120: NMBE 120/(11*1000) = 1.0909 %. Squares 6*2500 + 6*900 = 20400:
    CV(RMSE) sqrt(20400/11)/1000 = 4.3064 %. Both within the limits of months.
    """
    metered, computed = np.full(12, 1000.0), np.array([950.0] * 6 + [1030.0] * 6)
    found = agreement(metered, computed, 1, "month")
    assert found.nmbe == pytest.approx(0.010909, abs=1e-6)
    assert found.cv_rmse == pytest.approx(0.043064, abs=1e-6)
    assert found.within is True
    assert agreement(metered, computed, 1, "day").within is None
    assert agreement(metered, computed * 0.9, 1, "month").within is False


readings = st.lists(st.floats(1.0, 1e4), min_size=6, max_size=30)


@pytest.mark.law
@given(metered=readings, shift=st.floats(0.2, 5.0), unit=st.floats(1e-4, 1e4), p=st.integers(0, 4))
def test_measures_do_not_depend_on_the_unit(metered: list[float], shift: float, unit: float, p: int) -> None:
    """KWh or Wh, litres or gallons: a factor on both series changes neither measure."""
    m, s = np.array(metered), np.array(metered[::-1]) * shift
    assume(not np.allclose(m, s))
    assert nmbe(m * unit, s * unit, p) == pytest.approx(nmbe(m, s, p), rel=1e-9, abs=1e-9)
    assert cv_rmse(m * unit, s * unit, p) == pytest.approx(cv_rmse(m, s, p), rel=1e-9, abs=1e-9)
    assert cv_rmse(m, s, 0) >= abs(nmbe(m, s, 0)) * (1.0 - 1e-9)  # Cauchy and Schwarz, where p is 0


def test_a_straight_line_is_that_of_scipy() -> None:
    """Slope, intercept and their standard errors by the closed form of scipy.stats.linregress."""
    rng = np.random.default_rng(3)
    x = np.linspace(0.0, 10.0, 25)
    y = 2.0 + 0.7 * x + rng.normal(0.0, 0.5, x.size)
    jacobian = np.column_stack((np.ones_like(x), x))
    line = stats.linregress(x, y)
    change = estimate.step(jacobian, y, np.full(2, -np.inf), np.full(2, np.inf))
    assert change == pytest.approx((line.intercept, line.slope), rel=1e-9)
    found = estimate.spread(jacobian, y - jacobian @ change)
    assert found.standard_error == pytest.approx((line.intercept_stderr, line.stderr), rel=1e-9)
    assert found.half_width / found.standard_error == pytest.approx(stats.t.ppf(0.975, 23), rel=1e-12)
    # covariance of intercept and slope: -mean(x) times the variance of the slope
    assert found.correlation[0, 1] == pytest.approx(-x.mean() * line.stderr / line.intercept_stderr, rel=1e-9)


def test_one_key_is_the_ratio_of_sums() -> None:
    """One column: change = sum(j r)/sum(j j), variance s2/sum(j j), nothing to inflate it."""
    j, r = np.array([1.0, 2.0, 3.0]), np.array([2.0, 3.0, 7.0])
    change = estimate.step(j[:, None], r, np.array([-9.0]), np.array([9.0]))
    assert change[0] == pytest.approx(29.0 / 14.0)
    left = r - j * change[0]
    found = estimate.spread(j[:, None], left)
    assert found.standard_error[0] == pytest.approx(np.sqrt(left @ left / 2.0 / 14.0))
    assert found.inflation == pytest.approx([1.0])
    assert estimate.step(j[:, None], r, np.array([-1.0]), np.array([0.5])) == pytest.approx([0.5])


@given(angle=st.floats(0.05, 1.5))
def test_two_keys_look_alike_by_their_angle(angle: float) -> None:
    """Columns at an angle a: correlation -cos(a) of the estimates, inflation 1/sin(a)^2."""
    jacobian = np.array([[1.0, np.cos(angle)], [0.0, np.sin(angle)], [0.0, 0.0]])
    assert estimate.correlation(jacobian)[0, 1] == pytest.approx(-np.cos(angle), abs=1e-9)
    assert estimate.inflation(jacobian) == pytest.approx(np.full(2, 1.0 / np.sin(angle) ** 2), rel=1e-9)
    scaled = jacobian * np.array([1000.0, 0.001])  # other units of the keys
    assert estimate.inflation(scaled) == pytest.approx(estimate.inflation(jacobian), rel=1e-9)


def test_columns_that_are_the_same_are_alike_without_end() -> None:
    same = np.column_stack((np.arange(1.0, 6.0), 3.0 * np.arange(1.0, 6.0)))
    assert estimate.inflation(same).min() > 1e12
    assert abs(estimate.correlation(same)[0, 1]) == pytest.approx(1.0)


def test_intervals_hold_the_truth_nineteen_times_of_twenty() -> None:
    """2000 noisy lines, a fixed seed: 95 % +/- 1.5 %, three times sqrt(0.95 0.05/2000)."""
    rng = np.random.default_rng(8)
    x = np.linspace(0.0, 1.0, 12)
    jacobian = np.column_stack((np.ones_like(x), x))
    inverse = np.linalg.pinv(jacobian)
    inside = 0
    for _ in range(2000):
        y = jacobian @ (1.0, 2.0) + rng.normal(0.0, 0.3, x.size)
        change = inverse @ y
        inside += abs(change[1] - 2.0) <= estimate.spread(jacobian, y - jacobian @ change).half_width[1]
    assert inside / 2000 == pytest.approx(0.95, abs=0.015)
