"""Whole years on sewage: heat is limited by what flowed by, winter is the worst season, exchangers foul."""

from pathlib import Path
from typing import Any

import cases
import numpy as np
import pytest
from cases import CHICAGO, GOLDEN, GREENSBORO, HEAVY_USE, ROOT, SAND_POINT, cautions, number, series

from hpwhsim.account.energy import by_month
from hpwhsim.climate.mains import mains_temperature
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year
from hpwhsim.source import drains

pytestmark = [pytest.mark.law, pytest.mark.year]
SEWAGE = "plant.source.wastewater."
SMOOTH = "hot_water.draws=smooth"
TIGHT = SEWAGE + "drain_loss=0 W/K"  # drains that lose nothing
RHO_CP = 988.035 * 4181.3  # J/m³K: water of 50 °C by IAPWS


def worked(name: str, *overrides: str) -> Year:
    """A worked file in a building that uses more hot water."""
    return cases.worked(name, *HEAVY_USE, *overrides)


def monthly_mean(values: np.ndarray) -> np.ndarray:
    return by_month(values) / by_month(np.ones(8760))


def write_sewer(path: Path, flow: np.ndarray, temperature: np.ndarray) -> str:
    """An invented street sewer; returns the override that puts a plant on it."""
    rows = [f"{a:.9g},{b:.9g}" for a, b in zip(flow.tolist(), temperature.tolist(), strict=True)]
    path.write_text("# invented\nflow_m3_per_h,temperature_c\n" + "\n".join(rows) + "\n")
    return f"plant.source.wastewater={{sewer: {path}, min_temperature: 8 degC"


@pytest.fixture(scope="session")
def own() -> Year:
    """The building's own drains and wet well."""
    return worked("wastewater", SMOOTH)


@pytest.mark.slow
def test_a_sewer_gives_no_more_than_flows_by(tmp_path: Path) -> None:
    """Each hour: heat taken <= rho c V (T - floor), and reached in thin hours; nothing is carried over.

    The year to 5e-5, an hour to 0.2 %: the machine runs for the share of a minute that the water of that
    minute allows, found before its water moves; what it takes too much it takes less in the next.
    """
    rng = np.random.default_rng(1)
    flow = np.where(rng.random(8760) < 0.3, 0.3, 2.0)
    warm = 12.0 + 5.0 * np.sin(2.0 * np.pi * (np.arange(8760) / 8760.0 - 0.3))
    year = worked("wastewater", write_sewer(tmp_path / "sewer.csv", flow, warm) + "}")
    offered = RHO_CP * year.hourly["sewage_m3"] * np.maximum(year.hourly["sewage_c"] - 8.0, 0.0) / 3.6e6
    taken = year.hourly["source_heat_kwh"]
    assert np.all(taken <= offered * 1.002 + 1e-9)
    assert (taken - offered).clip(0.0).sum() < 5e-5 * offered.sum()
    assert (taken > 0.98 * offered).sum() > 1000
    assert taken[year.hourly["sewage_c"] < 8.0].max() <= 1e-9
    assert number(year, "sewage_heat_above_floor_kwh") < offered.sum() + 1.0
    # the sewage of a step is rounded to six digits: 5.3e-6
    assert year.hourly["sewage_m3"] == pytest.approx(flow, rel=5.4e-6)
    assert "the sewage limits the heat in" in cautions(year)


def test_a_well_gives_no_more_than_a_year_brings(own: Year) -> None:
    """Over the year heat taken <= rho c V (T - floor) plus what the well held; and no well below its floor.

    Balance of the well, re-added from the hourly results: inflow less overflow less wall is what was taken.
    """
    store = RHO_CP * 1500 * 3.785411784e-3 / 3.6e6 * (own.hourly["well_c"].max() - 5.0)
    inflow = RHO_CP * (own.hourly["sewage_m3"] * np.nan_to_num(own.hourly["sewage_c"] - 5.0)).sum() / 3.6e6
    assert number(own, "sewage_heat_above_floor_kwh") == pytest.approx(inflow, rel=1e-9)
    assert number(own, "source_heat_kwh") <= inflow + store
    # the share of a minute is found before its water moves
    assert own.hourly["well_c"].min() >= 5.0 - 0.005


def test_sewage_is_all_the_water_and_never_warmer_than_its_mixture(own: Year) -> None:
    """T <= T_c + f (T_use - T_c) + (1 - f) pick-up over the year, V = all water less screenings (0.05).

    Mass balance, with drains that lose nothing; f is the share of use water, whose heat is at most all there
    (heat_left 0.85 of it).
    """
    weather = read_weather(CHICAGO)
    mains = mains_temperature(weather["dry_bulb_c"].values, weather.attrs["latitude"]).mean()
    use = 32 * 38 * 3.785411784e-3
    tight = worked("wastewater", SMOOTH, TIGHT)
    volume = number(tight, "sewage_m3") / 0.95 / 365.0
    assert volume > use
    share, use_c = use / volume, (120.0 - 32.0) / 1.8
    heat_left = 0.85 * share * (use_c - mains)
    picked_up = (1.0 - share) * 3.0
    mean = number(tight, "sewage_mean_c")
    assert mains + heat_left < mean <= mains + heat_left + picked_up + 0.05
    # and the default's drains lose e^(-UA/C) of what is above rooms and soil; soil by the mean of the air
    kept = np.exp(-32 * 27.0 / (RHO_CP * volume / 86400.0))
    around = 0.5 * (20.0 + float(weather["dry_bulb_c"].mean()))
    assert number(own, "sewage_mean_c") == pytest.approx(around + kept * (mean - around), abs=0.05)


def test_late_winter_is_the_worst_season(own: Year) -> None:
    """Mains water is coldest in late winter: then sewage and COP are lowest, and the heat runs out."""
    sewage = by_month(own.hourly["sewage_c"] * own.hourly["sewage_m3"]) / by_month(own.hourly["sewage_m3"])
    well = monthly_mean(own.hourly["well_c"])
    cop = series(own, "monthly.cop_plant")
    assert int(np.argmin(sewage)) in (0, 1, 2)
    assert well[[1, 2, 3]].max() < 5.0 + 0.02  # at its floor from February to April
    assert int(np.argmin(cop)) in (1, 2)
    spent = by_month(own.hourly["source_spent_hours"])
    assert spent[:3].sum() > 1.2 * spent[6:9].sum()
    assert sewage.max() - sewage.min() > 5.0


@pytest.mark.independent
def test_less_hot_use_cools_the_sewage() -> None:
    """At the same whole flow: half the use water (replaced by cold) lowers the mean by half its heat.

    f (T_use - T_c) x 0.85 x 1/2, less the pick-up of what replaces it: 3 K, and less in summer, when 20 degC
    end it. A source temperature that does not know the draws would not move.
    """
    full = worked("wastewater", SMOOTH, TIGHT, SEWAGE + "cold_use_per_apartment=41 gal")
    half = worked(
        "wastewater",
        SMOOTH,
        TIGHT,
        "hot_water.daily_use_per_apartment=19 gal",
        SEWAGE + "cold_use_per_apartment=60 gal",
    )
    assert number(full, "sewage_m3") == pytest.approx(number(half, "sewage_m3"), rel=5e-6)
    weather = read_weather(CHICAGO)
    mains = mains_temperature(weather["dry_bulb_c"].values, weather.attrs["latitude"]).mean()
    heat = 0.85 * ((120.0 - 32.0) / 1.8 - mains)
    fallen = number(full, "sewage_mean_c") - number(half, "sewage_mean_c")
    assert 19.0 / 79.0 * (heat - 3.0) < fallen < 19.0 / 79.0 * (heat - 1.5)


@pytest.mark.slow
@pytest.mark.independent
def test_fouling_is_seen_month_by_month(tmp_path: Path) -> None:
    """An ample sewer of 15 degC, exchanger cleaned on 1 January and 1 July: the loop falls by the month.

    Exchanger theory: the mean difference is heat over conductance, so the fall follows 1 / (1 - fouling), and
    after cleaning the months repeat. Monthly means of the machine's source against a clean exchanger.
    """
    plant = write_sewer(tmp_path / "sewer.csv", np.full(8760, 30.0), np.full(8760, 15.0))
    fouled, clean = (
        worked("wastewater", SMOOTH, plant + more)
        for more in (", cleaning_interval: 6, fouling_growth: linear}", ", fouling: 0, max_fouling: 0}")
    )
    running = clean.hourly["run_hours"] > 0.5
    both = running & (fouled.hourly["run_hours"] > 0.5)
    lost = clean.hourly["source_c"] - fouled.hourly["source_c"]
    month = np.repeat(np.arange(12), np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24)
    by = np.array([lost[both & (month == m)].mean() for m in range(12)])
    assert np.all(by > 0.0)
    assert by[1] > by[0]
    assert by[5] > by[0] + 0.1
    assert by[6] < by[5]  # cleaned; the coil takes other heat in July
    assert number(fouled, "cop_plant") < number(clean, "cop_plant")


@pytest.mark.independent
def test_grinding_and_pumping_are_booked(own: Year) -> None:
    """Grinding: J/m3 times the sewage that comes to the well, beside the pumps."""
    none = worked("wastewater", SMOOTH, SEWAGE + "grinding=0 Wh/m3")
    ground = number(own, "source_pump_kwh") - number(none, "source_pump_kwh")
    assert ground == pytest.approx(0.020 * number(own, "sewage_m3"), rel=1e-9)
    assert number(none, "pump_kwh") == number(none, "source_pump_kwh")


def test_without_a_clean_loop_the_machine_is_nearer_to_the_sewage(own: Year) -> None:
    """One exchange less: a warmer evaporator, a better COP, one pump less."""
    direct = worked("wastewater", SMOOTH, SEWAGE + "clean_loop=false")
    assert number(direct, "cop_heat_pump") > number(own, "cop_heat_pump")
    assert number(direct, "source_pump_kwh") < number(own, "source_pump_kwh")


def default_months(weather: Path) -> tuple[np.ndarray, np.ndarray]:
    """Monthly means of the worked building's sewage by default in a climate, and of its mains. [°C]"""
    overrides = (*HEAVY_USE, SMOOTH, f"site.weather={weather}")
    scenario = read_scenario(ROOT / "scenarios" / "wastewater.yaml", overrides).scenario
    drive = assemble(scenario, read_weather(weather)).drive
    flow = drive.sewage.reshape(8760, -1)
    heat = (drive.sewage * drive.sewage_temperature).reshape(8760, -1)
    return by_month(heat.sum(axis=1)) / by_month(flow.sum(axis=1)), monthly_mean(drive.mains)


@pytest.mark.published
@pytest.mark.parametrize("weather", [CHICAGO, GOLDEN, GREENSBORO, SAND_POINT], ids=lambda p: p.name[:10])
def test_default_sewage_runs_as_drains_and_sewers_do(weather: Path) -> None:
    """10 to 21 degC in every month (common practice, no source), or no warmer than mains water above that."""
    months, mains = default_months(weather)
    assert months.min() > 10.0
    assert months.max() < max(21.0 + 0.1, mains.max())


@pytest.mark.published
def test_default_sewage_of_other_climates(shared: Path) -> None:
    """As above in the trial's climates; where the mains alone leaves the range, at most as far above it.

    Phoenix and Miami have mains of 30 degC and more in summer: no sewage of theirs is at 21.
    """
    tried = 0
    for weather in sorted((shared / "weather").glob("*-*")):
        months, mains = default_months(weather)
        assert months.min() > 10.0, weather.name
        assert months.max() < max(21.5, mains.max() + 0.5), weather.name
        tried += 1
    assert tried >= 10


def test_swing_of_sewage_that_nobody_measured(own: Year, monkeypatch: pytest.MonkeyPatch) -> None:
    """The year at 10 and at 21 degC is that of drains which deliver just that; the year lies between."""
    ends = [number(own, f"sewage_{end}_electricity_kwh") for end in ("min", "max")]
    assert ends[0] > number(own, "electricity_kwh") > ends[1]
    assert (
        number(own, "sewage_min_cop_plant") < number(own, "cop_plant") < number(own, "sewage_max_cop_plant")
    )
    said = cautions(own)
    assert "sewage not measured" in said
    assert f"at 10 degC all year the plant purchases {ends[0]:,.0f} kWh" in said
    assert f"at 21 degC all year the plant purchases {ends[1]:,.0f} kWh" in said
    drained = drains.building_sewage

    def cold(*args: Any, **more: Any) -> drains.Sewage:
        found = drained(*args, **more)
        return found._replace(temperature=np.full(found.flow.size, 10.0))

    monkeypatch.setattr(drains, "building_sewage", cold)
    assert number(worked("wastewater", SMOOTH), "electricity_kwh") == pytest.approx(ends[0], rel=1e-9)


@pytest.mark.contract
def test_measured_sewage_has_no_swing(tmp_path: Path) -> None:
    """A sewer's series, or the loss of the drains in the scenario: no years at 10 and 21 degC, no caution."""
    sewer = write_sewer(tmp_path / "sewer.csv", np.full(8760, 3.0), np.full(8760, 14.0))
    for year in (worked("wastewater", SMOOTH, sewer + "}"), worked("wastewater", SMOOTH, TIGHT)):
        assert not [
            key for key in year.record if key.startswith("sewage_m") and key.endswith(("kwh", "plant"))
        ]
        assert "sewage not measured" not in cautions(year)
