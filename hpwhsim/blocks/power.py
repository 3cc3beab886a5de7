"""The power of a block by the quarter of an hour, for notebooks and as a CSV file."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hpwhsim.blocks.block import Simulated

if TYPE_CHECKING:
    import xarray as xr

ABOUT = (
    "mean electric power of each quarter of an hour, all plants together; each stamp is its start, local "
    "standard time of a nominal year"
)


def _starts(count: int) -> NDArray[np.datetime64]:
    return np.datetime64("2001-01-01T00:00", "m") + np.arange(count) * np.timedelta64(15, "m")


def power_dataset(found: Simulated) -> "xr.Dataset":
    """``power_kw`` and, where all plants have one, ``baseline_power_kw`` over ``time``. [kW]"""
    import xarray as xr

    series = {"power_kw": found.quarter_kw}
    if found.baseline_kw is not None:
        series["baseline_power_kw"] = found.baseline_kw
    time = _starts(found.quarter_kw.size).astype("datetime64[ns]")
    return xr.Dataset(
        {name: ("time", values, {"units": "kW", "long_name": ABOUT}) for name, values in series.items()},
        coords={"time": ("time", time)},
    )


def power_csv(found: Simulated) -> bytes:
    """The same as CSV."""
    series = [found.quarter_kw] + ([] if found.baseline_kw is None else [found.baseline_kw])
    heads = ["time", "power_kw", "baseline_power_kw"][: 1 + len(series)]
    stamps = np.datetime_as_string(_starts(found.quarter_kw.size), unit="m")
    rows = zip(stamps, *series, strict=True)
    lines = [",".join([str(stamp), *(f"{kw:.10g}" for kw in values)]) for stamp, *values in rows]
    return "\n".join([f"# {ABOUT}", ",".join(heads), *lines, ""]).encode()
