"""Simulate the plants of a block, a few at once, and add up what they give."""

from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from hpwhsim.blocks.entries import Buildings, Case, Entry, faults
from hpwhsim.blocks.shared_field import field_results
from hpwhsim.blocks.sums import Block, Part
from hpwhsim.errors import InputError, together
from hpwhsim.evaluation.evaluate import Checked, check, evaluated
from hpwhsim.evaluation.result import Result
from hpwhsim.simulation.year import year_of, years_ready

AT_ONCE = 8  # plants, with their baselines, that are in memory together
Tick = Callable[[int], object]


def check_all(buildings: Buildings, tick: Tick) -> None:
    """Build the plant of every entry without a march.

    Raises
    ------
    InputError
        A line for each fault of each row.
    """
    wrong: list[str] = []
    for entry in buildings.entries:
        case = next(entry.cases())
        try:
            check(case.loaded, served=case.served)
        except InputError as error:
            wrong += faults(entry.lines[0], error, entry.lines[0].keys)
        tick(1)
    if wrong:
        raise together(str(buildings.path), wrong)


def simulate(buildings: Buildings, block: Block, tick: Tick) -> None:
    """Simulate every entry and add it to the block; one that fails is named there, and the rest go on."""
    own = [entry for entry in buildings.entries if not entry.field]
    filling: _Filling | None = None
    for some in _some_at_once((entry, case) for entry in own for case in entry.cases()):
        filling = _add(some, filling, block, tick)  # what was marched goes with the call
    _close(filling, block)
    fields = dict.fromkeys(entry.field for entry in buildings.entries if entry.field)
    for name in fields:
        _on_field(name, [entry for entry in buildings.entries if entry.field == name], block, tick)


class _Filling(NamedTuple):
    """An entry some of whose plants are there."""

    entry: Entry
    part: Part
    wrong: list[str]


def _some_at_once(pairs: Iterator[tuple[Entry, Case]]) -> Iterator[list[tuple[Entry, Case]]]:
    while some := list(islice(pairs, AT_ONCE)):
        yield some


def _add(
    some: Sequence[tuple[Entry, Case]], filling: _Filling | None, block: Block, tick: Tick
) -> _Filling | None:
    """Simulate some plants; the entry of the last one, of which more may come."""
    for (entry, case), result in zip(some, _results([case for _, case in some]), strict=True):
        if filling is None or filling.entry is not entry:
            _close(filling, block)
            filling = _Filling(entry, block.part(), [])
        _fill(filling, case, result)
        tick(1)
    return filling


def _fill(filling: _Filling, case: Case, result: Result | InputError) -> None:
    if isinstance(result, InputError):
        filling.wrong.append(" ".join(str(result).split()))
    else:
        filling.part.add(result, case.times)


def _close(filling: _Filling | None, block: Block) -> None:
    """Add an entry all of whose plants are there; one of them without a year takes it out."""
    if filling is None:
        return
    if filling.wrong:
        block.failed[filling.entry.name] = filling.wrong[0]
    else:
        block.join(filling.entry.name, filling.part)


def _results(cases: Sequence[Case]) -> list[Result | InputError]:
    """The results of some plants, whose years are marched at once, a thread for each core."""
    checked: list[Checked | InputError] = []
    for case in cases:
        try:
            checked.append(check(case.loaded, served=case.served))
        except InputError as error:
            checked.append(error)
    good = [one for one in checked if isinstance(one, Checked)]
    ready = [of for one in good for of in (one.plant, one.baseline) if of is not None]
    marched = iter(years_ready(ready))
    found: list[Result | InputError] = []
    for one in checked:
        if isinstance(one, InputError):
            found.append(one)
            continue
        own, its = next(marched), next(marched) if one.baseline is not None else None
        try:
            found.append(evaluated(one.collected, year_of(own), None if its is None else year_of(its)))
        except InputError as error:
            found.append(error)
    return found


def _on_field(name: str, entries: Sequence[Entry], block: Block, tick: Tick) -> None:
    """Plants on one bore field, simulated until what they do to each other is settled."""
    pairs = [(entry, case) for entry in entries for case in entry.cases()]
    try:
        found = field_results(name, [case for _, case in pairs])
    except InputError as error:
        block.failed |= {entry.name: " ".join(str(error).split()) for entry in entries}
        return
    block.fields[name] = found.record
    for entry in entries:
        filling = _Filling(entry, block.part(), [])
        for (owner, case), result in zip(pairs, found.results, strict=True):
            if owner is entry:
                _fill(filling, case, result)
                tick(1)
        _close(filling, block)
