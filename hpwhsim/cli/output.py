"""Standard output and error, whatever they are: full, closed, or without some letters."""

import codecs
import io
import os
import sys
from contextlib import suppress
from typing import TextIO

from hpwhsim.errors import InputError

ESCAPES = "json-escapes"


def _escaped(error: UnicodeError) -> tuple[str, int]:
    r"""Letters that an output does not have, as JSON writes them: ``\u00b0``."""
    assert isinstance(error, UnicodeEncodeError)
    units = error.object[error.start : error.end].encode("utf-16-be", errors="surrogatepass")
    return "".join(f"\\u{units[i : i + 2].hex()}" for i in range(0, len(units), 2)), error.end


codecs.register_error(ESCAPES, _escaped)


def begin_output() -> TextIO:
    """Standard output, where a letter that it does not have is a ``?``, as on standard error.

    Raises
    ------
    InputError
        If it is closed: the work would be for nobody.
    """
    if sys.stderr is None:  # closed; what is printed there would go to standard output
        sys.stderr = io.StringIO()
    if sys.stdout is None:
        raise InputError("standard output is closed; allowed one that is open, or > FILE")
    for stream in (sys.stdout, sys.stderr):
        _instead(stream, "replace")
    return sys.stdout


def escape_letters(output: TextIO) -> None:
    """Let a letter that the output does not have be an escape there, which any reader of JSON reads."""
    _instead(output, ESCAPES)


def _instead(stream: TextIO, errors: str) -> None:
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors=errors)


def say(line: str) -> None:
    """Write a line to standard error, if that takes it."""
    with suppress(OSError):
        print(f"tankyear: {line}", file=sys.stderr, flush=True)


def write_output(text: str) -> OSError | None:
    """Write to standard output; why that fails, after which nothing more is tried."""
    try:
        if text:
            sys.stdout.write(text)
            sys.stdout.flush()
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left, as the process ends
        return error
    return None
