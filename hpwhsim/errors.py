"""The errors a user can cause: one clear message each, no traceback at the command."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager


class InputError(Exception):
    """The input is wrong.

    The message is one line that names the file, the key, what was given and what is allowed, or one such
    line for each thing that is wrong; the command prints it as it stands and exits with 2.
    """


class OutOfRangeError(InputError, ValueError):
    """A number lies outside the range in which the method holds."""


def together(where: str, lines: Sequence[str]) -> InputError:
    """Everything that is wrong in one place: a line that names the place, or that and a line for each.

    Examples
    --------
    >>> print(together("x.yaml", ["a: got 1", "b: got 2"]))
    x.yaml: 2 things are wrong
      a: got 1
      b: got 2
    """
    if len(lines) == 1:
        return InputError(f"{where}: {lines[0]}")
    return InputError("\n  ".join([f"{where}: {len(lines)} things are wrong", *lines]))


class Findings:
    """Collects errors of steps that do not need each other, so that all are said at once."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    @contextmanager
    def step(self, where: str = "") -> Iterator[None]:
        """A step whose wrong input is kept for later, with `where` before it."""
        try:
            yield
        except InputError as error:
            self.lines.append(f"{where}{error}")

    def raise_any(self, where: str) -> None:
        """Raise what was found.

        Raises
        ------
        InputError
            If any step found its input wrong.
        """
        if self.lines:
            raise together(where, self.lines)
