"""Weather that was read before, kept on disk under the checksum of its bytes.

Reading through pvlib costs half a second, most of it pvlib's import, out of the two that a run may
take. What is kept depends on nothing but the bytes of the file and the sources that read it, and both
are in its name; a folder that cannot be written, or a damaged file, only means reading again.
"""

import json
from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.io import disk_cache

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


def _file(sha256: str) -> Path:
    """Where the year of these bytes is kept, as read by these sources and this pvlib."""
    here = Path(__file__).parent
    return disk_cache.place("weather", sha256, [here / f"{name}.py" for name in SOURCES], ("pvlib",))


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
    kept = disk_cache.load(_file(sha256))
    if kept is None or "attrs" not in kept:
        return None
    return kept, json.loads(str(kept.pop("attrs")))


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
    disk_cache.save(_file(sha256), {"attrs": np.array(json.dumps(attrs)), **values}, KEEP)
