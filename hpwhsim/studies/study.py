"""Run a study: workers simulate its cases, a folder keeps them, and at the end they are one dataset.

Cases go in chunks of a size that follows from their number alone. A chunk is a file as soon as it is whole,
so that a study that was stopped goes on where it was; what comes out does not depend on where that was, nor
on how many workers there were.
"""

import json
import shutil
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, closing, contextmanager, nullcontext
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.io.user_file import is_there, read_text
from hpwhsim.io.user_json import from_json
from hpwhsim.processes import processes
from hpwhsim.results.files import write_files
from hpwhsim.studies import chunks
from hpwhsim.studies.assembled import DATASET, TABLE, assemble
from hpwhsim.studies.cases import Cases, fingerprint
from hpwhsim.studies.chunks import Chunk
from hpwhsim.studies.cluster import Done, connected

MANIFEST, FOLDER = "study.json", "cases"
MOST_IN_CHUNK = 16  # cases that a kill loses, of each worker
CHUNKS = 16  # of a small study, at least, so that no worker waits long for another


class Finished(NamedTuple):
    """A study all of whose cases are there."""

    record: dict[str, Any]  # what study.json holds
    files: list[Path]

    @property
    def dataset(self) -> Path:
        """Its dataset."""
        return next(path for path in self.files if path.name == DATASET)


def stretches(count: int) -> list[range]:
    """The numbers of the cases of each chunk."""
    size = max(1, min(MOST_IN_CHUNK, count // CHUNKS))
    return [range(first, min(first + size, count)) for first in range(0, count, size)]


def run_study(
    cases: Cases, out: Path, workers: int, tick: Callable[[int], object], scheduler: str | None = None
) -> Finished:
    """Simulate what is not there yet of a study, and put it together.

    Parameters
    ----------
    cases : Cases
        The study.
    out : Path
        Folder of its files, and of its cases until all are there.
    workers : int
        Processes that simulate.
    tick : callable
        Told of so many more cases that are there, at first of those of an earlier run.
    scheduler : str or None
        Address of one of dask.distributed, whose workers simulate instead.

    Raises
    ------
    InputError
        If the folder cannot be written, is full, or holds another study, or the scheduler is of no use.
    """
    print_ = fingerprint(cases)
    files = [out / name for name in (DATASET, TABLE, MANIFEST)]
    found = held_manifest(out, print_)
    folder = out / FOLDER
    if found is None or not found["finished"] or not all(path.is_file() for path in files):
        begun = {"finished": False, "fingerprint": print_, "cases": cases.size}
        places = {stretch: folder / f"{stretch.start + 1:07d}.npz" for stretch in stretches(cases.size)}
        with _workers(workers, scheduler) as done:  # who cannot be reached is said before anything is written
            write_files(out, {MANIFEST: _json(begun)})
            try:
                folder.mkdir(exist_ok=True)
                with _alone(out, folder):
                    _simulate(cases, places, done, tick)
                    found = {**begun, "finished": True, **assemble(cases, list(places.values()), out)}
            except OSError as error:
                there = sum(len(stretch) for stretch, path in places.items() if path.is_file())
                raise InputError(
                    f"--out {out}: cannot be written: {error.strerror}; {there} of {cases.size} cases are "
                    "kept, and the same command goes on from there"
                ) from None
        write_files(out, {MANIFEST: _json(found)})
    else:
        tick(cases.size)
    shutil.rmtree(folder, ignore_errors=True)
    return Finished(found, files)


@contextmanager
def _alone(out: Path, folder: Path) -> Iterator[None]:
    """Refuse to work where another process does, and clear away what one left that was killed.

    The lock goes with the process, however that ends. Where the system has no such lock nothing is refused.
    """
    with (folder / "lock").open("w") as lock:
        try:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:
            pass
        except BlockingIOError:
            raise InputError(
                f"--out {out}: another process works on this study; allowed one at a time"
            ) from None
        for part in [*folder.glob("*.part"), *out.glob(".study.*.part")]:
            part.unlink(missing_ok=True)
        yield


def _json(record: dict[str, Any]) -> bytes:
    return (json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def held_manifest(out: Path, print_: dict[str, str]) -> dict[str, Any] | None:
    """The manifest of an earlier run of the same study; None where there is none."""
    path = out / MANIFEST
    if not is_there(path):
        return None
    hint = "allowed a folder of this study, or another one"
    found = from_json(read_text(path, "the manifest of a study"), str(path), hint)
    theirs = found.get("fingerprint") if isinstance(found, dict) else None
    if not isinstance(theirs, dict) or not isinstance(found.get("finished"), bool):
        raise InputError(f"{path}: got no study; allowed a folder of this study, or another one")
    if differ := [name for name, value in print_.items() if theirs.get(name) != value]:
        raise InputError(
            f"--out {out}: got the folder of a study with another {', '.join(differ)}; allowed the folder "
            "of this one, or one without a study"
        )
    return found


def _workers(workers: int, scheduler: str | None) -> AbstractContextManager[Done]:
    """Who simulates: processes of our own, or the workers of a scheduler."""
    return nullcontext(partial(_in_processes, workers)) if scheduler is None else connected(scheduler)


def _simulate(cases: Cases, places: dict[range, Path], done: Done, tick: Callable[[int], object]) -> None:
    """Simulate the chunks that are not kept yet, a few ahead of what is written."""
    missing = []
    for stretch, path in places.items():
        if chunks.kept(path) is None:
            missing.append(stretch)
        else:
            tick(len(stretch))
    with closing(done(cases, missing)) as found:  # workers end with an error of ours too
        for stretch, chunk in found:
            chunks.keep(places[stretch], chunk)
            tick(len(stretch))


def _in_processes(workers: int, cases: Cases, missing: list[range]) -> Generator[tuple[range, Chunk]]:
    """Chunks of processes of our own, as they become ready."""
    if not missing:
        return
    begun = (cases.base, cases.file.study.hourly)
    try:
        with processes(min(workers, len(missing)), [chunks.__name__], chunks.begin, begun) as pool:
            yield from _done(pool, cases, missing, 2 * workers)
    except BrokenProcessPool:
        raise InputError(
            "a worker process ended unasked, as for want of memory; the same command goes on from there"
        ) from None


def _done(
    pool: ProcessPoolExecutor, cases: Cases, missing: list[range], ahead: int
) -> Iterator[tuple[range, Chunk]]:
    """Chunks as they become ready, with at most `ahead` in work."""
    rest, running = iter(missing), dict[Future[Chunk], range]()
    while True:
        while len(running) < ahead and (stretch := next(rest, None)) is not None:
            running[pool.submit(chunks.work, [cases.values(number) for number in stretch])] = stretch
        if not running:
            return
        for future in wait(running, return_when=FIRST_COMPLETED).done:
            yield running.pop(future), future.result()
