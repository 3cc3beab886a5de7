"""Design days: the coldest days of the weather file with a day of peak use on them, simulated by themselves.

The plant settles over the days before, with their own use; then come the cold days, and one more day in
which what they left behind still shows. All of it is cut out of the arrays of the year, so that a plant is
judged in milliseconds. What the source remembers (a bore field, a room, a wet well) is simulated up to there.
"""

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array, Ints
from hpwhsim.climate.cold_days import cold_days
from hpwhsim.constants import DAYS, JOULE_PER_KWH
from hpwhsim.errors import InputError
from hpwhsim.heatpump.maps import look_up
from hpwhsim.last_digits import NUMBER_DIGITS, SERIES_DIGITS, rounded
from hpwhsim.plant.arrays import (
    Cause,
    Drive,
    Hourly,
    Plant,
    SourceKind,
    SourceRow,
    SourceState,
    WaterSide,
)
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.draw_times import EVEN, DrawTimes
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.simulation.balance import march_balanced
from hpwhsim.simulation.years import march_years
from hpwhsim.sizing.handbook import maximum_day_factor, maximum_hour_factor

if TYPE_CHECKING:
    import xarray as xr


SETTLING_DAYS = 3
DAYS_AFTER = 1
MOST_SHIFT = 30.0  # K by which a design temperature may move the file's coldest day; tankyear default
CAUSE_NAMES = tuple(cause.name.lower().replace("_", "-") for cause in Cause)


class DesignDays(NamedTuple):
    """Days to march, cut out of the year."""

    days: Ints  # days of the file (0 to 364) in the order of the march, settling first
    judged: slice  # hours of the march that count
    cold: slice  # hours of the cold days alone
    mean_c: float  # outdoor air over the cold days
    peak_at: int  # day of the march that has the peak use; -1: none
    peak_from: int  # day of the year whose use that is; -1: the mean day times the handbook's factor, or none
    drive: Drive
    start: Array  # the store at the start, °C
    state: SourceState  # the source at the start
    output: Array  # (hour,) of a module as written with cold water; alike where the source is not the air, W
    volume: float  # of the store as written, of which the drive has a height in it, m³


class Judged(NamedTuple):
    """How a plant fares on design days."""

    short_litres: float  # at use temperature, delivered below the minimum
    short_hours: float
    short_by_cause: dict[str, float]  # h, largest first
    run_hours: float  # of full output for the heat of a day, the most; nan where the heat pump never runs
    backup_share: float  # of the heat
    backup_hours: float  # at full power
    lowest_top_c: float
    taps_kwh: float  # in all days of the march, a day
    loop_kwh: float  # beside what the heater of a loop tank gives
    loss_kwh: float
    source_c: Array  # (hour,) of the march


def design_air(sizing: Sizing, dry_bulb: Array) -> float | None:
    """Mean of the coldest design day that is asked for; None where the file's own days count. [°C]"""
    if sizing.design_frequency is not None:
        return float(np.quantile(dry_bulb, 1.0 - sizing.design_frequency))
    return sizing.design_temperature


def shifted(weather: "xr.Dataset", length: int, design: float) -> tuple["xr.Dataset", int]:
    """The year with other air on its design days, and the first of the cold ones.

    All hours of the days that are simulated move by the same, so that the coldest of the cold days has the
    mean `design`, and keeps its own course; the relative humidity stays. (A day as cold as a design
    temperature in all its hours, as heating loads are sized with, has that mean too.)

    Parameters
    ----------
    weather : Dataset
        A year; left as it is.
    length : int
        Cold days in a row.
    design : float
        [°C]

    Raises
    ------
    InputError
        If the days would move by more than `MOST_SHIFT` K: that is another climate.
    """
    from hpwhsim.climate.moist_air import humidity_ratio_from_relative

    air = np.asarray(weather["dry_bulb_c"].values)
    first = cold_days(air, length)
    daily = air.reshape(DAYS, 24).mean(axis=1)
    move = design - float(daily[(first + np.arange(length)) % DAYS].min())
    if not abs(move) <= MOST_SHIFT:
        raise InputError(
            f"sizing.design_temperature: got {design:.1f} degC; allowed {design - move - MOST_SHIFT:.1f} to "
            f"{design - move + MOST_SHIFT:.1f} degC, within {MOST_SHIFT:g} K of the file's coldest day"
        )
    days = (first - SETTLING_DAYS + np.arange(SETTLING_DAYS + length + DAYS_AFTER)) % DAYS
    hours = (24 * days[:, None] + np.arange(24)).ravel()
    moved = weather.copy(deep=True)
    moved["dry_bulb_c"].values[hours] += move
    moved["dew_point_c"].values[hours] += move
    now = (moved[name].values[hours] for name in ("dry_bulb_c", "relative_humidity", "pressure_pa"))
    moved["humidity_ratio"].values[hours] = humidity_ratio_from_relative(*now)
    return moved, first


def design_days(
    assembly: Assembly,
    dry_bulb: Array,
    length: int,
    peak: str,
    apartments: int,
    years: int = 1,
    *,
    first: int | None = None,
    cold_water: float | None = None,
    state: SourceState | None = None,
) -> DesignDays:
    """Cut design days out of the year of a plant.

    Parameters
    ----------
    assembly : Assembly
        A plant and its year; left as it is.
    dry_bulb : ndarray, shape (8760,)
        Outdoor air. [°C]
    length : int
        Cold days in a row.
    peak : str
        What is used on the coldest of them: ``drawn``, the draws of the day of largest use in the year, of
        random draws with no smaller largest hour than the handbook's; ``handbook``, the year's mean day times
        the handbook's maximum over average day; ``none``, its own.
    apartments : int
        For the handbook's factors.
    years : int
        Years after which the days come (a ground loop remembers).
    first : int, optional
        First of the cold days (0 to 364), where that is known.
    cold_water : float, optional
        In place of the year's on all these days; what a source makes of it (sewage) stays as it is. [°C]
    state : SourceState, optional
        The source at the start, where that is known; simulated up to there otherwise.
    """
    drive, plant = assembly.drive, assembly.plant
    if first is None:
        first = cold_days(dry_bulb, length)
    count = SETTLING_DAYS + length + DAYS_AFTER
    days = (first - SETTLING_DAYS + np.arange(count)) % DAYS
    cut = _cut(drive, days)
    if cold_water is not None:
        cut = cut._replace(mains=np.full(24 * count, cold_water))
    daily = dry_bulb.reshape(DAYS, 24).mean(axis=1)[days]
    cold = slice(SETTLING_DAYS, SETTLING_DAYS + length)
    at = from_ = -1
    if peak != "none":
        at = SETTLING_DAYS + int(np.argmin(daily[cold]))
        by_day = drive.use.reshape(DAYS, -1)
        if peak == "drawn":
            from_ = int(np.argmax(by_day.sum(axis=1)))
            day = by_day[from_]
        else:
            day = maximum_day_factor(apartments) * by_day.mean(axis=0)
        use = cut.use.copy()
        use.reshape(count, -1)[at] = day
        draws = cut.draws
        if peak == "drawn":  # its events too; the mean day's are even through the steps
            shown = days.copy()
            shown[at] = from_
            draws = draws_of(drive.draws, shown)
            if draws.first.size > 1:  # random: no metered day, whose hours are known
                least = maximum_hour_factor(apartments) * float(by_day.mean(axis=0).sum())
                use, draws = _with_hour(use, draws, at, least)
        elif draws.first.size > 1:
            draws = _evened(draws, 24 * at, use.reshape(24 * count, -1)[24 * at : 24 * at + 24])
        cut = cut._replace(use=use, draws=draws)
    output = np.ones(24 * count)
    if plant.sources.kind == SourceKind.OUTDOOR_AIR:
        output = cold_output(plant, cut, cut.source)
    return DesignDays(
        days=days,
        judged=slice(24 * SETTLING_DAYS, 24 * count),
        cold=slice(24 * cold.start, 24 * cold.stop),
        mean_c=float(daily[cold].mean()),
        peak_at=at,
        peak_from=from_,
        output=output,
        volume=plant.column.volume,
        drive=cut,
        start=assembly.start.copy(),
        state=state or _state_at(assembly, plant.sources.kind, int(days[0]), years),
    )


def judge(design: DesignDays, plant: Plant) -> Judged:
    """Simulate the design days with a plant and say how it fares; nothing of the arguments is changed.

    Run hours are the heat that a day takes, or misses, over the mean output in the air of that day, with
    water at the heat pump as warm as it was on the mean of the days: a large store is charged in one day for
    two, which is no want of capacity. What backup and the heater of a loop tank give is no heat of the
    heat pump's.
    """
    out = march_days(design, plant)
    judged, cold = design.judged, design.cold
    heat_pump, backup = out.heat_pump_heat[judged].sum(), out.backup_heat[judged].sum()
    heat = float(heat_pump + backup)
    loop_heat = out.loop_heat - out.loop_heater_heat
    used = out.taps_heat + out.unmet + loop_heat + out.storage_loss - out.backup_heat
    ran = float((out.module_seconds * design.output)[judged].sum())
    run = np.nan
    if ran > 0.0:
        by_day = heat_pump / ran * max(plant.modules, 1) * 3600.0 * _output_by_day(design)
        run = float((used[judged].reshape(-1, 24).sum(axis=1) / by_day).max())
    short = out.short_seconds[:, judged].sum(axis=1) / 3600.0
    a_day = design.days.size * JOULE_PER_KWH
    kind = plant.sources.kind
    met = design.drive.source if kind == SourceKind.OUTDOOR_AIR else out.source[SourceRow.MET] / 3600.0
    return Judged(
        short_litres=1000.0 * float(out.short_volume[judged].sum()),
        short_hours=float(short.sum()),
        short_by_cause={CAUSE_NAMES[i]: float(short[i]) for i in np.argsort(-short) if short[i] > 0.0},
        run_hours=run,
        backup_share=float(backup) / heat if heat > 0.0 else 0.0,
        backup_hours=float(out.backup_seconds[:, judged].sum()) / 3600.0,
        lowest_top_c=float(out.store_top[cold].min()),
        taps_kwh=float(out.taps_heat.sum()) / a_day,
        loop_kwh=float(loop_heat.sum()) / a_day,
        loss_kwh=float(out.storage_loss.sum()) / a_day,
        source_c=np.asarray(met),
    )


def cold_output(plant: Plant, drive: Drive, source: Array) -> Array:
    """Output of a module with water from the mains (single pass), or half way up to the outlet, (hour,). [W]

    Zero where it cannot work.

    Parameters
    ----------
    plant, drive : Plant, Drive
        The plant, and what drives it.
    source : ndarray, shape (hour,)
        What the heat pump meets. [°C]
    """
    output = np.zeros(source.size)
    for hour, warm in enumerate(source):
        inlet, outlet = float(drive.mains[hour]), float(drive.outlet[hour])
        if plant.water_side != WaterSide.SINGLE:
            inlet = 0.5 * (inlet + outlet)
            outlet = inlet + (plant.rise if plant.water_side == WaterSide.MULTI else 1.0)
        capacity, _, _ = look_up(plant.machine, float(warm), inlet, outlet)
        if np.isfinite(capacity) and warm >= plant.lowest_source:
            output[hour] = capacity * drive.frost_capacity[hour]
    return output


def may_charge(drive: Drive) -> Array:
    """Share of each part of an hour of `drive.use` in which charging is allowed, (part,)."""
    parts, looks = drive.use.size // drive.source.size, drive.looks
    both = math.lcm(parts, looks)
    allowed = drive.permitted[np.arange(drive.source.size * looks) % drive.permitted.size]
    return np.asarray(np.repeat(allowed, both // looks).reshape(-1, both // parts).mean(axis=1))


def _output_by_day(design: DesignDays) -> Array:
    """Mean of `output` while the heat pump may run, of each judged day; of all of them where it may not."""
    may = may_charge(design.drive).reshape(design.output.size, -1).mean(axis=1) * (design.output > 0.0)
    given, time = (values[design.judged].reshape(-1, 24).sum(axis=1) for values in (may * design.output, may))
    mean = given.sum() / time.sum() if time.any() else np.nan
    return np.divide(given, time, out=np.full(time.size, mean), where=time > 0.0)


def march_days(design: DesignDays, plant: Plant) -> Hourly:
    """The hours of the design days with a plant, whose store may be another than that as written."""
    # a march fills these, and one plant may be simulated on several years of draws at once
    plant = plant._replace(outlet=plant.outlet.copy(), speed=plant.speed.copy())
    level = at_share(design.drive.backup_level, design.volume, plant.column.volume, SERIES_DIGITS)
    return march_balanced(
        plant, design.drive._replace(backup_level=level), _copied(design.state), design.start.copy()
    )


def at_share(height: Array, written: float, volume: float, digits: int = NUMBER_DIGITS) -> Array:
    """Heights in a store of `written` m³ as the same shares of the height of one of `volume`. [m³ below them]

    Rounded to `digits` as what is assembled is, so that shares of fewer digits give what somebody would get
    who wrote the other store.
    """
    if volume == written:
        return height
    return rounded(rounded(height / written, digits - 1) * volume, digits)


def _cut(drive: Drive, days: Ints) -> Drive:
    """The drive of some days: arrays by hour or by part of an hour of the year are cut, all others stay."""

    def part(values: Any) -> Any:
        if isinstance(values, tuple):
            return type(values)(*(part(item) for item in values))
        if not isinstance(values, np.ndarray):
            return values
        per_day, rest = divmod(len(values), DAYS)
        if rest or per_day % 24 or per_day == 0:
            return values
        return values[(per_day * days[:, None] + np.arange(per_day)).ravel()]

    cut: Drive = part(drive._replace(draws=EVEN))
    return cut._replace(draws=draws_of(drive.draws, days))


def draws_of(draws: DrawTimes, days: Ints) -> DrawTimes:
    """The draws within the hours of some days."""
    if draws.first.size == 1:
        return draws
    hours = (24 * days[:, None] + np.arange(24)).ravel()
    counts = np.diff(draws.first)[hours]
    first = np.concatenate(([0], np.cumsum(counts)))
    chosen = np.arange(first[-1]) + np.repeat(draws.first[hours] - first[:-1], counts)
    return DrawTimes(first, draws.until[chosen], draws.flow[chosen])


def _with_hour(use: Array, draws: DrawTimes, day: int, least: float) -> tuple[Array, DrawTimes]:
    """Use and draws with at least `least` m³ in the largest hour of a day, all flows of which rise alike."""
    hours = use.reshape(draws.first.size - 1, -1)
    hour = 24 * day + int(np.argmax(hours[24 * day : 24 * day + 24].sum(axis=1)))
    factor = max(least / float(hours[hour].sum()), 1.0)
    hours, flow = hours.copy(), draws.flow.copy()
    part = slice(draws.first[hour], draws.first[hour + 1])
    hours[hour] = rounded(factor * hours[hour], SERIES_DIGITS)
    flow[part] = rounded(factor * flow[part], SERIES_DIGITS)
    return hours.ravel(), draws._replace(flow=flow)


def _evened(draws: DrawTimes, hour: int, use: Array) -> DrawTimes:
    """`draws` with the hours from `hour` on even through their steps; `use` has shape (hour, step), m³."""
    hours, steps = use.shape
    low, high = draws.first[hour], draws.first[hour + hours]
    seconds = 3600.0 / steps
    return DrawTimes(
        np.concatenate(
            (
                draws.first[:hour],
                low + steps * np.arange(hours),
                draws.first[hour + hours :] - high + low + steps * hours,
            )
        ),
        np.concatenate(
            (draws.until[:low], np.tile(seconds * (1 + np.arange(steps)), hours), draws.until[high:])
        ),
        np.concatenate((draws.flow[:low], use.ravel() / seconds, draws.flow[high:])),
    )


def _copied(state: SourceState) -> SourceState:
    """A copy that the march may fill."""

    def copy(values: Any) -> Any:
        return type(values)(*map(copy, values)) if isinstance(values, tuple) else values.copy()

    copied: SourceState = copy(state)
    return copied


def _state_at(assembly: Assembly, kind: int, day: int, years: int) -> SourceState:
    """The source at the start of a day of the last year."""
    state = _copied(assembly.state)
    if kind == SourceKind.OUTDOOR_AIR:
        return state
    if years > 1:
        march_years(assembly._replace(state=state), years - 1)
    if day > 0:
        drive = _cut(assembly.drive, np.arange(day))
        march_balanced(assembly.plant, drive, state, assembly.start.copy())
    return state
