"""First law in every hour: heat in, heat out and what the store holds, for every worked plant."""

import numpy as np
import pytest
from cases import ROOT

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.arrays import BackupMode, Hourly
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.storage.layers import RHO_CP

pytestmark = [pytest.mark.law, pytest.mark.year]

NAMES = sorted(path.stem for path in (ROOT / "scenarios").glob("*.yaml"))
ARRANGED = {
    "draw port": ("central-air", "plant.storage.draw_height=0.8"),
    "intake": ("central-air", "plant.heat_pump.intake_height=0.1", "plant.heat_pump.return_height=0.7"),
    "three in series": ("central-air", "plant.storage.arrangement=series", "plant.storage.tanks=3"),
    "small": ("central-air", "plant.storage.volume=150 gal", "plant.backup="),
    "trim heater": ("central-air", "plant.backup.mode=series", "plant.storage.volume=300 gal"),
    "multi-pass": (
        "central-air",
        "plant.heat_pump.condenser=multi-pass",
        "plant.heat_pump.refrigerant=R-134a",
    ),
    "no loop": ("central-air", "recirculation=null"),
    "boost": ("central-air", "plant.controls.boost=8 K", 'plant.controls.boost_windows=["12:00-16:00"]'),
    "reset": ("central-air", "plant.controls.outdoor_reset={cold: -10 degC, mild: 15 degC, rise: 8 K}"),
    "pasteurised": ("central-air", "plant.controls.pasteurise={temperature: 70 degC}"),
    "defrosts": ("central-air", "plant.controls.defrosts=staggered"),
    "4 looks": ("packaged", "run.steps_per_hour=4"),
    "60 looks": ("wastewater", "run.steps_per_hour=60"),
}
CASES = {name: (name,) for name in NAMES} | ARRANGED


def hour_errors(found: Assembly, out: Hourly) -> np.ndarray:
    """Heat in less heat out less what the store gained, over the heat that passed in the hour, (hour,)."""
    plant, tank = found.plant, found.plant.loop_tank
    gained = RHO_CP * plant.column.volume * np.diff(out.store_mean, prepend=found.start.mean())
    gained += RHO_CP * tank.volume * np.diff(out.loop_tank_end, prepend=tank.setpoint)
    into = out.heat_pump_heat + out.backup_heat + out.loop_heater_heat
    away = out.taps_heat + out.loop_heat + out.storage_loss
    passed = np.abs(into) + np.abs(away) + out.defrost_heat + np.abs(gained)
    return np.asarray((into - away - gained) / np.maximum(passed, 1.0))


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_every_hour_closes(case: str) -> None:
    """1e-9 in each of the 8,760 hours: the store invents nothing, and no hour pays for another."""
    name, *overrides = CASES[case]
    scenario = read_scenario(ROOT / "scenarios" / f"{name}.yaml", overrides).scenario
    found = assemble(scenario, read_weather(scenario.site.weather))
    out = march(found.plant, found.drive, found.state, found.start.copy())
    errors = np.abs(hour_errors(found, out))
    assert errors.max() <= 1e-9, f"hour {int(errors.argmax())}"
    assert np.isfinite(out.backup_seconds).all()
    assert out.backup_seconds.min() >= -1e-6
    if found.plant.backup_mode == BackupMode.NONE:
        assert not out.backup_heat.any()
