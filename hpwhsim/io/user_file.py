"""Files that a user hands in, read in one way: regular files, of a size that can be worked on.

A pipe or a device may give nothing, or give for ever, so neither is opened to be waited for. A name that no
system takes, or a circle of links, is an error like a file that is not there.
"""

import os
import stat
from pathlib import Path

from hpwhsim.errors import InputError

MEGABYTE = 1_000_000
LARGEST = 64 * MEGABYTE  # unless a reader says less; a year by the minute is 13 MB
_KINDS = ((stat.S_ISFIFO, "a pipe"), (stat.S_ISCHR, "a device"), (stat.S_ISBLK, "a device"))


def read_bytes(
    path: str | Path, what: str, most: int = LARGEST, missing: str = "there is no such file"
) -> bytes:
    """Bytes of a regular file.

    Parameters
    ----------
    path : str or Path
        Named first in every message.
    what : str
        What is allowed there, such as ``a scenario file (YAML)``.
    most : int
        Its largest size. [bytes]
    missing : str
        What is said where there is none.

    Raises
    ------
    InputError
        If there is no such file, it is no regular one, cannot be read or is too large.
    """
    try:
        with open(path, "rb", opener=_without_waiting) as stream:
            mode = os.fstat(stream.fileno()).st_mode
            if not stat.S_ISREG(mode):
                kind = next((name for is_one, name in _KINDS if is_one(mode)), "no file")
                raise InputError(f"{path}: got {kind}; allowed {what}, as a regular file")
            data = stream.read(most + 1)
    except FileNotFoundError:
        raise InputError(f"{path}: {missing}") from None
    except IsADirectoryError:
        raise InputError(f"{path}: this is a folder; allowed {what}") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {reason(error)}") from None
    if len(data) > most:
        raise InputError(f"{path}: got more than {most / MEGABYTE:g} MB; allowed {what} of at most that")
    return data


def read_text(
    path: str | Path, what: str, most: int = LARGEST, missing: str = "there is no such file"
) -> str:
    """Text of a regular file, UTF-8 with or without a byte order mark, every line end as it stands.

    Raises
    ------
    InputError
        As `read_bytes`, or if it is not UTF-8.
    """
    return decoded(read_bytes(path, what, most, missing), str(path))


def decoded(data: bytes, where: str) -> str:
    """Text of bytes, UTF-8 with or without a byte order mark.

    Raises
    ------
    InputError
        If it is another encoding; `where` comes first.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{where}: not UTF-8 text (byte {error.start + 1}); save it as UTF-8") from None


def reason(error: Exception) -> str:
    """What the system says of a file that it cannot read, in a few words."""
    if isinstance(error, OSError):
        return error.strerror or type(error).__name__
    return "its name holds a NUL" if "null" in str(error) else " ".join(str(error).split())


def is_there(path: str | Path) -> bool:
    """Whether something has this name: a file, a folder, or a link that leads nowhere."""
    return os.path.lexists(path)


def real(path: str | Path) -> Path:
    """Absolute path without links; of a circle of links or a name that no system takes, as far as it goes."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError):
        return Path(os.path.abspath(path))


def cannot_hold_files(folder: Path) -> str:
    """Why no files can be written to a folder, which need not be there yet; empty where they can.

    Nothing is made or written.
    """
    for place in (folder, *folder.parents):
        try:
            mode = os.stat(place).st_mode
        except FileNotFoundError:
            if is_there(place):
                return f"{place} is a link that leads nowhere"
            continue
        except (OSError, ValueError) as error:
            return reason(error)
        if not stat.S_ISDIR(mode):
            return f"{place} is no folder"
        return "" if os.access(place, os.W_OK | os.X_OK) else f"{place} may not be written to"
    return ""


def _without_waiting(name: str, flags: int) -> int:
    """Opens a pipe that nobody writes to at once, so that it can be refused."""
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))
