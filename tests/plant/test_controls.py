"""The charge control, decision by decision."""

import numpy as np
import pytest

from hpwhsim.plant.controls import (
    Controls,
    begin_thaws,
    count_run,
    count_starts,
    make_rotation,
    modules_to_run,
    next_call,
    part_speed,
    pass_time,
)

pytestmark = pytest.mark.contract

CONTROLS = Controls(
    start_level=24.0,
    stop_level=7.0,
    start_at=50.0,
    stop_at=55.0,
    minimum_run=600.0,
    minimum_off=300.0,
    stage_delay=900.0,
    rotates=True,
    together=False,
    defrost_time=300.0,
)


@pytest.mark.parametrize(
    ("calling", "at_start", "at_stop", "expected"),
    [
        (False, 50.1, 10.0, False),  # above the dead band: no call yet
        (False, 49.9, 10.0, True),
        (True, 60.0, 54.9, True),  # goes on until the foot is warm
        (True, 60.0, 55.0, False),
        (False, 49.9, 49.9, True),
    ],
)
def test_dead_band(calling: bool, at_start: float, at_stop: float, expected: bool) -> None:
    """Start and stop lie apart, in height and in temperature, so that a call does not flicker."""
    assert next_call(CONTROLS, calling, at_start, at_stop) is expected


@pytest.mark.parametrize(
    ("calling", "permitted", "running", "since", "expected"),
    [
        (True, True, 0, 1e9, 1),  # starts with one module
        (True, True, 0, 299.0, 0),  # minimum off time
        (True, True, 0, 300.0, 1),
        (True, True, 1, 899.0, 1),
        (True, True, 1, 900.0, 2),  # one more per stage delay
        (True, True, 2, 1800.0, 3),
        (True, True, 3, 1e9, 3),  # no more than there are
        (False, True, 2, 599.0, 2),  # minimum run time
        (False, True, 2, 600.0, 0),
        (True, False, 2, 10.0, 0),  # a bar acts at once
        (False, True, 0, 1e9, 0),
    ],
)
def test_modules(calling: bool, permitted: bool, running: int, since: float, expected: int) -> None:
    assert modules_to_run(CONTROLS, 3, calling, permitted, running, since) == expected


@pytest.mark.parametrize("calling", [True, False])
@pytest.mark.parametrize("may_run", [1, 2])
def test_a_demand_limit_goes_before_the_minimum_run_time(calling: bool, may_run: int) -> None:
    """Three modules run when the window of fewer begins: at most those stay, whatever else is asked."""
    assert modules_to_run(CONTROLS, may_run, calling, True, 3, 599.0) <= may_run


def test_without_a_stage_delay_all_modules_start_together() -> None:
    controls = CONTROLS._replace(stage_delay=0.0)
    assert modules_to_run(controls, 3, True, True, 0, 1e9) == 3


@pytest.mark.independent
@pytest.mark.parametrize(("front", "speed"), [(40.0, 1.0), (24.0, 1.0), (15.5, 0.5), (9.0, 0.3), (7.0, 0.3)])
def test_an_inverter_slows_as_the_charge_ends(front: float, speed: float) -> None:
    """Full at the start sensor (24), in proportion above the stop sensor (7), never below the turndown."""
    assert part_speed(CONTROLS, 0.3, front) == pytest.approx(speed)


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.parametrize("together", [True, False])
def test_defrosts_take_their_share_of_the_time_and_all_the_heat_owed(together: bool) -> None:
    """Law: what is drawn back is what frost owed; the time standing is the pause the frost asks for."""
    controls = CONTROLS._replace(together=together, defrost_time=300.0)
    rotation, modules, pause = make_rotation(4), 4, 0.08
    drawn = owed = stood = 0.0
    most = 0
    for _ in range(100_000):
        thawing = begin_thaws(controls, rotation, modules, 4, pause)
        most = max(most, thawing)
        stood += thawing
        part = 0.1 * (4 - thawing)
        owed += part
        drawn += pass_time(controls, rotation, modules, 4, pause, 10.0, part)
    assert drawn + rotation.owed.sum() == pytest.approx(owed, rel=1e-9)
    assert stood / 400_000 == pytest.approx(pause, rel=0.01)  # a coil is seen to be full a part of 10 s late
    assert most == (4 if together else 1)


@pytest.mark.parametrize(("rotates", "hours"), [(True, [30.0, 30.0, 30.0]), (False, [90.0, 0.0, 0.0])])
def test_the_lead_passes_on_at_each_start(rotates: bool, hours: list[float]) -> None:
    controls, rotation = CONTROLS._replace(rotates=rotates), make_rotation(3)
    run, starts = np.zeros(3), np.zeros(3)
    for _ in range(90):
        count_starts(controls, rotation, 3, 0, 1, starts)
        count_run(rotation, 3, 1, 1.0, run)
        count_starts(controls, rotation, 3, 1, 0, starts)
    assert run.tolist() == hours
    assert starts.tolist() == hours
