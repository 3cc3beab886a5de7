"""The cases of a sweep as one dataset."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.scenario.reading import Loaded
from hpwhsim.studies.sweep import check, plan_of, run
from hpwhsim.tables import read_table

if TYPE_CHECKING:
    import xarray as xr

MONTHLY = "monthly."
RECORD_ATTRS = ("title", "scenario.sha256", "weather.sha256", "tool.version")


def swept(loaded: Loaded, vary: Mapping[str, Sequence[Any]]) -> "xr.Dataset":
    """Evaluate a scenario over every combination of values of some of its keys.

    Every case is checked before the first year is simulated.

    Parameters
    ----------
    loaded : Loaded
        The scenario that has been read.
    vary : mapping of str to sequence
        Values by key path.

    Returns
    -------
    Dataset
        A dimension for each key, its coordinate the values as given, and beside it ``KEY (number)`` where
        they are numbers, with their unit. A variable for each number of the annual record with ``units`` and
        ``long_name``, those by month over ``month`` too. NaN where a case has no such number.

    Raises
    ------
    InputError
        It names the case.
    """
    import xarray as xr

    plan = plan_of(loaded, vary)
    for case in plan.cases:
        check(plan, case)
    records = [run(plan, case).record for case in plan.cases]
    dims = tuple(vary)
    shape = tuple(len(values) for values in vary.values())
    found: dict[str, Any] = {}
    for row in read_table("results"):
        name = row["name"]
        if not any(name in record for record in records):
            continue
        attrs = {"units": row["unit"], "long_name": row["long_name"]}
        months = name.startswith(MONTHLY)
        values = [_numbers(record.get(name), len(MONTH_NAMES) if months else 1) for record in records]
        if all(np.isnan(one).all() for one in values):
            continue
        table = np.reshape(values, (*shape, len(MONTH_NAMES)) if months else shape)
        found[name] = ((*dims, "month") if months else dims, table, attrs)
    coords: dict[str, Any] = {"month": list(MONTH_NAMES)}
    for axis, given in zip(plan.axes, vary.values(), strict=True):
        plain = all(isinstance(value, int | float) and not isinstance(value, bool) for value in given)
        coords[axis.key] = list(given) if plain else list(axis.values)
        if axis.numbers is not None and not plain:
            coords[f"{axis.key} (number)"] = (axis.key, list(axis.numbers), {"units": axis.unit})
    first = records[0]
    return xr.Dataset(found, coords=coords, attrs={key: str(first[key]) for key in RECORD_ATTRS})


def _numbers(value: Any, count: int) -> Array:
    """`count` numbers of a record; NaN for what is none."""
    none = np.full(count, np.nan)
    if isinstance(value, list) and len(value) == count and count > 1:
        return np.array([np.nan if item is None else float(item) for item in value])
    if count == 1 and isinstance(value, int | float) and not isinstance(value, bool):
        return np.array([float(value)])
    return none
