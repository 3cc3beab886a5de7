"""Archives of a dossier: files with relative names in one ZIP file, the same bytes for the same files."""

import zlib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path, PurePosixPath
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile, ZipInfo

from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.io.user_file import read_bytes

WRITTEN = (2001, 1, 1, 0, 0, 0)  # time of every file in an archive: the same year gives the same bytes
DAMAGE = (BadZipFile, zlib.error, EOFError, RuntimeError, OSError)  # what a file that is not whole gives
LARGEST = 2**28  # bytes of all files together, packed and unpacked: a year of inputs is below 2**24
LONGEST_NAME = 255  # bytes of a part of a name, as file systems allow


def packed(contents: Mapping[str, bytes]) -> bytes:
    """The bytes of an archive.

    Parameters
    ----------
    contents : mapping of str to bytes
        Files by relative name, in the order in which they are to lie.
    """
    whole = BytesIO()
    with ZipFile(whole, "w", ZIP_DEFLATED) as out:
        for name, data in contents.items():
            info = ZipInfo(name, WRITTEN)
            info.compress_type, info.external_attr = ZIP_DEFLATED, 0o644 << 16
            out.writestr(info, data)
    return whole.getvalue()


def unpacked(path: Path) -> dict[str, bytes]:
    """Files of an archive by name, each held against its checksum.

    Raises
    ------
    InputError
        If there is no such file, it is no archive or a damaged one, or a name in it leads out of it.
    """
    what = "a bundle.zip of a dossier"
    data = read_bytes(path, what, LARGEST, f"there is no such file; allowed {what}")
    try:
        with ZipFile(BytesIO(data)) as held:
            infos = [info for info in held.infolist() if not info.is_dir()]
            names = [info.filename for info in infos]
            for name in names:
                if not is_inside(name) or names.count(name) > 1:
                    raise InputError(f"{path}: no bundle of a dossier: a file in it is named {name!r}")
            if sum(info.file_size for info in infos) > LARGEST:
                raise InputError(f"{path}: no bundle of a dossier: more than 256 MiB unpacked")
            found = {}
            for info in infos:
                try:
                    found[info.filename] = held.read(info)
                except DAMAGE as error:
                    raise InputError(
                        f"{path}: the archive is damaged: {info.filename} cannot be unpacked "
                        f"({' '.join(str(error).split())}); fetch it again from where it was made"
                    ) from None
    except BadZipFile as error:
        raise InputError(
            f"{path}: no archive, or a damaged one ({' '.join(str(error).split())}); "
            "allowed a bundle.zip of a dossier"
        ) from None
    except (OSError, ValueError, NotImplementedError) as error:  # the last: packed by a method zipfile lacks
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(f"{path}: cannot be read: {' '.join(reason.split())}") from None
    refuse_controls(names, str(path))
    return found


def is_inside(name: str) -> bool:
    """Whether a name of an archive stays within the folder that the archive is unpacked to.

    Examples
    --------
    >>> is_inside("inputs/a.yaml"), is_inside("../a.yaml"), is_inside("/a.yaml"), is_inside("C:a.yaml")
    (True, False, False, False)
    """
    parts = PurePosixPath(name).parts
    plain = name.isprintable() and not any(sign in name for sign in "\\:")
    short = all(len(part.encode(errors="replace")) <= LONGEST_NAME for part in parts)
    return bool(parts) and plain and short and not name.startswith("/") and ".." not in parts
