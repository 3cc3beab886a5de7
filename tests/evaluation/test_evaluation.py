"""Carbon, bills and savings of a whole year, re-added from its hourly series."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import answer_cases
import numpy as np
import pytest
import yaml
from answer_cases import CHARGE, END, HOURS, LEAK, LIFE, PACKAGED, TANKS, Case, close, number, raw_of
from cases import ROOT

from hpwhsim.account.savings import line as saving
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.evaluation import emissions as greenhouse
from hpwhsim.evaluation.against_baseline import upstream_caution
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.report import year_text
from hpwhsim.evaluation.result import Result
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import baseline_of, read_scenario

pytestmark = pytest.mark.independent

# pytest finds a fixture by its name in the module
case = answer_cases.case

GWP_R134A = 1530.0  # IPCC AR6 Table 7.SM.7, 100 years
GAS_KG_PER_KWH = (53.06 + 29.8 * 0.001 + 273.0 * 0.0001) * 3.6 / 1055.05585262
"""Natural gas by 40 CFR 98 Tables C-1 and C-2 (kg per MMBtu), AR6-100 with fossil methane."""

# -- carbon ------------------------------------------------------------------------------------------


@pytest.mark.published
def test_operational_is_the_sum_of_energy_times_factor(case: Case) -> None:
    """EN 378-1 Annex B, term E beta, hour by hour with the factors of the user's file."""
    kwh = case.one.plant.year.hourly["electricity_kwh"]
    by_hand = sum(float(k) * float(f) for k, f in zip(kwh, case.factor, strict=True))
    assert number(case.one, "operational_kgco2e") == close(by_hand)
    assert np.array_equal(case.one.plant.year.hourly["grid_kgco2e_per_kwh"], case.factor)
    assert by_hand != close(float(kwh.sum()) * case.factor.mean())  # the hours do count


@pytest.mark.published
def test_tewi_is_that_of_the_standard(case: Case) -> None:
    """EN 378-1 Annex B: GWP L n + GWP m (1 - recovered) + n E beta; other losses are not in it."""
    operational = number(case.one, "operational_kgco2e")
    tewi = GWP_R134A * CHARGE * LEAK * LIFE + GWP_R134A * CHARGE * END + LIFE * operational
    assert number(case.one, "carbon.tewi_kgco2e") == close(tewi)
    apart = GWP_R134A * CHARGE * (0.01 + 0.005 * LIFE)
    refrigerant = (tewi - LIFE * operational + apart) / LIFE
    assert number(case.one, "refrigerant_kgco2e") == close(refrigerant)
    by_set = case.one.record["carbon.refrigerant_by_gwp"]
    assert isinstance(by_set, dict)
    assert by_set["AR6-100"] == close(refrigerant)
    assert by_set["AR6-20"] == close(refrigerant * 4140.0 / GWP_R134A)  # AR6 Table 7.SM.7, 20 years
    total = operational + refrigerant + number(case.one, "carbon.room_kgco2e")
    assert number(case.one, "total_kgco2e") == close(total)
    cumulative = case.one.record["carbon.cumulative_kgco2e"]
    assert isinstance(cumulative, list)
    assert len(cumulative) == LIFE
    assert cumulative[-1] == close(LIFE * total)


def test_the_room_carries_carbon(case: Case) -> None:
    """Gas of the heating by 40 CFR 98; the neighbours' heat pumps and saved cooling by the grid."""
    hourly = case.one.plant.year.hourly
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
    hourly = case.one.plant.year.hourly
    gas = float((hourly["room_heating_penalty_kwh"] - hourly["neighbours_extra_heat_kwh"] / 3.0).sum())
    moles = 101325.0 * 0.028316846592 / (8.314462618 * 288.70555555555556)
    methane = 0.02 * 0.93 * moles * 0.0160425 / 1026e-6 * (3.6 / 1055.05585262) * gas
    assert number(case.one, "carbon.upstream_methane_kg") == close(methane)
    assert number(case.one, "carbon.upstream_kgco2e") == close(29.8 * methane)


@pytest.mark.law
def test_marginal_factor_weighs_plant_and_room(case: Case) -> None:
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.plant.year)
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
        loaded.scenario, case.one.plant.year, greenhouse.bought(loaded.scenario, case.one.plant.year), by
    )
    kwh = float(case.one.plant.year.hourly["electricity_kwh"].sum())
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


@pytest.mark.law
def test_the_bill_adds_up(case: Case) -> None:
    year = case.one.plant.year
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
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.plant.year)
    energy = sum(p * float(k) for p, k in zip(_prices(), bought.room_electricity, strict=True))
    power = case.one.plant.year.quarter_kw
    more = _demand(power + np.repeat(bought.room_electricity, 4)) - _demand(power)
    gas = 14.0 * float(bought.room_fuel.sum()) * 3.6 / 1055.05585262
    assert gas > 20.0
    assert number(case.one, "costs.room_usd") == close(energy + more + gas)
    assert case.one.savings["cost"].plant == close(number(case.one, "energy_cost") + energy + more + gas)


def test_net_present_value_is_the_discounted_difference(case: Case) -> None:
    """NIST Handbook 135, all costs at the end of their year: written out year by year."""
    saved = case.one.savings
    bill = {
        "plant": saved["cost"].plant - float(case.one.plant.bills.fuel if case.one.plant.bills else 0.0),
        "baseline": saved["cost"].baseline
        - float(base.bills.fuel if (base := case.one.baseline) and base.bills else 0),
    }
    fuel = saved["cost"].saved - (bill["baseline"] - bill["plant"])
    paid = 2000.0 + 0.1 * max(saved["electricity_kwh"].saved, 0.0)
    npv = -(40_000.0 - paid - 12_000.0)
    for year in range(1, 16):
        flow = (bill["baseline"] - bill["plant"]) * 1.01**year + fuel - 100.0
        npv += flow / 1.03**year
    assert number(case.one, "costs.npv_usd") == close(npv)
    avoided = _avoided(case.one, 15)
    assert case.one.record["costs.avoided_kgco2e"] == pytest.approx(avoided, rel=1e-9)
    tonnes = sum(kg / 1e3 * 1.03**-y for y, kg in enumerate(avoided, start=1))
    assert number(case.one, "costs.carbon_usd_per_tonne") == close(-npv / tonnes)
    assert number(case.one, "costs.real_discount_rate") == close(0.03)


def _avoided(of: Result, years: int) -> list[float]:
    """Carbon avoided in each year: steps of the lives added up, then a year without what is lost once."""
    record: Any = of.record
    steps = [np.diff([0.0, *record[f"{which}.cumulative_kgco2e"]]) for which in ("baseline", "carbon")]
    found = [float(theirs - ours) for theirs, ours in zip(*steps, strict=True)]
    kept = record["carbon.leak_kgco2e"] + record["carbon.service_kgco2e"]
    operational = np.diff(record["carbon.cumulative_operational_kgco2e"])[-1]
    after = float(steps[0][-1] - operational - kept)  # the baseline has no refrigerant
    return (found + [after] * years)[:years]


def test_tonnes_follow_the_grid_and_rates_do_not_matter(case: Case) -> None:
    """A grid that falls to a tenth: by year, by hand. The same project in nominal rates costs the same.

    Irving Fisher's identity: (1 + nominal) = (1 + real)(1 + inflation), NIST Handbook 135.
    """
    rows = "\n".join(f"{2026 + k},{0.6 * 0.1 ** (k / (LIFE - 1))!r}" for k in range(LIFE))
    (case.folder / "falling.csv").write_text(f"year,kg_per_kwh\n{rows}\n")
    change = ["carbon.grid=falling.csv", "costs.years=15", "run.steps_per_hour=4"]
    nominal = [
        "costs.rates=nominal",
        "costs.inflation=0.02",
        "costs.discount_rate=0.0506",
        "costs.electricity_escalation=0.0302",
        "costs.fuel_escalation=0.02",
    ]
    real, other = (
        evaluate(read_scenario(case.folder / "packaged.yaml", [*change, *more])) for more in ((), nominal)
    )
    avoided = _avoided(real, 15)
    assert avoided[0] > 2.0 * avoided[10]
    tonnes = sum(kg / 1e3 * 1.03**-y for y, kg in enumerate(avoided, start=1))
    price = number(real, "costs.carbon_usd_per_tonne")
    assert price == close(-number(real, "costs.npv_usd") / tonnes)
    assert number(other, "costs.carbon_usd_per_tonne") == pytest.approx(price, rel=1e-9)
    assert number(other, "costs.real_discount_rate") == pytest.approx(0.03, rel=1e-12)
    said = [text for text in real.plant.year.cautions if "carbon.service_years (12)" in text]
    assert len(said) == 1
    assert "takes the last year of service" in said[0]
    assert "by year, discounted at 3 % real" in year_text(real.record)


def test_methane_lost_upstream_of_the_baseline_is_in_record_and_savings(case: Case) -> None:
    """Swapped, what was the plant's is the baseline's; saved is the baseline less the plant."""
    for one, other in ((case.one, case.swapped), (case.swapped, case.one)):
        for key in ("upstream_methane_kg", "upstream_kgco2e"):
            assert number(one, f"baseline.{key}") == close(number(other, f"carbon.{key}"))
        line = one.savings["upstream_kgco2e"]
        assert line.saved == close(
            number(one, "baseline.upstream_kgco2e") - number(one, "carbon.upstream_kgco2e")
        )
        assert number(one, "savings.upstream_kgco2e") == line.saved
    assert number(case.one, "carbon.upstream_kgco2e") != number(case.one, "baseline.upstream_kgco2e")


def test_methane_upstream_that_outweighs_the_saving_is_said() -> None:
    """By hand: 900 kg saved upstream beside 500 of all the rest, and the other way round."""
    for upstream, said in ((900.0, 1), (-900.0, 1), (400.0, 0), (0.0, 0)):
        lines = {"kgco2e": saving(1000.0, 500.0), "upstream_kgco2e": saving(1000.0, 1000.0 - upstream)}
        found = upstream_caution(lines)
        assert len(found) == said, upstream
        assert all(f"{upstream:,.0f} kg CO2e" in text and "500 kg" in text for text in found)
    assert upstream_caution({"kgco2e": saving(1000.0, 500.0)}) == []


# -- savings -----------------------------------------------------------------------------------------


@pytest.mark.law
def test_savings_change_their_sign_when_the_roles_swap(case: Case) -> None:
    """A less B is the negative of B less A; the refrigerant goes with its plant, not with its role."""
    assert set(case.one.savings) == set(case.swapped.savings)
    assert {"kgco2e", "marginal_kgco2e", "cost", "july.highest_kw"} <= set(case.one.savings)
    for name, line in case.one.savings.items():
        other = case.swapped.savings[name]
        assert other.saved == close(-line.saved), name
        assert (other.plant, other.baseline) == (close(line.baseline), close(line.plant)), name


@pytest.mark.law
def test_a_negative_saving_stays_negative_and_is_shown(case: Case) -> None:
    assert number(case.one, "savings.electricity_kwh") > 0.0
    assert number(case.one, "savings.fuel_kwh") < 0.0  # the room's heating burns more gas
    assert number(case.swapped, "savings.electricity_kwh") < 0.0
    text = year_text(case.swapped.record)
    shown = next(line for line in text.splitlines() if line.split()[:2] == ["electricity", "kWh"])
    saved = number(case.swapped, "savings.electricity_kwh")
    assert f"\N{MINUS SIGN}{-saved:,.0f}" in shown


def test_saved_energy_in_its_units(case: Case) -> None:
    """Site and source million Btu of both carriers; 2.80 and 1.05 are the table's factors."""
    btu = 3.6 / 1055.05585262
    electric, fuel = (case.one.savings[key].saved for key in ("electricity_kwh", "fuel_kwh"))
    assert case.one.savings["site_mmbtu"].saved == close((electric + fuel) * btu)
    assert case.one.savings["source_mmbtu"].saved == close((2.80 * electric + 1.05 * fuel) * btu)


def test_peak_of_the_named_hours(case: Case) -> None:
    """Highest and mean power of 6:00 to 18:00 in July, days 181 to 211 of the year, plant with its room."""
    bought = greenhouse.bought(read_scenario(case.folder / "packaged.yaml").scenario, case.one.plant.year)
    room = np.repeat(bought.room_electricity, 4)
    inside = [d * 96 + q for d in range(181, 212) for q in range(24, 72)]
    power = [float(case.one.plant.year.quarter_kw[k] + room[k]) for k in inside]
    assert abs(room[inside].mean()) > 1e-3  # 1 W: the room's part is seen
    assert case.one.savings["july.highest_kw"].plant == close(max(power))
    assert case.one.savings["july.mean_kw"].plant == close(sum(power) / len(power))


@pytest.mark.law
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


@pytest.mark.law
def test_the_baseline_is_the_same_as_a_year_of_its_own(case: Case) -> None:
    """With the roles swapped the plant's year is the other's baseline year, bit for bit."""
    assert case.one.baseline is not None
    for name, values in case.one.baseline.hourly.items():
        assert np.array_equal(values, case.swapped.plant.year.hourly[name], equal_nan=True), name


@pytest.mark.law
def test_a_block_is_a_baseline_as_a_file_is(case: Case) -> None:
    raw = raw_of(PACKAGED, "")
    raw["baseline"] = TANKS
    (case.folder / "block.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    block, file = (baseline_of(read_scenario(case.folder / f"{n}.yaml")) for n in ("block", "packaged"))
    assert block is not None
    assert file is not None
    assert block.scenario.plant == file.scenario.plant


TANK = "{family: resistance, storage: {volume: 2 m3, setpoint: 60 degC}, "
TANK += "backup: {kind: resistance, power: 9 kW}}"


@pytest.mark.contract
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


@pytest.mark.contract
def test_a_baseline_keeps_its_own_loop_tank() -> None:
    """The other way round: the boiler's loop returns to its store, the baseline's to the tank in its file."""
    loaded = read_scenario(ROOT / "scenarios" / "gas-boiler.yaml", ["baseline=loop-tank.yaml"])
    other, alone = baseline_of(loaded), read_scenario(ROOT / "scenarios" / "loop-tank.yaml")
    assert other is not None
    assert other.scenario.recirculation == alone.scenario.recirculation
    assert loaded.scenario.recirculation is not None
    assert loaded.scenario.recirculation.loop_tank is None
