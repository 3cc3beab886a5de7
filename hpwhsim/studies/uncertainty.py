"""What a sample of cases says: quantiles of every figure, and which keys move it.

Where the sample is Saltelli's, what a key explains of the variance: first-order shares by Saltelli et al.
(2010), Computer Physics Communications 181, 259-270, table 2 (b), total ones by Jansen's estimator, its (f).
Otherwise rank correlations: Spearman's, and partial ones, from which what the other keys do to the ranks is
taken out.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.simulation.draw_seeds import quantiles
from hpwhsim.studies.cases import Cases
from hpwhsim.studies.sampling import Drawn
from hpwhsim.studies.study import Finished

SALTELLI = "saltelli"
QUANTILES = {"p10": "p10", "p50": "median", "p90": "p90"}
LABELS = ("hot_water.seed",)  # numbers that have no order
FEW = 100  # points, below which P10 and P90 stand on fewer than ten cases beyond them
Shares = dict[str, float | None]


class Sampled(NamedTuple):
    """The figures of a sample, one at a time."""

    points: int
    keys: tuple[str, ...]
    ordered: dict[str, Array]  # of the keys that are numbers, their values; (cases,)
    saltelli: bool

    def half(self, figure: Array) -> Array:
        """The first half of the points."""
        return figure[: figure.size // self.points * (self.points // 2)]

    def spread(self, figure: Array) -> Array:
        """The cases that are drawn as the keys are distributed, without those that have no such figure."""
        return spread_of(figure, len(self.keys) if self.saltelli else None)

    def moved_by(self, figure: Array) -> dict[str, Shares]:
        """By key what moves a figure; empty where nothing can be said."""
        if self.saltelli:
            return dict(zip(self.keys, shares(figure.reshape(-1, len(self.keys) + 2)), strict=True))
        held = np.isfinite(figure)
        columns = [values[: figure.size][held] for values in self.ordered.values()]
        return dict(zip(self.ordered, ranked(columns, figure[held]), strict=True)) if columns else {}


def spread_of(figure: Array, saltelli: int | None) -> Array:
    """The cases that are drawn as the keys are distributed and have such a figure.

    Parameters
    ----------
    figure : ndarray of float64, (cases,)
        A figure of every case; NaN where a case has none.
    saltelli : int or None
        Number of keys of a sample of Saltelli's, whose cases but A and B share values.
    """
    if saltelli is not None:
        figure = figure.reshape(-1, saltelli + 2)[:, :2].ravel()
    return figure[np.isfinite(figure)]


def refuse_unsampled(cases: Cases) -> None:
    """Refuse a study that is more, or less, than a sample.

    Raises
    ------
    InputError
        Naming the study file.
    """
    study, path = cases.file.study, cases.file.path
    if study.sample is None:
        raise InputError(
            f"{path}: sample: got nothing; allowed distributions of keys (tankyear sweep runs grids)"
        )
    if study.grid or cases.file.rows:
        other = "grid" if study.grid else "rows" if study.table is None else "table"
        raise InputError(f"{path}: {other}: allowed nothing beside sample (tankyear sweep runs both)")


def uncertainty(cases: Cases, finished: Finished) -> dict[str, Any]:
    """Quantiles of every number of the annual record that differs between cases, and what moves it.

    Parameters
    ----------
    cases : Cases
        A study of a sample alone.
    finished : Finished
        Its cases.

    Returns
    -------
    dict
        The record of the study and ``sample``, ``keys``, ``figures``; of each figure ``p10``, ``p50`` and
        ``p90``, ``half`` with the same of the first half of the points, and ``moved_by`` by key.
    """
    sample = cases.file.study.sample
    assert sample is not None  # refused before
    figures: dict[str, Any] = {}
    found = Sampled(sample.count, cases.keys, {}, sample.method == SALTELLI)
    for name, unit, values in columns_of(finished.dataset):
        if name in cases.keys:
            if name not in LABELS:
                found.ordered[name] = values
            continue
        spread = found.spread(values)
        if spread.size < 2 or spread.min() == spread.max():
            continue
        half = found.half(values)
        figures[name] = {
            "unit": unit,
            **_quantiles(spread),
            "half": _quantiles(found.spread(half)),
            "moved_by": _beside(found.moved_by(values), found.moved_by(half)),
        }
    return {
        **finished.record,
        "sample": {"method": sample.method, "points": sample.count, "seed": sample.seed},
        "keys": [
            {"key": key.key, "unit": key.unit, "distribution": _distribution(key)} for key in cases.drawn
        ],
        "figures": figures,
        "limits": _limits(cases, found, finished.record["failed"]),
    }


def columns_of(path: Path) -> Iterator[tuple[str, str, Array]]:
    """Name, unit and values of each number over the cases, the varied keys first; one in memory at a time."""
    from scipy.io import netcdf_file

    with netcdf_file(str(path), mmap=True) as file:
        units = {
            name: vars(held)["units"].decode()
            for name, held in file.variables.items()
            if held.dimensions[0] == "case" and held.typecode() == "d"
        }
        for name, unit in units.items():
            # a copy, so that nothing holds the file open
            values = np.array(file.variables[name].data, dtype=np.float64)
            if values.ndim == 1:
                yield name, unit, values
            else:
                for month, label in enumerate(MONTH_NAMES):
                    yield f"{name}[{label}]", unit, values[:, month]


def _quantiles(values: Array) -> dict[str, float | None]:
    if not values.size:
        return dict.fromkeys(QUANTILES)
    of = quantiles(values.tolist())
    return {name: of[key] for name, key in QUANTILES.items()}


def _beside(whole: dict[str, Shares], half: dict[str, Shares]) -> dict[str, Any]:
    return {key: {**found, "half": half.get(key, {})} for key, found in whole.items()}


def shares(rows: Array) -> list[Shares]:
    """Shares of the variance by key, first-order and total.

    Parameters
    ----------
    rows : ndarray of float64, (points, keys + 2)
        A figure at the points of A, of B, and of A with each key as in B.

    Returns
    -------
    list of dict
        ``first`` and ``total`` of each key; None where the figure does not vary. A point of which a case has
        no such figure is left out.
    """
    rows = rows[np.isfinite(rows).all(axis=1)]
    if len(rows) < 2:
        return [{"first": None, "total": None} for _ in range(rows.shape[1] - 2)]
    rows = rows - rows[:, :2].mean()
    a, b = rows[:, 0], rows[:, 1]
    variance = float(rows[:, :2].var())
    return [
        {
            "first": float((b * (ab - a)).mean()) / variance if variance > 0.0 else None,
            "total": float(0.5 * ((a - ab) ** 2).mean()) / variance if variance > 0.0 else None,
        }
        for ab in rows[:, 2:].T
    ]


def ranked(columns: Sequence[Array], figure: Array) -> list[Shares]:
    """Rank correlation of each column with a figure, Spearman's and partial.

    Returns
    -------
    list of dict
        ``spearman`` and ``partial`` of each column; None where it does not vary, or there are too few cases.
    """
    none: Shares = {"spearman": None, "partial": None}
    found = [dict(none) for _ in columns]
    from scipy.stats import rankdata

    use = [place for place, column in enumerate(columns) if column.size > 2 and np.ptp(column) > 0.0]
    if not use or not np.ptp(figure) > 0.0:
        return found
    ranks = np.array([rankdata(values) for values in [*(columns[place] for place in use), figure]])
    alike = np.corrcoef(ranks)
    for row, place in enumerate(use):
        found[place]["spearman"] = float(alike[row, -1])
    if figure.size > len(ranks) + 1 and np.linalg.matrix_rank(alike) == len(ranks):
        inverse = np.linalg.inv(alike)
        scale = np.sqrt(np.diag(inverse))
        for row, place in enumerate(use):
            found[place]["partial"] = float(-inverse[row, -1] / (scale[row] * scale[-1]))
    return found


def _distribution(key: Drawn) -> str:
    """A distribution in words."""
    numbers = [f"{number:g}" for number in key.numbers]
    unit = f" {key.unit}" if key.unit else ""
    if key.form == "discrete":
        parts = np.diff(key.shares, prepend=0.0) / key.shares[-1]
        return ", ".join(
            f"{getattr(value, 'name', value)} ({part:.0%})"
            for value, part in zip(key.values, parts, strict=True)
        )
    if key.form == "normal":
        mean, deviation, low, high = numbers
        return f"normal, mean {mean}{unit}, standard deviation {deviation}, from {low} to {high}"
    if key.form == "triangular":
        return f"triangular, {numbers[0]} to {numbers[2]}{unit}, likeliest {numbers[1]}"
    words = "whole numbers" if key.form == "whole" else "uniform"
    return f"{words}, {numbers[0]} to {numbers[1]}{unit}"


def _limits(cases: Cases, found: Sampled, failed: int) -> list[str]:
    """What limits the use of the quantiles."""
    said = []
    if failed:
        said.append(
            f"{failed} of {cases.size} cases have no year and are left out: the quantiles are of the others"
        )
    if found.points < FEW:
        said.append(f"{found.points} points are few: fewer than ten lie below P10 or above P90")
    if not found.saltelli and (names := [key for key in found.keys if key not in found.ordered]):
        said.append(
            f"{', '.join(names)}: seeds and names have no ranks; sample.method saltelli gives their shares"
        )
    return said
