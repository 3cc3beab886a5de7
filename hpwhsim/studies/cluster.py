"""Chunks of a study on workers of dask.distributed that are there already, here or on other machines.

A worker simulates as one of our own processes does. It sees the files of the study under the same paths, and
has the same program and the same libraries, or its work is refused. What a worker was at that is lost is done
again by another: dask.distributed sees to that.
"""

import logging
import threading
import time
import warnings
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from platform import python_version
from typing import TYPE_CHECKING, Any

import hpwhsim
from hpwhsim.errors import InputError
from hpwhsim.io.disk_cache import sources_hash
from hpwhsim.scenario.reading import Loaded
from hpwhsim.studies.cases import Cases
from hpwhsim.studies.chunks import Chunk, Worker

if TYPE_CHECKING:
    from distributed import Client, Future

LONGEST = 10.0  # s, until a scheduler answers and has a worker
ALONE = 60.0  # s, that a study waits for a worker where none is left
LOOK = 2.0  # s, from look to look whether any is
LIBRARIES = ("numpy", "scipy", "numba", "CoolProp", "pydantic")  # on which results may depend
Done = Callable[[Cases, list[range]], Generator[tuple[range, Chunk]]]

_turn = threading.Lock()  # a worker has one case in hand, however many threads it was given
_here: dict[str, Worker] = {}  # of this process, by its study


class Unlike(Exception):
    """A worker has another program or other libraries; it says which."""


def made_with() -> dict[str, str]:
    """Versions of what simulates in this process."""
    found = {"tankyear": f"{hpwhsim.__version__} ({sources_hash()})", "python": python_version()}
    return found | {name: version(name) for name in LIBRARIES}


def work(
    base: Loaded, hourly: Sequence[str], cases: Sequence[Mapping[str, Any]], wanted: Mapping[str, str]
) -> Chunk:
    """`Worker.chunk` in a worker of the cluster.

    Raises
    ------
    Unlike
        If this process is not made with what is `wanted`.
    """
    own = made_with()
    if differ := [name for name in wanted if own[name] != wanted[name]]:
        raise Unlike("; ".join(f"{name}: got {own[name]}; allowed {wanted[name]}" for name in differ))
    study = repr((base.path, base.sha256, base.overrides, hourly))
    with _turn:
        if study not in _here:
            _here.clear()
            _here[study] = Worker(base, hourly)
        return _here[study].chunk(cases)


@contextmanager
def connected(address: str) -> Iterator[Done]:
    """What simulates chunks on the workers of the scheduler at `address`, such as ``host:8786``.

    Raises
    ------
    InputError
        If dask.distributed is not installed, the scheduler does not answer, or it has no worker.
    """
    where = f"--scheduler {address}"
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            f"{where}: dask.distributed is not installed; allowed with it: pip install 'tankyear[cluster]'"
        ) from None
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what goes wrong is said here
    begun = time.monotonic()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # versions are asked for by each piece of work
            client = Client(address, timeout=LONGEST, set_as_default=False)
    except (OSError, ValueError):
        raise InputError(
            f"{where}: no scheduler answers; allowed the address of one, as dask scheduler prints it"
        ) from None
    try:
        _wait_for_worker(client, where, max(LONGEST - (time.monotonic() - begun), 0.0))
        yield lambda cases, missing: _done(client, where, cases, missing)
    finally:
        client.close()


def _wait_for_worker(client: "Client", where: str, seconds: float) -> None:
    end = time.monotonic() + seconds
    while not client.nthreads():
        if time.monotonic() > end:
            raise InputError(
                f"{where}: the scheduler has no worker; allowed one or more (dask worker, with --nthreads 1, "
                "at this address); the same command goes on from there"
            )
        time.sleep(0.1)


def _done(client: "Client", where: str, cases: Cases, missing: list[range]) -> Generator[tuple[range, Chunk]]:
    """Chunks as they become ready, with at most two for each worker in work."""
    from distributed import KilledWorker

    rest = iter(missing)
    running: dict[Future, range] = {}
    wanted, hourly = made_with(), tuple(cases.file.study.hourly)
    try:
        while True:
            ahead = 2 * max(len(client.nthreads()), 1)
            while len(running) < ahead and (stretch := next(rest, None)) is not None:
                values = [cases.values(number) for number in stretch]
                future = client.submit(work, cases.base, hourly, values, wanted, pure=False)
                running[future] = stretch
            if not running:
                return
            for future in _ready(client, where, list(running)):
                yield running.pop(future), future.result()
    except Unlike as error:
        raise InputError(f"{where}: a worker is made with something else: {error}") from None
    except KilledWorker:
        raise InputError(
            f"{where}: a piece of work ended several workers, as for want of memory; the same command goes "
            "on from there"
        ) from None
    except OSError:
        raise InputError(
            f"{where}: the scheduler does not answer any more; the same command goes on from there"
        ) from None
    except (ImportError, AttributeError, RuntimeError) as error:  # of taking the work apart over there
        said = " ".join(str(error).split())
        raise InputError(f"{where}: a worker cannot take the work: {said}") from None


def _ready(client: "Client", where: str, running: list["Future"]) -> list["Future"]:
    """Those that are ready, one or more."""
    from distributed import wait

    while True:
        try:
            with client.as_current():
                return list(wait(running, timeout=LOOK, return_when="FIRST_COMPLETED").done)
        except TimeoutError:
            _wait_for_worker(client, where, ALONE)
