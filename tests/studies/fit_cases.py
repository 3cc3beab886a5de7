"""Readings made of a computed year, as a meter would have them: some stretch, by the hour, day or month."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from cases import CHICAGO

from hpwhsim.simulation.year import Year

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
LOOP, USE, COP = (
    "recirculation.loss_per_apartment",
    "hot_water.daily_use_per_apartment",
    "plant.heat_pump.cop",
)


def electric(folder: Path) -> dict[str, Any]:
    """An invented electric store with a loop, smooth draws; `folder` is not used."""
    return {
        "title": "invented electric plant",
        "site": {"weather": str(CHICAGO)},
        "building": {"apartments": 20},
        "hot_water": {"daily_use_per_apartment": "150 L", "draws": "smooth"},
        "recirculation": {"loss_per_apartment": "80 W"},
        "plant": {
            "family": "resistance",
            "storage": {"volume": "2000 L", "setpoint": "60 degC", "heat_loss": "6 W/K"},
            "backup": {"kind": "resistance", "power": "60 kW"},
        },
    }


def times(start: str, end: str, spacing: str) -> list[datetime]:
    """Starts of the rows of a meter, 29 February among them."""
    found, now, last = [], datetime.fromisoformat(start), datetime.fromisoformat(end)
    while now < last:
        found.append(now)
        if spacing == "month":
            now = (now + timedelta(days=32)).replace(day=1)
        else:
            now += timedelta(hours=1 if spacing == "hour" else 24)
    return found


def nominal_hour(time: datetime) -> int:
    """Hour of a year without leap day, counted month by month; 29 February as the 28th."""
    day = 28 if (time.month, time.day) == (2, 29) else time.day
    return 24 * (sum(MONTH_DAYS[: time.month - 1]) + day - 1) + time.hour


def readings(year: Year, column: str, at: Sequence[datetime], spacing: str) -> list[float]:
    """What a perfect meter of a year counts in each row."""
    hourly = year.hourly["hot_water_litres" if column == "litres" else column]
    found = []
    for time in at:
        hours = {"hour": 1, "day": 24, "month": 24 * MONTH_DAYS[time.month - 1]}[spacing]
        found.append(float(sum(hourly[nominal_hour(time) : nominal_hour(time) + hours])))
    return found


def write_meter(
    path: Path,
    year: Year,
    columns: Sequence[str],
    spacing: str,
    *,
    noise: float,
    start: str = "2018-01-01",  # a Monday, as the nominal year begins
    end: str = "2019-01-01",
    seed: int = 1,
) -> Path:
    """A meter's file of a computed year with independent relative noise on each reading."""
    at = times(start, end, spacing)
    rng = np.random.default_rng(seed)
    table = [
        np.array(readings(year, column, at, spacing)) * (1.0 + noise * rng.standard_normal(len(at)))
        for column in columns
    ]
    return write_rows(path, columns, [time.isoformat(timespec="minutes") for time in at], table)


def write_rows(path: Path, columns: Sequence[str], at: Sequence[str], table: Sequence[Any]) -> Path:
    """A meter's file of columns as they are."""
    lines = ["# invented", ",".join(["time", *columns])]
    for time, *values in zip(at, *table, strict=True):
        cells = [f"{value:.8g}" if isinstance(value, float) else str(value) for value in values]
        lines.append(",".join([time, *cells]))
    path.write_text("\n".join(lines) + "\n")
    return path
