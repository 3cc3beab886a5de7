"""Every reader against mutated files: no error but `InputError`, and an end within seconds.

``make slow`` draws the same few of each reader every time; ``make fuzz`` new ones, for `FUZZ_MINUTES`, and
says the seed that they came of: with that as `FUZZ_SEED` it draws them again. What lands is tried on the same
ones each time, so that a change and not the draw decides.
"""

import itertools
import os
import secrets
import tempfile
import time
from pathlib import Path
from typing import Any

import fuzz
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

pytestmark = pytest.mark.contract

MINUTES = float(os.environ.get("FUZZ_MINUTES", "0"))
SEED = os.environ.get("FUZZ_SEED", "")
FEW = 10  # of each reader, where no time is given
MANY = 10  # of a reader before the next one
KEPT = Path(os.environ.get("FUZZ_KEPT", "out/fuzz"))  # where bytes that show a fault are kept


def examine(reader: str, data: bytes) -> None:
    with tempfile.TemporaryDirectory(prefix="tankyear-fuzz-") as folder:
        found = fuzz.fault(reader, data, Path(folder))
    if found and MINUTES:
        KEPT.mkdir(parents=True, exist_ok=True)
        (KEPT / f"{reader.replace(' ', '-')}-{abs(hash(data)):x}").write_bytes(data)
    assert not found, f"{reader}: {found}"


def holds(reader: str, first: int = 0, **drawing: Any) -> None:
    """Hold that a reader takes what is drawn for it."""

    @seed(first)
    @settings(database=None, deadline=None, suppress_health_check=list(HealthCheck), **drawing)
    @given(st.data())
    def hold(data: st.DataObject) -> None:
        examine(reader, data.draw(fuzz.mutated(reader)))

    hold()


@pytest.mark.slow
@pytest.mark.parametrize("reader", fuzz.READERS)
def test_a_mutated_file_is_read_or_refused(reader: str) -> None:
    holds(reader, max_examples=FEW)


@pytest.mark.long
def test_mutated_files_for_some_minutes() -> None:
    """All readers in turn until the time is up; every kind of fault is named once."""
    if not MINUTES:
        pytest.skip("FUZZ_MINUTES says for how long")
    start = int(SEED) if SEED else secrets.randbelow(10**9)
    end, faults = time.monotonic() + 60.0 * MINUTES, dict[str, str]()
    for turn, reader in enumerate(itertools.cycle(fuzz.READERS)):
        if time.monotonic() > end:
            break
        try:
            holds(reader, start + turn, max_examples=MANY, derandomize=False, report_multiple_bugs=False)
        except AssertionError as error:
            faults.setdefault(str(error).partition("\n")[0][:200], reader)
    print(f"FUZZ_SEED={start}: {turn * MANY} inputs, {len(faults)} kinds of fault")
    assert not faults, "\n".join(faults)
