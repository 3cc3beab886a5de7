"""The plants of a block of buildings: which scenario each runs, whose draws it serves, with which seeds."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.blocks.table import Line, read_table
from hpwhsim.errors import InputError, ListedError, together
from hpwhsim.evaluation.draw_years import is_random
from hpwhsim.evaluation.reading import read, with_changes
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Scenario

APARTMENTS, SEED, LOSS = "building.apartments", "hot_water.seed", "recirculation.loss_per_apartment"
OF_BUILDING = (
    APARTMENTS,
    "building.people_per_apartment",
    "hot_water.daily_use_per_apartment",
    "hot_water.pattern",
    "hot_water.month_factors",
    "hot_water.weekend_factor",
    "hot_water.day_spread",
    "hot_water.metered",
    SEED,
    LOSS,
)
"""Keys in which buildings on one plant may differ: who draws how much and when, and what their loops lose."""
OF_PLANT = {"flow", "pump_power", "pump_efficiency", "min_flow_fraction", "header"}
"""Keys of a ground loop in which plants on one field may differ: their pumps and what these move."""


LONGEST_TITLE = 200  # signs


class Case(NamedTuple):
    """A plant through one year."""

    loaded: Loaded
    served: tuple[Scenario, ...]  # buildings whose draws it serves, added; empty: its scenario's own
    times: int  # equal plants that have this very year


class Entry(NamedTuple):
    """A row of the table, or the rows that one plant serves."""

    name: str
    lines: tuple[Line, ...]
    loaded: tuple[Loaded, ...]  # of each row, with the scenario's own seed
    plant: Loaded  # what the plant is
    shared: bool

    @property
    def buildings(self) -> int:
        """Buildings that it stands for."""
        return sum(line.equal for line in self.lines)

    @property
    def apartments(self) -> int:
        """Apartments in all of these."""
        return sum(
            line.equal * one.scenario.building.apartments
            for line, one in zip(self.lines, self.loaded, strict=True)
        )

    @property
    def plants(self) -> int:
        """Plants that it stands for."""
        return 1 if self.shared else self.lines[0].equal

    @property
    def field(self) -> str:
        """Name of the bore field that it shares; empty: it has its own, or none."""
        return self.lines[0].field

    def seeds(self) -> list[int]:
        """Seed of the draws of each building; none where draws are not random."""
        pairs = zip(self.lines, self.loaded, strict=True)
        return [seed for line, one in pairs if is_random(one.scenario) for seed in _seeds(line, one)]

    @property
    def years(self) -> int:
        """How many years `cases` gives."""
        return self.plants if is_random(self.plant.scenario) else 1

    def cases(self) -> Iterator[Case]:
        """The years to simulate."""
        if self.shared:
            yield Case(self.plant, tuple(self._served()), 1)
        elif is_random(self.plant.scenario):
            for seed in _seeds(self.lines[0], self.plant):
                yield Case(with_changes(self.plant, {SEED: seed}), (), 1)
        else:
            yield Case(self.plant, (), self.plants)

    def _served(self) -> Iterator[Scenario]:
        for line, one in zip(self.lines, self.loaded, strict=True):
            if is_random(one.scenario):
                for seed in _seeds(line, one):
                    yield with_changes(one, {SEED: seed}).scenario
            else:
                yield from [one.scenario] * line.equal


class Buildings(NamedTuple):
    """A table that has been read."""

    path: Path  # of the table, absolute
    sha256: str  # of its bytes
    entries: list[Entry]
    overrides: tuple[str, ...]  # the same for all

    @property
    def years(self) -> int:
        """How many years of plants there are to simulate; each baseline's comes with that of its plant."""
        return sum(entry.years for entry in self.entries)


def read_buildings(path: Path, overrides: Sequence[str] = (), weather: Path | None = None) -> Buildings:
    """Read a table of buildings and the scenario of every row.

    Parameters
    ----------
    path : Path
        CSV or XLSX file.
    overrides : sequence of str
        ``"key.path=value"``, the same in all rows; none of them is a column.
    weather : Path or None
        Weather file of all rows instead of site.weather.

    Raises
    ------
    InputError
        A line for each fault: row, column, what was given and what is allowed.
    """
    path = Path(path)
    lines = read_table(path)
    given = [text.partition("=")[0].strip() for text in overrides] + (["site.weather"] if weather else [])
    columns = dict.fromkeys(key for line in lines for key in line.keys)
    wrong = [
        f"--set {one}: the table has the column {key}; allowed a key that it does not have"
        for one in given
        for key in columns
        if f"{one}.".startswith(f"{key}.") or f"{key}.".startswith(f"{one}.")
    ]
    bases: dict[Path, Loaded | None] = {}
    entries = []
    for group in _groups(lines):
        entry = _entry(group, bases, overrides, weather, wrong)
        if entry is not None:
            entries.append(entry)
    rows = {line.name: line for line in lines if not line.plant}
    wrong += [
        f"{entry.lines[0].where}: column plant: got {entry.name}; allowed another name: row "
        f"{rows[entry.name].row} is a building of this name"
        for entry in entries
        if entry.shared and entry.name in rows
    ]
    wrong += _wrong_fields(entries)
    if wrong:
        raise together(str(path), wrong)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return Buildings(path.absolute(), digest, entries, tuple(overrides))


def _groups(lines: Sequence[Line]) -> list[list[Line]]:
    """Rows that one plant serves together, in the order of the table."""
    found: dict[tuple[str, str], list[Line]] = {}
    for line in lines:
        found.setdefault(("plant", line.plant) if line.plant else ("row", line.name), []).append(line)
    return list(found.values())


def _entry(
    group: Sequence[Line],
    bases: dict[Path, Loaded | None],
    overrides: Sequence[str],
    weather: Path | None,
    wrong: list[str],
) -> Entry | None:
    """The rows of one plant; None where something is wrong with them, which joins `wrong`."""
    before, first = len(wrong), group[0]
    for line in group[1:]:
        wrong += _unlike(first, line)
    loaded = []
    for line in group:
        if line.scenario not in bases:
            bases[line.scenario] = _base(line, overrides, weather, wrong)
        base = bases[line.scenario]
        one = _loaded(line, first, base, wrong) if base is not None else None
        if one is not None:
            loaded.append(one)
    if len(wrong) > before or len(loaded) < len(group):
        return None
    if not first.plant:
        return Entry(first.name, tuple(group), tuple(loaded), loaded[0], False)
    try:
        plant = _plant_of(group, loaded)
    except InputError as error:
        wrong += [f"plant {first.plant}: {text}" for text in _lines_of(error, loaded[0].path)]
        return None
    return Entry(first.plant, tuple(group), tuple(loaded), plant, True)


def _unlike(first: Line, line: Line) -> Iterator[str]:
    """In what a row contradicts the first one of its plant."""
    if line.scenario != first.scenario:
        yield (
            f"{line.where}: column scenario: got {line.scenario.name}; allowed {first.scenario.name}, as in "
            f"row {first.row} of the same plant"
        )
    if line.field != first.field:
        yield (
            f"{line.where}: column field: got {line.field or 'nothing'}; allowed "
            f"{first.field or 'nothing'}, as in row {first.row} of the same plant"
        )
    for key, value in line.keys.items():
        if key not in OF_BUILDING and value != first.keys.get(key):
            allowed = first.keys.get(key, "nothing")
            yield (
                f"{line.where}: column {key}: got {value}; allowed {allowed}, as in row {first.row} of the "
                "same plant"
            )


def _base(line: Line, overrides: Sequence[str], weather: Path | None, wrong: list[str]) -> Loaded | None:
    """The scenario of a file, as it is read for all of its rows."""
    try:
        return read(line.scenario, overrides, weather)
    except InputError as error:
        lines = _lines_of(error, line.scenario)
        wrong += [f"{line.where}: column scenario: {line.scenario.name}: {text}" for text in lines]
        return None


def _loaded(line: Line, first: Line, base: Loaded, wrong: list[str]) -> Loaded | None:
    """The scenario of a row: its own keys, and those of its plant, which the first row of that has."""
    keys = {key: value for key, value in first.keys.items() if key not in OF_BUILDING} | line.keys
    try:
        found = with_changes(base, keys) if keys else base
    except InputError as error:
        wrong += faults(line, error, keys)
        return None
    if line.equal > 1 and SEED in line.keys and is_random(found.scenario):
        wrong.append(
            f"{line.where}: column {SEED}: got {line.keys[SEED]}; allowed nothing with a count above 1: each "
            "of equal buildings has draws of its own"
        )
        return None
    return found


def faults(line: Line, error: InputError, keys: Mapping[str, Any]) -> Iterator[str]:
    """What is wrong with the scenario of a row, a line for each, by its column where it has one."""
    for text in _lines_of(error, line.scenario):
        column = any(text.startswith((f"{key}:", f"{key}.", f"{key} ")) for key in keys)
        yield f"{line.where}: {'column ' if column else f'{line.scenario.name}: '}{text}"


def _lines_of(error: InputError, path: Path) -> Iterator[str]:
    lines = error.lines if isinstance(error, ListedError) else (str(error),)
    for text in lines:
        yield text.removeprefix(f"{path}: ").replace(" (from --set)", "")


def _seeds(line: Line, loaded: Loaded) -> list[int]:
    """Seeds of the equal buildings of a row with random draws.

    Where the row gives none they follow from the scenario's own seed, the name of the row and the number of
    the building: they stay where rows are sorted, added or taken out, and no two are alike but by an
    accident of one in 2**32.
    """
    if SEED in line.keys:
        return [loaded.scenario.hot_water.seed]
    return [derived_seed(loaded.scenario.hot_water.seed, line.name, number) for number in range(line.equal)]


def derived_seed(seed: int, name: str, number: int) -> int:
    """A seed of 0 to 2**32 - 1 for building `number` of the row `name`.

    Examples
    --------
    >>> derived_seed(7, "North House", 0) == derived_seed(7, "North House", 0)
    True
    >>> derived_seed(7, "North House", 0) == derived_seed(7, "North House", 1)
    False
    """
    text = f"{seed}\n{number}\n{name}".encode()
    return int.from_bytes(hashlib.sha256(text).digest()[:4], "big")


# -- shared plants and fields --------------------------------------------------------------------------


def _plant_of(group: Sequence[Line], loaded: Sequence[Loaded]) -> Loaded:
    """The plant that serves all rows of a group, as a scenario of its own.

    Its loop loses what the loops of all buildings lose, and the pipes between them.

    Raises
    ------
    InputError
        If the scenario cannot hold the sum.
    """
    counts = [line.equal for line in group]
    scenarios = [one.scenario for one in loaded]
    apartments = sum(n * one.building.apartments for n, one in zip(counts, scenarios, strict=True))
    names = ", ".join(line.name for line in group)
    title = f"{group[0].plant}: one plant for {names}"
    people = sum(
        n * one.building.apartments * one.building.people_per_apartment
        for n, one in zip(counts, scenarios, strict=True)
    )
    changes: dict[str, Any] = {
        "title": title if len(title) <= LONGEST_TITLE else f"{title[: LONGEST_TITLE - 3]}...",
        APARTMENTS: apartments,
        "building.people_per_apartment": people / apartments,
    }
    apart = sum(n * line.distribution_w for n, line in zip(counts, group, strict=True))
    loops = [one.recirculation for one in scenarios]
    if any(loop is not None and loop.loss_per_apartment is None for loop in loops):
        if apart > 0.0:
            raise InputError(
                "column distribution_loss: allowed nothing beside recirculation.sections or .risers: write "
                "the pipes between the buildings into these"
            )
    elif apart > 0.0 or any(loops):
        own = sum(
            n * one.building.apartments * (one.recirculation.loss_per_apartment or 0.0)
            for n, one in zip(counts, scenarios, strict=True)
            if one.recirculation is not None
        )
        changes[LOSS] = f"{(own + apart) / apartments:.12g} W"
    return with_changes(loaded[0], changes)


def _wrong_fields(entries: Sequence[Entry]) -> Iterator[str]:
    """What keeps plants from standing on one bore field."""
    first: dict[str, Entry] = {}
    for entry in entries:
        if not entry.field:
            continue
        where = f"{entry.lines[0].where}: column field"
        ground = entry.plant.scenario.plant.source.ground_loop
        if entry.plant.scenario.plant.source_kind != "ground-loop" or ground is None:
            yield f"{where}: got {entry.field}; allowed nothing: plant.source.kind is no ground-loop"
            continue
        if ground.rejection is not None:
            yield f"{where}: got {entry.field}; allowed nothing with plant.source.ground_loop.rejection"
        other = first.setdefault(entry.field, entry)
        held = other.plant.scenario.plant.source.ground_loop
        assert held is not None  # or it would not be there
        theirs, ours = held.model_dump(exclude=OF_PLANT), ground.model_dump(exclude=OF_PLANT)
        for key in theirs:
            if theirs[key] != ours[key]:
                yield (
                    f"{where}: plant.source.ground_loop.{key}: got {ours[key]}; allowed {theirs[key]}, as in "
                    f"row {other.lines[0].row} on the same field"
                )
        years = other.plant.scenario.run.years, entry.plant.scenario.run.years
        if years[0] != years[1]:
            yield (
                f"{where}: run.years: got {years[1]}; allowed {years[0]}, as in row {other.lines[0].row} on "
                "the same field"
            )
