"""Where files are written until all are complete: a folder within their own, by one process at a time."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

from hpwhsim.errors import InputError

BEGINS = ".tankyear-part-"  # the name of such a folder
LONGEST = 60.0  # s that another process is waited for; each takes the time of writing


@contextmanager
def parts(folder: Path, name: str = "--out ") -> Iterator[Path]:
    """A new folder within `folder`, which is made if need be; it is gone when the block is.

    The files of a block go from there to `folder` when all are complete, so that of two processes one
    writes all of its files after the other. What a process left that was killed is removed.

    Parameters
    ----------
    folder : Path
        Where the files go.
    name : str, optional
        What an error calls the folder.

    Raises
    ------
    InputError
        If it cannot be written, here or in the block, or another process does not leave it.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _alone(folder, name) as alone:
            if alone:
                for left in folder.glob(f"{BEGINS}*"):
                    shutil.rmtree(left, ignore_errors=True)
            part = Path(tempfile.mkdtemp(prefix=BEGINS, dir=folder))
            try:
                yield part
            finally:
                shutil.rmtree(part, ignore_errors=True)
    except OSError as err:
        raise InputError(f"{name}{folder}: cannot be written: {err.strerror or err}") from None


@contextmanager
def _alone(folder: Path, name: str) -> Iterator[bool]:
    """Hold the folder's lock, which goes with the process; False where the system has no such lock."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield False
        return
    try:
        until, alone = monotonic() + LONGEST, False
        while not alone:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                alone = True
            except BlockingIOError:
                if monotonic() > until:
                    raise InputError(
                        f"{name}{folder}: another process writes there, and has not ended in {LONGEST:g} s"
                    ) from None
                sleep(0.05)
            except OSError:  # a file system without locks
                break
        yield alone
    finally:
        os.close(handle)
