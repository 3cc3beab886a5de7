"""Scenarios through their years: read, assemble, march, account."""

from collections.abc import Iterable, Sequence
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np

import hpwhsim
from hpwhsim.account import adequacy, energy
from hpwhsim.account.hygiene import cautions as hygiene_cautions
from hpwhsim.account.hygiene import hygiene
from hpwhsim.account.savings import site_to_source
from hpwhsim.account.valve import cautions as valve_cautions
from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import WeatherYear, read_year
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import Cause, Hourly
from hpwhsim.plant.assemble import Assembly, assemble, with_draws
from hpwhsim.plant.lines import LinesYear
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation import sewage_range
from hpwhsim.simulation.balance import store_change
from hpwhsim.simulation.connected_load import Connected, connected
from hpwhsim.simulation.hourly import CAUSE_NAMES, leaving, plant_hourly, quarter_power, tempering_valve
from hpwhsim.simulation.source_results import (
    lines_of_year,
    source_cautions,
    source_record,
)
from hpwhsim.simulation.unusual_plant import usual_cautions, usual_year
from hpwhsim.simulation.years import Marched, march_each
from hpwhsim.tables import read_table

if TYPE_CHECKING:
    import xarray as xr

Record = dict[str, object]

FUELS = {"gas": "natural-gas", "oil": "fuel-oil", "steam": "district-steam"}
ONE_SEED = "one year of random draws"
"""How the caution begins that no other year of draws stands behind the peaks."""


class Year(NamedTuple):
    """What a year gave; of several years, what the last one gave."""

    hourly: dict[str, Array]  # by the names of tables/results.csv, each (8760,)
    record: Record  # the annual record, in the order of tables/results.csv
    machine: PerformanceMap | None  # of one module; None without a heat pump
    quarter_kw: Array  # (35040,) electric power, mean of each quarter of an hour, kW
    made: Made  # the machine as built, its capacity and lines
    connected: Connected  # the most that each part may draw
    country: str  # of the weather file; empty: not known

    @property
    def assumptions(self) -> list[Assumption]:
        """Every default in force, with its source."""
        return cast("list[Assumption]", self.record["assumptions"])

    @property
    def cautions(self) -> list[str]:
        """What limits the use of the year."""
        return cast("list[str]", self.record["cautions"])


class Ready(NamedTuple):
    """A scenario that is set up to be marched."""

    loaded: Loaded
    weather: WeatherYear
    assembly: Assembly


def built(loaded: Loaded, weather: WeatherYear, served: Sequence[Scenario] = ()) -> Ready:
    """A scenario set up in its weather; with `served`, its plant has the draws of these buildings, added.

    Raises
    ------
    InputError
        If the plant cannot work as asked.
    """
    # `assemble` asks for columns and attributes alone: no need to load xarray
    return Ready(loaded, weather, assemble(loaded.scenario, cast("xr.Dataset", weather), served))


def unmarched(ready: Ready) -> Ready:
    """A copy of a plant that was not marched yet, to be set up with other draws after that was."""
    state = deepcopy(ready.assembly.state)
    return ready._replace(assembly=ready.assembly._replace(state=state))


def reseeded(ready: Ready, loaded: Loaded) -> Ready:
    """A plant that was never marched with the draws of `loaded`, from which it differs in its seed alone."""
    if loaded.scenario.plant.source_kind == "wastewater":  # whose sewage is that of the draws
        return built(loaded, ready.weather)
    latitude = float(ready.weather.attrs["latitude"])
    return ready._replace(loaded=loaded, assembly=with_draws(ready.assembly, loaded.scenario, latitude))


def run_year(loaded: Loaded) -> Year:
    """March the year of a scenario that has been read.

    Raises
    ------
    InputError
        If the weather file is wrong, or the plant cannot work as asked.
    """
    return year_of(run_years([loaded])[0])


def run_years(cases: Iterable[Loaded]) -> list[Year | InputError]:
    """March the years of independent scenarios at once, a thread for each core.

    Set-up and accounts are done in the calling thread, one case after another, and a weather file that
    several name is read once.

    Returns
    -------
    list of Year or InputError
        Of each case what `run_year` gives, or raises.
    """
    weather: dict[Path, WeatherYear] = {}
    ready: list[Ready | InputError] = []
    for loaded in cases:
        path = loaded.scenario.site.weather
        try:
            if path not in weather:
                weather[path] = read_year(path)
            with loaded.named():
                ready.append(built(loaded, weather[path]))
        except InputError as error:
            ready.append(error)
    years = iter(years_ready([case for case in ready if isinstance(case, Ready)]))
    return [case if isinstance(case, InputError) else next(years) for case in ready]


def years_ready(ready: Sequence[Ready]) -> list[Year | InputError]:
    """March the years of plants that are set up, a thread for each core.

    Returns
    -------
    list of Year or InputError
        Of each plant its year, or why its accounts cannot be had.
    """
    ends = [
        sewage_range.at_ends(case.assembly) if sewage_range.is_unmeasured(case.loaded.scenario) else []
        for case in ready
    ]
    plants = [(case.assembly, case.loaded.scenario.run.years) for case in ready]
    plants += [(other, 1) for pair in ends for other in pair]
    all_marched = march_each(plants)
    marched, others = iter(all_marched[: len(ready)]), iter(all_marched[len(ready) :])
    end_years = iter(
        [sewage_range.end_years(pair, [next(others) for _ in pair]) if pair else None for pair in ends]
    )
    found: list[Year | InputError] = []
    for case in ready:
        try:
            with case.loaded.named():
                found.append(_accounted(case, next(marched), next(end_years)))
        except InputError as error:
            found.append(error)
    return found


def year_of(found: Year | InputError) -> Year:
    """The year, if there is one; if not, its error is raised."""
    if isinstance(found, InputError):
        raise found
    return found


def _accounted(ready: Ready, marched: Marched, ends: sewage_range.EndYears | None) -> Year:
    """The accounts of a year that was marched."""
    loaded, weather, assembly = ready
    scenario, out = loaded.scenario, marched.last
    hourly = plant_hourly(scenario, assembly, out, np.asarray(weather["dry_bulb_c"].values))
    lines = lines_of_year(scenario, assembly, out, hourly)
    quarter_kw = quarter_power(out) + np.tile(np.repeat(assembly.loop_pump, 4), 365) / 1000.0
    hourly["power_peak_kw"] = quarter_kw.reshape(HOURS, 4).max(axis=1)
    if lines is not None:
        hourly["trace_heating_kwh"] = lines.trace_kwh
        hourly["line_loss_kwh"] = lines.loss_kwh
        hourly["line_standing_loss_kwh"] = lines.standing_kwh
        hourly["electricity_kwh"] = hourly["electricity_kwh"] + lines.trace_kwh
        hourly["source_heat_kwh"] = hourly["source_heat_kwh"] + lines.loss_kwh
        quarter_kw += np.repeat(lines.trace_kwh, 4)
        hourly["power_peak_kw"] = quarter_kw.reshape(HOURS, 4).max(axis=1)
    machine = assembly.plant.machine if assembly.plant.modules > 0 else None
    record = _record(loaded, weather, assembly, marched, hourly, quarter_kw, lines, ends)
    country = str(weather.attrs["country"])
    return Year(hourly, record, machine, quarter_kw, assembly.made, connected(assembly), country)


def to_dataset(year: Year) -> "xr.Dataset":
    """The hourly results as a dataset over ``time``; names, units and signs from tables/results.csv."""
    import xarray as xr

    time = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[h]").astype("datetime64[ns]")
    variables = {}
    for row in read_table("results"):
        if row["name"] in year.hourly:
            attrs = {"units": row["unit"], "long_name": row["long_name"]}
            if row["sign"]:
                attrs["sign"] = row["sign"]
            variables[row["name"]] = ("time", year.hourly[row["name"]], attrs)
    attrs = {
        key: str(year.record[key]) for key in ("title", "scenario.sha256", "weather.sha256", "tool.version")
    }
    axis = {"long_name": "start of the hour, local standard time of a nominal year"}
    return xr.Dataset(variables, coords={"time": ("time", time, axis)}, attrs=attrs)


def _seed_caution(scenario: Scenario) -> list[str]:
    """The caution on every year of random draws: its peaks come from one seed."""
    if scenario.hot_water.draws != "random" or scenario.hot_water.metered is not None:
        return []
    return [
        f"{ONE_SEED} (hot_water.seed {scenario.hot_water.seed}) gives peak power, demand charges and power "
        "in peak hours; --seeds N gives P10, median and P90 over N years of draws"
    ]


def _sewage_caution(ends: sewage_range.EndYears, hourly: dict[str, Array]) -> list[str]:
    """The caution of sewage that nobody measured."""
    hours = energy.by_month(np.ones(HOURS))
    flow = energy.by_month(hourly["sewage_m3"])
    heat = energy.by_month(np.nan_to_num(hourly["sewage_c"]) * hourly["sewage_m3"])
    months = heat[flow > 0.0] / flow[flow > 0.0]
    if months.size == 0:
        return []
    return [sewage_range.caution(ends, months, energy.by_month(hourly["mains_c"]) / hours)]


def _not_called(scenario: Scenario, out: Hourly) -> float:
    """Hours of backup in which the store did not call for the heat pump, but for those meant so. [h]"""
    if scenario.plant.controls.pasteurise is not None:  # the backup's own heat-up
        return 0.0
    return float(out.backup_seconds[Cause.NOT_CALLED].sum()) / 3600.0


def fuel_factor(scenario: Scenario, given: float | None) -> float:
    """Source energy over site energy of the plant's fuel, as given or packaged; 1 where it burns none."""
    kind = scenario.plant.backup.kind
    if given is not None or kind not in FUELS:
        return 1.0 if given is None else given
    return site_to_source(FUELS[kind])


def _record(
    loaded: Loaded,
    weather: WeatherYear,
    assembly: Assembly,
    marched: Marched,
    hourly: dict[str, Array],
    quarter_kw: Array,
    lines: LinesYear | None,
    ends: sewage_range.EndYears | None,
) -> Record:
    """The annual record, keys in the order of tables/results.csv."""
    scenario, plant, out = loaded.scenario, assembly.plant, marched.last
    sums = energy.totals(hourly)
    change = store_change(plant, out, marched.start)
    lowest_top = float(out.store_top.min())
    returns = None
    if scenario.recirculation is not None:
        to_loop = hourly.get("loop_tank_c", leaving(hourly))
        excess = np.minimum(to_loop, plant.loop_limit) - plant.loop_ambient
        reach = np.maximum(excess, 0.0) / (plant.loop_supply - plant.loop_ambient)
        below = np.tile(assembly.loop_coldest, 365) - plant.loop_ambient
        returns = plant.loop_ambient + below * reach
    valve = tempering_valve(scenario, assembly, hourly)
    hottest = np.maximum(out.store_mean, assembly.drive.outlet if plant.modules > 0 else out.store_top)
    if "supply_c" in hourly:
        hottest = np.maximum(hottest, np.where(out.backup_heat > 0.0, assembly.drive.backup_setpoint, 0.0))
    if valve is not None:
        hottest = np.where(valve.uncontrolled, hottest, np.minimum(hottest, valve.setpoint_c))
    found_hygiene = hygiene(
        store_top_c=out.store_top,
        store_mean_c=out.store_mean,
        store_coldest_c=out.store_bottom,
        loop_tank_c=hourly.get("loop_tank_c"),
        hottest_c=hottest,
        return_c=returns,
        taps_kwh=max(sums["heat_to_taps_kwh"], 0.0),  # below 0 by rounding where nothing is drawn
        loop_kwh=max(sums["recirculation_loss_kwh"], 0.0),
    )
    performance = energy.performance(
        hourly,
        scenario.savings.electricity_to_source or site_to_source("electricity"),
        fuel_factor(scenario, scenario.savings.fuel_to_source),
        site_to_source("natural-gas"),
    )
    found: Record = {
        "hygiene": [row._asdict() for row in found_hygiene.rows],
        "pasteurised_weeks": {f"{item.at_c:g} degC": item.weeks for item in found_hygiene.pasteurised},
        "recirculation_share": found_hygiene.recirculation_share,
        **sums,
        **performance,
        **energy.peaks(quarter_kw),
        "store_min_top_c": lowest_top,
        "store_change_kwh": change,
        "balance_error": energy.balance_error(sums, change),
        "backup_hours_by_cause": adequacy.hours_by_cause(out.backup_seconds, CAUSE_NAMES),
        "short_hours_by_cause": adequacy.hours_by_cause(out.short_seconds, CAUSE_NAMES),
        "assumptions": assembly.assumptions,
        "cautions": [
            *loaded.said,
            *assembly.cautions,
            *usual_cautions(scenario, assembly),
            *usual_year(scenario, found_hygiene.recirculation_share, performance.get("cop_plant")),
            *source_cautions(scenario, assembly, out, hourly),
            *(_sewage_caution(ends, hourly) if ends is not None else ()),
            *(lines.cautions if lines is not None else ()),
            *adequacy.cautions(
                short_hours=sums["short_hours"],
                short_litres=sums["short_litres"],
                minimum_c=plant.minimum_temperature,
                edge_hours=sums.get("edge_hours", 0.0),
                supply_min_c=float(leaving(hourly).min()),
                run_hours=sums.get("run_hours"),
                not_called_hours=_not_called(scenario, out),
                starts=out.module_starts[: plant.modules],
                module_hours=out.module_run[: plant.modules] / 3600.0,
            ),
            *_seed_caution(scenario),
            *hygiene_cautions(found_hygiene),
            *(valve_cautions(valve) if valve is not None else ()),
            *adequacy.safety(
                refrigerant=scenario.plant.heat_pump.refrigerant if scenario.plant.heat_pump else None,
                setpoint_c=scenario.plant.storage.setpoint,
            ),
        ],
        "title": scenario.title,
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
        "weather.sha256": weather.attrs["sha256"],
        "inputs.sha256": assembly.digest,
        "weather.station": weather.attrs["station"],
    }
    for key in ("electricity_kwh", "resistance_kwh", "heat_to_taps_kwh", "hot_water_litres"):
        found[f"monthly.{key}"] = [float(v) for v in energy.by_month(hourly[key])]
    if scenario.plant.backup.kind in FUELS:
        found["fuel"] = FUELS[scenario.plant.backup.kind]
    if valve is not None:
        found["valve_uncontrolled_hours"] = float(valve.uncontrolled.sum())
        found["valve_over_hours"] = float(valve.over.sum())
        found["valve_starved_hours"] = float(valve.starved.sum())
    if plant.modules > 0:
        found |= source_record(assembly, out, hourly)
        found["module_run_hours"] = [float(s) / 3600.0 for s in out.module_run[: plant.modules]]
        found["module_starts"] = [int(n) for n in out.module_starts[: plant.modules]]
    if assembly.made.lines is not None:
        found["line_charge_kg"] = assembly.made.lines.charge_kg * plant.modules
        found["line_capacity_factor"] = assembly.made.lines.capacity
        found["line_power_factor"] = assembly.made.lines.power
    if lines is not None:
        found["freeze_exposed_hours"] = lines.freeze_hours
        found["freeze_standing_hours"] = lines.standing_freeze_hours
        if lines.outage is not None:
            found["outage_ice_starts"] = lines.outage.ice_begins
            found["outage_blocked_starts"] = lines.outage.blocked
            found["outage_ice_share"] = float(lines.outage.ice_share.max())
    if ends is not None:
        found |= sewage_range.range_record(ends)
    found |= {f"yearly.{name}": values for name, values in marched.yearly.items()}
    return {name: found[name] for name in declarations() if name in found}
