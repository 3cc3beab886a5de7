"""What is looked at, and how many modules run."""

import numpy as np

from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import BackupMode, Cause, Plant, SourceKind
from hpwhsim.plant.charging import at_intake, entering
from hpwhsim.plant.controls import modules_to_run, next_call
from hpwhsim.plant.heat_source import begin_hour, clear_or_frosted, meet, offered, refused_by
from hpwhsim.plant.held import NO_OFFER, with_seen
from hpwhsim.plant.running import WORKS, machine_now, refusal
from hpwhsim.plant.state import Charge, Coming, Decision, Draw, Held, Hour, Intake, Look, Moment, Scene
from hpwhsim.source.offer import Offer, met
from hpwhsim.storage.layers import Layers, level_of, sensed

# A source that was cooled to the limit must carry who joins again by so much more, less as time goes by:
# the differential of a cut-out (choice of this program); a day, so that a steady cold source is used.
RESET, RESET_TIME = 0.5, 86400.0  # K, s
SOURCE_TOO_COLD = int(Cause.SOURCE_TOO_COLD)
OUTDOOR_AIR, ROOM = int(SourceKind.OUTDOOR_AIR), int(SourceKind.ROOM)
GROUND_LOOP = int(SourceKind.GROUND_LOOP)
SERIES = int(BackupMode.SERIES)
NOTHING_COMES = Intake(0.0, np.inf, 0.0)


@kernel
def open_hour(kind: int, scene: Scene, index: int) -> Hour:
    """The settings of an hour that begins, with what frost costs in it."""
    plant, drive = scene.plant, scene.drive
    plant.outlet[0] = drive.outlet[index]
    frost = clear_or_frosted(scene, index)
    if kind == ROOM or kind == GROUND_LOOP:  # the compiler drops it for others
        frost = begin_hour(kind, scene, index)
    backup_at = drive.backup_setpoint[index]
    return Hour(
        number=index,
        mains=drive.mains[index],
        lift=drive.lift[index],
        backup_at=backup_at,
        backup_level=drive.backup_level[index],
        lifts_to=backup_at if plant.backup_mode == SERIES else -np.inf,
        loop_watts=drive.loop_loss[index % 24],
        loop_back=drive.loop_return[index % 24],
        frosted=(frost[0], frost[1]),
        drawn_back=frost[2],
        pause=drive.frost_pause[index],
    )


@kernel
def look(kind: int, scene: Scene, moment: Moment, use: float, running: int) -> tuple[Look, Offer]:
    """Look at source and clock; `use` is water at use temperature. [m³/s]"""
    if kind == OUTDOOR_AIR:
        return seen_air(scene, moment), NO_OFFER
    offer = offered(kind, scene, moment, max(running, 1))
    return seen_source(scene, moment, offer, use, running), offer


@kernel
def seen_air(scene: Scene, moment: Moment) -> Look:
    """Outdoor air and clock as they are at a step."""
    source = scene.drive.source[moment.hour.number]
    barred = WORKS if source >= scene.plant.lowest_source else SOURCE_TOO_COLD  # for every module
    open_hour, most, backup = clock_at(scene, moment.step.number)
    return Look(source, source, 1.0, 1, 0.0, barred, open_hour, most, backup)


@kernel
def seen_source(scene: Scene, moment: Moment, offer: Offer, use: float, running: int) -> Look:
    """A source that the machine cools, and the clock, at a step; `use` is water at use temperature. [m³/s]"""
    plant, layers, hour = scene.plant, scene.layers, moment.hour
    expected = max(running, 1)
    source = free = met(offer, 0.0)
    fed, inlet, barred = 1.0, 0.0, WORKS
    if plant.modules > 0:
        coming = Coming(at_intake(plant, layers), Draw(use, moment.now, moment.now, -1), 0.0)
        inlet = entering(plant, layers, hour, coming, free, float(expected))
        source, fed = meet(machine_now(plant), offer, inlet, float(expected), hour.frosted)
        if expected == 1:  # fewer modules cool the source less: only where one is too many, all are barred
            barred = refused_by(machine_now(plant), offer, source, fed, inlet)
    open_hour, most, backup = clock_at(scene, moment.step.number)
    return Look(source, free, fed, expected, inlet, barred, open_hour, most, backup)


@kernel
def clock_at(scene: Scene, step: int) -> tuple[bool, int, bool]:
    """Whether the heat pump may run at a step, how many modules, and whether the backup may."""
    plant, drive = scene.plant, scene.drive
    open_hour = drive.permitted[step % drive.permitted.size]
    if not open_hour and plant.reserve_level > 0.0:  # a bar does not hold while hot water runs out
        open_hour = level_of(scene.layers, plant.column, plant.use_temperature) > plant.reserve_level
    of_day = step % drive.most_modules.size
    return open_hour, min(plant.modules, drive.most_modules[of_day]), drive.backup_permitted[of_day]


@kernel
def decide(plant: Plant, layers: Layers, hour: Hour, seen: Look, charge: Charge) -> Decision:
    """What the sensors and the clock ask for; whether it can be had is found after."""
    controls = plant.controls
    at_start = at_stop = 0.0
    if charge.calling:
        at_stop, _, _ = sensed(layers, controls.stop_level)
    else:
        at_start, _, _ = sensed(layers, controls.start_level)
    calling = next_call(controls, charge.calling, at_start - hour.lift, at_stop - hour.lift)
    permitted = seen.open_hour and seen.barred == WORKS and seen.most_modules > 0
    wanted = modules_to_run(controls, seen.most_modules, calling, permitted, charge.running, charge.since)
    refused = charge.refused
    if wanted > charge.running and charge.rested < max(controls.stage_delay, controls.minimum_off):
        wanted = charge.running  # the refusal stands
    elif seen.barred != WORKS:
        refused = seen.barred
    elif wanted > 0 or not calling:
        refused = WORKS
    return Decision(calling, wanted, refused)


@kernel
def ask(
    kind: int, scene: Scene, moment: Moment, held: Held, draw: Draw, cold: float
) -> tuple[Decision, Held, Coming]:
    """As many modules of those that the controls want as source and water can carry.

    And the plant with what was seen with them and what the source offers them, and what comes to them in a
    window of this `draw`, with `cold` mains water straight to them. [m³/s]
    """
    plant, layers, hour = scene.plant, scene.layers, moment.hour
    asked = decide(plant, layers, hour, held.seen, held.charging)
    here = NOTHING_COMES
    if asked.wanted > 0:
        here = at_intake(plant, layers)
    coming = Coming(here, draw, cold)
    if kind == OUTDOOR_AIR:
        if asked.wanted > held.charging.running:
            asked = may_start(scene, hour, held, asked, coming)
        return asked, held, coming
    if asked.wanted > 0:
        asked, held = fewer(kind, scene, moment, held, asked, coming)
    return asked, held, coming


@kernel
def may_start(scene: Scene, hour: Hour, held: Held, asked: Decision, coming: Coming) -> Decision:
    """Modules that may join on outdoor air, which they do not cool: those asked for, or none."""
    source = held.seen.source
    inlet = entering(scene.plant, scene.layers, hour, coming, source, float(asked.wanted))
    why = refusal(machine_now(scene.plant), source, inlet)
    if why == WORKS:
        return asked
    return Decision(asked.calling, held.charging.running, why)


@kernel_apart
def met_by(kind: int, scene: Scene, moment: Moment, modules: int, inlet: float) -> tuple[Offer, float, float]:
    """What the source offers so many modules in a look, by the water at its start; and as `meet`.

    The same all through a look, so that it is worked out once.
    """
    row, number = scene.tried[modules], moment.step.number + 1.0
    if row[0] != number:
        offer = offered(kind, scene, moment, modules)
        machine = machine_now(scene.plant)
        row[0] = number
        row[1], row[2] = meet(machine, offer, inlet, float(modules), moment.hour.frosted)
        row[3], row[4], row[5], row[6], row[7] = offer
    return Offer(row[3], row[4], row[5], row[6], row[7]), row[1], row[2]


@kernel
def fewer(
    kind: int, scene: Scene, moment: Moment, held: Held, asked: Decision, coming: Coming
) -> tuple[Decision, Held]:
    """As many modules of those asked for as a source that they cool and the water can carry.

    None starts or goes on but where it can work. One fewer cools the source less, so that what so many cannot
    carry no more can.
    """
    plant, hour, charge, seen, offer = scene.plant, moment.hour, held.charging, held.seen, held.offer
    found, refused, falls = 0, asked.refused, False
    source, fed, expected = seen.source, seen.fed, seen.expected
    wanted = min(max(charge.running, 1), asked.wanted)  # mostly as many can as run, and one more cannot
    while wanted > 0:
        by, warm, share = held.offer, seen.source, seen.fed
        if wanted != seen.expected:
            by, warm, share = met_by(kind, scene, moment, wanted, seen.inlet)
        inlet = entering(plant, scene.layers, hour, coming, warm, float(wanted))
        spare = RESET * max(1.0 - charge.cut_out / RESET_TIME, 0.0) if wanted > charge.running else 0.0
        why = refused_by(machine_now(plant), by, warm - spare, share, inlet)
        if why != WORKS:
            refused = why
            if found > 0:
                break
            falls = True
        offer, source, fed, expected = by, warm, share, wanted
        if why == WORKS:
            found = wanted
            if falls or wanted == asked.wanted:
                break
        wanted += -1 if falls else 1
    looked = Look(
        source,
        seen.free,
        fed,
        expected,
        seen.inlet,
        seen.barred,
        seen.open_hour,
        seen.most_modules,
        seen.backup_allowed,
    )
    return Decision(asked.calling, found, refused), with_seen(held, looked, offer)
