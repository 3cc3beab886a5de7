"""Sizing against the classical mass curve, run hours by hand, and plants with and without a loop."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sizing_cases
from cases import ROOT
from sizing_cases import ALONE, DEMO, stated, steady

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.heatpump.maps import look_up
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year
from hpwhsim.sizing.design_days import judge, march_days
from hpwhsim.sizing.least_store import FOOT, NEAR
from hpwhsim.sizing.storage_curve import classical, curve, point
from hpwhsim.sizing.trials import Bench, make_bench, plant_of
from hpwhsim.sizing.whole_year import most_run_hours
from hpwhsim.storage.layers import RHO_CP

pytestmark = [pytest.mark.independent, pytest.mark.year]
# pytest finds a fixture by its name in the module
demo = sizing_cases.demo


def at_hours(bench: Bench, hours: float, explain: bool) -> Any:
    """The point of the curve at which full output for `hours` hours makes the day."""
    c = classical(bench)
    capacity = 1000.0 * bench.day_litres / hours * c.kwh_per_litre
    return point(bench, c, 1, capacity / bench.assembly.made.capacity, explain)


# -- the classical answer ------------------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "share"), [(24, 0.194), (20, 0.128), (16, 0.087)])
def test_mass_curve_shares_of_the_stated_profile(tmp_path: Path, hours: int, share: float) -> None:
    """Least usable storage 0.194, 0.128 and 0.087 of the day: three digits of mass_curve_tradeoff.csv."""
    bench = steady(tmp_path)
    found = at_hours(bench, hours, False)
    assert round(found.classical / bench.day_litres, 3) == share
    assert found.cold == pytest.approx(found.classical, rel=1e-6)
    assert found.loaded == pytest.approx(found.classical, rel=1e-6)


def test_a_lock_out_needs_the_barred_draw(tmp_path: Path) -> None:
    """16:00 to 21:00 barred: the draw of the hours 16 to 20, 0.283 of the day, at 16 h and at 8 h alike.

    5e-6: the draws of a step have 6 significant digits.
    """
    bench = steady(tmp_path, "16:00-21:00")
    profile, _ = stated()
    barred = float(profile[16:21].sum())
    assert round(barred, 3) == 0.283
    for hours in (16.0, 8.0):
        assert at_hours(bench, hours, False).classical / bench.day_litres == pytest.approx(barred, rel=5e-6)


@pytest.mark.parametrize("hours", [22.0, 21.0, 20.0, 18.0, 16.0, 14.0])
def test_an_ideal_store_is_the_mass_curve(tmp_path: Path, hours: float) -> None:
    """The engine with nothing mixing and all of the store heated, against the mass curve.

    Water hardly below that of use is short here: else the machine's, mixed with cold, still serves from an
    empty store. What is left: the bisection, and the sensor that stands at `FOOT` of the height.
    """
    bench = steady(tmp_path, least="48.8 degC")
    found = at_hours(bench, hours, True)
    assert found.sharp == pytest.approx(found.classical, rel=NEAR + FOOT)


def test_an_ideal_store_holds_the_barred_draw(tmp_path: Path) -> None:
    """The same with 16:00 to 21:00 barred: the draw of those hours."""
    bench = steady(tmp_path, "16:00-21:00")
    profile, _ = stated()
    found = at_hours(bench, 14.0, True)
    assert found.sharp / bench.day_litres == pytest.approx(float(profile[16:21].sum()), rel=0.025)


@pytest.mark.law
@pytest.mark.parametrize("hours", [22.0, 20.0, 18.0, 16.0, 14.0, 12.0])
def test_a_real_store_is_larger_for_reasons_that_add_up(tmp_path: Path, hours: float) -> None:
    """Thermocline and sensors only add: mass curve < unmixed < mixed < as it is, within the bisection.

    Water cooler than the taps use is unmet here: where 43.3 °C count as served, a store that runs out is
    stretched with cold water, and the engine's is up to 9 % smaller than the mass curve's.
    """
    found = at_hours(steady(tmp_path, least="48.8 degC"), hours, True)
    assert found.classical < found.sharp * (1.0 + NEAR)
    assert found.sharp < found.heated * (1.0 + NEAR)
    assert found.heated < found.storage * (1.0 - 2.0 * NEAR)


@pytest.mark.law
def test_an_ideal_store_falls_with_capacity(tmp_path: Path) -> None:
    """The mass curve is convex and falls with recovery; the ideal store of the engine falls with it."""
    bench = steady(tmp_path)
    found = [at_hours(bench, hours, True).sharp for hours in (22.0, 18.0, 14.0, 12.0)]
    assert found == sorted(found, reverse=True)


def test_run_hours_are_heat_over_output(tmp_path: Path) -> None:
    """Run hours of a day = heat of the day over output: no loss and constant capacity, so 0.1 %."""
    bench = steady(tmp_path)
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


@pytest.mark.law
def test_heat_of_a_loop_tank_is_no_load_of_the_plant() -> None:
    """Parallel: as without a loop, to 1 % in run hours and 0.5 kWh a day in the mass curve.

    What is left is the loop tank's own heat: 454 L within its dead band of 3 K hold 1.6 kWh, over 7 days.
    With the loop returned into the store the plant has its whole loss more.
    """
    parallel = looped("recirculation.loop_tank.connection=parallel")
    without = looped("recirculation=null")
    returned = looped("recirculation.served_by=store", "recirculation.loop_tank=null")
    hours = [judge(b.design, b.assembly.plant).run_hours for b in (parallel, without, returned)]
    assert hours[0] == pytest.approx(hours[1], rel=0.01)
    assert hours[2] > 1.2 * hours[1]
    loads = [loop_of_the_mass_curve(b) for b in (parallel, without, returned)]
    assert loads[0] == pytest.approx(loads[1], abs=0.5)
    # 60 W an apartment of water at 55.5 °C; at the store's supply its loss is that of the drive, less by
    # the hours in which the top is colder
    full = 24.0 * returned.assembly.drive.loop_loss.mean() / 1000.0
    assert full > 46.08  # 24 h of 1.92 kW
    assert 0.97 * full < loads[2] - loads[1] < full + 0.5


@pytest.mark.law
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


@pytest.mark.law
def test_a_loop_tank_in_series_takes_part_of_its_heat_from_the_store() -> None:
    """The heat balance of the days: what the machine gave, less what the store gained, is the load judged.

    That load lies between that of the plant without a loop and that with the loop returned into the store.
    """
    series = looped()
    found = judge(series.design, series.assembly.plant)
    out = march_days(series.design, series.assembly.plant)
    column, tank = series.assembly.plant.column, series.assembly.plant.loop_tank
    gained = RHO_CP * column.volume * float((out.profile - series.design.start).mean())
    gained += RHO_CP * tank.volume * (float(out.loop_tank_end[-1]) - tank.setpoint)
    load = (found.taps_kwh + found.loop_kwh + found.loss_kwh) * series.design.days.size
    assert load == pytest.approx((float(out.heat_pump_heat.sum()) - gained) / 3.6e6, rel=1e-9)
    assert 0.0 < found.loop_kwh < 46.0
    assert 5.0 < loop_of_the_mass_curve(series) < 52.0
