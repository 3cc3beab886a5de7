"""Text that is safe to print: no control characters, no signs that turn the direction of writing.

A terminal obeys the controls of ECMA-48 (ESC and BEL among them), XML 1.0 allows few of them, and explicit
directions let a line read otherwise than it is stored.

References
----------
.. [1] ECMA-48 (ISO/IEC 6429), clause 5: the control sets C0 and C1.
.. [2] Unicode Standard Annex 9, section 2: explicit directional embeddings, overrides, isolates and marks.
.. [3] W3C, Extensible Markup Language (XML) 1.0, fifth edition, section 2.2, production 2: Char.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping

from hpwhsim.errors import InputError

_UNSAFE = re.compile(
    "["
    "\x00-\x08\x0b-\x1f\x7f-\x9f"  # C0 without tab and line feed, DEL, C1
    "\u2028\u2029"  # line and paragraph separators
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u206f"  # marks, overrides, isolates, and deprecated ones
    "\ud800-\udfff\ufffe\uffff"  # no characters: XML and UTF-8 have none of them
    "]"
)
LONGEST_LINE, HEAD, TAIL = 600, 350, 200  # signs of a line of a message, and what is left of a longer one
_NAMES = {"\x07": "BEL", "\x1b": "ESC", "\x7f": "DEL", "\r": "CR", "\x00": "NUL"}


def refuse_controls(raw: object, where: str) -> None:
    """Refuse a text in nested blocks and lists, keys included, that is not safe to print.

    Parameters
    ----------
    raw : object
        As YAML gives it, or one text.
    where : str
        What the message begins with: a file, or an option.

    Raises
    ------
    InputError
        In one line that is safe to print, for the first such text.
    """
    for key, text in _texts(raw, ""):
        found = _UNSAFE.search(text)
        if found is not None:
            place = f"{key}: " if key else ""
            raise InputError(
                visible(
                    f"{where}: {place}got {named(found[0])} in {_short(text)!r}; allowed text without "
                    "control characters and without signs that turn the direction of writing"
                )
            )


def visible(text: str) -> str:
    r"""The text with what is not safe to print written as an escape; line breaks and tabs stay.

    Examples
    --------
    >>> visible("a\x1b[31mb")
    'a\\x1b[31mb'
    """
    return _UNSAFE.sub(lambda found: _escape(found[0]), text)


def _escape(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


def said(text: str) -> str:
    r"""A message as it is shown: a sign that leaves no mark is an escape, and lines of many signs are cut.

    Such are those of `visible`, and spaces and joiners without a width: in a message on what was written,
    nobody would find them.

    Examples
    --------
    >>> said("got \ufeff40\tgal")
    'got \\ufeff40 gal'
    """
    shown = (sign if sign.isprintable() or sign == "\n" else _escape(sign) for sign in text.expandtabs(1))
    lines = "".join(shown).split("\n")
    return "\n".join(
        line if len(line) <= LONGEST_LINE else f"{line[:HEAD]} ... {line[-TAIL:]}" for line in lines
    )


def _texts(raw: object, key: str, seen: set[int] | None = None) -> Iterator[tuple[str, str]]:
    """Every text of nested blocks and lists with the dotted key where it stands first.

    In YAML a block may stand in several places, in itself too: each is looked at once (`seen`, by identity).
    """
    seen = set() if seen is None else seen
    if isinstance(raw, str):
        yield key, raw
    elif id(raw) in seen:
        return
    elif isinstance(raw, Mapping):
        seen.add(id(raw))
        for name, item in raw.items():
            if isinstance(name, str):
                yield key, name
            yield from _texts(item, f"{key}.{name}" if key else str(name), seen)
    elif isinstance(raw, list | tuple):
        seen.add(id(raw))
        for item in raw:
            yield from _texts(item, key, seen)


def named(sign: str) -> str:
    """A character by its number and name."""
    others = {"Cs": "half a character", "Cn": "no character"}
    name = _NAMES.get(sign) or others.get(unicodedata.category(sign))
    name = name or unicodedata.name(sign, "a control character").lower()
    return f"U+{ord(sign):04X} ({name})"


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:37]}..."
