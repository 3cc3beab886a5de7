"""Storage against capacity: the least store for each capacity, by the engine itself on design days.

The engine's curve stands beside the classical mass curve over the same days. Between the two lie, one by one,
the cold-day capacity of the machine, the loop and the loss of the store, and what a real store cannot give:
its thermocline, the stirred foot, and the water that is cold already when the start sensor notices; and loop
water that comes back lukewarm, which holds less heat and warms what the machine gets.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.errors import InputError
from hpwhsim.heatpump.maps import look_up
from hpwhsim.plant.arrays import Plant, Sources, WaterSide
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.schema import Scenario, Sizing, Source
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.design_days import LENGTHS, DesignDays, Judged, design_days, judge
from hpwhsim.study.mass_curve import least_recovery, least_storage

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]

RUN_HOURS = (22.0, 20.0, 18.0, 16.0, 14.0, 12.0, 10.0, 8.0, 6.0)  # of the curve
LARGEST, SMALLEST = 4.0, 0.01  # stores that are tried, over the hot water of the largest day
AMPLE = 4.0  # times the capacity as written, for a plant that is never short
COARSE, STRIDE = 2.0, 1.4  # between the stores that are tried, above the first that passes and below it
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
    sources: dict[int, Sources]  # by number of modules, as they are asked for
    day_litres: float  # hot water of the largest of the days, at outlet temperature


class Trial(NamedTuple):
    """A plant on the design days."""

    passes: bool
    whole: Judged
    one_out: Judged | None  # with one module out


class Point(NamedTuple):
    """One capacity of the trade-off curve; litres of store, inf where no store is enough."""

    capacity: float  # all modules at the rating, W
    run_hours: float  # a day, of full output by the capacity of the days with cold water at the machine
    storage: float  # least volume that passes, L
    classical: float  # mass curve with the rated capacity, loop and loss left out, usable L
    cold: float  # the same with the capacity of these days
    loaded: float  # and with loop and loss of the store
    sharp: float  # the engine, all of the store heated and nothing in it mixing, L; NaN: not asked for
    heated: float  # the engine, all of the store heated as soon as it is not full, L; NaN: not asked for


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
    if assembly is None:
        assembly = assemble(scenario, weather)
    drawn = hot_water.draws == "random" or hot_water.metered is not None
    peak = sizing.peak_day or ("drawn" if drawn else "handbook")
    dry_bulb = np.asarray(weather["dry_bulb_c"].values)
    design = design_days(
        assembly,
        dry_bulb,
        LENGTHS[days or sizing.days],
        peak,
        scenario.building.apartments,
        scenario.run.years,
    )
    mean = float(assembly.drive.use.sum()) / 365.0 / scenario.building.apartments
    plain = {"metered": None, "draws": "smooth", "daily_use_per_apartment": mean}
    drawn_light = scenario.model_copy(update={"hot_water": hot_water.model_copy(update=plain)})
    own = {"lines": None, "water_lines": None}  # already in the machine of the plant as written
    machine = scenario.plant.heat_pump.model_copy(update=own)
    outdoors = {"family": "central-air", "source": Source(), "heat_pump": machine}
    light = drawn_light.model_copy(update={"plant": scenario.plant.model_copy(update=outdoors)})
    sources = {assembly.plant.modules: assembly.plant.sources}
    bench = Bench(scenario, sizing, weather, assembly, design, drawn_light, light, sources, 0.0)
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
    plant = assemble(sized(bench.light, modules, volume, tanks), bench.weather).plant
    written = bench.assembly.plant
    machine = written.machine
    if modules not in bench.sources:
        other = sized(bench.drawn_light, modules, volume, tanks)
        bench.sources[modules] = assemble(other, bench.weather).plant.sources
    return plant._replace(
        sources=bench.sources[modules],
        machine=machine._replace(capacity_w=factor * machine.capacity_w, power_w=factor * machine.power_w),
        approach=written.approach,
        lowest_source=written.lowest_source,
        highest_inlet=written.highest_inlet,
    )


def try_plant(bench: Bench, plant: Plant) -> Trial:
    """Judge a plant by the criteria of the sizing block."""
    sizing, design = bench.sizing, bench.design
    litres = 1000.0 * (sizing.short_volume + ROUNDING)
    whole = judge(design, plant)
    passes = True
    if "short-litres" in sizing.criterion:
        passes &= whole.short_litres <= litres
    if "run-hours" in sizing.criterion:
        passes &= whole.run_hours <= sizing.run_hours / 3600.0  # NaN is no pass
    if "backup-share" in sizing.criterion:
        passes &= whole.backup_share <= sizing.backup_share
    one_out = None
    if passes and "n-1" in sizing.criterion:
        one_out = judge(design, plant._replace(modules=plant.modules - 1))
        passes &= one_out.short_litres <= litres
    return Trial(passes, whole, one_out)


def least_volume(bench: Bench, modules: int, factor: float, plain: int = 0) -> float:
    """Least store that passes, and so do the larger ones that are tried; inf where none does. [m³]

    A larger store is not always the safer one: it may have been charged last before the machine had to stand,
    or not. So stores some factor apart are tried from the largest down, past the first that passes to the
    next that fails, and the edge between those two is found by bisection.

    Parameters
    ----------
    bench, modules, factor
        As for `plant_of`.
    plain : int
        0: the store as it is; 1: all of it is heated; 2: and nothing in it mixes.
    """
    high = LARGEST * bench.day_litres / 1000.0

    def passes(volume: float) -> bool:
        plant = plant_of(bench, modules, factor, volume)
        return try_plant(bench, _plain(plant, plain)).passes

    least = SMALLEST * bench.day_litres / 1000.0
    while not passes(high):
        if high <= least:
            return np.inf
        high /= COARSE
    low = high / STRIDE
    while passes(low):
        if low <= least:
            return low
        high, low = low, low / STRIDE
    while high - low > NEAR * high:
        middle = float(np.sqrt(low * high))
        if passes(middle):
            high = middle
        else:
            low = middle
    return high


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


# -- the classical answer ------------------------------------------------------------------------------


def hot_litres(bench: Bench) -> Array:
    """Water at outlet temperature that the taps take in each step of the design days, (step,). [L]"""
    drive, scenario = bench.design.drive, bench.scenario
    mains = np.repeat(drive.mains, drive.use.size // drive.mains.size)
    rise = np.maximum(scenario.hot_water.use_temperature - mains, 0.0)
    return np.asarray(1000.0 * drive.use * rise / (scenario.plant.outlet_temperature - mains))


def output_share(bench: Bench, source: Array) -> Array:
    """Capacity of the machine as written in each step of the design days over that at its rating, (step,).

    With water from the mains (single pass), or half way up to the outlet. Zero where it cannot work or is
    barred.

    Parameters
    ----------
    bench : Bench
        A scenario on its design days.
    source : ndarray, shape (hour,)
        What the machine meets. [°C]
    """
    assembly, drive = bench.assembly, bench.design.drive
    plant, outlet = assembly.plant, bench.scenario.plant.outlet_temperature
    share = np.zeros(source.size)
    for hour, warm in enumerate(source):
        inlet, leaving = float(drive.mains[hour]), outlet
        if plant.water_side != WaterSide.SINGLE:
            inlet = 0.5 * (inlet + outlet)
            leaving = inlet + (plant.rise if plant.water_side == WaterSide.MULTI else 1.0)
        capacity, _, _ = look_up(plant.machine, float(warm), inlet, leaving)
        if np.isfinite(capacity) and warm >= plant.lowest_source:
            share[hour] = capacity * drive.frost_capacity[hour] / assembly.made.capacity
    per_hour = drive.use.size // source.size
    permitted = drive.permitted[np.arange(drive.use.size) % drive.permitted.size]
    return np.repeat(share, per_hour) * permitted


class Classical(NamedTuple):
    """What the mass curve needs of the design days, each (step,)."""

    litres: Array  # hot water at the taps, L
    loaded: Array  # and what loop and loss take, in litres of hot water
    rated: Array  # share of full output, the machine at its rating
    cold: Array  # the machine as it is on these days
    steps_per_hour: int
    kwh_per_litre: float


def classical(bench: Bench) -> Classical:
    """Lay draw and recovery of the design days side by side.

    The store loses what it loses in the plant as written; the loop takes what it does while nothing is short.
    """
    as_written = judge(bench.design, bench.assembly.plant)
    ample = plant_of(bench, bench.assembly.plant.modules, AMPLE, LARGEST * bench.day_litres / 1000.0)
    loop_kwh = judge(bench.design, ample).loop_kwh
    drive = bench.design.drive
    steps = drive.use.size // drive.mains.size
    per_litre = RHO_CP / 3.6e9 * float((bench.scenario.plant.outlet_temperature - drive.mains).mean())
    litres = hot_litres(bench)
    lost = (loop_kwh + as_written.loss_kwh) / 24.0 / steps / per_litre
    cold = output_share(bench, as_written.source_c)
    return Classical(litres, litres + lost, (cold > 0.0).astype(float), cold, steps, per_litre)


# -- the curve -----------------------------------------------------------------------------------------


def curve(bench: Bench, run_hours: Sequence[float] = RUN_HOURS, explain: bool = False) -> list[Point]:
    """Least storage for capacities from what the days just need, upwards.

    The modules are as many as written, and scaled together. The first capacity runs in all the hours in which
    it may; of `run_hours` those count that are fewer.
    """
    c = classical(bench)
    permitted = 24.0 * float((c.cold > 0.0).mean())
    just = permitted * least_recovery(c.loaded, c.cold, c.steps_per_hour)  # L a day at the rating
    if not np.isfinite(just):
        raise InputError(
            "plant.heat_pump: the machine cannot run at all on the design days (source too cold, or barred)"
        )
    modules, written = bench.assembly.plant.modules, bench.assembly.made.capacity
    points = []
    for hours in (permitted, *(h for h in run_hours if h < permitted - 0.5)):
        capacity = 1000.0 * just / hours * c.kwh_per_litre
        points.append(point(bench, c, modules, capacity / (modules * written), hours, explain))
    return points


def point(bench: Bench, c: Classical, modules: int, factor: float, hours: float, explain: bool) -> Point:
    """One capacity: the engine's least store, and the classical answers on the way to it."""
    capacity = factor * modules * bench.assembly.made.capacity
    recovery = capacity / 1000.0 / c.kwh_per_litre

    def usable(draw: Array, output: Array) -> float:
        return float(least_storage(draw, recovery * (1.0 + 1e-9), output, c.steps_per_hour).storage[0])

    return Point(
        capacity=capacity,
        run_hours=hours,
        storage=1000.0 * least_volume(bench, modules, factor),
        classical=usable(c.litres, c.rated),
        cold=usable(c.litres, c.cold),
        loaded=usable(c.loaded, c.cold),
        sharp=1000.0 * least_volume(bench, modules, factor, 2) if explain else np.nan,
        heated=1000.0 * least_volume(bench, modules, factor, 1) if explain else np.nan,
    )
