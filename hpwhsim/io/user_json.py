"""JSON that a user hands in: records, manifests, factors; what the standard leaves open is refused.

No key twice, no NaN or infinity, no number beyond a float, no text that is not safe to print, no blocks
deeper than anything of ours.

References
----------
.. [1] RFC 8259, sections 4 (names that are not unique), 6 (numbers beyond IEEE 754) and 8.2
   (lone surrogates).
"""

import json
import math
from collections.abc import Iterable
from typing import Any, NoReturn

from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls

DEEPEST = 40  # blocks and lists within each other
MOST_DIGITS = 300  # of a number: a float ends at 1.8e308


class _Unfit(ValueError):
    """JSON in its form, and yet no use."""


def from_json(text: str, where: str, hint: str = "") -> Any:
    """What a text of JSON holds.

    Parameters
    ----------
    text : str
        The text.
    where : str
        What a message begins with: the file.
    hint : str
        What a message ends with.

    Raises
    ------
    InputError
        If it is no JSON, or one of those that are refused.
    """
    end = f"; {hint}" if hint else ""
    try:
        found = json.loads(
            text,
            object_pairs_hook=_block,
            parse_constant=_no_number,
            parse_int=_whole,
            parse_float=_finite,
        )
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise InputError(f"{where}, {place}: not valid JSON: {error.msg}{end}") from None
    except RecursionError:
        raise InputError(_too_deep(where, end)) from None
    except _Unfit as error:
        raise InputError(f"{where}: not valid JSON: {error}{end}") from None
    if _deeper(found, DEEPEST):
        raise InputError(_too_deep(where, end))
    refuse_controls(found, where)
    return found


def _too_deep(where: str, end: str) -> str:
    return f"{where}: got blocks more than {DEEPEST} deep; allowed at most that{end}"


def _block(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _Unfit(f"the key {key[:60]!r} is written twice")
        found[key] = value
    return found


def _no_number(word: str) -> NoReturn:
    raise _Unfit(f"{word} is no number of JSON")


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise _Unfit(f"a number of {len(digits)} digits; allowed at most {MOST_DIGITS}")
    return int(digits)


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise _Unfit(f"the number {digits[:60]} is too large")
    return value


def _deeper(value: Any, levels: int) -> bool:
    """Whether blocks and lists stand more than so many levels within each other."""
    if not isinstance(value, dict | list):
        return False
    inside = value.values() if isinstance(value, dict) else value
    return levels == 0 or any(_deeper(item, levels - 1) for item in inside)
