"""One scenario over every combination of values of some of its keys.

``KEY.PATH=VALUE,VALUE,...`` names a key and its values, each written as an override is. Commas in quotation
marks or brackets part nothing. ``FIRST..LAST/NUMBER`` stands for that number of values in equal steps, both
ends counted.
"""

import difflib
import re
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

import hpwhsim
from hpwhsim.errors import InputError
from hpwhsim.evaluation.baselines import Baselines
from hpwhsim.evaluation.evaluate import Checked, evaluated, years_of
from hpwhsim.evaluation.evaluate import check as answer_check
from hpwhsim.evaluation.reading import read, with_changes
from hpwhsim.io.units import Kind, QuantityError, read_quantity
from hpwhsim.results.declared import declared, record_keys
from hpwhsim.results.records import Flat, absent, bare, flatten
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.keys import inner_types, kind_of, known_fields, not_a_key
from hpwhsim.scenario.reading import Loaded, override_text
from hpwhsim.simulation.year import Record

KEYS = (
    "electricity_kwh",
    "fuel_kwh",
    "peak_kw",
    "cop_plant",
    "resistance_hours",
    "short_hours",
    "short_litres",
    "total_kgco2e",
    "energy_cost",
)
"""What is shown unless the user names keys; what no case has, and fuel that none burns, is left out."""

_PLAIN = r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
_RANGE = re.compile(
    rf"({_PLAIN})\s*([^\W\d].*?)?\s*\.\.\s*({_PLAIN})\s*([^\W\d].*?)?\s*(?:/\s*(\d+))?", re.ASCII
)
_QUANTITY = re.compile(r"([-+\d.,]+(?:[eE][-+]?\d+)?)\s*([^\W\d].*)")
FORM = "allowed KEY.PATH=VALUE,VALUE,... or KEY.PATH=FIRST..LAST/NUMBER"
MOST = 1000  # values of a range
MOST_WAITING = 50  # cases, of about 5 MB each


class Axis(NamedTuple):
    """A key with the values it takes."""

    key: str
    values: tuple[str, ...]  # as written
    labels: tuple[str, ...]  # the same, files without their folders
    numbers: tuple[float, ...] | None  # in `unit`; None: they are names
    unit: str  # that of the user where all values share it


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

    Raises
    ------
    InputError
        In one line; it names the case where the fault is not one of the file alone.
    """
    axes = tuple(_axis(text) for text in vary)
    _no_overlap(axes, overrides, weather)
    chosen = KEYS if keys is None else named_keys(keys.split(","), "--keys")
    cases = []
    for values in product(*(axis.values for axis in axes)):
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
    axes = []
    for key, values in vary.items():
        field = known_fields().get(key)
        if field is None:
            raise InputError(f"{key}: {not_a_key(key)}")
        if isinstance(values, str) or not isinstance(values, Sequence | np.ndarray) or len(values) == 0:
            raise InputError(f"{key}: got {values!r}; allowed a list of values")
        texts = tuple(override_text(value) for value in values)
        if len(set(texts)) < len(texts):
            raise InputError(f"{key}: got {', '.join(texts)}; allowed values that differ")
        axes.append(Axis(key, texts, texts, *numbers_of(texts, kind_of(field))))
    _no_overlap(axes, (), None)
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


# -- what the user wrote -------------------------------------------------------------------------------


def _axis(text: str) -> Axis:
    key, equals, rest = text.partition("=")
    key = key.strip()
    if not equals or not key or not rest.strip():
        raise InputError(f"--vary {text}: {FORM}")
    field = known_fields().get(key)
    if field is None:
        raise InputError(f"--vary {key}: {not_a_key(key)}")
    values: list[str] = []
    parts = _split(rest)
    for part, after in zip(parts, [*parts[1:], ""], strict=True):
        if re.fullmatch(r"\d{1,3}", part) and re.match(r"\d{3}\s*[^\W\d]", after):
            raise InputError(
                f"--vary {key}: got {part},{after}; allowed a unit with each value, and a comma inside a "
                f"number only in quotation marks: '{part},{after}'"
            )
        values += _steps(key, part)
    if str in inner_types(field.annotation):  # an override keeps the quotation marks of a text
        values = [_bare_text(value) for value in values]
    for number, value in enumerate(values):
        if not value:
            raise InputError(f"--vary {text}: got an empty value; allowed null for a key that is not there")
        if value in values[:number]:
            raise InputError(f"--vary {key}: got {value} twice; allowed values that differ")
    labels = tuple(_bare_text(value) for value in values)
    numbers, unit = numbers_of(labels, kind_of(field))
    names = tuple(Path(label).name for label in labels)
    if Path in inner_types(field.annotation) and len(set(names)) == len(names):
        labels = names
    return Axis(key, tuple(values), labels, numbers, unit)


def _split(text: str) -> list[str]:
    """The parts between commas outside quotation marks and brackets."""
    parts, quote, depth = [""], "", 0
    for letter in text:
        if letter == "," and not quote and depth <= 0:
            parts.append("")
            continue
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "'\"" and (depth > 0 or not parts[-1].strip()):
            quote = letter
        else:
            depth += (letter in "[{") - (letter in "]}")
        parts[-1] += letter
    return [part.strip() for part in parts]


def _bare_text(value: str) -> str:
    """A value without the quotation marks around it."""
    marked = len(value) > 1 and value[0] in "'\"" and value[-1] == value[0]
    return value[1:-1].strip() if marked else value


def _steps(key: str, part: str) -> list[str]:
    """The values of a range; anything else is one value."""
    match = _RANGE.fullmatch(part)
    if match is None:
        return [part]
    first, unit, last, other, count = match.groups()
    if unit and other and unit != other:
        raise InputError(f"--vary {key}: got {part}; allowed the same unit at both ends of a range")
    if count is None or not 2 <= int(count) <= MOST:
        raise InputError(
            f"--vary {key}: got {part}; allowed FIRST..LAST/NUMBER with 2 to {MOST} values, such as {part}/5"
            if count is None
            else f"--vary {key}: got {count} values; allowed 2 to {MOST}"
        )
    unit = other or unit or ""
    return [f"{value:.10g} {unit}".strip() for value in np.linspace(float(first), float(last), int(count))]


def numbers_of(labels: Sequence[str], kind: Kind | None) -> tuple[tuple[float, ...] | None, str]:
    """The values as numbers of one unit, if that is what they are."""
    try:
        if kind is None:
            return tuple(float(label) for label in labels), ""
        parts = [_QUANTITY.fullmatch(label) for label in labels]
        units = {part[2] if part else "" for part in parts}
        if len(units) == 1 and "" not in units:
            return tuple(float(part[1].replace(",", "")) for part in parts if part), units.pop()
        return tuple(read_quantity(label, kind) for label in labels), kind.unit
    except (ValueError, QuantityError):
        return None, ""


def _no_overlap(axes: Sequence[Axis], overrides: Sequence[str], weather: Path | None) -> None:
    """Refuse a key that would replace what was set or varied before it."""
    varied = [axis.key for axis in axes]
    keys = [*(text.partition("=")[0].strip() for text in overrides), *varied]
    keys += ["site.weather"] if weather is not None else []
    for number, key in enumerate(keys):
        for before in keys[:number]:
            if f"{before}.".startswith(f"{key}.") and (key in varied or before in varied):
                said = "it is given twice" if key == before else f"{key} would replace it"
                raise InputError(f"--vary: {before}: {said}; allowed each key in one place")


def named_keys(names: Sequence[str], where: str) -> tuple[str, ...]:
    """Keys of the annual record that a user named, each once; `where` is what named them.

    Raises
    ------
    InputError
        If one is no key, or none that holds a number.
    """
    known = {row.name: row.kind for row in record_keys()}
    keys = tuple(dict.fromkeys(name.strip() for name in names if name.strip()))
    if not keys:
        raise InputError(
            f"{where}: got nothing; allowed keys of the annual record such as {','.join(KEYS[:3])}"
        )
    for key in keys:
        if bare(key) not in known:
            near = difflib.get_close_matches(bare(key), known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]}?" if near else "allowed a key of 'tankyear run --json'"
            raise InputError(f"{where} {key}: unknown key; {hint}")
        if known[bare(key)] == "text":
            raise InputError(f"{where} {key}: got text; allowed a key that holds a number")
    return keys
