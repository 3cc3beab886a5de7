"""What a while adds to its hour, and why the heat pump did not do it alone."""

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Cause, Hourly, Plant, SourceRow
from hpwhsim.plant.heat_source import pumped
from hpwhsim.plant.running import WORKS, machine_now, thaw_power
from hpwhsim.plant.state import Charge, Energy, Given, Held, Look, LoopState, Moved, Ready, Scene, Spell, Sums
from hpwhsim.storage.layers import RHO_CP

NO_HEAT_PUMP = int(Cause.NO_HEAT_PUMP)
LOCK_OUT = int(Cause.LOCK_OUT)
CAPACITY = int(Cause.CAPACITY)
STARTING = int(Cause.STARTING)
NOT_CALLED = int(Cause.NOT_CALLED)
SOURCE_SPENT = int(Cause.SOURCE_SPENT)
MET, SPENT, PUMP = int(SourceRow.MET), int(SourceRow.SPENT), int(SourceRow.PUMP)


@kernel
def energy_of(plant: Plant, ready: Ready, spell: Spell, given: Given, drawn: float) -> Energy:
    """Electricity of the heat pump in a window, and heat from its source; `drawn` back by defrosts. [m³·K]"""
    heat, duty, running, dt = spell.heat, ready.duty, spell.running, spell.seconds
    machine, below = machine_now(plant), ready.here.temperature
    energy = given.heat * heat.power / heat.heat if heat.heat > 0.0 else 0.0
    idle_energy = 0.0
    if spell.idle > 0.0:
        idle_energy = spell.idle * thaw_power(machine, below, duty.source, (1.0, 1.0))
    if ready.thawing > 0 and running > 0:
        energy += thaw_power(machine, below, duty.source, duty.frosted) * ready.thawing * spell.heating
    on = running * min(spell.share, 1.0) * dt
    standing = plant.standby_power
    if not duty.source >= plant.crankcase_below:
        standing += plant.crankcase_power
    return Energy(
        machine=energy + idle_energy,
        taken=(given.heat - drawn) * RHO_CP - plant.gas_share * energy,
        drawn=drawn,
        shed=(1.0 - plant.gas_share) * energy + idle_energy,
        fan=on * plant.fan_power,
        pump=on * plant.pump_power,
        standby=(plant.modules * dt - on) * standing,
        on=on,
    )


@kernel
def book_source(
    kind: int, scene: Scene, hour: int, held: Held, energy: Energy, seconds: float
) -> tuple[float, Sums]:
    """Electricity of pumps between source and machine in a window [J], and the step's sums with it."""
    out, seen, sums = scene.out, held.seen, held.sums
    circulation = pumped(kind, scene, hour, seen.source, held.charging.running, energy)
    out.source[MET, hour] += (seen.source if energy.on > 0.0 else seen.free) * seconds
    out.source[PUMP, hour] += circulation
    fan = energy.fan if scene.plant.sources.room.exhaust_here else 0.0
    return circulation, Sums(
        sums.taken + energy.taken,
        sums.on + energy.on,
        sums.gain + (energy.shed + energy.pump + energy.standby + fan),
        sums.lost,
    )


@kernel
def book_heat_pump(out: Hourly, hour: int, energy: Energy, given: Given, spell: Spell) -> None:
    """Add heat of the machine net of what defrosts drew back [m³·K], that, electricity and running."""
    out.heat_pump_heat[hour] += (given.heat - energy.drawn) * RHO_CP
    out.defrost_heat[hour] += energy.drawn * RHO_CP
    out.machine_loss[hour] += energy.shed
    out.heat_pump_energy[hour] += energy.machine
    out.fan_energy[hour] += energy.fan
    out.pump_energy[hour] += energy.pump
    out.standby_energy[hour] += energy.standby
    if energy.on > 0.0:
        seconds = spell.share * spell.seconds
        out.module_seconds[hour] += energy.on
        out.run_seconds[hour] += seconds
        out.water_in_sum[hour] += given.inlet * given.weight
        out.water_in_volume[hour] += given.weight
        if not spell.heat.inside:
            out.edge_seconds[hour] += seconds
        if spell.share < 1.0:
            out.source[SPENT, hour] += spell.seconds


@kernel
def book_water(out: Hourly, hour: int, moved: Moved, coldest: float, top: float) -> None:
    """Add what taps and loop took, the coldest water that left and that at the store's outlet. [°C]"""
    out.taps_heat[hour] += moved.taps_heat * RHO_CP
    out.loop_heat[hour] += moved.loop_heat * RHO_CP
    out.unmet[hour] += moved.missing * RHO_CP
    out.hot_volume[hour] += moved.taps
    out.short_volume[hour] += moved.short
    out.supply[hour] = min(out.supply[hour], coldest)
    out.store_top[hour] = min(out.store_top[hour], top)


@kernel
def book_heaters(plant: Plant, out: Hourly, hour: int, backup: float, loop: LoopState) -> float:
    """Add heat of the backup [J] and of the loop's own tank; electricity of both. [J]"""
    bought = backup / plant.backup_efficiency
    out.backup_heat[hour] += backup
    out.backup_energy[hour] += bought
    out.loop_heater_heat[hour] += loop.heat
    out.loop_heater_energy[hour] += loop.energy
    return loop.energy + plant.backup_electric * bought


@kernel
def book_cause(scene: Scene, hour: int, held: Held, spell: Spell, backup: float, short: float) -> None:
    """Add why the backup gave heat [J] or water ran `short` [s], and the time of a barred machine."""
    plant, out, seen, charging = scene.plant, scene.out, held.seen, held.charging
    permitted = seen.open_hour and seen.barred == WORKS and seen.most_modules > 0
    if charging.calling and charging.running == 0 and (charging.refused != WORKS or not permitted):
        out.lockout_seconds[hour] += spell.seconds
    if backup > 0.0 or short > 0.0:
        cause = cause_of(plant, seen, charging, spell.share)
        if backup > 0.0:
            out.backup_seconds[cause, hour] += backup / plant.backup_power
        out.short_seconds[cause, hour] += short


@kernel
def cause_of(plant: Plant, seen: Look, charging: Charge, share: float) -> int:
    """Why the heat pump did not do it alone while the source gives heat for a share of the time."""
    running, most_modules = charging.running, seen.most_modules
    if plant.modules == 0:
        return NO_HEAT_PUMP
    if running == 0 and not charging.calling:
        return NOT_CALLED
    if not seen.open_hour or most_modules == 0:
        return LOCK_OUT
    if charging.refused >= 0:
        return charging.refused
    if share < 1.0:
        return SOURCE_SPENT
    if running == most_modules:
        return CAPACITY if most_modules == plant.modules else LOCK_OUT
    return STARTING if charging.calling else NOT_CALLED
