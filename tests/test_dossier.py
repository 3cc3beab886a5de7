"""The dossier: a workbook that another program recalculates, a PDF with all glyphs, a bundle that repeats."""

import json
import re
import shutil
import subprocess
import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import yaml
from cases import ROOT
from recalculation import OFFICE, recalculated, table

from hpwhsim import cli
from hpwhsim.errors import InputError
from hpwhsim.report.files import write_files
from hpwhsim.report.pages import Drawn, command_of, pdf_bytes
from hpwhsim.report.swing import followed, tornado
from hpwhsim.report.workbook import workbook_bytes
from hpwhsim.scenario.reading import Loaded, read_scenario
from hpwhsim.study.answer import answer
from hpwhsim.study.bundle import bundle, verify
from hpwhsim.study.dossier import Papers, gather, inputs
from hpwhsim.study.swing import Result, swings

pytestmark = pytest.mark.year
DEMO = ROOT / "scenarios" / "central-air.yaml"
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
RELATIVE = 1e-9  # what a reviewer is promised; doubles added in another order differ by some 1e-14


def lopsided(folder: Path) -> Loaded:
    """An invented packaged unit in a heated room, with all that the demo has not.

    Hourly grid factors beside a marginal one that changes by the year, hourly prices with tiers on top,
    demand charges in windows that begin at a quarter, fuel prices by month, a baseline that burns gas.
    """
    rng = np.random.default_rng(5)
    hour = np.arange(8760)
    grid = 0.4 + 0.2 * np.sin(hour / 9.0) + 0.1 * rng.random(8760)
    (folder / "grid.csv").write_text("kg_per_kwh\n" + "\n".join(map(repr, grid.tolist())) + "\n")
    price = 0.15 + 0.1 * rng.random(8760)
    (folder / "price.csv").write_text("usd_per_kwh\n" + "\n".join(map(repr, price.tolist())) + "\n")
    (folder / "marginal.csv").write_text("year,kg_per_kwh\n2025,0.7\n2040,0.3\n")
    raw = yaml.safe_load((ROOT / "scenarios" / "packaged.yaml").read_text())
    for key in ("baseline", "carbon", "tariff", "costs", "savings"):
        raw.pop(key, None)
    raw["site"] = {"weather": str((ROOT / "scenarios" / raw["site"]["weather"]).resolve())}
    raw["baseline"] = {
        "family": "gas-tank",
        "storage": {"volume": "400 L", "setpoint": "60 degC"},
        "backup": {"kind": "gas", "power": "40 kW", "efficiency": 0.8},
    }
    raw["carbon"] = {
        "grid": "grid.csv",
        "marginal": "marginal.csv",
        "first_year": 2027,
        "service_years": 7,
        "refrigerant": {
            "charge": "3 kg",
            "annual_leak": 0.05,
            "installation_loss": 0.02,
            "service_loss": 0.01,
        },
    }
    raw["tariff"] = {
        "electricity": "price.csv",
        "tiers": [
            {"price": "0.01 USD/kWh", "up_to": "300 kWh"},
            {"price": "0.04 USD/kWh", "up_to": "800 kWh"},
            {"price": "0.09 USD/kWh"},
        ],
        "demand": [
            {"price": "5 USD/kW/month", "days": "weekdays", "hours": ["16:15-20:45"], "months": "Jun-Sep"},
            {"price": "3 USD/kW/month", "ratchet": 0.8, "ratchet_months": 3},
        ],
        "fixed": "12 USD/month",
        "fuel": [f"{0.03 + 0.001 * m} USD/kWh" for m in range(12)],
    }
    raw["costs"] = {
        "capital": "40000 USD",
        "maintenance": "300 USD/year",
        "replacements": [{"year": 9, "cost": "5000 USD"}],
        "baseline": {"capital": "9000 USD"},
        "years": 14,
        "rates": "nominal",
        "discount_rate": 0.06,
        "electricity_escalation": 0.03,
        "fuel_escalation": 0.04,
        "inflation": 0.025,
    }
    raw["savings"] = {
        "peak_hours": [{"name": "evening", "months": "Jan", "days": "weekdays", "hours": ["17:15-19:45"]}]
    }
    path = folder / "lopsided.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    return read_scenario(path)


@pytest.fixture(scope="module")
def demo() -> Papers:
    return gather(read_scenario(DEMO))


@pytest.fixture(scope="module")
def demo_file(demo: Papers, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("book") / "dossier.xlsx"
    path.write_bytes(workbook_bytes(demo))
    return path


# -- the workbook ----------------------------------------------------------------------------------------


def figures(book: Any) -> Iterator[tuple[str, float, float]]:
    """Every pair of a live figure and the engine's in Summary and Savings."""
    rows = table(book, "Summary")
    head = rows[4]
    for row in rows[5:]:
        for place, name in enumerate(head):
            if name is not None and name.endswith(", live") and isinstance(row[place], float | int):
                yield f"{row[0]} ({name})", row[place], row[place + 1]
    if "Savings" in book.sheetnames:
        for row in table(book, "Savings")[1:]:
            if len(row) > 6 and isinstance(row[6], float | int):
                yield f"saved {row[0]}", row[4], row[6]


def close(live: float, engine: float) -> bool:
    """Within RELATIVE; of figures that are nothing but rounding, within 1e-12 of themselves."""
    return abs(live - engine) <= max(RELATIVE * abs(engine), 1e-12)


RECORD_KEYS = (
    "electricity_kwh",
    "compressor_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "heat_to_taps_kwh",
    "peak_kw",
    "cop_plant",
    "cop_heat_pump",
    "operational_kgco2e",
    "refrigerant_kgco2e",
    "total_kgco2e",
    "energy_cost",
    "costs.demand_usd",
    "carbon.tewi_kgco2e",
)


@needs_office
def test_another_program_recalculates_the_demo(demo: Papers, demo_file: Path, tmp_path: Path) -> None:
    """LibreOffice, from the hours alone, against the record of the engine (not the sheet's own copy)."""
    book = recalculated(demo_file, tmp_path)
    seen = {name: live for name, live, _ in figures(book)}
    record: Any = demo.answer.year.record
    for key in RECORD_KEYS:
        assert close(seen[f"{key} (plant, live)"], record[key]), key
    for key, line in demo.answer.savings.items():
        assert close(seen[f"saved {key}"], line.saved), key
    assert all(close(live, engine) for _, live, engine in figures(book))
    monthly = {row[0]: row[1:13] for row in table(book, "Monthly")[2:10]}
    assert monthly["electricity_kwh"] == pytest.approx(record["monthly.electricity_kwh"], rel=RELATIVE)
    assert monthly["peak_kw"] == pytest.approx(record["monthly.peak_kw"], rel=RELATIVE)
    npv = next(row for row in table(book, "Life cycle") if row[0] == "net present value")
    assert npv[1] == pytest.approx(record["costs.npv_usd"], rel=RELATIVE)


@needs_office
def test_another_program_recalculates_a_lopsided_case(tmp_path: Path) -> None:
    """A room to pay for, hourly factors and prices, tiers, windows at quarters, ratchets, nominal rates."""
    papers = gather(lopsided(tmp_path))
    assert papers.plant.room
    path = tmp_path / "dossier.xlsx"
    path.write_bytes(workbook_bytes(papers))
    book = recalculated(path, tmp_path)
    pairs = list(figures(book))
    wrong = [pair for pair in pairs if not close(*pair[1:])]
    assert wrong == []
    names = {name for name, _, _ in pairs}
    for key in ("carbon.room_kgco2e", "carbon.marginal_kgco2e", "costs.room_usd", "energy_cost", "cop_net"):
        assert f"{key} (plant, live)" in names, key
    for key in papers.answer.savings:
        assert f"saved {key}" in names, key
    npv = next(row for row in table(book, "Life cycle") if row[0] == "net present value")
    record: Any = papers.answer.year.record
    assert npv[1] == pytest.approx(record["costs.npv_usd"], rel=RELATIVE)


@needs_office
@pytest.mark.parametrize(
    ("name", "override", "value"),
    [
        ("grid_factor", "carbon.grid=0.71 kg/kWh", 0.71),
        ("plant_annual_leak", "carbon.refrigerant.annual_leak=0.4", 0.4),
        ("demand_1_price", "tariff.demand=[{price: 23 USD/kW, ratchet: 0.6}]", 23.0),
    ],
)
def test_a_cell_changed_by_hand_moves_the_answer_as_the_engine_does(
    demo_file: Path, tmp_path: Path, name: str, override: str, value: float
) -> None:
    """The engine with --set is the reference for the sheet with one yellow cell changed."""
    where = openpyxl.load_workbook(demo_file, read_only=True).defined_names[name].attr_text
    place = where.rpartition("!")[2].replace("$", "")
    book = recalculated(demo_file, tmp_path, {("Factors", place): value})
    engine = answer(read_scenario(DEMO, [override]))
    record: Any = engine.year.record
    live = {label: number for label, number, _ in figures(book)}
    for key in ("operational_kgco2e", "refrigerant_kgco2e", "total_kgco2e", "energy_cost"):
        assert close(live[f"{key} (plant, live)"], record[key]), key
    for key in ("kgco2e", "cost"):
        assert close(live[f"saved {key}"], engine.savings[key].saved), key
    moved = [row[1] for row in table(book, "Checks")[1:4]]
    assert max(moved) > 1e-6  # the sheet itself says that it is no longer the engine's


def test_totals_are_formulas_and_carry_their_values(demo: Papers, demo_file: Path) -> None:
    """Read with openpyxl: no total is a bare number, and viewers without calculation show the record."""
    formulas = openpyxl.load_workbook(demo_file, read_only=True)
    values = openpyxl.load_workbook(demo_file, read_only=True, data_only=True)
    assert {"Summary", "Inputs", "Factors", "Hourly plant", "Hourly baseline", "Monthly"} <= set(
        formulas.sheetnames
    )
    text = {row[0]: row for row in table(formulas, "Summary")}
    shown = {row[0]: row for row in table(values, "Summary")}
    assert re.fullmatch(r"=SUM\('Hourly plant'!\$[A-Z]+\$2:\$[A-Z]+\$8761\)", str(text["electricity_kwh"][3]))
    record: Any = demo.plant.record
    for key in ("electricity_kwh", "total_kgco2e", "energy_cost", "cop_plant", "peak_kw"):
        assert str(text[key][3]).startswith("="), key
        assert shown[key][3] == pytest.approx(record[key], rel=RELATIVE), key
    hours = formulas["Hourly plant"]
    assert hours.max_row == 8761
    head, first = (list(row) for row in hours.iter_rows(min_row=1, max_row=2, values_only=True))
    series = demo.plant.year.hourly
    for name in ("electricity_kwh", "store_top_c"):
        assert first[head.index(name)] == series[name][0]  # bit for bit
    shared = [row[0] for row in table(formulas, "Inputs")]
    assert {"plant.storage.volume", "plant.storage.heat_loss", "baseline.backup.power"} <= set(shared)


def test_a_plant_alone_has_no_empty_sheets(tmp_path: Path) -> None:
    """Without baseline, carbon and tariff the sheets on them are left out, and the book still holds."""
    overrides = ["baseline=null", "carbon=null", "tariff=null", "costs=null", "site.checks=null"]
    papers = gather(read_scenario(DEMO, overrides))
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(papers)), read_only=True)
    assert not {"Savings", "Carbon", "Cost", "Life cycle", "Hourly baseline"} & set(book.sheetnames)


def test_the_same_year_gives_the_same_workbook(demo: Papers, demo_file: Path) -> None:
    with zipfile.ZipFile(demo_file) as one, zipfile.ZipFile(BytesIO(workbook_bytes(demo))) as two:
        assert one.namelist() == two.namelist()
        assert all(one.read(name) == two.read(name) for name in one.namelist())


def test_inputs_name_their_origin(demo: Papers) -> None:
    """Given in the file, given on the command line, default, derived; no key twice in one origin."""
    rows = inputs(gather(read_scenario(DEMO, ["plant.storage.volume=800 gal"])))
    by_key = {(row.key, row.origin.split()[0]): row for row in rows}
    assert len(by_key) == len(rows)
    assert by_key["plant.storage.volume", "given"].origin == "given on the command line"
    assert by_key["plant.heat_pump.cop", "given"].value == "3.7"
    assert by_key["carbon.grid", "derived"].source.startswith("US EPA")
    assert by_key["plant.storage.room_temperature", "default"].source


# -- swings ----------------------------------------------------------------------------------------------


def test_swings_start_at_the_record_and_go_the_right_way(demo: Papers) -> None:
    """The base is the record's; more use, more loss and a worse COP buy more; a dirtier grid saves less."""
    found = swings(demo.loaded, demo.plant.year, demo.answer.baseline)
    record: Any = demo.plant.record
    assert found.left_out == {}
    base = found.base
    assert base.electricity_kwh == record["electricity_kwh"]
    assert base.kgco2e == record["total_kgco2e"]
    assert base.saved_kgco2e == pytest.approx(demo.answer.savings["kgco2e"].saved, rel=1e-12)
    assert base.saved_cost == pytest.approx(demo.answer.savings["cost"].saved, rel=1e-12)
    rows = {row.name: row for row in found.rows}
    assert set(rows) == {
        "hot-water use",
        "loss of the loop",
        "loss of the store",
        "rated COP",
        "refrigerant leak",
        "grid factor",
    }

    def electric(result: Result) -> float:
        return result.electricity_kwh

    for name in ("hot-water use", "loss of the loop", "loss of the store"):
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


# -- PDF and bundle --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The dossier of a copy of the demo, by the command."""
    folder = tmp_path_factory.mktemp("dossier")
    text = DEMO.read_text().replace("../weather", str(ROOT / "weather"))
    (folder / "demo.yaml").write_text(text)
    shutil.copy(ROOT / "scenarios" / "gas-boiler.yaml", folder / "gas-boiler.yaml")
    boiler = folder / "gas-boiler.yaml"
    boiler.write_text(boiler.read_text().replace("../weather", str(ROOT / "weather")))
    argv = ["dossier", str(folder / "demo.yaml"), "--out", str(folder / "out")]
    assert cli.main([*argv, "--set", "plant.storage.volume=850 gal"]) == 0
    return folder / "out"


def test_three_files(written: Path) -> None:
    assert sorted(path.name for path in written.iterdir()) == ["bundle.json", "dossier.pdf", "dossier.xlsx"]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_pdf_holds_what_a_reviewer_needs(written: Path) -> None:
    """Text taken out by another program: every part is there, in an embedded font, with no unknown glyph."""
    pdf = written / "dossier.pdf"
    text = subprocess.run(
        ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    held = json.loads((written / "bundle.json").read_text())
    record = held["record"]
    for words in (
        "Purpose",
        "Method",
        "Inputs that were given",
        "Defaults in force",
        "Months of the plant",
        "Months of the baseline",
        "Assumptions that drive the answer",
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
    papers = gather(loaded)
    found = Drawn(swings(loaded, papers.plant.year, None), {})
    assert pdf_bytes(papers, lambda: found, command_of(papers)).startswith(b"%PDF")
    assert [line for line in caplog.messages if "missing" in line] == []


def test_verify_says_same(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["dossier", "--verify", str(written / "bundle.json")]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "same"


def test_verify_says_what_moved(written: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An edited scenario file, an edited baseline file, an edited figure: each is named, exit 1."""
    folder = tmp_path / "copy"
    shutil.copytree(written.parent, folder)
    file, kept = folder / "demo.yaml", folder / "out" / "bundle.json"
    file.write_text(file.read_text().replace("cop: 3.7", "cop: 3.5"))
    assert cli.main(["dossier", "--verify", str(kept)]) == 1
    said = capsys.readouterr().out
    assert "demo.yaml: the scenario file has changed" in said
    assert re.search(r"^compressor_kwh +\d", said, re.MULTILINE)
    assert said.splitlines()[-1].startswith("moved: 1 of the inputs")
    shutil.copy(written.parent / "demo.yaml", file)
    boiler = folder / "gas-boiler.yaml"
    boiler.write_text(boiler.read_text().replace('power: "80 kW"', 'power: "60 kW"'))
    found = verify(kept)
    assert [text for text in found.inputs if "gas-boiler.yaml" in text and "has changed" in text]
    shutil.copy(written.parent / "gas-boiler.yaml", boiler)
    held = json.loads(kept.read_text())
    held["record"]["electricity_kwh"] *= 1.01
    kept.write_text(json.dumps(held))
    found = verify(kept)
    assert found.inputs == ()
    assert [move.key for move in found.moves] == ["electricity_kwh"]


def test_a_bundle_repeats_without_its_scenario_file(written: Path, tmp_path: Path) -> None:
    """The keys kept in the bundle are enough; only weather and baseline must be where they were."""
    folder = tmp_path / "copy"
    shutil.copytree(written.parent, folder)
    (folder / "demo.yaml").unlink()
    found = verify(folder / "out" / "bundle.json")
    assert found.same, found
    assert "repeated from the keys" in found.notes[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not valid JSON"),
        ("[]", "no bundle"),
        ('{"kind": 3}', "no bundle"),
        (None, "there is no such file"),
    ],
)
def test_a_wrong_bundle_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str | None, words: str
) -> None:
    path = tmp_path / "bundle.json"
    if text is not None:
        path.write_text(text)
    assert cli.main(["dossier", "--verify", str(path)]) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize(
    "argv",
    [
        ["dossier"],
        ["dossier", str(DEMO), "--verify", "bundle.json"],
        ["dossier", "--verify", "bundle.json", "--set", "title=x"],
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


def test_the_bundle_names_every_file(demo: Papers, tmp_path: Path) -> None:
    held = bundle(demo, tmp_path)
    assert {item["key"] for item in held["files"]} == {"site.weather", "baseline"}
    assert all((tmp_path / item["path"]).resolve().is_file() for item in held["files"])
    assert held["scenario"]["text"] == DEMO.read_text()
