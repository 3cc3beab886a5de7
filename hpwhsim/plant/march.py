"""The march through the year, event to event: look, decide, heat, serve, defrost, back up, record, rest."""

from collections.abc import Callable
from functools import cache

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.compiler import by_reference
from hpwhsim.kernel import kernel, kernel_apart, kernel_entry
from hpwhsim.plant.arrays import (
    SLICES,
    BackupMode,
    Drive,
    Hourly,
    Plant,
    SourceKind,
    SourceRow,
    SourceState,
    WaterSide,
    make_hourly,
)
from hpwhsim.plant.backup import back_up
from hpwhsim.plant.booking import (
    book_cause,
    book_heat_pump,
    book_heaters,
    book_source,
    book_water,
    energy_of,
)
from hpwhsim.plant.controls import Rotation, count_run, make_rotation
from hpwhsim.plant.decide import ask, look, open_hour
from hpwhsim.plant.draw_times import taps_run
from hpwhsim.plant.events import MINUTE, SOONEST, TINY, loop_now, net_flow, nothing_changes
from hpwhsim.plant.flows import hot_needed
from hpwhsim.plant.heat_source import end_hour, end_step
from hpwhsim.plant.held import begin_part, first_held, with_charge, with_look, with_overdraft
from hpwhsim.plant.loop_tank import tank_turns
from hpwhsim.plant.ready import (
    agreed,
    change_over,
    heated,
    make_ready,
    pass_on,
    rationed_start,
    with_heat,
)
from hpwhsim.plant.running import machine_now
from hpwhsim.plant.standing import lines_after
from hpwhsim.plant.state import (
    TRIED,
    Begun,
    Flow,
    Given,
    Held,
    Hour,
    Moment,
    Ration,
    Scene,
    Spell,
    Step,
    Sums,
)
from hpwhsim.plant.taps import course_of, next_draw, turn_taps, use_at
from hpwhsim.plant.window import charged, defrost, flowing, serve_and_move
from hpwhsim.storage.layers import (
    RHO_CP,
    SLIVER,
    Layers,
    foot,
    heat_of,
    make_layers,
    sensed,
    slices,
    top_of,
)
from hpwhsim.storage.still import conduct, fading, lose

CONDUCTION = 3600.0  # s between two times that heat is conducted along the height
OUTDOOR_AIR, ROOM = int(SourceKind.OUTDOOR_AIR), int(SourceKind.ROOM)
GROUND_LOOP = int(SourceKind.GROUND_LOOP)
WET_WELL, SEWER = int(SourceKind.WET_WELL), int(SourceKind.SEWER)  # they give so much in a step and no more
PUMP = int(SourceRow.PUMP)
WRAPPED = int(WaterSide.WRAPPED)
PARALLEL = int(BackupMode.PARALLEL)
OF_HOURS = (
    *("outlet", "lift", "backup_setpoint", "backup_level", "mains"),
    *("frost_capacity", "frost_power", "frost_drawn", "frost_pause"),
)
OF_LINES = ("line_around", "line_hold", "line_floor")
NO_RATION = Ration(0.0, 0.0)


March = Callable[[Plant, Drive, SourceState, Layers, Rotation, Hourly, Array, float], None]


@kernel
def at_outlet_now(plant: Plant, layers: Layers) -> float:
    """Water at the height where taps and loop draw. [°C]"""
    if plant.draw_port < plant.column.volume:
        return sensed(layers, plant.draw_port - SLIVER)[0]
    return top_of(layers)


@kernel
def begin_flow(scene: Scene, hour: Hour, pumped: float, use: float, taps: float, top: float) -> Flow:
    """What flows as a window begins, while the machine heats the flow `pumped`; see `Flow`."""
    straight = pumped if scene.course.straight else 0.0
    loop = 0.0
    if scene.plant.loop_runs > 0.0:
        loop = loop_now(scene.plant, hour, straight, taps, top)
    return Flow(use, taps, straight, 0.0 if scene.course.straight else pumped, loop)


@kernel
def begin_window(kind: int, scene: Scene, moment: Moment, held: Held) -> tuple[Held, Begun]:
    """Decide and run the heat pump: what runs and flows from a moment on, by what is seen then."""
    plant, hour, now = scene.plant, moment.hour, moment.now
    tap, running = held.tap, held.charging.running
    if now >= tap.end - TINY:
        tap = turn_taps(scene, hour, tap, now, running)
    draw = next_draw(scene, moment, tap, running)
    top = at_outlet_now(plant, scene.layers)
    taps = hot_needed(plant, draw.use, hour.mains, max(top, hour.lifts_to))
    asked, held, coming = ask(kind, scene, moment, held, draw, taps if scene.course.straight else 0.0)
    ready, asked, until = make_ready(scene, hour, held, asked, coming)
    charging = change_over(scene, held.charging, asked)
    share, ration = held.seen.fed if charging.running > 0 else 1.0, NO_RATION
    if kind == WET_WELL or kind == SEWER:  # the compiler drops it for others
        if ready.duty.units > 0.0 and charging.running > 0:
            # what is left of the step's sewage over the rest of the step, by the water met now
            left = max(held.offer.most * plant.step_seconds - held.overdrawn - held.sums.taken, 0.0)
            ration = Ration(left, moment.step.end - now)
            heat, share = rationed_start(machine_now(plant), hour, ready, ration)
            ready = with_heat(ready, heat)
    runs = 0.0 if charging.warming > 0.0 else share
    flow = begin_flow(scene, hour, ready.heat.flow * runs, draw.use, taps, top)
    return with_charge(held, charging, tap), Begun(ready, ration, share, flow, draw, until, top)


@kernel
def spell_of(kind: int, scene: Scene, moment: Moment, held: Held, begun: Begun) -> Spell:
    """How long nothing changes, and the machine's heat meanwhile."""
    plant, hour, now = scene.plant, moment.hour, moment.now
    ready, until = begun.ready, begun.until
    dt = nothing_changes(scene, hour, held, begun, until - now)
    if scene.course.tanked and tank_turns(plant, hour, held.loop, begun.flow.use * dt, begun.top):
        dt = min(dt, MINUTE)
    if until - now - dt < SOONEST:
        dt = until - now
    end = now + dt if now + dt < until - TINY else until
    dt = end - now
    running = held.charging.running
    idle = min(held.charging.warming, running * dt)
    heating = heated(running, dt, idle, begun.share)
    spell = Spell(dt, end, running, idle, heating, begun.share, ready.heat, ready.here.temperature)
    more = plant.water_side == WRAPPED or net_flow(scene.course, begun.flow) * dt > ready.here.alike
    if more and heating > 0.0 and ready.heat.heat > 0.0:
        spell = agreed(kind, scene, hour, begun, spell)
    return spell


@kernel
def pass_window(kind: int, scene: Scene, moment: Moment, held: Held, begun: Begun) -> tuple[float, Held]:
    """Serve, defrost, back up and record for as long as nothing changes; the end, and what is carried on."""
    plant, out, hour, ready = scene.plant, scene.out, moment.hour, begun.ready
    index, running = hour.number, held.charging.running
    spell = spell_of(kind, scene, moment, held, begun)
    given = charged(scene, ready, spell)
    moved, loop, spell, coldest = serve_and_move(kind, scene, hour, begun, spell, held.loop)
    straight = flowing(scene.course, begun.flow, spell).straight * spell.seconds
    if straight > 0.0:
        given = Given(moved.heat, straight, moved.inlet / straight)
    lines = held.lines
    if plant.lines.capacity > 0.0:
        lines = lines_after(scene, index, lines, given, ready.to_lines, spell.seconds)
    drawn = defrost(scene, hour, ready, spell, given.heat)
    backup, by_backup = held.backup, moved.added
    if plant.backup_mode == PARALLEL:
        backup = back_up(scene, hour, backup, held.seen.backup_allowed, spell.seconds)
        by_backup = backup.heat

    energy = energy_of(plant, ready, spell, given, drawn)
    circulation, sums = 0.0, held.sums
    if kind != OUTDOOR_AIR:
        circulation, sums = book_source(kind, scene, index, held, energy, spell.seconds)
    book_heat_pump(out, index, energy, given, spell)
    book_water(
        out, index, moved, coldest if scene.course.series else np.inf, at_outlet_now(plant, scene.layers)
    )
    heaters = book_heaters(plant, out, index, by_backup * RHO_CP, loop)
    out.quarter_power[moment.step.quarter] += (
        energy.machine + energy.fan + energy.pump + energy.standby + circulation + heaters
    )
    if energy.on > 0.0:
        count_run(scene.rotation, plant.modules, running, energy.on / running, out.module_run)
    short = moved.short_seconds
    if scene.course.through and moved.short > 0.0:
        short = taps_run(scene.drive.draws, index, moment.now, spell.end)
    book_cause(scene, index, held, spell, by_backup * RHO_CP, short)
    lost = sums.lost + loop.lost if scene.course.tanked else sums.lost
    return spell.end, Held(
        pass_on(held.charging, spell),
        held.tap,
        loop,
        lines,
        backup,
        held.seen,
        held.offer,
        Sums(sums.taken, sums.on, sums.gain, lost),
        held.overdrawn,
    )


@kernel
def rest(kind: int, scene: Scene, moment: Moment, held: Held, share_lost: float) -> Held:
    """What the end of a look does: the store loses heat, and the source is given what was taken from it."""
    plant, out, index = scene.plant, scene.out, moment.hour.number
    around = scene.state.air[0] if kind == ROOM else plant.column.room
    lost = (held.sums.lost + lose(scene.layers, around, share_lost)) * RHO_CP
    out.storage_loss[index] += lost
    if kind == SEWER:
        held = with_overdraft(held, plant.step_seconds)
    if kind != OUTDOOR_AIR:
        grinding = end_step(kind, scene, moment, held.sums, lost)
        out.source[PUMP, index] += grinding
        out.quarter_power[moment.step.quarter] += grinding
    return held


@kernel
def close_hour(kind: int, scene: Scene, index: int, held: Held) -> None:
    """Record how store, loop tank and ground stand at the end of an hour."""
    out, layers = scene.out, scene.layers
    out.store_mean[index] = heat_of(layers) / scene.plant.column.volume
    out.store_bottom[index] = foot(layers)
    out.loop_tank_end[index] = held.loop.held
    if kind == GROUND_LOOP:
        end_hour(scene, index)


@kernel_apart
def through(kind: int, scene: Scene, share_lost: float) -> None:
    """March from the first look to the last; a look takes the share `share_lost` of the store's excess."""
    plant, drive = scene.plant, scene.drive
    per_hour, dt = drive.looks, plant.step_seconds
    held = first_held(plant, drive)
    unmixed = 0.0
    for index in range(drive.source.size):
        hour = open_hour(kind, scene, index)
        held = begin_part(held)
        for part in range(per_hour):
            number = index * per_hour + part
            step = Step(number, number * 4 // per_hour, part * dt + dt)
            now = part * dt
            moment = Moment(hour, step, now)
            use, _ = use_at(drive, scene.course, index, now)
            seen, offer = look(kind, scene, moment, use, held.charging.running)
            held = with_look(held, seen, offer)
            while now < step.end - TINY:
                moment = Moment(hour, step, now)
                held, begun = begin_window(kind, scene, moment, held)
                now, held = pass_window(kind, scene, moment, held, begun)
            held = rest(kind, scene, moment, held, share_lost)
            unmixed += dt
            if unmixed >= 0.5 * CONDUCTION - TINY:  # half of what it stands for is over, half to come
                conduct(scene.layers, plant.column, CONDUCTION)
                unmixed -= CONDUCTION
        close_hour(kind, scene, index, held)


@cache
def marcher(kind: int) -> March:
    """The march of plants with one kind of source (`SourceKind`): the compiler drops what the others need."""

    @kernel_entry
    def entry(
        plant: Plant,
        drive: Drive,
        state: SourceState,
        layers: Layers,
        rotation: Rotation,
        out: Hourly,
        tried: Array,
        share_lost: float,
    ) -> None:
        """`march`, with its work space and zeroed arrays to fill."""
        scene = Scene(plant, drive, state, course_of(plant, drive), layers, rotation, out, tried)
        through(kind, by_reference(scene), share_lost)

    return entry


def march(plant: Plant, drive: Drive, state: SourceState, store: Array) -> Hourly:
    """March a plant through the hours of its drive.

    Parameters
    ----------
    plant, drive : Plant, Drive
        The plant and what drives it.
    state : SourceState
        The source at the start; holds it at the end.
    store : ndarray, shape (slice,)
        Slices of equal volume of the store at the start, bottom to top; holds it at the end. [°C]

    Returns
    -------
    Hourly
        What the hours brought.

    Raises
    ------
    ValueError
        If the drive's arrays are not as long as its source: compiled code would read past their end.
    """
    odd = [name for name in OF_HOURS if getattr(drive, name).size != drive.source.size]
    if plant.lines.capacity > 0.0:
        odd += [name for name in OF_LINES if getattr(drive, name).size != drive.source.size]
    if len(drive.frost_part) not in (1, drive.source.size):
        odd.append("frost_part")
    if odd or drive.use.size % drive.source.size:
        raise ValueError(
            f"drive of {drive.source.size} hours: {', '.join(odd) or 'use'} is of another length"
        )
    out = make_hourly(drive.source.size)
    layers, rotation = make_layers(plant.column, store), make_rotation(max(plant.modules, 1))
    tried = np.zeros((plant.modules + 1, TRIED))
    lost = fading(plant.column, plant.step_seconds)
    marcher(plant.sources.kind)(plant, drive, state, layers, rotation, out, tried, lost)
    store[:] = slices(layers, store.size)
    out.profile[:] = slices(layers, SLICES)
    return out
