"""The march through the year, event to event: look, decide, heat, serve, defrost, back up, record, rest."""

from collections.abc import Callable
from functools import cache

import numpy as np

from hpwhsim.kernel import kernel_entry
from hpwhsim.plant.arrays import (
    SLICES,
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
from hpwhsim.plant.charging import at_intake, charge, draw_back, entering, midway, of_intake, straight_through
from hpwhsim.plant.controls import (
    Rotation,
    begin_thaws,
    count_run,
    count_starts,
    make_rotation,
    part_speed,
    pass_time,
)
from hpwhsim.plant.decide import decide, fewer, hour_of, may_start, seen_air, seen_source
from hpwhsim.plant.draw_times import Window, mean_use, stretch_at, taps_run
from hpwhsim.plant.events import (
    LONGEST,
    MINUTE,
    MOST_MOVED,
    SOONEST,
    loop_now,
    runs_out,
    to_sensors,
    to_timers,
    to_warm,
)
from hpwhsim.plant.flows import hot_needed
from hpwhsim.plant.heat_source import (
    begin_hour,
    clear_or_frosted,
    end_hour,
    end_step,
    offered,
    pumped,
    share_of,
)
from hpwhsim.plant.loop_tank import beside_tank, heat_tank, serve_through, tank_turns, with_loop
from hpwhsim.plant.part_speed import part_frost
from hpwhsim.plant.running import (
    WATER_TOO_WARM,
    WORKS,
    heat_of_machine,
    heat_over,
    hottest_inlet,
    machine_now,
    thaw_power,
)
from hpwhsim.plant.serve import move, serve
from hpwhsim.plant.standing import SETTLED, cool, kept, share_owed
from hpwhsim.plant.state import Charge, Duty, Flow, Heat, Intake, LineState, LoopState, Moved
from hpwhsim.source.offer import Offer
from hpwhsim.storage.heating import coldest_foot, heat_upper
from hpwhsim.storage.layers import (
    RHO_CP,
    SLIVER,
    Layers,
    foot,
    heat_of,
    level_of,
    make_layers,
    sensed,
    settle,
    slices,
    top_of,
)
from hpwhsim.storage.still import conduct, fading, lose

SHORT_PART = 10.0  # s; where draws count by the second, while a machine's water may go straight to the taps
TINY = 1e-6  # s
MOST_SHARES, AGREED_TIME = 5, 1e-3  # rounds, and share of a window's time by which two may differ
CONDUCTION = 3600.0  # s between two times that heat is conducted along the height
LOSS = 900.0  # s between two times that the store loses heat to a steady room
OUTDOOR_AIR, ROOM = int(SourceKind.OUTDOOR_AIR), int(SourceKind.ROOM)
GROUND_LOOP = int(SourceKind.GROUND_LOOP)
SEWER = int(SourceKind.SEWER)
LIMITED = int(SourceKind.WET_WELL), SEWER  # they give so much in a step and no more
MET, SPENT, PUMP = int(SourceRow.MET), int(SourceRow.SPENT), int(SourceRow.PUMP)
PARALLEL, SERIES = int(BackupMode.PARALLEL), int(BackupMode.SERIES)
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
WRAPPED = int(WaterSide.WRAPPED)
OF_HOURS = (
    *("outlet", "lift", "backup_setpoint", "backup_level", "mains"),
    *("frost_capacity", "frost_power", "frost_drawn", "frost_pause"),
)
OF_LINES = ("line_around", "line_hold", "line_floor")
IDLE = Heat(WORKS, 0.0, 0.0, 0.0, 0.0, True)
NOTHING_COMES = Intake(0.0, np.inf, 0.0)
NO_OFFER = Offer(0.0, 0.0, -np.inf, np.inf, np.inf)


March = Callable[[Plant, Drive, SourceState, Layers, Rotation, Hourly, float], None]


@cache
def marcher(kind: int) -> March:
    """The march of plants with one kind of source (`SourceKind`): the compiler drops what the others need."""
    outdoors, in_room, in_ground = kind == OUTDOOR_AIR, kind == ROOM, kind == GROUND_LOOP
    limited = kind in LIMITED

    @kernel_entry
    def through(
        plant: Plant,
        drive: Drive,
        state: SourceState,
        layers: Layers,
        rotation: Rotation,
        out: Hourly,
        share_lost: float,
    ) -> None:
        """March from the first look to the last: `march`, with its work space and zeroed arrays to fill."""
        column, controls = plant.column, plant.controls
        hours, per_hour = drive.source.size, drive.looks
        bins = drive.use.size // hours
        span = plant.step_seconds * per_hour / bins  # of an even draw
        straight, series = straight_through(plant), plant.backup_mode == SERIES
        low_outlet = plant.draw_port < column.volume
        tanked, lines = plant.loop_tank.volume > 0.0, plant.lines
        most = MOST_MOVED * column.volume / column.tanks
        charging = Charge(plant.modules < 0, min(plant.modules, 0), WORKS, 1e9, 1e9, 1e9, 0.0)
        loop = LoopState(plant.loop_tank.setpoint, plant.modules < 0, 0.0, 0.0, 0.0)
        pipes = LineState(0.0, drive.mains[0] + lines.cold_k, drive.outlet[0] + lines.hot_k)
        backup_on = plant.modules < 0
        waited = overdrawn = unmixed = uncooled = 0.0
        at, even, by_second, bin_end, taps_off = 0, 0.0, False, 0.0, 0.0
        hour = hour_of(plant, drive, 0, series, (1.0, 1.0, 0.0))
        offer = NO_OFFER
        for step in range(hours * per_hour):
            index = step // per_hour
            begin = step % per_hour * plant.step_seconds
            if step % per_hour == 0:
                plant.outlet[0] = drive.outlet[index]
                frost = clear_or_frosted(plant, drive, state, index)
                if in_room or in_ground:
                    frost = begin_hour(kind, plant, drive, state, index)
                hour = hour_of(plant, drive, index, series, frost)
                bin_end = 0.0
            if not outdoors:
                offer = offered(kind, plant, drive, state, step, index, max(charging.running, 1))
            now, look_end = begin, begin + plant.step_seconds
            use_now = drive.use[min(int((now + TINY) / span), bins - 1) + index * bins] / span
            if outdoors:
                seen = seen_air(plant, drive, layers, hour, step)
            else:
                seen = seen_source(plant, drive, offer, layers, hour, step, use_now, charging.running)
            around = state.air[0] if in_room else column.room
            taken_in_step = gain = on_in_step = lost_in_step = left = rest = 0.0
            quarter = step * 4 // per_hour
            while now < look_end - TINY:
                # the draws
                if now >= bin_end - TINY:
                    part = min(int((now + TINY) / span), bins - 1)
                    bin_end = (part + 1) * span
                    even = drive.use[index * bins + part] / span
                    by_second = drive.draws.first.size > 1 and (
                        series or (not tanked and runs_out(plant, layers, hour, even * span))
                    )
                    taps_off = bin_end
                    if straight and charging.running > 0 and even > 0.0 and not by_second:
                        # mains water mixes with the store's on its way to the machine while taps run
                        run = taps_run(drive.draws, index, now, bin_end)
                        even *= span / run
                        taps_off = now + run
                    if by_second:
                        at = stretch_at(drive.draws, index, at, now)
                until = min(min(look_end, bin_end), now + LONGEST)
                use = even if now < taps_off - TINY else 0.0
                if now < taps_off - TINY:
                    until = min(until, taps_off)
                if by_second:
                    at = stretch_at(drive.draws, index, at, now)
                    last = drive.draws.first[index + 1] - 1
                    fine = SHORT_PART if straight and charging.running > 0 else MINUTE
                    until = min(until, now + fine)
                    use, until = mean_use(drive.draws, Window(at, last, now, until, use), most)
                mains = hour.mains

                # sense and decide
                asked = decide(plant, layers, hour, seen, charging)
                here = NOTHING_COMES
                if asked.wanted > 0:
                    here = at_intake(plant, layers)
                below, alike = here.temperature, here.alike
                if not outdoors:
                    if asked.wanted > 0:
                        asked, seen, offer = fewer(
                            kind,
                            plant,
                            drive,
                            state,
                            layers,
                            hour,
                            step,
                            below,
                            use,
                            charging,
                            asked,
                            seen,
                            offer,
                        )
                elif asked.wanted > charging.running:
                    asked = may_start(plant, layers, hour, below, use, charging, asked, seen.source)
                wanted, refused, calling = asked.wanted, asked.refused, asked.calling
                source = seen.source

                # the machine by the water that it meets
                thawing = 0
                if hour.pause > 0.0 and wanted > 0:
                    thawing = begin_thaws(controls, rotation, plant.modules, wanted, hour.pause)
                speed = 1.0
                if wanted > 0 and plant.turndown < 1.0:
                    front = level_of(layers, column, controls.start_at + hour.lift)
                    speed = part_speed(controls, plant.turndown, front)
                units, plant.speed[0] = (wanted - thawing) * speed, speed
                machine = machine_now(plant)
                top = top_of(layers)
                if low_outlet:
                    top, _, _ = sensed(layers, plant.draw_port - SLIVER)
                hottest = max(top, hour.lifts_to)
                taps = hot_needed(plant, use, mains, hottest)
                giving, back, iced = hour.frosted, hour.drawn_back, hour.pause
                heat = IDLE
                cold = to_lines = 0.0
                if wanted > 0:
                    cold = taps if straight else 0.0
                    if speed < 1.0 and back > 0.0:  # a coil of less heat is warmer
                        met_water = entering(plant, layers, hour, below, use, source, units)
                        clear, power, back, iced = part_frost(
                            machine, state.frost, source, met_water, giving[0], hour.pause
                        )
                        giving = clear, power
                    if abs(pipes.owed) > SETTLED and units > 0.0:
                        until = min(until, now + MINUTE)
                        to_lines = share_owed(
                            machine, below, pipes.owed, source, units * (until - now), giving
                        )
                        giving = giving[0] * (1.0 - to_lines), giving[1]
                if units > 0.0:
                    heat = heat_of_machine(machine, Duty(source, units, cold, mains, giving), below)
                    if heat.refused != WORKS:
                        refused, wanted = heat.refused, 0
                        heat = IDLE
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
                    count_starts(
                        controls, rotation, plant.modules, charging.running, wanted, out.module_starts
                    )
                charging = Charge(calling, wanted, refused, since, rested, cut_out, warming)

                # how long nothing changes
                share = seen.fed if wanted > 0 else 1.0
                if limited and units > 0.0 and wanted > 0:
                    # what is left of the step's sewage over the rest of the step, by the water met now
                    left = max(offer.most * plant.step_seconds - overdrawn - taken_in_step, 0.0)
                    rest = look_end - now
                    share = share_of(machine, source, heat.inlet, units, hour.frosted, left, rest)
                    if cold > 0.0 and 0.0 < share < 1.0:  # the taps' mains water comes while it runs
                        again = heat_of_machine(
                            machine, Duty(source, units, cold / share, mains, giving), below
                        )
                        if again.refused == WORKS:
                            heat = again
                            share = share_of(machine, source, heat.inlet, units, hour.frosted, left, rest)
                runs = 0.0 if warming > 0.0 else share
                loop_rate = 0.0
                if plant.loop_runs > 0.0:
                    passing = heat.flow * runs if straight else 0.0
                    loop_rate = loop_now(plant, hour, passing, taps, top)
                flow = Flow(
                    use,
                    taps,
                    heat.flow * runs if straight else 0.0,
                    0.0 if straight else heat.flow * runs,
                    loop_rate,
                )
                waits = plant.backup_mode == PARALLEL and seen.backup_allowed and not backup_on
                dt = until - now
                dt = min(dt, to_sensors(plant, layers, hour, charging, flow, waits))
                dt = min(dt, to_timers(plant, charging, rotation, iced))
                through = max(flow.taps + flow.loop, flow.straight + flow.between)
                if through > 0.0:
                    dt = min(dt, most / through)
                net = flow.straight - flow.taps if straight else flow.between
                if net > 0.0:
                    dt = min(dt, max(alike / net, MINUTE))
                    if net * dt > alike and of_intake(plant, layers, net * dt) > hottest_inlet(machine):
                        dt = max(alike / net, SOONEST)  # it stops at the warm water, not after it
                if plant.water_side != SINGLE and heat.heat > 0.0:
                    dt = min(dt, to_warm(plant, layers, hour, here, heat))
                if backup_on:
                    dt = min(dt, MINUTE)
                if tanked and tank_turns(plant, hour, loop, use * dt, top):
                    dt = min(dt, MINUTE)
                if until - now - dt < SOONEST:
                    dt = until - now
                end = now + dt if now + dt < until - TINY else until
                dt = end - now
                idle = min(warming, wanted * dt)  # module-seconds of power without heat
                heating = (dt - idle / wanted) * share if wanted > 0 else 0.0
                meant = below
                if net * dt > alike and heating > 0.0 and heat.flow > 0.0:  # more than one layer
                    for _ in range(MOST_SHARES):
                        duty = Duty(source, units, cold * dt / heating, mains, giving)
                        heat, meant = heat_over(machine, layers, plant.intake_port, duty, heat, heating)
                        if not limited:
                            break
                        share = share_of(machine, source, heat.inlet, units, hour.frosted, left, rest)
                        before = heating
                        heating = (dt - idle / wanted) * share
                        if abs(heating - before) <= AGREED_TIME * dt:
                            break

                if plant.water_side == WRAPPED and heating > 0.0 and heat.heat > 0.0:
                    meant = midway(plant, here, heat.heat * heating)
                    again = heat_of_machine(machine, Duty(source, units, 0.0, mains, giving), meant)
                    if again.refused == WORKS:
                        heat = again

                # heat, and serve
                given = weight = 0.0
                inlet = heat.inlet
                if not straight and heat.heat > 0.0 and heating > 0.0:
                    given, before = charge(plant, layers, here, heat, heating)
                    settle(layers, column)
                    weight = heat.flow * heating if plant.water_side != WRAPPED else given
                    inlet = before / weight if weight > 0.0 else inlet
                flow = Flow(use, taps, heat.flow * heating / dt if straight else 0.0, 0.0, loop_rate)
                moved = Moved(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
                through_it = tanked and plant.loop_tank.through > 0.0 and not series
                if through_it or use > 0.0 or loop_rate > 0.0 or flow.straight > 0.0:
                    lost_by_loop = 0.0
                    if through_it:
                        served, loop, lost_by_loop = serve_through(plant, layers, hour, flow, loop, dt)
                    else:
                        window = Window(at if by_second else -1, 0, now, end, use)
                        if by_second:
                            window = Window(at, drive.draws.first[index + 1] - 1, now, end, use)
                        served = serve(plant, layers, hour, flow, drive.draws, window)
                        if (
                            limited and share < 1.0 and flow.straight > 0.0
                        ):  # with the mains water that taps let in
                            duty = Duty(source, units, served.taps / heating, mains, giving)
                            again = heat_of_machine(machine, duty, meant)
                            if again.refused == WORKS:
                                heat = again
                                share = share_of(machine, source, heat.inlet, units, hour.frosted, left, rest)
                                heating = (dt - idle / wanted) * share
                            flow = Flow(use, taps, heat.flow * heating / dt, 0.0, loop_rate)
                            served = serve(plant, layers, hour, flow, drive.draws, window)
                    moved = move(plant, layers, hour, flow, served, dt)
                    if through_it:
                        moved = with_loop(moved, lost_by_loop)
                    if series:
                        out.supply[index] = min(out.supply[index], served.coldest)
                if tanked and not through_it:
                    moved, loop = beside_tank(plant, hour, moved, loop, dt)
                if tanked:
                    loop = heat_tank(plant.loop_tank, loop, dt, drive.source[index])
                    lost_in_step += loop.lost
                if straight and flow.straight > 0.0:
                    given = moved.heat
                    weight = flow.straight * dt
                    inlet = moved.inlet / weight
                energy = given * heat.power / heat.heat if heat.heat > 0.0 else 0.0

                # lines outdoors
                if lines.capacity > 0.0:
                    owed = pipes.owed
                    if to_lines != 0.0:
                        repaid = given * RHO_CP * to_lines / (1.0 - to_lines)
                        owed -= repaid
                        out.line_heat[index] += repaid
                    if weight > 0.0:
                        heated = plant.outlet[0] if plant.water_side == SINGLE else inlet + plant.rise
                        pipes = LineState(owed, inlet + lines.cold_k, heated + lines.hot_k)
                    else:
                        excess = kept(dt / lines.time_constant)
                        air, hold = drive.line_around[index], drive.line_hold[index]
                        floor = drive.line_floor[index]
                        to, held_to = cool(pipes.out, air, hold, floor, excess)
                        fro, held_fro = cool(pipes.back, air, hold, floor, excess)
                        owed += lines.capacity * (pipes.out + pipes.back - to - fro)
                        pipes = LineState(owed, to, fro)
                        out.line_held[index] += 0.5 * (held_to + held_fro) * dt

                # defrost
                drawn = back * given
                if hour.pause > 0.0 and wanted > 0:
                    drawn = pass_time(controls, rotation, plant.modules, wanted, iced, dt, drawn)
                if drawn > 0.0:
                    draw_back(plant, layers, drawn)
                settle(layers, column)

                # backup
                backup_heat = moved.added
                if plant.backup_mode == PARALLEL:
                    cold_at = coldest_foot(layers, column, hour.backup_level)
                    if not seen.backup_allowed or cold_at >= hour.backup_at:
                        backup_on, waited = False, 0.0
                    elif cold_at < hour.backup_at - plant.backup_dead_band:
                        backup_on = waited >= plant.backup_delay
                        waited += dt
                    if backup_on:
                        asked_heat = plant.backup_power * dt / RHO_CP
                        backup_heat = heat_upper(
                            layers, column, hour.backup_level, asked_heat, hour.backup_at
                        )
                        backup_on = backup_heat >= asked_heat  # less: it reached its setpoint
                        settle(layers, column)

                # record
                idle_energy = 0.0
                if idle > 0.0:
                    idle_energy = idle * thaw_power(machine, below, source, (1.0, 1.0))
                if thawing > 0 and wanted > 0:
                    energy += thaw_power(machine, below, source, giving) * thawing * heating
                taken = (given - drawn) * RHO_CP - plant.gas_share * energy
                shed = (1.0 - plant.gas_share) * energy + idle_energy
                out.machine_loss[index] += shed
                energy += idle_energy
                on = wanted * min(share, 1.0) * dt  # module-seconds
                fan, pump = on * plant.fan_power, on * plant.pump_power
                standing = plant.standby_power
                if not source >= plant.crankcase_below:
                    standing += plant.crankcase_power
                standby = (plant.modules * dt - on) * standing
                circulation = 0.0
                if not outdoors:
                    circulation = pumped(kind, plant, state, index, source, on, wanted, taken, out)
                    out.source[MET, index] += (source if on > 0.0 else seen.free) * dt
                    out.source[PUMP, index] += circulation
                    taken_in_step += taken
                    on_in_step += on
                    gain += shed + pump + standby + (fan if plant.sources.room.exhaust_here else 0.0)
                backup = backup_heat * RHO_CP
                bought = backup / plant.backup_efficiency
                book_heat_pump(
                    out, index, (given - drawn) * RHO_CP, drawn * RHO_CP, energy, fan, pump, standby
                )
                book_water(out, index, moved)
                book_heaters(out, index, backup, bought, loop.heat, loop.energy)
                electric = energy + fan + pump + standby + circulation + loop.energy
                out.quarter_power[quarter] += electric + plant.backup_electric * bought
                if on > 0.0:
                    count_run(rotation, plant.modules, wanted, on / wanted, out.module_run)
                    book_run(out, index, on, share * dt, inlet, weight, heat.inside)
                    if share < 1.0:
                        out.source[SPENT, index] += dt
                permitted = seen.open_hour and seen.barred == WORKS and seen.most_modules > 0
                if calling and wanted == 0 and (refused != WORKS or not permitted):
                    out.lockout_seconds[index] += dt
                if backup > 0.0 or moved.short > 0.0:
                    cause = cause_of(
                        plant, seen.open_hour, refused, share, wanted, seen.most_modules, calling
                    )
                    if backup > 0.0:
                        out.backup_seconds[cause, index] += backup / plant.backup_power
                    short = moved.short_seconds
                    if through_it and moved.short > 0.0:
                        short = taps_run(drive.draws, index, now, end)
                    out.short_seconds[cause, index] += short
                top = top_of(layers)
                if low_outlet:
                    top, _, _ = sensed(layers, plant.draw_port - SLIVER)
                out.store_top[index] = min(out.store_top[index], top)
                warming = warming - idle if wanted > 0 else 0.0
                charging = Charge(calling, wanted, refused, since + dt, rested + dt, cut_out + dt, warming)
                now = end

            # rest
            lost = lost_in_step * RHO_CP
            uncooled += plant.step_seconds
            if in_room or uncooled >= LOSS - TINY:  # a room's air is of the step
                lost += lose(layers, around, share_lost) * RHO_CP
                uncooled -= LOSS
            out.storage_loss[index] += lost
            if kind == SEWER:
                overdrawn = max(overdrawn + taken_in_step - offer.most * plant.step_seconds, 0.0)
            if not outdoors:
                gain += lost
                grinding = end_step(
                    kind, plant, drive, state, step, index, taken_in_step, on_in_step, gain, out
                )
                out.source[PUMP, index] += grinding
                out.quarter_power[quarter] += grinding
            unmixed += plant.step_seconds
            if unmixed >= 0.5 * CONDUCTION - TINY:  # half of what it stands for is over, half to come
                conduct(layers, column, CONDUCTION)
                unmixed -= CONDUCTION
            if (step + 1) % per_hour == 0:
                out.store_mean[index] = heat_of(layers) / column.volume
                out.store_bottom[index] = foot(layers)
                out.loop_tank_end[index] = loop.held
                if in_ground:
                    end_hour(plant, drive, state, index, out)

    return through


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
    in_room = plant.sources.kind == SourceKind.ROOM
    lost = fading(plant.column, plant.step_seconds if in_room else LOSS)
    marcher(plant.sources.kind)(plant, drive, state, layers, rotation, out, lost)
    store[:] = slices(layers, store.size)
    out.profile[:] = slices(layers, SLICES)
    return out
