"""Texts that know the numbers in them, so that a page can show the same in other units."""

from typing import Self


class Exact(str):
    """A number as it is read, which knows its value in full and, where it has one, its key."""

    value: float
    key: str

    def __new__(cls, text: str, value: float, key: str = "") -> Self:
        """The text of a value; `key` is declared in tables/results.csv or in `inch_pound.QUANTITIES`."""
        made = super().__new__(cls, text)
        made.value, made.key = value, key
        return made


class Figure(Exact):
    """A number in a sentence, its unit behind it."""

    unit_follows = True


class Difference(Exact):
    """A difference of two values of its key, with its sign: no zero of a scale is added to it."""

    difference = True


class Change(Difference):
    """A difference in a sentence, its unit behind it."""

    unit_follows = True


class Phrase(str):
    """A sentence in pieces, some of them numbers that know their value.

    Examples
    --------
    >>> Phrase("Store ", Exact("12 kWh", 12.3, "heat_to_taps_kwh"), ".")
    'Store 12 kWh.'
    """

    pieces: tuple[str, ...]

    def __new__(cls, *pieces: str) -> Self:
        """Pieces put together as they stand; a phrase among them gives its own."""
        made = super().__new__(cls, "".join(pieces))
        made.pieces = tuple(
            one for piece in pieces for one in (piece.pieces if isinstance(piece, Phrase) else (piece,))
        )
        return made


def joined(parts: list[Phrase], between: str) -> Phrase:
    """Phrases with a text between each two."""
    pieces: list[str] = []
    for part in parts:
        pieces += [between, part] if pieces else [part]
    return Phrase(*pieces)
