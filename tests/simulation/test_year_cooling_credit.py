"""What a machine in a cooled room saves its air conditioner: heat over COP, on every meter."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from answer_cases import PACKAGED
from cases import GREENSBORO, number

from hpwhsim.evaluation.emissions import bought
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import read_scenario

pytestmark = [pytest.mark.independent, pytest.mark.year]

ROOM = {
    "kind": "apartment",
    "floor_area": "90 m2",
    "loss_to_neighbours": "0 W/K",  # nobody else's cooling is saved
    "vent_flow": "0 m3/s",
    "heating": "gas",
    "cooling": "air-conditioner",
}


def cooled(folder: Path, cop: float) -> Result:
    """Two packaged units in a cooled room, with one price and one factor of electricity."""
    raw: dict[str, Any] = {
        "title": "invented test plant",
        "site": {"weather": str(GREENSBORO)},
        "building": {"apartments": 4},
        "hot_water": {"daily_use_per_apartment": "150 L", "draws": "smooth"},
        "plant": PACKAGED | {"source": {"kind": "room", "room": ROOM | {"cooling_cop": cop}}},
        "carbon": {"grid": "0.4 kg/kWh", "refrigerant": {"charge": "1.6 kg"}},
        "tariff": {"electricity": "0.25 USD/kWh", "fuel": "0.05 USD/kWh"},
        "run": {"steps_per_hour": 4},
    }
    path = folder / "cooled.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    return evaluate(read_scenario(path))


@pytest.fixture(scope="module")
def by_cop(tmp_path_factory: pytest.TempPathFactory) -> dict[float, Result]:
    folder = tmp_path_factory.mktemp("cooled")
    return {cop: cooled(folder, cop) for cop in (2.0, 4.0)}


@pytest.mark.slow
def test_electricity_saved_is_heat_not_removed_over_cop(by_cop: dict[float, Result]) -> None:
    """Definition of COP, hour by hour. The room itself does not know what its cooling buys."""
    for cop, found in by_cop.items():
        hourly = found.plant.year.hourly
        assert hourly["room_cooling_credit_kwh"] == pytest.approx(
            hourly["room_saved_cooling_kwh"] / cop, rel=1e-9, abs=1e-12
        )
        assert number(found.plant.year, "room_saved_cooling_kwh") > 100.0
    one, two = (found.plant.year for found in by_cop.values())
    assert np.array_equal(one.hourly["room_saved_cooling_kwh"], two.hourly["room_saved_cooling_kwh"])
    assert number(one, "electricity_kwh") == number(two, "electricity_kwh")
    ratio = number(one, "room_cooling_credit_kwh") / number(two, "room_cooling_credit_kwh")
    assert ratio == pytest.approx(2.0, rel=1e-9)


@pytest.mark.law
def test_no_more_cooling_is_saved_than_the_coil_took(by_cop: dict[float, Result]) -> None:
    """First law: what the air conditioner need not remove is part of what the machine removed."""
    record = by_cop[2.0].plant.year
    taken = number(record, "coil_sensible_kwh") + number(record, "coil_latent_kwh")
    assert number(record, "room_saved_cooling_kwh") < taken


def test_bill_and_carbon_move_by_the_credit_at_its_price_and_factor(by_cop: dict[float, Result]) -> None:
    """A twice as good air conditioner saves half: the rest at 0.25 USD and 0.4 kg CO2e a kWh is missing."""
    one, two = (by_cop[cop].plant.year for cop in (2.0, 4.0))
    less = 0.5 * number(one, "room_cooling_credit_kwh")
    assert less > 20.0
    for key, each in (("costs.room_usd", 0.25), ("carbon.room_kgco2e", 0.4)):
        more = float(str(two.record[key])) - float(str(one.record[key]))
        assert more == pytest.approx(each * less, rel=1e-6), key
    assert number(one, "cop_net") > number(two, "cop_net")


@pytest.mark.law
def test_the_buildings_meter_sees_the_credit_and_not_the_heat(
    by_cop: dict[float, Result], tmp_path: Path
) -> None:
    """Electricity of the room: gas heats it, so that only the cooling that is saved is left of it."""
    cooled(tmp_path, 4.0)
    scenario = read_scenario(tmp_path / "cooled.yaml").scenario
    room = bought(scenario, by_cop[4.0].plant.year).room_electricity
    saved = number(by_cop[4.0].plant.year, "room_saved_cooling_kwh")
    assert room.sum() == pytest.approx(-saved / 4.0, rel=1e-9)


def test_fuel_of_the_furnace_is_extra_heat_over_its_efficiency(by_cop: dict[float, Result]) -> None:
    """Definition of an efficiency, 0.9 of the table for gas: more is burnt than heat is missing."""
    hourly = by_cop[2.0].plant.year.hourly
    assert hourly["room_heating_penalty_kwh"] == pytest.approx(
        hourly["room_extra_heat_kwh"] / 0.9, rel=1e-9, abs=1e-12
    )
    assert number(by_cop[2.0].plant.year, "room_extra_heat_kwh") > 100.0
