"""Totals and peaks of a block, held against its buildings one by one."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from block_cases import EQUAL, SHARED, THREE, table
from cases import ROOT

from hpwhsim.blocks import run
from hpwhsim.blocks.block import Simulated, of_buildings, ready, simulated
from hpwhsim.blocks.entries import read_buildings
from hpwhsim.blocks.record import rank
from hpwhsim.blocks.shared_field import Settled, field_results
from hpwhsim.errors import InputError
from hpwhsim.evaluation.evaluate import check, evaluate
from hpwhsim.plant.use import use_of_buildings, use_of_year
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_year

EVENING = "evening=Dec-Feb weekdays 17:00-20:00"


def nothing(_: int) -> None:
    """No progress is told."""


def block(path: Path, *hours: str, rank_by: str | None = None) -> Simulated:
    """A table simulated as the command does it."""
    buildings, named = of_buildings(path, (), None, hours)
    ready(buildings, None, nothing)
    return simulated(buildings, named, rank_by, nothing)


def row(found: Simulated, name: str) -> dict[str, Any]:
    """The row of a building."""
    return next(one for one in found.record["rows"] if one["building"] == name)


def years_of_three(folder: Path) -> list[Year]:
    """The years of `THREE`, each run by itself."""
    return [
        run_year(
            read_scenario(
                folder / "plant.yaml",
                [f"building.apartments={n}", "hot_water.draws=random", f"hot_water.seed={seed}"],
            )
        )
        for n, seed in ((6, 11), (4, 12), (9, 13))
    ]


@pytest.mark.independent
def test_three_buildings_added_by_hand(tmp_path: Path) -> None:
    """Sums of the 35,040 quarters of three runs: the year, every month and named hours, to the bit."""
    found = block(table(tmp_path, *THREE), EVENING)
    years = years_of_three(tmp_path)
    series = np.array([year.quarter_kw for year in years])
    whole = series[0] + series[1] + series[2]
    assert np.array_equal(found.quarter_kw, whole)
    peak = found.record["peak"]
    assert peak["coincident_kw"] == whole.max()
    assert peak["sum_kw"] == sum(float(one.max()) for one in series)
    assert peak["diversity_factor"] == peak["sum_kw"] / peak["coincident_kw"] > 1.0
    at = int(whole.argmax())
    stamp = np.datetime64("2001-01-01T00:00") + np.timedelta64(15 * at, "m")
    assert peak["time"] == str(stamp)[5:].replace("T", " ")
    assert [one["at_peak_kw"] for one in found.record["rows"]] == series[:, at].tolist()
    stamps = np.datetime64("2001-01-01T00:00") + np.arange(35040) * np.timedelta64(15, "m")
    months = stamps.astype("datetime64[M]").astype(int) % 12
    for month, told in enumerate(found.record["months"]):
        inside = months == month
        assert told["coincident_kw"] == whole[inside].max()
        assert told["sum_kw"] == sum(float(one[inside].max()) for one in series)
        assert told["electricity_kwh"] == pytest.approx(0.25 * whole[inside].sum(), rel=1e-12)
    hour, weekday = np.arange(35040) // 4 % 24, np.arange(35040) // 96 % 7 < 5
    evening = np.isin(months, (11, 0, 1)) & weekday & (hour >= 17) & (hour < 20)
    told = found.record["hours"][0]
    assert told["coincident_kw"] == whole[evening].max()
    assert told["sum_kw"] == sum(float(one[evening].max()) for one in series)
    assert told["mean_kw"] == pytest.approx(whole[evening].mean(), rel=1e-12)
    totals = found.record["totals"]
    for key in ("electricity_kwh", "heat_to_taps_kwh", "unmet_kwh", "short_litres"):
        assert totals[key] == sum(year.record[key] for year in years)
    day = np.array(list(found.record["peak_day"]["kw"].values()))
    assert np.array_equal(day, series[:, at // 96 * 96 : at // 96 * 96 + 96])


@pytest.mark.law
def test_draws_stay_with_their_building(tmp_path: Path) -> None:
    """Rows in another order, and one more of them: the others' years are the same, and all differ."""
    head = "building,scenario,building.apartments,hot_water.draws"
    rows = [f"{name},plant.yaml,5,random" for name in "ABC"]
    first = block(table(tmp_path, *rows[:2], head=head))
    other = block(table(tmp_path, *reversed(rows), head=head))
    for name in "AB":
        assert row(first, name) == row(other, name) | {"at_peak_kw": row(first, name)["at_peak_kw"]}
    assert len({row(other, name)["peak_kw"] for name in "ABC"}) == 3
    seeds = [seed for name in "ABC" for seed in row(other, name)["seeds"]]
    assert len(set(seeds)) == 3
    anew = of_buildings(tmp_path / "buildings.csv", ["hot_water.seed=2"], None, ())[0]
    assert not {seed for entry in anew.entries for seed in entry.seeds()} & set(seeds)


@pytest.mark.law
def test_equal_buildings_have_draws_of_their_own(tmp_path: Path) -> None:
    """With random draws each of them is a year of its own; with smooth draws all do the same at once."""
    found = block(table(tmp_path, "R,plant.yaml,3,5,random", "S,plant.yaml,3,5,smooth", head=EQUAL))
    drawn, smooth = row(found, "R"), row(found, "S")
    assert len(set(drawn["seeds"])) == 3
    assert smooth["seeds"] == []
    assert drawn["peak_kw"] < drawn["peaks_kw"]
    assert smooth["peak_kw"] == pytest.approx(smooth["peaks_kw"], rel=1e-12)
    one = run_year(read_scenario(tmp_path / "plant.yaml", ["building.apartments=5"]))
    assert smooth["electricity_kwh"] == pytest.approx(3.0 * one.record["electricity_kwh"], rel=1e-12)
    assert (found.record["buildings"], found.record["plants"], found.record["apartments"]) == (6, 6, 30)
    said = " ".join(caution["text"] for caution in found.record["cautions"])
    assert "plants that do the same at once" in said


@pytest.mark.independent
def test_a_shared_plant_serves_the_sum(tmp_path: Path) -> None:
    """Two buildings of smooth draws on one plant are one building with the apartments of both."""
    rows = ("E,plant.yaml,P,,7,smooth,3 m3", "W,plant.yaml,P,,5,smooth,")
    found = block(table(tmp_path, *rows, head=SHARED))
    one = run_year(
        read_scenario(tmp_path / "plant.yaml", ["building.apartments=12", "plant.storage.volume=3 m3"])
    )
    assert np.abs(found.quarter_kw - one.quarter_kw).max() < 1e-9
    plant = row(found, "P")
    assert (plant["serves"], plant["buildings"], plant["plants"], plant["apartments"]) == (
        ["E", "W"],
        2,
        1,
        12,
    )
    assert plant["electricity_kwh"] == pytest.approx(one.record["electricity_kwh"], rel=1e-9)


@pytest.mark.independent
def test_the_draws_of_a_shared_plant_are_those_of_its_buildings(tmp_path: Path) -> None:
    """Random draws: the litres of every five minutes are the two buildings' own, added."""
    rows = ("E,plant.yaml,P,,7,random,", "W,plant.yaml,P,,5,random,")
    (entry,) = read_buildings(table(tmp_path, *rows, head=SHARED)).entries
    (case,) = entry.cases()
    assert [one.building.apartments for one in case.served] == [7, 5]
    assert len({one.hot_water.seed for one in case.served}) == 2
    both, _, times = use_of_buildings(case.served, 42.0, 12)
    own = [use_of_year(one, 42.0, 12, [])[0] for one in case.served]
    assert both.sum() == pytest.approx(own[0].sum() + own[1].sum(), rel=1e-8)
    assert np.abs(both - own[0] - own[1]).max() < 1e-6
    spans = np.diff(times.until, prepend=0.0)
    spans[times.first[:-1]] = times.until[times.first[:-1]]
    assert float((spans * times.flow).sum()) * 1000.0 == pytest.approx(both.sum(), rel=1e-9)


@pytest.mark.independent
def test_the_loop_of_a_shared_plant_loses_the_sum(tmp_path: Path) -> None:
    """7 x 80 W and 5 x 50 W, and 0.4 kW of pipes between: 1,210 W over 12 apartments."""
    head = f"{SHARED},recirculation.loss_per_apartment"
    rows = ("E,plant.yaml,P,0.4 kW,7,smooth,,80 W", "W,plant.yaml,P,,5,smooth,,50 W")
    (entry,) = read_buildings(table(tmp_path, *rows, head=head)).entries
    loop = entry.plant.scenario.recirculation
    assert loop is not None
    assert loop.loss_per_apartment == pytest.approx(1210.0 / 12.0, rel=1e-9)


@pytest.mark.contract
def test_a_building_that_fails_is_named_and_the_rest_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its accounts cannot be had after the march: the totals are those of the others, and it is said."""
    path = table(tmp_path, *THREE)
    right = run.evaluated

    def failing(collected: Any, *years: Any) -> Any:
        if collected.loaded.scenario.hot_water.seed == 12:
            raise InputError("the bill cannot be worked out")
        return right(collected, *years)

    monkeypatch.setattr(run, "evaluated", failing)
    found = block(path)
    assert found.record["failed"] == [{"building": "B", "message": "the bill cannot be worked out"}]
    assert [one["building"] for one in found.record["rows"]] == ["A", "C"]
    assert found.record["cautions"][0]["buildings"] == ["B"]
    assert np.array_equal(found.quarter_kw, sum(years_of_three(tmp_path)[n].quarter_kw for n in (0, 2)))


@pytest.mark.contract
def test_ranks(tmp_path: Path) -> None:
    """The best first: least kWh per apartment, or the most COP; a figure that is none is refused."""
    found = block(table(tmp_path, *THREE), rank_by="electricity_kwh/apartment").record
    values = [one["value"] for one in found["rank"]["order"]]
    assert values == sorted(values)
    for one in found["rank"]["order"]:
        of = next(row for row in found["rows"] if row["building"] == one["building"])
        assert one["value"] == of["electricity_kwh"] / of["apartments"]
    best = rank(found["rows"], "cop_plant")
    assert best["best"] == "most"
    assert [one["value"] for one in best["order"]] == sorted(
        (r["cop_plant"] for r in found["rows"]), reverse=True
    )
    with pytest.raises(InputError, match="--rank energy_cost: allowed a figure that every row has"):
        rank(found["rows"], "energy_cost")


GROUND = ROOT / "scenarios" / "ground.yaml"
FIELD_KEYS = (
    "building.apartments,plant.heat_pump.modules,plant.storage.volume,plant.storage.heat_loss,"
    "plant.source.ground_loop.flow,hot_water.draws"
)


def on_field(folder: Path, *rows: str) -> Settled:
    """Plants of `FIELD_KEYS` on one field."""
    path = folder / "buildings.csv"
    lines = [f"building,scenario,count,field,{FIELD_KEYS}", *rows]
    path.write_text("\n".join(lines) + "\n")
    entries = read_buildings(path).entries
    return field_results("Yard", [case for entry in entries for case in entry.cases()])


@pytest.mark.year
@pytest.mark.long
@pytest.mark.independent
def test_the_wall_of_a_shared_field_answers_to_the_heat_of_all(tmp_path: Path) -> None:
    """The exact sum of the field's response to both plants' heat, hour by hour, is the wall that each has.

    What the others take is that of the pass before: single hours differ, their means do not.
    """
    rows = (f"N,{GROUND},,Yard,10,1,400 gal,,,random", f"S,{GROUND},,Yard,22,1,700 gal,,,random")
    found = on_field(tmp_path, *rows)
    assert found.record["settled"]
    years = [one.plant.year.hourly for one in found.results]
    watts = 1e3 * sum(year["source_heat_kwh"] - year["source_pump_kwh"] for year in years)
    assembly = check(read_buildings(tmp_path / "buildings.csv").entries[0].plant).assembly
    step = assembly.plant.sources.field.step
    drop = np.convolve(watts, np.diff(step[: 8760 + 1]))[:8760]
    exact = assembly.plant.sources.loop.undisturbed - drop
    for year in years:
        apart = year["bore_wall_c"] - exact
        assert abs(apart.mean()) < 0.005
        assert np.sqrt((apart**2).mean()) < 0.1


@pytest.mark.year
@pytest.mark.long
@pytest.mark.independent
def test_two_equal_plants_on_one_field_are_one_of_twice_the_size(tmp_path: Path) -> None:
    """Half of modules, store, losses and flow each, smooth draws, against the whole plant on this field.

    The whole plant's modules run at the same minutes; between plants heat is that of whole hours, which
    spares each of them some of the bores' fall: a little less electricity, the same mean of the fluid.
    """
    found = on_field(tmp_path, f"Twin,{GROUND},2,Yard,16,1,450 gal,3 W/K,22.5 gpm,smooth")
    path = tmp_path / "whole.csv"
    path.write_text(f"building,scenario,{FIELD_KEYS}\nWhole,{GROUND},32,2,900 gal,6 W/K,45 gpm,smooth\n")
    (whole,) = read_buildings(path).entries
    one = evaluate(next(whole.cases()).loaded).record
    twin = found.results[0].record
    assert found.record["settled"]
    assert found.record["plants"] == 2
    assert 0.98 < 2.0 * twin["electricity_kwh"] / one["electricity_kwh"] < 1.0
    assert twin["source_mean_c"] == pytest.approx(one["source_mean_c"], abs=0.05)
    assert 2.0 * twin["source_pump_kwh"] == pytest.approx(one["source_pump_kwh"], rel=0.05)
