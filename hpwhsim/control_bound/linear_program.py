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

Electricity over heat may come in two parts: the least at the coldest inlet, and more for each kelvin by
which the heat is made warmer. How much of that is needed a second balance says
(`temperature_balance`). Taps and loop may be served through a tank of the loop's own, with its heater.

The caller keeps it a bound by giving, for each hour,

* as ``demand`` the heat that taps and loop received from the controls that are compared, no more. A control
  that runs short delivers less: compare it only with what it delivered;
* as ``capacity`` and ``per_heat`` the best of the machine (`best_performance`) at that hour's source, as warm
  as if no heat had been taken from it (room, ground, sewage), times modules and what frost leaves, with fans
  and pumps at their least per heat; where speed varies, at the warmer source that stands for the lowest
  speed. Capacity 0 is for hours that no control may use (the source is too cold, a utility's bar), not for
  windows of the user's schedule. Standby power is left out of it, and of what is compared;
* as ``storage`` C x (hottest - coldest of the year), with C the heat capacity of the store and the hottest of
  outlet, setpoint and backup setpoint; as ``least`` 0, or C x (coldest that may be there - coldest of the
  year);
* as ``loss_share`` 1 - exp(-UA x 1 h / C), as ``loss_constant`` -``loss_share`` x C x (room - coldest of the
  year): exact for a uniform loss, a gain where the store is colder than its room;
* as ``ends`` the store at the start and the end of the run that is compared. A cyclic year bounds only years
  that end as they began.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Ints
from hpwhsim.control_bound.reduced_plant import ReducedPlant, checked, columns, most_gain, rows, series
from hpwhsim.errors import OutOfRangeError

NOTHING = 1e-9  # of the baseline: a saving below it is rounding


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

    With a tank ``s`` gives ``f``, at most what is carried, in place of ``d``; the tank gets ``f`` and its
    heater's heat and gives ``d`` by the same two lines. With grade, of which the machine gives ``y`` beside
    what comes with the heat, ``y <= further q``::

        g[t] <= g[t-1] + least q[t] + y[t] + (grade of backup and heater) + gain - (grade of the demand)

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
    Solved by the dual simplex method of HiGHS. Some 26,000 variables of a year take about one second, the
    double of a second balance two to four.

    Examples
    --------
    Two hours, the second dear: all is made in the first, at COP 2.

    >>> plant = ReducedPlant(np.array([0.0, 4.0]), capacity=5.0, per_heat=0.5, storage=10.0, ends=(0.0, 0.0))
    >>> best = best_schedule(plant, [0.1, 0.3])
    >>> best.heat_pump_heat.tolist(), round(best.objective, 9)
    ([4.0, 0.0], 0.2)
    """
    from scipy.optimize import linprog

    plant = checked(plant)
    hours = plant.demand.size
    weights = series("signal", signal, hours, signed=True)
    fuel = weights
    if fuel_signal is not None:
        fuel = series("fuel_signal", fuel_signal, hours, signed=True)
    periods, billed = _periods(period, hours, demand_charge)
    electric, place = float(fuel_signal is None), columns(plant, billed)
    limits = rows(plant, place, np.asarray(plant.per_heat), electric, periods)
    cost, low, high = np.zeros(place.size), np.zeros(place.size), np.zeros(place.size)
    cost[place.heat], high[place.heat] = weights * plant.per_heat, plant.capacity
    cost[place.backup], high[place.backup] = fuel * plant.backup_per_heat, plant.backup
    high[place.stored], low[place.stored[1:]] = plant.storage, plant.least
    most = np.asarray(plant.capacity * plant.per_heat) + electric * plant.backup_per_heat * plant.backup
    stocks = [(place.stored, plant.ends)]
    tank, grade = plant.tank, plant.grade
    if tank is not None:
        high[place.carried], high[place.heater], high[place.held] = tank.carried, tank.heater, tank.storage
        low[place.held[:-1]] = tank.floor
        cost[place.heater] = weights * tank.per_heat
        most = most + np.asarray(tank.heater) * tank.per_heat
        stocks.append((place.held, tank.ends))
    if grade is not None:
        high[place.further], high[place.graded] = np.asarray(grade.further) * plant.capacity, grade.storage
        cost[place.further] = weights * grade.per_grade
        most = most + high[place.further] * grade.per_grade
        stocks.append((place.graded, grade.ends))
    for stock, ends in stocks:
        if ends is not None:
            low[stock[0]] = high[stock[0]] = ends[0]
            low[stock[-1]] = max(low[stock[-1]], ends[1])
    cost[place.peaks], high[place.peaks] = demand_charge, np.max(most, initial=0.0)
    matrix: Any = limits.matrix  # the library's types know neither sparse rows
    bounds: Any = np.column_stack((low, high))  # nor an array of bounds
    found = linprog(cost, A_ub=matrix, b_ub=limits.right, bounds=bounds, method="highs-ds")
    if found.status != 0 or found.x is None or found.fun is None:
        nan = np.full(hours, np.nan)
        message = _first_failure(plant) if found.status == 2 else str(found.message)
        none = np.full(hours + 1, np.nan)
        return Schedule(False, message, int(found.nit), np.nan, np.nan, nan, nan, nan, none, nan)
    # any prices of the limits prove a bound; those at the optimum prove the optimum
    price = np.minimum(found.ineqlin.marginals, 0.0)
    reduced = cost - limits.matrix.T @ price
    bound = price @ limits.right + np.maximum(reduced, 0.0) @ low + np.minimum(reduced, 0.0) @ high
    x = found.x
    electricity = x[place.heat] * plant.per_heat + electric * plant.backup_per_heat * x[place.backup]
    if tank is not None:
        electricity = electricity + x[place.heater] * tank.per_heat
    if grade is not None:
        electricity = electricity + x[place.further] * grade.per_grade
    share = plant.loss_share if tank is None else tank.loss_share
    return Schedule(
        converged=True,
        message="",
        iterations=int(found.nit),
        objective=float(found.fun),
        bound=float(bound),
        heat_pump_heat=x[place.heat],
        backup_heat=x[place.backup],
        electricity=electricity,
        stored=x[place.stored],
        heat_value=-((1.0 - share) * price[:hours] + price[hours : 2 * hours]),
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
    if plant.tank is not None or plant.grade is not None:
        return "no schedule gives the heat that was drawn, as warm as it was"
    heat = np.asarray(plant.capacity) + np.asarray(plant.backup)
    keep, lost = 1.0 - plant.loss_share, np.asarray(plant.loss_constant)
    gain, least = most_gain(plant.loss_share, lost), np.asarray(plant.least)
    stored = plant.storage if plant.ends is None else plant.ends[0]
    for _ in range(2 if plant.ends is None else 1):
        for t, (made, drawn) in enumerate(zip(heat, plant.demand, strict=True)):
            left = stored - drawn
            stored = min(keep * left + made - lost[t], left + made - gain[t], plant.storage)
            if stored < least[t]:
                return f"heated all the time, the store still runs empty in hour {t} (the first is 0)"
    return "heated all the time, the store still holds too little at the end"
