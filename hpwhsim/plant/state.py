"""What the march knows at a moment: settings of the hour, what it looked up last, and what runs."""

from typing import NamedTuple

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import Drive, Hourly, Plant, SourceState
from hpwhsim.plant.controls import Rotation
from hpwhsim.source.offer import Offer
from hpwhsim.storage.layers import Layers

TRIED = 8  # of so many modules: look, temperature met, share of the time, and what the source offers them


class Scene(NamedTuple):
    """Everything that a step of the march works with."""

    plant: Plant
    drive: Drive
    state: SourceState  # filled
    course: "Course"
    layers: Layers  # the store; filled
    rotation: Rotation  # of the modules; filled
    out: Hourly  # filled
    tried: Array  # (modules + 1, TRIED) what so many met in the last look that asked; work space


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


class Course(NamedTuple):
    """What stays the same through the march."""

    straight: bool  # the machine's water passes by the store on its way to the taps
    series: bool  # a backup lifts the water on its way to taps and loop
    tanked: bool  # the loop has a tank of its own
    through: bool  # and the taps' water runs through it
    most: float  # that a window moves, m³
    bins: int  # parts of an hour in which draws are even
    span: float  # length of such a part, s


class Tap(NamedTuple):
    """The draws of a part of an hour."""

    at: int  # stretch of constant flow that was reached
    even: float  # water at use temperature while taps run, m³/s
    by_second: bool  # draws follow one another as they are; else they are even
    end: float  # of the part, s from the start of the hour
    off: float  # taps rest from then on, the same


class Draw(NamedTuple):
    """The draw of a window."""

    use: float  # water at use temperature, m³/s
    since: float  # s from the start of the hour
    until: float  # so long at most, the same
    at: int  # stretch of constant flow at its start; -1: the draws are even


class Step(NamedTuple):
    """From one look at source and clock to the next."""

    number: int  # of the year
    quarter: int  # of an hour, of the year
    end: float  # s from the start of its hour


class Moment(NamedTuple):
    """Where the march stands."""

    hour: Hour
    step: Step
    now: float  # s from the start of the hour


class Sums(NamedTuple):
    """What a step adds up to for the source and for the air around the plant."""

    taken: float  # heat from the source, J
    on: float  # module-seconds
    gain: float  # heat to the air, J
    lost: float  # by the loop's own tank, m³·K


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


class Coming(NamedTuple):
    """What a window has for the modules that may run in it."""

    here: Intake
    draw: Draw
    cold: float  # mains water that flows straight to them while taps run, m³/s


class Heat(NamedTuple):
    """What the running modules would give, by the water at the machine."""

    refused: int  # why they cannot, a `Cause`; below 0: they can
    flow: float  # water heated; of a wrapped condenser none, m³/s
    heat: float  # m³·K/s
    power: float  # W
    inlet: float  # °C
    inside: bool  # the point lies in the performance map


class Ready(NamedTuple):
    """The modules that are to run in a window, and the water that they meet."""

    duty: Duty
    here: Intake
    heat: Heat
    thawing: int  # modules that defrost
    back: float  # drawn back by defrosts, over heat
    pause: float  # share of the time for defrosts where these are events
    to_lines: float  # share of the heat that lines outdoors take


class Ration(NamedTuple):
    """What a step's sewage still has to give."""

    left: float  # J
    seconds: float  # of the step that are left


class Spell(NamedTuple):
    """A window: how long, and how much of it the modules heat."""

    seconds: float
    end: float  # s from the start of the hour
    running: int  # modules
    idle: float  # module-seconds of power without heat
    heating: float  # s
    share: float  # of the time for which the source gives the heat
    heat: Heat
    water: float  # mean of the store's that comes to the machine, °C


class Given(NamedTuple):
    """What the machine gave to the water in a window."""

    heat: float  # m³·K
    weight: float  # volume of the water; of a condenser at the wall the heat
    inlet: float  # °C


class Energy(NamedTuple):
    """Of the heat pump in a window; J unless said."""

    machine: float  # electricity by its map, starts and defrosts included
    taken: float  # heat from the source
    drawn: float  # heat drawn back from the store by defrosts
    shed: float  # electricity that warms what is around the machine
    fan: float
    pump: float
    standby: float
    on: float  # module-seconds


class Backup(NamedTuple):
    """A heater in the store from one moment to the next."""

    on: bool
    waited: float  # since its thermostat called, s
    heat: float  # that it gave in the window, m³·K


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


class Held(NamedTuple):
    """What the march carries from one window to the next."""

    charging: Charge
    tap: Tap
    loop: LoopState
    lines: LineState
    backup: Backup
    seen: Look
    offer: Offer
    sums: Sums
    overdrawn: float  # by earlier steps from what the sewage had to give, J


class Begun(NamedTuple):
    """A window as it begins: the modules, what flows, and how long it may last."""

    ready: Ready
    ration: Ration
    share: float  # of the time for which the source gives the heat
    flow: Flow
    draw: Draw
    until: float  # s from the start of the hour
    top: float  # water at the store's outlet, °C


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
