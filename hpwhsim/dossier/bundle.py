"""The bundle of a dossier: one archive with all that repeats the calculation in another place.

::

    bundle.json    versions, the scenario's name and overrides, SHA-256 of every file and of the documents
    factors.json   factors that the accounts used
    record.json    the annual record
    README.txt     what is in it and how to repeat it
    inputs/        the scenario and every file that it and the file of its baseline name

Files have relative names; nothing says where they were when the dossier was made. In the scenarios the names
of files are those in the archive; all else in them is as it was written.
"""

import hashlib
import json
import platform
import shlex
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import hpwhsim
from hpwhsim.account.gases import warming
from hpwhsim.dossier.archive import packed
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.results.records import finite
from hpwhsim.scenario.files import Named, files_of, named_anew, overrides_anew, plain_names
from hpwhsim.scenario.reading import Loaded

KIND = "tankyear dossier bundle, 2"
MANIFEST, FACTORS, RECORD, README = "bundle.json", "factors.json", "record.json", "README.txt"
INPUTS = "inputs"
LIBRARIES = ("numpy", "numba", "scipy", "CoolProp", "pandas", "pvlib", "pygfunction", "pint", "xarray")
"""Libraries that a figure may hang on."""


def bundle(result: Result, documents: Mapping[str, bytes]) -> bytes:
    """The bytes of the archive.

    Parameters
    ----------
    result : Result
        What was calculated.
    documents : mapping of str to bytes
        Workbook and PDF by file name: their hashes are kept.
    """
    loaded = result.loaded
    names, texts = _inputs(loaded)
    overrides = overrides_anew(loaded, names)
    contents = {
        README: _readme(names[loaded.path], overrides, list(documents)).encode(),
        FACTORS: _json(factors(result)),
        RECORD: _json(finite(result.plant.record)),
        **{names[path]: data for path, data in texts.items()},
    }
    files = {names[file.path]: file for file in files_of(loaded)}
    manifest = {
        "kind": KIND,
        "versions": versions(),
        "scenario": {"name": names[loaded.path], "overrides": list(overrides)},
        "files": [
            {"name": name, "what": WHAT[name] if name in WHAT else files[name].key, "sha256": sha256(data)}
            | _as_read(files.get(name))
            for name, data in contents.items()
        ],
        "documents": [{"name": name, "sha256": sha256(data)} for name, data in documents.items()],
    }
    return packed({MANIFEST: _json(manifest), **contents})


def _as_read(file: Named | None) -> dict[str, str]:
    """The SHA-256 of a scenario before its files were named anew, which record and PDF give."""
    return {"sha256_as_read": file.loaded.sha256} if file is not None and file.loaded is not None else {}


WHAT = {README: "how to repeat the calculation", FACTORS: "factors used", RECORD: "annual record"}


def repeat_command(loaded: Loaded, verb: str = "run") -> str:
    """The command that repeats the calculation where the archive was unpacked."""
    names, _ = _inputs(loaded, read=False)
    return _command(names[loaded.path], overrides_anew(loaded, names), verb)


def _command(name: str, overrides: tuple[str, ...], verb: str = "run") -> str:
    words = ["tankyear", verb, name]
    for override in overrides:
        words += ["--set", override]
    return shlex.join(words)


def _inputs(loaded: Loaded, read: bool = True) -> tuple[dict[Path, str], dict[Path, bytes]]:
    """Name in the archive of every input, and its bytes; scenarios name files as the archive does."""
    files = files_of(loaded)
    names = {path: f"{INPUTS}/{name}" for path, name in plain_names([file.path for file in files]).items()}
    if not read:
        return names, {}
    return names, {
        file.path: file.path.read_bytes() if file.loaded is None else named_anew(file.loaded, names).encode()
        for file in files
    }


def _json(value: object) -> bytes:
    return f"{json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)}\n".encode()


def sha256(data: bytes) -> str:
    """The SHA-256 of some bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def versions() -> dict[str, str]:
    """Versions of the program, of Python and of the libraries that a figure may hang on."""
    found = {"tankyear": hpwhsim.__version__, "Python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def _readme(scenario: str, overrides: tuple[str, ...], documents: list[str]) -> str:
    return f"""The inputs of one calculation of tankyear, and what came out of it.

{MANIFEST}    versions, overrides of the command line, and the SHA-256 of every file here, of
               {" and of ".join(documents)}
{FACTORS}   factors of greenhouse gases and of source energy that the accounts used
{RECORD}    the annual record: every figure, every default in force, every caution. Its
               scenario.sha256 is that of the scenario as it was read; the one here differs from it
               by the names of the files that it names, and by nothing else.
{INPUTS}/        the scenario, its weather, and every other file that it or its baseline names

To compare all of this with a fresh run (documents where they lie beside the archive):

    tankyear dossier --verify bundle.zip

To repeat the calculation, unpack the archive into an empty folder, and in that folder:

    {_command(scenario, overrides)}
    {_command(scenario, overrides, "dossier")}
"""


def factors(result: Result) -> dict[str, Any]:
    """The factors in force. The calculation takes them from the scenario and the program's own tables."""

    def side(of: Side) -> dict[str, Any]:
        found: dict[str, Any] = {
            "fuel_kgco2e_per_kwh": of.fuel_kgco2e_per_kwh,
            "fuel_source": of.fuel_source,
            "fuel_to_source": of.fuel_to_source,
        }
        if of.refrigerant is not None:
            found["refrigerant"] = of.refrigerant._asdict()
        return found

    found: dict[str, Any] = {name: side(of) for name, of in result.sides.items()}
    found["electricity_to_source"] = result.electricity_to_source
    found["service_years"] = result.service_years
    carbon = result.plant.scenario.carbon
    if carbon is not None:
        found["gwp"] = {"set": carbon.gwp, **warming(carbon.gwp)}
    for name, grid in (("grid", result.grid), ("marginal", result.marginal)):
        if grid is not None:
            by_year = grid.kgco2e_per_kwh
            found[name] = {
                "name": grid.name,
                "kind": grid.kind,
                "source": grid.source,
                "kgco2e_per_kwh": by_year[:, 0].tolist() if by_year.shape[1] == 1 else float(by_year.mean()),
            }
    return found
