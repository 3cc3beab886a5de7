"""Events of a series: consecutive hours, nothing lost, the largest first."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.page.events import event_parts, events, when
from hpwhsim.results.texts import Exact
from hpwhsim.sections.parts import Table, Text

pytestmark = pytest.mark.law
HOURLY = st.lists(st.sampled_from([0.0, 0.0, 0.25, 1.0, 2.5]), min_size=1, max_size=60).map(np.array)


@given(HOURLY)
def test_events_share_out_the_year(amount: np.ndarray) -> None:
    """Their amounts and hours add up to the series, no two touch, and within each every hour counts."""
    found = events(amount, {"capacity": np.where(amount > 0.0, 0.5, 0.0)})
    assert sum(one.amount for one in found) == pytest.approx(amount.sum())
    assert sum(one.hours for one in found) == np.count_nonzero(amount)
    taken = sorted((one.first, one.first + one.hours) for one in found)
    for first, end in taken:
        assert (amount[first:end] > 0.0).all()
        assert first == 0 or amount[first - 1] == 0.0
        assert end == amount.size or amount[end] == 0.0
    assert [one.amount for one in found] == sorted((one.amount for one in found), reverse=True)
    assert sum(sum(one.causes.values()) for one in found) == pytest.approx(0.5 * np.count_nonzero(amount))


@pytest.mark.independent
def test_an_event_by_hand() -> None:
    """Three hours on the first Tuesday: 2001 began on a Monday. 50 L, mostly because every module ran."""
    short, full, late = np.zeros(8760), np.zeros(8760), np.zeros(8760)
    short[30:33] = 10.0, 25.0, 15.0
    full[30:33], late[31] = 0.5, 0.25
    hourly = {"short_litres": short, "short_hours.capacity": full, "short_hours.lock-out": late}
    table, none = event_parts(hourly)
    assert isinstance(table, Table)
    (row,) = table.rows
    assert list(row) == ["2 Jan, 06:00", "3", "50", "capacity 1.5 h, lockout 15.0 min"]
    assert isinstance(row[2], Exact)
    assert (row[2].value, row[2].key) == (50.0, "short_litres")
    assert none == Text("No event of backup in the year.")
    assert when(8759) == "31 Dec, 23:00"
