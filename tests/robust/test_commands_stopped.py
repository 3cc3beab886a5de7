"""Whole commands killed at random moments, on a full disk, twice at once and on damaged caches.

`COMMANDS` has a row for each that writes: a new one is a row here.
"""

import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml
from robust_cases import DAMAGES, gone_within, held, parts_of, started, stopped
from study_cases import USE, VOLUME, electric

from hpwhsim.io.whole_files import PART

pytestmark = [pytest.mark.contract, pytest.mark.year, pytest.mark.long]

SIGNS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)


class Command(NamedTuple):
    """A command that writes to a folder."""

    words: Callable[[Path, Path], list[str]]  # of the folder of its input, and that of its files
    resumes: bool = False  # what is done of it before it stops is kept


def _study(folder: Path, out: Path) -> list[str]:
    file = {"scenario": "plant.yaml", "grid": {VOLUME: ["1 m3", "2 m3"], USE: ["100 L/day", "110 L/day"]}}
    (folder / "study.yaml").write_text(yaml.safe_dump(file))
    return ["sweep", str(folder / "study.yaml"), "--out", str(out), "--workers", "2"]


COMMANDS = {
    "run": Command(lambda folder, out: ["run", str(folder / "plant.yaml"), "--out", str(out)]),
    "sweep": Command(
        lambda folder, out: [
            *("sweep", str(folder / "plant.yaml"), "--out", str(out)),
            *("--vary", f"{VOLUME}=2000 L,2100 L"),
        ]
    ),
    "study": Command(_study, resumes=True),
    "dossier": Command(lambda folder, out: ["dossier", str(folder / "plant.yaml"), "--out", str(out)]),
    "regress": Command(lambda folder, _: ["regress", str(folder), "--accept", "because"]),
}


def files(folder: Path) -> dict[str, bytes]:
    """What a command wrote and other tools read."""
    return {name: text for name, text in held(folder).items() if not name.startswith(("plant", "study.yaml"))}


def shown(folder: Path) -> dict[str, bytes]:
    """Of `files`, without the cases of a study that is not finished and what says that it is not."""
    found = files(folder).items()
    return {name: text for name, text in found if "cases/" not in name and "study.json" not in name}


def prepared(tmp_path: Path, command: Command) -> tuple[list[str], Path]:
    """Words of a command, and its folder with the files of an earlier input."""
    path = electric(tmp_path)
    words = ["-m", "hpwhsim", *command.words(tmp_path, tmp_path / "out")]
    if not command.resumes:  # a study refuses the folder of another
        subprocess.run([sys.executable, *words], check=True, capture_output=True)
    raw = yaml.safe_load(path.read_text())
    raw["building"]["apartments"] += 1
    path.write_text(yaml.safe_dump(raw))
    return words, tmp_path


@pytest.mark.parametrize("name", COMMANDS)
def test_killed_at_any_moment(name: str, tmp_path: Path) -> None:
    """By each signal, at random moments of its run: old files whole, no process left, and it runs again."""
    command, moments = COMMANDS[name], random.Random(name)
    words, folder = prepared(tmp_path, command)
    old = shown(folder)
    begun = time.monotonic()
    calm = tmp_path.parent / f"{tmp_path.name}-calm"
    shutil.copytree(tmp_path, calm)
    calm_words = ["-m", "hpwhsim", *command.words(calm, calm / "out")]
    subprocess.run([sys.executable, *calm_words], check=True, capture_output=True)
    whole, new = time.monotonic() - begun, shown(calm)
    for sign in SIGNS * 2:
        process = started(*words)
        time.sleep(moments.uniform(0.3, 1.0) * whole)
        said = stopped(process, sign)
        assert gone_within(process.pid, 2.0), sign
        assert "Traceback" not in said
        if sign == signal.SIGINT and process.returncode != 0:
            assert (process.returncode, said[-22:]) == (130, "tankyear: interrupted\n")
        assert _alike(shown(folder), old) or _alike(shown(folder), new)
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    assert _alike(shown(folder), new)
    assert parts_of(folder) == []
    assert not list(folder.rglob(f"*{PART}"))


def _alike(some: dict[str, bytes], others: dict[str, bytes]) -> bool:
    """The same files; those that hold a path or a time by their names."""
    if some.keys() != others.keys():
        return False
    timed = ("annual.json", "hourly.nc", "bundle.zip", "dossier.xlsx", "records/")
    return all(text == others[name] for name, text in some.items() if not any(one in name for one in timed))


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("room", [0, 3000, 100_000])
def test_on_a_full_disk(name: str, room: int, tmp_path: Path) -> None:
    """One line and exit 2, or done where its files are smaller; old files whole; with room it goes on."""
    words, folder = prepared(tmp_path, COMMANDS[name])
    old = shown(folder)
    done = subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room, room)),
    )
    if done.returncode == 0:
        assert room > 0
    else:
        assert (done.returncode, done.stderr.count("\n")) == (2, 1), done.stderr
        assert "cannot be written: File too large" in done.stderr
        assert shown(folder) == old
    assert parts_of(folder) == []
    assert not list(folder.rglob(f"*{PART}"))
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    assert shown(folder)


@pytest.mark.parametrize("name", COMMANDS)
def test_two_at_once(name: str, tmp_path: Path) -> None:
    """Both end, and the files are those of one; a study refuses the second in one line."""
    words, folder = prepared(tmp_path, COMMANDS[name])
    both = [started(*words) for _ in range(2)]
    said = [process.communicate(timeout=300)[1] for process in both]
    codes = sorted(process.returncode for process in both)
    assert codes == ([0, 2] if COMMANDS[name].resumes else [0, 0]), said
    assert "Traceback" not in "".join(said)
    assert parts_of(folder) == []


def test_two_on_a_cold_cache_and_one_on_a_damaged_one(tmp_path: Path) -> None:
    """Two compile at once; then every kept file is damaged in one way or another: the same record."""
    path, home = electric(tmp_path), str(tmp_path / "cache")
    words = ["-m", "hpwhsim", "run", str(path), "--json"]
    both = [started(*words, XDG_CACHE_HOME=home) for _ in range(2)]
    records = [process.communicate(timeout=600)[0] for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert records[0] == records[1] != ""
    kept = [one for one in Path(home).rglob("*") if one.is_file()]
    assert {one.suffix for one in kept} >= {".code", ".npz", ".json"}
    for number, damage in enumerate(DAMAGES.values()):
        for one in kept[number :: len(DAMAGES)]:
            one.write_bytes(damage(one.read_bytes()))
    again = started(*words, XDG_CACHE_HOME=home)
    record, said = again.communicate(timeout=600)
    assert (again.returncode, record) == (0, records[0]), said
    assert "Traceback" not in said


def test_a_cache_in_the_way(tmp_path: Path) -> None:
    """A file where the folder of all that is kept should be: said, compiled, done."""
    (tmp_path / "cache").write_text("in the way")
    words = ["-m", "hpwhsim", "run", str(electric(tmp_path)), "--json"]
    process = started(*words, XDG_CACHE_HOME=str(tmp_path / "cache"))
    _, said = process.communicate(timeout=600)
    assert process.returncode == 0
    assert said.count("every run compiles the march") == 1
    assert "Traceback" not in said
