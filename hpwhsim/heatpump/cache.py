"""Performance maps kept on disk by content: one build for each machine, source text and CoolProp."""

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import numpy as np
import platformdirs

from hpwhsim.heatpump.maps import PerformanceMap

KEEP = 200  # maps that stay, the newest by use; one is about 100 kB


def _folder() -> Path:
    return Path(platformdirs.user_cache_dir("tankyear")) / "maps"


def _key(inputs: str) -> str:
    """Hash of everything the values depend on: inputs, our sources and table, CoolProp."""
    here = Path(__file__).parent
    digest = hashlib.sha256(f"{inputs}|CoolProp {version('CoolProp')}|numpy {version('numpy')}".encode())
    for path in [*sorted(here.glob("*.py")), here.parent / "tables" / "refrigerants.csv"]:
        digest.update(path.read_bytes())
    return digest.hexdigest()[:32]


def _load(path: Path) -> PerformanceMap | None:
    """The map in `path`; None where there is no file, or one that cannot be read whole."""
    try:
        with np.load(path, allow_pickle=False) as held:
            found = PerformanceMap(*(np.ascontiguousarray(held[name]) for name in PerformanceMap._fields))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    shape = (found.source_c.size, found.water_in_c.size, found.water_out_c.size)
    return found if found.capacity_w.shape == shape == found.power_w.shape else None


def _save(path: Path, new: PerformanceMap) -> None:
    """Write beside and rename: a reader never sees half a file. Without a place to write, nothing is kept."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                np.savez(stream, allow_pickle=False, **new._asdict())
            os.replace(name, path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            return
        held = sorted(path.parent.glob("*.npz"), key=lambda p: p.stat().st_mtime)
        for old in held[:-KEEP]:
            old.unlink(missing_ok=True)
    except OSError:
        return


def cached(inputs: str, build: Callable[[], PerformanceMap]) -> PerformanceMap:
    """The map of `inputs` from disk, or from `build`, which is then kept.

    Parameters
    ----------
    inputs : str
        Everything `build` depends on besides our sources, written out in full.
    build : callable
        Makes the map; called where no readable file is at hand.
    """
    path = _folder() / f"{_key(inputs)}.npz"
    found = _load(path)
    if found is not None:
        try:
            os.utime(path)
        except OSError:  # a folder that can be read but not written
            return found
        return found
    new = build()
    _save(path, new)
    return new
