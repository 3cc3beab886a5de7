"""The bound: the best that any charging control could do in the same year, with every hour known in advance.

A linear program over a plant reduced to heat by the hour. It is solved to its optimum and is a bound because
each simplification lets it do at least what the march can do with the same store:

* The store is one amount of heat, all of it usable. A real column must be hot at its top to serve, keeps
  lukewarm water that serves nobody, and mixes.
* Heat is counted above the coldest water of the year, and the store holds all that its volume holds at the
  hottest water ever made, so that no state of the column lies outside. (It never runs below the coldest water
  that it may still hold: ``least`` says so where the mains are warmer than at their coldest.)
* In each hour the machine has the greatest capacity and the best performance that it has at any inlet it may
  meet. A real machine meets warmer water as the charge ends.
* It starts, stops and modulates at no cost: no minimum times, dead bands, stages, losses at starts.
* Inside the hour everything falls well: the draw comes first and the charge last, so that the store loses
  least. Two limits hold what it has at the hour's end: loss on all that is left after the draw, as if the
  charge came at the very end; and no loss at all, for what passes straight through. Heat may be thrown away.
* A demand charge is put on the mean of an hour; a meter takes shorter means, which are higher.

It is loose where a machine minds warm inlets and a loop sends warm water back: here all heat is made at the
coldest inlet, as if the water that the loop has cooled went on to the taps.

The caller keeps it a bound by giving, for each hour,

* as ``demand`` the heat that taps and loop received from the controls that are compared, no more. A control
  that runs short delivers less: compare it only with what it delivered;
* as ``capacity`` and ``per_heat`` the best of the machine (`best_of_map`) at that hour's source, as warm as
  if no heat had been taken from it (room, ground, sewage), times modules and what frost leaves, with fans and
  pumps at their least per heat; where speed varies, at the warmer source that stands for the lowest speed.
  Capacity 0 is for hours that no control may use (the source is too cold, a utility's bar), not for windows
  of the user's schedule. Standby power is left out of it, and of what is compared;
* as ``storage`` C x (hottest - coldest of the year), with C the heat capacity of the store and the hottest of
  outlet, setpoint and backup setpoint; as ``least`` 0, or C x (coldest that may be there - coldest of the
  year);
* as ``loss_share`` 1 - exp(-UA x 1 h / C), as ``loss_constant`` -``loss_share`` x C x (room - coldest of the
  year): exact for a uniform loss, a gain where the store is colder than its room;
* as ``ends`` the store at the start and the end of the run that is compared. A cyclic year bounds only years
  that end as they began.
"""

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.errors import OutOfRangeError
from hpwhsim.heatpump.maps import PerformanceMap

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

NOTHING = 1e-9  # of the baseline: a saving below it is rounding


class ReducedPlant(NamedTuple):
    """A plant reduced to heat by the hour; what is said to be (hour,) may be one number."""

    demand: Array  # (hour,) heat to taps and loop, kWh
    capacity: Array | float  # (hour,) most heat of the heat pump; 0 where it cannot run, kWh
    per_heat: Array | float  # (hour,) electricity over heat of the heat pump; not read where capacity is 0
    storage: float  # most heat in the store, kWh
    least: Array | float = 0.0  # (hour,) least heat in the store after each hour, kWh
    backup: Array | float = 0.0  # (hour,) most heat of the backup, kWh
    backup_per_heat: float = 1.0  # energy bought over heat of the backup
    loss_share: float = 0.0  # of the stored heat, lost in an hour
    loss_constant: float = 0.0  # lost in an hour beside it; negative: gained, kWh
    ends: tuple[float, float] | None = None  # stored at the start, and at least at the end, kWh; None: cyclic


class Schedule(NamedTuple):
    """The best schedule; numbers and arrays are NaN where none was found."""

    converged: bool  # whether this is the optimum
    message: str  # why not
    iterations: int
    objective: float  # of the schedule, unit of the signal times kWh, plus the demand charge
    bound: float  # proved by the dual prices: no schedule of the reduced plant is below it
    heat_pump_heat: Array  # (hour,) kWh
    backup_heat: Array  # (hour,) kWh
    electricity: Array  # (hour,) an electric backup's included, kWh
    stored: Array  # (hour + 1,) at the start and after each hour, kWh
    heat_value: Array  # (hour,) what a further kWh of demand would add to the objective, per kWh


def best_schedule(
    plant: ReducedPlant,
    signal: ArrayLike,
    *,
    fuel_signal: ArrayLike | None = None,
    demand_charge: float = 0.0,
    period: ArrayLike | None = None,
) -> Schedule:
    """Charging schedule of least cost under perfect foresight.

    With heat ``q`` of the heat pump, ``b`` of the backup, demand ``d`` and the store ``s`` after each hour::

        s[t] <= (1 - loss_share) (s[t-1] - d[t]) + q[t] + b[t] - loss_constant
        s[t] <= s[t-1] - d[t] + q[t] + b[t] - loss_constant
        least <= s <= storage,  0 <= q <= capacity,  0 <= b <= backup

    A gain (negative ``loss_constant``) is raised in the second line to that of an hour that starts and stays
    at the coldest water.

    Parameters
    ----------
    plant : ReducedPlant
        The plant; see the module for what keeps the result a bound.
    signal : array_like of float, one number or shape (hour,)
        Price, carbon or any other weight of electricity. 1 makes the objective the electricity. [per kWh]
    fuel_signal : array_like of float, one number or shape (hour,), optional
        The same of the backup's fuel; without it the backup is electric. [per kWh]
    demand_charge : float
        On the highest hourly mean of electric power in each billing period. [per kW]
    period : array_like of int, shape (hour,), optional
        Billing period of each hour, from 0 on, such as its month; without it the record is one.

    Returns
    -------
    Schedule
        `converged` is False where the plant cannot serve the demand or the solver fails; `message` says why.

    Raises
    ------
    OutOfRangeError
        If a value is not finite, negative where it must not be, or the shapes do not fit.

    Notes
    -----
    Solved by the dual simplex method of HiGHS. Some 26,000 variables of a year take below one second,
    two with a demand charge.

    Examples
    --------
    Two hours, the second dear: all is made in the first, at COP 2.

    >>> plant = ReducedPlant(np.array([0.0, 4.0]), capacity=5.0, per_heat=0.5, storage=10.0, ends=(0.0, 0.0))
    >>> best = best_schedule(plant, [0.1, 0.3])
    >>> best.heat_pump_heat.tolist(), round(best.objective, 9)
    ([4.0, 0.0], 0.2)
    """
    from scipy.optimize import linprog

    plant, weights, fuel = _checked(plant, signal, fuel_signal)
    periods, billed = _periods(period, plant.demand.size, demand_charge)
    hours, electric = plant.demand.size, float(fuel_signal is None)
    draw = np.asarray(plant.per_heat), electric * plant.backup_per_heat  # electricity over heat
    cost = np.concatenate(
        (
            weights * plant.per_heat,
            fuel * plant.backup_per_heat,
            np.zeros(hours + 1),
            np.full(billed, demand_charge),
        )
    )
    matrix, right = _rows(plant, draw, periods, billed)
    low, high = np.zeros(cost.size), np.full(cost.size, plant.storage)
    high[:hours], high[hours : 2 * hours] = plant.capacity, plant.backup
    high[3 * hours + 1 :] = np.max(plant.capacity * draw[0] + plant.backup * draw[1], initial=0.0)
    low[2 * hours + 1 : 3 * hours + 1] = plant.least
    if plant.ends is not None:
        low[2 * hours] = high[2 * hours] = plant.ends[0]
        low[3 * hours] = max(low[3 * hours], plant.ends[1])
    limits: Any = matrix  # the library's types know neither sparse rows
    bounds: Any = np.column_stack((low, high))  # nor an array of bounds
    found = linprog(cost, A_ub=limits, b_ub=right, bounds=bounds, method="highs-ds")
    if found.status != 0 or found.x is None or found.fun is None:
        nan = np.full(hours, np.nan)
        message = _first_failure(plant) if found.status == 2 else str(found.message)
        none = np.full(hours + 1, np.nan)
        return Schedule(False, message, int(found.nit), np.nan, np.nan, nan, nan, nan, none, nan)
    # any prices of the limits prove a bound; those at the optimum prove the optimum
    price = np.minimum(found.ineqlin.marginals, 0.0)
    reduced = cost - matrix.T @ price
    bound = price @ right + np.maximum(reduced, 0.0) @ low + np.minimum(reduced, 0.0) @ high
    heat, backup, stored, _ = np.split(found.x, (hours, 2 * hours, 3 * hours + 1))
    return Schedule(
        converged=True,
        message="",
        iterations=int(found.nit),
        objective=float(found.fun),
        bound=float(bound),
        heat_pump_heat=heat,
        backup_heat=backup,
        electricity=heat * draw[0] + backup * draw[1],
        stored=stored,
        heat_value=-((1.0 - plant.loss_share) * price[:hours] + price[hours : 2 * hours]),
    )


def share_of_saving(baseline: float, control: float, bound: float) -> float | None:
    """Share of the possible saving that a control makes: (baseline - control) / (baseline - bound).

    Parameters
    ----------
    baseline, control, bound : float
        The same year's objective without the control, with it, and at its bound.

    Returns
    -------
    float or None
        1 at the bound, 0 at the baseline, below 0 where the control costs more. Above 1 tells that the bound
        was not one: the three do not belong to one plant and demand. None where there is nothing to save.

    Raises
    ------
    OutOfRangeError
        If a value is not finite.

    Examples
    --------
    >>> share_of_saving(100.0, 90.0, 80.0), share_of_saving(100.0, 90.0, 100.0)
    (0.5, None)
    """
    for name, value in (("baseline", baseline), ("control", control), ("bound", bound)):
        if not np.isfinite(value):
            raise OutOfRangeError(f"{name}: got {value}; allowed a finite number")
    possible = baseline - bound
    return (baseline - control) / possible if possible > NOTHING * abs(baseline) else None


def best_of_map(
    machine: PerformanceMap, source_c: ArrayLike, coldest_c: ArrayLike, water_out_c: float | None = None
) -> tuple[Array, Array]:
    """Greatest capacity and least electricity per heat of one module at each source temperature.

    Over every inlet from the coldest up, and over every outlet where none is given. Between the points of the
    map both capacity and power are linear, so that the best of either lies at a point of the map or at the
    coldest inlet. Outside the map the values are those of its edge, as in the march.

    Parameters
    ----------
    machine : PerformanceMap
        The map of one module.
    source_c : array_like of float, shape (hour,)
        Source temperature. [°C]
    coldest_c : array_like of float, one number or shape (hour,)
        Coldest water that may reach the machine: the lowest mains since the oldest water in the store. [°C]
    water_out_c : float, optional
        Outlet temperature of a single-pass machine. [°C]

    Returns
    -------
    capacity, per_heat : ndarray of float64, shape (hour,)
        Heat to water [W] and electricity over heat; 0 and 0 where the machine works at no inlet.
    """
    source = np.asarray(source_c, dtype=np.float64)
    coldest = np.broadcast_to(np.asarray(coldest_c, dtype=np.float64), source.shape)
    reached = machine.water_in_c > coldest[:, None]
    values = []
    for field in (machine.capacity_w, machine.power_w):  # (source, inlet, outlet)
        if water_out_c is not None and machine.water_out_c.size > 1:
            cell, share = _place(machine.water_out_c, np.array([water_out_c]))
            field = _between(field[:, :, cell], field[:, :, cell + 1], share)
        if machine.source_c.size > 1:
            cell, share = _place(machine.source_c, source)
            field = _between(field[cell], field[cell + 1], share[:, None, None])
        field = np.broadcast_to(field, (source.size, *field.shape[1:]))  # (hour, inlet, outlet)
        if machine.water_in_c.size > 1:
            cell, share = _place(machine.water_in_c, coldest)
            hour = np.arange(source.size)
            first = _between(field[hour, cell], field[hour, cell + 1], share[:, None])
            field = np.where(reached[:, :, None], field, np.nan)
            field = np.concatenate((first[:, None], field), axis=1)
        values.append(field.reshape(source.size, -1))
    capacity, power = values
    works = np.isfinite(capacity) & np.isfinite(power) & (capacity > 0.0)
    ratio = np.divide(power, capacity, out=np.full(capacity.shape, np.inf), where=works)
    some = works.any(axis=1)
    return np.where(works, capacity, 0.0).max(axis=1), np.where(some, ratio.min(axis=1), 0.0)


def _between(low: Array, high: Array, share: Array) -> Array:
    """Linear between two values; a NaN without weight does not count."""
    middle = (1.0 - share) * low + share * high
    return np.asarray(np.where(share == 0.0, low, np.where(share == 1.0, high, middle)))


def _place(knots: Array, at: Array) -> tuple[Ints, Array]:
    """Cell of each value on an axis, and the share of the way through it, held at the ends."""
    cell = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, knots.size - 2)
    return cell, np.clip((at - knots[cell]) / np.diff(knots)[cell], 0.0, 1.0)


def _most_gain(plant: ReducedPlant) -> float:
    """Constant of the second limit: the loss of an hour at the coldest water. [kWh]."""
    if plant.loss_constant >= 0.0 or plant.loss_share == 0.0:
        return plant.loss_constant
    return plant.loss_constant * -float(np.log1p(-plant.loss_share)) / plant.loss_share


def _rows(
    plant: ReducedPlant, draw: tuple[Array, float], periods: Ints, billed: int
) -> tuple["csr_array", Array]:
    """Rows ``matrix @ x <= right`` over x = (heat pump, backup, store, peaks)."""
    from scipy.sparse import coo_array, csr_array, vstack

    hours, keep = plant.demand.size, 1.0 - plant.loss_share
    t, one = np.arange(hours), np.ones(hours)
    q, b, before, after, peak = t, hours + t, 2 * hours + t, 2 * hours + t + 1, 3 * hours + 1 + periods
    columns = 3 * hours + 1 + billed

    def rows(*terms: tuple[Array, Ints]) -> "csr_array":
        values = np.concatenate([value for value, _ in terms])
        where = np.tile(t, len(terms)), np.concatenate([place for _, place in terms])
        return csr_array(coo_array((values, where), shape=(hours, columns)))

    parts = [
        rows((-one, q), (-one, b), (-keep * one, before), (one, after)),
        rows((-one, q), (-one, b), (-one, before), (one, after)),
    ]
    right = [-keep * plant.demand - plant.loss_constant, -plant.demand - _most_gain(plant)]
    if plant.ends is None:  # cyclic: no less at the end than at the start
        cycle = ([1.0, -1.0], ([0, 0], [2 * hours, 3 * hours]))
        parts.append(csr_array(coo_array(cycle, shape=(1, columns))))
        right.append(np.zeros(1))
    if billed > 0:
        parts.append(rows((draw[0], q), (draw[1] * one, b), (-one, peak)))
        right.append(np.zeros(hours))
    return csr_array(vstack(parts)), np.concatenate(right)


def _checked(
    plant: ReducedPlant, signal: ArrayLike, fuel_signal: ArrayLike | None
) -> tuple[ReducedPlant, Array, Array]:
    """The plant with every series of shape (hour,); weights of electricity and of the backup's energy."""
    hours = np.size(plant.demand)

    def series(name: str, value: ArrayLike, signed: bool = False) -> Array:
        array = np.asarray(value, dtype=np.float64)
        if array.shape not in ((), (hours,)) or hours == 0:
            raise OutOfRangeError(f"{name}: got shape {array.shape}; allowed one number or ({hours},)")
        wrong = ~np.isfinite(array) | (array < (-np.inf if signed else 0.0))
        for number in np.extract(wrong, array)[:1]:
            raise OutOfRangeError(
                f"{name}: got {number:g}; allowed {'a finite number' if signed else '0 or more'}"
            )
        return np.broadcast_to(array, (hours,))

    demand, capacity = series("demand", plant.demand), series("capacity", plant.capacity)
    if not 0.0 <= plant.loss_share < 1.0:
        raise OutOfRangeError(f"loss_share: got {plant.loss_share:g}; allowed 0 to less than 1")
    ends = plant.ends or (0.0, 0.0)
    for name, value, most in (
        ("storage", plant.storage, np.inf),
        ("backup_per_heat", plant.backup_per_heat, np.inf),
        ("ends, at the start", ends[0], plant.storage),
        ("ends, at the end", ends[1], plant.storage),
    ):
        if not (0.0 <= value <= most and np.isfinite(value)):
            raise OutOfRangeError(f"{name}: got {value:g}; allowed 0 to {most:g}")
    series("loss_constant", plant.loss_constant, signed=True)
    per_heat = np.asarray(plant.per_heat, dtype=np.float64)
    if per_heat.shape == capacity.shape:
        per_heat = np.where(capacity > 0.0, per_heat, 0.0)
    plant = plant._replace(
        demand=demand,
        capacity=capacity,
        per_heat=series("per_heat", per_heat),
        least=series("least", plant.least),
        backup=series("backup", plant.backup),
    )
    weights = series("signal", signal, signed=True)
    return plant, weights, weights if fuel_signal is None else series("fuel_signal", fuel_signal, signed=True)


def _periods(period: ArrayLike | None, hours: int, demand_charge: float) -> tuple[Ints, int]:
    """Billing period of each hour, and how many there are: none without a charge."""
    if not (demand_charge >= 0.0 and np.isfinite(demand_charge)):
        raise OutOfRangeError(f"demand_charge: got {demand_charge:g}; allowed 0 or more")
    periods = np.zeros(hours, dtype=np.int64) if period is None else np.asarray(period, dtype=np.int64)
    if periods.shape != (hours,) or periods.min() < 0:
        raise OutOfRangeError(f"period: got shape {periods.shape}; allowed one number from 0 on per hour")
    return periods, int(periods.max()) + 1 if demand_charge > 0.0 else 0


def _first_failure(plant: ReducedPlant) -> str:
    """Why no schedule exists: the first hour in which a store that is heated all the time runs empty."""
    heat = np.asarray(plant.capacity) + np.asarray(plant.backup)
    keep, gain = 1.0 - plant.loss_share, _most_gain(plant)
    least = np.asarray(plant.least)
    stored = plant.storage if plant.ends is None else plant.ends[0]
    for _ in range(2 if plant.ends is None else 1):
        for t, (made, drawn) in enumerate(zip(heat, plant.demand, strict=True)):
            left = stored - drawn
            stored = min(keep * left + made - plant.loss_constant, left + made - gain, plant.storage)
            if stored < least[t]:
                return f"heated all the time, the store still runs empty in hour {t} (the first is 0)"
    return "heated all the time, the store still holds too little at the end"
