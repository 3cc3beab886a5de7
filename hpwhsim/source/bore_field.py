"""A field of vertical bores: its layout, and how its wall answers to heat over hours and decades.

The g-function is the dimensionless answer: a steady q' watts per metre of bore lowers the mean wall by
``q' g(t) / (2 pi k)``. It comes from finite line sources with all walls at one temperature, as in bores
piped in parallel, by the method of equivalent boreholes [1]_, [2]_. A line in place of the bore's surface
is too small in the first day, so the difference between cylinder and line in endless ground is added;
it is 47 % of the whole after an hour and fades as r²/t. Heat stored in grout and fluid is left out.

References
----------
.. [1] M. Cimmino, M. Bernier, "A semi-analytical method to generate g-functions for geothermal bore fields",
   Int. J. Heat and Mass Transfer 70, 641-650, 2014.
.. [2] C. Prieto, M. Cimmino, "Thermal interactions in large irregular fields of geothermal boreholes: the
   method of equivalent boreholes", J. Building Performance Simulation 14(4), 446-460, 2021.
.. [3] H. S. Carslaw, J. C. Jaeger, "Conduction of Heat in Solids", 1959, the cylinder of given flux; form
   unverified, values tested against tables.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.climate.ground import SurfaceWave
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.last_digits import SERIES_DIGITS, rounded
from hpwhsim.source.ground_loop import BoreField

Layout = Literal["rectangle", "L", "U", "open-box"]

LONGEST_YEARS = 50
# Times at which the field is solved. The method interpolates its own history between them, so that few times
# bias the answer; no caller can change them.
TIMES = 200
SEGMENTS = 12  # of each bore; 24 lower a 10 x 10 field by 0.1 % after 30 years
MORE_GROUPS = 3  # groups of like bores beyond the least number; 3 x 8 is then 0.2 % high, with 1 0.4 %


@dataclass(frozen=True)
class Bores:
    """Equal vertical bores on a square grid.

    A rectangle is filled; a line is a rectangle of one row; an L, a U and an open box are its edges: one row
    and one column, a row and two columns, all four.

    Raises
    ------
    InputError
        If the layout is another word.
    OutOfRangeError
        If a count is below 1, or a length is not above 0, or the bores touch.
    """

    layout: Layout
    rows: int
    columns: int
    spacing: float  # m between neighbours
    length: float  # m, active, of each bore
    buried: float  # m from the surface to the top of the active length
    radius: float  # m, of the bore

    def __post_init__(self) -> None:
        if self.layout not in ("rectangle", "L", "U", "open-box"):
            raise InputError(
                f"bore field: got layout {self.layout!r}, allowed 'rectangle', 'L', 'U' or 'open-box'"
            )
        if self.rows < 1 or self.columns < 1:
            raise OutOfRangeError(
                f"bore field: got {self.rows} rows and {self.columns} columns, allowed 1 and more"
            )
        for name in ("length", "buried", "radius"):
            value = getattr(self, name)
            if not 0.0 < value < np.inf:
                raise OutOfRangeError(f"bore field: got {name} {value:g} m, allowed above 0")
        if not 2.0 * self.radius < self.spacing < np.inf:
            raise OutOfRangeError(
                f"bore field: got a spacing of {self.spacing:g} m, allowed above the bore's diameter of "
                f"{2.0 * self.radius:g} m"
            )

    @property
    def count(self) -> int:
        """Number of bores."""
        inner = (max(self.rows - 1, 0), max(self.columns - 1, 0))
        if self.layout == "rectangle":
            return self.rows * self.columns
        if self.layout == "L":
            return self.columns + inner[0]
        if self.layout == "U":
            return self.columns + min(self.columns, 2) * inner[0]
        return self.rows * self.columns - max(self.rows - 2, 0) * max(self.columns - 2, 0)

    @property
    def total_length(self) -> float:
        """Active length of all bores. [m]"""
        return self.count * self.length


class Response(NamedTuple):
    """A g-function on the times of this program; plain arrays, worth keeping."""

    hours: Array  # (TIMES,) h, even in their logarithm, from 1 h to beyond `LONGEST_YEARS`
    g: Array  # (TIMES,), rising, of `SERIES_DIGITS`


def cylinder_g(fourier: ArrayLike) -> Array:
    """Answer of endless ground to a cylinder that takes a steady flux through its surface, at the surface.

    Parameters
    ----------
    fourier : array_like of float, (n,)
        Diffusivity times time over the square of the radius, above 0 and below 1e9. [-]

    Returns
    -------
    ndarray of float64, (n,)
        In the units of a g-function (2 pi times the G of the tables). [-]

    Notes
    -----
    The integral of Carslaw and Jaeger at the surface, where its Bessel functions reduce to
    ``2 / (pi x)``, over the logarithm of x: it fades at both ends, so that even steps are exact to 1e-8.
    """
    from scipy.special import j1, y1

    step = 0.1
    x = np.exp(np.arange(np.log(1e-10), np.log(1e8), step))
    weight = 4.0 / np.pi**2 * step / (x**2 * (j1(x) ** 2 + y1(x) ** 2))
    return np.asarray(-np.expm1(-np.outer(np.asarray(fourier, dtype=np.float64), x**2)) @ weight)


def g_function(bores: Bores, diffusivity: float) -> Response:
    """Answer of the field from one hour to `LONGEST_YEARS` years; takes about a second for any field.

    Parameters
    ----------
    bores : Bores
        The field.
    diffusivity : float
        Thermal diffusivity of the ground, above 0; rock and soil lie near 0.4e-6 to 1.5e-6. [m²/s]

    Returns
    -------
    Response

    Raises
    ------
    OutOfRangeError
        If the diffusivity is not above 0.

    References
    ----------
    See the head of this module.
    """
    from pygfunction.borefield import Borefield
    from pygfunction.gfunction import gFunction
    from scipy.special import exp1

    if not 0.0 < diffusivity < np.inf:
        raise OutOfRangeError(f"bore field: got a diffusivity of {diffusivity:g} m²/s, allowed above 0")
    build = {
        "rectangle": Borefield.rectangle_field,
        "L": Borefield.L_shaped_field,
        "U": Borefield.U_shaped_field,
        "open-box": Borefield.box_shaped_field,
    }[bores.layout]
    spacing = bores.spacing
    field = build(bores.columns, bores.rows, spacing, spacing, bores.length, bores.buried, bores.radius)
    hours = rounded(np.geomspace(1.0, LONGEST_YEARS * HOURS + 1.0, TIMES), SERIES_DIGITS)
    lines = gFunction(
        field,
        diffusivity,
        time=3600.0 * hours,
        boundary_condition="UBWT",
        method="equivalent",
        options={"nSegments": SEGMENTS, "kClusters": MORE_GROUPS},
    ).gFunc
    fourier = diffusivity * 3600.0 * hours / bores.radius**2
    g = np.asarray(lines + cylinder_g(fourier) - 0.5 * exp1(0.25 / fourier))
    return Response(hours, rounded(g, SERIES_DIGITS))  # the dense algebra's last digits are the processor's


def make_field(
    bores: Bores, response: Response, conductivity: float, years: int = LONGEST_YEARS
) -> BoreField:
    """Constants of a field for the march.

    Parameters
    ----------
    bores : Bores
        The field.
    response : Response
        From `g_function` for these bores.
    conductivity : float
        Of the ground, above 0. [W/mK]
    years : int
        That are to come, 1 to `LONGEST_YEARS`.

    Returns
    -------
    BoreField
        Response at every whole hour, a smooth curve through the given times over their logarithm.

    Raises
    ------
    OutOfRangeError
        If the conductivity is not above 0.
    """
    from scipy.interpolate import PchipInterpolator

    if not 0.0 < conductivity < np.inf:
        raise OutOfRangeError(f"ground: got a conductivity of {conductivity:g} W/mK, allowed above 0")
    last = min(years * HOURS + 1, round(response.hours[-1]))
    whole = np.log(np.arange(1.0, last + 1.0))
    curve = PchipInterpolator(np.log(response.hours), response.g)
    step = np.concatenate([[0.0], curve(whole)]) / (2.0 * np.pi * conductivity * bores.total_length)
    return BoreField(step, float(step[1]))


def undisturbed_ground(bores: Bores, wave: SurfaceWave, gradient: float = 0.0) -> float:
    """Mean temperature of undisturbed ground along the bores.

    Parameters
    ----------
    bores : Bores
        The field.
    wave : SurfaceWave
        Yearly wave at the surface, from `hpwhsim.climate.ground.surface_wave`.
    gradient : float
        Rise with depth. Deep rock has 0.02 to 0.03 K/m (unverified), but under towns the upper 100 m
        often have none; 0 is the cautious choice for a plant that only takes heat. [K/m]

    Returns
    -------
    float
        Constant over the year: a wave of 12 K moves the mean of 100 m of bore by 0.15 K (see the tests). [°C]
    """
    return wave.mean_c + gradient * (bores.buried + 0.5 * bores.length)
