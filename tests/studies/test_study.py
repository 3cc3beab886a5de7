"""A study's run: each case as if run alone, killed and gone on, failed cases kept, memory bounded."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from cases import GOLDEN, ROOT, refusal
from study_cases import LOSS, USE, VOLUME, cases_of, sample, study

import hpwhsim as ty
from hpwhsim.cli import main as cli
from hpwhsim.constants import HOURS
from hpwhsim.results.records import finite, flatten
from hpwhsim.studies import assembled, chunks
from hpwhsim.studies import study as running

pytestmark = [pytest.mark.contract, pytest.mark.year]
FILES = (assembled.DATASET, assembled.TABLE, running.MANIFEST)
SAMPLE = sample(8, "sobol", {USE: {"uniform": ["100 L", "180 L"]}, LOSS: {"uniform": ["3 W/K", "9 W/K"]}})


def content(out: Path) -> list[bytes]:
    """The files of a finished study, and nothing else beside them."""
    assert {path.name for path in out.iterdir()} == set(FILES)
    return [(out / name).read_bytes() for name in FILES]


def test_each_case_is_its_own_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every number of the record bit for bit, its hours to the four bytes kept; a failed case beside them.

    400 degC is beyond what plant.storage.setpoint allows.
    """
    grid = {"plant.storage.setpoint": ["60 degC", "55 degC", "400 degC"], "site.weather": [str(GOLDEN)]}
    path, out = study(tmp_path, grid=grid, hourly=["electricity_kwh"], set={LOSS: "5 W/K"}), tmp_path / "out"
    assert cli.main(["sweep", str(path), "--out", str(out)]) == 1  # a case has no year
    said = capsys.readouterr()
    assert said.err == ""
    assert "3 cases, of which 1 have no year" in said.out
    assert "case 3: plant.yaml: plant.storage.setpoint" in said.out.replace("\n    ", " ")
    table = pd.read_csv(out / assembled.TABLE)
    with xr.open_dataset(out / assembled.DATASET, engine="scipy") as data:
        data.load()
    assert data.sizes == {"case": 3, "month": 12, "time": HOURS}
    assert "got '400 degC'" in str(data["failed"].values[2])
    assert data["site.weather"].values.tolist() == [GOLDEN.name] * 3
    for case, setpoint in enumerate(("60 degC", "55 degC")):
        argv = [
            "--set",
            f"plant.storage.setpoint={setpoint}",
            "--set",
            f"{LOSS}=5 W/K",
            "--weather",
            str(GOLDEN),
        ]
        hours = tmp_path / f"hours{case}"
        assert cli.main(["run", str(tmp_path / "plant.yaml"), *argv, "--json", "--out", str(hours)]) == 0
        record = json.loads(capsys.readouterr().out)
        numbers = {key: value for key, value in flatten(record).items() if isinstance(value, float | int)}
        assert len(numbers) > 50
        for key, value in numbers.items():
            name, _, month = key.partition("[")
            at = data[name].sel(month=month[:-1]) if name.startswith("monthly.") else data[key]
            assert float(at.values[case]) == value, key
        assert table["electricity_kwh"][case] == record["electricity_kwh"]
        with xr.open_dataset(hours / "hourly.nc", engine="scipy") as hourly:
            wanted = hourly["electricity_kwh"].values.astype(np.float32)
        assert np.array_equal(data["hourly electricity_kwh"].values[case], wanted)
    assert np.isnan(data["electricity_kwh"].values[2])
    assert pd.isna(table["electricity_kwh"][2])
    assert "got '400 degC'" in table["failed"][2]


@pytest.mark.slow
def test_killed_at_random_it_goes_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """SIGKILL when more cases are there, three times; one worker ends it: the bytes of a calm study.

    What was kept before a kill is not written again, but a file that a power cut left half.
    """
    path, out, calm = study(tmp_path, sample=SAMPLE), tmp_path / "out", tmp_path / "calm"
    assert cli.main(["sweep", str(path), "--out", str(calm)]) == 0
    argv = [sys.executable, "-m", "hpwhsim", "sweep", str(path), "--out", str(out), "--workers", "2"]
    before: dict[str, int] = {}
    for wanted in (1, 3, 5):
        process = subprocess.Popen(argv, cwd=ROOT, stdout=subprocess.DEVNULL)
        while len(list(out.glob("cases/*.npz"))) < wanted:
            assert process.poll() is None, "it ended before it was killed"
            time.sleep(0.01)
        os.kill(process.pid, signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
        assert not (out / assembled.DATASET).exists()
        now = {one.name: one.stat().st_ino for one in out.glob("cases/*.npz")}
        assert before.items() <= now.items()
        before = now
    (out / "cases" / min(before)).write_bytes(b"half a file")
    for name in (".study.nc.part", "cases/x.part"):
        (out / name).write_bytes(b"half a file")
    assert cli.main(["sweep", str(path), "--out", str(out), "--workers", "1"]) == 0
    assert content(out) == content(calm)
    capsys.readouterr()


@pytest.mark.long
def test_killed_twenty_times(tmp_path: Path) -> None:
    """SIGKILL after a random time, twenty times; what ends between has the bytes of a calm study."""
    path, calm = study(tmp_path, sample=SAMPLE | {"count": 32}), tmp_path / "calm"
    assert cli.main(["sweep", str(path), "--out", str(calm)]) == 0
    moment, kills, ended, longest = Random(18), 0, 0, 0.0
    while kills < 20 or ended == 0:
        out = tmp_path / f"out{ended}"
        argv = [sys.executable, "-m", "hpwhsim", "sweep", str(path), "--out", str(out), "--workers", "2"]
        begun = time.monotonic()
        with subprocess.Popen(argv, cwd=ROOT, stdout=subprocess.DEVNULL) as process:
            try:  # the first is left alone until it has kept a case or more
                while longest == 0.0 and not list(out.glob("cases/*.npz")):
                    time.sleep(0.05)
                longest = longest or time.monotonic() - begun
                wanted = moment.uniform(0.1, 1.5) * longest if kills < 20 else 1e3
                assert process.wait(wanted) == 0
                assert content(out) == content(calm)
                ended += 1
            except subprocess.TimeoutExpired:
                process.kill()
                kills += 1


def test_what_is_there_is_not_simulated_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A finished study asks for no worker; another study, another scenario or a strange file is refused."""
    path, out = study(tmp_path, grid={VOLUME: ["1 m3", "2 m3"]}), tmp_path / "out"
    assert cli.main(["sweep", str(path), "--out", str(out), "--json"]) == 0
    first, held = capsys.readouterr().out, content(out)
    monkeypatch.setattr(running, "processes", lambda *_: pytest.fail("a worker was started"))
    assert cli.main(["sweep", str(path), "--out", str(out), "--json"]) == 0
    assert (capsys.readouterr().out, content(out)) == (first, held)
    argv = ["sweep", str(path), "--out", str(out)]
    assert "another scenario" in refusal([*argv, "--set", "building.apartments=21"], capsys)
    study(tmp_path, grid={VOLUME: ["1 m3", "3 m3"]})
    assert "another study" in refusal(argv, capsys)
    assert content(out) == held
    (out / running.MANIFEST).write_text("[]")
    assert "got no study" in refusal(argv, capsys)


def test_two_at_once_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """While another process holds the lock nothing is simulated; it goes with that process."""
    path, out = study(tmp_path, grid={VOLUME: ["1 m3"]}), tmp_path / "out"
    (out / "cases").mkdir(parents=True)
    holder = "import fcntl, sys; f = open(sys.argv[1], 'w'); fcntl.flock(f, fcntl.LOCK_EX); print(); input()"
    argv = [sys.executable, "-u", "-c", holder, str(out / "cases" / "lock")]
    with subprocess.Popen(argv, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        other.stdout.readline()
        said = refusal(["sweep", str(path), "--out", str(out)], capsys)
        other.kill()
    assert "another process works on this study" in said
    assert cli.main(["sweep", str(path), "--out", str(out)]) == 0
    content(out)


def test_a_full_disk_is_said_and_the_study_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The disk is full at the third chunk, and once more at the dataset; no part of a file is left."""
    path, out, calm = study(tmp_path, sample=SAMPLE), tmp_path / "out", tmp_path / "calm"
    assert cli.main(["sweep", str(path), "--out", str(calm)]) == 0
    capsys.readouterr()
    argv, real, written = ["sweep", str(path), "--out", str(out)], np.savez, []

    def full(stream: Any, **arrays: Any) -> None:
        written.append(real(stream, **arrays))
        if len(written) > 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def no_space(*_: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(chunks.np, "savez", full)
        said = refusal(argv, capsys)
        assert "cannot be written: No space left on device; 2 of 8 cases are kept" in said
    assert len(list(out.glob("cases/*.npz"))) == 2
    assert not list(out.rglob("*.part"))
    with monkeypatch.context() as patch:
        patch.setattr(assembled, "_table_rows", no_space)
        assert "8 of 8 cases are kept" in refusal(argv, capsys)
    assert not [one for one in out.iterdir() if one.name.startswith(".") or one.name in FILES[:2]]
    assert cli.main(argv) == 0
    assert content(out) == content(calm)


@pytest.mark.slow
def test_memory_does_not_grow_with_the_cases(tmp_path: Path) -> None:
    """Sixteen times as many kept cases are put together within the same memory, to a tenth.

    Beside a chunk only what is 8 bytes a case and key of the sample may grow: it is made before.
    """
    peaks = []
    for count in (256, 4096):
        cases = cases_of(tmp_path, sample=SAMPLE | {"count": count})
        folder = tmp_path / f"{count}"
        folder.mkdir()
        places = []
        for stretch in running.stretches(count):
            places.append(folder / f"{stretch.start:07d}.npz")
            keys = ("electricity_kwh", *(f"monthly.electricity_kwh[{m}]" for m in assembled.MONTH_NAMES))
            size = len(stretch)
            figures = np.add.outer(np.arange(stretch.start, stretch.stop), np.arange(len(keys)) / 100.0)
            series = np.empty((size, 0, HOURS), np.float32)
            chunks.keep(places[-1], chunks.Chunk(keys, figures, ("",) * size, ("",) * size, series))
        tracemalloc.start()
        assembled.assemble(cases, places, folder)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        with xr.open_dataset(folder / assembled.DATASET, engine="scipy") as data:
            assert np.array_equal(data["electricity_kwh"].values, np.arange(count))
    assert peaks[1] < 1.1 * peaks[0] + 2 * 8 * 16 * 4096  # the lists of places and of their keys


@pytest.mark.slow
def test_the_library_gives_what_the_command_gives(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same files, the same records; cases that are there serve both."""
    path, out = study(tmp_path, sample=SAMPLE | {"count": 2}), tmp_path / "out"
    assert cli.main(["uncertainty", str(path), "--out", str(out), "--json", "--workers", "1"]) == 0
    said = json.loads(capsys.readouterr().out)
    found = ty.study(path, tmp_path / "own", workers=1)
    assert content(tmp_path / "own") == [(out / name).read_bytes() for name in FILES]
    assert found.record == json.loads((out / running.MANIFEST).read_text())
    with found.dataset as data:
        assert data["electricity_kwh"].sizes == {"case": 2}
    assert json.loads(json.dumps(finite(ty.uncertainty(path, out)))) == said
