"""A bore field as the march reads it: response, loop, flow and pump, and what it remembers."""

from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.ground import surface_wave
from hpwhsim.constants import HOURS
from hpwhsim.io.disk_cache import cached, place
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.files import read_rejection
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.plant.plain_source import PRACTICE, Sourced, at_rest, say
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import ANTIFREEZE_SHARE, FLOW_PER_WATT, SAID_FLOW, GroundLoop
from hpwhsim.source import bore_field
from hpwhsim.source.bore_field import Bores, Response, g_function, make_field, undisturbed_ground
from hpwhsim.source.bore_pipes import Pipes, flow_cautions, make_loop, pump_watts
from hpwhsim.source.ground_loop import Loop, make_history
from hpwhsim.source.loop_fluid import Fluid, FluidState, fluid_state

KEEP = 100  # answers of bore fields that stay on disk


def ground_source(
    scenario: Scenario,
    block: GroundLoop,
    made: Made,
    dry_bulb: Array,
    plain: Sourced,
    found: list[Assumption],
    cautions: list[str],
) -> Sourced:
    """A bore field as source; `plain` holds what it has of no other kind."""
    bores, pipes, fluid = _buried(block)
    undisturbed = block.ground_temperature
    if undisturbed is None:
        undisturbed = undisturbed_ground(bores, surface_wave(dry_bulb))
        say(
            found,
            "ground_loop.ground_temperature",
            f"{undisturbed:.4g} degC",
            "yearly mean at the surface by the weather file, no geothermal gradient",
        )
    heat = made.source_heat * made.modules
    state = fluid_state(fluid, undisturbed)
    flow = block.flow
    if flow is None:
        flow = FLOW_PER_WATT * heat
        say(found, "ground_loop.flow", f"{flow:.3g} m3/s", f"{SAID_FLOW} of heat; {PRACTICE}")
    mass_flow = flow * state.density
    coldest = max(state.freezing, min(undisturbed, 0.0))
    pump = block.pump_power
    if pump is None:
        pump = _pump(block, bores, pipes, fluid_state(fluid, coldest), mass_flow)
        say(
            found,
            "ground_loop.pump_power",
            f"{pump:.4g} W",
            f"Darcy-Weisbach in bores and header, 30 kPa for unit and manifold ({PRACTICE})",
        )
    diffusivity = block.ground_conductivity / block.ground_heat_capacity
    response = _response(bores, diffusivity)
    field = make_field(bores, response, block.ground_conductivity, scenario.run.years)
    loop = make_loop(
        bores,
        pipes,
        fluid,
        block.ground_conductivity,
        undisturbed,
        modules=made.modules,
        heat=heat,
        flow=mass_flow,
        least_flow=block.min_flow_fraction,
        pump=pump,
    )
    cautions += flow_cautions(bores, pipes, fluid, block.ground_conductivity, mass_flow, coldest)
    rejected = np.zeros(HOURS)
    if block.rejection is not None:
        rejected = read_rejection(block.rejection)
        loop = loop._replace(shared=1.0 if block.rejection_circuit == "shared" else 0.0)
    history = make_history(field, scenario.run.years)
    return plain._replace(
        sources=plain.sources._replace(kind=int(SourceKind.GROUND_LOOP), field=field, loop=loop),
        state=at_rest(history=history),
        rejected=rejected,
    )


def on_common_field(block: GroundLoop, loop: Loop, capacity_flow: float, heat: float) -> Loop:
    """The loop of a plant whose field serves others too: all draw from one header what leaves the field.

    Parameters
    ----------
    block : GroundLoop
        The field.
    loop : Loop
        Of the plant alone, whose flow and pump it keeps.
    capacity_flow : float
        Heat capacity flow of all plants together, through the whole field. [W/K]
    heat : float
        Usual heat from the ground of all of them. [W]

    Returns
    -------
    Loop
        The bores' resistance is that at the flow of all plants, whichever of them run, and a pump whose power
        is not given moves its plant's share of that flow against the friction of all of it.
    """
    bores, pipes, fluid = _buried(block)
    state = fluid_state(fluid, loop.undisturbed)
    flow = capacity_flow / state.specific_heat
    if block.pump_power is None:
        cold = fluid_state(fluid, max(state.freezing, min(loop.undisturbed, 0.0)))
        own = _pump(block, bores, pipes, cold, flow) * loop.carried[-1] / capacity_flow
        loop = loop._replace(pump=loop.pump * own / loop.pump[-1])
    whole = make_loop(
        bores,
        pipes,
        fluid,
        block.ground_conductivity,
        loop.undisturbed,
        modules=1,
        heat=heat,
        flow=flow,
        least_flow=1.0,
        pump=0.0,
    )
    return loop._replace(resistance=np.repeat(whole.resistance[1:], len(loop.resistance), axis=0), shared=1.0)


def _buried(block: GroundLoop) -> tuple[Bores, Pipes, Fluid]:
    """Bores, the pipes in them, and what flows in these."""
    bores = Bores(
        layout=block.layout,
        rows=block.rows,
        columns=block.columns,
        spacing=block.spacing,
        length=block.depth,
        buried=block.buried,
        radius=0.5 * block.diameter,
    )
    pipes = Pipes(
        tubes=block.u_tubes,
        outer=block.pipe_outer,
        inner=block.pipe_inner,
        shank=block.shank_spacing,
        conductivity=block.pipe_conductivity,
        grout=block.grout_conductivity,
        roughness=1e-6,
    )
    share = block.fluid_share
    if share is None:
        share = 0.0 if block.fluid == "water" else ANTIFREEZE_SHARE
    return bores, pipes, Fluid(block.fluid, share)


def _pump(block: GroundLoop, bores: Bores, pipes: Pipes, cold: FluidState, flow: float) -> float:
    """Power of the pump that moves the flow [kg/s] of the coldest fluid. [W]"""
    return pump_watts(
        bores,
        pipes,
        cold,
        flow,
        run=block.header,
        other_drop=30e3,
        efficiency=block.pump_efficiency,
    )


def _response(bores: Bores, diffusivity: float) -> Response:
    """The field's g-function, kept on disk."""
    here = [Path(bore_field.__file__)]
    where = place("ground", repr((bores, diffusivity)), here, ("pygfunction", "numpy"))
    return Response(**cached(where, KEEP, lambda: g_function(bores, diffusivity)._asdict()))
