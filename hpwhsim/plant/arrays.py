"""The plant as the march sees it: numbers and arrays, nothing else."""

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.controls import Controls
from hpwhsim.plant.draw_times import DrawTimes
from hpwhsim.source.ground_loop import BoreField, History, Loop
from hpwhsim.source.room import Around, Room
from hpwhsim.source.wastewater import Pumping, Well
from hpwhsim.storage.layers import Column

MOST_MODULES = 100  # of a plant
SLICES = 100  # of equal volume, in which a store is given to the march and back


class Cause(IntEnum):
    """Why the backup ran, or hot water ran short, in a step."""

    NO_HEAT_PUMP = 0  # the plant has none
    LOCK_OUT = 1  # barred by the hour
    SOURCE_TOO_COLD = 2  # below the machine's or the user's lowest, or too cold for the outlet of the hour
    WATER_TOO_WARM = 3  # the water at the machine is too warm for it to work
    CAPACITY = 4  # every module was running
    STARTING = 5  # called, and still waiting for its minimum off time or the next stage
    NOT_CALLED = 6  # the charge sensors were satisfied
    SOURCE_SPENT = 7  # the sewage had no more heat to give


class BackupMode(IntEnum):
    """Where the backup heater stands."""

    NONE = 0
    PARALLEL = 1  # heats the upper store
    SERIES = 2  # heats the water on its way to taps and loop


class WaterSide(IntEnum):
    """How the heat pump heats the store."""

    SINGLE = 0  # from the bottom to the outlet temperature in one pass, back at the top
    MULTI = 1  # from the bottom, a small rise, back at a port
    WRAPPED = 2  # by a condenser around the lower store


class SourceKind(IntEnum):
    """Where the heat comes from."""

    OUTDOOR_AIR = 0
    ROOM = 1
    GROUND_LOOP = 2
    WET_WELL = 3
    SEWER = 4


class FrostTable(NamedTuple):
    """What frost costs a machine in room air."""

    coldest: float  # first temperature, °C
    spread: float  # K from row to row; above the last row there is no frost
    capacity: Array  # over that of a clean coil; each (temperature, humidity, share of the full coil load)
    power: Array  # the same
    drawn: Array  # heat that defrosts draw back from the store over heat while heating


class Sources(NamedTuple):
    """Every kind of heat source; only that of `kind` is read."""

    kind: int  # SourceKind
    room: Room
    frost: FrostTable
    field: BoreField
    loop: Loop
    well: Well
    pumping: Pumping


class LoopTank(NamedTuple):
    """A tank of the loop's own, well mixed, between the store and the taps."""

    volume: float  # m³; 0: there is none
    loss: float  # W/K
    setpoint: float  # °C
    dead_band: float  # K
    power: float  # heat of its resistance heater; 0: it has a heat pump, W
    through: float  # 1: the taps' water runs through it; 0: it serves the loop alone
    machine: PerformanceMap  # of its multi-pass heat pump
    rise: float  # of the water in that, K
    lowest: float  # source below which that stands, °C


class StandingLines(NamedTuple):
    """Water lines outdoors as they stand between runs: two equal pipes, out to the machine and back."""

    capacity: float  # of each with what is in it; 0: there are none, J/K
    time_constant: float  # in which a standing pipe's excess over what is around it falls to 1/e, s
    cold_k: float  # behind a glycol exchanger: hotter by so much than the store's water, in the pipe out
    hot_k: float  # and in the pipe back, K


class Plant(NamedTuple):
    """Everything that stays the same through the year; floats, ints and the performance map."""

    step_seconds: float  # between two looks at room, ground, sewage and signals
    column: Column
    machine: PerformanceMap
    sources: Sources
    modules: int  # 0: no heat pump
    water_side: int  # WaterSide
    outlet: Array  # (1,) water leaving the heat pump in this hour; multi-pass, wrapped: the hottest, °C
    rise: float  # of the water per pass (multi-pass), K
    intake_port: float  # height at which water leaves for the machine, m³ below it
    return_port: float  # height at which heated water comes back, m³ below it
    draw_port: float  # height at which taps and loop draw, m³ below it
    charge_apart: int  # 1: single-pass water flows between ports, not straight to the taps
    condenser_top: float  # height up to which a wrapped condenser covers the store, m³ below it
    highest_inlet: float  # °C
    turndown: float  # least share of full speed
    speed: Array  # (1,) share of full speed in this part of a step
    coil: float  # source less evaporating temperature over the heat a module takes; 0: not known, K/W
    gas_share: float  # of a module's electricity that reaches the refrigerant; the rest warms what is around
    fan_power: float  # of a running module, beside the map's power, W
    pump_power: float  # the same, W
    crankcase_power: float  # of a standing module, W
    crankcase_below: float  # while the source is colder, °C
    standby_power: float  # of a standing module, W
    start_loss: float  # time without heat at each start, s
    lowest_source: float  # °C
    controls: Controls
    reserve_level: float  # barred hours do not hold while less is hot above it, m³; 0: they always do
    backup_mode: int  # BackupMode
    backup_power: float  # heat, W
    backup_efficiency: float  # heat over energy bought
    backup_electric: float  # 1 if that energy is electricity, 0 if it is fuel
    backup_dead_band: float  # K
    backup_delay: float  # it waits so long after its thermostat calls, s
    use_temperature: float  # °C
    minimum_temperature: float  # below it a draw counts as short, °C
    valve_setpoint: float  # of the tempering valve, °C
    valve_difference: float  # least hot water above that with which the valve holds it, K; 0: an ideal one
    loop_runs: float  # 1 if there is a loop that comes back to the store, else 0
    loop_ambient: float  # air around its pipes, °C
    loop_supply: float  # water leaving for it at which its loss and its return are those of the drive, °C
    loop_limit: float  # a tempering valve ahead of it lets no hotter water by; inf: there is none, °C
    loop_port: float  # height at which the loop's water comes back, m³ below it
    loop_tank: LoopTank
    lines: StandingLines


class Drive(NamedTuple):
    """What the outside world and the clock do."""

    looks: int  # at room, ground, sewage and signals in an hour: steps
    use: Array  # (part of an hour,) water at use temperature, m³ in the part
    draws: DrawTimes  # when it runs within the hours
    permitted: NDArray[np.bool_]  # (step of the day or of the year,) whether charging is allowed
    most_modules: NDArray[np.int64]  # (step of the day,) modules that may run
    backup_permitted: NDArray[np.bool_]  # (step of the day,)
    outlet: Array  # (hour,) water leaving the heat pump, °C
    lift: Array  # (hour,) of the charge's thermostats, K
    backup_setpoint: Array  # (hour,) °C
    backup_level: Array  # (hour,) height above which the parallel backup heats, m³ below it
    loop_loss: Array  # (hour of the day,) at the supply of the plant's `loop_supply`, W
    loop_return: Array  # (hour of the day,) the same, °C
    source: Array  # (hour,) outdoor air, or what the machine draws in from elsewhere than its room, °C
    mains: Array  # (hour,) °C
    frost_capacity: Array  # (hour,) capacity over that of a clean coil
    frost_power: Array  # (hour,) power over that of a clean coil
    frost_drawn: Array  # (hour,) heat that defrosts draw back from the store over heat while heating
    line_around: (
        Array  # (hour,) what standing lines outdoors cool towards, see `Surroundings`; (1,): none, °C
    )
    line_hold: Array  # the same: where their heat trace holds them
    line_floor: Array  # the same: towards what they go below that
    frost_pause: Array  # (hour,) share of the time for defrosts where these are events; 0: spread evenly
    frost_part: (
        Array  # (hour, 3, share of the full coil load) capacity, power, drawn at part speed; (1, 3, 1)
    )
    around: Around  # of a room
    rejected: Array  # (hour,) heat put into the bore field by others, W
    sewage: Array  # (step,) that comes in the step, m³
    sewage_temperature: Array  # (step,) °C
    exchange: Array  # (hour,) heat transfer coefficient of the sewage exchanger over that of a clean one


class RoomRow(IntEnum):
    """Rows of `Hourly.room`: sums over the hour of means over a step times its length, unless said."""

    AIR = 0  # K·s
    HUMIDITY = 1  # kg/kg·s
    HEATING = 2  # J
    COOLING = 3  # J
    DEHUMIDIFIER = 4  # J of electricity
    REFERENCE_AIR = 5  # the same room without the machine
    REFERENCE_HUMIDITY = 6
    REFERENCE_HEATING = 7
    REFERENCE_COOLING = 8
    REFERENCE_DEHUMIDIFIER = 9
    CONDENSATE = 10  # of the coil, kg
    SENSIBLE = 11  # heat of the coil, J
    GAIN = 12  # heat of the plant to the room's air, J
    FROZEN = 13  # time in which more was asked of the coil than air can give, s
    HEAT_RESIDUAL = 14  # largest in a step, W
    WATER_RESIDUAL = 15  # largest in a step, kg/s
    MASS = 16  # K·s, at the end of each step
    REFERENCE_MASS = 17  # the same without the machine
    DRYING = 18  # latent heat of the air conditioner, J
    REFERENCE_DRYING = 19
    REFERENCE_AIRED = 20  # taken out by opened windows, J


class SourceRow(IntEnum):
    """Rows of `Hourly.source`: sums over the hour unless said."""

    MET = 0  # temperature that the machine meets, or would, times time, K·s
    TAKEN = 1  # heat taken from the source, J
    SPENT = 2  # time in which the source limited the heat, s
    PUMP = 3  # electricity of pumps and grinder on the source side, J
    WALL = 4  # bore wall at the end of the hour, °C
    COLDEST = 5  # fluid after the machine, coldest in the hour, °C
    REJECTED = 6  # heat put into the field by others, J
    WELL = 7  # at the end of the hour, °C
    INFLOW = 8  # m³
    INFLOW_HEAT = 9  # above 0 °C, J
    OVERFLOW_HEAT = 10  # above 0 °C, J
    WALL_LOSS = 11  # of the well, J
    WARMEST = 12  # fluid of a ground loop in the hour, °C


class SourceState(NamedTuple):
    """What a source carries from step to step; filled by the march."""

    room: Array  # (3,) fields of room.State
    reference: Array  # (3,) the same without the machine
    air: Array  # (1,) of the room in the last step, °C
    gain: Array  # (1,) heat of the plant to the room's air in the last step, W
    coil: Array  # (1,) heat that a module took when it last ran, W
    frost: Array  # (3, share of the full coil load) what frost costs in this hour: capacity, power, drawn
    history: History
    drop: Array  # (1,) of the bore wall at the end of the hour by past hours, K
    hour_heat: Array  # (1,) taken from the field in the hour so far, J
    well: Array  # (1,) °C


class Hourly(NamedTuple):
    """What the march fills; each (hour,) unless said. Energies in J, sums over the hour; times in s."""

    heat_pump_heat: Array  # net of what defrosts draw back
    defrost_heat: Array  # drawn back from the store
    line_heat: Array  # that the machine gave to lines outdoors in place of what they lost standing
    line_held: Array  # time that they stood at what their trace holds, mean of both, s
    heat_pump_energy: Array  # electricity of the machine by its map, starts and defrosts included
    fan_energy: Array
    pump_energy: Array
    standby_energy: Array  # controls and crankcase heat
    machine_loss: Array  # electricity of the machine that warms neither gas nor water
    backup_heat: Array
    backup_energy: Array  # electricity or fuel bought
    taps_heat: Array  # above mains temperature
    loop_heat: Array
    loop_heater_heat: Array  # into the loop's own tank
    loop_heater_energy: Array
    loop_tank_end: Array  # (hour,) °C
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
    supply: Array  # lowest after a series backup while water flows; infinite where none does, °C
    store_mean: Array  # at the end of the hour, °C
    store_bottom: Array  # at the end of the hour, °C
    backup_seconds: Array  # (cause, hour)
    short_seconds: Array  # (cause, hour) taps ran, weighed by the share of their water that is short
    source: Array  # (SourceRow, hour)
    room: Array  # (RoomRow, hour)
    quarter_power: Array  # (quarter of an hour,) electricity, J in the quarter
    module_run: Array  # (module,) seconds that each module ran
    module_starts: Array  # (module,)
    profile: Array  # (slice,) the store at the end of the year, °C


def make_hourly(hours: int) -> Hourly:
    """Empty arrays for a march of `hours` hours."""
    fields = {name: np.zeros(hours) for name in Hourly._fields}
    fields["store_top"] = np.full(hours, np.inf)
    fields["supply"] = np.full(hours, np.inf)
    fields["backup_seconds"] = np.zeros((len(Cause), hours))
    fields["short_seconds"] = np.zeros((len(Cause), hours))
    fields["source"] = np.zeros((len(SourceRow), hours))
    fields["source"][SourceRow.COLDEST] = np.inf
    fields["room"] = np.zeros((len(RoomRow), hours))
    fields["quarter_power"] = np.zeros(hours * 4)
    fields["module_run"] = np.zeros(MOST_MODULES)
    fields["module_starts"] = np.zeros(MOST_MODULES)
    fields["profile"] = np.zeros(SLICES)
    return Hourly(**fields)
