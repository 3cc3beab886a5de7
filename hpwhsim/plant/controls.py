"""When the heat pump runs: sensors with a dead band, permissions, minimum times, stages."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel, kernel_apart


class Controls(NamedTuple):
    """Settings of the charge control."""

    start_level: float  # height of the sensor that starts a charge, m³ below it
    stop_level: float  # height of the sensor that ends it, m³ below it
    start_at: float  # colder than this at the start sensor calls for heat, °C
    stop_at: float  # this warm at the stop sensor ends the call, °C
    minimum_run: float  # s
    minimum_off: float  # s
    stage_delay: float  # a further module joins after each such time of calling, s
    rotates: bool  # the lead passes to the next module at each stop of the plant
    together: bool  # all running modules defrost at once
    defrost_time: float  # of one defrost, where defrosts are events, s


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
        Modules that may run.
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
            return min(running, modules) if since < controls.minimum_run else 0
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
        Height above which the store is warm. [m³]
    """
    span = controls.start_level - controls.stop_level
    if span <= 0.0:
        return 1.0
    return min(max((front - controls.stop_level) / span, turndown), 1.0)


class Rotation(NamedTuple):
    """What each module carries through the march, (module,)."""

    lead: NDArray[np.int64]  # (1,) module that starts first
    ice: Array  # on its coil, over what calls for a defrost
    thawing: Array  # time left of its defrost, s
    owed: Array  # heat that its next defrost draws back, m³·K


def make_rotation(modules: int) -> Rotation:
    """Modules without ice, the first one leading."""
    return Rotation(np.zeros(1, dtype=np.int64), np.zeros(modules), np.zeros(modules), np.zeros(modules))


@kernel
def count_starts(
    controls: Controls, rotation: Rotation, modules: int, before: int, now: int, starts: Array
) -> None:
    """Count the modules that join the `before` running ones; where the plant stops, the lead passes on.

    It passes on at the stop, so that the same modules are meant from one start to the next stop.
    """
    if now == 0 and controls.rotates:
        rotation.lead[0] = (rotation.lead[0] + 1) % modules
    for rank in range(before, now):
        starts[(rotation.lead[0] + rank) % modules] += 1.0


@kernel
def count_run(rotation: Rotation, modules: int, running: int, seconds: float, run: Array) -> None:
    """Count `seconds` of running of the `running` modules."""
    for rank in range(running):
        run[(rotation.lead[0] + rank) % modules] += seconds


@kernel_apart
def begin_thaws(controls: Controls, rotation: Rotation, modules: int, running: int, pause: float) -> int:
    """How many of the running modules defrost, after those that may have begun to.

    A module calls for a defrost when its coil is full. Together, the first that calls takes all running
    modules along. Staggered, so many may defrost at a time as the frost of the hour asks for on average,
    rounded up; the others wait.

    Parameters
    ----------
    controls, rotation
        Settings, and the modules' state; filled.
    modules, running : int
        Modules there are, and running.
    pause : float
        Share of the time that the frost of this hour asks for.
    """
    thawing, calling = 0, False
    for rank in range(running):
        m = (rotation.lead[0] + rank) % modules
        if rotation.thawing[m] > 0.0:
            thawing += 1
        elif rotation.ice[m] >= 1.0:
            calling = True
    if calling:
        most = running if controls.together else max(int(np.ceil(running * pause)), 1)
        for rank in range(running):
            m = (rotation.lead[0] + rank) % modules
            full = rotation.ice[m] >= 1.0 or controls.together
            if rotation.thawing[m] <= 0.0 and full and thawing < most:
                rotation.thawing[m] = controls.defrost_time
                rotation.ice[m] = 0.0
                thawing += 1
    return thawing


@kernel_apart
def pass_time(
    controls: Controls,
    rotation: Rotation,
    modules: int,
    running: int,
    pause: float,
    seconds: float,
    owed: float,
) -> float:
    """Frost and thaw the coils of running modules for a part of a step; the heat drawn back in it. [m³·K]

    Parameters
    ----------
    controls, rotation, modules, running, pause
        As for `begin_thaws`.
    seconds : float
        Length of the part. [s]
    owed : float
        Heat that the frost of this part will draw back. [m³·K]
    """
    heating = 0
    for rank in range(running):
        heating += rotation.thawing[(rotation.lead[0] + rank) % modules] <= 0.0
    drawn = 0.0
    for rank in range(running):
        m = (rotation.lead[0] + rank) % modules
        if rotation.thawing[m] > 0.0:
            share = min(seconds / rotation.thawing[m], 1.0)
            drawn += share * rotation.owed[m]
            rotation.owed[m] *= 1.0 - share
            rotation.thawing[m] = max(rotation.thawing[m] - seconds, 0.0)
        else:
            rotation.owed[m] += owed / heating
            rotation.ice[m] += seconds * pause / ((1.0 - pause) * controls.defrost_time)
    return drawn
