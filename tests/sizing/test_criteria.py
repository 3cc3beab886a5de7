"""Criteria of sizing against whole years and by hand; chances of a short day against scipy and whole runs."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sizing_cases
from cases import CHICAGO
from sizing_cases import ALONE, DEMO, LOAD, ONE, steady, with_criterion

from hpwhsim.cli import main as cli
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year
from hpwhsim.sizing.design_days import judge
from hpwhsim.sizing.least_store import NEAR, least_store
from hpwhsim.sizing.reliability import chances, of_days, wilson
from hpwhsim.sizing.report import sizing_figure, sizing_text
from hpwhsim.sizing.size import size
from hpwhsim.sizing.trials import Bench, make_bench, plant_of, try_plant
from hpwhsim.storage.layers import RHO_CP

pytestmark = [pytest.mark.independent, pytest.mark.year]
# pytest finds a fixture by its name in the module
demo = sizing_cases.demo

# -- criteria ------------------------------------------------------------------------------------------


@pytest.mark.law
def test_hot_water_is_part_of_every_criterion(demo: Bench) -> None:
    """A plant that runs short meets no criterion: under run-hours alone the least store would be nothing."""
    written = read_scenario(
        DEMO, [*ALONE, "sizing.criterion=[run-hours, n-1]", "sizing.max_run_hours='21 h'"]
    )
    assert written.scenario.sizing is not None
    assert written.scenario.sizing.criterion == ("short-litres", "run-hours", "n-1")
    bench = demo._replace(sizing=written.scenario.sizing)
    least = least_store(bench, 2, 1.5)
    assert judge(demo.design, plant_of(bench, 2, 1.5, least.volume)).short_litres < 1e-6
    small = try_plant(bench, plant_of(bench, 2, 1.5, 0.1))
    assert small.whole.run_hours < 21.0
    assert small.failed == ("short-litres",)


@pytest.mark.slow
def test_a_machine_that_the_cold_bars_leaves_the_backup() -> None:
    """No curve, and the choice is the cheapest: by the tables, one module and the least tank that serves.

    Smooth draws: 10 min of the largest flow by hand: the day's peak hour over 6, from mains to 65 °C.
    """
    overrides = ["plant.controls.lock_out_below='45 degC'", "hot_water.draws=smooth"]
    record: Any = size(read_scenario(DEMO, overrides))
    assert record["curve"] == []
    chosen = record["chosen"]
    assert chosen["modules"] == 1
    assert chosen["design_days"]["backup_share"] == 1.0
    assert chosen["design_days"]["most_run_hours_in_a_day"] is None
    cautions = " ".join(record["cautions"])
    assert "the heat pump cannot run on the design days" in cautions
    text = sizing_text(record)
    assert "No curve: the heat pump cannot run" in text
    assert sizing_figure(record).startswith(b"\x89PNG")
    bench = make_bench(read_scenario(DEMO, overrides).scenario, read_weather(CHICAGO))
    hourly = bench.design.drive.use.reshape(24 * bench.design.days.size, -1).sum(axis=1)
    mains, outlet = bench.design.drive.mains, bench.scenario.outlet_temperature
    hot = 1000.0 * hourly * (bench.scenario.hot_water.use_temperature - mains) / (outlet - mains)
    assert f"here {hot.max() / 6.0:,.0f} to {hot.max() / 2.0:,.0f} L" in cautions


@pytest.mark.law
def test_n_minus_1_asks_for_more(demo: Bench) -> None:
    """Two modules: with one out there must still be enough, so the store is never smaller."""
    either = with_criterion(demo, "short-litres", "n-1")
    factor = 1.0
    volume, fails, *_ = least_store(either, 2, factor)
    assert volume > least_store(demo, 2, factor).volume * (1.0 + NEAR)
    plant = plant_of(either, 2, factor, volume)
    assert judge(demo.design, plant._replace(modules=1)).short_litres == 0.0
    smaller = plant_of(either, 2, factor, fails)
    assert judge(demo.design, smaller._replace(modules=1)).short_litres > 0.0


@pytest.mark.slow
def test_one_module_out_of_one_leaves_the_backup(tmp_path: Path) -> None:
    """n-1 of a single module over the whole year, against the same plant barred all year by its lock-out."""
    modules, tanks = tmp_path / "modules.csv", tmp_path / "tanks.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n36,1,1,1\n")
    tanks.write_text("litres,cost,weight_kg,carbon_kg\n4000,1,1,1\n")
    plant = ["plant.heat_pump.modules=1", "plant.heat_pump.capacity='36 kW'", "plant.storage.volume='4 m3'"]
    plant += ["plant.storage.tanks=1", "plant.backup.power='60 kW'"]
    steps = [
        f"sizing.modules={modules}",
        f"sizing.tanks={tanks}",
        "sizing.max_modules=1",
        "sizing.max_tanks=1",
    ]
    more = ["sizing.max_tanks=1", "sizing.criterion=[short-litres, n-1]", "sizing.max_unmet_volume='300 L'"]
    record: Any = size(read_scenario(DEMO, [*plant, *steps, *more, *ONE]))
    barred = run_year(read_scenario(DEMO, [*plant, "plant.controls.lock_out_below='45 degC'"]))
    [tried] = record["years_tried"]
    assert tried["one_out_short_litres"] == pytest.approx(barred.hourly["short_litres"].sum(), abs=1e-6)
    assert barred.hourly["heat_pump_heat_kwh"].sum() == 0.0
    assert tried["passes"] == (tried["one_out_short_litres"] <= 300.0)
    assert any("one out of one leaves the backup alone" in said for said in record["cautions"])


@pytest.mark.law
def test_run_hours_cap_the_capacity(tmp_path: Path) -> None:
    """A cap of 16 h: heat of the day over capacity decides, to 1 %, and storage does not help."""
    bench = with_criterion(steady(tmp_path), "run-hours", max_run_hours=16.0 * 3600.0)
    kw = 20 * 0.150 * RHO_CP * 39.0 / 3.6e6 / 16.0
    assert np.isinf(least_store(bench, 1, 0.99 * kw / 60.0).volume)
    assert least_store(bench, 1, 1.01 * kw / 60.0).volume < 0.1 * bench.day_litres


@pytest.mark.law
def test_backup_share(demo: Bench) -> None:
    """With resistance in the plant: no short water, but only a bigger machine keeps the backup out."""
    scenario = read_scenario(DEMO, ["plant.heat_pump.min_source='-25 degC'", *LOAD]).scenario
    bench = make_bench(scenario, demo.weather)
    none = with_criterion(bench, "backup-share", max_backup_share=0.0)
    some = with_criterion(bench, "backup-share", max_backup_share=0.3)
    small = plant_of(bench, 1, 0.5, 2.0)
    assert not try_plant(none, small).passes
    assert least_store(some, 1, 0.8).volume < least_store(none, 1, 0.8).volume


@pytest.mark.slow
@pytest.mark.contract
@pytest.mark.parametrize(
    ("litres", "said"),
    [
        (500, "No plant of the steps passes the design days"),
        pytest.param(9500, "passes the whole year", marks=pytest.mark.long),
    ],
)
def test_no_plant_passes_is_exit_1(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, litres: int, said: str
) -> None:
    """12 kW at most: too little with small tanks; 38 m3, full at the start, last for the design days."""
    modules, tanks = tmp_path / "modules.csv", tmp_path / "tanks.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n2,1,1,1\n")
    tanks.write_text(f"litres,cost,weight_kg,carbon_kg\n{litres},1,1,1\n")
    steps = (f"sizing.modules={modules}", f"sizing.tanks={tanks}")
    words = [word for pair in (*ALONE, *ONE, *steps) for word in ("--set", pair)]
    assert cli.main(["size", str(DEMO), *words]) == 1
    printed = capsys.readouterr().out
    assert said in printed
    if litres == 500:
        assert "largest of both: 6 x 2 kW, 4 x 500 L fails short-litres" in printed
    else:
        assert "fails short-litres: unmet" in printed


# -- chances -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (3, 20), (20, 20), (499, 1000)])
def test_interval_is_wilsons(hits: int, trials: int) -> None:
    """scipy.stats.binomtest, method wilson, without continuity correction."""
    from scipy.stats import binomtest

    expected = binomtest(hits, trials).proportion_ci(0.95, method="wilson")
    assert wilson(hits, trials) == pytest.approx((expected.low, expected.high), abs=1e-6)


@pytest.mark.parametrize("events", [1, 4])
def test_interval_of_days_that_come_in_spells(events: int) -> None:
    """Years of Poisson events of short days, 12 years each: the true share lies inside 95 % of the time.

    400 samples: 4 standard errors of a 95 % interval are 4.4 points; a few more are given for the small
    number of years from which the spread is known. The days as if independent would miss it far more often.
    """
    rng = np.random.default_rng(11)
    true = 6.0 / 365.0
    inside = plain = 0
    for _ in range(400):
        hits = (events * rng.poisson(6.0 / events, 12)).tolist()
        low, high = of_days(hits, 365)
        inside += low <= true <= high
        low, high = wilson(sum(hits), 12 * 365)
        plain += low <= true <= high
    assert inside / 400.0 > 0.88
    assert events == 1 or plain / 400.0 < 0.75


def test_chances_are_counted_from_whole_runs(demo: Bench) -> None:
    """Short days of each seed against the hourly results of a run of that seed."""
    overrides = [*ALONE, "plant.heat_pump.modules=1", "plant.storage.volume='2500 L'"]
    scenario = read_scenario(DEMO, overrides).scenario
    found: Any = chances(scenario, demo.weather, [4, 5])
    days = []
    for seed in (4, 5):
        year = run_year(read_scenario(DEMO, [*overrides, f"hot_water.seed={seed}"]))
        days.append(sum(1 for day in year.hourly["short_litres"].reshape(365, 24) if max(day) > 0.0))
    assert list(found["short_days_by_seed"].values()) == days
    assert min(days) > 0
    assert found["chance_of_a_short_day_low"] < sum(days) / 730 < found["chance_of_a_short_day_high"]
    assert found["chance_of_a_short_day"] == pytest.approx(sum(days) / 730, rel=1e-12)
