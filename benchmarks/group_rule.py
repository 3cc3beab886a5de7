"""How many packaged units for how many apartments: a common rule against the unmet hours of random draws.

python benchmarks/group_rule.py --seeds 3 --out out/

The rule (common practice, no source): 1 unit for 1 apartment, 2 for 2, 3 for 4 to 5, 4 for 7 to 10. Here
every number of units of scenarios/packaged.yaml (invented: 75 gal, 1.7 kW and a 4.5 kW element each, in a
cellar of 300 ft2 a unit) serves 1 to 10 apartments with several seeds of random draws.
"""

import pandas as pd
from side_by_side import SCENARIOS, main, picked

import hpwhsim as ty

RULE = {1: 1, 2: 2, 4: 3, 5: 3, 7: 4, 8: 4, 9: 4, 10: 4}  # silent on 3 and 6
KEYS = ("short_hours", "short_litres", "resistance_kwh", "cop_plant")


def study(seeds: int, apartments: int = 10, units: int = 4) -> pd.DataFrame:
    """Means over the seeds, for each number of apartments and units."""
    plant = ty.read(SCENARIOS / "packaged.yaml")
    rows = []
    for homes in range(1, apartments + 1):
        for number in range(1, units + 1):
            group = plant.with_(
                {
                    "building.apartments": homes,
                    "plant.heat_pump.modules": number,
                    "plant.storage.tanks": number,
                    "plant.storage.volume": f"{75 * number} gal",
                    "plant.backup.power": f"{4.5 * number} kW",
                    "plant.source.room.floor_area": f"{300 * number} ft2",
                }
            )
            years = [picked(ty.simulate(group.with_({"hot_water.seed": s + 1})), *KEYS) for s in range(seeds)]
            mean = pd.DataFrame(years).mean().to_dict()
            case = {"apartments": homes, "units": number, "rule": RULE.get(homes) == number}
            rows.append(case | mean | {"worst_short_hours": max(year["short_hours"] for year in years)})
    return pd.DataFrame(rows)


if __name__ == "__main__":
    main("group-rule", __doc__, study, seeds=5)
