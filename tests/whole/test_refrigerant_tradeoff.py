"""What the trade says of refrigerants must come out of the engine: cold inlet, warm inlet, carbon.

The study's scenario and numbers are those of benchmarks/refrigerant_tradeoff.py. Published numbers: cycles.md
section 6 (an independent cycle solved with another program; its tables are shared/cycle_grid.csv and
shared/inlet_temperature_crossover.csv), carbon.md (refrigerant leaks), egrid.csv (US EPA eGRID2023).
"""

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import refrigerant_tradeoff as study
from scipy.interpolate import RegularGridInterpolator

from hpwhsim.heatpump.anchor import OPEN
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.machine import Compressor, Machine
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year

pytestmark = pytest.mark.published

MACHINE = {m.name: m for m in study.MACHINES}
FIXED = ("R-290", "R-134a", "R-513A", "R-454B", "R-410A")  # liquid 5 K below bubble
DEEP = ("R-290 deep", "R-410A deep")


@cache
def row(name: str, inlet: str, water_side: str = "single-pass") -> Any:
    """A year of the study; the run is a function of its arguments, so it may be kept."""
    return study.run(MACHINE[name], inlet, water_side)


def rows(inlet: str) -> list[Any]:
    """Every run of the study with that inlet, in its order."""
    return [row(m.name, i, side) for m, i, side in study.cases() if i == inlet]


def best(name: str, inlet: str) -> Any:
    """The pass that takes the least electricity."""
    return study.best([row(m.name, i, s) for m, i, s in study.cases() if m.name == name], name, inlet)


def grid_rows(path: Path) -> list[dict[str, str]]:
    text = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(x for x in text if not x.startswith("#")))


# -- the anchors ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["R-744", "R-290", "R-134a", "R-513A", "R-410A"])
def test_machines_have_one_quality(references: Path, name: str) -> None:
    """shared/cycle_grid.csv, variant D, air 7 °C, water 10 to 60 °C: COP to the two digits used here.

    One overall efficiency (0.60), approach (10 K), pinch and subcooling (5 K) for all. 0.005: rounding.
    """
    held = [
        float(r["COP"])
        for r in grid_rows(references / "cycle_grid.csv")
        if r["fluid"] == name.replace("-", "")
        and r["variant"].startswith("D_")
        and (r["T_source_C"], r["T_win_C"], r["T_wout_C"]) == ("7", "10", "60")
    ]
    assert held == [pytest.approx(MACHINE[name].cop, abs=0.005)]


@pytest.mark.independent
@pytest.mark.parametrize("machine", study.MACHINES, ids=lambda m: m.name)
def test_anchors_by_this_cycle(machine: Any) -> None:
    """The same numbers in the cycle of this program give every COP, R-454B and the deep ones included.

    They have no row in the published table; that the cycle meets its other rows is tested elsewhere. 0.008:
    0.005 of rounding, and 0.003 between the two programs (R-744, 3.926 against 3.923).
    """
    found = refrigerant(machine.refrigerant)
    transcritical = machine.refrigerant == "R-744"
    described = Machine(
        found,
        Compressor(isentropic=(0.60,), gas_share=1.0),
        replace(OPEN, high_pressure=140e5 if transcritical else OPEN.high_pressure),
        subcooling_k=None if transcritical or "deep" in machine.name else 5.0,
    )
    cop = solve(described, sample(described), 7.0, 10.0, 60.0).cop
    assert float(cop[0]) == pytest.approx(machine.cop, abs=0.008)


def test_grid_factors_are_the_published_ones(references: Path) -> None:
    """US EPA eGRID2023, delivered, as in egrid.csv; on the mainland NYUP is cleanest and MROE dirtiest."""
    held = {
        r["subregion"]: float(r["kgco2e_per_kWh_delivered"])
        for r in grid_rows(references / "egrid.csv")
        if r["data_year"] == "2023"
    }
    assert {name: held[name] for name in study.GRIDS} == study.GRIDS
    mainland = {k: f for k, f in held.items() if k[:2] not in ("AK", "HI", "PR")}
    assert min(mainland, key=mainland.__getitem__) == study.CLEAN
    assert max(mainland, key=mainland.__getitem__) == study.DIRTY


# -- energy --------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.year
@pytest.mark.parametrize("inlet", ["cold", "warm"])
def test_every_year_closes_and_serves(inlet: str) -> None:
    """First law to 1e-6 (design.md section 6), and nobody runs short, so that the years can be compared.

    The inlet is what it is called: mean by heat below 25 and above 35 °C (R-744 and R-134a are level at 29
    to 33 °C by cycles.md section 6, conventional kind).
    """
    for r in rows(inlet):
        assert abs(r.balance_error) <= 1e-6
        assert r.short_hours == 0.0
        assert r.water_in_c < 25.0 if inlet == "cold" else r.water_in_c > 35.0


@pytest.mark.year
@pytest.mark.parametrize("name", FIXED)
def test_cold_inlet_r744_leads_conventional_machines(name: str) -> None:
    """Published: R-744 ahead by 15 to 54 % (R-134a, R-290) and 7 to 40 % (R-32, R-410A), cycles.md section 6.

    That is at an inlet of 10 °C; at 20 °C, the mean of this plant, its table gives +9 to +29 % over R-410A,
    R-134a and R-290. Measured in hours of 0 °C and above, in which all work: R-290 and R-134a +15 %, R-513A
    +19 %, R-410A +10 %, R-454B +9 %. The plant with R-744 also takes the least electricity.
    """
    lead = row("R-744", "cold").cop_from_0c / row(name, "cold").cop_from_0c
    assert 1.07 < lead < 1.54
    assert row("R-744", "cold").electricity_kwh < row(name, "cold").electricity_kwh


@pytest.mark.year
@pytest.mark.parametrize("name", DEEP)
def test_cold_inlet_r744_is_level_with_deep_subcooling(name: str) -> None:
    """Published: level, -4 to +23 % at an inlet of 10 °C, cycles.md section 6; its table at 20 to 25 °C of
    inlet and -8 to 20 °C of source gives -9 to +4 %.

    Measured: -5 % against R-290, -8 % against R-410A. Allowed: the range of the table.
    """
    lead = row("R-744", "cold").cop_from_0c / row(name, "cold").cop_from_0c
    assert 0.91 < lead < 1.04


@pytest.mark.year
@pytest.mark.parametrize("name", [*FIXED, *DEEP])
def test_warm_inlet_r744_loses_by_a_lot(name: str) -> None:
    """Published: R-744 loses 19 to 33 % from 45 to 60 °C, cycles.md section 6. Asked here: 9 % at least.

    The inlet of this plant is 39 °C on the mean, part of it colder: 15 %. And the published cycles evaporate
    5 K below the source whatever they take from it. A coil of one conductance gives R-744 some back: in warm
    water it takes two thirds of its rated heat and evaporates 3 K nearer to the air, at 2.5 %/K, the others
    1 K: 6 %. In the plant's electricity R-744 is last, though some of the others burn a quarter of theirs in
    the backup.
    """
    r744 = row("R-744", "warm")
    assert 0.67 < r744.cop_from_0c / row(name, "warm").cop_from_0c < 0.91
    assert r744.electricity_kwh > row(name, "warm").electricity_kwh


@pytest.mark.year
@pytest.mark.parametrize("name", [m.name for m in study.MACHINES])
def test_what_the_warm_return_costs(name: str) -> None:
    """Published, 10 to 45 °C of inlet at 0 °C: R-744 -47 %, R-134a -9 % (conventional) or -24 % (deep).

    cycles.md section 6. Here the inlet goes from 21 to 39 °C, about half as far. By its table from 20 to
    40 °C, at sources of -8 to 20 °C: R-744 -31 to -40 %, conventional -5 to -12 %, deep -14 to -20 %. Up to
    3 points less are allowed: 1.5 because the loop's load is even over the year, so that the air is 0.3 to
    0.8 K milder at 2 %/K; 0.5 for 18 K in place of 20; 1 for efficiency, constant in the table. The table
    evaporates at one temperature: a coil of one conductance gives R-744 up to 3 points back (see above). The
    deep machines of these COPs have a part of their gain from approach and pinch, and so not all of the
    table's subcooling: from half way between conventional and deep (8 %).
    """
    fall = 1.0 - row(name, "warm").cop_from_0c / row(name, "cold").cop_from_0c
    low, high = (0.28, 0.40) if name == "R-744" else (0.08, 0.20) if name in DEEP else (0.05, 0.12)
    assert low - 0.03 < fall < high


@cache
def hours(name: str, inlet: str) -> tuple[np.ndarray, ...]:
    """Source, inlet [°C], heat and electricity [kWh] of each hour without frost, and approach by hour [K].

    The approach is that at the rating, the last value, over the rated heat of the coil, times the hour's.
    """
    machine = MACHINE[name]
    overrides = [
        f"plant.heat_pump.refrigerant={machine.refrigerant}",
        f"plant.heat_pump.cop={machine.cop}",
        "plant.heat_pump.defrost=none",
        *(["recirculation=null"] if inlet == "cold" else []),
    ]
    year = run_year(read_scenario(study.SCENARIO, overrides))
    said: Any = year.record["assumptions"]
    hourly, found = year.hourly, {item["key"]: item["value"] for item in said}
    design = "plant.heat_pump.design."
    rated = float(found[design + "approach"].split()[0])
    share = float(found[design + "gas_share"].split()[0])
    full = 30.0 * (1.0 - share / machine.cop)  # kW, of one module
    with np.errstate(divide="ignore", invalid="ignore"):
        approach = rated * hourly["source_heat_kwh"] / hourly["module_hours"] / full
    names = ("source_c", "water_in_c", "heat_pump_heat_kwh", "compressor_kwh")
    return (*(hourly[k] for k in names), np.append(approach, rated))


@pytest.mark.independent
@pytest.mark.year
@pytest.mark.parametrize("inlet", ["cold", "warm"])
@pytest.mark.parametrize(
    ("name", "column"),
    [
        ("R-290", "R290_B"),
        ("R-134a", "R134a_B"),
        ("R-410A", "R410A_B"),
        ("R-290 deep", "R290_A"),
        ("R-410A deep", "R410A_A"),
    ],
)
def test_year_by_an_independent_cycle(references: Path, inlet: str, name: str, column: str) -> None:
    """Hour by hour from a published table of another cycle: R-744 over the other, cold and warm.

    shared/inlet_temperature_crossover.csv gives COP by source (-8 to 20 °C) and inlet (5 to 50 °C) at 60 °C.
    Each is taken relative to 7 °C and 10 °C, times the COP rated there. Hours of -2 to 20 °C, in which all
    work. Its cycle evaporates 5 K below the source, so it is read 5 K above the temperature at which the
    machine does, by a coil of one conductance. 5 %: its efficiency is constant, the machines' falls with
    the pressure ratio; and an hour's mean inlet stands for a bent curve. Cold and warm are 25 % apart. A
    machine of deep subcooling (A) has a part of its gain from other exchangers, and lies between A and B.
    """
    text = (references / "inlet_temperature_crossover.csv").read_text(encoding="utf-8").splitlines()
    lines = list(csv.reader(x for x in text if not x.startswith("#")))
    values = np.array(lines[1:], dtype=np.float64)
    axes = np.unique(values[:, 0]), np.unique(values[:, 1])

    def one(each: str, head: str) -> tuple[float, float]:
        """COP over those hours as marched, and as the column foretells it."""
        cop = RegularGridInterpolator(
            axes, values[:, lines[0].index(head)].reshape(axes[0].size, axes[1].size)
        )
        source, water_in, heat, bought, approach = hours(each, inlet)
        some = (heat > 0.0) & (source >= -2.0) & (source <= 20.0)
        assert heat[some].sum() > 0.5 * heat.sum()
        apart = 5.0 - approach
        points = np.column_stack([source[some] + apart[:-1][some], np.clip(water_in[some], 5.0, 50.0)])
        relative = cop(points) / cop([7.0 + apart[-1], 10.0])
        told = MACHINE[each].cop * heat[some].sum() / (heat[some] / relative).sum()
        return heat[some].sum() / bought[some].sum(), float(told)

    ran, foretold = one("R-744", "R744")
    heads = [column] if column.endswith("_B") else [column, column.replace("_A", "_B")]
    ratios = [foretold / one(name, head)[1] for head in heads]
    assert 0.95 * min(ratios) < ran / one(name, heads[0])[0] < 1.05 * max(ratios)


# -- carbon --------------------------------------------------------------------------------------------


@pytest.mark.law
@pytest.mark.year
def test_cold_inlet_r744_has_the_least_carbon_of_the_conventional() -> None:
    """Least electricity, and a warming potential of 1: first on both grids, at any leak down to none."""
    for grid in (study.CLEAN, study.DIRTY):
        for leak in (0.0, *study.LEAKS.values()):
            totals = {n: study.total(row(n, "cold"), study.GRIDS[grid], leak) for n in ("R-744", *FIXED)}
            assert min(totals, key=totals.__getitem__) == "R-744"


@pytest.mark.year
@pytest.mark.parametrize(("name", "by_hand"), [("R-410A", 1466.075), ("R-134a", 1113.84)])
def test_order_turns_with_the_grid(name: str, by_hand: float) -> None:
    """Warm inlet, 3 % leak: R-744 is ahead on NYUP 2023 (0.115 kg/kWh) and behind on MROE 2023 (0.665).

    Grid factors: US EPA eGRID2023; leak: UK Defra, chillers (carbon.md section 2); GWP: IPCC AR6 over 100
    years. Charge 0.25 and 0.28 kg/kW: common practice, no source. By hand: R-410A 15 kg x 2255.5 x
    (0.03 + 0.2 / 15) = 1466.075 kg/a; R-134a 16.8 kg x 1530 x 0.043333 = 1113.84 kg/a (1e-9: rounding).
    """
    r744, other = best("R-744", "warm"), best(name, "warm")
    clean, dirty = study.GRIDS[study.CLEAN], study.GRIDS[study.DIRTY]
    assert study.total(r744, clean) < study.total(other, clean)
    assert study.total(r744, dirty) > study.total(other, dirty)
    assert clean < study.turning_grid(other, r744) < dirty
    assert study.lost(other) == pytest.approx(by_hand, rel=1e-9)


@pytest.mark.year
@pytest.mark.parametrize("name", ["R-410A", "R-513A", "R-134a"])
def test_order_turns_with_the_leak(name: str) -> None:
    """Warm inlet, NYUP 2023: R-744 is behind at a leak of 0.3 % a year and ahead at 8.5 %.

    Both are published: UK Defra, heat pumps alone and air conditioning with heat pumps (carbon.md section 2).
    On MROE 2023 it stays behind at both: the leak alone does not turn every order.
    """
    r744, other = best("R-744", "warm"), best(name, "warm")
    low, high = study.LEAKS["heat pumps"], study.LEAKS["air conditioning"]
    clean, dirty = study.GRIDS[study.CLEAN], study.GRIDS[study.DIRTY]
    assert study.total(r744, clean, low) > study.total(other, clean, low)
    assert study.total(r744, clean, high) < study.total(other, clean, high)
    for leak in (low, high):
        assert study.total(r744, dirty, leak) > study.total(other, dirty, leak)


@pytest.mark.law
@pytest.mark.year
def test_order_turns_with_the_charge() -> None:
    """Warm inlet, NYUP 2023, 3 % leak: R-410A is ahead of R-744 with half the usual charge, behind with it.

    The usual charge, 0.25 kg per kW of rated heat, is common practice, no source.
    """
    r744, other, grid = best("R-744", "warm"), best("R-410A", "warm"), study.GRIDS[study.CLEAN]
    assert study.total(other, grid, charge=0.5) < study.total(r744, grid, charge=0.5)
    assert study.total(other, grid, charge=1.0) > study.total(r744, grid, charge=1.0)


@pytest.mark.law
@pytest.mark.year
def test_no_leak_turns_propane() -> None:
    """GWP 0.02 (IPCC AR6): with warm inlet R-290 is ahead of R-744 on every grid, whatever leaks."""
    r744, other = best("R-744", "warm"), best("R-290", "warm")
    assert np.isnan(study.turning_grid(other, r744))
    for grid in study.GRIDS.values():
        assert np.isnan(study.turning_leak(other, r744, grid))
        assert study.total(other, grid, 1.0) < study.total(r744, grid, 1.0)


@pytest.mark.law
def test_at_the_turning_points_both_are_level() -> None:
    """Law: at the point found the totals are equal (1e-9: rounding); where there is none it says so."""
    like = dict.fromkeys(study.Row._fields, 0.0) | {"inlet": "warm", "water_side": "single-pass"}
    one = study.Row(**like | {"machine": "R-744", "electricity_kwh": 43_000.0, "charge_kg": 12.0})
    two = study.Row(**like | {"machine": "R-410A", "electricity_kwh": 35_000.0, "charge_kg": 15.0})
    for leak in (0.0, 0.03):
        grid = study.turning_grid(two, one, leak)
        assert grid > 0.0
        assert study.total(two, grid, leak) == pytest.approx(study.total(one, grid, leak), rel=1e-9)
    leak = study.turning_leak(two, one, 0.115)
    assert 0.0 < leak < 1.0
    assert study.total(two, 0.115, leak) == pytest.approx(study.total(one, 0.115, leak), rel=1e-9)
    thrifty = one._replace(electricity_kwh=30_000.0)  # R-744 ahead in energy too: nothing turns
    assert np.isnan(study.turning_grid(two, thrifty))
    assert np.isnan(study.turning_leak(two, thrifty, 0.115))


@pytest.mark.contract
@pytest.mark.long
@pytest.mark.year
def test_table_has_every_run() -> None:
    """A row for each run, and where it is level with R-744: nowhere for R-744 itself."""
    every = [row(m.name, inlet, side) for m, inlet, side in study.cases()]
    table = study.table(every).set_index(["machine", "inlet", "water_side"])
    assert len(table) == len(every) == 21
    assert np.isnan(table.loc[("R-744", "warm", "single-pass"), "level_grid"])
    warm = table.loc[("R-410A", "warm", "multi-pass")]
    assert study.GRIDS[study.CLEAN] < warm["level_grid"] < study.GRIDS[study.DIRTY]
