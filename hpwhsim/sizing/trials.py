"""Plants on their design days: passed or failed by the criteria.

With random draws the days are those of many years of draws, each with its own largest day: a plant passes
where no more of these years fail than `allowed_failures` lets.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.cold_days import LENGTHS
from hpwhsim.errors import InputError
from hpwhsim.io.units import DAILY_VOLUME, VOLUME, as_text
from hpwhsim.last_digits import settled
from hpwhsim.plant.arrays import Plant, SourceKind
from hpwhsim.plant.assemble import Assembly, assemble, cold_water, store_column
from hpwhsim.scenario.reading import changed
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sizing import Sizing, allowed_failures
from hpwhsim.simulation.draw_seeds import next_seeds
from hpwhsim.simulation.years import at_once
from hpwhsim.sizing.design_days import (
    DesignDays,
    Judged,
    at_share,
    design_air,
    design_days,
    judge,
    may_charge,
    shifted,
)
from hpwhsim.sizing.mass_curve import least_storage
from hpwhsim.sizing.seeds import Cut, Draws, draws_of, own_draws
from hpwhsim.storage.layers import RHO_CP, Column

if TYPE_CHECKING:
    import xarray as xr


NEEDIEST = 4  # years of draws on which larger stores, and other heights, are tried
ROUNDING = 1e-9  # m³ that is no water


class Bench(NamedTuple):
    """A scenario on its design days, ready to try plants."""

    scenario: Scenario
    sizing: Sizing
    weather: "xr.Dataset"
    assembly: Assembly  # as written
    design: DesignDays
    drawn_light: Scenario  # as written, with draws that are quick to make; those of `design` count
    light: Scenario  # and with a heat pump and a source that are quick to make; they are replaced
    bases: dict[tuple[int, int], Assembly]  # by number of modules and of tanks, as they are asked for
    day_litres: float  # hot water of the largest of the days, at outlet temperature; of the years, as allowed
    cut: Cut  # how the days are cut out of a year
    draws: tuple[Draws, ...]  # of the years that are judged, the scenario's own first; none: of its own alone
    orders: dict[float, tuple[Draws, ...]]  # the same, neediest first, by capacity, as they are asked for
    allowed: int  # of them that may fail
    criterion: tuple[str, ...]  # by which plants are judged
    short_volume: float  # unmet hot water that passes [m³]


class Trial(NamedTuple):
    """A plant on the design days: with its own draws where it passes, with the first that failed where not.

    Where more years fail than may, the others are not tried.
    """

    failed: tuple[str, ...]  # criteria; n-1 is looked at where the others hold
    whole: Judged
    one_out: Judged | None  # with one module out
    seed: int = -1  # of the draws; -1: those of the scenario
    failing: tuple[int, ...] = ()  # seeds of the years that failed, neediest first
    tried: int = 1  # years

    @property
    def passes(self) -> bool:
        """Whether every criterion holds."""
        return not self.failed


def make_bench(
    scenario: Scenario, weather: "xr.Dataset", days: str | None = None, assembly: Assembly | None = None
) -> Bench:
    """Put a scenario on its design days.

    Parameters
    ----------
    scenario, weather
        The plant as written, and its year.
    days : str, optional
        In place of those of the scenario's sizing block.
    assembly : Assembly, optional
        The plant as written, where it is assembled already.

    Raises
    ------
    InputError
        If the plant has no heat pump.
    """
    if scenario.plant.heat_pump is None:
        raise InputError(f"plant.family: got {scenario.plant.family}; sizing needs a plant with a heat pump")
    sizing = scenario.sizing or Sizing()
    scenario = with_design_spread(scenario)
    hot_water = scenario.hot_water
    length = LENGTHS[days or sizing.days]
    first = water = None
    air = np.asarray(weather["dry_bulb_c"].values)
    asked = design_air(sizing, air)
    if asked is not None:  # the plant as written was assembled in other air
        water = float(settled(cold_water(scenario, air, float(weather.attrs["latitude"]), [])).min())
        weather, first = shifted(weather, length, asked)
        assembly = None
    if assembly is None:
        assembly = assemble(scenario, weather)
    drawn = hot_water.draws == "random" or hot_water.metered is not None
    peak = sizing.peak_day or ("drawn" if drawn else "handbook")
    dry_bulb = np.asarray(weather["dry_bulb_c"].values)
    more = {"first": first, "cold_water": water}
    cut = Cut(dry_bulb, length, peak, scenario.building.apartments, more)
    design = design_days(assembly, *cut[:4], scenario.run.years, **cut.more)
    mean = float(assembly.drive.use.sum()) / 365.0 / scenario.building.apartments
    use = as_text(mean, DAILY_VOLUME)
    plain = ["metered=null", "draws=smooth", f"daily_use_per_apartment={use}"]
    drawn_light = changed(scenario, [f"hot_water.{key}" for key in plain], Path())
    # the lines are already in the machine of the plant as written
    outdoors = ["family=central-air", "source=null", "heat_pump.lines=null", "heat_pump.water_lines=null"]
    light = changed(drawn_light, [f"plant.{key}" for key in outdoors], Path())
    bases = {(assembly.plant.modules, scenario.plant.storage.tanks): assembly}
    bench = Bench(
        scenario=scenario,
        sizing=sizing,
        weather=weather,
        assembly=assembly,
        design=design,
        drawn_light=drawn_light,
        light=light,
        bases=bases,
        day_litres=0.0,
        cut=cut,
        draws=(),
        orders={},
        allowed=0,
        criterion=sizing.criterion,
        short_volume=sizing.max_unmet_volume,
    )
    return bench._replace(day_litres=_largest_day(bench))


def with_design_spread(scenario: Scenario) -> Scenario:
    """The scenario with random draws whose days spread as a design envelope does, not as one building's year.

    The handbook's largest day and hour were found over many buildings: `size` is to bear them, a typical
    year is not to have them.
    """
    hot_water, sizing = scenario.hot_water, scenario.sizing or Sizing()
    if hot_water.draws != "random" or hot_water.day_spread >= sizing.day_spread:
        return scenario
    return changed(scenario, [f"hot_water.day_spread={sizing.day_spread}"], Path())


def with_seeds(bench: Bench, years: int) -> Bench:
    """The bench with the draws of `years` years: the scenario's own and those of the seeds after it."""
    own = own_draws(bench.scenario, bench.design)
    draws = (own, *new_years(bench, next_seeds(bench.scenario, 1, years - 1)))
    allowed = max(allowed_failures(years, bench.sizing.min_probability), 0)
    largest = sorted(_largest_day(alone(bench, one)) for one in draws)
    return bench._replace(draws=draws, orders={}, allowed=allowed, day_litres=largest[-1 - allowed])


def new_years(bench: Bench, seeds: Sequence[int]) -> tuple[Draws, ...]:
    """The draws of other years on the design days."""
    from tqdm import tqdm

    bar = tqdm(seeds, unit="year of draws", leave=False, disable=None)  # None: not in a pipe
    return tuple(
        draws_of(bench.scenario, bench.light, bench.weather, bench.design, bench.cut, seed) for seed in bar
    )


def alone(bench: Bench, draws: Draws) -> Bench:
    """The bench with the draws of one year."""
    return bench._replace(design=draws.on(bench.design), draws=(), orders={}, allowed=0)


def hardest(bench: Bench, capacity: float, count: int) -> Bench:
    """The bench with its `count` neediest years alone, beside those that may fail. `capacity` in W."""
    if not bench.draws:
        return bench
    first = ordered(bench, capacity)[: count + bench.allowed]
    return bench._replace(draws=first, orders={})


def ordered(bench: Bench, capacity: float) -> tuple[Draws, ...]:
    """The years of draws, neediest first: by the mass curve of their design days at a capacity [W].

    A plant that fails is then mostly known to after one year. The order decides nothing else.
    """
    key = round(capacity, 3)
    if key not in bench.orders:
        design, drive = bench.design, bench.design.drive
        air = bench.assembly.plant.sources.kind == SourceKind.OUTDOOR_AIR
        output = design.output / (bench.assembly.made.capacity if air else 1.0)
        steps = drive.use.size // drive.mains.size
        share = np.repeat(output, steps) * may_charge(drive)
        rise = float((bench.scenario.outlet_temperature - drive.mains).mean())
        litres_hour = capacity / (RHO_CP * rise) * 3.6e6

        def need(draws: Draws) -> tuple[float, float, int]:
            litres = hot_litres(alone(bench, draws))
            store = float(least_storage(litres, litres_hour, share, steps).storage[0])
            return store, float(litres.reshape(design.days.size, -1).sum(axis=1).max()), -draws.seed

        bench.orders[key] = tuple(sorted(bench.draws, key=need, reverse=True))
    return bench.orders[key]


def _largest_day(bench: Bench) -> float:
    return float(hot_litres(bench).reshape(bench.design.days.size, -1).sum(axis=1).max())


def sized(scenario: Scenario, modules: int, volume: float, tanks: int | None = None) -> Scenario:
    """The scenario with another number of modules and another store [m³]."""
    keys = [f"plant.heat_pump.modules={modules}", f"plant.storage.volume={as_text(volume, VOLUME)}"]
    if tanks is not None:
        keys.append(f"plant.storage.tanks={tanks}")
    return changed(scenario, keys, Path())


def plant_of(bench: Bench, modules: int, factor: float, volume: float, tanks: int | None = None) -> Plant:
    """A plant with `modules` modules of `factor` the capacity as written, and a store of `volume`. [m³]

    Rounded as `assemble` does, so that it is the plant that somebody would write with these numbers.
    """
    plant, machine = based(bench, modules, tanks).plant, bench.assembly.plant.machine
    if factor != 1.0:
        machine = settled(
            machine._replace(capacity_w=factor * machine.capacity_w, power_w=factor * machine.power_w)
        )
    column = settled(store_column(sized(bench.scenario, modules, volume, tanks), []))
    return at_heights(plant, column, volume)._replace(
        machine=machine,
        outlet=plant.outlet.copy(),  # a march fills these, and several run at once
        speed=plant.speed.copy(),
    )


def at_heights(plant: Plant, column: Column, volume: float) -> Plant:
    """The plant on another store: all ports and sensors at the same shares of its height.

    `volume` is that of the column before it was rounded, as heights are worked out from it. [m³]
    """
    ports = ("intake_port", "return_port", "draw_port", "loop_port", "condenser_top", "reserve_level")
    places = [getattr(plant, name) for name in ports]
    places += [plant.controls.start_level, plant.controls.stop_level]
    *moved, start, stop = at_share(np.array(places), plant.column.volume, volume).tolist()
    controls = plant.controls._replace(start_level=start, stop_level=stop)
    return plant._replace(column=column, controls=controls, **dict(zip(ports, moved, strict=True)))


def based(bench: Bench, modules: int, tanks: int | None = None) -> Assembly:
    """The plant as written with other numbers of modules and of tanks; made when first asked for."""
    written, scenario = bench.assembly.plant, bench.scenario
    key = (modules, tanks or scenario.plant.storage.tanks)
    if key not in bench.bases:
        volume = scenario.plant.storage.volume
        made = assemble(sized(bench.light, modules, volume, key[1]), bench.weather)
        known = [base.plant.sources for (number, _), base in bench.bases.items() if number == modules]
        if not known:
            other = assemble(sized(bench.drawn_light, modules, volume, key[1]), bench.weather)
            known = [other.plant.sources]
        plant = made.plant._replace(
            sources=known[0],
            lines=written.lines,
            coil=written.coil,
            gas_share=written.gas_share,
            lowest_source=written.lowest_source,
            highest_inlet=written.highest_inlet,
        )
        bench.bases[key] = made._replace(plant=plant)
    return bench.bases[key]


def try_plant(bench: Bench, plant: Plant) -> Trial:
    """Judge a plant by the criteria of the sizing block, on the design days of all years of draws."""
    if not bench.draws:
        return try_year(bench, plant)
    own, first, failing = None, None, []
    years = ordered(bench, capacity_of(bench, plant))
    for tried, draws in enumerate(years, 1):
        trial = try_year(alone(bench, draws), plant)
        own = trial if draws is bench.draws[0] else own
        if not trial.passes:
            first = first or trial._replace(seed=draws.seed)
            failing.append(draws.seed)
            if len(failing) > bench.allowed:
                return first._replace(failing=tuple(failing), tried=tried)
    assert own is not None  # it is one of the years
    seed = bench.draws[0].seed
    return own._replace(failed=(), seed=seed, failing=tuple(failing), tried=len(years))


def failing_years(bench: Bench, plant: Plant) -> tuple[int, ...]:
    """Seeds of all years of draws on whose design days the plant fails."""
    found = at_once(lambda draws: try_year(alone(bench, draws), plant, brief=True).passes, bench.draws)
    return tuple(draws.seed for draws, passes in zip(bench.draws, found, strict=True) if not passes)


def capacity_of(bench: Bench, plant: Plant) -> float:
    """Capacity at the rating of a plant made by `plant_of`. [W]"""
    here, written = (np.nanmax(p.machine.capacity_w) for p in (plant, bench.assembly.plant))
    return float(here / written) * plant.modules * bench.assembly.made.capacity


def try_year(bench: Bench, plant: Plant, brief: bool = False) -> Trial:
    """Judge a plant on the design days of one year of draws.

    Where only passing counts, `brief` looks at the plant with one module out first: most that fail, fail so.
    What else such a plant fails is then not known, and `whole` is the plant with one module out.
    """
    sizing, design = bench.sizing, bench.design
    litres = 1000.0 * (bench.short_volume + ROUNDING)
    one_out = None
    if brief and "n-1" in bench.criterion:
        one_out = judge(design, plant._replace(modules=plant.modules - 1))
        if one_out.short_litres > litres:
            return Trial(("n-1",), one_out, one_out)
    whole = judge(design, plant)
    holds = {
        "short-litres": whole.short_litres <= litres,
        "run-hours": whole.run_hours <= sizing.max_run_hours / 3600.0,  # NaN is no pass
        "backup-share": whole.backup_share <= sizing.max_backup_share,
    }
    failed = tuple(name for name, held in holds.items() if name in bench.criterion and not held)
    if not failed and "n-1" in bench.criterion:
        one_out = one_out or judge(design, plant._replace(modules=plant.modules - 1))
        failed = () if one_out.short_litres <= litres else ("n-1",)
    return Trial(failed, whole, one_out)


def hot_litres(bench: Bench) -> Array:
    """Water at outlet temperature that the taps take, (part of an hour of the design days,). [L]"""
    drive, scenario = bench.design.drive, bench.scenario
    mains = np.repeat(drive.mains, drive.use.size // drive.mains.size)
    rise = np.maximum(scenario.hot_water.use_temperature - mains, 0.0)
    return np.asarray(1000.0 * drive.use * rise / (scenario.outlet_temperature - mains))
