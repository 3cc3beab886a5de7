"""What is left when a process is killed, two write at once or the disk is full: files that are whole."""

import random
import signal
import time
from pathlib import Path

import pytest
import yaml
from robust_cases import alive, full_disk, gone_within, held, parts_of, started, stopped
from study_cases import VOLUME, electric

from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.results import parts
from hpwhsim.results.files import write_files

pytestmark = pytest.mark.contract

NAMES = ("a.txt", "b.txt", "c.txt")
SIZE = 200_000

WRITERS = {
    "results": "from hpwhsim.results.files import write_files as write; coded = str.encode",
    "records": "from hpwhsim.results.records import write_texts; coded = str\n"
    "write = lambda folder, texts: write_texts({folder / name: text for name, text in texts.items()})",
}
LOOP = """
import sys
from pathlib import Path
{writer}
for turn in range({turns}):
    write(Path({folder!r}), {{name: coded({who!r} + f'{{turn:06d}}' * {size}) for name in {names!r}}})
    print(turn, flush=True)
"""


def writer(kind: str, folder: Path, turns: int, who: str = "") -> list[str]:
    """Python's words for a process that writes three files so many times."""
    words = LOOP.format(
        writer=WRITERS[kind], turns=turns, folder=str(folder), who=who, size=SIZE // 6, names=NAMES
    )
    return ["-c", words]


@pytest.mark.slow
@pytest.mark.parametrize("kind", WRITERS)
def test_killed_while_it_writes(kind: str, tmp_path: Path) -> None:
    """Killed at random until it was while it wrote: each file is whole, and the next process clears up."""
    moments, kills, seen = random.Random(19), 0, 0
    while kills < 4 or (seen == 0 and kills < 60):
        kills += 1
        process = started(*writer(kind, tmp_path, 10**6))
        assert process.stdout is not None
        process.stdout.readline()  # it has written once
        time.sleep(moments.uniform(0.0, 0.03))
        process.kill()
        process.communicate()
        turns = set()
        for name in NAMES:
            text = (tmp_path / name).read_text()
            assert len(text) == SIZE // 6 * 6
            assert text == text[:6] * (SIZE // 6)
            turns.add(int(text[:6]))
        assert max(turns) - min(turns) <= 1
        seen += len(parts_of(tmp_path))
        write_files(tmp_path, {"d.txt": b"d"})
        assert parts_of(tmp_path) == []
    assert seen > 0, "it was never killed while it wrote"


def test_two_that_write_at_once_leave_the_files_of_one(tmp_path: Path) -> None:
    """One writes all of its files after the other."""
    both = [started(*writer("results", tmp_path, 40, who)) for who in "xy"]
    for process in both:
        assert process.communicate(timeout=60)[1] == ""
        assert process.returncode == 0
    assert len(set(held(tmp_path).values())) == 1
    assert sorted(held(tmp_path)) == sorted(NAMES)
    assert parts_of(tmp_path) == []


def test_who_does_not_end_is_not_waited_for_without_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that was stopped in the middle holds the folder: said, and its files are left alone."""
    monkeypatch.setattr(parts, "LONGEST", 0.2)
    with (
        parts.parts(tmp_path) as theirs,
        pytest.raises(InputError, match=r"another process writes there, and has not ended in 0\.2 s"),
    ):
        write_files(tmp_path, {"a": b"a"})
    assert not theirs.exists()
    assert list(tmp_path.iterdir()) == []


POOL = """
import time
from hpwhsim.processes import processes
with processes(2, ["hpwhsim.errors"]) as pool:
    work = [pool.submit(time.sleep, 0.0) for _ in range(2)]
    [one.result() for one in work]
    work = [pool.submit(time.sleep, 100.0) for _ in range(2)]
    print("begun", flush=True)
    {then}
"""


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGKILL, signal.SIGINT])
def test_processes_end_with_the_first(sign: signal.Signals) -> None:
    """However it ends: two that work, and what starts them, are gone within two seconds."""
    process = started("-c", POOL.format(then="work[0].result()"))
    assert process.stdout is not None
    assert process.stdout.readline() == "begun\n"
    assert len(alive(process.pid)) >= 3
    said = stopped(process, sign)
    assert gone_within(process.pid, 2.0)
    assert said.count("Traceback") == (sign == signal.SIGINT)  # of the first alone


def test_processes_end_when_their_work_is_not_wanted() -> None:
    """A block that fails waits for nobody."""
    process = started("-c", POOL.format(then="raise SystemExit(7)"))
    assert process.wait(timeout=20) == 7
    assert gone_within(process.pid, 2.0)
    process.communicate()


@pytest.mark.slow
@pytest.mark.year
@pytest.mark.usefixtures("anew")
def test_a_full_disk_leaves_the_old_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """run, sweep and the acceptance of a record: one line, exit 2, the old files and no part of new ones."""
    path = electric(tmp_path)
    vary = f"{VOLUME}=2000 L,2100 L"
    for room, argv in (
        (100_000, ["run", str(path), "--out", str(tmp_path / "run")]),  # for the record, not for the hours
        (1000, ["sweep", str(path), "--vary", vary, "--out", str(tmp_path / "sweep")]),
        (1000, ["regress", str(tmp_path), "--accept", "because"]),
    ):
        assert cli.main(argv) == 0
        edited = yaml.safe_load(path.read_text())
        edited["building"]["apartments"] += 1
        path.write_text(yaml.safe_dump(edited))
        before = held(tmp_path)
        capsys.readouterr()
        with full_disk(room):
            code = cli.main(argv)
        said = capsys.readouterr()
        assert (code, said.err.count("\n")) == (2, 1), said.err
        assert "cannot be written: File too large" in said.err
        assert held(tmp_path) == before
        assert parts_of(tmp_path) == []
