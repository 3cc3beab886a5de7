"""Events of backup and short hot water: a record by hand, another way of counting, and their sums."""

from itertools import groupby
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.account.adequacy import hours_by_cause
from hpwhsim.diagnose.events import find_events, worst
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.independent

Array = NDArray[np.float64]


def test_a_record_by_hand() -> None:
    """Hours 0, 2 and 3, and 6: the first has no hour before it; 45 min of cause 1 beat 30 of cause 0."""
    seconds = np.zeros((2, 8))
    seconds[0, [0, 2, 6]] = 1800.0, 1800.0, 3600.0
    seconds[1, [2, 3]] = 900.0, 1800.0
    amount = np.array([2.0, 0.0, 1.0, 4.0, 0.0, 0.0, 3.0, 0.0])
    states = {"source_c": -np.arange(8.0), "lock_out": np.arange(8) == 1}
    found = find_events(seconds, amount, states)
    assert [(s.start, s.length, s.amount, s.cause) for s in found.events] == [
        (0, 1, 2.0, 0),
        (2, 2, 5.0, 1),
        (6, 1, 3.0, 0),
    ]
    assert found.events[1].hours.tolist() == [0.5, 0.75]
    assert [s.before for s in found.events] == [
        None,
        {"source_c": -1.0, "lock_out": 1.0},
        {"source_c": -5.0, "lock_out": 0.0},
    ]
    assert found.hours.tolist() == [2.0, 0.75]
    assert found.amount == 10.0
    assert [s.start for s in worst(found.events, 2)] == [2, 6]
    joined = find_events(seconds, amount, states, gap=1)
    assert [(s.start, s.length, s.amount) for s in joined.events] == [(0, 4, 7.0), (6, 1, 3.0)]
    whole = find_events(seconds, amount, states, gap=2)
    assert [(s.start, s.length, s.cause) for s in whole.events] == [(0, 7, 0)]


def test_a_quiet_record_and_a_full_one() -> None:
    """Nothing booked: no event and no hours. Booked throughout: one event from the first hour to the last."""
    quiet = find_events(np.zeros((3, 5)), np.zeros(5), {})
    assert (quiet.events, quiet.hours.tolist(), quiet.amount) == ([], [0.0, 0.0, 0.0], 0.0)
    full = find_events(np.full((1, 5), 60.0), np.ones(5), {})
    assert [(s.start, s.length, s.before) for s in full.events] == [(0, 5, None)]


@pytest.mark.contract
def test_worst_keeps_the_order_of_equals() -> None:
    """Fourteen single hours, all of one amount but one: that one first, then the nine earliest others."""
    amount = np.zeros(28)
    amount[::2] = 1.0
    amount[20] = 2.0
    found = find_events(np.where(amount > 0.0, 60.0, 0.0)[None], amount, {})
    assert [s.start for s in worst(found.events)] == [20, 0, 2, 4, 6, 8, 10, 12, 14, 16]


@st.composite
def records(draw: st.DrawFn) -> tuple[Array, Array]:
    """Times by cause and amounts of some hours; most hours quiet."""
    causes, hours = draw(st.integers(1, 4)), draw(st.integers(1, 40))
    some = st.one_of(st.just(0.0), st.just(0.0), st.floats(0.0, 3600.0))
    seconds = [draw(st.lists(some, min_size=hours, max_size=hours)) for _ in range(causes)]
    return np.array(seconds), np.array(draw(st.lists(some, min_size=hours, max_size=hours)))


@pytest.mark.law
@given(record=records(), gap=st.integers(0, 3))
def test_spells_add_up_to_the_record(record: tuple[Array, Array], gap: int) -> None:
    """Law: the record's own hours by cause, bit for bit, and the events' sums within rounding (1e-12)."""
    seconds, amount = record
    found = find_events(seconds, amount, {"hour": np.arange(amount.size)}, gap)
    names = [str(i) for i in range(len(seconds))]
    recorded = hours_by_cause(seconds, names)
    assert {n: h for n, h in zip(names, found.hours.tolist(), strict=True) if h > 0.0} == recorded
    summed = sum((s.hours for s in found.events), np.zeros(len(seconds)))
    assert summed == pytest.approx(found.hours, rel=1e-12)
    assert sum(s.amount for s in found.events) == pytest.approx(found.amount, rel=1e-12)
    inside = [h for s in found.events for h in range(s.start, s.start + s.length)]
    quiet = (seconds.sum(axis=0) == 0.0) & (amount == 0.0)
    assert len(set(inside)) == len(inside)
    assert quiet[[h for h in range(amount.size) if h not in inside]].all()
    for event in found.events:
        assert not quiet[[event.start, event.start + event.length - 1]].any()
        assert event.hours[event.cause] == event.hours.max()
        assert event.before == (None if event.start == 0 else {"hour": event.start - 1.0})


@given(record=records())
def test_spells_are_the_runs_of_hours_with_anything_booked(record: tuple[Array, Array]) -> None:
    """Runs counted another way: the standard library's grouping of equal neighbours."""
    seconds, amount = record
    busy = [bool(s > 0.0 or a > 0.0) for s, a in zip(seconds.max(axis=0), amount, strict=True)]
    runs, at = [], 0
    for value, same in groupby(busy):
        length = len(list(same))
        runs += [(at, length)] * value
        at += length
    assert [(s.start, s.length) for s in find_events(seconds, amount, {}).events] == runs


@pytest.mark.contract
@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: find_events(np.zeros(3), np.zeros(3), {}), "seconds: got shape"),
        (lambda: find_events(np.zeros((2, 3)), np.zeros(4), {}), "seconds: got shape"),
        (
            lambda: find_events(np.zeros((2, 3)), np.zeros(3), {"source_c": np.zeros(2)}),
            "source_c: got shape",
        ),
        (lambda: find_events(np.full((2, 3), -1.0), np.zeros(3), {}), "seconds: got -1"),
        (lambda: find_events(np.zeros((2, 3)), np.full(3, np.nan), {}), "amount: got nan"),
        (lambda: find_events(np.zeros((2, 3)), np.zeros(3), {}, gap=-1), "gap: got -1"),
    ],
)
def test_what_is_refused(call: Any, said: str) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        call()
