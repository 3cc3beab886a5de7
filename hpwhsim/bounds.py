"""Numbers held to the range in which a method holds."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hpwhsim.errors import OutOfRangeError


def inside(name: str, values: ArrayLike, low: float, high: float, unit: str) -> NDArray[np.float64]:
    """Numbers as floats, all of them within a range.

    Parameters
    ----------
    name : str
        What they are, for the message.
    values : array_like of float, any shape
        In `unit`.
    low, high : float
        What is allowed, both included.
    unit : str
        Empty where there is none.

    Raises
    ------
    OutOfRangeError
        If one is NaN or outside `low` to `high`: name, the first such value, and what is allowed.

    Examples
    --------
    >>> inside("relative humidity", [0.2, 1.0], 0.0, 1.0, "")
    array([0.2, 1. ])
    """
    array = np.asarray(values, dtype=np.float64)
    wrong = ~((array >= low) & (array <= high))  # NaN is wrong too
    if np.any(wrong):
        of = f" {unit}" if unit else ""
        raise OutOfRangeError(f"{name}: got {array[wrong].flat[0]:g}{of}, allowed {low:g} to {high:g}{of}")
    return array
