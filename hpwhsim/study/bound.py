"""What share of the possible saving a plant's control reaches: with it, without it, and the bound."""

from typing import NamedTuple

import numpy as np

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Controls, Scenario
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.best_performance import Array
from hpwhsim.study.foresight import best_schedule, share_of_saving
from hpwhsim.study.limits import Limits, Served, limits
from hpwhsim.study.year import Year, run_years, year_of
from hpwhsim.user_csv import read_hours

FREE = ("charge_windows", "lock_outs", "signal", "signal_hours", "boost", "boost_windows", "demand_windows")


class Bounded(NamedTuple):
    """Sum of bought energy times its weight over the year, standby left out, by three ways to run a plant."""

    control: float  # with the scenario's own controls
    free: float  # without its windows, lock-outs, signal and boost
    bound: float  # no control of this plant can be below it, `hpwhsim.study.limits`
    share: float | None  # (free - control) over (free - bound); None where there is nothing to save
    electricity_kwh: tuple[float, float, float]  # of the three, standby left out
    fuel_kwh: tuple[float, float, float]
    fuel_weight: float | None  # of a kWh of fuel; None where none is burnt
    short_litres: tuple[float, float]  # of the first two
    relaxed: tuple[str, ...]  # what the bound lets its plant do that this one cannot
    converged: bool
    message: str


def bounded(loaded: Loaded) -> Bounded:
    """Compare the controls of a scenario with none and with perfect foresight.

    The signal is that of `plant.controls.signal`, and 1 without one: then kWh are compared. Fuel counts as so
    much electricity at the year's mean of the signal: the scenario has no hourly weight for it.

    Raises
    ------
    InputError
        If the scenario is wrong, or the plant has no heat pump.
    """
    scenario = loaded.scenario
    if scenario.plant.heat_pump is None:
        raise InputError("bound: the plant has no heat pump; allowed a plant whose heat pump charges a store")
    signal = np.ones(8760)
    if scenario.plant.controls.signal is not None:
        signal = read_hours(scenario.plant.controls.signal, {"signal": (-np.inf, np.inf)})["signal"]
    weight = _fuel_weight(scenario, signal)
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
    electricity, fuel = best.electricity + fixed, 0.0
    if weight is not None:
        fuel = float(best.backup_heat.sum()) * found.plant.backup_per_heat
    energies = [_electricity(year) for year in (own, free)]
    fuels = [float(year.hourly["fuel_kwh"].sum()) for year in (own, free)]
    return Bounded(
        control=sums[0],
        free=sums[1],
        bound=bound,
        share=share_of_saving(sums[1], sums[0], bound) if best.converged else None,
        electricity_kwh=(float(energies[0].sum()), float(energies[1].sum()), float(electricity.sum())),
        fuel_kwh=(fuels[0], fuels[1], fuel),
        fuel_weight=weight,
        short_litres=(float(own.hourly["short_litres"].sum()), float(free.hourly["short_litres"].sum())),
        relaxed=_relaxed(assembly, found),
        converged=best.converged,
        message=best.message,
    )


def _fuel_weight(scenario: Scenario, signal: Array) -> float | None:
    """Weight of a kWh of fuel; None where the backup burns none."""
    if scenario.plant.backup.kind in ("none", "resistance"):
        return None
    weight = float(signal.mean())
    if weight < 0.0:
        raise InputError(
            f"{scenario.plant.controls.signal}: column signal: got a mean of {weight:g}; allowed 0 or more "
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


def _weighed(year: Year, signal: Array, weight: float | None) -> float:
    return float((_electricity(year) * signal).sum() + (weight or 0.0) * year.hourly["fuel_kwh"].sum())


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
    kelvin = RHO_CP * assembly.plant.column.cell_volume * assembly.start.size / 3.6e6
    return float(year.hourly["store_mean_c"][-1]) - change / kelvin


def _relaxed(assembly: Assembly, found: Limits) -> tuple[str, ...]:
    """What the bound lets this plant do that it cannot, where that makes the bound loose."""
    kind, room = SourceKind(assembly.plant.sources.kind), assembly.plant.sources.room
    said = ["the store need not stay hot and hardly loses heat, and starts cost nothing"]
    if kind == SourceKind.ROOM and room.intake_here:
        said.append("the room is as warm as if the machine took no heat from it")
    elif kind == SourceKind.GROUND_LOOP:
        said.append("the ground is as warm as if no heat had been taken in earlier hours and years")
    elif kind == SourceKind.WET_WELL:
        said.append("the sewage is as warm as if no heat had been taken in earlier hours, and is never spent")
    elif kind == SourceKind.SEWER:
        said.append("the sewage is never spent")
    if found.plant.tank is not None:
        said.append("the loop's tank may cool in hours without draws")
    return tuple(said)
