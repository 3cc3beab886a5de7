"""A typical year of weather on our own time axis: plain arrays for the march, a dataset for who asks for one.

Steps: bytes to rows (`weather_text`), short gaps filled and numbers checked (`weather_checks`), and the
clock checked against the sun (`weather_sun`). What was read is kept on disk under
its checksum (`weather_cache`), because pvlib is slow to load; xarray is, too, and no march needs it.
"""

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate import moist_air, weather_cache, weather_checks, weather_sun
from hpwhsim.climate.weather_text import parse, read_bytes

if TYPE_CHECKING:
    import xarray as xr


# units and long name of every variable
VARIABLES = {
    "dry_bulb_c": ("degC", "outdoor dry-bulb temperature"),
    "dew_point_c": ("degC", "outdoor dew-point temperature"),
    "relative_humidity": ("1", "outdoor relative humidity, 0 to 1"),
    "humidity_ratio": ("kg/kg", "outdoor humidity ratio, water per dry air"),
    "pressure_pa": ("Pa", "station air pressure"),
    "ghi_w_m2": ("W/m2", "global horizontal solar radiation, mean of the hour"),
    "dni_w_m2": ("W/m2", "direct normal solar radiation, mean of the hour"),
    "dhi_w_m2": ("W/m2", "diffuse horizontal solar radiation, mean of the hour"),
    "wind_speed_m_s": ("m/s", "wind speed"),
}


class Column(NamedTuple):
    """One variable of a year."""

    values: Array  # (8760,), not to be written to


@dataclass(frozen=True)
class WeatherYear:
    """A year as plain arrays, read by name as a dataset is."""

    columns: dict[str, Column]  # by the names of `VARIABLES`
    attrs: dict[str, Any]  # those of `read_weather`

    def __getitem__(self, name: str) -> Column:
        return self.columns[name]

    def to_dataset(self) -> "xr.Dataset":
        """The year as `read_weather` gives it, on arrays of its own."""
        import xarray as xr

        time = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[h]").astype("datetime64[ns]")
        return xr.Dataset(
            {
                name: ("time", self.columns[name].values.copy(), {"units": units, "long_name": long_name})
                for name, (units, long_name) in VARIABLES.items()
            },
            coords={"time": ("time", time, {"long_name": "start of the hour, local standard time"})},
            attrs=self.attrs,
        )


def read_weather(path: Path) -> "xr.Dataset":
    """Read a typical-year weather file, TMY3 CSV or EPW, plain or gzip-compressed.

    The format is recognised by the content. A row is placed by its own month, day and hour, in which
    hour 1 is the first hour of the day in both formats; the time axis is ours.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    xarray.Dataset
        Dimension ``time``, 8760 hours from 2001-01-01T00:00, local standard time, each stamp the start of
        its hour. Float64 variables with ``units`` and ``long_name``: ``dry_bulb_c``, ``dew_point_c``,
        ``relative_humidity`` (0 to 1), ``humidity_ratio`` (kg/kg), ``pressure_pa``, ``ghi_w_m2``,
        ``dni_w_m2``, ``dhi_w_m2``, ``wind_speed_m_s``. Attributes: ``station``, ``latitude``, ``longitude``
        (degrees, north and east positive), ``elevation_m``, ``utc_offset_h``, ``source_format`` ("TMY3" or
        "EPW"), ``sha256`` (of the bytes, decompressed), ``source_years`` (the year of each of the twelve
        months), ``cautions`` (tuple of str).

    Raises
    ------
    InputError
        If the file is unreadable, of another format, a leap year, incomplete by more than 3 hours in a row,
        holds text or impossible numbers, or its columns contradict each other.

    Notes
    -----
    A gap of at most 3 hours (missing row, empty cell, missing-value code in a used column) is filled by
    a straight line and said in ``cautions``. Values that are odd for the place are kept and said; the rules
    and what they cannot see stand in `weather_checks.odd_for_the_place`. Files of PVGIS keep UTC order
    under a local header: they are moved when the sun confirms it, and that is said.

    Radiation is the sum over the hour; temperature, humidity and wind are mostly read at its end, so on this
    axis they stand up to an hour early. Both formats mean it so, and it is left as it is.

    References
    ----------
    S. Wilcox, W. Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156, 2008.
    """
    return read_year(path).to_dataset()


def read_year(path: Path) -> WeatherYear:
    """The same as plain arrays, which are shared by all who read this file and cannot be written to.

    Raises
    ------
    InputError
        As `read_weather`.
    """
    path = Path(path)
    try:
        about = path.stat()
    except (OSError, ValueError):
        read_bytes(path)  # says what is wrong
        raise
    return _year(path, (about.st_ino, about.st_size, about.st_mtime_ns))


@lru_cache(maxsize=8)
def _year(path: Path, _version: tuple[int, ...]) -> WeatherYear:
    """The year in a file; one that was written again is read again."""
    raw = read_bytes(path)
    sha256 = hashlib.sha256(raw).hexdigest()
    kept = weather_cache.load(sha256)
    if kept is None:
        kept = _read(path, raw)
        weather_cache.store(sha256, *kept)
    values, attrs = kept
    for column in values.values():
        column.flags.writeable = False
    return WeatherYear(
        {name: Column(values[name]) for name in VARIABLES},
        {name: tuple(v) if isinstance(v, list | tuple) else v for name, v in attrs.items()}
        | {"sha256": sha256},
    )


def _read(path: Path, raw: bytes) -> tuple[dict[str, Array], dict[str, object]]:
    """Columns and attributes of the dataset, from the bytes of the file alone; `path` is for errors."""
    rows = parse(path, raw)
    values = dict(rows.values)
    if rows.source_format == "TMY3":
        values["pressure_pa"] = values["pressure_pa"] * 100.0  # mbar
    cautions = weather_checks.check_limits(path, rows, values)
    values, filled = weather_checks.fill_gaps(path, rows, values)
    cautions += filled
    cautions += weather_checks.check_together(path, rows, values)
    cautions += weather_checks.odd_for_the_place(rows, values["dry_bulb_c"])
    clock = weather_sun.check_clock(path, rows, values["ghi_w_m2"])
    cautions += clock.cautions
    if clock.shift:
        values = {name: np.roll(column, clock.shift) for name, column in values.items()}
    cautions += weather_sun.check_sun(path, rows, values, clock.cosine)

    values["relative_humidity"] = values["relative_humidity"] / 100.0
    water = moist_air.humidity_ratio(values["dew_point_c"], values["pressure_pa"])
    most = moist_air.humidity_ratio_at_saturation(values["dry_bulb_c"], values["pressure_pa"])
    values["humidity_ratio"] = np.minimum(water, most)
    return values, {
        "station": rows.place.station,
        "country": rows.place.country,
        "latitude": rows.place.latitude,
        "longitude": rows.place.longitude,
        "elevation_m": rows.place.elevation_m,
        "utc_offset_h": clock.utc_offset_h,
        "source_format": rows.source_format,
        "source_years": rows.source_years,
        "cautions": tuple(cautions),
    }
