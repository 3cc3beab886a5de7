"""A bundle held against its own hashes, the documents beside it, and a fresh run of what is in it."""

import json
import math
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.dossier.archive import is_inside, unpacked
from hpwhsim.dossier.bundle import FACTORS, KIND, MANIFEST, RECORD, factors, sha256, versions
from hpwhsim.errors import InputError
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.io.user_file import decoded
from hpwhsim.io.user_json import from_json
from hpwhsim.regression.compare import Move, compare
from hpwhsim.results.records import Record, Stored, finite
from hpwhsim.scenario.reading import read_scenario

SHAPE = {"kind": str, "versions": dict, "scenario": dict, "files": list, "documents": list}
MOST_SEEDS = 10_000  # as --seeds
ROUNDING = 1e-9  # relative: factors are a few products of table values
SAID_OF_RECORD = ("title", "weather.sha256", "weather.station")
"""Keys of the record that are no results, and hang on the inputs alone."""


class Finding(NamedTuple):
    """One thing that was compared."""

    what: str
    said: str  # how it compares, in words
    same: bool | None  # None: there was nothing to compare it with


class Verdict(NamedTuple):
    """What holding a bundle against a fresh run found."""

    findings: tuple[Finding, ...]
    moves: tuple[Move, ...]  # figures of the record beyond tolerance, largest relative change first

    @property
    def same(self) -> bool:
        """Whether nothing that was compared differs."""
        return all(finding.same is not False for finding in self.findings)

    @property
    def missing(self) -> tuple[str, ...]:
        """What could not be compared."""
        return tuple(finding.what for finding in self.findings if finding.same is None)


def verify(path: Path) -> Verdict:
    """Repeat the calculation of a bundle from its own files and say what differs.

    Parameters
    ----------
    path : Path
        The archive. Workbook and PDF are looked for in its folder.

    Raises
    ------
    InputError
        If it is no bundle or a damaged one, or files that are all as they were cannot be calculated.
    """
    held, manifest, stored, kept = opened(path)
    findings = [*_documents(path.parent, manifest), *_files(held, manifest)]
    found = _version_findings(manifest["versions"])
    untouched = all(one.same for one in findings if one.same is not None)
    moves: tuple[Move, ...] = ()
    try:
        fresh, used = _repeated(path, held, manifest["scenario"], _seeds(path, stored))
    except InputError as error:
        if untouched:
            raise
        findings.append(Finding("calculation", f"cannot be repeated: {error}", False))
    else:
        findings.append(_factor_finding(kept, used))
        record, moves = _record_finding(stored, fresh)
        findings.append(record)
    return Verdict((*findings, *found), moves)


class Opened(NamedTuple):
    """What an archive holds."""

    held: dict[str, bytes]  # files by name
    manifest: dict[str, Any]
    record: dict[str, Any]
    factors: dict[str, Any]


# -- reading ---------------------------------------------------------------------------------------------


def opened(path: Path) -> Opened:
    """Read an archive.

    Raises
    ------
    InputError
        If it is no bundle or a damaged one.
    """
    held = unpacked(path)
    manifest = _manifest(path, held)
    return Opened(held, manifest, _json(path, held, RECORD), _json(path, held, FACTORS))


def _json(path: Path, held: Mapping[str, bytes], name: str) -> dict[str, Any]:
    """A block of JSON in the archive."""
    if name not in held:
        raise InputError(f"{path}: no bundle of a dossier: allowed an archive with {name} in it")
    where = f"{path}: {name}"
    found = from_json(decoded(held[name], where), where)
    if not isinstance(found, dict):
        raise InputError(f"{path}: {name}: allowed a block of keys")
    return found


def _manifest(path: Path, held: Mapping[str, bytes]) -> dict[str, Any]:
    """The list of what is in the archive, its shape checked."""
    found = _json(path, held, MANIFEST)
    for key, kind in SHAPE.items():
        if not isinstance(found.get(key), kind):
            raise InputError(f"{path}: {MANIFEST}: allowed a {kind.__name__} named '{key}' in it")
    if found["kind"] != KIND:
        raise InputError(f"{path}: {MANIFEST}: kind: got {found['kind']!r}; allowed {KIND!r}")
    scenario = found["scenario"]
    texts = isinstance(scenario.get("overrides"), list) and all(
        isinstance(text, str) for text in (scenario.get("name"), *scenario["overrides"])
    )
    rows = all(
        isinstance(item, dict) and all(isinstance(item.get(key), str) for key in ("name", "sha256"))
        for item in (*found["files"], *found["documents"])
    )
    if not (texts and rows):
        raise InputError(f"{path}: {MANIFEST}: got blocks that lack keys; allowed those of a bundle")
    for item in (*found["files"], *found["documents"]):
        if not is_inside(item["name"]):
            raise InputError(f"{path}: {MANIFEST}: got the file name {item['name']!r}; allowed plain names")
    if scenario["name"] not in held:
        raise InputError(f"{path}: the scenario {scenario['name']} is not in the archive")
    return found


def _seeds(path: Path, stored: Record) -> int:
    """Over how many years of random draws the record was made; 0 where it was one."""
    spread = stored.get("seeds", {"count": 0})
    count = spread.get("count") if isinstance(spread, dict) else None
    if not isinstance(count, int) or isinstance(count, bool) or not 0 <= count <= MOST_SEEDS:
        raise InputError(f"{path}: {RECORD}: seeds: allowed a count of 0 to {MOST_SEEDS}")
    return count


def _repeated(
    path: Path, held: Mapping[str, bytes], scenario: Mapping[str, Any], seeds: int
) -> tuple[Record, dict[str, Any]]:
    """The record and the factors of a fresh run in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="tankyear-") as made:
        folder = Path(made).resolve()
        try:
            for name, data in held.items():
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).write_bytes(data)
        except OSError as error:
            raise InputError(f"{path}: cannot be unpacked: {error.strerror}") from None
        try:
            result = evaluate_over(read_scenario(folder / scenario["name"], scenario["overrides"]), seeds)
        except InputError as error:
            said = str(error).replace(f"{folder}/", "").replace(str(folder), "")
            raise InputError(f"{path}: {said}") from None
        return finite(result.plant.record), json.loads(json.dumps(factors(result)))


# -- comparing -------------------------------------------------------------------------------------------


def _documents(folder: Path, manifest: Mapping[str, Any]) -> Iterator[Finding]:
    """Workbook and PDF beside the archive."""
    for item in manifest["documents"]:
        what, file = f"{item['name']} beside the archive", folder / item["name"]
        try:
            data = file.read_bytes()
        except FileNotFoundError:
            yield Finding(what, "is not there: not compared", None)
        except OSError as error:
            yield Finding(what, f"cannot be read ({error.strerror}): not compared", None)
        else:
            yield _hashed(what, data, item["sha256"])


def _files(held: Mapping[str, bytes], manifest: Mapping[str, Any]) -> Iterator[Finding]:
    """Files in the archive, those that are too many or too few included."""
    for item in manifest["files"]:
        what = f"{item['name']} in the archive"
        if item["name"] in held:
            yield _hashed(what, held[item["name"]], item["sha256"])
        else:
            yield Finding(what, "is gone", False)
    known = {MANIFEST, *(item["name"] for item in manifest["files"])}
    for name in held:
        if name not in known:
            yield Finding(f"{name} in the archive", f"is not listed in {MANIFEST}: added later", False)


def _hashed(what: str, data: bytes, kept: str) -> Finding:
    found = sha256(data)
    if found == kept:
        return Finding(what, "same SHA-256", True)
    return Finding(what, f"has changed: SHA-256 {found[:12]}…, when made {kept[:12]}…", False)


def _version_findings(kept: Mapping[str, Any]) -> Iterator[Finding]:
    """Versions of program and libraries: what another one gives is compared, not the version itself."""
    now = versions()
    other = [
        f"{name} {old} (here {now.get(name, 'none')})" for name, old in kept.items() if now.get(name) != old
    ]
    yield Finding("versions", f"made with {', '.join(other)}" if other else "same", True)


def _factor_finding(kept: Mapping[str, Any], fresh: Mapping[str, Any]) -> Finding:
    """Factors of the bundle against those that the fresh run used."""
    old, new = dict(_single("", kept)), dict(_single("", fresh))
    differs = []
    for key in {**old, **new}:
        one, other = old.get(key), new.get(key)
        if not _alike(one, other):
            differs.append(f"{key} is {one!r} in the bundle, {other!r} in the fresh run")
    if not differs:
        return Finding("factors against the fresh run", f"{len(new)} values: same", True)
    return Finding("factors against the fresh run", f"differ: {'; '.join(differs)}", False)


def _alike(one: object, other: object) -> bool:
    """Whether two values are the same but for rounding."""
    if isinstance(one, float | int) and isinstance(other, float | int):
        return math.isclose(one, other, rel_tol=ROUNDING)
    return one == other


def _single(key: str, value: object) -> Iterator[tuple[str, object]]:
    """Single values of nested blocks and lists by dotted key."""
    if isinstance(value, Mapping):
        for name, item in value.items():
            yield from _single(f"{key}.{name}" if key else str(name), item)
    elif isinstance(value, list):
        for n, item in enumerate(value, start=1):
            yield from _single(f"{key}[{n}]", item)
    else:
        yield key, value


def _record_finding(kept: Record, fresh: Record) -> tuple[Finding, tuple[Move, ...]]:
    """The record of the bundle against the fresh one."""
    what = "record against the fresh run"
    moves, within = compare(Stored({}, dict(kept), []), fresh)
    other = [key for key in SAID_OF_RECORD if kept.get(key) != fresh.get(key)]
    said = [f"{key} is {kept.get(key)!r} in the bundle, {fresh.get(key)!r} in the fresh run" for key in other]
    if moves:
        said.insert(0, f"{len(moves)} values differ")
    if said:
        return Finding(what, f"differs: {'; '.join(said)}", False), moves
    rounding = f", {len(within)} of them but for rounding" if within else ""
    return Finding(what, f"every value: same{rounding}", True), ()
