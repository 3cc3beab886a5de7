"""Every scenario key with what may be written for it, its default and its meaning, from the schema alone."""

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from fnmatch import fnmatchcase
from typing import NamedTuple

from pydantic.fields import FieldInfo

from hpwhsim.errors import InputError
from hpwhsim.scenario.keys import (
    block_of,
    extra_of,
    fields_of,
    items_of,
    key_paths,
    kind_of,
    show,
)
from hpwhsim.scenario.parts import Block
from hpwhsim.scenario.renamed import RENAMED, renamed
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.shapes import shapes
from hpwhsim.tables.sources import cited

BASELINE = "baseline."  # whose block has the keys of `plant`


class Key(NamedTuple):
    """One key of the scenario file."""

    key: str  # dotted path
    type: str  # "a volume", "a choice", "the path of a file"
    unit: str  # inside the program and in results; any unit of its kind may be written
    allowed: str  # range or choices, without a rule across keys
    default: str  # "" where the key must be written, or where leaving it out means nothing
    required: bool  # where its block is written
    source: str  # of the default
    meaning: str


def key_list(pattern: str = "") -> list[Key]:
    """The keys that hold a value, in the order of the schema.

    Parameters
    ----------
    pattern : str
        A part of the path, or with ``*``, ``?`` or ``[`` a pattern for the whole of it; empty for all.

    Raises
    ------
    InputError
        If no key fits.

    Examples
    --------
    >>> [key.key for key in key_list("plant.storage.h*")]
    ['plant.storage.heat_loss', 'plant.storage.height']
    """
    if pattern.startswith(BASELINE):
        of_plant = key_list("plant." + pattern.removeprefix(BASELINE))
        return [key._replace(key=BASELINE + key.key.removeprefix("plant.")) for key in of_plant]
    glob = any(sign in pattern for sign in "*?[")
    found = [
        _described(path, field)
        for path, field in _written_keys(Scenario, "")
        if (fnmatchcase(path, pattern) if glob else pattern in path)
    ]
    if not found:
        raise InputError(f"keys {pattern}: {_instead(pattern)}")
    return found


def _instead(pattern: str) -> str:
    """What to say of a pattern that fits no key: a new name, a near one, or where to look."""
    for old in RENAMED:
        if pattern.endswith(old) or old.endswith(f".{pattern}"):
            return f"{old} is called {renamed(old)}"
    paths = key_paths()
    near = get_close_matches(pattern, [*paths, *{word for path in paths for word in path.split(".")}], n=1)
    return f"did you mean {near[0]}?" if near else "no key fits this pattern; 'tankyear keys' lists all"


def _written_keys(
    block: type[Block], prefix: str, only: Sequence[str] = ()
) -> Iterator[tuple[str, FieldInfo]]:
    """The keys that may be written and hold a value."""
    for name, field in fields_of(block).items():
        if only and name not in only:
            continue
        below = block_of(field)
        if below is None:
            yield prefix + name, field
        if (inside := below or items_of(field.annotation)) is not None:
            yield from _written_keys(inside, f"{prefix}{name}.", extra_of(field).get("only", ()))


def _described(path: str, field: FieldInfo) -> Key:
    forms, kind = shapes(field), kind_of(field)
    return Key(
        key=path,
        type=" or ".join(dict.fromkeys(form.noun for form in forms)),
        unit=kind.unit if kind is not None else "",
        allowed="; ".join(dict.fromkeys(form.allowed for form in forms if form.allowed)),
        default="" if field.is_required() else show(field.default, field),
        required=field.is_required(),
        source=str(cited(extra_of(field).get("source", ""))),
        meaning=str(field.description),
    )
