"""How much of the savings within reach the controls capture: with them, without, and the best schedule found.

What controls can save at prices (or carbon) by the hour depends on the water that the machine meets, which
a store's layers decide. So the schedules are simulated, each through its own year, and not bounded by a
program over heat by the hour: that leaves out the layers, and lies far below all that can be found.

Schedules tried: the heat pump locked out in the dearest hours of each day, one to sixteen of them, and a
higher setpoint in the cheapest four or six hours of the clock, alone and beside the best of these. One that
leaves more water unmet, or less heat in it, than the plant with and without its controls is no schedule.

Beside the best stands a limit that holds for any timing: its electricity of each day in that day's cheapest
hours, at no more power than in its own greatest hour. It is near where a price has two levels, and far where
the store is small beside a day's heat.
"""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import DAYS, HOURS, MONTH_DAYS
from hpwhsim.errors import InputError
from hpwhsim.evaluation.costs import prices
from hpwhsim.io.user_csv import read_hours
from hpwhsim.scenario.reading import Loaded, with_keys
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Year, run_years, year_of

EQUAL = 0.99  # of the heat without the controls, from which on a saving is one
ROUNDING_L = 1.0  # of unmet water in a year
LOCKED_HOURS = range(1, 17)  # of each day
BOOST_K = 5.0
BOOST_HOURS = (4, 6)
FREE = (
    "charge_windows",
    "lock_outs",
    "signal",
    "signal_hours",
    "boost",
    "boost_windows",
    "demand_windows",
    "demand_modules",
)


class Schedule(NamedTuple):
    """A year under one schedule; standby is left out, which no schedule changes."""

    name: str
    weighed: float  # purchased energy times its weight
    least_weighed: float  # the same energy of each day in that day's cheapest hours
    electricity_kwh: float
    fuel_kwh: float
    heat_kwh: float  # to taps and loop
    unmet_litres: float


class Bounded(NamedTuple):
    """What the controls capture of what the best schedule saves."""

    weight: str  # of a kWh: signal, or price (USD of the tariff)
    fuel_weight: float | None  # of a kWh of fuel, the mean; None where none is burnt
    control: Schedule  # with the scenario's own controls
    free: Schedule  # without its windows, lock-outs, signal and boost
    best: Schedule  # of all that were simulated and serve as well; with the controls, where none is better
    simulated: int  # schedules beside control and free
    share: float | None  # (free - control) over (free - best); None: nothing to save, or less heat given


def bounded(loaded: Loaded) -> Bounded:
    """Compare the controls of a scenario with none, and with the best schedule that is found.

    A kWh weighs what `plant.controls.signal` says; without one its price, where the tariff has prices by the
    hour. Fuel has the tariff's price beside such prices, and else the year's mean of the signal. Demand
    charges are left out. Where the controls give less heat than the plant without them, what they take less
    is no saving: no share is stated.

    Raises
    ------
    InputError
        If the scenario is wrong, the plant has no heat pump, or no kWh weighs more than another.
    """
    with loaded.named():
        if loaded.scenario.plant.heat_pump is None:
            raise InputError("bound: the plant has no heat pump; allowed one whose heat pump charges a store")
        by, weights, fuel_weights = _weights(loaded.scenario)
    free_case = with_keys(loaded, {f"plant.controls.{key}": None for key in FREE})
    names = "with the scenario's controls", "without windows, lock-outs, signal and boost"

    def simulated(cases: list[tuple[str, Loaded]]) -> list[Schedule]:
        years = zip(cases, run_years([case for _, case in cases]), strict=True)
        # a higher setpoint may be beyond the machine
        return [_schedule(name, y, weights, fuel_weights) for (name, _), y in years if isinstance(y, Year)]

    control, free = (
        _schedule(name, year_of(year), weights, fuel_weights)
        for name, year in zip(names, run_years([loaded, free_case]), strict=True)
    )

    def best_of(schedules: list[Schedule]) -> Schedule:
        unmet = max(control.unmet_litres, free.unmet_litres) + ROUNDING_L
        served = [s for s in schedules if s.unmet_litres <= unmet and s.heat_kwh >= EQUAL * free.heat_kwh]
        return min([free, *served], key=lambda schedule: schedule.weighed)

    with TemporaryDirectory() as folder:
        path = Path(folder) / "signal.csv"
        path.write_text("signal\n" + "\n".join(map(repr, weights.tolist())) + "\n", encoding="utf-8")
        lock_outs = _lock_outs(weights, path)
        locked = simulated([(name, with_keys(free_case, keys)) for name, keys in lock_outs.items()])
        first = best_of(locked)
        boosted = simulated(
            [
                (f"{name}; {window}", with_keys(free_case, {**keys, **boost}))
                for name, keys in {free.name: {}, first.name: lock_outs.get(first.name, {})}.items()
                for window, boost in _boosts(weights).items()
            ]
        )
    best = best_of([control, *locked, *boosted])
    possible = free.weighed - best.weighed
    stated = possible > 1e-9 * abs(free.weighed) and control.heat_kwh >= EQUAL * free.heat_kwh
    return Bounded(
        weight=by,
        fuel_weight=None if fuel_weights is None else float(fuel_weights.mean()),
        control=control,
        free=free,
        best=best,
        simulated=len(locked) + len(boosted),
        share=(free.weighed - control.weighed) / possible if stated else None,
    )


def _weights(scenario: Scenario) -> tuple[str, Array, Array | None]:
    """What weighs a kWh, the weights of electricity and of fuel, (hour,); None where no fuel is burnt."""
    path, fuel = scenario.plant.controls.signal, scenario.plant.backup.kind not in ("none", "resistance")
    if path is not None:
        signal = read_hours(path, {"signal": (-np.inf, np.inf)})["signal"]
        return "signal", signal, np.full(HOURS, signal.mean()) if fuel else None
    tariff = None if scenario.tariff is None else prices(scenario.tariff)
    if tariff is None or tariff.electricity is None or np.ptp(tariff.electricity) == 0.0:
        raise InputError(
            "bound: no hour costs more than another; allowed a tariff with prices by time of use or by the "
            "hour, or plant.controls.signal"
        )
    if not fuel:
        return "price", tariff.electricity, None
    assert tariff.fuel is not None  # the schema wants it where fuel is burnt
    return "price", tariff.electricity, np.repeat(tariff.fuel, np.multiply(MONTH_DAYS, 24))


def _lock_outs(weights: Array, path: Path) -> dict[str, dict[str, Any]]:
    """Keys of schedules that lock the heat pump out in the dearest hours of each day, each schedule once."""
    days = weights.reshape(DAYS, 24)
    found: dict[bytes, tuple[str, dict[str, Any]]] = {}
    for hours in LOCKED_HOURS:
        cheap = days <= np.sort(days, axis=1)[:, 23 - hours : 24 - hours]  # as `plant.clock` has it
        keys = {"plant.controls.signal": path, "plant.controls.signal_hours": 24 - hours}
        if not cheap.all():
            found.setdefault(cheap.tobytes(), (f"locked out in the dearest {hours} h of each day", keys))
    return dict(found.values())


def _boosts(weights: Array) -> dict[str, dict[str, Any]]:
    """Keys of a higher setpoint in the cheapest hours in a row of the mean day."""
    mean = np.tile(weights.reshape(DAYS, 24).mean(axis=0), 2)
    found = {}
    for hours in BOOST_HOURS:
        start = int(np.argmin([mean[at : at + hours].sum() for at in range(24)]))
        window = f"{start:02d}:00-{(start + hours) % 24:02d}:00"
        found[f"setpoint {BOOST_K:g} K higher at {window}"] = {
            "plant.controls.boost": f"{BOOST_K:g} K",
            "plant.controls.boost_windows": [window],
        }
    return found


def _schedule(name: str, year: Year, weights: Array, fuel_weights: Array | None) -> Schedule:
    """Figures of a year that was simulated."""
    hourly = year.hourly
    electricity = np.asarray(hourly["electricity_kwh"] - hourly.get("standby_kwh", 0.0))
    burnt = 0.0 if fuel_weights is None else float((fuel_weights * hourly["fuel_kwh"]).sum())
    return Schedule(
        name=name,
        weighed=float((electricity * weights).sum()) + burnt,
        least_weighed=least_weighed(electricity, weights) + burnt,
        electricity_kwh=float(electricity.sum()),
        fuel_kwh=float(hourly["fuel_kwh"].sum()),
        heat_kwh=float((hourly["heat_to_taps_kwh"] + hourly["recirculation_loss_kwh"]).sum()),
        unmet_litres=float(hourly["short_litres"].sum()),
    )


def least_weighed(electricity: Array, weights: Array) -> float:
    """The electricity of each day in that day's cheapest hours, none above the greatest hour of the year.

    Parameters
    ----------
    electricity, weights : ndarray of float64, shape (8760,)
        Each hour's purchase [kWh] and what a kWh weighs in it.
    """
    most = float(electricity.max())
    left = electricity.reshape(DAYS, 24).sum(axis=1)[:, None] - most * np.arange(24)
    return float((np.sort(weights.reshape(DAYS, 24), axis=1) * np.clip(left, 0.0, most)).sum())
