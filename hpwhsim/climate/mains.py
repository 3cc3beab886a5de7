"""Temperature of the cold water in the street main, from the outdoor air of the year.

References
----------
.. [1] J. Burch, C. Christensen, "Towards Development of an Algorithm for Mains Water Temperature",
   Proc. American Solar Energy Society, 2007 (OSTI 981988).
"""

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.errors import OutOfRangeError

MONTH_LENGTHS = np.asarray(MONTH_DAYS)

OFFSET_K = 6.0 / 1.8  # the main is 6 °F warmer than the air over the year
REFERENCE_C = (44.0 - 32.0) / 1.8  # mean air temperature at which ratio is 0.4 and lag is 35 days
RATIO_AT_REFERENCE = 0.4
RATIO_PER_K = 0.018  # 0.01 per °F; a code in public writes 0.1, which swings the main more than the air
LOWEST_MEAN_C = REFERENCE_C - RATIO_AT_REFERENCE / RATIO_PER_K  # the ratio is 0 there
LAG_AT_REFERENCE = 35.0  # days
LAG_PER_K = -1.8  # days, -1 per °F
DEGREES_PER_DAY = 0.986  # as published; it makes the year 365.1 days
FREEZING_C = 0.0
KEY = "hot_water.cold_water"
COLDEST_C, WARMEST_C = 0.0, 40.0  # cold water that a user may give


def _unheld(day: ArrayLike, mean_c: float, range_k: float, southern: bool) -> Array:
    """Mains temperature by the published formula alone, which may fall below freezing. [°C]."""
    warmer = mean_c - REFERENCE_C
    ratio = RATIO_AT_REFERENCE + RATIO_PER_K * warmer
    if not (ratio >= 0.0 and range_k >= 0.0):  # NaN fails this too
        raise OutOfRangeError(
            f"mains water: got a yearly mean of {mean_c:g} °C and a range of monthly means of {range_k:g} K, "
            f"allowed a mean of at least {LOWEST_MEAN_C:.1f} °C and a range of 0 K or more"
        )
    lag = LAG_AT_REFERENCE + LAG_PER_K * warmer
    turn = 90.0 if southern else -90.0
    angle = np.deg2rad(DEGREES_PER_DAY * (np.asarray(day, dtype=np.float64) - 15.0 - lag) + turn)
    return np.asarray(mean_c + OFFSET_K + ratio * range_k / 2.0 * np.sin(angle))


def mains_of_day(day: ArrayLike, mean_c: float, range_k: float, southern: bool = False) -> Array:
    """Mains-water temperature of a day, not below 0 °C.

    Parameters
    ----------
    day : array_like of float, any shape
        Day of the year; 1 is 1 January. [-]
    mean_c : float
        Mean outdoor dry bulb of the year, at least -15.6 (below it the published slope turns the
        sign of the swing). [°C]
    range_k : float
        Highest monthly mean dry bulb less the lowest. [K]
    southern : bool
        South of the equator the wave is moved by half a year (common practice, no source).

    Returns
    -------
    ndarray of float64, same shape as `day`
        Mains-water temperature; a value below 0 °C is held at 0 °C (water in a main does not freeze;
        our choice). [°C]

    Raises
    ------
    OutOfRangeError
        If the mean is too low, the range is negative, or one is NaN.

    References
    ----------
    Burch and Christensen 2007 [1]_. The form seen is secondary; the slope 0.01 per °F of the ratio
    is checked by reason: a slope of 0.1 would let the main swing more than the air.

    Examples
    --------
    >>> mains_of_day([42, 225], mean_c=11.111111, range_k=25.0).round(2)  # 47.2 and 68.8 °F
    array([ 8.44, 20.44])
    """
    return np.asarray(np.maximum(_unheld(day, mean_c, range_k, southern), FREEZING_C))


def mean_and_range(dry_bulb_c: ArrayLike) -> tuple[float, float]:
    """Mean of the year and range of the twelve monthly means of an hourly year.

    Parameters
    ----------
    dry_bulb_c : array_like of float, (8760,)
        Hourly outdoor dry bulb from 1 January. [°C]

    Returns
    -------
    tuple of float
        Mean of the year [°C]; highest monthly mean less the lowest [K].

    Raises
    ------
    OutOfRangeError
        If the array is not a full year of finite numbers.
    """
    air = np.asarray(dry_bulb_c, dtype=np.float64)
    if air.shape != (8760,) or not np.all(np.isfinite(air)):
        raise OutOfRangeError(
            f"dry bulb of the year: got an array of shape {air.shape}, allowed 8760 finite numbers"
        )
    starts = 24 * np.concatenate(([0], np.cumsum(MONTH_LENGTHS)[:-1]))
    monthly = np.add.reduceat(air, starts) / (24 * MONTH_LENGTHS)
    return float(air.mean()), float(monthly.max() - monthly.min())


def mains_temperature(dry_bulb_c: ArrayLike, latitude: float) -> Array:
    """Mains-water temperature of each hour of a year; the same for the 24 hours of a day.

    Parameters
    ----------
    dry_bulb_c : array_like of float, (8760,)
        Hourly outdoor dry bulb from 1 January. [°C]
    latitude : float
        North positive; south of the equator the wave is moved by half a year. [degrees]

    Returns
    -------
    ndarray of float64, (8760,)
        Mains-water temperature, not below 0 °C; `mains_hours_held` counts the hours held there. [°C]

    Raises
    ------
    OutOfRangeError
        If the array is not a full year, or the place is too cold for the formula.

    References
    ----------
    Burch and Christensen 2007 [1]_.
    """
    mean_c, range_k = mean_and_range(dry_bulb_c)
    return np.repeat(mains_of_day(np.arange(1, 366), mean_c, range_k, latitude < 0.0), 24)


def by_month(monthly_c: ArrayLike) -> Array:
    """Cold water of each hour of a year by its twelve monthly means; the same for the 24 hours of a day.

    The heat that has come with the water since 1 January is a smooth curve through the months' ends that
    repeats from year to year (cubic, with a continuous second derivative); a day's temperature is what it
    gains in that day. So each month has the mean given, and no step between months.

    Parameters
    ----------
    monthly_c : array_like of float, (12,)
        Means of January to December. [°C]

    Returns
    -------
    ndarray of float64, (8760,)
        Not below 0 °C, to 1e-6 K. Between 0 °C and a month that is much warmer the curve may fall below 0 °C;
        it is held there, and that month is then warmer than given. [°C]

    Raises
    ------
    OutOfRangeError
        If there are not twelve, or one is not 0 to 40 °C.

    Examples
    --------
    >>> year = by_month([5, 5, 7, 10, 14, 18, 21, 22, 19, 15, 10, 6])
    >>> round(float(year[:744].mean()), 5), float(year.min().round(2)), float(year.max().round(2))
    (5.0, 4.74, 22.36)
    """
    means = np.asarray(monthly_c, dtype=np.float64)
    if means.shape != (12,) or not np.all((means >= COLDEST_C) & (means <= WARMEST_C)):  # NaN fails this too
        raise OutOfRangeError(
            f"{KEY}.monthly: got {np.array2string(means, max_line_width=200)} °C; allowed twelve means of "
            f"{COLDEST_C:g} to {WARMEST_C:g} °C"
        )
    ends = np.concatenate(([0.0], np.cumsum(MONTH_LENGTHS))).astype(np.float64)
    slope = _slopes(means, MONTH_LENGTHS.astype(np.float64))
    day = np.arange(366.0)
    month = np.minimum(np.searchsorted(ends, day, side="right") - 1, 11)
    x = (day - ends[month]) / MONTH_LENGTHS[month]
    first, last = slope[month], slope[(month + 1) % 12]
    # integral over the month so far of the quadratic with these end values and this mean, over its days
    run = x * (
        first + x * (3.0 * means[month] - 2.0 * first - last + x * (first + last - 2.0 * means[month]))
    )
    gained = np.concatenate(([0.0], np.cumsum(means * MONTH_LENGTHS)))[month] + MONTH_LENGTHS[month] * run
    return np.repeat(np.round(np.maximum(np.diff(gained), FREEZING_C), 6), 24)


def _slopes(means: Array, days: Array) -> Array:
    """Temperatures at the months' starts for which no kink is left between months, each (12,).

    At the end of a month of `d` days the quadratic rises by ``(2 first + 4 last - 6 mean) / d`` a day, and at
    the start of the next by ``(6 mean - 4 first - 2 last) / d``: twelve equations, solved by sweeps until
    nothing moves (each is twice as heavy on its own unknown as on the others).
    """
    at = 0.5 * (means + np.roll(means, 1))
    for _ in range(200):
        before = at.copy()
        for k in range(12):
            own, ahead = 1.0 / days[k - 1], 1.0 / days[k]
            known = 3.0 * (own * means[k - 1] + ahead * means[k])
            at[k] = (known - own * at[k - 1] - ahead * at[(k + 1) % 12]) / (2.0 * (own + ahead))
        if np.abs(at - before).max() < 1e-12:
            break
    return at


def stretched(mains_c: ArrayLike, winter_low: float | None, summer_high: float | None) -> Array:
    """The year of the formula with another lowest or highest day, or both.

    Parameters
    ----------
    mains_c : array_like of float, (8760,)
        From `mains_temperature`. [°C]
    winter_low, summer_high : float or None
        Coldest and warmest day. With one of the two alone the year's mean stays that of the formula and its
        swing grows or shrinks; with both the wave lies between them. [°C]

    Raises
    ------
    OutOfRangeError
        If they are not 0 to 40 °C, the low is not below the high, or, with one alone, that is not on its side
        of the mean; or the other end would then leave 0 to 40 °C.

    Examples
    --------
    >>> stretched(np.array([8.0, 14.0, 20.0]), 5.0, None)
    array([ 5., 14., 23.])
    >>> stretched(np.array([8.0, 14.0, 20.0]), 6.0, 16.0)
    array([ 6., 11., 16.])
    """
    year = np.asarray(mains_c, dtype=np.float64)
    low, high, mean = float(year.min()), float(year.max()), float(year.mean())
    ends = [value for value in (winter_low, summer_high) if value is not None]
    if not all(COLDEST_C <= value <= WARMEST_C for value in ends):
        raise OutOfRangeError(f"{KEY}: got {ends} °C; allowed {COLDEST_C:g} to {WARMEST_C:g} °C")
    if high - low < 1e-9:
        raise OutOfRangeError(
            f"{KEY}: got an end of the year where the formula has the same all year; allowed {KEY}.monthly"
        )
    if winter_low is not None and summer_high is not None:
        if not winter_low < summer_high:
            raise OutOfRangeError(
                f"{KEY}.winter_low: got {winter_low:g} °C; allowed below summer_high ({summer_high:g} °C)"
            )
        scaled = winter_low + (year - low) * ((summer_high - winter_low) / (high - low))
    else:
        name, value = ("winter_low", winter_low) if winter_low is not None else ("summer_high", summer_high)
        assert value is not None  # one of the two
        end = low if winter_low is not None else high
        factor = (value - mean) / (end - mean)
        other = mean + factor * ((high if winter_low is not None else low) - mean)
        if not (factor >= 0.0 and COLDEST_C <= other <= WARMEST_C):
            side = "below" if winter_low is not None else "above"
            raise OutOfRangeError(
                f"{KEY}.{name}: got {value:g} °C; allowed {side} the year's mean of {mean:.1f} °C, with the "
                f"other end of the year ({other:.1f} °C then) at {COLDEST_C:g} to {WARMEST_C:g} °C"
            )
        scaled = mean + factor * (year - mean)
    return np.asarray(np.round(scaled, 6))


def mains_hours_held(dry_bulb_c: ArrayLike, latitude: float) -> int:
    """Hours of the year in which the formula fell below 0 °C and `mains_temperature` gives 0 °C.

    Parameters
    ----------
    dry_bulb_c : array_like of float, (8760,)
        Hourly outdoor dry bulb from 1 January. [°C]
    latitude : float
        North positive. [degrees]

    Returns
    -------
    int
        Hours held at freezing.

    Raises
    ------
    OutOfRangeError
        As `mains_temperature`.
    """
    mean_c, range_k = mean_and_range(dry_bulb_c)
    raw = _unheld(np.arange(1, 366), mean_c, range_k, latitude < 0.0)
    return 24 * int(np.count_nonzero(raw < FREEZING_C))
