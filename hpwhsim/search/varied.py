"""A key of the scenario and the values it takes, as ``--vary`` has them.

``KEY.PATH=VALUE,VALUE,...`` names a key and its values, each written as an override is. Commas in quotation
marks or brackets part nothing. ``FIRST..LAST/NUMBER`` stands for that number of values in equal steps, both
ends counted.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.errors import InputError
from hpwhsim.io.units import Kind, QuantityError, read_quantity
from hpwhsim.scenario.keys import inner_types, kind_of, known_fields, not_a_key
from hpwhsim.scenario.reading import override_text

_PLAIN = r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
_RANGE = re.compile(
    rf"({_PLAIN})\s*([^\W\d].*?)?\s*\.\.\s*({_PLAIN})\s*([^\W\d].*?)?\s*(?:/\s*(\d+))?", re.ASCII
)
_QUANTITY = re.compile(r"([-+\d.,]+(?:[eE][-+]?\d+)?)\s*([^\W\d].*)")
FORM = "allowed KEY.PATH=VALUE,VALUE,... or KEY.PATH=FIRST..LAST/NUMBER"
MOST = 1000  # values of a range, and cases in all


class Axis(NamedTuple):
    """A key with the values it takes."""

    key: str
    values: tuple[str, ...]  # as written
    labels: tuple[str, ...]  # the same, files without their folders
    numbers: tuple[float, ...] | None  # in `unit`; None: they are names
    unit: str  # that of the user where all values share it


def axis_of(text: str) -> Axis:
    """A key and its values as written after --vary.

    Raises
    ------
    InputError
        Naming what was written.
    """
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


def axis_from(key: str, values: Sequence[Any]) -> Axis:
    """A key and its values as Python objects.

    Raises
    ------
    InputError
        Naming the key.
    """
    field = known_fields().get(key)
    if field is None:
        raise InputError(f"{key}: {not_a_key(key)}")
    if isinstance(values, str) or not isinstance(values, Sequence | np.ndarray) or len(values) == 0:
        raise InputError(f"{key}: got {values!r}; allowed a list of values")
    texts = tuple(override_text(value) for value in values)
    if len(set(texts)) < len(texts):
        raise InputError(f"{key}: got {', '.join(texts)}; allowed values that differ")
    return Axis(key, texts, texts, *numbers_of(texts, kind_of(field)))


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


def no_overlap(axes: Sequence[Axis], overrides: Sequence[str], weather: Path | None) -> None:
    """Refuse a key that would replace what was set or varied before it.

    Raises
    ------
    InputError
        Naming the key.
    """
    varied = [axis.key for axis in axes]
    keys = [*(text.partition("=")[0].strip() for text in overrides), *varied]
    keys += ["site.weather"] if weather is not None else []
    for number, key in enumerate(keys):
        for before in keys[:number]:
            if f"{before}.".startswith(f"{key}.") and (key in varied or before in varied):
                said = "it is given twice" if key == before else f"{key} would replace it"
                raise InputError(f"--vary: {before}: {said}; allowed each key in one place")
