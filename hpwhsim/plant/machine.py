"""The machine of a scenario: performance map, limits, how it heats the store, frost and auxiliaries."""

from dataclasses import replace
from typing import Any, NamedTuple, cast

import numpy as np

from hpwhsim.errors import InputError
from hpwhsim.heatpump.frost import SPLIT_PER_APPROACH, USUAL_SPLIT_K
from hpwhsim.heatpump.limits import highest_outlet_c, usual_limits
from hpwhsim.heatpump.lines import LineDerate
from hpwhsim.heatpump.performance import (
    PerformanceMap,
    map_from_cycle,
    map_from_ratings,
    read_ratings,
    read_table,
)
from hpwhsim.heatpump.rated import WaterSide as WaterSideName
from hpwhsim.plant.arrays import Array, WaterSide
from hpwhsim.plant.clock import outlets
from hpwhsim.plant.lines import Shift, behind_exchanger, derated, glycol_shift, refrigerant_lines
from hpwhsim.scenario.schema import HeatPump, Scenario

Assumption = dict[str, str]


class Made(NamedTuple):
    """The machine of a plant."""

    machine: PerformanceMap  # of one module
    modules: int
    lowest: float  # source temperature below which it stands, °C
    approach: float  # source less evaporating temperature of the cycle; 0: not known, a table, K
    split_k: float  # air less coil surface, K
    lines: LineDerate | None  # refrigerant lines
    shift: Shift  # what a glycol exchanger costs
    capacity: float  # of one module at its rating, or the median over its map, W
    source_heat: float  # of one module at its rating, or near the middle of its map, W


def make_machine(scenario: Scenario, air: Array | None, found: list[Assumption], cautions: list[str]) -> Made:
    """The machine of `scenario`; `air` is its source (hour,) where that is known before the march. [°C]

    Raises
    ------
    InputError
        If the machine cannot work as asked.
    """
    heat_pump, outlet = scenario.plant.heat_pump, scenario.outlet_temperature
    if heat_pump is None:
        empty, nothing = np.zeros(1), np.zeros((1, 1, 1))
        return Made(
            machine=PerformanceMap(empty, empty, empty, nothing, nothing),
            modules=0,
            lowest=-np.inf,
            approach=0.0,
            split_k=USUAL_SPLIT_K,
            lines=None,
            shift=Shift(0.0, 0.0, None),
            capacity=0.0,
            source_heat=0.0,
        )
    capacity = _capacity(heat_pump)
    rise = None if heat_pump.pass_ == "single" else heat_pump.rise
    shift = glycol_shift(heat_pump.water_lines, outlet, capacity * heat_pump.modules, rise)
    asked = tuple(value + shift.hot_k for value in outlets(scenario))
    if heat_pump.table is None:
        _check_outlet(heat_pump, asked[-1], found)
    machine, approach = _map(heat_pump, asked, found, cautions)
    machine = behind_exchanger(machine, shift)
    lines = refrigerant_lines(heat_pump, scenario.plant.family)
    if lines is not None:
        machine = derated(machine, lines)
        cautions += lines.cautions
        found.append(
            {
                "key": "plant.heat_pump.lines",
                "value": f"capacity x {lines.capacity:.3f}, power x {lines.power:.3f}, "
                f"{lines.charge_kg:.2f} kg of refrigerant",
                "source": "pressure drop and heat loss at the rating (Darcy-Weisbach, Churchill)",
            }
        )
    works = np.isfinite(machine.capacity_w).any(axis=(1, 2))
    if not works.any():
        raise InputError(
            f"plant.heat_pump.outlet_temperature: got {outlet:g} degC; {heat_pump.refrigerant} reaches it at "
            "no source temperature within its working limits"
        )
    given = [t for t in (heat_pump.lowest_source, scenario.plant.controls.lock_out_below) if t is not None]
    reach = float(machine.source_c[works][0])
    lowest = max([reach, *given])
    name = "the table" if heat_pump.table else "the working range of the machine"
    if given and min(given) < reach:
        cautions.append(f"{name} starts at a source of {reach:g} degC; the machine stands below that")
    if air is not None and (colder := int((air < lowest).sum())):
        cautions.append(
            f"the source is below {lowest:g} degC in {colder} h of the year: the heat pump stands then"
            + ("" if lowest > reach else f" ({name} ends there)")
        )
    split = SPLIT_PER_APPROACH * approach if approach > 0.0 else USUAL_SPLIT_K
    return Made(
        machine=machine,
        modules=heat_pump.modules,
        lowest=lowest,
        approach=approach,
        split_k=split,
        lines=lines,
        shift=shift,
        capacity=capacity,
        source_heat=_source_heat(heat_pump, machine),
    )


def _capacity(heat_pump: HeatPump) -> float:
    """Heat of a module at its rating; without one the median of its table or ratings. [W]"""
    if heat_pump.capacity is not None:
        return heat_pump.capacity
    if heat_pump.ratings is not None:
        return float(np.median([rating.capacity_w for rating in read_ratings(heat_pump.ratings)]))
    assert heat_pump.table is not None  # the schema wants one of the three
    return float(np.nanmedian(read_table(heat_pump.table).capacity_w))


def _source_heat(heat_pump: HeatPump, machine: PerformanceMap) -> float:
    """Heat that a module takes at its rating; without one the median over its map. [W]"""
    if heat_pump.capacity is not None and heat_pump.cop is not None:
        return heat_pump.capacity * (1.0 - 1.0 / heat_pump.cop)
    return float(np.nanmedian(machine.capacity_w - machine.power_w))


def _check_outlet(heat_pump: HeatPump, outlet: float, found: list[Assumption]) -> None:
    """Refuse water hotter than the machine makes."""
    highest = heat_pump.highest_outlet
    if highest is None:
        highest = highest_outlet_c(heat_pump.refrigerant)
        found.append(
            {
                "key": "plant.heat_pump.highest_outlet",
                "value": f"{highest:g} degC",
                "source": f"usual for {heat_pump.refrigerant}; common practice, no source",
            }
        )
    if outlet > highest:
        raise InputError(
            f"plant.heat_pump.outlet_temperature: got {outlet:g} degC; {heat_pump.refrigerant} makes "
            f"{highest:g} degC at most (plant.heat_pump.highest_outlet)"
        )


def _map(
    heat_pump: HeatPump, outlets: tuple[float, ...], found: list[Assumption], cautions: list[str]
) -> tuple[PerformanceMap, float]:
    """Performance map of one module, and the approach of its cycle (0: a table). [K]"""
    if heat_pump.table is not None:
        machine = read_table(heat_pump.table)
        low, high = machine.water_out_c[0], machine.water_out_c[-1]
        asked = outlets[0] if outlets[0] < low - 0.1 else outlets[-1]
        if heat_pump.pass_ == "single" and not low - 0.1 <= asked <= high + 0.1:
            allowed = f"{low:g}" if low == high else f"{low:g} to {high:g}"
            raise InputError(
                f"{heat_pump.table}: column water_out_c: got {allowed} degC, but the plant asks for "
                f"{asked:g} degC (plant.heat_pump.outlet_temperature); it is not extrapolated"
            )
        return machine, 0.0
    water_side = cast(WaterSideName, heat_pump.pass_)
    outlet = outlets if water_side == "single" else outlets[-1:]
    limits = usual_limits(heat_pump.refrigerant)
    given = heat_pump.limits
    limits = replace(
        limits,
        discharge_c=limits.discharge_c if given.discharge is None else given.discharge,
        high_pressure=limits.high_pressure if given.high_pressure is None else given.high_pressure,
        pressure_ratio=limits.pressure_ratio if given.pressure_ratio is None else given.pressure_ratio,
    )
    for key, kept, value in (
        ("discharge", given.discharge, f"{limits.discharge_c:g} degC"),
        ("high_pressure", given.high_pressure, f"{limits.high_pressure / 1e5:g} bar"),
        ("pressure_ratio", given.pressure_ratio, f"{limits.pressure_ratio:g}"),
    ):
        if kept is None:
            source = f"usual for {heat_pump.refrigerant}; common practice, no source"
            found.append({"key": f"plant.heat_pump.limits.{key}", "value": value, "source": source})
    if heat_pump.ratings is not None:
        fitted = map_from_ratings(
            heat_pump.refrigerant,
            read_ratings(heat_pump.ratings),
            outlet,
            water_side=water_side,
            rise_k=heat_pump.rise,
            injection=heat_pump.injection,
            limits=limits,
        )
        cop, capacity = (
            f"{100.0 * np.sqrt(np.mean(r**2)):.1f} % (at worst {100.0 * np.abs(r).max():.1f} %)"
            for r in (fitted.cop_residual, fitted.capacity_residual)
        )
        cautions.append(
            f"{heat_pump.ratings.name}: the fitted cycle meets the {fitted.cop_residual.size} rated points "
            f"with a root mean square of {cop} in COP and {capacity} in capacity"
        )
        return fitted.machine, fitted.approach_k
    rated = heat_pump.rated_at
    assert rated is not None  # the schema wants all three where there is no table
    assert heat_pump.capacity is not None
    assert heat_pump.cop is not None
    machine = map_from_cycle(
        heat_pump.refrigerant,
        heat_pump.capacity,
        heat_pump.cop,
        rated.source,
        rated.water_in,
        rated.water_out,
        outlet,
        water_side=water_side,
        rise_k=heat_pump.rise,
        approach_k=heat_pump.approach,
        injection=heat_pump.injection,
        limits=limits,
    )
    return machine, heat_pump.approach


def water_side(scenario: Scenario, machine: PerformanceMap, cells: int, draw_port: int) -> dict[str, Any]:
    """How the machine heats a store of `cells` cells, drawn from below `draw_port`; fields of `Plant`."""
    heat_pump = scenario.plant.heat_pump
    highest = float(machine.water_in_c[-1]) + 0.1 if machine.water_in_c.size > 1 else np.inf
    if heat_pump is None:
        return {
            "water_side": int(WaterSide.SINGLE),
            "rise": 0.0,
            "intake_port": 0.0,
            "return_port": float(cells),
            "charge_apart": 0,
            "condenser_cells": 0.0,
            "highest_inlet": highest,
        }
    if heat_pump.highest_inlet is not None:
        highest = min(highest, heat_pump.highest_inlet)
    single = heat_pump.pass_ == "single"
    port = min(max(heat_pump.comes_back_at * cells, 1.0), cells if single else cells - 1.0)
    intake = min(heat_pump.intake_height * cells, port - 1.0)
    return {
        "water_side": int(WaterSide[heat_pump.pass_.upper()]),
        "rise": heat_pump.rise,
        "intake_port": intake,
        "return_port": port,
        "charge_apart": int(single and (intake > 0 or port < cells or draw_port < cells)),
        "condenser_cells": max(heat_pump.condenser_height * cells, 1.0),
        "highest_inlet": highest,
    }


def auxiliaries(heat_pump: HeatPump | None, made: Made) -> dict[str, Any]:
    """What a module takes beside the power of its map, and its speed; fields of `Plant`."""
    names = ("fan_power", "pump_power", "crankcase_power", "crankcase_below", "standby_power", "start_loss")
    fields = {name: float(getattr(heat_pump, name)) if heat_pump else 0.0 for name in names}
    fields["approach"] = made.approach
    fields["turndown"] = heat_pump.turndown if heat_pump is not None else 1.0
    return fields
