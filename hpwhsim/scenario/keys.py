"""The keys a scenario file may hold: their paths, kinds, defaults, and the nearest to a wrong one."""

import difflib
import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache, wraps
from types import MappingProxyType
from typing import Annotated, Any, TypeVar, get_args, get_origin

from pydantic.fields import FieldInfo

from hpwhsim.io.units import Kind, as_text
from hpwhsim.scenario.parts import Block, Window
from hpwhsim.scenario.renamed import renamed, why_gone
from hpwhsim.scenario.schema import Scenario

T = TypeVar("T")


def fields_of(block: type[Block]) -> dict[str, FieldInfo]:
    """Fields of a block by the key written in the file."""
    return dict(block.model_fields)


def inner_types(annotation: Any) -> Iterator[Any]:
    """The types of an annotation with its unions and decorations taken off."""
    if get_origin(annotation) is Annotated:
        yield from inner_types(get_args(annotation)[0])
    elif type(None) in get_args(annotation):
        for part in get_args(annotation):
            yield from inner_types(part)
    else:
        yield annotation


def _once(ask: Callable[[FieldInfo], T]) -> Callable[[FieldInfo], T]:
    """`ask` that is asked once of each field; a field has no hash, and lives as long as its block."""
    known: dict[int, tuple[FieldInfo, T]] = {}

    @wraps(ask)
    def answer(field: FieldInfo) -> T:
        held = known.get(id(field))
        if held is None or held[0] is not field:
            held = known[id(field)] = field, ask(field)
        return held[1]

    return answer


@_once
def block_of(field: FieldInfo) -> type[Block] | None:
    """The block a field holds, if it holds one."""
    for part in inner_types(field.annotation):
        if isinstance(part, type) and issubclass(part, Block):
            return part
    return None


def items_of(annotation: Any) -> type[Block] | None:
    """The block that the items of a list are, if the annotation allows a list of blocks."""
    if get_origin(annotation) is tuple:
        return next(
            (part for part in get_args(annotation) if isinstance(part, type) and issubclass(part, Block)),
            None,
        )
    return next((found for part in get_args(annotation) if (found := items_of(part))), None)


@_once
def kind_of(field: FieldInfo) -> Kind | None:
    """What a field, or each item of a list, measures, if it is a quantity."""
    found = [*field.metadata, *_metadata(field.annotation)]
    return next((item for item in found if isinstance(item, Kind)), None)


def _metadata(annotation: Any) -> Iterator[Any]:
    """What decorates an annotation and its parts."""
    yield from getattr(annotation, "__metadata__", ())
    for part in get_args(annotation):
        yield from _metadata(part)


def walk(block: type[Block] = Scenario, prefix: str = "") -> Iterator[tuple[str, FieldInfo]]:
    """Every key path with its field, blocks before what is in them."""
    for key, field in fields_of(block).items():
        yield prefix + key, field
        below = block_of(field) or items_of(field.annotation)
        if below is not None:
            yield from walk(below, f"{prefix}{key}.")


@cache
def known_fields() -> Mapping[str, FieldInfo]:
    """The field of every key path, those of a `baseline` block too, which are those of `plant`."""
    fields = dict(walk())
    plant = {
        path.removeprefix("plant."): field for path, field in fields.items() if path.startswith("plant.")
    }
    return MappingProxyType(fields | {f"baseline.{path}": field for path, field in plant.items()})


def key_paths() -> list[str]:
    """All legal dotted keys that hold a value, in the order of the schema."""
    return [path for path, field in walk() if block_of(field) is None]


def not_a_key(path: str) -> str:
    """What to say of a key that there is not: its new name, why it is gone, or the nearest one."""
    new = renamed(path)
    return f"unknown key; {nearest(path)}" if new is None else f"is called {new}"


def nearest(path: str) -> str:
    """The right key a wrong one was probably meant to be, as a hint."""
    if (why := why_gone(path)) is not None:
        return f"gone: {why}; take the key out"
    key, sure = nearest_key(path)
    siblings = [] if sure else _siblings(path)
    level = path.rpartition(".")[0]
    there = f"allowed {', '.join(siblings)}"
    if key is not None:
        return f"did you mean {key}?" + (f" ({there})" if siblings else "")
    if siblings:
        return there
    if level in known_fields():
        return f"did you mean {level}? It holds a value and no keys"
    return f"allowed {', '.join(fields_of(Scenario))}"


def nearest_key(path: str) -> tuple[str | None, bool]:
    """The right key, or several with 'or' between, and whether it is much like the wrong one."""
    if (new := renamed(path)) is not None:
        return new, True
    if path.startswith("baseline."):
        key, sure = nearest_key(path.replace("baseline.", "plant.", 1))
        if key is not None:
            key = " or ".join(re.sub(r"^plant\.", "baseline.", one) for one in key.split(" or "))
        return key, sure
    leaf, above = path.rpartition(".")[2], path.split(".")
    ancestors = {".".join(above[:n]) for n in range(1, len(above))}
    paths = [known for known, _ in walk() if known not in ancestors]  # a block is no key of its own
    siblings = _siblings(path)
    near = difflib.get_close_matches(leaf, siblings, n=1, cutoff=0.6)
    if near:
        return siblings[near[0]], True
    by_leaf: dict[str, list[str]] = {}
    for known in paths:
        by_leaf.setdefault(known.rpartition(".")[2], []).append(known)
    near = difflib.get_close_matches(path, paths, n=1, cutoff=0.9)
    if not near and leaf in by_leaf:  # the right name in the wrong place
        near = [" or ".join(by_leaf[leaf])]
    if not siblings:  # the block is wrong too
        near = near or difflib.get_close_matches(path, paths, n=1, cutoff=0.8)
    near = near or [by_leaf[name][0] for name in difflib.get_close_matches(leaf, by_leaf, n=1, cutoff=0.8)]
    if near:
        return near[0], True
    weak = difflib.get_close_matches(leaf, siblings, n=1, cutoff=0.4)
    return (siblings[weak[0]], False) if weak else (None, False)


def _siblings(path: str) -> dict[str, str]:
    """Key paths on the level of `path` by their last word; those of a baseline as of a plant."""
    parent = path.rpartition(".")[0]
    return {known.rpartition(".")[2]: known for known in known_fields() if known.rpartition(".")[0] == parent}


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
