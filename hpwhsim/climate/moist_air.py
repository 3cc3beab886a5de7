"""Moist air: the ideal-gas equations of the ASHRAE Handbook, for whole arrays.

The library psychrolib states the same equations one number at a time; its array form is compiled
anew in every process (0.7 s for the first humidity ratio, 1.3 s for the first wet bulb), which a
run of two seconds cannot carry. So the equations stand here in numpy, and the tests hold them
against psychrolib.

References
----------
.. [1] ASHRAE Handbook - Fundamentals (2017), SI, chapter 1, equations 5, 6, 20, 22, 24, 26, 30, 33, 35.
.. [2] R. W. Hyland, A. Wexler, ASHRAE Transactions 89(2A), 500-519, 1983 (saturation pressure).
"""

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.bounds import inside
from hpwhsim.errors import OutOfRangeError

ZERO_C = 273.15  # K
TRIPLE_POINT_C = 0.01  # the ice and water branches meet here, not at 0 °C
MASS_RATIO = 0.621945  # water vapour to dry air, mole masses
LOWEST_C, HIGHEST_C = -100.0, 200.0  # range of the saturation-pressure fits


def saturation_pressure(temperature_c: ArrayLike) -> Array:
    """Pressure of saturated water vapour, over ice up to 0.01 °C and over water above.

    Parameters
    ----------
    temperature_c : array_like of float, any shape
        Temperature, -100 to 200. [°C]

    Returns
    -------
    ndarray of float64, same shape
        Saturation pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        If any value is NaN or outside -100 to 200 °C.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equations 5 and 6.

    Examples
    --------
    >>> saturation_pressure([-20.0, 20.0]).round(1)
    array([ 103.3, 2338.8])
    """
    celsius = inside("temperature of moist air", temperature_c, LOWEST_C, HIGHEST_C, "°C")
    t = celsius + ZERO_C
    ice = np.exp(
        -5.6745359e3 / t
        + 6.3925247
        + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
        + 4.1635019 * np.log(t)
    )
    return np.where(celsius <= TRIPLE_POINT_C, ice, _over_water(t))


def _over_water(kelvin: Array) -> Array:
    """Saturation pressure over water, supercooled below the triple point (equation 6). [Pa]."""
    t = kelvin
    return np.asarray(
        np.exp(
            -5.8002206e3 / t
            + 1.3914993
            + t * (-4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8))
            + 6.5459673 * np.log(t)
        )
    )


def _ratio(vapour_pa: Array, pressure_pa: ArrayLike) -> Array:
    """Humidity ratio of a vapour pressure (equation 20). [kg/kg]."""
    pressure = inside("air pressure", pressure_pa, 1e3, 2e5, "Pa")
    dry = pressure - vapour_pa
    if np.any(dry <= 0.0):
        raise OutOfRangeError("the vapour pressure of this moist air is not below its total pressure")
    return np.asarray(MASS_RATIO * vapour_pa / dry)


def humidity_ratio(dew_point_c: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """Humidity ratio of air from its dew point, which weather stations report over water in all cold.

    Parameters
    ----------
    dew_point_c : array_like of float, any shape
        Dew point, -100 to 200; below the triple point that over supercooled water, not the frost point. [°C]
    pressure_pa : array_like of float, broadcast with `dew_point_c`
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Water per mass of dry air. [kg/kg]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range, or the vapour alone would exceed the pressure.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equations 6 and 20. Over water: WMO-No. 8, Guide to Instruments
    and Methods of Observation, on dew point and relative humidity below 0 °C (unverified).
    """
    dew = inside("dew point", dew_point_c, LOWEST_C, HIGHEST_C, "°C")
    return _ratio(_over_water(dew + ZERO_C), pressure_pa)


def humidity_ratio_from_relative(
    dry_bulb_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike
) -> Array:
    """Humidity ratio of air from its relative humidity.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Dry bulb. [°C]
    relative_humidity : array_like of float, broadcast with the others
        Relative humidity, 0 to 1; over ice below 0.01 °C. [-]
    pressure_pa : array_like of float, broadcast with the others
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Water per mass of dry air. [kg/kg]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equations 20 and 22.
    """
    share = inside("relative humidity", relative_humidity, 0.0, 1.0, "")
    return _ratio(np.asarray(share * saturation_pressure(dry_bulb_c)), pressure_pa)


def relative_humidity(dry_bulb_c: ArrayLike, humidity_ratio: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """Relative humidity of air; above 1 when it holds more vapour than saturated air would.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Dry bulb. [°C]
    humidity_ratio : array_like of float, broadcast with the others
        Water per mass of dry air, at least 0. [kg/kg]
    pressure_pa : array_like of float, broadcast with the others
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Relative humidity, over ice below 0.01 °C. [-]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equations 20 and 22.
    """
    ratio = inside("humidity ratio", humidity_ratio, 0.0, 1.0, "kg/kg")
    pressure = inside("air pressure", pressure_pa, 1e3, 2e5, "Pa")
    return np.asarray(pressure * ratio / (MASS_RATIO + ratio) / saturation_pressure(dry_bulb_c))


def humidity_ratio_at_saturation(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """Humidity ratio of saturated air, for a coil surface or a wet bulb.

    Parameters
    ----------
    temperature_c : array_like of float, any shape
        Temperature. [°C]
    pressure_pa : array_like of float, broadcast with `temperature_c`
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Water per mass of dry air. [kg/kg]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equation 21.
    """
    return _ratio(saturation_pressure(temperature_c), pressure_pa)
