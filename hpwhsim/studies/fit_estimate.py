"""Least squares of a few parameters: a step within bounds, what scatter leaves open, what looks alike."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array

CONFIDENCE = 0.95


class Spread(NamedTuple):
    """How sure the parameters of a linear least-squares fit are."""

    standard_error: Array  # (p,)
    half_width: Array  # (p,) of the 95 % interval, by Student's t with n - p degrees of freedom
    correlation: Array  # (p, p) of the estimates
    inflation: Array  # (p,) variance over that with all other parameters known


def step(jacobian: Array, residual: Array, low: Array, high: Array) -> Array:
    """The change of the parameters within bounds that makes the squares of ``residual - J change`` least.

    Parameters
    ----------
    jacobian : ndarray, shape (n, p)
        Change of the computed values by parameter.
    residual : ndarray, shape (n,)
        Measured less computed.
    low, high : ndarray, shape (p,)
        Bounds of the change.
    """
    from scipy.optimize import lsq_linear

    return np.asarray(lsq_linear(jacobian, residual, bounds=(low, high)).x)


def spread(jacobian: Array, residual: Array) -> Spread:
    """Standard errors, intervals and correlations of the parameters at the least squares.

    Parameters
    ----------
    jacobian : ndarray, shape (n, p), n > p
        Change of the computed values by parameter, columns not alike.
    residual : ndarray, shape (n,)
        Measured less computed; its scatter is what the standard errors are made of.
    """
    from scipy.stats import t

    n, p = jacobian.shape
    inverse, inflation = _inverse(jacobian)
    variance = np.diag(inverse) * float(residual @ residual) / (n - p)
    error = np.sqrt(variance)
    size = np.sqrt(np.diag(inverse))
    width = float(t.ppf(0.5 + CONFIDENCE / 2.0, n - p))
    return Spread(error, width * error, inverse / np.outer(size, size), inflation)


def inflation(jacobian: Array) -> Array:
    """By how much each parameter's variance grows because the others are not known; (p,), 1 or more."""
    return _inverse(jacobian)[1]


def correlation(jacobian: Array) -> Array:
    """Correlations of the estimates, (p, p)."""
    inverse = _inverse(jacobian)[0]
    size = np.sqrt(np.diag(inverse))
    return np.asarray(inverse / np.outer(size, size))


def _inverse(jacobian: Array) -> tuple[Array, Array]:
    """Inverse of the normal matrix, and the inflations; columns alike to the last digit stay finite."""
    size = np.sqrt((jacobian**2).sum(axis=0))
    _, singular, right = np.linalg.svd(jacobian / size, full_matrices=False)
    singular = np.maximum(singular, 1e-9 * singular[0])
    inverse = (right.T / singular**2) @ right  # of the columns brought to one length
    return np.asarray(inverse / np.outer(size, size)), np.diag(inverse).copy()
