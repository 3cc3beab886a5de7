"""The charge control, decision by decision."""

import pytest

from hpwhsim.plant.controls import Controls, modules_to_run, next_call, part_speed

CONTROLS = Controls(
    start_level=24.0,
    stop_level=7.0,
    start_at=50.0,
    stop_at=55.0,
    minimum_run=600.0,
    minimum_off=300.0,
    stage_delay=900.0,
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


def test_without_a_stage_delay_all_modules_start_together() -> None:
    controls = CONTROLS._replace(stage_delay=0.0)
    assert modules_to_run(controls, 3, True, True, 0, 1e9) == 3


@pytest.mark.parametrize(("front", "speed"), [(40.0, 1.0), (24.0, 1.0), (15.5, 0.5), (9.0, 0.3), (7.0, 0.3)])
def test_an_inverter_slows_as_the_charge_ends(front: float, speed: float) -> None:
    """Full at the start sensor (24), in proportion above the stop sensor (7), never below the turndown."""
    assert part_speed(CONTROLS, 0.3, front) == pytest.approx(speed)
