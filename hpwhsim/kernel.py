"""Our one wrapper of the compiler: options, and a disk cache that is never stale.

The compiler's own cache looks at the file of the function alone, so an edit to a function that
is called from another file would leave old machine code in use. Here the folder is named by a hash of the
kernel's file and of all that it imports: an edit of one of them starts a new folder (`compiler.KeptCode`).
"""

import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any, ParamSpec, TypeVar, cast

import numba
import platformdirs

from hpwhsim.compiler import OFF, Inside, KeptCode, Whole
from hpwhsim.io.disk_cache import sources_hash, sources_hash_of

if "numba.np.arraymath" not in sys.modules and "scipy.linalg.cython_blas" not in sys.modules:
    # The compiler loads scipy's linear algebra, a sixth of a second, for matrix products. Our kernels have
    # none, and one that had would not compile.
    cast(dict[str, Any], sys.modules)["scipy.linalg.cython_blas"] = None  # an import of it fails
    import numba.np.arraymath

    del sys.modules["scipy.linalg.cython_blas"]

P = ParamSpec("P")
R = TypeVar("R")

OPTIONS: dict[str, Any] = {
    "pipeline_class": Whole,
    "nogil": True,
    "error_model": "numpy",
    "forceinline": True,
    "_nrt": False,
    "no_cfunc_wrapper": True,  # each would hold the kernel once more; nothing calls ours from C
}


@cache
def _cache_folder(module: str) -> Path:
    """Folder for compiled code of exactly these sources of a module; not made here."""
    root = Path(platformdirs.user_cache_dir("tankyear")) / "compiled"
    checked = "-checked" if vars(numba.config)["BOUNDSCHECK"] else ""  # code that looks at every index
    package, _, name = module.partition(".")
    texts = sources_hash_of(name) if package == __package__ else sources_hash()
    return root / (name or module) / (texts + checked)


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile `function` on its first call, or load it from the cache keyed by all sources that it uses.

    A kernel fills arrays that it is given and makes none: the compiler's counting of references to arrays is
    off (`_nrt`), because it took nearly half of a march. A kernel that makes an array does not compile.
    No ``fastmath`` (it deletes NaN checks), no ``parallel`` (whole marches are spread over threads, which
    ``nogil`` lets run at the same time).

    Most kernels are called by kernels alone, which keep their code (`hpwhsim.compiler`): machine code with a
    way in from Python is made when Python calls, and kept on disk then.
    """
    return _compiled_inside(function, OPTIONS)


def kernel_apart(function: Callable[P, R]) -> Callable[P, R]:
    """As `kernel`, but not forced into its callers: for what is large, and rare or called at several places.

    A march of kernels that are all put into one another takes minutes to compile.
    """
    return _compiled_inside(function, OPTIONS | {"forceinline": False})


def kernel_entry(function: Callable[P, R]) -> Callable[P, R]:
    """As `kernel_apart`, for one that Python alone calls: its way in is compiled with it."""
    return _compiled(function, OPTIONS | {"forceinline": False})


def announced(made: Callable[P, R], what: str) -> Callable[P, R]:
    """`made`, which says on standard error that it is compiled, where its cache has none of it.

    Parameters
    ----------
    made : kernel
        From `kernel_entry`, changed in place; with the compiler off it is left as it is.
    what : str
        What is waited for, such as "the march for outdoor air".
    """
    kept = getattr(made, "_cache", None)
    if isinstance(kept, KeptCode):
        kept.what = what
    return made


def _compiled_inside(function: Callable[P, R], options: dict[str, Any]) -> Callable[P, R]:
    """Without machine code and a way in from Python, until Python calls: then a second one is compiled."""
    if OFF:
        return _compiled(function, options)
    inside: Any = numba.njit(**options | {"no_cpython_wrapper": True, "pipeline_class": Inside})(function)

    @cache
    def entry() -> Callable[P, R]:
        whole: Any = FunctionType(
            function.__code__,
            function.__globals__,
            function.__name__,
            function.__defaults__,
            function.__closure__,
        )
        whole.__module__ = function.__module__
        whole.__qualname__ = f"{function.__qualname__}_from_python"  # its name in the cache
        return _compiled(whole, options)

    def keep(compiled: Any) -> None:
        # not in the table of what Python may call: there is no code for that; kernels call it by a name here
        named = compiled._replace(entry_point=object())
        inside.overloads[tuple(named.signature.args)] = named
        inside.targetctx.insert_user_function(named.entry_point, named.fndesc, [named.library])

    def from_python(*_: object, **__: object) -> Callable[P, R]:
        return entry()  # the compiler's own code calls what it gets here

    inside.add_overload, inside._compile_for_args = keep, from_python
    return cast(Callable[P, R], inside)


def _compiled(function: Callable[P, R], options: dict[str, Any]) -> Callable[P, R]:
    made: Any = numba.njit(**options)(function)
    if not OFF:
        made._cache = KeptCode(function, _cache_folder(function.__module__))
    return cast(Callable[P, R], made)
