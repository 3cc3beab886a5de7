"""The workbook: another program recalculates it, and a cell changed by hand moves the answer."""

import csv
import re
import zipfile
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import yaml
from cases import ROOT
from recalculation import OFFICE, recalculated, table
from scipy.optimize import brentq

from hpwhsim.report.summary_sheet import NOT_LIVE, UNEXPLAINED
from hpwhsim.report.workbook import workbook_bytes
from hpwhsim.scenario.reading import Loaded, read_scenario
from hpwhsim.study.dossier import Papers, gather
from hpwhsim.study.records import flatten

pytestmark = pytest.mark.year
DEMO = ROOT / "scenarios" / "central-air.yaml"
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
RELATIVE = 1e-9  # what a reviewer is promised; doubles added in another order differ by some 1e-14
KWH_PER_MMBTU = 1055.05585262 / 3.6  # International Table Btu: NIST SP 811


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
                "cap": 0.07,
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


@pytest.fixture(scope="module")
def demo_file(demo: Papers, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("book") / "dossier.xlsx"
    path.write_bytes(workbook_bytes(demo))
    return path


# -- another program -------------------------------------------------------------------------------------


def close(live: float | None, engine: float | None) -> bool:
    """Within RELATIVE; of figures that are nothing but rounding, within 1e-12 of themselves; or both none."""
    if live is None or engine is None:
        return live is engine
    return abs(live - engine) <= max(RELATIVE * abs(engine), 1e-12)


def live_figures(book: Any) -> dict[str, float | None]:
    """Live figures of Summary, as key (plant | baseline), and of Savings, as saved key; None: empty."""
    rows = table(book, "Summary")
    sides = {at: name.removesuffix(", live") for at, name in enumerate(rows[4]) if name and ", live" in name}
    found = {}
    for row in rows[5:]:
        row += [None] * 3  # the reader leaves out cells that are empty to the end
        for at, side in sides.items():
            if row[at] != "as in the engine" and (row[at] is not None or row[at + 1] is not None):
                found[f"{row[0]} ({side})"] = row[at]
    if "Savings" in book.sheetnames:
        found |= {f"saved {row[0]}": row[4] for row in table(book, "Savings")[1:] if len(row) > 6 and row[1]}
    return found


def engine_figures(papers: Papers) -> dict[str, float | None]:
    """The same from the record of the engine, not from the sheet's own copy."""
    found: dict[str, float | None] = {}
    for name, side in papers.sides.items():
        for key, value in flatten(side.record).items():
            if value is None or isinstance(value, float | int):
                found[f"{key} ({name})"] = value
    return found | {f"saved {key}": line.saved for key, line in papers.answer.savings.items()}


def wrong(book: Any, papers: Papers) -> dict[str, tuple[float | None, float | None]]:
    """Live figures that are not the engine's."""
    engine = engine_figures(papers)
    live = live_figures(book)
    assert len(live) > 20
    return {key: (value, engine[key]) for key, value in live.items() if not close(value, engine[key])}


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


@needs_office
def test_another_program_recalculates_the_demo(demo: Papers, demo_file: Path, tmp_path: Path) -> None:
    """LibreOffice, from the hours alone, against the record of the engine."""
    book = recalculated(demo_file, tmp_path)
    assert wrong(book, demo) == {}
    live = live_figures(book)
    for key in RECORD_KEYS:
        assert f"{key} (plant)" in live, key
    for key in demo.answer.savings:
        assert f"saved {key}" in live, key
    record: Any = demo.answer.year.record
    monthly = {row[0]: row[1:13] for row in table(book, "Monthly")[2:10]}
    assert monthly["electricity_kwh"] == pytest.approx(record["monthly.electricity_kwh"], rel=RELATIVE)
    assert monthly["peak_kw"] == pytest.approx(record["monthly.peak_kw"], rel=RELATIVE)
    years = table(book, "Carbon")[4:19]
    assert [row[9] for row in years] == pytest.approx(record["carbon.cumulative_kgco2e"], rel=RELATIVE)
    said = {row[0].partition("[")[0] for row in table(book, "Summary")[5:] if row[3] == "as in the engine"}
    assert said <= set(NOT_LIVE)  # and what is no formula says why


@needs_office
def test_another_program_recalculates_a_lopsided_case(tmp_path: Path) -> None:
    """A room to pay for, hourly factors and prices, tiers, windows at quarters, ratchets, nominal rates."""
    papers = gather(lopsided(tmp_path))
    assert papers.plant.room
    path = tmp_path / "dossier.xlsx"
    path.write_bytes(workbook_bytes(papers))
    book = recalculated(path, tmp_path)
    assert wrong(book, papers) == {}
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
    assert {f"saved {key}" for key in papers.answer.savings} <= set(live)
    # the engine with another set is the reference for the sheet with another set picked
    book = recalculated(path, tmp_path, {"gwp_set": "AR5-20", "upstream_leak": 0.03})
    assert wrong(book, gather(lopsided(tmp_path, gwp="AR5-20", upstream_leak=0.03))) == {}
    assert (
        live_figures(book)["carbon.refrigerant_gwp (plant)"] == 3710.0
    )  # R-134a, AR5 over 20 years: shared/gwp.csv


# -- a cell changed by hand ------------------------------------------------------------------------------


def published(file: str, **where: str) -> dict[str, str]:
    """The one row of a table of shared/ that has these values."""
    with (ROOT / "shared" / file).open() as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    (row,) = (row for row in rows if all(row[key] == value for key, value in where.items()))
    return row


CAMX = published("egrid.csv", subregion="CAMX", data_year="2023")
ALONE = ["baseline=null", "costs.baseline=null"]
PROPANE = published("fuel-factors.csv", fuel="propane")
PAYING: tuple[dict[str, float | str], list[str]] = (
    {
        "plant_capital": 150000.0,
        "plant_fuel_price": 0.2,
        "baseline_fuel_price": 0.2,
        "incentive_1_per_capacity": 1000.0,
        "plant_replacement_1_year": 9.0,
        "plant_replacement_1_usd": 8000.0,
        "life_discount_rate": 0.05,
        "life_fuel_escalation": 0.02,
    },
    [
        "costs.capital=150000 USD",
        "tariff.fuel=0.2 USD/kWh",
        "costs.incentives=[{name: invented rebate, per_capacity: 1000 USD/kW, cap: 0.3}]",
        "costs.replacements=[{year: 9, cost: 8000 USD}]",
        "costs.discount_rate=0.05",
        "costs.fuel_escalation=0.02",
    ],
)
"""Changes after which the demo pays back, by cells and by keys; the incentive reaches its cap."""


def with_costs(capital: float, replacement: float) -> tuple[dict[str, float | str], list[str], str]:
    """A case with other costs in PAYING."""
    cells, keys = PAYING
    keys = [key for key in keys if not key.startswith(("costs.capital", "costs.replacements"))]
    keys += [f"costs.capital={capital} USD", f"costs.replacements=[{{year: 9, cost: {replacement} USD}}]"]
    cells = cells | {"plant_capital": capital, "plant_replacement_1_usd": replacement}
    return cells, keys, "costs.simple_payback_years (plant)"


@needs_office
@pytest.mark.parametrize(
    ("changes", "overrides", "moved"),
    [
        (
            {"plant_annual_leak": 0.4, "demand_1_price": 23.0},
            ["carbon.refrigerant.annual_leak=0.4", "tariff.demand=[{price: 23 USD/kW, ratchet: 0.6}]"],
            "costs.carbon_usd_per_tonne (plant)",
        ),
        ({"gwp_set": "AR5-20"}, ["carbon.gwp=AR5-20"], "saved kgco2e"),
        ({"grid_loss": 0.11}, ["carbon.grid_loss=0.11"], "costs.carbon_usd_per_tonne (plant)"),
        (
            {
                "grid_co2_lb_per_mwh": float(CAMX["co2_lb_per_MWh"]),
                "grid_ch4_lb_per_mwh": float(CAMX["ch4_lb_per_MWh"]),
                "grid_n2o_lb_per_mwh": float(CAMX["n2o_lb_per_MWh"]),
                "grid_loss": float(CAMX["grid_gross_loss"]),
            },
            ["carbon.grid=CAMX 2023"],
            "saved kgco2e",
        ),
        (
            {
                "natural_gas_co2_kg_per_mmbtu": float(PROPANE["kgCO2_per_mmBtu"]),
                "natural_gas_ch4_kg_per_mmbtu": float(PROPANE["kgCH4_per_mmBtu"]),
                "natural_gas_n2o_kg_per_mmbtu": float(PROPANE["kgN2O_per_mmBtu"]),
            },
            ["carbon.fuel=propane"],
            "saved kgco2e",
        ),
        (*PAYING, "costs.simple_payback_years (plant)"),
        with_costs(600_000.0, 8_000.0),
        with_costs(150_000.0, 170_000.0),
        with_costs(150_000.0, 100_000.0),
    ],
    ids=[
        "leak and demand price",
        "set of potentials",
        "grid loss",
        "gases of grid",
        "gases of fuel",
        "costs",
        "less comes back than was laid out",
        "several rates, and a replacement takes it under again",
        "the flow changes its sign thrice, its sum once",
    ],
)
def test_a_cell_changed_by_hand_moves_the_answer_as_the_engine_does(
    demo: Papers,
    demo_file: Path,
    tmp_path: Path,
    changes: dict[str, float | str],
    overrides: list[str],
    moved: str,
) -> None:
    """The engine with --set is the reference for the sheet with yellow cells changed: every live figure."""
    book = recalculated(demo_file, tmp_path, changes)
    assert wrong(book, gather(read_scenario(DEMO, overrides))) == {}
    before, now = engine_figures(demo)[moved], live_figures(book)[moved]
    assert now is not None
    assert not close(now, before)
    said = [row[1] for row in table(book, "Checks")[1:4]]
    assert max(said) > 1e-6  # the sheet itself says that it is no longer the engine's


@needs_office
def test_a_factor_written_over_a_formula_moves_the_answer(demo_file: Path, tmp_path: Path) -> None:
    """A factor of one's own in place of the one that follows from the gases; the gases' masses stay."""
    book = recalculated(demo_file, tmp_path, {"grid_factor": 0.71})
    engine = gather(read_scenario(DEMO, ["carbon.grid=0.71 kg/kWh"]))
    expected, live = engine_figures(engine), live_figures(book)
    apart = {key for key in live if re.match(r"carbon\.electricity_(co2|ch4|n2o)_kg", key)}
    assert len(apart) == 6
    assert {key for key in set(live) - apart if not close(live[key], expected[key])} == set()


@needs_office
@pytest.mark.parametrize(
    ("written", "changes", "overrides"),
    [
        (ALONE, {"plant_capital": 33_000.0}, [*ALONE, "costs.capital=33000 USD"]),
        (
            [
                "baseline=district-steam.yaml",
                "carbon.steam={fuel: fuel-oil-6, plant_efficiency: 0.78, network_loss: 0.2}",
                "carbon.refrigerant.gwp=1430",
            ],
            {"baseline_steam_loss": 0.3, "plant_gwp": 675.0},
            [
                "baseline=district-steam.yaml",
                "carbon.steam={fuel: fuel-oil-6, plant_efficiency: 0.78, network_loss: 0.3}",
                "carbon.refrigerant.gwp=675",
            ],
        ),
    ],
    ids=["no baseline", "steam and a potential of one's own"],
)
def test_other_forms_of_the_demo(
    tmp_path: Path, written: list[str], changes: dict[str, float | str], overrides: list[str]
) -> None:
    """As above, of a workbook of another scenario."""
    path = tmp_path / "dossier.xlsx"
    papers = gather(read_scenario(DEMO, written))
    path.write_bytes(workbook_bytes(papers))
    assert wrong(recalculated(path, tmp_path), papers) == {}
    assert wrong(recalculated(path, tmp_path, changes), gather(read_scenario(DEMO, overrides))) == {}


# -- values from outside the project ---------------------------------------------------------------------


def test_the_factors_are_those_published(demo_file: Path) -> None:
    """Yellow cells hold what a reviewer finds in the document, in its unit.

    40 CFR 98 Tables C-1 and C-2, natural gas: 53.06, 0.001, 0.0001 kg/MMBtu (shared/fuel-factors.csv); US EPA
    eGRID2023, RFCW (shared/egrid.csv); IPCC AR6 Table 7.SM.7, CH4 27.9, N2O 273 (shared/gwp.csv).
    """
    book = openpyxl.load_workbook(demo_file, read_only=True, data_only=True)
    cell = {row[3]: row[2] for row in table(book, "Factors")}
    for gas, value in (("co2", 53.06), ("ch4", 0.001), ("n2o", 0.0001)):
        assert cell[f"natural_gas_{gas}_kg_per_mmbtu"] == pytest.approx(value, rel=1e-14), gas
    row = published("egrid.csv", subregion="RFCW", data_year="2023")
    for gas in ("co2", "ch4", "n2o"):
        # there and back through kg at the meter: rounding of doubles
        assert cell[f"grid_{gas}_lb_per_mwh"] == pytest.approx(float(row[f"{gas}_lb_per_MWh"]), rel=1e-14), (
            gas
        )
    assert cell["grid_loss"] == float(row["grid_gross_loss"])
    for gas in ("CH4", "N2O"):
        potential = float(published("gwp.csv", substance=gas)["gwp100_ar6"])
        assert cell[f"gwp_{gas.lower()}"] == potential
    assert cell["gwp_set"] == "AR6-100"


@needs_office
def test_gases_and_life_cycle_by_hand(demo: Papers, demo_file: Path, tmp_path: Path) -> None:
    """What LibreOffice gives from changed cells, against closed forms that share no code with either.

    Gas: kWh x 53.06 kg/MMBtu (40 CFR 98 Table C-1). Costs: annuities with geometric growth, of textbooks; the
    internal rate by Brent's method of scipy.
    """
    changes, _ = PAYING
    book = recalculated(demo_file, tmp_path, changes)
    live = live_figures(book)
    base: Any = demo.sides["baseline"].record
    plant: Any = demo.plant.record
    assert live["carbon.fuel_co2_kg (baseline)"] == pytest.approx(
        base["fuel_kwh"] / KWH_PER_MMBTU * 53.06, rel=1e-12
    )
    fuel = 0.2 * base["fuel_kwh"]
    rest = base["energy_cost"] - base["costs.fuel_usd"] - plant["energy_cost"] + 700.0 - 900.0
    own = 0.7 * 150_000.0  # the rebate of 48 kW x 1000 USD/kW is more than its cap of 0.3
    extra = own - 52_000.0

    def annuity(rate: float, growth: float = 0.0) -> float:
        q = (1.0 + growth) / (1.0 + rate)
        return q * (1.0 - q**20) / (1.0 - q)

    def npv(rate: float) -> float:
        return fuel * annuity(rate, 0.02) + rest * annuity(rate) - extra - 8000.0 / (1.0 + rate) ** 9

    assert live["costs.npv_usd (plant)"] == pytest.approx(npv(0.05), rel=1e-11)
    rate = float(brentq(npv, 0.03, 5.0, xtol=1e-14, rtol=1e-14))
    assert live["costs.internal_rate (plant)"] == pytest.approx(rate, rel=1e-10)
    assert live["costs.simple_payback_years (plant)"] == pytest.approx(extra / (fuel + rest), rel=1e-11)
    # three years do not pay it back, the fourth does; within it the discounted flow is spread evenly
    flow = [(fuel * 1.02**year + rest) / 1.05**year for year in (1, 2, 3, 4)]
    assert sum(flow[:3]) < extra < sum(flow)
    payback = 3.0 + (extra - sum(flow[:3])) / flow[3]
    assert live["costs.discounted_payback_years (plant)"] == pytest.approx(payback, rel=1e-11)
    heat = (plant["heat_to_taps_kwh"] + plant["recirculation_loss_kwh"]) / 1e3
    paid = own + (plant["energy_cost"] + 900.0) * annuity(0.05) + 8000.0 / 1.05**9
    assert live["costs.heat_usd_per_mwh (plant)"] == pytest.approx(paid / (heat * annuity(0.05)), rel=1e-11)


# -- the file --------------------------------------------------------------------------------------------


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


def check_carried(papers: Papers) -> None:
    """What the formulas carry is the record, and a figure without a formula has its reason beside it."""
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(papers)), read_only=True, data_only=True)
    assert wrong(book, papers) == {}
    assert [row[0] for row in table(book, "Summary") if UNEXPLAINED in row] == []


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda path: path.stem)
def test_every_figure_of_every_family_is_live_or_says_why(path: Path) -> None:
    check_carried(gather(read_scenario(path)))


NO_TARIFF = ("tariff=null", "costs=null")
FLAT = "tariff={electricity: 0.2 USD/kWh, fuel: 1.2 USD/therm}"
TIERS = (
    "tariff={tiers: [{price: 0.1 USD/kWh, up_to: 900 kWh, months: Jun-Sep}, {price: 0.2 USD/kWh, months: "
    "Jun-Sep}, {price: 0.15 USD/kWh, months: Oct-May}], fuel: 1.2 USD/therm}"
)


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
    check_carried(gather(read_scenario(DEMO, overrides)))
