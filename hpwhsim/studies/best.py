"""The best of a study's cases: its grid, rows and ranges as choices, searched by their annual records.

Cases that are asked for together are a study of rows in a folder of its own, so that a search that was
stopped goes on where it was, and the same cases answer another question of objectives or limits.
"""

import csv
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.errors import Findings, InputError
from hpwhsim.io.units import MONEY, QuantityError, as_text, read_quantity
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.study import Best, Range, Spread, Study
from hpwhsim.search.engine import Point, search
from hpwhsim.search.goals import Goals, Tried, goals_of, not_accounted
from hpwhsim.search.outcome import NUMBER, Found, outcome
from hpwhsim.studies.assembled import TABLE, provenance, value_text
from hpwhsim.studies.cases import Cases
from hpwhsim.studies.sampling import drawn
from hpwhsim.studies.study import Finished, run_study
from hpwhsim.studies.uncertainty import columns_of

CAPITAL, ROWS, SEED = "costs.capital", "rows", "hot_water.seed"
STEPS = 1000  # of a range between numbers
FOLDER = "simulated"
MOST_LISTED = 50  # values of a choice in the record


class Choice(NamedTuple):
    """Keys that are chosen together, and what they may be."""

    name: str  # the key, or the word rows
    values: tuple[Mapping[str, Any], ...]
    capital: tuple[float, ...]  # that each adds [USD]; empty: nothing


class Question(NamedTuple):
    """A study of which the best case is sought."""

    cases: Cases
    best: Best
    goals: Goals
    choices: tuple[Choice, ...]

    @property
    def combinations(self) -> int:
        """How many cases there could be."""
        count = 1
        for choice in self.choices:
            count *= len(choice.values)
        return count

    def values(self, point: Point) -> dict[str, Any]:
        """What the case at a point changes."""
        found: dict[str, Any] = {}
        for choice, place in zip(self.choices, point, strict=True):
            found |= choice.values[place]
        priced = [
            choice.capital[place] for choice, place in zip(self.choices, point, strict=True) if choice.capital
        ]
        if priced:
            costs = self.cases.base.scenario.costs
            assert costs is not None  # refused before
            found[CAPITAL] = as_text(costs.capital + sum(priced), MONEY)
        return found


def question_of(cases: Cases) -> Question | None:
    """What is asked of a study; None where its file has no block `best`.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    study = cases.file.study
    if (best := study.best) is None:
        return None
    wrong, goals = Findings(), Goals((), ())
    with wrong.step():
        limits = {key: bound.model_dump() for key, bound in best.limits.items()}
        goals = goals_of(best.objectives, limits, "best")
    wrong.lines += [f"best: {line}" for line in not_accounted(goals, cases.base.scenario, cases.keys)]
    choices = []
    offered: dict[str, tuple[Mapping[str, Any], ...]] = {}
    for key, values in study.grid.items():
        offered[key] = tuple({key: value} for value in values)
    if cases.file.rows:
        offered[ROWS] = tuple(cases.file.rows)
    for key, ends in best.ranges.items():
        with wrong.step("best.ranges: "):
            offered[key] = tuple({key: value} for value in _range(key, ends))
    for name, chosen in offered.items():
        with wrong.step("best.capital: "):
            choices.append(Choice(name, chosen, _capital(name, chosen, best)))
    wrong.lines += [
        f"best.capital: {name}: got a key that is not chosen; allowed {', '.join(offered)}"
        for name in best.capital
        if name not in offered
    ]
    if best.capital and cases.base.scenario.costs is None:
        wrong.lines.append("best.capital: the scenario has no block costs to which it could be added")
    if best.capital and CAPITAL in cases.keys:
        wrong.lines.append(f"best.capital: {CAPITAL} is chosen already; allowed one of the two")
    if SEED in cases.keys:
        wrong.lines.append(f"{SEED}: nobody chooses the draws; allowed in set, or in a study without best")
    wrong.raise_any(str(cases.file.path))
    return Question(cases, best, goals, tuple(choices))


def _range(key: str, ends: Range) -> list[Any]:
    """Values of a range: whole numbers, or a thousand equal steps."""
    if ends.whole is not None:
        low, high = drawn(key, Spread(whole=ends.whole)).numbers
        return list(range(int(low), int(high) + 1))
    between = drawn(key, Spread(uniform=ends.uniform))
    return [between.at(place / STEPS) for place in range(STEPS + 1)]


def _capital(name: str, values: Sequence[Mapping[str, Any]], best: Best) -> tuple[float, ...]:
    """What each value of a choice adds to the capital."""
    if name not in best.capital:
        return ()
    given = best.capital[name]
    listed = given if isinstance(given, list) else [given]
    try:
        amounts = [read_quantity(one, MONEY) for one in listed]
    except QuantityError as error:
        raise InputError(f"{name}: got {given}; allowed {error}") from None
    if not isinstance(given, list):
        numbers = [value.get(name) for value in values]
        if not all(isinstance(number, int) and not isinstance(number, bool) for number in numbers):
            raise InputError(f"{name}: got one amount; allowed a list with one for each of its values")
        return tuple(amounts[0] * int(number) for number in numbers if number is not None)
    if name in best.ranges and len(amounts) == 2:
        return tuple(np.linspace(amounts[0], amounts[1], len(values)).tolist())
    if len(amounts) != len(values):
        raise InputError(f"{name}: got {len(amounts)} amounts; allowed {len(values)}, one for each value")
    return tuple(amounts)


class _Rounds:
    """Cases that are asked for together, simulated as a study each."""

    def __init__(self, question: Question, out: Path, workers: int, tick: Callable[[int], object]) -> None:
        self.question, self.out, self.workers, self.tick = question, out, workers, tick
        self.count = 0
        self.changes: list[dict[str, Any]] = []  # of every case
        self.cautions: dict[str, dict[str, Any]] = {}

    def __call__(self, points: Sequence[Point]) -> list[Tried]:
        """The records of some cases."""
        self.count += 1
        rows = [self.question.values(point) for point in points]
        folder = self.out / FOLDER / f"{self.count:03d}"
        finished = run_study(_of_rows(self.question.cases, rows), folder, self.workers, self.tick)
        for said in finished.record["cautions"]:
            held = self.cautions.setdefault(
                NUMBER.sub("0", said["text"]), said | {"first": said["first"] + len(self.changes), "cases": 0}
            )
            held["cases"] += said["cases"]
        self.changes += rows
        return _tried(finished, shown_keys(self.question))


def shown_keys(question: Question) -> tuple[str, ...]:
    """Keys of the record in the table: objectives, limits, and those of the study."""
    return tuple(dict.fromkeys([*question.goals.keys, *question.cases.record]))


def _of_rows(cases: Cases, rows: Sequence[Mapping[str, Any]]) -> Cases:
    """A study of some cases alone; without the question, so that another one finds them."""
    listed = [dict(row) for row in rows]
    whole = cases.file.study
    study = Study(title=whole.title, scenario=whole.scenario, set=whole.set, rows=listed, record=whole.record)
    file = cases.file._replace(study=study, rows=listed)
    return cases._replace(file=file, keys=tuple(listed[0]), size=len(listed))


def _tried(finished: Finished, keys: Sequence[str]) -> list[Tried]:
    """What each case of a finished study gave."""
    table = finished.dataset.with_name(TABLE)
    with table.open(encoding="utf-8", newline="") as stream:
        failed = [row["failed"] for row in csv.DictReader(stream)]
    held = {name: values for name, _, values in columns_of(finished.dataset) if name in keys}
    figures: list[dict[str, float | None]] = [dict.fromkeys(keys) for _ in failed]
    for name, values in held.items():
        for place, value in enumerate(values.tolist()):
            figures[place][name] = None if np.isnan(value) else value
    return [Tried(one, text) for one, text in zip(figures, failed, strict=True)]


def best_study(question: Question, out: Path, workers: int, tick: Callable[[int], object]) -> Found:
    """Search a study for its best case.

    Parameters
    ----------
    question : Question
        What is asked.
    out : Path
        Folder of the cases; those that are there are not simulated again.
    workers : int
        Processes that simulate.
    tick : callable
        Told of so many more cases.

    Returns
    -------
    Found
        Its record has where the study comes from, ``choices``, and ``cautions`` beside what `outcome` says.

    Raises
    ------
    InputError
        If no case has a figure of an objective, or the folder cannot be written or holds another study.
    """
    best, rounds = question.best, _Rounds(question, out, workers, tick)
    sizes = [len(choice.values) for choice in question.choices]
    searched = search(sizes, question.goals, rounds, best.budget, best.seed)
    tried = list(searched.tried.values())
    _refuse_objectives_of_none(question, tried)
    texts = [{key: value_text(value) for key, value in one.items()} for one in rounds.changes]
    pairs = list(zip(texts, tried, strict=True))
    found = outcome(question.goals, pairs, question.combinations, best.seed, best.budget)
    record = {
        **provenance(question.cases),
        "conditions": [f"set in all cases: {text}" for text in short_overrides(question.cases.base)],
        "choices": [_offered(choice) for choice in question.choices],
        **found.record,
        "cautions": list(rounds.cautions.values()),
    }
    return found._replace(record=record, changes=tuple(rounds.changes))


def _refuse_objectives_of_none(question: Question, tried: Sequence[Tried]) -> None:
    """Refuse an objective of which no case that has a year has a figure."""
    ran = [one for one in tried if not one.failed]
    lacking = [
        one.key
        for one in question.goals.objectives
        if ran and all(case.figures[one.key] is None for case in ran)
    ]
    if lacking:
        raise InputError(
            f"{question.cases.file.path}: best.objectives: the records have no {', '.join(lacking)}; allowed "
            "what the scenario accounts for: costs, tariff and carbon are its blocks"
        )


def _offered(choice: Choice) -> dict[str, Any]:
    """A choice in the record; of a long range its ends."""
    texts = [
        ", ".join(f"{key}={value_text(one)}" for key, one in value.items())
        if choice.name == ROWS
        else value_text(value[choice.name])
        for value in choice.values
    ]
    ends = texts if len(texts) <= MOST_LISTED else [texts[0], "...", texts[-1]]
    return {"key": choice.name, "values": ends, "count": len(texts)}
