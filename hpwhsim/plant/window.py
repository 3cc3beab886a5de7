"""What a window does to store, taps and loop: the machine's charge, the draws, the loop's own tank."""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Plant, SourceKind, WaterSide
from hpwhsim.plant.charging import charge, draw_back
from hpwhsim.plant.controls import pass_time
from hpwhsim.plant.loop_tank import beside_tank, heat_tank, serve_through, with_loop
from hpwhsim.plant.ready import heated, rationed, with_cold, with_given
from hpwhsim.plant.running import WORKS, heat_of_machine, machine_now
from hpwhsim.plant.serve import move, serve
from hpwhsim.plant.state import Begun, Course, Flow, Given, Hour, LoopState, Moved, Ready, Scene, Spell
from hpwhsim.plant.taps import window_of
from hpwhsim.storage.order import settle

NOTHING_MOVED = Moved(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
WET_WELL, SEWER = int(SourceKind.WET_WELL), int(SourceKind.SEWER)
WRAPPED = int(WaterSide.WRAPPED)


@kernel
def charged(scene: Scene, ready: Ready, spell: Spell) -> Given:
    """Charge the store in place where the machine's water does not pass by it."""
    plant, layers = scene.plant, scene.layers
    heat, heating = spell.heat, spell.heating
    if scene.course.straight or heat.heat <= 0.0 or heating <= 0.0:
        return Given(0.0, 0.0, heat.inlet)
    given, before = charge(plant, layers, ready.here, heat, heating)
    settle(layers, plant.column)
    weight = heat.flow * heating if plant.water_side != WRAPPED else given
    return Given(given, weight, before / weight if weight > 0.0 else heat.inlet)


@kernel
def flowing(course: Course, flow: Flow, spell: Spell) -> Flow:
    """What flows in a window once the machine's heat is known."""
    straight = spell.heat.flow * spell.heating / spell.seconds if course.straight else 0.0
    return Flow(flow.use, flow.taps, straight, 0.0, flow.loop)


@kernel
def with_draws(plant: Plant, hour: Hour, begun: Begun, spell: Spell, taps: float) -> Spell:
    """A window of rationed sewage, with the mains water that `taps` let in while the machine runs. [m³]"""
    machine = machine_now(plant)
    duty = with_cold(begun.ready.duty, taps / spell.heating)
    again = heat_of_machine(machine, duty, spell.water)
    if again.refused != WORKS:
        return spell
    share = rationed(machine, hour, begun.ready, again, begun.ration)
    heating = heated(spell.running, spell.seconds, spell.idle, share)
    return with_given(spell, heating, share, again, spell.water)


@kernel
def serve_and_move(
    kind: int, scene: Scene, hour: Hour, begun: Begun, spell: Spell, loop: LoopState
) -> tuple[Moved, LoopState, Spell, float]:
    """Serve taps and loop in a window and move the store; see the returns.

    Returns
    -------
    moved, loop, spell, coldest
        What moved, the loop's own tank, the window with the machine's heat as the draws left it, and the
        coldest water that left the plant. [°C]
    """
    plant, drive, course, layers = scene.plant, scene.drive, scene.course, scene.layers
    moved, coldest = NOTHING_MOVED, np.inf
    flow = flowing(course, begun.flow, spell)
    window = window_of(drive, begun.draw, hour.number, spell.end)
    if course.through or flow.use > 0.0 or flow.loop > 0.0 or flow.straight > 0.0:
        lost_by_loop = 0.0
        if course.through:
            served, loop, lost_by_loop = serve_through(plant, layers, hour, flow, loop, spell.seconds)
        else:
            served = serve(plant, layers, hour, flow, drive.draws, window)
            if kind == WET_WELL or kind == SEWER:  # the compiler drops it for others
                if spell.share < 1.0 and flow.straight > 0.0:
                    spell = with_draws(plant, hour, begun, spell, served.taps)
                    flow = flowing(course, flow, spell)
                    served = serve(plant, layers, hour, flow, drive.draws, window)
        moved = move(plant, layers, hour, flow, served, spell.seconds)
        if course.through:
            moved = with_loop(moved, lost_by_loop)
        coldest = served.coldest
    if course.tanked:
        if not course.through:
            moved, loop = beside_tank(plant, hour, moved, loop, spell.seconds)
        loop = heat_tank(plant.loop_tank, loop, spell.seconds, drive.source[hour.number])
    return moved, loop, spell, coldest


@kernel
def defrost(scene: Scene, hour: Hour, ready: Ready, spell: Spell, heat: float) -> float:
    """Heat drawn back by defrosts in a window in which `heat` was given. [m³·K]"""
    plant, layers, running = scene.plant, scene.layers, spell.running
    drawn = ready.back * heat
    if hour.pause > 0.0 and running > 0:
        dt = spell.seconds
        drawn = pass_time(plant.controls, scene.rotation, plant.modules, running, ready.pause, dt, drawn)
    if drawn > 0.0:
        draw_back(plant, layers, drawn)
    settle(layers, plant.column)
    return drawn
