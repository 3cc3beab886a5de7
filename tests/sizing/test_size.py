"""Sizing against plants written anew, exhaustive search and equal runs, and what the command says."""

import json
from pathlib import Path
from typing import Any

import pytest
import sizing_cases
import yaml
from cases import CHICAGO, ROOT, central_air
from sizing_cases import ALONE, DEMO, ONE, with_criterion

from hpwhsim.cli import main as cli
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import Loaded, read_scenario, scenario_from
from hpwhsim.sizing.catalogue import Market
from hpwhsim.sizing.design_days import judge
from hpwhsim.sizing.least_store import GRID, NEAR, least_store
from hpwhsim.sizing.report import PARTS
from hpwhsim.sizing.size import size
from hpwhsim.sizing.trials import Bench, make_bench, plant_of

pytestmark = [pytest.mark.independent, pytest.mark.year]
# pytest finds a fixture by its name in the module
demo = sizing_cases.demo

# -- on the edge ---------------------------------------------------------------------------------------


def written_anew(bench: Bench, modules: int, litres: float, tanks: int = 1) -> float:
    """Short litres on the design days of a plant read and assembled from a scenario of its own."""
    overrides = [*ALONE, f"plant.heat_pump.modules={modules}", f"plant.storage.volume='{litres!r} L'"]
    scenario = read_scenario(DEMO, [*overrides, f"plant.storage.tanks={tanks}"]).scenario
    return judge(bench.design, assemble(scenario, bench.weather).plant).short_litres


@pytest.mark.parametrize("modules", [1, 2])
def test_least_volume_is_on_the_edge(demo: Bench, modules: int) -> None:
    """What bisection gives passes, and the next smaller, within its tolerance, fails: plants written anew."""
    least = least_store(demo, modules, 1.0)
    assert least.volume * (1.0 - NEAR) <= least.fails < least.volume
    assert written_anew(demo, modules, 1000.0 * least.volume, 2) == 0.0
    assert written_anew(demo, modules, 1000.0 * least.fails, 2) > 0.0


def test_no_smaller_store_of_the_grid_passes_and_larger_ones_may_fail(demo: Bench) -> None:
    """Every store of the grid, read and assembled by itself: the first that passes is that of the search.

    Those that fail above it, and no others, lie in the stretches named. A cap of 26 h is for the test: some
    of the larger stores meet it and some do not.
    """
    raw = [*ALONE, "plant.heat_pump.modules=1", "plant.heat_pump.capacity='30 kW'"]
    bench = make_bench(read_scenario(DEMO, raw).scenario, demo.weather)
    bench = with_criterion(bench, "short-litres", "run-hours", max_run_hours=26.0 * 3600.0)
    least = least_store(bench, 1, 1.0, beyond=True)
    held = []
    for volume in (GRID * bench.day_litres / 1000.0).tolist():
        written = read_scenario(DEMO, [*raw, f"plant.storage.volume='{volume!r} m3'"]).scenario
        found = judge(bench.design, assemble(written, demo.weather).plant)
        held.append((volume, found.short_litres < 1e-6 and found.run_hours <= 26.0))
    first = next(volume for volume, passes in held if passes)
    assert least.fails < least.volume <= first
    for volume, passes in held:
        named = any(low <= volume <= high for low, high, _ in least.again)
        assert passes == (volume >= first and not named)
    assert {stretch.criteria for stretch in least.again} == {("run-hours",)}


def test_tanks_in_series_are_marched_as_such(demo: Bench) -> None:
    """Three tanks in series, asked of a bench of two: equal to a plant read and assembled by itself."""
    raw = [*ALONE, "plant.storage.arrangement=series", "plant.storage.volume='2 m3'"]
    bench = make_bench(read_scenario(DEMO, raw).scenario, demo.weather)
    alone = assemble(read_scenario(DEMO, [*raw, "plant.storage.tanks=3"]).scenario, demo.weather)
    assert alone.plant.column.tanks == 3 != bench.assembly.plant.column.tanks
    expected = judge(bench.design, alone.plant._replace(modules=1))
    found = judge(bench.design, plant_of(bench, 1, 1.0, 2.0, 3))
    assert found.taps_kwh == pytest.approx(expected.taps_kwh, rel=1e-12)
    assert found.short_litres == pytest.approx(expected.short_litres, rel=1e-9)
    assert found.short_litres > 0.0


@pytest.mark.slow
def test_the_chosen_plant_is_on_the_edge(demo: Bench) -> None:
    """One step smaller in storage fails, and fewer modules with the same store fail or are not to be had."""
    record: Any = size(Loaded(demo.scenario, DEMO, "0" * 64, ALONE))
    chosen = record["chosen"]
    assert written_anew(demo, chosen["modules"], chosen["storage_litres"], chosen["tanks"]) == 0.0
    less = chosen["one_step_less_storage"]
    assert less["storage_litres"] < chosen["smallest_storage_litres"] <= chosen["storage_litres"]
    short = written_anew(demo, less["modules"], less["storage_litres"], less["tanks"])
    assert short == pytest.approx(less["short_litres"], rel=1e-9)
    assert short > 0.0
    assert not less["passes"]
    assert chosen["year"]["passes"]
    assert chosen["year"]["short_litres"] == 0.0
    failing = chosen["next_smaller_that_fails"]
    assert failing["storage_litres"] == less["storage_litres"]
    larger = chosen["larger_stores"]
    alone = [
        written_anew(demo, chosen["modules"], chosen["storage_litres"] * (1.0 + 0.025 * k), chosen["tanks"])
        for k in range(1, 11)
    ]
    assert larger["failing"] == sum(short > 0.0 for short in alone)
    fewer = chosen["one_step_less_capacity"]
    assert fewer is None or not fewer["passes"] or fewer["cost"] > chosen["cost"]


@pytest.mark.slow
def test_the_cheapest_by_exhaustive_search(demo: Bench, tmp_path: Path) -> None:
    """Every pair of a small list judged by itself: the cheapest, or lightest, is chosen."""
    modules, tanks = tmp_path / "modules.csv", tmp_path / "tanks.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n15,9000,300,1000\n24,20000,380,1700\n")
    tanks.write_text(
        "litres,cost,weight_kg,carbon_kg\n700,4000,900,500\n1500,6200,1800,930\n3500,13000,4000,2000\n"
    )
    more = {"modules": modules, "tanks": tanks, "max_modules": 3, "max_tanks": 2}
    for by, key in (("cost", "cost"), ("weight", "weight_kg")):
        bench = demo._replace(sizing=demo.sizing.model_copy(update={**more, "by": by}))
        market = Market(bench)
        passing = []
        for machine in market.machines:
            for store in market.stores:
                choice = market.choice(machine, store)
                factor = choice.module.size / 24000.0
                plant = plant_of(bench, choice.modules, factor, choice.volume, choice.tanks)
                if judge(bench.design, plant).short_litres == 0.0:
                    passing.append(choice)
        assert 0 < len(passing) < len(market.machines) * len(market.stores)
        best = min(passing, key=lambda choice: choice.total[key])
        assert next(Market(bench).passing()).total[key] == best.total[key]


def test_scaling_the_map_is_writing_another_capacity(demo: Bench) -> None:
    """1.5 times the map of 24 kW is the machine of 36 kW, made from its rating: 0.1 % in heat."""
    scaled = judge(demo.design, plant_of(demo, 1, 1.5, 2.0, 1))
    scenario = read_scenario(
        DEMO,
        [
            *ALONE,
            "plant.heat_pump.modules=1",
            "plant.heat_pump.capacity='36 kW'",
            "plant.storage.volume='2 m3'",
            "plant.storage.tanks=1",
        ],
    ).scenario
    made = judge(demo.design, assemble(scenario, demo.weather).plant)
    assert scaled.taps_kwh == pytest.approx(made.taps_kwh, rel=1e-3)
    assert scaled.short_litres == pytest.approx(made.short_litres, rel=0.01, abs=1.0)


# -- the command ---------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.contract
def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`--json` is the record and nothing else; the files hold the same and a picture of the curve."""
    words = [word for pair in (*ALONE, *ONE) for word in ("--set", pair)]
    assert cli.main(["size", str(DEMO), *words, "--json", "--out", str(tmp_path), "--seeds", "1"]) == 0
    said = capsys.readouterr()
    record = json.loads(said.out)
    assert said.err == ""
    assert json.loads((tmp_path / "sizing.json").read_text()) == record
    assert (tmp_path / "sizing.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["sizing.json", "sizing.png"]
    assert record["seeds"]["years"] == 1
    assert {item["key"] for item in record["assumptions"]} >= {"sizing.criterion", "sizing.days"}
    parts = record["chosen"]["explained"]
    total = sum(parts[key] for key, _ in PARTS)
    assert parts["mass_curve_litres"] + total == pytest.approx(parts["storage_litres"], rel=1e-9)


@pytest.mark.law
@pytest.mark.long
def test_run_a_then_b_then_a() -> None:
    """Nothing is remembered between sizings: equal records."""
    two = (*ALONE, "sizing.seeds=2", "sizing.min_probability=0.6")
    loaded = read_scenario(DEMO, two)
    first = size(loaded)
    size(read_scenario(DEMO, [*two, "hot_water.seed=2"]))
    assert size(loaded) == first


IN_ONE = [word for pair in ONE for word in ("--set", pair)]


@pytest.mark.contract
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--set", "sizing.criterion=n-2"], ["sizing.criterion", "n-1", "backup-share"]),
        (["--set", "sizing.max_run_hours='30 h'"], ["sizing.max_run_hours", "86400 s"]),
        (["--set", "sizing.tanks=none.csv"], ["sizing.tanks", "none.csv"]),
        (
            ["--set", "sizing.max_run_hours='18 h'"],
            ["sizing.max_run_hours", "sizing.criterion holds run-hours"],
        ),
        (
            ["--set", "sizing.max_backup_share=0.1"],
            ["sizing.max_backup_share", "sizing.criterion holds backup-share"],
        ),
        (["--set", "sizing.seeds=10"], ["sizing.seeds", "got 10", "at least 19"]),
        (["--set", "sizing.seeds=0"], ["sizing.seeds", "got 0"]),
        (["--set", "sizing.min_probability=0.99"], ["sizing.min_probability", "got 0.99", "at most 0.9524"]),
        (["--set", "sizing.min_probability=1"], ["sizing.min_probability", "got 1"]),
        (["--seeds", "0"], ["--seeds", "1 to 10000"]),
        (
            [*IN_ONE, "--set", "plant.controls.lock_out_below='45 degC'", "--set", "plant.backup=null"],
            ["cannot run at all", "no backup"],
        ),
    ],
)
def test_wrong_input(capsys: pytest.CaptureFixture[str], words: list[str], said: list[str]) -> None:
    code = cli.main(["size", str(DEMO), *words])
    err = capsys.readouterr().err
    assert code == 2
    assert err.count("\n") == 1
    for word in said:
        assert word in err


@pytest.mark.contract
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("litres,cost\n300,1\n", "columns"),
        ("litres,cost,weight_kg,carbon_kg\n0,1,1,1\n", "above 0"),
        ("litres,cost,weight_kg,carbon_kg\n300,-1,1,1\n", "0 or more"),
        ("litres,cost,weight_kg,carbon_kg\n", "no row"),
    ],
)
def test_wrong_steps(demo: Bench, tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "tanks.csv"
    path.write_text(text)
    bench = demo._replace(sizing=demo.sizing.model_copy(update={"tanks": path}))
    with pytest.raises(InputError, match=said):
        Market(bench)


@pytest.mark.contract
def test_a_table_has_no_other_sizes(tmp_path: Path) -> None:
    raw = central_air(tmp_path)
    modules = tmp_path / "modules.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n30,1,1,1\n")
    raw["sizing"] = {"modules": str(modules)}
    bench = make_bench(scenario_from(raw, tmp_path), read_weather(CHICAGO))
    with pytest.raises(InputError, match="own heat pump alone, of 60 kW"):
        Market(bench)


@pytest.mark.contract
def test_heaters_are_not_sized(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    raw = yaml.safe_load((ROOT / "scenarios" / "resistance.yaml").read_text())
    raw["site"]["weather"] = str(CHICAGO)
    path.write_text(yaml.safe_dump(raw))
    with pytest.raises(InputError, match="heat pump"):
        size(read_scenario(path))
