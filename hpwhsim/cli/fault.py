"""What is left of a fault of the program: one line on the screen, and a file for who can mend it."""

import platform
import secrets
import shlex
import tempfile
import traceback
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import hpwhsim
from hpwhsim.io.whole_files import written_beside

LIBRARIES = (
    "numpy",
    "numba",
    "scipy",
    "pandas",
    "xarray",
    "pydantic",
    "pint",
    "CoolProp",
    "pygfunction",
    "pvlib",
)
MOST = 200  # letters of a message


def fault_line(error: Exception, words: Sequence[str]) -> str:
    """What is said of an error that nobody foresaw, after its report has been written.

    Parameters
    ----------
    error : Exception
        As it was caught.
    words : sequence of str
        The command line.
    """
    said = " ".join(str(error).split())[:MOST]
    what = f"{type(error).__name__}: {said}" if said else type(error).__name__
    try:
        place = f"traceback, versions and command line are in {_written(report(error, words))}"
    except OSError as full:
        place = f"no report could be written: {full.strerror}"
    return f"fault of the program, not of the input: {what}; {place}"


def report(error: Exception, words: Sequence[str]) -> str:
    """Versions, command line and traceback, with ``~`` for the user's folder; nothing of the environment."""
    lines = [
        f"tankyear {hpwhsim.__version__}, Python {platform.python_version()}, {platform.platform()}",
        ", ".join(f"{name} {_version(name)}" for name in LIBRARIES),
        f"tankyear {shlex.join(words)}",
        "",
        "".join(traceback.format_exception(error)),
    ]
    text = "\n".join(lines)
    home = str(Path("~").expanduser())
    return text.replace(home, "~") if len(home) > 1 else text


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"


def _written(text: str) -> Path:
    """The file that holds a report; its own for each, and for its user's eyes alone."""
    path = Path(tempfile.gettempdir()) / f"tankyear-{secrets.token_hex(4)}.txt"
    with written_beside(path) as stream:
        stream.write(text.encode(errors="backslashreplace"))
    return path
