"""How the sheets of the workbook are printed and shown; and the prices by month and hour."""

import re
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from recalculation import recalculated, shortened, table
from workbook_cases import DEMO, needs_office

from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.reading import read_scenario

ANOTHER = "hours of the year at another price"
pytestmark = [pytest.mark.contract, pytest.mark.year]


def test_every_sheet_prints_as_wide_as_a_page(demo_file: Path) -> None:
    """Landscape, one page wide, all cells within the area, heads again on each page, pages counted."""
    book = openpyxl.load_workbook(shortened(demo_file))
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape", sheet.title
        assert sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.title
        assert sheet.page_setup.fitToWidth in (None, 1), sheet.title  # 1 is the default of the format
        assert "page &P of &N" in sheet.oddFooter.right.text, sheet.title
        last = re.search(r"\$([A-Z]+)\$(\d+)$", sheet.print_area)
        assert last is not None
        right = max(cell.column for row in sheet.iter_rows() for cell in row if cell.value is not None)
        assert openpyxl.utils.column_index_from_string(last[1]) == right, sheet.title
        hourly = sheet.title.startswith("Hourly")
        assert int(last[2]) == (8762 if hourly else sheet.max_row), sheet.title
        if sheet.title != "Front":
            assert sheet.freeze_panes is not None, sheet.title
        if hourly:
            assert sheet.print_title_rows == "$1:$2"
        elif sheet.title in ("Summary", "Savings", "Inputs", "Factors", "Checks", "Columns"):
            assert sheet.print_title_rows is not None, sheet.title


@pytest.mark.slow
def test_paper_is_that_of_the_scenario() -> None:
    """Letter and tabloid, or A4 and A3: paperSize 1 and 3, 9 and 8 of ECMA-376, as openpyxl names them."""
    result = evaluate_over(read_scenario(DEMO, ["dossier.paper=A4", "baseline=null", "costs=null"]))
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(result)))
    front = book["Front"]
    assert int(front.page_setup.paperSize) == int(front.PAPERSIZE_A4)
    assert int(book["Hourly plant"].page_setup.paperSize) == int(front.PAPERSIZE_A3)


@pytest.mark.slow
def test_numbers_have_the_digits_of_the_declarations(demo_file: Path) -> None:
    """A format of tables/results.csv is that of the cell; units and labels stand beside the key."""
    book = openpyxl.load_workbook(shortened(demo_file))
    same = {
        ",.0f": "#,##0",
        ",.1f": "#,##0.0",
        ".2f": "0.00",
        ",.2f": "#,##0.00",
        ".3f": "0.000",
        ".1e": "0.0E+00",
    }
    held = 0
    for row in book["Summary"].iter_rows(min_row=6):
        declaration = declarations()[str(row[1].value).partition("[")[0]]
        assert str(row[0].value).startswith(declaration.label)
        assert row[3].value, row[1].value
        number, shown = row[5], same.get(declaration.format)
        if isinstance(number.value, float | int) and abs(number.value) >= 1.0 and shown is not None:
            assert number.number_format == shown, row[1].value
            held += 1
    assert held > 40


def test_money_and_years_have_number_formats(demo_file: Path) -> None:
    """No amount of money, price, share or tonne of the life cycle is shown with all its digits."""
    sheet = openpyxl.load_workbook(shortened(demo_file), data_only=True)["Life cycle"]
    checked = 0
    for row in sheet.iter_rows(min_row=4):
        for cell in row:
            if isinstance(cell.value, float) and not cell.value.is_integer():
                assert cell.number_format != "General", cell.coordinate
                checked += 1
    assert checked > 100


def prices(book: Any) -> np.ndarray[Any, Any]:
    """Prices of weekdays and weekends, shape (2, 12, 24)."""
    rows = [row[1:25] for row in table(book, "Price bands")[3:] if len(row) > 24 and row[1] is not None]
    return np.array(rows[:24], dtype=float).reshape(2, 12, 24)


def hourly_prices(table_: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """The price of each hour of 2001, whose 1 January was a Monday, by the calendar of numpy."""
    time = np.arange("2001-01-01T00", "2002-01-01T00", dtype="datetime64[h]")
    days = time.astype("datetime64[D]")
    weekend = (~np.is_busday(days)).astype(int)
    month = time.astype("datetime64[M]").astype(int) % 12
    hour = (time - days).astype(int)
    return np.asarray(table_[weekend, month, hour])


@pytest.mark.slow
@pytest.mark.independent
@needs_office
def test_the_table_of_prices_is_what_was_paid(demo: Result, demo_file: Path, tmp_path: Path) -> None:
    """Each hour's price of the engine, from the table as LibreOffice has it; and another price."""
    assert demo.plant.tariff is not None
    paid = demo.plant.tariff.electricity
    assert paid is not None
    book = recalculated(demo_file, tmp_path)
    assert (hourly_prices(prices(book)) == paid).all()
    (check,) = (
        row for row in table(book, "Checks") if str(row[0]).startswith("hours of the year at another")
    )
    assert (check[1], check[4]) == (0.0, "ok")
    dearer = recalculated(demo_file, tmp_path, {"price_of_band_3": 0.5})
    expected = np.where(paid == 0.31, 0.5, paid)
    assert (hourly_prices(prices(dearer)) == expected).all()


@pytest.mark.slow
@pytest.mark.independent
@needs_office
def test_prices_of_a_file_are_means_and_say_so(tmp_path: Path) -> None:
    """Hours that differ from day to day: means of them, of many prices and of few."""
    rng = np.random.default_rng(3)
    for name, values in (("many", rng.random(8760)), ("few", rng.integers(1, 4, 8760) / 10.0)):
        text = "\n".join(map(repr, values.tolist()))
        (tmp_path / "price.csv").write_text(f"usd_per_kwh\n{text}\n")
        raw = ["baseline=null", "costs=null", f"tariff={{electricity: {tmp_path / 'price.csv'}}}"]
        result = evaluate_over(read_scenario(DEMO, raw))
        path = tmp_path / f"{name}.xlsx"
        path.write_bytes(workbook_bytes(result))
        book = recalculated(path, tmp_path)
        found = prices(book)
        shown = hourly_prices(found)
        for weekend, month, hour in ((0, 0, 0), (1, 6, 17), (0, 11, 23)):
            pick = np.zeros((2, 12, 24))
            pick[weekend, month, hour] = 1.0
            inside = hourly_prices(pick) == 1.0
            assert shown[inside] == pytest.approx(values[inside].mean(), rel=1e-12)
        words = [str(row[0]) for row in table(book, "Price bands")]
        assert any("means" in text for text in words)
        assert not any(
            str(row[0]).startswith("hours of the year at another") for row in table(book, "Checks")
        )


def test_one_price_is_in_every_hour(tmp_path: Path) -> None:
    """A tariff of one price."""
    path = tmp_path / "one.xlsx"
    overrides = ["baseline=null", "costs=null", "tariff={electricity: 0.2 USD/kWh}"]
    path.write_bytes(workbook_bytes(evaluate_over(read_scenario(DEMO, overrides))))
    assert (prices(openpyxl.load_workbook(shortened(path), data_only=True)) == 0.2).all()
