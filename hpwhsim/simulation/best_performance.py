"""The best that a machine does at any water it may meet: capacity, electricity over heat, lines below it."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Ints
from hpwhsim.heatpump.maps import PerformanceMap


class Performance(NamedTuple):
    """Of one module, each (hour, inlet)."""

    capacity: Array  # heat to water; 0 where it cannot work, W
    per_heat: Array  # electricity over heat; inf where it cannot work


def over_inlets(
    machine: PerformanceMap,
    source_c: ArrayLike,
    inlet_c: ArrayLike,
    water_out_c: float | None = None,
    *,
    colder: bool = False,
) -> Performance:
    """Performance at each source temperature and inlet; the best over every outlet where none is given.

    Between the points of the map both capacity and power are linear along each axis and their ratio goes one
    way, so that the best lies at a point of the map or at an end. Outside the map the values are those of its
    edge, as in the march.

    Parameters
    ----------
    machine : PerformanceMap
        The map of one module.
    source_c : array_like of float, shape (hour,)
        Source temperature. [°C]
    inlet_c : array_like of float, shape (inlet,)
        Water entering. [°C]
    water_out_c : float, optional
        Outlet temperature of a single-pass machine. [°C]
    colder : bool
        Give the best at this source temperature and at every colder one.
    """
    source = np.asarray(source_c, dtype=np.float64)
    inlet = np.asarray(inlet_c, dtype=np.float64)
    fields = []
    for field in (machine.capacity_w, machine.power_w):  # (source, inlet, outlet)
        if water_out_c is not None and machine.water_out_c.size > 1:
            cell, share = _place(machine.water_out_c, np.array([water_out_c]))
            field = _between(field[:, :, cell], field[:, :, cell + 1], share)
        if machine.water_in_c.size > 1:
            cell, share = _place(machine.water_in_c, inlet)
            field = _between(field[:, cell], field[:, cell + 1], share[:, None])
        fields.append(np.broadcast_to(field, (field.shape[0], inlet.size, field.shape[2])))
    if machine.source_c.size == 1:
        one = _best(*fields)
        return Performance(*(np.broadcast_to(v, (source.size, inlet.size)) for v in one))
    cell, share = _place(machine.source_c, source)
    found = _best(*(_between(f[cell], f[cell + 1], share[:, None, None]) for f in fields))
    if not colder:
        return found
    knots = _best(*fields)
    reached = (source > machine.source_c[0])[:, None]
    most = np.maximum.accumulate(knots.capacity, axis=0)[cell]
    least = np.minimum.accumulate(knots.per_heat, axis=0)[cell]
    return Performance(
        np.where(reached, np.maximum(found.capacity, most), found.capacity),
        np.where(reached, np.minimum(found.per_heat, least), found.per_heat),
    )


def _best(capacity: Array, power: Array) -> Performance:
    """Best over the last axis, the outlet."""
    works = np.isfinite(capacity) & np.isfinite(power) & (capacity > 0.0)
    ratio = np.divide(power, capacity, out=np.full(capacity.shape, np.inf), where=works)
    return Performance(np.where(works, capacity, 0.0).max(axis=-1), ratio.min(axis=-1))


def line_below(points: tuple[Array, Array], at: Array) -> tuple[Array, Array]:
    """A line under all points of each hour that is as high as can be at one place, and does not fall.

    Parameters
    ----------
    points : tuple of two ndarray
        Abscissa, shape (point,), ascending; ordinate, shape (hour, point), inf where there is none.
    at : ndarray, shape (hour,)
        Where the line shall be high.

    Returns
    -------
    level, slope : ndarray, shape (hour,)
        Of ``level + slope * abscissa``; 0 and 0 where an hour has no point.
    """
    x, y = points
    y = np.where(np.isfinite(y), y, np.nan)
    order = np.argsort(at)  # so that the hours over which a chord lies stand in one piece
    place, columns = at[order], np.ascontiguousarray(y[order].T)
    first, past = np.searchsorted(place, x, side="left"), np.searchsorted(place, x, side="right")
    best, steep = np.full(at.size, np.inf), np.zeros(at.size)
    for i in range(x.size):  # chords from point i over `at`
        for j in range(i + 1, x.size):
            over = slice(first[i], past[j])
            if x[j] == x[i] or first[i] >= past[j]:
                continue
            rise = (columns[j, over] - columns[i, over]) / (x[j] - x[i])
            height = columns[i, over] + rise * (place[over] - x[i])
            lower = height < best[over]
            np.copyto(best[over], height, where=lower)
            np.copyto(steep[over], rise, where=lower)
    slope = np.empty(at.size)
    slope[order] = steep
    slope = np.maximum(slope, 0.0)
    level = np.where(np.isnan(y), np.inf, y - slope[:, None] * x).min(axis=1)
    none = ~np.isfinite(level)
    return np.where(none, 0.0, level), np.where(none, 0.0, slope)


def along(field: Array, axis: int, knots: Array, at: Array) -> Array:
    """A field at other places on one of its axes: linear between `knots`, held at their ends."""
    cell, share = _place(knots, at)
    shape = [1] * field.ndim
    shape[axis] = at.size
    return _between(field.take(cell, axis), field.take(cell + 1, axis), share.reshape(shape))


def _between(low: Array, high: Array, share: Array) -> Array:
    """Linear between two values; a NaN without weight does not count."""
    middle = (1.0 - share) * low + share * high
    return np.asarray(np.where(share == 0.0, low, np.where(share == 1.0, high, middle)))


def _place(knots: Array, at: Array) -> tuple[Ints, Array]:
    """Cell of each value on an axis, and the share of the way through it, held at the ends."""
    cell = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, knots.size - 2)
    return cell, np.clip((at - knots[cell]) / np.diff(knots)[cell], 0.0, 1.0)
