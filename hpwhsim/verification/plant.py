"""Checks of `plant`: the year of a heat pump of constant COP, and of plain heaters, hour by hour by hand."""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.evaluation.reading import of_mapping
from hpwhsim.scenario.starter import WEATHER
from hpwhsim.simulation.year import Year, run_year
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

APARTMENTS, LITRES, USE_C, COP = 20, 150.0, 50.0, 3.0
DAYS_OF_MONTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _plant(folder: Path, **changes: Any) -> dict[str, Any]:
    """An invented heat pump of 60 kW and COP 3 whatever the temperatures, on 2 m³ without loss."""
    lines = ["# invented heat pump", "source_c,water_in_c,water_out_c,capacity_kw,power_kw"]
    lines += [f"{s},{i},{o},60,{60 / COP!r}" for s in (-45, 45) for i in (0, 56) for o in (60, 65)]
    table = folder / "machine.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {
        "title": "an invented heat pump of constant COP",
        "site": {"weather": str(WEATHER)},
        "building": {"apartments": APARTMENTS},
        "hot_water": {
            "daily_use_per_apartment": f"{LITRES} L",
            "use_temperature": f"{USE_C} degC",
            "draws": "smooth",
            "pattern": "apartments",
            "month_factors": "none",
        },
        "plant": {
            "family": "central-air",
            "heat_pump": {"refrigerant": "R-134a", "table": str(table)},
            "storage": {"volume": "2000 L", "setpoint": "60 degC", "heat_loss": "0 W/K"},
            **changes,
        },
    }


def _year(plant: dict[str, Any]) -> Year:
    return run_year(of_mapping(plant, Path.cwd()))


def _mains_by_hand() -> np.ndarray[Any, np.dtype[np.float64]]:
    """Burch and Christensen in °F, by day, from the hourly air of the file. [°C]"""
    air = 1.8 * np.asarray(read_weather(WEATHER)["dry_bulb_c"].values) + 32.0
    ends = 24 * np.cumsum(DAYS_OF_MONTHS)
    months = [part.mean() for part in np.split(air, ends[:-1])]
    mean, swing = float(air.mean()), max(months) - min(months)
    ratio, lag = 0.4 + 0.01 * (mean - 44.0), 35.0 - (mean - 44.0)
    angle = np.deg2rad(0.986 * (np.arange(1, 366) - 15.0 - lag) - 90.0)
    return np.asarray((mean + 6.0 + ratio * swing / 2.0 * np.sin(angle) - 32.0) / 1.8)


def _taps_by_hand() -> np.ndarray[Any, np.dtype[np.float64]]:
    """Heat to the taps in each hour: litres by the published shape, warmed from the mains. [kWh]"""
    shape = np.array([float(row["ba_combined_normalised"]) for row in rows("hourly-fractions")])
    (water,) = (row for row in rows("water-properties") if row["T_C"] == "50")
    capacity = float(water["rho_kg_m3"]) * float(water["cp_kJ_kgK"]) / 3600.0  # kWh/m³K
    cubic_metres = APARTMENTS * LITRES / 1000.0 * shape / shape.sum()
    return np.asarray((USE_C - _mains_by_hand())[:, None] * cubic_metres * capacity).ravel()


def _number(year: Year, key: str) -> float:
    value = year.record[key]
    return float(value) if isinstance(value, int | float) else float("nan")


def machine_checks() -> Iterator[Check]:
    """A year of constant COP without losses: hours of heat at the taps, electricity, heat pump and store."""
    by_hand = _taps_by_hand()
    with tempfile.TemporaryDirectory() as folder:
        year = _year(_plant(Path(folder)))
        locked = _year(_plant(Path(folder), controls={"lock_outs": ["16:00-21:00"]}))
    taps = year.hourly["heat_to_taps_kwh"]
    hours = [Point(f"hour {k}", float(by_hand[k]), float(taps[k])) for k in range(8760)]
    yield worst("plant.taps.by_hour", hours)
    yield held("plant.taps.of_the_year", _number(year, "heat_to_taps_kwh"), float(by_hand.sum()))
    made = _number(year, "heat_pump_heat_kwh")
    yield held("plant.machine.cop", made / _number(year, "compressor_kwh"))
    yield held("plant.machine.heat", made, float(by_hand.sum()))
    taken = _number(year, "source_heat_kwh") + _number(year, "compressor_kwh")
    yield held("plant.machine.source", taken, made + _number(year, "machine_loss_kwh"))
    yield held("plant.balance", _number(year, "balance_error"))
    bought = np.asarray(locked.hourly["compressor_kwh"]).reshape(365, 24)
    yield held("plant.lock_out", float(bought[:, 16:21].sum()))
    yield held("plant.lock_out_balance", _number(locked, "balance_error"))


def heater_checks() -> Iterator[Check]:
    """Plain heaters: purchased energy is heat delivered and lost, over the efficiency."""
    with tempfile.TemporaryDirectory() as folder:
        base = _plant(Path(folder))
    base["plant"] = {
        "family": "resistance",
        "storage": {
            "volume": "2000 L",
            "setpoint": "60 degC",
            "heat_loss": "8 W/K",
            "room_temperature": "20 degC",
        },
        "backup": {"kind": "resistance", "power": "60 kW"},
    }
    year = _year(base)
    taps = float(_taps_by_hand().sum())
    loss = 8.0 * 40.0 * 8.76
    yield held("plant.resistance.standby_loss", _number(year, "storage_loss_kwh"), loss)
    lost = _number(year, "storage_loss_kwh")
    yield held("plant.resistance.electricity", _number(year, "electricity_kwh"), taps + lost)
    base["recirculation"] = {"loss_per_apartment": "100 W"}
    with_loop = _year(base)
    yield held("plant.loop.heat", _number(with_loop, "recirculation_loss_kwh"), APARTMENTS * 0.1 * 8760.0)
    yield held("plant.loop.balance", _number(with_loop, "balance_error"))
