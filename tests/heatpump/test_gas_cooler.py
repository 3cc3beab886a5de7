"""The transcritical R-744 cycle against published and independent values, and against the second law."""

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.heatpump.anchor import lorenz_cop
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.limits import usual_limits
from hpwhsim.heatpump.machine import ROBINSON_GROLL, Compressor, Machine
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.heatpump.states import Fluid, Isobars, suction

pytestmark = pytest.mark.published

# The check values know no limit of discharge temperature or ratio, and evaporate up to 25 °C.
CO2 = refrigerant("R-744")
R744 = usual_limits("R-744")
OPEN = replace(R744, discharge_c=250.0, pressure_ratio=50.0, highest_evaporating_c=28.0)


@cache
def isobars() -> Isobars:
    return sample(constant(0.7))


def constant(efficiency: float, approach: float = 5.0, pinch: float = 5.0) -> Machine:
    """Machine of constant isentropic efficiency without limits but the pressure cap."""
    return Machine(CO2, Compressor((efficiency,), gas_share=1.0), OPEN, approach_k=approach, pinch_k=pinch)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


@pytest.mark.independent
@pytest.mark.parametrize(
    ("variant", "machine"),
    [
        ("A_counterflow_eta0.70", constant(0.70)),
        ("C_counterflow_etaPR", replace(constant(0.70), compressor=replace(ROBINSON_GROLL, gas_share=1.0))),
        ("D_conservative_dTe10_subcool5K_eta0.60", constant(0.60, approach=10.0)),
    ],
)
def test_independent_grid(references: Path, variant: str, machine: Machine) -> None:
    """56 conditions of each variant of cycle_grid.csv, an independent solution by iteration with CoolProp.

    That grid picks the best of pressures 0.2 bar apart and has its pinch on 60 points of the isobar, so its
    COP may fall short of the best by up to 0.4 % (its slope is 1 to 2 % per bar beside the kink) but hardly
    exceed it; its pressures are printed to 0.01 bar.
    """
    table = [
        r for r in rows(references / "cycle_grid.csv") if (r["fluid"], r["variant"]) == ("R744", variant)
    ]
    assert len(table) == 56
    source, water_in, water_out, cop, pressure, capacity = (
        np.array([float(r[k]) for r in table])
        for k in ("T_source_C", "T_win_C", "T_wout_C", "COP", "p_high_bar", "vol_heat_cap_kJ_m3")
    )
    found = solve(machine, isobars(), source, water_in, water_out)
    ratio = found.cop / cop
    assert ratio.min() > 1.0 - 1e-3
    assert ratio.max() < 1.0 + 4e-3
    np.testing.assert_allclose(found.high_pressure / 1e5, pressure, atol=0.2)
    density = suction(Fluid(CO2), source - machine.approach_k, 5.0).density
    np.testing.assert_allclose(found.heat * density / 1e3, capacity, rtol=5e-3)


@pytest.mark.independent
def test_pinch_is_kept_everywhere() -> None:
    """Walk the gas cooler with CoolProp itself: refrigerant one pinch above the water, and touching it once.

    0.05 K: the isobar between the sampled temperatures, 0.25 K apart near the peak of specific heat.
    """
    from CoolProp.CoolProp import PropsSI

    machine = constant(0.65)
    for source, water_in, water_out in (
        (0.0, 10.0, 60.0),
        (7.0, 30.0, 65.0),
        (20.0, 17.0, 80.0),
        (-15.0, 45.0, 60.0),
    ):
        found = solve(machine, isobars(), source, water_in, water_out)
        p, heat = found.high_pressure[0], found.heat[0]
        leaving = PropsSI("H", "T", found.discharge_c[0] + 273.15, "P", p, "CO2")
        x = np.linspace(0.0, 1.0, 400)
        hot = PropsSI("T", "H", leaving - heat * (1.0 - x), "P", np.full_like(x, p), "CO2") - 273.15
        gap = hot - (water_in + x * (water_out - water_in))
        assert gap.min() == pytest.approx(machine.pinch_k, abs=0.05)


@pytest.mark.independent
def test_best_pressure_is_best() -> None:
    """Any other pressure, forced by the cap, gives a lower COP: 30 caps below the best one."""
    machine = constant(0.65)
    free = solve(machine, isobars(), 7.0, 20.0, 65.0)
    caps = np.linspace(78e5, free.high_pressure[0] - 1e4, 30)
    capped = [
        solve(replace(machine, limits=replace(OPEN, high_pressure=c)), isobars(), 7.0, 20.0, 65.0)
        for c in caps
    ]
    cop = np.array([c.cop[0] for c in capped])
    assert (cop < free.cop[0]).all()
    assert (np.diff(cop) > 0.0).all()


def test_warm_inlet_halves_the_cop() -> None:
    """Inlet 10 to 45 °C at source 0 °C costs 47 % (cycles.md section 6); outlet then hardly matters.

    One point of the printed percentage either way.
    """
    found = solve(constant(0.70), isobars(), 0.0, [10.0, 45.0, 45.0, 45.0], [60.0, 50.0, 60.0, 80.0])
    assert found.cop[1] / found.cop[0] == pytest.approx(0.53, abs=0.01)
    np.testing.assert_allclose(found.cop[1:], 2.22, atol=0.01)


@pytest.mark.law
def test_limits_stop_the_machine() -> None:
    """Beyond a limit there is no result; within it, the gas is never hotter nor the pressure higher."""
    machine = Machine(CO2, ROBINSON_GROLL, replace(R744, highest_inlet_c=40.0)).with_scale(0.8)
    source, inlet = (a.ravel() for a in np.meshgrid(np.arange(-40.0, 46.0, 5.0), np.arange(0.0, 56.0, 5.0)))
    found = solve(machine, isobars(), source, inlet, 65.0)
    works = np.isfinite(found.cop)
    assert 0.2 < works.mean() < 0.9
    assert not works[source < -35.0].any()
    assert not works[inlet > 40.0].any()
    assert found.discharge_c[works].max() <= 150.0 + 0.1  # the limit is found between isobars 1 bar apart
    assert found.high_pressure[works].max() <= 140e5
    assert (found.high_pressure / found.low_pressure)[works].max() <= 8.0 + 1e-9
    assert found.cop[works].min() > 1.0


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(
    source=st.floats(-25.0, 20.0),
    water_in=st.floats(0.0, 50.0),
    rise=st.floats(5.0, 40.0),
    efficiency=st.floats(0.5, 0.8),
)
def test_laws(source: float, water_in: float, rise: float, efficiency: float) -> None:
    """Below the Lorenz limit; a warmer source raises COP and capacity; warmer water, in or out, lowers COP.

    1e-4 for the width at which the search for the best pressure ends.
    """
    water_out = max(min(water_in + rise, 80.0), source + 20.0)  # a lift that needs a heat pump
    machine = constant(efficiency)
    found = solve(
        machine,
        isobars(),
        source + np.array([0.0, 2.0, 0.0, 0.0]),
        water_in + np.array([0.0, 0.0, 2.0, 0.0]),
        water_out + np.array([0.0, 0.0, 0.0, 2.0]),
    )
    assert found.cop[0] < lorenz_cop(source, water_in, water_out)
    assert found.cop[1] > found.cop[0]
    assert found.volumetric[1] > found.volumetric[0]
    assert found.cop[2] < found.cop[0] * (1.0 + 1e-4)
    assert found.cop[3] < found.cop[0] * (1.0 + 1e-4)
