"""What the chapters are made of: sentences, with the keys of the scenario that each says, and alarms."""

from typing import NamedTuple

from hpwhsim.account.checks import digits


class Sentence(NamedTuple):
    """One sentence of the sequence, and the keys of the scenario whose values it gives."""

    keys: tuple[str, ...]
    text: str


class Group(NamedTuple):
    """Sentences on one subject."""

    heading: str
    sentences: tuple[Sentence, ...]


class Alarm(NamedTuple):
    """One alarm."""

    tag: str
    condition: str
    delay: str
    priority: int  # 1 to 4
    action: str
    year: str  # what the simulated year says to it; empty where nothing


def hours_text(count: float) -> str:
    """Hours of the year, three digits."""
    return f"{digits(count)} h"
