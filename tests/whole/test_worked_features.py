"""The worked plant that uses every control, a cooled room and every form of incentive: each of them acts.

Each feature is taken out as `--set` does, and the year must move the way that physics says.
"""

from typing import Any

import numpy as np
import pytest
from cases import ROOT, number

from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.io.user_csv import read_hours
from hpwhsim.scenario.money import Incentive
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_years, year_of

pytestmark = [pytest.mark.law, pytest.mark.year]

FILE = ROOT / "scenarios" / "laundry-room.yaml"
QUICK = "run.steps_per_hour=4"
CONTROLS, ROOM = "plant.controls", "plant.source.room"
WITHOUT: dict[str, tuple[str, ...]] = {
    "boost": (f"{CONTROLS}.boost=", f"{CONTROLS}.boost_windows="),
    "outdoor reset": (f"{CONTROLS}.outdoor_reset=",),
    "signal": (f"{CONTROLS}.signal=", f"{CONTROLS}.signal_hours="),
    "pasteurising": (f"{CONTROLS}.pasteurise=",),
    "loop pump": ("recirculation.pump_power=0 W",),
    "cooling": (
        f"{ROOM}.cooling=none",
        f"{ROOM}.cooling_setpoint=",
        f"{ROOM}.cooling_cop=",
        f"{ROOM}.neighbour_cooling=none",
    ),
}
HOUR = np.arange(8760) % 24
WEEKDAY = np.arange(8760) // 24 % 7  # 1 January is a Monday
Without = dict[str, Year]


@pytest.fixture(scope="module")
def whole() -> Result:
    return evaluate(read_scenario(FILE, [QUICK]))


@pytest.fixture(scope="module")
def without() -> Without:
    """The year of the plant without each feature, all marched at once."""
    years = run_years(read_scenario(FILE, [QUICK, *overrides]) for overrides in WITHOUT.values())
    return dict(zip(WITHOUT, map(year_of, years), strict=True))


@pytest.mark.contract
def test_the_file_uses_what_it_is_there_for() -> None:
    """Every form of incentive of the schema is written; a key that is new there must come in here."""
    scenario = read_scenario(FILE).scenario
    controls, room, costs = scenario.plant.controls, scenario.plant.source.room, scenario.costs
    assert room is not None
    assert costs is not None
    assert scenario.recirculation is not None
    assert (room.cooling, scenario.recirculation.pump_power) == ("air-conditioner", 45.0)
    assert controls.boost > controls.dead_band  # a store that is full is charged on in a boost
    for key in ("boost_windows", "outdoor_reset", "signal", "pasteurise"):
        assert getattr(controls, key), key
    written = {key for one in costs.incentives for key in one.model_fields_set}
    assert written == set(Incentive.model_fields)


@pytest.mark.slow
@pytest.mark.contract
def test_every_year_closes_and_nobody_runs_short(whole: Result, without: Without) -> None:
    for name, year in {"whole": whole.plant.year, **without}.items():
        assert abs(number(year, "balance_error")) <= 1e-6, name
        assert number(year, "short_hours") == 0.0, name
        hours = year.quarter_kw.reshape(8760, 4).mean(axis=1)
        assert hours == pytest.approx(year.hourly["electricity_kwh"], rel=1e-9, abs=1e-9)


def test_the_boost_fills_the_store_with_hotter_water_in_its_window(whole: Result, without: Without) -> None:
    """6 K from 11 to 15 h: at its end the store is hotter, and hotter water costs COP (thermodynamics)."""
    other = without["boost"]
    at_end = HOUR == 14
    more = whole.plant.year.hourly["store_mean_c"][at_end] - other.hourly["store_mean_c"][at_end]
    assert more.mean() > 2.0
    inside = (HOUR >= 11) & (HOUR < 15)
    share, plain = (
        year.hourly["compressor_kwh"][inside].sum() / number(year, "compressor_kwh")
        for year in (whole.plant.year, other)
    )
    assert share > plain + 0.05
    assert number(whole.plant.year, "cop_heat_pump") < number(other, "cop_heat_pump")
    assert number(whole.plant.year, "storage_loss_kwh") > number(other, "storage_loss_kwh")


@pytest.mark.independent
def test_the_reset_store_is_hotter_in_the_cold_alone(whole: Result, without: Without) -> None:
    """3 K at -5 °C, nothing from 15 °C on."""
    other = without["outdoor reset"]
    more = whole.plant.year.hourly["store_top_c"] - other.hourly["store_top_c"]
    day = np.repeat(whole.plant.year.hourly["dry_bulb_c"].reshape(365, 24).mean(axis=1), 24)
    cold, mild = more[day < 0.0].mean(), more[day > 20.0].mean()
    assert cold > 1.0
    assert abs(mild) < 0.2
    assert number(whole.plant.year, "cop_heat_pump") < number(other, "cop_heat_pump")


def test_the_signal_moves_the_charge_to_its_low_hours(whole: Result, without: Without) -> None:
    """16 hours of a day, and hours as low as the last of them; the kWh weigh less on the signal."""
    signal = read_hours(ROOT / "scenarios" / "signals" / "sunny-grid.csv", {"signal": (-np.inf, np.inf)})
    by_day = signal["signal"].reshape(365, 24)
    barred = (by_day > np.sort(by_day, axis=1)[:, 15:16]).ravel()
    assert barred.sum() == pytest.approx(8 * 365, abs=100)
    assert whole.plant.year.hourly["run_hours"][barred].sum() == 0.0
    assert without["signal"].hourly["run_hours"][barred].sum() > 100.0
    mean = [
        float(np.average(signal["signal"], weights=year.hourly["compressor_kwh"]))
        for year in (whole.plant.year, without["signal"])
    ]
    assert mean[0] < mean[1]
    assert number(whole.plant.year, "lockout_hours") > number(without["signal"], "lockout_hours")


@pytest.mark.contract
def test_once_a_week_the_whole_store_is_hot(whole: Result, without: Without) -> None:
    """65 °C at the coldest place of the store, every Wednesday night, and only with resistance heat."""
    weeks: Any = whole.record["pasteurised_weeks"]
    other: Any = without["pasteurising"].record["pasteurised_weeks"]
    assert weeks["65 degC"] > 0.95 > 0.3 > other["65 degC"]
    night = (WEEKDAY == 2) & (HOUR >= 2) & (HOUR < 5)
    assert whole.plant.year.hourly["store_bottom_c"][(WEEKDAY == 2) & (HOUR == 4)].min() > 60.0
    more = whole.plant.year.hourly["resistance_kwh"] - without["pasteurising"].hourly["resistance_kwh"]
    assert more[night].sum() > 0.95 * more.sum() > 100.0
    assert number(whole.plant.year, "peak_kw") > number(without["pasteurising"], "peak_kw")


@pytest.mark.independent
def test_the_loop_pump_is_counted_and_no_more(whole: Result, without: Without) -> None:
    """45 W all year are 394.2 kWh, and 45 W at each quarter; its heat to the water is left out."""
    more = whole.plant.year.quarter_kw - without["loop pump"].quarter_kw
    assert more == pytest.approx(np.full(35040, 0.045), abs=1e-9)
    saved = number(whole.plant.year, "electricity_kwh") - number(without["loop pump"], "electricity_kwh")
    assert saved == pytest.approx(0.045 * 8760.0, rel=1e-9)
    assert number(whole.plant.year, "recirculation_pump_kwh") == pytest.approx(0.045 * 8760.0, rel=1e-9)


def test_a_cooled_room_gives_a_credit_in_summer(whole: Result, without: Without) -> None:
    """Without an air conditioner nothing is saved, and the room is warmer; the winter's penalty stays."""
    hourly, other = whole.plant.year.hourly, without["cooling"]
    credit = np.add.reduceat(hourly["room_cooling_credit_kwh"], np.array([0, 3624, 5832]))  # June to August
    assert credit[1] > 100.0
    assert credit[1] > credit[0] + credit[2]
    assert number(other, "room_cooling_credit_kwh") == 0.0
    assert other.hourly["room_c"].max() > hourly["room_c"].max() + 1.0
    winter = slice(0, 59 * 24)
    heating = [year.hourly["room_heating_penalty_kwh"][winter].sum() for year in (whole.plant.year, other)]
    assert heating[0] == pytest.approx(heating[1], rel=0.1)  # sun may warm it to its cooling in winter too
    assert heating[0] > 1000.0


@pytest.mark.independent
def test_each_incentive_pays_what_the_file_says(whole: Result) -> None:
    """By hand from the words of the file and the savings of the record; the credit is a share of capital."""
    record: Any = whole.record
    paid: dict[str, float] = record["costs.incentives_usd"]
    by_hand = {
        "invented grant": 2500.0,
        "invented rebate by home": 300.0 * 12,
        "invented rebate by size": 180.0 * 6 * 2.6,
        "invented payment for electricity": 0.10 * record["savings.electricity_kwh"],
        "invented payment for site energy": 12.0 * record["savings.site_mmbtu"],
        "invented tax credit": 0.3 * 62_000.0,
    }
    assert paid == pytest.approx(by_hand, rel=1e-9)
    assert min(paid.values()) > 0.0
    assert record["costs.extra_capital_usd"] == pytest.approx(62_000.0 - 24_000.0 - sum(by_hand.values()))


def test_without_incentives_the_plant_costs_what_they_paid(whole: Result) -> None:
    """Year 0 is not discounted: the whole sum comes back in net present value and extra capital."""
    bare = evaluate(read_scenario(FILE, [QUICK, "costs.incentives=[]"])).record
    record: Any = whole.record
    paid = sum(record["costs.incentives_usd"].values())
    assert "costs.incentives_usd" not in bare
    for key, sign in (
        ("costs.extra_capital_usd", 1.0),
        ("costs.present_value_usd", 1.0),
        ("costs.npv_usd", -1.0),
    ):
        assert float(str(bare[key])) == pytest.approx(record[key] + sign * paid, rel=1e-9), key


@pytest.mark.independent
def test_useful_heat_is_that_of_taps_and_loop(whole: Result) -> None:
    """Levelised cost by definition: all costs over the heat of both, 20 years at 3 % (textbook annuity).

    The loop has a third of the heat, so that leaving it out would show.
    """
    record: Any = whole.record
    annuity = (1.0 - 1.03**-20) / 0.03
    heat = (record["heat_to_taps_kwh"] + record["recirculation_loss_kwh"]) / 1000.0
    assert record["costs.heat_usd_per_mwh"] == pytest.approx(
        record["costs.present_value_usd"] / (heat * annuity), rel=1e-9
    )
    assert record["recirculation_loss_kwh"] > 0.1 * record["heat_to_taps_kwh"]


@pytest.mark.independent
def test_the_loop_keeps_its_valve_in_control() -> None:
    """12 x 85 W over a fall from 53.3 to 51.1 degC are 6.6 L/min: enough for a valve that needs 5, not 8."""
    least = "hot_water.tempering_min_flow"
    years = run_years(read_scenario(FILE, [QUICK, f"{least}={flow} L/min"]) for flow in (5, 8))
    enough, too_little = (number(year_of(year), "valve_uncontrolled_hours") for year in years)
    assert enough == 0.0
    assert too_little > 1000.0  # the hours of the night
