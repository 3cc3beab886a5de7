"""The store that the heat pump charges: the water that it meets, and what comes back."""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Plant, WaterSide
from hpwhsim.plant.flows import hot_needed
from hpwhsim.plant.running import clear_capacity, machine_now, mixed_inlet
from hpwhsim.plant.state import Coming, Heat, Hour, Intake
from hpwhsim.storage.heating import at_wall, cool_between, heat_wall
from hpwhsim.storage.layers import (
    RHO_CP,
    Layers,
    add_head,
    foot,
    mean_above,
    sensed,
    take_above,
    take_foot,
    top_of,
)
from hpwhsim.storage.order import insert

THAWED = 0.02  # share of the store from which a defrost takes its heat, at the machine's return
SINGLE, MULTI = int(WaterSide.SINGLE), int(WaterSide.MULTI)
WRAPPED = int(WaterSide.WRAPPED)


@kernel
def straight_through(plant: Plant) -> bool:
    """Whether the machine's water passes by the store on its way to the taps."""
    return plant.water_side == SINGLE and plant.charge_apart == 0


@kernel
def at_intake(plant: Plant, layers: Layers) -> Intake:
    """The water that comes to the machine."""
    if plant.water_side == WRAPPED:
        lacking, met = at_wall(layers, plant.condenser_top, plant.outlet[0])
        return Intake(met, np.inf, lacking)
    if plant.intake_port <= 0.0:
        return Intake(foot(layers), layers.volume[layers.span[0]], 0.0)
    here, above, _ = sensed(layers, plant.intake_port)
    return Intake(here, above, 0.0)


@kernel
def midway(plant: Plant, here: Intake, heat: float) -> float:
    """What a condenser at the wall meets once half of `heat` [m³·K] is given as each layer lacks it. [°C]"""
    share = min(0.5 * heat / here.lacking, 1.0) if here.lacking > 0.0 else 0.0
    return here.temperature + share * (plant.outlet[0] - here.temperature)


@kernel
def of_intake(plant: Plant, layers: Layers, volume: float) -> float:
    """Mean of the `volume` that flows to the machine. [°C]"""
    return mean_above(layers, plant.intake_port, volume)


@kernel
def entering(plant: Plant, layers: Layers, hour: Hour, coming: Coming, source: float, units: float) -> float:
    """Water that the machine gets, or would. [°C]

    Of a machine past which the mains water flows to the store it is that water, mixed with as much from the
    bottom of the store as `units` modules heat beside it.

    Parameters
    ----------
    plant, layers, hour
        The plant, its store, and its hour.
    coming : Coming
        Water of the store that comes to the machine, and what the taps want.
    source, units : float
        Temperature of the source [°C], and modules running.
    """
    below, use = coming.here.temperature, coming.draw.use
    if use <= 0.0 or not straight_through(plant):
        return below
    capacity = clear_capacity(machine_now(plant), source, below)
    if np.isnan(capacity) or plant.outlet[0] - below < 1.0:
        return min(hour.mains, below)
    top = top_of(layers)
    cold = hot_needed(plant, use, hour.mains, top)
    flow = units * capacity / RHO_CP + cold * (hour.mains - below)
    return mixed_inlet(flow / (plant.outlet[0] - below), cold, hour.mains, below)


@kernel
def charge(plant: Plant, layers: Layers, here: Intake, heat: Heat, seconds: float) -> tuple[float, float]:
    """Charge the store in place where the machine's water does not pass by it; see the returns.

    Between ports the water leaves at the intake and comes back at the return; multi-pass water has gained the
    rise. A condenser at the wall gives each layer in proportion to what it lacks. Inversions are left.

    Returns
    -------
    heat, inlet : float, float
        Heat given, and heat of the water before (of a condenser at the wall its temperature times heat).
        [m³·K]
    """
    if plant.water_side == WRAPPED:
        given = heat.heat * seconds
        given = min(given, here.lacking)
        if given > 0.0:
            heat_wall(layers, plant.condenser_top, plant.outlet[0], given / here.lacking)
        return given, heat.inlet * given
    volume = heat.flow * seconds
    if volume <= 0.0:
        return 0.0, 0.0
    if plant.intake_port <= 0.0:
        before = take_foot(layers, volume)
    else:
        before = take_above(layers, plant.intake_port, volume)
    given = heat.heat * seconds
    back = plant.outlet[0]
    if plant.water_side == MULTI:
        back = (before + given) / volume
    if plant.return_port >= plant.column.volume:
        add_head(layers, volume, back)
    else:
        insert(layers, plant.return_port - volume, volume, back, plant.column.tanks == 1)
    return volume * back - before, before


@kernel
def draw_back(plant: Plant, layers: Layers, heat: float) -> None:
    """Take the heat of a defrost [m³·K] out of the store, in place, where the machine gives its own."""
    if plant.water_side == WRAPPED:
        cool_between(layers, 0.0, plant.condenser_top, heat)
    else:
        top = plant.return_port
        cool_between(layers, max(top - THAWED * plant.column.volume, 0.0), top, heat)
