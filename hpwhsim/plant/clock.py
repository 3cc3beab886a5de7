"""What the clock and the weather do to setpoints and permissions, step by step or hour by hour."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array, Flags, Ints
from hpwhsim.constants import HOURS
from hpwhsim.plant.files import read_signal
from hpwhsim.scenario.parts import Window
from hpwhsim.scenario.schema import Scenario

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")  # 1 January of the nominal year is a Monday
APART = 4.0  # K between the outlet temperatures that a map is solved for


class Clock(NamedTuple):
    """Settings through the year; see `hpwhsim.plant.arrays.Drive`."""

    permitted: Flags  # (step of the day or of the year,)
    most_modules: Ints  # (step of the day,)
    backup_permitted: Flags  # (step of the day,)
    lift: Array  # (hour,) K
    outlet: Array  # (hour,) °C
    backup_setpoint: Array  # (hour,) °C
    backup_level: Array  # (hour,) m³ below it


def make_clock(scenario: Scenario, dry_bulb: Array, backup_level: float, looks: int) -> Clock:
    """Settings of `scenario` through the year.

    Parameters
    ----------
    scenario : Scenario
        What the modeler wrote.
    dry_bulb : ndarray, shape (8760,)
        Outdoor air. [°C]
    backup_level : float
        Height above which the parallel backup usually heats. [m³ below it]
    looks : int
        In an hour.
    """
    controls, backup = scenario.plant.controls, scenario.plant.backup
    steps = 24 * looks
    minute = np.arange(steps) * 1440 // steps
    allowed = controls.charge_minutes()
    permitted = np.array([m in allowed for m in minute])
    if controls.signal is not None:
        signal = read_signal(controls.signal).reshape(365, 24)
        dearest = np.sort(signal, axis=1)[:, controls.signal_hours - 1 : controls.signal_hours]
        cheap = np.repeat(signal <= dearest, looks, axis=1)  # equal hours alike
        permitted = (cheap & permitted[None, :]).ravel()
    most = np.full(steps, 1_000_000, dtype=np.int64)
    most[_inside(controls.demand_windows, minute)] = controls.demand_modules
    lift = np.zeros(HOURS)
    lift[np.tile(_inside(controls.boost_windows, np.arange(24) * 60), 365)] = controls.boost
    reset = controls.outdoor_reset
    if reset is not None:
        share = np.clip((reset.mild - dry_bulb) / (reset.mild - reset.cold), 0.0, 1.0)
        lift += reset.rise * share
    setpoint = np.full(HOURS, scenario.backup_setpoint)
    level = np.full(HOURS, float(backup_level))
    heat_up = controls.pasteurise
    if heat_up is not None:
        days = np.flatnonzero(np.arange(365) % 7 == WEEKDAYS.index(heat_up.weekday))
        inside = np.array(heat_up.window.minutes()[::60]) // 60  # past 24 on the next day
        now = (24 * days[:, None] + inside).ravel() % HOURS
        setpoint[now] = heat_up.temperature + backup.dead_band  # it lies above what must be reached
        level[now] = 0.0
    return Clock(
        permitted=permitted,
        most_modules=most,
        backup_permitted=~_inside(backup.lock_outs, minute),
        lift=lift,
        outlet=scenario.outlet_temperature + lift,
        backup_setpoint=setpoint,
        backup_level=level,
    )


def _inside(windows: tuple[Window, ...], minutes: NDArray[np.int64]) -> Flags:
    """Whether each minute of the day lies in one of the windows."""
    covered = {m % 1440 for window in windows for m in window.minutes()}
    return np.array([int(m) in covered for m in minutes], dtype=np.bool_)


def outlets(scenario: Scenario) -> tuple[float, ...]:
    """Outlet temperatures that a single-pass machine is asked for through the year, ascending. [°C]"""
    controls, base = scenario.plant.controls, scenario.outlet_temperature
    reset = controls.outdoor_reset.rise if controls.outdoor_reset is not None else 0.0
    highest = base + controls.boost + reset
    count = int(np.ceil((highest - base) / APART)) + 1
    return tuple(float(t) for t in np.linspace(base, highest, count))
