"""A study on workers of dask.distributed, processes of their own: equal numbers, whoever is lost."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from cases import ROOT, refusal
from distributed import Client
from study_cases import LOSS, USE, cases_of, sample, study

from hpwhsim.studies import assembled, cluster
from hpwhsim.studies import study as running

pytestmark = [pytest.mark.contract, pytest.mark.year, pytest.mark.slow]
FILES = (assembled.DATASET, assembled.TABLE, running.MANIFEST)
SAMPLE = sample(8, "sobol", {USE: {"uniform": ["100 L", "180 L"]}, LOSS: {"uniform": ["3 W/K", "9 W/K"]}})
PATIENCE = 120.0  # s, for a machine that has other work


@contextmanager
def started(*argv: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process of dask.distributed, killed at the end."""
    command = [sys.executable, "-m", *argv, "--no-dashboard"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """A scheduler with two workers of one thread each."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        where = f"127.0.0.1:{free.getsockname()[1]}"
    host, port = where.split(":")
    with ExitStack() as stack:
        argv = ["distributed.cli.dask_scheduler", "--host", host, "--port", port]
        stack.enter_context(started(*argv))
        worker = ["distributed.cli.dask_worker", where, "--nthreads", "1", "--no-nanny"]
        for _ in range(2):
            stack.enter_context(started(*worker))
        with Client(where, timeout=PATIENCE, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=PATIENCE)
        yield where


def test_other_versions_are_named(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A worker whose library is another refuses its work; nothing is simulated with it."""
    own = cluster.made_with()
    monkeypatch.setattr(cluster, "made_with", lambda: own | {"numpy": "0.1"})
    argv = ["sweep", str(study(tmp_path, sample=SAMPLE)), "--out", str(tmp_path / "out")]
    said = refusal([*argv, "--scheduler", address], capsys)
    assert f"numpy: got {own['numpy']}; allowed 0.1" in said
    assert not list(tmp_path.rglob("*.npz"))


def test_a_lost_worker_changes_nothing(address: str, tmp_path: Path) -> None:
    """Half-way the worker that is at work is killed: the other does its chunks, to the same bytes."""
    cases = cases_of(tmp_path, sample=SAMPLE)
    running.run_study(cases, tmp_path / "here", 2, lambda _: None)
    killed: list[str] = []
    with Client(address, set_as_default=False) as client:
        pids = client.run(os.getpid)
        assert len(pids) == 2

        def tick(_: int) -> None:
            at_work = [name for name, tasks in client.processing().items() if tasks]
            if at_work and not killed and len(list((tmp_path / "there" / "cases").glob("*.npz"))) >= 3:
                killed.append(at_work[0])
                os.kill(pids[at_work[0]], signal.SIGKILL)

        running.run_study(cases, tmp_path / "there", 1, tick, address)
        assert len(killed) == 1
        assert set(client.nthreads()) == set(pids) - set(killed)
    for name in FILES:
        assert (tmp_path / "there" / name).read_bytes() == (tmp_path / "here" / name).read_bytes()


def test_no_scheduler_is_said_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody listens at the address; what names no address; one that goes with nothing else."""
    monkeypatch.setattr(cluster, "LONGEST", 0.5)
    with socket.socket() as taken:  # bound, and it does not listen
        taken.bind(("127.0.0.1", 0))
        argv = ["sweep", str(study(tmp_path, sample=SAMPLE)), "--out", str(tmp_path / "out")]
        begun = time.monotonic()
        said = refusal([*argv, "--scheduler", f"127.0.0.1:{taken.getsockname()[1]}"], capsys)
    assert time.monotonic() - begun < 30.0
    assert "no scheduler answers" in said
    assert "no scheduler answers" in refusal([*argv, "--scheduler", "nowhere://1"], capsys)
    assert "allowed without --scheduler" in refusal([*argv, "--scheduler", "x", "--workers", "2"], capsys)
    plain = ["sweep", str(tmp_path / "plant.yaml"), "--vary", f"{LOSS}=3 W/K,4 W/K", "--scheduler", "x"]
    assert "with a study file" in refusal(plain, capsys)
    assert not (tmp_path / "out").exists()
