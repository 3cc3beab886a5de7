"""Full disks, killed processes and damaged files, for the tests of what is left then."""

import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from hpwhsim.results.parts import BEGINS

DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "no byte": lambda _: b"",
    "half of it": lambda held: held[: len(held) // 2],
    "another byte in the middle": lambda held: (
        held[: len(held) // 2] + bytes([held[len(held) // 2] ^ 1]) + held[len(held) // 2 + 1 :]
    ),
    "noise": lambda held: bytes((7 * i * i + i) % 251 for i in range(len(held))),
    "zeros": lambda held: bytes(len(held)),
}
"""What may become of a file, by name."""


@contextmanager
def full_disk(left: int = 0) -> Iterator[None]:
    """No file of this process can be written beyond so many bytes, whoever runs it."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (left, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def started(*words: str, **environment: str) -> subprocess.Popen[str]:
    """Python with these words, in a process group of its own, as a terminal starts a command.

    One that runs in the background of a script is started deaf to Ctrl-C, and so would be what it starts.
    """
    return subprocess.Popen(
        [sys.executable, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | environment,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def stopped(process: subprocess.Popen[str], sign: signal.Signals) -> str:
    """Send a signal, Ctrl-C to the whole group as a terminal does, and what the process then says."""
    if sign == signal.SIGINT:
        os.killpg(process.pid, sign)
    else:
        os.kill(process.pid, sign)
    return process.communicate(timeout=60)[1]


def alive(group: int) -> list[int]:
    """Processes of a group that have not ended."""
    found = []
    for place in Path("/proc").iterdir():
        if place.name.isdecimal():
            try:
                state, _, of = (place / "stat").read_text().rpartition(")")[2].split()[:3]
            except OSError:
                continue
            if int(of) == group and state != "Z":
                found.append(int(place.name))
    return found


def gone_within(group: int, seconds: float) -> bool:
    """Whether every process of a group ends in that time."""
    until = time.monotonic() + seconds
    while alive(group):
        if time.monotonic() > until:
            return False
        time.sleep(0.02)
    return True


def held(folder: Path) -> Mapping[str, bytes]:
    """Every file of a folder by name, but what is being written."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and BEGINS not in str(path)
    }


def parts_of(folder: Path) -> list[Path]:
    """What is being written, or was when a process was killed."""
    return list(folder.rglob(f"{BEGINS}*"))
