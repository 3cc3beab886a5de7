"""What is good of a file in which something is wrong: its blocks without the keys that are wrong.

The rules of a block need no more than the keys that they compare. So those whose keys are good are asked too
where another key, or another block, is wrong: a user reads all that is wrong at once.
"""

from collections.abc import Mapping, Set
from typing import Annotated, Any, NamedTuple

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from hpwhsim.scenario.keys import block_of, fields_of
from hpwhsim.scenario.parts import Block, Clash
from hpwhsim.scenario.plant import Plant
from hpwhsim.scenario.schema import Scenario

_STRICT = ConfigDict(strict=True, allow_inf_nan=False)  # as of a block


class GoodPart(NamedTuple):
    """A block without what is wrong in it; to ask for a key that is wrong is an AttributeError."""

    block: Any  # with every key that is good by itself
    sound: Any  # without any block in which something is wrong; None where its own keys are, or clash
    clashes: list[tuple[tuple[str, ...], Clash]]  # keys of the block that found it, and what it found


def good_part(
    raw: Mapping[str, Any],
    context: dict[str, Any],
    meant: Set[str] = frozenset(),
    block: type[Block] = Scenario,
    at: tuple[str, ...] = (),
) -> GoodPart:
    """What is good of a block, and what clashes in it.

    Parameters
    ----------
    raw : mapping
        The block as it was read, without keys that hold nothing.
    context : dict
        What the schema's validators read: ``folder``.
    meant : set of str
        Key paths that unknown keys were probably meant for: nothing is known of them.
    block : type
        What it is to be.
    at : tuple of str
        Keys that lead to it.
    """
    fields = fields_of(block)
    values: dict[str, Any] = {}
    sound: dict[str, Any] = {}
    clashes: list[tuple[tuple[str, ...], Clash]] = []
    own = raw.keys() <= fields.keys()  # whether nothing is wrong with its own keys
    unknown = {key for key in fields if ".".join((*at, key)) in meant}
    for key, field in fields.items():
        if key in unknown:
            continue
        inside = Plant if block is Scenario and key == "baseline" else block_of(field)
        if key not in raw:
            if field.is_required():
                own = False
            else:
                values[key] = sound[key] = field.get_default(call_default_factory=True)
        elif inside is not None and isinstance(raw[key], Mapping):
            below = good_part(raw[key], context, meant, inside, (*at, key))
            values[key] = below.block
            clashes += below.clashes
            if below.sound is not None:
                sound[key] = below.sound
        elif block_of(field) is not None:
            own = False  # a value where a block should be
        else:
            try:
                values[key] = sound[key] = _value(field, raw[key], context)
            except ValidationError:
                own = False
    written = {key for key in fields if key in raw} | unknown
    found = _with_only(block, values, written)
    for check in block.rules():
        try:
            wrong = list(check(found))
        except AttributeError:  # it asks for a key of which nothing is known
            continue
        own = own and not (wrong and at)
        clashes += [(at, clash) for clash in wrong]
    return GoodPart(found, _with_only(block, sound, written) if own or not at else None, clashes)


def _value(field: FieldInfo, value: Any, context: dict[str, Any]) -> Any:
    """A value as its field takes it."""
    annotated: Any = Annotated
    kind: Any = annotated[(field.annotation, *field.metadata)] if field.metadata else field.annotation
    return TypeAdapter(kind, config=_STRICT).validate_python(value, context=context)


def _with_only(block: type[Block], values: Mapping[str, Any], written: set[str]) -> Any:
    """A block with these keys and no others, without its rules."""
    made = block.model_construct(_fields_set=written, **values)
    for key in block.model_fields.keys() - values.keys():
        made.__dict__.pop(key, None)
    return made
