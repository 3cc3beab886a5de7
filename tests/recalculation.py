"""Recalculate a workbook by another program: LibreOffice, where it is installed."""

import re
import shutil
import subprocess
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import openpyxl

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
_KEPT = re.compile(r"(<c [^>]*>)(<f>[^<]*</f>)<v>[^<]*</v>")
_ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>"""


def sheet_files(path: Path) -> dict[str, str]:
    """File inside the workbook of each sheet by its name."""
    with zipfile.ZipFile(path) as held:
        names = re.findall(r'<sheet name="([^"]+)"', held.read("xl/workbook.xml").decode())
    return {name: f"xl/worksheets/sheet{n}.xml" for n, name in enumerate(names, start=1)}


def places(path: Path, changes: Mapping[str, float | str]) -> dict[tuple[str, str], float | str]:
    """New contents by sheet and place instead of by the name of the cell."""
    names = openpyxl.load_workbook(path, read_only=True).defined_names
    found = {}
    for name, value in changes.items():
        sheet, _, place = names[name].attr_text.rpartition("!")
        found[sheet.strip("'"), place.replace("$", "")] = value
    return found


def recalculated(path: Path, folder: Path, changes: Mapping[str, float | str] | None = None) -> Any:
    """The workbook at `path` as LibreOffice calculates it.

    The values that the formulas carry are taken out first, so that nothing but a calculation can give them;
    cells named in `changes`, such as "grid_loss", get another number or text in place of what they hold.
    """
    assert OFFICE is not None
    files = sheet_files(path)
    cells = places(path, changes or {})
    bare = folder / "bare.xlsx"
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
    profile = folder / "profile"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(_ALWAYS)
    result = folder / "recalculated"
    command = [OFFICE, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", "xlsx"]
    done = subprocess.run(
        [*command, "--outdir", str(result), str(bare)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert (result / "bare.xlsx").is_file(), done.stderr
    return openpyxl.load_workbook(result / "bare.xlsx", data_only=True, read_only=True)


def table(book: Any, sheet: str) -> list[list[Any]]:
    """All cells of a sheet."""
    return [list(row) for row in book[sheet].iter_rows(values_only=True)]
