"""What lies between bore wall and machine: grout, pipes, film, and the work of pumping.

The resistance across the bore is that of the multipole method [1]_. The two legs also warm each other, so the
mean of inlet and outlet is not the mean of the fluid along the bore. With the wall at one temperature along
the depth, the effective resistance between the wall and the mean of inlet and outlet is ``R_b n coth(n)``,
``n = H / (m c sqrt(R_b R_a))``, R_a between the two legs [2]_.

References
----------
.. [1] J. Claesson, G. Hellström, "Multipole method to calculate borehole thermal resistances in a borehole
   heat exchanger", HVAC&R Research 17(6), 895-911, 2011.
.. [2] G. Hellström, "Ground heat storage. Thermal analyses of duct storage systems", thesis, Lund, 1991;
   unverified, tested against a solution by another method.
.. [3] V. Gnielinski, "On heat transfer in tubes", Int. J. Heat and Mass Transfer 63, 134-140, 2013: turbulent
   above a Reynolds number of 4000, laminar below 2300, linear between.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.source.bore_field import Bores
from hpwhsim.source.ground_loop import Loop
from hpwhsim.source.loop_fluid import WARMEST, Fluid, FluidState, fluid_state

LAMINAR, TURBULENT = 2300.0, 4000.0  # Reynolds numbers [3]
MULTIPOLES = 3  # order 10 moves the resistance by less than 1e-4 m·K/W
COLUMNS = 24  # wall temperatures of the table of resistances, from freezing to `WARMEST`


@dataclass(frozen=True)
class Pipes:
    """One U-tube in a bore, or two side by side in parallel, with their grout.

    Raises
    ------
    InputError
        If the number of tubes is not 1 or 2.
    OutOfRangeError
        If a value is not above 0 or the wall of the pipe is not.
    """

    tubes: int  # 1, or 2 whose four legs stand at the corners of a square
    outer: float  # m, outer diameter
    inner: float  # m, inner diameter
    shank: float  # m between the centres of the two legs of a tube
    conductivity: float  # W/mK, of the pipe's wall
    grout: float  # W/mK
    roughness: float  # m, of the pipe's inside

    def __post_init__(self) -> None:
        if self.tubes not in (1, 2):
            raise InputError(f"bore pipes: got {self.tubes} U-tubes in a bore, allowed 1 or 2")
        for name in ("inner", "shank", "conductivity", "grout", "roughness"):
            if not 0.0 < getattr(self, name) < np.inf:
                raise OutOfRangeError(f"bore pipes: got {name} {getattr(self, name):g}, allowed above 0")
        if not self.inner < self.outer < np.inf:
            raise OutOfRangeError(
                f"bore pipes: got an outer diameter of {self.outer:g} m, allowed above the inner of "
                f"{self.inner:g} m"
            )


class BoreResistance(NamedTuple):
    """Resistances of a bore, per metre of its length."""

    across: float  # m·K/W, wall to fluid at one depth
    between: float  # m·K/W, downward to upward leg
    effective: float  # m·K/W, wall to the mean of inlet and outlet
    reynolds: float  # of the flow in the pipes


def grout_resistance(bores: Bores, pipes: Pipes, conductivity: float, to_pipe: float) -> tuple[float, float]:
    """Resistances in the cross-section of a bore, by the multipole method.

    Parameters
    ----------
    bores : Bores
        The field.
    pipes : Pipes
        What is in a bore.
    conductivity : float
        Of the ground. [W/mK]
    to_pipe : float
        From the fluid to the outside of one leg. [m·K/W]

    Returns
    -------
    tuple of float
        Bore wall to fluid, and downward to upward leg. [m·K/W]

    Raises
    ------
    OutOfRangeError
        If the pipes overlap or do not fit into the bore.

    References
    ----------
    Claesson and Hellström [1]_, head of this module.
    """
    from pygfunction.pipes import multipole

    nearest = pipes.shank / np.sqrt(pipes.tubes)  # from leg to leg
    if not (pipes.outer <= nearest and pipes.shank + pipes.outer <= 2.0 * bores.radius):
        raise OutOfRangeError(
            f"bore pipes: {2 * pipes.tubes} legs of {pipes.outer:g} m, {pipes.shank:g} m apart in a bore of "
            f"{2.0 * bores.radius:g} m overlap or do not fit; allowed a shank spacing of "
            f"{pipes.outer * np.sqrt(pipes.tubes):.3f} to {2.0 * bores.radius - pipes.outer:.3f} m"
        )
    legs = 2 * pipes.tubes  # those down first, then those up, each tube's legs across from each other
    angle = 2.0 * np.pi * np.arange(legs) / legs
    places = list(zip(0.5 * pipes.shank * np.cos(angle), 0.5 * pipes.shank * np.sin(angle), strict=True))
    heat = np.repeat([1.0 / pipes.tubes, 0.0], pipes.tubes)  # W/m, into the legs down
    size = np.full(legs, 0.5 * pipes.outer)
    film_and_wall = np.full(legs, to_pipe)
    fluid, *_ = multipole(
        places, size, bores.radius, conductivity, pipes.grout, film_and_wall, 0.0, heat, MULTIPOLES
    )
    own, other = float(fluid[0]), float(fluid[-1])  # all legs of a group are alike by symmetry
    return 0.5 * (own + other), 2.0 * (own - other)


def bore_resistance(
    bores: Bores, pipes: Pipes, state: FluidState, conductivity: float, flow: float
) -> BoreResistance:
    """Resistances of a bore, and the Reynolds number in its pipes.

    Parameters
    ----------
    bores : Bores
        The field.
    pipes : Pipes
        What is in a bore.
    state : FluidState
        Of the fluid in the bore.
    conductivity : float
        Of the ground, above 0. [W/mK]
    flow : float
        Through one bore, above 0. [kg/s]

    Returns
    -------
    BoreResistance

    Raises
    ------
    OutOfRangeError
        If the pipes do not fit into the bore or each other, or a value is not above 0.

    References
    ----------
    Multipole method [1]_, film [3]_, effective resistance [2]_; head of this module.
    """
    from pygfunction.pipes import convective_heat_transfer_coefficient_circular_pipe

    for name, value in (("ground conductivity [W/mK]", conductivity), ("flow in a bore [kg/s]", flow)):
        if not 0.0 < value < np.inf:
            raise OutOfRangeError(f"bore pipes: got {name} {value:g}, allowed above 0")
    each = flow / pipes.tubes
    film = convective_heat_transfer_coefficient_circular_pipe(
        each,
        0.5 * pipes.inner,
        state.viscosity,
        state.density,
        state.conductivity,
        state.specific_heat,
        pipes.roughness,
    )
    wall = np.log(pipes.outer / pipes.inner) / (2.0 * np.pi * pipes.conductivity)
    to_pipe = wall + 1.0 / (np.pi * pipes.inner * film)
    across, between = grout_resistance(bores, pipes, conductivity, to_pipe)
    passes = bores.length / (flow * state.specific_heat * np.sqrt(across * between))
    reynolds = 4.0 * each / (np.pi * pipes.inner * state.viscosity)
    return BoreResistance(across, between, float(across * passes / np.tanh(passes)), reynolds)


def pump_watts(
    bores: Bores,
    pipes: Pipes,
    state: FluidState,
    flow: float,
    *,
    run: float,
    other_drop: float,
    efficiency: float,
) -> float:
    """Electricity of the circulation pump at a flow, from friction in the pipes.

    Parameters
    ----------
    bores : Bores
        The field.
    pipes : Pipes
        What is in a bore.
    state : FluidState
        Of the fluid, at the coldest for the strongest pump.
    flow : float
        Through the whole field, above 0. [kg/s]
    run : float
        Horizontal pipe of a bore out and back, as wide as the tubes and with the bore's whole flow in as
        many pipes. [m]
    other_drop : float
        Pressure drop of evaporator, manifolds and fittings. [Pa]
    efficiency : float
        Of pump and motor together, above 0 to 1.

    Returns
    -------
    float
        [W]

    Raises
    ------
    OutOfRangeError
        If a value is out of range.

    References
    ----------
    Darcy and Weisbach, with 64/Re below a Reynolds number of 2300 and Colebrook and White's factor above.
    """
    from pygfunction.pipes import fluid_friction_factor_circular_pipe

    if not (0.0 < flow < np.inf and 0.0 <= run < np.inf and 0.0 <= other_drop < np.inf):
        raise OutOfRangeError(
            f"loop pump: got a flow of {flow:g} kg/s, {run:g} m of run, {other_drop:g} Pa; allowed a flow "
            "above 0, the others 0 and more"
        )
    if not 0.0 < efficiency <= 1.0:
        raise OutOfRangeError(f"loop pump: got an efficiency of {efficiency:g}, allowed above 0 to 1")
    each = flow / (bores.count * pipes.tubes)
    friction = fluid_friction_factor_circular_pipe(
        each, 0.5 * pipes.inner, state.viscosity, state.density, pipes.roughness
    )
    speed = 4.0 * each / (state.density * np.pi * pipes.inner**2)
    path = 2.0 * (bores.length + bores.buried) + run
    drop = friction * path / pipes.inner * 0.5 * state.density * speed**2 + other_drop
    return float(drop * flow / (state.density * efficiency))


def make_loop(
    bores: Bores,
    pipes: Pipes,
    fluid: Fluid,
    conductivity: float,
    undisturbed: float,
    *,
    modules: int,
    heat: float,
    flow: float,
    least_flow: float,
    pump: float,
) -> Loop:
    """Constants of the loop for the march.

    Parameters
    ----------
    bores : Bores
        The field.
    pipes : Pipes
        What is in a bore.
    fluid : Fluid
        In the pipes.
    conductivity : float
        Of the ground, above 0. [W/mK]
    undisturbed : float
        Mean temperature of undisturbed ground along the bores. [°C]
    modules : int
        Modules of the machine, 1 and more.
    heat : float
        Usual heat from the ground with all modules running, 0 and more: it says how far the fluid, whose
        viscosity shapes the film, is below the wall. [W]
    flow : float
        Through the whole field with all modules running, above 0. [kg/s]
    least_flow : float
        Share of `flow` below which the pump does not go, above 0 to 1. Between that and 1 the flow follows
        the share of modules running; 1 is a pump of constant speed. With no module running it stands.
    pump : float
        Electricity of the pump at `flow`, 0 and more. [W]

    Returns
    -------
    Loop
        With the pump's power by the cube of the flow (affinity laws: the head is all friction, and the
        efficiency stays). The film is that at the fluid's temperature, at freezing where it would be colder.

    Raises
    ------
    OutOfRangeError
        If a value is out of range.
    """
    if modules < 1:
        raise OutOfRangeError(f"loop: got {modules} modules, allowed 1 and more")
    if not 0.0 < least_flow <= 1.0:
        raise OutOfRangeError(f"loop: got a minimum fraction of flow of {least_flow:g}, allowed above 0 to 1")
    for name, value in (("pump", pump), ("usual heat", heat)):
        if not 0.0 <= value < np.inf:
            raise OutOfRangeError(f"loop: got a {name} of {value:g} W, allowed 0 and more")
    running = np.arange(1, modules + 1) / modules
    share = np.maximum(running, least_flow)
    length = bores.total_length
    here = fluid_state(fluid, undisturbed)
    walls = np.linspace(here.freezing, WARMEST, COLUMNS)
    resistance = np.empty((modules, COLUMNS))
    for row in range(modules):
        each = share[row] * flow / bores.count
        usual = bore_resistance(bores, pipes, here, conductivity, each).effective
        below = running[row] * heat / length * usual
        for column, wall in enumerate(walls):
            state = fluid_state(fluid, max(float(wall) - below, here.freezing))
            effective = bore_resistance(bores, pipes, state, conductivity, each).effective
            resistance[row, column] = effective / length - 0.5 / (share[row] * flow * state.specific_heat)
    return Loop(
        undisturbed=undisturbed,
        coldest=here.freezing,
        spread=float(walls[1] - walls[0]),
        resistance=np.vstack([resistance[:1], resistance]),
        carried=np.concatenate([share[:1], share]) * flow * here.specific_heat,
        pump=np.concatenate([[0.0], pump * share**3]),
        shared=1.0,
    )


def flow_cautions(
    bores: Bores, pipes: Pipes, fluid: Fluid, conductivity: float, flow: float, temperature: float
) -> list[str]:
    """What a modeler should know of the flow in the bores.

    Parameters
    ----------
    bores : Bores
        The field.
    pipes : Pipes
        What is in a bore.
    fluid : Fluid
        In the pipes.
    conductivity : float
        Of the ground. [W/mK]
    flow : float
        Through the whole field. [kg/s]
    temperature : float
        Of the fluid; the coldest expected is the telling one. [°C]

    Returns
    -------
    list of str
        One sentence where the flow is not turbulent, with the resistance that it costs; else empty.
    """
    state = fluid_state(fluid, temperature)
    found = bore_resistance(bores, pipes, state, conductivity, flow / bores.count)
    if found.reynolds >= TURBULENT:
        return []
    kind = "laminar" if found.reynolds < LAMINAR else "between laminar and turbulent"
    return [
        f"ground loop: at {temperature:g} °C the flow in the bores is {kind} (Reynolds number "
        f"{found.reynolds:.0f}, turbulent from {TURBULENT:.0f}) and the bore's resistance "
        f"{found.effective:.3f} m·K/W"
    ]
