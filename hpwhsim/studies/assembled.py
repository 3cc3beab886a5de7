"""The cases of a study as one dataset and one table, written case by case.

NetCDF, classic with 64-bit offsets: its records, one for each case, stand one after another, so that they are
written in order with a chunk in memory at a time, and any program that reads NetCDF reads them.
"""

import csv
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

import hpwhsim
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError
from hpwhsim.results.declared import declarations, declared
from hpwhsim.results.records import absent, bare
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.keys import kind_of, known_fields
from hpwhsim.scenario.reading import override_text
from hpwhsim.search.varied import numbers_of
from hpwhsim.studies import chunks
from hpwhsim.studies.cases import Cases
from hpwhsim.studies.chunks import Chunk

DATASET, TABLE = "study.nc", "study.csv"
MOST_SAID = 5  # failed cases that a record names
MOST_CAUTIONS = 200
_MONTH = re.compile(rf"(monthly\.[^\[]+)\[({'|'.join(MONTH_NAMES)})\]")

Rows = NDArray[np.void]


class Varied(NamedTuple):
    """A key that differs between cases, as a variable over them."""

    key: str
    unit: str
    numbers: Mapping[str, float] | None  # by text; None: the text is a number with its unit, or none
    width: int  # bytes of a text; 0: it is a number

    def number(self, text: str) -> float:
        """The value in `unit`."""
        return float(text.partition(" ")[0]) if self.numbers is None else self.numbers[text]


class Column(NamedTuple):
    """A variable over the cases."""

    name: str
    keys: tuple[str, ...]  # of the flat record: one, or the twelve of the months
    attrs: dict[str, str]


class Layout(NamedTuple):
    """What a record of the file holds."""

    varied: list[Varied]
    columns: list[Column]
    hourly: list[str]
    message: int  # bytes of the longest reason why a case has no year

    def dtype(self) -> np.dtype[np.void]:
        """A record, byte by byte."""
        fields: list[tuple[str, Any, tuple[int, ...]]] = [
            ("case", ">i4", ()),
            ("failed", "S1", (self.message,)),
        ]
        fields += [
            (one.key, "S1", (one.width,)) if one.width else (one.key, ">f8", ()) for one in self.varied
        ]
        fields += [(one.name, ">f8", (len(one.keys),) if len(one.keys) > 1 else ()) for one in self.columns]
        fields += [(name, ">f4", (HOURS,)) for name in self.hourly]
        return np.dtype(fields)


def assemble(cases: Cases, places: Sequence[Path], out: Path) -> dict[str, Any]:
    """Write dataset and table of the kept chunks, and say what is in them.

    Raises
    ------
    OSError
        If they cannot be written; then neither is there.
    """
    layout = _layout(cases, places)
    part, table = (out / f".{name}.part" for name in (DATASET, TABLE))
    seen, number = _Seen(cases.record), 0
    try:
        _header(cases, layout, part)
        with part.open("r+b") as stream, table.open("w", encoding="utf-8", newline="") as text:
            stream.seek(0, os.SEEK_END)
            writer = csv.writer(text, lineterminator="\n")
            writer.writerow(["case", *cases.keys, *cases.record, "failed"])
            for chunk in _chunks(places):
                values = [
                    {key: value_text(value) for key, value in cases.values(one).items()}
                    for one in range(number, number + len(chunk.failed))
                ]
                table_ = _filled(chunk)
                stream.write(_records(layout, chunk, table_, values, number).tobytes())
                writer.writerows(_table_rows(cases, chunk, table_, values, number))
                seen.add(chunk, table_, number)
                number += len(values)
            stream.seek(4)  # behind the magic number: how many records there are
            stream.write(np.array(number, dtype=">i4").tobytes())
        os.replace(part, out / DATASET)
        os.replace(table, out / TABLE)
    finally:
        part.unlink(missing_ok=True)
        table.unlink(missing_ok=True)
    return provenance(cases) | seen.record()


def value_text(value: Any) -> str:
    """A value of a varied key for a table: a file by its name."""
    return value.name if isinstance(value, Path) else override_text(value)


def _chunks(places: Sequence[Path]) -> Iterator[Chunk]:
    for path in places:
        chunk = chunks.kept(path)
        if chunk is None:
            raise InputError(f"{path}: cannot be read any more; the same command goes on from there")
        yield chunk


def _filled(chunk: Chunk) -> dict[str, NDArray[np.float64]]:
    """Figures by key; what a year does not have stands for nothing where `absent` says so."""
    ran = np.array([not text for text in chunk.failed])
    found = {}
    for place, key in enumerate(chunk.keys):
        column = chunk.figures[:, place]
        if absent(key) is not None:
            column = np.where(np.isnan(column) & ran, 0.0, column)
        found[key] = column
    return found


# -- layout --------------------------------------------------------------------------------------------


def _layout(cases: Cases, places: Sequence[Path]) -> Layout:
    keys: dict[str, None] = {}
    message = 4
    for chunk in _chunks(places):
        keys |= dict.fromkeys(chunk.keys)
        message = max(message, *(len(text.encode()) for text in chunk.failed))
    months: dict[str, list[str]] = {}
    for key in keys:
        match = _MONTH.fullmatch(key)
        months.setdefault(match[1] if match else key, []).append(key)
    order = {name: place for place, name in enumerate(declarations())}
    columns: dict[str, Column] = {}
    for name in sorted(months, key=lambda name: (order[bare(name)], name)):
        row = declared(bare(name))
        element = name[len(bare(name)) :]
        attrs = {"units": row.unit, "long_name": f"{row.long_name} {element}".strip()}
        all_ = (
            tuple(f"{name}[{month}]" for month in MONTH_NAMES)
            if f"{name}[{MONTH_NAMES[0]}]" in keys
            else (name,)
        )
        plain = re.sub(r"[^ -.0-~]", "_", name).strip()
        while plain in columns:
            plain += "_"
        columns[plain] = Column(plain, all_, attrs)
    padded = -(-message // 4) * 4
    return Layout([_varied(cases, key) for key in cases.keys], list(columns.values()), _series(cases), padded)


def _series(cases: Cases) -> list[str]:
    return [f"hourly {name}" for name in cases.file.study.hourly]


def _varied(cases: Cases, key: str) -> Varied:
    """What a key is over the cases: numbers of one unit, or texts."""
    study = cases.file.study
    values = [*study.grid.get(key, ()), *(row[key] for row in cases.file.rows if key in row)]
    for one in cases.drawn:
        if one.key == key and one.form == "whole":
            return Varied(key, "", None, 0)
        if one.key == key and one.form != "discrete":
            return Varied(key, one.unit, None, 0)
        values += one.values if one.key == key else ()
    texts = list(dict.fromkeys(map(value_text, values)))
    numbers, unit = numbers_of(texts, kind_of(known_fields()[key]))
    if numbers is not None:
        return Varied(key, unit, dict(zip(texts, numbers, strict=True)), 0)
    return Varied(key, "", None, -(-max(len(text.encode()) for text in texts) // 4) * 4)


def _header(cases: Cases, layout: Layout, path: Path) -> None:
    """Write the file without a record."""
    from scipy.io import netcdf_file

    size = layout.dtype().itemsize
    with netcdf_file(str(path), "w", version=2) as file:
        said = provenance(cases) | {"coordinates": " ".join([*cases.keys, "failed"])}
        _describe(file, {name: str(value) for name, value in said.items()})
        file.createDimension("case", None)
        file.createDimension("month", len(MONTH_NAMES))
        file.createDimension("string3", 3)
        months = file.createVariable("month", "c", ("month", "string3"))
        _describe(months, {"_Encoding": "utf-8"})
        months[:] = np.array([list(name) for name in MONTH_NAMES], dtype="S1")
        if layout.hourly:
            file.createDimension("time", HOURS)
            time = file.createVariable("time", "i", ("time",))
            _describe(time, {"units": "hours since 2001-01-01", "calendar": "standard"})
            time[:] = np.arange(HOURS)

        def variable(name: str, kind: str, dims: tuple[str, ...], attrs: Mapping[str, str]) -> None:
            made = file.createVariable(name, kind, ("case", *dims))
            _describe(made, attrs)
            made[0] = np.zeros(made.shape[1:], dtype="S1" if kind == "c" else kind)

        def text(name: str, width: int, attrs: Mapping[str, str]) -> None:
            dim = f"string{width}"
            if dim not in file.dimensions:
                file.createDimension(dim, width)
            variable(name, "c", (dim,), {"_Encoding": "utf-8", **attrs})

        variable("case", "i", (), {"long_name": "number of the case"})
        text("failed", layout.message, {"long_name": "why the case has no year; empty: it has one"})
        for one in layout.varied:
            attrs = {"long_name": str(known_fields()[one.key].description)}
            if one.width:
                text(one.key, one.width, attrs)
            else:
                variable(one.key, "d", (), {"units": one.unit or "1", **attrs})
        for column in layout.columns:
            variable(column.name, "d", ("month",) if len(column.keys) > 1 else (), column.attrs)
        for name in layout.hourly:
            row = declared(name.removeprefix("hourly "))
            variable(name, "f", ("time",), {"units": row.unit, "long_name": row.long_name})
    with path.open("r+b") as stream:  # the record that made the header
        stream.truncate(path.stat().st_size - size)


def _describe(holder: object, attrs: Mapping[str, str]) -> None:
    """Attributes of a file or variable of scipy's, which takes bytes for texts that are not ASCII."""
    for name, value in attrs.items():
        setattr(holder, name, value.encode())


# -- records -------------------------------------------------------------------------------------------


def _records(
    layout: Layout,
    chunk: Chunk,
    figures: Mapping[str, NDArray[np.float64]],
    values: Sequence[Mapping[str, str]],
    first: int,
) -> Rows:
    """The records of a chunk as the file holds them."""
    count = len(values)
    rows = np.zeros(count, dtype=layout.dtype())
    rows["case"] = np.arange(first + 1, first + count + 1)
    rows["failed"] = _letters(chunk.failed, layout.message)
    for one in layout.varied:
        texts = [row[one.key] for row in values]
        rows[one.key] = _letters(texts, one.width) if one.width else [one.number(text) for text in texts]
    none = np.full(count, np.nan)
    ran = np.array([not text for text in chunk.failed])
    for column in layout.columns:
        held = [
            figures.get(key, none if absent(key) is None else np.where(ran, 0.0, np.nan))
            for key in column.keys
        ]
        rows[column.name] = np.stack(held, axis=1) if len(held) > 1 else held[0]
    for place, name in enumerate(layout.hourly):
        rows[name] = chunk.hourly[:, place]
    return rows


def _letters(texts: Sequence[str], width: int) -> NDArray[np.bytes_]:
    raw = b"".join(text.encode().ljust(width, b"\0") for text in texts)
    return np.frombuffer(raw, dtype="S1").reshape(len(texts), width)


def _table_rows(
    cases: Cases,
    chunk: Chunk,
    figures: Mapping[str, NDArray[np.float64]],
    values: Sequence[Mapping[str, str]],
    first: int,
) -> Iterator[list[str]]:
    """Rows of the table; a number as Python writes it, so that reading gives the same one."""
    for place, row in enumerate(values):
        numbers = []
        for key in cases.record:
            value = float(figures[key][place]) if key in figures else np.nan
            numbers.append("" if np.isnan(value) else repr(value))
        yield [str(first + place + 1), *(row[key] for key in cases.keys), *numbers, chunk.failed[place]]


def provenance(cases: Cases) -> dict[str, Any]:
    """Where a study comes from."""
    study, base = cases.file.study, cases.base
    return {
        "title": study.title or base.scenario.title,
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": base.sha256,
        "scenario.overrides": list(short_overrides(base)),
    }


class _Seen:
    """What a study says of itself: how many failed, least and largest of the keys of its table, cautions."""

    def __init__(self, keys: Sequence[str]) -> None:
        self.ranges: dict[str, list[float]] = {key: [] for key in keys}
        self.failed: list[dict[str, Any]] = []
        self.failures = 0
        self.cautions: dict[str, dict[str, Any]] = {}

    def add(self, chunk: Chunk, figures: Mapping[str, NDArray[np.float64]], first: int) -> None:
        """Take in the cases of a chunk."""
        for key, held in self.ranges.items():
            values = figures[key][np.isfinite(figures[key])] if key in figures else np.empty(0)
            if values.size:
                self.ranges[key] = [
                    min([*held[:1], float(values.min())]),
                    max([*held[1:], float(values.max())]),
                ]
        for place, (reason, said) in enumerate(zip(chunk.failed, chunk.cautions, strict=True)):
            if reason:
                self.failures += 1
                if len(self.failed) < MOST_SAID:
                    self.failed.append({"case": first + place + 1, "message": reason})
            for alike in dict.fromkeys(re.sub(r"\d+(?:[.,]\d+)*", "0", text) for text in said.splitlines()):
                if alike in self.cautions:
                    self.cautions[alike]["cases"] += 1
                elif len(self.cautions) < MOST_CAUTIONS:
                    text = next(t for t in said.splitlines() if re.sub(r"\d+(?:[.,]\d+)*", "0", t) == alike)
                    self.cautions[alike] = {"text": text, "first": first + place + 1, "cases": 1}

    def record(self) -> dict[str, Any]:
        """As part of the record of the study."""
        return {
            "failed": self.failures,
            "failures": self.failed,
            "ranges": {
                key: {"unit": declared(bare(key)).unit, "min": held[0], "max": held[1]}
                for key, held in self.ranges.items()
                if held
            },
            "cautions": list(self.cautions.values()),
        }
