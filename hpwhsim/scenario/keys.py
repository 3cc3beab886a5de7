"""The keys a scenario file may hold: their paths, kinds, defaults, and the nearest to a wrong one."""

import difflib
from collections.abc import Iterator
from typing import Annotated, Any, get_args, get_origin

from pydantic.fields import FieldInfo

from hpwhsim.quantities import Kind, as_text
from hpwhsim.scenario.families import PLANNED
from hpwhsim.scenario.parts import Block, Window
from hpwhsim.scenario.schema import Scenario


def fields_of(block: type[Block]) -> dict[str, FieldInfo]:
    """Fields of a block by the key written in the file."""
    return {field.alias or name: field for name, field in block.model_fields.items()}


def inner_types(annotation: Any) -> Iterator[Any]:
    """The types of an annotation with its unions and decorations taken off."""
    if get_origin(annotation) is Annotated:
        yield from inner_types(get_args(annotation)[0])
    elif type(None) in get_args(annotation):
        for part in get_args(annotation):
            yield from inner_types(part)
    else:
        yield annotation


def block_of(field: FieldInfo) -> type[Block] | None:
    """The block a field holds, if it holds one."""
    for part in inner_types(field.annotation):
        if isinstance(part, type) and issubclass(part, Block):
            return part
    return None


def kind_of(field: FieldInfo) -> Kind | None:
    """What a field measures, if it is a quantity."""
    found = list(field.metadata)
    for part in (field.annotation, *get_args(field.annotation)):
        found += getattr(part, "__metadata__", ())
    return next((item for item in found if isinstance(item, Kind)), None)


def walk(block: type[Block] = Scenario, prefix: str = "") -> Iterator[tuple[str, FieldInfo]]:
    """Every key path with its field, blocks before what is in them."""
    for key, field in fields_of(block).items():
        yield prefix + key, field
        below = block_of(field)
        if below is not None:
            yield from walk(below, f"{prefix}{key}.")


def key_paths() -> list[str]:
    """All legal dotted keys that hold a value, in the order of the schema."""
    return [path for path, field in walk() if block_of(field) is None]


def describe() -> list[dict[str, str]]:
    """Every key with its unit, default and meaning, for help texts and documents.

    Returns
    -------
    list of dict
        Keys ``key``, ``unit`` ("" if none), ``default`` ("" if the key is required), ``source``,
        ``description``.
    """
    rows = []
    for path, field in walk():
        if block_of(field) is None:
            default = "" if field.is_required() else show(field.default, field)
            kind = kind_of(field)
            rows.append(
                {
                    "key": path,
                    "unit": kind.unit if kind else "",
                    "default": default,
                    "source": extra_of(field).get("source", ""),
                    "description": field.description or "",
                }
            )
    return rows


def nearest(path: str) -> str:
    """The right key a wrong one was probably meant to be, as a hint."""
    if path == "" or any(path == plan or path.startswith(f"{plan}.") for plan in PLANNED):
        return "this block is not in this version"
    paths = [known for known, _ in walk()]
    parent, _, leaf = path.rpartition(".")
    siblings = {known.rpartition(".")[2]: known for known in paths if known.rpartition(".")[0] == parent}
    near = difflib.get_close_matches(leaf, siblings, n=1, cutoff=0.6)
    if near:
        return f"did you mean {siblings[near[0]]}?"
    by_leaf: dict[str, list[str]] = {}
    for known in paths:
        by_leaf.setdefault(known.rpartition(".")[2], []).append(known)
    near = difflib.get_close_matches(path, paths, n=1, cutoff=0.9)
    if not near and leaf in by_leaf:  # the right name in the wrong place
        near = [" or ".join(by_leaf[leaf])]
    near = near or difflib.get_close_matches(path, paths, n=1, cutoff=0.8)
    near = near or [by_leaf[name][0] for name in difflib.get_close_matches(leaf, by_leaf, n=1, cutoff=0.8)]
    if near:
        return f"did you mean {near[0]}?"
    return f"allowed {', '.join(siblings)}" if siblings else f"allowed {', '.join(fields_of(Scenario))}"


def extra_of(field: FieldInfo) -> dict[str, Any]:
    """Where the default is from (`source`) and what None stands for (`none`)."""
    return field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}


def show(value: Any, field: FieldInfo) -> str:
    """A value as text with its unit."""
    kind = kind_of(field)
    if value is None:
        return str(extra_of(field).get("none", ""))
    if isinstance(value, tuple) and not isinstance(value, Window):
        return ", ".join(map(str, value)) or "none"
    return as_text(value, kind) if kind else str(value)
