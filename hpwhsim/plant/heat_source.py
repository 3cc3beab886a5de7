"""The heat source within the march: what it offers, where it meets the machine, what was taken from it.

Source and machine are solved together: the heat taken in a step cools the source within that step, and the
cooled source gives the machine less capacity.
"""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import (
    Cause,
    FrostTable,
    RoomRow,
    SourceKind,
    SourceRow,
)
from hpwhsim.plant.part_speed import outlet_of
from hpwhsim.plant.running import WORKS, refusal
from hpwhsim.plant.state import Energy, Machine, Moment, Scene, Sums
from hpwhsim.source.coil import humidity_at
from hpwhsim.source.ground_loop import book_hour, loop_offer, wall_drop, warmest_fluid
from hpwhsim.source.offer import Offer, met
from hpwhsim.source.room import State, room_offer, room_step
from hpwhsim.source.wastewater import RHO_CP, pumping_energy, sewer_offer, well_offer, well_step

SOURCE_TOO_COLD, SOURCE_SPENT = int(Cause.SOURCE_TOO_COLD), int(Cause.SOURCE_SPENT)
ROOM, GROUND_LOOP = int(SourceKind.ROOM), int(SourceKind.GROUND_LOOP)
WET_WELL, SEWER = int(SourceKind.WET_WELL), int(SourceKind.SEWER)
MET, TAKEN, PUMP = int(SourceRow.MET), int(SourceRow.TAKEN), int(SourceRow.PUMP)
WALL, COLDEST, REJECTED = int(SourceRow.WALL), int(SourceRow.COLDEST), int(SourceRow.REJECTED)
WELL, INFLOW, WALL_LOSS = int(SourceRow.WELL), int(SourceRow.INFLOW), int(SourceRow.WALL_LOSS)
INFLOW_HEAT, OVERFLOW_HEAT = int(SourceRow.INFLOW_HEAT), int(SourceRow.OVERFLOW_HEAT)
WARMEST = int(SourceRow.WARMEST)
AIR, REFERENCE_AIR = int(RoomRow.AIR), int(RoomRow.REFERENCE_AIR)
CONDENSATE, SENSIBLE, GAIN = int(RoomRow.CONDENSATE), int(RoomRow.SENSIBLE), int(RoomRow.GAIN)
FROZEN, HEAT_RESIDUAL = int(RoomRow.FROZEN), int(RoomRow.HEAT_RESIDUAL)
WATER_RESIDUAL, MASS = int(RoomRow.WATER_RESIDUAL), int(RoomRow.MASS)
DRYING, REFERENCE_AIRED = int(RoomRow.DRYING), int(RoomRow.REFERENCE_AIRED)

NEAR = 0.01  # K, that close the temperature met is found
MOST_TRIES = 30
ALWAYS = 3599.0  # s of running in an hour that count as all of it
SHORTEST_RUN = 20.0  # s, within a part of a step, for the coldest fluid: of less the heat rate is not steady


@kernel_apart
def frost_at(table: FrostTable, air: float, humidity: float, pressure: float, frost: Array) -> None:
    """Fill `frost` with what it costs in room air: capacity and power over those of a clean coil, drawn back.

    Its columns are the table's shares of the full coil load.
    """
    rows, columns, loads = table.capacity.shape
    place = (air - table.coldest) / table.spread
    if place >= rows - 1.0:
        for k in range(loads):
            frost[0, k] = frost[1, k] = 1.0
            frost[2, k] = 0.0
        return
    place = max(place, 0.0)
    row = int(place)
    saturated, _ = humidity_at(air, 1.0, pressure)
    over = min(max(humidity / saturated, 0.0), 1.0) * (columns - 1.0)
    column = min(int(over), columns - 2)
    u, v = place - row, over - column
    for k in range(loads):
        frost[0, k] = frost[1, k] = frost[2, k] = 0.0
    for i in range(2):
        for j in range(2):
            weight = (u if i == 1 else 1.0 - u) * (v if j == 1 else 1.0 - v)
            for k in range(loads):
                frost[0, k] += weight * table.capacity[row + i, column + j, k]
                frost[1, k] += weight * table.power[row + i, column + j, k]
                frost[2, k] += weight * table.drawn[row + i, column + j, k]


@kernel
def begin_hour(kind: int, scene: Scene, hour: int) -> tuple[float, float, float]:
    """What frost costs in an hour (capacity, power, share drawn back); the ground looks back at its past."""
    sources, state = scene.plant.sources, scene.state
    if kind == GROUND_LOOP:
        state.drop[0] = wall_drop(sources.field, state.history)
        state.hour_heat[0] = 0.0
    elif sources.room.intake_here:
        frost_at(sources.frost, state.air[0], state.room[1], sources.room.pressure, state.frost)
        full = sources.frost.capacity.shape[2] - 1
        return state.frost[0, full], state.frost[1, full], state.frost[2, full]
    return clear_or_frosted(scene, hour)


@kernel
def clear_or_frosted(scene: Scene, hour: int) -> tuple[float, float, float]:
    """What the frost of an hour's outdoor air costs: capacity, power, share drawn back."""
    drive, state = scene.drive, scene.state
    if scene.plant.turndown < 1.0 and drive.frost_part.shape[0] > 1:
        for k in range(state.frost.shape[1]):
            for i in range(3):
                state.frost[i, k] = drive.frost_part[hour, i, k]
    return drive.frost_capacity[hour], drive.frost_power[hour], drive.frost_drawn[hour]


@kernel
def end_hour(scene: Scene, hour: int) -> None:
    """Book the hour's heat in the history of the ground."""
    sources, state, out = scene.plant.sources, scene.state, scene.out
    rejected = scene.drive.rejected[hour]
    mean = state.hour_heat[0] / 3600.0 - rejected
    wall = sources.loop.undisturbed - state.drop[0] - sources.field.hour_response * mean
    standing = 1.0 if out.run_seconds[hour] < ALWAYS else 0.0
    out.source[WALL, hour] = wall
    out.source[WARMEST, hour] = warmest_fluid(sources.loop, wall, mean, standing, rejected)
    out.source[REJECTED, hour] = rejected * 3600.0
    book_hour(state.history, mean)


@kernel
def offered(kind: int, scene: Scene, moment: Moment, running: int) -> Offer:
    """What the source offers `running` modules in a step."""
    plant, drive, state = scene.plant, scene.drive, scene.state
    sources, step, hour = plant.sources, moment.step.number, moment.hour.number
    if kind == GROUND_LOOP:
        return loop_offer(sources.loop, sources.field, state.drop[0], running, drive.rejected[hour])
    if kind == ROOM:
        room = State(state.room[0], state.room[1], state.room[2])
        return room_offer(
            sources.room,
            drive.around,
            hour,
            room,
            plant.step_seconds,
            float(running),
            running * state.coil[0],
            state.gain[0],
        )
    if kind == WET_WELL:
        return well_offer(
            sources.well,
            state.well[0],
            drive.sewage[step],
            drive.sewage_temperature[step],
            drive.exchange[hour],
            float(running),
            plant.modules,
            plant.step_seconds,
        )
    if kind == SEWER:
        return sewer_offer(
            sources.well.exchanger,
            sources.well.floor,
            drive.sewage[step],
            drive.sewage_temperature[step],
            drive.exchange[hour],
            float(running),
            plant.modules,
            plant.step_seconds,
        )
    return Offer(drive.source[hour], 0.0, -np.inf, np.inf, np.inf)


@kernel
def refused_by(machine: Machine, offer: Offer, source: float, share: float, inlet: float) -> int:
    """Why modules cannot run on what a source offers them, a `Cause`; `WORKS` where they can.

    Parameters
    ----------
    machine, offer
        The machine, and what the source offers these modules.
    source, share : float
        Their answer from `meet`.
    inlet : float
        Water at the machine. [°C]
    """
    if offer.most <= 0.0:
        return SOURCE_SPENT
    if np.isnan(source):
        why = refusal(machine, met(offer, 0.0), inlet)
        return SOURCE_TOO_COLD if why == WORKS else why  # it works on the source as it is, not once cooled
    return refusal(machine, source, inlet) if share > 0.0 else SOURCE_SPENT


@kernel
def taken_at(
    machine: Machine, source: float, inlet: float, units: float, frosted: tuple[float, float]
) -> float:
    """Heat that `units` modules take from a source at `source` °C; NaN where they cannot work. [W]"""
    capacity, power, _ = look_up(machine.performance, source, inlet, outlet_of(machine, inlet))
    return units * max(frosted[0] * capacity - machine.gas_share * frosted[1] * power, 0.0)


@kernel_apart
def meet(
    machine: Machine, offer: Offer, inlet: float, units: float, frosted: tuple[float, float]
) -> tuple[float, float]:
    """Source temperature at which machine and source agree, and the share of the time it can be had.

    Parameters
    ----------
    machine : Machine
        As it is now.
    offer : Offer
        What the source offers to these modules.
    inlet : float
        Water at the machine. [°C]
    units : float
        Modules running.
    frosted : tuple of two floats
        Capacity and power over those of the map.

    Returns
    -------
    source, share : float, float
        Temperature met [°C], NaN where no temperature lets the machine run; and the share of the time for
        which the source can give that heat.

    Notes
    -----
    The heat taken rises with the temperature met, and the temperature offered falls with the heat taken: one
    crossing, between the temperature with no heat taken and a colder one.
    """
    warm = met(offer, 0.0)
    if offer.slope == 0.0 and offer.most == np.inf:
        return warm, 1.0
    heat = taken_at(machine, warm, inlet, units, frosted)
    if np.isnan(heat):
        return np.nan, 0.0
    above = warm - met(offer, heat)
    if above > NEAR:
        cold = found = met(offer, heat)
        below = np.nan
        for _ in range(MOST_TRIES):
            heat = taken_at(machine, found, inlet, units, frosted)
            gap = found - met(offer, heat)
            if abs(gap) <= NEAR:
                break
            if gap > 0.0:
                warm, above = found, gap
            else:  # too cold, or NaN: it cannot work there
                cold, below = found, gap
            if warm - cold <= NEAR:
                break
            way = 0.5 if np.isnan(below) else below / (below - above)
            found = cold + way * (warm - cold)
        if np.isnan(heat):
            return np.nan, 0.0
        warm = found
    share = min(max(offer.most, 0.0) / heat, 1.0) if heat > 0.0 else 1.0
    return warm, share


@kernel
def end_step(kind: int, scene: Scene, moment: Moment, sums: Sums, lost: float) -> float:
    """Give the source the step that is over; the electricity of grinding its sewage. [J]

    Parameters
    ----------
    kind, scene, moment, sums
        As in the march.
    lost : float
        Standby loss of store and loop tank. [J]
    """
    plant, drive, state, out = scene.plant, scene.drive, scene.state, scene.out
    sources, dt = plant.sources, plant.step_seconds
    step, hour = moment.step.number, moment.hour.number
    taken, module_seconds, gain = sums.taken, sums.on, sums.gain + lost
    out.source[TAKEN, hour] += taken
    grinding = 0.0
    if kind == ROOM:
        room = State(state.room[0], state.room[1], state.room[2])
        if module_seconds > 0.0:
            state.coil[0] = max(taken, 0.0) / module_seconds
        state.gain[0] = gain / dt
        found = room_step(
            sources.room, drive.around, hour, room, dt, module_seconds / dt, max(taken, 0.0) / dt, gain / dt
        )
        other = State(state.reference[0], state.reference[1], state.reference[2])
        without = room_step(sources.room, drive.around, hour, other, dt, 0.0, 0.0, 0.0)
        state.room[0], state.room[1], state.room[2] = found.state
        state.reference[0], state.reference[1], state.reference[2] = without.state
        state.air[0] = found.air
        rows = out.room
        rows[AIR, hour] += found.air * dt
        rows[AIR + 1, hour] += found.state.humidity * dt
        rows[AIR + 2, hour] += found.heating * dt
        rows[AIR + 3, hour] += found.cooling * dt
        rows[AIR + 4, hour] += found.dehumidifier * dt
        rows[REFERENCE_AIR, hour] += without.air * dt
        rows[REFERENCE_AIR + 1, hour] += without.state.humidity * dt
        rows[REFERENCE_AIR + 2, hour] += without.heating * dt
        rows[REFERENCE_AIR + 3, hour] += without.cooling * dt
        rows[REFERENCE_AIR + 4, hour] += without.dehumidifier * dt
        rows[MASS, hour] += found.state.mass * dt
        rows[MASS + 1, hour] += without.state.mass * dt
        rows[DRYING, hour] += found.drying * dt
        rows[DRYING + 1, hour] += without.drying * dt
        rows[REFERENCE_AIRED, hour] += without.aired * dt
        rows[CONDENSATE, hour] += found.condensate
        rows[SENSIBLE, hour] += found.sensible * dt
        rows[GAIN, hour] += gain
        if found.frozen:
            rows[FROZEN, hour] += module_seconds / plant.modules
        rows[HEAT_RESIDUAL, hour] = max(rows[HEAT_RESIDUAL, hour], abs(found.heat_residual))
        rows[WATER_RESIDUAL, hour] = max(rows[WATER_RESIDUAL, hour], abs(found.water_residual))
    elif kind == WET_WELL:
        inflow, warm = drive.sewage[step], drive.sewage_temperature[step]
        state.well[0], overflow, lost = well_step(sources.well, state.well[0], inflow, warm, taken, dt)
        out.source[INFLOW, hour] += inflow
        out.source[INFLOW_HEAT, hour] += RHO_CP * inflow * warm
        out.source[OVERFLOW_HEAT, hour] += overflow
        out.source[WALL_LOSS, hour] += lost
        out.source[WELL, hour] = state.well[0]
        _, grinding = pumping_energy(sources.pumping, 0.0, plant.modules, inflow)
    elif kind == SEWER:
        inflow, warm = drive.sewage[step], drive.sewage_temperature[step]
        out.source[INFLOW, hour] += inflow
        out.source[INFLOW_HEAT, hour] += RHO_CP * inflow * warm
        out.source[OVERFLOW_HEAT, hour] += RHO_CP * inflow * warm - taken
        lifted = sources.well.exchanger.sewage / RHO_CP * module_seconds / plant.modules
        _, grinding = pumping_energy(sources.pumping, 0.0, plant.modules, min(lifted, inflow))
    return grinding


@kernel
def pumped(kind: int, scene: Scene, hour: int, source: float, running: int, energy: Energy) -> float:
    """Electricity of the pumps between source and machine in a part of a step. [J]

    Parameters
    ----------
    kind, scene, hour, energy
        As in the march.
    source : float
        Temperature met. [°C]
    running : int
        Modules running.
    """
    sources, out, on, taken = scene.plant.sources, scene.out, energy.on, energy.taken
    pumps = 0.0
    if on <= 0.0:
        return pumps
    if kind == GROUND_LOOP:
        seconds = on / running
        pumps = sources.loop.pump[running] * seconds
        scene.state.hour_heat[0] += taken - pumps  # the pump warms the fluid between machine and field
        if seconds >= SHORTEST_RUN:
            after = source - taken / seconds / sources.loop.carried[running]
            out.source[COLDEST, hour] = min(out.source[COLDEST, hour], after)
    elif kind == WET_WELL or kind == SEWER:  # the compiler drops it for others
        pumps, _ = pumping_energy(sources.pumping, on, scene.plant.modules, 0.0)
    return pumps
