"""Hourly series packed into a page: single precision, seven significant digits of hourly.csv, deflated."""

from base64 import b64encode
from collections.abc import Mapping
from zlib import compress

import numpy as np

from hpwhsim.account.energy import HEAT_PUMP
from hpwhsim.arrays import Array


def packed(series: Mapping[str, Array]) -> dict[str, object]:
    """Series as text that the page's script unpacks.

    Parameters
    ----------
    series : mapping of str to ndarray, shape (8760,)
        By the names of hourly.csv; NaN where a value does not exist.

    Returns
    -------
    dict
        ``names``, and ``deflated``: base64 of the zlib stream of all values as little-endian binary32, the
        first bytes of all values before the second ones, and so on, which halves the stream.
    """
    table = np.array(list(series.values()), dtype="<f4")
    planes = np.frombuffer(table.tobytes(), np.uint8).reshape(-1, 4).T
    return {"names": list(series), "deflated": b64encode(compress(planes.tobytes(), 9)).decode("ascii")}


def cop_by_hour(hourly: Mapping[str, Array]) -> Array:
    """COP of the heat pump in each hour, heat over all its electricity; NaN while it is idle."""
    used = sum(hourly[key] for key in HEAT_PUMP if key in hourly)
    runs = hourly["compressor_kwh"] > 0.0
    cop = np.full(runs.size, np.nan)
    np.divide(hourly["heat_pump_heat_kwh"], used, out=cop, where=runs)
    return cop
