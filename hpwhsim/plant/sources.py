"""The heat source of a scenario as the march reads it: constants, what drives it, how it starts."""

from typing import TYPE_CHECKING

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.ground_source import ground_source
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.plant.plain_source import Sourced, at_rest, coil_frost, no_around, no_sources
from hpwhsim.plant.room_source import room_source
from hpwhsim.plant.wastewater_source import wastewater_source
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import Wastewater
from hpwhsim.source.room_setup import Air

if TYPE_CHECKING:
    import xarray as xr


def make_source(
    scenario: Scenario,
    weather: "xr.Dataset",
    use: Array,
    mains: Array,
    made: Made,
    found: list[Assumption],
    cautions: list[str],
) -> Sourced:
    """Source of `scenario` in the year `weather`.

    Parameters
    ----------
    scenario, weather
        What the modeler wrote, and the year.
    use : ndarray, shape (step,)
        Water at use temperature. [m³ in the step]
    mains : ndarray, shape (hour,)
        Cold water. [°C]
    made : Made
        The machine.
    found, cautions : list
        What was worked out and what must be said are added here.

    Raises
    ------
    InputError
        If a value or a file is wrong.
    """
    dry_bulb = np.asarray(weather["dry_bulb_c"].values, dtype=np.float64)
    humidity = np.asarray(weather["humidity_ratio"].values, dtype=np.float64)
    pressure = np.asarray(weather["pressure_pa"].values, dtype=np.float64)
    outdoors = Air(dry_bulb, humidity)
    plain = Sourced(
        sources=no_sources(SourceKind.OUTDOOR_AIR),
        state=at_rest(),
        drawn=dry_bulb,
        frost=coil_frost(scenario, made, outdoors, pressure),
        around=no_around(),
        rejected=np.zeros(1),
        sewage=np.zeros(1),
        sewage_temperature=np.zeros(1),
        exchange=np.ones(1),
        to_neighbours=(0.0, 0.0),
        neighbours=None,
    )
    kind, block = scenario.plant.source_kind, scenario.plant.source
    if kind == "room":
        assert block.room is not None  # the schema wants it
        return room_source(scenario, block.room, made, outdoors, pressure, plain, found, weather)
    if kind == "ground-loop":
        assert block.ground_loop is not None
        return ground_source(scenario, block.ground_loop, made, dry_bulb, plain, found, cautions)
    if kind == "wastewater":
        sewage = block.wastewater or Wastewater()
        return wastewater_source(scenario, sewage, made, dry_bulb, use, mains, plain, found)
    return plain
