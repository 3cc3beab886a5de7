"""March one year, several of a ground loop, which remembers the years before, or several plants at once."""

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

from hpwhsim.arrays import Array
from hpwhsim.constants import JOULE_PER_KWH
from hpwhsim.plant.arrays import Hourly, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.first_march import prepare
from hpwhsim.simulation.balance import march_balanced

T = TypeVar("T")
R = TypeVar("R")


class Marched(NamedTuple):
    """The last year, and one figure of each year where there are several."""

    last: Hourly
    start: Array  # the store at the start of the last year, °C
    yearly: dict[str, list[object]]


class Figures(NamedTuple):
    """Figures of one of several years."""

    electricity_kwh: float
    cop_plant: float | None
    source_min_c: float
    source_mean_c: float
    bore_wall_end_c: float
    resistance_hours: float


def march_years(assembly: Assembly, years: int) -> Marched:
    """March the plant through `years` years of the same weather and draws, every one of them in full."""
    plant, drive, state = assembly.plant, assembly.drive, assembly.state
    prepare(plant.sources.kind)
    store = assembly.start.copy()
    found: list[Figures] = []
    for _ in range(years):
        start = store.copy()
        out = march_balanced(plant, drive, state, store)
        if years > 1:
            found.append(figures(assembly, out))
    yearly = {name: [getattr(year, name) for year in found] for name in Figures._fields} if found else {}
    return Marched(out, start, yearly)


def march_each(plants: Sequence[tuple[Assembly, int]]) -> list[Marched]:
    """March independent plants at once, each through its number of years as by `march_years`."""
    for assembly, _ in plants:
        prepare(assembly.plant.sources.kind)  # made here: two threads that ask first would compile it twice
    return at_once(lambda plant: march_years(*plant), plants)


def at_once(function: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """The function of every item, a thread for each core: nearly all of a march is compiled code."""
    items = list(items)
    if len(items) <= 1:
        return [function(item) for item in items]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(function, items))


def _bought(assembly: Assembly, out: Hourly) -> tuple[float, float]:
    """Electricity of the year, and all energy bought. [kWh]"""
    machine = out.heat_pump_energy + out.fan_energy + out.pump_energy + out.standby_energy
    electric = float((machine + out.source[SourceRow.PUMP] + out.loop_heater_energy).sum())
    electric += 365.0 * 3600.0 * float(assembly.loop_pump.sum())
    backup = float(out.backup_energy.sum())
    return (
        (electric + assembly.plant.backup_electric * backup) / JOULE_PER_KWH,
        (electric + backup) / JOULE_PER_KWH,
    )


def figures(assembly: Assembly, out: Hourly) -> Figures:
    """Figures of a year that was marched."""
    met = out.source[SourceRow.MET] / 3600.0
    electricity, bought = _bought(assembly, out)
    useful = float((out.taps_heat + out.loop_heat).sum()) / JOULE_PER_KWH
    return Figures(
        electricity,
        useful / bought if bought > 0.0 else None,
        float(met.min()),
        float(met.mean()),
        float(out.source[SourceRow.WALL, -1]),
        float(out.backup_seconds.sum()) / 3600.0,
    )
