"""The federal 24-hour draw-pattern test of a packaged unit: first-hour rating and energy factor.

References
----------
10 CFR 430 Subpart B Appendix E, uniform test method for water heaters. The first-hour test but for its last
draw was seen in public texts that quote it; the last draw and the chain of corrections are from memory.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

import hpwhsim
from hpwhsim.account import adequacy
from hpwhsim.errors import InputError
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Scenario
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.draw_bench import (
    DELIVERY_C,
    HUMIDITY,
    QUIET_S,
    ROOM_C,
    SUPPLY_C,
    Draw,
    Trace,
    Unit,
    cut_out,
    draw_pattern,
    drawn_in_steps,
    follow,
    pattern_of,
    prepare,
    quiet,
)
from hpwhsim.us_units import GALLON

Record = dict[str, object]

JOULE_PER_KWH = 3.6e6
STEPS_PER_HOUR = 360
TOLERANCE_K = 5 / 1.8  # of the delivered water
FALL_K = 15 / 1.8  # a draw of the first-hour test ends so far below its hottest water
FIRST_HOUR_FLOW = 3.0 * GALLON / 60.0  # m³/s
SOAK_S = 3600.0  # between cut-out and first draw; our choice
LATE_S = 3 * 3600.0  # our choice
LARGEST_GAL = 120.0  # rated volume of a consumer storage water heater; from memory

DEVIATIONS = (
    "a calculation, no certification: nothing was measured, and only a test counts before the law",
    "the test follows 10 CFR 430 Subpart B Appendix E as quoted second-hand; its draws, the corrections of "
    "the 24-hour test and the last draw of the first-hour test are from memory",
    "the unit is as the scenario describes it: one heater beside the machine, where many tanks have two "
    "elements; the room's humidity does not enter the machine's capacity and power",
)


class FirstHour(NamedTuple):
    """Result of the first-hour test."""

    volume: float  # m³, the last draw as it counts
    draws: tuple[float, ...]  # m³, as drawn


class Day(NamedTuple):
    """Result of the 24-hour test, before its record."""

    energy_factor: float
    recovery_efficiency: float  # heat over energy bought, in the first recovery
    standby: float  # energy bought to stand, W
    standby_per_kelvin: float  # W/K
    tank_c: float  # mean of the store while nothing is drawn
    bought: float  # J
    delivered: float  # J
    rated_heat: float  # at the rise of the test, J
    change: float  # of the heat in the store, J
    trace: Trace  # from the cold start
    begin: int  # step of the first draw
    recovery_began: float | None  # after the first draw, s; None: never, the efficiency is of the heating-up


def first_hour(unit: Unit) -> FirstHour:
    """Hot water delivered in the first hour.

    From the heated store water is drawn at 3 gal/min until it is 15 °F colder than the hottest of the draw;
    the unit recovers until its (upper) heater cuts out, and so on for an hour. A draw that runs at the end of
    the hour is finished. If the unit is recovering then, a last draw goes down to the coldest water of the
    draw before and counts by its mean temperature above that.

    Raises
    ------
    InputError
        If the hot water does not end.
    """
    step_s = unit.plant.step_seconds
    per_step = FIRST_HOUR_FLOW * step_s
    hour_end = unit.ready + round(3600.0 / step_s)
    longest = round(2.0 * unit.start.size * unit.plant.column.cell_volume / per_step) + round(7200.0 / step_s)
    use = np.zeros(unit.ready)
    drawn: list[float] = []
    counted = 0.0
    coldest = mean = np.nan
    begin = unit.ready
    while True:
        last = bool(drawn) and begin >= hour_end
        use = np.concatenate((use, np.zeros(begin - use.size)))
        outlet = follow(unit, np.concatenate((use, np.full(longest, per_step)))).outlet()[begin:]
        limit = np.full(longest, coldest) if last else np.maximum.accumulate(outlet) - FALL_K
        below = np.flatnonzero(outlet < limit)
        if below.size == 0:
            raise InputError(
                "first-hour test: the hot water does not end at 3 gal/min: this is no storage water heater"
            )
        at = int(below[0])
        if at == 0:  # no water as warm as the coldest of the draw before: the last draw does not count
            break
        # steps drawn: to where the line between the middles of two steps meets the limit
        until = at - 0.5 + (outlet[at - 1] - limit[at]) / (outlet[at - 1] - outlet[at])
        whole = int(until)
        portions = np.append(np.full(whole, per_step), (until - whole) * per_step)
        volume = float(portions.sum())
        before, mean = mean, float((portions * outlet[: whole + 1]).sum()) / volume
        drawn.append(volume)
        counted += volume * ((mean - coldest) / (before - coldest) if last else 1.0)
        if last:
            break
        coldest = float(limit[at])
        use = np.concatenate((use, portions))
        if use.size >= hour_end:
            break
        trace = follow(unit, np.concatenate((use, np.zeros(hour_end - use.size + round(QUIET_S / step_s)))))
        upper = trace.backup if trace.backup[begin:hour_end].any() else trace.running
        if not upper[begin:hour_end].any():
            break  # it does not recover
        ran = begin + int(np.flatnonzero(upper[begin:])[0])
        found = quiet(upper, max(ran, use.size), step_s)
        begin = hour_end if found is None else min(found, hour_end)
    return FirstHour(counted, tuple(drawn))


def simulated_day(unit: Unit, draws: Sequence[Draw]) -> Day:
    """The 24-hour test and its chain of corrections, all in energy bought.

    Heat is counted with one heat capacity by volume for all the water, that of the store; it is 0.14 % above
    that of water measured at 125 °F, in all terms alike.

    Raises
    ------
    InputError
        If the unit does not recover, so that its standby cannot be measured.
    """
    step_s = unit.plant.step_seconds
    begin = unit.ready + round(SOAK_S / step_s)
    steps = round(86400.0 / step_s)
    use = drawn_in_steps(draws, steps, step_s)
    trace = follow(unit, np.concatenate((np.zeros(begin), use)))
    bought, heat = trace.bought[begin:], trace.out.taps_heat[begin:]
    running, stored = trace.running[begin:], trace.stored[begin:]

    # recovery efficiency: from the first draw to the first cut-out
    recovered = cut_out(running | (use > 0.0), 0, step_s)
    while recovered is not None and not running[:recovered].any():
        recovered = cut_out(running | (use > 0.0), recovered, step_s)
    if recovered is not None:
        efficiency = heat[:recovered].sum() + stored[recovered] - stored[0]
        efficiency /= bought[:recovered].sum()
    else:  # nothing to recover from within the day
        gained = trace.stored[unit.ready] - trace.stored[0]
        efficiency = gained / trace.bought[: unit.ready].sum()

    # standby: the long pause after the first cluster, else that after the last draw
    parts = [[d for d in draws if d.first_cluster], [d for d in draws if not d.first_cluster]]
    ends = [round(parts[1][0].start / step_s), steps]
    for part, end in zip(parts, ends, strict=True):
        drawn_until = int(np.ceil((part[-1].start + part[-1].volume / part[-1].flow) / step_s))
        since = quiet(running[:end], drawn_until, step_s)
        if since is not None:
            break
    else:
        raise InputError("24-hour test: the unit never recovers, so that its standby cannot be measured")
    length = (end - since) * step_s
    bought_standing = bought[since:end].sum() - (stored[end] - stored[since]) / efficiency
    whole = unit.start.size * unit.plant.column.cell_volume * RHO_CP
    mean_c = 0.5 * (stored[1:] + stored[:-1]) / whole
    per_kelvin = bought_standing / length / (mean_c[since:end].mean() - ROOM_C)

    # to the temperatures of the test, and to the same heat in the store
    still = use <= 0.0
    tank_c = float(mean_c[still].mean())
    volume = float(use.sum())
    rated = volume * RHO_CP * (DELIVERY_C - SUPPLY_C)
    change = float(stored[-1] - stored[0])
    energy = bought.sum() - change / efficiency
    energy -= ((tank_c - ROOM_C) - (DELIVERY_C - ROOM_C)) * per_kelvin * still.sum() * step_s
    energy += (rated - heat.sum()) / efficiency
    return Day(
        energy_factor=float(rated / energy),
        recovery_efficiency=float(efficiency),
        standby=float(bought_standing / length),
        standby_per_kelvin=float(per_kelvin),
        tank_c=tank_c,
        bought=float(bought.sum()),
        delivered=float(heat.sum()),
        rated_heat=rated,
        change=change,
        trace=trace,
        begin=begin,
        recovery_began=None if recovered is None else float(np.argmax(running)) * step_s,
    )


def rate(loaded: Loaded, pattern: str | None = None, steps_per_hour: int = STEPS_PER_HOUR) -> Record:
    """First-hour rating and energy factor of the unit of a scenario.

    Parameters
    ----------
    loaded : Loaded
        A scenario whose plant is one unit; its building, site, demand and loop do not matter.
    pattern : str or None
        very-small, low, medium or high; None: the one that belongs to the first-hour rating.
    steps_per_hour : int
        Of the march.

    Returns
    -------
    dict
        Plain values, ready for JSON; every number's unit is in its name.

    Raises
    ------
    InputError
        If the pattern is unknown, the plant is no single unit, or it cannot work in the test.
    """
    draws = draw_pattern(pattern) if pattern is not None else ()
    unit = prepare(loaded, steps_per_hour)
    delivery = first_hour(unit)
    name = pattern if pattern is not None else pattern_of(delivery.volume)
    draws = draws or draw_pattern(name)
    day = simulated_day(unit, draws)

    def total(*series: str) -> float:
        """Sum over the 24 hours."""
        return sum(float(getattr(day.trace.out, key)[day.begin :].sum()) for key in series)

    volume = total("hot_volume")
    electric = unit.plant.backup_electric > 0.0
    backup = total("backup_energy") / JOULE_PER_KWH
    bought = day.bought / JOULE_PER_KWH
    given = total("heat_pump_heat", "backup_heat")
    lost = total("storage_loss")
    annual = 365.0 * day.rated_heat / JOULE_PER_KWH / day.energy_factor
    record: Record = {
        "title": loaded.scenario.title,
        "energy_factor": day.energy_factor,
        "first_hour_litres": delivery.volume * 1000.0,
        "draw_pattern": name,
        "draw_pattern_by": "first-hour rating" if pattern is None else "given",
        "delivered_litres": volume * 1000.0,
        "delivered_mean_c": SUPPLY_C + day.delivered / (volume * RHO_CP),
        "delivered_heat_kwh": day.delivered / JOULE_PER_KWH,
        "energy_kwh": bought,
        "electricity_kwh": bought if electric else bought - backup,
        "compressor_kwh": total("heat_pump_energy") / JOULE_PER_KWH,
        "auxiliary_kwh": total("fan_energy", "pump_energy", "standby_energy") / JOULE_PER_KWH,
        "resistance_kwh": backup if electric else 0.0,
        "fuel_kwh": 0.0 if electric else backup,
        "storage_loss_kwh": lost / JOULE_PER_KWH,
        "store_change_kwh": day.change / JOULE_PER_KWH,
        "energy_factor_uncorrected": day.delivered / day.bought if day.bought > 0.0 else None,
        "recovery_efficiency": day.recovery_efficiency,
        "standby_w": day.standby,
        "standby_w_per_k": day.standby_per_kelvin,
        "tank_mean_c": day.tank_c,
        "annual_energy_kwh": annual,
        "first_hour_draws_litres": [v * 1000.0 for v in delivery.draws],
        "draws": _by_draw(day, draws, unit.plant.step_seconds),
        "store_litres": loaded.scenario.plant.storage.volume * 1000.0,
        "setpoint_c": unit.setpoint,
        "supply_c": SUPPLY_C,
        "room_c": ROOM_C,
        "room_relative_humidity": HUMIDITY,
        "step_s": unit.plant.step_seconds,
        "balance_error": (given - day.delivered - lost - day.change) / max(given, day.delivered),
        "assumptions": unit.assumptions,
        "cautions": _cautions(loaded.scenario, unit, day, draws),
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
    }
    return record


def _by_draw(day: Day, draws: Sequence[Draw], step_s: float) -> list[dict[str, float]]:
    """Start, volume and mean temperature of each draw."""
    found = []
    for draw in draws:
        first = day.begin + int(draw.start / step_s)
        end = day.begin + int(np.ceil((draw.start + draw.volume / draw.flow) / step_s))
        litres = float(day.trace.out.hot_volume[first:end].sum()) * 1000.0
        heat = float(day.trace.out.taps_heat[first:end].sum())
        mean = SUPPLY_C + heat / (litres / 1000.0 * RHO_CP)
        found.append({"minute": draw.start / 60.0, "litres": litres, "mean_c": mean})
    return found


def _cautions(scenario: Scenario, unit: Unit, day: Day, draws: Sequence[Draw]) -> list[str]:
    """What the numbers must not be read without."""
    said = [*DEVIATIONS]
    means = [draw["mean_c"] for draw in _by_draw(day, draws, unit.plant.step_seconds)]
    if abs(means[0] - DELIVERY_C) > TOLERANCE_K:
        said.append(
            f"the first draw is delivered at {means[0]:.1f} degC; the test wants {DELIVERY_C:.1f} degC "
            f"within {TOLERANCE_K:.1f} K: the unit is not set as the test wants it"
        )
    if max(means) > DELIVERY_C + TOLERANCE_K:
        said.append(
            f"a draw is delivered at {max(means):.1f} degC: the machine heats the upper store far beyond its "
            "setpoint, and the factor is no good guide (plant.heat_pump.condenser_height, plant.controls)"
        )
    litres = scenario.plant.storage.volume * 1000.0
    if litres > LARGEST_GAL * GALLON * 1000.0:
        said.append(
            f"the store of {litres:.0f} L is larger than that of a consumer water heater ({LARGEST_GAL:.0f} "
            "gal, from memory): another test is the law for it"
        )
    if day.recovery_began is None:
        said.append("the unit never recovers within the day: its recovery efficiency is of the heating-up")
    elif day.recovery_began > LATE_S:
        said.append(
            f"the first recovery begins {day.recovery_began / 3600.0:.1f} h after the first draw: its "
            "efficiency holds the loss of that wait, which lowers the energy factor by some per cent"
        )
    if edge := float(day.trace.out.edge_seconds[day.begin :].sum()) / 3600.0:
        said.append(
            f"the heat pump runs {edge:.1f} h outside its performance data; values at the edge of the data "
            "are used there, not extrapolated"
        )
    heat_pump = scenario.plant.heat_pump
    said += unit.cautions
    said += adequacy.safety(
        refrigerant=heat_pump.refrigerant if heat_pump else None, setpoint_c=unit.setpoint
    )
    return said
