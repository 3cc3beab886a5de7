"""Our one wrapper of the compiler: options, and a disk cache that is never stale.

The compiler's own cache looks at the file of the function alone, so an edit to a function that
is called from another file would leave old machine code in use. Here the cache folder is named
by a hash of all our sources: any edit starts a new folder.
"""

import hashlib
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
import platformdirs

P = ParamSpec("P")
R = TypeVar("R")

OPTIONS: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "error_model": "numpy",
    "forceinline": True,
    "_nrt": False,
}
KEEP = 12  # folders of older sources that stay, so that switching branches does not recompile


@cache
def sources_hash() -> str:
    """First 16 hex digits of the SHA-256 over the path and text of each source file of the package."""
    root = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def _cache_folder() -> str:
    """Folder for compiled code of exactly these sources; made here, and old ones removed."""
    root = Path(platformdirs.user_cache_dir("tankyear")) / "compiled"
    checked = "-checked" if vars(numba.config)["BOUNDSCHECK"] else ""  # code that looks at every index
    folder = root / (sources_hash() + checked)
    if not folder.is_dir():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            others = sorted((p for p in root.iterdir() if p != folder), key=lambda p: p.stat().st_mtime)
            for old in others[:-KEEP]:
                shutil.rmtree(old, ignore_errors=True)
        except OSError:  # no writable home: the compiler then caches beside the sources, or not at all
            return ""
    return str(folder)


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile `function` on its first call, or load it from the cache keyed by all our sources.

    A kernel fills arrays that it is given and makes none: the compiler's counting of references to arrays is
    off (`_nrt`), because it took nearly half of a march. A kernel that makes an array does not compile.
    No ``fastmath`` (it deletes NaN checks), no ``parallel`` (whole marches are spread over threads, which
    ``nogil`` lets run at the same time).
    """
    config = vars(numba.config)
    before = config["CACHE_DIR"]
    config["CACHE_DIR"] = _cache_folder()  # read when the decorator runs, so set for that moment only
    try:
        return cast(Callable[P, R], numba.njit(**OPTIONS)(function))
    finally:
        config["CACHE_DIR"] = before
