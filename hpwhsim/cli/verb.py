"""What a verb of the command is, and the exit codes."""

import argparse
from collections.abc import Callable
from typing import NamedTuple

DONE, FOUND, WRONG_INPUT, FAULT, INTERRUPTED = 0, 1, 2, 3, 130
"""Exit codes: done; ran and found what it was asked to look for; the input is wrong, or what was asked for
cannot be written; a fault of the program; interrupted from the keyboard."""


class Verb(NamedTuple):
    """One verb: `tankyear NAME ...`."""

    name: str
    help: str  # a line in the list of verbs
    description: str
    example: str
    options: Callable[[argparse.ArgumentParser], None]
    act: Callable[[argparse.Namespace], int]  # returns the exit code
