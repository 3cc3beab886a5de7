"""Several plants on one bore field: each meets what the others take from the ground.

Plants are simulated one by one, so that what others take in each hour must be known before: that of the pass
before, at first nothing. All draw from one header, so each machine meets the fluid that leaves the field
under the heat of all. The passes end when no month's mean of that fluid, for any plant, moves by more than
`CLOSE_K` any more. Days go on moving by a tenth of a kelvin: a thermostat that calls some minutes earlier
takes its heat in another hour. With several years the others take in each of them what they took in the last.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.account.energy import by_month
from hpwhsim.arrays import Array
from hpwhsim.blocks.entries import Case
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.evaluation.evaluate import Checked, check, evaluated
from hpwhsim.evaluation.result import Result
from hpwhsim.plant.assemble import without_last_digits
from hpwhsim.plant.ground_source import on_common_field
from hpwhsim.simulation.year import Ready, Year, unmarched, year_of, years_ready

CLOSE_K = 0.05
HOURS_OF_MONTH = 24.0 * np.array(MONTH_DAYS)
MOST_PASSES = 8


class Settled(NamedTuple):
    """Plants on one field."""

    results: list[Result]  # of each plant
    record: dict[str, Any]  # how the passes ended


def field_results(name: str, cases: Sequence[Case]) -> Settled:
    """Simulate plants that share a bore field.

    Parameters
    ----------
    name : str
        Of the field.
    cases : sequence of Case
        The plants; all describe the same field, each its own pump.

    Raises
    ------
    InputError
        If one of them cannot work on what the others leave.
    """
    checked = [check(case.loaded, served=case.served) for case in cases]
    plants = _on_header(checked, [case.times for case in cases])
    years: list[Year] = []
    taken = [np.zeros(0)] * len(cases)
    before: list[Array] = []
    month_k = day_k = np.inf
    passes = 0
    while passes < MOST_PASSES and month_k > CLOSE_K:
        passes += 1
        ready = plants
        if years:
            whole = np.sum([case.times * watts for case, watts in zip(cases, taken, strict=True)], axis=0)
            ready = [_beside(one, whole - watts) for one, watts in zip(plants, taken, strict=True)]
        years = [year_of(found) for found in years_ready([unmarched(one) for one in ready])]
        taken = [1e3 * (year.hourly["source_heat_kwh"] - year.hourly["source_pump_kwh"]) for year in years]
        fluid = [year.hourly["source_c"] for year in years]
        if before:
            month_k, day_k = _moved(before, fluid)
        before = fluid
    bases = iter(years_ready([one.baseline for one in checked if one.baseline is not None]))
    results = [
        evaluated(one.collected, year, year_of(next(bases)) if one.baseline is not None else None)
        for one, year in zip(checked, years, strict=True)
    ]
    heat = sum(case.times * float(watts.sum()) for case, watts in zip(cases, taken, strict=True))
    record = {
        "field": name,
        "plants": sum(case.times for case in cases),
        "passes": passes,
        "month_moved_k": month_k,
        "day_moved_k": day_k,
        "settled": month_k <= CLOSE_K,
        "source_min_c": min(float(year.hourly["source_c"].min()) for year in years),
        "bore_wall_end_c": float(np.mean([year.hourly["bore_wall_c"][-1] for year in years])),
        "heat_kwh": heat / 1e3,
    }
    return Settled(results, record)


def _moved(before: Sequence[Array], now: Sequence[Array]) -> tuple[float, float]:
    """By how much the mean of a month and that of a day moved at most, of series of each hour. [K]"""
    moved = [one - other for one, other in zip(now, before, strict=True)]
    months = max(float(np.abs(by_month(one) / HOURS_OF_MONTH).max()) for one in moved)
    return months, max(float(np.abs(one.reshape(-1, 24).mean(axis=1)).max()) for one in moved)


def _on_header(checked: Sequence[Checked], times: Sequence[int]) -> list[Ready]:
    """The plants with the bores' resistance at the flow of all of them."""
    loops = [one.assembly.plant.sources.loop for one in checked]
    made = [one.assembly.made for one in checked]
    capacity_flow = sum(n * float(loop.carried[-1]) for n, loop in zip(times, loops, strict=True))
    heat = sum(n * one.source_heat * one.modules for n, one in zip(times, made, strict=True))
    found = []
    for one, loop in zip(checked, loops, strict=True):
        block = one.plant.loaded.scenario.plant.source.ground_loop
        assert block is not None  # `entries` wants it
        common = on_common_field(block, loop, capacity_flow, heat)
        plant = one.assembly.plant
        sources = plant.sources._replace(loop=common)
        assembly = one.assembly._replace(plant=plant._replace(sources=sources))
        found.append(one.plant._replace(assembly=without_last_digits(assembly)))
    return found


def _beside(ready: Ready, watts: Array) -> Ready:
    """A plant while others take so much from its field in each hour, shape (8760,). [W]"""
    drive = ready.assembly.drive._replace(rejected=-watts)
    return ready._replace(assembly=without_last_digits(ready.assembly._replace(drive=drive)))
