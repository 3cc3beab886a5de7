"""Temperature of the cold water in the street main, from the outdoor air of the year.

References
----------
.. [1] J. Burch, C. Christensen, "Towards Development of an Algorithm for Mains Water Temperature",
   Proc. American Solar Energy Society, 2007 (OSTI 981988).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.errors import OutOfRangeError

Array = NDArray[np.float64]

OFFSET_K = 6.0 / 1.8  # the main is 6 °F warmer than the air over the year
REFERENCE_C = (44.0 - 32.0) / 1.8  # mean air temperature at which ratio is 0.4 and lag is 35 days
RATIO_AT_REFERENCE = 0.4
RATIO_PER_K = 0.018  # 0.01 per °F; a code in public writes 0.1, which swings the main more than the air
LOWEST_MEAN_C = REFERENCE_C - RATIO_AT_REFERENCE / RATIO_PER_K  # the ratio is 0 there
LAG_AT_REFERENCE = 35.0  # days
LAG_PER_K = -1.8  # days, -1 per °F
DEGREES_PER_DAY = 0.986  # as published; it makes the year 365.1 days
FREEZING_C = 0.0
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


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
    Burch and Christensen 2007 [1]_. The form seen is second-hand; the slope 0.01 per °F of the ratio
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
    starts = 24 * np.concatenate(([0], np.cumsum(MONTH_DAYS)[:-1]))
    monthly = np.add.reduceat(air, starts) / (24 * MONTH_DAYS)
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
