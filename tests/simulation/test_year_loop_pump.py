"""The loop's pump on every meter: hourly energy, 15-minute power, peaks and the bill of power."""

from pathlib import Path

import numpy as np
import pytest
import yaml
from cases import central_air, number, run, series

from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year

pytestmark = [pytest.mark.independent, pytest.mark.year]

WATTS = 750.0
SCHEDULE = 'recirculation.schedule=["05:15-22:30"]'
LOOP = {"loss_per_apartment": "60 W", "return_height": 0.8}


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Year, Year]:
    """The same plant with a pump of 750 W and with one that takes nothing."""
    folder = tmp_path_factory.mktemp("pump")
    raw = central_air(folder) | {"recirculation": LOOP, "run": {"steps_per_hour": 4}}
    with_pump, without = (
        run(folder, raw, SCHEDULE, f"recirculation.pump_power={watts} W") for watts in (WATTS, 0.0)
    )
    return with_pump, without


def test_the_pump_is_in_every_quarter_of_its_hours(pair: tuple[Year, Year]) -> None:
    """From 5:15 to 22:30, averaged over its hour: 0.75 kW from 6 to 22 h, 3/4 of it from 5, half from 22."""
    with_pump, without = pair
    more = (with_pump.quarter_kw - without.quarter_kw).reshape(365, 24, 4)
    by_hand = np.zeros(24)
    by_hand[6:22], by_hand[5], by_hand[22] = 0.75, 0.75 * 0.75, 0.5 * 0.75
    assert more == pytest.approx(np.broadcast_to(by_hand[None, :, None], more.shape), abs=1e-9)


@pytest.mark.law
def test_quarters_and_hours_tell_the_same_energy(pair: tuple[Year, Year]) -> None:
    """Energy is the integral of power: the quarters make the hour's kWh; 17.25 h of 750 W a day."""
    for year in pair:
        hours = year.quarter_kw.reshape(8760, 4).mean(axis=1)
        assert hours == pytest.approx(year.hourly["electricity_kwh"], rel=1e-9, abs=1e-9)
        assert year.hourly["power_peak_kw"] == pytest.approx(year.quarter_kw.reshape(8760, 4).max(axis=1))
    more = number(pair[0], "electricity_kwh") - number(pair[1], "electricity_kwh")
    assert more == pytest.approx(365 * 17.25 * 0.75, rel=1e-9)
    assert number(pair[0], "recirculation_pump_kwh") == pytest.approx(365 * 17.25 * 0.75, rel=1e-9)


def test_the_peak_of_each_month_is_that_of_all_power(pair: tuple[Year, Year]) -> None:
    """Highest quarter of each month, re-added; by day it lies higher by the pump, never by more."""
    quarters = np.split(pair[0].quarter_kw, np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])[:] * 96)
    assert series(pair[0], "monthly.peak_kw") == [pytest.approx(float(q.max())) for q in quarters]
    for high, low in zip(series(pair[0], "monthly.peak_kw"), series(pair[1], "monthly.peak_kw"), strict=True):
        assert low <= high <= low + 0.75 + 1e-9
    assert number(pair[0], "peak_kw") > number(pair[1], "peak_kw")


def test_power_of_the_pump_is_billed(tmp_path: Path) -> None:
    """Demand charge in hours in which only the pump runs: twelve times 10 USD/kW for 0.75 kW are 90 USD."""
    raw = central_air(tmp_path) | {"recirculation": LOOP, "run": {"steps_per_hour": 4}}
    raw["plant"]["controls"] = {"lock_outs": ["12:00-15:00"]}
    raw["recirculation"] = LOOP | {"pump_power": f"{WATTS} W"}
    raw["tariff"] = {
        "electricity": "0.20 USD/kWh",
        "demand": [{"price": "10 USD/kW", "hours": ["12:00-15:00"]}],
    }
    path = tmp_path / "billed.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    found: Result = evaluate(read_scenario(path))
    assert found.record["costs.demand_usd"] == pytest.approx(90.0, rel=1e-9)
    energy = number(found.plant.year, "electricity_kwh")
    assert found.record["costs.electric_energy_usd"] == pytest.approx(0.20 * energy, rel=1e-9)
