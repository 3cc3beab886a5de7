"""The reduced plant of a scenario: for each part the best that any schedule could meet, and no more.

`linear_program` says what the program relaxes. Beside that, each choice here is on the safe side:

* The source is the warmest that any schedule could meet (`hpwhsim.plant.warmest`); where it may be colder
  too, the machine does as well as at its best below that. Frost is that of the hour for outdoor air; a
  room's is left out.
* Fans and pumps take their power for as long as the machine's greatest capacity needs for the heat; of a
  ground loop's pump the least per module. Starts, crankcase heat and trace heating count 0. What does not
  depend on the schedule is added as it is: the loop's pump, the grinder of a wet well, and the heater of a
  tank that serves the loop alone.
* Where defrosts are events, what they draw back comes later than the heat that it is owed for: it is left
  out.
* A tank through which the taps' water runs gets no more from the store than the greatest volume of that
  water brings between mains and the hottest water. Where taps drew, the tank was at some time of the hour as
  warm as that heat in that volume. Where the loop got all the heat that it can take (a tempering valve's
  setpoint sets the most), every step began with a tank as warm as that, and its heater works at an inlet as
  warm, less what a step cools it; else at its best inlet.
* A series backup gives no more than the taps take.
* The second balance (`temperature_balance`) keeps heat from being made colder than water was there for.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import JOULE_PER_KWH
from hpwhsim.control_bound import temperature_balance as grade
from hpwhsim.control_bound.reduced_plant import Grade, ReducedPlant, Tank
from hpwhsim.plant.arrays import BackupMode, Plant, SourceKind, WaterSide
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.flows import most_hot
from hpwhsim.plant.warmest import Warmest, warmest
from hpwhsim.simulation.best_performance import over_inlets
from hpwhsim.simulation.connected_load import grinding_power
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.storage.still import fading

OVER_K = 0.1  # by which a multi-pass machine may pass its hottest water
ROUNDING_K = 1e-3  # by which the loop's tank may be cooler where rounding hides that it gave less
INLETS = 48  # at which the machine is looked at, beside those of its map


class Served(NamedTuple):
    """What the controls gave that are compared; each (hour,) unless said."""

    taps: Array  # kWh
    loop: Array  # kWh
    loop_heater: Array  # electricity of the heater of the loop's tank, kWh
    store_start: float  # mean of the store, °C
    store_end: float  # the same at the end, °C
    tank_end: float  # of the loop's tank, °C


class Limits(NamedTuple):
    """A reduced plant, and electricity that is outside the program; each (hour,)."""

    plant: ReducedPlant
    fixed: Array  # whatever the schedule, kWh
    most: Array  # that can be bought beside it, kWh


class _Water(NamedTuple):
    """Temperatures between which all water of the plant is. [°C]."""

    coldest: float
    hottest: float


def limits(assembly: Assembly, served: Served, years: int) -> Limits:
    """Reduce a plant to heat by the hour.

    Parameters
    ----------
    assembly : Assembly
        The plant before its march.
    served : Served
        What must be given at least.
    years : int
        That the plant runs; the last one is meant.
    """
    plant, drive = assembly.plant, assembly.drive
    hottest = _hottest(assembly)
    best = warmest(assembly, hottest, years)
    water = _Water(best.coldest, hottest)
    store = RHO_CP * plant.column.volume / JOULE_PER_KWH  # kWh/K
    share = fading(plant.column, 3600.0)
    through = plant.loop_tank.volume > 0.0 and plant.loop_tank.through > 0.0
    alone = plant.loop_tank.volume > 0.0 and not through
    reduced = ReducedPlant(
        demand=served.taps if alone else served.taps + served.loop,
        capacity=0.0,
        per_heat=0.0,
        storage=store * (water.hottest - water.coldest),
        backup=_backup(assembly, served),
        backup_per_heat=1.0 / plant.backup_efficiency,
        loss_share=share,
        loss_constant=-share * store * (best.around - water.coldest),
        ends=(store * (served.store_start - water.coldest), store * (served.store_end - water.coldest)),
        tank=_tank(assembly, served, water) if through else None,
    )
    reduced = _machine(assembly, served, water, best, reduced, years)
    fixed = np.tile(assembly.loop_pump, 365) / 1000.0
    if plant.sources.kind == SourceKind.WET_WELL:
        ground = drive.sewage.reshape(fixed.size, -1).sum(axis=1)
        fixed = fixed + plant.sources.pumping.grinder * ground / JOULE_PER_KWH
    if alone:
        fixed = fixed + served.loop_heater
    return Limits(reduced, fixed, _most(assembly))


def _hottest(assembly: Assembly) -> float:
    """Hottest water that a heater of the plant makes. [°C]."""
    plant, drive = assembly.plant, assembly.drive
    heaters = [drive.outlet.max() + OVER_K, assembly.start.max()]
    if plant.backup_mode != BackupMode.NONE:  # in series by the loop's return
        heaters.append(drive.backup_setpoint.max())
    if plant.loop_tank.volume > 0.0:
        heaters.append(plant.loop_tank.setpoint)
    return float(max(heaters))


def _volume(assembly: Assembly) -> Array:
    """Most water that the taps may draw from the plant, (hour,). [m³]."""
    plant, drive = assembly.plant, assembly.drive
    share = np.array([most_hot(plant, mains) for mains in drive.mains])
    return np.asarray(drive.use.reshape(share.size, -1).sum(axis=1) * share)


def _backup(assembly: Assembly, served: Served) -> Array:
    """Most heat of the backup, (hour,). [kWh]."""
    plant = assembly.plant
    power = plant.backup_power / 1000.0 if plant.backup_mode != BackupMode.NONE else 0.0
    return np.full(served.taps.size, power)


def _tank(assembly: Assembly, served: Served, water: _Water) -> Tank:
    """The tank of the loop that the taps' water runs through."""
    plant, drive, tank = assembly.plant, assembly.drive, assembly.plant.loop_tank
    kelvin, volume = RHO_CP * tank.volume / JOULE_PER_KWH, _volume(assembly)
    heat = RHO_CP * volume / JOULE_PER_KWH  # kWh/K
    rise = np.divide(served.taps, heat, out=np.zeros(heat.size), where=heat > 0.0)
    least = np.where(heat > 0.0, kelvin * (drive.mains + rise - water.coldest), 0.0)
    share = -np.expm1(-tank.loss * 3600.0 / (RHO_CP * tank.volume))
    storage = kelvin * (water.hottest - water.coldest)
    hottest = min(plant.loop_limit, water.hottest)
    most = (hottest - plant.loop_ambient) / (plant.loop_supply - plant.loop_ambient)
    full = np.tile(drive.loop_loss, 365) / 1000.0 * max(most, 0.0)
    hot = (full > 0.0) & (served.loop >= (1.0 - 1e-9) * full)
    warm = np.where(hot, max(hottest - ROUNDING_K, water.coldest), water.coldest)
    power, per_heat = np.full(heat.size, tank.power / 1000.0), np.ones(heat.size)
    if tank.power == 0.0:
        step = drive.use.reshape(heat.size, -1).max(axis=1)  # the taps take less than that from the tank
        lost = (full + tank.loss / 1000.0 * (water.hottest - plant.column.room)) * plant.step_seconds / 3600.0
        cooled = (tank.volume * warm + step * water.coldest) / (tank.volume + step) - lost / kelvin
        inlets = np.linspace(water.coldest, water.hottest, INLETS)
        inlets = np.union1d(inlets, tank.machine.water_in_c)
        found = over_inlets(tank.machine, drive.source, inlets)
        below = np.searchsorted(inlets, np.maximum(cooled, inlets[0]), side="right") - 1
        met = np.arange(inlets.size) >= below[:, None]
        power = found.capacity.max(axis=1) / 1000.0
        ratio = np.where(met, found.per_heat, np.inf).min(axis=1)
        per_heat = np.where(np.isfinite(ratio), ratio, 0.0)
    return Tank(
        carried=heat * np.maximum(water.hottest - drive.mains, 0.0),
        heater=power,
        per_heat=per_heat,
        storage=storage,
        least=np.minimum(least, storage),
        ends=(kelvin * (tank.setpoint - water.coldest), kelvin * (served.tank_end - water.coldest)),
        loss_share=share,
        loss_constant=-share * kelvin * (plant.column.room - water.coldest),
        floor=np.minimum(kelvin * (warm - water.coldest), storage),
    )


def _machine(
    assembly: Assembly, served: Served, water: _Water, best: Warmest, reduced: ReducedPlant, years: int
) -> ReducedPlant:
    """The plant with its heat pump and the second balance."""
    plant, drive = assembly.plant, assembly.drive
    single = plant.water_side == WaterSide.SINGLE
    met = best.met
    if plant.turndown < 1.0:
        met = _of_full_speed(plant, met)
    colder = not best.exact or plant.turndown < 1.0
    outlet = float(drive.outlet[0]) if single and np.ptp(drive.outlet) == 0.0 else None
    axis = plant.machine.water_in_c
    inlets = np.linspace(water.coldest, water.hottest, INLETS)
    inlets = np.union1d(inlets, axis[(axis > water.coldest) & (axis < water.hottest)])
    found = over_inlets(plant.machine, met, inlets, outlet, colder=colder)
    capacity = found.capacity.max(axis=1)
    works = (capacity > 0.0) & (best.met >= plant.lowest_source)
    frost, power, drawn = drive.frost_capacity, drive.frost_power, drive.frost_drawn
    if plant.turndown < 1.0 and len(drive.frost_part) > 1:  # the least that it costs at any speed
        least = drive.frost_part[:, 0].max(axis=1), drive.frost_part[:, 1:].min(axis=2)
        frost = np.maximum(frost, frost * least[0] / drive.frost_part[:, 0, -1])
        power, drawn = np.minimum(power, least[1][:, 0]), np.minimum(drawn, least[1][:, 1])
    if plant.sources.kind == SourceKind.ROOM and plant.sources.room.intake_here:
        frost, power, drawn = frost / frost, frost / frost, 0.0 * frost
    if drive.frost_pause.any():
        drawn = 0.0 * frost
    kept = 1.0 - drawn
    scale = grade.make_scale(plant, best.around_least, float(drive.mains.max()), water.hottest)
    second = _second(assembly, served, water, best, scale, years)
    # what defrosts draw back may come from water colder than the room
    back = 0.0 if single else drawn * max(scale.room - water.coldest, 0.0)
    given = grade.of_machine(scale, plant, inlets, water.hottest, float(capacity.max()) * plant.modules)
    heat = (reduced.demand).reshape(365, 24).sum(axis=1)
    asked = second.demand.reshape(365, 24).sum(axis=1)
    at = np.divide(asked, heat, out=np.zeros(365), where=heat > 0.0).repeat(24)
    bought = grade.bought(found, given, at)
    auxiliary = np.divide(_auxiliary(assembly), capacity, out=np.zeros(capacity.size), where=works)
    return reduced._replace(
        capacity=np.where(works, capacity * frost * plant.modules / 1000.0, 0.0),
        per_heat=(bought.per_heat * power + auxiliary) / (frost * kept),
        grade=second._replace(
            least=(bought.least + back) / kept,
            further=bought.further / kept,
            per_grade=bought.per_grade * power / frost,
        ),
    )


def _of_full_speed(plant: Plant, met: Array) -> Array:
    """Warmest source at which a module of full speed evaporates as one of least speed does at `met`. [°C]

    `part_speed.full_speed_source` at the water with which the coil takes most heat.
    """
    taken = np.nan_to_num(plant.machine.capacity_w - plant.gas_share * plant.machine.power_w)
    most = np.maximum.accumulate(taken.max(axis=(1, 2)))
    low, high = met, met + (1.0 - plant.turndown) * plant.coil * most[-1]
    for _ in range(40):  # bisection; the upper end stays on the safe side
        middle = 0.5 * (low + high)
        needed = met + (1.0 - plant.turndown) * plant.coil * np.interp(middle, plant.machine.source_c, most)
        low, high = np.where(needed > middle, middle, low), np.where(needed > middle, high, middle)
    return np.asarray(high)


def _auxiliary(assembly: Assembly) -> float:
    """Least power of fans and pumps of a running module. [W]."""
    plant, sources = assembly.plant, assembly.plant.sources
    power = plant.fan_power + plant.pump_power
    if sources.kind == SourceKind.GROUND_LOOP:
        running = np.arange(1, plant.modules + 1)
        power += float((sources.loop.pump[1 : plant.modules + 1] / running).min())
    elif sources.kind in (SourceKind.WET_WELL, SourceKind.SEWER):
        power += sources.pumping.pump_power / plant.modules
    return power


def _second(
    assembly: Assembly, served: Served, water: _Water, best: Warmest, scale: grade.Scale, years: int
) -> Grade:
    """The second balance, without the heat pump."""
    plant, drive, tank = assembly.plant, assembly.drive, assembly.plant.loop_tank
    through = tank.volume > 0.0 and tank.through > 0.0
    store = RHO_CP * plant.column.volume / JOULE_PER_KWH  # kWh/K
    held = RHO_CP * tank.volume / JOULE_PER_KWH if through else 0.0
    demand, spared = grade.of_taps(scale, served.taps, _volume(assembly), drive.mains)
    if tank.volume == 0.0 or through:
        full = np.tile(drive.loop_loss, 365) / 1000.0
        back = np.tile(drive.loop_return, 365)
        demand = demand + grade.of_loop(scale, served.loop, full, back, plant, water)
    backup = scale.slope(drive.backup_setpoint)
    if plant.backup_mode == BackupMode.SERIES:  # heat at its setpoint, or the hottest of the store spared
        backup = np.maximum(backup, spared)
    ends = scale.worth(water.coldest), scale.worth(water.hottest)
    start = float(scale.worth(assembly.start).mean())
    if years > 1:  # only the mean is known: a part at its hottest, the rest at its coldest
        hot = (served.store_start - water.coldest) / (water.hottest - water.coldest)
        start = float((1.0 - hot) * ends[0] + hot * ends[1])
    losing = plant.column.loss * 3600.0 / JOULE_PER_KWH  # kWh/K in an hour
    gain = losing * 0.25 * (best.around - best.around_least) ** 2
    if through:
        gain = gain + tank.loss / 1000.0 * 0.25 * (plant.column.room - best.around_least) ** 2
    return Grade(
        demand=demand,
        least=0.0,
        further=0.0,
        per_grade=0.0,
        backup=backup,
        heater=float(scale.slope(tank.setpoint)) if through else 0.0,
        gain=gain,
        storage=(store + held) * float(max(ends)),
        ends=(
            store * start + held * float(scale.worth(tank.setpoint)),
            store * _at_least(scale, served.store_end) + held * _at_least(scale, served.tank_end),
        ),
    )


def _at_least(scale: grade.Scale, mean: float) -> float:
    """Grade of water whose mean is at least `mean` °C, in K² (Jensen)."""
    return float(scale.worth(max(mean, scale.room)))


def _most(assembly: Assembly) -> Array:
    """Electricity that can be bought in an hour, whatever for, beside the fixed. [kWh]."""
    plant, drive = assembly.plant, assembly.drive
    module = float(np.nanmax(plant.machine.power_w)) * np.maximum(drive.frost_power, 1.0)
    power = plant.modules * (module + _most_auxiliary(assembly))
    if plant.backup_mode != BackupMode.NONE:
        power = power + plant.backup_electric * plant.backup_power
    tank = plant.loop_tank
    if tank.volume > 0.0:
        power = power + (tank.power or float(np.nanmax(tank.machine.power_w)))
    return power / 1000.0


def _most_auxiliary(assembly: Assembly) -> float:
    """Most power of fans and pumps of a running module, and of a sewer's grinder. [W]."""
    plant, sources = assembly.plant, assembly.plant.sources
    power = plant.fan_power + plant.pump_power
    if sources.kind == SourceKind.GROUND_LOOP:
        power += float(sources.loop.pump.max())
    elif sources.kind in (SourceKind.WET_WELL, SourceKind.SEWER):
        power += (sources.pumping.pump_power + grinding_power(sources)) / plant.modules
    return power
