"""From the bytes of a typical-year file to 8760 rows of numbers placed by their own hour stamps.

pvlib reads the table; what pvlib would trip over or pass through in silence (encodings, headers
with commas, leap days, doubled, missing or torn rows, text in number cells) is found here first, so
that each fault has one message with the line of the file.
"""

import csv
import gzip
import io
import re
import warnings
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.climate.weather_columns import COLUMNS, GAP_HOURS, TMY3_COLUMNS, Column
from hpwhsim.constants import HOURS, MONTH_DAYS
from hpwhsim.errors import InputError
from hpwhsim.io import user_file
from hpwhsim.io.plain_text import visible

LARGEST_BYTES = 64_000_000  # a year of hourly rows is below 3 MB
LAST_YEAR = 9999
LONGEST_LINE = 20_000  # characters
DAY_OF_MONTH_START = tuple(sum(MONTH_DAYS[:m]) for m in range(12))
TMY3_DATE, TMY3_TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
EPW_CELLS = 35  # some files end before the last three (albedo and liquid precipitation)


class Place(NamedTuple):
    """What the header says about the station."""

    station: str
    latitude: float  # degrees, north positive
    longitude: float  # degrees, east positive
    utc_offset_h: float  # h, local standard time less UTC
    elevation_m: float  # m
    country: str = ""  # as in the header, three letters; empty: not known


class Rows(NamedTuple):
    """The year as the file has it; NaN where a cell is empty or holds a code, or its row is missing."""

    source_format: str  # "TMY3" or "EPW"
    place: Place
    header: str  # the header lines, for remarks on the origin
    values: dict[str, Array]  # each (8760,), units of the names but humidity in % and TMY3 pressure in mbar
    line: NDArray[np.int64]  # (8760,), line of the file, 0 where the row is missing
    source_years: tuple[int, ...]  # the year each of the twelve months was taken from


def read_bytes(path: Path) -> bytes:
    """Bytes of the file, decompressed when it starts as gzip does.

    Raises
    ------
    InputError
        If `path` is not a readable file, is empty, too large or damaged.
    """
    what = "a weather file (TMY3 CSV or EPW)"
    data = user_file.read_bytes(path, what, LARGEST_BYTES, "no such weather file")
    if data[:2] == b"\x1f\x8b":
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as plain:
                data = plain.read(LARGEST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as err:
            raise InputError(f"{path}: the weather file cannot be unpacked ({err})") from None
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{path}: more than {LARGEST_BYTES // 1_000_000} MB, too large for an hourly year")
    if not data.strip():
        raise InputError(f"{path}: the weather file is empty, allowed are 8760 hourly rows (TMY3 CSV or EPW)")
    return data


def decode(data: bytes) -> str:
    """Text of the bytes: UTF-8 or UTF-16, with or without a byte-order mark, else Latin-1."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    odd, even = data[1:400:2].count(0), data[0:400:2].count(0)
    if max(odd, even) > 150 and min(odd, even) < 20:  # every second byte is zero: UTF-16 without a mark
        return data.decode("utf-16-le" if odd > even else "utf-16-be", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _number(path: Path, line: int, key: str, cell: str, low: float, high: float) -> float:
    """A header number in its range, or an error that names it."""
    try:
        value = float(cell)
    except ValueError:
        value = np.nan
    if not low <= value <= high:  # NaN fails this too
        raise InputError(f"{path}: line {line}, header {key}: got '{cell}', allowed {low:g} to {high:g}")
    return value


def _place(path: Path, cells: list[str], names: list[str], where: int) -> Place:
    """The station from header cells; latitude starts at `where`, `names` are the words for its name."""
    words = [n.strip() for n in names if n.strip() not in ("", "-") and n.strip().lower() != "unknown"]
    order = {"latitude": 0, "longitude": 1, "utc offset": 2, "elevation": 3}
    if where == 3:  # TMY3 puts the offset first
        order = {"utc offset": 0, "latitude": 1, "longitude": 2, "elevation": 3}
    limits = {
        "latitude": (-90, 90),
        "longitude": (-180, 180),
        "utc offset": (-12, 14),
        "elevation": (-450, 6000),
    }
    got = {k: _number(path, 1, k, cells[where + i].strip(), *limits[k]) for k, i in order.items()}
    station = visible(" ".join(words)) or f"grid point {got['latitude']:g}, {got['longitude']:g}"
    return Place(station, got["latitude"], got["longitude"], got["utc offset"], got["elevation"])


def _csv_cells(line: str) -> list[str]:
    """Cells of one line, quotation marks respected."""
    return next(csv.reader([line]), [])


def _leap(path: Path, rows: int) -> InputError:
    return InputError(
        f"{path}: {rows} hourly rows with 29 February, a leap year; "
        "allowed is a typical year of 8760 rows without 29 February"
    )


def _stamp(path: Path, line: int, text: str, epw: bool, rows: int) -> tuple[int, int]:
    """Year and position 0..8759 of a data row from its date cells (the hour that ends at the stamp)."""
    cells = text.split(",", 5)
    try:
        if epw:
            year, month, day, hour = (int(c) for c in cells[:4])
            minute = 0
        else:
            month, day, year = (int(c) for c in cells[0].split("/"))
            clock = cells[1].split(":")
            hour, minute = int(clock[0]), int(clock[1])
    except (ValueError, IndexError):
        shown = ",".join(cells[:4] if epw else cells[:2])
        form = "year,month,day,hour" if epw else "MM/DD/YYYY,HH:MM"
        raise InputError(f"{path}: line {line}, date and time: got '{shown}', allowed {form}") from None
    if not 1 <= year <= LAST_YEAR:
        raise InputError(f"{path}: line {line}, date and time: got the year {year}, allowed 1 to {LAST_YEAR}")
    if month == 2 and day == 29:
        raise _leap(path, rows)
    earliest = 1 if epw else 0
    if not (
        1 <= month <= 12 and 1 <= day <= MONTH_DAYS[month - 1] and earliest <= hour <= 24 and minute == 0
    ):
        raise InputError(
            f"{path}: line {line}, date and time: got month {month}, day {day}, time {hour}:{minute:02d}, "
            "allowed a day of a year without 29 February and full hours 1 to 24"
        )
    # a stamp of 00:00 ends the last hour of the day before
    return year, (24 * (DAY_OF_MONTH_START[month - 1] + day - 1) + hour - 1) % HOURS


def _positions(
    path: Path, data: list[tuple[int, str]], epw: bool
) -> tuple[list[int], list[int], NDArray[np.int64]]:
    """Position and year of each data row, and the line of each position; refuses what has no sure order."""
    line_of = np.zeros(HOURS, dtype=np.int64)
    places: list[int] = []
    years: list[int] = []
    rows, last = len(data), -1
    for number, text in data:
        year, at = _stamp(path, number, text, epw, rows)
        if line_of[at]:
            raise InputError(
                f"{path}: line {number}: the same hour as line {line_of[at]}, allowed one row for each hour "
                f"({rows} rows found, 8760 needed)"
            )
        if at < last:
            raise InputError(
                f"{path}: line {number}: earlier than the row before it, "
                "allowed rows from 1 January to 31 December"
            )
        line_of[at], last = number, at
        places.append(at)
        years.append(year)
    missing = np.flatnonzero(line_of == 0)
    if places[-1] < HOURS - 1 - GAP_HOURS:
        raise InputError(
            f"{path}: the file ends with line {data[-1][0]}, {HOURS - 1 - places[-1]} hours before the "
            f"end of the year ({rows} rows found, 8760 needed)"
        )
    if missing.size:
        runs = np.split(missing, np.flatnonzero(np.diff(missing) > 1) + 1)
        longest = max(runs, key=len)
        if len(longest) > GAP_HOURS:
            before = int(line_of[: longest[0]].max(initial=0))
            raise InputError(
                f"{path}: after line {before}: {len(longest)} hourly rows are missing, allowed at most "
                f"{GAP_HOURS} in a row ({rows} rows found, 8760 needed)"
            )
    return places, years, line_of


def _data_lines(path: Path, lines: list[str], first: int, cells: int) -> list[tuple[int, str]]:
    """Numbered data lines with `cells` cells each; blank lines and empty cells at the end are cut."""
    data = []
    for number, text in enumerate(lines[first:], start=first + 1):
        if not text.strip(" \t,\x1a"):
            continue
        if '"' in text:
            text = re.sub(r'(^|,)"([^",]*)"(?=,|$)', r"\1\2", text)  # whole cells in quotation marks
            if '"' in text:
                raise InputError(f"{path}: line {number}: got a stray quotation mark, allowed plain cells")
        if (count := text.count(",") + 1) != cells:
            stripped = text.rstrip(", ")
            count = stripped.count(",") + 1
            text = stripped + "," * (
                cells - count
            )  # cells at the end, none of them used, may be cut or added
            if count > cells or cells - count > 3:
                raise InputError(
                    f"{path}: line {number}: got {count} cells, allowed {cells} as in the other rows"
                )
        data.append((number, text))
    if not data:
        raise InputError(f"{path}: the header has no hourly rows below it, 8760 needed")
    return data


def _numbers(
    path: Path,
    frame: dict[str, object],
    columns: dict[str, Column],
    places: list[int],
    line: NDArray[np.int64],
) -> dict[str, Array]:
    """Each used column as floats in its position; refuses text, turns empty cells and codes into NaN."""
    import pandas as pd

    values: dict[str, Array] = {}
    for name, column in columns.items():
        raw = pd.Series(frame[column.pvlib]).reset_index(drop=True)
        found = pd.to_numeric(raw, errors="coerce").to_numpy(dtype=np.float64)
        text = np.flatnonzero(np.isnan(found) & raw.notna().to_numpy())
        text = np.array([i for i in text if str(raw[i]).strip()], dtype=np.int64)
        if text.size:
            i = int(text[0])
            raise InputError(
                f"{path}: line {line[places[i]]}, {column.label}: got '{raw[i]}', allowed a number"
            )
        placed = np.full(HOURS, np.nan)
        placed[places] = found
        placed[np.isin(placed, column.codes)] = np.nan
        values[name] = placed
    return values


def parse(path: Path, raw: bytes) -> Rows:
    """Read a TMY3 CSV or EPW file, recognised by its content, through pvlib.

    Parameters
    ----------
    path : Path
        Named in errors.
    raw : bytes
        The file, decompressed.

    Returns
    -------
    Rows
        The year as the file has it; rows stand where their own month, day and hour put them.

    Raises
    ------
    InputError
        If the file is unreadable, of another format, or its rows do not make one year.
    """
    text = decode(raw)
    lines = re.split(r"\r\n|\r|\n", text)
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"{path}: line {number}: got {len(line):,} characters; allowed at most {LONGEST_LINE:,}"
            )
    second = lines[1] if len(lines) > 1 else ""
    epw = lines[0].lstrip().upper().startswith("LOCATION,")
    if not epw and not any(w in second for w in (TMY3_DATE, TMY3_TIME, "Dry-bulb (C)", "GHI (W/m^2)")):
        control = sum(c < " " and c not in "\t\r\n\f" for c in text[:4000])
        kind = "not text" if control > 20 else "neither TMY3 CSV nor EPW"
        raise InputError(
            f"{path}: {kind}; allowed is a TMY3 CSV (second line starts '{TMY3_DATE}') "
            "or an EPW (first line starts 'LOCATION,')"
        )
    return _parse_epw(path, lines) if epw else _parse_tmy3(path, lines)


def _parse_epw(path: Path, lines: list[str]) -> Rows:
    head = _csv_cells(lines[0])
    if len(head) < 10:
        raise InputError(f"{path}: line 1, LOCATION: got {len(head)} cells, allowed 10 (name ... elevation)")
    place = _place(path, head, [*head[1:4], head[5]], 6)
    country = head[3].strip().upper()
    place = place._replace(country=country if len(country) == 3 and country.isalpha() else "")
    marks = [i for i, text in enumerate(lines[:60]) if text.upper().startswith("DATA PERIODS")]
    if not marks:
        raise InputError(
            f"{path}: header line 'DATA PERIODS' not found, allowed are the eight header lines of an EPW"
        )
    periods = _csv_cells(lines[marks[0]])
    if [c.strip() for c in periods[1:3]] != ["1", "1"]:
        raise InputError(
            f"{path}: line {marks[0] + 1}, DATA PERIODS: got '{','.join(periods[1:3])}', allowed '1,1' "
            "(one period, one row an hour)"
        )
    first = marks[0] + 1
    data = _data_lines(path, lines, first, EPW_CELLS)
    header = [
        "LOCATION,-,-,-,-,-," + ",".join(f"{v:g}" for v in (place.latitude, place.longitude)),
        *["-"] * 6,
        "DATA PERIODS",
    ]
    header[0] += f",{place.utc_offset_h:g},{place.elevation_m:g}"
    return _rows(path, "EPW", place, "\n".join(lines[:first]), header, data)


def _parse_tmy3(path: Path, lines: list[str]) -> Rows:
    head = _csv_cells(lines[0].rstrip(", "))  # a spreadsheet adds empty cells
    if len(head) != 7:
        raise InputError(
            f"{path}: line 1: got {len(head)} cells, allowed 7 (station id, name, state, UTC offset, "
            "latitude, longitude, elevation)"
        )
    place = _place(path, head, [head[1], head[2], head[0]], 3)._replace(country="USA")  # no TMY3 elsewhere
    names = [n.strip() for n in _csv_cells(lines[1].rstrip(", "))]
    needed = [TMY3_DATE, TMY3_TIME, *(c.label for c in TMY3_COLUMNS.values())]
    if lost := [n for n in needed if n not in names]:
        raise InputError(
            f"{path}: line 2: column {', '.join(repr(n) for n in lost)} not found, "
            "allowed are the columns of the TMY3 format"
        )
    if names[:2] != needed[:2]:
        raise InputError(
            f"{path}: line 2: got '{','.join(names[:2])}' first, allowed '{','.join(needed[:2])}'"
        )
    if doubled := [n for n in needed if names.count(n) > 1]:
        raise InputError(f"{path}: line 2: column '{doubled[0]}' stands there twice, allowed once")
    data = _data_lines(path, lines, 2, len(names))
    header = [f"0,-,-,{place.utc_offset_h:g},{place.latitude:g},{place.longitude:g},{place.elevation_m:g}"]
    header.append(",".join(names))
    return _rows(path, "TMY3", place, "\n".join(lines[:2]), header, data)


def _rows(
    path: Path,
    form: str,
    place: Place,
    remarks: str,
    header: list[str],
    data: list[tuple[int, str]],
) -> Rows:
    """Give the checked rows to pvlib under a plain header, and place what it read."""
    from pvlib.iotools.epw import read_epw
    from pvlib.iotools.tmy import read_tmy3

    places, years, line_of = _positions(path, data, form == "EPW")
    stream = io.StringIO("\n".join([*header, *(text for _, text in data)]) + "\n")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # mixed types in columns that we do not use
            reader: Callable[..., Any] = read_epw if form == "EPW" else read_tmy3
            frame, _ = reader(stream)
    except Exception as err:  # pvlib passes on whatever its parser raises
        said = " ".join(f"{type(err).__name__}: {err}".split())
        raise InputError(f"{path}: pvlib could not read the rows ({said})") from None
    values = _numbers(path, frame, COLUMNS[form], places, line_of)
    year_of = dict(zip((p // 24 for p in reversed(places)), reversed(years), strict=True))
    months = (min((d for d in year_of if d >= start), default=0) for start in DAY_OF_MONTH_START)
    source_years = tuple(year_of[d] for d in months)
    return Rows(form, place, remarks, values, line_of, source_years)
