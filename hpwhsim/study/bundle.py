"""The bundle of a dossier: scenario, files, factors and record, to repeat the calculation later."""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import hpwhsim
from hpwhsim.errors import InputError
from hpwhsim.scenario.parts import Block
from hpwhsim.scenario.reading import Loaded, baseline_of, dump, read_scenario, scenario_from
from hpwhsim.study.dossier import Papers, Side
from hpwhsim.study.draw_years import answer_over
from hpwhsim.study.records import Record, Stored, finite
from hpwhsim.study.regress import Move, compare

WEATHER = "site.weather="
KIND = "tankyear dossier bundle, 1"
SHAPE = {"kind": str, "tool": dict, "scenario": dict, "files": list, "factors": dict, "record": dict}


class Verdict(NamedTuple):
    """What a repeated calculation found."""

    notes: tuple[str, ...]  # what is worth knowing and has not moved
    inputs: tuple[str, ...]  # files that are not what they were
    moves: tuple[Move, ...]  # figures beyond tolerance, largest relative change first

    @property
    def same(self) -> bool:
        """Whether nothing moved."""
        return not self.inputs and not self.moves


def bundle(papers: Papers, folder: Path) -> dict[str, Any]:
    """What has to be kept of a calculation.

    Weather and other files are not in it: they are named by path and hash. Paths are relative to `folder`,
    where the bundle will lie, unless the scenario file itself has them in full.
    """
    loaded = papers.loaded
    text = loaded.path.read_bytes().decode("utf-8-sig")  # line ends as they are: the hash is of the bytes
    files = dict(_files_of(loaded))
    places = {
        str(path): str(path) if str(path) in text else _relative(path, folder) for path in files.values()
    }
    return {
        "kind": KIND,
        "tool": {"name": "tankyear", "version": hpwhsim.__version__},
        "scenario": {
            "path": _relative(loaded.path, folder),
            "sha256": loaded.sha256,
            "overrides": [one for one in loaded.overrides if not one.startswith(WEATHER)],
            "other_weather": any(one.startswith(WEATHER) for one in loaded.overrides),
            "text": text,
            "keys": _moved(dump(loaded.scenario), places),  # overrides included
        },
        "files": [
            {"key": key, "path": places[str(path)], "sha256": _sha256(path)} for key, path in files.items()
        ],
        "factors": _factors(papers),
        "record": finite(papers.plant.record),
    }


def verify(path: Path) -> Verdict:
    """Repeat the calculation of a bundle and say what moved.

    The scenario file is read where it was; if it is gone, the keys kept in the bundle are.

    Raises
    ------
    InputError
        If the bundle is none, or a file that it names is not there, or the calculation cannot be repeated.
    """
    held = _read(path)
    folder, scenario = path.resolve().parent, held["scenario"]
    notes, moved = [], []
    text = scenario["text"].encode()
    if scenario["sha256"] not in (_hash(text), _hash(b"\xef\xbb\xbf" + text)):  # with a byte-order mark
        moved.append("the scenario text inside the bundle is not the one whose hash it gives")
    file = (folder / scenario["path"]).resolve()
    overrides = tuple(scenario["overrides"])
    if file.is_file():
        weather = None
        if scenario["other_weather"]:
            weather = next((folder / f["path"] for f in held["files"] if f["key"] == "site.weather"), None)
        loaded = read_scenario(file.resolve(), overrides, weather)
        if loaded.sha256 != scenario["sha256"]:
            moved.append(f"{file}: the scenario file has changed")
    else:
        notes.append(f"{file}: there is no such file; repeated from the keys kept in the bundle")
        keys = _moved(
            scenario["keys"], {f["path"]: str((folder / f["path"]).resolve()) for f in held["files"]}
        )
        loaded = Loaded(scenario_from(keys, folder, str(path)), file, scenario["sha256"], overrides)
    now = {str(f): _sha256(f) for _, f in _files_of(loaded)}
    for item in held["files"]:
        there = (folder / item["path"]).resolve()
        found = now.get(str(there)) or (_sha256(there) if there.is_file() else None)
        if found != item["sha256"]:
            what = "is gone" if found is None else "has changed"
            moved.append(f"{there} ({item['key']}): the file {what}")
    if held["tool"].get("version") != hpwhsim.__version__:
        notes.append(f"made by tankyear {held['tool'].get('version')}, repeated by {hpwhsim.__version__}")
    seeds = held["record"].get("seeds", {}).get("count", 0)
    fresh: Record = finite(answer_over(loaded, seeds).year.record)
    stored = Stored({}, held["record"], [])
    moves, within = compare(stored, fresh)
    if within:
        notes.append(f"{len(within)} figures differ by rounding only")
    return Verdict(tuple(notes), tuple(moved), moves)


# -- parts -----------------------------------------------------------------------------------------------


def _read(path: Path) -> dict[str, Any]:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; allowed a bundle.json of a dossier") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not valid JSON: {' '.join(str(error).split())}") from None
    for key, kind in SHAPE.items():
        if not isinstance(held, dict) or not isinstance(held.get(key), kind):
            raise InputError(f"{path}: no bundle of a dossier: allowed a {kind.__name__} named '{key}' in it")
    if held["kind"] != KIND:
        raise InputError(f"{path}: kind: got {held['kind']!r}; allowed {KIND!r}")
    texts = {"path": str, "sha256": str, "text": str, "overrides": list, "other_weather": bool, "keys": dict}
    good = all(isinstance(held["scenario"].get(key), kind) for key, kind in texts.items())
    rows = all(
        isinstance(item, dict) and all(isinstance(item.get(k), str) for k in ("key", "path", "sha256"))
        for item in held["files"]
    )
    if not (good and rows):
        raise InputError(f"{path}: scenario or files: got blocks that lack keys; allowed those of a bundle")
    return held


def _files_of(loaded: Loaded) -> Iterator[tuple[str, Path]]:
    """Every file that a scenario or the plant of its baseline names, by key."""
    yield from _files(loaded.scenario, "")
    baseline = baseline_of(loaded)
    if baseline is not None and isinstance(loaded.scenario.baseline, Path):
        yield from _files(baseline.scenario.plant, "baseline.")


def _files(block: Block, prefix: str) -> Iterator[tuple[str, Path]]:
    """Every file that a block names, by key."""
    for name, field in type(block).model_fields.items():
        key, value = prefix + (field.alias or name), getattr(block, name)
        if isinstance(value, Block):
            yield from _files(value, f"{key}.")
        elif isinstance(value, Path):
            yield key, value


def _sha256(path: Path) -> str:
    return _hash(path.read_bytes())


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _relative(path: Path, folder: Path) -> str:
    """The path from `folder` on, or as it is where there is none (another drive)."""
    try:
        return Path(os.path.relpath(path, folder.resolve())).as_posix()
    except ValueError:
        return path.as_posix()


def _moved(value: Any, places: Mapping[str, str]) -> Any:
    """Dumped keys with the paths in `places` written another way."""
    if isinstance(value, dict):
        return {key: _moved(item, places) for key, item in value.items()}
    if isinstance(value, list):
        return [_moved(item, places) for item in value]
    if isinstance(value, str):
        return places.get(value, value)
    return value if isinstance(value, bool | int | float) or value is None else str(value)


def _factors(papers: Papers) -> dict[str, Any]:
    """The factors in force, for a reader; the calculation takes them from the scenario."""

    def side(of: Side) -> dict[str, Any]:
        found: dict[str, Any] = {
            "fuel_kgco2e_per_kwh": of.fuel_kgco2e_per_kwh,
            "fuel_source": of.fuel_source,
            "fuel_to_source": of.fuel_to_source,
        }
        if of.refrigerant is not None:
            found["refrigerant"] = of.refrigerant._asdict()
        return found

    found: dict[str, Any] = {name: side(of) for name, of in papers.sides.items()}
    found["electricity_to_source"] = papers.electricity_to_source
    found["service_years"] = papers.service_years
    for name, grid in (("grid", papers.grid), ("marginal", papers.marginal)):
        if grid is not None:
            factors = grid.kgco2e_per_kwh
            found[name] = {
                "name": grid.name,
                "kind": grid.kind,
                "source": grid.source,
                "kgco2e_per_kwh": factors[:, 0].tolist() if factors.shape[1] == 1 else float(factors.mean()),
            }
    return found
