"""Plants on their design days: passed or failed by the criteria, and the least store that passes."""

from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.errors import InputError
from hpwhsim.plant.arrays import Plant
from hpwhsim.plant.assemble import Assembly, assemble, cold_water, store_column
from hpwhsim.scenario.schema import Scenario, Sizing, Source
from hpwhsim.study.design_days import LENGTHS, DesignDays, Judged, design_air, design_days, judge, shifted

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]

LARGEST, SMALLEST = 4.0, 0.02  # stores that are tried, over the hot water of the largest day
STRIDE = 1.25  # about, from one store that is tried to the next
GRID = np.geomspace(SMALLEST, LARGEST, 1 + round(float(np.log(LARGEST / SMALLEST) / np.log(STRIDE))))
NEAR = 0.005  # of a store, that close its least volume is found
ROUNDING = 1e-9  # m³ that is no water


class Bench(NamedTuple):
    """A scenario on its design days, ready to try plants."""

    scenario: Scenario
    sizing: Sizing
    weather: "xr.Dataset"
    assembly: Assembly  # as written
    design: DesignDays
    drawn_light: Scenario  # as written, with draws that are quick to make; those of `design` count
    light: Scenario  # and with a machine and a source that are quick to make; they are replaced
    bases: dict[tuple[int, int], Assembly]  # by number of modules and of tanks, as they are asked for
    day_litres: float  # hot water of the largest of the days, at outlet temperature


class Trial(NamedTuple):
    """A plant on the design days."""

    failed: tuple[str, ...]  # criteria; n-1 is looked at where the others hold
    whole: Judged
    one_out: Judged | None  # with one module out

    @property
    def passes(self) -> bool:
        """Whether every criterion holds."""
        return not self.failed


class Failing(NamedTuple):
    """Neighbouring stores of the grid that fail."""

    first: float  # m³
    last: float  # m³
    criteria: tuple[str, ...]  # all that one or more of them fail


class Least(NamedTuple):
    """The smallest store that passes."""

    volume: float  # inf: none of those tried, m³
    fails: float  # the next smaller one that was tried; 0: none, the smallest of all passes, m³
    trial: Trial  # of that store; of the largest where none passes
    again: tuple[Failing, ...]  # larger ones that fail


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
    hot_water = scenario.hot_water
    length = LENGTHS[days or sizing.days]
    first = water = None
    air = np.asarray(weather["dry_bulb_c"].values)
    asked = design_air(sizing, air)
    if asked is not None:  # the plant as written was assembled in other air
        water = float(cold_water(scenario, air, float(weather.attrs["latitude"]), []).min())
        weather, first = shifted(weather, length, asked)
        assembly = None
    if assembly is None:
        assembly = assemble(scenario, weather)
    drawn = hot_water.draws == "random" or hot_water.metered is not None
    peak = sizing.peak_day or ("drawn" if drawn else "handbook")
    dry_bulb = np.asarray(weather["dry_bulb_c"].values)
    design = design_days(
        assembly,
        dry_bulb,
        length,
        peak,
        scenario.building.apartments,
        scenario.run.years,
        first=first,
        cold_water=water,
    )
    mean = float(assembly.drive.use.sum()) / 365.0 / scenario.building.apartments
    plain = {"metered": None, "draws": "smooth", "daily_use_per_apartment": mean}
    drawn_light = scenario.model_copy(update={"hot_water": hot_water.model_copy(update=plain)})
    own = {"lines": None, "water_lines": None}  # already in the machine of the plant as written
    machine = scenario.plant.heat_pump.model_copy(update=own)
    outdoors = {"family": "central-air", "source": Source(), "heat_pump": machine}
    light = drawn_light.model_copy(update={"plant": scenario.plant.model_copy(update=outdoors)})
    bases = {(assembly.plant.modules, scenario.plant.storage.tanks): assembly}
    bench = Bench(scenario, sizing, weather, assembly, design, drawn_light, light, bases, 0.0)
    by_day = hot_litres(bench).reshape(design.days.size, -1).sum(axis=1)
    return bench._replace(day_litres=float(by_day.max()))


def sized(scenario: Scenario, modules: int, volume: float, tanks: int | None = None) -> Scenario:
    """The scenario with another number of modules and another store [m³]."""
    heat_pump = scenario.plant.heat_pump
    assert heat_pump is not None  # make_bench wants it
    store: dict[str, object] = {"volume": volume}
    if tanks is not None:
        store["tanks"] = tanks
    plant = scenario.plant.model_copy(
        update={
            "heat_pump": heat_pump.model_copy(update={"modules": modules}),
            "storage": scenario.plant.storage.model_copy(update=store),
        }
    )
    return scenario.model_copy(update={"plant": plant})


def plant_of(bench: Bench, modules: int, factor: float, volume: float, tanks: int | None = None) -> Plant:
    """A plant with `modules` modules of `factor` the capacity as written, and a store of `volume`. [m³]"""
    plant, machine = based(bench, modules, tanks).plant, bench.assembly.plant.machine
    return plant._replace(
        column=store_column(sized(bench.scenario, modules, volume, tanks), []),
        machine=machine._replace(capacity_w=factor * machine.capacity_w, power_w=factor * machine.power_w),
        outlet=plant.outlet.copy(),  # a march fills these, and several run at once
        speed=plant.speed.copy(),
    )


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


def with_tanks(bench: Bench, modules: int, tanks: int) -> Bench:
    """The bench for stores of another number of tanks: in series they are cut otherwise."""
    base = based(bench, modules, tanks)
    return bench._replace(design=bench.design._replace(start=base.start, series=base.series))


def try_plant(bench: Bench, plant: Plant) -> Trial:
    """Judge a plant by the criteria of the sizing block."""
    sizing, design = bench.sizing, bench.design
    litres = 1000.0 * (sizing.short_volume + ROUNDING)
    whole = judge(design, plant)
    holds = {
        "short-litres": whole.short_litres <= litres,
        "run-hours": whole.run_hours <= sizing.run_hours / 3600.0,  # NaN is no pass
        "backup-share": whole.backup_share <= sizing.backup_share,
    }
    failed = tuple(name for name, held in holds.items() if name in sizing.criterion and not held)
    one_out = None
    if not failed and "n-1" in sizing.criterion:
        one_out = judge(design, plant._replace(modules=plant.modules - 1))
        failed = () if one_out.short_litres <= litres else ("n-1",)
    return Trial(failed, whole, one_out)


def least_store(bench: Bench, modules: int, factor: float, plain: int = 0, beyond: bool = False) -> Least:
    """Smallest store that passes.

    Stores about a quarter apart (`GRID`) are tried from the smallest up; between the first that passes and
    the one before, which fails, bisection finds an edge. A larger store is not always the safer one: it may
    have been charged last before the machine had to stand, or not. So the edge is ragged by a few percent (a
    little below it a store may pass again), and `beyond` tries the larger stores too.

    Parameters
    ----------
    bench, modules, factor
        As for `plant_of`.
    plain : int
        0: the store as it is; 1: all of it is heated; 2: and nothing in it mixes.
    beyond : bool
        Whether to say which of the larger stores fail.
    """

    def tried(volume: float) -> Trial:
        return try_plant(bench, _plain(plant_of(bench, modules, factor, volume), plain))

    grid = GRID * bench.day_litres / 1000.0
    trials = []
    for volume in grid:
        trials.append(tried(volume))
        if trials[-1].passes:
            break
    high, trial = float(grid[len(trials) - 1]), trials[-1]
    if not trial.passes:
        return Least(np.inf, high, trial, ())
    low = float(grid[len(trials) - 2]) if len(trials) > 1 else 0.0
    while low > 0.0 and high - low > NEAR * high:
        middle = float(np.sqrt(low * high))
        found = tried(middle)
        if found.passes:
            high, trial = middle, found
        else:
            low = middle
    larger = [(float(v), tried(v).failed) for v in grid[len(trials) :]] if beyond else []
    again = []
    for fails, stretch in groupby(larger, key=lambda pair: bool(pair[1])):
        stores = list(stretch)
        if fails:
            names = {name for _, failed in stores for name in failed}
            again.append(Failing(stores[0][0], stores[-1][0], tuple(sorted(names))))
    return Least(high, low, trial, tuple(again))


def _plain(plant: Plant, level: int) -> Plant:
    """The plant with an ideal store: 1, charged from the foot as soon as it is not full; 2, unmixed too."""
    if level >= 1:
        controls = plant.controls
        plant = plant._replace(
            controls=controls._replace(
                start_level=0.5, stop_level=0.0, start_at=controls.stop_at, stage_delay=0.0, minimum_off=0.0
            )
        )
    if level >= 2:
        plant = plant._replace(column=plant.column._replace(mixed_cells=0, diffusion=0.0))
    return plant


def hot_litres(bench: Bench) -> Array:
    """Water at outlet temperature that the taps take in each step of the design days, (step,). [L]"""
    drive, scenario = bench.design.drive, bench.scenario
    mains = np.repeat(drive.mains, drive.use.size // drive.mains.size)
    rise = np.maximum(scenario.hot_water.use_temperature - mains, 0.0)
    return np.asarray(1000.0 * drive.use * rise / (scenario.outlet_temperature - mains))
