"""Recalculate workbooks by another program: LibreOffice, where it is installed."""

import re
import shutil
import subprocess
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
_KEPT = re.compile(r"(<c [^>]*>)(<f>[^<]*</f>)<v>[^<]*</v>")
_ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>"""
# Comma-separated values of every sheet, written and read in a third of the time that a workbook takes: text
# in quotes, numbers and errors without, numbers in full and not as the cell shows them.
_EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,true,true,false,false,false,-1"
_CELL = re.compile(r'(?:"((?:[^"]|"")*)"|([^,\n]*))([,\n])')

Changes = Mapping[str, float | str]


class Sheet(NamedTuple):
    """A sheet as LibreOffice calculated it."""

    path: Path

    def iter_rows(self, *, values_only: bool) -> Iterator[list[Any]]:
        """Its rows: numbers, texts, errors as text, and None for an empty cell."""
        assert values_only
        row: list[Any] = []
        for quoted, bare, end in _CELL.findall(self.path.read_text(encoding="utf-8")):
            row.append(quoted.replace('""', '"') if quoted else _value(bare))
            if end == "\n":
                yield row
                row = []


def _value(bare: str) -> float | str | None:
    try:
        return float(bare) if bare else None
    except ValueError:
        return bare


class Book(NamedTuple):
    """A recalculated workbook; read like one of openpyxl."""

    path: Path  # without the names of its sheets
    sheetnames: Sequence[str]

    def __getitem__(self, sheet: str) -> Sheet:
        return Sheet(self.path.with_name(f"{self.path.name}-{sheet}.csv"))


def sheet_files(path: Path) -> dict[str, str]:
    """File inside the workbook of each sheet by its name."""
    with zipfile.ZipFile(path) as held:
        names = re.findall(r'<sheet name="([^"]+)"', held.read("xl/workbook.xml").decode())
    return {name: f"xl/worksheets/sheet{n}.xml" for n, name in enumerate(names, start=1)}


def places(path: Path, changes: Changes) -> dict[tuple[str, str], float | str]:
    """New contents by sheet and place instead of by the name of the cell."""
    names = openpyxl.load_workbook(path, read_only=True).defined_names
    found = {}
    for name, value in changes.items():
        sheet, _, place = names[name].attr_text.rpartition("!")
        found[sheet.strip("'"), place.replace("$", "")] = value
    return found


def bare_copy(path: Path, changes: Changes, bare: Path) -> None:
    """The workbook without the values that its formulas carry, and with other contents in the named cells."""
    files = sheet_files(path)
    cells = places(path, changes) if changes else {}
    with (
        zipfile.ZipFile(path) as held,
        zipfile.ZipFile(bare, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as out,
    ):
        for name in held.namelist():
            data = held.read(name)
            if name.startswith("xl/worksheets/sheet"):
                text, number = _KEPT.subn(r"\1\2", data.decode())
                assert "<f>" not in text or number > 0
                for (sheet, place), value in cells.items():
                    if files[sheet] == name:
                        inside = f"<v>{value!r}</v>"
                        kind = ""
                        if isinstance(value, str):
                            kind, inside = ' t="inlineStr"', f"<is><t>{value}</t></is>"
                        text, hits = re.subn(
                            rf'(<c r="{place}"(?: s="\d+")?)[^>]*>.*?</c>', rf"\g<1>{kind}>{inside}</c>", text
                        )
                        assert hits == 1, (sheet, place)
                data = text.encode()
            out.writestr(name, data)


def recalculated_all(cases: Iterable[tuple[Path, Changes]], folder: Path) -> list[Book]:
    """The workbooks as LibreOffice calculates them, in one call of it.

    The values that the formulas carry are taken out first, so that nothing but a calculation can give them;
    cells named in the changes, such as "grid_loss", get another number or text in place of what they hold.
    """
    assert OFFICE is not None
    listed, result = list(cases), folder / "recalculated"
    shutil.rmtree(result, ignore_errors=True)
    bare = [folder / f"bare{at}.xlsx" for at in range(len(listed))]
    for (path, changes), copy in zip(listed, bare, strict=True):
        bare_copy(path, changes, copy)
    profile = folder / "profile"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(_ALWAYS)
    command = [OFFICE, f"-env:UserInstallation={profile.as_uri()}", "--headless"]
    done = subprocess.run(
        [*command, "--convert-to", _EVERY_SHEET, "--outdir", str(result), *map(str, bare)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    books = [
        Book(result / copy.stem, list(sheet_files(path)))
        for (path, _), copy in zip(listed, bare, strict=True)
    ]
    for book in books:
        assert all(book[sheet].path.is_file() for sheet in book.sheetnames), done.stderr
    return books


def recalculated(path: Path, folder: Path, changes: Changes | None = None) -> Book:
    """One workbook, as by `recalculated_all`."""
    (book,) = recalculated_all([(path, changes or {})], folder)
    return book


def shortened(path: Path, rows: int = 60) -> BytesIO:
    """The workbook with the first rows of its hourly sheets alone, to be read in a tenth of the time."""
    short = BytesIO()
    hourly = {file for name, file in sheet_files(path).items() if name.startswith("Hourly")}
    with zipfile.ZipFile(path) as held, zipfile.ZipFile(short, "w") as out:
        for name in held.namelist():
            data = held.read(name)
            if name in hourly:
                start, end = data.index(b'<row r="%d"' % (rows + 1)), data.index(b"</sheetData>")
                data = data[:start] + data[end:]
            out.writestr(name, data)
    return short


def table(book: Any, sheet: str) -> list[list[Any]]:
    """All cells of a sheet."""
    return [list(row) for row in book[sheet].iter_rows(values_only=True)]
