"""A chosen plant through its whole year, by the criteria of the sizing block."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.io.units import POWER, as_text
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import Loaded, changed
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.simulation.year import Year, run_year
from hpwhsim.simulation.years import march_years
from hpwhsim.sizing.catalogue import Choice
from hpwhsim.sizing.trials import sized

if TYPE_CHECKING:
    import xarray as xr


def with_choice(scenario: Scenario, choice: Choice) -> Scenario:
    """The scenario with what was chosen."""
    chosen = sized(scenario, choice.modules, choice.volume, choice.tanks)
    heat_pump = chosen.plant.heat_pump
    assert heat_pump is not None  # make_bench wants it
    if heat_pump.capacity is None:
        return chosen
    return changed(chosen, [f"plant.heat_pump.capacity={as_text(choice.module.size, POWER)}"], Path())


def choice_year(loaded: Loaded, choice: Choice, weather: "xr.Dataset") -> dict[str, Any]:
    """The criteria over the whole year, run as any scenario is; n-1 with one module out all year."""
    sizing = loaded.scenario.sizing
    assert sizing is not None  # set by size
    chosen = with_choice(loaded.scenario, choice)
    year = run_year(loaded._replace(scenario=chosen))
    built = assemble(chosen, weather) if "n-1" in sizing.criterion else None
    return judged_year(chosen, sizing, year, choice.modules, built)


def judged_year(
    chosen: Scenario, sizing: Sizing, year: Year, modules: int, built: Assembly | None
) -> dict[str, Any]:
    """The criteria over a whole year of a chosen plant, which is `built` where n-1 is asked."""
    hourly = year.hourly
    run = most_run_hours(hourly, modules)
    starts = year.record["module_starts"]
    assert isinstance(starts, list)
    backup = float(hourly["backup_heat_kwh"].sum())
    heat = backup + float(hourly["heat_pump_heat_kwh"].sum())
    short = float(hourly["short_litres"].sum())
    litres = 1000.0 * sizing.max_unmet_volume + 1e-6
    found: dict[str, Any] = {
        "seed": _seed(chosen),
        "electricity_kwh": year.record["electricity_kwh"],
        "short_litres": short,
        "short_hours": year.record["short_hours"],
        "short_hours_by_cause": year.record["short_hours_by_cause"],
        "most_run_hours_in_a_day": run,
        "starts_a_day": sum(starts) / len(starts) / 365.0,
        "backup_share": backup / heat if heat > 0.0 else 0.0,
    }
    holds = {
        "short-litres": short <= litres,
        "run-hours": run <= sizing.max_run_hours / 3600.0,
        "backup-share": found["backup_share"] <= sizing.max_backup_share,
    }
    if "n-1" in sizing.criterion:
        assert built is not None  # the caller has it then
        fewer = built._replace(plant=built.plant._replace(modules=modules - 1))
        one_out = 1000.0 * float(march_years(fewer, chosen.run.years).last.short_volume.sum())
        found["one_out_short_litres"] = one_out
        holds["n-1"] = one_out <= litres
    fails = [name for name in sizing.criterion if not holds[name]]
    return found | {"passes": not fails, "fails": fails}


def most_run_hours(hourly: Mapping[str, Array], modules: int) -> float:
    """Hours of full output for the heat of a day, the most of the year; output is that of three days.

    Parameters
    ----------
    hourly : mapping of str to ndarray, each (8760,)
        Results by the names of tables/results.csv. [kWh]
    modules : int
        Of the plant.
    """

    def daily(*names: str) -> Array:
        return np.add.reduce([hourly[name].reshape(365, 24).sum(axis=1) for name in names])

    def three(values: Array) -> Array:
        return np.asarray(values + np.roll(values, 1) + np.roll(values, -1))

    used = daily("heat_to_taps_kwh", "unmet_kwh", "recirculation_loss_kwh", "storage_loss_kwh")
    used -= daily(*(name for name in ("backup_heat_kwh", "loop_heater_heat_kwh") if name in hourly))
    heat, hours = three(daily("heat_pump_heat_kwh")), three(daily("module_hours")) / modules
    run = np.divide(used * hours, heat, out=np.zeros(365), where=heat > 0.0)
    return float(run.max())


def _seed(scenario: Scenario) -> int | None:
    """Of the draws of the year; None where they are not random."""
    random = scenario.hot_water.draws == "random" and scenario.hot_water.metered is None
    return scenario.hot_water.seed if random else None
