"""Tables of the user's that a plant names, read before its machine's map is made, which takes seconds."""

from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.demand.patterns import read_metered
from hpwhsim.io.user_csv import read_hours
from hpwhsim.scenario.schema import Scenario
from hpwhsim.source.drains import read_sewer

MOST_REJECTED = 1e5  # kW, of the cooling of a large campus


def read_signal(path: Path) -> Array:
    """The signal of each hour of the year, (8760,), in a unit of its own.

    Raises
    ------
    InputError
        If the file is wrong.
    """
    return read_hours(path, {"signal": (-np.inf, np.inf)})["signal"]


def read_rejection(path: Path) -> Array:
    """Heat that others reject to the ground loop in each hour of the year, (8760,). [W]

    Raises
    ------
    InputError
        If the file is wrong.
    """
    return 1000.0 * read_hours(path, {"rejection_kw": (0.0, MOST_REJECTED)})["rejection_kw"]


def refuse_files(scenario: Scenario) -> None:
    """Refuse tables that are wrong.

    Raises
    ------
    InputError
        For the first of them.
    """
    plant, source = scenario.plant, scenario.plant.source
    if scenario.hot_water.metered is not None:
        read_metered(scenario.hot_water.metered, scenario.building.apartments)
    if plant.controls.signal is not None:
        read_signal(plant.controls.signal)
    if source is not None and source.wastewater is not None and source.wastewater.sewer is not None:
        read_sewer(source.wastewater.sewer)
    if source is not None and source.ground_loop is not None and source.ground_loop.rejection is not None:
        read_rejection(source.ground_loop.rejection)
