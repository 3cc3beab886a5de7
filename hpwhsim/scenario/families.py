"""Plant families: what each needs, and a file to start from."""

from typing import NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.tables import read_table


class Family(NamedTuple):
    """What a family needs in its `plant` block."""

    needs: tuple[str, ...]  # blocks that must be written
    forbids: tuple[str, ...]  # blocks that would do nothing
    backup_kinds: tuple[str, ...]
    backup_modes: tuple[str, ...]
    source_kinds: tuple[str, ...]  # the first where none is written
    lines: tuple[str, ...] = ()  # blocks of plant.heat_pump for the lines between machine and store


_BACKUPS = ("none", "resistance", "gas", "oil", "steam")
_MODES = ("parallel", "series")
_HEAT_PUMP = (("heat_pump",), (), _BACKUPS, _MODES)
_HEATER = (("backup",), ("heat_pump", "controls"))

# A family that can be run is one line here.
FAMILIES: dict[str, Family] = {
    "packaged": Family(*_HEAT_PUMP, ("room", "outdoor-air")),
    "split": Family(*_HEAT_PUMP, ("outdoor-air",), ("lines", "water_lines")),
    "banked-split": Family(*_HEAT_PUMP, ("outdoor-air",), ("lines", "water_lines")),
    "central-air": Family(*_HEAT_PUMP, ("outdoor-air",), ("water_lines",)),
    "ground": Family(*_HEAT_PUMP, ("ground-loop",)),
    "wastewater": Family(*_HEAT_PUMP, ("wastewater",)),
    "resistance": Family(*_HEATER, ("resistance",), ("parallel",), ("outdoor-air", "room")),
    "gas-tank": Family(*_HEATER, ("gas",), ("parallel",), ("outdoor-air", "room")),
    "gas-boiler": Family(*_HEATER, ("gas",), ("parallel",), ("outdoor-air",)),
    "oil-boiler": Family(*_HEATER, ("oil",), ("parallel",), ("outdoor-air",)),
    "district-steam": Family(*_HEATER, ("steam",), ("parallel",), ("outdoor-air",)),
}
HEATERS = tuple(name for name, family in FAMILIES.items() if "heat_pump" in family.forbids)
"""Families without a heat pump: the backup is their only heater."""

FUELLED = ("gas", "oil", "steam")
"""Kinds of backup that buy something else than electricity."""

PASSES = ("single", "multi", "wrapped")
SOURCE_KINDS = ("outdoor-air", "room", "ground-loop", "wastewater")
ROOM_KINDS = tuple(row["kind"] for row in read_table("room_kinds"))
LOOPS = ("store", "loop-tank")
SIMULATED_LOOPS = ("store",)
REFRIGERANTS = tuple(
    row["refrigerant"]
    for row in read_table("refrigerants")
    if row["refrigerant"] != "R-125"  # in blends only
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
# carbon: {grid: RFCW 2023}             # or "0.39 kg/kWh", or a CSV file; refrigerant: {charge: "12 kg"}
# tariff: {electricity: "0.21 USD/kWh", fuel: "1.25 USD/therm"}
# baseline: other.yaml                  # what it is compared with: another scenario, or a block as `plant`
run:
  steps_per_hour: 12
"""


def template(family: str, weather: str) -> str:
    """A scenario file to start from: valid as it stands if the weather file exists.

    Parameters
    ----------
    family : str
        A plant family.
    weather : str
        Path of a weather file, absolute or relative to where the text will be saved.

    Returns
    -------
    str
        YAML with comments. Building and machine are invented and say so.

    Raises
    ------
    InputError
        If the family is unknown.
    """
    if family not in _BODY:
        raise InputError(f"plant.family: got {family!r}; allowed {', '.join(_BODY)}")
    title, body = _BODY[family]
    quoted = "'" + weather.replace("'", "''") + "'"
    return _HEAD.format(title=title, weather=quoted, family=family) + body + _TAIL
