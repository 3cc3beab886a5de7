"""The front sheet: what it says, that it follows the cells, and that it claims no more than the checks."""

from pathlib import Path
from typing import Any

import openpyxl
import pytest
from cases import ROOT
from recalculation import recalculated_all, shortened, table
from workbook_cases import DEMO, needs_office

from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import read_scenario

pytestmark = [pytest.mark.contract, pytest.mark.year]
PARTIES = [
    "dossier.prepared_by=A. Engineer",
    "dossier.prepared_for=An invented owner & Co",
    "dossier.date=1 May",
]
FAILING = [*PARTIES, "site.checks.max_floor_load=100 lb/ft2", "site.checks.available_current=100 A"]


def lines(book: Any) -> list[str]:
    """The first cell of each row of the verdict."""
    rows = [row[0] for row in table(book, "Front")]
    start = rows.index("Verdict") + 1
    return [str(text) for text in rows[start : rows.index(None, start)]]


def written(result: Result, folder: Path) -> Path:
    """Its workbook as a file."""
    path = folder / "dossier.xlsx"
    path.write_bytes(workbook_bytes(result))
    return path


@pytest.fixture(scope="module")
def failing(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    """The demo where two checks fail."""
    result = evaluate_over(read_scenario(DEMO, FAILING))
    return result, written(result, tmp_path_factory.mktemp("failing"))


@pytest.mark.slow
@pytest.mark.independent
@needs_office
def test_another_program_says_the_same_words(demo: Result, demo_file: Path, tmp_path: Path) -> None:
    """Every text and number of the sheet, recalculated; cells changed by hand are said to be."""
    carried = table(openpyxl.load_workbook(shortened(demo_file), data_only=True), "Front")
    cases: list[tuple[Path, dict[str, float | str]]] = [
        (demo_file, {}),
        (demo_file, {"price_of_band_1": 0.03, "price_of_band_2": 0.03, "price_of_band_3": 0.03}),
    ]
    same, cheap = recalculated_all(cases, tmp_path)
    compare(carried, table(same, "Front"))
    before, now = lines(same), lines(cheap)
    assert "hand" not in before[0]
    assert now[0].endswith("with cells changed by hand.")
    assert "Cells: changed by hand" in "".join(now)
    bill, after = (next(text for text in said if text.startswith("Energy bill")) for said in (before, now))
    assert f"{-demo.savings['cost'].saved:,.0f} USD a year more" in bill
    assert "USD a year saved" in after  # electricity at a fifth of its price


def compare(carried: list[list[Any]], live: list[list[Any]]) -> None:
    """Cells of the file beside those that another program calculates; empty texts are none."""
    for one, other in zip(carried, live, strict=False):
        for a, b in zip(one, [*other, *[None] * len(one)], strict=False):
            if isinstance(a, int | float):
                assert b == pytest.approx(a, rel=1e-9, abs=1e-12)
            else:
                assert (a or None) == (b or None)


@pytest.mark.slow
def test_it_names_whom_it_is_for_and_what_failed(failing: tuple[Result, Path]) -> None:
    """The block `dossier`, both failed checks by name, their number in the sentence."""
    result, path = failing
    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    rows = {row[0]: row for row in table(book, "Front")}
    assert rows["Prepared by"][1] == "A. Engineer"
    assert rows["Prepared for"][1] == "An invented owner & Co"
    assert "Project" not in rows
    assert rows["Date"][1] == "1 May"
    assert rows["baseline"][1].startswith("gas-boiler")
    failed = [check for check in result.checks if check.state == "fail"]
    said = lines(book)
    assert len(failed) >= 2
    assert f"checks: {len(failed)} failed" in said[0]
    for check in failed:
        assert f"Failed: {check.name}: {check.text}" in said
    named = [text for text in said if text.startswith("To be confirmed: ")]
    assert len(named) == sum(check.state == "confirm" for check in result.checks)


@pytest.mark.slow
def test_more_energy_is_no_saving(tmp_path: Path) -> None:
    """Resistance against the demo's plant: the sentence says how much more it takes."""
    resistance = ROOT / "scenarios" / "resistance.yaml"
    result = evaluate_over(read_scenario(resistance, ["baseline=central-air.yaml"]))
    assert result.savings["site_mmbtu"].saved < 0.0
    book = openpyxl.load_workbook(written(result, tmp_path), read_only=True, data_only=True)
    said = lines(book)
    size = f"{-result.savings['site_mmbtu'].saved:,.1f} MMBtu"
    assert said[0].startswith(f"No savings: {size} more site energy")
    assert "no checks of site and refrigerant were made" in said[0]


def test_nothing_is_said_of_savings_without_a_baseline(tmp_path: Path) -> None:
    """No baseline, no costs, no checks."""
    overrides = ["baseline=null", "carbon=null", "tariff=null", "costs=null", "site.checks=null"]
    book = openpyxl.load_workbook(
        written(evaluate_over(read_scenario(DEMO, overrides)), tmp_path), read_only=True, data_only=True
    )
    said = lines(book)
    assert said[0].startswith("No baseline, so no savings are reported.")
    assert not any(" saved" in text for text in said)
    assert {row[6] for row in table(book, "Front") if len(row) > 6} >= {"Checks", "Cautions"}


def test_every_sheet_is_in_the_guide_and_linked(demo_file: Path) -> None:
    """Each link of the sheet leads to a sheet that there is, and each sheet has one."""
    book = openpyxl.load_workbook(shortened(demo_file))
    places = [cell.hyperlink.location for row in book["Front"].iter_rows() for cell in row if cell.hyperlink]
    names = {place.rpartition("!")[0].strip("'") for place in places}
    assert names == set(book.sheetnames)
