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
R_DRY_AIR = 287.042  # J/kgK
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


def enthalpy(dry_bulb_c: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Enthalpy of moist air per mass of dry air, zero for dry air and liquid water at 0 °C.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Dry bulb. [°C]
    humidity_ratio : array_like of float, broadcast with `dry_bulb_c`
        Water per mass of dry air. [kg/kg]

    Returns
    -------
    ndarray of float64, broadcast shape
        Enthalpy per mass of dry air. [J/kg]

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equation 30.
    """
    t = np.asarray(dry_bulb_c, dtype=np.float64)
    w = np.asarray(humidity_ratio, dtype=np.float64)
    return np.asarray((1.006 * t + w * (2501.0 + 1.86 * t)) * 1000.0)


def dry_bulb_from_enthalpy(enthalpy_j_kg: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Dry bulb of moist air from its enthalpy: `enthalpy` turned round.

    Parameters
    ----------
    enthalpy_j_kg : array_like of float, any shape
        Enthalpy per mass of dry air. [J/kg]
    humidity_ratio : array_like of float, broadcast with `enthalpy_j_kg`
        Water per mass of dry air. [kg/kg]

    Returns
    -------
    ndarray of float64, broadcast shape
        Dry bulb. [°C]

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equation 30.
    """
    h = np.asarray(enthalpy_j_kg, dtype=np.float64) / 1000.0
    w = np.asarray(humidity_ratio, dtype=np.float64)
    return np.asarray((h - 2501.0 * w) / (1.006 + 1.86 * w))


def density(dry_bulb_c: ArrayLike, humidity_ratio: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """Density of moist air: dry air and its water together, per volume.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Dry bulb. [°C]
    humidity_ratio : array_like of float, broadcast with the others
        Water per mass of dry air. [kg/kg]
    pressure_pa : array_like of float, broadcast with the others
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Density. [kg/m³]

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equation 26.
    """
    t = np.asarray(dry_bulb_c, dtype=np.float64) + ZERO_C
    w = np.asarray(humidity_ratio, dtype=np.float64)
    return np.asarray((1.0 + w) * np.asarray(pressure_pa) / (R_DRY_AIR * t * (1.0 + 1.607858 * w)))


def wet_bulb(dry_bulb_c: ArrayLike, humidity_ratio: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """Thermodynamic wet bulb, over ice below 0 °C; never above the dry bulb.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Dry bulb, -80 to 80. [°C]
    humidity_ratio : array_like of float, broadcast with the others
        Water per mass of dry air, at least 0. [kg/kg]
    pressure_pa : array_like of float, broadcast with the others
        Total pressure. [Pa]

    Returns
    -------
    ndarray of float64, broadcast shape
        Wet bulb, found by bisection to 1e-9 K. [°C]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    Notes
    -----
    The two branches of the equation leave a small step at 0 °C (ice takes more heat to melt), and a
    wet bulb that falls into the step is given as 0 °C.

    References
    ----------
    ASHRAE Fundamentals 2017 [1]_, chapter 1, equations 33 and 35, solved for the wet bulb.
    """
    dry = inside("dry bulb", dry_bulb_c, -80.0, 80.0, "°C")
    ratio = inside("humidity ratio", humidity_ratio, 0.0, 1.0, "kg/kg")
    dry, ratio, pressure = np.broadcast_arrays(dry, ratio, np.asarray(pressure_pa, dtype=np.float64))
    low = np.maximum(dry - 60.0, LOWEST_C)  # at 80 °C and no water the wet bulb is 50 K lower
    high = dry.astype(np.float64)
    for _ in range(36):  # 60 K / 2**36 is below 1e-9 K
        middle = 0.5 * (low + high)
        saturated = humidity_ratio_at_saturation(middle, pressure)
        depression = dry - middle
        over_water = ((2501.0 - 2.326 * middle) * saturated - 1.006 * depression) / (
            2501.0 + 1.86 * dry - 4.186 * middle
        )
        over_ice = ((2830.0 - 0.24 * middle) * saturated - 1.006 * depression) / (
            2830.0 + 1.86 * dry - 2.1 * middle
        )
        too_wet = np.where(middle >= 0.0, over_water, over_ice) > ratio
        high = np.where(too_wet, middle, high)
        low = np.where(too_wet, low, middle)
    return np.asarray(0.5 * (low + high))


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
