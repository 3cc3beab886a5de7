"""The bound of whole plants: below every march, and where there is a closed form, equal to it."""

from pathlib import Path

import numpy as np
import pytest
import yaml
from cases import CHICAGO, GOLDEN, GREENSBORO, ROOT, SAND_POINT, central_air
from hypothesis import given, settings
from hypothesis import strategies as st
from layer_cases import column, filled, temperatures, volumes

from hpwhsim.errors import InputError
from hpwhsim.report.bound import bound_text
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.storage.layers import add_head, take_foot, take_head
from hpwhsim.storage.order import settle
from hpwhsim.storage.still import conduct, enter, lose, stir_feet
from hpwhsim.study.bound import Bounded, bounded
from hpwhsim.study.grade import Scale, of_taps
from hpwhsim.study.year import run_year

SCENARIOS = ROOT / "scenarios"
WITH_HEAT_PUMP = [
    path
    for path in sorted(SCENARIOS.glob("*.yaml"))
    if "heat_pump" in (yaml.safe_load(path.read_text()).get("plant") or {})
]

SLOW = {"banked-split", "hybrid", "laundry-room", "packaged-test", "sizing"}  # like another, or one of GOOD


def found(name: str, *overrides: str, weather: Path | None = None) -> Bounded:
    """The bound of a worked scenario, which no control may pass."""
    bound = bounded(read_scenario(SCENARIOS / f"{name}.yaml", overrides, weather))
    assert bound.converged, bound.message
    assert bound.bound <= min(bound.control, bound.free)
    assert bound.share is None or bound.share <= 1.0
    return bound


@pytest.mark.year
@pytest.mark.parametrize(
    "path",
    [pytest.param(path, marks=pytest.mark.long if path.stem in SLOW else ()) for path in WITH_HEAT_PUMP],
    ids=lambda path: path.stem,
)
def test_no_worked_scenario_beats_its_bound(path: Path) -> None:
    """Every scenario with a heat pump, as it is written and free; and the bound is no trivial one."""
    bound = found(path.stem)
    assert bound.bound > 0.4 * bound.control
    text = bound_text(bound)
    assert all(line in text for line in bound.relaxed)


@pytest.mark.year
@pytest.mark.parametrize(
    "weather",
    [CHICAGO, *(pytest.param(path, marks=pytest.mark.long) for path in (GOLDEN, GREENSBORO, SAND_POINT))],
    ids=lambda path: path.stem[:7],
)
def test_the_second_balance_stays_below_the_march_with_a_loop(weather: Path) -> None:
    """R-744 in one pass with the loop returned into the store: high and low in it, hot and lukewarm.

    High and hot in Chicago is the worked scenario, above.
    """
    if weather != CHICAGO:
        found("central-air", weather=weather)
    found(
        "central-air", "recirculation.return_height=0.2", "plant.storage.setpoint=132 degF", weather=weather
    )


LOOP_HEAT_PUMP = (
    "{refrigerant: R-134a, capacity: 9 kW, cop: 3.0, condenser: multi-pass, "
    "rated_at: {source: 7 degC, water_in: 45 degC, water_out: 50 degC}}"
)
SIGNAL = "plant.controls.signal=price.csv"
ALL_HOURS = "plant.controls.signal_hours=24"
GOOD = [
    ("central-air", ["plant.controls.charge_windows=['11:00-17:00']", "plant.backup.power=5 kW"]),
    ("central-air", [SIGNAL, "plant.controls.signal_hours=8"]),
    (
        "central-air",
        [
            "plant.heat_pump.condenser=multi-pass",
            "plant.heat_pump.refrigerant=R-134a",
            "plant.backup.mode=series",
        ],
    ),
    (
        "loop-tank",
        ["recirculation.loop_tank.connection=parallel", "recirculation.loop_tank.setpoint=140 degF"],
    ),
    ("packaged", ["plant.backup.kind=gas", "plant.backup.mode=series", "plant.backup.height=null"]),
    ("packaged-test", ["plant.heat_pump.condenser_height=1", "plant.storage.inlet_mixing=0"]),
    ("packaged", ["plant.source.room.exhaust=outdoors", "plant.source.room.kind=closet"]),
    ("ground", ["run.years=2", SIGNAL]),
]
MORE = [
    ("central-air", ["plant.controls.boost=8 K", "plant.controls.boost_windows=['12:00-16:00']"]),
    ("central-air", ["plant.controls.defrosts=staggered", "plant.heat_pump.turndown=0.4"]),
    ("central-air", ["plant.heat_pump.fan_power=600 W", "plant.heat_pump.pump_power=200 W"]),
    ("hybrid", [SIGNAL, "plant.controls.signal_hours=10"]),
    ("loop-tank", [SIGNAL, "plant.controls.signal_hours=10"]),
    (
        "loop-tank",
        ["recirculation.loop_tank.power=null", f"recirculation.loop_tank.heat_pump={LOOP_HEAT_PUMP}"],
    ),
    ("split", ["plant.controls.charge_windows=['11:00-16:00']"]),
    (
        "split",
        [
            "plant.storage.setpoint=125 degF",
            "plant.controls.sensor_height=0.9",
            "plant.controls.stop_height=0.7",
        ],
    ),
    ("packaged-test", ["plant.controls.charge_windows=['11:00-18:00']"]),
    ("packaged", ["plant.source.room.intake=outdoors"]),
    ("packaged", ["plant.source.room.kind=apartment"]),
    ("wastewater", ["plant.controls.charge_windows=['9:00-15:00', '19:00-24:00']"]),
]


@pytest.fixture(scope="module")
def price(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented price: dear in the evening, below nothing at noon of some days, not the same every day."""
    hour = np.arange(8760)
    values = np.where((hour % 24 >= 16) & (hour % 24 < 21), 0.45, 0.18) + 0.04 * np.sin(hour / 50.0)
    values[(hour % 24 == 12) & (hour // 24 % 9 == 0)] = -0.05
    path = tmp_path_factory.mktemp("signal") / "price.csv"
    path.write_text("# invented\nsignal\n" + "\n".join(f"{v:.5f}" for v in values) + "\n")
    return path


@pytest.mark.year
@pytest.mark.parametrize(
    ("name", "overrides"),
    [*GOOD, *(pytest.param(*more, marks=pytest.mark.long) for more in MORE)],
    ids=lambda value: str(value)[:60],
)
def test_no_good_control_or_other_plant_beats_its_bound(name: str, overrides: list[str], price: Path) -> None:
    """Windows in the warm hours, signals, small hot stores, ducts, other passes: what comes nearest."""
    found(name, *(text.replace("price.csv", str(price)) for text in overrides))


@pytest.mark.year
def test_constant_cop_and_no_loss_is_heat_over_cop(tmp_path: Path) -> None:
    """First law: a machine of COP 3 at all waters, a store without loss.

    The bound is a third of what was drawn and what is stored more at the end, which is also what the march
    took, for it has nothing to do wrong.

    1e-6: the balance of the march.
    """
    raw = central_air(tmp_path)
    raw["plant"]["storage"]["heat_loss"] = "0 W/K"
    path = tmp_path / "case.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    bound = bounded(read_scenario(path, ()))
    assert bound.converged
    assert bound.bound == pytest.approx(bound.control, rel=1e-6)
    assert bound.free == bound.control


@pytest.mark.year
@pytest.mark.long
def test_a_loop_tank_that_stays_warm_holds_its_heat_pump(price: Path) -> None:
    """Its machine heats what the loop keeps warm: the bound is no more that of cold water.

    The loop's share of the heat is never made better than at the return less what a step cools (by hand from
    the map): with the tank's heat pump the bound was 0.37 of what the controls take without that. It is above
    0.4: a loop that follows its supply may be served colder in hours in which its tank gave less than it can.
    Small tanks, which cool most in a step, and bars come nearest.
    """
    pump = ["recirculation.loop_tank.power=null", f"recirculation.loop_tank.heat_pump={LOOP_HEAT_PUMP}"]
    bound = found("loop-tank", *pump)
    assert bound.bound > 0.4 * bound.control
    found("loop-tank", *pump, "recirculation.loop_tank.volume=60 gal", "plant.storage.setpoint=137 degF")
    found(
        "loop-tank", *pump, "recirculation.schedule=['6:00-22:00']", SIGNAL.replace("price.csv", str(price))
    )


@pytest.mark.year
@pytest.mark.long
def test_time_of_use_is_a_signal_of_the_same_prices(tmp_path: Path) -> None:
    """Prices of the tariff's blocks against the same by hand in a file; a signal of 24 hours bars none.

    The gas of a backup in series has its own price: what it costs in the march is the tariff's bill.
    """
    hour = np.arange(8760)
    price = np.where((hour % 24 >= 16) & (hour % 24 < 21), 0.45, 0.18)
    (tmp_path / "price.csv").write_text("signal\n" + "\n".join(f"{v:.2f}" for v in price) + "\n")
    blocks = "[{price: 0.45 USD/kWh, hours: ['16:00-21:00']}, {price: 0.18 USD/kWh}]"
    bars = "plant.controls.lock_outs=['16:00-20:00']"
    tariff = found("central-air", bars, f"tariff={{electricity: {blocks}}}")
    signal = found("central-air", bars, SIGNAL.replace("price.csv", str(tmp_path / "price.csv")), ALL_HOURS)
    assert (tariff.weight, signal.weight) == ("price", "signal")
    for key in ("control", "free", "bound", "share"):
        assert getattr(tariff, key) == pytest.approx(getattr(signal, key), rel=1e-9)
    gas = [bars, "plant.backup.kind=gas", "plant.heat_pump.lowest_source='7 degC'"]
    tariff = found("central-air", *gas, f"tariff={{electricity: {blocks}, fuel: 1.50 USD/therm}}")
    therm = 29.30711  # kWh in 100,000 Btu (International Table), NIST SP 811, appendix B
    assert tariff.fuel_weight == pytest.approx(1.50 / therm, rel=1e-6)
    year = run_year(read_scenario(SCENARIOS / "central-air.yaml", gas)).hourly
    burnt, bought = year["fuel_kwh"].sum(), year["electricity_kwh"] - year.get("standby_kwh", 0.0)
    assert burnt > 1000.0
    expected = burnt * 1.50 / therm + (price * bought).sum()
    assert tariff.control == pytest.approx(expected, rel=1e-5)
    assert "energy charge, USD" in bound_text(tariff)


@pytest.mark.year
def test_what_is_not_served_is_no_saving() -> None:
    """One hour of charging a day: a few percent of the heat, and so no share of a saving."""
    bound = found(
        "central-air",
        "plant.backup=null",
        "plant.controls.charge_windows=['3:00-4:00']",
        "plant.controls.lock_outs=[]",
    )
    assert bound.heat_kwh[0] < 0.9 * bound.heat_kwh[1]
    assert bound.control < bound.free
    assert bound.share is None
    assert "less heat with the controls" in bound_text(bound)


def test_a_plant_without_heat_pump_is_refused() -> None:
    with pytest.raises(InputError, match="bound: the plant has no heat pump"):
        bounded(read_scenario(SCENARIOS / "gas-boiler.yaml", ()))


SCALES = (Scale(20.0, 65.0), Scale(20.0, 25.0))


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    stirred=st.sampled_from([0.0, 0.1]),
    tanks=st.sampled_from([1, 3]),
    scale=st.sampled_from(SCALES),
    sharp=st.booleans(),
)
def test_the_moving_layers_do_not_make_grade(
    seed: int, stirred: float, tanks: int, scale: Scale, sharp: bool
) -> None:
    """Second law on the march's own store: draws and charges of any size, stirring, conduction and loss.

    What is left over flows in less flows out may not grow: water of one temperature is all that a layer
    knows, so that every joining of layers loses. 1e-9 of the store's grade for rounding.
    """
    rng = np.random.default_rng(seed)
    slices, cold, hot = 48, 8.0, 65.0
    level = (
        np.where(np.arange(slices) < rng.integers(2, 46), cold, hot)
        if sharp
        else rng.uniform(cold, hot, slices)
    )
    of = column(stirred=stirred, tanks=tanks)
    store = filled(of, *np.sort(level))

    def held() -> float:
        return float((volumes(store) * scale.worth(temperatures(store))).sum())

    balance = held() + 1e-9 * float(scale.worth(hot) - scale.worth(cold))
    for _ in range(300):
        volume = float(rng.exponential(0.01)) + 1e-6
        if rng.random() < 0.5:
            mains = rng.uniform(cold, 15.0)
            out = take_head(store, volume)
            enter(store, of, volume, mains)
            if stirred > 0.0:
                stir_feet(store, of, volume, 0.0, 0.5)
            balance += volume * float(scale.worth(mains) - scale.worth(out / volume))
        else:
            out = take_foot(store, volume)
            add_head(store, volume, hot)
            balance += volume * float(scale.worth(hot) - scale.worth(out / volume))
        settle(store, of)
        conduct(store, of, 3600.0)
        lose(store, of.room, 0.001)
        assert held() <= balance


@given(
    room=st.floats(0.0, 30.0),
    cap=st.floats(0.0, 60.0),
    mains=st.floats(1.0, 25.0),
    kwh=st.floats(0.01, 5.0),
    water=st.floats(0.02, 0.4),
    share=st.floats(0.2, 1.0),
)
def test_grade_of_taps(room: float, cap: float, mains: float, kwh: float, water: float, share: float) -> None:
    """Less water for the same heat is hotter and takes more grade; it is convex in the heat."""
    scale = Scale(room, room + cap)

    def one(heat: float, volume: float) -> tuple[float, float]:
        grade, slope = of_taps(scale, np.array([heat]), np.array([volume]), np.array([mains]))
        return float(grade[0]), float(slope[0])

    grade, slope = one(kwh, water)
    assert one(kwh, share * water)[0] >= grade - 1e-9 * (1.0 + abs(grade))
    less = one(0.999 * kwh, water)[0]
    assert grade - less <= 0.001 * kwh * slope + 1e-9 * (1.0 + abs(grade))  # convex: below its end's slope
    assert one(0.0, water)[0] == 0.0
