"""Sentences of a sequence of operation: which keys of the scenario each of them says."""

from typing import NamedTuple


class Sentence(NamedTuple):
    """One sentence of the sequence, and the keys of the scenario whose values it gives."""

    keys: tuple[str, ...]
    text: str


class Group(NamedTuple):
    """Sentences on one subject."""

    heading: str
    sentences: tuple[Sentence, ...]
