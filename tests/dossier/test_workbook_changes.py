"""A cell of the workbook changed by hand, against fresh runs, published factors and closed forms."""

import csv
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from cases import ROOT
from recalculation import Book, Changes, recalculated, recalculated_all, table
from scipy.optimize import brentq
from workbook_cases import DEMO, close, engine_figures, live_figures, needs_office, wrong

from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import read_scenario

pytestmark = [pytest.mark.independent, pytest.mark.year]
# pytest finds a fixture by its name in the module

KWH_PER_MMBTU = 1055.05585262 / 3.6  # International Table Btu: NIST SP 811


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
        "incentive_1_per_capacity": 2000.0,
        "plant_replacement_1_year": 9.0,
        "plant_replacement_1_usd": 8000.0,
        "life_discount_rate": 0.05,
        "life_fuel_escalation": 0.02,
    },
    [
        "costs.capital=150000 USD",
        "tariff.fuel=0.2 USD/kWh",
        "costs.incentives=[{name: invented rebate, per_capacity: 2000 USD/kW, max_share: 0.3}]",
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


# ten changes at once are tried in each `make test`; which of them is wrong, these say
@needs_office
@pytest.mark.long
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
    demo: Result,
    demo_file: Path,
    tmp_path: Path,
    changes: dict[str, float | str],
    overrides: list[str],
    moved: str,
) -> None:
    """The engine with --set is the reference for the sheet with cells changed: every live figure."""
    book = recalculated(demo_file, tmp_path, changes)
    assert wrong(book, evaluate_over(read_scenario(DEMO, overrides))) == {}
    before, now = engine_figures(demo)[moved], live_figures(book)[moved]
    assert now is not None
    assert not close(now, before)
    said = [row[1] for row in table(book, "Checks")[1:4]]
    assert max(said) > 1e-6  # the sheet itself says that it is no longer the engine's


@pytest.fixture(scope="module")
def changed(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Book, Book]:
    """The demo with a factor written over a formula, and with `PAYING`: in one call of the other program."""
    cases: list[tuple[Path, Changes]] = [(demo_file, {"grid_factor": 0.71}), (demo_file, PAYING[0])]
    own, paying = recalculated_all(cases, tmp_path_factory.mktemp("changed"))
    return own, paying


@pytest.mark.slow
@needs_office
def test_a_factor_written_over_a_formula_moves_the_answer(changed: tuple[Book, Book]) -> None:
    """A factor of one's own in place of the one that follows from the gases; the gases' masses stay."""
    book, _ = changed
    engine = evaluate_over(read_scenario(DEMO, ["carbon.grid=0.71 kg/kWh"]))
    expected, live = engine_figures(engine), live_figures(book)
    apart = {key for key in live if re.match(r"carbon\.electricity_(co2|ch4|n2o)_kg", key)}
    assert len(apart) == 6
    assert {key for key in set(live) - apart if not close(live[key], expected[key])} == set()


@needs_office
@pytest.mark.long
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
    result = evaluate_over(read_scenario(DEMO, written))
    path.write_bytes(workbook_bytes(result))
    book, changed = recalculated_all([(path, {}), (path, changes)], tmp_path)
    assert wrong(book, result) == {}
    assert wrong(changed, evaluate_over(read_scenario(DEMO, overrides))) == {}


TEN: tuple[dict[str, float | str], list[str]] = (
    {
        "gwp_set": "AR5-100",
        "grid_loss": 0.06,
        "plant_annual_leak": 0.05,
        "plant_fuel_price_as_written": 1.1,
        "baseline_fuel_price_as_written": 1.1,
        "price_of_band_1": 0.16,
        "demand_1_price": 11.0,
        "fixed_charge": 45.0,
        "plant_capital": 171_000.0,
        "plant_maintenance_as_written": 90.0,
        "life_discount_rate": 0.045,
    },
    [
        "carbon.gwp=AR5-100",
        "carbon.grid_loss=0.06",
        "carbon.refrigerant.annual_leak=0.05",
        "tariff.fuel=1.1 USD/therm",
        "tariff.electricity=0.16 USD/kWh",
        "tariff.demand=[{price: 11 USD/kW, ratchet: 0.6}]",
        "tariff.fixed=45 USD",
        "costs.capital=171000 USD",
        "costs.maintenance=90 USD/month",
        "costs.discount_rate=0.045",
    ],
)
"""Ten changes at once, by cells and by keys; the price of fuel is that of both plants."""


@pytest.mark.slow
@needs_office
def test_ten_changes_at_once_move_every_figure_as_the_engine_does(tmp_path: Path) -> None:
    """Equal to the record to 1e-9 before and after, with prices in units of the modeler's own."""
    own = ["tariff.fuel=1.45 USD/therm", "tariff.electricity=0.14 USD/kWh", "costs.maintenance=75 USD/month"]
    path, result = tmp_path / "dossier.xlsx", evaluate_over(read_scenario(DEMO, own))
    path.write_bytes(workbook_bytes(result))
    cells, keys = TEN
    unchanged, book = recalculated_all([(path, {}), (path, cells)], tmp_path)
    assert wrong(unchanged, result) == {}
    after = evaluate_over(read_scenario(DEMO, keys))
    assert wrong(book, after) == {}
    before, now = engine_figures(result), live_figures(book)
    for key in ("total_kgco2e (plant)", "energy_cost (plant)", "costs.npv_usd (plant)", "saved cost"):
        assert not close(now[key], before[key]), key


# -- values from outside the project ---------------------------------------------------------------------


@pytest.mark.published
def test_the_factors_are_those_published(demo_file: Path) -> None:
    """Cells that may be changed hold what a reviewer finds in the document, in its unit.

    40 CFR 98 Tables C-1 and C-2, natural gas: 53.06, 0.001, 0.0001 kg/MMBtu (shared/fuel-factors.csv); US EPA
    eGRID2023, RFCW (shared/egrid.csv); IPCC AR6 Table 7.SM.7, CH4 27.9, N2O 273 (shared/gwp.csv).
    """
    book = openpyxl.load_workbook(demo_file, read_only=True, data_only=True)
    cell = {row[4]: row[2] for row in table(book, "Factors")}
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
def test_gases_and_life_cycle_by_hand(demo: Result, changed: tuple[Book, Book]) -> None:
    """What LibreOffice gives from changed cells, against closed forms that share no code with either.

    Gas: kWh x 53.06 kg/MMBtu (40 CFR 98 Table C-1). Costs: annuities with geometric growth, of textbooks; the
    internal rate by Brent's method of scipy.
    """
    _, book = changed
    live = live_figures(book)
    base: Any = demo.sides["baseline"].record
    plant: Any = demo.plant.record
    assert live["carbon.fuel_co2_kg (baseline)"] == pytest.approx(
        base["fuel_kwh"] / KWH_PER_MMBTU * 53.06, rel=1e-12
    )
    fuel = 0.2 * base["fuel_kwh"]
    rest = base["energy_cost"] - base["costs.fuel_usd"] - plant["energy_cost"] + 700.0 - 900.0
    own = 0.7 * 150_000.0  # the rebate of 30 kW x 2000 USD/kW is more than its cap of 0.3
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
    # four years do not pay it back, the fifth does; within it the discounted flow is spread evenly
    flow = [(fuel * 1.02**year + rest) / 1.05**year for year in (1, 2, 3, 4, 5)]
    assert sum(flow[:4]) < extra < sum(flow)
    payback = 4.0 + (extra - sum(flow[:4])) / flow[4]
    assert live["costs.discounted_payback_years (plant)"] == pytest.approx(payback, rel=1e-11)
    heat = (plant["heat_to_taps_kwh"] + plant["recirculation_loss_kwh"]) / 1e3
    paid = own + (plant["energy_cost"] + 900.0) * annuity(0.05) + 8000.0 / 1.05**9
    assert live["costs.heat_usd_per_mwh (plant)"] == pytest.approx(paid / (heat * annuity(0.05)), rel=1e-11)
