"""What lies outside of the packaged usual ranges is cautioned, what is inside is not."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from cases import ROOT, central_air, refusal, worked

from hpwhsim.cli.main import main
from hpwhsim.evaluation.cautions import importance
from hpwhsim.scenario.families import FAMILIES
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.starter import WEATHER
from hpwhsim.scenario.templates import template
from hpwhsim.simulation.unusual_plant import usual_year
from hpwhsim.simulation.year import run_year
from hpwhsim.tables.sources import sources
from hpwhsim.tables.usual_ranges import UNUSUAL, Usual, unusual, usual, usual_ranges

pytestmark = pytest.mark.contract

SCENARIOS = ROOT / "scenarios"
WORKED = sorted([*SCENARIOS.glob("*.yaml"), *(SCENARIOS / "studies").glob("*.yaml")])
WARM = (
    "plant.heat_pump={refrigerant: R-454B, modules: 2, capacity: 24 kW, cop: 6.4, approach: 5 K, "
    "rated_at: {source: 25 degC, water_in: 10 degC, water_out: 45 degC}}"
)
STEAM = "carbon={grid: RFCW 2023, steam: {fuel: fuel-oil-6, plant_efficiency: 0.4, network_loss: 0.4}}"

OUTSIDE: dict[tuple[str, str], tuple[str, str, str]] = {
    # quantity, first that the row holds for: worked scenario, what is set, key that must be named
    ("loop loss per apartment", ""): (
        "resistance",
        "recirculation.loss_per_apartment=20 W",
        "recirculation.loss_per_apartment",
    ),
    ("hot water per person", ""): (
        "resistance",
        "building.people_per_apartment=8",
        "hot_water.daily_use_per_apartment",
    ),
    ("hot water per apartment", ""): (
        "resistance",
        "hot_water.daily_use_per_apartment=400 L",
        "hot_water.daily_use_per_apartment",
    ),
    ("rated COP", ""): ("ground", WARM, "plant.heat_pump.cop"),
    ("capacity of one module", ""): (
        "central-air",
        "plant.heat_pump.capacity=300 kW",
        "plant.heat_pump.capacity",
    ),
    ("capacity per apartment", ""): (
        "central-air",
        "plant.heat_pump.capacity=100 kW",
        "plant.heat_pump.capacity",
    ),
    ("backup power per apartment", ""): ("resistance", "plant.backup.power=900 kW", "plant.backup.power"),
    ("store per apartment", "building"): (
        "resistance",
        "plant.storage.volume=5000 gal",
        "plant.storage.volume",
    ),
    ("store per apartment", "home"): ("split", "plant.storage.volume=15 gal", "plant.storage.volume"),
    ("storage loss per volume", ""): (
        "resistance",
        "plant.storage.heat_loss=90 W/K",
        "plant.storage.heat_loss",
    ),
    ("refrigerant charge", "R-744"): (
        "central-air",
        "carbon.refrigerant.charge=30 kg",
        "carbon.refrigerant.charge",
    ),
    ("annual leak", ""): (
        "central-air",
        "carbon.refrigerant.annual_leak=0.25",
        "carbon.refrigerant.annual_leak",
    ),
    ("end-of-life loss", ""): (
        "central-air",
        "carbon.refrigerant.end_of_life_loss=0.95",
        "carbon.refrigerant.end_of_life_loss",
    ),
    ("grid factor", ""): ("central-air", "carbon.grid=1.9 kg/kWh", "carbon.grid"),
    ("fuel factor", ""): ("district-steam", STEAM, "carbon.steam"),
    ("electricity price", ""): ("central-air", "tariff.electricity=1.3 USD/kWh", "tariff.electricity"),
    ("fuel price", ""): ("central-air", "tariff.fuel=12.5 USD/therm", "tariff.fuel"),
}
"""Of every row that is known without a march but the refrigerants of a table, a scenario outside of it."""

CHARGES = [row for row in usual_ranges() if row.quantity == "refrigerant charge"]
BY_TABLE = [row.of[0] for row in CHARGES if "R-744" not in row.of]
ANNUAL = ("loop share", "annual COP", "annual efficiency")
OF_THE_YEAR = [row for row in usual_ranges() if row.quantity in ANNUAL]


def said(text: str, quantity: str) -> list[str]:
    """Lines of a text that caution a quantity."""
    return [line for line in text.splitlines() if re.search(rf"{UNUSUAL}[^:]+: {quantity} [\d.,]+", line)]


def checked(capsys: pytest.CaptureFixture[str], path: Path, *overrides: str) -> str:
    """What `check` prints."""
    assert main(["check", str(path), *(word for one in overrides for word in ("--set", one))]) == 0
    return capsys.readouterr().out


# -- the table ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", usual_ranges(), ids=lambda row: f"{row.quantity} {' '.join(row.of)}")
def test_the_ends_of_a_range_are_inside_and_what_is_beyond_names_its_sources(row: Usual) -> None:
    of = row.of[0] if row.of else ""
    for value in (row.low, row.high, 0.5 * (row.low + row.high)):
        assert unusual(row.quantity, value, "key", of) == []
    for value in (0.9 * row.low, 1.1 * row.high):
        (text,) = unusual(row.quantity, value, "key", of)
        assert text.startswith(f"{UNUSUAL}key: {row.quantity} ")
        assert f"usual are {row.low:g} to {row.high:g}" in text
        assert row.look in text
        named = [one for one in row.source.split() if one != "tankyear-default"] or ["tankyear-default"]
        for one in named:
            assert f"{sources()[one].citation} ({sources()[one].status})" in text
    assert row.note
    assert row.low < row.high < (row.refused_above or 1e9)


def test_every_row_has_a_scenario_outside_of_it() -> None:
    tested = set(OUTSIDE) | {("refrigerant charge", name) for name in BY_TABLE}
    tested |= {(row.quantity, row.of[0] if row.of else "") for row in OF_THE_YEAR}
    assert tested == {(row.quantity, row.of[0] if row.of else "") for row in usual_ranges()}


def test_a_unit_taken_for_another_is_guessed() -> None:
    """By hand: 390 g/kWh are 0.39 kg/kWh; 24 gal are 90.8 L, of which 90.8 x 0.2642 = 24 was written."""
    assert "0.39 kg/kWh if g/kWh were written" in unusual("grid factor", 390.0, "key")[0]
    assert "90.84 L/day if gal were written" in unusual("hot water per apartment", 24.0, "key")[0]
    assert "15 kW if W were written" in unusual("capacity of one module", 15e3, "key")[0]
    assert "it would be" not in unusual("annual leak", 0.5, "key")[0]


def test_unusual_values_come_before_defaults_and_safety() -> None:
    (text,) = unusual("annual leak", 0.5, "key")
    assert (importance(text), importance(f"baseline: {text}")) == (1, 1)


@pytest.mark.published
def test_measured_plants_lie_inside() -> None:
    """Loop: Goldner 1999 38 %, a California study of 2013 33 %; use: Finland 47 L per person, a retrofit of
    60 apartments 20 gal; COP 2.12 (NREL 2013), 2.7 with backup and loop (Spitler and Gehlin 2019).
    """
    for quantity, value, of in (
        ("loop share", 0.38, ""),
        ("loop share", 0.33, ""),
        ("hot water per person", 47.0, ""),
        ("hot water per apartment", 75.7, ""),
        ("annual COP", 2.12, "central-air"),
        ("annual COP", 2.7, "ground"),
        ("refrigerant charge", 0.37, "R-410A"),
    ):
        row = usual(quantity, of)
        assert row is not None
        assert row.inside(value), quantity
    share = usual("loop share")
    assert share is not None
    assert not share.inside(0.198)  # 60 W and 38 gal


# -- scenarios ----------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("quantity", "of"), OUTSIDE, ids=lambda part: part)
def test_check_reports_what_is_outside(capsys: pytest.CaptureFixture[str], quantity: str, of: str) -> None:
    name, override, key = OUTSIDE[quantity, of]
    path = SCENARIOS / f"{name}.yaml"
    (line,) = said(checked(capsys, path, override), quantity)
    assert f"{UNUSUAL}{key}: " in line


@pytest.mark.parametrize("path", WORKED, ids=lambda path: path.stem)
def test_no_worked_scenario_is_outside(capsys: pytest.CaptureFixture[str], path: Path) -> None:
    """By `check`, and by the stored year if there is one, which `regress` holds to the engine's."""
    assert UNUSUAL not in checked(capsys, path)
    record = path.parent / "records" / f"{path.stem}.json"
    if record.is_file():
        stored = json.loads(record.read_text(encoding="utf-8"))
        assert [text for text in stored["record"]["cautions"] if UNUSUAL in text] == []


def test_every_worked_year_is_stored() -> None:
    """Or the test above would look at none."""
    assert len(list((SCENARIOS / "records").glob("*.json"))) == len(list(SCENARIOS.glob("*.yaml")))


@pytest.mark.slow
@pytest.mark.year
@pytest.mark.parametrize("family", FAMILIES)
def test_no_template_is_outside(tmp_path: Path, family: str) -> None:
    path = tmp_path / "house.yaml"
    path.write_text(template(family, str(WEATHER), "schema.json"), encoding="utf-8")
    year = run_year(read_scenario(path))
    assert [text for text in year.cautions if UNUSUAL in text] == []
    assert year.record["short_litres"] == 0.0


@pytest.mark.parametrize("row", OF_THE_YEAR, ids=lambda row: f"{row.quantity} {' '.join(row.of)}")
def test_a_year_outside_is_cautioned(row: Usual) -> None:
    """The worked plant of the family, with what its year might have given."""
    family = row.of[0] if row.of else "central-air"
    scenario = read_scenario(SCENARIOS / f"{family}.yaml").scenario
    share = row.quantity == "loop share"
    for value, expected in ((row.low, 0), (row.high, 0), (0.9 * row.low, 1), (1.1 * row.high, 1)):
        given = (value, None) if share else (None, value)
        found = usual_year(scenario, *given)
        assert len(found) == expected
        assert all(f": {row.quantity} " in text for text in found)


def test_of_a_heat_pump_with_gas_no_annual_cop_is_usual() -> None:
    hybrid = read_scenario(SCENARIOS / "hybrid.yaml").scenario
    assert usual_year(hybrid, None, 1.2) == []


@pytest.mark.year
def test_the_old_demo_is_cautioned_in_its_year() -> None:
    """60 W and 38 gal an apartment: a fifth of the heat, where 0.33 to 0.38 is measured."""
    year = worked(
        "central-air", "recirculation.loss_per_apartment=60 W", "hot_water.daily_use_per_apartment=38 gal"
    )
    (line,) = said("\n".join(year.cautions), "loop share")
    assert "Goldner" in line
    assert [text for text in worked("central-air").cautions if UNUSUAL in text] == []


# -- files --------------------------------------------------------------------------------------------


def with_file(folder: Path, column: str, values: Callable[[int], float], **blocks: Any) -> Path:
    """A plant on a table of constant COP, beside a file of 8760 rows, ``year.csv``."""
    rows = "\n".join(f"{values(hour):g}" for hour in range(8760))
    (folder / "year.csv").write_text(f"# invented\n{column}\n{rows}\n", encoding="utf-8")
    raw = central_air(folder, {-45.0: 3.0, 45.0: 3.0}, 30.0)
    path = folder / "case.yaml"
    path.write_text(yaml.safe_dump(raw | blocks, sort_keys=False), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("value", "words"),
    [(390.0, "0.39 kg/kWh if g/kWh were written"), (1700.0, "0.771 kg/kWh if lb/MWh were written")],
)
def test_a_grid_file_in_another_unit_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], value: float, words: str
) -> None:
    path = with_file(tmp_path, "kg_per_kwh", lambda hour: value, carbon={"grid": "year.csv"})
    line = refusal(["check", str(path)], capsys)
    assert "year.csv: line 3: column kg_per_kwh: got " in line
    assert "allowed at most 3 kg/kWh" in line
    assert words in line


def test_a_grid_file_beyond_any_average_is_cautioned(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = with_file(tmp_path, "kg_per_kwh", lambda hour: 1.0 + hour % 2, carbon={"grid": "year.csv"})
    (line,) = said(checked(capsys, path), "grid factor")
    assert "carbon.grid (year.csv, column kg_per_kwh): grid factor 1.5 kg/kWh" in line
    path = with_file(tmp_path, "kg_per_kwh", lambda hour: 0.4 * (hour % 2), carbon={"grid": "year.csv"})
    assert said(checked(capsys, path), "grid factor") == []  # an hour of 0 is right


@pytest.mark.parametrize(("cents", "hour_price"), [(13.0, 13.0), (2.6, 40.0)])
def test_prices_in_cents_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cents: float, hour_price: float
) -> None:
    def price(hour: int) -> float:
        return hour_price if hour % 24 == 18 else cents

    path = with_file(tmp_path, "usd_per_kwh", price, tariff={"electricity": "year.csv"})
    line = refusal(["check", str(path)], capsys)
    assert "year.csv: column usd_per_kwh: mean of the year: got " in line
    assert "USD/kWh if cents were written" in line


def test_hours_of_negative_and_high_prices_are_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wholesale year: negative at noon, 5 USD/kWh in a few hours; its mean is that of a bill."""

    def price(hour: int) -> float:
        return 5.0 if hour in (400, 401, 402) else -0.04 if hour % 24 in (12, 13) else 0.09

    path = with_file(tmp_path, "usd_per_kwh", price, tariff={"electricity": "year.csv"})
    assert UNUSUAL not in checked(capsys, path)
    path = with_file(tmp_path, "usd_per_kwh", lambda hour: 1.3, tariff={"electricity": "year.csv"})
    (line,) = said(checked(capsys, path), "electricity price")
    assert "tariff.electricity (year.csv, column usd_per_kwh)" in line


def test_tiers_without_an_hourly_price_are_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tiers = [{"price": "0.2 USD/kWh", "up_to": "500 kWh"}, {"price": "9 USD/kWh"}]
    path = with_file(tmp_path, "unused", float, tariff={"tiers": tiers})
    (line,) = said(checked(capsys, path), "electricity price")
    assert "tariff.tiers (item 2)" in line
    assert "0.09 USD/kWh if cents were written" in line


@pytest.mark.parametrize("name", BY_TABLE)
def test_the_charge_of_every_refrigerant(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    row = usual("refrigerant charge", name)
    assert row is not None
    for per_kw, expected in ((1.2 * row.high, 1), (row.high, 0), (row.low, 0), (0.8 * row.low, 1)):
        block = {"grid": "0.4 kg/kWh", "refrigerant": {"charge_per_kw": f"{per_kw} kg/kW"}}
        path = with_file(tmp_path, "unused", float, carbon=block)
        found = said(checked(capsys, path, f"plant.heat_pump.refrigerant={name}"), "refrigerant charge")
        assert len(found) == expected
        assert all("carbon.refrigerant.charge_per_kw" in line for line in found)


def test_a_meter_in_another_unit_is_cautioned_by_its_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """20 apartments at 25 gal are 500 gal a day: 20.8 an hour, written into the column of litres."""
    path = with_file(tmp_path, "unused", float)
    for name, hourly, expected in (("gal.csv", 20.8, 1), ("litres.csv", 78.9, 0)):
        meter(tmp_path / name, hourly)
        text = checked(capsys, path, f"hot_water={{metered: {tmp_path / name}}}")
        found = said(text, "hot water per apartment")
        assert len(found) == expected
        assert all(f"hot_water.metered ({name}, column litres)" in line for line in found)
        assert all("if gal were written" in line for line in found)


def meter(path: Path, litres: float) -> None:
    """A metered year of the same litres in every hour."""
    lengths = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    days = [(month, day) for month, n in enumerate(lengths, 1) for day in range(1, n + 1)]
    rows = [f"2023-{m:02d}-{d:02d}T{hour:02d}:00,{litres:g}" for m, d in days for hour in range(24)]
    path.write_text("time,litres\n" + "\n".join(rows) + "\n", encoding="utf-8")


def test_a_meter_of_zeros_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = with_file(tmp_path, "unused", float)
    meter(tmp_path / "meter.csv", 0.0)
    line = refusal(["check", str(path), "--set", f"hot_water={{metered: {tmp_path / 'meter.csv'}}}"], capsys)
    assert "meter.csv: column litres: got 0 in all 8760 rows" in line


def test_check_says_no_heading_over_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = with_file(tmp_path, "unused", float)
    text = checked(capsys, path, "hot_water.min_temperature=42 degC")
    if "cautions:" in text:  # a heading has its line
        assert re.search(r"^cautions:\n  \S", text, re.MULTILINE)
    quiet = checked(capsys, SCENARIOS / "gas-boiler.yaml", "recirculation.pump_power=90 W")
    assert "cautions:" not in quiet


def test_watts_in_a_catalogue_of_modules_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`size` reads capacities in kW: 15000 W are 15."""
    modules = tmp_path / "modules.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n9,11500,160,780\n15000,16800,230,1150\n")
    path = str(SCENARIOS / "sizing.yaml")
    smooth = ["--set", "hot_water.draws=smooth"]
    line = refusal(["size", path, *smooth, "--set", f"sizing.modules={modules}"], capsys)
    assert "modules.csv: line 3: column capacity_kw: got 15,000 kW; allowed at most 5000 kW" in line
    assert "15 kW if W were written" in line


def test_a_module_of_megawatts_is_refused_by_its_key(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(SCENARIOS / "central-air.yaml")
    line = refusal(["check", path, "--set", "plant.heat_pump.capacity=18 MW"], capsys)
    assert "plant.heat_pump.capacity" in line
    assert "5,000 kW): was W written as kW" in line
