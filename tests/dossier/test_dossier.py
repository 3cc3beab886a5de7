"""The dossier beside its workbook: origin of inputs, sensitivity, PDF glyphs, a bundle that repeats."""

import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cases import ROOT

from hpwhsim.cli import main as cli
from hpwhsim.dossier.archive import unpacked
from hpwhsim.sections.inputs import inputs
from hpwhsim.dossier.document import FONT, add_table, new_pdf, wrapped
from hpwhsim.dossier.pdf import Drawn, pdf_bytes
from hpwhsim.sections.rows import command_of
from hpwhsim.errors import InputError
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.results.files import write_files
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.studies.sensitivity import Figures, sensitivities
from hpwhsim.studies.sensitivity_report import followed, tornado

pytestmark = [pytest.mark.contract, pytest.mark.year]
DEMO = ROOT / "scenarios" / "central-air.yaml"


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


# -- sensitivity ----------------------------------------------------------------------------------------


@pytest.mark.law
def test_swings_start_at_the_record_and_go_the_right_way(demo: Result) -> None:
    """The base is the record's; more use, more loss and a worse COP buy more; a dirtier grid saves less."""
    assert demo.baseline is not None
    found = sensitivities(demo.loaded, demo.plant.year, demo.baseline.year)
    record: Any = demo.plant.record
    assert found.left_out == {}
    base = found.base
    assert base.electricity_kwh == record["electricity_kwh"]
    assert base.kgco2e == record["total_kgco2e"]
    assert base.saved_kgco2e == pytest.approx(demo.savings["kgco2e"].saved, rel=1e-12)
    assert base.saved_cost == pytest.approx(demo.savings["cost"].saved, rel=1e-12)
    rows = {row.name: row for row in found.rows}
    assert set(rows) == {
        "hot-water use",
        "recirculation loss",
        "standby loss",
        "rated COP",
        "refrigerant leak",
        "grid factor",
    }

    def electric(result: Figures) -> float:
        return result.electricity_kwh

    for name in ("hot-water use", "recirculation loss", "standby loss"):
        assert electric(rows[name].low) < electric(base) < electric(rows[name].high), name
    assert electric(rows["rated COP"].low) > electric(base) > electric(rows["rated COP"].high)
    for name in ("refrigerant leak", "grid factor"):
        low, high = rows[name].low, rows[name].high
        assert low.electricity_kwh == high.electricity_kwh == base.electricity_kwh
        assert low.kgco2e is not None
        assert high.kgco2e is not None
        assert base.kgco2e is not None
        assert low.kgco2e < base.kgco2e < high.kgco2e
        # linear in both: the base is half-way
        assert low.kgco2e + high.kgco2e == pytest.approx(2.0 * base.kgco2e, rel=1e-12)
    # by hand: a fifth of the factor is a fifth of the energy's gases; the baseline buys no electricity here
    fifth = 0.2 * record["operational_kgco2e"]
    assert rows["grid factor"].high.kgco2e == pytest.approx(record["total_kgco2e"] + fifth, rel=1e-12)
    assert [f.field for f in followed(found)] == ["saved_kgco2e", "saved_cost", "electricity_kwh"]
    assert tornado(found).startswith(b"\x89PNG")


def test_what_is_left_out_names_no_folder() -> None:
    """A COP that cannot be 10 % more has its reason, with the scenario's name and without its folder."""
    loaded = read_scenario(DEMO, ["plant.heat_pump.cop=5.4", "baseline=null", "costs=null"])
    found = sensitivities(loaded, evaluate_over(loaded).plant.year, None)
    assert set(found.left_out) == {"rated COP"}
    assert DEMO.name in found.left_out["rated COP"]
    assert str(DEMO.parent) not in found.left_out["rated COP"]


# -- PDF and files --------------------------------------------------------------------------------------


def test_three_files(written: Path) -> None:
    assert sorted(path.name for path in written.iterdir()) == ["bundle.zip", "dossier.pdf", "dossier.xlsx"]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_pdf_holds_what_a_reviewer_needs(written: Path) -> None:
    """Text taken out by another program: every part is there, in an embedded font, with no unknown glyph."""
    pdf = written / "dossier.pdf"
    text = subprocess.run(
        ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    record = json.loads(unpacked(written / "bundle.zip")["record.json"])
    for words in (
        "Purpose",
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
    fonts = subprocess.run(["pdffonts", pdf], capture_output=True, text=True, check=True).stdout
    assert "DejaVuSans" in fonts
    assert all(line.split()[-5] == "yes" for line in fonts.splitlines()[2:])  # embedded


def test_odd_titles_do_not_break_the_pdf(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Signs of markup, Greek, Cyrillic, a very long word: written as they are, nothing missing."""
    title = "Ζεστό 100 % **{nb}** <b>вода</b> " + "x" * 120
    loaded = read_scenario(DEMO, ["baseline=null", "costs=null", f"title={title}"])
    result = evaluate_over(loaded)
    found = Drawn(sensitivities(loaded, result.plant.year, None), {})
    assert pdf_bytes(result, lambda: found, command_of(result)).startswith(b"%PDF")
    assert [line for line in caplog.messages if "missing" in line] == []


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_a_row_higher_than_a_page_goes_on_to_the_next(tmp_path: Path) -> None:
    """3,000 words in one cell and a word wider than its cell: all are there, under a head on each page."""
    words = [f"w{n}" for n in range(3000)]
    pdf = new_pdf("invented")
    pdf.add_page()
    add_table(
        pdf, ("first", "second"), [("a", "b"), ("notes", " ".join(words)), ("x" * 500, "z")], (1, 2), "lr"
    )
    path = tmp_path / "table.pdf"
    path.write_bytes(bytes(pdf.output()))
    text = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert re.findall(r"\bw\d+\b", text) == words
    assert text.count("x") == 500
    assert text.count("first") == pdf.pages_count > 2


def test_lines_fit_and_lose_nothing() -> None:
    """Lines of 30 mm hold the text in order; what is no longer than the width stays whole."""
    pdf = new_pdf("invented")
    pdf.set_font(FONT, size=7.0)
    text = "a quick brown fox " + "jumps" * 30 + " over\nthe lazy dog"
    lines = wrapped(pdf, text, 30.0)
    assert all(pdf.get_string_width(line) <= 30.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "").replace("\n", "")
    assert wrapped(pdf, "short", 30.0) == ["short"]
    assert wrapped(pdf, "", 30.0) == [""]


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


@pytest.mark.parametrize(
    "argv",
    [
        ["dossier"],
        ["dossier", str(DEMO), "--verify", "bundle.zip"],
        ["dossier", "--verify", "bundle.zip", "--set", "title=x"],
        ["dossier", "missing.yaml"],
        ["dossier", str(DEMO), "--set", "plant.heat_pump.cop=40"],
        ["dossier", str(DEMO), "--out", str(DEMO / "below")],
    ],
)
def test_wrong_command_lines_write_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, argv: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(argv) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_failure_while_writing_leaves_the_old_files(
    written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All or none: a part that cannot be made leaves what was there, and no scrap."""
    out = tmp_path / "out"
    shutil.copytree(written, out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}

    def full(*_: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="No space left"):
        write_files(out, {"dossier.xlsx": b"1", "dossier.pdf": b"2"})
    monkeypatch.undo()
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
