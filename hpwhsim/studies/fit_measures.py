"""How well computed and metered series agree, by the measures and limits of ASHRAE Guideline 14.

With n readings m, computed values s, p adjusted parameters and the mean reading M::

    NMBE = sum(m - s) / ((n - p) M)        CV(RMSE) = sqrt(sum((m - s)^2) / (n - p)) / M

A positive NMBE says that the plant takes more than was computed. Restatements of the Guideline differ on the
sign and on p; here p is the number of fitted keys, before and after the fit alike.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array

GUIDELINE = "[ashrae-guideline-14]"


class Limits(NamedTuple):
    """What the Guideline allows, as shares."""

    nmbe: float  # in size
    cv_rmse: float


LIMITS = {"hour": Limits(0.10, 0.30), "month": Limits(0.05, 0.15)}
"""By the spacing of the readings; the Guideline has none for daily ones."""


class Agreement(NamedTuple):
    """The two measures, as shares, and whether both are within the limits; None where there are none."""

    nmbe: float
    cv_rmse: float
    within: bool | None


def nmbe(measured: Array, computed: Array, parameters: int) -> float:
    """Normalized mean bias error, as a share; positive where the computed values are too low.

    Parameters
    ----------
    measured, computed : ndarray, shape (n,)
        Readings and what was computed for the same times.
    parameters : int
        Number of adjusted parameters, less than n.

    Examples
    --------
    >>> nmbe(np.full(4, 100.0), np.full(4, 105.0), 0)
    -0.05
    """
    return float((measured - computed).sum() / (measured.size - parameters) / measured.mean())


def cv_rmse(measured: Array, computed: Array, parameters: int) -> float:
    """Coefficient of variation of the root mean square error, as a share; arguments as of `nmbe`.

    Examples
    --------
    >>> round(cv_rmse(np.full(4, 100.0), np.array([110.0, 90.0, 110.0, 90.0]), 1), 4)
    0.1155
    """
    square = float(((measured - computed) ** 2).sum()) / (measured.size - parameters)
    return float(np.sqrt(square) / measured.mean())


def agreement(measured: Array, computed: Array, parameters: int, spacing: str) -> Agreement:
    """Both measures beside the limits of the Guideline for readings by `spacing`: hour, day or month."""
    bias, scatter = nmbe(measured, computed, parameters), cv_rmse(measured, computed, parameters)
    limits = LIMITS.get(spacing)
    within = None if limits is None else abs(bias) <= limits.nmbe and scatter <= limits.cv_rmse
    return Agreement(bias, scatter, within)
