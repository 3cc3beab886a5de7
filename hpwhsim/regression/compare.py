"""Stored annual records of the scenarios in a folder against a fresh run.

``FOLDER/NAME.yaml`` is a scenario, ``FOLDER/records/NAME.json`` its stored record::

    title, tool.version, scenario.sha256, weather.sha256, weather.station
    inputs.sha256   of the numbers that the year was simulated from
    record     the annual record: every result, every default in force, every caution
    history    what was accepted: date, version, reason, what moved and by how much

Lists and blocks are compared value by value (``monthly.electricity_kwh[Mar]``,
``backup_hours_by_cause[capacity]``, ``assumptions[plant.storage.height]``); a value that is new or gone has
moved. A cause that is left out counts as 0 h.

Tolerances. A record holds on every computer: what a year is simulated from is rounded, so that the last
digits of another processor reach no thermostat (`hpwhsim.last_digits`), and the time loop uses operations
that are the same everywhere (`hpwhsim.plain_math`). Sums over the hours may still differ in their last
digits; `RELATIVE` and `ABSOLUTE` lie far above that and below anything an engineer reads. What stays within
is counted, and ``exact`` takes every tolerance as zero. balance_error is not compared: its size must stay
within `BALANCE`. Of a record that moved, ``inputs.sha256`` says whether other numbers entered the simulation,
or the same ones came out otherwise.

``FOLDER/records/tolerances.csv`` overrides this by key: columns ``key, relative, absolute``, ``#`` comments,
patterns such as ``monthly.*``; the last line that fits is used. A
relative tolerance of ``inf`` takes a key, text too, out of the comparison.
"""

import json
import math
import os
from collections.abc import Callable, Sequence
from datetime import date
from difflib import get_close_matches
from fnmatch import fnmatchcase
from pathlib import Path
from time import perf_counter
from typing import Literal, NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.results.records import (
    APART,
    CONTEXT,
    Record,
    Rule,
    Stored,
    Value,
    absent,
    bare,
    finite,
    flatten,
    read_rules,
    read_stored,
    write_texts,
)
from hpwhsim.scenario.reading import Loaded, read_scenario

Run = Callable[[Loaded], Record]

RELATIVE = 1e-6  # 1 Wh in a MWh
ABSOLUTE = 1e-6  # in the unit of the key
BALANCE = 1e-6  # every year closes


class Case(NamedTuple):
    """A scenario and its stored record; either may be missing, not both."""

    name: str
    scenario: Path | None
    record_path: Path
    stored: Stored | None


class Plan(NamedTuple):
    """What a folder asks for."""

    folder: Path
    cases: tuple[Case, ...]
    rules: tuple[Rule, ...]


class Move(NamedTuple):
    """A value that differs between the stored record and the fresh one."""

    key: str  # with the element: monthly.electricity_kwh[Mar]
    stored: Value
    fresh: Value
    tolerance: float | None  # None where there is no number to compare
    note: str = ""  # "new", "gone"

    @property
    def change(self) -> float | None:
        """Fresh less stored; None where one of them is no number."""
        if isinstance(self.stored, float | int) and isinstance(self.fresh, float | int):
            return float(self.fresh) - float(self.stored)
        return None

    @property
    def relative(self) -> float:
        """Change over the stored value; infinite for texts and where the stored value is zero."""
        if self.change is None or not isinstance(self.stored, float | int) or self.stored == 0:
            return math.inf
        return self.change / abs(self.stored)


State = Literal["same", "moved", "new", "orphan", "failed"]


class Outcome(NamedTuple):
    """What the comparison of a scenario found."""

    case: Case
    state: State  # new: no stored record; orphan: a record without a scenario; failed: it cannot be run
    moves: tuple[Move, ...] = ()  # beyond tolerance, largest relative change first
    within: tuple[Move, ...] = ()  # not equal, but within tolerance
    message: str = ""
    loaded: Loaded | None = None
    fresh: Record | None = None
    seconds: float = 0.0


def run_record(loaded: Loaded) -> Record:
    """The annual record of a fresh run."""
    return evaluate(loaded).record


# -- the folder --------------------------------------------------------------------------------------


def plan(folder: Path, only: Sequence[str] = ()) -> Plan:
    """Read what lies in `folder`: scenarios, stored records, tolerances. Nothing is run.

    Parameters
    ----------
    folder : Path
        Folder with ``*.yaml`` scenarios.
    only : sequence of str
        Names of scenarios (without ``.yaml``); empty for all.

    Raises
    ------
    InputError
        If the folder or its scenarios are missing, a name is unknown, or a record or the tolerances
        cannot be read.
    """
    if not os.path.isdir(folder):
        raise InputError(f"{folder}: there is no such folder; allowed a folder with scenarios (*.yaml)")
    records = folder / "records"
    scenarios = {path.stem: path for path in folder.glob("*.yaml") if not path.name.startswith(".")}
    if not scenarios:
        raise InputError(f"{folder}: no scenarios in this folder; allowed files named *.yaml")
    stored = {path.stem: path for path in records.glob("*.json") if not path.name.startswith(".")}
    names = sorted({*scenarios, *stored})
    refuse_controls(names, f"{folder}: name of a file")
    for name in only:
        if name not in names:
            near = get_close_matches(name, names, n=1) or names[:5]
            raise InputError(
                f"--only {name}: there is no such scenario in {folder}; allowed {', '.join(near)}"
            )
    cases = tuple(
        Case(
            name,
            scenarios.get(name),
            records / f"{name}.json",
            read_stored(stored[name]) if name in stored else None,
        )
        for name in names
        if not only or name in only
    )
    return Plan(folder, cases, read_rules(records / "tolerances.csv"))


# -- records as single values ------------------------------------------------------------------------


# -- comparing ---------------------------------------------------------------------------------------


def compare(
    stored: Stored, fresh: Record, rules: Sequence[Rule] = (), exact: bool = False
) -> tuple[tuple[Move, ...], tuple[Move, ...]]:
    """What differs between a stored record and a fresh one.

    Parameters
    ----------
    stored : Stored
        What is known.
    fresh : mapping
        A record as of `run_record`.
    rules : sequence of Rule
        The last one that fits a key is used; keys that none fits take the default.
    exact : bool
        Take every tolerance as zero.

    Returns
    -------
    moves, within : tuple of Move
        Beyond tolerance and within it, largest relative change first.
    """
    before, after = flatten(stored.record), flatten(fresh)
    moves: list[Move] = []
    within: list[Move] = []
    for key in {**before, **after}:
        note = "" if key in before and key in after else "gone" if key in before else "new"
        old, new = before.get(key, absent(key)), after.get(key, absent(key))
        if old is not None and new is not None:
            note = ""
        rule = next((r for r in reversed(rules) if fnmatchcase(bare(key), r.pattern)), None)
        move = Move(key, old, new, None, note)
        if bare(key) == "balance_error" and isinstance(new, float | int):
            if abs(new) > BALANCE:
                moves.append(move._replace(tolerance=BALANCE))
        elif move.change is not None and not note:
            tolerance = 0.0
            if not exact:
                limits = rule or Rule("", RELATIVE, ABSOLUTE)
                part = 0.0 if old == 0 else limits.relative * abs(float(old or 0.0))
                tolerance = max(part, limits.absolute)
                if math.isinf(limits.relative):
                    tolerance = math.inf
            if move.change != 0.0:
                beyond = abs(move.change) > tolerance
                (moves if beyond else within).append(move._replace(tolerance=tolerance))
        elif old != new or note:
            free = rule is not None and math.isinf(rule.relative)
            (within if free and not exact else moves).append(move)
    return _sorted(moves), _sorted(within)


def _sorted(moves: list[Move]) -> tuple[Move, ...]:
    """Texts first, then the largest relative change; ties in the order of the record."""
    return tuple(sorted(moves, key=lambda m: (m.change is not None, -abs(m.relative), -abs(m.change or 0.0))))


def check(case: Case, rules: Sequence[Rule] = (), run: Run | None = None, exact: bool = False) -> Outcome:
    """Run a scenario as it is stored and compare; a scenario that cannot be run is an outcome too."""
    if case.scenario is None:
        message = f"there is no {case.name}.yaml for this record: delete the record if the scenario is gone"
        return Outcome(case, "orphan", message=message)
    start = perf_counter()
    try:
        loaded = read_scenario(case.scenario)
        fresh = (run or run_record)(loaded)
    except InputError as err:
        return Outcome(case, "failed", message=str(err), seconds=perf_counter() - start)
    moves, within = compare(case.stored, fresh, rules, exact) if case.stored else ((), ())
    state: State = "new" if case.stored is None else "moved" if moves else "same"
    message = "" if case.stored else "there is no stored record: store one with --accept REASON"
    return Outcome(case, state, moves, within, message, loaded, fresh, perf_counter() - start)


# -- accepting ---------------------------------------------------------------------------------------


def checked_reason(reason: str) -> str:
    """The reason of an acceptance on one line.

    Raises
    ------
    InputError
        If it says nothing.
    """
    line = " ".join(reason.split())
    if not line:
        raise InputError("--accept: got an empty reason; allowed a sentence that says why the results moved")
    return line


def accept(outcomes: Sequence[Outcome], reason: str, today: date | None = None) -> list[Outcome]:
    """Store the fresh records of what moved or is new, once all are complete.

    Parameters
    ----------
    outcomes : sequence of Outcome
        As `check` gave them; the others are left alone.
    reason : str
        Why it moved; goes into the history of each record.
    today : date, optional
        Date of the entry; the day of the call if left out.

    Returns
    -------
    list of Outcome
        Those that were stored.

    Raises
    ------
    InputError
        If the reason is empty or a record cannot be written.
    """
    line = checked_reason(reason)
    day = (today or date.today()).isoformat()
    texts: dict[Path, str] = {}
    stored: list[Outcome] = []
    for outcome in outcomes:
        if outcome.state in ("moved", "new") and outcome.fresh is not None:
            texts[outcome.case.record_path] = _stored_text(outcome, outcome.fresh, line, day)
            stored.append(outcome)
    write_texts(texts)
    return stored


def _stored_text(outcome: Outcome, fresh: Record, reason: str, day: str) -> str:
    entry = {
        "date": day,
        "version": fresh.get("tool.version"),
        "reason": reason,
        "moved": summary(outcome.moves) if outcome.case.stored else ["first record"],
    }
    whole = {
        **{key: fresh.get(key) for key in CONTEXT},
        "record": {key: finite(value) for key, value in fresh.items() if key not in APART},
        "history": [*(outcome.case.stored.history if outcome.case.stored else []), entry],
    }
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def summary(moves: Sequence[Move]) -> list[str]:
    """One line for each key of the record that moved, with its largest relative change."""
    by_key: dict[str, list[Move]] = {}
    for move in moves:
        name = bare(move.key)
        by_key.setdefault(move.key if name in ("assumptions", "cautions") else name, []).append(move)
    lines = []
    for group in by_key.values():
        most = group[0]
        more = f", the largest of {len(group)} values" if len(group) > 1 else ""
        old, new = _short(most.stored), _short(most.fresh)
        said = most.note or f"{old} -> {new}"
        if most.note:
            said += f": {old if most.note == 'gone' else new}"
        percent = "" if math.isinf(most.relative) else f" ({100.0 * most.relative:+.3g} %)"
        lines.append(f"{most.key}: {said}{percent}{more}")
    return lines


def _short(value: Value) -> str:
    return "nothing" if value is None else value if isinstance(value, str) else f"{value:.8g}"
