"""The first-hour test of a water heater: how much hot water a unit gives in an hour, and what starts a draw.

References
----------
10 CFR 430 Subpart B Appendix E, sections 5.3.3 and 6.1; ``cfr-430-appendix-e`` and
``cfr-430-appendix-e-formulas`` of the packaged table of sources say how it is known.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.federal_test.draw_bench import DELIVERY_C, QUIET_S, Unit, follow, quiet
from hpwhsim.io.us_units import GALLON
from hpwhsim.plant.arrays import SLICES

TOLERANCE_K = 5 / 1.8  # of the delivered water
FALL_K = 15 / 1.8  # a draw ends so far below its hottest water
SMALL_STORE = 20.0 * GALLON  # m³, drawn more slowly below
FIRST_HOUR_FLOW, SMALL_FLOW = 3.0 * GALLON / 60.0, 1.0 * GALLON / 60.0  # m³/s
LAST_DRAW_S = 30.0  # at least


class FirstHour(NamedTuple):
    """Result of the first-hour test."""

    flow: float  # m³/s

    volume: float  # m³, the last draw as it counts
    draws: tuple[float, ...]  # m³, as drawn


def first_hour(unit: Unit) -> FirstHour:
    """Hot water delivered in the first hour.

    From the heated store water is drawn until it is 15 °F colder than the hottest of the draw, at 3 gal/min,
    or 1 gal/min from a store below 20 gal. The next draw begins when the heater of the upper store has
    recovered, see `_next_draw`. At one hour the power is shut off: a draw that runs is finished, and where
    none does a last one is drawn, for 30 s at least and down to the coldest water of the draw before. It
    counts by its mean temperature above that, and only if warmer water comes within the 30 s.

    References
    ----------
    10 CFR 430 Subpart B Appendix E, sections 5.3.3.1 to 5.3.3.3 and 6.1.
    """
    step_s = unit.plant.step_seconds
    volume = unit.plant.column.volume
    flow = FIRST_HOUR_FLOW if volume >= SMALL_STORE else SMALL_FLOW
    per_step = flow * step_s
    hour_end, least = unit.ready + round(3600.0 / step_s), round(LAST_DRAW_S / step_s)
    longest = round(2.0 * volume / per_step) + round(7200.0 / step_s)  # without power the store empties
    use = np.zeros(unit.ready)
    drawn: list[float] = []
    counted = 0.0
    coldest = mean = np.nan
    while use.size < hour_end:
        begin = _next_draw(unit, use, hour_end) if drawn else unit.ready
        last = begin >= hour_end
        use = np.concatenate((use, np.zeros(begin - use.size)))
        trial = np.concatenate((use, np.full(longest, per_step)))
        outlet = follow(unit, trial, slice(hour_end)).outlet()[begin:]
        if last:
            limit = np.full(longest, coldest)
            if not np.any(outlet[:least] > coldest):
                break
        else:
            limit = np.maximum.accumulate(outlet) - FALL_K
        at = int(np.argmax(outlet < limit))
        if last and at <= least:
            at, until = least, float(least)
        else:  # to where the line between the middles of two steps meets the limit
            until = at - 0.5 + (outlet[at - 1] - limit[at]) / (outlet[at - 1] - outlet[at])
        whole = int(until)
        portions = np.append(np.full(whole, per_step), (until - whole) * per_step)
        amount = float(portions.sum())
        before, mean = mean, float((portions * outlet[: whole + 1]).sum()) / amount
        drawn.append(amount)
        counted += amount * (max(mean - coldest, 0.0) / (before - coldest) if last else 1.0)
        coldest = float(limit[at])
        use = np.concatenate((use, portions))
    return FirstHour(flow, counted, tuple(drawn))


def _next_draw(unit: Unit, use: Array, hour_end: int) -> int:
    """Step in which the next draw of the first-hour test begins, at most `hour_end`.

    It is that of the first cut-out of the (upper) heater after the draw. In a heat pump with an element the
    cut-out of the element counts only if the water above its thermostat is then at 125 ± 5 °F; otherwise
    that of the compressor does.
    """
    step_s = unit.plant.step_seconds
    begin = int(np.flatnonzero(use)[-1]) + 1
    rest = np.zeros(hour_end - use.size + round(QUIET_S / step_s))
    trace = follow(unit, np.concatenate((use, rest)), slice(hour_end))
    for heater in (trace.backup, trace.machine):
        ran = heater[:hour_end].copy()
        ran[:begin] = False
        found = quiet(heater, max(int(np.argmax(ran)), begin), step_s) if ran.any() else None
        if found is None or found >= hour_end:
            continue
        if heater is trace.machine or unit.plant.modules == 0 or _satisfied(unit, use, found):
            return found
    return hour_end


def _slice_of(unit: Unit) -> int:
    """The slice of the store in which the thermostat of the element stands."""
    return int(unit.drive.backup_level[0] / unit.plant.column.volume * SLICES)


def _satisfied(unit: Unit, use: Array, step: int) -> bool:
    """Whether the water above the thermostat of the element has the temperature of delivery in a step."""
    trace = follow(unit, np.concatenate((use, np.zeros(step - use.size)))[:step])
    above = trace.out.profile[_slice_of(unit) :]
    return abs(float(above.mean()) - DELIVERY_C) <= TOLERANCE_K
