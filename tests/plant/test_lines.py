"""Water lines outdoors between two runs: closed forms, a recount from the pattern of runs, and laws."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO, central_air
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.arrays import Drive, Hourly
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.plant.march import march
from hpwhsim.plant.standing import cool, kept
from hpwhsim.scenario.reading import scenario_from
from hpwhsim.sizing.design_days import _cut
from hpwhsim.source.outdoor_lines import Trace, WaterLine, surroundings

pytestmark = pytest.mark.law

Array = NDArray[np.float64]

BARE = -math.inf
LINE = WaterLine(15.0, 0.0266, 0.0286)  # invented: 1 in copper tube, 15 m
WINTER = np.arange(8, 14)  # days of January
SUMMER = np.arange(195, 201)


# --- one stop --------------------------------------------------------------------------------------------


@pytest.mark.independent
@given(st.floats(0.0, 30.0))
def test_what_is_kept_is_the_exponential(times: float) -> None:
    """exp(-x), by arithmetic alone: 1e-10 up to half a time constant, 1e-5 for ever."""
    assert kept(times) == pytest.approx(math.exp(-times), abs=1e-10 if times <= 0.5 else 1e-5)


@pytest.mark.independent
def test_one_stop_by_hand() -> None:
    """15 m of 1 in tube there and back, 60 and 15 degC, air at -10 degC, standing 2 h.

    A metre holds 4.18e6 pi/4 0.0266^2 + 3.45e6 pi/4 (0.0286^2 - 0.0266^2) = 2322.9 + 299.2 = 2622.1 J/K,
    and lets 1 W pass per ln(0.0393/0.0143) / (2 pi 0.038) + 1 / (2 pi 0.0393 25) = 4.234 + 0.162 = 4.396 K:
    time constant 11,527 s. Lost: 15 m 2622.1 J/mK (70 + 25) K (1 - exp(-7200/11527)) = 1.736 MJ.
    """
    left = [60.0, 15.0]
    for _ in range(7200 // 60):
        left = [cool(pipe, -10.0, BARE, BARE, kept(60.0 / LINE.time_constant))[0] for pipe in left]
    lost = LINE.length_m * LINE.holds * (75.0 - sum(left))
    assert lost == pytest.approx(1.736e6, rel=1e-3)
    fall = 95.0 * -math.expm1(-7200.0 / LINE.time_constant)
    assert lost == pytest.approx(LINE.length_m * LINE.holds * fall, rel=1e-10)


@pytest.mark.independent
def test_a_trace_that_holds_ends_the_fall() -> None:
    """Held at 5 degC in air of -10 degC: from 20 degC the pipe gets there after tau ln(30/15), and stays."""
    pipe, held, part = 20.0, 0.0, 60.0
    for _ in range(600):
        pipe, share = cool(pipe, -10.0, 5.0, 5.0, kept(part / LINE.time_constant))
        held += share * part
    assert pipe == 5.0
    # within the part in which it gets there the fall is taken as straight: a small share of a minute
    assert 600 * part - held == pytest.approx(LINE.time_constant * math.log(2.0), abs=0.1)


@pytest.mark.independent
def test_a_trace_too_small_lets_the_pipe_fall_to_what_it_holds() -> None:
    """2 W/m over 4.396 mK/W hold 8.79 K above air of -10 degC: -1.2 degC, and water stays at 0 degC."""
    weak = Trace(2.0)
    found = surroundings(LINE, np.array([-10.0, 2.0, 20.0]), weak)
    assert found.hold_c.tolist() == [5.0, 5.0, -math.inf]
    assert found.floor_c[0] == 0.0
    assert surroundings(LINE, np.array([-10.0]), weak, freezes=False).floor_c[0] == pytest.approx(
        -10.0 + 2.0 * LINE.resistance
    )
    assert found.floor_c[1] == 5.0
    assert found.around_c.tolist() == [-10.0, 2.0, 20.0]
    on_off = surroundings(LINE, np.array([-10.0, 20.0]), Trace(2.0, control="on-off"), freezes=False)
    assert on_off.around_c == pytest.approx([-10.0 + 2.0 * LINE.resistance, 20.0])


# --- days of a plant ---------------------------------------------------------------------------------------


def ready(folder: Path, lines: dict[str, Any], **controls: Any) -> Assembly:
    """20 invented apartments on a machine of constant capacity (20 kW) and COP 3, without frost."""
    raw = central_air(folder, capacity_kw=20.0)
    raw["plant"]["heat_pump"]["water_lines"] = {"length": "15 m"} | lines
    raw["plant"]["controls"] = controls
    raw["run"] = {"steps_per_hour": 12}
    found = assemble(scenario_from(raw, folder), read_weather(CHICAGO))
    none = np.zeros(8760)
    drive = found.drive._replace(frost_capacity=none + 1.0, frost_power=none + 1.0, frost_drawn=none)
    return found._replace(drive=drive)


def some_days(found: Assembly, days: NDArray[np.int64] = WINTER) -> tuple[Drive, Hourly]:
    drive = _cut(found.drive, days)
    return drive, march(found.plant, drive, found.state, found.start.copy())


def in_air(pipe: float, air: Array, start: float, end: float) -> float:
    """A pipe that stands from `start` to `end` [h] in the air of each hour, by the textbook's exponential.

    Water that comes to 0 degC freezes there for as long as the air is colder.
    """
    now = start
    while now < end:
        until = min(math.floor(now) + 1.0, end)
        around = float(air[int(now)])
        cooled = around + (pipe - around) * math.exp(-3600.0 * (until - now) / LINE.time_constant)
        pipe = max(cooled, 0.0) if around < 0.0 else cooled
        now = until
    return pipe


@pytest.mark.independent
@pytest.mark.parametrize("days", [WINTER, SUMMER], ids=["winter", "summer"])
def test_each_start_makes_up_what_was_lost_since_the_stop(tmp_path: Path, days: NDArray[np.int64]) -> None:
    """One run a day, cut off by the clock at 05:00: recounted in plain Python from the runs alone.

    The store is never charged through, so that cold water goes to the machine to the end: inlet by the
    record's last hour, outlet 60 degC. 1 %: the inlet at the stop is taken as that hour's mean.
    """
    found = ready(tmp_path, {"protection": "none"}, charge_windows=["02:00-05:00"], sensor_height=0.9)
    drive, out = some_days(found, days)
    ran = out.run_seconds.reshape(-1, 24)
    assert (ran[1:, 2:5] == 3600.0).all()  # on the first day the store is full
    assert ran.sum() == ran[1:, 2:5].sum()
    inlet = (out.water_in_sum / np.where(out.water_in_volume > 0.0, out.water_in_volume, 1.0))[4::24]
    held = LINE.length_m * LINE.holds
    owed = [
        sum(
            held * (pipe - in_air(pipe, drive.source, 24 * day + 5.0, 24 * day + 26.0))
            for pipe in (cold, 60.0)
        )
        for day, cold in list(enumerate(inlet.tolist()))[1:-1]
    ]
    paid = out.line_heat.reshape(-1, 24).sum(axis=1)[2:]
    assert paid == pytest.approx(np.array(owed), rel=0.01)


def test_the_machine_gives_what_the_store_and_the_lines_get(tmp_path: Path) -> None:
    """First law: electricity times a COP of 3 is heat to the store and to lines that stood, by the hour."""
    found = ready(tmp_path, {})
    _, out = some_days(found)
    assert out.line_heat.sum() > 0.01 * out.heat_pump_heat.sum()
    made = 3.0 * out.heat_pump_energy
    assert made == pytest.approx(out.heat_pump_heat + out.line_heat, rel=1e-9, abs=1.0)


def test_longer_and_thinner_insulated_lines_lose_more(tmp_path: Path) -> None:
    losses = {
        name: some_days(ready(tmp_path, lines))[1].line_heat.sum()
        for name, lines in {
            "as is": {},
            "long": {"length": "30 m"},
            "thick": {"insulation": "60 mm"},
            "none": {"length": "0.001 m"},
            "glycol": {"protection": "glycol", "exchanger": "9 kW/K"},
        }.items()
    }
    assert losses["long"] == pytest.approx(2.0 * losses["as is"], rel=0.1)  # starts move a little
    assert losses["thick"] < losses["as is"]
    assert losses["none"] < 1e-3 * losses["as is"]
    assert losses["glycol"] > 0.5 * losses["as is"]


def test_short_stops_cost_less_each_and_more_in_all(tmp_path: Path) -> None:
    """A narrow dead band starts more often: less per start, as lines are still warm, more by the day."""
    rare, often = (
        some_days(ready(tmp_path, {}, dead_band=f"{band} K", sensor_height=height, stop_height=0.1))[1]
        for band, height in ((10, 0.8), (4, 0.2))
    )
    starts = [out.module_starts.sum() for out in (rare, often)]
    assert starts[1] > 1.3 * starts[0]
    assert often.line_heat.sum() / starts[1] < rare.line_heat.sum() / starts[0]


def test_a_plant_without_lines_gives_them_nothing(tmp_path: Path) -> None:
    raw = central_air(tmp_path)
    found = assemble(scenario_from(raw, tmp_path), read_weather(CHICAGO))
    assert found.plant.lines.capacity == 0.0
    _, out = some_days(found)
    assert not out.line_heat.any()
    assert not out.line_held.any()


@pytest.mark.independent
def test_what_a_metre_holds() -> None:
    """Water of 0 to 60 °C by IAPWS-95, within 2 %, and a wall of copper: 8,940 kg/m³, 385 J/kgK."""
    bore, whole = (math.pi / 4.0 * across**2 for across in (0.0266, 0.0286))
    for warm in (273.16, 303.15, 333.15):
        state = "T", warm, "P", 101325.0, "Water"
        water = float(PropsSI("D", *state)) * float(PropsSI("C", *state))
        held = water * bore + 8940.0 * 385.0 * (whole - bore)
        assert LINE.holds == pytest.approx(held, rel=0.02)
