"""The scenario file as JSON Schema, draft 7, for editors and for programs that write scenarios.

It is made from the models and ships as `starter.SCHEMA`. A quantity is text in it, as in the file; what only
a rule across keys or a table of units can say, the schema lets pass and `tankyear check` does not.
"""

import json
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic.fields import FieldInfo

from hpwhsim.io.units import Kind
from hpwhsim.scenario.keys import block_of, extra_of, fields_of, items_of, kind_of, show, walk
from hpwhsim.scenario.parts import Block
from hpwhsim.scenario.plant import Plant
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.shapes import shapes

QUANTITY = r"^\s*[-+−–]?([0-9][0-9,]*(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?\s*[^0-9\s.,]"
"""A number and the start of its unit; the units themselves are in `io.units`, too many for a pattern."""


def schema_text() -> str:
    """The schema as text of JSON."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def schema() -> dict[str, Any]:
    """The schema of a scenario file."""
    blocks = {block.__name__: block for block in _blocks(Scenario)}
    kinds = {kind.noun: kind for _, field in walk() if (kind := kind_of(field)) is not None}
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        **_block(Scenario),
        "title": "tankyear scenario",
        "definitions": {
            **{name: _block(blocks[name]) for name in sorted(blocks)},
            **{noun: _quantity(kinds[noun]) for noun in sorted(kinds)},
        },
    }


def _quantity(kind: Kind) -> dict[str, Any]:
    """A number with its unit, as the text that it is."""
    return {"type": "string", "pattern": QUANTITY, "description": str(kind), "examples": [kind.example]}


def _blocks(block: type[Block]) -> Iterator[type[Block]]:
    """Every block below one, some several times."""
    for field in fields_of(block).values():
        below = block_of(field) or items_of(field.annotation)
        if below is not None and not extra_of(field).get("only"):
            yield below
            yield from _blocks(below)
    if block is Scenario:
        yield Plant  # of the baseline


def _block(block: type[Block], only: Iterable[str] = ()) -> dict[str, Any]:
    fields = {key: field for key, field in fields_of(block).items() if not only or key in only}
    required = [key for key, field in fields.items() if field.is_required()]
    return {
        "type": "object",
        "description": " ".join((block.__doc__ or "").split()),
        "additionalProperties": False,
        "properties": {key: _key(field) for key, field in fields.items()},
        **({"required": required} if required else {}),
    }


def _key(field: FieldInfo) -> dict[str, Any]:
    """What may be written for a key; a key that may be left out may hold nothing too."""
    only = extra_of(field).get("only")
    below = block_of(field)
    forms = [_block(below, only)] if only and below is not None else [shape.json for shape in shapes(field)]
    forms += [] if field.is_required() else [{"type": "null"}]
    said = {"description": _description(field)}
    if len(forms) == 1 and "$ref" not in forms[0]:
        return said | forms[0]
    return said | {"anyOf": forms}


def _description(field: FieldInfo) -> str:
    """Meaning, limits of a quantity, and default."""
    said = [str(field.description)]
    said += dict.fromkeys(shape.allowed for shape in shapes(field) if shape.unit and shape.allowed)
    if not field.is_required() and block_of(field) is None and (value := show(field.default, field)):
        said.append(f"default: {value}")
    return "; ".join(said)
