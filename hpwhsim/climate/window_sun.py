"""The sun on upright windows that face north, east, south and west, from a year's weather file.

Direct, sky and reflected radiation on each facade by pvlib (model of Hay and Davies; 0.2 of the ground's
radiation comes back), each times the share that glass at that angle lets through of what it lets through
when met square: ``1 - 0.17 (1 / cos angle - 1)``, the usual form for two panes, with the sky and the ground
seen at a mean of 60 degrees. A window's gain is its area, times its solar heat gain coefficient, times this.

References
----------
.. [1] J. E. Hay, J. A. Davies, Calculation of the solar radiation incident on an inclined surface, 1980.
.. [2] J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes, chapter 5: the form of the
   incidence-angle modifier, 0.17 for two covers, and the mean angle of near 60 degrees at an upright
   surface for sky and ground (unverified).
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.io import disk_cache

if TYPE_CHECKING:
    import xarray as xr


FACING = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}  # degrees clockwise from north
TWO_PANES = 0.17  # of the incidence-angle modifier
DIFFUSE_ANGLE = 60.0  # degrees
ALBEDO = 0.2  # of the ground, common practice, no source
KEEP = 40


def window_sun(weather: "xr.Dataset") -> dict[str, Array]:
    """Radiation through upright glass over its solar heat gain coefficient, by the way that it faces.

    Parameters
    ----------
    weather : xarray.Dataset
        As `typical_year.read_weather` gives it.

    Returns
    -------
    dict of ndarray, each (8760,)
        By the names of `FACING`, mean of the hour. [W/m²]

    Notes
    -----
    The sun stands where it is in the middle of the hour. What is worked out is kept on disk under the
    checksum of the weather, because pvlib takes half a second to load.
    """
    here = Path(__file__).parent
    inputs = "|".join(
        f"{name}={weather.attrs[name]}" for name in ("sha256", "latitude", "longitude", "utc_offset_h")
    )
    path = disk_cache.place("window-sun", inputs, sorted(here.glob("*.py")), ("pvlib",))
    return dict(disk_cache.cached(path, KEEP, lambda: _window_sun(weather)))


def _window_sun(weather: "xr.Dataset") -> dict[str, Array]:
    import pandas as pd
    from pvlib import iam, irradiance, solarposition

    start = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[h]").astype("datetime64[s]")
    offset = float(weather.attrs["utc_offset_h"])
    utc = start + np.timedelta64(round(3600 * (0.5 - offset)), "s")
    index = pd.DatetimeIndex(utc, tz="UTC")
    position: Callable[..., Any] = solarposition.ephemeris
    total: Callable[..., Any] = irradiance.get_total_irradiance
    glass: Callable[..., Any] = iam.ashrae
    angle: Callable[..., Any] = irradiance.aoi
    beyond: Callable[..., Any] = irradiance.get_extra_radiation
    sun = position(index, float(weather.attrs["latitude"]), float(weather.attrs["longitude"]))
    zenith, azimuth = 90.0 - sun["elevation"].to_numpy(), sun["azimuth"].to_numpy()
    ghi, dni, dhi = (np.asarray(weather[f"{name}_w_m2"].values) for name in ("ghi", "dni", "dhi"))
    dni = np.where(zenith < 90.0, dni, 0.0)
    extra = np.asarray(beyond(index))
    diffuse = float(glass(DIFFUSE_ANGLE, b=TWO_PANES))
    found = {}
    for name, facing in FACING.items():
        on = total(
            90.0, facing, zenith, azimuth, dni, ghi, dhi, dni_extra=extra, albedo=ALBEDO, model="haydavies"
        )
        passed = glass(angle(90.0, facing, zenith, azimuth), b=TWO_PANES)
        through = passed * np.asarray(on["poa_direct"]) + diffuse * np.asarray(on["poa_diffuse"])
        found[name] = np.asarray(np.maximum(through, 0.0), dtype=np.float64)
    return found
