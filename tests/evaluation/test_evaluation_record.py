"""Record, checks, summary and comparison of a year with accounts, against series and tables; wrong input."""

import json
from collections.abc import Callable
from typing import Any

import answer_cases
import numpy as np
import pytest
import yaml
from answer_cases import BOILER, PACKAGED, TANKS, Case, close, number, raw_of
from cases import ROOT

from hpwhsim.charts.carbon import carbon_figure
from hpwhsim.cli.main import main
from hpwhsim.comparison.report import comparison_text
from hpwhsim.evaluation import emissions as greenhouse
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.first_screen import first_screen
from hpwhsim.evaluation.report import year_text
from hpwhsim.scenario.reading import baseline_of, read_scenario, scenario_from
from hpwhsim.scenario.writing import dump, dump_text
from hpwhsim.simulation.year import run_year, to_dataset
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
case = answer_cases.case

# -- the record --------------------------------------------------------------------------------------


def test_without_these_keys_the_record_stays(case: Case) -> None:
    raw = raw_of(PACKAGED, "")
    for key in ("baseline", "carbon", "tariff", "costs", "savings"):
        del raw[key]
    del raw["site"]["checks"]
    (case.folder / "plain.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "plain.yaml")
    found, plain = evaluate(loaded).plant.year, run_year(loaded)
    assert found.record == plain.record
    assert set(found.hourly) == set(plain.hourly)
    assert list(found.record) == list(plain.record)


def test_every_key_and_series_is_declared(case: Case) -> None:
    declared = {row["name"]: row for row in read_table("results")}
    for of in (case.one, case.swapped):
        assert set(of.record) <= set(declared)
        assert set(of.plant.year.hourly) <= set(declared)
    dataset = to_dataset(case.one.plant.year)
    for name in ("grid_kgco2e_per_kwh", "electricity_usd_per_kwh", "baseline_electricity_kwh"):
        assert dataset[name].attrs["units"] == declared[name]["unit"]


def test_all_blocks_are_written_as_they_are_read(case: Case) -> None:
    """What is dumped reads back equal: lists of blocks, paths, prices, months and hours."""
    raw = raw_of(PACKAGED, "tanks.yaml")
    raw["tariff"]["tiers"] = [{"price": "0.01 USD/kWh", "up_to": "300 kWh"}, {"price": "0.02 USD/kWh"}]
    raw["tariff"]["baseline_fuel"] = [f"{10 + m} USD/MMBtu" for m in range(12)]
    raw["costs"]["replacements"] = [{"year": 10, "cost": "3,000 USD"}]
    for baseline in ("tanks.yaml", TANKS):
        scenario = scenario_from(raw | {"baseline": baseline}, case.folder)
        assert scenario_from(dump(scenario), case.folder) == scenario
        assert scenario_from(yaml.safe_load(dump_text(scenario)), case.folder) == scenario


@pytest.mark.independent
def test_the_baselines_fuel_has_its_own_price(case: Case) -> None:
    raw = raw_of(PACKAGED, "") | {"baseline": BOILER}
    raw["tariff"]["baseline_fuel"] = "20 USD/MMBtu"
    (case.folder / "own.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "own.yaml")
    other = baseline_of(loaded)
    assert other is not None
    for scenario, price in ((loaded.scenario, 14.0), (other.scenario, 20.0)):
        assert scenario.tariff is not None
        assert scenario.tariff.fuel == close(price * 3.6 / 1055.05585262)


def test_provenance_stands_in_the_assumptions(case: Case) -> None:
    found = {item["key"]: item for item in case.one.plant.year.assumptions}
    assert "grid.csv" in found["carbon.grid"]["source"]
    assert "1530" in found["carbon.refrigerant.gwp"]["value"]
    assert "baseline.storage.heat_loss" in found
    assert "40 CFR 98" in found["carbon.fuel (heating of the room)"]["source"]


@pytest.mark.independent
def test_checks_count_all_that_is_connected() -> None:
    """By hand: elements of 30 and 9 kW at 480 V, three-phase, 46.91 A, x 1.25; a loop pump of 0.3 kW.

    Heat trace: 9 W/m on two pipes of 10 m are 0.18 kW, whatever the year took of it.
    """
    changes = ["site.checks.voltage=480 V", "recirculation.pump_power=300 W"]
    tank = evaluate(read_scenario(ROOT / "scenarios" / "loop-tank.yaml", changes))
    rows = {check.name: check.value for check in tank.checks}
    assert rows["minimum circuit ampacity, resistance heaters"] == pytest.approx(1.25 * 46.91, abs=0.01)
    at_full = 1e3 * (rows["connected load"] or 0.0) / (np.sqrt(3.0) * 480.0)
    assert rows["full-load current"] == pytest.approx(at_full)
    assert "loop tank full of cold water" in rows
    changes = ["site.checks.voltage=240 V", "site.checks.phases=1"]
    split = evaluate(read_scenario(ROOT / "scenarios" / "split.yaml", changes))
    rows = {check.name: check.value for check in split.checks}
    assert rows["heat trace"] == pytest.approx(0.18)
    assert rows["minimum circuit ampacity, heat trace"] == pytest.approx(1.25 * 180.0 / 240.0)
    assert rows["water lines outdoors, one way"] == pytest.approx(10.0)


@pytest.mark.independent
def test_checks_hold_the_years_worst_against_limits(case: Case) -> None:
    rows = {check.name: check for check in case.one.checks}
    draws = "15 minutes of this year's draws"
    worst = float(case.one.plant.year.quarter_kw.max())
    connected = rows["connected load"].value
    assert connected is not None
    demand = min(worst / 0.9, connected)  # nearly all of it was resistance, at a power factor of 1
    assert worst < demand
    assert rows[f"demand, worst {draws}"].value == close(demand)
    current = 1e3 * demand / (np.sqrt(3.0) * 208.0)  # three-phase current
    assert rows[f"current, worst {draws}"].value == close(current)
    spare = rows["plant on the building's service"]
    assert (spare.limit_value, spare.state) == (60.0, "confirm")  # met, at a voltage that nobody gave
    assert "site.checks.building_voltage" in spare.limit
    us = rows["GWP of R-134a, US from 2025-01-01"]
    assert us.value == 1430.0  # AR4-100, Reg. (EU) 517/2014 Annex I
    assert us.state == "confirm"
    assert us.ratio == close(1430.0 / 700.0)
    assert not [name for name in rows if ", EU" in name]  # Chicago is in the US
    stored = case.one.record["checks"]
    assert isinstance(stored, list)
    assert len(stored) == len(case.one.checks)
    assert set(stored[0]) == {
        *("name", "value", "unit", "limit_kind", "limit_value", "ratio", "state", "limit", "source")
    }
    order = [("fail", "confirm", "ok", "information").index(row["state"]) for row in stored]
    assert order == sorted(order)


NOTHING_ELSE = ("baseline=null", "carbon=null", "tariff=null", "costs=null", "savings=null")


@pytest.mark.slow
@pytest.mark.law
def test_circuits_do_not_depend_on_the_draws() -> None:
    """Five seeds: other peaks, the same ampacities, devices and connected load, and none is exceeded.

    Hours in which every module ran through are held against the greatest power of the envelope: shorter runs
    carry the heat of the machine's start in their mean.
    """
    found, peaks = [], set()
    for seed in range(1, 6):
        changes = [*NOTHING_ELSE, f"hot_water.seed={seed}"]
        of = evaluate(read_scenario(ROOT / "scenarios" / "central-air.yaml", changes))
        circuits = [c for c in of.checks if "ampacity" in c.name or c.name in ("connected load",)]
        found.append([(c.name, c.value, c.limit) for c in circuits])
        peaks.add(round(number(of, "peak_kw"), 2))
        hourly, modules = of.plant.year.hourly, of.plant.year.made.modules
        through = hourly["module_hours"] > modules - 1e-6
        assert through.any()
        most = hourly["compressor_kwh"][through].max() / modules
        assert most <= of.plant.year.connected.compressor / 1e3 * (1.0 + 1e-9)
    assert all(row == found[0] for row in found)
    assert len(peaks) > 1


def test_a_failed_check_is_an_exit_code_with_strict(capsys: pytest.CaptureFixture[str]) -> None:
    """The demo's store is too heavy for its floor of 150 lb/ft2: said at the head, and 1 with --strict."""
    path = str(ROOT / "scenarios" / "central-air.yaml")
    changes = [word for change in NOTHING_ELSE for word in ("--set", change)]
    for strict, floor, code in (([], "150", 0), (["--strict"], "150", 1), (["--strict"], "900", 0)):
        limit = ["--set", f"site.checks.max_floor_load={floor} lb/ft2", "--json"]
        assert main(["run", path, *changes, *limit, *strict]) == code
        record = json.loads(capsys.readouterr().out)
        failed = [check for check in record["checks"] if check["state"] == "fail"]
        assert bool(failed) == (floor == "150")
        head = first_screen(record, us=True).splitlines()[:4]
        assert any(line.startswith("FAILED floor load") for line in head) == bool(failed)
        if failed:
            assert failed == record["checks"][:1]
            (line,) = [line for line in head if line.startswith("FAILED floor load")]
            assert "lb/ft2, at most 150 lb/ft2 (ratio" in line  # as the file has it; the record is in SI
            assert (failed[0]["unit"], failed[0]["limit_value"]) == ("kPa", pytest.approx(7.182, abs=5e-4))
            assert failed[0]["ratio"] == pytest.approx(failed[0]["value"] / failed[0]["limit_value"])


def test_the_summary_and_the_comparison_show_it(case: Case) -> None:
    text = year_text(case.one.record)
    for said in ("Greenhouse gases", "Saved against the baseline (resistance)", "Checks: "):
        assert said in text
    records = [case.one.record, case.swapped.record]
    table = comparison_text(["packaged.yaml", "tanks.yaml"], records)
    for label, key in (("electricity", "electricity_kwh"), ("CO2e, total", "total_kgco2e")):
        row = next(line for line in table.splitlines() if line.startswith(label))
        assert row.split()[-2:] == [f"{record[key]:,.0f}" for record in records]


def test_the_picture_marks_plant_and_baseline(case: Case) -> None:
    """Lines end at the cumulative figures of the record, in tonnes."""
    figure = carbon_figure(case.one.plant.year)
    ends = [float(np.asarray(line.get_ydata())[-1]) for line in figure.axes[0].lines]
    for key in ("carbon.cumulative_kgco2e", "baseline.cumulative_kgco2e"):
        values = case.one.record[key]
        assert isinstance(values, list)
        assert values[-1] / 1e3 == close(ends.pop(0))


def test_compare_prints_a_row_for_each(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    """The command's rows are the records of the same scenarios."""
    files = [str(case.folder / name) for name in ("packaged.yaml", "tanks.yaml")]
    assert main(["compare", *files, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    for row, of in zip(rows, (case.one, case.swapped), strict=True):
        for key in ("electricity_kwh", "peak_kw", "total_kgco2e", "energy_cost", "short_hours"):
            assert row[key] == of.record[key], key


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
def test_wrong_input_is_said_in_a_line(
    case: Case, change: Change, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and a line for each thing with the key, what was given and what is allowed."""
    (case.folder / "short.csv").write_text("kg_per_kwh\n0.1\n0.2\n")
    raw = yaml.safe_load((case.folder / "packaged.yaml").read_text())
    change(raw)
    path = case.folder / "wrong.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    assert main(["run", str(path), "--json"]) == 2
    printed = capsys.readouterr()
    head, *lines = printed.err.splitlines()
    assert sum(said in line for line in (head, *lines)) == 1
    assert not lines or head.endswith(f"{len(lines)} things are wrong")
    assert printed.out == ""
    assert "wrong.yaml" in printed.err or "short.csv" in printed.err


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            lambda r: (
                r["plant"]["heat_pump"].update(refrigerant="R-290"),
                r["carbon"].update(gwp="AR5-100"),
            ),
            "carbon.refrigerant.gwp: R-290 has no value in AR5-100",
        ),
        (
            lambda r: (
                r["carbon"]["refrigerant"].pop("charge"),
                r["carbon"]["refrigerant"].update(line_charge="1 kg/m"),
            ),
            "carbon.refrigerant.line_charge: got a charge; allowed nothing unless plant.heat_pump.lines",
        ),
        (lambda r: r["site"]["checks"].update(voltage="480 V", phases=1), "site.checks.voltage: got 480 V"),
        (
            lambda r: (r.pop("costs"), r["tariff"].pop("fuel")),
            "the room of the heat pump, or what is around it",
        ),
        (
            lambda r: (
                [r.pop(key) for key in ("baseline", "savings", "costs", "carbon")],
                r["plant"]["heat_pump"].update(outlet_temperature="90 degC"),
            ),
            "R-134a makes 66 degC at most",
        ),
    ],
)
def test_check_refuses_what_run_refuses(
    case: Case, change: Change, said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both before any march, with the same words."""

    def nothing(plants: list[object]) -> list[object]:
        assert plants == []
        return []

    monkeypatch.setattr("hpwhsim.simulation.year.march_each", nothing)
    raw = yaml.safe_load((case.folder / "packaged.yaml").read_text())
    change(raw)
    path = case.folder / "refused.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    errors = []
    for verb in ("check", "run"):
        assert main([verb, str(path)]) == 2
        errors.append(capsys.readouterr().err)
    assert said in errors[0]
    assert errors[0] == errors[1]


def test_wrong_files_and_blocks_are_said_together(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    raw = yaml.safe_load((case.folder / "packaged.yaml").read_text())
    raw["plant"]["heat_pump"]["refrigerant"] = "R-290"
    raw["carbon"] |= {"gwp": "AR5-100", "grid": "short.csv"}
    raw["site"]["checks"] |= {"voltage": "480 V", "phases": 1}
    (case.folder / "short.csv").write_text("kg_per_kwh\n0.1\n0.2\n")
    path = case.folder / "three.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    assert main(["check", str(path)]) == 2
    head, *lines = capsys.readouterr().err.splitlines()
    assert head.endswith("three.yaml: 3 things are wrong")
    for line, words in zip(lines, ("got 2 rows", "R-290 has no value in AR5-100", "480 V"), strict=True):
        assert words in line


def test_what_an_override_takes_out_is_a_caution(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(case.folder / "packaged.yaml"), "--set", "baseline=null"]) == 0
    printed = capsys.readouterr().out
    assert "baseline=null takes out what hangs on it: savings, costs.baseline" in printed


def test_a_baseline_block_can_be_overridden_key_by_key(case: Case) -> None:
    raw = raw_of(PACKAGED, "") | {"baseline": TANKS}
    (case.folder / "block.yaml").write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(case.folder / "block.yaml", ["baseline.storage.volume=0.9 m3"])
    other = baseline_of(loaded)
    assert other is not None
    assert other.scenario.plant.storage.volume == 0.9


@pytest.mark.published
def test_each_fuel_burns_as_itself(case: Case) -> None:
    """Oil is oil even where carbon.fuel names the baseline's gas: 73.96 kg CO2 per MMBtu, Table C-1."""
    oil = BOILER | {"family": "oil-boiler", "backup": {"kind": "oil", "power": "20 kW"}}
    for plant, name, co2 in ((BOILER, "natural-gas", 53.06), (oil, "fuel-oil-2", 73.96)):
        raw = raw_of(plant, "tanks.yaml")
        burnt = greenhouse.burnt_fuel(scenario_from(raw, case.folder))
        assert burnt is not None
        assert burnt.name == name
        assert burnt.gases.co2 == close(co2 * 3.6 / 1055.05585262)
