"""What controls capture of the savings within reach: the limit of timing by hand, and whole plants."""

import json
from pathlib import Path

import numpy as np
import pytest
from cases import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.cli.main import main
from hpwhsim.control_bound.bound import bounded, least_weighed
from hpwhsim.control_bound.report import bound_text
from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year

pytestmark = pytest.mark.law

SCENARIOS = ROOT / "scenarios"
DEMO = SCENARIOS / "central-air.yaml"
LOAD = (
    "hot_water.daily_use_per_apartment=38 gal",
    "recirculation.loss_per_apartment=60 W",
    "plant.heat_pump.capacity=24 kW",
    "plant.storage.volume=900 gal",
    "hot_water.month_factors=none",
    "hot_water.day_spread=0.17",
)
"""Larger modules than the worked file has, more use (the same in every month) and less loop.

No charge runs on into the dear hours.
"""


@pytest.mark.independent
def test_least_by_hand() -> None:
    """Four kWh of a day, three of them in one hour: three at the lowest weight, 1, and one at the next, 2."""
    weights, electricity = np.full(8760, 5.0), np.zeros(8760)
    weights[24:27], electricity[24], electricity[26] = (2.0, 9.0, 1.0), 1.0, 3.0
    assert least_weighed(electricity, weights) == 3.0 * 1.0 + 1.0 * 2.0


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_order_of_a_days_hours_is_below_the_least(seed: int) -> None:
    """The same hours of each day in any other order, at weights of either sign; 1e-12 for rounding."""
    rng = np.random.default_rng(seed)
    weights = rng.normal(0.2, 0.3, 8760)
    electricity = rng.exponential(3.0, 8760) * (rng.random(8760) < 0.4)
    least = least_weighed(electricity, weights)
    days = electricity.reshape(365, 24)
    in_order = np.take_along_axis(
        -np.sort(-days, axis=1), np.argsort(np.argsort(weights.reshape(365, 24), axis=1), axis=1), axis=1
    )
    for other in (electricity, rng.permuted(days, axis=1).ravel(), in_order.ravel()):
        assert least <= (other * weights).sum() + 1e-12 * np.abs(other * weights).sum()


@pytest.mark.slow
@pytest.mark.year
def test_a_price_of_two_levels_is_nearly_exhausted() -> None:
    """Locked out in the dear hours by the clock: no schedule tried is better, and the limit lies within 1 %.

    Lock-outs by the clock that the search does not try, an hour longer than the dear hours at either end,
    save less than 0.1 % more: that of a charge that runs on.
    """
    found = bounded(read_scenario(DEMO, LOAD))
    assert found.share is not None
    assert 0.95 < found.share <= 1.0
    assert found.best.weighed <= found.control.weighed < found.free.weighed
    for schedule in (found.control, found.free, found.best):
        assert schedule.least_weighed <= schedule.weighed
    assert found.best.least_weighed > 0.99 * found.best.weighed
    free = run_year(read_scenario(DEMO, [*LOAD, "plant.controls.lock_outs=[]"])).hourly["electricity_kwh"]
    assert found.free.electricity_kwh == pytest.approx(free.sum(), rel=1e-9)
    for bars in ("16:00-21:00", "15:00-20:00"):
        other = bounded(read_scenario(DEMO, [*LOAD, f"plant.controls.lock_outs=['{bars}']"])).control
        assert other.weighed > 0.999 * found.best.weighed
    text = bound_text(found)
    assert "capture" in text
    assert all(len(line) <= 100 for line in text.splitlines())


@pytest.mark.year
@pytest.mark.long
@pytest.mark.independent
def test_time_of_use_is_a_signal_of_the_same_prices(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Prices of the tariff's blocks against the same by hand in a file; a signal of 24 hours bars none.

    The gas of a backup has its own price: what it costs in the year is the tariff's bill.
    """
    hour = np.arange(8760)
    price = np.where((hour % 24 >= 16) & (hour % 24 < 21), 0.45, 0.18)
    path = tmp_path / "price.csv"
    path.write_text("signal\n" + "\n".join(f"{v:.2f}" for v in price) + "\n")
    blocks = "[{price: 0.45 USD/kWh, hours: ['16:00-21:00']}, {price: 0.18 USD/kWh}]"
    bars = "plant.controls.lock_outs=['16:00-20:00']"
    tariff = bounded(read_scenario(DEMO, [bars, f"tariff={{electricity: {blocks}}}"]))
    signal = [bars, f"plant.controls.signal={path}", "plant.controls.signal_hours=24"]
    given_by_hand = bounded(read_scenario(DEMO, signal))
    assert (tariff.weight, given_by_hand.weight) == ("price", "signal")
    assert tariff[2:] == given_by_hand[2:]
    gas = [bars, "plant.backup.kind=gas", "plant.controls.lock_out_below='7 degC'"]
    tariff = bounded(read_scenario(DEMO, [*gas, f"tariff={{electricity: {blocks}, fuel: 1.50 USD/therm}}"]))
    therm = 29.30711  # kWh in 100,000 Btu (International Table), NIST SP 811, appendix B
    assert tariff.fuel_weight == pytest.approx(1.50 / therm, rel=1e-6)
    year = run_year(read_scenario(DEMO, gas)).hourly
    burnt, bought = year["fuel_kwh"].sum(), year["electricity_kwh"] - year.get("standby_kwh", 0.0)
    assert burnt > 1000.0
    expected = burnt * 1.50 / therm + (price * bought).sum()
    assert tariff.control.weighed == pytest.approx(expected, rel=1e-5)
    assert "energy charge, USD" in bound_text(tariff)
    assert main(["bound", str(DEMO), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["best"]["name"]


@pytest.mark.slow
@pytest.mark.year
def test_what_is_not_served_is_no_saving() -> None:
    """One hour of charging a day: a few percent of the heat, and so no share of a saving."""
    bars = ["plant.controls.charge_windows=['3:00-4:00']", "plant.controls.lock_outs=[]"]
    found = bounded(read_scenario(DEMO, ["plant.backup=null", *bars]))
    assert found.control.heat_kwh < 0.9 * found.free.heat_kwh
    assert found.control.weighed < found.best.weighed <= found.free.weighed
    assert found.share is None
    assert "less heat with the controls" in bound_text(found)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("gas-boiler", "bound: the plant has no heat pump"),
        ("split", "bound: no hour costs more than another"),
    ],
)
def test_what_is_refused(name: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        bounded(read_scenario(SCENARIOS / f"{name}.yaml", ()))
