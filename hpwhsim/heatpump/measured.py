"""Performance that the user measured or has from a data sheet: a CSV file, used inside its range only."""

import csv
import math
from itertools import product
from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import Rating, lorenz_cop
from hpwhsim.heatpump.maps import PerformanceMap

COLUMNS = ("source_c", "water_in_c", "water_out_c", "capacity_kw", "power_kw")
SAME = 1e-6  # K, relative for values: rows closer than this are one point
FINEST = 41  # nodes laid over an axis of scattered points


def read_table(path: str | Path) -> PerformanceMap:
    """Read measured performance of one module from a CSV file.

    Columns `source_c`, `water_in_c`, `water_out_c`, `capacity_kw`, `power_kw`; lines that start with ``#``
    are comments; other columns are ignored. The points are a full grid, used as it stands, or scattered:
    then the map is linear between them inside their convex hull, and NaN outside. A table whose outlet is a
    fixed rise above its inlet (multi-pass) becomes a map in source and inlet alone.

    Parameters
    ----------
    path : str or Path
        The file; its name appears in every message.

    Returns
    -------
    PerformanceMap

    Raises
    ------
    InputError
        Naming file, row and column: file or column missing, text that is no number, NaN, capacity or power
        not above 0, outlet not above inlet, COP not below the Lorenz limit (which equals Carnot's between
        source and outlet when the water hardly warms), one point with two values, fewer than two source
        temperatures, points that span no area to interpolate in.
    """
    path = Path(path)
    line, points = _read(path)
    _check(path, line, points)
    points = _without_repeats(path, line, points)
    if np.unique(points[:, 0]).size < 2:
        raise InputError(
            f"{path}, column source_c: two or more temperatures are needed, got only {points[0, 0]:g} °C"
        )
    rise = points[:, 2] - points[:, 1]
    by_rise = np.unique(points[:, 1]).size > 1 and bool(np.ptp(rise) < 1e-3)
    free = [0, 1] if by_rise else [0, 1, 2]
    values = points[:, 3:] * 1e3

    axes = [np.unique(points[:, k]) for k in free]
    if math.prod(a.size for a in axes) == len(points):  # a full grid: every node is there, once
        order = np.lexsort([points[:, k] for k in reversed(free)])
        grid = values[order]
    else:
        axes, grid = _interpolate(path, points[:, free], values, free)
    if by_rise:
        axes.append(np.array([np.nan]))
    shape = tuple(a.size for a in axes)
    return PerformanceMap(*axes, *(np.ascontiguousarray(grid[:, k].reshape(shape)) for k in range(2)))


def read_ratings(path: str | Path) -> list[Rating]:
    """Read rated points of one module from a CSV file with the columns of `read_table`.

    Raises
    ------
    InputError
        As `read_table` for the file and its numbers; the points need not cover anything.
    """
    path = Path(path)
    line, points = _read(path)
    _check(path, line, points)
    return [
        Rating(source, water_in, water_out, capacity * 1e3, capacity / power)
        for source, water_in, water_out, capacity, power in points.tolist()
    ]


def _read(path: Path) -> tuple[list[int], Array]:
    """Line numbers in the file, and points (n, 5) in the order of `COLUMNS`."""
    try:
        text = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as a text file: {error}") from error
    held = [(n, x) for n, x in enumerate(text, start=1) if x.strip() and not x.lstrip().startswith("#")]
    rows = list(csv.reader([x for _, x in held]))
    names = [x.strip() for x in rows[0]] if rows else []
    missing = [x for x in COLUMNS if x not in names]
    if missing:
        raise InputError(
            f"{path}: missing column {', '.join(missing)}; needed are {', '.join(COLUMNS)}; "
            f"found {', '.join(names)}"
        )
    where = [names.index(x) for x in COLUMNS]
    points = np.empty((len(rows) - 1, len(COLUMNS)))
    for r, ((n, _), row) in enumerate(zip(held[1:], rows[1:], strict=True)):
        for c, (name, k) in enumerate(zip(COLUMNS, where, strict=True)):
            given = row[k].strip() if k < len(row) else ""
            try:
                points[r, c] = float(given)
            except ValueError as error:
                raise InputError(f"{path}, line {n}, column {name}: {given!r} is not a number") from error
            if not math.isfinite(points[r, c]):
                raise InputError(f"{path}, line {n}, column {name}: {given!r}; a finite number is needed")
    if not len(points):
        raise InputError(f"{path}: no rows below the header")
    return [n for n, _ in held[1:]], points


def _check(path: Path, line: list[int], points: Array) -> None:
    """Refuse what no machine can do."""
    for n, (source, water_in, water_out, capacity, power) in zip(line, points, strict=True):
        for name, value in (("capacity_kw", capacity), ("power_kw", power)):
            if value <= 0.0:
                raise InputError(f"{path}, line {n}, column {name}: must be above 0, got {value:g}")
        for name, value in zip(COLUMNS, (source, water_in, water_out), strict=False):
            if not -100.0 <= value <= 150.0:
                raise InputError(f"{path}, line {n}, column {name}: must be -100 to 150 °C, got {value:g}")
        if water_out < water_in:
            raise InputError(
                f"{path}, line {n}, column water_out_c: must not be below water_in_c ({water_in:g}), "
                f"got {water_out:g}"
            )
        best = lorenz_cop(source, water_in, water_out)
        if capacity / power >= best:
            raise InputError(
                f"{path}, line {n}, columns capacity_kw and power_kw: COP {capacity / power:.2f} is not "
                f"below the thermodynamic limit {best:.2f} (Carnot at the log-mean water temperature) for "
                f"source {source:g} °C, water {water_in:g} to {water_out:g} °C"
            )


def _without_repeats(path: Path, line: list[int], points: Array) -> Array:
    """One row for each point; a point that stands twice must have the same values."""
    first: dict[tuple[float, ...], int] = {}
    keep = []
    for r, row in enumerate(points):
        place = tuple(np.round(row[:3] / SAME))
        if place not in first:
            first[place] = r
            keep.append(r)
        elif not np.allclose(points[first[place], 3:], row[3:], rtol=SAME, atol=0.0):
            raise InputError(
                f"{path}, line {line[r]}: the point source_c {row[0]:g}, water_in_c {row[1]:g}, water_out_c "
                f"{row[2]:g} stands on line {line[first[place]]} too, with other values"
            )
    return points[keep]


def _interpolate(path: Path, places: Array, values: Array, free: list[int]) -> tuple[list[Array], Array]:
    """Linear inside the hull of the scattered `places` (n, d), on axes laid over them; NaN outside."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    axes = []
    for k in range(len(free)):
        distinct = np.unique(places[:, k])
        axes.append(distinct if distinct.size <= FINEST else np.linspace(distinct[0], distinct[-1], FINEST))
    spread = [k for k in range(len(free)) if axes[k].size > 1]
    scale = np.array([np.ptp(places[:, k]) for k in spread])
    nodes = np.array(list(product(*axes)))
    if len(spread) == 1:
        order = np.argsort(places[:, 0])
        columns = [np.interp(nodes[:, 0], places[order, 0], values[order, c]) for c in range(2)]
        return axes, np.stack(columns, axis=1)
    try:
        fit = LinearNDInterpolator(places[:, spread] / scale, values)
    except (QhullError, ValueError) as error:
        names = ", ".join(COLUMNS[free[k]] for k in spread)
        raise InputError(
            f"{path}: the points neither fill a grid nor cover an area of {names}, so nothing lies between "
            "them; add points, or keep one of these columns fixed"
        ) from error
    found = np.asarray(fit(nodes[:, spread] / scale))
    # A node on the hull can fall outside by rounding; a measured point is never outside its own table.
    where = {tuple(np.round(p / SAME)): v for p, v in zip(places, values, strict=True)}
    for r, node in enumerate(nodes):
        measured = where.get(tuple(np.round(node / SAME)))
        if measured is not None:
            found[r] = measured
    return axes, found
