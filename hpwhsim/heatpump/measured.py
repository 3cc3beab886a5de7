"""Performance that the user measured or has from a data sheet: a CSV file, used inside its range only."""

import math
from itertools import product
from pathlib import Path

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import Rating, lorenz_cop
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.io.user_csv import Row, read_rows
from hpwhsim.tables.usual_ranges import MODULE, UNUSUAL, refuse

COLUMNS = ("source_c", "water_in_c", "water_out_c", "capacity_kw", "power_kw")
SAME = 1e-6  # K, relative for values: rows closer than this are one point
FINEST = 41  # nodes laid over an axis of scattered points
MOST_POINTS = 100_000  # of a grid
MOST_SCATTERED = 1_000  # points between which to find the way takes seconds
COLDEST, WARMEST = -60.0, 80.0  # °C, of a source
FROZEN, BOILING = 0.0, 100.0  # °C
FLAT = 1e-3  # of the spread of points: what lies nearer to a line or plane is on it
FALL = 0.05  # of the COP from a colder to a warmer source; tests scatter by less, tankyear default


def read_table(path: str | Path) -> PerformanceMap:
    """Read measured performance of one module from a CSV file.

    Columns `source_c`, `water_in_c`, `water_out_c`, `capacity_kw`, `power_kw`. The points are a full grid,
    used as it stands, or scattered: then the map is linear between them inside their convex hull, and NaN
    outside. A table whose outlet is a fixed rise above its inlet (multi-pass) becomes a map in source and
    inlet alone.

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
        not above 0, a capacity of no module, outlet not above inlet, COP below 1 or not below the Lorenz
        limit (which equals Carnot's between source and outlet when the water hardly warms), one point with
        two values, fewer than two source temperatures, points that span no area to interpolate in.
    """
    path = Path(path)
    points = _without_repeats(*_read(path))
    if np.unique(points[:, 0]).size < 2:
        raise InputError(
            f"{path}: column source_c: got only {points[0, 0]:g} °C; allowed two or more temperatures"
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
    return [
        Rating(source, water_in, water_out, capacity * 1e3, capacity / power)
        for source, water_in, water_out, capacity, power in _read(Path(path))[1].tolist()
    ]


def falling_cop(path: Path, key: str) -> list[str]:
    """The caution on a table whose COP falls while its source warms, the water being the same; else empty.

    Parameters
    ----------
    path : Path
        The file.
    key : str
        Key of the scenario that names it.

    Raises
    ------
    InputError
        As `read_table` for the file and its numbers.
    """
    rows, points = _read(path)
    waters: dict[tuple[float, float], list[int]] = {}
    for r in np.argsort(points[:, 0], kind="stable"):
        waters.setdefault((points[r, 1], points[r, 2]), []).append(int(r))
    cop = points[:, 3] / points[:, 4]
    worst, falls = (1.0 - FALL, 0, 0), 0
    for members in waters.values():
        best = members[0]
        for r in members[1:]:
            if points[r, 0] > points[best, 0] and cop[r] < (1.0 - FALL) * cop[best]:
                falls += 1
                worst = min(worst, (float(cop[r] / cop[best]), best, r))
            elif cop[r] > cop[best]:
                best = r
    if not falls:
        return []
    _, cold, warm = worst
    return [
        f"{UNUSUAL}{key} ({path.name}): COP falls from {cop[cold]:.3g} to {cop[warm]:.3g} while source_c "
        f"rises from {points[cold, 0]:g} to {points[warm, 0]:g} °C (lines {rows[cold].line} and "
        f"{rows[warm].line}; {falls} of {len(rows)} points), the water being the same; usually it rises with "
        "the source: look at the columns source_c, capacity_kw and power_kw, and at points of part load or "
        "frost"
    ]


def _read(path: Path) -> tuple[list[Row], Array]:
    """Rows of the file, and points (n, 5) in the order of `COLUMNS`; what no heat pump can do is refused."""
    rows = read_rows(path, COLUMNS)
    if len(rows) > MOST_POINTS:
        raise InputError(f"{path}: got {len(rows):,} points; allowed at most {MOST_POINTS:,}")
    temperatures = [
        [
            row.number(COLUMNS[0], COLDEST, WARMEST),
            *(row.number(name, FROZEN, BOILING) for name in COLUMNS[1:3]),
        ]
        for row in rows
    ]
    points = np.hstack(
        (temperatures, [[row.number(name, above=True) for name in COLUMNS[3:]] for row in rows])
    )
    for row, (source, water_in, water_out, capacity, power) in zip(rows, points.tolist(), strict=True):
        if water_out < water_in:
            raise row.error("water_out_c", f"water_in_c ({water_in:g}) or more")
        refuse(MODULE, capacity, f"{path}: line {row.line}: column capacity_kw")
        if capacity < power:
            raise InputError(
                f"{path}: line {row.line}: columns capacity_kw and power_kw: got COP {capacity / power:.3g}; "
                "allowed 1 or more: a heat pump gives at least the heat of its power (are the columns "
                "interchanged, or is one of them in W?)"
            )
        best = lorenz_cop(source, water_in, water_out)
        if capacity / power >= best:
            raise InputError(
                f"{path}: line {row.line}: columns capacity_kw and power_kw: got COP {capacity / power:.2f}; "
                f"allowed below the limit {best:.2f} of thermodynamics (Carnot at the log-mean water "
                f"temperature) for source {source:g} °C, water {water_in:g} to {water_out:g} °C"
            )
    return rows, points


def _without_repeats(rows: list[Row], points: Array) -> Array:
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
                f"{rows[r].file}: line {rows[r].line}: the point source_c {row[0]:g}, water_in_c {row[1]:g}, "
                f"water_out_c {row[2]:g} stands on line {rows[first[place]].line} too, with other values"
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
    if len(places) > MOST_SCATTERED:
        raise InputError(
            f"{path}: got {len(places):,} points that are no grid; allowed at most {MOST_SCATTERED:,} of "
            "these: leave out some, or make a grid of source_c, water_in_c and water_out_c"
        )
    if len(spread) == 1:
        order = np.argsort(places[:, 0])
        columns = [np.interp(nodes[:, 0], places[order, 0], values[order, c]) for c in range(2)]
        return axes, np.stack(columns, axis=1)
    scaled = places[:, spread] / scale
    widths = np.linalg.svd(scaled - scaled.mean(axis=0), compute_uv=False)
    try:
        if widths[-1] < FLAT * widths[0]:
            raise ValueError("the points lie on a line or a plane")
        fit = LinearNDInterpolator(scaled, values)
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
