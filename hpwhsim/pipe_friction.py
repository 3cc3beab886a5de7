"""Friction of round pipes: one equation for refrigerant and water lines.

References
----------
.. [1] S. W. Churchill, "Friction-factor equation spans all fluid-flow regimes", Chemical Engineering 84(24),
   91-92, 1977 (unverified), tested against its limits.
"""

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array


def friction_factor(reynolds: ArrayLike, relative_roughness: ArrayLike) -> Array:
    """Darcy friction factor of a round pipe, laminar to fully rough.

    Parameters
    ----------
    reynolds : array_like of float, above 0
        Reynolds number.
    relative_roughness : array_like of float, broadcast with it
        Roughness over inside diameter.

    Returns
    -------
    ndarray of float64, broadcast shape
        Four times Fanning's factor.

    References
    ----------
    Churchill 1977 [1]_.

    Examples
    --------
    >>> friction_factor([640.0, 1e5], 0.0).round(4)
    array([0.1   , 0.0179])
    """
    re = np.asarray(reynolds, dtype=np.float64)
    rough = np.asarray(relative_roughness, dtype=np.float64)
    a = (2.457 * np.log(1.0 / ((7.0 / re) ** 0.9 + 0.27 * rough))) ** 16
    b = (37530.0 / re) ** 16
    return np.asarray(8.0 * ((8.0 / re) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0))
