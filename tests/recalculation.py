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


def recalculated(path: Path, folder: Path, changes: Mapping[tuple[str, str], float] | None = None) -> Any:
    """The workbook at `path` as LibreOffice calculates it.

    The values that the formulas carry are taken out first, so that nothing but a calculation can give them;
    cells named in `changes` by sheet and place, such as ("Factors", "C5"), get another number.
    """
    assert OFFICE is not None
    files = sheet_files(path)
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
                for (sheet, place), value in (changes or {}).items():
                    if files[sheet] == name:
                        text, hits = re.subn(
                            rf'(<c r="{place}"[^>]*>)<v>[^<]*</v>', rf"\g<1><v>{value!r}</v>", text
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
