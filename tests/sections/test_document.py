"""What the documents say: every input with its origin, and page and PDF alike, cell by cell."""

import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from cases import ROOT

from hpwhsim.charts.year import ONE_LINE, SCHEMATIC, draw_pictures
from hpwhsim.dossier.pdf import pdf_bytes
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.io.figures import png
from hpwhsim.page.frame import html
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.schematic.one_line import one_line
from hpwhsim.schematic.sheet import schematic
from hpwhsim.sections.document import TORNADO, document
from hpwhsim.sections.inputs import inputs
from hpwhsim.sections.parts import Document, Listing, Picture, Table, Text
from hpwhsim.sections.rows import command_of
from hpwhsim.studies.sensitivity import sensitivities
from hpwhsim.studies.sensitivity_report import tornado

pytestmark = [pytest.mark.contract, pytest.mark.year]
DEMO = ROOT / "scenarios" / "central-air.yaml"
PARTIES = {
    "prepared_by": "A. Engineer, P.E. <draft>",
    "prepared_for": "An invented owner & Co",
    "project": "No. 12",
    "date": "30 November 2026",
}


# -- page and PDF ----------------------------------------------------------------------------------------


class Plain(HTMLParser):
    """The text of a page without its style."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def handle_data(self, data: str) -> None:
        """Text."""
        if self.lasttag != "style":
            self.texts.append(data)


def tight(text: str) -> str:
    """Text without spaces: lines are broken elsewhere in each document."""
    return re.sub(r"\s+", "", text)


def told(content: Document) -> Iterator[str]:
    """Every text of a document."""
    yield content.title
    yield from (text.text for text in content.front)
    for section in content.sections:
        yield section.title
        for part in section.parts:
            match part:
                case Text():
                    yield part.text
                case Listing():
                    yield from part.items
                case Table():
                    yield from (part.caption, *part.heads)
                    yield from (cell for row in part.rows for cell in row)
                case Picture():
                    yield part.caption


@pytest.fixture(scope="module")
def shown(demo: Result) -> tuple[Document, Mapping[str, bytes]]:
    """The document of the demo with its sensitivities, and its pictures."""
    assert demo.baseline is not None
    year, scenario = demo.plant.year, demo.loaded.scenario
    moved = sensitivities(demo.loaded, year, demo.baseline.year)
    pictures = draw_pictures(year, scenario) | {TORNADO: tornado(moved)}
    pictures[SCHEMATIC] = png(schematic(scenario, year.made.capacity, year))
    wired = one_line(year.record, year.made.modules)
    assert wired is not None
    pictures[ONE_LINE] = png(wired)
    return document(demo, pictures, [("command", command_of(demo))], moved), pictures


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_page_and_pdf_say_all_of_it(shown: tuple[Document, Mapping[str, bytes]], tmp_path: Path) -> None:
    """Every sentence, head and cell, in both, read by other programs; the PDF in the order of its drawing."""
    content, pictures = shown
    reader = Plain()
    reader.feed(html(content, dict.fromkeys(pictures, b"<svg/>")).decode())
    (tmp_path / "x.pdf").write_bytes(pdf_bytes(content, pictures, "letter"))
    done = subprocess.run(
        ["pdftotext", "-raw", tmp_path / "x.pdf", "-"], capture_output=True, text=True, check=True
    )
    foot = re.compile(rf"{re.escape(content.title)}\s*page \d+ of\s*\d+")
    page, pdf = tight("".join(reader.texts)), tight(foot.sub("", done.stdout))
    texts = [tight(text) for text in told(content)]
    assert len(texts) > 1000
    assert [text for text in texts if text not in page] == []
    assert [text for text in texts if text not in pdf] == []


def test_the_record_is_in_it(demo: Result, shown: tuple[Document, Mapping[str, bytes]]) -> None:
    """Every number, assumption and caution of the record has its place."""
    content, _ = shown
    parts = {section.title: section.parts for section in content.sections}
    numbers, assumed = parts["All numbers"][0], parts["Assumptions"][0]
    assert isinstance(numbers, Table)
    assert isinstance(assumed, Table)
    keys = {row[0] for row in numbers.rows}
    record = demo.plant.record
    for key, value in record.items():
        if isinstance(value, float | int) and not key.startswith(("savings.", "baseline.")):
            assert key in keys
    assert {item["key"] for item in demo.assumptions} == {row[0] for row in assumed.rows}
    assert parts["Cautions"] == [Listing(demo.cautions)]
    flags = [section.appendix for section in content.sections]
    assert flags == sorted(flags)  # the appendix is last
    assert len({section.anchor for section in content.sections}) == len(flags)


def test_who_it_is_for_is_printed_and_moves_nothing(demo: Result) -> None:
    """The block `dossier` heads the documents; every number is the same, of assumptions all but paper."""
    words = [f"dossier.{key}={text}" for key, text in PARTIES.items()]
    found = evaluate_over(read_scenario(DEMO, words))
    front = [text.text for text in document(found, [], []).front]
    assert front[:4] == [
        f"Prepared by: {PARTIES['prepared_by']}",
        f"Prepared for: {PARTIES['prepared_for']}",
        f"Project: {PARTIES['project']}",
        f"Date: {PARTIES['date']}",
    ]
    assert not [text for text in document(demo, [], []).front if text.text.startswith(("Prepared", "Date"))]
    apart = ("scenario.sha256", "scenario.overrides", "assumptions")
    theirs = {key: value for key, value in demo.plant.record.items() if key not in apart}
    assert {key: value for key, value in found.plant.record.items() if key not in apart} == theirs
    more = [item for item in found.assumptions if item not in demo.assumptions]
    assert [(item["key"], item["value"]) for item in more] == [("dossier.paper", "letter")]


# -- inputs and commands ---------------------------------------------------------------------------------


def test_inputs_name_their_origin(demo: Result) -> None:
    """Given in the file, given on the command line, default, derived; no key twice in one origin."""
    rows = inputs(evaluate_over(read_scenario(DEMO, ["plant.storage.volume=800 gal"])))
    by_key = {(row.key, row.origin.split()[0]): row for row in rows}
    assert len(by_key) == len(rows)
    assert by_key["plant.storage.volume", "given"].origin == "given on the command line"
    assert by_key["plant.heat_pump.cop", "given"].value == "3.7"
    # as written, and in SI: a gallon is 3.785411784 L (NIST SP 811 appendix B.8)
    assert by_key["plant.storage.volume", "given"].value == "800 gal = 3.02833 m3"
    assert by_key["baseline.storage.volume", "given"].value == "900 gal = 3.40687 m3"
    assert by_key["costs.capital", "given"].value == "148,000 USD"
    assert by_key["tariff.electricity[1].months", "given"].value == "Jun-Sep"
    assert by_key["carbon.grid", "derived"].source.startswith("US EPA")
    assert by_key["plant.storage.room_temperature", "default"].source


def test_the_command_works_where_it_says(demo: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    """A weather file named from elsewhere is named again from the folder of the scenario."""
    monkeypatch.chdir(ROOT)
    other = read_scenario(DEMO, ["run.steps_per_hour=8"], Path("weather/golden-co-724666-tmy3.csv.gz"))
    words = command_of(replace(demo, collected=demo.collected._replace(loaded=other))).split()
    assert words[:3] == ["tankyear", "dossier", "central-air.yaml"]
    assert words[3:5] == ["--set", "run.steps_per_hour=8"]
    monkeypatch.chdir(DEMO.parent)
    again = read_scenario(Path(words[2]), words[4:5], Path(words[words.index("--weather") + 1]))
    assert again.scenario == other.scenario
