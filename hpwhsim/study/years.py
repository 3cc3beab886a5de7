"""March one year, several of a ground loop, which remembers the years before, or several plants at once."""

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from hpwhsim.plant.arrays import Hourly, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.later_years import first_year, later_year
from hpwhsim.plant.march import march, marcher
from hpwhsim.source.ground_loop import History

Array = NDArray[np.float64]
T = TypeVar("T")
R = TypeVar("R")

HOURS = 8760
JOULE_PER_KWH = 3.6e6
TEMPERATURES = ("source_min_c", "source_mean_c", "bore_wall_end_c")
IN_FULL = 3  # so many years are all marched in full; of more the first and the last


class Marched(NamedTuple):
    """The last year, and one figure of each year where there are several."""

    last: Hourly
    start: Array  # the store at the start of the last year, °C
    yearly: dict[str, list[object]]


class _Figures(NamedTuple):
    electricity_kwh: float
    cop_plant: float | None
    source_min_c: float
    source_mean_c: float
    bore_wall_end_c: float
    resistance_hours: float | None
    marched: bool


def march_years(assembly: Assembly, years: int) -> Marched:
    """March the plant through `years` years of the same weather and draws.

    Up to three are marched in full. Of more, the first and the last are; those between take the first year's
    heat hour by hour at their own loop temperature (`hpwhsim.plant.later_years`). What that leaves out, as
    longer running with less capacity, is known in the last year, which is done both ways; the years between
    get their share of it by how far their bore wall has fallen.
    """
    plant, drive, state = assembly.plant, assembly.drive, assembly.state
    store = assembly.start.copy()
    found: list[_Figures] = []
    first, first_out = None, None
    met, energy = np.zeros(HOURS), np.zeros(HOURS)
    for year in range(years):
        if years > IN_FULL and 0 < year < years - 1:
            assert first is not None
            assert first_out is not None
            later_year(plant, drive, state, first, met, energy)
            found.append(_between(assembly, first_out, met, energy))
            continue
        other = None
        if years > IN_FULL and year > 0:
            assert first is not None
            assert first_out is not None
            past = state.history
            history = History(past.heat.copy(), past.used.copy(), past.left.copy())
            later_year(plant, drive, state._replace(history=history), first, met, energy)
            other = _between(assembly, first_out, met, energy)
        start = store.copy()
        out = march(plant, drive, state, store, assembly.series)
        if years > 1:
            found.append(_figures(assembly, out))
        if other is not None:
            found = _corrected(found, other)
        if year == 0 and years > IN_FULL:
            first, first_out = first_year(plant, drive, out), out
    yearly = {name: [getattr(year, name) for year in found] for name in _Figures._fields} if found else {}
    return Marched(out, start, yearly)


def march_each(plants: Sequence[tuple[Assembly, int]]) -> list[Marched]:
    """March independent plants at once, each through its number of years as by `march_years`."""
    for assembly, _ in plants:
        marcher(assembly.plant.sources.kind)  # made here: two threads that ask first would compile it twice
    return at_once(lambda plant: march_years(*plant), plants)


def at_once(function: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """The function of every item, a thread for each core: nearly all of a march is compiled code."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(function, items))


def _corrected(found: list[_Figures], other: _Figures) -> list[_Figures]:
    """Years between with their share of what the last one, marched, has more than `other`, itself not."""
    first, last = found[0], found[-1]
    fallen = first.bore_wall_end_c - other.bore_wall_end_c
    if fallen == 0.0 or last.cop_plant is None:
        return found
    more = last.electricity_kwh - other.electricity_kwh
    warmer = {name: getattr(last, name) - getattr(other, name) for name in TEMPERATURES}
    fixed = []
    for year in found:
        if not year.marched:
            share = (first.bore_wall_end_c - year.bore_wall_end_c) / fallen
            bought = year.electricity_kwh + share * more
            cop = None if year.cop_plant is None else year.cop_plant * year.electricity_kwh / bought
            seen = {name: getattr(year, name) + share * by for name, by in warmer.items()}
            year = year._replace(electricity_kwh=bought, cop_plant=cop, **seen)
        fixed.append(year)
    return fixed


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


def _figures(assembly: Assembly, out: Hourly) -> _Figures:
    met = out.source[SourceRow.MET] / 3600.0
    electricity, bought = _bought(assembly, out)
    useful = float((out.taps_heat + out.loop_heat).sum()) / JOULE_PER_KWH
    return _Figures(
        electricity,
        useful / bought if bought > 0.0 else None,
        float(met.min()),
        float(met.mean()),
        float(out.source[SourceRow.WALL, -1]),
        float(out.backup_seconds.sum()) / 3600.0,
        True,
    )


def _between(assembly: Assembly, first: Hourly, met: Array, energy: Array) -> _Figures:
    """A year that was not marched: the first with other electricity of the machine."""
    electricity, bought = _bought(assembly, first)
    more = float((energy - first.heat_pump_energy).sum()) / JOULE_PER_KWH
    useful = float((first.taps_heat + first.loop_heat).sum()) / JOULE_PER_KWH
    moved = float(met[-1]) - float(first.source[SourceRow.MET, -1]) / 3600.0
    return _Figures(
        electricity + more,
        useful / (bought + more),
        float(met.min()),
        float(met.mean()),
        float(first.source[SourceRow.WALL, -1]) + moved,
        None,
        False,
    )
