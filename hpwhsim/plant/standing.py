"""Water lines outdoors between two runs: they cool, and the machine heats them again before the store.

While the water stands each pipe cools exponentially towards what is around it. What it lost is owed at the
next start: of the machine's heat then most goes into the lines, until they have it back. In the plant that is
the cold water that stood in the lines and comes to the store, or back to the machine, first.
"""

import numpy as np

from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plant.arrays import WaterSide
from hpwhsim.plant.part_speed import perform
from hpwhsim.plant.state import Given, LineState, Machine, Scene
from hpwhsim.storage.layers import RHO_CP

MOST = 0.9  # of the machine's heat that the lines take at once; the rest keeps the water moving
LEAST = -0.5  # a trace that warmed them gives that much of it at once at most
SINGLE = int(WaterSide.SINGLE)
SETTLED = 1.0  # J owed that are nothing


@kernel
def kept(times: float) -> float:
    """Share of an excess that is left after so many time constants, ``exp(-times)``.

    By basic arithmetic, which is the same on every processor: Padé (3, 3) of a fourth, to the fourth power;
    within 1e-10 up to half a time constant, 1e-5 for ever.
    """
    if times > 20.0:
        return 0.0
    x = 0.25 * times
    even, odd = 1.0 + x * x / 10.0, 0.5 * x + x * x * x / 120.0
    quarter = (even - odd) / (even + odd)
    return quarter * quarter * quarter * quarter


@kernel
def cool(pipe: float, around: float, hold: float, floor: float, left: float) -> tuple[float, float]:
    """Temperature of a standing pipe after a while [°C], and the share of that while that it was held.

    Parameters
    ----------
    pipe : float
        Before. [°C]
    around, hold, floor : float
        What it cools towards while it is above `hold`, and from there on. [°C]
    left : float
        Share of its excess that is left after the while.
    """
    if pipe <= hold:
        return floor + (pipe - floor) * left, 1.0
    after = around + (pipe - around) * left
    if after >= hold:
        return after, 0.0
    return hold, (hold - after) / (pipe - after)


@kernel_apart
def share_owed(
    machine: Machine,
    inlet: float,
    owed: float,
    source: float,
    unit_seconds: float,
    frosted: tuple[float, float],
) -> float:
    """Share of the machine's heat that goes into its lines in a part of a step.

    Parameters
    ----------
    machine : Machine
        As it is now.
    inlet : float
        Water of the store at the machine's intake. [°C]
    owed : float
        Heat that the lines lack. [J]
    source : float
        Temperature of the source. [°C]
    unit_seconds : float
        Modules running, times their share of full speed, times the time of heating. [s]
    frosted : tuple of two floats
        Capacity and power over those of the map.
    """
    capacity, _, _ = perform(machine, source, inlet)
    most = frosted[0] * capacity * unit_seconds
    if np.isnan(most) or most <= 0.0:
        return 0.0
    return min(max(owed / most, LEAST), MOST)


@kernel
def lines_after(
    scene: Scene, hour: int, pipes: LineState, given: Given, to_lines: float, dt: float
) -> LineState:
    """Lines outdoors after a window of `dt` seconds: flushed by the machine's water, or standing."""
    plant, drive, out = scene.plant, scene.drive, scene.out
    lines, owed = plant.lines, pipes.owed
    if to_lines != 0.0:
        repaid = given.heat * RHO_CP * to_lines / (1.0 - to_lines)
        owed -= repaid
        out.line_heat[hour] += repaid
    if given.weight > 0.0:
        heated = plant.outlet[0] if plant.water_side == SINGLE else given.inlet + plant.rise
        return LineState(owed, given.inlet + lines.cold_k, heated + lines.hot_k)
    excess = kept(dt / lines.time_constant)
    air, hold, floor = drive.line_around[hour], drive.line_hold[hour], drive.line_floor[hour]
    to, held_to = cool(pipes.out, air, hold, floor, excess)
    fro, held_fro = cool(pipes.back, air, hold, floor, excess)
    owed += lines.capacity * (pipes.out + pipes.back - to - fro)
    out.line_held[hour] += 0.5 * (held_to + held_fro) * dt
    return LineState(owed, to, fro)
