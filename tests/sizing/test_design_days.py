"""Design days against the year they are cut from, plain searches, the handbook table, and laws."""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO, GREENSBORO, ROOT, central_air
from numpy.typing import NDArray

from hpwhsim.climate.cold_days import cold_days
from hpwhsim.climate.moist_air import relative_humidity
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.plant.arrays import Hourly, SourceRow
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import read_scenario, scenario_from
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.simulation.years import march_years
from hpwhsim.sizing.design_days import (
    SETTLING_DAYS,
    design_air,
    design_days,
    judge,
    march_days,
    shifted,
)
from hpwhsim.sizing.handbook import maximum_day_factor, maximum_hour_factor
from hpwhsim.sizing.trials import make_bench, with_design_spread, with_seeds
from hpwhsim.storage.layers import RHO_CP

Array = NDArray[np.float64]

pytestmark = [pytest.mark.law, pytest.mark.year]


def dry_bulb(path: Path) -> Array:
    return np.asarray(read_weather(path)["dry_bulb_c"].values)


def plant(folder: Path, **more: Any) -> Assembly:
    raw = central_air(folder)
    raw["hot_water"] |= {"draws": "random", "seed": 3}
    raw["plant"] |= more
    return assemble(scenario_from(raw, folder), read_weather(CHICAGO))


def coldest_on(day: int) -> Array:
    """A year at 10 °C with one day at 0 °C."""
    air = np.full(8760, 10.0)
    air[24 * day : 24 * day + 24] = 0.0
    return air


@pytest.mark.independent
@pytest.mark.parametrize("path", [CHICAGO, GREENSBORO])
@pytest.mark.parametrize("length", [1, 3])
def test_coldest_days_by_a_plain_search(path: Path, length: int) -> None:
    """Every stretch of the year added up by itself: none has a lower mean dry bulb."""
    air = dry_bulb(path).tolist()
    sums = [sum(air[(24 * day + hour) % 8760] for hour in range(24 * length)) for day in range(365)]
    assert cold_days(np.array(air), length) == sums.index(min(sums))


@pytest.mark.independent
def test_coldest_days_over_the_turn_of_the_year() -> None:
    air = coldest_on(364)
    air[:24] = -1.0
    air[24:48] = -1.0
    assert cold_days(air, 3) == 364


@pytest.mark.parametrize("length", [1, 3])
def test_a_design_temperature_moves_the_days_that_are_marched(length: int) -> None:
    """The coldest day has that mean, keeps its course and its relative humidity; no other day moves."""
    weather = read_weather(CHICAGO)
    air = np.asarray(weather["dry_bulb_c"].values)
    moved, first = shifted(weather, length, -23.5)
    now = np.asarray(moved["dry_bulb_c"].values)
    assert first == cold_days(air, length)
    days = [(first + k) % 365 for k in range(-SETTLING_DAYS, length + 1)]
    means = now.reshape(365, 24).mean(axis=1)
    assert min(means[day] for day in days[SETTLING_DAYS:-1]) == pytest.approx(-23.5)
    change = (now - air).reshape(365, 24)
    others = [day for day in range(365) if day not in days]
    assert not change[others].any()
    assert change[days] == pytest.approx(np.full((len(days), 24), change[days[0], 0]))
    humid, pressure = (moved[name].values for name in ("humidity_ratio", "pressure_pa"))
    hour = 24 * days[SETTLING_DAYS]
    again = relative_humidity(now[hour : hour + 24], humid[hour : hour + 24], pressure[hour : hour + 24])
    assert again == pytest.approx(weather["relative_humidity"].values[hour : hour + 24], rel=1e-6)
    assert np.array_equal(air, read_weather(CHICAGO)["dry_bulb_c"].values)  # the file's year stays


@pytest.mark.contract
def test_a_design_temperature_of_another_climate_is_refused() -> None:
    with pytest.raises(InputError, match=r"sizing\.design_temperature: got 30.0 degC; allowed"):
        shifted(read_weather(CHICAGO), 1, 30.0)


@pytest.mark.independent
def test_the_design_frequency_counts_hours() -> None:
    """99 %: no more than 1 % of the hours of the file are colder."""
    air = dry_bulb(CHICAGO)
    found = design_air(Sizing(design_frequency=0.99), air)
    assert found is not None
    assert (air < found).sum() <= 88 <= (air <= found).sum() + 1  # the file has tenths: hours are equal
    assert design_air(Sizing(), air) is None
    assert design_air(Sizing.model_validate({"design_temperature": "-10 degF"}), air) == pytest.approx(
        -23.333, abs=1e-3
    )


def test_a_design_temperature_sizes_in_colder_air_and_water(tmp_path: Path) -> None:
    """The bench: air of the days as asked for, cold water that of the year's coldest day, more run hours."""
    raw = central_air(tmp_path, {-45.0: 3.0, 45.0: 3.0})
    weather = read_weather(CHICAGO)
    plain = make_bench(scenario_from(raw, tmp_path), weather, "coldest-day")
    raw["sizing"] = {"design_temperature": "-28 degC"}
    asked = make_bench(scenario_from(raw, tmp_path), weather, "coldest-day", plain.assembly)
    cold = asked.design.cold
    assert asked.design.drive.source[cold].mean() == pytest.approx(-28.0, abs=1e-6)
    assert asked.design.mean_c == pytest.approx(-28.0, abs=1e-6)
    assert np.all(asked.design.drive.mains == plain.assembly.drive.mains.min())
    assert plain.design.drive.mains.min() > asked.design.drive.mains.min()
    runs = [judge(bench.design, bench.assembly.plant).run_hours for bench in (plain, asked)]
    assert runs[1] > runs[0]


@pytest.mark.published
def test_handbook_factor(references: Path) -> None:
    """Maximum day and hour over average day of each row of the ASHRAE table in shared/ (from memory)."""
    lines = (references / "apartment-demand.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    gallons = {(row["key"], row["quantity"]): float(row["value_gal"]) for row in rows}
    checked = 0
    for (key, quantity), most in gallons.items():
        factor = {"max_day": maximum_day_factor, "max_hour": maximum_hour_factor}.get(quantity)
        if factor is not None and key[0].isdigit():
            expected = most / gallons[key, "average_day"]
            assert factor(int(key.split()[0])) == pytest.approx(expected, rel=1e-12)
            checked += 1
    assert checked == 10
    assert maximum_day_factor(5000) == maximum_day_factor(200)


@pytest.mark.published
@pytest.mark.parametrize("apartments", [20, 50, pytest.param(200, marks=pytest.mark.long)])
def test_the_design_days_of_size_hold_the_handbook(tmp_path: Path, apartments: int) -> None:
    """ASHRAE Handbook by building size (unverified): maximum day and hour over the average day.

    Of 20 years of draws every one has the handbook's hour on its design day, also as flows to the second; the
    neediest has its day, and their mean is within 15 % of it (docs/method/draws.md). The year of the scenario
    itself, which is one building's, does not have that day, but that a small one may.
    """
    raw = central_air(tmp_path)
    raw["building"] = {"apartments": apartments}
    raw["hot_water"] = {"draws": "random", "seed": 70}
    scenario, weather = scenario_from(raw, tmp_path), read_weather(CHICAGO)
    bench = with_seeds(make_bench(scenario, weather, "coldest-day"), 20)
    mean = bench.assembly.drive.use.sum() / 365.0
    days = []
    for draws in bench.draws:
        use = draws.of_drive["use"].reshape(-1, 24, 12)[draws.peak_at].sum(axis=1) / mean
        assert use.max() >= maximum_hour_factor(apartments) * (1.0 - 1e-5)  # series have 6 digits
        days.append(use.sum())
        times, hour = draws.of_drive["draws"], 24 * draws.peak_at + int(use.argmax())
        part = slice(times.first[hour], times.first[hour + 1])
        seconds = np.diff(times.until[part], prepend=0.0)
        assert (times.flow[part] * seconds).sum() / mean == pytest.approx(use.max(), rel=1e-5)
    assert max(days) >= maximum_day_factor(apartments)
    assert np.mean(days) == pytest.approx(maximum_day_factor(apartments), rel=0.15)
    own = assemble(scenario, weather).drive.use.reshape(365, -1).sum(axis=1)
    assert apartments == 20 or own.max() / own.mean() < maximum_day_factor(apartments)


@pytest.mark.contract
def test_a_wider_year_of_the_users_is_not_narrowed(tmp_path: Path) -> None:
    """The wider of hot_water.day_spread and sizing.day_spread holds; smooth draws have neither."""
    raw = central_air(tmp_path)
    for draws, own, expected in (("random", 0.03, 0.15), ("random", 0.3, 0.3), ("smooth", 0.03, 0.03)):
        raw["hot_water"] |= {"draws": draws, "day_spread": own}
        found = with_design_spread(scenario_from(raw, tmp_path))
        assert found.hot_water.day_spread == expected


@pytest.mark.independent
def test_the_days_are_those_of_the_year_bit_for_bit(tmp_path: Path) -> None:
    """Cut from 1 January without a peak-use day, the march is the year's own first days: equal, exactly."""
    assembly = plant(tmp_path)
    design = design_days(assembly, coldest_on(SETTLING_DAYS), 1, "none", 20)
    assert design.days.tolist() == [0, 1, 2, 3, 4]
    days = march_days(design, assembly.plant)
    year = march_years(assembly, 1).last
    for name in (
        "heat_pump_heat",
        "taps_heat",
        "storage_loss",
        "store_top",
        "module_seconds",
        "short_volume",
    ):
        assert np.array_equal(getattr(days, name), getattr(year, name)[:120]), name


@pytest.mark.independent
def test_settling_is_long_enough(tmp_path: Path) -> None:
    """Days in the middle of the year, settled for three: heat to the taps as in the year within 0.1 %.

    The store starts full and the year's does not: what is left after three days is the phase of the charges.
    The machine's heat less what the store gained is the same; the store's part by its mean temperatures.
    """
    assembly = plant(tmp_path)
    design = design_days(assembly, coldest_on(200), 3, "none", 20)
    days = march_days(design, assembly.plant)
    year = march_years(assembly, 1).last
    first = 24 * int(design.days[SETTLING_DAYS])
    kelvin = RHO_CP * assembly.plant.column.volume

    def taps_and_made(out: Hourly, since: int) -> tuple[float, float]:
        hours = slice(since, since + 72)
        gained = kelvin * (out.store_mean[since + 71] - out.store_mean[since - 1])
        return out.taps_heat[hours].sum(), out.heat_pump_heat[hours].sum() - gained

    cut, whole = taps_and_made(days, design.cold.start), taps_and_made(year, first)
    assert cut[0] == pytest.approx(whole[0], rel=1e-3)
    assert cut[1] == pytest.approx(whole[1], rel=5e-3)  # the standby loss follows the phase too


@pytest.mark.independent
def test_peak_use_day_is_the_largest_of_the_year(tmp_path: Path) -> None:
    """The draws of the largest day stand on the coldest day, step by step; all other days keep their own."""
    assembly = plant(tmp_path)
    before = assembly.drive.use.copy()
    by_day = before.reshape(365, -1)
    design = design_days(assembly, dry_bulb(CHICAGO), 3, "drawn", 20)
    use = design.drive.use.reshape(design.days.size, -1)
    largest = max(range(365), key=lambda day: by_day[day].sum())
    assert design.peak_from == largest
    by_hour = use[design.peak_at].reshape(24, -1)
    raised = int(by_hour.sum(axis=1).argmax())
    others = np.delete(np.arange(24), raised)
    assert np.array_equal(by_hour[others], by_day[largest].reshape(24, -1)[others])
    factors = (
        by_hour[raised][by_hour[raised] > 0.0]
        / by_day[largest].reshape(24, -1)[raised][by_hour[raised] > 0.0]
    )
    assert factors == pytest.approx(np.full(factors.size, factors[0]), rel=2e-5)  # six digits
    assert factors[0] >= 1.0
    for place, day in enumerate(design.days):
        if place != design.peak_at:
            assert np.array_equal(use[place], by_day[day])
    assert np.array_equal(assembly.drive.use, before)
    daily = dry_bulb(CHICAGO).reshape(365, 24).mean(axis=1)
    cold = design.days[SETTLING_DAYS : SETTLING_DAYS + 3]
    assert design.days[design.peak_at] == min(cold, key=lambda day: daily[day])


@pytest.mark.independent
def test_handbook_peak_has_the_mean_day_times_the_factor(tmp_path: Path) -> None:
    """20 apartments at 150 L: 3,000 L x 80 / 42; each step of the year has 6 significant digits."""
    design = design_days(plant(tmp_path), dry_bulb(CHICAGO), 1, "handbook", 20)
    use = design.drive.use.reshape(design.days.size, -1).sum(axis=1)
    assert 1000.0 * use[design.peak_at] == pytest.approx(3000.0 * 80.0 / 42.0, rel=1e-6)


@pytest.mark.independent
def test_mains_and_air_are_those_of_the_days(tmp_path: Path) -> None:
    assembly = plant(tmp_path)
    design = design_days(assembly, dry_bulb(CHICAGO), 1, "drawn", 20)
    day = int(design.days[SETTLING_DAYS])
    hours = slice(24 * day, 24 * day + 24)
    assert np.array_equal(design.drive.mains[design.cold], assembly.drive.mains[hours])
    assert np.array_equal(design.drive.source[design.cold], dry_bulb(CHICAGO)[hours])
    assert design.mean_c == pytest.approx(dry_bulb(CHICAGO)[hours].mean(), rel=1e-12)


def test_one_module_out_is_never_better(tmp_path: Path) -> None:
    """Two modules of 9 kW: with one of them no store delivers more on the same days."""
    table = plant(tmp_path)
    weak = table.plant.machine._replace(capacity_w=table.plant.machine.capacity_w * 0.15)
    both = table.plant._replace(machine=weak, modules=2)
    design = design_days(table, dry_bulb(CHICAGO), 3, "drawn", 20)
    whole, out = judge(design, both), judge(design, both._replace(modules=1))
    assert out.short_litres > whole.short_litres
    assert out.short_hours > 0.0
    assert sum(out.short_by_cause.values()) == pytest.approx(out.short_hours, rel=1e-12)
    assert max(out.short_by_cause, key=lambda cause: out.short_by_cause[cause]) == "capacity"


def test_judging_changes_nothing(tmp_path: Path) -> None:
    """A, B, A gives the same A, bit for bit."""
    assembly = plant(tmp_path)
    design = design_days(assembly, dry_bulb(CHICAGO), 3, "drawn", 20)
    first = judge(design, assembly.plant)
    judge(design, assembly.plant._replace(modules=0))
    again = judge(design, assembly.plant)
    assert first._replace(source_c=again.source_c) == again
    assert np.array_equal(first.source_c, again.source_c)


def test_a_wet_well_starts_where_the_year_left_it() -> None:
    """The well at the start of the days is that of the year at the end of the hour before, exactly."""
    scenario = read_scenario(ROOT / "scenarios" / "wastewater.yaml").scenario
    weather = read_weather(scenario.site.weather)
    assembly = assemble(scenario, weather)
    design = design_days(assembly, coldest_on(40), 1, "none", scenario.building.apartments)
    state = assembly.state.well[0]
    year = march_years(assemble(scenario, weather), 1).last
    assert design.state.well[0] == year.source[SourceRow.WELL, 24 * int(design.days[0]) - 1]
    assert assembly.state.well[0] == state
