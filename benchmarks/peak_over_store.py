"""What charging overnight, or a lockout in the afternoon, leaves of the afternoon's peak, over store sizes.

python benchmarks/peak_over_store.py --out out/

The shipped air-source plant (invented: 32 apartments) in Chicago with two modules of 24 kW, more use than its
file has and less loop, which make the charge longer, and a start sensor low in the store, so that a charge
begins as soon as it may. Only the store and the hours of charging change. Without its backup
a store that is too small shows as unmet hot water; with it, as resistance in the afternoon. Standby of the
modules and the loop's pump (invented) never rest: they are what is left of the peak.
"""

from collections.abc import Sequence

import pandas as pd
from side_by_side import SCENARIOS, main

import hpwhsim as ty

AFTERNOON = slice(16, 21)  # hours of the day
STANDBY_W, PUMP_W = 40.0, 180.0  # of a module, and of the loop's pump; common practice, no source
COMMON = {
    "hot_water.daily_use_per_apartment": "38 gal",
    "recirculation.loss_per_apartment": "60 W",
    "plant.heat_pump.capacity": "24 kW",
    "plant.heat_pump.min_source": "-25 degC",
    "plant.heat_pump.standby_power": f"{STANDBY_W} W",
    "recirculation.pump_power": f"{PUMP_W} W",
    "plant.controls.sensor_height": 0.25,
}
CHARGING = {
    "at any hour": {"plant.controls.lock_outs": []},
    "barred 16:00-21:00": {"plant.controls.lock_outs": ["16:00-21:00"]},
    "only 21:00-07:00": {"plant.controls.lock_outs": [], "plant.controls.charge_windows": ["21:00-07:00"]},
}
STORES = (500, 1000, 2000, 3000, 4000, 6000, 8000, 12000)  # L


def study(stores: Sequence[int] = STORES) -> pd.DataFrame:
    """A row for each store and charging; backed_ is with the backup, peaks are 15-minute means."""
    plant = ty.read(SCENARIOS / "central-air.yaml", COMMON)
    rows = []
    for charging, keys in CHARGING.items():
        for litres in stores:
            case = plant.with_(keys | {"plant.storage.volume": f"{litres} L"})
            alone, backed = ty.simulate(case.with_({"plant.backup": None})), ty.simulate(case)
            peak, peak_backed, kwh = (
                result.hourly[name].values.reshape(365, 24)
                for result, name in (
                    (alone, "power_peak_kw"),
                    (backed, "power_peak_kw"),
                    (backed, "electricity_kwh"),
                )
            )
            rows.append(
                {
                    "charging": charging,
                    "store_litres": litres,
                    "afternoon_kw": peak[:, AFTERNOON].max(),
                    "short_litres": alone.record["short_litres"],
                    "short_hours": alone.record["short_hours"],
                    "backed_afternoon_kw": peak_backed[:, AFTERNOON].max(),
                    "backed_afternoon_kwh": kwh[:, AFTERNOON].sum(),
                    "backed_peak_kw": peak_backed.max(),
                    "backed_kwh": kwh.sum(),
                }
            )
    return pd.DataFrame(rows)


if __name__ == "__main__":
    main("peak_over_store", __doc__, study)
