"""Checks of `heatpump`'s cycle: an independent grid, textbooks, correlations, certified machines."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np

from hpwhsim.heatpump.anchor import OPEN, Rating, anchor_one, lorenz_cop
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.evaporator import Coil, solve_with_coil, taken
from hpwhsim.heatpump.limits import usual_limits
from hpwhsim.heatpump.machine import ROBINSON_GROLL, Compressor, Machine
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.heatpump.states import Condensing, Fluid, Isobars, suction
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

R744 = "R-744"
GRID_NAMES = {
    "R744": R744,
    "R134a": "R-134a",
    "R290": "R-290",
    "R32": "R-32",
    "R410A": "R-410A",
    "R513A": "R-513A",
}
NEAR_CRITICAL = 14.0  # K below the critical point: the grid's 14 chords overlook a pinch on the curved isobar


def machine(
    name: str, efficiency: float = 0.70, approach: float = 5.0, subcooling: float | None = 5.0
) -> Machine:
    """Constant isentropic efficiency, all electricity in the gas, 5 K pinch, no limits but R-744's."""
    limits = replace(OPEN, least_ratio=1.03)
    if name == R744:
        limits = replace(
            usual_limits(R744), discharge_c=250.0, pressure_ratio=50.0, highest_evaporating_c=28.0
        )
        subcooling = None
    return Machine(
        refrigerant(name),
        Compressor((efficiency,), gas_share=1.0),
        limits,
        approach_k=approach,
        subcooling_k=subcooling,
    )


@cache
def high_side(name: str) -> Isobars | Condensing:
    """Sampled once for a refrigerant: the machine's parts do not enter."""
    return sample(machine(name))


def cop(of: Machine, source: float, water_in: float, water_out: float) -> float:
    """Of one condition."""
    return float(solve(of, high_side(of.refrigerant.name), source, water_in, water_out).cop[0])


def _variant(name: str, variant: str) -> Machine:
    approach, efficiency = (10.0, 0.60) if variant == "D" else (5.0, 0.70)
    made = machine(name, efficiency, approach, None if variant in "AC" else 5.0)
    if variant == "C":
        return replace(made, compressor=replace(ROBINSON_GROLL, gas_share=1.0))
    return made


def grid_checks() -> Iterator[Check]:
    """COP, pressure and volumetric heat of an independent solution by iteration, 56 conditions a variant."""
    table: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in rows("cycle_grid"):
        if row["COP"]:
            table.setdefault((row["fluid"], row["variant"][0]), []).append(row)
    pressures, capacities = [], []
    for (fluid, variant), listed in table.items():
        name = GRID_NAMES[fluid]
        made, critical = _variant(name, variant), refrigerant(name).critical_c
        kept = [r for r in listed if name == R744 or float(r["T_cond_C"]) <= critical - NEAR_CRITICAL]
        if variant == "C" and name != R744:  # its polynomial is held outside its range
            kept = [r for r in kept if float(r["pressure_ratio"]) < 12.0]
        source, water_in, water_out = (
            np.array([float(r[key]) for r in kept]) for key in ("T_source_C", "T_win_C", "T_wout_C")
        )
        found = solve(made, high_side(name), source, water_in, water_out)
        gas = suction(Fluid(made.refrigerant), source - made.approach_k, 5.0).density
        points = []
        for k, r in enumerate(kept):
            at = f"source {r['T_source_C']} °C, water {r['T_win_C']} to {r['T_wout_C']} °C"
            points.append(Point(at, float(r["COP"]), float(found.cop[k])))
            where = f"{name} {variant}, {at}"
            pressures.append(Point(where, float(r["p_high_bar"]), float(found.high_pressure[k]) / 1e5))
            volumetric = float(found.heat[k] * gas[k]) / 1e3
            capacities.append(Point(where, float(r["vol_heat_cap_kJ_m3"]), volumetric))
        yield worst(f"heatpump.grid.{name}.{variant}", points)
    yield worst("heatpump.grid.high_pressure", pressures)
    yield worst("heatpump.grid.volumetric_heat", capacities)
    crossover = rows("inlet_temperature_crossover")
    for column, name, subcooling in (
        ("R744", R744, None),
        ("R134a_B", "R-134a", 5.0),
        ("R290_A", "R-290", None),
        ("R410A_B", "R-410A", 5.0),
    ):
        points = [
            Point(
                f"source {r['T_source']} °C, water in {r['T_win']} °C",
                float(r[column]),
                cop(machine(name, subcooling=subcooling), float(r["T_source"]), float(r["T_win"]), 60.0),
            )
            for r in crossover
            if r[column]
        ]
        yield worst(f"heatpump.inlet.{name}", points)


def gas_cooler_checks() -> Iterator[Check]:
    """R-744: best pressure for a given exit, the correlation of 2000, the prototype of 1998."""
    table = rows("co2_optimum_pressure")
    for column, polynomial in (("eta0.70", (0.70,)), ("etaPR", ROBINSON_GROLL.isentropic)):
        made = replace(machine(R744), superheat_k=0.0, compressor=Compressor(polynomial, gas_share=1.0))
        pressures, cops = [], []
        for row in table:
            pressure = float(row[f"p_opt_{column}_bar"])
            if not 75.2 < pressure < 139.8:  # beyond our lowest isobar, or the cap
                continue
            source, exit_c = float(row["te_C"]) + 5.0, float(row["tc_exit_C"])
            # water that hardly warms leaves the cold end as the only bound: the exit is one pinch above it
            found = solve(made, high_side(R744), source, exit_c - 5.0, exit_c - 4.99)
            at = f"evaporating {row['te_C']} °C, exit {row['tc_exit_C']} °C"
            pressures.append(Point(at, pressure, float(found.high_pressure[0]) / 1e5))
            cops.append(Point(at, float(row[f"COP_{column}"]), float(found.cop[0])))
        yield worst(f"heatpump.gas_cooler.pressure_{column}", pressures)
        yield worst(f"heatpump.gas_cooler.cop_{column}", cops)
    points = []
    made = replace(machine(R744), superheat_k=0.0)
    for t in (-10.0, 0.0, 10.0):
        for exit_c in (35.0, 40.0):
            liao = (2.778 - 0.0157 * t) * exit_c + 0.381 * t - 9.34
            found = solve(made, high_side(R744), t + 5.0, exit_c - 5.0, exit_c - 4.99)
            points.append(
                Point(f"evaporating {t:g} °C, exit {exit_c:g} °C", liao, float(found.high_pressure[0]) / 1e5)
            )
    yield worst("heatpump.gas_cooler.liao", points)
    water = (5.0, 9.0, 60.0)
    span = cop(machine(R744, 0.60), *water), cop(machine(R744, 0.75), *water)
    yield held("heatpump.prototype_1998.cop", cop(machine(R744, 0.675), *water), span=span)
    cops, pressures, gases = [], [], []
    for row in rows("prototype_1998"):
        pinch = float(row["pinch_K"])
        made = replace(machine(R744, float(row["efficiency"])), pinch_k=pinch)
        found = solve(made, high_side(R744), *water)
        at = f"efficiency {row['efficiency']}, pinch {row['pinch_K']} K"
        cops.append(Point(at, float(row["cop"]), float(found.cop[0])))
        pressures.append(Point(at, 88.5, float(found.high_pressure[0]) / 1e5))
        gases.append(Point(at, 90.0, float(found.discharge_c[0])))
    yield worst("heatpump.prototype_1998.independent", cops)
    yield worst("heatpump.prototype_1998.pressure", pressures)
    yield worst("heatpump.prototype_1998.discharge", gases)


def textbook_checks() -> Iterator[Check]:
    """Ideal R-134a cycles of two textbooks, Lorenz' limit, deep subcooling, the trade's ladder."""
    for name, of in _ideal_cycles().items():
        yield held(f"heatpump.textbook.{name}", of)
    # no superheat, no subcooling, condensing one pinch above water of 21 °C: 26 °C
    ideal = replace(machine("R-134a", 1.0, 5.0, 0.0), superheat_k=1e-5)
    yield held("heatpump.textbook.solver", cop(ideal, 5.0, 21.0, 21.01))
    yield held("heatpump.lorenz.by_hand", lorenz_cop(7.0, 10.0, 65.0))
    edges = np.linspace(5.0, 80.0, 20_001) + 273.15
    slices = 0.5 * (edges[1:] + edges[:-1])
    carnot = 1.0 / float(np.mean(1.0 - 258.15 / slices))
    yield held("heatpump.lorenz.carnot_row", lorenz_cop(-15.0, 5.0, 80.0), carnot)
    ladder = rows("cop_ladder")
    limits = [
        Point(f"{r['outlet_c']} °C", float(r["cop"]), lorenz_cop(0.0, 25.0, float(r["outlet_c"])))
        for r in ladder
        if r["quantity"] == "lorenz"
    ]
    yield worst("heatpump.lorenz.table", limits)
    usual, deep = (cop(machine("R-290", subcooling=s), 20.0, 10.0, 60.0) for s in (5.0, None))
    yield held("heatpump.deep_subcooling", deep / usual)
    for kind, efficiency, approach in (("air", 0.65, 8.0), ("water", 0.70, 5.0)):
        made = machine("R-290", efficiency, approach)
        ratios = []
        for r in ladder:
            if r["quantity"] == kind:
                outlet = float(r["outlet_c"])
                found = cop(made, float(r["source_c"]), outlet - 5.0, outlet)
                middle = 1.125 if kind == "air" else 1.0
                at = f"{r['source_c']} to {r['outlet_c']} °C"
                ratios.append(Point(at, middle, found / float(r["cop"])))
        yield worst(f"heatpump.ladder.{kind}", ratios)
    cold, warm = (
        {n: cop(machine(n), 0.0, inlet, 60.0) for n in (R744, "R-134a", "R-290")} for inlet in (10.0, 45.0)
    )
    for other in ("R-134a", "R-290"):
        yield held(f"heatpump.cold_inlet.{other}", cold[R744] / cold[other])
        yield held(f"heatpump.warm_inlet.{other}", warm[R744] / warm[other])


def _ideal_cycles() -> dict[str, float]:
    """Cooling, work and COP of the two ideal cycles, from the program's states and CoolProp's compression."""
    from CoolProp.CoolProp import PropsSI

    fluid = Fluid(refrigerant("R-134a"))

    def ideal(low: float, high: float) -> tuple[float, float]:
        dew = PropsSI("T", "P", low, "Q", 1, "R134a") - 273.15
        gas = suction(fluid, np.array([dew]), 0.0)
        liquid = fluid.at(high, float(fluid.bubble_c(np.array([high]))[0]) - 1e-6, "liquid")[0]
        lift = PropsSI("H", "P", high, "S", float(gas.entropy[0]), "R134a") - float(gas.enthalpy[0])
        return float(gas.enthalpy[0]) - liquid, lift

    first, work = ideal(0.14e6, 0.80e6)
    second, other = ideal(fluid.pressure(0.0, 1.0), fluid.pressure(26.0, 1.0))
    return {
        "cooling": 0.05 * first / 1e3,
        "work": 0.05 * work / 1e3,
        "cop": first / work,
        "other_work": 0.08 * other / 1e3,
        "other_cop": second / other,
    }


BRINE = ("R-410A", "R-407C", "R-134a", "R-290")  # refrigerants of brine machines
WATER_RISE = {35: 5.0, 45: 5.0, 55: 8.0}  # K, EN 14511


def _slope(name: str, rated_cop: float, outlet: float) -> float:
    """COP at an outlet of a machine rated at 0 °C, water 30 to 35 °C, its evaporator as it was."""
    rating = Rating(0.0, 30.0, 35.0, 10e3, rated_cop)
    described = Machine(refrigerant(name), Compressor(), usual_limits(name), approach_k=5.0)
    found = anchor_one(described, high_side(name), rating, "certified")
    at_rating = solve(found.machine, high_side(name), 0.0, 30.0, 35.0)
    coil = Coil(found.machine.approach_k, float(taken(found.machine, at_rating)[0]))
    water_in = outlet - WATER_RISE[int(outlet)]
    cycle, _ = solve_with_coil(found.machine, high_side(name), coil, 0.0, water_in, outlet)
    return float(cycle.cop[0])


def market_checks() -> Iterator[Check]:
    """What a machine rated at one point does elsewhere, beside certified machines and fits of the market."""
    median = float(rows("certified_machines")[0]["median"])
    usual = [cop(machine("R-410A", efficiency), 0.0, 30.0, 35.0) for efficiency in (0.60, 0.65, 0.70)]
    yield held("heatpump.certified.brine_35", usual[1], span=(usual[0], usual[2]))
    for outlet in (45, 55):
        found = [_slope(name, median, outlet) for name in BRINE]
        yield held(f"heatpump.certified.brine_{outlet}", found[0], span=(min(found), max(found)))
    for row in rows("market_fits"):
        a, b, c = (float(row[key]) for key in "abc")
        for lift in (45, 55):
            rated = a + 35.0 * b + 35.0**2 * c
            found = [_slope(name, rated, lift) for name in BRINE]
            yield held(
                f"heatpump.market.{row['kind']}_{lift}",
                found[0],
                a + lift * b + lift**2 * c,
                span=(min(found), max(found)),
            )
