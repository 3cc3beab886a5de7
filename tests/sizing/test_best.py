"""The best of a catalogue by the figures of the year: over all its plants, each by itself."""

import json
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import yaml
from cases import central_air, refusal

import hpwhsim as ty
from hpwhsim.cli import main as cli
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.reading import read, with_changes
from hpwhsim.sizing.catalogue import Market
from hpwhsim.sizing.trials import make_bench

pytestmark = [pytest.mark.independent, pytest.mark.year]
COST, SETPOINT = "costs.present_value_usd", "plant.storage.setpoint"


def plant(folder: Path) -> Path:
    """Smooth draws, modules of 12 kW, two tanks to choose from, invented costs; quick to simulate."""
    (folder / "tanks.csv").write_text(
        "litres,cost,weight_kg,carbon_kg\n400,2000,500,100\n1500,4000,1900,300\n"
    )
    (folder / "modules.csv").write_text("capacity_kw,cost,weight_kg,carbon_kg\n12,9000,100,200\n")
    raw: dict[str, Any] = central_air(folder, capacity_kw=12.0)
    raw["sizing"] = {"modules": "modules.csv", "tanks": "tanks.csv", "max_modules": 2, "max_tanks": 1}
    raw["costs"] = {"capital": "30,000 USD"}
    raw["tariff"] = {"electricity": [{"price": "0.2 USD/kWh"}]}
    raw["run"] = {"steps_per_hour": 4}
    path = folder / "plant.yaml"
    path.write_text(yaml.safe_dump(raw))
    return path


@pytest.mark.slow
def test_least_cost_of_the_catalogue(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every plant of two setpoints, two numbers of modules, two tanks: tried and simulated by itself.

    A third setpoint is below what the table of performance has: its plants are kept with that message.
    """
    path, vary = plant(tmp_path), ["55 degC", "60 degC", "64 degC"]
    argv = ["size", str(path), "--objectives", "cost", "--vary", f"{SETPOINT}={','.join(vary)}"]
    assert cli.main([*argv, "--json", "--out", str(tmp_path / "out")]) == 0
    record = json.loads(capsys.readouterr().out)
    assert (record["search"]["combinations"], record["search"]["proven"]) == (12, True)
    costs: dict[tuple[str, ...], float] = {}
    for setpoint, modules, litres in product(vary[1:], (1, 2), (400, 1500)):
        loaded = read(path, [f"{SETPOINT}={setpoint}"])
        market = Market(make_bench(loaded.scenario, read_weather(loaded.scenario.site.weather)))
        machine = next(one for one in market.machines if one[1] == modules)
        store = next(one for one in market.stores if round(1000.0 * one[0].size) == litres)
        if not market.trial(market.choice(machine, store)).passes:
            continue
        capital = 30000 + 9000 * modules + {400: 2000, 1500: 4000}[litres]
        changes = {
            "plant.heat_pump.modules": modules,
            "plant.storage.volume": f"{litres} L",
            "costs.capital": f"{capital} USD",
        }
        result = evaluate(with_changes(loaded, changes)).record
        if result["short_litres"] == 0.0:
            value = result[COST]
            assert isinstance(value, float)
            costs[setpoint, str(modules), str(litres)] = value
    assert 1 <= len(costs) < 8
    assert record["allowed"] == len(costs)
    assert "water_out_c: got 60 to 65 degC" in record["failures"][0]["message"]
    assert record["failures"][0]["cases"] == 4
    (best,) = record["best"]
    values = best["values"]
    litres = f"{1000.0 * float(values['plant.storage.volume'].split()[0]):.0f}"
    assert (values[SETPOINT], values["plant.heat_pump.modules"], litres) == min(costs, key=lambda k: costs[k])
    assert best["figures"][COST] == pytest.approx(min(costs.values()), rel=1e-12)  # L and m3 round apart
    library = ty.best_size(ty.read(path), ["cost"], {SETPOINT: vary})
    assert library.record == record
    assert library.plants[0]["plant.storage.volume"] == pytest.approx(0.001 * int(litres), rel=1e-12)
    words = [word for key, value in values.items() for word in ("--set", f"{key}={value}")]
    assert cli.main(["run", str(path), *words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[COST] == best["figures"][COST]


@pytest.mark.contract
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--objectives", "cots"], ["objectives cots: unknown key"]),
        (["--objectives", "co2e"], ["total_kgco2e", "no block carbon"]),
        (["--vary", f"{SETPOINT}=55 degC"], ["--vary, --budget: allowed with --objectives"]),
        (["--objectives", "cost", "--seeds", "3"], ["--seeds: allowed without --objectives"]),
        (
            ["--objectives", "cost", "--vary", "plant.heat_pump.modules=1,2"],
            ["modules: the catalogue has it"],
        ),
        (["--objectives", "cost", "--vary", "hot_water.seed=1,2"], ["nobody chooses the draws"]),
        (
            ["--objectives", "cost", "--vary", f"{SETPOINT}=12 degC,15 degC"],
            ["none of the plants can be built"],
        ),
        (["--objectives", "cost", "--budget", "3"], ["allowed a whole number from 10"]),
    ],
)
def test_wrong_questions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: list[str]
) -> None:
    message = refusal(["size", str(plant(tmp_path)), *words], capsys)
    assert not [one for one in said if one not in message]
