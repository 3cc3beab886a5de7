"""Energy of a year: totals, months, peaks, coefficients of performance, and the balance."""

from collections.abc import Mapping

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import MONTH_DAYS

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
    "loop_heat_pump_kwh",
    "loop_heater_kwh",
    "loop_heater_heat_kwh",
    "resistance_kwh",
    "backup_resistance_kwh",
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
    "room_saved_drying_kwh",
    "neighbours_saved_cooling_kwh",
    "room_sun_kwh",
    "reference_room_heating_kwh",
    "reference_room_cooling_kwh",
    "reference_room_aired_kwh",
    "room_heating_penalty_kwh",
    "room_penalty_gas_kwh",
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

END_USES = (
    "compressor_kwh",
    "fan_kwh",
    "pump_kwh",
    "standby_kwh",
    "trace_heating_kwh",
    "loop_heat_pump_kwh",
    "resistance_kwh",
    "recirculation_pump_kwh",
)
"""What adds up to ``electricity_kwh``: each kilowatt-hour in one of them, in the order of every list.

``resistance_kwh`` is all resistance heat of the water: ``backup_resistance_kwh``, and ``loop_heater_kwh``
where the loop's own tank has an element. That of a loop tank with a heat pump is ``loop_heat_pump_kwh``.
"""

HEAT_PUMP = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "trace_heating_kwh")
"""What a heat pump purchases."""


CREDITS = ("room_cooling_credit_kwh", "dehumidifier_credit_kwh")
"""Electricity that a plant saves in the plants of its room and of the neighbours."""

IF_HEATED_BY = {"resistance": 1.0, "heat_pump": 3.0}
"""Heat over purchased energy of a room's heaters; the heat pump's is common practice, no source."""


def by_month(hourly: Array) -> Array:
    """Monthly sums, shape (12,), of an hourly series of the year, shape (8760,)."""
    return np.add.reduceat(hourly, MONTH_STARTS)


def totals(hourly: Mapping[str, Array]) -> dict[str, float]:
    """Year's sums of the hourly series that are there. [kWh], [L], [h]."""
    return {name: float(hourly[name].sum()) for name in SUMS if name in hourly}


def performance(
    hourly: Mapping[str, Array], electricity_to_source: float, fuel_to_source: float, gas_to_source: float
) -> dict[str, object]:
    """Coefficients of performance of the year and of each month; absent where nothing was purchased.

    Parameters
    ----------
    hourly : mapping of str to ndarray
        Series of the year. [kWh]
    electricity_to_source, fuel_to_source, gas_to_source : float
        Source energy over site energy of what the plant and its room purchase; the room's fuel is gas.

    Returns
    -------
    dict
        ``cop_plant`` and ``cop_net`` in site energy: a kilowatt-hour of fuel counts as one of electricity.
        ``cop_net_source`` is useful heat over the source energy of the same purchases. ``cop_net_if_...`` are
        ``cop_net`` had room and neighbours been heated by resistance or by heat pumps, and
        ``room_penalty_if_..._kwh`` what they would then have bought more.
    """
    useful = hourly["heat_to_taps_kwh"] + hourly["recirculation_loss_kwh"]
    bought = hourly["electricity_kwh"] + hourly.get("fuel_kwh", 0.0)
    record: dict[str, object] = {}
    if bought.sum() > 0.0:
        record["cop_plant"] = float(useful.sum() / bought.sum())
        months = by_month(bought)
        record["monthly.cop_plant"] = [
            float(u / b) if b > 0.0 else None for u, b in zip(by_month(useful), months, strict=True)
        ]

    def of(name: str) -> float:
        return float(hourly[name].sum()) if name in hourly else 0.0

    without = float(bought.sum()) - sum(of(name) for name in CREDITS)
    gas, fuel = of("room_penalty_gas_kwh"), of("fuel_kwh")
    net = without + of("room_heating_penalty_kwh")
    source = electricity_to_source * (net - fuel - gas) + fuel_to_source * fuel + gas_to_source * gas
    nets = {"cop_net": net, "cop_net_source": source}
    if "room_extra_heat_kwh" in hourly:
        heat = of("room_extra_heat_kwh") + of("neighbours_extra_heat_kwh")
        nets |= {f"cop_net_if_{name}": without + heat / value for name, value in IF_HEATED_BY.items()}
        record |= {f"room_penalty_if_{name}_kwh": heat / value for name, value in IF_HEATED_BY.items()}
    record |= {name: float(useful.sum() / value) for name, value in nets.items() if value > 0.0}
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
