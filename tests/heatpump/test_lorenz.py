"""The highest COP of water warmed over a glide, against derivations that share nothing with the code."""

import math
from pathlib import Path

import numpy as np
import pytest

from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import Rating, check, lorenz_cop
from hpwhsim.heatpump.measured import read_table

pytestmark = pytest.mark.independent

KELVIN = 273.15
POINTS = [(7.0, 10.0, 65.0), (-15.0, 5.0, 80.0), (20.0, 15.0, 60.0), (0.0, 40.0, 90.0), (10.0, 50.0, 51.0)]


def by_entropy(source: float, inlet: float, outlet: float) -> float:
    """Second law: the water's entropy rises by c ln(T2 / T1), all of which the source gives at its own.

    Work is the heat c (T2 - T1) less that of the source, T0 c ln(T2 / T1).
    """
    first, last, cold = inlet + KELVIN, outlet + KELVIN, source + KELVIN
    return (last - first) / (last - first - cold * math.log(last / first))


@pytest.mark.parametrize("point", POINTS)
def test_limit_by_the_entropy_of_water_and_source(point: tuple[float, float, float]) -> None:
    """Rounding of a difference of logarithms: 1e-10."""
    assert lorenz_cop(*point) == pytest.approx(by_entropy(*point), rel=1e-10)


@pytest.mark.parametrize("point", POINTS)
def test_limit_is_that_of_many_carnot_machines_in_a_row(point: tuple[float, float, float]) -> None:
    """Each warms the water by a little and has Carnot's COP there; 20,000 of them by the midpoint rule."""
    source, inlet, outlet = point
    edges = np.linspace(inlet, outlet, 20_001) + KELVIN
    water = 0.5 * (edges[1:] + edges[:-1])
    work = np.diff(edges) * (water - source - KELVIN) / water
    assert lorenz_cop(*point) == pytest.approx((outlet - inlet) / work.sum(), rel=1e-8)


def test_a_machine_between_the_two_means_is_no_wonder(tmp_path: Path) -> None:
    """COP 10.3 lies under the limit (10.44) and over that of the arithmetic mean; 10.5 lies over both."""
    check(Rating(7.0, 10.0, 65.0, 20e3, 10.3), "plant.heat_pump")
    with pytest.raises(InputError, match=r"10\.44"):
        check(Rating(7.0, 10.0, 65.0, 20e3, 10.5), "plant.heat_pump")
    table = tmp_path / "t.csv"
    head = "source_c,water_in_c,water_out_c,capacity_kw,power_kw\n0,10,65,20,4\n"
    table.write_text(f"{head}7,10,65,20,{20 / 10.3!r}\n")
    read_table(table)
    table.write_text(f"{head}7,10,65,20,{20 / 10.5!r}\n")
    with pytest.raises(InputError, match="line 3"):
        read_table(table)
