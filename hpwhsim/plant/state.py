"""What the march knows at a moment: settings of the hour, what it looked up last, and what runs."""

from typing import NamedTuple

from hpwhsim.heatpump.maps import PerformanceMap


class Hour(NamedTuple):
    """What holds for an hour."""

    number: int  # of the year
    mains: float  # °C
    lift: float  # of the charge's thermostats, K
    backup_at: float  # setpoint of the backup, °C
    backup_level: float  # height above which a parallel one heats, m³ below it
    lifts_to: float  # setpoint of a backup in series; minus infinity: there is none, °C
    loop_watts: float  # loss of the loop at its own supply, W
    loop_back: float  # its return at its own supply, °C
    frosted: tuple[float, float]  # capacity and power over those of a clean coil
    drawn_back: float  # by defrosts, over heat while heating
    pause: float  # share of the time for defrosts where these are events


class Look(NamedTuple):
    """What was seen at the last look at source and clock."""

    source: float  # met by the expected modules; NaN: they cannot run on it, °C
    free: float  # that nobody cools, °C
    fed: float  # share of the time in which the source gives the heat
    expected: int  # modules for which that holds
    inlet: float  # water that the machine met then, °C
    barred: int  # why no module can run, a `Cause`; below 0: they can
    open_hour: bool  # the clock lets the heat pump run
    most_modules: int  # that may run
    backup_allowed: bool


class Charge(NamedTuple):
    """The heat pump from one moment to the next."""

    calling: bool  # the store calls for heat
    running: int  # modules
    refused: int  # why modules that the store asks for do not run, a `Cause`; below 0: they run
    since: float  # time since the plant started, or stopped, s
    rested: float  # time since modules were last taken away by source or water, s
    cut_out: float  # time since the source last took modules away, s
    warming: float  # module-seconds that started modules still have to run without heat


class Decision(NamedTuple):
    """What the controls want now."""

    calling: bool
    wanted: int  # modules
    refused: int


class Flow(NamedTuple):
    """What flows in a window; m³/s."""

    use: float  # water at use temperature
    taps: float  # hot water, where it is as warm as at the start
    straight: float  # from the machine past the store
    between: float  # from the machine's intake to its return
    loop: float  # to the loop


class Machine(NamedTuple):
    """A module of the heat pump at a moment, and its map.

    Small beside a whole `Plant`: a kernel that stands apart is handed every array of its arguments.
    """

    performance: PerformanceMap
    water_side: int  # WaterSide
    outlet: float  # water leaving it in this hour; multi-pass, wrapped: the hottest, °C
    rise: float  # of the water per pass (multi-pass), K
    highest_inlet: float  # °C
    lowest_source: float  # °C
    coil: float  # source less evaporating temperature over the heat it takes; 0: not known, K/W
    gas_share: float  # of its electricity that reaches the refrigerant
    speed: float  # share of full speed


class Duty(NamedTuple):
    """What the running modules work on, but for the water of the store."""

    source: float  # °C
    units: float  # modules running, times their share of full speed
    cold: float  # mains water that flows straight to them, m³/s
    mains: float  # °C
    frosted: tuple[float, float]  # capacity and power over those of the map


class Intake(NamedTuple):
    """The water of the store that comes to the machine, or that a condenser at the wall meets."""

    temperature: float  # °C
    alike: float  # how much of it is alike, m³
    lacking: float  # of a condenser at the wall: to the hottest water that it makes, m³·K


class Heat(NamedTuple):
    """What the running modules would give, by the water at the machine."""

    refused: int  # why they cannot, a `Cause`; below 0: they can
    flow: float  # water heated; of a wrapped condenser none, m³/s
    heat: float  # m³·K/s
    power: float  # W
    inlet: float  # °C
    inside: bool  # the point lies in the performance map


class Served(NamedTuple):
    """What taps and loop took in a window; m³ and m³·K."""

    taps: float
    taps_heat: float  # above mains temperature
    loop: float
    loop_heat: float  # in the water as it left for the loop, above 0 °C
    store: float  # from the store
    waiting: float  # straight from the heat pump, on top of the store at the end
    added: float  # by a backup in series
    short: float  # use volume delivered below the minimum temperature
    short_seconds: float  # for which taps ran with that
    missing: float  # heat missing to use temperature
    coldest: float  # that left the plant; infinite where nothing flowed, °C


class Moved(NamedTuple):
    """What a window moved; m³ and m³·K."""

    heat: float  # from the heat pump into water that passes by the store
    inlet: float  # heat in that water before, above 0 °C
    taps: float
    taps_heat: float
    loop_heat: float  # lost by the loop
    added: float
    short: float
    short_seconds: float
    missing: float


class LoopState(NamedTuple):
    """The loop's own tank."""

    held: float  # °C
    on: bool
    lost: float  # standby loss in the window, m³·K
    heat: float  # of its heater, J
    energy: float  # J


class LineState(NamedTuple):
    """Water lines outdoors."""

    owed: float  # J that they lost standing and did not get back yet
    out: float  # °C
    back: float  # °C
