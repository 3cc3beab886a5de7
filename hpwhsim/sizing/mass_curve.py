"""Storage against recovery by the mass curve: the classical answer, to hold the march against.

Draw and recovery are laid side by side as sums over time; the greatest gap between them is the storage that
the day needs (Rippl 1883). The store is perfect here: what it holds is hot, and what it holds is usable.
`nominal_storage` and `usable_share` turn usable litres into a tank. Draws are in any unit of hot water or
heat, litres or kWh alike; storage comes back in the same unit and recovery is that unit per hour.

Hourly draws hide the peaks inside the hour: give finer steps, or add 10 to 30 minutes of the peak flow.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Ints
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.tables import read_table

ROUNDING = 1e-9  # of a record's draw: a recovery that misses by less makes it
REPEATS = 2  # of the record: a deficit that begins before its end is followed into the next one
DIFFUSIVITY = 1.55e-7
"""Of still water at 50 °C, m²/s."""


class MassCurve(NamedTuple):
    """Least storage for each recovery; all of shape (m,)."""

    recovery: Array  # at full output, unit of the draw per hour
    storage: Array  # least usable storage, unit of the draw; inf where the draw cannot be made at all
    start: Ints  # first step of the critical period
    end: Ints  # step after its last; beyond the record's end where it runs into the next one
    hours: Array  # of full output in the critical period: minus the slope of storage over recovery


class Fixtures(NamedTuple):
    """What a set of fixtures asks for."""

    possible: float  # all at once, L/h
    probable: float  # by the demand factor, L/h: the recovery
    storage: float  # usable, L


def least_storage(
    draw: ArrayLike, recovery: ArrayLike, output: ArrayLike = 1.0, steps_per_hour: int = 1
) -> MassCurve:
    """Least usable storage of a record that repeats, for one recovery or for many.

    Sequent-peak recursion: the deficit grows by what is drawn over what is recovered, and never falls below
    zero, where the store is full: ``D[t] = max(0, D[t-1] + draw[t] - supply[t])``. Over two repeats of the
    record its highest value is the storage. The curve over recovery is convex and falls with the slope
    ``-hours``.

    Parameters
    ----------
    draw : array_like of float, shape (n,)
        Hot water, or heat, drawn in each step of a day or of a year. [L or kWh]
    recovery : array_like of float, one number or shape (m,)
        Recovery at full output; from running hours h of a day it is the day's draw / h. [L/h or kWh/h]
    output : array_like of float, one number or shape (n,)
        Share of full output that each step allows: 0 where charging is barred, 1 where it is not (a mask of
        permitted steps serves), anything else where capacity follows the source.
    steps_per_hour : int
        Steps in an hour.

    Returns
    -------
    MassCurve
        In the order of `recovery`.

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or the shapes do not fit.

    References
    ----------
    .. [1] W. Rippl, Minutes of Proceedings of the Institution of Civil Engineers 71, 270-278, 1883; the
       method and its recursion were seen in lecture notes that name it.

    Examples
    --------
    >>> curve = least_storage([0.0, 6.0, 0.0, 2.0], [2.0, 3.0, 1.0])
    >>> curve.storage.tolist(), curve.hours.tolist()
    ([4.0, 3.0, inf], [1.0, 1.0, inf])
    """
    draws, shares = _record(draw, output)
    recoveries = np.atleast_1d(_checked("recovery", recovery))
    n = draws.size
    least = least_recovery(draws, shares, steps_per_hour)
    storage, hours = np.full(recoveries.size, np.inf), np.full(recoveries.size, np.inf)
    start, end = np.zeros(recoveries.size, dtype=np.int64), np.zeros(recoveries.size, dtype=np.int64)
    for k, rate in enumerate(recoveries):
        if rate < least * (1.0 - ROUNDING) or np.isinf(least):
            continue
        net = draws - rate * shares / steps_per_hour
        gap = np.concatenate(([0.0], np.cumsum(np.tile(net, REPEATS))))
        deficit = gap - np.minimum.accumulate(gap)  # the recursion, summed up
        last = int(np.argmax(deficit))
        first = int(np.flatnonzero(deficit[: last + 1] == 0.0)[-1])
        storage[k] = deficit[last]
        hours[k] = np.tile(shares, REPEATS)[first:last].sum() / steps_per_hour
        start[k], end[k] = first % n, first % n + last - first
    return MassCurve(recoveries, storage, start, end, hours)


def least_recovery(draw: ArrayLike, output: ArrayLike = 1.0, steps_per_hour: int = 1) -> float:
    """Least recovery that makes the record's draw at all, with any storage.

    Arguments as for `least_storage`. With a bar of b hours a day it is the day's draw / (24 - b).

    Returns
    -------
    float
        Unit of the draw per hour; inf where something is drawn and every step is barred.

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or the shapes do not fit.
    """
    if isinstance(steps_per_hour, bool) or steps_per_hour < 1:
        raise OutOfRangeError(f"steps per hour: got {steps_per_hour}; allowed a whole number, 1 or more")
    draws, shares = _record(draw, output)
    drawn, hours = float(draws.sum()), float(shares.sum()) / steps_per_hour
    if drawn == 0.0:
        return 0.0
    return drawn / hours if hours > 0.0 else np.inf


def storage_of_peaks(hours: ArrayLike, peaks: ArrayLike, recovery: float) -> float:
    """Least usable storage from the most that is drawn within windows of given lengths.

    The mass curve where only the peaks are known: the greatest of (peak - recovery x hours), at least 0.

    Parameters
    ----------
    hours, peaks : array_like of float, shape (n,)
        Lengths of the windows [h] and the most drawn within each [L or kWh].
    recovery : float
        [L/h or kWh/h]

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, the shapes do not fit, or the recovery does not make the draw of
        the longest window: what is used in the longest window given, usually a day, must be made within it.
    """
    most, lengths = _checked("peaks", peaks), _checked("hours", hours)
    if most.ndim != 1 or most.size == 0 or lengths.shape != most.shape or lengths.min() == 0.0:
        raise OutOfRangeError(
            f"peaks: got shapes {lengths.shape} and {most.shape}; allowed one length above 0 for each peak"
        )
    rate = float(_checked("recovery", recovery))
    longest = int(np.argmax(lengths))
    if rate * lengths[longest] < most[longest] * (1.0 - ROUNDING):
        raise OutOfRangeError(
            f"recovery: got {rate:g}; allowed {most[longest] / lengths[longest]:g} or more, "
            f"which makes the {most[longest]:g} drawn in {lengths[longest]:g} h"
        )
    return max(0.0, float((most - rate * lengths).max()))


def people_peaks(people: float, level: str) -> tuple[Array, Array]:
    """Most hot water used within windows of time by the people of an apartment house.

    Parameters
    ----------
    people : float
        Occupants.
    level : str
        low, medium or high use per person.

    Returns
    -------
    hours, litres : ndarray of float64, shape (7,)
        Lengths of the windows, 5 minutes to a day [h], and the most used within each [L].

    Raises
    ------
    InputError
        If there is no such level, or the people are negative or not finite.

    References
    ----------
    .. [1] ASHRAE Handbook, HVAC Applications, service water heating; see tables/demand_by_person.csv.

    Examples
    --------
    >>> hours, litres = people_peaks(80, "low")
    >>> float(hours[2]), round(float(litres[2]) / 3.785411784, 9)
    (0.5, 136.0)
    """
    count = float(_checked("people", people))
    rows = read_table("demand_by_person")
    levels = list(dict.fromkeys(row["level"] for row in rows))
    if level not in levels:
        raise InputError(f"level of use: got {level!r}; allowed {', '.join(levels)}")
    mine = [row for row in rows if row["level"] == level]
    gallons = np.array([float(row["gal_per_person"]) for row in mine])
    return np.array([float(row["hours"]) for row in mine]), count * gallons * LITRES_PER_GALLON


def by_fixtures(counts: Mapping[str, float]) -> Fixtures:
    """Recovery and usable storage by the fixtures of an apartment house.

    A rule for peak capacity: its results are 2 to 4 times measured use, and no energy.

    Parameters
    ----------
    counts : mapping of str to float
        How many of each fixture, by the names of tables/demand_by_fixture.csv.

    Raises
    ------
    InputError
        If a fixture is not in the table, or a count is negative or not finite.

    References
    ----------
    .. [1] ASHRAE Handbook, HVAC Applications, service water heating; see tables/demand_by_fixture.csv.

    Examples
    --------
    >>> round(by_fixtures({"shower": 10}).possible / 3.785411784, 9)
    300.0
    """
    table = {row["fixture"]: float(row["apartments"]) for row in read_table("demand_by_fixture")}
    demand, storage = table.pop("demand factor"), table.pop("storage factor")
    possible = 0.0
    for name, count in counts.items():
        if name not in table:
            raise InputError(f"fixture: got {name!r}; allowed {', '.join(table)}")
        possible += float(_checked(name, count)) * table[name] * LITRES_PER_GALLON
    return Fixtures(possible, demand * possible, storage * demand * possible)


def nominal_storage(usable: float, share: float = 0.70) -> float:
    """Volume of a store of which `usable` can be drawn hot.

    Parameters
    ----------
    usable : float
        Usable storage. [any unit of volume]
    share : float
        Usable share of the volume, above 0 to 1: 0.70 by the worked examples of the ASHRAE Handbook, more in
        a well stratified store (`usable_share`). A store whose start sensor stands above its foot may be cold
        below it when the peak comes: multiply the share by that of the part above.

    Raises
    ------
    OutOfRangeError
        If the share is not above 0 to 1, or the storage is negative or not finite.
    """
    if not 0.0 < share <= 1.0:
        raise OutOfRangeError(f"usable fraction: got {share:g}; allowed above 0 to 1")
    return float(_checked("usable storage", usable)) / share


def usable_share(layers: float, least: float) -> float:
    """Share of a full store's volume that can be drawn before it runs too cold.

    The store is `layers` equal mixed layers in series, drawn at a steady rate: after x volumes the outlet has
    1 - P(layers, layers x) of the excess left over the water that refills it; P is the regularised lower
    incomplete gamma function.

    Parameters
    ----------
    layers : float
        Mixed layers, 1 or more: 1 is stirred throughout, 15 to 100 a good store (see `equivalent_layers`).
    least : float
        Least share of the excess temperature that still serves, above 0 and below 1: (45 - 10) / (60 - 10) =
        0.7 for a store at 60 °C, refilled at 10 °C, that must give 45 °C.

    Raises
    ------
    OutOfRangeError
        If an argument is out of its range.

    Examples
    --------
    >>> round(usable_share(1.0, 0.7), 4)  # -ln 0.7
    0.3567
    """
    from scipy.special import gammaincinv

    if not (layers >= 1.0 and np.isfinite(layers)):
        raise OutOfRangeError(f"mixed layers: got {layers:g}; allowed 1 or more")
    if not 0.0 < least < 1.0:
        raise OutOfRangeError(
            f"minimum fraction of the excess temperature: got {least:g}; allowed between 0 and 1"
        )
    return float(gammaincinv(layers, 1.0 - least)) / layers


def equivalent_layers(height: float, emptying_hours: float, diffusivity: float = DIFFUSIVITY) -> float:
    """Mixed layers in series that blur a store as much as conduction does while it empties.

    Layers of H / N moved at the speed u act as the diffusivity u H / (2 N); with u = H / time, N is
    H² / (2 diffusivity time).

    Parameters
    ----------
    height : float
        Of the water column. [m]
    emptying_hours : float
        Time in which the draw empties it. [h]
    diffusivity : float
        Effective vertical diffusivity; still water unless given. [m²/s]

    Raises
    ------
    OutOfRangeError
        If an argument is not above 0.
    """
    for name, value in (("height", height), ("emptying hours", emptying_hours), ("diffusivity", diffusivity)):
        if not (value > 0.0 and np.isfinite(value)):
            raise OutOfRangeError(f"{name}: got {value:g}; allowed above 0")
    return height**2 / (2.0 * diffusivity * emptying_hours * 3600.0)


def _checked(name: str, values: ArrayLike) -> Array:
    """`values` as floats; refuses what is negative or not finite."""
    array = np.asarray(values, dtype=np.float64)
    for wrong in np.extract(~((array >= 0.0) & (array < np.inf)), array)[:1]:
        raise OutOfRangeError(f"{name}: got {wrong:g}; allowed 0 or more")
    return array


def _record(draw: ArrayLike, output: ArrayLike) -> tuple[Array, Array]:
    """Draw and share of output of each step, both (n,)."""
    draws, shares = _checked("draw", draw), _checked("share of output", output)
    if draws.ndim != 1 or draws.size == 0 or shares.shape not in ((), draws.shape):
        raise OutOfRangeError(
            f"draw and share of output: got shapes {draws.shape} and {shares.shape}; allowed one row of "
            "steps, and one share or as many"
        )
    return draws, np.broadcast_to(shares, draws.shape)
