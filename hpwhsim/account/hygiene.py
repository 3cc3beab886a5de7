"""Hours of the year at temperatures that matter for Legionella and scald, and the loop's share of the heat.

The program only counts. What temperatures a plant must keep is for local codes, a water management programme
and licensed practice; nothing here says that a plant is safe.

References
----------
The thresholds and the times to a burn carry their sources in ``tables/hygiene_thresholds.csv`` and
``tables/scald_times.csv``.

.. [1] ``goldner-1999`` of the table of sources: loops that ran all day took 38 % of the fuel that made the
   hot water of New York apartment buildings.
.. [2] IEC 60751, tolerance of platinum resistance thermometers of class B: 0.30 K and 0.5 % of the
   temperature; unverified.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import OutOfRangeError
from hpwhsim.tables import read_table

WEEKS = 52
DEFER = "local codes, the water management programme and licensed practice decide"


class Row(NamedTuple):
    """Hours of one threshold at one place."""

    key: str
    place: str  # "store top", "loop return", ...
    kind: str  # below | within | above | at-least
    at_c: float
    to_c: float | None  # upper end of `within`
    tolerance_k: float  # of the sensor: `below` counts hours colder than at_c by more than this
    hours: float
    longest_hours: float  # without a break, within the year
    source: str
    status: str  # verified | secondary | unverified


class Pasteurised(NamedTuple):
    """How often the coldest layer of the store became this hot."""

    at_c: float
    hours: float
    weeks: float  # share of the 52 weeks that reached it


class Hygiene(NamedTuple):
    """What the year's temperatures say; see `cautions` for what must be said with it."""

    rows: tuple[Row, ...]
    pasteurised: tuple[Pasteurised, ...]
    hottest_c: float  # water that could reach a tap, past a tempering valve where there is one
    burn_seconds: float  # in it, to a second-degree burn of adult skin; inf below the published times
    standing_hours: float  # without a return temperature, because the loop stood
    recirculation_share: float | None  # of the heat to taps and loop; None without either


def sensor_tolerance(temperature: float) -> float:
    """Tolerance of a usual sensor, by which a threshold is not called missed; [2]. [K]

    Parameters
    ----------
    temperature : float
        Of the water. [°C]

    Examples
    --------
    >>> round(sensor_tolerance(60.0), 9)
    0.6
    """
    return 0.30 + 0.005 * abs(temperature)


def burn_seconds(temperature: ArrayLike) -> Array:
    """Time in hot water to a second-degree burn of adult skin.

    Parameters
    ----------
    temperature : array_like of float, any shape
        Of the water. [°C]

    Returns
    -------
    ndarray of float64, same shape
        Logarithm of the published times interpolated over the temperature. Infinite below the coolest
        published, 45 °C; above the hottest, 68.3 °C, the burn comes sooner than the 1 s that is given. [s]

    Raises
    ------
    OutOfRangeError
        If a temperature is NaN.

    References
    ----------
    Tables after Moritz and Henriques 1947; see ``tables/scald_times.csv``.

    Examples
    --------
    >>> burn_seconds([40.0, 49.0, 60.0, 80.0])
    array([ inf, 480.,   3.,   1.])
    """
    water = np.asarray(temperature, dtype=np.float64)
    if np.any(np.isnan(water)):
        raise OutOfRangeError("temperature of hot water: got NaN")
    table = read_table("scald_times")
    known = [float(row["temperature_c"]) for row in table]
    log_seconds = np.log([float(row["second_degree_s"]) for row in table])
    return np.asarray(np.exp(np.interp(water, known, log_seconds, left=np.inf)))


def recirculation_share(loop_kwh: float, taps_kwh: float) -> float | None:
    """Share of the loop in the heat to taps and loop, 0 to 1; None where there is neither.

    Raises
    ------
    OutOfRangeError
        If one is negative or not finite.

    Examples
    --------
    100 W for an apartment all year, beside 25 gal a day heated from 55 to 140 degF:

    >>> round(recirculation_share(876.0, 1875.0), 2)
    0.32
    """
    if not (0.0 <= loop_kwh < math.inf and 0.0 <= taps_kwh < math.inf):
        raise OutOfRangeError(f"heat of a year: got {loop_kwh:g} and {taps_kwh:g} kWh; allowed 0 or more")
    total = loop_kwh + taps_kwh
    return loop_kwh / total if total > 0.0 else None


def hygiene(
    *,
    store_top_c: ArrayLike,
    store_mean_c: ArrayLike,
    store_coldest_c: ArrayLike,
    hottest_c: ArrayLike,
    loop_tank_c: ArrayLike | None = None,
    return_c: ArrayLike | None = None,
    taps_kwh: float = 0.0,
    loop_kwh: float = 0.0,
) -> Hygiene:
    """Count the hours of a year against the published thresholds.

    Parameters
    ----------
    store_top_c, store_mean_c, store_coldest_c : array_like of float, shape (8760,)
        Top, mean and coldest layer of the store. [°C]
    hottest_c : array_like of float, shape (8760,)
        The hottest water that could reach a tap, past a tempering valve where there is one. [°C]
    loop_tank_c : array_like of float, shape (8760,), or None
        The loop's own tank; None without one. [°C]
    return_c : array_like of float, shape (8760,), or None
        Coldest water of the loop, at its return; NaN where the loop stands and it is not known. None
        without a loop. [°C]
    taps_kwh, loop_kwh : float
        Heat of the year to the taps and of the loop. [kWh]

    Returns
    -------
    Hygiene

    Raises
    ------
    OutOfRangeError
        If a series is not a year of numbers, or a heat is negative.
    """
    year = {
        "store top": _year("store_top_c", store_top_c),
        "store mean": _year("store_mean_c", store_mean_c),
        "coldest layer of the store": _year("store_coldest_c", store_coldest_c),
        "tap": _year("hottest_c", hottest_c),
    }
    if return_c is not None:
        year["loop return"] = _year("return_c", return_c, gaps=True)
    if loop_tank_c is not None:
        year["loop tank"] = _year("loop_tank_c", loop_tank_c)
    store = ("store top", "store mean", "coldest layer of the store", "loop tank")
    places = {
        "store": store,
        "return": ("loop return",),
        "water": (*store, "loop return"),
        "coldest": store[2:3],
        "tap": ("tap",),
    }
    rows = []
    pasteurised = []
    for line in read_table("hygiene_thresholds"):
        at, to = float(line["at_c"]), float(line["to_c"]) if line["to_c"] else None
        for place in places[line["place"]]:
            if place not in year:
                continue
            slack = sensor_tolerance(at) if line["kind"] == "below" else 0.0
            hit = _hit(year[place], line["kind"], at - slack, to)
            hours = float(np.count_nonzero(hit))
            longest = float(_longest(hit))
            rows.append(
                Row(
                    line["key"],
                    place,
                    line["kind"],
                    at,
                    to,
                    slack,
                    hours,
                    longest,
                    line["citation"],
                    line["status"],
                )
            )
            if line["place"] == "coldest":
                week = np.minimum(np.flatnonzero(hit) // 168, WEEKS - 1)  # 31 December with the last week
                pasteurised.append(Pasteurised(at, hours, np.unique(week).size / WEEKS))
    hottest = float(year["tap"].max())
    return Hygiene(
        rows=tuple(rows),
        pasteurised=tuple(pasteurised),
        hottest_c=hottest,
        burn_seconds=float(burn_seconds(hottest)),
        standing_hours=float(np.isnan(year["loop return"]).sum()) if return_c is not None else 0.0,
        recirculation_share=recirculation_share(loop_kwh, taps_kwh),
    )


def worst_first(rows: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Thresholds on Legionella that the year touched, worst first.

    Hours in a range in which Legionella grows come before hours below a temperature to be kept, the range of
    best growth first; then more hours before fewer.

    Parameters
    ----------
    rows : iterable of mapping
        By the fields of `Row`, as the record has them.
    """
    touched = [row for row in rows if row["kind"] in ("below", "within") and row["hours"] > 0.0]

    def order(row: Mapping[str, Any]) -> tuple[bool, float, float]:
        width = math.inf if row["to_c"] is None else row["to_c"] - row["at_c"]
        return row["kind"] == "below", width, -row["hours"]

    return sorted(touched, key=order)


def threshold(row: Mapping[str, Any]) -> str:
    """What a row counts, such as "below 60" or "25 to 45". [°C]"""
    below = row["kind"] == "below"
    return f"below {row['at_c']:g}" if below else f"{row['at_c']:g} to {row['to_c']:g}"


def cautions(found: Hygiene) -> list[str]:
    """Cautions on the hours counted; empty where no threshold was crossed."""
    touched = worst_first(row._asdict() for row in found.rows)
    said = []
    words = []
    if touched:
        worst = touched[0]
        words.append(
            f"{len(touched)} published thresholds are crossed, the worst {threshold(worst)} degC: "
            f"{worst['place']} {worst['hours']:,.0f} h ({worst['longest_hours']:,.0f} h consecutive; "
            f"{worst['source']} ({worst['status']}))"
        )
    seldom = [level for level in found.pasteurised if level.weeks < 1.0]
    if seldom:
        levels = ", ".join(f"{level.at_c:g} degC in {100.0 * level.weeks:.0f} %" for level in seldom)
        words.append(f"the coldest layer of the store reaches {levels} of the weeks (whether to pasteurise)")
    if words:
        said.append(f"Legionella: {'; '.join(words)}; {DEFER}")
    if found.standing_hours > 0.0:
        said.append(
            f"Legionella: the loop is off in {found.standing_hours:.0f} h, in which its temperature is not "
            f"counted; {DEFER}"
        )
    for row in (row for row in found.rows if row.key == "scald" and row.hours > 0.0):
        said += [
            f"scald: in {row.hours:.0f} h water above {row.at_c:g} degC could reach a tap, up to "
            f"{found.hottest_c:.0f} degC, which burns adult skin within "
            f"{_time(found.burn_seconds)} and children sooner; tempering valves as local codes require"
        ]
    return said


def _year(name: str, values: ArrayLike, gaps: bool = False) -> Array:
    """A series of the year, shape (8760,); with `gaps` NaN is allowed."""
    series = np.asarray(values, dtype=np.float64)
    if series.shape != (HOURS,):
        raise OutOfRangeError(f"{name}: got shape {series.shape}; allowed ({HOURS},)")
    wrong = np.isinf(series) if gaps else ~np.isfinite(series)
    if np.any(wrong):
        raise OutOfRangeError(
            f"{name}: got {series[wrong][0]:g} in hour {int(np.argmax(wrong))}; allowed numbers"
        )
    return series


def _hit(series: Array, kind: str, at: float, to: float | None) -> NDArray[np.bool_]:
    """Hours that count; NaN never does."""
    if kind == "below":
        return series < at
    if kind == "above":
        return series > at
    return (series >= at) & (series <= (math.inf if to is None else to))


def _longest(hit: NDArray[np.bool_]) -> int:
    """Most hours on end."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], hit, [False])).astype(np.int8)))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _time(seconds: float) -> str:
    """A time for a message."""
    return f"{seconds / 60.0:.0f} min" if seconds >= 120.0 else f"{seconds:.2g} s"
