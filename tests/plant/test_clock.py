"""The clock's settings through the year, counted by hand."""

from pathlib import Path

import numpy as np
import pytest
from cases import ROOT

from hpwhsim.plant.clock import Clock, make_clock
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.independent

DEMO = ROOT / "scenarios" / "central-air.yaml"
HOUR = np.arange(8760)


def clock(*overrides: str) -> Clock:
    scenario = read_scenario(DEMO, ("plant.controls.lock_outs=[]", *overrides)).scenario
    return make_clock(scenario, np.zeros(8760), 20, scenario.run.steps_per_hour)


def test_a_heat_up_over_midnight_is_one_stretch() -> None:
    """Wednesday 23:00 to Thursday 02:00: hours 71 to 73 of every week; 1 January is a Monday."""
    heat_up = "plant.controls.pasteurise={temperature: 70 degC, weekday: wed, window: '23:00-02:00'}"
    found = clock(heat_up)
    hot = found.backup_level == 0.0
    assert np.array_equal(hot, np.isin(HOUR % 168, [71, 72, 73]))
    assert np.all(found.backup_setpoint[hot] == 70.0 + 3.0)  # starts at 70 degC, its dead band above
    sunday = clock("plant.controls.pasteurise={temperature: 65 degC}").backup_level == 0.0
    assert np.array_equal(sunday, np.isin(HOUR % 168, [6 * 24 + 2, 6 * 24 + 3, 6 * 24 + 4]))


@pytest.mark.parametrize(("hours", "allowed"), [(1, 6), (6, 6), (7, 24), (24, 24)])
def test_hours_with_the_same_signal_are_treated_alike(tmp_path: Path, hours: int, allowed: int) -> None:
    """Night rate for six hours, one price else: the seventh lowest hour is any of the eighteen."""
    price = np.where(HOUR % 24 < 6, 0.1, 0.2)
    path = tmp_path / "price.csv"
    path.write_text("signal\n" + "\n".join(map(str, price)) + "\n")
    found = clock(f"plant.controls.signal={path}", f"plant.controls.signal_hours={hours}")
    steps = found.permitted.reshape(365, 24, -1)
    assert np.all(steps.all(axis=2) == steps.any(axis=2))
    assert np.all(steps.all(axis=2).sum(axis=1) == allowed)


@pytest.mark.contract
def test_a_signal_without_equal_hours_gives_as_many_as_asked(tmp_path: Path) -> None:
    signal = np.random.default_rng(5).permutation(8760).astype(float)
    path = tmp_path / "signal.csv"
    path.write_text("signal\n" + "\n".join(map(str, signal)) + "\n")
    found = clock(f"plant.controls.signal={path}", "plant.controls.signal_hours=5")
    allowed = found.permitted.reshape(365, 24, -1).all(axis=2)
    assert np.all(allowed.sum(axis=1) == 5)
    by_day = signal.reshape(365, 24)
    assert np.all(np.where(allowed, by_day, -1.0).max(axis=1) < np.where(allowed, 1e9, by_day).min(axis=1))


def test_the_colder_it_is_outdoors_the_higher_the_setpoint() -> None:
    """By hand: 8 K more at -10 °C and below, nothing from 15 °C on, and straight between (2.5 °C: 4 K)."""
    keys = "plant.controls.outdoor_reset={cold: -10 degC, mild: 15 degC, rise: 8 K}"
    scenario = read_scenario(DEMO, (keys,)).scenario
    air = np.resize([-25.0, -10.0, 2.5, 15.0, 30.0], 8760)
    found = make_clock(scenario, air, 20.0, scenario.run.steps_per_hour)
    assert found.lift[:5] == pytest.approx([8.0, 8.0, 4.0, 0.0, 0.0])
    assert found.outlet - scenario.outlet_temperature == pytest.approx(found.lift)
