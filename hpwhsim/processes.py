"""Processes that simulate or draw beside this one, and end when it does, however that ends."""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from copy import copy
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from types import ModuleType
from typing import Any, cast


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def processes(
    count: int,
    imports: Sequence[str],
    begin: Callable[..., object] | None = None,
    given: Sequence[Any] = (),
) -> Iterator[ProcessPoolExecutor]:
    """A pool of processes, which are gone when the block is.

    They hold the end of a pipe whose other end this process alone has: the system closes that however this
    process ends, and a block that fails closes it, so that nobody waits for work that nobody wants.

    Parameters
    ----------
    count : int
        How many, at most.
    imports : sequence of str
        Modules that they need, imported once where the system lets processes start as copies of one.
    begin, given : callable and its arguments, optional
        Called in each as it begins.
    """
    context = _context(imports)
    theirs, ours = context.Pipe(duplex=False)
    pool = ProcessPoolExecutor(count, context, _begin, (theirs, begin, given))
    try:
        yield pool
    except BaseException:
        ours.close()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        ours.close()
        theirs.close()


def _context(imports: Sequence[str]) -> BaseContext:
    """How processes start: where they can, as copies of one that imports what they need from now on."""
    if "forkserver" not in get_all_start_methods():
        return _without_script(get_context("spawn"))
    from multiprocessing.forkserver import ensure_running

    context = get_context("forkserver")
    context.set_forkserver_preload(list(imports))
    ensure_running()
    return _without_script(context)


def _without_script(usual: Any) -> BaseContext:
    """A context whose processes do not run the user's script once more, as they else do to find its names.

    What they are asked for is all in this package; a script that simulates in its first lines, as one may
    outside of a library, would start processes that start processes.
    """

    def make(*args: Any, **kwargs: Any) -> Any:
        process = usual.Process(*args, **kwargs)
        process._Popen = _started
        return process

    context = copy(usual)
    context.Process = make
    return cast(BaseContext, context)


def _started(process: Any) -> Any:
    """Start a process as its class does, while no script is to be seen."""
    script = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        return type(process)._Popen(process)
    finally:
        sys.modules["__main__"] = script


def _begin(theirs: Connection, begin: Callable[..., object] | None, given: Sequence[Any]) -> None:
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # Ctrl-C goes to all; the first process says what becomes of us
    threading.Thread(target=_end_with, args=(theirs,), daemon=True).start()
    if begin is not None:
        begin(*given)


def _end_with(theirs: Connection) -> None:
    wait([theirs])
    os._exit(1)
