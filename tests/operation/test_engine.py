"""What the text says is what the march does: thresholds, heights, times, windows are read in it and tried.

Hours are marched on plants without losses (`drive_cases`), just inside and just outside of what is named.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from drive_cases import march_hours, still
from operation_cases import degrees_in, minutes_in, sentence, unmarched

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.states import states
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.storage.layers import RHO_CP

pytestmark = pytest.mark.independent

MACHINE = {"outlet_temperature": "65 degC"}
APART, ASIDE = 0.2, 0.05  # K, share of the height: just inside and just outside
BACKUP = {"kind": "resistance", "power": "30 kW", "setpoint": "50 degC"}
HEIGHT = re.compile(r"at ([\d.]+)\*? of the height|above ([\d.]+)\*? of its height")


def plant(
    folder: Path,
    controls: Mapping[str, Any],
    machine: Mapping[str, Any] = MACHINE,
    backup: Mapping[str, Any] | None = None,
) -> tuple[Facts, Assembly]:
    """A plant of `drive_cases` with what the text reads of it."""
    still(folder, {}, machine)
    path = folder / "still.yaml"
    raw = yaml.safe_load(path.read_text())
    raw["plant"] |= {"controls": dict(controls)} | ({"backup": dict(backup)} if backup is not None else {})
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    loaded = read_scenario(path)
    return unmarched(loaded), assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))


def height_in(text: str) -> float:
    """The first height in a text, as a share."""
    match = HEIGHT.search(text)
    assert match is not None
    return float(match[1] or match[2])


def halves(assembly: Assembly, height: float, cold: float, hot: float) -> Assembly:
    """The plant with a store that is `cold` below a height and `hot` above it. [°C]"""
    count = assembly.start.size
    middles = (np.arange(count) + 0.5) / count
    return assembly._replace(start=np.where(middles < height, cold, hot))


def runs(assembly: Assembly, hours: int = 1, **drive: Any) -> np.ndarray[Any, Any]:
    """Time that the heat pump runs in each hour. [s]"""
    return march_hours(assembly, hours, **drive).out.run_seconds[:hours]


def test_a_charge_starts_at_the_temperature_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"dead_band": "8 K", "sensor_height": 0.4})
    named = degrees_in(sentence(facts, "plant.controls.sensor_height"))[0]
    assert named == 52.0  # 60 degC less 8 K
    assert runs(assembly, start=named + APART)[0] == 0.0
    assert runs(assembly, start=named - APART)[0] > 0.0


def test_a_charge_starts_by_the_height_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"sensor_height": 0.4})
    height = height_in(sentence(facts, "plant.controls.sensor_height"))
    assert runs(halves(assembly, height - ASIDE, 40.0, 60.0))[0] == 0.0
    assert runs(halves(assembly, height + ASIDE, 40.0, 60.0))[0] > 0.0


def test_a_charge_ends_at_temperature_and_height_named(tmp_path: Path) -> None:
    """Hot water comes down to the sensor and no further: the store below stays as cold as it was."""
    facts, assembly = plant(tmp_path, {"stop_height": 0.25})
    text = sentence(facts, "plant.controls.stop_height")
    named, height = degrees_in(text)[0], height_in(text)
    after = march_hours(assembly, 4, start=45.0)
    assert after.out.run_seconds[0] > 0.0
    assert after.out.run_seconds[3] == 0.0
    assert after.at(height + ASIDE) >= named
    assert after.at(height - ASIDE) < named
    # and with the store just below what is named there, a charge that has begun goes on
    assert runs(halves(assembly, 0.5, named - 6.0, 65.0))[0] > 0.0


def test_modules_join_at_the_times_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"stage_delay": "12 min"}, MACHINE | {"modules": 3})
    delay = 60.0 * minutes_in(sentence(facts, "plant.controls.stage_delay"))[0]
    run = sorted(march_hours(assembly, 1, start=30.0).out.module_run[:3])
    assert run == pytest.approx([3600.0 - 2.0 * delay, 3600.0 - delay, 3600.0], abs=1.0)


def test_lockout_windows_are_those_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"lock_outs": ["00:00-02:00"]})
    named = sentence(facts, "plant.controls.lock_outs")
    assert "from 00:00 to 02:00" in named
    run = runs(assembly, 3, start=40.0)
    assert run[:2].tolist() == [0.0, 0.0]
    assert run[2] == 3600.0


def test_the_boost_moves_the_start_in_its_window(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"boost": "5 K", "boost_windows": ["02:00-04:00"]})
    text = sentence(facts, "plant.controls.boost")
    assert "from 02:00 to 04:00" in text
    start = degrees_in(sentence(facts, "plant.controls.sensor_height"))[0]
    (rise,) = (float(k) for k in re.findall(r"([\d.]+) K higher", text))
    run = runs(assembly, 3, start=start + rise - APART)
    assert run[:2].tolist() == [0.0, 0.0]
    assert run[2] > 0.0
    assert runs(assembly, 3, start=start + rise + APART).sum() == 0.0


def test_demand_windows_hold_the_modules_named(tmp_path: Path) -> None:
    controls = {"stage_delay": "0 min", "demand_windows": ["00:00-01:00"], "demand_modules": 2}
    facts, assembly = plant(tmp_path, controls, MACHINE | {"modules": 3})
    assert "from 00:00 to 01:00" in sentence(facts, "plant.controls.demand_windows").lower()
    (most,) = re.findall(r"at most (\d+) modules? may", sentence(facts, "plant.controls.demand_modules"))
    seconds = march_hours(assembly, 2, start=20.0).out.module_seconds
    assert seconds[0] == pytest.approx(3600.0 * int(most))
    assert seconds[1] > 3600.0 * int(most)  # then all three


def test_the_source_limit_is_the_one_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"lock_out_below": "-3 degC"})
    named = degrees_in(sentence(facts, "plant.controls.lock_out_below"))[0]
    one = np.ones(1)
    assert runs(assembly, start=40.0, source=(named - APART) * one)[0] == 0.0
    assert runs(assembly, start=40.0, source=(named + APART) * one)[0] == 3600.0


def test_water_at_the_heat_pump_is_no_hotter_than_named(tmp_path: Path) -> None:
    """The table ends at 61 degC in: hotter water does not start it, whatever the sensor says."""
    facts, assembly = plant(tmp_path, {"dead_band": "10 K"}, {"outlet_temperature": "75 degC"})
    (locked,) = [one.entry for one in states(facts) if one.name.startswith("Locked out")]
    named = degrees_in(locked)[1]
    assert named == pytest.approx(facts.hottest_inlet, abs=0.05)
    lifted = assembly.drive.lift + 10.0  # the store calls up to 60 degC and above
    by = {"lift": lifted[:1]}
    assert runs(assembly, start=named - APART - 1.0, **by)[0] > 0.0
    assert runs(assembly, start=named + APART, **{"lift": lifted[:1] + 10.0})[0] == 0.0


def test_the_backup_starts_and_stops_where_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {"sensor_height": 0.4}, backup=BACKUP | {"height": 0.7})
    named = degrees_in(sentence(facts, "plant.backup.dead_band"))[0]
    height = height_in(sentence(facts, "plant.backup.height"))
    barred = {"permitted": np.zeros(assembly.drive.permitted.size, dtype=np.bool_)}
    assert march_hours(assembly, 1, start=named + APART, **barred).out.backup_heat[0] == 0.0
    after = march_hours(assembly, 1, start=named - APART, **barred)
    assert after.out.backup_heat[0] > 0.0
    assert after.at(height + ASIDE) == pytest.approx(50.0, abs=0.1)  # its setpoint
    assert after.at(height - ASIDE) == pytest.approx(named - APART, abs=0.1)  # as it was
    (on,) = [one for one in states(facts) if one.name == "Backup on"]
    assert degrees_in(on.entry) == [named]
    assert degrees_in(on.exit) == [50.0]


def test_the_backup_waits_as_long_as_named(tmp_path: Path) -> None:
    facts, assembly = plant(tmp_path, {}, backup=BACKUP | {"delay": "40 min"})
    wait = 60.0 * minutes_in(sentence(facts, "plant.backup.delay"))[0]
    barred = {"permitted": np.zeros(assembly.drive.permitted.size, dtype=np.bool_)}
    heat = march_hours(assembly, 1, start=20.0, **barred).out.backup_heat[0]
    assert heat == pytest.approx(30e3 * (3600.0 - wait), rel=0.03)  # looks are 5 min apart


def test_the_time_that_the_form_expects_of_the_backup(tmp_path: Path) -> None:
    """From its start temperature to its setpoint: power over the water above it and its dead band."""
    _, assembly = plant(tmp_path, {}, backup=BACKUP | {"height": 0.7, "dead_band": "4 K"})
    barred = {"permitted": np.zeros(assembly.drive.permitted.size, dtype=np.bool_)}
    heat = march_hours(assembly, 1, start=46.0 - 1e-3, **barred).out.backup_heat[0]
    expected = RHO_CP * 0.3 * 2.0 * 4.0  # J; the form has this over the power
    assert heat == pytest.approx(expected, rel=0.01)


def test_the_heat_up_reaches_the_temperature_named(tmp_path: Path) -> None:
    """1 January of the nominal year is a Monday."""
    block = {"temperature": "64 degC", "weekday": "mon", "window": "00:00-03:00"}
    facts, assembly = plant(tmp_path, {"pasteurise": block}, backup=BACKUP)
    text = sentence(facts, "plant.controls.pasteurise.temperature")
    assert text.startswith("On Mondays, from 00:00 to 03:00")
    start, end = degrees_in(text)
    barred = {"permitted": np.zeros(assembly.drive.permitted.size, dtype=np.bool_)}
    after = march_hours(assembly, 3, start=60.0, **barred)
    assert after.store.min() == pytest.approx(end, abs=0.1)
    assert march_hours(assembly, 3, start=start + APART, **barred).out.backup_heat[:3].sum() == 0.0


def test_the_states_name_the_thresholds_of_the_sequence(tmp_path: Path) -> None:
    facts, _ = plant(tmp_path, {"dead_band": "8 K"}, backup=BACKUP)
    start = degrees_in(sentence(facts, "plant.controls.sensor_height"))[0]
    stop = degrees_in(sentence(facts, "plant.controls.stop_height"))[0]
    by_name = {one.name: one for one in states(facts)}
    assert degrees_in(by_name["Heating, 1 module"].entry) == [start]
    assert degrees_in(by_name["Heating, 1 module"].exit) == [stop]
    assert degrees_in(by_name["Idle"].entry) == [stop]
    assert degrees_in(by_name["Idle"].exit) == [start]
