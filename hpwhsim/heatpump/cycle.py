"""The single-stage vapour-compression cycle that heats water, for many conditions at once."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.heatpump.condenser import solve_condenser
from hpwhsim.heatpump.gas_cooler import solve_gas_cooler
from hpwhsim.heatpump.machine import Cycle, Machine
from hpwhsim.heatpump.refrigerants import Refrigerant
from hpwhsim.heatpump.states import (
    COLDEST_DEW,
    COLDEST_MIDDLE,
    Condensing,
    Fluid,
    Isobars,
    Suction,
    condensing_rows,
    suction,
    supercritical_isobars,
)

CHUNK = 512  # conditions solved together: bounds the memory
LOWEST_ISOBAR = 1.0166  # of the critical pressure: 75 bar for R-744
TRANSCRITICAL_BELOW = (
    45.0  # °C: below this critical temperature the machine works above the critical pressure
)


def sample(machine: Machine) -> Isobars | Condensing:
    """High side of the refrigerant of `machine`, above or below its critical pressure as it works.

    Kept: machines of a study have it in common. Not to be written to.
    """
    refrigerant = machine.refrigerant
    if refrigerant.critical_c > TRANSCRITICAL_BELOW:
        return _condensing(refrigerant, COLDEST_MIDDLE if machine.injection else COLDEST_DEW)
    return _supercritical(refrigerant, machine.limits.high_pressure)


@lru_cache(maxsize=8)
def _condensing(refrigerant: Refrigerant, coldest: float) -> Condensing:
    return condensing_rows(Fluid(refrigerant), coldest)


@lru_cache(maxsize=4)
def _supercritical(refrigerant: Refrigerant, highest: float) -> Isobars:
    return supercritical_isobars(Fluid(refrigerant), LOWEST_ISOBAR * refrigerant.critical_pressure, highest)


def solve(
    machine: Machine,
    high_side: Isobars | Condensing,
    source_c: ArrayLike,
    water_in_c: ArrayLike,
    water_out_c: ArrayLike,
    scale: ArrayLike | None = None,
    *,
    approach_k: ArrayLike | None = None,
    pinch_k: ArrayLike | None = None,
    deepest_k: ArrayLike | None = None,
) -> Cycle:
    """Solve the cycle for every condition.

    Parameters
    ----------
    machine : Machine
        Its refrigerant, compressor, approach, pinch and limits.
    high_side : Isobars or Condensing
        From `sample` for the same refrigerant; made once for many calls.
    source_c, water_in_c, water_out_c : array_like, shapes that broadcast to (n,)
        Temperature of the source, of the water entering and leaving. [°C]
    scale : array_like, optional
        Scale of isentropic efficiency by condition, in place of the machine's.
    approach_k, pinch_k, deepest_k : array_like, optional
        Approach, pinch and deepest subcooling by condition, in place of the machine's. [K]

    Returns
    -------
    Cycle
        NaN where the machine cannot work.
    """
    limits = machine.limits
    source, water_in, water_out, factor, approach, pinch, deepest = (
        np.array(x, dtype=np.float64).ravel()
        for x in np.broadcast_arrays(
            source_c,
            water_in_c,
            water_out_c,
            machine.compressor.scale if scale is None else scale,
            machine.approach_k if approach_k is None else approach_k,
            machine.pinch_k if pinch_k is None else pinch_k,
            machine.deepest_subcooling_k if deepest_k is None else deepest_k,
        )
    )
    evaporating = np.minimum(source - approach, limits.highest_evaporating_c)
    works = (evaporating >= limits.lowest_evaporating_c) & (water_out > water_in)
    if limits.highest_inlet_c is not None:
        works &= water_in <= limits.highest_inlet_c
    n = source.size
    found = np.full((len(Cycle._fields), n), np.nan)
    where = np.flatnonzero(works)
    if where.size:
        gas = suction(Fluid(machine.refrigerant), evaporating[where], machine.superheat_k)
        warmed, left, factor, pinch = water_in[where], water_out[where], factor[where], pinch[where]
        if isinstance(high_side, Isobars):
            found[:, where] = solve_gas_cooler(machine, high_side, gas, warmed, left, factor, pinch)
        else:
            deepest = deepest[where]
            for start in range(0, where.size, CHUNK):
                of = slice(start, start + CHUNK)
                some, water = Suction(*(x[of] for x in gas)), (warmed[of], left[of])
                found[:, where[of]] = solve_condenser(
                    machine, high_side, some, *water, factor[of], pinch[of], deepest[of]
                )
    return Cycle(*found)
