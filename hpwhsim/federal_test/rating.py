"""The federal 24-hour draw-pattern test of a packaged unit: first-hour rating and uniform energy factor.

References
----------
10 CFR 430 Subpart B Appendix E, uniform test method for water heaters; ``cfr-430-appendix-e`` and
``cfr-430-appendix-e-formulas`` of the packaged table of sources say how it is known.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

import hpwhsim
from hpwhsim.account import adequacy
from hpwhsim.arrays import Array, Flags
from hpwhsim.constants import JOULE_PER_KWH
from hpwhsim.errors import InputError
from hpwhsim.federal_test.draw_bench import (
    DELIVERY_C,
    HUMIDITY,
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
from hpwhsim.federal_test.first_hour import TOLERANCE_K, first_hour
from hpwhsim.io.us_units import GALLON
from hpwhsim.scenario.files import short_overrides
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.balance import refuse_unbalanced
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.tables.sources import cited

Record = dict[str, object]

STEPS_PER_HOUR = 360
SOAK_S = 3600.0  # idle before the first draw of the day
SETTLED_S = 300.0  # from the end of a recovery to the measured standby
STANDBY_S = 8 * 3600.0  # measured after the day, where the day has no pause
POWERED_S = 23 * 3600.0  # the power is off in the last hour
IMMERSED = 0.98  # recovery efficiency of elements in the water
LATE_S = 3 * 3600.0  # tankyear default
NEAR_K = (-0.1, -0.05, 0.05, 0.1)  # K, no thermostat is closer; tankyear default
EDGE_SHARE = 0.005  # of the factor, that it may move by them; tankyear default
LARGEST_GAL = 120.0  # end of the classes of 10 CFR 430.32(d) and 431.110(b)

DEVIATIONS = (
    "a calculation, not a certified rating: nothing was measured, and only a test has legal standing",
    "the unit is as the scenario describes it: one heater beside the heat pump, where many tanks have "
    "two elements; the room's humidity does not enter the heat pump's capacity and power",
)


class Day(NamedTuple):
    """Result of the 24-hour test, before its record."""

    uniform_energy_factor: float
    recovery_efficiency: float  # heat over purchased energy, in the first recovery
    standby: float  # purchased energy to stand, W
    standby_per_kelvin: float  # W/K
    tank_c: float  # mean of the store while nothing is drawn
    bought: float  # J
    delivered: float  # J
    rated_heat: float  # at the rise of the test, J
    change: float  # of the heat in the store, J
    trace: Trace  # from the cold start
    begin: int  # step of the first draw
    recovery_began: float | None  # after the first draw, s; None: never, the efficiency is of the heating-up
    immersed: bool  # elements in the water are all that heats: the efficiency is the rule's


def simulated_day(unit: Unit, draws: Sequence[Draw]) -> Day:
    """The 24-hour test and its chain of corrections, all in purchased energy.

    The power is off in the last hour. The efficiency of a recovery is that of the first; where elements in
    the water are all that heats it is 98 % by rule. Heat is counted with one heat capacity by volume for all
    the water, that of the store; it is 0.14 % above that of water measured at 125 °F, in all terms alike.

    Raises
    ------
    InputError
        If the unit does not recover, so that its standby cannot be measured.

    References
    ----------
    10 CFR 430 Subpart B Appendix E, sections 5.4.2 and 6.3.
    """
    step_s = unit.plant.step_seconds
    begin = unit.ready + round(SOAK_S / step_s)
    steps = round(86400.0 / step_s)
    use = drawn_in_steps(draws, steps, step_s)
    powered = slice(begin + round(POWERED_S / step_s))
    trace = follow(unit, np.concatenate((np.zeros(begin), use)), powered)
    bought, heat = trace.bought[begin:], trace.out.taps_heat[begin:]
    running, stored = trace.running[begin:], trace.stored[begin:]

    # recovery efficiency: from the first draw to the first cut-out
    immersed = unit.plant.modules == 0 and unit.plant.backup_electric > 0.0
    recovered = cut_out(running | (use > 0.0), 0, step_s)
    while recovered is not None and not running[:recovered].any():
        recovered = cut_out(running | (use > 0.0), recovered, step_s)
    if immersed:
        efficiency = IMMERSED
    elif recovered is not None:
        efficiency = heat[:recovered].sum() + stored[recovered] - stored[0]
        efficiency /= bought[:recovered].sum()
    else:  # nothing to recover from within the day
        gained = trace.stored[unit.ready] - trace.stored[0]
        efficiency = gained / trace.bought[: unit.ready].sum()

    pause = _pause(running, draws, step_s)
    if pause is not None:
        standing = _standing(unit, trace, begin, pause, efficiency)
    else:  # recovery lasts to the second cluster
        standing = _after_the_day(unit, begin, use, draws, efficiency)

    # to the temperatures of the test, and to the same heat in the store
    still = use <= 0.0
    whole = unit.plant.column.volume * RHO_CP
    mean_c = 0.5 * (stored[1:] + stored[:-1]) / whole
    tank_c = float(mean_c[still].mean())
    volume = float(use.sum())
    rated = volume * RHO_CP * (DELIVERY_C - SUPPLY_C)
    change = float(stored[-1] - stored[0])
    energy = bought.sum() - change / efficiency
    energy -= ((tank_c - ROOM_C) - (DELIVERY_C - ROOM_C)) * standing.per_kelvin * still.sum() * step_s
    energy += (rated - heat.sum()) / efficiency
    return Day(
        uniform_energy_factor=float(rated / energy),
        recovery_efficiency=float(efficiency),
        standby=standing.power,
        standby_per_kelvin=standing.per_kelvin,
        tank_c=tank_c,
        bought=float(bought.sum()),
        delivered=float(heat.sum()),
        rated_heat=rated,
        change=change,
        trace=trace,
        begin=begin,
        recovery_began=None if recovered is None else float(np.argmax(running)) * step_s,
        immersed=immersed,
    )


class _Standing(NamedTuple):
    """Purchased energy to stand, by the time and by the temperature above the room."""

    power: float  # W
    per_kelvin: float  # W/K


def _settled(running: Flags, draw: Draw, step_s: float) -> int | None:
    """Step from which the standby after a draw counts.

    5 min after the end of the recovery that runs then or starts within 5 min, else 5 min after the draw;
    None: it recovers to the end of the record.
    """
    drawn, wait = int(np.ceil((draw.start + draw.volume / draw.flow) / step_s)), round(SETTLED_S / step_s)
    if not running[drawn : drawn + wait].any():
        return drawn + wait
    recovered = quiet(running, drawn + int(np.argmax(running[drawn:])), step_s)
    return None if recovered is None else recovered + wait


def _pause(running: Flags, draws: Sequence[Draw], step_s: float) -> slice | None:
    """Steps of the day in which the standby is measured, between the clusters; None if there are none.

    They end before the second cluster, or before the recovery that runs when it begins.
    """
    end = round(next(draw for draw in draws if not draw.first_cluster).start / step_s)
    since = _settled(running[:end], [draw for draw in draws if draw.first_cluster][-1], step_s)
    while end > 0 and running[end - 1]:
        end -= 1
    return None if since is None or since >= end else slice(since, end)


def _standing(unit: Unit, trace: Trace, begin: int, pause: slice, efficiency: float) -> _Standing:
    """Standby in steps counted from `begin`."""
    since, end = begin + pause.start, begin + pause.stop
    length = (end - since) * unit.plant.step_seconds
    bought = trace.bought[since:end].sum() - (trace.stored[end] - trace.stored[since]) / efficiency
    whole = unit.plant.column.volume * RHO_CP
    mean_c = float((trace.stored[since:end] + trace.stored[since + 1 : end + 1]).mean()) / (2.0 * whole)
    power = float(bought) / length
    return _Standing(power, power / (mean_c - ROOM_C))


def _after_the_day(unit: Unit, begin: int, use: Array, draws: Sequence[Draw], efficiency: float) -> _Standing:
    """Standby in the 8 h after the recovery that follows the last draw, with power; past the 24 h."""
    step_s = unit.plant.step_seconds
    window = round(STANDBY_S / step_s)
    later = np.zeros(use.size + 2 * window)  # a day to recover, and the window
    trace = follow(unit, np.concatenate((np.zeros(begin), use, later)))
    since = _settled(trace.running[begin:-window], draws[-1], step_s)
    if since is None:
        raise InputError("24-hour test: the unit never recovers, so that its standby cannot be measured")
    return _standing(unit, trace, begin, slice(since, since + window), efficiency)


def rate(loaded: Loaded, pattern: str | None = None, steps_per_hour: int = STEPS_PER_HOUR) -> Record:
    """First-hour rating and uniform energy factor of the unit of a scenario.

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
    balance = (given - day.delivered - lost - day.change) / max(given, day.delivered)
    refuse_unbalanced(balance, "24 hours of test")
    annual = 365.0 * day.rated_heat / JOULE_PER_KWH / day.uniform_energy_factor
    record: Record = {
        "title": loaded.scenario.title,
        "uniform_energy_factor": day.uniform_energy_factor,
        "first_hour_rating_litres": delivery.volume * 1000.0,
        "first_hour_rating_gal": delivery.volume / GALLON,
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
        "delivered_over_purchased": day.delivered / day.bought if day.bought > 0.0 else None,
        "recovery_efficiency": day.recovery_efficiency,
        "standby_w": day.standby,
        "standby_w_per_k": day.standby_per_kelvin,
        "tank_mean_c": day.tank_c,
        "annual_energy_kwh": annual,
        "first_hour_flow_l_per_min": delivery.flow * 6e4,
        "first_hour_draws_litres": [v * 1000.0 for v in delivery.draws],
        "draws": _by_draw(day, draws, unit.plant.step_seconds),
        "store_litres": loaded.scenario.plant.storage.volume * 1000.0,
        "setpoint_c": unit.setpoint,
        "supply_c": SUPPLY_C,
        "room_c": ROOM_C,
        "room_relative_humidity": HUMIDITY,
        "step_s": unit.plant.step_seconds,
        "balance_error": balance,
        "assumptions": unit.assumptions,
        "cautions": _cautions(loaded.scenario, unit, day, draws),
        "tool.version": hpwhsim.__version__,
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": list(short_overrides(loaded)),
    }
    return record


def _starting(unit: Unit, by: float) -> Unit:
    """The unit whose thermostats start heating at a temperature higher by so much. [K]"""
    plant = unit.plant
    controls = plant.controls._replace(start_at=plant.controls.start_at + by)
    return unit._replace(
        plant=plant._replace(controls=controls, backup_dead_band=plant.backup_dead_band - by)
    )


def _edge(unit: Unit, day: Day, draws: Sequence[Draw]) -> list[str]:
    """What is said of a rating that hangs on the last digits of what is given.

    Standby cools the water at a sensor by some hundredths of a kelvin in an hour: a recovery that no draw
    starts comes much earlier or later, or not in the day, and with it what runs when the power goes off.
    """
    factor = day.uniform_energy_factor
    found = [simulated_day(_starting(unit, by), draws).uniform_energy_factor for by in NEAR_K]
    low, high = min(*found, factor), max(*found, factor)
    if high - low <= EDGE_SHARE * factor:
        return []
    return [
        f"the rating stands at an edge: with thermostats that start heating within {max(NEAR_K):g} K of the "
        f"temperature given, the uniform energy factor is {low:.2f} to {high:.2f}, for a recovery that "
        "standby starts comes earlier or later"
    ]


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
    """Cautions on the figures."""
    known = (cited(f"[cfr-430-appendix-e{part}]") for part in ("", "-draws", "-formulas"))
    said = [*DEVIATIONS, f"the test as known: {'; '.join(map(str, known))}"]
    means = [draw["mean_c"] for draw in _by_draw(day, draws, unit.plant.step_seconds)]
    if abs(means[0] - DELIVERY_C) > TOLERANCE_K:
        said.append(
            f"the first draw is delivered at {means[0]:.1f} degC; the test requires {DELIVERY_C:.1f} degC "
            f"within {TOLERANCE_K:.1f} K: the unit is not set as the test requires"
        )
    if max(means) > DELIVERY_C + TOLERANCE_K:
        said.append(
            f"a draw is delivered at {max(means):.1f} degC: the heat pump heats the upper store far beyond "
            "its setpoint, and the uniform energy factor is a poor guide (plant.heat_pump.condenser_height, "
            "plant.controls)"
        )
    litres = scenario.plant.storage.volume * 1000.0
    if litres > LARGEST_GAL * GALLON * 1000.0:
        said.append(
            f"the store of {litres:.0f} L is larger than that of a consumer water heater ({LARGEST_GAL:.0f} "
            "gal): another test applies"
        )
    if day.immersed:
        pass  # no recovery is measured
    elif day.recovery_began is None:
        said.append("the unit never recovers within the day: its recovery efficiency is of the heating-up")
    elif day.recovery_began > LATE_S:
        said.append(
            f"the first recovery begins {day.recovery_began / 3600.0:.1f} h after the first draw: its "
            "efficiency includes the loss of that wait, which lowers the uniform energy factor by a few per "
            "cent"
        )
    if edge := float(day.trace.out.edge_seconds[day.begin :].sum()) / 3600.0:
        said.append(
            f"{adequacy.OUTSIDE_MAP}: {edge:.1f} h; there the values at the edge of the map are used, not "
            "extrapolated"
        )
    said += _edge(unit, day, draws)
    heat_pump = scenario.plant.heat_pump
    said += unit.cautions
    said += adequacy.safety(
        refrigerant=heat_pump.refrigerant if heat_pump else None, setpoint_c=unit.setpoint
    )
    return said
