"""Sizing against the classical mass curve, exhaustive search, whole plants written anew, and laws."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import CHICAGO, ROOT, central_air
from numpy.typing import NDArray

from hpwhsim import cli
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.heatpump.maps import look_up
from hpwhsim.plant.assemble import assemble
from hpwhsim.report.sizing import PARTS, sizing_figure, sizing_text
from hpwhsim.scenario.reading import Loaded, read_scenario, scenario_from
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.chances import chances, of_days, wilson
from hpwhsim.study.curve import classical, curve, point
from hpwhsim.study.design_days import judge, march_days
from hpwhsim.study.market import Market
from hpwhsim.study.size import most_run_hours, size
from hpwhsim.study.sizing import (
    GRID,
    NEAR,
    Bench,
    hot_litres,
    least_store,
    make_bench,
    plant_of,
    try_plant,
    with_tanks,
)
from hpwhsim.study.year import run_year

Array = NDArray[np.float64]

pytestmark = pytest.mark.year
DEMO = ROOT / "scenarios" / "central-air.yaml"
ALONE = ("plant.backup=null", "plant.heat_pump.lowest_source='-25 degC'")


def stated(references: Path) -> tuple[Array, list[dict[str, str]]]:
    """Hourly profile and table of mass_curve_tradeoff.csv."""
    lines = (references / "mass_curve_tradeoff.csv").read_text(encoding="utf-8").splitlines()
    comment = "".join(line for line in lines if line.startswith("#"))
    profile = np.array(json.loads(comment[comment.index("[") : comment.index("]") + 1]))
    return profile / profile.sum(), list(csv.DictReader(line for line in lines if not line.startswith("#")))


def steady(folder: Path, references: Path, *lock_outs: str) -> Bench:
    """The stated profile every day alike, cold water at 10 °C, constant capacity, no loop and no loss."""
    profile, _ = stated(references)
    pattern = folder / "stated.csv"
    rows = [f"{hour},{share!r},{share!r}" for hour, share in enumerate(profile.tolist())]
    pattern.write_text("\n".join(["hour,weekday,weekend", *rows]) + "\n")
    raw = central_air(folder)
    raw["hot_water"]["pattern"] = str(pattern)
    raw["plant"]["storage"]["heat_loss"] = "0 W/K"
    raw["plant"]["controls"] = {"lock_outs": list(lock_outs)}
    raw["sizing"] = {"peak_day": "none"}
    bench = make_bench(scenario_from(raw, folder), read_weather(CHICAGO))
    drive = bench.design.drive
    drive = drive._replace(mains=np.full_like(drive.mains, 10.0), source=np.full_like(drive.source, 5.0))
    bench = bench._replace(design=bench.design._replace(drive=drive))
    return bench._replace(day_litres=float(hot_litres(bench).sum()) / bench.design.days.size)


def at_hours(bench: Bench, hours: float, explain: bool) -> Any:
    """The point of the curve at which full output for `hours` hours makes the day."""
    c = classical(bench)
    capacity = 1000.0 * bench.day_litres / hours * c.kwh_per_litre
    return point(bench, c, 1, capacity / bench.assembly.made.capacity, explain)


# -- the classical answer ------------------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "share"), [(24, 0.194), (20, 0.128), (16, 0.087)])
def test_mass_curve_shares_of_the_stated_profile(
    tmp_path: Path, references: Path, hours: int, share: float
) -> None:
    """Least usable storage 0.194, 0.128 and 0.087 of the day: three digits of mass_curve_tradeoff.csv."""
    bench = steady(tmp_path, references)
    found = at_hours(bench, hours, False)
    assert round(found.classical / bench.day_litres, 3) == share
    assert found.cold == pytest.approx(found.classical, rel=1e-6)
    assert found.loaded == pytest.approx(found.classical, rel=1e-6)


def test_a_lock_out_needs_the_barred_draw(tmp_path: Path, references: Path) -> None:
    """16:00 to 21:00 barred: the draw of the hours 16 to 20, 0.283 of the day, at 16 h and at 8 h alike."""
    bench = steady(tmp_path, references, "16:00-21:00")
    profile, _ = stated(references)
    barred = float(profile[16:21].sum())
    assert round(barred, 3) == 0.283
    for hours in (16.0, 8.0):
        assert at_hours(bench, hours, False).classical / bench.day_litres == pytest.approx(barred, rel=1e-6)


@pytest.mark.parametrize("hours", [22.0, 20.0, 18.0, 16.0])
def test_an_ideal_store_is_the_mass_curve(tmp_path: Path, references: Path, hours: float) -> None:
    """The engine with nothing mixing and all of the store heated, against the mass curve: within 2.5 %.

    What is left: the bisection (0.5 %), the top cell of 48 that blends as it empties (the front may be
    1/48 of the store wide), and water between 43 and 60 °C that still serves.
    """
    bench = steady(tmp_path, references)
    found = at_hours(bench, hours, True)
    assert found.sharp == pytest.approx(found.classical, rel=0.025)


def test_an_ideal_store_holds_the_barred_draw(tmp_path: Path, references: Path) -> None:
    """The same with 16:00 to 21:00 barred: the draw of those hours."""
    bench = steady(tmp_path, references, "16:00-21:00")
    profile, _ = stated(references)
    found = at_hours(bench, 14.0, True)
    assert found.sharp / bench.day_litres == pytest.approx(float(profile[16:21].sum()), rel=0.025)


def test_a_real_store_is_larger_for_reasons_that_add_up(tmp_path: Path, references: Path) -> None:
    """Thermocline and sensors only add: mass curve < heated < as it is; each by more than the bisection."""
    bench = steady(tmp_path, references)
    found = at_hours(bench, 16.0, True)
    assert found.classical < found.heated * (1.0 + NEAR)
    assert found.heated < found.storage * (1.0 - 2.0 * NEAR)


def test_an_ideal_store_falls_with_capacity(tmp_path: Path, references: Path) -> None:
    """The mass curve is convex and falls with recovery; the ideal store of the engine falls with it."""
    bench = steady(tmp_path, references)
    found = [at_hours(bench, hours, True).sharp for hours in (22.0, 18.0, 14.0, 12.0)]
    assert found == sorted(found, reverse=True)


def test_run_hours_are_heat_over_output(tmp_path: Path, references: Path) -> None:
    """Run hours of a day = heat of the day over output: no loss and constant capacity, so 0.1 %."""
    bench = steady(tmp_path, references)
    factor = 0.2
    found = judge(bench.design, plant_of(bench, 1, factor, 3.0))
    kwh = 20 * 0.150 * RHO_CP * 39.0 / 3.6e6  # 20 homes, 150 L from 10 to 49 °C
    assert found.taps_kwh == pytest.approx(kwh, rel=1e-3)
    assert found.run_hours == pytest.approx(kwh / (60.0 * factor), rel=1e-3)


def test_the_curve_counts_hours_of_the_largest_day(demo: Bench) -> None:
    """Capacity x hours x the machine's share in the air of the day is the heat of the largest day, by hand.

    1e-9: sums in another order. The first capacity takes all hours that the bar of 17:00 to 20:00 leaves.
    """
    c, points = classical(demo), curve(demo, (16.0,))
    days = c.loaded.size // 24 // c.steps_per_hour
    by_day = zip(
        *(values.reshape(days, -1) for values in (c.loaded, c.cold)), c.rated.reshape(days, -1), strict=True
    )
    largest = max(loaded.sum() * c.kwh_per_litre / cold[rated > 0].mean() for loaded, cold, rated in by_day)
    assert [p.run_hours for p in points] == pytest.approx([21.0, 16.0], rel=1e-9)
    for p in points:
        assert p.capacity / 1000.0 * p.run_hours == pytest.approx(largest, rel=1e-9)


def test_run_hours_are_heat_over_output_in_the_air_of_the_day() -> None:
    """Without a loop the machine gets cold water, so its map at mains temperature is the output, by hand.

    The real hours are never fewer, because the foot of the store is never colder than the mains; with 2 m³
    they are within 5 % (the thermocline), with 6 m³ within 15 %. Air differs by 13 K between the days.
    """
    scenario = read_scenario(DEMO, [*ALONE, "recirculation=null"]).scenario
    bench = make_bench(scenario, read_weather(scenario.site.weather))
    design, machine = bench.design, bench.assembly.plant.machine
    drive = design.drive
    output = np.array(
        [
            look_up(machine, float(air), float(mains), 65.0)[0] * frost
            for air, mains, frost in zip(drive.source, drive.mains, drive.frost_capacity, strict=True)
        ]
    ).reshape(-1, 24)
    output = np.delete(output, [17, 18, 19], axis=1).mean(axis=1)  # W of a module, in the hours not barred
    for cubic_metres, over in ((2.0, 1.05), (6.0, 1.15)):
        plant = plant_of(bench, 2, 1.0, cubic_metres)
        out = march_days(design, plant)
        heat = (out.taps_heat + out.storage_loss).reshape(-1, 24).sum(axis=1) / 3600.0  # Wh
        by_hand = float((heat / (2.0 * output))[design.judged.start // 24 :].max())
        assert by_hand <= judge(design, plant).run_hours <= over * by_hand


# -- a loop tank with a heater of its own ------------------------------------------------------------


def looped(*overrides: str) -> Bench:
    """A scenario with a loop tank on its design days; no backup."""
    scenario = read_scenario(ROOT / "scenarios" / "loop-tank.yaml", [*ALONE, *overrides]).scenario
    return make_bench(scenario, read_weather(scenario.site.weather))


def loop_of_the_mass_curve(bench: Bench) -> float:
    """Loop and store's loss in the mass curve. [kWh/day]"""
    c = classical(bench)
    return float((c.loaded - c.litres).sum()) * c.kwh_per_litre / bench.design.days.size


def test_heat_of_a_loop_tank_is_no_load_of_the_plant() -> None:
    """Parallel: as without a loop, to 1 % in run hours and 0.5 kWh a day in the mass curve.

    What is left is the loop tank's own heat: 454 L within its dead band of 3 K hold 1.6 kWh, over 7 days.
    With the loop returned into the store the plant has its whole loss more, 32 x 60 W: 46.08 kWh a day.
    """
    parallel = looped("recirculation.loop_tank.connection=parallel")
    without = looped("recirculation=null")
    returned = looped("recirculation.served_by=store", "recirculation.loop_tank=null")
    hours = [judge(b.design, b.assembly.plant).run_hours for b in (parallel, without, returned)]
    assert hours[0] == pytest.approx(hours[1], rel=0.01)
    assert hours[2] > 1.2 * hours[1]
    loads = [loop_of_the_mass_curve(b) for b in (parallel, without, returned)]
    assert loads[0] == pytest.approx(loads[1], abs=0.5)
    assert loads[2] - loads[1] == pytest.approx(46.08, abs=0.5)  # the store's loss is a little another


def test_a_loop_tank_takes_no_run_hours_of_the_year() -> None:
    """Parallel: the year's most run hours are those of the plant without a loop, to 1 % (its own 1.6 kWh).

    With the loop returned into the store they are more by the loop's share: over a tenth.
    """
    parallel, without, returned = (
        most_run_hours(
            run_year(read_scenario(ROOT / "scenarios" / "loop-tank.yaml", [*ALONE, *overrides])).hourly, 2
        )
        for overrides in (
            ["recirculation.loop_tank.connection=parallel"],
            ["recirculation=null"],
            ["recirculation.served_by=store", "recirculation.loop_tank=null"],
        )
    )
    assert parallel == pytest.approx(without, rel=0.01)
    assert returned > 1.1 * without


def test_a_loop_tank_in_series_takes_part_of_its_heat_from_the_store() -> None:
    """The heat balance of the days: what the machine gave, less what the store gained, is the load judged.

    That load lies between that of the plant without a loop and that with the loop returned into the store.
    """
    series = looped()
    found = judge(series.design, series.assembly.plant)
    out = march_days(series.design, series.assembly.plant)
    column, tank = series.assembly.plant.column, series.assembly.plant.loop_tank
    gained = RHO_CP * column.cell_volume * float((out.profile - series.design.start).sum())
    gained += RHO_CP * tank.volume * (float(out.loop_tank_end[-1]) - tank.setpoint)
    load = (found.taps_kwh + found.loop_kwh + found.loss_kwh) * series.design.days.size
    assert load == pytest.approx((float(out.heat_pump_heat.sum()) - gained) / 3.6e6, rel=1e-9)
    assert 0.0 < found.loop_kwh < 46.0
    assert 5.0 < loop_of_the_mass_curve(series) < 52.0


# -- on the edge ---------------------------------------------------------------------------------------


def written_anew(bench: Bench, modules: int, litres: float, tanks: int = 1) -> float:
    """Short litres on the design days of a plant read and assembled from a scenario of its own."""
    overrides = [*ALONE, f"plant.heat_pump.modules={modules}", f"plant.storage.volume='{litres!r} L'"]
    scenario = read_scenario(DEMO, [*overrides, f"plant.storage.tanks={tanks}"]).scenario
    return judge(bench.design, assemble(scenario, bench.weather).plant).short_litres


@pytest.fixture(scope="module")
def demo() -> Bench:
    scenario = read_scenario(DEMO, ALONE).scenario
    return make_bench(scenario, read_weather(scenario.site.weather))


@pytest.mark.parametrize("modules", [1, 2])
def test_least_volume_is_on_the_edge(demo: Bench, modules: int) -> None:
    """What bisection gives passes, and the next smaller, within its tolerance, fails: plants written anew."""
    least = least_store(demo, modules, 1.0)
    assert least.volume * (1.0 - NEAR) <= least.fails < least.volume
    assert written_anew(demo, modules, 1000.0 * least.volume, 2) == 0.0
    assert written_anew(demo, modules, 1000.0 * least.fails, 2) > 0.0


def test_no_smaller_store_of_the_grid_passes_and_larger_ones_may_fail(demo: Bench) -> None:
    """Every store of the grid, read and assembled by itself: the first that passes is that of the search.

    Those that fail above it, and no others, lie in the stretches named. A cap of 30 h is for the test: some
    of the larger stores meet it and some do not.
    """
    raw = [*ALONE, "plant.heat_pump.modules=1", "plant.heat_pump.capacity='30 kW'"]
    bench = make_bench(read_scenario(DEMO, raw).scenario, demo.weather)
    bench = with_criterion(bench, "short-litres", "run-hours", run_hours=30.0 * 3600.0)
    least = least_store(bench, 1, 1.0, beyond=True)
    held = []
    for volume in (GRID * bench.day_litres / 1000.0).tolist():
        written = read_scenario(DEMO, [*raw, f"plant.storage.volume='{volume!r} m3'"]).scenario
        found = judge(bench.design, assemble(written, demo.weather).plant)
        held.append((volume, found.short_litres < 1e-6 and found.run_hours <= 30.0))
    first = next(volume for volume, passes in held if passes)
    assert least.fails < least.volume <= first
    for volume, passes in held:
        named = any(low <= volume <= high for low, high, _ in least.again)
        assert passes == (volume >= first and not named)
    assert [stretch.criteria for stretch in least.again] == [("run-hours",)] * 2


def test_tanks_in_series_are_marched_as_such(demo: Bench) -> None:
    """Three tanks in series, asked of a bench of two: equal to a plant read and assembled by itself."""
    raw = [
        *ALONE,
        "plant.storage.arrangement=series",
        "plant.storage.cells=40",
        "plant.storage.volume='2 m3'",
    ]
    bench = make_bench(read_scenario(DEMO, raw).scenario, demo.weather)
    alone = assemble(read_scenario(DEMO, [*raw, "plant.storage.tanks=3"]).scenario, demo.weather)
    assert alone.start.size == 39 != bench.assembly.start.size
    expected = judge(
        bench.design._replace(start=alone.start, series=alone.series), alone.plant._replace(modules=1)
    )
    found = judge(with_tanks(bench, 1, 3).design, plant_of(bench, 1, 1.0, 2.0, 3))
    assert found.taps_kwh == pytest.approx(expected.taps_kwh, rel=1e-12)
    assert found.short_litres == pytest.approx(expected.short_litres, rel=1e-9)
    assert found.short_litres > 0.0


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


def test_the_cheapest_by_exhaustive_search(demo: Bench, tmp_path: Path) -> None:
    """Every pair of a small list judged by itself: the cheapest, or lightest, is chosen."""
    modules, tanks = tmp_path / "modules.csv", tmp_path / "tanks.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n15,9000,300,1000\n24,20000,380,1700\n")
    tanks.write_text(
        "litres,cost,weight_kg,carbon_kg\n700,4000,900,500\n1500,6200,1800,930\n3500,13000,4000,2000\n"
    )
    more = {"modules": modules, "tanks": tanks, "most_modules": 3, "most_tanks": 2}
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


# -- criteria ------------------------------------------------------------------------------------------


def with_criterion(bench: Bench, *criterion: str, **more: Any) -> Bench:
    return bench._replace(sizing=bench.sizing.model_copy(update={"criterion": criterion, **more}))


def test_hot_water_is_part_of_every_criterion(demo: Bench) -> None:
    """A plant that runs short meets no criterion: under run-hours alone the least store would be nothing."""
    written = read_scenario(DEMO, [*ALONE, "sizing.criterion=[run-hours, n-1]", "sizing.run_hours='21 h'"])
    assert written.scenario.sizing is not None
    assert written.scenario.sizing.criterion == ("short-litres", "run-hours", "n-1")
    bench = demo._replace(sizing=written.scenario.sizing)
    least = least_store(bench, 2, 1.5)
    assert judge(demo.design, plant_of(bench, 2, 1.5, least.volume)).short_litres < 1e-6
    small = try_plant(bench, plant_of(bench, 2, 1.5, 0.1))
    assert small.whole.run_hours < 21.0
    assert small.failed == ("short-litres",)


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
    assert "the machine cannot run on the design days" in cautions
    text = sizing_text(record)
    assert "No curve: the machine cannot run" in text
    assert sizing_figure(record).startswith(b"\x89PNG")
    bench = make_bench(read_scenario(DEMO, overrides).scenario, read_weather(CHICAGO))
    hourly = bench.design.drive.use.reshape(24 * bench.design.days.size, -1).sum(axis=1)
    mains, outlet = bench.design.drive.mains, bench.scenario.plant.outlet_temperature
    hot = 1000.0 * hourly * (bench.scenario.hot_water.use_temperature - mains) / (outlet - mains)
    assert f"here {hot.max() / 6.0:,.0f} to {hot.max() / 2.0:,.0f} L" in cautions


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
        "sizing.most_modules=1",
        "sizing.most_tanks=1",
    ]
    more = ["sizing.most_tanks=1", "sizing.criterion=[short-litres, n-1]", "sizing.short_volume='300 L'"]
    record: Any = size(read_scenario(DEMO, [*plant, *steps, *more]))
    barred = run_year(read_scenario(DEMO, [*plant, "plant.controls.lock_out_below='45 degC'"]))
    [tried] = record["years_tried"]
    assert tried["one_out_short_litres"] == pytest.approx(barred.hourly["short_litres"].sum(), abs=1e-6)
    assert barred.hourly["heat_pump_heat_kwh"].sum() == 0.0
    assert tried["passes"] == (tried["one_out_short_litres"] <= 300.0)
    assert any("one out of one leaves the backup alone" in said for said in record["cautions"])


def test_run_hours_cap_the_capacity(tmp_path: Path, references: Path) -> None:
    """A cap of 16 h: heat of the day over capacity decides, to 1 %, and storage does not help."""
    bench = with_criterion(steady(tmp_path, references), "run-hours", run_hours=16.0 * 3600.0)
    kw = 20 * 0.150 * RHO_CP * 39.0 / 3.6e6 / 16.0
    assert np.isinf(least_store(bench, 1, 0.99 * kw / 60.0).volume)
    assert least_store(bench, 1, 1.01 * kw / 60.0).volume < 0.1 * bench.day_litres


def test_backup_share(demo: Bench) -> None:
    """With resistance in the plant: no short water, but only a bigger machine keeps the backup out."""
    scenario = read_scenario(DEMO, ["plant.heat_pump.lowest_source='-25 degC'"]).scenario
    bench = make_bench(scenario, demo.weather)
    none = with_criterion(bench, "backup-share", backup_share=0.0)
    some = with_criterion(bench, "backup-share", backup_share=0.3)
    small = plant_of(bench, 1, 0.5, 2.0)
    assert not try_plant(none, small).passes
    assert least_store(some, 1, 0.8).volume < least_store(none, 1, 0.8).volume


@pytest.mark.parametrize(
    ("litres", "said"),
    [(500, "No plant of the steps passes the design days"), (9500, "passes the whole year")],
)
def test_no_plant_passes_is_exit_1(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, litres: int, said: str
) -> None:
    """12 kW at most: too little with small tanks; 38 m3, full at the start, last for the design days."""
    modules, tanks = tmp_path / "modules.csv", tmp_path / "tanks.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n2,1,1,1\n")
    tanks.write_text(f"litres,cost,weight_kg,carbon_kg\n{litres},1,1,1\n")
    steps = (f"sizing.modules={modules}", f"sizing.tanks={tanks}")
    words = [word for pair in (*ALONE, *steps) for word in ("--set", pair)]
    assert cli.main(["size", str(DEMO), *words]) == 1
    printed = capsys.readouterr().out
    assert said in printed
    if litres == 500:
        assert "largest of both: 6 x 2 kW, 4 x 500 L fails short-litres" in printed
    else:
        assert "fails short-litres: short" in printed


# -- chances -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (3, 20), (20, 20), (499, 1000)])
def test_interval_is_wilsons(hits: int, trials: int) -> None:
    """scipy.stats.binomtest, method wilson, without continuity correction."""
    from scipy.stats import binomtest

    expected = binomtest(hits, trials).proportion_ci(0.95, method="wilson")
    assert wilson(hits, trials) == pytest.approx((expected.low, expected.high), abs=1e-6)


@pytest.mark.parametrize("spells", [1, 4])
def test_interval_of_days_that_come_in_spells(spells: int) -> None:
    """Years of Poisson spells of short days, 12 years each: the true share lies inside 95 % of the time.

    400 samples: 4 standard errors of a 95 % interval are 4.4 points; a few more are given for the small
    number of years from which the spread is known. The days as if independent would miss it far more often.
    """
    rng = np.random.default_rng(11)
    true = 6.0 / 365.0
    inside = plain = 0
    for _ in range(400):
        hits = (spells * rng.poisson(6.0 / spells, 12)).tolist()
        low, high = of_days(hits, 365)
        inside += low <= true <= high
        low, high = wilson(sum(hits), 12 * 365)
        plain += low <= true <= high
    assert inside / 400.0 > 0.88
    assert spells == 1 or plain / 400.0 < 0.75


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


# -- the command ---------------------------------------------------------------------------------------


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`--json` is the record and nothing else; the files hold the same and a picture of the curve."""
    words = [word for pair in ALONE for word in ("--set", pair)]
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


def test_run_a_then_b_then_a() -> None:
    """Nothing is remembered between sizings: equal records."""
    loaded = read_scenario(DEMO, ALONE)
    first = size(loaded)
    size(read_scenario(DEMO, [*ALONE, "hot_water.seed=2"]))
    assert size(loaded) == first


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--set", "sizing.criterion=n-2"], ["sizing.criterion", "n-1", "backup-share"]),
        (["--set", "sizing.run_hours='30 h'"], ["sizing.run_hours", "86400 s"]),
        (["--set", "sizing.tanks=none.csv"], ["sizing.tanks", "none.csv"]),
        (["--set", "sizing.run_hours='18 h'"], ["sizing.run_hours", "sizing.criterion holds run-hours"]),
        (
            ["--set", "sizing.backup_share=0.1"],
            ["sizing.backup_share", "sizing.criterion holds backup-share"],
        ),
        (["--seeds", "0"], ["--seeds", "1 to 10000"]),
        (
            ["--set", "plant.controls.lock_out_below='45 degC'", "--set", "plant.backup=null"],
            ["cannot run at all", "no backup"],
        ),
    ],
)
def test_wrong_input(capsys: pytest.CaptureFixture[str], words: list[str], said: list[str]) -> None:
    try:
        code = cli.main(["size", str(DEMO), *words])
    except SystemExit as stop:
        code = int(stop.code or 0)
    err = capsys.readouterr().err
    assert code == 2
    assert err.count("\n") == 1
    for word in said:
        assert word in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("litres,cost\n300,1\n", "columns"),
        ("litres,cost,weight_kg,carbon_kg\n0,1,1,1\n", "above zero"),
        ("litres,cost,weight_kg,carbon_kg\n300,-1,1,1\n", "zero or more"),
        ("litres,cost,weight_kg,carbon_kg\n", "no row"),
    ],
)
def test_wrong_steps(demo: Bench, tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "tanks.csv"
    path.write_text(text)
    bench = demo._replace(sizing=demo.sizing.model_copy(update={"tanks": path}))
    with pytest.raises(InputError, match=said):
        Market(bench)


def test_a_table_has_no_other_sizes(tmp_path: Path) -> None:
    raw = central_air(tmp_path)
    modules = tmp_path / "modules.csv"
    modules.write_text("capacity_kw,cost,weight_kg,carbon_kg\n30,1,1,1\n")
    raw["sizing"] = {"modules": str(modules)}
    bench = make_bench(scenario_from(raw, tmp_path), read_weather(CHICAGO))
    with pytest.raises(InputError, match="own machine alone, of 60 kW"):
        Market(bench)


def test_heaters_are_not_sized(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    raw = yaml.safe_load((ROOT / "scenarios" / "resistance.yaml").read_text())
    raw["site"]["weather"] = str(CHICAGO)
    path.write_text(yaml.safe_dump(raw))
    with pytest.raises(InputError, match="heat pump"):
        size(read_scenario(path))
