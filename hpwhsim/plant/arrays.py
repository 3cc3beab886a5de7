"""The plant as the march sees it: numbers and arrays, nothing else."""

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.heatpump.performance import PerformanceMap
from hpwhsim.plant.controls import Controls
from hpwhsim.storage.tank import Column

Array = NDArray[np.float64]


class Cause(IntEnum):
    """Why the backup ran, or hot water ran short, in a step."""

    NO_HEAT_PUMP = 0  # the plant has none
    LOCK_OUT = 1  # barred by the hour
    SOURCE_TOO_COLD = 2  # below the machine's or the user's lowest source temperature
    WATER_TOO_WARM = 3  # the water at the machine is too warm for it to work
    CAPACITY = 4  # every module was running
    STARTING = 5  # called, and still waiting for its minimum off time or the next stage
    NOT_CALLED = 6  # the charge sensors were satisfied


class BackupMode(IntEnum):
    """Where the backup heater stands."""

    NONE = 0
    PARALLEL = 1  # heats the upper store
    SERIES = 2  # heats the water on its way to the taps


class WaterSide(IntEnum):
    """How the heat pump heats the store."""

    SINGLE = 0  # from the bottom to the outlet temperature in one pass, back at the top
    MULTI = 1  # from the bottom, a small rise, back at a port
    WRAPPED = 2  # by a condenser around the lower store


class Plant(NamedTuple):
    """Everything that stays the same through the year; floats, ints and the performance map."""

    step_seconds: float
    column: Column
    machine: PerformanceMap
    modules: int  # 0: no heat pump
    water_side: int  # WaterSide
    outlet: float  # water leaving the heat pump; multi-pass and wrapped: the hottest it makes, °C
    rise: float  # of the water per pass (multi-pass), K
    return_port: int  # cell boundary at which multi-pass water comes back
    condenser_cells: int  # lowest cells that a wrapped condenser covers
    highest_inlet: float  # °C
    turndown: float  # least share of full speed
    approach: float  # source less evaporating temperature at full speed, where part speed narrows it, K
    fan_power: float  # of a running module, beside the map's power, W
    pump_power: float  # the same, W
    crankcase_power: float  # of a standing module, W
    crankcase_below: float  # while the source is colder, °C
    standby_power: float  # of a standing module, W
    start_loss: float  # time without heat at each start, s
    lowest_source: float  # °C
    controls: Controls
    backup_mode: int  # BackupMode
    backup_power: float  # heat, W
    backup_efficiency: float  # heat over energy bought
    backup_electric: float  # 1 if that energy is electricity, 0 if it is fuel
    backup_cell: int  # lowest cell that the parallel backup heats
    backup_setpoint: float  # °C
    backup_dead_band: float  # K
    use_temperature: float  # °C
    minimum_temperature: float  # below it a draw counts as short, °C
    loop_loss: float  # W
    loop_return: float  # °C
    loop_port: int  # cell boundary at which the loop's water comes back


class Drive(NamedTuple):
    """What the outside world does."""

    use: Array  # (step,) water at use temperature, m³ in the step
    permitted: NDArray[np.bool_]  # (step of the day,) whether charging is allowed
    source: Array  # (hour,) °C
    mains: Array  # (hour,) °C
    frost_capacity: Array  # (hour,) capacity over that of a clean coil
    frost_power: Array  # (hour,) power over that of a clean coil
    frost_drawn: Array  # (hour,) heat that defrosts draw back from the store over heat while heating


class Hourly(NamedTuple):
    """What the march fills; each (hour,) unless said. Energies in J, sums over the hour; times in s."""

    heat_pump_heat: Array  # net of what defrosts draw back
    defrost_heat: Array  # drawn back from the store
    heat_pump_energy: Array  # electricity of the machine by its map, starts and defrosts included
    fan_energy: Array
    pump_energy: Array
    standby_energy: Array  # controls and crankcase heat
    backup_heat: Array
    backup_energy: Array  # electricity or fuel bought
    taps_heat: Array  # above mains temperature
    loop_heat: Array
    storage_loss: Array
    unmet: Array  # heat missing to reach use temperature at the taps
    hot_volume: Array  # drawn from the plant, m³
    short_volume: Array  # at use temperature, delivered below the minimum, m³
    module_seconds: Array  # module-seconds of running
    run_seconds: Array  # at least one module running
    lockout_seconds: Array  # heat called for, and the machine barred
    edge_seconds: Array  # running outside the performance map, held at its edge
    water_in_sum: Array  # machine's inlet temperature times volume, K·m³
    water_in_volume: Array  # m³
    store_top: Array  # lowest in the hour, °C
    store_mean: Array  # at the end of the hour, °C
    store_bottom: Array  # at the end of the hour, °C
    backup_seconds: Array  # (cause, hour)
    short_seconds: Array  # (cause, hour)
    quarter_power: Array  # (quarter of an hour,) electricity, J in the quarter
    profile: Array  # (cell,) the store at the end of the year, °C


def make_hourly(hours: int, cells: int) -> Hourly:
    """Empty arrays for a march of `hours` hours over a store of `cells` cells."""
    fields = {name: np.zeros(hours) for name in Hourly._fields}
    fields["store_top"] = np.full(hours, np.inf)
    fields["backup_seconds"] = np.zeros((len(Cause), hours))
    fields["short_seconds"] = np.zeros((len(Cause), hours))
    fields["quarter_power"] = np.zeros(hours * 4)
    fields["profile"] = np.zeros(cells)
    return Hourly(**fields)
