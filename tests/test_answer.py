"""Carbon, bills, savings and checks of a whole year, re-added from its hourly series.

One invented plant: packaged units in a gas-heated apartment, whose neighbours have heat pumps, against
resistance tanks in the same room. One march each, and one each with the roles swapped.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import CHICAGO, ROOT

from hpwhsim.cli import main
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.assemble import assemble
from hpwhsim.report.carbon_figure import carbon_figure
from hpwhsim.report.side_by_side import comparison_text
from hpwhsim.report.summary import year_text
from hpwhsim.scenario.reading import baseline_of, dump, dump_text, read_scenario, scenario_from
from hpwhsim.study import greenhouse
from hpwhsim.study.answer import Answer, answer
from hpwhsim.study.year import run_year, to_dataset
from hpwhsim.tables import read_table

HOURS = 8760
ROOM: dict[str, Any] = {
    "kind": "apartment",
    "heating": "gas",
    "neighbour_heating": "heat-pump",
    "loss_to_neighbours": "20 W/K",
}
LIFE = 12  # years of service
CHARGE, LEAK, END = 1.6, 0.04, 0.25
GWP_R134A = 1530.0  # IPCC AR6 Table 7.SM.7, 100 years
GAS_KG_PER_KWH = (53.06 + 29.8 * 0.001 + 273.0 * 0.0001) * 3.6 / 1055.05585262
"""Natural gas by 40 CFR 98 Tables C-1 and C-2 (kg per MMBtu), AR6-100 with fossil methane."""


def _raw(plant: dict[str, Any], baseline: str) -> dict[str, Any]:
    return {
        "title": "invented test plant",
        "site": {"weather": str(CHICAGO), "checks": {"voltage": "208 V", "available_current": "60 A"}},
        "building": {"apartments": 4},
        "hot_water": {"daily_use_per_apartment": "150 L", "draws": "random", "seed": 3},
        "plant": plant,
        "baseline": baseline,
        "carbon": {
            "grid": "grid.csv",
            "marginal": "0.7 kg/kWh",
            "service_years": LIFE,
            "upstream_leak": 0.02,
            "refrigerant": {
                "charge": f"{CHARGE} kg",
                "annual_leak": LEAK,
                "end_of_life_loss": END,
                "installation_loss": 0.01,
                "service_loss": 0.005,
            },
        },
        "tariff": {
            "electricity": [
                {"price": "0.40 USD/kWh", "months": "Jun-Sep", "days": "weekdays", "hours": ["16:00-21:00"]},
                {"price": "0.15 USD/kWh"},
            ],
            "demand": [{"price": "12 USD/kW", "ratchet": 0.6}],
            "fixed": "30 USD",
            "fuel": "14 USD/MMBtu",
        },
        "costs": {
            "capital": "40,000 USD",
            "maintenance": "100 USD",
            "baseline": {"capital": "12,000 USD"},
            "incentives": [
                {"name": "invented", "lump_sum": "2,000 USD", "per_electricity_saved": "0.1 USD/kWh"}
            ],
            "years": 15,
            "electricity_escalation": 0.01,
        },
        "savings": {
            "peak_hours": [
                {"name": "july", "months": [7], "days": "all", "hours": ["06:00-18:00"]},
            ]
        },
    }


PACKAGED: dict[str, Any] = {
    "family": "packaged",
    "heat_pump": {
        "refrigerant": "R-134a",
        "modules": 2,
        "capacity": "1.7 kW",
        "cop": 3.9,
        "rated_at": {"source": "19.7 degC", "water_in": "35 degC", "water_out": "35.5 degC"},
        "pass": "wrapped",
        "lowest_source": "3 degC",
    },
    "source": {"kind": "room", "room": ROOM},
    "storage": {"volume": "600 L", "tanks": 2, "height": "1.4 m", "setpoint": "58 degC"},
    "backup": {"kind": "resistance", "power": "9 kW", "setpoint": "50 degC", "height": 0.65},
}
TANKS: dict[str, Any] = {
    "family": "resistance",
    "source": {"kind": "room", "room": ROOM},
    "storage": {"volume": "600 L", "tanks": 2, "height": "1.4 m", "setpoint": "58 degC"},
    "backup": {"kind": "resistance", "power": "9 kW"},
}


BOILER: dict[str, Any] = {
    "family": "gas-boiler",
    "storage": {"volume": "600 L", "setpoint": "58 degC"},
    "backup": {"kind": "gas", "power": "20 kW"},
}


@dataclass(frozen=True)
class Case:
    """The plant against the tanks, and the tanks against the plant."""

    folder: Path
    one: Answer
    swapped: Answer
    factor: np.ndarray[Any, np.dtype[np.float64]]


@pytest.fixture(scope="session")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("answer")
    factor = np.asarray(0.2 + 0.02 * (np.arange(HOURS) % 24), dtype=np.float64)
    rows = "\n".join(repr(float(v)) for v in factor)
    (folder / "grid.csv").write_text(f"# invented\nkg_per_kwh\n{rows}\n")
    (folder / "packaged.yaml").write_text(yaml.safe_dump(_raw(PACKAGED, "tanks.yaml"), sort_keys=False))
    (folder / "tanks.yaml").write_text(yaml.safe_dump(_raw(TANKS, "packaged.yaml"), sort_keys=False))
    one, swapped = (answer(read_scenario(folder / f"{name}.yaml")) for name in ("packaged", "tanks"))
    return Case(folder, one, swapped, factor)


def number(of: Answer, key: str) -> float:
    value = of.year.record[key]
    assert isinstance(value, float), key
    return value


def close(value: float) -> Any:
    """Equal but for the rounding of sums over 8760 hours in another order (8760 ulp are 1e-12)."""
    return pytest.approx(value, rel=1e-10, abs=1e-9)


# -- carbon ------------------------------------------------------------------------------------------


def test_operational_is_the_sum_of_energy_times_factor(case: Case) -> None:
    """EN 378-1 Annex B, term E beta, hour by hour with the factors of the user's file."""
    kwh = case.one.year.hourly["electricity_kwh"]
    by_hand = sum(float(k) * float(f) for k, f in zip(kwh, case.factor, strict=True))
    assert number(case.one, "operational_kgco2e") == close(by_hand)
    assert np.array_equal(case.one.year.hourly["grid_kgco2e_per_kwh"], case.factor)
    assert by_hand != close(float(kwh.sum()) * case.factor.mean())  # the hours do count


def test_tewi_is_that_of_the_standard(case: Case) -> None:
    """EN 378-1 Annex B: GWP L n + GWP m (1 - recovered) + n E beta; other losses are not in it."""
    operational = number(case.one, "operational_kgco2e")
    tewi = GWP_R134A * CHARGE * LEAK * LIFE + GWP_R134A * CHARGE * END + LIFE * operational
    assert number(case.one, "carbon.tewi_kgco2e") == close(tewi)
    apart = GWP_R134A * CHARGE * (0.01 + 0.005 * LIFE)
    refrigerant = (tewi - LIFE * operational + apart) / LIFE
    assert number(case.one, "refrigerant_kgco2e") == close(refrigerant)
    by_set = case.one.year.record["carbon.refrigerant_by_gwp"]
    assert isinstance(by_set, dict)
    assert by_set["AR6-100"] == close(refrigerant)
    assert by_set["AR6-20"] == close(refrigerant * 4140.0 / GWP_R134A)  # AR6 Table 7.SM.7, 20 years
    total = operational + refrigerant + number(case.one, "carbon.room_kgco2e")
    assert number(case.one, "total_kgco2e") == close(total)
    cumulative = case.one.year.record["carbon.cumulative_kgco2e"]
    assert isinstance(cumulative, list)
    assert len(cumulative) == LIFE
    assert cumulative[-1] == close(LIFE * total)


def test_the_room_carries_carbon(case: Case) -> None:
    """Gas of the heating by 40 CFR 98; the neighbours' heat pumps and saved cooling by the grid."""
    hourly = case.one.year.hourly
    neighbours = hourly["neighbours_extra_heat_kwh"] / 3.0  # tables: a heat pump of COP 3
    gas = hourly["room_heating_penalty_kwh"] - neighbours
    electric = neighbours - hourly["room_cooling_credit_kwh"] - hourly["dehumidifier_credit_kwh"]
    assert gas.sum() > 500.0  # the machine takes its heat from a heated room
    assert neighbours.sum() > 0.0
    by_hand = float(gas.sum()) * GAS_KG_PER_KWH + float((electric * case.factor).sum())
    assert number(case.one, "carbon.room_kgco2e") == close(by_hand)
    assert by_hand > 0.0


def test_the_gases_of_the_room_add_upstream_methane_apart(case: Case) -> None:
    """2 % of the gas lost: 0.02 * 0.93 of a standard cubic foot of methane, as an ideal gas at 60 degF."""
    hourly = case.one.year.hourly
    gas = float((hourly["room_heating_penalty_kwh"] - hourly["neighbours_extra_heat_kwh"] / 3.0).sum())
    moles = 101325.0 * 0.028316846592 / (8.314462618 * 288.70555555555556)
    methane = 0.02 * 0.93 * moles * 0.0160425 / 1026e-6 * (3.6 / 1055.05585262) * gas
    assert number(case.one, "carbon.upstream_methane_kg") == close(methane)
    assert number(case.one, "carbon.upstream_kgco2e") == close(29.8 * methane)


def test_marginal_factor_weighs_plant_and_room(case: Case) -> None:
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.year)
    kwh = float((bought.electricity + bought.room_electricity).sum())
    by_hand = 0.7 * kwh + GAS_KG_PER_KWH * float(bought.room_fuel.sum())
    assert number(case.one, "carbon.marginal_kgco2e") == close(by_hand)


def test_yearly_factors_give_the_life_year_by_year(case: Case) -> None:
    """The factor falls by 0.02 a year: each year's carbon is its own factor times the same energy."""
    rows = "\n".join(f"{2026 + k},{0.5 - 0.02 * k!r}" for k in range(LIFE))
    (case.folder / "years.csv").write_text(f"year,kg_per_kwh\n{rows}\n")
    loaded = read_scenario(case.folder / "packaged.yaml", ["carbon.grid=years.csv"])
    assert loaded.scenario.carbon is not None
    by = greenhouse.factors(loaded.scenario.carbon)
    found = greenhouse.greenhouse(
        loaded.scenario, case.one.year, greenhouse.bought(loaded.scenario, case.one.year), by
    )
    kwh = float(case.one.year.hourly["electricity_kwh"].sum())
    for k in range(LIFE):
        assert found.life.operational[k] == close(kwh * (0.5 - 0.02 * k))
    assert found.record["operational_kgco2e"] == close(kwh * (0.5 - 0.02 * (LIFE - 1) / 2))


# -- the bill ----------------------------------------------------------------------------------------


def _prices() -> list[float]:
    """Prices of the 8760 hours by the calendar of 2001, written out."""
    found = []
    for hour in range(HOURS):
        time = datetime(2001, 1, 1) + timedelta(hours=hour)
        peak = 6 <= time.month <= 9 and time.weekday() < 5 and 16 <= time.hour < 21
        found.append(0.40 if peak else 0.15)
    return found


def _demand(quarter_kw: np.ndarray[Any, np.dtype[np.float64]]) -> float:
    """Demand charges of a year, a ratchet of 60 % over the other eleven months. [USD]"""
    peaks = [0.0] * 12
    for quarter, kw in enumerate(quarter_kw):
        month = (datetime(2001, 1, 1) + timedelta(minutes=15 * quarter)).month - 1
        peaks[month] = max(peaks[month], float(kw))
    return sum(12.0 * max(peaks[m], 0.6 * max(peaks[:m] + peaks[m + 1 :])) for m in range(12))


def test_the_bill_adds_up(case: Case) -> None:
    year = case.one.year
    assert year.quarter_kw.shape == (4 * HOURS,)
    hours = year.quarter_kw.reshape(HOURS, 4).mean(axis=1)
    assert hours == pytest.approx(year.hourly["electricity_kwh"], rel=1e-9, abs=1e-9)
    energy = sum(p * float(k) for p, k in zip(_prices(), year.hourly["electricity_kwh"], strict=True))
    demand = _demand(year.quarter_kw)
    assert number(case.one, "costs.electric_energy_usd") == close(energy)
    assert number(case.one, "costs.demand_usd") == close(demand)
    assert number(case.one, "energy_cost") == close(energy + demand + 360.0)
    months = year.record["monthly.energy_cost"]
    assert isinstance(months, list)
    assert sum(months) == close(energy + demand + 360.0)


def test_the_room_carries_cost(case: Case) -> None:
    """Bill of plant and room together less that of the plant, gas at 14 USD per million Btu."""
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.year)
    energy = sum(p * float(k) for p, k in zip(_prices(), bought.room_electricity, strict=True))
    power = case.one.year.quarter_kw
    more = _demand(power + np.repeat(bought.room_electricity, 4)) - _demand(power)
    gas = 14.0 * float(bought.room_fuel.sum()) * 3.6 / 1055.05585262
    assert gas > 20.0
    assert number(case.one, "costs.room_usd") == close(energy + more + gas)
    assert case.one.savings["cost"].plant == close(number(case.one, "energy_cost") + energy + more + gas)


def test_net_present_value_is_the_discounted_difference(case: Case) -> None:
    """NIST Handbook 135, all costs at the end of their year: written out year by year."""
    saved = case.one.savings
    bill = {
        "plant": saved["cost"].plant - float(case.one.bill.fuel if case.one.bill else 0.0),
        "baseline": saved["cost"].baseline
        - float(case.one.baseline_bill.fuel if case.one.baseline_bill else 0),
    }
    fuel = saved["cost"].saved - (bill["baseline"] - bill["plant"])
    paid = 2000.0 + 0.1 * max(saved["electricity_kwh"].saved, 0.0)
    npv = -(40_000.0 - paid - 12_000.0)
    for year in range(1, 16):
        flow = (bill["baseline"] - bill["plant"]) * 1.01**year + fuel - 100.0
        npv += flow / 1.03**year
    assert number(case.one, "costs.npv_usd") == close(npv)
    tonnes = saved["kgco2e"].saved / 1e3 * sum(1.03**-y for y in range(1, 16))
    assert number(case.one, "costs.carbon_usd_per_tonne") == close(-npv / tonnes)


# -- savings -----------------------------------------------------------------------------------------


def test_savings_change_their_sign_when_the_roles_swap(case: Case) -> None:
    """A less B is the negative of B less A; the refrigerant goes with its plant, not with its role."""
    assert set(case.one.savings) == set(case.swapped.savings)
    assert {"kgco2e", "marginal_kgco2e", "cost", "july.highest_kw"} <= set(case.one.savings)
    for name, line in case.one.savings.items():
        other = case.swapped.savings[name]
        assert other.saved == close(-line.saved), name
        assert (other.plant, other.baseline) == (close(line.baseline), close(line.plant)), name


def test_a_negative_saving_stays_negative_and_is_shown(case: Case) -> None:
    assert number(case.one, "savings.electricity_kwh") > 0.0
    assert number(case.one, "savings.fuel_kwh") < 0.0  # the room's heating burns more gas
    assert number(case.swapped, "savings.electricity_kwh") < 0.0
    text = year_text(case.swapped.year.record)
    shown = next(line for line in text.splitlines() if line.startswith("  electricity_kwh"))
    assert f"{number(case.swapped, 'savings.electricity_kwh'):,.0f}" in shown
    assert "-" in shown


def test_saved_energy_in_its_units(case: Case) -> None:
    """Site and source million Btu of both carriers; 2.80 and 1.05 are the table's factors."""
    btu = 3.6 / 1055.05585262
    electric, fuel = (case.one.savings[key].saved for key in ("electricity_kwh", "fuel_kwh"))
    assert case.one.savings["site_mmbtu"].saved == close((electric + fuel) * btu)
    assert case.one.savings["source_mmbtu"].saved == close((2.80 * electric + 1.05 * fuel) * btu)


def test_peak_of_the_named_hours(case: Case) -> None:
    """Highest and mean power of 6:00 to 18:00 in July, days 181 to 211 of the year, plant with its room."""
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.year)
    room = np.repeat(bought.room_electricity, 4)
    inside = [d * 96 + q for d in range(181, 212) for q in range(24, 72)]
    power = [float(case.one.year.quarter_kw[k] + room[k]) for k in inside]
    assert abs(room[inside].mean()) > 1e-3  # 1 W: the room's part is seen
    assert case.one.savings["july.highest_kw"].plant == close(max(power))
    assert case.one.savings["july.mean_kw"].plant == close(sum(power) / len(power))


def test_the_baseline_has_the_same_draws_and_room(case: Case) -> None:
    loaded = read_scenario(case.folder / "packaged.yaml")
    other = baseline_of(loaded)
    assert other is not None
    weather = read_weather(loaded.scenario.site.weather)
    ours, theirs = (assemble(s, weather).drive for s in (loaded.scenario, other.scenario))
    assert np.array_equal(ours.use, theirs.use)
    assert np.array_equal(ours.mains, theirs.mains)
    assert other.scenario.hot_water == loaded.scenario.hot_water
    assert other.scenario.building == loaded.scenario.building
    assert other.scenario.plant.family == "resistance"


def test_the_baseline_is_the_same_as_a_year_of_its_own(case: Case) -> None:
    """With the roles swapped the plant's year is the other's baseline year, bit for bit."""
    assert case.one.baseline is not None
    for name, values in case.one.baseline.hourly.items():
        assert np.array_equal(values, case.swapped.year.hourly[name], equal_nan=True), name


def test_a_block_is_a_baseline_as_a_file_is(case: Case) -> None:
    raw = _raw(PACKAGED, "")
    raw["baseline"] = TANKS
    (case.folder / "block.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    block, file = (baseline_of(read_scenario(case.folder / f"{n}.yaml")) for n in ("block", "packaged"))
    assert block is not None
    assert file is not None
    assert block.scenario.plant == file.scenario.plant


TANK = "{family: resistance, storage: {volume: 2 m3, setpoint: 60 degC}, "
TANK += "backup: {kind: resistance, power: 9 kW}}"


@pytest.mark.parametrize("written", [ROOT / "scenarios" / "gas-boiler.yaml", TANK], ids=["file", "block"])
def test_a_loop_tank_goes_with_its_plant(tmp_path: Path, written: Path | str) -> None:
    """A baseline that is compared with a plant with a loop tank has no electric tank of that plant's."""
    text = (ROOT / "scenarios" / "loop-tank.yaml").read_text().replace("../weather", str(ROOT / "weather"))
    (tmp_path / "plant.yaml").write_text(f"{text}baseline: {written}\n")
    loaded = read_scenario(tmp_path / "plant.yaml")
    loop, other = loaded.scenario.recirculation, baseline_of(loaded)
    assert other is not None
    its = other.scenario.recirculation
    assert loop is not None
    assert its is not None
    assert loop.loop_tank is not None
    assert (its.served_by, its.loop_tank) == ("store", None)
    assert its.loss_per_apartment == loop.loss_per_apartment


def test_a_baseline_keeps_its_own_loop_tank() -> None:
    """The other way round: the boiler's loop returns to its store, the baseline's to the tank in its file."""
    loaded = read_scenario(ROOT / "scenarios" / "gas-boiler.yaml", ["baseline=loop-tank.yaml"])
    other, alone = baseline_of(loaded), read_scenario(ROOT / "scenarios" / "loop-tank.yaml")
    assert other is not None
    assert other.scenario.recirculation == alone.scenario.recirculation
    assert loaded.scenario.recirculation is not None
    assert loaded.scenario.recirculation.loop_tank is None


def test_checks_count_all_that_is_connected() -> None:
    """By hand: elements of 30 and 9 kW at 480 V, three-phase, 46.91 A, x 1.25; a loop pump of 0.3 kW.

    Heat trace: 9 W/m on two pipes of 10 m are 0.18 kW, whatever the year took of it.
    """
    changes = ["site.checks.voltage=480 V", "recirculation.pump_power=300 W"]
    tank = answer(read_scenario(ROOT / "scenarios" / "loop-tank.yaml", changes))
    rows = {check.name: check.value for check in tank.checks}
    assert rows["minimum circuit ampacity, resistance heaters"] == pytest.approx(1.25 * 46.91, abs=0.01)
    motor = (rows["connected load"] or 0.0) - 39.0 - 0.3 / 0.9  # kVA of both compressors
    at_full = 1e3 * (motor + 0.3 / 0.9 + 39.0) / (np.sqrt(3.0) * 480.0)
    assert rows["full-load current"] == pytest.approx(at_full)
    assert "loop tank full of cold water" in rows
    changes = ["site.checks.voltage=240 V", "site.checks.phases=1"]
    split = answer(read_scenario(ROOT / "scenarios" / "split.yaml", changes))
    rows = {check.name: check.value for check in split.checks}
    assert rows["heat trace"] == pytest.approx(0.18)
    assert rows["minimum circuit ampacity, heat trace"] == pytest.approx(1.25 * 180.0 / 240.0)
    assert rows["water lines outdoors, one way"] == 10.0


# -- the record --------------------------------------------------------------------------------------


def test_without_these_keys_the_record_stays(case: Case) -> None:
    raw = _raw(PACKAGED, "")
    for key in ("baseline", "carbon", "tariff", "costs", "savings"):
        del raw[key]
    del raw["site"]["checks"]
    (case.folder / "plain.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "plain.yaml")
    found, plain = answer(loaded).year, run_year(loaded)
    assert found.record == plain.record
    assert set(found.hourly) == set(plain.hourly)
    assert list(found.record) == list(plain.record)


def test_every_key_and_series_is_declared(case: Case) -> None:
    declared = {row["name"]: row for row in read_table("results")}
    for of in (case.one, case.swapped):
        assert set(of.year.record) <= set(declared)
        assert set(of.year.hourly) <= set(declared)
    dataset = to_dataset(case.one.year)
    for name in ("grid_kgco2e_per_kwh", "electricity_usd_per_kwh", "baseline_electricity_kwh"):
        assert dataset[name].attrs["units"] == declared[name]["unit"]


def test_all_blocks_are_written_as_they_are_read(case: Case) -> None:
    """What is dumped reads back equal: lists of blocks, paths, prices, months and hours."""
    raw = _raw(PACKAGED, "tanks.yaml")
    raw["tariff"]["tiers"] = [{"price": "0.01 USD/kWh", "up_to": "300 kWh"}, {"price": "0.02 USD/kWh"}]
    raw["tariff"]["baseline_fuel"] = [f"{10 + m} USD/MMBtu" for m in range(12)]
    raw["costs"]["replacements"] = [{"year": 10, "cost": "3,000 USD"}]
    for baseline in ("tanks.yaml", TANKS):
        scenario = scenario_from(raw | {"baseline": baseline}, case.folder)
        assert scenario_from(dump(scenario), case.folder) == scenario
        assert scenario_from(yaml.safe_load(dump_text(scenario)), case.folder) == scenario


def test_the_baselines_fuel_has_its_own_price(case: Case) -> None:
    raw = _raw(PACKAGED, "") | {"baseline": BOILER}
    raw["tariff"]["baseline_fuel"] = "20 USD/MMBtu"
    (case.folder / "own.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "own.yaml")
    other = baseline_of(loaded)
    assert other is not None
    for scenario, price in ((loaded.scenario, 14.0), (other.scenario, 20.0)):
        assert scenario.tariff is not None
        assert scenario.tariff.fuel == close(price * 3.6 / 1055.05585262)


def test_provenance_stands_in_the_assumptions(case: Case) -> None:
    found = {item["key"]: item for item in case.one.year.assumptions}
    assert "grid.csv" in found["carbon.grid"]["source"]
    assert "1530" in found["carbon.refrigerant.gwp"]["value"]
    assert "baseline.storage.heat_loss" in found
    assert "40 CFR 98" in found["carbon.fuel (heating of the room)"]["source"]


def test_checks_hold_the_years_worst_against_limits(case: Case) -> None:
    rows = {check.name: check for check in case.one.checks}
    worst = float(case.one.year.quarter_kw.max())
    connected = rows["connected load"].value
    assert connected is not None
    demand = min(worst / 0.9, connected)  # nearly all of it was resistance, at a power factor of 1
    assert worst < demand
    assert rows["demand, worst 15 minutes"].value == close(demand)
    current = 1e3 * demand / (np.sqrt(3.0) * 208.0)  # three-phase current
    assert rows["current, worst 15 minutes"].value == close(current)
    assert rows["plant against the service's spare"].state == "ok"
    us = rows["GWP of R-134a, US"]
    assert us.value == 1430.0  # AR4-100, Reg. (EU) 517/2014 Annex I
    assert "2025-01-01" in us.limit
    assert us.state == "confirm"
    stored = case.one.year.record["checks"]
    assert isinstance(stored, list)
    assert len(stored) == len(case.one.checks)
    assert set(stored[0]) == {"name", "value", "unit", "limit", "source", "state"}


def test_the_summary_and_the_comparison_show_it(case: Case) -> None:
    text = year_text(case.one.year.record)
    for said in ("Greenhouse gases", "Saved against the baseline (resistance)", "Checks; confirm"):
        assert said in text
    records = [case.one.year.record, case.swapped.year.record]
    table = comparison_text(["packaged.yaml", "tanks.yaml"], records)
    row = next(line for line in table.splitlines() if line.startswith("packaged"))
    assert f"{case.one.year.record['electricity_kwh']:,.0f}" in row
    assert f"{number(case.one, 'total_kgco2e'):,.0f}" in row


def test_the_picture_marks_plant_and_baseline(case: Case) -> None:
    """Lines end at the cumulative figures of the record, in tonnes."""
    figure = carbon_figure(case.one.year)
    ends = [float(np.asarray(line.get_ydata())[-1]) for line in figure.axes[0].lines]
    for key in ("carbon.cumulative_kgco2e", "baseline.cumulative_kgco2e"):
        values = case.one.year.record[key]
        assert isinstance(values, list)
        assert values[-1] / 1e3 == close(ends.pop(0))


def test_compare_prints_a_row_for_each(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    """The command's rows are the records of the same scenarios."""
    files = [str(case.folder / name) for name in ("packaged.yaml", "tanks.yaml")]
    assert main(["compare", *files, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    for row, of in zip(rows, (case.one, case.swapped), strict=True):
        for key in ("electricity_kwh", "peak_kw", "total_kgco2e", "energy_cost", "short_hours"):
            assert row[key] == of.year.record[key], key


# -- wrong input -------------------------------------------------------------------------------------

Change = Callable[[dict[str, Any]], object]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: r.update(baseline="nowhere.yaml"), "baseline: got 'nowhere.yaml'; allowed the path of"),
        (lambda r: r.update(baseline={"family": "resistance"}), "baseline.storage: got nothing"),
        (
            lambda r: r.update(baseline=TANKS | {"storage": {"volume": "0 m3", "setpoint": "58 degC"}}),
            "baseline.storage.volume: got '0 m3'; allowed more than 0 m3",
        ),
        (lambda r: r.update(baseline=TANKS | {"storag": {}}), "did you mean baseline.storage?"),
        (lambda r: r["carbon"].update(grid="RFCV"), "carbon.grid: got 'RFCV'; allowed"),
        (lambda r: r["carbon"].update(grid="0.4"), "carbon.grid: got '0.4'; allowed a mass per energy"),
        (lambda r: r["carbon"].update(grid="absent.csv"), "carbon.grid: got 'absent.csv'; allowed the path"),
        (lambda r: r["carbon"].update(grid="short.csv"), "got 2 rows; allowed 8760"),
        (lambda r: r["carbon"].update(gwp="AR7"), "carbon.gwp: got 'AR7'; allowed AR4-100"),
        (lambda r: r["carbon"]["refrigerant"].update(annual_leak=3), "annual_leak: got 3; allowed at most 1"),
        (
            lambda r: (r["carbon"].update(fuel="propane"), r["carbon"].pop("upstream_leak")),
            "carbon.fuel: got 'propane'; allowed nothing",
        ),
        (lambda r: r["tariff"].update(electricity=0.2), "tariff.electricity: got 0.2; allowed a price"),
        (
            lambda r: r["tariff"].update(electricity=[{"price": "1 USD/kWh", "hours": ["16:00-21:00"]}]),
            "no block holds Mon 01 Jan 00:00",
        ),
        (lambda r: r["tariff"]["demand"][0].update(ratchet=2), "tariff.demand.ratchet (item 1): got 2"),
        (lambda r: r["tariff"]["demand"][0].update(rachet=1), "did you mean tariff.demand.ratchet?"),
        (lambda r: r.pop("tariff"), "tariff: got nothing; allowed a block"),
        (lambda r: r.pop("baseline"), "savings: got"),
        (lambda r: r["costs"].update(discount_rate=3), "costs.discount_rate: got 3; allowed at most 0.5"),
        (
            lambda r: r["costs"].update(incentives=[{"name": "a", "lump_sum": "1 USD"}] * 2),
            "costs.incentives: got",
        ),
        (lambda r: r["costs"].update(rates="odd"), "costs.rates: got 'odd'; allowed real, nominal"),
        (lambda r: r["site"]["checks"].update(voltage="209 V"), "site.checks.voltage: got 209 V"),
        (
            lambda r: (r.update(plant=BOILER), r["tariff"].pop("fuel")),
            "tariff.fuel: got nothing; allowed a price of energy",
        ),
        (
            lambda r: (r.update(baseline=BOILER), r["tariff"].pop("fuel")),
            "baseline: tariff.fuel: got nothing; allowed a price of energy",
        ),
    ],
)
def test_wrong_input_is_said_in_one_line(
    case: Case, change: Change, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and one line that names the file, the key, what was given and what is allowed."""
    (case.folder / "short.csv").write_text("kg_per_kwh\n0.1\n0.2\n")
    raw = yaml.safe_load((case.folder / "packaged.yaml").read_text())
    change(raw)
    path = case.folder / "wrong.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    assert main(["run", str(path), "--json"]) == 2
    printed = capsys.readouterr()
    assert said in printed.err
    assert printed.err.count("\n") == 1
    assert printed.out == ""
    assert "wrong.yaml" in printed.err or "short.csv" in printed.err


def test_a_baseline_block_can_be_overridden_key_by_key(case: Case) -> None:
    raw = _raw(PACKAGED, "") | {"baseline": TANKS}
    (case.folder / "block.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "block.yaml", ["baseline.storage.volume=0.9 m3"])
    other = baseline_of(loaded)
    assert other is not None
    assert other.scenario.plant.storage.volume == 0.9


def test_each_fuel_burns_as_itself(case: Case) -> None:
    """Oil is oil even where carbon.fuel names the baseline's gas: 73.96 kg CO2 per MMBtu, Table C-1."""
    oil = BOILER | {"family": "oil-boiler", "backup": {"kind": "oil", "power": "20 kW"}}
    for plant, name, co2 in ((BOILER, "natural-gas", 53.06), (oil, "fuel-oil-2", 73.96)):
        raw = _raw(plant, "tanks.yaml")
        burnt = greenhouse.burnt_fuel(scenario_from(raw, case.folder))
        assert burnt is not None
        assert burnt.name == name
        assert burnt.gases.co2 == close(co2 * 3.6 / 1055.05585262)
