"""Air, ground and sewage at equal comfort in cold climates: COP with and without the pumps.

python benchmarks/source_ranking.py --out out/

One building (32 apartments), one store, one resistance backup and one quality of heat pump (R-454B: COP 4.0
evaporating at 5 degC) on three sources: outdoor air with its fan, the bore field of scenarios/ground.yaml
in its year 1 and in its year 20, and the building's own sewage. All invented.
"""

from pathlib import Path

import pandas as pd
from side_by_side import SCENARIOS, WEATHER, main, picked

import hpwhsim as ty

CLIMATES = ("hibbing", "minneapolis", "chicago")
# The heat pump of ground.yaml evaporates 5 K below its source; a coil in air 8 K, with a fan of 3 % of its
# heat (common practice, no source: 0.02 to 0.04 W per W).
AIR = {
    "plant.family": "central-air",
    "plant.source.kind": "outdoor-air",
    "plant.source.ground_loop": None,
    "plant.heat_pump.rated_at.source": "13 degC",
    "plant.heat_pump.approach": "8 K",
    "plant.heat_pump.fan_power": "0.55 kW",
    "plant.heat_pump.min_source": "-20 degC",
}
SOURCES = {
    "air": ("ground", AIR),
    "ground, year 1": ("ground", {}),
    "ground, year 20": ("ground", {"run.years": 20}),
    "sewage": ("wastewater", {}),
}


def study(weather: Path) -> pd.DataFrame:
    """A row for each climate that is there and each source."""
    rows = []
    for path in [path for name in CLIMATES for path in sorted(weather.glob(f"{name}*"))[:1]]:
        for source, (name, keys) in SOURCES.items():
            record = ty.simulate(ty.read(SCENARIOS / f"{name}.yaml", keys, path)).record
            heat, compressor = record["heat_pump_heat_kwh"], record["compressor_kwh"]
            beside = record["fan_kwh"] + record["pump_kwh"]
            cops = {"cop_compressor": heat / compressor, "cop_with_pumps": heat / (compressor + beside)}
            more = {"pumps_and_fans": beside / (compressor + beside)}
            kept = picked(record, "cop_plant", "resistance_kwh", "short_hours", "source_spent_hours")
            rows.append({"climate": path.name.split("-")[0], "source": source} | cops | more | kept)
    return pd.DataFrame(rows)


if __name__ == "__main__":
    main("source-ranking", __doc__, study, weather=WEATHER)
