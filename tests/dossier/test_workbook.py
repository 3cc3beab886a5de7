"""The workbook: another program recalculates it, and its formulas carry the values of the record."""

import re
import zipfile
from io import BytesIO
from itertools import takewhile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import yaml
from cases import ROOT
from recalculation import recalculated, recalculated_all, shortened, table
from workbook_cases import DEMO, RELATIVE, live_figures, needs_office, wrong

from hpwhsim.account.energy import END_USES
from hpwhsim.dossier.workbook import hourly
from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.dossier.workbook.summary_sheet import NOT_LIVE, UNEXPLAINED
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import Loaded, read_scenario

pytestmark = [pytest.mark.contract, pytest.mark.year]
# pytest finds a fixture by its name in the module


def lopsided(folder: Path, **carbon: object) -> Loaded:
    """An invented packaged unit in a heated room, with all that the demo has not.

    Hourly grid factors beside a marginal one that changes by the year, hourly prices with tiers on top,
    demand charges in windows that begin at a quarter, fuel prices by month, a baseline that burns gas with a
    leak upstream, incentives of which one stops at its cap.
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
        "upstream_leak": 0.02,
        "refrigerant": {
            "charge": "3 kg",
            "annual_leak": 0.05,
            "installation_loss": 0.02,
            "service_loss": 0.01,
        },
    }
    raw["carbon"] |= carbon
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
        "incentives": [
            {
                "name": "first, invented",
                "lump_sum": "2000 USD",
                "per_unit": "150 USD",
                "units": 8,
                "max_share": 0.07,
            },
            {"name": "second, invented", "per_site_energy_saved": "0.02 USD/kWh"},
        ],
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


# -- another program -------------------------------------------------------------------------------------


RECORD_KEYS = (
    "electricity_kwh",
    "compressor_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "heat_to_taps_kwh",
    "peak_kw",
    "cop_plant",
    "cop_heat_pump",
    "recirculation_share",
    "backup_hours_by_cause[capacity]",
    "operational_kgco2e",
    "refrigerant_kgco2e",
    "total_kgco2e",
    "carbon.tewi_kgco2e",
    "carbon.grid_kgco2e_per_kwh",
    "carbon.electricity_kgco2e",
    "carbon.fuel_kgco2e",
    "carbon.electricity_co2_kg",
    "carbon.electricity_n2o_kg",
    "carbon.refrigerant_gwp",
    "carbon.refrigerant_by_gwp[AR4-100]",
    "energy_cost",
    "costs.demand_usd",
    "costs.incentives_usd[invented rebate]",
    "costs.extra_capital_usd",
    "costs.first_year_saving_usd",
    "costs.present_value_usd",
    "costs.npv_usd",
    "costs.carbon_usd_per_tonne",
    "costs.heat_usd_per_mwh",
    "costs.baseline_heat_usd_per_mwh",
)


@pytest.mark.slow
@pytest.mark.independent
@needs_office
def test_another_program_recalculates_the_demo(demo: Result, demo_file: Path, tmp_path: Path) -> None:
    """LibreOffice, from the hours alone, against the record of the engine."""
    book = recalculated(demo_file, tmp_path)
    assert wrong(book, demo) == {}
    live = live_figures(book)
    for key in RECORD_KEYS:
        assert f"{key} (plant)" in live, key
    for key in demo.savings:
        assert f"saved {key}" in live, key
    record: Any = demo.plant.year.record
    monthly = {row[1]: row[3:15] for row in takewhile(lambda row: row[0], table(book, "Monthly")[2:])}
    used = np.sum([monthly[key] for key in END_USES if key in monthly], axis=0)
    assert used == pytest.approx(monthly["electricity_kwh"], rel=RELATIVE)
    assert monthly["electricity_kwh"] == pytest.approx(record["monthly.electricity_kwh"], rel=RELATIVE)
    assert monthly["peak_kw"] == pytest.approx(record["monthly.peak_kw"], rel=RELATIVE)
    years = table(book, "Carbon")[4:19]
    assert [row[9] for row in years] == pytest.approx(record["carbon.cumulative_kgco2e"], rel=RELATIVE)
    said = {row[1].partition("[")[0] for row in table(book, "Summary")[5:] if row[4] == "as in the engine"}
    assert said <= set(NOT_LIVE)  # and what is no formula says why


@pytest.mark.slow
@pytest.mark.independent
@needs_office
def test_another_program_recalculates_a_lopsided_case(tmp_path: Path) -> None:
    """A room to pay for, hourly factors and prices, tiers, windows at quarters, ratchets, nominal rates."""
    result = evaluate_over(lopsided(tmp_path))
    assert result.plant.room
    path = tmp_path / "dossier.xlsx"
    path.write_bytes(workbook_bytes(result))
    other: dict[str, float | str] = {"gwp_set": "AR5-20", "upstream_leak": 0.03}
    book, picked = recalculated_all([(path, {}), (path, other)], tmp_path)
    assert wrong(book, result) == {}
    live = live_figures(book)
    for key in (
        "carbon.room_kgco2e",
        "carbon.marginal_kgco2e",
        "carbon.upstream_kgco2e",
        "costs.room_usd",
        "costs.incentives_usd[first, invented]",
        "costs.incentives_usd[second, invented]",
        "costs.npv_usd",
        "energy_cost",
        "cop_net",
    ):
        assert f"{key} (plant)" in live, key
    assert {f"saved {key}" for key in result.savings} <= set(live)
    # the engine with another set is the reference for the sheet with another set picked
    assert wrong(picked, evaluate_over(lopsided(tmp_path, gwp="AR5-20", upstream_leak=0.03))) == {}
    assert (
        live_figures(picked)["carbon.refrigerant_gwp (plant)"] == 3710.0
    )  # R-134a, AR5 over 20 years: shared/gwp.csv


# -- the file --------------------------------------------------------------------------------------------


def test_totals_are_formulas_and_carry_their_values(demo: Result, demo_file: Path) -> None:
    """Read with openpyxl: no total is a bare number, and viewers without calculation show the record."""
    formulas = openpyxl.load_workbook(demo_file, read_only=True)
    values = openpyxl.load_workbook(demo_file, read_only=True, data_only=True)
    assert {"Summary", "Inputs", "Factors", "Hourly plant", "Hourly baseline", "Monthly"} <= set(
        formulas.sheetnames
    )
    text = {row[1]: row for row in table(formulas, "Summary")}
    shown = {row[1]: row for row in table(values, "Summary")}
    assert re.fullmatch(r"=SUM\('Hourly plant'!\$[A-Z]+\$3:\$[A-Z]+\$8762\)", str(text["electricity_kwh"][4]))
    record: Any = demo.plant.record
    for key in ("electricity_kwh", "total_kgco2e", "energy_cost", "cop_plant", "peak_kw"):
        assert str(text[key][4]).startswith("="), key
        assert shown[key][4] == pytest.approx(record[key], rel=RELATIVE), key
    hours = formulas["Hourly plant"]
    assert hours.max_row == 8762
    _, head, first = (list(row) for row in hours.iter_rows(min_row=1, max_row=3, values_only=True))
    series = demo.plant.year.hourly
    for name in ("electricity_kwh", "store_top_c"):
        assert first[head.index(name)] == series[name][0]  # bit for bit
    shared = [row[0] for row in table(formulas, "Inputs")]
    assert {"plant.storage.volume", "plant.storage.heat_loss", "baseline.backup.power"} <= set(shared)


@pytest.mark.slow
def test_a_plant_alone_has_no_empty_sheets(tmp_path: Path) -> None:
    """Without baseline, carbon and tariff the sheets on them are left out, and the book still holds."""
    overrides = ["baseline=null", "carbon=null", "tariff=null", "costs=null", "site.checks=null"]
    result = evaluate_over(read_scenario(DEMO, overrides))
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(result)), read_only=True)
    assert not {"Savings", "Carbon", "Cost", "Life cycle", "Hourly baseline"} & set(book.sheetnames)


@pytest.mark.slow
@pytest.mark.law
def test_the_same_year_gives_the_same_workbook(demo: Result, demo_file: Path) -> None:
    with zipfile.ZipFile(demo_file) as one, zipfile.ZipFile(BytesIO(workbook_bytes(demo))) as two:
        assert one.namelist() == two.namelist()
        assert all(one.read(name) == two.read(name) for name in one.namelist())


@pytest.fixture
def few_hours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hourly sheets end after two days: to write all hours takes most of a workbook's time."""
    whole = hourly.completed
    monkeypatch.setattr(hourly, "completed", lambda sheet, columns: whole(sheet, [c[:48] for c in columns]))


def check_carried(result: Result) -> None:
    """What the formulas carry is the record, and a figure without a formula has its reason beside it.

    What they carry was worked out from all hours, in however many rows these are written.
    """
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(result)), read_only=True, data_only=True)
    assert wrong(book, result) == {}
    assert [row[1] for row in table(book, "Summary") if UNEXPLAINED in row] == []


ALIKE = {"sizing"}  # its sheets hold what those of central-air do


@pytest.mark.slow
@pytest.mark.usefixtures("few_hours")
@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, marks=pytest.mark.long if path.stem in ALIKE else ())
        for path in sorted((ROOT / "scenarios").glob("*.yaml"))
    ],
    ids=lambda path: path.stem,
)
def test_every_figure_of_every_family_is_live_or_says_why(path: Path) -> None:
    check_carried(evaluate_over(read_scenario(path)))


NO_TARIFF = ("tariff=null", "costs=null")
FLAT = "tariff={electricity: 0.2 USD/kWh, fuel: 1.2 USD/therm}"
TIERS = (
    "tariff={tiers: [{price: 0.1 USD/kWh, up_to: 900 kWh, months: Jun-Sep}, {price: 0.2 USD/kWh, months: "
    "Jun-Sep}, {price: 0.15 USD/kWh, months: Oct-May}], fuel: 1.2 USD/therm}"
)


@pytest.mark.slow
@pytest.mark.usefixtures("few_hours")
@pytest.mark.parametrize(
    "overrides",
    [
        [FLAT],
        [FLAT, "baseline=resistance.yaml"],
        [TIERS, "plant.backup.kind=gas", "plant.backup.power=60 kW"],
        ["tariff.fuel=null", "plant.backup={kind: none}", "baseline=null", "costs=null"],
        [*NO_TARIFF, "carbon.grid=0.3 kg/kWh", "carbon.marginal=0.6 kg/kWh", "carbon.upstream_leak=0.015"],
        [*NO_TARIFF, "carbon.grid=UK 2025", "carbon.refrigerant.gwp=3"],
        ["carbon=null", "costs.incentives=[]", "costs.replacements=[]"],
        [*NO_TARIFF, "carbon=null"],
        ["baseline=null", "costs.baseline=null", "costs.incentives=[]"],
    ],
    ids=lambda overrides: " ".join(overrides)[:60],
)
def test_every_figure_is_live_whatever_accounts_are_asked_for(overrides: list[str]) -> None:
    check_carried(evaluate_over(read_scenario(DEMO, overrides)))


# -- what a reader sees ----------------------------------------------------------------------------------


def offered(book: Any) -> list[str]:
    """Names of the sets of warming potentials in the list of the cell that picks one."""
    (rule,) = book["Factors"].data_validations.dataValidation
    sheet, _, cells = rule.formula1.rpartition("!")
    return [row[0].value for row in book[sheet.strip("'")][cells.replace("$", "")]]


@pytest.mark.slow
@pytest.mark.published
@needs_office
@pytest.mark.parametrize("refrigerant", ["R-290", pytest.param("R-1234yf", marks=pytest.mark.long)])
def test_every_set_in_the_list_has_a_value(refrigerant: str, tmp_path: Path) -> None:
    """A refrigerant of which some sets have no value: each set that is offered gives figures.

    IPCC AR4 Table 2.14 and AR5 Table 8.A.1 have no 20-year value of R-290 (propane); the packaged table has
    none of R-1234yf in AR4-20.
    """
    packed = ["baseline=null", "costs.baseline=null", "carbon.gwp=AR6-100", "plant.storage.setpoint=60 degC"]
    heat_pump = ["plant.heat_pump.rated_at={source: 7 degC, water_in: 40 degC, water_out: 55 degC}"]
    heat_pump += ["plant.heat_pump.condenser=multi-pass", "plant.heat_pump.cop=2.8"]
    loaded = read_scenario(DEMO, [*packed, *heat_pump, f"plant.heat_pump.refrigerant={refrigerant}"])
    path = tmp_path / "dossier.xlsx"
    path.write_bytes(workbook_bytes(evaluate_over(loaded)))
    sets = offered(openpyxl.load_workbook(shortened(path)))
    assert "AR6-100" in sets
    assert "AR6-20" in sets
    assert "AR4-20" not in sets
    books = recalculated_all([(path, {"gwp_set": name}) for name in sets], tmp_path)
    for name, book in zip(sets, books, strict=True):
        assert isinstance(live_figures(book)["total_kgco2e (plant)"], float), name
        rows = [row for sheet in book.sheetnames if "Hourly" not in sheet for row in table(book, sheet)]
        errors = [cell for row in rows for cell in row if str(cell).startswith(("#", "Err:"))]
        assert errors == [], name


@pytest.mark.long
def test_all_sets_are_offered_where_the_potential_is_the_users_own() -> None:
    """A potential that was given does not follow the set: none is left out for want of a value."""
    loaded = read_scenario(DEMO, ["carbon.refrigerant.gwp=3", "plant.heat_pump.refrigerant=R-744"])
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(evaluate_over(loaded))))
    assert len(offered(book)) == 6


def test_what_may_be_changed_is_told_by_column_and_border(demo_file: Path) -> None:
    """Every named cell says so in words and has a border, other numbers have none; no cell is coloured."""
    book = openpyxl.load_workbook(shortened(demo_file))
    named = {
        (place.rpartition("!")[0].strip("'"), place.rpartition("!")[2].replace("$", ""))
        for place in (name.attr_text for name in book.defined_names.values())
    }
    assert len(named) > 40
    for sheet in ("Factors", "Life cycle"):
        for row in book[sheet].iter_rows(max_col=4):
            cell, may = row[2], str(row[3].value)
            assert ((sheet, cell.coordinate) in named) == may.startswith("yes"), cell.coordinate
            if may.startswith("yes"):
                formula_there = isinstance(cell.value, str) and cell.value.startswith("=")
                assert cell.border.left.style == ("dotted" if formula_there else "thin"), cell.coordinate
                assert ("formula" in may) == formula_there
    for sheet in book.sheetnames:
        for row in book[sheet].iter_rows(max_row=60):
            for cell in row:
                assert cell.fill.fgColor.rgb in ("00000000", "FFE8EEF4"), (sheet, cell.coordinate)


@pytest.mark.slow
@pytest.mark.published
def test_a_price_stands_in_the_users_own_unit(tmp_path: Path) -> None:
    """1.45 USD/therm beside USD/kWh: a therm is 1e5 Btu of 1055.05585262 J (NIST SP 811 appendix B.8)."""
    prices = ["tariff.fuel=1.45 USD/therm", "tariff.electricity=14 cents/kWh", "tariff.fixed=360 USD/year"]
    path = tmp_path / "dossier.xlsx"
    path.write_bytes(
        workbook_bytes(evaluate_over(read_scenario(DEMO, [*prices, "costs.maintenance=75 USD/month"])))
    )
    values = openpyxl.load_workbook(shortened(path), data_only=True)
    formulas = openpyxl.load_workbook(shortened(path))
    cells = {row[4]: row for name in ("Factors", "Life cycle") for row in table(values, name)}
    texts = {row[4]: row[2] for name in ("Factors", "Life cycle") for row in table(formulas, name)}
    therm = 1e5 * 1055.05585262 / 3.6e6
    for name, number, unit, factor in (
        ("plant_fuel_price", 1.45, "USD/therm", 1.0 / therm),
        ("baseline_fuel_price", 1.45, "USD/therm", 1.0 / therm),
        ("price_of_band_1", 14.0, "cents/kWh", 0.01),
        ("fixed_charge", 360.0, "USD/year", 1.0 / 12.0),
        ("plant_maintenance", 75.0, "USD/month", 12.0),
    ):
        assert cells[f"{name}_as_written"][1:3] == [unit, number]
        assert cells[name][2] == pytest.approx(number * factor, rel=1e-12)
        assert str(texts[name]).startswith(f"={name}_as_written*"), name
    assert "demand_1_price_as_written" not in cells  # 9 USD/kW is in the unit of the sheet
