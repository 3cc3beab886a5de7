"""The range that the simulated year gives each point, and the points list."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Paragraph, Section, Table
from hpwhsim.operation.points import DI, Point, points
from hpwhsim.operation.words import FOOT, PSI
from hpwhsim.results.numbers import MINUS

NOT_SIMULATED = "not simulated"
LOW, HIGH = 1.0, 99.0  # percentiles of the year's hours


class Span(NamedTuple):
    """What the hours of the year lie between. In the unit of the point, SI."""

    p1: float
    p99: float
    hours: int  # with a value


def span(facts: Facts, point: Point) -> Span | None:
    """1st and 99th percentile of the year's hours; None where no series stands behind the point."""
    series = facts.hourly.get(point.series)
    if series is None:
        return None
    values = _finite(series)
    if values.size == 0:
        return None
    low, high = (float(v) for v in np.percentile(values, (LOW, HIGH)))
    return Span(low, high, int(values.size))


def _finite(series: Array) -> Array:
    return np.asarray(series[np.isfinite(series)])


UNITS = {"degC": "°C", "1": "share", "m3/h": "m³/h", "g/m3": "g/m³"}
US_UNITS = {  # name, and what a number in SI is multiplied by and added to
    "degC": ("°F", 1.8, 32.0),
    "L": ("gal", 1.0 / LITRES_PER_GALLON, 0.0),
    "L/min": ("gpm", 1.0 / LITRES_PER_GALLON, 0.0),
    "L/s": ("gpm", 60.0 / LITRES_PER_GALLON, 0.0),
    "kPa": ("psi", 1e3 / PSI, 0.0),
    "m": ("ft", 1.0 / FOOT, 0.0),
}


def shown_span(facts: Facts, point: Point) -> tuple[str, str]:
    """Unit, and the range as the user reads it."""
    found, unit = span(facts, point), UNITS.get(point.unit, point.unit)
    factor, zero = 1.0, 0.0
    if facts.us and point.unit in US_UNITS:
        unit, factor, zero = US_UNITS[point.unit]
    counted = f"{unit} in an hour" if point.kind == DI and point.unit in ("L", "kWh") else unit
    if found is None:
        return counted, NOT_SIMULATED
    low, high = (_figure(factor * value + zero) for value in (found.p1, found.p99))
    return counted, f"{low} to {high}"


def _figure(value: float) -> str:
    """A figure of a range: to a tenth, or to two digits where it is small; what is not zero is not 0."""
    if abs(value) >= 1000.0:
        text = f"{value:,.0f}"
    elif abs(value) >= 1.0 or value == 0.0:
        text = f"{value:.1f}"
    else:
        text = f"{value:.2g}"
    return text.replace("-", MINUS)


def points_section(facts: Facts) -> Section:
    """The points list."""
    words = (
        "AI and AO: analogue in and out; DI and DO: digital in and out; a meter counts pulses (DI). "
        f"p{LOW:g} and p{HIGH:g} are percentiles of the 8,760 hourly values of the simulated year, of "
        f"those in which there is a value; '{NOT_SIMULATED}': no such series, and no range is made up. Of "
        "power and meters an hour's value is its mean or sum; the top of the store is its coldest of the "
        "hour. Intervals are common practice, no source. A point of each part stands once for each."
    )
    heads = ("tag", "point", "type", "unit", "where", "trend", f"p{LOW:g} to p{HIGH:g}", "alarm")
    rows = []
    for one in points(facts):
        unit, years = shown_span(facts, one)
        rows.append((one.tag, one.name, one.kind, unit, one.where, one.interval, years, one.alarm))
    table = Table("Points", heads, tuple(rows), (1.6, 2.5, 0.8, 1.2, 2.2, 1.2, 1.8, 2.1))
    return Section("Points list", (Paragraph(words), table))
