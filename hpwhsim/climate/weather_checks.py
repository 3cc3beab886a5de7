"""Are the numbers of a weather file possible, and do they fit together?

A value no instrument can give, or columns that contradict each other, is refused. A value that is only
odd for the place is kept and said in a caution. The limits below are our choice unless a source is named.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.climate.weather_columns import COLUMNS, GAP_HOURS
from hpwhsim.climate.weather_text import Rows
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError

MOST_REPAIRED = 438  # h of a column, 5 % of the year
SHOWN = 20  # places named in one caution; the rest is counted

# lowest and highest value that is kept; the EPW data dictionary's limits or narrower
LIMITS = {
    "dry_bulb_c": (-70.0, 60.0, "°C"),
    "dew_point_c": (-80.0, 40.0, "°C"),
    "relative_humidity": (0.0, 110.0, "%"),
    "pressure_pa": (45_000.0, 110_000.0, "Pa"),
    "ghi_w_m2": (-10.0, 1500.0, "W/m²"),
    "dni_w_m2": (-10.0, 1400.0, "W/m²"),
    "dhi_w_m2": (-10.0, 1100.0, "W/m²"),
    "wind_speed_m_s": (0.0, 75.0, "m/s"),
}
SUN = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")


def _runs(mask: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Runs of True in a year that closes on itself."""
    at = np.flatnonzero(mask)
    if at.size in (0, mask.size):
        return [at] if at.size else []
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    if len(runs) > 1 and mask[0] and mask[-1]:
        runs[-1] = np.concatenate([runs[-1], runs.pop(0)])
    return runs


def _where(rows: Rows, run: NDArray[np.int64]) -> str:
    """Lines of the file of one run of hours."""
    lines = rows.line[run]
    there = lines[lines > 0]
    if not there.size:
        return f"after {int(rows.line[: int(run[0])].max(initial=0))}"
    return f"{there[0]}" if there.size == 1 else f"{there[0]}-{there[-1]}"


def _list(rows: Rows, runs: list[NDArray[np.int64]]) -> str:
    """Lines of several runs, the first ones named and the rest counted."""
    named = ", ".join(_where(rows, run) for run in runs[:SHOWN])
    return named + (f" and {len(runs) - SHOWN} more places" if len(runs) > SHOWN else "")


def fill_gaps(path: Path, rows: Rows, columns: dict[str, Array]) -> tuple[dict[str, Array], list[str]]:
    """Fill gaps of at most three hours by a straight line between the hours beside them.

    Parameters
    ----------
    path : Path
        Named in errors.
    rows : Rows
        For the lines of the file and the names of its columns.
    columns : dict of ndarray
        Columns, each (8760,), NaN where a value is missing; left as they are.

    Returns
    -------
    tuple
        Columns without NaN, each (8760,), every given value untouched; cautions.

    Raises
    ------
    InputError
        If a gap is longer, or more than 438 hours of a column are missing.
    """
    cautions = []
    lost = _runs(rows.line == 0)
    if lost:
        hours = sum(r.size for r in lost)
        cautions.append(
            f"{hours} missing hourly rows (line {_list(rows, lost)}) filled by straight lines in all columns"
        )
    filled = {}
    hour = np.arange(HOURS, dtype=np.float64)
    for name, column in COLUMNS[rows.source_format].items():
        values = columns[name].copy()
        gaps = _runs(np.isnan(values))
        for gap in gaps:
            if gap.size > GAP_HOURS:
                raise InputError(
                    f"{path}: line {_where(rows, gap)}, {column.label}: got {gap.size} hours in a row "
                    f"without a value (empty or a missing-value code), allowed at most {GAP_HOURS}"
                )
        count = sum(gap.size for gap in gaps)
        if count > MOST_REPAIRED:
            raise InputError(
                f"{path}: {column.label}: got {count} hours without a value, first at line "
                f"{_where(rows, gaps[0])}, allowed at most {MOST_REPAIRED} of 8760"
            )
        if gaps:
            given = ~np.isnan(values)
            values[~given] = np.interp(hour[~given], hour[given], values[given], period=float(HOURS))
        if cells := [gap for gap in gaps if np.any(rows.line[gap] > 0)]:
            cautions.append(
                f"{column.label}: {sum(g.size for g in cells)} hours without a value "
                f"(line {_list(rows, cells)}) filled by straight lines"
            )
        filled[name] = values
    return filled, cautions


def check_limits(path: Path, rows: Rows, values: dict[str, Array]) -> list[str]:
    """Refuse values outside `LIMITS`; hold what exceeds 100 % or falls just below no sun, and say so.

    Parameters
    ----------
    path : Path
        Named in errors.
    rows : Rows
        For the lines of the file.
    values : dict of ndarray
        Columns, each (8760,), pressure in Pa, NaN where missing; humidity and radiation are changed in
        place.

    Returns
    -------
    list of str
        Cautions.

    Raises
    ------
    InputError
        At the first impossible value, with its line.
    """
    cautions = []
    columns = COLUMNS[rows.source_format]
    for name, (low, high, unit) in LIMITS.items():
        _refuse(path, rows, name, values[name], (low, high), unit)
    given = values["pressure_pa"][~np.isnan(values["pressure_pa"])]
    if given.size:
        middle = float(np.median(given))
        limits = (0.85 * middle, 1.15 * middle)  # the deepest storm on record is 14 % below normal
        _refuse(path, rows, "pressure_pa", values["pressure_pa"], limits, "Pa")
    for name, low, high in [("relative_humidity", 0.0, 100.0), *((s, 0.0, np.inf) for s in SUN)]:
        wrong = (values[name] < low) | (values[name] > high)
        if np.any(wrong):
            values[name] = np.clip(values[name], low, high)
            held = "100 %" if name == "relative_humidity" else "0"
            cautions.append(
                f"{columns[name].label}: {np.count_nonzero(wrong)} hours "
                f"(line {_list(rows, _runs(wrong))}) held at {held}"
            )
        values[name] = values[name] + 0.0  # no minus zero
    return cautions


def _refuse(path: Path, rows: Rows, name: str, values: Array, limits: tuple[float, float], unit: str) -> None:
    """Error at the first value outside `limits`, in the unit that stands in the file."""
    low, high = limits
    wrong = np.flatnonzero((values < low) | (values > high))
    if wrong.size:
        i = int(wrong[0])
        more = f" ({wrong.size} such hours; are columns swapped?)" if wrong.size > 24 else ""
        scale = 1.0
        if name == "pressure_pa" and rows.source_format == "TMY3":
            scale, unit = 0.01, "mbar"
        raise InputError(
            f"{path}: line {_where(rows, wrong[:1])}, {COLUMNS[rows.source_format][name].label}: "
            f"got {scale * values[i]:.6g} {unit}, "
            f"allowed {scale * low:.6g} to {scale * high:.6g} {unit}{more}"
        )


def check_together(path: Path, rows: Rows, values: dict[str, Array]) -> list[str]:
    """Refuse columns that contradict each other; cautions where they only do so now and then.

    Parameters
    ----------
    path : Path
        Named in errors.
    rows : Rows
        For the lines of the file and the elevation.
    values : dict of ndarray
        Columns, each (8760,), pressure in Pa, humidity in %.

    Returns
    -------
    list of str
        Cautions.

    Raises
    ------
    InputError
        If the dew point stands above the dry bulb by more than 0.5 K in over 1 % of the hours, or the
        humidity of most warm hours is 20 points from what dry bulb and dew point say.
    """
    cautions = []
    columns = COLUMNS[rows.source_format]
    dry, dew, humid = values["dry_bulb_c"], values["dew_point_c"], values["relative_humidity"]
    above = dew > dry + 0.5
    if np.count_nonzero(above) > HOURS // 100:
        i = int(np.flatnonzero(above)[0])
        raise InputError(
            f"{path}: line {_where(rows, np.array([i]))}, {columns['dew_point_c'].label}: got {dew[i]:g} °C "
            f"at a dry bulb of {dry[i]:g} °C, and above the dry bulb in {np.count_nonzero(above)} hours; "
            "allowed at or below (are the columns swapped?)"
        )
    if np.any(above):
        cautions.append(
            f"{columns['dew_point_c'].label}: above the dry bulb in {np.count_nonzero(above)} hours "
            f"(line {_list(rows, _runs(above))}); the humidity ratio is that of saturated air there"
        )
    warm = dry > 0.5  # below, files differ in whether humidity is over ice or over water
    if np.count_nonzero(warm) > 500:
        # Magnus form over water, WMO-No. 8, annex 4.B: good to 0.3 % here
        said = 100.0 * np.exp(
            17.62 * dew[warm] / (243.12 + dew[warm]) - 17.62 * dry[warm] / (243.12 + dry[warm])
        )
        apart = float(np.median(np.abs(said - humid[warm])))
        if apart > 20.0:
            raise InputError(
                f"{path}: {columns['relative_humidity'].label}: in half of the warm hours {apart:.0f} points "
                "or more from what dry bulb and dew point say, allowed 20 (are columns swapped?)"
            )
        if apart > 6.0:
            cautions.append(
                f"{columns['relative_humidity'].label}: half of the warm hours differ by {apart:.0f} points "
                "or more from what dry bulb and dew point say"
            )
    middle = float(np.median(values["pressure_pa"]))
    standard = (
        101325.0 * (1.0 - 2.25577e-5 * rows.place.elevation_m) ** 5.2559
    )  # ASHRAE Fundamentals 2017, 1, eq. 3
    if abs(middle / standard - 1.0) > 0.08:
        cautions.append(
            f"{columns['pressure_pa'].label}: the year's median of {middle:.0f} Pa is not that of the "
            f"header's elevation of {rows.place.elevation_m:g} m (standard atmosphere {standard:.0f} Pa)"
        )
    return cautions


# Outer envelope of hourly dry bulb at sea level by distance from the equator, for midwinter and midsummer:
# outside the national records of the latitude, with room. Our choice.
_LATITUDE = (0.0, 15.0, 25.0, 35.0, 45.0, 55.0, 65.0, 90.0)
_COLD_WINTER = (5.0, 0.0, -12.0, -36.0, -56.0, -65.0, -70.0, -70.0)
_COLD_SUMMER = (5.0, 5.0, 5.0, -2.0, -10.0, -14.0, -20.0, -70.0)
_WARM_WINTER = (45.0, 45.0, 42.0, 40.0, 36.0, 30.0, 24.0, 20.0)
_WARM_SUMMER = (50.0, 54.0, 56.0, 57.0, 54.0, 48.0, 42.0, 30.0)


def odd_for_the_place(rows: Rows, dry_bulb_c: Array) -> list[str]:
    """Cautions on dry bulbs that are possible on Earth but hardly here and now.

    Parameters
    ----------
    rows : Rows
        For latitude, elevation and the lines of the file.
    dry_bulb_c : ndarray of float64, (8760,)
        Dry bulb, not shifted against `rows`. [°C]

    Returns
    -------
    list of str
        At most one caution for each of the three rules.

    Notes
    -----
    1. Against its own season: an hour is odd when it lies more than 6 times the quartile range (taken
       as at least 4 K) and more than 15 K from the median of the same hour of day in the 31 days
       around it. In twenty typical years looked at, from Florida to inner Alaska, the largest is 4.3.
       The rule is blind where more than a quarter of those 31 days is wrong, and to errors below 24 K.
    2. Against the latitude: an envelope outside the records of the latitude between midwinter and
       midsummer, colder by 6.5 K per 1000 m. It is loose: it finds -18 °C in an April in Florida, and not
       0 °C there.
    3. A value that does not change for 48 hours; the longest in those years is 32.
    """
    cautions = []
    label = COLUMNS[rows.source_format]["dry_bulb_c"].label
    days = dry_bulb_c.reshape(365, 24)
    ring = np.concatenate([days[-15:], days, days[:15]])
    window = np.sort(np.lib.stride_tricks.sliding_window_view(ring, 31, axis=0), axis=-1)
    median, spread = window[..., 15], np.maximum(window[..., 23] - window[..., 7], 4.0)
    away = np.abs(days - median)
    rules = [((away > np.maximum(6.0 * spread, 15.0)).ravel(), "far from all days around them")]

    day = np.repeat(np.arange(365) + 0.5, 24)
    winter = np.cos(2.0 * np.pi * (day - 20.0) / 365.0)  # coldest and warmest times trail the sun by a month
    share = 0.5 + 0.5 * (winter if rows.place.latitude >= 0.0 else -winter)
    tropic = abs(rows.place.latitude)
    low, low_summer, high, high_summer = (
        float(np.interp(tropic, _LATITUDE, table))
        for table in (_COLD_WINTER, _COLD_SUMMER, _WARM_WINTER, _WARM_SUMMER)
    )
    lapse = 0.0065 * max(rows.place.elevation_m, 0.0)
    lowest = share * low + (1.0 - share) * low_summer - lapse
    highest = share * high + (1.0 - share) * high_summer
    outside = (dry_bulb_c < lowest) | (dry_bulb_c > highest)
    rules.append((outside, f"outside what latitude {rows.place.latitude:g} has seen in the season"))

    same = np.concatenate([[False], np.diff(dry_bulb_c) == 0.0])
    stuck = np.zeros(HOURS, dtype=np.bool_)
    for run in _runs(same):
        if run.size >= 47:  # 48 equal values are 47 steps without change
            stuck[run] = True
    rules.append((stuck, "without any change for 48 hours or more"))
    for mask, why in rules:
        if np.any(mask):
            runs = _runs(mask)
            first = int(runs[0][0])
            cautions.append(
                f"{label}: {np.count_nonzero(mask)} hours (line {_list(rows, runs)}; first value "
                f"{dry_bulb_c[first]:g} °C) {why}: kept as they are, look at the file"
            )
    return cautions
