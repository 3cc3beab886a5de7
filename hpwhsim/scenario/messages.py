"""What is wrong with a scenario, a line each: the key, what was given, what is allowed."""

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from hpwhsim.io.units import POWER
from hpwhsim.scenario.keys import block_of, kind_of, known_fields, nearest_key, not_a_key
from hpwhsim.scenario.parts import Clash, Clashes
from hpwhsim.scenario.shapes import shapes


def one_line(message: str) -> str:
    """One line, even where a key or a value holds a line break."""
    return " ".join(message.splitlines())


def _raw_at(raw: Any, loc: Sequence[str | int]) -> Any:
    for key in loc:
        try:
            raw = raw[key]
        except (KeyError, IndexError, TypeError):
            return None
    return raw


def short(value: Any) -> str:
    """A value as it was written, cut to what fits a line."""
    if isinstance(value, date):
        return value.isoformat()
    text = " ".join(str(value).split()) if isinstance(value, dict | list | tuple) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


MUCH_POWER = 1e6  # W, at most of a heat pump or a backup: above it a unit is wrong
_BOUNDS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
_TYPES = {
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "string_type": "text",
    "string_too_short": "text that is not empty",
    "string_pattern_mismatch": "a small letter, then small letters, digits and _",
    "model_type": "a block of keys",
    "tuple_type": "a list",
}


def _allowed(error: Any, field: FieldInfo | None) -> str:
    """What the schema allows where `error` was found."""
    kind, context = str(error["type"]), error.get("ctx", {})
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        unit = kind_of(field) if field else None
        far = unit is POWER and name == "le" and context[name] >= MUCH_POWER
        guess = f" ({context[name] / 1e3:,g} kW): was W written as kW, or kW as MW?" if far else ""
        return f"{words} {context[name]:g}" + (f" {unit.unit}" if unit else "") + guess
    if kind == "value_error":
        return str(context["error"])
    if kind == "literal_error":
        return str(context["expected"]).replace("'", "").replace(" or ", ", ")
    if kind in ("too_short", "too_long"):
        return "a list of {} values".format(context.get("min_length") or context.get("max_length"))
    if kind == "string_too_long":
        return "text of at most {} characters".format(context["max_length"])
    return _TYPES.get(kind, str(error["msg"]))


def _what(field: FieldInfo) -> str:
    """What a key that must be written takes."""
    if block_of(field):
        return "a block of keys"
    (form,) = shapes(field)
    if isinstance(form.json.get("enum"), list):
        return ", ".join(map(str, form.json["enum"]))
    return str(kind_of(field) or f"a value ({field.description})")


def _line(error: Any, raw: dict[str, Any], set_paths: Sequence[str]) -> str:
    """One error of the schema as ``key.path: got X; allowed Y``."""
    fields = known_fields()
    loc = _keys(error)
    path = ".".join(part for part in loc if isinstance(part, str))
    if error["type"] == "extra_forbidden":
        said = not_a_key(path)
    elif error["type"] == "missing":
        field = fields[path]
        said = f"got nothing; allowed {_what(field)}"
    else:
        said = f"got {short(_raw_at(raw, loc))}; allowed {_allowed(error, fields.get(path))}"
    return _placed(path, loc, set_paths, said)


def clash_line(
    loc: Sequence[str | int], clash: Clash, raw: dict[str, Any], set_paths: Sequence[str]
) -> tuple[str, str]:
    """The key of a clash found in the block at `loc`, and the clash as ``key.path: got X; allowed Y``."""
    given = _raw_at(raw, [*loc, *clash.key.split(".")])
    path = ".".join([*(part for part in loc if isinstance(part, str)), clash.key])
    got = short(given) if given is not None else clash.got
    return path, _placed(path, loc, set_paths, f"got {got}; allowed {clash.allowed}")


def _placed(path: str, loc: Sequence[str | int], set_paths: Sequence[str], said: str) -> str:
    place = "".join(f" (item {part + 1})" for part in loc if isinstance(part, int))
    from_set = " (from --set)" if any(f"{path}.".startswith(f"{key}.") for key in set_paths) else ""
    return one_line(f"{path}{place}{from_set}: {said}")


def _keys(error: Any) -> list[str | int]:
    """Where an error is: keys and places in lists, without the names of the schema's alternatives."""
    if error["type"] == "extra_forbidden":
        return [part for part in error["loc"] if isinstance(part, int) or not part.startswith("(")]
    words = {word for path in known_fields() for word in path.split(".")}
    return [part for part in error["loc"] if isinstance(part, int) or part in words]


class Wrong(NamedTuple):
    """What the schema finds wrong in a file."""

    lines: list[str]  # unknown keys first
    said: frozenset[str]  # key paths of which enough is said: wrong by themselves, or meant by unknown keys
    meant: frozenset[str]  # the latter


def wrong_in(error: ValidationError, raw: dict[str, Any], set_paths: Sequence[str]) -> Wrong:
    """Each of the errors in a line; without missing keys that unknown ones were meant for."""
    errors = error.errors(include_url=False)
    errors.sort(key=lambda item: item["type"] != "extra_forbidden")
    unknown = [
        ".".join(part for part in _keys(one) if isinstance(part, str))
        for one in errors
        if one["type"] == "extra_forbidden"
    ]
    meant = {key for path in unknown if (key := nearest_key(path)[0]) is not None}
    lines, said = [], set(meant)
    for one in errors:
        loc, clashes = _keys(one), one.get("ctx", {}).get("error")
        path = ".".join(part for part in loc if isinstance(part, str))
        if isinstance(clashes, Clashes):
            lines += [clash_line(loc, clash, raw, set_paths)[1] for clash in clashes.found]
        elif one["type"] != "missing" or path not in meant:
            lines.append(_line(one, raw, set_paths))
            said.add(path)
    return Wrong(list(dict.fromkeys(lines)), frozenset(said), frozenset(meant))
