"""What share of the possible saving a plant's control reaches: with it, without it, and the bound."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.plant.arrays import BackupMode, SourceKind, WaterSide
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Controls, Scenario
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.foresight import ReducedPlant, Schedule, best_of_map, best_schedule, share_of_saving
from hpwhsim.study.year import run_year
from hpwhsim.user_csv import read_hours

Array = NDArray[np.float64]
JOULE_PER_KWH = 3.6e6
FREE = ("charge_windows", "lock_outs", "signal", "signal_hours", "boost", "boost_windows", "demand_windows")


class Bounded(NamedTuple):
    """Sum of electricity times signal over the year, standby left out, by three ways to run one plant."""

    control: float  # with the scenario's own controls
    free: float  # without its windows, lock-outs, signal and boost
    bound: float  # no control of this plant can be below it, `hpwhsim.study.foresight`
    share: float | None  # (free - control) over (free - bound); None where there is nothing to save
    electricity_kwh: tuple[float, float, float]  # of the three, standby left out
    short_litres: tuple[float, float]  # of the first two
    converged: bool
    message: str


def bounded(loaded: Loaded) -> Bounded:
    """Compare the controls of a scenario with none and with perfect foresight.

    The signal is that of `plant.controls.signal`, and 1 without one: then kWh are compared.

    Raises
    ------
    InputError
        If the scenario is wrong, or the plant is one that the reduced store cannot stand for.
    """
    scenario = loaded.scenario
    _check(scenario)
    signal = np.ones(8760)
    if scenario.plant.controls.signal is not None:
        signal = read_hours(scenario.plant.controls.signal, {"signal": (-np.inf, np.inf)})["signal"]
    defaults = {key: Controls.model_fields[key].default for key in FREE}
    controls = scenario.plant.controls.model_copy(update=defaults)
    unbarred = scenario.model_copy(update={"plant": scenario.plant.model_copy(update={"controls": controls})})
    own, free = run_year(loaded), run_year(loaded._replace(scenario=unbarred))
    assembly = assemble(scenario, read_weather(scenario.site.weather))
    sums, energies = [], []
    for year in (own, free):
        electricity = year.hourly["electricity_kwh"] - year.hourly.get("standby_kwh", 0.0)
        sums.append(float((electricity * signal).sum()))
        energies.append(float(electricity.sum()))
    demand = np.minimum(
        own.hourly["heat_to_taps_kwh"] + own.hourly["recirculation_loss_kwh"],
        free.hourly["heat_to_taps_kwh"] + free.hourly["recirculation_loss_kwh"],
    )
    best = _best(assembly, demand, own.hourly["source_c"], free.hourly["source_c"], signal)
    bound = best.bound if best.converged else np.nan
    return Bounded(
        control=sums[0],
        free=sums[1],
        bound=bound,
        share=share_of_saving(sums[1], sums[0], bound) if best.converged else None,
        electricity_kwh=(energies[0], energies[1], float(best.electricity.sum())),
        short_litres=(float(own.hourly["short_litres"].sum()), float(free.hourly["short_litres"].sum())),
        converged=best.converged,
        message=best.message,
    )


def _check(scenario: Scenario) -> None:
    """Refuse plants whose heat is not in one store."""
    plant = scenario.plant
    if plant.heat_pump is None:
        raise InputError("bound: the plant has no heat pump; allowed a plant whose heat pump charges a store")
    if scenario.recirculation is not None and scenario.recirculation.loop_tank is not None:
        raise InputError("bound: recirculation.served_by: got loop-tank; allowed store")
    if plant.backup.kind not in ("none", "resistance") or plant.backup.mode == "series":
        raise InputError("bound: plant.backup: allowed none, or resistance in the store (parallel)")
    if plant.source_kind != "outdoor-air":
        raise InputError(
            f"bound: plant.source.kind: got {plant.source_kind}; allowed outdoor-air, whose temperature does "
            "not depend on the schedule"
        )


def _best(assembly: Assembly, demand: Array, source: Array, other: Array, signal: Array) -> Schedule:
    """The best schedule of the plant; every choice is on the safe side of a bound."""
    plant, drive = assembly.plant, assembly.drive
    assert plant.sources.kind == SourceKind.OUTDOOR_AIR
    coldest = float(drive.mains.min())
    hottest = max(float(drive.outlet.max()), float(drive.backup_setpoint.max()))
    single = plant.water_side == WaterSide.SINGLE
    met = np.maximum(source, other)
    if plant.turndown < 1.0:
        met = met + plant.approach * (1.0 - plant.turndown)
    outlet = float(drive.outlet.min()) if single else None
    capacity, per_heat = best_of_map(plant.machine, met, coldest, outlet)
    works = met >= plant.lowest_source
    capacity = np.where(works, capacity * plant.modules * drive.frost_capacity, 0.0) / 1000.0
    per_heat = per_heat * drive.frost_power / (drive.frost_capacity * (1.0 - drive.frost_drawn))
    whole = RHO_CP * plant.column.cell_volume * assembly.start.size / JOULE_PER_KWH  # kWh/K
    share = 1.0 - plant.column.decay ** (3600.0 / plant.step_seconds)
    backup = plant.backup_power / 1000.0 if plant.backup_mode == BackupMode.PARALLEL else 0.0
    start = whole * (float(assembly.start.mean()) - coldest)
    reduced = ReducedPlant(
        demand=demand,
        capacity=capacity,
        per_heat=per_heat,
        storage=whole * (hottest - coldest),
        backup=backup,
        loss_share=share,
        loss_constant=-share * whole * (plant.column.room - coldest),
        ends=(start, 0.0),
    )
    return best_schedule(reduced, signal)
