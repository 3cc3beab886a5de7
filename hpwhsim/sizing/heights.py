"""What other heights of sensor, stop sensor and loop return would make of the least store."""

from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import changed
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.least_store import COARSE, least_store
from hpwhsim.sizing.trials import NEEDIEST, Bench, based, hardest, sized

KEYS = {
    "sensor": "plant.controls.sensor_height",
    "stop": "plant.controls.stop_height",
    "return": "recirculation.return_height",
}
SENSORS, STOPS, RETURNS = (0.2, 0.35, 0.5, 0.65, 0.8), (0.05, 0.15, 0.3), (0.2, 0.5, 0.8)
APART = 0.07  # heights nearer than this to those of the plant are not tried


class Heights(NamedTuple):
    """Shares of the height from the bottom."""

    sensor: float
    stop: float
    back: float  # of the loop; nan: none comes back into the store


class Found(NamedTuple):
    """The least store with some heights."""

    heights: Heights
    volume: float  # inf: none, m³


def heights_of(bench: Bench, modules: int) -> Heights:
    """The heights of the plant as written."""
    base = based(bench, modules)
    plant = base.plant
    whole = plant.column.volume
    controls, loops = plant.controls, plant.loop_runs > 0.0
    back = float(plant.loop_port) / whole if loops else np.nan
    return Heights(controls.start_level / whole, controls.stop_level / whole, back)


def other_heights(bench: Bench, modules: int, factor: float) -> list[Found]:
    """Least stores with one of the heights changed, on the neediest years of draws; as written first.

    To `COARSE`: a change of less is none.

    Parameters
    ----------
    bench, modules, factor
        As for `plant_of`.
    """
    own = heights_of(bench, modules)
    few = hardest(bench, factor * modules * bench.assembly.made.capacity, NEEDIEST)
    tried = [own]
    tried += [own._replace(sensor=s) for s in SENSORS if abs(s - own.sensor) > APART and s >= own.stop]
    tried += [own._replace(stop=s) for s in STOPS if abs(s - own.stop) > APART and s <= own.sensor]
    tried += [own._replace(back=s) for s in RETURNS if abs(s - own.back) > APART]  # nan: none
    benches = [with_heights(few, modules, heights, own) for heights in tried]
    volumes = at_once(lambda b: least_store(b, modules, factor, near=COARSE).volume, benches)
    return [Found(heights, volume) for heights, volume in zip(tried, volumes, strict=True)]


def with_heights(bench: Bench, modules: int, heights: Heights, own: Heights) -> Bench:
    """The bench with other heights, for plants of `modules` modules and tanks as many as written."""
    if heights == own:
        return bench
    tanks = bench.scenario.plant.storage.tanks
    base = based(bench, modules, tanks)
    light = _light(bench.light, heights)
    made = assemble(sized(light, modules, bench.scenario.plant.storage.volume, tanks), bench.weather).plant
    plant = base.plant._replace(controls=made.controls, loop_port=made.loop_port)
    return bench._replace(bases={(modules, tanks): base._replace(plant=plant)}, orders={})


def _light(scenario: Scenario, heights: Heights) -> Scenario:
    """A scenario with other heights."""
    keys = [
        f"plant.controls.sensor_height={heights.sensor!r}",
        f"plant.controls.stop_height={heights.stop!r}",
    ]
    if np.isfinite(heights.back) and scenario.recirculation is not None:
        keys.append(f"recirculation.return_height={heights.back!r}")
    return changed(scenario, keys, Path())
