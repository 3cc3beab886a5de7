"""Files of our own, each whole or not there: written beside their place, read against a digest."""

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from time import time
from typing import BinaryIO

PART = ".part"  # ends the name of a file that is not whole yet
LEFT = 86400.0  # s; what is not whole for so long was left by a process that was killed
DIGEST = hashlib.sha256().digest_size


@contextmanager
def written_beside(path: Path) -> Iterator[BinaryIO]:
    """A stream to a file beside `path`, which is moved there once it is whole.

    Raises
    ------
    OSError
        If it cannot be written; then what was at `path` is there still, and nothing else.
    """
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=PART)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
        os.replace(name, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`, with a digest before it, for `read_whole`; its folder is made if need be.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with written_beside(path) as stream:
        stream.write(hashlib.sha256(content).digest() + content)


def read_whole(path: Path) -> bytes | None:
    """What `write_whole` wrote; None where there is no file, or one with another byte."""
    try:
        held = path.read_bytes()
    except OSError:
        return None
    content = held[DIGEST:]
    return content if hashlib.sha256(content).digest() == held[:DIGEST] else None


def prune(folder: Path, suffix: str, keep: int) -> None:
    """Leave the newest `keep` files with this suffix, and none that was begun and never became whole.

    Raises
    ------
    OSError
        If the folder cannot be read or written.
    """
    held = sorted(folder.glob(f"*{suffix}"), key=_age)
    begun = [path for path in folder.glob(f"*{PART}") if _age(path) < time() - LEFT]
    for old in [*held[:-keep], *begun]:
        old.unlink(missing_ok=True)


def _age(path: Path) -> float:
    """When it was last written or used; 0 where another process has removed it."""
    try:
        return path.stat().st_mtime
    except FileNotFoundError:
        return 0.0
