"""What may be written for a key: read from its annotation, once, for the list of keys and the JSON Schema."""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic.fields import FieldInfo

from hpwhsim.io.units import Kind
from hpwhsim.scenario.parts import Block, Form, OneOf

_PLAIN: dict[Any, tuple[str, str]] = {
    bool: ("true or false", "boolean"),
    int: ("a whole number", "integer"),
    float: ("a number", "number"),
    str: ("text", "string"),
    Path: ("the path of a file", "string"),
    date: ("a date", "string"),
}


class Shape(NamedTuple):
    """One form that a value may take."""

    noun: str  # "a volume", "a whole number", "a block of keys"
    unit: str  # inside the program; "" where it has none
    allowed: str  # "more than 0, at most 5000 m3"; "parallel | series"; "" where nothing more is said
    json: dict[str, Any]  # JSON Schema, draft 7


class _Bounds(NamedTuple):
    """Limits of a number or of the length of a list."""

    words: str
    json: dict[str, float]


def shapes(field: FieldInfo) -> list[Shape]:
    """Every form that the value of a field may take; None, a key that holds nothing, is left out."""
    return list(_shapes(field.annotation, field.metadata))


def _shapes(annotation: Any, marks: Sequence[Any]) -> Iterator[Shape]:
    origin, arguments = get_origin(annotation), get_args(annotation)
    flat = list(_flat(marks))
    own = next((mark for mark in flat if isinstance(mark, Kind | Form | OneOf)), None)
    if origin is Annotated:
        yield from _shapes(arguments[0], [*arguments[1:], *marks])
    elif isinstance(own, Form):
        yield Shape(own.noun, "", "", dict(own.json))
    elif isinstance(own, OneOf):
        yield _chosen(own.names)
    elif origin in (Union, UnionType):
        for part in arguments:
            if part is not type(None):
                yield from _shapes(part, marks)
    elif isinstance(own, Kind):
        yield Shape(own.noun, own.unit, _bounds(flat, own.unit).words, {"$ref": f"#/definitions/{own.noun}"})
    elif origin is Literal:
        yield _chosen(arguments)
    elif origin is tuple:
        yield from (_list_of(item, flat) for item in _shapes(arguments[0], ()))
    elif issubclass(annotation, Block):
        yield Shape("a block of keys", "", "", {"$ref": f"#/definitions/{annotation.__name__}"})
    else:
        noun, name = _PLAIN[annotation]
        bounds = _bounds(flat, "")
        size = _length(flat, "minLength", "maxLength") if annotation is str else {}
        form = {"format": "date"} if annotation is date else {}
        yield Shape(noun, "", bounds.words, {"type": name, **bounds.json, **size, **form, **_pattern(flat)})


def _flat(marks: Sequence[Any]) -> Iterator[Any]:
    """Decorations, with those of a field within one of them."""
    for mark in marks:
        if isinstance(mark, FieldInfo):
            yield from _flat(mark.metadata)
        else:
            yield mark


def _chosen(names: Sequence[Any]) -> Shape:
    return Shape("a choice", "", " | ".join(map(str, names)), {"enum": list(names)})


def _list_of(item: Shape, marks: Sequence[Any]) -> Shape:
    """A list whose items all have one form."""
    size = _length(marks, "minItems", "maxItems")
    exact = size.get("minItems") if size.get("minItems") == size.get("maxItems") else None
    noun = f"a list of {exact}" if exact else "a list"
    json = {"type": "array", "items": item.json, **size}
    return Shape(f"{noun}, each {item.noun}", item.unit, item.allowed, json)


def _bounds(marks: Sequence[Any], unit: str) -> _Bounds:
    """What limits a number."""
    words, json = [], {}
    for mark in marks:
        for kind, name, said, key in (
            (Gt, "gt", "more than", "exclusiveMinimum"),
            (Ge, "ge", "at least", "minimum"),
            (Lt, "lt", "less than", "exclusiveMaximum"),
            (Le, "le", "at most", "maximum"),
        ):
            if isinstance(mark, kind):
                limit = getattr(mark, name)
                words.append(f"{said} {limit:.10g}")
                json[key] = limit
    return _Bounds(f"{', '.join(words)} {unit}".strip() if words else "", json)


def _length(marks: Sequence[Any], fewest: str, most: str) -> dict[str, int]:
    found = {}
    for mark in marks:
        if isinstance(mark, MinLen):
            found[fewest] = mark.min_length
        elif isinstance(mark, MaxLen):
            found[most] = mark.max_length
    return found


def _pattern(marks: Sequence[Any]) -> dict[str, str]:
    found = next((mark.pattern for mark in marks if getattr(mark, "pattern", None)), None)
    return {} if found is None else {"pattern": found}
