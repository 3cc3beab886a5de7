"""The PDF: every part in order, in embedded letters, the same bytes each time; read by another program."""

import hashlib
import json
import logging
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from hpwhsim.dossier.archive import unpacked
from hpwhsim.dossier.pdf import PAPER, pdf_bytes
from hpwhsim.sections.parts import Document, Listing, Section, Table, Text

pytestmark = [
    pytest.mark.contract,
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed"),
]
TITLE = "Ζεστό 100 % **{nb}** <b>вода</b> & \N{VULGAR FRACTION ONE HALF} m³ " + "x" * 120


def said(*command: str | Path) -> str:
    """What a program prints."""
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def pages(pdf: Path, how: str = "-layout") -> list[str]:
    """The text of each page."""
    return said("pdftotext", how, pdf, "-").split("\f")[:-1]


def made(tmp_path: Path, sections: Sequence[Section], title: str = "invented", paper: str = "letter") -> Path:
    """A document without pictures, as a file."""
    path = tmp_path / "made.pdf"
    path.write_bytes(pdf_bytes(Document(title, [Text("front")], sections), {}, paper))
    return path


def counted(rows: int, name: str = "r") -> Table:
    """A table of numbered rows."""
    cells = [(f"{name}{n}", f"v{n}") for n in range(rows)]
    return Table(("first", "second"), cells, "lr", f"caption {name}")


@pytest.mark.year
def test_the_pdf_holds_what_a_reviewer_needs(written: Path) -> None:
    """Every part is there, in an embedded font, with no unknown glyph."""
    pdf = written / "dossier.pdf"
    text = "".join(pages(pdf))
    record = json.loads(unpacked(written / "bundle.zip")["record.json"])
    for words in (
        "Method",
        "User inputs",
        "Defaults in force",
        "Months of the plant",
        "Months of the baseline",
        "site energy",
        "none: nothing is saved in a year",
        "Failed: floor load of the full store",
        "Sensitivity, one at a time",
        "Greenhouse gases over the years of service",
        "Checks",
        "Cautions",
        "Legionella",
        f"tankyear {record['tool.version']}",
        record["weather.sha256"],
        "--set 'plant.storage.volume=850 gal'",
        f"{record['electricity_kwh']:,.0f}",
        f"{record['total_kgco2e']:,.0f}",
    ):
        assert words in text, words
    assert record["scenario.sha256"] in text.replace("\n", "")
    assert "\N{REPLACEMENT CHARACTER}" not in text
    fonts = said("pdffonts", pdf)
    assert "DejaVuSans" in fonts
    assert all(line.split()[-5] == "yes" for line in fonts.splitlines()[2:])  # embedded


@pytest.mark.year
def test_the_result_comes_first(written: Path) -> None:
    """The figures, the drawing, what failed and every result stand on the first four pages."""
    found = pages(written / "dossier.pdf")
    record: Any = json.loads(unpacked(written / "bundle.zip")["record.json"])
    assert f"{record['electricity_kwh']:,.0f}" in found[0]
    first = "".join(found[:4])
    for words in (
        "Schematic, with the heat",
        "Failed: floor load",
        "Savings",
        "Net present value",
        "Months of",
    ):
        assert words in first, words
    images = [
        line.split()[0] for line in said("pdfimages", "-list", written / "dossier.pdf").splitlines()[2:]
    ]
    assert images[0] in ("1", "2")
    said_first = "".join(first.split())
    for caution in record["cautions"]:
        assert "".join(caution.split()) in said_first
    assert "User inputs" not in "".join(found[1:4])


def test_contents_name_the_pages(tmp_path: Path) -> None:
    """Each section begins on the page that the contents name; bookmarks are the same; pages are counted."""
    sections = [
        Section("Alpha", [counted(30)]),
        Section("Beta, so", [Listing(["one", "two"])]),
        Section("Gamma", [Text("a"), counted(90)], appendix=True),
        Section("Delta", [Text("end")], appendix=True),
    ]
    pdf = made(tmp_path, sections)
    found = pages(pdf)
    for sign, name in zip("12AB", (section.title for section in sections), strict=True):
        listed = re.search(rf"{sign} +{name} +(\d+)", found[0])
        assert listed is not None
        begins = re.compile(rf"^ *{sign} +{name}$", re.MULTILINE)
        assert [n for n, text in enumerate(found, start=1) if begins.search(text)] == [int(listed[1])]
        assert f"/Title ({sign}  {name})".encode() in pdf.read_bytes()
    for n, text in enumerate(found, start=1):
        assert f"page {n} of {len(found)}" in text
    assert len(found) == 3


@pytest.mark.parametrize("paper", list(PAPER))
@pytest.mark.parametrize("before", [0, 12, 35])
def test_a_table_that_fits_on_a_page_is_not_broken(tmp_path: Path, paper: str, before: int) -> None:
    """Wherever it begins; a longer one has its head on each page, and each row once."""
    section = Section("One", [counted(before, "a"), Text("note"), counted(40, "b"), counted(150, "c")])
    found = pages(made(tmp_path, [section], paper=paper))
    (whole,) = [n for n, text in enumerate(found) if re.search(r"\bb\d+\b", text)]
    assert "note" in found[whole]  # with what it belongs to
    words = re.findall(r"\bc\d+\b", "".join(found))
    assert words == [f"c{n}" for n in range(150)]
    long = [text for text in found if re.search(r"\bc\d+\b", text)]
    assert len(long) > 2
    assert all(re.search(r"first +second", text) for text in long)


def test_a_list_goes_on_to_the_next_page(tmp_path: Path) -> None:
    """It begins where there is room, its heading with it, and has each item once, in order."""
    sections = [
        Section("One", [counted(40)]),
        Section("Two", [Listing([f"item{n} " * 9 for n in range(40)])]),
    ]
    found = pages(made(tmp_path, sections))
    assert re.search(r"2 +Two", found[0].split("r39")[1])
    assert "item1 " in found[0]
    words = [int(n) for n in re.findall(r"\bitem(\d+)\b", "".join(found))]
    assert words == sorted(words)
    assert set(words) == set(range(40))


def test_a_row_higher_than_a_page_goes_on_to_the_next(tmp_path: Path) -> None:
    """3,000 words in one cell and a word wider than its cell: all are there, under a head on each page."""
    words = [f"w{n}" for n in range(3000)]
    cells = [("a", "b"), ("notes", " ".join(words)), ("x" * 500, "z")]
    found = pages(made(tmp_path, [Section("One", [Table(("first", "second"), cells, "ll", "caption")])]))
    text = "".join(found)
    assert re.findall(r"\bw\d+\b", text) == words
    assert text.count("x") == 500
    assert len(found) > 3
    assert all("second" in page for page in found)


def test_odd_text_is_written_as_it_is(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Signs of markup, Greek, Cyrillic, a very long word, in every place; controls are escaped."""
    parts = [
        Text(TITLE),
        Listing([TITLE]),
        Table(("", "unit"), [(TITLE, "m³"), ("bell \a", "")], "lu", TITLE),
    ]
    with caplog.at_level(logging.WARNING):
        pdf = made(tmp_path, [Section("One", parts)], TITLE)
    assert caplog.messages == []
    text = "".join("".join(pages(pdf, "-raw")).split())
    assert text.count("".join(TITLE.split())) == 5  # title, paragraph, list, caption, cell
    assert r"bell\x07" in text
    assert TITLE in said("pdfinfo", pdf)


@pytest.mark.law
def test_the_same_document_gives_the_same_file(tmp_path: Path) -> None:
    """In another process, with another seed of hashes and settings of the library in the environment."""
    code = (
        "import hashlib\n"
        "from hpwhsim.dossier.pdf import pdf_bytes\n"
        "from hpwhsim.sections.parts import Document, Section, Table, Text\n"
        "rows = [(f'r{n}', 'word ' * n) for n in range(60)]\n"
        "section = Section('One', [Text('ζ'), Table(('a', 'b'), rows, 'lr', 'c')])\n"
        "print(hashlib.sha256(pdf_bytes(Document('x', [], [section]), {}, 'A4')).hexdigest())\n"
    )
    other = {"RL_invariant": "0", "RL_pageCompression": "0", "RL_useA85": "1", "HOME": str(tmp_path)}
    (tmp_path / ".reportlab_settings").write_text("invariant = 0\npageCompression = 0\n")
    found = {
        subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | more,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for more in ({"PYTHONHASHSEED": "1"}, {"PYTHONHASHSEED": "2", "TZ": "Asia/Tokyo"} | other)
    }
    assert len(found) == 1
    assert len(found.pop().strip()) == hashlib.sha256().digest_size * 2
