"""Where a packaged unit stands and breathes: matched houses side by side.

python benchmarks/sitings.py --out out/

scenarios/packaged.yaml (invented: 8 apartments, four units) with the same building, draws, units and room
size (a closet has 2 m2); only the room and the ducts change. By the plant's own meter a heated room looks
best; with the heating that the room buys booked to it, the order turns.
"""

import pandas as pd
from side_by_side import SCENARIOS, main, picked

import hpwhsim as ty

HEATED = {"kind": "apartment"}
CLOSET = {"kind": "closet", "floor_area": "2 m2"}
SITINGS = {
    "heated room": HEATED,
    "unheated cellar": {},
    "heated room, ducted both ways": HEATED | {"intake": "outdoors", "exhaust": "outdoors"},
    "unheated garage": {"kind": "garage"},
    "heated room, exhaust duct only": HEATED | {"exhaust": "outdoors"},
    "closet with grilles": CLOSET,
    "closet, sealed": CLOSET | {"vent_flow": "0 m3/s"},
}
KEYS = ("cop_plant", "cop_net", "electricity_kwh", "resistance_kwh", "room_heating_penalty_kwh")
MORE = ("room_cooling_credit_kwh", "lockout_hours", "short_hours", "room_min_c")


def study() -> pd.DataFrame:
    """A row for each siting."""
    plant = ty.read(SCENARIOS / "packaged.yaml")
    rows = []
    for name, keys in SITINGS.items():
        sited = plant.with_({f"plant.source.room.{key}": value for key, value in keys.items()})
        rows.append({"siting": name} | picked(ty.simulate(sited), *KEYS, *MORE))
    return pd.DataFrame(rows)


if __name__ == "__main__":
    main("sitings", __doc__, study)
