"""Cases of a study, some at a time: simulated in a worker, kept in a file each until all are there."""

import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError, UnbalancedError
from hpwhsim.evaluation.baselines import Baselines
from hpwhsim.evaluation.draw_years import figures
from hpwhsim.evaluation.evaluate import check, evaluated, years_of
from hpwhsim.evaluation.reading import with_changes
from hpwhsim.io.disk_cache import load
from hpwhsim.scenario.files import without_folders
from hpwhsim.scenario.reading import Loaded

MOST_BASELINES = 8  # kept by a worker; of about 5 MB each


class Chunk(NamedTuple):
    """What some cases gave, in their order."""

    keys: tuple[str, ...]  # numbers of their annual records, by `results.records.flatten`
    figures: Array  # (cases, keys); NaN where a case has no such number
    failed: tuple[str, ...]  # of each case why it has no year; empty: it has one
    cautions: tuple[str, ...]  # of each case, a line for each
    hourly: NDArray[np.float32]  # (cases, series, 8760)


class Worker:
    """Simulates cases; a process has one."""

    def __init__(self, base: Loaded, hourly: Sequence[str]) -> None:
        self.base, self.hourly, self.baselines = base, hourly, Baselines(MOST_BASELINES)

    def chunk(self, cases: Sequence[Mapping[str, Any]]) -> Chunk:
        """Simulate cases, one after another; a case that cannot be is kept with its message."""
        rows: list[dict[str, float]] = []
        failed, cautions = [], []
        series = np.full((len(cases), len(self.hourly), HOURS), np.nan, dtype=np.float32)
        for number, changes in enumerate(cases):
            try:
                checked = check(with_changes(self.base, changes), self.baselines)
                result = evaluated(checked.collected, *years_of(checked, self.baselines))
            except (InputError, UnbalancedError) as error:
                rows.append({})
                failed.append(" ".join(without_folders(str(error), self.base).split()))
                cautions.append("")
                continue
            year = result.plant.year
            rows.append(figures(year.record))
            failed.append("")
            cautions.append("\n".join(" ".join(text.split()) for text in year.cautions))
            for place, name in enumerate(self.hourly):
                if name in year.hourly:
                    series[number, place] = year.hourly[name]
        keys = tuple(dict.fromkeys(key for row in rows for key in row))
        table = np.array([[row.get(key, np.nan) for key in keys] for row in rows]).reshape(
            len(rows), len(keys)
        )
        return Chunk(keys, table, tuple(failed), tuple(cautions), series)


_here: list[Worker] = []  # of this process


def begin(base: Loaded, hourly: Sequence[str]) -> None:
    """Make the worker of this process."""
    _here[:] = [Worker(base, hourly)]


def work(cases: Sequence[Mapping[str, Any]]) -> Chunk:
    """`Worker.chunk` in this process."""
    return _here[0].chunk(cases)


# -- on disk -------------------------------------------------------------------------------------------


def keep(path: Path, chunk: Chunk) -> None:
    """Write a chunk beside its place and move it there when it is whole.

    Raises
    ------
    OSError
        If it cannot be written; then nothing is there.
    """
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            np.savez(stream, allow_pickle=False, **{k: np.asarray(v) for k, v in chunk._asdict().items()})
        os.replace(name, path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise


def kept(path: Path) -> Chunk | None:
    """A chunk that was kept; None where there is none that can be read whole."""
    found = load(path)
    if found is None:
        return None
    texts = (tuple(map(str, found[name].tolist())) for name in ("keys", "failed", "cautions"))
    keys, failed, cautions = texts
    return Chunk(keys, found["figures"], failed, cautions, found["hourly"])
