"""What the trade says of refrigerants, from the cycle: ladder, Carnot fractions, lowest sources, who wins."""

from dataclasses import replace

import numpy as np
import pytest

from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.limits import Limits, highest_outlet_c, usual_limits
from hpwhsim.heatpump.machine import ROBINSON_GROLL, Compressor, Machine
from hpwhsim.heatpump.refrigerants import refrigerant

pytestmark = pytest.mark.published

OPEN = Limits(
    discharge_c=1e3,
    high_pressure=140e5,
    pressure_ratio=1e3,
    highest_evaporating_c=100.0,
    lowest_evaporating_c=-55.0,
)


def machine(name: str, efficiency: float, approach: float, limits: Limits = OPEN) -> Machine:
    """Constant isentropic efficiency, all electricity in the gas, 5 K pinch, superheat and subcooling."""
    base = ROBINSON_GROLL if name == "R-744" else Compressor()
    compressor = replace(base, isentropic=(efficiency,), gas_share=1.0)
    return Machine(
        refrigerant(name), compressor, limits, approach, subcooling_k=None if name == "R-744" else 5.0
    )


def cop(m: Machine, source: float, water_in: float, water_out: float) -> float:
    return float(solve(m, sample(m), source, water_in, water_out).cop[0])


def test_carnot_fractions_of_condensing_machines() -> None:
    """cycles.md section 7: conservative cycle, 45 °C inlet: 0.29 to 0.53; nothing above Carnot.

    The same table's range; one digit more is allowed at either end for the printed rounding.
    """
    for name in ("R-134a", "R-290", "R-32", "R-410A", "R-513A"):
        m = machine(name, 0.60, 10.0)
        source, outlet = np.meshgrid([-15.0, -8.0, 0.0, 7.0, 15.0, 20.0, 30.0], [50.0, 60.0, 65.0])
        found = solve(m, sample(m), source.ravel(), np.full(source.size, 45.0), outlet.ravel()).cop
        carnot = (outlet + 273.15) / (outlet - source)
        fraction = found / carnot.ravel()
        assert np.nanmin(fraction) > 0.285
        assert np.nanmax(fraction) < 0.535


GRID = (-15.0, -8.0, 0.0, 7.0, 15.0)


@pytest.mark.parametrize(
    ("name", "cold", "warm"),
    [
        ("R-744", -15.0, 15.0),
        ("R-290", -15.0, -8.0),
        ("R-410A", -15.0, -8.0),
        ("R-134a", 0.0, 0.0),
        ("R-513A", 0.0, 0.0),
        ("R-32", 0.0, 15.0),
    ],
)
def test_lowest_single_stage_source(name: str, cold: float, warm: float) -> None:
    """cycles.md section 5: lowest source of its grid with ratio up to 8 and discharge up to 120 °C.

    From 10 and from 45 °C to 60 °C; efficiency 0.70, evaporating 5 K below the source, as in its variant B.
    """
    bounded = replace(OPEN, discharge_c=120.0, pressure_ratio=8.0)
    m = machine(name, 0.70, 5.0, bounded)
    if name == "R-744":  # the page judges the best pressure; ours may lower it to stay cool
        free = solve(replace(m, limits=OPEN), sample(m), np.array(GRID * 2), [10.0] * 5 + [45.0] * 5, 60.0)
        ratio = free.high_pressure / free.low_pressure
        works = np.isfinite(free.cop) & (free.discharge_c <= 120.0) & (ratio <= 8.0)
    else:
        found = solve(m, sample(m), np.array(GRID * 2), [10.0] * 5 + [45.0] * 5, 60.0)
        works = np.isfinite(found.cop)
    lowest = [GRID[int(np.argmax(part))] for part in (works[:5], works[5:])]
    assert lowest == [cold, warm]


def test_highest_outlets_are_the_trades() -> None:
    """Conventional machines make 54 to 66 °C, R-744 about 82 °C (common practice, no source)."""
    for name in ("R-410A", "R-32", "R-454B", "R-134a", "R-513A", "R-407C"):
        assert 54.0 <= highest_outlet_c(name) <= 66.0
    assert highest_outlet_c("R-744") == pytest.approx(82.0, abs=0.5)
    assert usual_limits("R-744").high_pressure == 140e5
