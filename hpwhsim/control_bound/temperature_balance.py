"""The second balance of a store: heat counted by how warm the water is that takes or gives it.

The first law lets a linear program make all heat at the coldest inlet. A store cannot: taps take their heat
at hot water, and water that has mixed does not part again. Count each litre by a convex function ``f`` of
its temperature, least at the room's: its slope ``f'(t) = min(t, cap) - room`` says what heat counts at
``t``, as exergy does. The sum G over the store and a tank of the loop [K·kWh] changes as follows; each line
is on the safe side of a bound.

* Mixing, conduction, plumes, stirred inlets, and the mixing of water on its way only lower G (Jensen): they
  are left out. This holds for water that flows as a plug and mixes. The march cuts the column into cells
  after each step, from limited parabolas; these keep its heat and its range, but no theorem says that they
  never make G grow by a little. Tests look for it.
* *Losses* go from warmer to colder and lower G too. Where the room's air is not always the same, its coldest
  is meant above; then they may add up to ``UA (span / 2)^2``, the most of ``UA (t_air - t) (t - t_coldest
  air)``.
* *Taps* take heat ``d`` in water ``V``: G falls by at least ``V (f(m + d/V) - f(m))``, mains at ``m``. That
  grows with d, and falls with V (f is convex), so V is at its most, what the valve passes.
* The *loop* takes heat between its supply and its return (2 K are given for what a minute's draw cools the
  top). What it takes says how warm its supply was on the mean of the hour; from hour to minute that holds by
  the convex hull of grade over heat.
* *Single pass*: water goes from the inlet to the outlet; G grows by the mean slope of f between the two,
  times the heat. *Multi-pass*: between the inlet and one rise above it. *Wrapped*: each cell gains in
  proportion to what it lacks, and the map is read at the mean of the cells weighted by just that, so that G
  grows at most by ``f'`` there (f' is concave), and by half of what a minute's heat warms the cells that
  lack most: those that inflow stirs, and which are alike.
* The *backup* heats to its setpoint, the heater of the loop's tank to its own; a series heater spares the
  store its hottest part, ``f'(m + d/V)``.
* What defrosts draw back lowers G where it is warmer than the room, which is left out; where a machine gives
  its heat to colder water, it is drawn from the coldest.

Electricity over heat is held from below by one straight line over G per heat in each hour. Any line below
the map will do; the one taken is high where the day's demand lies (`best_performance.line_below`). With a
cap near the warmest mains G counts cold water, and holds single-pass machines to what the mains bring;
others need no cap. That water which the loop has cooled must be heated again does not follow: taps may take
it.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.constants import JOULE_PER_KWH
from hpwhsim.plant.arrays import Plant, WaterSide
from hpwhsim.plant.events import MINUTE
from hpwhsim.simulation.best_performance import Performance, line_below
from hpwhsim.storage.layers import RHO_CP

TOP_FALLS = 2.0  # K by which a draw in one part of a step may cool the water that the loop gets
ABOVE_MAINS = 5.0  # K of a single-pass machine's cap above the warmest mains
LOOP_POINTS = 200  # temperatures at which what the loop takes is looked at
CHORD = 1e-4  # by which a chord between two of them may lie above
Between = tuple[float, float]


class Scale(NamedTuple):
    """What a litre counts, by its temperature."""

    room: float  # °C
    cap: float  # at least that of the room, °C

    def worth(self, celsius: ArrayLike) -> Array:
        """``f``, 0 at the room's temperature [K²]."""
        at = np.asarray(celsius, dtype=np.float64)
        below = np.minimum(at, self.cap) - self.room
        return np.asarray(0.5 * below**2 + (self.cap - self.room) * np.maximum(at - self.cap, 0.0))

    def slope(self, celsius: ArrayLike) -> Array:
        """``f'`` [K]."""
        return np.asarray(np.minimum(np.asarray(celsius, dtype=np.float64), self.cap) - self.room)

    def between(self, low: ArrayLike, high: ArrayLike) -> Array:
        """Mean slope of f from `low` to `high` [K]."""
        span = np.asarray(np.subtract(high, low), dtype=np.float64)
        thin = np.abs(span) < 1e-6
        rise = self.worth(high) - self.worth(low)
        return np.where(thin, self.slope(low), rise / np.where(thin, 1.0, span))


class Bought(NamedTuple):
    """Electricity of the heat pump in two parts, each (hour,) unless said."""

    per_heat: Array  # over heat, at the coldest water
    least: float  # grade over heat there, K
    further: float  # grade at most beside it, over heat, K
    per_grade: Array  # electricity over that further grade, 1/K


def make_scale(plant: Plant, room: float, warmest_mains: float, hottest: float) -> Scale:
    """The scale that suits the machine; all in °C."""
    if plant.water_side != WaterSide.SINGLE:
        return Scale(min(room, hottest), hottest)
    cap = min(warmest_mains + ABOVE_MAINS, hottest)
    return Scale(min(room, cap), cap)


def of_machine(scale: Scale, plant: Plant, inlet: Array, outlet: float, capacity: float) -> Array:
    """Grade over heat that the machine gives at most, by its inlet. [K].

    Parameters
    ----------
    scale, plant
        The scale and the plant.
    inlet : ndarray
        Water at the machine, of a wrapped condenser its mean. [°C]
    outlet : float
        Hottest water that it makes. [°C]
    capacity : float
        Most heat of all modules. [W]
    """
    if plant.water_side == WaterSide.SINGLE:
        return scale.between(inlet, max(outlet, float(inlet[-1])))
    if plant.water_side == WaterSide.MULTI:
        return scale.between(inlet, inlet + plant.rise)
    heated = max(min(plant.column.stirred, plant.condenser_top), 0.02 * plant.column.volume)
    return scale.slope(inlet) + 0.5 * capacity * MINUTE / (RHO_CP * heated)


def bought(found: Performance, grade: Array, at: Array) -> Bought:
    """Electricity held from below by a line over the grade per heat.

    Parameters
    ----------
    found : Performance
        By hour and inlet, inlets ascending.
    grade : ndarray, shape (inlet,)
        From `of_machine`.
    at : ndarray, shape (hour,)
        Grade over heat where the line shall be high. [K]
    """
    # between two inlets the machine is no better than at the better, and gives no more than at the warmer
    least = np.minimum(found.per_heat[:, :-1], found.per_heat[:, 1:])
    level, slope = line_below((grade[1:], least), np.clip(at, grade[1], grade[-1]))
    flat = level + slope * grade[0] < 0.0
    lowest = found.per_heat.min(axis=1)
    level = np.where(flat, np.where(np.isfinite(lowest), lowest, 0.0), level)
    slope = np.where(flat, 0.0, slope)
    return Bought(level + slope * grade[0], float(grade[0]), float(grade[-1] - grade[0]), slope)


def of_taps(scale: Scale, heat: Array, volume: Array, mains: Array) -> tuple[Array, Array]:
    """Grade that the taps take at the least [K·kWh], and its slope over their heat [K].

    Parameters
    ----------
    scale : Scale
        The scale.
    heat : ndarray, shape (hour,)
        To the taps. [kWh]
    volume : ndarray, shape (hour,)
        Most water that they may draw from the plant. [m³]
    mains : ndarray, shape (hour,)
        Cold water. [°C]
    """
    kelvin = RHO_CP * volume / JOULE_PER_KWH
    top = mains + np.divide(heat, kelvin, out=np.zeros(heat.size), where=kelvin > 0.0)
    return kelvin * (scale.worth(top) - scale.worth(mains)), scale.slope(top)


def of_loop(scale: Scale, heat: Array, full: Array, back: Array, plant: Plant, water: Between) -> Array:
    """Grade that the loop takes at the least, (hour,). [K·kWh].

    Parameters
    ----------
    scale : Scale
        The scale.
    heat, full : ndarray, shape (hour,)
        To the loop, and what it loses at its own supply. [kWh]
    back : ndarray, shape (hour,)
        Its return there. [°C]
    plant : Plant
        The plant; its loop's supply, limit and air are read.
    water : tuple of two floats
        Coldest and hottest in the plant. [°C]
    """
    coldest, hottest = water
    around, span = plant.loop_ambient, plant.loop_supply - plant.loop_ambient
    hot = max(min(hottest, plant.loop_limit), coldest)
    reach = np.linspace(max(coldest - around, 0.0), max(hot - around, 0.0), LOOP_POINTS) / span
    demand = np.zeros(heat.size)
    for watts, returns in {(float(w), float(b)) for w, b in zip(full, back, strict=True)}:
        if watts <= 0.0:
            continue
        supply = around + reach * span - TOP_FALLS
        fall = np.maximum((plant.loop_supply - returns) * reach, 2.0)
        slope = scale.between(np.maximum(supply - fall, coldest), np.maximum(supply, coldest))
        at, least = _hull(watts * reach, watts * reach * np.maximum(slope, 0.0))
        here = (full == watts) & (back == returns)
        demand[here] = (1.0 - CHORD) * np.interp(heat[here], at, least)
    return demand


def _hull(x: Array, y: Array) -> tuple[Array, Array]:
    """Corners of the lower convex hull of points with rising `x`."""
    kept: list[int] = []
    for i in range(x.size):
        while len(kept) > 1:
            a, b = kept[-2], kept[-1]
            if (y[b] - y[a]) * (x[i] - x[a]) < (y[i] - y[a]) * (x[b] - x[a]):
                break
            kept.pop()
        kept.append(i)
    return x[kept], y[kept]
