"""The hourly series of a plant's year, in the units of tables/results.csv, out of what the march filled."""

import numpy as np

from hpwhsim.account.valve import ValveYear, valve_year
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS, JOULE_PER_KWH
from hpwhsim.plant.arrays import BackupMode, Cause, Hourly, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.loop import loop_supply
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.source_results import met_temperature, source_hourly
from hpwhsim.storage.layers import RHO_CP

CAUSE_NAMES = tuple(cause.name.lower().replace("_", "-") for cause in Cause)


def plant_hourly(scenario: Scenario, assembly: Assembly, out: Hourly, dry_bulb: Array) -> dict[str, Array]:
    """Hourly series of a plant, in the units of tables/results.csv; what it does not have is absent."""
    plant = assembly.plant
    electric = plant.backup_electric > 0.0
    bought = out.backup_energy / JOULE_PER_KWH
    compressor = out.heat_pump_energy / JOULE_PER_KWH
    loop_pump = np.tile(assembly.loop_pump, 365) / 1000.0
    heater = out.loop_heater_energy / JOULE_PER_KWH
    auxiliary = {
        "fan_kwh": out.fan_energy / JOULE_PER_KWH,
        "pump_kwh": (out.pump_energy + out.source[SourceRow.PUMP]) / JOULE_PER_KWH,
        "standby_kwh": out.standby_energy / JOULE_PER_KWH,
    }
    heat = out.heat_pump_heat / JOULE_PER_KWH
    machine_loss = out.machine_loss / JOULE_PER_KWH
    backup_hours = out.backup_seconds.sum(axis=0) / 3600.0
    none = np.zeros(HOURS)
    backup = bought if electric else none
    loop = scenario.recirculation
    warmed = loop.loop_tank if loop is not None else None
    element = warmed is not None and warmed.heat_pump is None
    hourly = {
        "dry_bulb_c": dry_bulb,
        "mains_c": assembly.drive.mains,
        "resistance_kwh": backup + heater if element else backup,
        "backup_resistance_kwh": backup,
        "fuel_kwh": none if electric else bought,
        "electricity_kwh": compressor + sum(auxiliary.values()) + backup + loop_pump + heater,
        "backup_heat_kwh": out.backup_heat / JOULE_PER_KWH,
        "heat_to_taps_kwh": out.taps_heat / JOULE_PER_KWH,
        "recirculation_loss_kwh": out.loop_heat / JOULE_PER_KWH,
        "storage_loss_kwh": out.storage_loss / JOULE_PER_KWH,
        "unmet_kwh": out.unmet / JOULE_PER_KWH,
        "hot_water_litres": out.hot_volume * 1000.0,
        "short_litres": out.short_volume * 1000.0,
        "resistance_hours": backup_hours if electric else none,
        "fuel_hours": none if electric else backup_hours,
        "short_hours": out.short_seconds.sum(axis=0) / 3600.0,
        "store_top_c": out.store_top,
        "store_mean_c": out.store_mean,
        "store_bottom_c": out.store_bottom,
    }
    if plant.backup_mode == BackupMode.SERIES:  # where nothing flows it is as warm as the store
        hourly["supply_c"] = np.where(np.isfinite(out.supply), out.supply, out.store_top)
    if loop is not None:
        hourly["recirculation_pump_kwh"] = loop_pump
    if plant.loop_tank.volume > 0.0:
        hourly |= {
            "loop_heater_kwh": heater,
            "loop_heater_heat_kwh": out.loop_heater_heat / JOULE_PER_KWH,
            "loop_tank_c": out.loop_tank_end,
        }
        if not element:
            hourly["loop_heat_pump_kwh"] = heater
    if plant.modules > 0:
        inlet = np.full(HOURS, np.nan)
        np.divide(out.water_in_sum, out.water_in_volume, out=inlet, where=out.water_in_volume > 0.0)
        hourly |= {
            "source_c": met_temperature(assembly, out),
            "heat_pump_heat_kwh": heat,
            "source_heat_kwh": heat + machine_loss - compressor,
            "machine_loss_kwh": machine_loss,
            "defrost_heat_kwh": out.defrost_heat / JOULE_PER_KWH,
            "compressor_kwh": compressor,
            **auxiliary,
            "run_hours": out.run_seconds / 3600.0,
            "module_hours": out.module_seconds / 3600.0,
            "lockout_hours": out.lockout_seconds / 3600.0,
            "edge_hours": out.edge_seconds / 3600.0,
            "water_in_c": inlet,
        }
    for name, seconds in (("backup_hours", out.backup_seconds), ("short_hours", out.short_seconds)):
        hours = {f"{name}.{cause}": row / 3600.0 for cause, row in zip(CAUSE_NAMES, seconds, strict=True)}
        hourly |= {cause: row for cause, row in hours.items() if row.any()}
    return hourly | source_hourly(scenario, assembly, out, hourly)


def leaving(hourly: dict[str, Array]) -> Array:
    """Coldest water of the hour that leaves the plant, after a backup in series. [°C]"""
    return hourly.get("supply_c", hourly["store_top_c"])


def quarter_power(out: Hourly) -> Array:
    """Mean electric power of each quarter of an hour, shape (35040,). [kW]."""
    return out.quarter_power / 900.0 / 1000.0


def tempering_valve(scenario: Scenario, assembly: Assembly, hourly: dict[str, Array]) -> ValveYear | None:
    """What the tempering valve could not do; None without one."""
    hot_water, drive = scenario.hot_water, assembly.drive
    if hot_water.tempering_valve is None:
        return None
    through = assembly.plant.loop_tank.through > 0.0
    hot = hourly["loop_tank_c"] if through else leaving(hourly)
    times = drive.draws
    stretches = times.first.size > 1
    drop = loop_supply(scenario)[0] - drive.loop_return
    return valve_year(
        drive.use,
        drive.mains,
        hot,
        step_seconds=3600.0 * HOURS / drive.use.size,
        use_c=hot_water.use_temperature,
        setpoint_c=hot_water.tempering_valve,
        difference_k=hot_water.tempering_min_difference,
        loop_flow=drive.loop_loss / (RHO_CP * drop),
        flow_m3s=times.flow if stretches else None,
        hour_of_flow=np.repeat(np.arange(HOURS), np.diff(times.first)) if stretches else None,
        least_flow=hot_water.tempering_min_flow,
        most_flow=hot_water.tempering_max_flow,
    )
