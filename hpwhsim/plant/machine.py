"""The machine of a scenario: performance map, limits, how it heats the store, frost and auxiliaries."""

from dataclasses import replace
from typing import Any, NamedTuple, cast

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.limits import highest_outlet_c, usual_limits
from hpwhsim.heatpump.lines import LineDerate
from hpwhsim.heatpump.machine import Compressor
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.heatpump.measured import read_ratings, read_table
from hpwhsim.heatpump.rated import Fitted, Parts, fit_one, map_from_ratings
from hpwhsim.heatpump.rated import WaterSide as WaterSideName
from hpwhsim.plant.arrays import WaterSide
from hpwhsim.plant.clock import outlets
from hpwhsim.plant.lines import Shift, behind_exchanger, derated, glycol_shift, refrigerant_lines
from hpwhsim.plant.room_coil import BEHIND_SURFACE_K, RATED_HUMIDITY, rated_approach
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.schema import Scenario

Assumption = dict[str, str]

USUAL_GAS_SHARE = Compressor().gas_share  # of a machine that is known by a table; common practice, no source
USUAL_APPROACH_K = 10.0  # of its air coil; common practice, no source
MOST_APPROACH_K = 30.0  # the largest that a scenario may give
LEAST = 0.01  # share of the store that ports keep from each other
WATER = ("ground-loop", "wastewater")
WATER_SIDES = {
    "single-pass": WaterSide.SINGLE,
    "multi-pass": WaterSide.MULTI,
    "wrap-around": WaterSide.WRAPPED,
}


class Coil(NamedTuple):
    """What the evaporator takes, and what difference that needs."""

    per_heat: float  # source less evaporating temperature over the heat taken, K/W
    known: bool  # of a cycle; else usual, for a table
    source_c: Array  # (n,) ascending, °C
    heat: Array  # (n,) taken at full speed with water of the rating, W


class Made(NamedTuple):
    """The machine of a plant."""

    machine: PerformanceMap  # of one module
    modules: int
    lowest: float  # source temperature below which it stands, °C
    coil: Coil
    gas_share: float  # of the electricity that reaches the refrigerant
    lines: LineDerate | None  # refrigerant lines
    shift: Shift  # what a glycol exchanger costs
    capacity: float  # of one module at its rating, or the median over its map, W
    source_heat: float  # of one module at its rating, or near the middle of its map, W

    def taken_w(self, source_c: Array) -> Array:
        """Heat that a module takes at full speed from a source at `source_c`, water as rated. [W]"""
        return np.interp(source_c, self.coil.source_c, self.coil.heat)


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
            coil=Coil(0.0, True, empty, empty),
            gas_share=1.0,
            lines=None,
            shift=Shift(0.0, 0.0, None),
            capacity=0.0,
            source_heat=0.0,
        )
    capacity = _capacity(heat_pump)
    rise = None if heat_pump.condenser == "single-pass" else heat_pump.rise
    shift = glycol_shift(heat_pump.water_lines, outlet, capacity * heat_pump.modules, rise)
    asked = tuple(value + shift.hot_k for value in outlets(scenario))
    if heat_pump.table is None:
        _check_outlet(heat_pump, asked[-1], found)
    heat_pump = _in_its_room(heat_pump, scenario, found, cautions)
    machine, fitted = _map(heat_pump, asked, found, cautions)
    machine = behind_exchanger(machine, shift)
    lines = refrigerant_lines(heat_pump)
    if lines is not None:
        machine = derated(machine, lines)
        cautions += lines.cautions
        found.append(
            {
                "key": "plant.heat_pump.lines",
                "value": f"capacity x {lines.capacity:.3f}, power x {lines.power:.3f}, "
                f"{lines.charge_kg:.2f} kg of refrigerant",
                "source": "[darcy-weisbach]; pressure drop and heat loss at the rating",
            }
        )
    works = np.isfinite(machine.capacity_w).any(axis=(1, 2))
    if not works.any():
        raise InputError(
            f"plant.heat_pump.outlet_temperature: got {outlet:g} degC; {heat_pump.refrigerant} reaches it at "
            "no source temperature within its working limits"
        )
    given = [t for t in (heat_pump.min_source, scenario.plant.controls.lock_out_below) if t is not None]
    reach = float(machine.source_c[works][0])
    lowest = max([reach, *given])
    name = "the table" if heat_pump.table else "the working range of the heat pump"
    if given and min(given) < reach:
        cautions.append(
            f"{name} starts at a source of {reach:g} degC; the heat pump is locked out below that"
        )
    if air is not None and (colder := int((air < lowest).sum())):
        cautions.append(
            f"the source is below {lowest:g} degC in {colder} h of the year: the heat pump is locked out then"
            + ("" if lowest > reach else f" ({name} ends there)")
        )
    share = USUAL_GAS_SHARE if fitted is None else fitted.parts.gas_share
    coil = _coil(heat_pump, machine, fitted, share)
    _say_parts(heat_pump, fitted, coil, water=scenario.plant.source_kind in WATER, found=found)
    return Made(
        machine=machine,
        modules=heat_pump.modules,
        lowest=lowest,
        coil=coil,
        gas_share=share,
        lines=lines,
        shift=shift,
        capacity=capacity,
        source_heat=_source_heat(heat_pump, machine, share),
    )


def _in_its_room(
    heat_pump: HeatPump, scenario: Scenario, found: list[Assumption], cautions: list[str]
) -> HeatPump:
    """The heat pump with the approach that its airflow leaves, where that is a room's; else as it is."""
    block = scenario.plant.source.room
    if block is None or scenario.plant.source_kind != "room" or heat_pump.rated_at is None:
        return heat_pump
    assert heat_pump.capacity is not None
    assert heat_pump.cop is not None
    heat = heat_pump.capacity * (1.0 - USUAL_GAS_SHARE / heat_pump.cop)
    approach = min(rated_approach(heat_pump, block, heat), MOST_APPROACH_K)
    if heat_pump.given("approach"):
        if heat_pump.approach < approach - BEHIND_SURFACE_K:
            cautions.append(
                f"plant.heat_pump.approach: got {heat_pump.approach:g} K, but with its airflow the coil's "
                f"surface is {approach - BEHIND_SURFACE_K:.1f} K below the air at the rating: more air, or a "
                "colder refrigerant"
            )
        return heat_pump
    source = (
        f"air to the coil's surface at the rating by its airflow and bypass (air of {RATED_HUMIDITY:.0%}), "
        f"and {BEHIND_SURFACE_K:g} K on to the refrigerant; common practice, no source"
    )
    found.append({"key": "plant.heat_pump.approach", "value": f"{approach:.1f} K", "source": source})
    return heat_pump.model_copy(update={"approach": approach})


def _coil(heat_pump: HeatPump, machine: PerformanceMap, fitted: Fitted | None, share: float) -> Coil:
    """The evaporator: conductance of the rating; of a table, what is usual at the middle of its heat."""
    taken = machine.capacity_w - share * machine.power_w
    rated = heat_pump.rated_at
    if rated is not None and machine.water_in_c.size > 1:
        works = np.flatnonzero(np.isfinite(taken).any(axis=(0, 2)))
        at = works[np.abs(machine.water_in_c[works] - rated.water_in).argmin()]
        taken = taken[:, at : at + 1]
    some = np.isfinite(taken).any(axis=(1, 2))
    heat = np.nanmean(taken[some], axis=(1, 2))
    if fitted is None:
        return Coil(USUAL_APPROACH_K / float(np.median(heat)), False, machine.source_c[some], heat)
    parts = fitted.parts
    return Coil(parts.approach_k / parts.coil_heat_w, True, machine.source_c[some], heat)


def _say_parts(
    heat_pump: HeatPump, fitted: Fitted | None, coil: Coil, *, water: bool, found: list[Assumption]
) -> None:
    """Put what was found of the machine behind its rating, or is assumed behind a table, into `found`."""
    if fitted is None:
        source = "fan, inverter and shell take the rest and warm what is around; common practice, no source"
        values = {"gas_share": (f"{USUAL_GAS_SHARE:g}", source)}
        if heat_pump.defrost == "reverse-cycle" and not water:
            values["approach"] = (
                f"{USUAL_APPROACH_K:g} K where {np.median(coil.heat) / 1e3:.3g} kW are taken, in proportion",
                "air coils run 8 to 12 K below the air; common practice, no source",
            )
    else:
        say_parts(fitted.parts, "plant.heat_pump", heat_pump.ratings is None, found)
        return
    found += [
        {"key": f"plant.heat_pump.design.{key}", "value": value, "source": origin}
        for key, (value, origin) in values.items()
    ]


def say_parts(parts: Parts, key: str, one: bool, found: list[Assumption]) -> None:
    """Put what machine was found behind its rating (`one`) or ratings at `key` into `found`."""
    source = "found from the rating" if one else "fitted to the ratings"
    values = {
        "efficiency": (f"{parts.efficiency:.3f}, isentropic, at the best pressure ratio", source),
        "gas_share": (f"{parts.gas_share:.4g}", f"{source}; 0.9 is usual, common practice, no source"),
        "approach": (f"{parts.approach_k:.2f} K at the rating, in proportion to the heat taken", source),
        "pinch": (f"{parts.pinch_k:.2f} K", source),
    }
    if np.isfinite(parts.subcooling_k):
        values["subcooling"] = (f"{parts.subcooling_k:.1f} K where the water is cold enough", source)
    found += [
        {"key": f"{key}.design.{name}", "value": value, "source": origin}
        for name, (value, origin) in values.items()
    ]


def _capacity(heat_pump: HeatPump) -> float:
    """Heat of a module at its rating; without one the median of its table or ratings. [W]"""
    if heat_pump.capacity is not None:
        return heat_pump.capacity
    if heat_pump.ratings is not None:
        return float(np.median([rating.capacity_w for rating in read_ratings(heat_pump.ratings)]))
    assert heat_pump.table is not None  # the schema wants one of the three
    return float(np.nanmedian(read_table(heat_pump.table).capacity_w))


def _source_heat(heat_pump: HeatPump, machine: PerformanceMap, share: float) -> float:
    """Heat that a module takes at its rating; without one the median over its map. [W]"""
    if heat_pump.capacity is not None and heat_pump.cop is not None:
        return heat_pump.capacity * (1.0 - share / heat_pump.cop)
    return float(np.nanmedian(machine.capacity_w - share * machine.power_w))


def _check_outlet(heat_pump: HeatPump, outlet: float, found: list[Assumption]) -> None:
    """Refuse water hotter than the machine makes."""
    highest = heat_pump.max_outlet
    if highest is None:
        highest = highest_outlet_c(heat_pump.refrigerant)
        found.append(
            {
                "key": "plant.heat_pump.max_outlet",
                "value": f"{highest:g} degC",
                "source": f"usual for {heat_pump.refrigerant}; common practice, no source",
            }
        )
    if outlet > highest:
        raise InputError(
            f"plant.heat_pump.outlet_temperature: got {outlet:g} degC; {heat_pump.refrigerant} makes "
            f"{highest:g} degC at most (plant.heat_pump.max_outlet)"
        )


def _map(
    heat_pump: HeatPump, outlets: tuple[float, ...], found: list[Assumption], cautions: list[str]
) -> tuple[PerformanceMap, Fitted | None]:
    """Performance map of one module, and the fit that it comes from (None: a table)."""
    if heat_pump.table is not None:
        machine = read_table(heat_pump.table)
        low, high = machine.water_out_c[0], machine.water_out_c[-1]
        asked = outlets[0] if outlets[0] < low - 0.1 else outlets[-1]
        if heat_pump.condenser == "single-pass" and not low - 0.1 <= asked <= high + 0.1:
            allowed = f"{low:g}" if low == high else f"{low:g} to {high:g}"
            raise InputError(
                f"{heat_pump.table}: column water_out_c: got {allowed} degC, but the plant asks for "
                f"{asked:g} degC (plant.heat_pump.outlet_temperature); it is not extrapolated"
            )
        return machine, None
    water_side = cast(WaterSideName, heat_pump.condenser)
    outlet = outlets if water_side == "single-pass" else outlets[-1:]
    limits = usual_limits(heat_pump.refrigerant)
    given = heat_pump.limits
    limits = replace(
        limits,
        discharge_c=limits.discharge_c if given.max_discharge is None else given.max_discharge,
        high_pressure=limits.high_pressure if given.max_pressure is None else given.max_pressure,
        pressure_ratio=limits.pressure_ratio
        if given.max_pressure_ratio is None
        else given.max_pressure_ratio,
    )
    for key, kept, value in (
        ("max_discharge", given.max_discharge, f"{limits.discharge_c:g} degC"),
        ("max_pressure", given.max_pressure, f"{limits.high_pressure / 1e5:g} bar"),
        ("max_pressure_ratio", given.max_pressure_ratio, f"{limits.pressure_ratio:g}"),
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
        return fitted.machine, fitted
    rated = heat_pump.rated_at
    assert rated is not None  # the schema wants all three where there is no table
    assert heat_pump.capacity is not None
    assert heat_pump.cop is not None
    fitted = fit_one(
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
    return fitted.machine, fitted


def water_side(scenario: Scenario, machine: PerformanceMap, draw_port: float) -> dict[str, Any]:
    """How the machine heats a store that is drawn from below `draw_port` [m³]; fields of `Plant`."""
    volume = scenario.plant.storage.volume
    heat_pump = scenario.plant.heat_pump
    highest = float(machine.water_in_c[-1]) + 0.1 if machine.water_in_c.size > 1 else np.inf
    if heat_pump is None:
        return {
            "water_side": int(WaterSide.SINGLE),
            "rise": 0.0,
            "intake_port": 0.0,
            "return_port": volume,
            "charge_apart": 0,
            "condenser_top": 0.0,
            "highest_inlet": highest,
        }
    if heat_pump.max_inlet is not None:
        highest = min(highest, heat_pump.max_inlet)
    single = heat_pump.condenser == "single-pass"
    port = min(max(heat_pump.comes_back_at, LEAST), 1.0) * volume
    intake = min(heat_pump.intake_height * volume, port - LEAST * volume)
    return {
        "water_side": int(WATER_SIDES[heat_pump.condenser]),
        "rise": heat_pump.rise,
        "intake_port": intake,
        "return_port": port,
        "charge_apart": int(single and (intake > 0 or port < volume or draw_port < volume)),
        "condenser_top": max(heat_pump.condenser_height, LEAST) * volume,
        "highest_inlet": highest,
    }


def auxiliaries(heat_pump: HeatPump | None, made: Made) -> dict[str, Any]:
    """What a module takes beside the power of its map, and its speed; fields of `Plant`."""
    names = ("fan_power", "pump_power", "crankcase_power", "crankcase_below", "standby_power", "start_loss")
    fields: dict[str, Any] = {name: float(getattr(heat_pump, name)) if heat_pump else 0.0 for name in names}
    fields["coil"] = made.coil.per_heat if made.coil.known else 0.0
    fields["gas_share"] = made.gas_share
    fields["speed"] = np.ones(1)
    fields["turndown"] = heat_pump.min_speed_fraction if heat_pump is not None else 1.0
    return fields
