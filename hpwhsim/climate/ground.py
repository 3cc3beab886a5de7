"""Temperature of undisturbed ground, from the yearly wave at its surface.

References
----------
.. [1] T. Kusuda, P. R. Achenbach, "Earth temperature and thermal diffusivity at selected stations in
   the United States", ASHRAE Transactions 71(1), 61-74, 1965.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError

YEAR_DAYS = 365.0
SECONDS_PER_DAY = 86400.0


class SurfaceWave(NamedTuple):
    """The yearly wave of a temperature: ``mean_c - amplitude_k cos(2 pi (day - day_of_minimum) / 365)``."""

    mean_c: float  # °C
    amplitude_k: float  # K, half of the yearly swing, at least 0
    day_of_minimum: float  # day of the year, 0 to 365; 1.0 is noon of 1 January


def ground_temperature(
    depth_m: ArrayLike,
    day: ArrayLike,
    mean_c: float,
    amplitude_k: float,
    day_of_minimum: float,
    diffusivity_m2_s: float,
) -> Array:
    """Temperature of undisturbed ground at a depth on a day.

    Parameters
    ----------
    depth_m : array_like of float, any shape
        Depth below the surface, at least 0. [m]
    day : array_like of float, broadcast with `depth_m`
        Day of the year. [-]
    mean_c : float
        Yearly mean at the surface. [°C]
    amplitude_k : float
        Half of the yearly swing at the surface. [K]
    day_of_minimum : float
        Day of the year of the lowest surface temperature. [-]
    diffusivity_m2_s : float
        Thermal diffusivity of the soil, above 0; soils lie near 3e-7 to 8e-7. [m²/s]

    Returns
    -------
    ndarray of float64, broadcast shape
        Ground temperature. [°C]

    Raises
    ------
    OutOfRangeError
        If a depth is negative, the diffusivity is not above 0, or a value is NaN.

    References
    ----------
    Kusuda and Achenbach 1965 [1]_.

    Examples
    --------
    >>> ground_temperature([0.0, 2.0], 35.0, 10.0, 12.0, 35.0, 0.05 / 86400.0).round(3)
    array([-2.   ,  6.467])
    """
    depth = np.asarray(depth_m, dtype=np.float64)
    if not (diffusivity_m2_s > 0.0 and np.isfinite(diffusivity_m2_s)):
        raise OutOfRangeError(f"ground: got a diffusivity of {diffusivity_m2_s:g} m²/s, allowed above 0")
    if not np.all((depth >= 0.0) & np.isfinite(depth)):
        raise OutOfRangeError(f"ground: got a depth of {np.min(depth):g} m, allowed 0 m and deeper")
    if not np.all(np.isfinite([mean_c, amplitude_k, day_of_minimum])):
        raise OutOfRangeError("ground: mean, amplitude and day of the minimum must be finite numbers")
    per_day = diffusivity_m2_s * SECONDS_PER_DAY  # m²/day
    decay = depth * np.sqrt(np.pi / (YEAR_DAYS * per_day))
    lag = depth / 2.0 * np.sqrt(YEAR_DAYS / (np.pi * per_day))
    angle = 2.0 * np.pi / YEAR_DAYS * (np.asarray(day, dtype=np.float64) - day_of_minimum - lag)
    return np.asarray(mean_c - amplitude_k * np.exp(-decay) * np.cos(angle))


def surface_wave(dry_bulb_c: ArrayLike) -> SurfaceWave:
    """Mean, amplitude and day of minimum of the yearly wave in an hourly dry bulb, by least squares.

    Parameters
    ----------
    dry_bulb_c : array_like of float, (8760,)
        Hourly outdoor dry bulb from 1 January, each value for the middle of its hour. [°C]

    Returns
    -------
    SurfaceWave
        The harmonic of one year that lies closest to all hours. The ground's surface follows the
        air only roughly (snow, sun, grass): taking the air's wave for it is common practice, no source.

    Raises
    ------
    OutOfRangeError
        If the array is not a full year of finite numbers.

    Notes
    -----
    Over a full year of even steps, one, cosine and sine are orthogonal, so least squares is a
    projection.
    """
    air = np.asarray(dry_bulb_c, dtype=np.float64)
    if air.shape != (8760,) or not np.all(np.isfinite(air)):
        raise OutOfRangeError(
            f"dry bulb of the year: got an array of shape {air.shape}, allowed 8760 finite numbers"
        )
    day = 0.5 + (np.arange(8760) + 0.5) / 24.0
    angle = 2.0 * np.pi / YEAR_DAYS * day
    cosine = 2.0 * float(np.mean(air * np.cos(angle)))
    sine = 2.0 * float(np.mean(air * np.sin(angle)))
    lowest = np.arctan2(-sine, -cosine) * YEAR_DAYS / (2.0 * np.pi)
    return SurfaceWave(float(air.mean()), float(np.hypot(cosine, sine)), float(lowest % YEAR_DAYS))
