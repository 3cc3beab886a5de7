"""Arrays kept on disk by content: what they depend on is in the name of the file.

What was solved for is kept without its last digits, so that it is the same from whatever processor.

A folder that cannot be written, or a damaged file, only means making the arrays again.
"""

import hashlib
import os
import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from numpy.typing import NDArray

from hpwhsim.io.whole_files import prune, written_beside
from hpwhsim.last_digits import NUMBER_DIGITS, rounded

Arrays = Mapping[str, NDArray[Any]]


IMPORTED = re.compile(r"^\s*from hpwhsim\.([\w.]+) import|^\s*import hpwhsim\.([\w.]+)", re.MULTILINE)


@cache
def sources_hash() -> str:
    """First 16 hex digits of the SHA-256 over the path and text of each source file of the package."""
    return _hash(_texts())


@cache
def sources_hash_of(module: str) -> str:
    """As `sources_hash`, over the file of one module, dotted below the package, and all that it imports."""
    texts = _texts()
    reached, wanted = {module}, [module]
    while wanted:
        for imported in IMPORTED.findall(texts[wanted.pop()].decode()):
            name = imported[0] or imported[1]
            if name in texts and name not in reached:
                reached.add(name)
                wanted.append(name)
    return _hash({name: texts[name] for name in reached})


@cache
def _texts() -> dict[str, bytes]:
    """Text of each source file of the package by its dotted name below it."""
    root = Path(__file__).parents[1]
    found = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_bytes()
    return found


def _hash(texts: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256()
    for name in sorted(texts):
        digest.update(name.encode())
        digest.update(texts[name])
    return digest.hexdigest()[:16]


def folder(kind: str) -> Path:
    """Folder of the kept arrays of one kind; not made here."""
    return Path(platformdirs.user_cache_dir("tankyear")) / kind


def place(kind: str, inputs: str, sources: Iterable[Path], packages: Iterable[str]) -> Path:
    """File that holds what comes out of these inputs, source files and packages.

    Parameters
    ----------
    kind : str
        Name of the folder.
    inputs : str
        Everything the values depend on besides the sources, written out in full.
    sources : iterable of Path
        The files that make the values.
    packages : iterable of str
        Libraries whose version the values depend on.
    """
    versions = " ".join(f"{name} {_version(name)}" for name in packages)
    digest = hashlib.sha256(f"{inputs}|{versions}|{NUMBER_DIGITS} digits".encode())
    for path in sorted(sources):
        digest.update(_source(path))
    return folder(kind) / f"{digest.hexdigest()[:32]}.npz"


_version = cache(version)


@cache
def _source(path: Path) -> bytes:
    """Text of a source file, which does not change while the program runs."""
    return path.read_bytes()


def load(path: Path) -> dict[str, NDArray[Any]] | None:
    """The arrays in `path`; None where there is no file, or one that cannot be read whole."""
    try:
        with np.load(path, allow_pickle=False) as held:
            found = {name: np.array(held[name], order="C") for name in held.files}
    except Exception:  # a damaged file may raise anything; sums over its arrays are checked as they are read
        return None
    try:
        os.utime(path)  # the newest by use stay
    except OSError:  # a folder that can be read but not written
        return found
    return found


def save(path: Path, arrays: Arrays, keep: int) -> None:
    """Keep `arrays` in `path` and at most `keep` files in its folder, the newest by use.

    Written beside and renamed, so that a reader never sees half a file. Where the folder cannot be written
    nothing is kept, in silence.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with written_beside(path) as stream:
            np.savez(stream, allow_pickle=False, **arrays)
        prune(path.parent, ".npz", keep)
    except OSError:
        return


def cached(path: Path, keep: int, build: Callable[[], Arrays]) -> Arrays:
    """The arrays in `path`, or those of `build`, rounded to `NUMBER_DIGITS`, which are then kept there."""
    found = load(path)
    if found is not None:
        return found
    new = {
        name: rounded(values, NUMBER_DIGITS) if values.dtype == np.float64 else values
        for name, values in build().items()
    }
    save(path, new, keep)
    return new
