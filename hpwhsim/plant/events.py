"""How long nothing changes: the time to the next sensor, layer used up, or timer."""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import BackupMode, Plant, WaterSide
from hpwhsim.plant.charging import of_intake
from hpwhsim.plant.controls import Rotation
from hpwhsim.plant.flows import hot_needed, loop_flow, loop_reach
from hpwhsim.plant.running import hottest_inlet, machine_now
from hpwhsim.plant.state import Begun, Charge, Course, Flow, Heat, Held, Hour, Intake, Scene
from hpwhsim.storage.layers import RHO_CP, Layers, level_of, sensed, top_of

SINGLE, WRAPPED = int(WaterSide.SINGLE), int(WaterSide.WRAPPED)
PARALLEL = int(BackupMode.PARALLEL)
LONGEST = 300.0  # s in which draws are taken as one, and the water at a sensor cools unseen
MINUTE = 60.0  # s: layers used up closer together than this are taken as one, and where water mixes
SOONEST = 2.0  # s: a sensor or timer is met within this
SOONEST_WARM = 20.0  # s: the same where the water at the sensor warms bit by bit
LONGEST_WARM = 100.0  # s: a condenser at the wall is taken by the water midway; 150 s move a year by 0.1 %
TINY = 1e-6  # s
MOST_MOVED = 0.2  # of a tank in a window


@kernel
def loop_now(plant: Plant, hour: Hour, flow: float, taps: float, top: float) -> float:
    """Flow from the store to the loop by the water that it gets at first. [m³/s]

    Parameters
    ----------
    plant, hour
        The plant and its hour.
    flow, taps : float
        Water straight from the heat pump, and hot water to the taps. [m³/s]
    top : float
        Water of the store. [°C]
    """
    if hour.loop_watts <= 0.0 or plant.loop_runs <= 0.0:
        return 0.0
    full = hour.loop_watts / RHO_CP
    supply = top
    turns = full / (plant.loop_supply - hour.loop_back)  # the loop's own flow
    if hour.lifts_to > -np.inf:
        if flow >= turns:
            supply = plant.outlet[0]
        if supply < hour.lifts_to:
            supply = min(hour.lifts_to, supply + plant.backup_power / RHO_CP / turns)
    elif flow > taps:
        supply = plant.outlet[0]
    return loop_flow(plant, supply, hour.loop_back, full * loop_reach(plant, supply))


@kernel
def rise_at(plant: Plant, flow: Flow, height: float) -> float:
    """How fast water rises at a height. [m³/s]"""
    rise = flow.taps - flow.straight
    if height > plant.loop_port:
        rise += flow.loop
    if height > plant.draw_port:
        rise = 0.0
    if plant.intake_port < height <= plant.return_port:
        rise -= flow.between
    return rise


@kernel
def to_sensors(scene: Scene, hour: Hour, charge: Charge, flow: Flow, backup_waits: bool) -> float:
    """Time until the water at the sensor that matters may be what switches. [s]

    `backup_waits`: a backup in the store may run and does not.
    """
    plant, layers = scene.plant, scene.layers
    controls, column = plant.controls, plant.column
    found = np.inf
    if plant.modules > 0 and not charge.calling:
        rise = rise_at(plant, flow, controls.start_level)
        if rise > 0.0:
            front = level_of(layers, column, controls.start_at + hour.lift)
            found = max(controls.start_level - front, 0.0) / rise
    elif charge.running > 0:
        fall = -rise_at(plant, flow, controls.stop_level)
        if fall > 0.0:
            front = level_of(layers, column, controls.stop_at + hour.lift)
            found = max(front - controls.stop_level, 0.0) / fall
    if backup_waits:
        rise = rise_at(plant, flow, hour.backup_level)
        if rise > 0.0:
            front = level_of(layers, column, hour.backup_at - plant.backup_dead_band)
            if front < hour.backup_level:  # a heater at its sensor warms what rises past it at once
                found = min(found, max((hour.backup_level - front) / rise, MINUTE))
    return max(found, SOONEST)


@kernel
def to_warm(plant: Plant, layers: Layers, hour: Hour, intake: Intake, heat: Heat) -> float:
    """Time until a machine that warms the store bit by bit may have warmed its stop sensor or itself. [s]

    A minute at most, with a condenser at the wall `LONGEST_WARM`; the sooner, the nearer the water comes to
    where it stops. A condenser at the wall gives each layer as it lacks heat, so that the time is known.
    """
    controls = plant.controls
    if plant.water_side == WRAPPED:
        hottest, limit = plant.outlet[0], hottest_inlet(machine_now(plant))
        share = (limit - heat.inlet) / (hottest - heat.inlet) if limit < hottest else 1.0
        if controls.stop_level < plant.condenser_top:
            here, _, _ = sensed(layers, controls.stop_level)
            stop = controls.stop_at + hour.lift
            if stop < hottest:
                share = min(share, (stop - here) / (hottest - here))
        return min(max(share * intake.lacking / heat.heat, SOONEST_WARM), LONGEST_WARM)
    heated = plant.condenser_top if plant.condenser_top > 0.0 else plant.return_port - plant.intake_port
    here, above, below = sensed(layers, controls.stop_level)
    to_stop = max(controls.stop_at + hour.lift - here, 0.0) * (above + below)
    to_limit = max(hottest_inlet(machine_now(plant)) - heat.inlet, 0.0) * heated
    return min(max(min(to_stop, to_limit) / heat.heat, SOONEST_WARM), MINUTE)


@kernel
def to_timers(plant: Plant, charge: Charge, rotation: Rotation, pause: float) -> float:
    """Time until a minimum time, a stage's delay or a defrost is over. [s]"""
    controls = plant.controls
    found = np.inf
    if charge.running > 0:
        if charge.calling and controls.stage_delay > 0.0 and charge.running < plant.modules:
            found = controls.stage_delay - charge.since % controls.stage_delay
        elif not charge.calling:
            found = controls.minimum_run - charge.since
        if charge.warming > 0.0:
            found = min(found, charge.warming / charge.running)
        if pause > 0.0:
            found = min(found, to_defrost(plant, rotation, charge.running, pause))
    elif charge.calling and charge.since < controls.minimum_off:
        found = controls.minimum_off - charge.since
    rest = max(controls.stage_delay, controls.minimum_off)
    if charge.calling and charge.rested < rest:
        found = min(found, rest - charge.rested)
    return max(found, SOONEST)


@kernel
def to_defrost(plant: Plant, rotation: Rotation, running: int, pause: float) -> float:
    """Time until one of the running modules begins or ends a defrost. [s]"""
    found = np.inf
    filling = (1.0 - pause) * plant.controls.defrost_time / pause  # s of heating that fill a coil
    for rank in range(running):
        m = (rotation.lead[0] + rank) % plant.modules
        if rotation.thawing[m] > 0.0:
            found = min(found, rotation.thawing[m])
        elif rotation.ice[m] < 1.0:
            found = min(found, (1.0 - rotation.ice[m]) * filling)
    return found


@kernel
def runs_out(plant: Plant, layers: Layers, hour: Hour, use: float) -> bool:
    """Whether water of use temperature may run out below the outlet while `use` and the loop are served.

    `use` is water at use temperature in m³, that of the loop is what it takes in `LONGEST`.
    """
    front = level_of(layers, plant.column, plant.use_temperature)
    top = top_of(layers)
    loop = loop_now(plant, hour, 0.0, 0.0, top)
    moved = hot_needed(plant, use, hour.mains, plant.use_temperature) + loop * LONGEST
    return front + moved + 0.02 * plant.column.volume >= plant.draw_port


@kernel
def nothing_changes(scene: Scene, hour: Hour, held: Held, begun: Begun, most: float) -> float:
    """Time, at most `most`, until a sensor, a timer or a layer used up may change what runs or flows. [s]"""
    plant, course, layers = scene.plant, scene.course, scene.layers
    flow, ready = begun.flow, begun.ready
    waits = plant.backup_mode == PARALLEL and held.seen.backup_allowed and not held.backup.on
    dt = min(most, to_sensors(scene, hour, held.charging, flow, waits))
    dt = min(dt, to_timers(plant, held.charging, scene.rotation, ready.pause))
    through = max(flow.taps + flow.loop, flow.straight + flow.between)
    if through > 0.0:
        dt = min(dt, course.most / through)
    net = net_flow(course, flow)
    if net > 0.0:
        alike = ready.here.alike
        dt = min(dt, max(alike / net, MINUTE))
        if net * dt > alike and of_intake(plant, layers, net * dt) > hottest_inlet(machine_now(plant)):
            dt = max(alike / net, SOONEST)  # it stops at the warm water, not after it
    if plant.water_side != SINGLE and ready.heat.heat > 0.0:
        dt = min(dt, to_warm(plant, layers, hour, ready.here, ready.heat))
    if held.backup.on:
        dt = min(dt, MINUTE)
    return dt


@kernel
def net_flow(course: Course, flow: Flow) -> float:
    """What leaves the store for the machine. [m³/s]"""
    return flow.straight - flow.taps if course.straight else flow.between
