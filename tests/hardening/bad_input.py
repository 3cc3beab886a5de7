"""Bad input as data: what lies in a folder, what is typed there, and what the command must say.

A file of `corpus/` holds the cases of one reader: ``command`` (what is typed), ``files`` (what lies there)
and ``cases``. A case has a ``name``, what differs from these (``files``, ``command``, ``words`` that follow
the command), and ``says``: text of the one message, or a list of texts, one for each line below its head.

What a file holds is a text, a list of such parts one after the other, or a block with one of

* ``copy``: a file of the checkout
* ``hex``: bytes
* ``repeat`` and ``times``: a part many times over
* ``rows`` and ``count``: a line many times over, with ``{n}`` for its number from 0, ``{hour}``, ``{time}``,
  and ``{a}`` and ``{b}`` for numbers of 0 to 40 that are scattered
* ``of``: a part (or ``base``: this file as it lies there in the other cases), changed by ``replace`` (text
  for text), ``swap`` (the same in hexadecimal), ``lines`` (number of the line: its new text, null: none),
  ``cells`` ("line,cell": new text), ``first`` (only so many bytes of it), ``as`` (another encoding), ``gzip``
* ``zip``: files of an archive by name, or a list of pairs of name and part
* ``bundle``: the same with a manifest that lists them, beside a record, factors and a scenario
* ``result``: hourly.nc, by variable its value in all hours or a list; ``attrs`` beside it
* ``link``: where a link leads; ``fifo``, ``folder``

``<weather>`` and ``<golden>`` in a text are packaged weather files, ``<scenarios>`` the folder of
worked scenarios.
"""

import contextlib
import gzip
import io
import json
import os
import signal
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import yaml

ROOT = Path(__file__).resolve().parents[2]
CORPUS = Path(__file__).with_name("corpus")
PLACES = {
    "<weather>": str(ROOT / "weather" / "chicago-il-725300-tmy3.epw.gz"),
    "<golden>": str(ROOT / "weather" / "golden-co-724666-tmy3.csv.gz"),
    "<scenarios>": str(ROOT / "scenarios"),
}
LONGEST = 10.0  # s of the processor that reading may take
WAITING = 6.0  # times that by the clock: other work may hold the processor, and a pipe takes none of it
LONGEST_LINE = 700  # signs of a line of a message


class Case(NamedTuple):
    """One bad input."""

    reader: str
    name: str
    command: list[str]
    files: dict[str, Any]
    base: dict[str, Any]  # files of the other cases of the reader
    says: list[str]

    def __str__(self) -> str:
        return f"{self.reader}: {self.name}"


class Said(NamedTuple):
    """What the command did."""

    code: int
    out: str
    error: str


class Hang(BaseException):
    """The command takes too long; nothing that it calls catches this."""


def cases() -> Iterator[Case]:
    """Every case of the corpus."""
    for path in sorted(CORPUS.glob("*.yaml")):
        held = yaml.safe_load(path.read_text(encoding="utf-8"))
        base = held.get("files", {})
        for one in held["cases"]:
            says = one["says"]
            typed = one.get("command", held["command"]) + one.get("words", [])
            command = [_part(word, None).decode("utf-8", "surrogateescape") for word in typed]
            files = {name: part for name, part in (base | one.get("files", {})).items() if part is not None}
            yield Case(
                path.stem, one["name"], command, files, base, says if isinstance(says, list) else [says]
            )


# -- files ---------------------------------------------------------------------------------------------


def lay(case: Case, folder: Path) -> None:
    """Put the files of a case into a folder."""
    for name, part in case.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        kind = part if isinstance(part, Mapping) else {}
        if "link" in kind:
            path.symlink_to(kind["link"])
        elif "fifo" in kind:
            os.mkfifo(path)
        elif "folder" in kind:
            path.mkdir()
        else:
            path.write_bytes(_part(part, case.base.get(name)))


def part(what: Any) -> bytes:
    """The bytes of a part that stands by itself."""
    return _part(what, None)


def _part(part: Any, base: Any) -> bytes:
    """The bytes of a part; `base` is what the file holds in other cases."""
    if part == "base":
        return _part(base, None)
    if isinstance(part, str):
        for word, place in PLACES.items():
            part = part.replace(word, place)
        return str(part).encode("utf-8", "surrogatepass")
    if isinstance(part, list):
        return b"".join(_part(one, base) for one in part)
    if not isinstance(part, Mapping):
        raise TypeError(f"no part of a file: {part!r}")
    (make,) = [made for word, made in MAKERS.items() if word in part]
    return make(part, base)


def _copied(part: Mapping[str, Any], base: Any) -> bytes:
    data = (ROOT / part["copy"]).read_bytes()
    return gzip.decompress(data) if part["copy"].endswith(".gz") else data


def _repeated(part: Mapping[str, Any], base: Any) -> bytes:
    return _part(part["repeat"], base) * int(part["times"])


def _rows(part: Mapping[str, Any], base: Any) -> bytes:
    start = datetime(2023, 1, 1)
    rows = (
        part["rows"].format(
            n=n,
            hour=n % 24,
            time=(start + timedelta(hours=n)).isoformat(timespec="minutes"),
            a=40.0 * (n * 0.754877666 % 1.0),  # a sequence that fills the plane evenly
            b=40.0 * (n * 0.569840290 % 1.0),
        )
        for n in range(part["count"])
    )
    return ("\n".join(rows) + "\n").encode()


def _changed(part: Mapping[str, Any], base: Any) -> bytes:
    data = _part(part["of"], base)
    changes = [(_part(old, base), _part(new, base)) for old, new in part.get("replace", {}).items()]
    changes += [(bytes.fromhex(old), bytes.fromhex(new)) for old, new in part.get("swap", {}).items()]
    for old, new in changes:
        assert old in data, f"{old!r} is not there"
        data = data.replace(old, new)
    if "lines" in part or "cells" in part:
        lines: list[bytes | None] = list(data.split(b"\n"))
        for number, text in part.get("lines", {}).items():
            lines[number - 1] = None if text is None else _part(text, base)
        for place, text in part.get("cells", {}).items():
            line, cell = (int(word) - 1 for word in place.split(","))
            cells = (lines[line] or b"").split(b",")
            cells[cell] = _part(text, base)
            lines[line] = b",".join(cells)
        data = b"\n".join(line for line in lines if line is not None)
    if "as" in part:
        data = data.decode().encode(part["as"])
    data = gzip.compress(data, 1) if part.get("gzip") else data
    return data[: part.get("first")]


def _zipped(part: Mapping[str, Any], base: Any) -> bytes:
    held = part["zip"]
    pairs = held.items() if isinstance(held, Mapping) else held
    return _archive([(name, _part(inside, base)) for name, inside in pairs])


def _archive(files: Iterable[tuple[str, bytes]]) -> bytes:
    """An archive, the same bytes at any time."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as out, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a name twice is what a case is about
        for name, data in files:
            out.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return whole.getvalue()


def _bundled(part: Mapping[str, Any], base: Any) -> bytes:
    inside = {"record.json": "{}", "factors.json": "{}", "inputs/a.yaml": "a: 1"} | part["bundle"]
    files = {name: _part(one, None) for name, one in inside.items()}
    manifest = {
        "kind": "tankyear dossier bundle, 2",
        "versions": {},
        "scenario": {"name": "inputs/a.yaml", "overrides": []},
        "files": [{"name": name, "sha256": sha256(data).hexdigest()} for name, data in files.items()],
        "documents": [],
    }
    return _archive([("bundle.json", json.dumps(manifest).encode()), *files.items()])


def _result(part: Mapping[str, Any], base: Any) -> bytes:
    import xarray as xr

    def series(value: Any) -> Any:
        if isinstance(value, list):
            return ("short", np.array(value))
        return ("time", np.full(8760, value) if isinstance(value, str) else np.full(8760, float(value)))

    variables = {name: series(value) for name, value in part["result"].items()}
    return bytes(xr.Dataset(variables, attrs=part.get("attrs", {})).to_netcdf(engine="scipy"))


MAKERS = {
    "copy": _copied,
    "hex": lambda part, base: bytes.fromhex(part["hex"]),
    "repeat": _repeated,
    "rows": _rows,
    "of": _changed,
    "zip": _zipped,
    "bundle": _bundled,
    "result": _result,
}


# -- the command -----------------------------------------------------------------------------------------


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raise `Hang` in what takes longer, by the processor or a few times that by the clock."""

    def late(number: int, frame: object) -> None:
        raise Hang(f"no end after {seconds:g} s")

    limits = {
        signal.ITIMER_PROF: (signal.SIGPROF, seconds),
        signal.ITIMER_REAL: (signal.SIGALRM, WAITING * seconds),
    }
    before = {number: signal.signal(number, late) for number, _ in limits.values()}
    for timer, (_, limit) in limits.items():
        signal.setitimer(timer, limit)
    try:
        yield
    finally:
        for timer, (number, _) in limits.items():
            signal.setitimer(timer, 0.0)
            signal.signal(number, before[number])


def typed(words: list[str], seconds: float = LONGEST) -> Said:
    """Exit code and output of the command in this process."""
    from hpwhsim.cli import main as cli

    out, error = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n") for _ in range(2))
    with within(seconds), contextlib.redirect_stdout(out), contextlib.redirect_stderr(error):
        try:
            code = cli.main(words)
        except SystemExit as left:  # of the parser
            code = int(left.code or 0)
    texts = []
    for stream in (out, error):
        stream.flush()
        stream.seek(0)
        texts.append(stream.read())
    return Said(code, *texts)


def what_lies_in(folder: Path) -> dict[str, tuple[int, int]]:
    """Every file and folder with its size and time of writing."""
    held = {}
    for path in folder.rglob("*"):
        about = path.lstat()
        held[path.relative_to(folder).as_posix()] = (about.st_size, about.st_mtime_ns)
    return held


def faults(case: Case, said: Said) -> list[str]:
    """What is wrong with what the command did."""
    head, *lines = said.error.splitlines() or [""]
    wrong = [f"exit code {said.code}"] if said.code != 2 else []
    wrong += ["wrote to standard output"] if said.out else []
    wrong += ["no message"] if not head.startswith("tankyear") else []
    wrong += [f"a line of {len(line)} signs" for line in (head, *lines) if len(line) > LONGEST_LINE]
    wrong += ["control characters"] if any(not sign.isprintable() for sign in head + "".join(lines)) else []
    wrong += ["lines that do not belong to the message"] if any(line[:2] != "  " for line in lines) else []
    if len(case.says) == 1:
        wrong += [f"{1 + len(lines)} lines"] if lines else []
        wrong += ["not the message"] if case.says[0] not in head else []
    elif len(lines) != len(case.says) or any(a not in b for a, b in zip(case.says, lines, strict=False)):
        wrong += ["not the lines"]
    return wrong
