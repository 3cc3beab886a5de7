"""When the heat pump runs: sensors with a dead band, permissions, minimum times, stages."""

from typing import NamedTuple

from hpwhsim.kernel import kernel


class Controls(NamedTuple):
    """Settings of the charge control."""

    start_level: float  # level of the sensor that starts a charge, cells from the bottom
    stop_level: float  # level of the sensor that ends it
    start_at: float  # colder than this at the start sensor calls for heat, °C
    stop_at: float  # this warm at the stop sensor ends the call, °C
    minimum_run: float  # s
    minimum_off: float  # s
    stage_delay: float  # a further module joins after each such time of calling, s


@kernel
def next_call(controls: Controls, calling: bool, at_start: float, at_stop: float) -> bool:
    """Whether the store calls for heat, given its call so far and the two sensors. [°C]."""
    if calling:
        return at_stop < controls.stop_at
    return at_start < controls.start_at


@kernel
def modules_to_run(
    controls: Controls, modules: int, calling: bool, permitted: bool, running: int, since: float
) -> int:
    """How many modules run in the coming step.

    Parameters
    ----------
    controls : Controls
        Settings.
    modules : int
        Modules there are.
    calling, permitted : bool
        Whether the store calls, and whether hour and source allow the machine to run.
    running : int
        Modules that ran in the last step.
    since : float
        Time since the plant last started (if it runs) or stopped. [s]

    Notes
    -----
    A bar acts at once: it goes before the minimum run time.
    """
    if not permitted:
        return 0
    if running > 0:
        if not calling:
            return running if since < controls.minimum_run else 0
        if controls.stage_delay <= 0.0:
            return modules
        return min(modules, 1 + int(since / controls.stage_delay))
    if calling and since >= controls.minimum_off:
        return modules if controls.stage_delay <= 0.0 else 1
    return 0


@kernel
def part_speed(controls: Controls, turndown: float, front: float) -> float:
    """Share of full speed of an inverter: full while the start sensor is cold, less as the charge ends.

    Parameters
    ----------
    controls : Controls
        Settings.
    turndown : float
        Least share of full speed.
    front : float
        Level above which the store is warm. [cells]
    """
    span = controls.start_level - controls.stop_level
    if span <= 0.0:
        return 1.0
    return min(max((front - controls.stop_level) / span, turndown), 1.0)
