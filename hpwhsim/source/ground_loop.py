"""The ground loop hour by hour: what past heat has done to the bore wall, and what the machine then meets.

The mean wall of the bores falls in answer to each hour's heat by the field's response, and hours add up. To
keep the sum short, old hours are pooled in cells of 1, 2, 4, ... hours, a fixed number of each, as by
Claesson and Javed [1]_. There every cell hands a share of its heat on each hour, which smears ages. Here two
whole cells become one of the next size, so that every cell keeps its exact age and only the shape of the load
within it is lost: about a hundredth of the error for as many cells (see the tests).

References
----------
.. [1] J. Claesson, S. Javed, "A load-aggregation method to calculate extraction temperatures of borehole heat
   exchangers", ASHRAE Transactions 118(1), 530-539, 2012.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import OutOfRangeError
from hpwhsim.kernel import kernel
from hpwhsim.source.offer import Offer

# Cells of one size: always all of these or one less. The wall is then within 0.002 K of the exact sum in 20
# years of a fall to 23 K, and of a yearly swing of 10 K; 17 give 0.014 K there, for half of the time.
CELLS = 33


class BoreField(NamedTuple):
    """How the mean bore wall of a whole field answers to heat."""

    step: Array  # (hours + 2,) K/W, fall after 0, 1, 2, ... hours of one steady watt from the whole field
    hour_response: float  # K/W, fall at the end of an hour from heat taken in that hour: step[1]


class History(NamedTuple):
    """Heat taken in the past, in cells of 1, 2, 4, ... hours; filled by `book_hour` alone."""

    heat: Array  # (size, CELLS) W, mean over each cell, youngest first; 0 where unused
    used: NDArray[np.int64]  # (size,) cells in use
    left: NDArray[np.int64]  # (1,) hours that it still has room for


class Loop(NamedTuple):
    """From the bore wall to the fluid that the machine meets; rows are the number of running modules."""

    undisturbed: float  # °C, mean of undisturbed ground along the bores
    coldest: float  # °C, wall temperature of the first column of `resistance`
    spread: float  # K from column to column
    resistance: Array  # (modules + 1, column) K/W, wall above fluid leaving the field, per watt taken
    carried: Array  # (modules + 1,) W/K, heat capacity flow of the fluid; row 0 that of row 1
    pump: Array  # (modules + 1,) W, electricity of the circulation pump; 0 in row 0
    shared: float  # share of rejected heat that is in this fluid; 0: chillers have a circuit of their own


def make_history(field: BoreField, years: int) -> History:
    """Empty history with room for `years` years.

    Parameters
    ----------
    field : BoreField
        The field it belongs to.
    years : int
        Years to come, at least 1 and no more than the response of the field covers.

    Raises
    ------
    OutOfRangeError
        If there are no years, or more than the field covers.
    """
    most = (field.step.size - 2) // HOURS
    if not 1 <= years <= most:
        raise OutOfRangeError(f"ground loop: got {years} years, allowed 1 to {most}")
    sizes = (-(-years * HOURS // (CELLS - 1))).bit_length()  # the least for which 2^sizes - 1 of them suffice
    left = np.array([years * HOURS], dtype=np.int64)
    return History(np.zeros((sizes, CELLS)), np.zeros(sizes, dtype=np.int64), left)


@kernel
def book_hour(history: History, watts: float) -> None:
    """Add an hour to the history.

    Parameters
    ----------
    history : History
        Changed here.
    watts : float
        Mean heat taken from the field in the hour, negative if rejected. [W]

    Raises
    ------
    IndexError
        If more hours are booked than the history has room for.
    """
    if history.left[0] == 0:
        raise IndexError("the history of the bore field is full")
    history.left[0] -= 1
    last = history.heat.shape[1] - 1
    value = watts
    for size in range(history.used.size):
        cells = history.heat[size]
        filled = history.used[size]
        full = filled > last
        pooled = 0.0
        if full:  # the two oldest become one of the next size
            pooled = 0.5 * (cells[last] + cells[last - 1])
            filled = last - 1
            cells[last] = 0.0
        for i in range(filled, 0, -1):
            cells[i] = cells[i - 1]
        cells[0] = value
        history.used[size] = filled + 1
        if not full:
            return
        value = pooled


@kernel
def wall_drop(field: BoreField, history: History) -> float:
    """Fall of the mean bore wall below undisturbed ground at the end of the coming hour, by past hours alone.

    Returns
    -------
    float
        [K]; what the coming hour takes itself adds `BoreField.hour_response` times its mean heat.
    """
    drop = 0.0
    age, width = 1, 1  # hours before the end of the coming hour, hours in a cell
    younger = field.step[1]
    for size in range(history.used.size):
        for i in range(history.used[size]):
            age += width
            older = field.step[age]
            drop += history.heat[size, i] * (older - younger)
            younger = older
        width *= 2
    return drop


@kernel
def resistance_at(loop: Loop, wall: float, running: int) -> float:
    """Wall above the fluid that leaves the field, per watt taken from it, with `running` modules. [K/W]"""
    columns = loop.resistance.shape[1]
    place = min(max((wall - loop.coldest) / loop.spread, 0.0), columns - 1.0)
    left = min(int(place), columns - 2)
    ends = loop.resistance[running, left], loop.resistance[running, left + 1]
    return ends[0] + (place - left) * (ends[1] - ends[0])


@kernel
def loop_offer(loop: Loop, field: BoreField, drop: float, running: int, rejected: float) -> Offer:
    """What the machine meets while it takes heat from the loop at a steady rate.

    Parameters
    ----------
    loop : Loop
        The loop.
    field : BoreField
        Its field.
    drop : float
        From `wall_drop`. [K]
    running : int
        Running modules, 0 to all.
    rejected : float
        Heat that chillers give to the field: to this fluid, or to one of their own (`Loop.shared`). [W]

    Returns
    -------
    Offer
        Temperature of the fluid that enters the machine, by the heat that the machine takes. Machine and
        chillers draw side by side what leaves the field. The pump stands between them and the field and all
        its electricity ends in the fluid, so the field gives ``heat - loop.pump[running] - rejected``, and
        that net heat passes the bores' resistance: book that. No limits: whether the fluid may freeze is the
        caller's question, and after the machine it is ``heat / loop.carried[running]`` colder.

    Notes
    -----
    The wall is that at the end of an hour of this heat. A machine that runs for part of the hour meets one
    that is a little warmer: after half an hour of 25 W/m in rock of 2 W/mK by 0.3 K.
    """
    wall = loop.undisturbed - drop + (1.0 - loop.shared) * field.hour_response * rejected
    rejected *= loop.shared
    warmed = wall + field.hour_response * rejected
    slope = field.hour_response + resistance_at(loop, warmed, row_of(loop, running, rejected))
    return Offer(wall + slope * (loop.pump[running] + rejected), slope, -np.inf, np.inf, np.inf)


@kernel
def row_of(loop: Loop, running: int, rejected: float) -> int:
    """Row of the loop's flow: that of the running modules, and all of it while chillers reject heat."""
    return loop.carried.size - 1 if rejected > 0.0 else running


@kernel
def warmest_fluid(loop: Loop, wall: float, heat: float, standing: float, rejected: float) -> float:
    """Warmest fluid of an hour: behind the chillers, as it goes back into the field. [°C]

    Parameters
    ----------
    loop : Loop
        The loop.
    wall : float
        At the end of the hour. [°C]
    heat : float
        Mean taken from the field in the hour by machine, pump and chillers, negative if they give. [W]
    standing : float
        Share of the hour in which the machine stood: then the chillers' heat alone is in the fluid.
    rejected : float
        Of the chillers. [W]

    Notes
    -----
    Without chillers it is the wall: fluid that stands takes its temperature, and a machine cools it.
    """
    rejected *= loop.shared
    if rejected <= 0.0:
        return wall
    given = rejected if standing > 0.0 else -heat
    row = row_of(loop, 0, rejected)
    leaving = wall + given * resistance_at(loop, wall, row)
    return max(leaving, leaving + given / loop.carried[row])
