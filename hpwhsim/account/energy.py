"""Energy of a year: totals, months, peaks, coefficients of performance, and the balance."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH_STARTS = np.concatenate(([0], np.cumsum(MONTH_DAYS)[:-1])) * 24
"""First hour of each month of the nominal year."""

SUMS = (
    "electricity_kwh",
    "compressor_kwh",
    "fan_kwh",
    "pump_kwh",
    "source_pump_kwh",
    "standby_kwh",
    "trace_heating_kwh",
    "recirculation_pump_kwh",
    "loop_heater_kwh",
    "loop_heater_heat_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "heat_pump_heat_kwh",
    "source_heat_kwh",
    "machine_loss_kwh",
    "defrost_heat_kwh",
    "line_loss_kwh",
    "line_standing_loss_kwh",
    "rejected_heat_kwh",
    "sewage_m3",
    "room_extra_heat_kwh",
    "neighbours_extra_heat_kwh",
    "room_saved_cooling_kwh",
    "room_heating_penalty_kwh",
    "room_cooling_credit_kwh",
    "dehumidifier_credit_kwh",
    "coil_sensible_kwh",
    "coil_latent_kwh",
    "condensate_litres",
    "backup_heat_kwh",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "storage_loss_kwh",
    "unmet_kwh",
    "hot_water_litres",
    "short_litres",
    "run_hours",
    "module_hours",
    "resistance_hours",
    "fuel_hours",
    "lockout_hours",
    "short_hours",
    "edge_hours",
    "source_spent_hours",
)

HEAT_PUMP = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "trace_heating_kwh")
"""What a heat pump buys."""


def by_month(hourly: Array) -> Array:
    """Monthly sums, shape (12,), of an hourly series of the year, shape (8760,)."""
    return np.add.reduceat(hourly, MONTH_STARTS)


def totals(hourly: Mapping[str, Array]) -> dict[str, float]:
    """Year's sums of the hourly series that are there. [kWh], [L], [h]."""
    return {name: float(hourly[name].sum()) for name in SUMS if name in hourly}


def performance(hourly: Mapping[str, Array]) -> dict[str, object]:
    """Coefficients of performance of the year and of each month; absent where nothing was bought."""
    useful = hourly["heat_to_taps_kwh"] + hourly["recirculation_loss_kwh"]
    bought = hourly["electricity_kwh"] + hourly.get("fuel_kwh", 0.0)
    record: dict[str, object] = {}
    if bought.sum() > 0.0:
        record["cop_plant"] = float(useful.sum() / bought.sum())
        months = by_month(bought)
        record["monthly.cop_plant"] = [
            float(u / b) if b > 0.0 else None for u, b in zip(by_month(useful), months, strict=True)
        ]
    net = bought.sum()
    for name, sign in (
        ("room_heating_penalty_kwh", 1.0),
        ("room_cooling_credit_kwh", -1.0),
        ("dehumidifier_credit_kwh", -1.0),
    ):
        if name in hourly:
            net += sign * hourly[name].sum()
    if net > 0.0:
        record["cop_net"] = float(useful.sum() / net)
    energy = sum(hourly[name].sum() for name in HEAT_PUMP if name in hourly)
    if energy > 0.0:
        record["cop_heat_pump"] = float(hourly["heat_pump_heat_kwh"].sum() / energy)
    return record


def peaks(quarter_kw: Array) -> dict[str, object]:
    """Highest 15-minute mean of the year with its time, and of each month.

    Parameters
    ----------
    quarter_kw : ndarray, shape (35040,)
        Mean electric power in each quarter of an hour. [kW]
    """
    at = int(np.argmax(quarter_kw))
    time = np.datetime64("2001-01-01T00:00") + np.timedelta64(15 * at, "m")
    return {
        "peak_kw": float(quarter_kw[at]),
        "peak_time": str(time)[5:].replace("T", " "),  # month-day hour:minute: the year is nominal
        "monthly.peak_kw": [float(v) for v in np.maximum.reduceat(quarter_kw, MONTH_STARTS * 4)],
    }


def balance_error(record: Mapping[str, float], store_change_kwh: float) -> float:
    """Heat in less heat out less change in the store, over heat in; 0 where no heat went in.

    First law over the boundary of the plant's water; `record` holds the year's sums. [kWh].
    """
    heat_in = record.get("heat_pump_heat_kwh", 0.0) + record["backup_heat_kwh"]
    heat_in += record.get("loop_heater_heat_kwh", 0.0)
    heat_out = record["heat_to_taps_kwh"] + record["recirculation_loss_kwh"] + record["storage_loss_kwh"]
    error = heat_in - heat_out - store_change_kwh
    return error / heat_in if heat_in > 0.0 else error
