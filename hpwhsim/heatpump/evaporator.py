"""The evaporator: one conductance between the source and the refrigerant, fixed by the rating.

Source less evaporating temperature is in proportion to the heat that the evaporator takes. So a machine that
takes three times the heat from warm air as from cold needs three times the difference, and at part speed it
needs less. Source side and cycle are solved together: ``T_evap + approach q(T_evap) / q_rated = T_source``.

Heat here is per swept volume [J/m³], of which the scale of the machine is not a part; all of the
electricity but what never reaches the gas comes out of the condenser beside it.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.heatpump.cycle import solve
from hpwhsim.heatpump.machine import Cycle, Machine
from hpwhsim.heatpump.states import Condensing, Isobars

MOST_TRIES = 25
NEAR = 1e-3  # K, that close the evaporating temperature is found; the search for the best pressure has 1e-4
USUAL_GROWTH = 0.03  # 1/K, of the heat with the evaporating temperature: only the first guess of its slope


class Coil(NamedTuple):
    """Conductance of an evaporator: the rating's heat over the rating's approach."""

    approach_k: float  # source less evaporating temperature at the rating, K
    heat: float  # that it takes there per swept volume, J/m³


def taken(machine: Machine, cycle: Cycle) -> Array:
    """Heat that the refrigerant takes from the source, per swept volume. [J/m³]"""
    return np.asarray(cycle.volumetric * (1.0 - machine.compressor.gas_share / cycle.cop))


def coil_at(machine: Machine, high_side: Isobars | Condensing, rating: tuple[float, float, float]) -> Coil:
    """The evaporator of a machine whose `approach_k` is meant at a rated point (source, inlet, outlet)."""
    return Coil(machine.approach_k, float(taken(machine, solve(machine, high_side, *rating))[0]))


def solve_with_coil(
    machine: Machine,
    high_side: Isobars | Condensing,
    coil: Coil,
    source_c: ArrayLike,
    water_in_c: ArrayLike,
    water_out_c: ArrayLike,
    speed: ArrayLike = 1.0,
) -> tuple[Cycle, Array]:
    """Solve source side and cycle together for every condition.

    Parameters
    ----------
    machine, high_side
        As for `cycle.solve`; the machine's own approach is not read.
    coil : Coil
        Its evaporator.
    source_c, water_in_c, water_out_c, speed : array_like, shapes that broadcast to (n,)
        Temperature of the source, of the water entering and leaving [°C], and share of full speed.

    Returns
    -------
    cycle, evaporating_c : Cycle, ndarray of shape (n,)
        NaN where the machine cannot work.
    """
    source, water_in, water_out, share = (
        np.array(x, dtype=np.float64).ravel()
        for x in np.broadcast_arrays(source_c, water_in_c, water_out_c, speed)
    )
    highest = machine.limits.highest_evaporating_c
    per_heat = share * coil.approach_k / coil.heat
    evaporating = np.minimum(source - share * coil.approach_k, highest)
    slope = 1.0 + USUAL_GROWTH * share * coil.approach_k
    before = gap_before = np.full(source.size, np.nan)
    open_ = np.ones(source.size, dtype=bool)
    fields = np.full((len(Cycle._fields), source.size), np.nan)
    for _ in range(MOST_TRIES):
        fields[:, open_] = solve(
            machine, high_side, evaporating[open_], water_in[open_], water_out[open_], approach_k=0.0
        )
        gap = evaporating + per_heat * taken(machine, Cycle(*fields)) - source
        held = (evaporating >= highest) & (gap <= 0.0)  # a valve keeps it there
        open_ = ~(held | (np.abs(gap) <= NEAR))
        if not open_.any():
            break
        with np.errstate(divide="ignore", invalid="ignore"):  # of what has settled
            found = (gap - gap_before) / (evaporating - before)
        slope = np.where(np.isfinite(found) & (found >= 1.0), found, slope)
        before, gap_before = evaporating, gap
        step = np.where(np.isfinite(gap), -gap / slope, 0.5 * (source - evaporating))  # too cold to work
        evaporating = np.where(open_, np.minimum(evaporating + step, highest), evaporating)
    fields[:, open_] = np.nan
    return Cycle(*fields), np.where(np.isfinite(fields[0]), evaporating, np.nan)


def by_source(
    source_c: Array, evaporating_c: Array, at: tuple[Array, Array], heat: Array, coil: Coil
) -> tuple[Array, Array]:
    """Values over the evaporating temperature, as values over the temperature of the source.

    Parameters
    ----------
    source_c : ndarray, shape (n_source,)
        Source temperatures that are asked for, ascending. [°C]
    evaporating_c : ndarray, shape (n_evaporating,)
        Ascending; the last is the highest at which the machine works: a warmer source changes nothing. [°C]
    at : two ndarray, shape (n_evaporating, ...)
        Values there, NaN where the machine cannot work.
    heat : ndarray, of that shape
        Taken from the source per swept volume. [J/m³]
    coil : Coil
        The evaporator.

    Returns
    -------
    two ndarray, shape (n_source, ...)
        NaN where a neighbour of the source's temperature is.
    """
    met = evaporating_c.reshape(-1, *(1,) * (heat.ndim - 1)) + coil.approach_k / coil.heat * heat
    rest = heat.shape[1:]
    found = np.full((2, source_c.size, *rest), np.nan)
    for place in np.ndindex(*rest):
        column = (slice(None), *place)
        works = np.flatnonzero(np.isfinite(met[column]))
        if works.size == 0:
            continue
        axis = met[column][works]
        cell = np.clip(np.searchsorted(axis, source_c, side="right") - 1, 0, works.size - 1)
        after = np.minimum(cell + 1, works.size - 1)
        inside = (source_c >= axis[0]) & ((works[after] - works[cell] == 1) | (source_c <= axis[cell]))
        if works[-1] == evaporating_c.size - 1:
            inside |= source_c >= axis[-1]
        for k, values in enumerate(at):
            found[(k, *column)] = np.where(inside, np.interp(source_c, axis, values[column][works]), np.nan)
    return found[0], found[1]
