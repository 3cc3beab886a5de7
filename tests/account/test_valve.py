"""A tempering valve against its limits: hand-counted hours."""

import numpy as np
import pytest

from hpwhsim.account.valve import cautions, valve_year

pytestmark = pytest.mark.independent


def test_hours_outside_the_limits_are_counted_by_hand() -> None:
    """Two hours of two steps of 1800 s. A use at 45 °C of 0.9 m3 is 0.5 L/s; mixed of water of 55 °C and
    mains of 10 °C, 35/45 of it pass the valve: 0.389 L/s. The loop adds 0.1 L/s in the second hour.
    """
    found = valve_year(
        [0.9, 0.0, 0.9, 1.8],
        [10.0, 10.0],
        [58.0, 66.0],
        step_seconds=1800.0,
        use_c=45.0,
        setpoint_c=55.0,
        difference_k=5.0,
        loop_flow=np.r_[0.0, np.full(23, 1e-4)],
        least_flow=4e-4,
        most_flow=8e-4,
    )
    assert found.uncontrolled.tolist() == [True, False]
    assert found.over.tolist() == [False, True]  # 0.778 + 0.1 L/s
    assert found.starved.tolist() == [True, False]
    assert len(cautions(found)) == 3


@pytest.mark.contract
@pytest.mark.parametrize("limit", [None, 1e-4])
def test_without_draws_or_limits_nothing_is_said(limit: float | None) -> None:
    found = valve_year(
        np.zeros(4),
        np.full(2, 10.0),
        np.full(2, 20.0),
        step_seconds=1800.0,
        use_c=45.0,
        setpoint_c=55.0,
        difference_k=5.0,
        loop_flow=np.zeros(24),
        least_flow=limit,
        most_flow=None,
    )
    assert cautions(found) == []
