"""Readings that are no use: running counters, resets, meters that stood still, wrong units.

They are named and not corrected. Units are found by comparing totals with what the plant can take between the
bounds of the fitted keys.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.io.us_units import KWH_PER_MMBTU, LITRES_PER_GALLON
from hpwhsim.studies.fit_meter import DAY, HOUR, MONTH, Metered

MIN_ROWS = 24
"""So many readings that never fall are those of a counter: no use of hot water rises for so long."""
MARGIN = 1.25  # beyond what the bounds reach: other weather, other draws
FALL = 0.1  # of the reading before: what a counter that was reset falls to at most
STILL = {HOUR: 7 * 24, DAY: 7, MONTH: 1}
"""Readings of zero in a row that a caution names."""
SAME = {HOUR: 48, DAY: 7, MONTH: 3}
"""Equal readings in a row that a caution names: what a meter that hangs, or a filled gap, looks like."""

ENERGY = {
    "Wh": 1000.0,
    "MWh": 0.001,
    "kJ": 3600.0,
    "MJ": 3.6,
    "GJ": 0.0036,
    "J": 3.6e6,
    "Btu": 1e6 / KWH_PER_MMBTU,
    "kBtu": 1e3 / KWH_PER_MMBTU,
    "MMBtu": 1.0 / KWH_PER_MMBTU,
    "therms": 10.0 / KWH_PER_MMBTU,
}
VOLUME = {
    "gallons": 1.0 / LITRES_PER_GALLON,
    "thousand gallons": 1e-3 / LITRES_PER_GALLON,
    "m3": 0.001,
    "mL": 1000.0,
    "ft3": 231.0 / 12.0**3 / LITRES_PER_GALLON,
    "hundred ft3": 2.31 / 12.0**3 / LITRES_PER_GALLON,
}


class Reach(NamedTuple):
    """Total of a column that the plant has within the bounds of the keys."""

    low: float
    start: float  # where the fit begins
    high: float


def refuse_no_use(metered: Metered) -> None:
    """Refuse columns that are no use by their readings alone.

    Raises
    ------
    InputError
        If a column is zero or the same in every row, or the reading of a counter.
    """
    for name, values in metered.columns.items():
        where = f"{metered.file}: column {name}"
        if not values.any():
            raise InputError(f"{where}: got 0 in every row; allowed what a meter counted")
        if np.all(values == values[0]) and values.size > 2:
            raise InputError(f"{where}: got {values[0]:g} in every row; allowed what a meter counted")
        if values.size >= MIN_ROWS:
            _refuse_counter(metered, name, values)


def _refuse_counter(metered: Metered, name: str, values: Array) -> None:
    """Refuse readings that only rise, but for resets."""
    change = np.diff(values)
    falls = np.flatnonzero(change < 0.0)
    if falls.size > values.size / 20 or (change > 0.0).sum() < values.size / 10:
        return
    if np.any(values[falls + 1] > FALL * values[falls]):
        return
    where = f"{metered.file}: line {metered.lines[0]}: column {name}"
    reset = ""
    if falls.size:
        at = int(falls[0])
        reset = (
            f" but for {'a reset' if falls.size == 1 else f'{falls.size} resets, the first'} at line "
            f"{metered.lines[at + 1]} from {values[at]:g} to {values[at + 1]:g}"
        )
    raise InputError(
        f"{where}: got readings of a running counter, which from {values[0]:g} on only "
        f"rise{reset}; allowed the use in each row, reading less the one before, without a reset"
    )


def refuse_units(metered: Metered, name: str, reach: Reach) -> list[str]:
    """Refuse a column that looks like another unit; the caution on one that no unit explains.

    Parameters
    ----------
    metered : Metered
        The readings.
    name : str
        Column.
    reach : Reach
        What the plant has in the same time.

    Raises
    ------
    InputError
        If the total is far off and another unit brings it into reach.
    """
    values = metered.columns[name]
    total, low, high = float(values.sum()), reach.low / MARGIN, reach.high * MARGIN
    if low <= total <= high:
        return []
    where, ratio = f"{metered.file}: column {name}", total / reach.start if reach.start else np.inf
    rise = np.diff(values)
    steps = rise[rise >= 0.0]
    if steps.size >= max(2, rise.size - 1) and low <= float(steps.mean()) * values.size <= high:
        reset = ""
        if steps.size < rise.size:
            at = int(np.argmin(rise)) + 1
            reset = f" but for a reset at line {metered.lines[at]} to {values[at]:g}"
        raise InputError(
            f"{where}: got readings of a running counter: they only rise{reset}, and their differences are "
            "what the plant takes; allowed the use in each row, reading less the one before, without a reset"
        )
    units = dict(VOLUME if name.endswith("litres") else ENERGY)
    own = "L" if name.endswith("litres") else "kWh"
    if own == "L":
        units |= {"L/min": 1.0 / 60.0, "gpm": 1.0 / LITRES_PER_GALLON / 60.0}
    hours = float(np.mean(metered.hours))
    if metered.spacing != HOUR:
        units["mean kW" if own == "kWh" else "L/h"] = 1.0 / hours
    fits = {unit: factor for unit, factor in units.items() if low <= total / factor <= high}
    nearest = sorted(fits, key=lambda unit: abs(np.log(total / fits[unit] / reach.start)))[:2]
    said = f"got a total of {total:,.4g}, {ratio:.3g} times the {reach.start:,.4g} {own} of the scenario"
    if nearest:
        looks = " or ".join(f"{unit} ({units[unit]:.4g} to the {own})" for unit in nearest)
        raise InputError(
            f"{where}: {said}, which looks like {looks}; allowed {own}, or bounds of the keys within which "
            "the plant comes to it"
        )
    return [f"{name}: {said}; no bound reaches it: does the meter count this plant alone?"]


def still(metered: Metered, most_kwh: float) -> list[str]:
    """Cautions on readings that a meter which stood still, or caught up, would give.

    Parameters
    ----------
    metered : Metered
        The readings.
    most_kwh : float
        Electricity of an hour with all parts of the plant on.
    """
    said = []
    for name, values in metered.columns.items():
        run = _longest(values == 0.0)
        if run.stop - run.start >= STILL[metered.spacing]:
            said.append(
                f"{name}: 0 in {_rows(metered, run)}: a plant that was off, or a meter that stood still"
            )
        alike = _longest(np.concatenate(([False], (np.diff(values) == 0.0) & (values[1:] > 0.0))))
        if alike.stop - alike.start + 1 >= SAME[metered.spacing]:
            rows = slice(alike.start - 1, alike.stop)
            said.append(
                f"{name}: the same {values[rows][0]:g} in {_rows(metered, rows)}: a gap filled by others?"
            )
    if "electricity_kwh" in metered.columns:
        values, most = metered.columns["electricity_kwh"], most_kwh * metered.hours * metered.scale
        over = np.flatnonzero(values > MARGIN * most)
        if over.size:
            at = int(over[0])
            said.append(
                f"electricity_kwh: {values[at]:g} kWh at line {metered.lines[at]}"
                + (f" and in {over.size - 1} more rows" if over.size > 1 else "")
                + f" is more than all parts of the plant take together, {most[at]:.3g} kWh: a meter that "
                "caught up after a gap, or that counts more than the plant"
            )
    return said


def _longest(where: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> slice:
    """The longest run of True; an empty slice where there is none."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], where.astype(np.int8), [0]))))
    begins, ends = edges[::2], edges[1::2]
    if begins.size == 0:
        return slice(0, 0)
    longest = int(np.argmax(ends - begins))
    return slice(int(begins[longest]), int(ends[longest]))


def _rows(metered: Metered, rows: slice) -> str:
    count = rows.stop - rows.start
    return (
        f"{count} rows from line {metered.lines[rows.start]} ({metered.starts[rows.start]:%Y-%m-%d %H:%M}) on"
    )
