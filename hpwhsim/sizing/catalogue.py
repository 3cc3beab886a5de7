"""The equipment catalogue: modules and tanks, which pass on the design days, and which is cheapest."""

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.errors import InputError
from hpwhsim.io.user_csv import read_rows
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.trials import (
    NEEDIEST,
    ROUNDING,
    Bench,
    Trial,
    based,
    hardest,
    plant_of,
    try_plant,
)
from hpwhsim.tables import read_table
from hpwhsim.tables.usual_ranges import MODULE, refuse

CAPACITY, LITRES = "capacity_kw", "litres"
MEASURES = ("cost", "weight_kg", "carbon_kg")
BY = {"cost": "cost", "weight": "weight_kg", "carbon": "carbon_kg"}
MOST_STEPS = 200  # modules, or tanks, to choose from
BATCH = 8  # choices that are judged at once
LARGER = 1.0 + 0.025 * np.arange(1, 11)  # stores beside a choice, to see whether it passes by luck


class Step(NamedTuple):
    """A module or a tank of the catalogue."""

    size: float  # W at the rating, or m³
    measures: dict[str, float]  # by `MEASURES`, of one


class Choice(NamedTuple):
    """A plant of real steps."""

    module: Step
    modules: int
    tank: Step
    tanks: int
    total: dict[str, float]  # by `MEASURES`

    @property
    def volume(self) -> float:
        """The whole store. [m³]"""
        return self.tank.size * self.tanks

    @property
    def capacity(self) -> float:
        """All modules at the rating. [W]"""
        return self.module.size * self.modules


class Chosen(NamedTuple):
    """What was chosen, and its neighbours."""

    choice: Choice
    trial: Trial
    smallest: Choice  # with the same modules the smallest store that passes
    smaller_tank: tuple[Choice, Trial] | None  # the next smaller store with the same modules
    failing_tank: tuple[Choice, Trial] | None  # the largest smaller store that fails with them
    smaller_modules: tuple[Choice, Trial] | None  # the next smaller set of modules with the same store
    larger: tuple[Trial, ...]  # of stores a little larger, `LARGER`, on the neediest years of draws


def read_steps(path: Path, size: str, unit: float) -> list[Step]:
    """Steps of a CSV of the user's with the columns `size` and `MEASURES`, smallest first.

    Raises
    ------
    InputError
        If the file or a number is wrong, a size is not above zero, or a capacity is that of no module.
    """
    found = []
    rows = read_rows(path, (size, *MEASURES))
    if len(rows) > MOST_STEPS:
        raise InputError(f"{path}: got {len(rows):,} rows; allowed at most {MOST_STEPS}")
    for row in rows:
        large = row.number(size, above=True)
        if size == CAPACITY:
            refuse(MODULE, large, f"{path}: line {row.line}: column {size}")
        found.append(Step(large * unit, {m: row.number(m) for m in MEASURES}))
    return sorted(found, key=lambda step: step.size)


def refuse_catalogue(scenario: Scenario) -> None:
    """Refuse a catalogue that cannot be read.

    Raises
    ------
    InputError
        As `read_steps`.
    """
    for path, size in zip(_files(scenario), (CAPACITY, LITRES), strict=True):
        if path is not None:
            read_steps(path, size, 1.0)


def _files(scenario: Scenario) -> tuple[Path | None, Path | None]:
    """The user's files of modules and tanks."""
    sizing = scenario.sizing
    return (None, None) if sizing is None else (sizing.modules, sizing.tanks)


def module_steps(bench: Bench) -> list[Step]:
    """Modules to choose from: of the user's file, or the one as written with what a table gives for it.

    Raises
    ------
    InputError
        If the file is wrong, or offers other capacities beside a measured table or rated points.
    """
    capacity, heat_pump = bench.assembly.made.capacity, bench.scenario.plant.heat_pump
    assert heat_pump is not None  # make_bench wants it
    path = bench.sizing.modules
    if path is None:
        table = read_table("sizing_modules")
        sizes = [float(row["capacity_kw"]) for row in table]
        at = min(max(int(np.searchsorted(sizes, capacity / 1000.0)) - 1, 0), len(sizes) - 2)
        way = (capacity / 1000.0 - sizes[at]) / (sizes[at + 1] - sizes[at])
        pairs = {m: (float(table[at][m]), float(table[at + 1][m])) for m in MEASURES}
        return [Step(capacity, {m: max(low + way * (high - low), 0.0) for m, (low, high) in pairs.items()})]
    steps = read_steps(path, CAPACITY, 1000.0)
    if heat_pump.capacity is None:
        for step in steps:
            if abs(step.size / capacity - 1.0) > 0.01:
                raise InputError(
                    f"{path}: capacity_kw: got {step.size / 1000.0:g}; a table or rated points hold for "
                    f"their own heat pump alone, of {capacity / 1000.0:.4g} kW"
                )
    return steps


def tank_steps(bench: Bench) -> list[Step]:
    """Tanks to choose from: of the user's file, or the packaged ones."""
    path = bench.sizing.tanks
    if path is not None:
        return read_steps(path, LITRES, 0.001)
    return [
        Step(float(row[LITRES]) / 1000.0, {m: float(row[m]) for m in MEASURES})
        for row in read_table("sizing_tanks")
    ]


class Market:
    """Choices in the order of what they cost, each judged once.

    A larger store is not always the safer one (`least_store`), so nothing is inferred: every choice that
    comes before one that passes was judged, and fails.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.key = BY[bench.sizing.by]
        self.machines = [(m, n) for m in module_steps(bench) for n in range(1, bench.sizing.max_modules + 1)]
        self.stores = [(t, n) for t in tank_steps(bench) for n in range(1, bench.sizing.max_tanks + 1)]
        self.machines.sort(key=lambda pair: (pair[0].size * pair[1], pair[1]))
        self.stores.sort(key=lambda pair: (pair[0].size * pair[1], pair[1]))
        self._judged: dict[tuple[float, int, float, int], Trial] = {}

    def choice(self, machine: tuple[Step, int], store: tuple[Step, int]) -> Choice:
        """A heat pump and a store with what they cost together."""
        (module, modules), (tank, tanks) = machine, store
        total = {m: modules * module.measures[m] + tanks * tank.measures[m] for m in MEASURES}
        return Choice(module, modules, tank, tanks, total)

    def trial(self, choice: Choice) -> Trial:
        """The choice on the design days."""
        key = (choice.module.size, choice.modules, choice.tank.size, choice.tanks)
        if key not in self._judged:
            self._judged[key] = self._try(choice, choice.volume)
        return self._judged[key]

    def _try(self, choice: Choice, volume: float, neediest: bool = False) -> Trial:
        """The choice with a store of `volume` [m³]."""
        bench = hardest(self._bench, choice.capacity, NEEDIEST) if neediest else self._bench
        factor = choice.module.size / bench.assembly.made.capacity
        return try_plant(bench, plant_of(bench, choice.modules, factor, volume, choice.tanks))

    def passing(self) -> Iterator[Choice]:
        """Choices that pass, cheapest first."""
        from tqdm import tqdm

        found = [self.choice(machine, store) for machine in self.machines for store in self.stores]
        found.sort(key=lambda choice: (choice.total[self.key], choice.volume, choice.capacity))
        with tqdm(total=len(found), unit="plant", leave=False, disable=None) as bar:  # None: not in a pipe
            for at in range(0, len(found), BATCH):
                batch = found[at : at + BATCH]
                judged = zip(batch, self.trials(batch), strict=True)
                yield from (choice for choice, trial in judged if trial.passes)
                bar.update(len(batch))

    def trials(self, choices: list[Choice]) -> list[Trial]:
        """The trials of some choices, several at once."""
        for choice in choices:
            based(self._bench, choice.modules, choice.tanks)  # made here: threads would make it twice
        return at_once(self.trial, choices)

    def beside(self, choice: Choice) -> Chosen:
        """A choice that passes, with its smaller neighbours."""
        machine, store = (choice.module, choice.modules), (choice.tank, choice.tanks)
        smaller = [
            self.choice(machine, s) for s in self.stores if s[0].size * s[1] < choice.volume - ROUNDING
        ]
        judged = list(zip(smaller, self.trials(smaller), strict=True))
        fewer = [m for m in self.machines if m[0].size * m[1] < choice.capacity - ROUNDING]
        modules = self.choice(fewer[-1], store) if fewer else None
        return Chosen(
            choice,
            self.trial(choice),
            next((other for other, trial in judged if trial.passes), choice),
            judged[-1] if judged else None,
            next((pair for pair in reversed(judged) if not pair[1].passes), None),
            (modules, self.trial(modules)) if modules else None,
            tuple(at_once(lambda factor: self._try(choice, factor * choice.volume, True), LARGER.tolist())),
        )
