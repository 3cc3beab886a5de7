"""Storage against capacity: the least store for each capacity, by the engine itself on design days.

The engine's curve stands beside the classical mass curve over the same days. Between the two lie, one by one,
the cold-day capacity of the heat pump, the loop and the loss of the store, and what a real store cannot give:
its thermocline, the stirred foot, and the water that is cold already when the start sensor notices; and loop
water that comes back lukewarm, which holds less heat and warms what the heat pump gets.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.design_days import cold_output, judge, may_charge
from hpwhsim.sizing.least_store import LARGEST, Least, least_store
from hpwhsim.sizing.mass_curve import least_storage
from hpwhsim.sizing.trials import Bench, alone, hot_litres, plant_of
from hpwhsim.storage.layers import RHO_CP

RUN_HOURS = (22.0, 20.0, 18.0, 16.0, 14.0, 12.0, 10.0, 8.0, 6.0)  # of the curve
AMPLE = 4.0  # times the capacity as written, for a plant that is never short


class Point(NamedTuple):
    """One capacity of the trade-off curve; litres of store, inf where no store is enough."""

    capacity: float  # all modules at the rating, W
    run_hours: float  # of full output for the largest day, with cold water at the heat pump
    least: Least  # of the engine
    classical: float  # mass curve with the rated capacity, loop and loss left out, usable L
    cold: float  # the same with the capacity of these days
    loaded: float  # and with loop and loss of the store
    sharp: float  # the engine, all of the store heated and nothing in it mixing, L; NaN: not asked for
    heated: float  # the engine, all of the store heated as soon as it is not full, L; NaN: not asked for

    @property
    def storage(self) -> float:
        """Smallest store that passes. [L]"""
        return 1000.0 * self.least.volume


class Classical(NamedTuple):
    """What the mass curve needs of the design days, each (step,)."""

    litres: Array  # hot water at the taps, L
    loaded: Array  # and what loop and loss take, in litres of hot water
    years: tuple[Array, ...]  # hot water at the taps in each year of draws, L
    rated: Array  # share of full output, the heat pump at its rating
    cold: Array  # the heat pump as it is on these days
    steps_per_hour: int
    kwh_per_litre: float
    largest: (
        float  # what the largest day takes of full output at the rating, L; nan: the heat pump cannot run
    )
    allowed: int  # years of draws that may need more

    @property
    def permitted(self) -> float:
        """Hours a day in which the heat pump may run, the mean. [h]"""
        return 24.0 * float(self.rated.mean())


def classical(bench: Bench) -> Classical:
    """Lay draw and recovery of the design days side by side.

    The store loses what it loses in the plant as written; the loop takes what it does while nothing is short,
    beside what the heater of its own tank gives.

    Raises
    ------
    InputError
        If the heat pump cannot run on these days, and nothing else heats.
    """
    as_written = judge(bench.design, bench.assembly.plant)
    ample = plant_of(bench, bench.assembly.plant.modules, AMPLE, LARGEST * bench.day_litres / 1000.0)
    loop_kwh = judge(bench.design, ample).loop_kwh
    drive = bench.design.drive
    steps = drive.use.size // drive.mains.size
    per_litre = RHO_CP / 3.6e9 * float((bench.scenario.outlet_temperature - drive.mains).mean())
    litres = hot_litres(bench)
    lost = max(loop_kwh + as_written.loss_kwh, 0.0) / 24.0 / steps / per_litre
    loaded, cold = litres + lost, output_share(bench, as_written.source_c)
    runs = bool(cold.any())
    if not runs and bench.scenario.plant.backup.kind == "none":
        raise InputError(
            "plant.heat_pump: the heat pump cannot run at all on the design days (source too cold, or "
            "locked out), "
            "and the plant has no backup"
        )
    rated = may_charge(drive) * (cold > 0.0)
    days = bench.design.days.size
    given, may = (values.reshape(days, -1).sum(axis=1) for values in (cold, rated))
    mean = cold.sum() / rated.sum() if runs else np.nan
    share = np.divide(given, may, out=np.full(days, mean), where=may > 0.0)
    years = tuple(hot_litres(alone(bench, draws)) for draws in bench.draws) or (litres,)
    largest = sorted(float(((y + lost).reshape(days, -1).sum(axis=1) / share).max()) for y in years)
    allowed = bench.allowed
    return Classical(litres, loaded, years, rated, cold, steps, per_litre, largest[-1 - allowed], allowed)


# -- the curve -----------------------------------------------------------------------------------------


def curve(bench: Bench, run_hours: Sequence[float] = RUN_HOURS) -> list[Point]:
    """Least storage for capacities from what the largest day just needs, upwards.

    The modules are as many as written, and scaled together. The first capacity runs on the largest day in all
    the hours in which it may; of `run_hours` those count that are fewer. Empty where it cannot run at all.
    """
    c = classical(bench)
    if c.permitted == 0.0:
        return []
    modules, written = bench.assembly.plant.modules, bench.assembly.made.capacity
    full = modules * written / 1000.0 / c.kwh_per_litre  # L/h
    hours = (c.permitted, *(h for h in run_hours if h < c.permitted - 0.5))
    return at_once(lambda h: point(bench, c, modules, c.largest / h / full), hours)


def point(bench: Bench, c: Classical, modules: int, factor: float, explain: bool = False) -> Point:
    """One capacity: the engine's least store, and the classical answers on the way to it.

    Where one module may be out the mass curve has the others alone. The ideal stores of `explain` need not
    keep run-hours: a heat pump that tops up all day takes warmer water, which is no want of storage.
    """
    capacity = factor * modules * bench.assembly.made.capacity
    recovery = capacity / 1000.0 / c.kwh_per_litre
    working = recovery * (modules - 1) / modules if "n-1" in bench.criterion else recovery
    others = tuple(name for name in bench.criterion if name != "run-hours")
    ideal = bench._replace(criterion=others)

    more = c.loaded - c.litres

    def usable(lost: Array | float, output: Array) -> float:
        """Of the neediest year of draws but those that may need more."""
        stores = (
            float(least_storage(year + lost, working * (1.0 + 1e-9), output, c.steps_per_hour).storage[0])
            for year in c.years
        )
        return sorted(stores)[-1 - c.allowed]

    stores = [(bench, 0), (ideal, 2), (ideal, 1)] if explain else [(bench, 0)]

    def least(store: tuple[Bench, int]) -> Least:
        on, plain = store
        return least_store(on, modules, factor, plain, beyond=explain and plain == 0)

    found = at_once(least, stores) if explain else [least(stores[0])]
    return Point(
        capacity=capacity,
        run_hours=c.largest / recovery,
        least=found[0],
        classical=usable(0.0, c.rated),
        cold=usable(0.0, c.cold),
        loaded=usable(more, c.cold),
        sharp=1000.0 * found[1].volume if explain else np.nan,
        heated=1000.0 * found[2].volume if explain else np.nan,
    )


def output_share(bench: Bench, source: Array) -> Array:
    """Capacity of the heat pump as written over that at its rating, (part of an hour of the design days,).

    With water from the mains (single pass), or half way up to the outlet. Zero where it cannot work or is
    locked out.

    Parameters
    ----------
    bench : Bench
        A scenario on its design days.
    source : ndarray, shape (hour,)
        What the heat pump meets. [°C]
    """
    assembly, drive = bench.assembly, bench.design.drive
    output = cold_output(assembly.plant, drive, source)
    steps = drive.use.size // drive.mains.size
    return np.repeat(output / assembly.made.capacity, steps) * may_charge(drive)
