"""Checks of `storage`'s fired and electric heaters against the federal rule and the steam table."""

from collections.abc import Iterator
from datetime import date

from hpwhsim.io.us_units import BTU_H, GALLON
from hpwhsim.storage.fired_heaters import commercial_standard, district_steam_efficiency
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows


def heater_checks() -> Iterator[Check]:
    """10 CFR 431.110: efficiencies and standby losses by kind, size and date; the loss as a conductance."""
    efficiency, standby, conductance = [], [], []
    for row in rows("heater_standards_worked"):
        made, volume = date.fromisoformat(row["made"]), float(row["gal"])
        found = commercial_standard(row["kind"], made, float(row["kBtu_h"]) * 1e3 * BTU_H, volume * GALLON)
        at = f"{row['kind']}, {row['kBtu_h']} kBtu/h, {row['gal']} gal, made {row['made']}"
        if row["thermal_efficiency"]:
            given = found.thermal_efficiency or 0.0
            efficiency.append(Point(at, float(row["thermal_efficiency"]), given))
        if row["standby_Btu_h"]:
            loss = (found.standby_loss_w or 0.0) / BTU_H
            standby.append(Point(at, float(row["standby_Btu_h"]), loss))
        if row["W_per_K"]:
            conductance.append(Point(at, float(row["W_per_K"]), found.heat_loss or 0.0))
    yield worst("storage.heaters.efficiency", efficiency)
    yield worst("storage.heaters.standby", standby)
    yield worst("storage.heaters.conductance", conductance)
    yield held("storage.heaters.district_steam", district_steam_efficiency())
