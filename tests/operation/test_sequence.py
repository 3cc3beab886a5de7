"""Every key that controls something has its sentence with its number; the sentence moves with the number."""

from collections.abc import Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import pytest
from cases import ROOT
from control_keys import REASONS
from hypothesis import given, settings
from hypothesis import strategies as st
from operation_cases import (
    raw_plant,
    sentence,
    sentences,
    unmarched,
    worked_facts,
    written,
)

from hpwhsim.operation.facts import MARK, Facts
from hpwhsim.operation.heating import DAYS
from hpwhsim.operation.sequence import not_set, setting_rows
from hpwhsim.scenario.key_list import key_list
from hpwhsim.scenario.keys import known_fields

pytestmark = pytest.mark.contract

KEYS = [key.key for key in key_list()]
PATTERNS = [pattern for patterns in REASONS.values() for pattern in patterns]
FILES = sorted(path.stem for path in (ROOT / "scenarios").glob("*.yaml"))
RATED = {"source": "7 degC", "water_in": "10 degC", "water_out": "60 degC"}
LOOP = {"loss_per_apartment": "60 W", "return_temperature": "48 degC"}
BACKUP = {
    "kind": "resistance",
    "power": "20 kW",
    "setpoint": "52 degC",
    "delay": "20 min",
    "lock_outs": ["06:00-07:00"],
}


def controls() -> list[str]:
    return [key for key in KEYS if not any(fnmatchcase(key, pattern) for pattern in PATTERNS)]


def all_set(folder: Path) -> list[Facts]:
    """Plants that together use every function of the controls."""
    signal = folder / "signal.csv"
    signal.write_text("signal\n" + "1\n" * 8760)
    rejection = folder / "rejection.csv"
    rejection.write_text("rejection_kw\n" + "0\n" * 8760)
    by_rating = {"refrigerant": "R-134a", "table": None, "capacity": "20 kW", "cop": 3.5, "rated_at": RATED}
    everything = {
        "charge_windows": ["00:00-23:00"],
        "lock_outs": ["17:00-20:00"],
        "lock_out_below": "-5 degC",
        "min_run": "5 min",
        "min_off": "15 min",
        "boost": "1 K",
        "boost_windows": ["12:00-14:00"],
        "outdoor_reset": {"cold": "-10 degC", "mild": "5 degC", "rise": "1 K"},
        "pasteurise": {"temperature": "70 degC"},
        "defrosts": "staggered",
        "defrost_time": "4 min",
        "signal": str(signal),
        "signal_hours": 14,
        "reserve_height": 0.25,
        "demand_windows": ["07:00-08:00"],
        "demand_modules": 1,
    }
    trace = {"length": "10 m", "protection": "trace"}
    machine = by_rating | {
        **{"modules": 3, "min_source": "-8 degC", "min_speed_fraction": 0.5, "start_loss": "40 s"},
        **{"crankcase_power": "60 W", "water_lines": trace, "max_outlet": "66 degC", "max_inlet": "50 degC"},
    }
    valve = {
        **{"tempering_valve": "52 degC", "tempering_min_difference": "3 K"},
        **{"tempering_min_flow": "2 L/min", "tempering_max_flow": "200 L/min"},
    }
    raws = [
        raw_plant(
            folder,
            heat_pump=machine,
            controls=everything,
            backup=BACKUP,
            hot_water=valve,
            recirculation=LOOP | {"schedule": ["05:00-23:00"]},
        ),
        raw_plant(
            folder,
            heat_pump=by_rating
            | {"condenser": "multi-pass", "water_lines": trace | {"protection": "glycol"}, "rise": "4 K"},
            recirculation=LOOP
            | {"served_by": "loop-tank", "aquastat": "45 degC"}
            | {
                "loop_tank": {
                    **{"volume": "500 L", "setpoint": "55 degC"},
                    "heat_pump": by_rating
                    | {
                        "condenser": "multi-pass",
                        "rated_at": RATED | {"water_in": "45 degC", "water_out": "49 degC"},
                    },
                }
            },
        ),
        raw_plant(
            folder,
            recirculation={
                "supply_drop": "5 K",
                "risers": {"risers": 2, "floors": 5, "apartments_per_riser": 10, "main_length": "10 m"},
                "served_by": "loop-tank",
                "loop_tank": {"volume": "500 L", "setpoint": "55 degC", "power": "9 kW"},
            },
        ),
    ]
    for raw in raws:
        for block in (
            raw["plant"]["heat_pump"],
            raw.get("recirculation", {}).get("loop_tank", {}).get("heat_pump", {}),
        ):
            if block.get("table") is None:
                block.pop("table", None)
    room = {
        "heating": "gas",
        "cooling": "air-conditioner",
        "exhaust": "outdoors",
        "dehumidifier_setpoint": 0.6,
    }
    room_keys = [f"plant.source.room.{key}={value}" for key, value in room.items()]
    made = [unmarched(written(folder, raw)) for raw in raws]
    made.append(worked_facts("packaged", *room_keys))
    made.append(worked_facts("ground", f"plant.source.ground_loop.rejection={rejection}"))
    return [*made, worked_facts("wastewater")]


@pytest.mark.slow
def test_every_control_has_a_sentence(tmp_path: Path) -> None:
    """Whatever key of the schema is not listed with a reason is said by some plant, and no listed one is."""
    said = {key for facts in all_set(tmp_path) for one in sentences(facts) for key in one.keys}
    assert said == set(controls())


def test_every_reason_names_keys() -> None:
    assert [pattern for pattern in PATTERNS if not any(fnmatchcase(key, pattern) for key in KEYS)] == []


@pytest.mark.parametrize("name", FILES)
def test_what_was_given_is_said_with_its_number(name: str) -> None:
    """Each control key that a worked file gives stands in one sentence, with its value and without a mark."""
    facts = worked_facts(name)
    for key in (key for key in controls() if facts.written(key) is not None):
        if key.startswith("recirculation.loop_tank.heat_pump") and not key.endswith("rise"):
            continue
        text, setting = sentence(facts, key), facts.setting(key)
        shown = DAYS[setting.text] if key.endswith("weekday") else setting.text
        if key.endswith(("served_by", "fluid")):
            shown = shown.replace("-", " ")
        assert shown in text, key
        assert f"{shown}{MARK}" not in text, key


@pytest.mark.parametrize("name", FILES)
def test_each_key_is_said_once_and_listed_once(name: str) -> None:
    facts = worked_facts(name)
    keys = [key for one in sentences(facts) for key in one.keys]
    assert len(keys) == len(set(keys))
    assert [row[4] for row in setting_rows(facts)] == keys
    assert not set(keys) & {key for key, _ in not_set(facts)}
    assert all(row[1] for row in setting_rows(facts))


CHANGES: tuple[tuple[str, str, str], ...] = (
    ("plant.storage.setpoint", "61 degC", "61 °C"),
    ("plant.controls.dead_band", "7 K", "7 K"),
    ("plant.controls.sensor_height", "0.45", "0.45"),
    ("plant.controls.stop_height", "0.22", "0.22"),
    ("plant.controls.min_run", "25 min", "25 min"),
    ("plant.controls.min_off", "35 min", "35 min"),
    ("plant.controls.stage_delay", "8 min", "8 min"),
    ("plant.controls.lead", "fixed", "fixed"),
    ("plant.controls.lock_outs", "[16:00-19:00]", "16:00 to 19:00"),
    ("plant.controls.charge_windows", "[08:00-20:00]", "08:00 to 20:00"),
    ("plant.controls.lock_out_below", "-3 degC", "−3 °C"),
    ("plant.controls.reserve_height", "0.4", "0.4"),
    ("plant.controls.demand_modules", "2", "2 modules"),
    ("plant.controls.boost", "0.8 K", "0.8 K"),
    ("plant.controls.boost_windows", "[11:00-15:00]", "11:00 to 15:00"),
    ("plant.controls.outdoor_reset.cold", "-12 degC", "−12 °C"),
    ("plant.controls.outdoor_reset.mild", "6 degC", "6 °C"),
    ("plant.controls.outdoor_reset.rise", "0.7 K", "0.7 K"),
    ("plant.controls.pasteurise.temperature", "68 degC", "68 °C"),
    ("plant.controls.pasteurise.weekday", "wed", "Wednesdays"),
    ("plant.controls.pasteurise.window", "01:00-04:00", "01:00 to 04:00"),
    ("plant.controls.signal_hours", "9", "9 hours"),
    ("plant.controls.defrosts", "together", "together"),
    ("plant.controls.defrost_time", "6 min", "6 min"),
    ("plant.backup.setpoint", "51 degC", "51 °C"),
    ("plant.backup.dead_band", "2 K", "2 K"),
    ("plant.backup.height", "0.7", "0.7"),
    ("plant.backup.power", "25 kW", "25 kW"),
    ("plant.backup.delay", "45 min", "45 min"),
    ("plant.backup.lock_outs", "[05:00-06:00]", "05:00 to 06:00"),
    ("plant.heat_pump.modules", "4", "all 4"),
    ("plant.heat_pump.min_source", "-6 degC", "−6 °C"),
    ("plant.heat_pump.max_inlet", "48 degC", "48 °C"),
    ("plant.heat_pump.max_outlet", "65 degC", "65 °C"),
    ("plant.heat_pump.min_speed_fraction", "0.4", "0.4"),
    ("plant.heat_pump.start_loss", "55 s", "55 s"),
    ("plant.heat_pump.limits.max_discharge", "125 degC", "125 °C"),
    ("plant.heat_pump.limits.max_pressure", "40 bar", "40 bar"),
    ("plant.heat_pump.limits.max_pressure_ratio", "7", "7"),
    ("plant.heat_pump.crankcase_below", "12 degC", "12 °C"),
    ("plant.heat_pump.water_lines.trace_hold", "7 degC", "7 °C"),
    ("recirculation.return_temperature", "47 degC", "47 °C"),
    ("recirculation.schedule", "[04:00-22:00]", "04:00 to 22:00"),
    ("hot_water.tempering_valve", "53 degC", "53 °C"),
    ("hot_water.tempering_min_difference", "2 K", "2 K"),
    ("hot_water.tempering_min_flow", "3 L/min", "3 L/min"),
    ("hot_water.tempering_max_flow", "150 L/min", "2.5 L/s"),
)


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Mapping[str, Any], Facts]:
    """The folder of the plant that uses nearly everything, what was written, and its facts."""
    folder = tmp_path_factory.mktemp("full")
    facts = all_set(folder)[0]
    return folder, facts.result.plant.written, facts


@pytest.mark.slow
@pytest.mark.parametrize(("key", "value", "said"), CHANGES, ids=[change[0] for change in CHANGES])
def test_another_number_makes_another_sentence(
    full: tuple[Path, Mapping[str, Any], Facts], key: str, value: str, said: str
) -> None:
    folder, raw, before = full
    after = unmarched(written(folder, raw, f"{key}={value}"))
    assert sentence(after, key) != sentence(before, key)
    assert said in sentence(after, key)


OTHERS: tuple[tuple[str, str, str, str], ...] = (
    ("ground", "plant.source.ground_loop.flow", "50 gpm", "50 gpm (3.155 L/s)"),
    ("ground", "plant.source.ground_loop.min_flow_fraction", "0.7", "0.7"),
    ("ground", "plant.source.ground_loop.fluid_share", "0.3", "0.3"),
    ("ground", "plant.source.ground_loop.fluid", "ethylene-glycol", "ethylene glycol"),
    ("wastewater", "plant.source.wastewater.flow", "3 L/s", "3 L/s"),
    ("wastewater", "plant.source.wastewater.min_temperature", "6 degC", "6 °C"),
    ("wastewater", "plant.source.wastewater.cleaning_interval", "3", "every 3 months"),
    ("wastewater", "plant.source.wastewater.clean_loop", "false", "clean loop: no"),
    ("packaged", "plant.source.room.airflow", "200 cfm", "200 cfm (94.39 L/s)"),
    ("packaged", "plant.source.room.exhaust", "outdoors", "to outdoors"),
    ("laundry-room", "plant.source.room.heating_setpoint", "19 degC", "19 °C"),
    ("laundry-room", "plant.source.room.cooling_setpoint", "27 degC", "27 °C"),
    ("laundry-room", "plant.source.room.dehumidifier_setpoint", "0.55", "0.55"),
    ("loop-tank", "recirculation.loop_tank.setpoint", "56 degC", "56 °C"),
    ("loop-tank", "recirculation.loop_tank.dead_band", "4 K", "4 K"),
    ("loop-tank", "recirculation.loop_tank.power", "12 kW", "12 kW"),
    ("loop-tank", "recirculation.loop_tank.connection", "parallel", "parallel"),
    ("central-air", "recirculation.aquastat", "46 degC", "46 °C"),
    ("central-air", "plant.heat_pump.outlet_temperature", "66 degC", "66 °C"),
    ("central-air", "plant.backup.mode", "series", "series"),
    ("hybrid", "plant.heat_pump.water_lines.trace_rating", "20 W/m", "20 W/m"),
    ("hybrid", "plant.heat_pump.water_lines.trace_control", "on-off", "on-off"),
    ("hybrid", "plant.heat_pump.water_lines.protection", "glycol", "glycol"),
)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "key", "value", "said"), OTHERS, ids=[change[1] for change in OTHERS])
def test_so_do_those_of_sources_and_loops(name: str, key: str, value: str, said: str) -> None:
    after = worked_facts(name, f"{key}={value}")
    assert said in sentence(after, key)
    before = worked_facts(name)
    if key in {one for each in sentences(before) for one in each.keys}:
        assert sentence(after, key) != sentence(before, key)


def test_nearly_every_control_was_changed() -> None:
    """What is left out is a name or a file, or is said as one of those above."""
    changed = {key for key, _, _ in CHANGES} | {key for _, key, _, _ in OTHERS}
    left = {key for key in controls() if key not in changed}
    assert left == {
        *("plant.controls.signal", "plant.controls.demand_windows", "plant.backup.kind"),
        *(f"plant.heat_pump.{name}" for name in ("condenser", "defrost", "rise", "crankcase_power")),
        "plant.heat_pump.water_lines.glycol_share",
        *(f"plant.source.ground_loop.{name}" for name in ("rejection", "rejection_circuit")),
        *(f"plant.source.room.{name}" for name in ("intake", "make_up", "heating", "cooling")),
        *(f"recirculation.{name}" for name in ("supply_drop", "min_flow", "aquastat_band", "served_by")),
        "recirculation.loop_tank.heat_pump.rise",
    }


@pytest.mark.slow
@settings(max_examples=20)
@given(
    setpoint=st.integers(550, 630).map(lambda t: t / 10.0),
    band=st.integers(40, 100).map(lambda t: t / 10.0),
    minutes=st.integers(0, 60),
)
def test_thresholds_follow_setpoint_and_dead_band(
    full: tuple[Path, Mapping[str, Any], Facts], setpoint: float, band: float, minutes: int
) -> None:
    """By hand: a charge starts the dead band below the setpoint and ends half of it below."""
    folder, raw, _ = full
    keys = (
        f"plant.storage.setpoint={setpoint} degC",
        f"plant.controls.dead_band={band} K",
        f"plant.controls.min_off={minutes} min",
    )
    facts = unmarched(written(folder, raw, *keys))
    start, stop = (f"{round(value, 1) + 0.0:g} °C" for value in (setpoint - band, setpoint - 0.5 * band))
    assert f"colder than {start}" in sentence(facts, "plant.controls.sensor_height")
    assert f"at {stop} or hotter" in sentence(facts, "plant.controls.stop_height")
    unset = dict(not_set(facts))
    assert ("plant.controls.min_off" in unset) == (minutes == 0)


def test_units_are_those_of_the_user() -> None:
    """149 degF stands as written, with 65 degC beside it; a default follows the user's units, with a mark."""
    facts = worked_facts("central-air")
    assert facts.setting("plant.storage.setpoint").text == "149 °F (65 °C)"
    assert "5.4 °F (3 K)*" in sentence(facts, "plant.backup.dead_band")
    assert facts.setting("plant.controls.dead_band").text == "10 K"


def test_every_setting_has_a_meaning() -> None:
    assert all(known_fields()[key].description for key in controls())
