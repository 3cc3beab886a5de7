"""Why the backup ran and why hot water ran short: events of a year, read from its result files alone."""

import os
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.diagnose.events import Event, Events, find_events, worst
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io import user_file
from hpwhsim.io.user_file import is_there
from hpwhsim.io.user_json import from_json
from hpwhsim.plant.arrays import Cause

Record = dict[str, object]

RECORD, HOURLY = "annual.json", "hourly.nc"
CAUSES = tuple(cause.name.lower().replace("_", "-") for cause in Cause)
AGAIN = "run the scenario again"
LARGEST = 2**28  # bytes of hourly.nc: of a plant with everything it is below 2**23
SAME = 1e-6  # h; sums over the year in another order, and files in double precision
STATES = (
    "source_c",
    "dry_bulb_c",
    "mains_c",
    "room_c",
    "bore_wall_c",
    "well_c",
    "store_top_c",
    "store_mean_c",
    "store_bottom_c",
    "water_in_c",
    "run_hours",
    "module_hours",
    "lockout_hours",
    "source_spent_hours",
    "resistance_hours",
    "fuel_hours",
    "hot_water_litres",
)
"""What is reported for the hour before a event: source, store, and what the control did in it."""


class Kind(NamedTuple):
    """One kind of trouble."""

    series: str  # hourly.nc holds `series.cause`
    amounts: tuple[str, ...]  # hourly variables that add up to the amount
    unit: str
    totals: str  # key of the annual record


KINDS = {
    "backup": Kind("backup_hours", ("backup_resistance_kwh", "fuel_kwh"), "kwh", "backup_hours_by_cause"),
    "short": Kind("short_hours", ("short_litres",), "litres", "short_hours_by_cause"),
}


def why(result: Path, gap: int = 2) -> Record:
    """Every event of backup and of short hot water of a year that was run.

    Parameters
    ----------
    result : Path
        Folder written by `tankyear run`, or one of its files annual.json and hourly.nc.
    gap : int
        Quiet hours at most that do not end a event.

    Returns
    -------
    dict
        For ``backup`` and ``short``: totals by cause (kWh and litres of an hour with several causes by the
        time of each), the events in order, and the ten worst. ``loop_heater_kwh`` of a loop tank's heater,
        which is no backup and in no event.

    Raises
    ------
    InputError
        If files are missing, cannot be read, or are not of one run.
    """
    record, hourly = read_result(result)
    return why_of_year(record, hourly, gap, result if os.path.isdir(result) else result.parent)


def why_of_year(
    record: Mapping[str, Any], hourly: Mapping[str, Array], gap: int = 2, folder: Path = Path()
) -> Record:
    """As `why`, of the annual record and hourly series of a year; `folder` is where they come from."""
    found: Record = {
        key: record.get(key) for key in ("title", "tool.version", "scenario.sha256", "weather.station")
    }
    states = {name: hourly[name] for name in STATES if name in hourly}
    for name, kind in KINDS.items():
        seconds = np.zeros((len(CAUSES), 8760))
        for row, cause in enumerate(CAUSES):
            if f"{kind.series}.{cause}" in hourly:
                seconds[row] = 3600.0 * hourly[f"{kind.series}.{cause}"]
        amount = np.sum([hourly[part] for part in kind.amounts], axis=0)
        amount[np.abs(amount) < 1e-9] = 0.0  # rounding
        try:
            events = find_events(seconds, amount, states, gap)
        except OutOfRangeError as error:
            raise InputError(f"{folder / HOURLY}: {kind.series}: {error}; {AGAIN}") from None
        totals = {CAUSES[i]: float(h) for i, h in enumerate(events.hours) if h > 0.0}
        _same(folder, kind, record, totals)
        stated = sum(record[part] for part in kind.amounts)
        if abs(events.amount - stated) > SAME * max(stated, 1.0):
            raise InputError(
                f"{folder}: {HOURLY} adds up to {events.amount:.3f} {kind.unit} of {name}, {RECORD} says "
                f"{stated:.3f}; {AGAIN}"
            )
        shares = seconds / np.maximum(seconds.sum(axis=0), 1e-9)  # of an hour with several causes, by time
        parts = {CAUSES[i]: float(v) for i, v in enumerate(shares @ amount) if totals.get(CAUSES[i])}
        found[name] = _said(events, totals, parts, kind.unit)
    if record.get("loop_heater_kwh"):
        found["loop_heater_kwh"] = record["loop_heater_kwh"]
    return found


def read_result(result: Path) -> tuple[dict[str, Any], dict[str, Array]]:
    """The annual record and the hourly series of a result folder.

    Raises
    ------
    InputError
        If files are missing, cannot be read, or are not of one run.
    """
    folder = result if os.path.isdir(result) else result.parent
    if folder != result and (result.name not in (RECORD, HOURLY) or not is_there(result)):
        raise InputError(f"{result}: allowed a folder written by 'tankyear run', or its {RECORD} or {HOURLY}")
    for name in (RECORD, HOURLY):
        if not is_there(folder / name):
            raise InputError(f"{folder}: has no {name}; 'tankyear run SCENARIO --out {folder}' writes it")
    record = from_json(user_file.read_text(folder / RECORD, "an annual record"), str(folder / RECORD), AGAIN)
    hourly, attrs = _read_hourly(folder / HOURLY)
    if not isinstance(record, dict) or record.get("scenario.sha256") != attrs.get("scenario.sha256"):
        raise InputError(f"{folder}: {RECORD} and {HOURLY} are not of one run; {AGAIN}")
    needed = [part for kind in KINDS.values() for part in kind.amounts]
    short = [name for name, values in hourly.items() if values.shape != (HOURS,)]
    if missing := [*(name for name in needed if name not in hourly), *short]:
        raise InputError(f"{folder}: {HOURLY} has no {missing[0]} of {HOURS} hours; {AGAIN}")
    blocks = all(_hours(record.get(kind.totals)) for kind in KINDS.values())
    titles = all(isinstance(record.get(key, ""), str) for key in ("title", "tool.version", "weather.station"))
    if not (blocks and titles and all(_is_number(record.get(part)) for part in needed)):
        raise InputError(f"{folder}: {RECORD} is no annual record; {AGAIN}")
    return record, hourly


def _read_hourly(path: Path) -> tuple[dict[str, Array], Mapping[str, Any]]:
    """Numbers of every series of a file, and its attributes."""
    import xarray as xr

    what = f"{HOURLY} of 'tankyear run'"
    data = user_file.read_bytes(path, what, LARGEST)
    if data[:3] != b"CDF":
        raise InputError(f"{path}: no NetCDF file of version 3; allowed {what}; {AGAIN}")
    try:
        with xr.open_dataset(BytesIO(data), engine="scipy", decode_cf=False) as held:
            hourly = {str(name): np.asarray(held[name].values, np.float64) for name in held.data_vars}
            return hourly, dict(held.attrs)
    except Exception:  # a damaged file gives whatever its readers stumble over
        raise InputError(f"{path}: damaged, cut short or not of numbers; {AGAIN}") from None


def _is_number(value: object) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool)


def _hours(by_cause: object) -> bool:
    """Whether this is a block of hours by cause."""
    return isinstance(by_cause, dict) and all(map(_is_number, by_cause.values()))


def _same(folder: Path, kind: Kind, record: Mapping[str, Any], totals: dict[str, float]) -> None:
    """Refuse hours by cause that are not those of the record: an older version wrote no causes by hour."""
    stated = record[kind.totals]
    for cause in {*stated, *totals}:
        here, there = totals.get(cause, 0.0), float(stated.get(cause, 0.0))
        if abs(here - there) > SAME:
            raise InputError(
                f"{folder}: {HOURLY} books {here:.4f} h of {kind.series} to {cause}, {RECORD} {there:.4f} h; "
                f"the files are of two runs or of an older version: {AGAIN}"
            )


def _said(events: Events, totals: dict[str, float], parts: dict[str, float], unit: str) -> Record:
    order = sorted(totals, key=lambda cause: -totals[cause])
    return {
        "hours": float(events.hours.sum()),
        unit: events.amount,
        "hours_by_cause": {cause: totals[cause] for cause in order},
        f"{unit}_by_cause": {cause: parts[cause] for cause in order},
        "events": [_event(event, unit) for event in events.events],
        "worst": [_event(event, unit) for event in worst(events.events)],
    }


def _event(event: Event, unit: str) -> Record:
    time = np.datetime64("2001-01-01T00:00") + np.timedelta64(event.start, "h")
    before = event.before
    return {
        "start": str(time)[5:].replace("T", " "),  # the year is nominal
        "length_h": event.length,
        "hours": float(event.hours.sum()),
        unit: event.amount,
        "cause": CAUSES[event.cause],
        "hours_by_cause": {CAUSES[i]: float(h) for i, h in enumerate(event.hours) if h > 0.0},
        "before": None if before is None else {k: v if np.isfinite(v) else None for k, v in before.items()},
    }
