"""A plant marched for some hours, cut out of its year."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import yaml
from cases import central_air

from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.arrays import Drive, Hourly
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import read_scenario

HOURS = 8760


class Marched(NamedTuple):
    """What some hours gave."""

    out: Hourly
    store: Array  # at the end, bottom to top, °C
    assembly: Assembly

    def at(self, height: float) -> float:
        """The store at a share of its height, between the middles of its slices. [°C]"""
        middles = (np.arange(self.store.size) + 0.5) / self.store.size
        return float(np.interp(height, middles, self.store))


def first_hours(drive: Drive, hours: int) -> Drive:
    """The drive of the first hours; what is by the hour or the step of the day stays whole."""
    cut: dict[str, Any] = {}
    for name in Drive._fields:
        values = getattr(drive, name)
        if isinstance(values, np.ndarray) and values.size >= HOURS and values.size % HOURS == 0:
            cut[name] = values[: hours * (values.size // HOURS)]
    return drive._replace(**cut)


def wide_table(path: Path) -> Path:
    """A machine of 20 kW and COP 3 whatever the water: up to 61 degC in, 62 to 80 degC out."""
    rows = [f"{s},{i},{o},20,{20 / 3!r}" for s in (-30, 40) for i in (0, 61) for o in (62, 80)]
    head = ["# invented machine", "source_c,water_in_c,water_out_c,capacity_kw,power_kw"]
    path.write_text("\n".join(head + rows) + "\n")
    return path


def still(folder: Path, changes: Mapping[str, Any], machine: Mapping[str, Any]) -> Assembly:
    """A plant without loop, backup and losses: by the table above, or an R-134a machine by its rating."""
    raw = central_air(folder)
    heat_pump: dict[str, Any] = {"refrigerant": "R-134a", **machine}
    if "rated_at" in machine:
        heat_pump |= {"capacity": "20 kW", "cop": 3.5, "max_outlet": "72 degC"}
    else:
        heat_pump["table"] = str(wide_table(folder / "wide.csv"))
    raw["plant"]["heat_pump"] = heat_pump
    raw["plant"]["storage"] |= {"heat_loss": "0 W/K", "inlet_mixing": 0.0}
    raw["plant"]["controls"] = dict(changes)
    path = folder / "still.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False))
    scenario = read_scenario(path).scenario
    return assemble(scenario, read_weather(scenario.site.weather))


def march_hours(
    assembly: Assembly, hours: int, *, draws: bool = False, start: float | None = None, **drive: Any
) -> Marched:
    """March the first hours in air of 7 °C, with other fields of the drive and the store at `start` °C."""
    one, none = np.ones(hours), np.zeros(hours)
    by = first_hours(assembly.drive, hours)._replace(source=7.0 * one, frost_capacity=one, frost_power=one)
    by = by._replace(frost_drawn=none, frost_pause=none)._replace(**drive)
    if not draws:
        by = by._replace(use=np.zeros(by.use.size))
    store = assembly.start.copy() if start is None else np.full(assembly.start.size, start)
    return Marched(march(assembly.plant, by, assembly.state, store), store, assembly)
