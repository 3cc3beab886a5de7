"""Stored records on disk: read, checked, flattened to single values, and written whole or not at all."""

import math
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.errors import InputError
from hpwhsim.io.user_csv import Row, read_rows
from hpwhsim.io.user_file import is_there, read_text
from hpwhsim.io.user_json import from_json
from hpwhsim.results.parts import parts

Value = float | int | str | None

Flat = dict[str, Value]

Record = Mapping[str, object]

CONTEXT = (
    *("title", "tool.version", "scenario.sha256", "weather.sha256", "weather.station"),
    "inputs.sha256",
)

APART = (*CONTEXT, "scenario.overrides", "baseline.sha256")  # says where the record comes from; no result


class Rule(NamedTuple):
    """A tolerance of tolerances.csv."""

    pattern: str
    relative: float
    absolute: float


class Stored(NamedTuple):
    """A stored record."""

    context: dict[str, object]
    record: dict[str, object]
    history: list[dict[str, object]]


def read_stored(path: Path) -> Stored:
    """Read a stored record.

    Raises
    ------
    InputError
        If it cannot be read or is none.
    """
    hint = "restore it, or delete it and store it anew with --accept"
    raw = from_json(read_text(path, "a stored record"), str(path), hint)
    shape = {"record": dict, "history": list}  # older records hold more, which is not read
    for key, kind in shape.items():
        if not isinstance(raw, dict) or not isinstance(raw.get(key), kind):
            what = "block" if kind is dict else "list"
            raise InputError(f"{path}: no stored record: allowed a {what} named '{key}' in it; {hint}")
    if not all(isinstance(entry, dict) for entry in raw["history"]):
        raise InputError(f"{path}: history: allowed a list of blocks; {hint}")
    context = {key: raw.get(key) for key in CONTEXT}
    return Stored(context, raw["record"], raw["history"])


def read_rules(path: Path) -> tuple[Rule, ...]:
    """Tolerances of a file, in its order; none if there is no such file.

    Raises
    ------
    InputError
        If a column is missing, or a tolerance is neither a number of at least 0 nor inf.
    """
    columns = ("relative", "absolute")
    return tuple(
        Rule(_pattern(row), *(_tolerance(row, column) for column in columns))
        for row in (read_rows(path, ("key", *columns)) if is_there(path) else ())
    )


def _pattern(row: Row) -> str:
    """The keys that a rule is for."""
    if not row.cells["key"]:
        raise row.error("key", "a key of the record, or a pattern of keys such as monthly.*")
    return row.cells["key"]


def _tolerance(row: Row, column: str) -> float:
    """A tolerance of a rule; inf takes a text out."""
    return math.inf if row.cells[column] == "inf" else row.number(column)


def flatten(record: Record) -> Flat:
    """The values of a record one by one, named ``key[element]``; what is no result is left out.

    Numbers that are not finite are None. Texts that only differ in their numbers have the same name.
    """
    flat: Flat = {}
    for key, value in record.items():
        if key not in APART:
            for name, item in _parts(key, value):
                unique, count = name, 1
                while unique in flat:
                    count += 1
                    unique = f"{name}#{count}"
                flat[unique] = item
    return flat


def _parts(key: str, value: object) -> Iterator[tuple[str, Value]]:
    if isinstance(value, float | int | str):  # most are; to ask for a mapping takes longer
        yield key, _plain(value)
    elif isinstance(value, Mapping):
        for name, item in value.items():
            yield from _parts(f"{key}[{name}]", item)
    elif isinstance(value, list | tuple):
        for i, item in enumerate(value):
            label = "key" if isinstance(item, Mapping) and "key" in item else "name"
            if isinstance(item, Mapping) and label in item:  # an assumption, a check
                name = f"{key}[{item[label]}]"
                for part, text in item.items():
                    if part != label:
                        yield name if part == "value" else f"{name}.{part}", _plain(text)
            elif isinstance(item, str):
                mask = re.sub(r"\d+(\.\d+)?", "0", item)
                yield f"{key}[{mask if len(mask) <= 48 else mask[:47] + '…'}]", item
            elif len(value) == len(MONTH_DAYS) and key.startswith("monthly."):
                yield f"{key}[{MONTH_NAMES[i]}]", _plain(item)
            else:
                yield from _parts(f"{key}[{i}]", item)
    else:
        yield key, _plain(value)


def _plain(value: object) -> Value:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float | int):
        return value if math.isfinite(value) else None
    return None if value is None else str(value)


def absent(key: str) -> Value:
    """What a value that is not in a record stands for."""
    return 0.0 if bare(key).endswith("_by_cause") else None


def bare(key: str) -> str:
    """The key of the record without the element."""
    return key.partition("[")[0]


def finite(value: Any) -> Any:
    """The value with None for numbers that JSON does not know."""
    if isinstance(value, Mapping):
        return {str(key): finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def write_texts(texts: Mapping[Path, str]) -> None:
    """Write files beside their targets first and move them when all are complete.

    Raises
    ------
    InputError
        If one cannot be written; then none is.
    """
    with ExitStack() as stack:
        folders = sorted({path.parent for path in texts})
        beside = {folder: stack.enter_context(parts(folder, name="")) for folder in folders}
        for path, text in texts.items():
            if path.is_dir():
                raise InputError(f"{path}: cannot be written: it is a folder")
            (beside[path.parent] / path.name).write_text(text, encoding="utf-8")
        for path in texts:
            os.replace(beside[path.parent] / path.name, path)
