"""Exponential and logarithm of the compiled march in plus, minus, times and divided by alone.

Those of a C library or of a vector library differ in the last digit from one processor to another; these four
operations do not (IEEE 754), nor do floor and the splitting of a float into fraction and power of two. The
compiler is not allowed to fuse a product and a sum (no ``fastmath``), so the same bits come out everywhere.
"""

import math

import numpy as np

from hpwhsim.kernel import kernel, kernel_apart

# ln 2 in two parts, the first of few digits: its product with a whole number below 2^20 is exact
LN2 = 0.6931471805599453
LN2_HIGH = 0.693147180369123816490
LN2_LOW = 1.90821492927058770002e-10
ROOT_HALF = 0.7071067811865476
TO_ZERO, TO_INFINITY = -745.2, 709.79  # the exponential of less is 0, of more infinite
ALL_GONE = -40.0  # e^-40 is no part of 1


@kernel
def _less_one(r: float) -> float:
    """``e^r - 1`` for r of at most ln 2 / 2 in size: its series, to 4e-18."""
    tail = 1.0 / 720.0 + r * (
        1.0 / 5040.0
        + r
        * (
            1.0 / 40320.0
            + r
            * (
                1.0 / 362880.0
                + r * (1.0 / 3628800.0 + r * (1.0 / 39916800.0 + r * (1.0 / 479001600.0 + r / 6227020800.0)))
            )
        )
    )
    return r + r * r * (0.5 + r * (1.0 / 6.0 + r * (1.0 / 24.0 + r * (1.0 / 120.0 + r * tail))))


@kernel_apart
def exponential(x: float) -> float:
    """``e^x``, to 1e-15 of itself."""
    if not x > TO_ZERO:
        return 0.0 if x <= TO_ZERO else x
    if x > TO_INFINITY:
        return np.inf
    power = np.floor(x / LN2 + 0.5)
    r = (x - power * LN2_HIGH) - power * LN2_LOW
    return math.ldexp(1.0 + _less_one(r), int(power))


@kernel_apart
def exponential_less_one(x: float) -> float:
    """``e^x - 1``, to 1e-15 of itself also near 0."""
    if not x > ALL_GONE:
        return -1.0 if x <= ALL_GONE else x
    if x > -ALL_GONE:
        return exponential(x)
    power = np.floor(x / LN2 + 0.5)
    r = (x - power * LN2_HIGH) - power * LN2_LOW
    if power == 0.0:
        return _less_one(r)
    two = math.ldexp(1.0, int(power))
    return two * _less_one(r) + (two - 1.0)


@kernel_apart
def logarithm(x: float) -> float:
    """Natural logarithm of a positive number, to 1e-15 (near 1: of the number's distance from 1)."""
    fraction, power = math.frexp(x)
    if fraction < ROOT_HALF:
        fraction, power = 2.0 * fraction, power - 1
    s = (fraction - 1.0) / (fraction + 1.0)
    z = s * s
    tail = 1.0 / 13.0 + z * (1.0 / 15.0 + z * (1.0 / 17.0 + z * (1.0 / 19.0 + z * (1.0 / 21.0 + z / 23.0))))
    series = z * (1.0 / 3.0 + z * (0.2 + z * (1.0 / 7.0 + z * (1.0 / 9.0 + z * (1.0 / 11.0 + z * tail)))))
    return power * LN2_HIGH + (2.0 * s * (1.0 + series) + power * LN2_LOW)
