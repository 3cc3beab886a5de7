"""What flows at the taps and in the loop: tempering valve, and the loop's loss and return."""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Plant


@kernel
def most_hot(plant: Plant, mains: float) -> float:
    """Most hot water in what the plant's tempering valve passes, at the end of its travel.

    The valve holds its setpoint while hot water is warmer than that by its least difference, and lets by as
    much cold water then as at the end of its travel.
    """
    span = plant.valve_setpoint + plant.valve_difference - mains
    return 1.0 - plant.valve_difference / span if span > plant.valve_difference else 1.0


@kernel
def hot_needed(plant: Plant, use: float, mains: float, hot: float) -> float:
    """Water at `hot` °C that the taps take to make `use` of water at use temperature, in its unit."""
    rise = plant.use_temperature - mains
    if use <= 0.0 or rise <= 0.0:
        return 0.0
    return use * rise / max(hot - mains, rise / most_hot(plant, mains))


@kernel
def loop_reach(plant: Plant, supply: float) -> float:
    """Loss, and fall of temperature, of a loop fed from water at `supply` °C over those at its own supply.

    At one flow all along the loop the water's excess over the air is in proportion to that at its start.
    """
    excess = min(supply, plant.loop_limit) - plant.loop_ambient
    return max(excess, 0.0) / (plant.loop_supply - plant.loop_ambient)


@kernel
def loop_flow(plant: Plant, supply: float, back: float, loss: float) -> float:
    """What leaves the store for the loop while it loses `loss` [m³·K/s]. [m³/s]

    Parameters
    ----------
    plant : Plant
        The plant.
    supply : float
        Water of the store. [°C]
    back : float
        Return at the loop's own supply. [°C]
    loss : float
        As said.

    Notes
    -----
    The loop's own flow does not change. A tempering valve mixes returning water into it, so that less of it
    passes through the store. No colder return than that of a fall of 2 K is taken.
    """
    returns = min(supply, plant.loop_limit) - (plant.loop_supply - back) * loop_reach(plant, supply)
    return loss / max(supply - returns, 2.0)


@kernel
def mixed(wanted: float, most: float, loop: float, warmth: float, gain: float) -> float:
    """Hot water to the taps, so that they get what they want from water that is heated on its way. [m³/s]

    Parameters
    ----------
    wanted : float
        Heat above mains that the taps want. [m³·K/s]
    most : float
        Flow through the open valve. [m³/s]
    loop : float
        Water that the loop takes beside the taps. [m³/s]
    warmth : float
        Of the water before it is heated, above mains. [K]
    gain : float
        Heat given to taps' and loop's water on the way. [m³·K/s]

    Notes
    -----
    ``taps (warmth + gain / (taps + loop)) = wanted`` is a quadratic for the taps' water.
    """
    if wanted <= 0.0:
        return 0.0
    if gain == 0.0:
        return min(most, wanted / warmth) if warmth > 0.0 else most
    b, c = warmth * loop + gain - wanted, -wanted * loop
    inside = b * b - 4.0 * warmth * c
    if inside < 0.0:
        return most
    if b > 0.0:
        return min(-2.0 * c / (b + np.sqrt(inside)), most)
    return min((np.sqrt(inside) - b) / (2.0 * warmth), most) if warmth > 0.0 else most
