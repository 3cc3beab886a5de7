"""The march through the year: sense, decide, take heat from the source, draw, settle, record."""

from collections.abc import Callable
from functools import cache

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel_apart
from hpwhsim.plant.arrays import (
    Array,
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
from hpwhsim.plant.booking import book_heat_pump, book_heaters, book_run, book_water, cause_of
from hpwhsim.plant.charging import (
    RESTING,
    SOURCE_TOO_COLD,
    STARTING_UP,
    WATER_TOO_WARM,
    WORKS,
    deepest_charge,
    draw_back,
    heat_top,
    refusal,
    thaw_power,
    work,
)
from hpwhsim.plant.controls import (
    Rotation,
    begin_thaws,
    count_run,
    count_starts,
    make_rotation,
    modules_to_run,
    next_call,
    part_speed,
    pass_time,
)
from hpwhsim.plant.draw_times import Window, drawn_in, last_of
from hpwhsim.plant.flows import Moved, beside_tank, circulate, heat_tank, hot_needed, through_tank
from hpwhsim.plant.heat_source import (
    begin_hour,
    end_hour,
    end_step,
    entering,
    meet,
    offered,
    pumped,
    refused_by,
    taken_at,
)
from hpwhsim.plant.part_speed import part_frost
from hpwhsim.plant.standing import SETTLED, cool, kept, share_owed
from hpwhsim.plant.step_parts import may_switch, runs_out, tank_turns
from hpwhsim.plant.trim_heater import circulate_lifted
from hpwhsim.source.offer import met
from hpwhsim.storage.tank import (
    RHO_CP,
    Scratch,
    at_height,
    conduct,
    level_of,
    lose,
    make_scratch,
    reconstruct,
    settle,
)

SHORT_PART = 10.0  # s; where draws count by the second, while a machine's water may go straight to the taps
LONGEST_PART = 60.0  # s; with it the year's kWh at 4 and at 360 steps per hour agree, see tests
# A source that was cooled to the limit must carry who joins again by so much more, less as time goes by:
# the differential of a cut-out (choice of this program); a day, so that a steady cold source is used.
RESET, RESET_TIME = 0.5, 86400.0  # K, s
OUTDOOR_AIR, ROOM = int(SourceKind.OUTDOOR_AIR), int(SourceKind.ROOM)
SEWER = int(SourceKind.SEWER)
LIMITED = int(SourceKind.WET_WELL), SEWER  # they give so much in a step and no more
MET, SPENT, PUMP = int(SourceRow.MET), int(SourceRow.SPENT), int(SourceRow.PUMP)
PARALLEL, SERIES = int(BackupMode.PARALLEL), int(BackupMode.SERIES)
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
OF_HOURS = (
    *("outlet", "lift", "backup_setpoint", "backup_level", "mains"),
    *("frost_capacity", "frost_power", "frost_drawn", "frost_pause"),
)
OF_LINES = ("line_around", "line_hold", "line_floor")
STILL = Moved(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


March = Callable[[Plant, Drive, SourceState, Array, Scratch, Rotation, Hourly], None]


@cache
def marcher(kind: int) -> March:
    """The march of plants with one kind of source (`SourceKind`): the compiler drops what the others need."""

    @kernel_apart
    def through(
        plant: Plant,
        drive: Drive,
        state: SourceState,
        temperature: Array,
        scratch: Scratch,
        rotation: Rotation,
        out: Hourly,
    ) -> None:
        """March from the first step to the last: `march`, with its work space and zeroed arrays to fill.

        A step in which the machine or the backup runs, or in which a sensor may switch, is taken in parts
        of a minute at most, and so is one in which a loop tank changes fast; conduction and standby loss are
        slow and act once a step.
        """
        column, controls = plant.column, plant.controls
        hours = drive.source.size
        per_hour = drive.use.size // hours
        joule = RHO_CP * column.cell_volume  # J in a cell·K
        most_parts = int(np.ceil(plant.step_seconds / LONGEST_PART))
        # at the start nothing runs; said by values that are no constants, for which kernels are made anew
        calling = backup_on = tank_on = plant.modules < 0
        running = min(plant.modules, 0)
        since = 1e9  # long ago, so that no minimum time holds at the start
        refused = WORKS  # why modules that the store asks for do not run
        rested = 1e9  # time since modules were last taken away by source or water, s
        rest = max(controls.stage_delay, controls.minimum_off)  # none joins sooner after that
        cut_out = 1e9  # time since the source last took modules away, s
        warming = 0.0  # module-seconds that started modules still have to run without heat
        waited = tank_heat = tank_energy = 0.0
        tank_c = plant.loop_tank.setpoint
        straight = plant.water_side == SINGLE and plant.charge_apart == 0  # water passes by the store
        overdrawn = 0.0  # J that the step before took over what its sewer gave
        at = 0
        lines, owed = plant.lines, 0.0  # J that lines outdoors lost standing and did not get back yet
        pipe_out, pipe_back = drive.mains[0] + lines.cold_k, drive.outlet[0] + lines.hot_k
        for step in range(drive.use.size):
            hour = step // per_hour
            quarter = step * 4 // per_hour
            mains = drive.mains[hour]
            if step % per_hour == 0:
                at = drive.draws.first[hour] if drive.draws.first.size > 1 else 0
                plant.outlet[0] = drive.outlet[hour]
                lift, backup_at = drive.lift[hour], drive.backup_setpoint[hour]
                backup_level = drive.backup_level[hour]
                loop_watts, loop_back = drive.loop_loss[hour % 24], drive.loop_return[hour % 24]
                frost_capacity, frost_power, frost_drawn = begin_hour(kind, plant, drive, state, hour, out)
                pause = drive.frost_pause[hour]
            frosted = frost_capacity, frost_power
            use = drive.use[step] / column.cell_volume
            expected = max(running, 1)
            source, fed = drive.source[hour], 1.0
            free = source
            barred = WORKS if source >= plant.lowest_source else SOURCE_TOO_COLD  # for every module
            if kind != OUTDOOR_AIR:
                offer = offered(kind, plant, drive, state, step, hour, expected)
                free = met(offer, 0.0)
                met_water = entering(
                    plant, temperature, use, mains, free, float(expected), plant.step_seconds
                )
                source, fed = meet(plant, offer, met_water, float(expected), frosted)
                # fewer modules cool the source less: only where one is too many, all are barred
                barred = refused_by(plant, offer, source, fed, met_water) if expected == 1 else WORKS
            open_hour = drive.permitted[step % drive.permitted.size]
            if not open_hour and plant.reserve_level > 0.0:  # a bar does not hold while hot water runs out
                open_hour = level_of(temperature, plant.use_temperature) > plant.reserve_level
            of_day = step % drive.most_modules.size
            most_modules = min(plant.modules, drive.most_modules[of_day])
            through_store = loop_watts if plant.loop_runs > 0.0 else 0.0
            permitted = open_hour and barred == WORKS and most_modules > 0
            around = column.room if kind != ROOM else state.air[0]
            taken_in_step = gain = on_in_step = lost_in_step = 0.0
            busy = running > 0 or backup_on or (calling and permitted)
            top = temperature[plant.draw_port - 1]
            # where hot water runs out or is lifted, every second of the draws counts
            by_draws = plant.backup_mode == SERIES
            if not by_draws and plant.loop_tank.volume == 0.0:
                served = temperature[: plant.draw_port]
                by_draws = runs_out(served, plant, use, mains, through_store, loop_back)
            by_draws = by_draws and (use > 0.0 or through_store > 0.0)
            busy = busy or tank_turns(plant, tank_c, tank_on, use, top, loop_watts)
            busy = busy or may_switch(
                temperature,
                plant,
                use,
                mains,
                calling,
                through_store,
                loop_back,
                lift,
                backup_at,
                backup_level,
            )
            parts = most_parts if busy or by_draws else 1
            if busy and by_draws and straight:
                parts = int(np.ceil(plant.step_seconds / SHORT_PART))
            even = use / parts
            dt = plant.step_seconds / parts
            begin = step % per_hour * plant.step_seconds
            for part in range(parts):
                # what taps draw
                window = Window(hour, at, begin + part * dt, begin + (part + 1) * dt, even)
                use, at = drawn_in(drive.draws, window, column.cell_volume)

                # sense and decide
                wanted = 0
                if plant.modules > 0:
                    at_start = at_height(temperature, controls.start_level) - lift
                    at_stop = at_height(temperature, controls.stop_level) - lift
                    calling = next_call(controls, calling, at_start, at_stop)
                    wanted = modules_to_run(controls, most_modules, calling, permitted, running, since)
                    if wanted > running and rested < rest:
                        wanted = running  # the refusal stands
                    elif barred != WORKS:
                        refused = barred
                    elif wanted > 0 or not calling:
                        refused = WORKS
                    # none starts, and on a source that they cool none goes on, but where it can work
                    while wanted > 0 and (kind != OUTDOOR_AIR or wanted > running):
                        if kind != OUTDOOR_AIR and wanted != expected:
                            offer = offered(kind, plant, drive, state, step, hour, wanted)
                            source, fed = meet(plant, offer, met_water, float(wanted), frosted)
                            expected = wanted
                        inlet = entering(plant, temperature, use, mains, source, float(wanted), dt)
                        why = refusal(plant, source, inlet)
                        if kind != OUTDOOR_AIR:
                            spare = RESET * max(1.0 - cut_out / RESET_TIME, 0.0) if wanted > running else 0.0
                            why = refused_by(plant, offer, source - spare, fed, inlet)
                        if why == WORKS:
                            break
                        refused = why
                        wanted = wanted - 1 if kind != OUTDOOR_AIR else running  # one fewer cools it less

                # take heat from the source
                foot = mains if use > 0.0 and column.mixed_cells == 0 else temperature[0]
                ready = wanted > 0 and straight
                if ready:
                    reconstruct(temperature, scratch, foot)
                if wanted > running:
                    warming += (wanted - running) * plant.start_loss
                thawing = 0
                if pause > 0.0 and wanted > 0:
                    thawing = begin_thaws(controls, rotation, plant.modules, wanted, pause)
                speed = 1.0
                if wanted > 0 and plant.turndown < 1.0:
                    speed = part_speed(
                        controls, plant.turndown, level_of(temperature, controls.start_at + lift)
                    )
                units, plant.speed[0] = (wanted - thawing) * speed, speed
                share = fed  # of the part, in which the source gives the heat asked for
                if kind in LIMITED and units > 0.0:
                    # what is left of the step's sewage over the rest of the step, by the water met now
                    asked = taken_at(plant, source, inlet, units, frosted) * (parts - part) * dt
                    left = max(offer.most * plant.step_seconds - overdrawn - taken_in_step, 0.0)
                    share = left / asked if asked > left else 1.0
                idle = min(warming, wanted * dt)  # module-seconds of power without heat
                warming = warming - idle if wanted > 0 else 0.0
                heating = (dt - idle / wanted) * share if wanted > 0 else 0.0
                frosted, back, iced = (frost_capacity, frost_power), frost_drawn, pause
                if speed < 1.0 and frost_drawn > 0.0:  # a coil of less heat is warmer
                    cold = entering(plant, temperature, use, mains, source, units, heating)
                    clear, power, back, iced = part_frost(
                        plant, state.frost, source, cold, frost_capacity, pause
                    )
                    frosted = clear, power
                giving, to_lines = frosted, 0.0
                if abs(owed) > SETTLED and heating > 0.0 and thawing < wanted:
                    to_lines = share_owed(plant, temperature, owed, source, units * heating, frosted)
                    giving = frosted[0] * (1.0 - to_lines), frosted[1]
                worked = RESTING
                if wanted > 0 and (heating <= 0.0 or thawing == wanted):
                    worked = STARTING_UP  # or all defrosting
                elif wanted > 0:
                    cold = deepest = 0.0
                    if plant.water_side == SINGLE:
                        cold = temperature[plant.draw_port - 1]
                        if plant.backup_mode == SERIES:
                            cold = max(cold, backup_at)
                        cold = hot_needed(plant, use, mains, cold)
                        deepest = deepest_charge(plant, temperature, running, since, lift)
                    worked = work(
                        temperature, scratch, plant, heating, units, source, mains, cold, deepest, giving
                    )
                if worked.refused:
                    inlet = entering(plant, temperature, use, mains, source, units, heating)
                    why = refusal(plant, source, inlet)
                    refused = why if why != WORKS else WATER_TOO_WARM
                    wanted = 0
                elif worked.reached:
                    calling = False  # its stop sensor is warm
                if wanted < running and refused != WORKS:
                    rested = 0.0
                    if refused != WATER_TOO_WARM:
                        cut_out = 0.0
                flow, heat, energy, duty = worked.flow, worked.heat, worked.energy, worked.duty
                inlet = worked.inlet
                if (wanted > 0) != (running > 0):
                    since = 0.0
                if wanted != running:
                    count_starts(controls, rotation, plant.modules, running, wanted, out.module_starts)
                running = wanted
                since += dt
                rested += dt
                cut_out += dt

                # draw, and settle
                passing = flow if straight else 0.0
                served = temperature[: plant.draw_port]
                moved, short_time = STILL, 0.0
                moves = use > 0.0 or through_store > 0.0 or passing > 0.0
                if moves:
                    if not ready:
                        reconstruct(temperature, scratch, foot)
                    if by_draws:
                        moved, short_time, leaves = circulate_lifted(
                            served,
                            scratch,
                            plant,
                            mains,
                            passing,
                            through_store,
                            loop_back,
                            backup_at if plant.backup_mode == SERIES else -np.inf,
                            drive.draws,
                            window,
                        )
                        out.supply[hour] = min(out.supply[hour], leaves)
                    elif plant.loop_tank.volume == 0.0:
                        moved = circulate(
                            served,
                            scratch,
                            plant,
                            dt,
                            use,
                            mains,
                            passing,
                            through_store,
                            loop_back,
                        )
                if plant.loop_tank.volume > 0.0:
                    if plant.backup_mode == SERIES:
                        moved, tank_c, tank_lost = beside_tank(moved, plant, dt, loop_watts, tank_c)
                    else:
                        if not moves:
                            reconstruct(temperature, scratch, foot)
                        moved, tank_c, tank_lost = through_tank(
                            served, scratch, plant, dt, use, mains, passing, loop_watts, loop_back, tank_c
                        )
                    tank_c, tank_heat, tank_energy, tank_on = heat_tank(
                        plant, dt, tank_c, tank_on, drive.source[hour]
                    )
                    lost_in_step += tank_lost * joule
                if straight and flow > 0.0:
                    heat, inlet = moved.heat, moved.inlet / flow
                    energy = heat * joule / worked.cop
                if lines.capacity > 0.0:
                    if to_lines != 0.0:
                        repaid = heat * joule * to_lines / (1.0 - to_lines)
                        owed -= repaid
                        out.line_heat[hour] += repaid
                    if flow > 0.0:
                        heated = plant.outlet[0] if plant.water_side == SINGLE else inlet + plant.rise
                        pipe_out, pipe_back = inlet + lines.cold_k, heated + lines.hot_k
                    else:
                        left = kept(dt / lines.time_constant)
                        air, hold, floor = (
                            drive.line_around[hour],
                            drive.line_hold[hour],
                            drive.line_floor[hour],
                        )
                        owed += lines.capacity * (pipe_out + pipe_back)
                        pipe_out, held_out = cool(pipe_out, air, hold, floor, left)
                        pipe_back, held_back = cool(pipe_back, air, hold, floor, left)
                        owed -= lines.capacity * (pipe_out + pipe_back)
                        out.line_held[hour] += 0.5 * (held_out + held_back) * dt
                drawn = back * heat
                if pause > 0.0 and running > 0:
                    drawn = pass_time(controls, rotation, plant.modules, running, iced, duty * dt, drawn)
                if drawn > 0.0:
                    draw_back(temperature, plant, drawn)
                if moves or drawn > 0.0:
                    settle(temperature, scratch)

                # backup
                backup_heat = moved.added
                if plant.backup_mode == PARALLEL:
                    allowed = drive.backup_permitted[of_day]
                    backup_heat, backup_on, waited = heat_top(
                        temperature, scratch, plant, allowed, backup_level, backup_at, dt, backup_on, waited
                    )

                # record
                idle_energy = 0.0
                if idle > 0.0 and wanted > 0:
                    _, power, _ = look_up(plant.machine, source, temperature[0], plant.outlet[0])
                    idle_energy = idle * (0.0 if np.isnan(power) else power)
                if thawing > 0 and wanted > 0:
                    energy += thaw_power(plant, temperature, source, frosted) * thawing * heating
                taken = (heat - drawn) * joule - plant.gas_share * energy
                shed = (1.0 - plant.gas_share) * energy + idle_energy
                out.machine_loss[hour] += shed
                energy += idle_energy
                on = running * duty * (share if share < 1.0 else 1.0) * dt  # module-seconds
                fan, pump = on * plant.fan_power, on * plant.pump_power
                standing = plant.standby_power
                if not source >= plant.crankcase_below:
                    standing += plant.crankcase_power
                standby = (plant.modules * dt - on) * standing
                circulation = 0.0
                if kind != OUTDOOR_AIR:
                    circulation = pumped(kind, plant, state, hour, source, on, running, taken, out)
                    out.source[MET, hour] += (source if on > 0.0 else free) * dt
                    out.source[PUMP, hour] += circulation
                    taken_in_step += taken
                    on_in_step += on
                    gain += shed + pump + standby + (fan if plant.sources.room.exhaust_here else 0.0)
                backup = backup_heat * joule
                bought = backup / plant.backup_efficiency
                book_heat_pump(out, hour, (heat - drawn) * joule, drawn * joule, energy, fan, pump, standby)
                book_water(out, hour, moved, joule, column.cell_volume)
                book_heaters(out, hour, backup, bought, tank_heat, tank_energy)
                electric = energy + fan + pump + standby + circulation + tank_energy
                out.quarter_power[quarter] += electric + plant.backup_electric * bought
                if on > 0.0:
                    count_run(rotation, plant.modules, running, on / running, out.module_run)
                    weight = flow if flow > 0.0 else heat  # a wrapped condenser has no flow
                    book_run(out, hour, on, duty * share * dt, inlet, weight, worked.inside)
                    if share < 1.0:
                        out.source[SPENT, hour] += dt
                if calling and running == 0 and (refused != WORKS or not permitted):
                    out.lockout_seconds[hour] += dt
                if backup > 0.0 or moved.short > 0.0:
                    cause = cause_of(plant, open_hour, refused, share, running, most_modules, calling)
                    if backup > 0.0:
                        out.backup_seconds[cause, hour] += backup / plant.backup_power
                    if moved.short > 0.0:
                        if not by_draws:
                            short_time = last_of(drive.draws, window, column.cell_volume, use, moved.short)
                        out.short_seconds[cause, hour] += short_time
            conduct(temperature, scratch, column)
            lost = lose(temperature, column, around) * joule + lost_in_step
            out.storage_loss[hour] += lost
            if kind == SEWER:
                overdrawn = max(overdrawn + taken_in_step - offer.most * plant.step_seconds, 0.0)
            if kind != OUTDOOR_AIR:
                gain += lost
                grinding = end_step(
                    kind, plant, drive, state, step, hour, taken_in_step, on_in_step, gain, out
                )
                out.source[PUMP, hour] += grinding
                out.quarter_power[quarter] += grinding
            settle(temperature, scratch)
            out.store_top[hour] = min(out.store_top[hour], temperature[plant.draw_port - 1])
            if (step + 1) % per_hour == 0:
                out.store_mean[hour] = temperature.mean()
                out.store_bottom[hour] = temperature[0]
                out.loop_tank_end[hour] = tank_c
                end_hour(kind, plant, drive, state, hour, out)

    return through


def march(plant: Plant, drive: Drive, state: SourceState, store: Array, tanks: int = 1) -> Hourly:
    """March a plant through the hours of its drive.

    Parameters
    ----------
    plant, drive : Plant, Drive
        The plant and what drives it.
    state : SourceState
        The source at the start; holds it at the end.
    store : ndarray, shape (cell,)
        The store at the start, bottom to top; holds it at the end. [°C]
    tanks : int
        Tanks in series that the cells belong to.

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
    out = make_hourly(drive.source.size, store.size)
    scratch, rotation = make_scratch(store.size, tanks), make_rotation(max(plant.modules, 1))
    marcher(plant.sources.kind)(plant, drive, state, store, scratch, rotation, out)
    out.profile[:] = store
    return out
