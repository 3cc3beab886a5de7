"""The modules that are to run in a window: speed, frost, lines, and the water that they meet."""

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Plant, SourceKind, WaterSide
from hpwhsim.plant.charging import entering, midway
from hpwhsim.plant.controls import begin_thaws, count_starts, part_speed
from hpwhsim.plant.events import MINUTE
from hpwhsim.plant.heat_source import taken_at
from hpwhsim.plant.part_speed import part_frost
from hpwhsim.plant.running import WATER_TOO_WARM, WORKS, heat_of_machine, heat_over, machine_now
from hpwhsim.plant.standing import SETTLED, share_owed
from hpwhsim.plant.state import (
    Begun,
    Charge,
    Coming,
    Decision,
    Duty,
    Heat,
    Held,
    Hour,
    Machine,
    Ration,
    Ready,
    Scene,
    Spell,
)
from hpwhsim.storage.layers import Layers, level_of

MOST_SHARES, AGREED_TIME = 5, 1e-3  # rounds, and share of a window's time by which two may differ
IDLE = Heat(WORKS, 0.0, 0.0, 0.0, 0.0, True)
WET_WELL, SEWER = int(SourceKind.WET_WELL), int(SourceKind.SEWER)
WRAPPED = int(WaterSide.WRAPPED)


@kernel
def speed_now(plant: Plant, layers: Layers, hour: Hour, wanted: int) -> float:
    """Share of full speed."""
    if wanted == 0 or plant.turndown >= 1.0:
        return 1.0
    front = level_of(layers, plant.column, plant.controls.start_at + hour.lift)
    return part_speed(plant.controls, plant.turndown, front)


@kernel
def make_ready(
    scene: Scene, hour: Hour, held: Held, asked: Decision, coming: Coming
) -> tuple[Ready, Decision, float]:
    """The modules asked for as they begin a window; those that do; and until when it may last."""
    plant, layers, rotation = scene.plant, scene.layers, scene.rotation
    here, draw, source, owed = coming.here, coming.draw, held.seen.source, held.lines.owed
    wanted, until = asked.wanted, draw.until
    thawing = 0
    if hour.pause > 0.0 and wanted > 0:
        thawing = begin_thaws(plant.controls, rotation, plant.modules, wanted, hour.pause)
    plant.speed[0] = speed_now(plant, layers, hour, wanted)
    machine = machine_now(plant)
    units = (wanted - thawing) * machine.speed
    giving, back, pause = hour.frosted, hour.drawn_back, hour.pause
    to_lines = 0.0
    if wanted > 0:
        if machine.speed < 1.0 and back > 0.0:  # a coil of less heat is warmer
            met_water = entering(plant, layers, hour, coming, source, units)
            clear, power, back, pause = part_frost(
                machine, scene.state.frost, source, met_water, giving[0], hour.pause
            )
            giving = clear, power
        if abs(owed) > SETTLED and units > 0.0:
            until = min(until, draw.since + MINUTE)
            seconds = units * (until - draw.since)
            to_lines = share_owed(machine, here.temperature, owed, source, seconds, giving)
            giving = giving[0] * (1.0 - to_lines), giving[1]
    duty = Duty(source, units, coming.cold if wanted > 0 else 0.0, hour.mains, giving)
    heat = IDLE
    if units > 0.0:
        heat = heat_of_machine(machine, duty, here.temperature)
        if heat.refused != WORKS:
            asked, heat = Decision(asked.calling, 0, heat.refused), IDLE
    return Ready(duty, here, heat, thawing, back, pause, to_lines), asked, until


@kernel
def change_over(scene: Scene, charging: Charge, asked: Decision) -> Charge:
    """The heat pump with the modules that are to run from now on; their starts are counted."""
    plant = scene.plant
    wanted, refused = asked.wanted, asked.refused
    since, rested, cut_out = charging.since, charging.rested, charging.cut_out
    warming = charging.warming
    if wanted > charging.running:
        warming += (wanted - charging.running) * plant.start_loss
    if wanted == 0:
        warming = 0.0
    if wanted < charging.running and refused != WORKS:
        rested = 0.0
        if refused != WATER_TOO_WARM:
            cut_out = 0.0
    if (wanted > 0) != (charging.running > 0):
        since = 0.0
    if wanted != charging.running:
        starts = scene.out.module_starts
        count_starts(plant.controls, scene.rotation, plant.modules, charging.running, wanted, starts)
    return Charge(asked.calling, wanted, refused, since, rested, cut_out, warming)


@kernel
def pass_on(charging: Charge, spell: Spell) -> Charge:
    """The heat pump at the end of a window."""
    dt = spell.seconds
    warming = charging.warming - spell.idle if charging.running > 0 else 0.0
    return Charge(
        charging.calling,
        charging.running,
        charging.refused,
        charging.since + dt,
        charging.rested + dt,
        charging.cut_out + dt,
        warming,
    )


@kernel
def rationed(machine: Machine, hour: Hour, ready: Ready, heat: Heat, ration: Ration) -> float:
    """Share of the rest of the step in which the modules run on what its sewage has left."""
    duty = ready.duty
    needs = taken_at(machine, duty.source, heat.inlet, duty.units, hour.frosted) * ration.seconds
    return ration.left / needs if needs > ration.left else 1.0


@kernel
def rationed_start(machine: Machine, hour: Hour, ready: Ready, ration: Ration) -> tuple[Heat, float]:
    """What the modules give, and for which share of the time, by the water met now."""
    heat, duty = ready.heat, ready.duty
    share = rationed(machine, hour, ready, heat, ration)
    if duty.cold > 0.0 and 0.0 < share < 1.0:  # the taps' mains water comes while it runs
        again = heat_of_machine(machine, with_cold(duty, duty.cold / share), ready.here.temperature)
        if again.refused == WORKS:
            return again, rationed(machine, hour, ready, again, ration)
    return heat, share


@kernel
def with_cold(duty: Duty, cold: float) -> Duty:
    """The same with another flow of mains water. [m³/s]"""
    return Duty(duty.source, duty.units, cold, duty.mains, duty.frosted)


@kernel
def with_heat(ready: Ready, heat: Heat) -> Ready:
    """The same modules with what they give by other water."""
    return Ready(ready.duty, ready.here, heat, ready.thawing, ready.back, ready.pause, ready.to_lines)


@kernel
def heated(running: int, seconds: float, idle: float, share: float) -> float:
    """Time of a window in which `running` modules heat. [s]"""
    return (seconds - idle / running) * share if running > 0 else 0.0


@kernel
def with_given(spell: Spell, heating: float, share: float, heat: Heat, water: float) -> Spell:
    """The same window with what the modules give in it."""
    return Spell(spell.seconds, spell.end, spell.running, spell.idle, heating, share, heat, water)


@kernel
def agreed(kind: int, scene: Scene, hour: Hour, begun: Begun, spell: Spell) -> Spell:
    """A window whose heat is that of all the water that comes in it, where this is more than one layer's."""
    plant, ready = scene.plant, begun.ready
    machine = machine_now(plant)
    heat, heating, share, water, dt = spell.heat, spell.heating, spell.share, spell.water, spell.seconds
    if plant.water_side == WRAPPED:
        water = midway(plant, ready.here, heat.heat * heating)
        again = heat_of_machine(machine, ready.duty, water)
        if again.refused == WORKS:
            heat = again
        return with_given(spell, heating, share, heat, water)
    for _ in range(MOST_SHARES):
        duty = with_cold(ready.duty, ready.duty.cold * dt / heating)
        heat, water = heat_over(machine, scene.layers, plant.intake_port, duty, heat, heating)
        if kind != WET_WELL and kind != SEWER:
            break
        share = rationed(machine, hour, ready, heat, begun.ration)
        before = heating
        heating = heated(spell.running, dt, spell.idle, share)
        if abs(heating - before) <= AGREED_TIME * dt:
            break
    return with_given(spell, heating, share, heat, water)
