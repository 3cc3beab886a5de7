"""The shipped air-source plant in every climate of a folder, coldest to hottest.

python benchmarks/climates.py --weather weather --out out/
"""

from pathlib import Path

import pandas as pd
from side_by_side import SCENARIOS, WEATHER, main, picked

import hpwhsim as ty

KEYS = ("electricity_kwh", "compressor_kwh", "resistance_kwh", "cop_heat_pump", "cop_plant", "peak_kw")
HOURS = ("resistance_hours", "lockout_hours", "short_hours", "balance_error")


def study(weather: Path) -> pd.DataFrame:
    """A row for each weather file."""
    rows = []
    for path in sorted(one for one in weather.iterdir() if {".epw", ".csv"} & set(one.suffixes)):
        result = ty.simulate(ty.read(SCENARIOS / "central-air.yaml", weather=path))
        air = result.hourly["dry_bulb_c"].values
        climate = {"climate": path.name.split(".")[0], "mean_c": air.mean(), "min_c": air.min()}
        rows.append(climate | picked(result, *KEYS, *HOURS))
    return pd.DataFrame(rows).sort_values("mean_c")


if __name__ == "__main__":
    main("climates", __doc__, study, weather=WEATHER)
