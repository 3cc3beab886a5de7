"""A stratified store: one column of equal cells, numbered from the bottom up.

Water moves as a plug. What flows in during a step is stacked on the old contents, and the stack is cut
into cells again: a conservative remap with limited parabolas, which takes any volume in one pass and
keeps the thermocline sharp whatever the step. Mixing at the cold inlet, conduction, loss and the repair of
inversions are separate and explicit.

Volumes here are counted in cells and heat in cell·K (multiply by ``RHO_CP`` and the cell's volume for J),
so that a cell's temperature is its heat.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plain_math import exponential, exponential_less_one

Array = NDArray[np.float64]

RHO_CP = 988.035 * 4181.3
"""Heat capacity of water by volume, J/m³K: density and specific heat at 50 °C, one atmosphere (IAPWS-95)."""


class Column(NamedTuple):
    """What the store is; floats and ints only.

    The number of cells is the length of the temperature array that goes with it.
    """

    cell_volume: float  # m³
    mixed_cells: int  # cells at the bottom that inflow stirs
    diffusion: float  # share of a neighbour's difference exchanged in one conduction pass, at most 1/4
    passes: int  # conduction passes in one step
    fading: float  # share of the excess over the room's temperature that one step of standby takes
    room: float  # °C


class Scratch(NamedTuple):
    """Work space of the kernels, made once; contents mean nothing between calls."""

    slope: Array  # (cell,) K per cell
    lower: Array  # (cell,) °C at the lower edge of each cell
    upper: Array  # (cell,) °C at the upper edge
    below: Array  # (cell + 1,) heat below each cell boundary, cell·K
    new: Array  # (cell,) °C
    size: NDArray[np.int64]  # (cell,) cells in each pooled block
    tank: NDArray[np.int64]  # (1,) cells of one tank; fewer than all: tanks in series, bottom to top


def make_column(
    volume: float,
    height: float,
    cells: int,
    step_seconds: float,
    *,
    loss: float,
    room: float,
    conductivity: float,
    inlet_mixing: float,
) -> Column:
    """Constants of a store for steps of `step_seconds`.

    Parameters
    ----------
    volume, height : float
        Of the water column. [m³], [m]
    cells : int
        Number of equal cells.
    step_seconds : float
        Length of a step. [s]
    loss : float
        Heat loss coefficient of the whole store, spread evenly over the cells. [W/K]
    room : float
        Temperature around the store. [°C]
    conductivity : float
        Effective vertical conductivity. [W/mK]
    inlet_mixing : float
        Share of the column that water entering at the bottom stirs, rounded to whole cells.
    """
    cell_height = height / cells
    exchange = conductivity / RHO_CP * step_seconds / cell_height**2
    passes = max(1, int(np.ceil(exchange / 0.25)))  # 1/4 keeps the explicit pass monotone, error under 0.1 %
    return Column(
        cell_volume=volume / cells,
        mixed_cells=round(inlet_mixing * cells),
        diffusion=exchange / passes,
        passes=passes,
        fading=-exponential_less_one(-loss * step_seconds / (RHO_CP * volume)),
        room=room,
    )


def make_scratch(cells: int, tanks: int = 1) -> Scratch:
    """Work space for a column of `cells` cells, cut into `tanks` equal tanks in series."""
    return Scratch(
        slope=np.zeros(cells),
        lower=np.zeros(cells),
        upper=np.zeros(cells),
        below=np.zeros(cells + 1),
        new=np.zeros(cells),
        size=np.zeros(cells, dtype=np.int64),
        tank=np.array([cells // tanks], dtype=np.int64),
    )


@kernel
def reconstruct(temperature: Array, scratch: Scratch, entering: float) -> None:
    """Fill `scratch` with a parabola in each cell, from the cell means.

    Piecewise parabolic method: monotonised central slopes, edges of fourth order, and no new highs or lows
    (Colella and Woodward, J. Comput. Phys. 54, 1984, 174-201, eqs. 1.6 to 1.10). `entering` is the
    temperature of the water that is about to follow at the bottom. [°C]
    """
    n = temperature.size
    slope, lower, upper, below = scratch.slope, scratch.lower, scratch.upper, scratch.below
    below[0] = 0.0
    for i in range(n):
        here = temperature[i]
        below[i + 1] = below[i] + here
        left = here - (temperature[i - 1] if i > 0 else entering)
        right = (temperature[i + 1] if i < n - 1 else here) - here
        if left * right <= 0.0:
            slope[i] = 0.0
        else:
            steepest = 2.0 * min(abs(left), abs(right))
            slope[i] = min(max(0.5 * (left + right), -steepest), steepest)
    edge = 0.5 * (entering + temperature[0]) - slope[0] / 6.0
    for i in range(n):
        here = temperature[i]
        low = edge
        if i < n - 1:
            edge = here + 0.5 * (temperature[i + 1] - here) - (slope[i + 1] - slope[i]) / 6.0
        else:
            edge = here + slope[i] / 6.0
        high = edge
        span = high - low
        bend = span * (here - 0.5 * (low + high))
        if (high - here) * (here - low) <= 0.0:
            low = high = here
        elif bend > span * span / 6.0:
            low = 3.0 * here - 2.0 * high
        elif bend < -span * span / 6.0:
            high = 3.0 * here - 2.0 * low
        lower[i] = low
        upper[i] = high


@kernel
def heat_below(temperature: Array, scratch: Scratch, z: float) -> float:
    """Heat below the level `z` (in cells, 0 to n) of the reconstructed column. [cell·K]"""
    i = min(int(z), temperature.size - 1)
    f = z - i
    low, high = scratch.lower[i], scratch.upper[i]
    curve = 6.0 * temperature[i] - 3.0 * (low + high)
    return scratch.below[i] + f * (low + f * (0.5 * (high - low) + curve * (0.5 - f / 3.0)))


@kernel
def stirred_inflow(volume: float, inlet: float, zone: float, cells: float) -> float:
    """Heat of the first `volume` cells that leave a stirred zone of `cells` cells at `zone` °C. [cell·K]

    Water at `inlet` °C enters; a fully mixed volume empties exponentially.
    """
    if cells <= 0.0:
        return volume * inlet
    return inlet * volume + (zone - inlet) * cells * -exponential_less_one(-volume / cells)


@kernel_apart
def drawn_heat(temperature: Array, scratch: Scratch, volume: float, inlet: float, cells: int) -> float:
    """Heat of the first `volume` cells leaving at the top while `inlet` °C enters below. [cell·K]

    Past the old contents comes what was in the stirred zone of `cells` cells, then the inlet itself.
    """
    n = temperature.size
    plug = n - cells
    if volume <= plug:
        return scratch.below[n] - heat_below(temperature, scratch, n - volume)
    zone = scratch.below[cells] / cells if cells > 0 else inlet
    return scratch.below[n] - scratch.below[cells] + stirred_inflow(volume - plug, inlet, zone, float(cells))


@kernel_apart
def shift(
    temperature: Array,
    scratch: Scratch,
    rise: float,
    inserted: float,
    port: float,
    bottom_in: float,
    inserted_in: float,
    top_in: float,
    cells: int,
) -> tuple[float, float]:
    """Move the column in place and return the heat that left at the bottom and at the top. [cell·K]

    Parameters
    ----------
    temperature : ndarray, shape (cell,)
        Cell means, `reconstruct` done. Overwritten. [°C]
    scratch : Scratch
        Work space.
    rise : float
        Net upward flow at the bottom, negative downward; any size. [cells]
    inserted : float
        Water that enters at the level `port`, at least 0. [cells]
    port : float
        Level where it enters, not inside the stirred zone. The flow above it is `rise + inserted`. [cells]
    bottom_in, inserted_in, top_in : float
        Temperatures of what enters at the bottom, at the port and at the top. [°C]
    cells : int
        Cells of the zone at the bottom that inflow stirs.
    """
    n = temperature.size
    above = rise + inserted
    stirred = cells if rise > 0.0 else 0
    zone = scratch.below[stirred] / stirred if stirred > 0 else bottom_in
    zone_end = bottom_in + (zone - bottom_in) * exponential(-rise / stirred) if stirred > 0 else bottom_in
    at_zone = scratch.below[stirred] - stirred_inflow(max(rise, 0.0), bottom_in, zone, float(stirred))
    at_port = heat_below(temperature, scratch, port)
    lowest = min(0.0, rise)
    highest = max(float(n), n + above)
    previous = 0.0
    out_bottom = 0.0
    for j in range(-1, n + 2):
        if j < 0:
            x = lowest
        elif j > n:
            x = highest
        else:
            x = float(j)
        if rise > 0.0 and x < stirred:
            heat = at_zone - (stirred - x) * zone_end
        elif rise > 0.0 and x < stirred + rise:
            heat = scratch.below[stirred] - stirred_inflow(
                stirred + rise - x, bottom_in, zone, float(stirred)
            )
        elif x <= port + rise:
            heat = heat_below(temperature, scratch, x - rise)
        elif x <= port + above:
            heat = at_port + (x - port - rise) * inserted_in
        elif x <= n + above:
            heat = heat_below(temperature, scratch, x - above) + inserted * inserted_in
        else:
            heat = scratch.below[n] + inserted * inserted_in + (x - n - above) * top_in
        if j == 0:
            out_bottom = heat - previous
        elif 0 < j <= n:
            scratch.new[j - 1] = heat - previous
        elif j > n:
            out_top = heat - previous
        previous = heat
    for i in range(n):
        temperature[i] = scratch.new[i]
    return out_bottom, out_top


@kernel_apart
def stir_feet(
    temperature: Array, scratch: Scratch, rise: float, inserted: float, port: float, cells: int
) -> None:
    """Stir the foot of every later tank in series by the water that came up into it, in place.

    `shift` has moved the column and stirred the foot of the first tank exactly. Here a zone of `cells` cells
    through which a volume ``v`` flows comes nearer to its mean by ``1 - exp(-v / cells)``: a flow far larger
    than the zone mixes it through. It keeps its heat.

    Parameters
    ----------
    temperature, scratch, rise, inserted, port, cells
        As for `shift`.
    """
    tank = scratch.tank[0]
    for foot in range(tank, temperature.size, tank):
        through = rise if foot < port else rise + inserted
        if through <= 0.0:
            continue
        top = min(foot + cells, temperature.size)
        mean = temperature[foot:top].mean()
        share = -exponential_less_one(-through / cells)
        for i in range(foot, top):
            temperature[i] += share * (mean - temperature[i])


@kernel_apart
def settle(temperature: Array, scratch: Scratch) -> None:
    """Repair inversions in each tank, in place: pool adjacent violators.

    The one non-decreasing profile that keeps the heat and differs least (Barlow, Bartholomew, Bremner and
    Brunk, Statistical Inference under Order Restrictions, 1972); the order of repair does not matter.
    """
    n = temperature.size
    ordered = True
    for i in range(1, n):
        if temperature[i] < temperature[i - 1]:
            ordered = False
            break
    if ordered:
        return
    mean, size = scratch.new, scratch.size
    for foot in range(0, n, scratch.tank[0]):
        last = -1
        for i in range(foot, foot + scratch.tank[0]):
            last += 1
            mean[last] = temperature[i]
            size[last] = 1
            while last > 0 and mean[last - 1] > mean[last]:
                total = size[last - 1] + size[last]
                mean[last - 1] = (mean[last - 1] * size[last - 1] + mean[last] * size[last]) / total
                size[last - 1] = total
                last -= 1
        i = foot
        for block in range(last + 1):
            for _ in range(size[block]):
                temperature[i] = mean[block]
                i += 1


@kernel
def conduct(temperature: Array, scratch: Scratch, column: Column) -> None:
    """Conduction between neighbouring cells of a tank over one step, in place; its ends are insulated."""
    cells = scratch.tank[0]
    for _ in range(column.passes):
        for foot in range(0, temperature.size, cells):
            flow_below = 0.0
            for i in range(foot, foot + cells - 1):
                flow = column.diffusion * (temperature[i + 1] - temperature[i])
                temperature[i] += flow - flow_below
                flow_below = flow
            temperature[foot + cells - 1] -= flow_below


@kernel
def lose(temperature: Array, column: Column, room: float) -> float:
    """Standby loss of one step to a room at `room` °C, exact for each cell, in place. [cell·K]"""
    lost = 0.0
    for i in range(temperature.size):
        change = (temperature[i] - room) * column.fading
        temperature[i] -= change
        lost += change
    return lost


@kernel
def pass_between(
    temperature: Array, scratch: Scratch, low: float, high: float, volume: float, returning: float
) -> float:
    """Take water from the level `low` and give it back below the level `high`, in place; its heat. [cell·K]

    What lies between the ports moves down by `volume`. The ports may lie inside a cell.

    Parameters
    ----------
    temperature, scratch
        Cell means, `reconstruct` done, and the work space. Overwritten. [°C]
    low, high : float
        Levels of the two ports. [cells]
    volume : float
        Water that passes, at most `high - low`. [cells]
    returning : float
        Its temperature when it comes back. [°C]

    Returns
    -------
    float
        Heat in the water that was taken. [cell·K]
    """
    taken = heat_below(temperature, scratch, min(low + volume, high)) - heat_below(temperature, scratch, low)
    first, last = int(low), min(int(np.ceil(high)), temperature.size)
    top = max(high - volume, low)
    previous = scratch.below[first]
    for j in range(first + 1, last + 1):
        x = float(j)
        if x <= low:
            heat = heat_below(temperature, scratch, x)
        elif x <= top:
            heat = heat_below(temperature, scratch, min(x + volume, high)) - taken
        elif x <= high:
            heat = heat_below(temperature, scratch, high) - taken + (x - top) * returning
        else:
            heat = heat_below(temperature, scratch, x) - taken + volume * returning
        scratch.new[j - 1] = heat - previous
        previous = heat
    for j in range(first, last):
        temperature[j] = scratch.new[j]
    return taken


@kernel
def above_level(temperature: Array, scratch: Scratch, level: float) -> tuple[float, float]:
    """Water of the cell that `level` cuts: mean above it [°C], and volume above it [cells].

    Below the level the cell holds water like that of the cell beneath; an end cell of a tank is all alike.
    """
    cell = int(level)
    below = level - cell
    here = temperature[cell]
    tank = scratch.tank[0]
    if below <= 0.0 or cell % tank == 0 or (cell + 1) % tank == 0:  # nothing to go by beyond a tank's end
        return here, 1.0 - below
    upper = (here - below * temperature[cell - 1]) / (1.0 - below)
    return max(min(upper, temperature[cell + 1]), here), 1.0 - below


@kernel
def heat_upper(temperature: Array, scratch: Scratch, level: float, heat: float, setpoint: float) -> float:
    """Heat the water above `level` [cells] towards `setpoint` °C, in place; returns the heat taken. [cell·K]

    A heater at the bottom of that part: its plume rises until it meets water as warm as itself, which is
    what pooling the inversion gives. Of tanks in series each has its own, the coldest end first: no plume
    rises out of a tank.

    The store is settled, so the pooled water is that next above the level.
    """
    tank, taken, foot = scratch.tank[0], 0.0, int(level)
    pool, volume = above_level(temperature, scratch, level)
    while foot < temperature.size and taken < heat:
        top = (foot // tank + 1) * tank
        room = volume * max(0.0, setpoint - pool)
        for i in range(foot + 1, top):
            room += max(0.0, setpoint - temperature[i])
        part = left = min(heat - taken, room)
        if part > 0.0:
            share, before, last = volume, pool, foot
            while last + 1 < top:
                needed = volume * (temperature[last + 1] - pool)
                if needed >= left:
                    break
                if needed > 0.0:
                    left -= needed
                    pool = temperature[last + 1]
                volume += 1.0
                last += 1
            pool += left / volume
            temperature[foot] += share * (pool - before)
            for i in range(foot + 1, last + 1):
                temperature[i] = pool
        taken += part
        foot = top
        if foot < temperature.size:
            pool, volume = temperature[foot], 1.0
    return taken


@kernel
def coldest_foot(temperature: Array, scratch: Scratch, level: float) -> float:
    """Coldest of the layer of one cell above `level` and of the feet of tanks in series above it. [°C]"""
    cell, tank = int(level), scratch.tank[0]
    coldest, volume = above_level(temperature, scratch, level)
    if (cell + 1) % tank != 0:
        coldest = volume * coldest + (1.0 - volume) * temperature[cell + 1]
    for foot in range((cell // tank + 1) * tank, temperature.size, tank):
        coldest = min(coldest, temperature[foot])
    return coldest


@kernel
def at_height(temperature: Array, z: float) -> float:
    """Temperature at level `z` (in cells), linear between cell centres. [°C]"""
    n = temperature.size
    x = min(max(z - 0.5, 0.0), n - 1.0)
    i = min(int(x), n - 2)
    return temperature[i] + (x - i) * (temperature[i + 1] - temperature[i])


@kernel
def level_of(temperature: Array, value: float) -> float:
    """Lowest level (in cells) at which the column is at least `value` °C; n where it is colder throughout."""
    n = temperature.size
    if temperature[0] >= value:
        return 0.0
    for i in range(1, n):
        if temperature[i] >= value:
            return i + 0.5 - (temperature[i] - value) / (temperature[i] - temperature[i - 1])
    return float(n)
