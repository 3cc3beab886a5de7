"""An invented electric store, quick to march, and studies of it as files."""

from pathlib import Path
from typing import Any

import yaml
from cases import central_air

from hpwhsim.studies.cases import Cases, study_cases

USE, LOSS, VOLUME = (
    "hot_water.daily_use_per_apartment",
    "plant.storage.heat_loss",
    "plant.storage.volume",
)


def electric(folder: Path) -> Path:
    """A store of smooth draws, no loop, whose heater covers every draw: electricity is heat and loss."""
    raw: dict[str, Any] = central_air(folder)
    raw["plant"] = {
        "family": "resistance",
        "storage": {"volume": "2000 L", "setpoint": "60 degC", "heat_loss": "4 W/K"},
        "backup": {"kind": "resistance", "power": "60 kW"},
    }
    raw["run"] = {"steps_per_hour": 4}
    path = folder / "plant.yaml"
    path.write_text(yaml.safe_dump(raw))
    return path


def study(folder: Path, **blocks: Any) -> Path:
    """A study file of `electric`."""
    electric(folder)
    path = folder / "study.yaml"
    path.write_text(yaml.safe_dump({"scenario": "plant.yaml"} | blocks, sort_keys=False))
    return path


def cases_of(folder: Path, **blocks: Any) -> Cases:
    """The cases of `study`."""
    return study_cases(study(folder, **blocks))


def sample(count: int, method: str, keys: dict[str, Any], seed: int = 1) -> dict[str, Any]:
    """A block `sample`."""
    return {"count": count, "method": method, "seed": seed, "keys": keys}
