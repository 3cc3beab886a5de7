"""The files of a block: its page, its workbook and its tables, by the command."""

import csv
import json
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from block_cases import THREE, table
from browser import Browser
from cases import refusal
from recalculation import recalculated

import hpwhsim as ty
from hpwhsim.cli.main import main

pytestmark = pytest.mark.contract

NAMES = ("block.html", "block.json", "block.xlsx", "buildings.csv", "hours.csv", "months.csv", "power.csv")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the command writes of `THREE`."""
    top = tmp_path_factory.mktemp("block")
    path = table(top, *THREE)
    assert main(["block", str(path), "--out", str(top / "out"), "--hours", "noon=11:00-13:00"]) == 0
    return top / "out"


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def test_the_files_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Record, tables and power add up to each other; --json prints the record and nothing else."""
    assert sorted(path.name for path in folder.iterdir()) == sorted(NAMES)
    record = json.loads((folder / "block.json").read_text())
    power = np.array([float(row["power_kw"]) for row in rows(folder / "power.csv")])
    assert power.size == 35040
    assert power.max() == pytest.approx(record["peak"]["coincident_kw"], rel=1e-9)
    assert power.sum() / 4.0 == pytest.approx(record["totals"]["electricity_kwh"], rel=1e-9)
    of = rows(folder / "buildings.csv")
    assert [row["building"] for row in of] == ["A", "B", "C"]
    assert sum(float(row["electricity_kwh"]) for row in of) == pytest.approx(
        record["totals"]["electricity_kwh"], rel=1e-12
    )
    months = rows(folder / "months.csv")
    assert max(float(row["coincident_kw"]) for row in months) == record["peak"]["coincident_kw"]
    assert [row["name"] for row in rows(folder / "hours.csv")] == ["noon", "summer_afternoon"]
    capsys.readouterr()
    path = folder.parent / "buildings.csv"
    assert main(["block", str(path), "--json", "--hours", "noon=11:00-13:00"]) == 0
    assert json.loads(capsys.readouterr().out) == record


def test_the_library_gives_the_same(folder: Path) -> None:
    record = json.loads((folder / "block.json").read_text())
    found = ty.block(folder.parent / "buildings.csv", hours={"noon": "11:00-13:00"})
    assert json.loads(json.dumps(found.record)) == record
    assert float(found.table["electricity_kwh"]["B"]) == record["rows"][1]["electricity_kwh"]
    assert float(found.power["power_kw"].max()) == record["peak"]["coincident_kw"]
    assert found.power["power_kw"].attrs["units"] == "kW"


@pytest.mark.long
def test_the_workbook_adds_up(folder: Path, tmp_path: Path) -> None:
    """Recalculated by another program, totals are the record's, and follow a row that is changed."""
    record = json.loads((folder / "block.json").read_text())
    kept = openpyxl.load_workbook(folder / "block.xlsx", data_only=True)
    anew = recalculated(folder / "block.xlsx", tmp_path)
    for sheet in (kept["Block"], anew["Block"]):
        values = {row[0]: row[1] for row in sheet.iter_rows(values_only=True) if len(row) > 1}
        assert values["electricity"] == pytest.approx(record["totals"]["electricity_kwh"], rel=1e-12)
        peak = record["peak"]
        assert values["coincident peak, 15-minute mean"] == pytest.approx(peak["coincident_kw"], rel=1e-12)
        assert values["diversity factor"] == pytest.approx(peak["diversity_factor"], rel=1e-12)
        assert values["COP of the plant"] == pytest.approx(record["totals"]["cop_plant"], rel=1e-12)
    ranks = [row[-1] for row in anew["Buildings"].iter_rows(values_only=True)][2:5]
    order = [one["building"] for one in record["rank"]["order"]]
    assert ranks == [order.index(name) + 1 for name in "ABC"]


@pytest.mark.long
def test_the_page_is_read(folder: Path, tmp_path: Path) -> None:
    """The script draws every picture, follows the rank that is chosen, and asks for nothing."""
    browser = Browser(tmp_path)
    try:
        for width in (1280, 400):
            browser.open(folder / "block.html", width)
            assert browser.js("return document.querySelectorAll('figure .drawing svg').length") == 5
            assert browser.js("return document.documentElement.scrollWidth <= innerWidth")
            assert browser.driver.get_log("browser") == []
        first = "return document.querySelector('[data-picture=rank] svg text[text-anchor=end]').textContent"
        assert browser.js(first).startswith("1. ")
        browser.js(
            "const s = document.getElementById('rank-by'); s.value = 'peak_kw';"
            "s.dispatchEvent(new Event('change'))"
        )
        record = json.loads((folder / "block.json").read_text())
        least = min(record["rows"], key=lambda row: row["peak_kw"])
        assert browser.js(first) == f"1. {least['building']}"
    finally:
        browser.driver.quit()


def test_nothing_is_half_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = table(tmp_path, "A,plant.yaml,0,smooth,")
    said = refusal(["block", str(path), "--out", str(tmp_path / "out")], capsys)
    assert "row 2 (A): column building.apartments: got 0; allowed at least 1" in said
    assert not (tmp_path / "out").exists()
