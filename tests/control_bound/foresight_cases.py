"""What a schedule under perfect foresight spends, for the tests of the bound."""

import pytest

from hpwhsim.control_bound.linear_program import Schedule

EXACT = 1e-8  # relative: the solver's tolerance of 1e-7 on each limit, over sums of the size of one and more


def spent(best: Schedule) -> float:
    """Objective of a schedule that was found, and proved within the rounding of its own dual prices."""
    assert best.converged, best.message
    assert best.bound == pytest.approx(best.objective, rel=EXACT, abs=EXACT)
    return best.objective
