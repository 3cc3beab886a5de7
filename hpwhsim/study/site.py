"""The list of site checks of a plant, from its year: service, structure, drains and air, refrigerant."""

import numpy as np

from hpwhsim.account.checks import Check
from hpwhsim.account.electrical import Service, electrical_checks
from hpwhsim.account.refrigerant_rules import charge_checks, gwp_checks
from hpwhsim.account.site import Structure, service_checks, structural_checks
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.plant.room_source import AIRFLOW_SOURCE, module_airflow
from hpwhsim.scenario.carbon import SiteChecks
from hpwhsim.scenario.recirculation import LoopTank
from hpwhsim.scenario.schema import Scenario
from hpwhsim.study.year import HOURS, Year

AIR = ("outdoor-air", "room")
BESIDE = ("fan_kwh", "pump_kwh", "recirculation_pump_kwh", "standby_kwh")
"""What runs beside compressors and heaters."""


def site_checks(scenario: Scenario, year: Year) -> list[Check]:
    """Rows on what the building must carry, feed and drain, at the year's worst.

    Raises
    ------
    InputError
        If the voltage is none of that number of phases.
    """
    block = scenario.site.checks
    assert block is not None  # asked for by the caller
    return [*electrical_checks(_service(scenario, year, block)), *_structure(scenario, year, block)]


def _service(scenario: Scenario, year: Year, block: SiteChecks) -> Service:
    hourly, backup, tank = year.hourly, scenario.plant.backup, _loop_tank(scenario)
    modules = year.made.modules
    compressor = 0.0
    if modules:
        running = hourly["module_hours"] > 0.25  # a mean over a few minutes would be a start's
        power = hourly["compressor_kwh"][running] / hourly["module_hours"][running]
        compressor = float(power.max()) if power.size else 0.0
    heaters = (backup.power or 0.0) if backup.kind == "resistance" else 0.0
    beside: tuple[str, ...] = BESIDE
    if tank is not None:
        heaters += tank.power or 0.0
        beside += ("loop_heater_kwh",) if tank.heat_pump is not None else ()
    others = sum((hourly[key] for key in beside if key in hourly), np.zeros(HOURS))
    return Service(
        worst_quarter_kw=float(year.quarter_kw.max()),
        modules=modules,
        compressor_kw=compressor,
        resistance_kw=heaters / 1e3,
        trace_kw=_trace_kw(scenario),
        other_kw=float(others.max()),
        power_factor=block.power_factor,
        volts=block.voltage,
        phases=block.phases,
        building_volts=block.building_voltage,
        spare_amperes=block.available_current,
    )


def _loop_tank(scenario: Scenario) -> LoopTank | None:
    return scenario.recirculation.loop_tank if scenario.recirculation is not None else None


def _trace_kw(scenario: Scenario) -> float:
    """Heat trace on both water lines as installed: what a service must feed whatever the year asks of it."""
    heat_pump = scenario.plant.heat_pump
    lines = heat_pump.water_lines if heat_pump is not None else None
    return lines.trace_power / 1e3 if lines is not None else 0.0


def _airflow(scenario: Scenario, year: Year) -> tuple[float, str] | None:
    """Air that the machines in a room move, all together [m³/s], and where that is from."""
    room = scenario.plant.source.room
    if room is None:
        return None
    source = "air flow of the units as given" if room.airflow is not None else AIRFLOW_SOURCE
    return module_airflow(room, year.made) * year.made.modules, source


def _structure(scenario: Scenario, year: Year, block: SiteChecks) -> list[Check]:
    storage, heat_pump, hourly = scenario.plant.storage, scenario.plant.heat_pump, year.hourly
    tank = _loop_tank(scenario)
    found = structural_checks(
        Structure(
            volume_m3=storage.volume,
            tanks=storage.tanks,
            height_m=storage.height,
            hot_c=storage.setpoint,
            empty_kg=block.tank_mass,
            footprint_m2=block.footprint,
            floor_pa=block.floor_limit,
            modules=year.made.modules,
            module_kw=year.made.capacity / 1e3,
            module_kg=block.module_mass,
            loop_tank_m3=tank.volume if tank is not None else 0.0,
        )
    )
    air = heat_pump is not None and scenario.plant.source_kind in AIR
    condensate = hourly.get("condensate_litres")
    return found + service_checks(
        trace_heating_kw=_trace_kw(scenario),
        condensate_l_per_day=(
            float(condensate.reshape(365, 24).sum(axis=1).max()) if condensate is not None else None
        ),
        source_kw=max(float(hourly["source_heat_kwh"].max()), 0.0) if air else None,
        airflow=_airflow(scenario, year) if air else None,
        opening_m2=block.air_opening,
        line_m=heat_pump.lines.length if heat_pump is not None and heat_pump.lines is not None else None,
        water_line_m=(
            heat_pump.water_lines.length
            if heat_pump is not None and heat_pump.water_lines is not None
            else None
        ),
    )


def refrigerant_checks(scenario: Scenario, year: Year, charge_kg: float) -> list[Check]:
    """Rows on warming potential and charge; `charge_kg` is that of the whole plant."""
    heat_pump = scenario.plant.heat_pump
    if heat_pump is None:
        return []
    block, room = scenario.site.checks, scenario.plant.source.room
    held = refrigerant(heat_pump.refrigerant)
    volume = block.room_volume if block is not None else None
    area = block.room_area if block is not None else None
    if volume is None and room is not None and room.floor_area is not None and room.height is not None:
        volume = room.floor_area * room.height
    return [
        *gwp_checks(
            held.name,
            dict(held.legal_gwp),
            fluorinated=held.fluorinated,
            split=heat_pump.lines is not None,
            unit_kw=year.made.capacity / 1e3,
            unit_kg=charge_kg / year.made.modules,
        ),
        *charge_checks(held.name, held.safety, charge_kg / year.made.modules, room_m3=volume, room_m2=area),
    ]
