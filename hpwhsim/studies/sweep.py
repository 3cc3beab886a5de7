"""One scenario over every combination of values of some of its keys."""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any, NamedTuple

import hpwhsim
from hpwhsim.errors import InputError
from hpwhsim.evaluation.baselines import Baselines
from hpwhsim.evaluation.evaluate import Checked, evaluated, years_of
from hpwhsim.evaluation.evaluate import check as answer_check
from hpwhsim.evaluation.reading import read, with_changes
from hpwhsim.results.asked import KEYS, named_keys
from hpwhsim.results.declared import declared
from hpwhsim.results.records import Flat, absent, bare, flatten
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded, override_text
from hpwhsim.search.varied import MOST, Axis, axis_from, axis_of, no_overlap
from hpwhsim.simulation.year import Record

MOST_WAITING = 50  # cases, of about 5 MB each


class Case(NamedTuple):
    """A combination of values."""

    values: tuple[str, ...]  # one for each axis
    name: str  # for messages
    loaded: Loaded


class Plan(NamedTuple):
    """What is to be run."""

    axes: tuple[Axis, ...]
    keys: tuple[str, ...]  # of the annual record
    chosen: bool  # the user named the keys
    cases: list[Case]  # the last axis runs fastest
    baselines: Baselines  # that cases have in common
    checked: dict[str, Checked]  # by the name of the case, of those that wait for their march


class Row(NamedTuple):
    """What a case gave."""

    record: Record
    figures: Flat  # by the keys of the plan


def plan(
    path: Path,
    vary: Sequence[str],
    overrides: Sequence[str] = (),
    weather: Path | None = None,
    keys: str | None = None,
    along: Callable[[list[tuple[str, ...]]], Iterable[tuple[str, ...]]] = iter,
) -> Plan:
    """Read what is varied, and the scenario of every case.

    Parameters
    ----------
    path : Path
        Scenario file.
    vary : sequence of str
        ``"key.path=value,value"`` or ``"key.path=first..last/number"``.
    overrides : sequence of str
        ``"key.path=value"``, the same in all cases.
    weather : Path or None
        Weather file of all cases instead of site.weather.
    keys : str or None
        Keys of the annual record, comma between them; an element of a list or block as
        ``monthly.electricity_kwh[Jan]``. `KEYS` if left out.
    along : callable
        Goes along the combinations, and may show how far it is.

    Raises
    ------
    InputError
        In one line; it names the case where the fault is not one of the file alone.
    """
    axes = tuple(axis_of(text) for text in vary)
    no_overlap(axes, overrides, weather)
    chosen = KEYS if keys is None else named_keys(keys.split(","), "--keys")
    count = math.prod(len(axis.values) for axis in axes)
    if count > MOST:
        raise InputError(f"--vary: got {count:,} cases; allowed at most {MOST:,}, or a study file for more")
    cases = []
    for values in along(list(product(*(axis.values for axis in axes)))):
        changes = [f"{axis.key}={value}" for axis, value in zip(axes, values, strict=True)]
        name = ", ".join(changes)
        try:
            loaded = read(path, [*overrides, *changes], weather)
        except InputError as error:
            try:
                read(path, overrides, weather)
            except InputError as own:
                if str(own) == str(error):  # the values have no part in it
                    raise own from None
            raise InputError(f"case {name}: {error}") from None
        cases.append(Case(values, name, loaded))
    return Plan(axes, chosen, keys is not None, cases, Baselines(), {})


def plan_of(loaded: Loaded, vary: Mapping[str, Sequence[Any]]) -> Plan:
    """What is to be run of a scenario that has been read, and values by key path.

    Raises
    ------
    InputError
        In one line; it names the case.
    """
    axes = [axis_from(key, values) for key, values in vary.items()]
    no_overlap(axes, (), None)
    cases = []
    for values in product(*vary.values()):
        changes = dict(zip(vary, values, strict=True))
        name = ", ".join(f"{key}={override_text(value)}" for key, value in changes.items())
        try:
            found = with_changes(loaded, changes)
        except InputError as error:
            raise InputError(f"case {name}: {error}") from None
        cases.append(Case(tuple(map(override_text, values)), name, found))
    return Plan(tuple(axes), (), True, cases, Baselines(), {})


def check(plan: Plan, case: Case) -> None:
    """Read the files of a case and build its plant and its baseline's, without a march.

    Of `MOST_WAITING` cases the plants are kept for it; those of the others are built again.

    Raises
    ------
    InputError
        Naming the case.
    """
    try:
        checked = answer_check(case.loaded, plan.baselines)
    except InputError as error:
        raise InputError(f"case {case.name}: {error}") from None
    if len(plan.checked) < MOST_WAITING:
        plan.checked[case.name] = checked


def run(plan: Plan, case: Case) -> Row:
    """March a case; what it has no value of is None.

    Raises
    ------
    InputError
        If its plant cannot work as asked, or a key holds more than one number.
    """
    keys, baselines = plan.keys, plan.baselines
    try:
        checked = plan.checked.pop(case.name, None) or answer_check(case.loaded, baselines)
        record = evaluated(checked.collected, *years_of(checked, baselines)).record
    except InputError as error:
        raise InputError(f"case {case.name}: {error}") from None
    flat = flatten(record)
    for key in keys:
        inside = [name for name in flat if name.startswith(f"{key}[")]
        if inside and key not in flat:
            raise InputError(
                f"--keys {key}: it holds more than one value; allowed one of them: {', '.join(inside[:12])}"
            )
        if isinstance(flat.get(key), str):
            raise InputError(f"--keys {key}: got text; allowed a key that holds a number")
    return Row(record, {key: flat.get(key, absent(key)) for key in keys})


def gather(plan: Plan, rows: Sequence[Row]) -> Record:
    """The cases as one record: what was varied, the keys with their units, a row for each case, cautions.

    Cautions that only differ in their numbers are one, with the words of its first case.
    """
    keys = plan.keys if plan.chosen else [key for key in plan.keys if _worth(key, rows)]
    cautions: dict[str, dict[str, object]] = {}
    for number, row in enumerate(rows, 1):
        said = row.record["cautions"]
        assert isinstance(said, list)
        for alike, text in {re.sub(r"\d+(?:[.,]\d+)*", "0", text): text for text in said}.items():
            found = cautions.setdefault(alike, {"text": text, "cases": []})
            cases = found["cases"]
            assert isinstance(cases, list)
            cases.append(number)
    first = rows[0].record
    varied = {axis.key for axis in plan.axes}
    overrides = [
        text for text in short_overrides(plan.cases[0].loaded) if text.partition("=")[0].strip() not in varied
    ]
    return {
        "title": first["title"],
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": first["scenario.sha256"],
        "scenario.overrides": overrides,  # of all cases
        "weather.stations": list(dict.fromkeys(row.record["weather.station"] for row in rows)),
        "varied": [axis._asdict() for axis in plan.axes],
        "keys": [
            {"key": key, "unit": declared(bare(key)).unit, "long_name": declared(bare(key)).long_name}
            for key in keys
        ],
        "rows": [
            {
                "case": number,
                **dict(zip((axis.key for axis in plan.axes), case.values, strict=True)),
                **{key: row.figures[key] for key in keys},
            }
            for number, (case, row) in enumerate(zip(plan.cases, rows, strict=True), 1)
        ],
        "cautions": list(cautions.values()),
    }


def _worth(key: str, rows: Sequence[Row]) -> bool:
    """Whether a key belongs on the table unasked."""
    values = [row.figures[key] for row in rows]
    return any(values) if key == "fuel_kwh" else any(value is not None for value in values)
