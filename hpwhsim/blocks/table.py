"""A table of buildings: a row for each, with a scenario file and the keys that it changes."""

import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple, get_args

from hpwhsim.errors import Findings, InputError, together
from hpwhsim.io.units import POWER, QuantityError, read_quantity
from hpwhsim.io.user_csv import Row, read_rows
from hpwhsim.io.user_sheet import read_sheet
from hpwhsim.scenario.keys import known_fields, not_a_key

SHEET = "Buildings"
MOST_BUILDINGS = 10_000  # of a table, equal ones counted
MOST_EQUAL = 1000  # of a row
COLUMNS = {
    "building": "name of the building or of a row of equal ones, each once",
    "scenario": "scenario file, seen from the folder of this table",
    "count": f"how many equal buildings the row stands for, 1 to {MOST_EQUAL}; empty: 1",
    "plant": "name of a plant that serves all rows with this name; empty: a plant of its own",
    "distribution_loss": "heat that the pipes between the building and its shared plant lose, such as 2 kW",
    "field": "name of a bore field that the plants of all rows with this name share; empty: its own",
}
"""Columns that are no keys of the scenario."""
NEEDED = ("building", "scenario")
SUFFIXES = (".csv", ".epw", ".gz", ".yaml", ".yml")
"""Endings of files that a scenario names."""


class Line(NamedTuple):
    """A row of the table, checked as far as it goes by itself."""

    row: int  # in the file, the first is 1
    name: str
    scenario: Path
    equal: int  # buildings that it stands for
    plant: str  # empty: its own
    field: str  # empty: its own
    distribution_w: float  # heat lost on the way from a shared plant, W
    keys: dict[str, Any]  # values by key path as an override takes them, files absolute

    @property
    def where(self) -> str:
        """What a message begins with."""
        return f"row {self.row} ({self.name})"


def read_table(path: Path) -> list[Line]:
    """Read a table of buildings.

    Raises
    ------
    InputError
        A line for each fault: row, column, what was given and what is allowed.
    """
    path = Path(path)
    rows = read_sheet(path, SHEET) if path.suffix.lower() in (".xlsx", ".xlsm") else read_rows(path)
    wrong = list(_wrong_columns(list(rows[0].cells)))
    if wrong:
        raise together(str(path), wrong)
    lines, findings, names = [], Findings(), dict[str, int]()
    for row in rows:
        name = row.cells["building"]
        before = len(findings.lines)
        line = _line(row, path.absolute().parent, findings)
        with findings.step():
            if not name:
                raise _wrong(row, "building", "a name")
            if name in names:
                raise _wrong(row, "building", f"a name of its own: row {names[name]} has it already")
        names.setdefault(name, row.line)
        if len(findings.lines) == before:
            lines.append(line)
    count = sum(line.equal for line in lines)
    if count > MOST_BUILDINGS:
        findings.lines.append(f"got {count:,} buildings; allowed at most {MOST_BUILDINGS:,}")
    findings.raise_any(str(path))
    return lines


def _wrong_columns(names: Sequence[str]) -> Iterator[str]:
    """What is wrong with the header."""
    for name in NEEDED:
        if name not in names:
            yield f"columns: missing {name}; allowed {', '.join(COLUMNS)}, and keys of a scenario"
    for name in names:
        if name not in COLUMNS and name not in known_fields():
            near = difflib.get_close_matches(name, COLUMNS, n=1, cutoff=0.75)
            yield f"column {name}: {f'did you mean {near[0]}?' if near else not_a_key(name)}"
        for other in names:
            if name not in COLUMNS and other.startswith(f"{name}."):
                yield f"column {other}: {name} would replace it; allowed one of both"


def _line(row: Row, folder: Path, wrong: Findings) -> Line:
    """A row as far as its cells can be read; what cannot joins `wrong`."""
    cells, keys = row.cells, dict[str, Any]()
    scenario, count, watts = folder, 1, 0.0
    with wrong.step():
        scenario = _file(row, "scenario", folder)
    with wrong.step():
        count = _count(row)
    with wrong.step():
        watts = _watts(row)
    for key, text in cells.items():
        if key not in COLUMNS and text:
            with wrong.step():
                keys[key] = _value(row, key, text, folder)
    plant, field = cells.get("plant", ""), cells.get("field", "")
    return Line(row.line, cells["building"], scenario, count, plant, field, watts, keys)


def _wrong(row: Row, column: str, allowed: str) -> InputError:
    got = repr(row.cells[column]) if row.cells[column] else "nothing"
    name = row.cells["building"]
    place = f"row {row.line} ({name})" if name and column != "building" else f"row {row.line}"
    return InputError(f"{place}: column {column}: got {got}; allowed {allowed}")


def _file(row: Row, column: str, folder: Path) -> Path:
    """The file that a cell names, seen from the folder of the table."""
    path = (folder / row.cells[column]).resolve()
    if not row.cells[column] or not path.is_file():
        raise _wrong(row, column, "the path of a file that is there, seen from the folder of this table")
    return path


def _value(row: Row, key: str, text: str, folder: Path) -> Any:
    """The value of a key; a file is seen from the folder of the table."""
    forms = set(_inner_forms(known_fields()[key].annotation))
    if Path not in forms or text == "null":
        return text
    if (folder / text).is_file():
        return (folder / text).resolve()
    if forms == {Path} or Path(text).suffix.lower() in SUFFIXES:
        return _file(row, key, folder)
    return text  # a quantity, the name of something packaged, or a mistake of which the schema says more


def _inner_forms(annotation: Any) -> Iterator[Any]:
    """The plain types of an annotation."""
    parts = [part for part in get_args(annotation) if isinstance(part, type) or get_args(part)]
    if not parts:
        yield annotation
    for part in parts:
        if part is not type(None):
            yield from _inner_forms(part)


def _count(row: Row) -> int:
    text = row.cells.get("count", "")
    if text and not (text.isdecimal() and 1 <= int(text) <= MOST_EQUAL):
        raise _wrong(row, "count", f"a whole number from 1 to {MOST_EQUAL}")
    return int(text or 1)


def _watts(row: Row) -> float:
    """Heat lost on the way from a shared plant. [W]"""
    text = row.cells.get("distribution_loss", "")
    if not text:
        return 0.0
    if not row.cells.get("plant", ""):
        raise _wrong(row, "distribution_loss", "nothing without a name in the column plant")
    try:
        watts = read_quantity(text, POWER)
    except QuantityError as error:
        raise _wrong(row, "distribution_loss", f"a power, such as '2 kW' ({error})") from None
    if watts < 0.0:
        raise _wrong(row, "distribution_loss", "0 W or more")
    return watts
