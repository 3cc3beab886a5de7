"""Short drives of invented plants, for tests of the charge control."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from cases import ROOT

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import Cause, Drive, Hourly
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.sizing.design_days import _copied, _cut


def assembled(name: str, *overrides: str) -> Assembly:
    """A worked file of scenarios/ ready to march."""
    path: Path = ROOT / "scenarios" / f"{name}.yaml"
    scenario = read_scenario(path, overrides).scenario
    return assemble(scenario, read_weather(scenario.site.weather))


def first_days(assembly: Assembly, days: Sequence[int]) -> Drive:
    """The drive of some days of the year (0 to 364)."""
    return _cut(assembly.drive, np.asarray(days))


def marched(assembly: Assembly, drive: Drive, store: float | np.ndarray) -> Hourly:
    """A short drive, from a store at one temperature or with the profile `store`. [°C]"""
    start = np.full(assembly.start.size, store) if isinstance(store, float) else store.copy()
    return march(assembly.plant, drive, _copied(assembly.state), start)


def causes(seconds: np.ndarray) -> dict[str, float]:
    """Hours by cause, those that held."""
    hours = seconds.sum(axis=1) / 3600.0
    return {cause.name: float(hours[cause]) for cause in Cause if hours[cause] > 0.0}


def simple_map(capacity: float, works: np.ndarray | None = None, cop: float = 3.0) -> PerformanceMap:
    """30 K of source by 60 K of inlet by two outlets, of constant capacity [W] and COP.

    `works` (source, inlet, outlet) is False where the machine cannot work.
    """
    values = np.full((3, 2, 2), capacity)
    if works is not None:
        values[~works] = np.nan
    return PerformanceMap(
        source_c=np.array([-30.0, 0.0, 30.0]),
        water_in_c=np.array([0.0, 60.0]),
        water_out_c=np.array([55.0, 80.0]),
        capacity_w=values,
        power_w=values / cop,
    )
