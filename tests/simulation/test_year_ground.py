"""Whole years of a bore field: drift from year to year, balance, superposition, and heat rejected into it."""

import csv
from pathlib import Path

import cases
import numpy as np
import pytest
from cases import CHICAGO, HEAVY_USE, ROOT, cautions, number, series
from scipy.signal import fftconvolve

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.arrays import SourceRow
from hpwhsim.plant.assemble import assemble
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year
from hpwhsim.source.bore_field import Bores, g_function, make_field
from hpwhsim.source.bore_pipes import Pipes, bore_resistance
from hpwhsim.source.loop_fluid import Fluid, fluid_state

pytestmark = [pytest.mark.law, pytest.mark.year]
LOOP = "plant.source.ground_loop."
SMOOTH = "hot_water.draws=smooth"
PRESSED = (SMOOTH, LOOP + "rows=3", LOOP + "columns=3", LOOP + "depth=300 ft")  # of half the metres
SUMMER = (np.arange(8760) // 24 >= 151) & (np.arange(8760) // 24 < 243)


def worked(name: str, *overrides: str) -> Year:
    """A worked file in a building that uses more hot water."""
    return cases.worked(name, *HEAVY_USE, *overrides)


@pytest.fixture(scope="session")
def first() -> Year:
    return worked("ground", SMOOTH)


@pytest.fixture(scope="session")
def twenty_five() -> Year:
    return worked("ground", SMOOTH, "run.years=25")


def extracted_kw(year: Year) -> np.ndarray:
    """Mean heat taken from the ground by hour: the machine's, less the pump's that warms the fluid. [kW]"""
    return np.asarray(year.hourly["source_heat_kwh"] - year.hourly["source_pump_kwh"])


@pytest.mark.slow
def test_extraction_cools_the_field_year_by_year(first: Year, twenty_five: Year) -> None:
    """Eskilson: the wall falls by less and less, and so does the COP. The first of 25 years is the one year.

    The wall at the end of a year also knows whether the machine ran in its last hour, and a year's COP
    whether a charge more fell into it: eight years of the wall, by 0.1 K, and four of the COP at a time.
    """
    wall, cop = (
        np.array(series(twenty_five, "yearly.bore_wall_end_c")),
        series(twenty_five, "yearly.cop_plant"),
    )
    assert wall[0] == number(first, "bore_wall_end_c")
    assert cop[0] == pytest.approx(number(first, "cop_plant"), rel=1e-12)
    assert np.all(np.diff(cop) < 0.0)
    assert np.all(np.diff(np.diff(cop).reshape(6, 4).sum(axis=1)) > 0.0)
    falls = -np.diff(wall).reshape(3, 8).sum(axis=1)
    assert np.all(falls > 0.0)
    assert np.all(np.diff(falls) < 0.0)
    assert number(twenty_five, "bore_wall_end_c") == wall[-1]
    assert number(twenty_five, "cop_plant") == pytest.approx(cop[-1], rel=1e-12)
    assert abs(number(twenty_five, "balance_error")) <= 1e-6


@pytest.mark.independent
def test_the_fall_of_the_wall_is_that_of_the_g_function(references: Path, twenty_five: Year) -> None:
    """Mean fall of year 25 over q / (2 pi k), against published g of the fields either side of this one.

    3 x 5 bores at 1/16 of their depth lie between 2 x 2 and 4 x 4 at 6/100 (shared/ground_g_values.csv: same
    ground and radius, equal wall temperature); the mean extraction of 25 years differs from the last by 2 %.
    """
    with (references / "ground_g_values.csv").open() as file:
        rows = list(csv.reader(line for line in file if not line.startswith("#")))
    g = {(field, time): float(value) for field, how, time, value in rows[1:] if how == "pygfunction UBWT"}
    wall = undisturbed(twenty_five) - twenty_five.hourly["bore_wall_c"].mean()
    per_metre = extracted_kw(twenty_five).mean() * 1000.0 / (15 * 400 * 0.3048)
    met = wall / (per_metre / (2.0 * np.pi * 2.2))
    assert 1.02 * g["2x2 B=6", "30 y"] < met < 0.98 * g["4x4 B=6", "20 y"]


def undisturbed(year: Year) -> float:
    listed = year.record["assumptions"]
    assert isinstance(listed, list)
    return next(
        float(item["value"].split()[0])
        for item in listed
        if item["key"] == "plant.source.ground_loop.ground_temperature"
    )


@pytest.mark.long
def test_a_balanced_field_does_not_drift(tmp_path: Path, first: Year) -> None:
    """Rejection equal to extraction, spread over the summer: the wall of year 10 is that of year 1.

    The heat put in (watts rounded to six digits) is that taken in the first unbalanced year; warmer ground
    makes the machine take 1 % more, so a drift of a few per cent of the unbalanced one is left. Law: what
    goes in and out alike leaves no long-term term of the g-function.
    """
    put_in = np.zeros(8760)
    summer = slice(151 * 24, 243 * 24)
    put_in[summer] = extracted_kw(first).sum() / (92 * 24)
    path = tmp_path / "rejection.csv"
    path.write_text("rejection_kw\n" + "\n".join(f"{kw:.9g}" for kw in put_in.tolist()) + "\n")
    balanced = worked("ground", SMOOTH, "run.years=10", f"{LOOP}rejection={path}")
    assert number(balanced, "rejected_heat_kwh") == pytest.approx(extracted_kw(first).sum(), rel=5.4e-6)
    wall, cop = series(balanced, "yearly.bore_wall_end_c"), series(balanced, "yearly.cop_plant")
    assert abs(np.mean(wall[-3:]) - np.mean(wall[:3])) < 0.05  # an end knows its last hours, by 0.1 K
    assert abs(cop[-1] - cop[0]) < 0.005
    unbalanced = series(worked("ground", SMOOTH, "run.years=10"), "yearly.bore_wall_end_c")
    assert unbalanced[0] - unbalanced[-1] > 1.5


LOPSIDED = {
    "L": (LOOP + "layout=L", LOOP + "rows=3", LOOP + "columns=6"),
    "line": (LOOP + "rows=1", LOOP + "columns=7"),
    "tight": (LOOP + "rows=10", LOOP + "columns=10", LOOP + "depth=60 ft", LOOP + "spacing=10 ft"),
}


def write_rejection(path: Path, kw: np.ndarray) -> str:
    """An invented series of chillers' heat; returns the override that gives it to the loop."""
    path.write_text("# invented\nrejection_kw\n" + "\n".join(f"{value:g}" for value in kw.tolist()) + "\n")
    return f"{LOOP}rejection={path}"


@pytest.mark.slow
@pytest.mark.independent
@pytest.mark.parametrize("name", ["L", pytest.param("line", marks=pytest.mark.long), "tight"])
def test_wall_of_every_year_is_the_sum_of_all_heat_before(tmp_path: Path, name: str) -> None:
    """Superposition over all hours of all years: each hour's net heat times the field's step since.

    By Fourier; independent of how the past is pooled, and of any shortcut between years. 0.1 % of the swing:
    pooling (see test_source_ground_loop). Chillers put 12 kW into the field on summer days.
    """
    put_in = write_rejection(tmp_path / "rejection.csv", 12.0 * (SUMMER & (np.arange(8760) % 24 > 9)))
    overrides = (SMOOTH, *LOPSIDED[name], put_in, "run.years=4")
    scenario = read_scenario(ROOT / "scenarios" / "ground.yaml", (*HEAVY_USE, *overrides)).scenario
    assembly = assemble(scenario, read_weather(CHICAGO))
    source, store = assembly.plant.sources, assembly.start.copy()
    heat, wall = [], []
    for _ in range(4):
        rows = march(assembly.plant, assembly.drive, assembly.state, store).source
        heat.append((rows[SourceRow.TAKEN] - rows[SourceRow.PUMP]) / 3600.0 - assembly.drive.rejected)
        wall.append(rows[SourceRow.WALL])
    load = np.concatenate(heat)
    fallen = fftconvolve(load, np.diff(source.field.step[: load.size + 1]))[: load.size]
    apart = np.concatenate(wall) - (source.loop.undisturbed - fallen)
    assert np.abs(apart).max() < 1e-3 * np.ptp(fallen)
    year = worked("ground", *overrides)
    assert series(year, "yearly.bore_wall_end_c") == [float(one[-1]) for one in wall]
    assert all(hours >= 0.0 for hours in series(year, "yearly.resistance_hours"))


@pytest.mark.slow
@pytest.mark.independent
def test_steady_rejection_by_hand(tmp_path: Path) -> None:
    """8 kW into the loop all year: half way between what leaves the field and what comes back is the mean of
    the fluid, Q R / L above the wall, R the bore's effective resistance, L all its metres.

    R by `bore_resistance` (held to published tables in test_source_bore_pipes) at the fluid's temperature,
    the flow of 45 gpm and its heat capacity. 4 %: the table of films is that of a machine's fluid, colder
    than the wall. And the wall of the last month is higher by the field's answer to 8 kW, less what the
    machine takes more: 2 %, since that is not even.
    """
    put_in = write_rejection(tmp_path / "rejection.csv", np.full(8760, 8.0))
    plain, warm = worked("ground", SMOOTH), worked("ground", SMOOTH, put_in)
    bores = Bores("rectangle", 3, 5, 7.62, 121.92, 2.0, 0.075)
    pipes = Pipes(1, 0.032, 0.0262, 0.06, 0.40, 1.5, 1e-6)
    standing = warm.hourly["run_hours"] == 0.0
    glycol = Fluid("propylene-glycol", 0.2)
    fluid = fluid_state(glycol, float(warm.hourly["bore_wall_c"][standing].mean()))
    flow = 45 * 3.785411784e-3 / 60.0 * fluid_state(glycol, 10.0).density
    effective = bore_resistance(bores, pipes, fluid, 2.2, flow / bores.count).effective
    mean = warm.hourly["loop_warmest_c"] - 0.5 * 8000.0 / (flow * fluid.specific_heat)
    above = (mean - warm.hourly["bore_wall_c"])[standing]
    assert above == pytest.approx(8000.0 * effective / bores.total_length, rel=0.04)
    assert number(warm, "loop_max_c") == warm.hourly["loop_warmest_c"].max()
    risen = float((warm.hourly["bore_wall_c"] - plain.hourly["bore_wall_c"])[-720:].mean())
    more = (extracted_kw(warm) - extracted_kw(plain)).mean() * 1000.0
    step = make_field(bores, g_function(bores, 2.2 / 2.2e6), 2.2, 1).step[8041:8761].mean()
    assert risen == pytest.approx((8000.0 - more) * step, rel=0.02)
    assert number(warm, "cop_plant") > number(plain, "cop_plant")
    assert "behind the chillers" not in cautions(warm)


@pytest.mark.slow
@pytest.mark.contract
def test_a_hot_loop_is_said(tmp_path: Path) -> None:
    """200 kW on summer days into 15 bores: far above 40 degC, said with its hours, above the map's end."""
    year = worked("ground", SMOOTH, write_rejection(tmp_path / "rejection.csv", 200.0 * SUMMER))
    warm = year.hourly["loop_warmest_c"]
    assert number(year, "loop_max_c") > 45.0
    assert f"above 40 degC in {int((warm > 40.0).sum())} h" in cautions(year)
    assert "the end of its map" in cautions(year)
    assert number(year, "edge_hours") > 0.0
    assert abs(number(year, "balance_error")) < 1e-12
    # the fluid that the machine meets is warmer than the wall as long as chillers give more than it takes
    above = year.hourly["source_c"] - year.hourly["bore_wall_c"]
    assert above[SUMMER].mean() > 2.0


@pytest.mark.slow
def test_chillers_with_a_circuit_of_their_own_warm_the_ground_alone(tmp_path: Path) -> None:
    """The same wall within the little more that a warmer machine takes; their fluid is not the machine's."""
    heat = write_rejection(tmp_path / "rejection.csv", 8.0 * np.ones(8760))
    plain, shared = worked("ground", SMOOTH), worked("ground", SMOOTH, heat)
    own = worked("ground", SMOOTH, heat, LOOP + "rejection_circuit=own")
    risen = [(y.hourly["bore_wall_c"] - plain.hourly["bore_wall_c"])[-720:].mean() for y in (own, shared)]
    assert risen[0] == pytest.approx(risen[1], rel=0.05)
    assert number(own, "cop_plant") < number(shared, "cop_plant")
    assert number(own, "cop_plant") > number(plain, "cop_plant")
    # no colder than the wall lets it: without a machine running its fluid is the wall
    standing = own.hourly["run_hours"] == 0.0
    assert own.hourly["source_c"][standing] == pytest.approx(own.hourly["bore_wall_c"][standing], abs=0.05)


@pytest.mark.long
def test_half_the_metres_are_felt() -> None:
    """Fewer metres: a colder loop and a lower COP, from the first year on and more so in the last."""
    wide, pressed = worked("ground", SMOOTH, "run.years=10"), worked("ground", *PRESSED, "run.years=10")
    gap = np.array(series(wide, "yearly.cop_plant")) - series(pressed, "yearly.cop_plant")
    assert np.all(gap > 0.15)
    assert number(pressed, "loop_min_c") < number(wide, "loop_min_c") - 2.0


@pytest.mark.slow
@pytest.mark.contract
def test_a_fluid_near_freezing_is_said() -> None:
    """10 % propylene glycol freezes near -3 degC (handbook, quoted from memory): half the metres reach it."""
    year = worked("ground", *PRESSED, "run.years=3", LOOP + "fluid_share=0.1")
    assert number(year, "loop_min_c") < 0.0
    assert "ground loop: the fluid falls to" in cautions(year)


@pytest.mark.independent
def test_pumping_is_booked_and_can_be_stated(first: Year) -> None:
    """Pump of stated power at fixed speed: power times run time, in `source_pump_kwh` and `pump_kwh`."""
    year = worked("ground", SMOOTH, LOOP + "pump_power=1 kW", LOOP + "min_flow_fraction=1")
    assert number(year, "source_pump_kwh") == pytest.approx(number(year, "run_hours"), rel=1e-9)
    assert number(year, "pump_kwh") == number(year, "source_pump_kwh")
    assert number(year, "cop_plant") < number(first, "cop_plant")
