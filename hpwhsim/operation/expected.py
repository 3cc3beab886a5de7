"""What the simulated year lets a test expect: heat, power and COP of a module by source temperature."""

from typing import NamedTuple

import numpy as np

from hpwhsim.account.energy import by_month
from hpwhsim.arrays import Array
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Table
from hpwhsim.results.numbers import amount, decimals

RUNS = 0.9  # module-hours of an hour from which its heat is that of running modules
STEP, STEP_US = 5.0, 10.0 / 1.8  # K of source in a row
FEWEST = 5  # hours behind a row
ENOUGH = 24.0  # h of running behind the COP of a month
LOW = 0.8  # share of the lowest monthly COP under which an alarm follows; common practice, no source


class Expected(NamedTuple):
    """Hours of the year with running modules, in a range of source temperature."""

    low_c: float
    high_c: float
    hours: int
    heat_kw: float  # of one module, frost counted
    power_kw: float  # of one module with fan and pumps
    water_in_c: float  # mean; NaN where none is known

    @property
    def cop(self) -> float:
        """Heat over power."""
        return self.heat_kw / self.power_kw


def _power(facts: Facts) -> Array:
    """Electricity of the heat pump with its fans and pumps by the hour. [kWh]"""
    hourly = facts.hourly
    return np.asarray(hourly["compressor_kwh"] + hourly["fan_kwh"] + hourly["pump_kwh"])


def expected(facts: Facts) -> list[Expected]:
    """What a module gives and takes, by source temperature; of hours that modules run nearly all through."""
    hourly, power = facts.hourly, _power(facts)
    source, running = hourly["source_c"], hourly["module_hours"]
    counted = running >= RUNS
    step = STEP_US if facts.us else STEP
    zero = -160.0 / 9.0 if facts.us else 0.0  # a whole step of the scale that the user reads
    row = np.floor((source - zero) / step).astype(int)
    found = []
    for number in np.unique(row[counted]):
        here = counted & (row == number)
        hours = int(here.sum())
        if hours < FEWEST:
            continue
        share = 1.0 / float(running[here].sum())
        water = hourly["water_in_c"][here]
        found.append(
            Expected(
                low_c=zero + step * float(number),
                high_c=zero + step * float(number + 1),
                hours=hours,
                heat_kw=float(hourly["heat_pump_heat_kwh"][here].sum()) * share,
                power_kw=float(power[here].sum()) * share,
                water_in_c=float(np.nanmean(water)) if np.isfinite(water).any() else float("nan"),
            )
        )
    return found


def expected_table(facts: Facts) -> Table | None:
    """The table for the form; None where modules never run for the most of an hour."""
    rows = []
    for one in expected(facts):
        low, high = (facts.degrees(value) for value in (one.low_c, one.high_c))
        water = facts.degrees(one.water_in_c) if np.isfinite(one.water_in_c) else "not known"
        values = (decimals(one.heat_kw, 2), decimals(one.power_kw, 2), decimals(one.cop, 2))
        rows.append((f"{low} to {high}", amount(one.hours), water, *values))
    if not rows:
        return None
    heads = ("source", "hours of the year", "water entering, mean", "heat [kW]", "power [kW]", "COP")
    caption = "One module in the simulated year, with its fan and pumps, frost counted, by source temperature"
    return Table(caption, heads, tuple(rows), (2.6, 1.2, 1.8, 1.0, 1.0, 0.8))


def low_cop(facts: Facts) -> float | None:
    """COP of a day under which an alarm follows; None where the heat pump hardly runs."""
    runs = by_month(facts.hourly["run_hours"])
    heat, power = by_month(facts.hourly["heat_pump_heat_kwh"]), by_month(_power(facts))
    counted = (runs >= ENOUGH) & (power > 0.0)
    return LOW * float((heat[counted] / power[counted]).min()) if counted.any() else None
