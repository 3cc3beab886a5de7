"""Numbers without the digits that differ from processor to processor.

Another vector kernel of the linear algebra, of a logarithm or of an exponential rounds the last digits of a
number differently, and a thermostat makes a day of that: a start that falls into the next step shifts all
later ones. So what a year is simulated from is rounded, once and at one place. Last digits then reach no
thermostat, unless they lie on two sides of a boundary between rounded values. How seldom that is sets the
number of digits: a number with a mantissa m (1 to 10) that is off by a share e falls on the other side with a
chance of ``m e 10^(digits - 1)``, in the mean over mantissas ``3.9 e 10^(digits - 1)``. With e = 1e-13, far
above what processors differ by, 10 digits of the 2e5 values of a plant flip 78 of them, 7 digits 0.08 and 6
digits 0.008. Single numbers and short arrays, some 300 of a plant, have 9 digits: 0.01 flips.

The boundary lies beside the half, since means of round numbers lie on halves, and on no short decimal, since
what was kept with more digits (a map) lies on those. Only comparisons with stated
powers of ten, and multiplications, divisions and floors, which IEEE 754 defines to the last bit, are used.
"""

import hashlib
import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from hpwhsim.arrays import Array

Tree = TypeVar("Tree")

NUMBER_DIGITS = 9  # of single numbers and of arrays of at most `FEW` values
SERIES_DIGITS = 6  # of longer ones: hours, steps, maps
FEW = 100
BESIDE_HALF = 0.4671058287  # from 0.5328941713 of a unit on the last digit goes up

_LOWEST, _HIGHEST = -22, 22  # powers of ten that a float holds exactly, or nearest; below, the grid stays
_POWERS = np.array([float(f"1e{e}") for e in range(_LOWEST, _HIGHEST + 1)])


def rounded(values: Array, digits: int) -> Array:
    """`values` to so many significant digits; a number typed with no more digits than that stays as it is.

    Parameters
    ----------
    values : ndarray of float64, any shape
        NaN and infinity stay. What is smaller than 10^(digits - 23) keeps fewer digits, to 0.
    digits : int
        1 to 15.

    Returns
    -------
    ndarray of float64, the same shape
        A new array. Rounding it again changes nothing.
    """
    size = np.abs(values)
    decades = np.arange(_LOWEST - 1, _HIGHEST + 1)  # the first: below the least power
    places = np.minimum(digits - 1 - decades, _HIGHEST)
    decade = np.searchsorted(_POWERS, size, side="right")
    up = _POWERS[np.maximum(places, 0) - _LOWEST].take(decade)
    down = _POWERS[np.maximum(-places, 0) - _LOWEST].take(decade)
    whole = np.floor(size * up / down + BESIDE_HALF)
    return np.asarray(np.copysign(whole * down / up, values))


def each(tree: Tree, change: Callable[[Array], Array]) -> Tree:
    """`tree` with every float and every array of floats in its tuples as `change` makes it.

    Integers, truth values, texts and None stay; a float is given to `change` as an array of one value.
    """
    whole: Any = tree
    if isinstance(whole, tuple):
        parts = [each(part, change) for part in whole]
        whole = type(whole)(*parts) if hasattr(whole, "_fields") else tuple(parts)
    elif isinstance(whole, float):
        whole = float(change(np.array([whole]))[0])
    elif isinstance(whole, np.ndarray) and whole.dtype == np.float64:
        whole = change(whole)
    found: Tree = whole
    return found


def settled(tree: Tree) -> Tree:
    """`tree` with every float in it rounded, by `SERIES_DIGITS` or `NUMBER_DIGITS`."""
    return each(tree, _settled)


def settled_alike(tree: Tree) -> Tree:
    """As `settled`, of what is only read afterwards: long arrays that are alike are rounded once.

    Plants that are compared, and cases of a study, have weather, draws and maps in common. So the arrays of
    one answer may be those of another, and are not to be written to.
    """
    return each(tree, lambda values: _alike(values) if values.size > FEW else _settled(values))


def _settled(values: Array) -> Array:
    if values.size == 1:
        value = values.item()
        return np.full(values.shape, _number(value, math.copysign(1.0, value)))
    return rounded(values, SERIES_DIGITS if values.size > FEW else NUMBER_DIGITS)


@lru_cache(maxsize=4096)
def _number(value: float, sign: float) -> float:
    """A number rounded; plants have most of theirs in common. Without `sign` 0 and -0 would be one."""
    return float(rounded(np.array([value]), NUMBER_DIGITS)[0])


MOST_KEPT = 2**25  # bytes of arrays that were rounded
_kept: dict[tuple[int, bytes], tuple[Array, Array]] = {}  # by some of it what was rounded, and what it became


def _alike(values: Array) -> Array:
    given = np.ascontiguousarray(values)
    key = given.size, given.ravel()[:: given.size // FEW].tobytes()
    before, found = _kept.pop(key, (None, None))
    if before is None or found is None or not _same(before, given):
        found = _settled(values)
        before = given.copy() if given.flags.writeable else given
    _kept[key] = before, found  # the latest at the end
    held = sum(old.nbytes for old, _ in _kept.values())
    for place in list(_kept):
        if held <= MOST_KEPT:
            break
        held -= _kept.pop(place)[0].nbytes
    return found


def _same(one: Array, other: Array) -> bool:
    """Bit for bit, in which 0 is not -0 and a number that is none is like itself."""
    return one.shape == other.shape and bool(np.array_equal(one.view(np.int64), other.view(np.int64)))


def digest(tree: object) -> str:
    """SHA-256 over the bytes of every number and array in the tuples of `tree`, their names and shapes."""
    whole = hashlib.sha256()

    def add(name: str, part: object) -> None:
        if isinstance(part, tuple):
            names = getattr(part, "_fields", None) or [str(i) for i in range(len(part))]
            for inner, item in zip(names, part, strict=True):
                add(f"{name}.{inner}", item)
        elif isinstance(part, np.ndarray):
            whole.update(f"|{name}|{part.dtype.str}{part.shape}".encode())
            whole.update(np.ascontiguousarray(part).data)
        else:
            whole.update(f"|{name}|{part!r}".encode())

    add("", tree)
    return whole.hexdigest()
