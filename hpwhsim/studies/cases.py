"""The cases of a study file, by number: which values the varied keys take, and what they depend on."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import hpwhsim
from hpwhsim.arrays import Array
from hpwhsim.errors import Findings
from hpwhsim.evaluation.reading import read, with_changes
from hpwhsim.io.disk_cache import sources_hash_of
from hpwhsim.results.asked import KEYS, named_keys
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.files import files_of, short_overrides
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.study import StudyFile, keys_of, read_study
from hpwhsim.studies.sampling import Drawn, drawn, points

PROGRAM = "studies.study"  # module that the cases come out of, with all that it imports


class Cases(NamedTuple):
    """A study that is ready to run."""

    file: StudyFile
    base: Loaded  # the scenario with what is set in all cases
    keys: tuple[str, ...]  # that differ between cases
    drawn: tuple[Drawn, ...]  # those of them that are sampled
    points: Array | None  # (points, sampled keys), shares of the distributions
    record: tuple[str, ...]  # keys of the table
    size: int  # number of cases

    def values(self, number: int) -> dict[str, Any]:
        """Values by key of a case, from 0; the sample runs fastest, then the rows, then the grid."""
        found: dict[str, Any] = {}
        rest, sampled = number, {}
        if self.points is not None:
            rest, place = divmod(rest, len(self.points))
            sampled = {
                key.key: key.at(float(share))
                for key, share in zip(self.drawn, self.points[place], strict=True)
            }
        row: Mapping[str, Any] = {}
        if self.file.rows:
            rest, place = divmod(rest, len(self.file.rows))
            row = self.file.rows[place]
        for key, values in reversed(self.file.study.grid.items()):
            rest, place = divmod(rest, len(values))
            found[key] = values[place]
        return {key: found[key] for key in self.file.study.grid} | dict(row) | sampled


def study_cases(path: Path, overrides: Sequence[str] = (), weather: Path | None = None) -> Cases:
    """Read a study file and its scenario.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    file = read_study(path)
    study, wrong = file.study, Findings()
    sampled: list[Drawn] = []
    for key, spread in study.sample.keys.items() if study.sample is not None else ():
        with wrong.step("sample.keys: "):
            sampled.append(drawn(key, spread))
    record: tuple[str, ...] = KEYS
    with wrong.step():
        record = named_keys(study.record, "record") if study.record else KEYS
    hourly = [name for name, row in declarations().items() if row.where != "record" and row.kind != "text"]
    wrong.lines += [
        f"hourly: got {name}; allowed an hourly series such as {', '.join(hourly[:4])}"
        for name in study.hourly
        if name not in hourly
    ]
    keys = keys_of(file)
    changed = [
        *(text.partition("=")[0].strip() for text in overrides),
        *(["site.weather"] if weather else []),
    ]
    wrong.lines += [
        f"--set {one}: the study varies {key}; allowed a key that it does not vary"
        for one in changed
        for key in keys
        if f"{one}.".startswith(f"{key}.") or f"{key}.".startswith(f"{one}.")
    ]
    wrong.raise_any(str(file.path))
    base = read(study.scenario, overrides, weather)
    if study.set:
        base = with_changes(base, study.set)
    places = points(study.sample) if study.sample is not None else None
    count = (1 if places is None else len(places)) * max(len(file.rows), 1)
    for values in study.grid.values():
        count *= len(values)
    return Cases(file, base, keys, tuple(sampled), places, tuple(record), count)


def fingerprint(cases: Cases) -> dict[str, str]:
    """What the cases depend on, each part by itself, so that a message can name what differs.

    Files count by what is in them, so that a study that was moved is still the same.
    """
    study = cases.file.study
    values = study.model_dump(mode="json", exclude={"scenario", "title"}, exclude_unset=True)
    named = [value for values in study.grid.values() for value in values]
    named += [value for row in cases.file.rows for value in row.values()]
    for key in cases.drawn:
        named += key.values
    paths = {file.path for file in files_of(cases.base)} | {one for one in named if isinstance(one, Path)}
    digests = sorted(hashlib.sha256(path.read_bytes()).hexdigest() for path in paths)
    rows = [[_plain(value) for value in row.values()] for row in cases.file.rows]
    return {
        "study": _digest([_names(values), rows]),
        "scenario": _digest([cases.base.sha256, short_overrides(cases.base)]),
        "files": _digest(digests),
        "program": f"{hpwhsim.__version__} {sources_hash_of(PROGRAM)}",
    }


def _plain(value: Any) -> Any:
    return value.name if isinstance(value, Path) else value


def _names(value: Any) -> Any:
    """Values of a study with files by their names alone."""
    if isinstance(value, dict):
        return {key: _names(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_names(item) for item in value]
    return Path(value).name if isinstance(value, str) and value.startswith("/") else value


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()
