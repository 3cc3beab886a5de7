"""The coil of a machine in a room: its surface follows from heat, airflow and bypass.

The same coil dries the room's air, frosts and evaporates the refrigerant: its surface is the apparatus dew
point of `source.coil`, and the refrigerant is colder than that.
"""

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.climate.moist_air import humidity_ratio_from_relative
from hpwhsim.constants import CP_AIR
from hpwhsim.kernel import kernel
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.room import AIR_PER_WATT
from hpwhsim.scenario.room import Room as RoomBlock
from hpwhsim.source.coil import split
from hpwhsim.source.offer import Offer
from hpwhsim.source.room_setup import AIR_CAPACITY, SEA_LEVEL

BEHIND_SURFACE_K = 4.0  # K from the surface to the refrigerant at the rating: of 10 K at an outdoor coil 6 K
# lie between air and surface (`frost.SPLIT_PER_APPROACH`); common practice, no source
RATED_HUMIDITY = 0.5  # of the air at the rating: 10 CFR 430 Subpart B Appendix E tests at 67.5 °F and 50 %


def airflow_of(block: RoomBlock, source_heat: float) -> float:
    """Air that a running module moves, as given or usual for the heat it takes at its rating [W]. [m³/s]"""
    return max(AIR_PER_WATT * source_heat, 0.01) if block.airflow is None else block.airflow


def surface_split(
    heat: ArrayLike, airflow: float, bypass: float, air_c: ArrayLike, humidity: ArrayLike, pressure: ArrayLike
) -> Array:
    """Air less coil surface, of the broadcast shape. [K]

    Parameters
    ----------
    heat : array_like
        That a module takes from the air. [W]
    airflow, bypass : float
        Air of a module [m³/s], and its share that touches nothing.
    air_c, humidity, pressure : array_like
        Air at the coil [°C], its humidity ratio [kg/kg] and pressure [Pa].
    """
    wide = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (heat, air_c, humidity, pressure)))
    q, air, water, p = (np.ascontiguousarray(x).ravel() for x in wide)
    surface = np.empty(q.size)
    _surfaces(q, airflow * AIR_CAPACITY / CP_AIR / SEA_LEVEL * p, bypass, air, water, p, surface)
    return np.asarray((air - surface).reshape(wide[0].shape))


@kernel
def _surfaces(
    heat: Array, flow: Array, bypass: float, air: Array, water: Array, pressure: Array, surface: Array
) -> None:
    """Fill `surface` [°C]; all (n,), `flow` in kg/s of dry air."""
    for i in range(heat.size):
        offer = Offer(air[i], 0.0, -np.inf, np.inf, np.inf)
        surface[i] = split(heat[i], flow[i], bypass, pressure[i], offer, water[i], 0.0).surface


def rated_approach(heat_pump: HeatPump, block: RoomBlock, source_heat: float) -> float:
    """Source less evaporating temperature at the rating: to the surface, and on to the refrigerant. [K]"""
    rated = heat_pump.rated_at
    assert rated is not None  # there is a rating
    water = humidity_ratio_from_relative(rated.source, RATED_HUMIDITY, SEA_LEVEL)
    airflow = airflow_of(block, source_heat)
    to_surface = surface_split(source_heat, airflow, block.bypass, rated.source, water, SEA_LEVEL)
    return float(to_surface) + BEHIND_SURFACE_K
