"""Which cases are on the Pareto front of two figures that are to be small."""

import numpy as np

from hpwhsim.arrays import Array


def front(values: Array) -> list[int]:
    """Rows that no other row betters: none is as small in both figures and smaller in one.

    Parameters
    ----------
    values : ndarray of float64, (cases, 2)
        Two figures of each case, both better the smaller they are.

    Returns
    -------
    list of int
        Rows by the first figure; rows that are alike in both are all there.

    Examples
    --------
    >>> front(np.array([[1.0, 5.0], [2.0, 4.0], [2.0, 6.0], [3.0, 4.0], [4.0, 1.0]]))
    [0, 1, 4]
    """
    found: list[int] = []
    least = np.inf
    for row in np.lexsort((values[:, 1], values[:, 0])).tolist():
        alike = found and (values[row] == values[found[-1]]).all()
        if values[row, 1] < least or alike:
            found.append(row)
            least = values[row, 1]
    return found
