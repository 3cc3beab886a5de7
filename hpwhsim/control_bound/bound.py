"""What share of the possible saving a plant's control reaches: with it, without it, and the bound."""

from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.control_bound.linear_program import best_schedule, share_of_saving
from hpwhsim.control_bound.relaxation import Limits, Served, limits
from hpwhsim.errors import InputError
from hpwhsim.evaluate.costs import prices
from hpwhsim.io.user_csv import read_hours
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Controls, Scenario
from hpwhsim.simulate.year import Year, run_years, year_of
from hpwhsim.storage.layers import RHO_CP

EQUAL = 0.99  # of the heat without the controls, from which on a saving is one
FREE = ("charge_windows", "lock_outs", "signal", "signal_hours", "boost", "boost_windows", "demand_windows")


class Bounded(NamedTuple):
    """Sum of bought energy times its weight over the year, standby left out, by three ways to run a plant."""

    control: float  # with the scenario's own controls
    free: float  # without its windows, lock-outs, signal and boost
    bound: float  # no control of this plant can be below it, `hpwhsim.control_bound.relaxation`
    weight: str  # of a kWh: signal, price (USD of the tariff), none (1)
    share: float | None  # (free - control) over (free - bound); None: nothing to save, or heat not given
    electricity_kwh: tuple[float, float, float]  # of the three, standby left out
    fuel_kwh: tuple[float, float, float]
    fuel_weight: float | None  # of a kWh of fuel, the mean; None where none is burnt
    heat_kwh: tuple[float, float]  # to taps and loop, of the first two
    short_litres: tuple[float, float]  # of the first two
    relaxed: tuple[str, ...]  # what the bound lets its plant do that this one cannot
    converged: bool
    message: str


def bounded(loaded: Loaded) -> Bounded:
    """Compare the controls of a scenario with none and with perfect foresight.

    A kWh weighs what `plant.controls.signal` says; without one its price, where the tariff has prices by the
    hour; else 1. Fuel has the tariff's price beside such prices, and else the year's mean of the signal.
    Where the controls give less heat than the plant without them, what they take less is no saving: no share
    is stated.

    Raises
    ------
    InputError
        If the scenario is wrong, or the plant has no heat pump.
    """
    scenario = loaded.scenario
    if scenario.plant.heat_pump is None:
        raise InputError("bound: the plant has no heat pump; allowed a plant whose heat pump charges a store")
    by, signal, weight = _weights(scenario)
    defaults = {key: Controls.model_fields[key].default for key in FREE}
    controls = scenario.plant.controls.model_copy(update=defaults)
    unbarred = scenario.model_copy(update={"plant": scenario.plant.model_copy(update={"controls": controls})})
    cases = [loaded, loaded._replace(scenario=unbarred)]
    own, free = (year_of(year) for year in run_years(cases))
    assembly = assemble(scenario, read_weather(scenario.site.weather))
    found = limits(assembly, _served(assembly, own, free), scenario.run.years)
    traced, most_traced = _traced(scenario, own)
    fixed, most = found.fixed + traced, found.most + most_traced
    dear = np.maximum(signal, 0.0)  # with a negative weight the most is bought, heat or no heat
    best = best_schedule(found.plant, dear, fuel_signal=weight)
    bound = best.bound + float((fixed * signal).sum()) + float((most * np.minimum(signal, 0.0)).sum())
    sums = [_weighed(year, signal, weight) for year in (own, free)]
    heat = _heat(own), _heat(free)
    stated = best.converged and heat[0] >= EQUAL * heat[1]
    electricity, fuel = best.electricity + fixed, 0.0
    if weight is not None:
        fuel = float(best.backup_heat.sum()) * found.plant.backup_per_heat
    energies = [_electricity(year) for year in (own, free)]
    fuels = [float(year.hourly["fuel_kwh"].sum()) for year in (own, free)]
    return Bounded(
        control=sums[0],
        free=sums[1],
        bound=bound,
        weight=by,
        share=share_of_saving(sums[1], sums[0], bound) if stated else None,
        electricity_kwh=(float(energies[0].sum()), float(energies[1].sum()), float(electricity.sum())),
        fuel_kwh=(fuels[0], fuels[1], fuel),
        fuel_weight=None if weight is None else float(weight.mean()),
        heat_kwh=heat,
        short_litres=(float(own.hourly["short_litres"].sum()), float(free.hourly["short_litres"].sum())),
        relaxed=_relaxed(assembly, found),
        converged=best.converged,
        message=best.message,
    )


def _weights(scenario: Scenario) -> tuple[str, Array, Array | None]:
    """What weighs a kWh, the weights of electricity and of fuel, (hour,); None where no fuel is burnt."""
    path, fuel = scenario.plant.controls.signal, scenario.plant.backup.kind not in ("none", "resistance")
    if path is not None:
        signal = read_hours(path, {"signal": (-np.inf, np.inf)})["signal"]
        return "signal", signal, np.full(8760, _mean_weight(path, signal)) if fuel else None
    tariff = None if scenario.tariff is None else prices(scenario.tariff)
    if tariff is None or tariff.electricity is None or np.ptp(tariff.electricity) == 0.0:
        return "none", np.ones(8760), np.ones(8760) if fuel else None
    if not fuel:
        return "price", tariff.electricity, None
    assert tariff.fuel is not None  # the schema wants it where fuel is burnt
    return "price", tariff.electricity, np.repeat(tariff.fuel, np.multiply(MONTH_DAYS, 24))


def _mean_weight(path: Path, signal: Array) -> float:
    """Weight of a kWh of fuel beside a signal."""
    weight = float(signal.mean())
    if weight < 0.0:
        raise InputError(
            f"{path}: column signal: got a mean of {weight:g}; allowed 0 or more "
            "where a backup burns fuel, which counts at that mean"
        )
    return weight


def _traced(scenario: Scenario, own: Year) -> tuple[Array, float]:
    """Trace heating: what no schedule changes, (hour,), and the most in an hour beside it. [kWh]."""
    heat_pump = scenario.plant.heat_pump
    lines = heat_pump.water_lines if heat_pump is not None else None
    if lines is None or lines.protection != "trace":
        return np.zeros(8760), 0.0
    if lines.trace_control == "on-off":  # by the air alone
        return own.hourly["trace_heating_kwh"], 0.0
    return np.zeros(8760), lines.trace_power / 1000.0


def _electricity(year: Year) -> Array:
    """Electricity less standby, (hour,). [kWh]."""
    return np.asarray(year.hourly["electricity_kwh"] - year.hourly.get("standby_kwh", 0.0))


def _heat(year: Year) -> float:
    """To taps and loop. [kWh]."""
    return float((year.hourly["heat_to_taps_kwh"] + year.hourly["recirculation_loss_kwh"]).sum())


def _weighed(year: Year, signal: Array, weight: Array | None) -> float:
    burnt = 0.0 if weight is None else float((weight * year.hourly["fuel_kwh"]).sum())
    return float((_electricity(year) * signal).sum()) + burnt


def _served(assembly: Assembly, own: Year, free: Year) -> Served:
    """What both controls gave; a bound for less heat is one for more."""

    def least(name: str) -> Array:
        both = np.minimum(own.hourly[name], free.hourly[name])
        return np.maximum(both, 0.0)  # below it by rounding where nothing is drawn

    tank = assembly.plant.loop_tank.volume > 0.0
    starts = [_start(assembly, year) for year in (own, free)]
    return Served(
        taps=least("heat_to_taps_kwh"),
        loop=least("recirculation_loss_kwh"),
        loop_heater=least("loop_heater_kwh") if tank else np.zeros(8760),
        store_start=max(starts),
        store_end=float(least("store_mean_c")[-1]),
        tank_end=float(least("loop_tank_c")[-1]) if tank else 0.0,
    )


def _start(assembly: Assembly, year: Year) -> float:
    """Mean of the store at the start of the year that is reported, by its change. [°C]."""
    change = year.record["store_change_kwh"]
    assert isinstance(change, float)
    tank = assembly.plant.loop_tank
    if tank.volume > 0.0:
        held = float(year.hourly["loop_tank_c"][-1]) - tank.setpoint
        change -= RHO_CP * tank.volume * held / 3.6e6
    kelvin = RHO_CP * assembly.plant.column.volume / 3.6e6
    return float(year.hourly["store_mean_c"][-1]) - change / kelvin


def _relaxed(assembly: Assembly, found: Limits) -> tuple[str, ...]:
    """What the bound lets this plant do that it cannot, where that makes the bound loose."""
    kind, room = SourceKind(assembly.plant.sources.kind), assembly.plant.sources.room
    said = ["the store need not stay hot and hardly loses heat, and starts cost nothing"]
    if kind == SourceKind.ROOM and room.intake_here:
        said.append("the room is as warm as if the heat pump took no heat from it")
    elif kind == SourceKind.GROUND_LOOP:
        said.append("the ground is as warm as if no heat had been taken in earlier hours and years")
    elif kind == SourceKind.WET_WELL:
        said.append("the sewage is as warm as if no heat had been taken in earlier hours, and is never spent")
    elif kind == SourceKind.SEWER:
        said.append("the sewage is never spent")
    if found.plant.tank is not None and np.min(found.plant.tank.floor) == 0.0:
        said.append("the loop's tank may cool in hours in which the loop got less than all its heat")
    return tuple(said)
