"""Plant families: which of them this version simulates, what each needs, and a file to start from."""

from typing import NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.tables import read_table

FAMILIES = (
    "packaged",
    "split",
    "banked-split",
    "central-air",
    "ground",
    "wastewater",
    "resistance",
    "gas-tank",
    "gas-boiler",
)


class Family(NamedTuple):
    """What a family needs in its `plant` block."""

    needs: tuple[str, ...]  # blocks that must be written
    forbids: tuple[str, ...]  # blocks that would do nothing
    backup_kinds: tuple[str, ...]
    backup_modes: tuple[str, ...]
    source_kinds: tuple[str, ...]


# A family that can be run is one line here.
SIMULATED: dict[str, Family] = {
    "central-air": Family(
        ("heat_pump",), (), ("none", "resistance", "gas"), ("parallel", "series"), ("outdoor-air",)
    ),
    "resistance": Family(
        ("backup",), ("heat_pump", "source", "controls"), ("resistance",), ("parallel",), ("outdoor-air",)
    ),
}

# What each short list may hold in this version; the rest of the contract is refused by name.
PASSES = ("single", "multi", "wrapped")
SOURCE_KINDS = ("outdoor-air", "room", "ground-loop", "wastewater")
SIMULATED_SOURCE_KINDS = ("outdoor-air",)
LOOPS = ("store", "loop-tank")
SIMULATED_LOOPS = ("store",)
REFRIGERANTS = tuple(
    row["refrigerant"]
    for row in read_table("refrigerants")
    if row["refrigerant"] != "R-125"  # in blends only
)

# Key paths that belong to the scenario file but do nothing yet: refused, and said to be so.
PLANNED = (
    "carbon",
    "tariff",
    "baseline",
    "costs",
    "plant.source.room",
    "plant.source.ground_loop",
    "plant.source.wastewater",
)


_HEAD = """\
# A scenario of tankyear. The building and the machine are INVENTED: put your own numbers in.
# Every quantity is a number with its unit; IP and SI are both read ("40 gal", "150 L", "140 degF", "60 degC",
# "35 kW", "400 kBtu/h"; a difference is "5 K" or "10 delta_degF"). Keys that are left out take a default,
# and every default is listed with its source in the results. Relative paths start at this file.
title: {title}
site:
  weather: {weather}
building:
  apartments: 20
hot_water:
  daily_use_per_apartment: "40 gal"     # at use_temperature; left out: handbook average day
  use_temperature: "120 degF"
  minimum_temperature: "110 degF"       # a draw below this counts as short
  draws: smooth                         # or random, with a seed
  # metered: use.csv                    # time, litres; instead of daily use and pattern
recirculation:                          # leave the block out if there is no loop
  loss_per_apartment: "90 W"
  return_temperature: "124 degF"
plant:
  family: {family}
"""
_BODY = {
    "central-air": (
        "Invented building of 20 apartments, central air-source plant",
        """\
  heat_pump:
    refrigerant: R-744
    modules: 2
    capacity: "18 kW"                   # of one module, at rated_at
    cop: 3.6                            # at rated_at, fans and controls of the machine included
    rated_at: {source: "7 degC", water_in: "17 degC", water_out: "65 degC"}
    # table: measured.csv               # instead of a rating: source_c, water_in_c, water_out_c, ...
    lowest_source: "-20 degC"
  storage:
    volume: "600 gal"                   # all tanks together
    tanks: 2
    setpoint: "150 degF"
  backup:
    kind: resistance                    # none | resistance | gas
    power: "18 kW"
  controls:
    dead_band: "10 K"
    charge_windows: []                  # such as ["22:00-06:00", "10:00-16:00"]; empty: all day
    lock_outs: []                       # such as ["17:00-21:00"]
""",
    ),
    "resistance": (
        "Invented building of 20 apartments, electric resistance store",
        """\
  storage:
    volume: "600 gal"                   # all tanks together
    tanks: 2
    setpoint: "140 degF"
  backup:                               # the heater of this plant
    kind: resistance
    power: "54 kW"
    setpoint: "140 degF"
    height: 0.1                         # the elements stand this share of the height above the bottom
    dead_band: "3 K"
""",
    ),
}
_TAIL = """\
run:
  steps_per_hour: 12
"""


def template(family: str, weather: str) -> str:
    """A scenario file to start from: valid as it stands if the weather file exists.

    Parameters
    ----------
    family : str
        A family this version simulates.
    weather : str
        Path of a weather file, absolute or relative to where the text will be saved.

    Returns
    -------
    str
        YAML with comments. Building and machine are invented and say so.

    Raises
    ------
    InputError
        If the family is unknown or not simulated in this version.
    """
    if family not in _BODY:
        known = f" ({family} is not simulated in this version)" if family in FAMILIES else ""
        raise InputError(f"plant.family: got {family!r}; allowed {', '.join(SIMULATED)}{known}")
    title, body = _BODY[family]
    quoted = "'" + weather.replace("'", "''") + "'"
    return _HEAD.format(title=title, weather=quoted, family=family) + body + _TAIL
