"""A block of buildings from its table to its record."""

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from hpwhsim.arrays import Array
from hpwhsim.blocks.entries import Buildings, read_buildings
from hpwhsim.blocks.hours import NamedHours, hours_of
from hpwhsim.blocks.record import Record, block_record, refuse_rank
from hpwhsim.blocks.run import check_all, simulate
from hpwhsim.blocks.sums import Block
from hpwhsim.evaluation.site_checks import writes_us_units


class Simulated(NamedTuple):
    """A block whose plants were simulated."""

    record: Record
    quarter_kw: Array  # (35040,) of all plants, kW
    baseline_kw: Array | None  # (35040,) of all baselines, kW; None where a plant has none
    us: bool  # the scenarios are written in inch-pound units


def of_buildings(
    path: Path, overrides: Sequence[str], weather: Path | None, hours: Sequence[str]
) -> tuple[Buildings, list[NamedHours]]:
    """Read a table with its scenarios, and the hours in which power is told.

    Raises
    ------
    InputError
        A line for each fault.
    """
    buildings = read_buildings(path, overrides, weather)
    scenarios = [one.scenario for entry in buildings.entries for one in entry.loaded]
    return buildings, hours_of(scenarios, hours)


def ready(buildings: Buildings, rank_by: str | None, tick: Callable[[int], object]) -> None:
    """Refuse whatever shows without a march; `tick` is told of each entry.

    Raises
    ------
    InputError
        A line for each fault.
    """
    refuse_rank(rank_by)
    check_all(buildings, tick)


def simulated(
    buildings: Buildings,
    hours: Sequence[NamedHours],
    rank_by: str | None,
    tick: Callable[[int], object],
) -> Simulated:
    """Simulate all plants and say what they add up to; `tick` is told of each plant.

    Raises
    ------
    InputError
        If none could be simulated, or not all have the figure to rank by.
    """
    with tempfile.TemporaryFile() as store:
        block = Block(hours, store)
        simulate(buildings, block, tick)
        record = block_record(buildings, block, rank_by)
    baseline = block.baseline
    us = writes_us_units(buildings.entries[0].plant.written)
    return Simulated(record, block.power.quarter_kw, None if baseline is None else baseline.quarter_kw, us)
