"""Sums, months, peaks and coefficients of a year whose every hour is written down by hand."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from numpy.typing import NDArray

from hpwhsim.account.energy import balance_error, by_month, peaks, performance, totals

pytestmark = pytest.mark.independent

HOURS = 8760


def year(**of_hours: float) -> dict[str, NDArray[np.float64]]:
    """Constant series, kWh in each hour."""
    return {name: np.full(HOURS, value) for name, value in of_hours.items()}


PLANT = {
    "heat_to_taps_kwh": 5.0,
    "recirculation_loss_kwh": 1.0,
    "electricity_kwh": 3.0,
    "fuel_kwh": 0.0,
    "heat_pump_heat_kwh": 6.3,
    "compressor_kwh": 1.5,
    "fan_kwh": 0.2,
    "pump_kwh": 0.3,
    "standby_kwh": 0.05,
    "trace_heating_kwh": 0.05,
    "recirculation_pump_kwh": 0.4,
    "resistance_kwh": 0.5,
}


SOURCE = (2.8, 1.05, 1.05)  # source over site energy of electricity, fuel and the room's gas; invented


def test_months_by_the_calendar() -> None:
    """Hours of each month of 2001, counted by the datetime module."""
    count = [0] * 12
    for hour in range(HOURS):
        count[(datetime(2001, 1, 1) + timedelta(hours=hour)).month - 1] += 1
    assert by_month(np.ones(HOURS)).tolist() == count


def test_coefficients_by_hand() -> None:
    """Plant (5 + 1) / 3 = 2; heat pump 6.3 / (1.5 + 0.2 + 0.3 + 0.05 + 0.05) = 3; loop and element apart."""
    found = performance(year(**PLANT), *SOURCE)
    assert found["cop_plant"] == pytest.approx(2.0)
    assert found["cop_heat_pump"] == pytest.approx(3.0)
    assert found["cop_net"] == found["cop_plant"]
    assert found["monthly.cop_plant"] == pytest.approx([2.0] * 12)


@pytest.mark.law
def test_every_part_of_a_heat_pump_lowers_its_coefficient() -> None:
    """Another 1 kWh an hour of any of its parts is 3.1 kWh: 6.3 / 3.1; of loop pump and element it is not."""
    own = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "trace_heating_kwh")
    for name in (*own, "recirculation_pump_kwh", "resistance_kwh"):
        found = performance(year(**PLANT | {name: PLANT[name] + 1.0}), *SOURCE)
        assert found["cop_heat_pump"] == pytest.approx(6.3 / 3.1 if name in own else 3.0), name


def test_a_credit_raises_and_a_penalty_lowers_the_net_coefficient() -> None:
    """Heat of 6 kWh; a penalty of 1 makes 4 of the 3 kWh bought, either credit of 1 makes 2."""
    for name, net in (
        ("room_heating_penalty_kwh", 4.0),
        ("room_cooling_credit_kwh", 2.0),
        ("dehumidifier_credit_kwh", 2.0),
    ):
        with_room, without = (performance(year(**PLANT | more), *SOURCE) for more in ({name: 1.0}, {}))
        moved = float(str(with_room["cop_net"])) - float(str(without["cop_net"]))
        assert (moved > 0.0) is (net < 3.0), name
        assert with_room["cop_plant"] == without["cop_plant"]


@pytest.mark.parametrize(
    ("quarter", "text", "month"),
    [
        (0, "01-01 00:00", 0),
        (4 * 744 - 1, "01-31 23:45", 0),
        (4 * 744, "02-01 00:00", 1),
        (96 * 58 + 95, "02-28 23:45", 1),
        (96 * 59, "03-01 00:00", 2),
        (35_039, "12-31 23:45", 11),
    ],
)
def test_a_peak_has_the_time_at_which_its_quarter_starts(quarter: int, text: str, month: int) -> None:
    power = np.ones(35_040)
    power[quarter] = 9.0
    found = peaks(power)
    assert (found["peak_kw"], found["peak_time"]) == (9.0, text)
    expected = [1.0] * 12
    expected[month] = 9.0
    assert found["monthly.peak_kw"] == expected


@pytest.mark.law
def test_sums_of_the_year_are_those_of_its_hours() -> None:
    found = totals(year(**PLANT))
    assert found == {name: pytest.approx(HOURS * value) for name, value in PLANT.items()}


def test_balance_by_hand() -> None:
    """60 + 30 + 10 in; 70 + 15 + 5 out and 8 left in the store: 2 of 100 are missing."""
    record = {
        "heat_pump_heat_kwh": 60.0,
        "backup_heat_kwh": 30.0,
        "loop_heater_heat_kwh": 10.0,
        "heat_to_taps_kwh": 70.0,
        "recirculation_loss_kwh": 15.0,
        "storage_loss_kwh": 5.0,
    }
    assert balance_error(record, 8.0) == pytest.approx(0.02)
    assert balance_error(record, 10.0) == pytest.approx(0.0, abs=1e-15)
    for name in record:
        assert balance_error(record | {name: record[name] + 1.0}, 10.0) != pytest.approx(0.0, abs=1e-4), name
