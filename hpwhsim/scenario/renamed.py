"""Keys of older versions: what they are called now, or why they are gone."""

RENAMED = {
    "hot_water.minimum_temperature": "min_temperature",
    "hot_water.tempering_difference": "tempering_min_difference",
    "hot_water.tempering_least_flow": "tempering_min_flow",
    "hot_water.tempering_most_flow": "tempering_max_flow",
    "recirculation.least_flow": "min_flow",
    "heat_pump.pass": "condenser",
    "heat_pump.lowest_source": "min_source",
    "heat_pump.highest_inlet": "max_inlet",
    "heat_pump.highest_outlet": "max_outlet",
    "heat_pump.turndown": "min_speed_fraction",
    "heat_pump.limits.discharge": "max_discharge",
    "heat_pump.limits.high_pressure": "max_pressure",
    "heat_pump.limits.pressure_ratio": "max_pressure_ratio",
    "ground_loop.least_flow": "min_flow_fraction",
    "wastewater.floor": "min_temperature",
    "wastewater.fouling_limit": "max_fouling",
    "controls.minimum_run": "min_run",
    "controls.minimum_off": "min_off",
    "checks.floor_limit": "max_floor_load",
    "checks.roof_limit": "max_roof_load",
    "incentives.cap": "max_share",
    "sizing.short_volume": "max_unmet_volume",
    "sizing.run_hours": "max_run_hours",
    "sizing.backup_share": "max_backup_share",
    "sizing.probability": "min_probability",
    "sizing.most_modules": "max_modules",
    "sizing.most_tanks": "max_tanks",
}
"""Ends of old keys, and the last word of what each is called now."""
GONE = {"storage.cells": "the store has no cells any more: layers of water move in it, as many as they need"}
"""Ends of old keys that nothing took the place of, and why."""


def renamed(path: str) -> str | None:
    """What an old key is called now; None where it is none.

    Examples
    --------
    >>> renamed("baseline.heat_pump.lowest_source")
    'baseline.heat_pump.min_source'
    """
    for old, new in RENAMED.items():
        if f".{path}".endswith(f".{old}"):
            return f"{path.rpartition('.')[0]}.{new}"
    return None


def why_gone(path: str) -> str | None:
    """Why a key of an older version is gone; None where it is none."""
    return next((why for old, why in GONE.items() if f".{path}".endswith(f".{old}")), None)
