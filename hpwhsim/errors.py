"""The errors a user can cause: one clear message each, no traceback at the command."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager


class InputError(Exception):
    """The input is wrong.

    The message is one line that names the file, the key, what was given and what is allowed, or one such
    line for each thing that is wrong; the command prints it as it stands and exits with 2.
    """


class UnbalancedError(Exception):
    """A march lost heat or made some: a fault of the program, which gives no result of it."""


class OutOfRangeError(InputError, ValueError):
    """A number lies outside the range in which the method holds."""


class ListedError(InputError):
    """Several things are wrong in one place, or one of several that were looked for.

    Attributes
    ----------
    where : str
        The place, which begins the message.
    lines : tuple of str
        What is wrong there, a line each.
    """

    def __init__(self, where: str, lines: Sequence[str]) -> None:
        said = [f"{where}: {lines[0]}"]
        if len(lines) > 1:
            said = [f"{where}: {len(lines)} things are wrong", *lines]
        super().__init__("\n  ".join(said))
        self.where, self.lines = where, tuple(lines)


def together(where: str, lines: Sequence[str]) -> ListedError:
    """Everything that is wrong in one place: a line that names the place, or that and a line for each.

    What is said twice is one thing, and a line does not name the place once more.

    Examples
    --------
    >>> print(together("x.yaml", ["a: got 1", "x.yaml: b: got 2", "a: got 1"]))
    x.yaml: 2 things are wrong
      a: got 1
      b: got 2
    """
    return ListedError(where, list(dict.fromkeys(line.removeprefix(f"{where}: ") for line in lines)))


class Findings:
    """Collects errors of steps that do not need each other, so that all are said at once."""

    def __init__(self, lines: Sequence[str] = ()) -> None:
        self.lines = list(lines)

    @contextmanager
    def step(self, where: str = "") -> Iterator[None]:
        """A step whose wrong input is kept for later, with `where` before each line of it."""
        try:
            yield
        except ListedError as error:
            self.lines += [f"{where}{error.where}: {line}" for line in error.lines]
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
