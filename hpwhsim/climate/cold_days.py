"""The coldest days of a year."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import DAYS

LENGTHS = {"coldest-day": 1, "coldest-three-days": 3}


def cold_days(dry_bulb: Array, length: int) -> int:
    """First day (0 to 364) of the `length` days in a row with the lowest mean dry bulb; the year is a ring.

    Parameters
    ----------
    dry_bulb : ndarray, shape (8760,)
        [°C]
    length : int
        Days.
    """
    daily = dry_bulb.reshape(DAYS, 24).mean(axis=1)
    sums = np.add.reduce([np.roll(daily, -k) for k in range(length)])
    return int(np.argmin(sums))
