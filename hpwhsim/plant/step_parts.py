"""Whether so much may happen in a step that it is taken in parts."""

from hpwhsim.kernel import kernel, kernel_inside
from hpwhsim.plant.arrays import Array, BackupMode, Plant
from hpwhsim.plant.flows import hot_needed, loop_reach, loop_volume
from hpwhsim.storage.tank import RHO_CP, level_of

HARD_DRAW = 0.02  # of the loop's tank in a step; with it the year's kWh agree with that by the minute to 1e-4
PARALLEL = int(BackupMode.PARALLEL)


@kernel
def may_switch(
    temperature: Array,
    plant: Plant,
    use: float,
    mains: float,
    calling: bool,
    loop_watts: float,
    loop_back: float,
    lift: float,
    backup_at: float,
    backup_level: float,
) -> bool:
    """Whether a sensor may switch in the coming step.

    The front comes nearer by the water that the step moves, and the water at the sensor cools: the loop's
    water comes back colder and mixes with what is warm below its port, and the store loses heat.
    """
    top = temperature[plant.draw_port - 1]
    moved = hot_needed(plant, use, mains, top) + 1.0
    loop = loss = 0.0
    if loop_watts > 0.0:
        reach = loop_reach(plant, top)
        loss = reach * loop_watts * plant.step_seconds / (RHO_CP * plant.column.cell_volume)
        loop = loop_volume(plant, top, reach, loop_back, loss)
        moved += loop
    start = plant.controls.start_at + lift
    waiting = plant.modules > 0 and not calling
    if waiting and front_after(temperature, plant, start, loop, loss) + moved >= plant.controls.start_level:
        return True
    if plant.backup_mode == PARALLEL:
        starts = backup_at - plant.backup_dead_band
        return front_after(temperature, plant, starts, loop, loss) + moved >= backup_level
    return False


@kernel_inside
def front_after(temperature: Array, plant: Plant, value: float, loop: float, loss: float) -> float:
    """Level [cells] above which water stays at `value` °C while the loop loses `loss` cell·K in a step.

    Its `loop` cells come back at their port. Colder than the water below they sink and mix with what is warm
    between front and port; colder water below the port they warm.
    """
    fall = plant.column.fading * max(value - plant.column.room, 0.0)
    if loop > 0.0:
        depth = plant.loop_port - level_of(temperature, value)
        if depth > 0.0:
            fall += loss / max(depth, loop)
    return level_of(temperature, value + fall)


@kernel_inside
def runs_out(
    served: Array, plant: Plant, use: float, mains: float, loop_watts: float, loop_back: float
) -> bool:
    """Whether water of use temperature may run out of `served`, the store up to its outlet, in a step."""
    top = served[served.size - 1]
    moved = hot_needed(plant, use, mains, top) + 1.0
    if loop_watts > 0.0:
        reach = loop_reach(plant, top)
        loss = reach * loop_watts * plant.step_seconds / (RHO_CP * plant.column.cell_volume)
        moved += loop_volume(plant, top, reach, loop_back, loss)
    return level_of(served, plant.use_temperature) + moved >= served.size


@kernel_inside
def tank_turns(plant: Plant, held: float, on: bool, use: float, top: float, loop_watts: float) -> bool:
    """Whether the loop's own tank at `held` °C is heated, drawn on hard, or may start its heater in a step.

    Parameters
    ----------
    plant : Plant
        The plant.
    held, on : float, bool
        The tank [°C], and whether its heater is on.
    use, top : float
        Water at use temperature wanted in the step [cells]; the store's water that would take its place [°C].
    loop_watts : float
        What the loop loses. [W]
    """
    tank = plant.loop_tank
    if tank.volume == 0.0:
        return False
    share = use * plant.column.cell_volume / tank.volume
    falls = loop_watts * loop_reach(plant, held) + tank.loss * (held - plant.column.room)
    falls = falls * plant.step_seconds / (RHO_CP * tank.volume) + share * max(held - top, 0.0)
    return on or share > HARD_DRAW or held - falls < tank.setpoint - tank.dead_band
