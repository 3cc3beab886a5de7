"""Does the sun in a weather file agree with its clock, and its radiation with itself?"""

import re
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.weather_checks import SUN
from hpwhsim.climate.weather_columns import COLUMNS
from hpwhsim.climate.weather_text import Place, Rows
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError


class Clock(NamedTuple):
    """What the sun says about the order of the rows."""

    shift: int  # h by which the rows are to be rolled later
    utc_offset_h: float  # h, offset that holds after the shift
    cosine: Array  # (8760,), cosine of the sun's zenith after the shift, 0 below the horizon
    cautions: list[str]


def _cosine_of_zenith(place: Place, utc_offset_h: float, fraction: float) -> Array:
    """Cosine of the solar zenith at `fraction` of each hour of the nominal year, 0 below the horizon."""
    import pandas as pd
    from pvlib.solarposition import ephemeris

    start = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[h]").astype("datetime64[s]")
    utc = start + np.timedelta64(round(3600 * (fraction - utc_offset_h)), "s")
    index = pd.DatetimeIndex(utc, tz="UTC")
    compute: Callable[..., pd.DataFrame] = ephemeris
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pandas on a name that pvlib still uses
        sun = compute(index, place.latitude, place.longitude)
    return np.asarray(np.maximum(np.sin(np.deg2rad(sun["elevation"].to_numpy())), 0.0))


def check_clock(path: Path, rows: Rows, ghi_w_m2: Array) -> Clock:
    """Compare the day of the global radiation with the day of the sun at the header's place and offset.

    Parameters
    ----------
    path : Path
        Named in errors.
    rows : Rows
        For place and remarks.
    ghi_w_m2 : ndarray of float64, (8760,)
        Global horizontal radiation in the order of the file. [W/m²]

    Returns
    -------
    Clock
        Shift, offset, and cautions. Only a file whose header shows it is from PVGIS is shifted, and
        only when the sun agrees better with UTC order than with local order.

    Raises
    ------
    InputError
        If the year has no sun.

    Notes
    -----
    The lag is the difference in phase of the first daily harmonic of the two, summed over the year;
    clouds that favour the morning or the afternoon move it by less than 0.5 h in twenty files looked at.
    Beyond 1.5 h there is a caution.
    """
    if not np.any(ghi_w_m2 > 0.0):
        raise InputError(
            f"{path}: {COLUMNS[rows.source_format]['ghi_w_m2'].label}: got no sun all year, "
            "allowed a real year"
        )
    offset = rows.place.utc_offset_h
    pvgis = re.search(r"PVGIS|Irradiance Time Offset|ECMWF/ERA", rows.header, re.IGNORECASE) is not None
    said = re.search(r"Irradiance Time Offset \(h\)\s*:\s*(-?\d+(?:\.\d+)?)", rows.header, re.IGNORECASE)
    fraction = 0.5  # sums over the hour stand for its middle
    if said and -1.0 <= float(said[1]) <= 0.0:
        fraction = 1.0 + float(said[1])  # the offset counts from the stamp, which ends the hour
    cosine = _cosine_of_zenith(rows.place, offset, fraction)
    turn = np.exp(2j * np.pi * np.arange(HOURS) / 24.0)
    lag = float(np.angle(np.sum(ghi_w_m2 * turn) / np.sum(cosine * turn))) * 12.0 / np.pi
    shift, cautions = 0, []
    if pvgis:
        whole = int(np.floor(offset + 0.5))
        later = (lag + offset + 12.0) % 24.0 - 12.0  # lag that is left if the rows are in UTC order
        if whole != 0 and abs(later) < abs(lag):
            shift, lag = whole, later
            cautions.append(
                f"PVGIS file in UTC order under a header that says UTC{offset:+g}: rows moved by "
                f"{whole:+d} h, confirmed by the sun; the year's end closes on its start"
            )
            if whole != offset:
                cautions.append(f"the offset UTC{offset:+g} is no whole hour: the time axis is UTC{whole:+d}")
                cosine = _cosine_of_zenith(rows.place, float(whole), fraction)
                offset = float(whole)
        if fraction != 0.5:
            cautions.append(
                f"radiation is the value {fraction * 60.0:.0f} min after the start of each hour, not its mean"
            )
    if abs(lag) > 1.5:
        cautions.append(
            f"the sun in the file is {abs(lag):.1f} h {'later' if lag > 0 else 'earlier'} than at "
            f"longitude {rows.place.longitude:g} and UTC{offset:+g}: longitude, UTC offset or the "
            "order of the rows is wrong"
        )
    return Clock(shift, offset, cosine, cautions)


def check_sun(path: Path, rows: Rows, values: dict[str, Array], cosine: Array) -> list[str]:
    """Does global radiation equal direct times the cosine of the zenith plus diffuse?

    Parameters
    ----------
    path : Path
        Named in errors.
    rows : Rows
        For the column names.
    values : dict of ndarray
        Columns, each (8760,), in local order.
    cosine : ndarray of float64, (8760,)
        Cosine of the solar zenith, 0 below the horizon. [-]

    Returns
    -------
    list of str
        A caution when the year's mean gap is above 30 % (at most 8 % in twenty files looked at).

    Raises
    ------
    InputError
        If the three add up once two of them are exchanged.
    """
    columns = COLUMNS[rows.source_format]

    def gap(total: str, beam: str, sky: str) -> float:
        error = np.abs(values[total] - values[beam] * cosine - values[sky]).sum()
        return float(error / max(values[total].sum(), 1.0))

    as_found = gap(*SUN)
    if as_found <= 0.3:
        return []
    ghi, dni, dhi = SUN
    orders = [(dni, ghi, dhi), (dhi, dni, ghi), (ghi, dhi, dni), (dni, dhi, ghi), (dhi, ghi, dni)]
    best = min(orders, key=lambda order: gap(*order))
    if gap(*best) < 0.15:
        found = ", ".join(columns[c].label for c in best)
        raise InputError(
            f"{path}: radiation columns are swapped: they add up only if global, direct and diffuse are "
            f"taken from {found}"
        )
    return [
        f"global radiation differs from direct and diffuse together by {100.0 * as_found:.0f} % over the year"
    ]
