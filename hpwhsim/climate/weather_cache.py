"""Weather that was read before, kept on disk under the checksum of its bytes.

Reading through pvlib costs half a second, most of it pvlib's import, out of the two that a run may
take. What is kept depends on nothing but the bytes of the file and the sources that read it, and both
are in its name; a folder that cannot be written, or a damaged file, only means reading again.
"""

import hashlib
import json
import os
import zipfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

KEEP = 40  # years of weather, about 0.6 MB each
SOURCES = (
    "moist_air",
    "typical_year",
    "weather_cache",
    "weather_checks",
    "weather_columns",
    "weather_sun",
    "weather_text",
)


def folder() -> Path:
    """Folder of the kept years; not made here."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("tankyear")) / "weather"


def _file(sha256: str) -> Path:
    """Name of the kept year of these bytes, as read by these sources and this pvlib."""
    from importlib.metadata import version

    digest = hashlib.sha256(f"{sha256} pvlib {version('pvlib')}".encode())
    for name in SOURCES:
        digest.update((Path(__file__).parent / f"{name}.py").read_bytes())
    return folder() / f"{digest.hexdigest()[:32]}.npz"


def load(sha256: str) -> tuple[dict[str, Array], dict[str, object]] | None:
    """Columns and attributes kept for the bytes with this checksum, or None.

    Parameters
    ----------
    sha256 : str
        Checksum of the bytes of the weather file, decompressed.

    Returns
    -------
    tuple or None
        Columns, each (8760,), and attributes, as `store` got them.
    """
    try:
        with np.load(_file(sha256), allow_pickle=False) as kept:
            values = {
                name: np.asarray(kept[name], dtype=np.float64) for name in kept.files if name != "attrs"
            }
            attrs: dict[str, object] = json.loads(str(kept["attrs"]))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    return values, attrs


def store(sha256: str, values: dict[str, Array], attrs: dict[str, object]) -> None:
    """Keep a year; in silence nothing is kept where the folder cannot be written.

    Parameters
    ----------
    sha256 : str
        Checksum of the bytes of the weather file, decompressed.
    values : dict of ndarray
        Columns, each (8760,).
    attrs : dict
        Attributes that JSON can hold.
    """
    try:
        target = _file(sha256)
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(f".{os.getpid()}.part")
        with part.open("wb") as stream:
            np.savez(stream, allow_pickle=False, attrs=np.array(json.dumps(attrs)), **values)
        part.replace(target)  # whole or not at all, also with two runs at once
        kept = sorted(target.parent.glob("*.npz"), key=lambda p: p.stat().st_mtime)
        for old in kept[:-KEEP]:
            old.unlink(missing_ok=True)
    except OSError:
        return
