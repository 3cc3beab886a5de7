"""The performance map of one module, and its look-up inside the compiled march."""

import math
from typing import NamedTuple

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel

EDGE = 0.1  # K beyond an end of an axis that still counts as inside: rounding of units (150 degF = 65.56 °C)


class PerformanceMap(NamedTuple):
    """Capacity and power of one module at full load, on a grid of source, inlet and outlet.

    The two fields of values are NaN where the machine cannot work. An axis of length 1 is a condition that
    the machine or its test fixes: a machine of one outlet temperature has one `water_out_c`. A single
    ``NaN`` there says that the outlet follows from the inlet (a multi-pass machine adds a small rise), and
    any outlet asked for is accepted.
    """

    source_c: Array  # (n_source,) ascending [°C]
    water_in_c: Array  # (n_in,) ascending [°C]
    water_out_c: Array  # (n_out,) ascending [°C]
    capacity_w: Array  # (n_source, n_in, n_out) heat to water [W]
    power_w: Array  # (n_source, n_in, n_out) electric input [W]


@kernel
def _place(axis: Array, value: float) -> tuple[int, float, bool]:
    """Cell, share of the way through it (0 to 1), and whether `value` lies within the ends of `axis`."""
    last = axis.size - 1
    first = axis[0]
    if last == 0:
        return 0, 0.0, math.isnan(first) or abs(value - first) <= EDGE
    inside = value >= first - EDGE and value <= axis[last] + EDGE
    if not value > first:
        return 0, 0.0, inside
    if value >= axis[last]:
        return last - 1, 1.0, inside
    # right at once on a uniform axis; on another the guess walks to its cell
    cell = min(int((value - first) / (axis[last] - first) * last), last - 1)
    while value < axis[cell]:
        cell -= 1
    while value > axis[cell + 1]:
        cell += 1
    return cell, (value - axis[cell]) / (axis[cell + 1] - axis[cell]), inside


@kernel
def look_up(m: PerformanceMap, source: float, water_in: float, water_out: float) -> tuple[float, float, bool]:
    """Capacity and power of one module, linear between the points of the map.

    Parameters
    ----------
    m : PerformanceMap
        The map of one module.
    source, water_in, water_out : float
        Temperature of the source, of the water entering and of the water leaving. [°C]

    Returns
    -------
    capacity, power : float
        Heat to water and electric input at full load; NaN where the machine cannot work, which includes
        every cell with a corner where it cannot. [W]
    inside : bool
        Whether the point lies within the axes. Outside, the values are those of the nearest edge: the
        caller counts and reports it.
    """
    i, u, in_source = _place(m.source_c, source)
    j, v, in_inlet = _place(m.water_in_c, water_in)
    k, w, in_outlet = _place(m.water_out_c, water_out)
    capacity = 0.0
    power = 0.0
    for a in range(2):
        share_a = u if a == 1 else 1.0 - u
        if share_a == 0.0:  # a corner without weight is not read: it may lie beyond the axis, or be NaN
            continue
        for b in range(2):
            share_b = v if b == 1 else 1.0 - v
            if share_b == 0.0:
                continue
            for c in range(2):
                share = share_a * share_b * (w if c == 1 else 1.0 - w)
                if share == 0.0:
                    continue
                capacity += share * m.capacity_w[i + a, j + b, k + c]
                power += share * m.power_w[i + a, j + b, k + c]
    return capacity, power, in_source and in_inlet and in_outlet
