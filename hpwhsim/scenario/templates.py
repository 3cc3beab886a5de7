"""A scenario file of each plant family to start from."""

from hpwhsim.errors import InputError

_HEAD = """\
# yaml-language-server: $schema={schema}
# A scenario of tankyear. The building and the heat pump are INVENTED: put your own numbers in.
# Every quantity is a number with its unit; IP and SI are both read ("40 gal", "150 L", "140 degF", "60 degC",
# "35 kW", "400 kBtu/h"; a difference is "5 K" or "10 delta_degF"). Keys that are left out take a default,
# and every default is listed with its source in the results. Relative paths start at this file.
title: {title}
site:
  weather: {weather}
building:
  apartments: 20
hot_water:
  daily_use_per_apartment: "25 gal"     # at use_temperature; left out: handbook average day
  use_temperature: "120 degF"
  min_temperature: "110 degF"           # a draw below this counts as unmet
  draws: smooth                         # or random, with a seed
  # metered: use.csv                    # time, litres; instead of daily use and pattern
recirculation:                          # leave the block out if there is no loop
  loss_per_apartment: "90 W"
  return_temperature: "124 degF"
plant:
  family: {family}
"""
_STORE = """\
  storage:
    volume: "600 gal"                   # all tanks together
    tanks: 2
    setpoint: "{setpoint}"
"""
_BACKUP = """\
  backup:
    kind: resistance                    # none | resistance | gas | oil | steam
    power: "18 kW"
"""
_CONTROLS = """\
  controls:
    dead_band: "10 K"
    charge_windows: []                  # such as ["22:00-06:00", "10:00-16:00"]; empty: all day
    lock_outs: []                       # such as ["17:00-21:00"]
"""
_AIR = """\
  heat_pump:
    refrigerant: R-744
    modules: 2
    capacity: "12 kW"                   # of one module, at rated_at
    cop: 3.6                            # at rated_at, its fans and controls included
    rated_at: {source: "7 degC", water_in: "17 degC", water_out: "65 degC"}
    # table: measured.csv               # instead of a rating: source_c, water_in_c, water_out_c, ...
    min_source: "-20 degC"
"""
_WATER = """\
  heat_pump:
    refrigerant: R-454B
    modules: 2
    capacity: "12 kW"                   # of one module, at rated_at
    cop: 4.0                            # at rated_at
    rated_at: {source: "10 degC", water_in: "10 degC", water_out: "55 degC"}
    approach: "5 K"                     # water-fed evaporator
"""
_SPLIT = """\
  heat_pump:
    refrigerant: R-454B
    modules: {modules}
    capacity: "12 kW"                   # of one unit, at rated_at
    cop: 3.4                            # at rated_at
    rated_at: {{source: "7 degC", water_in: "10 degC", water_out: "55 degC"}}
    lines:                              # refrigerant lines; or water_lines
      length: "{length}"                # one way
      rise: "3 m"                       # store above the outdoor units
"""
_PACKAGED = """\
  heat_pump:
    refrigerant: R-134a
    modules: 10                         # units grouped on one manifold
    capacity: "1.7 kW"                  # of one unit, at rated_at
    cop: 3.9                            # at rated_at, fan counted
    rated_at: {source: "67.5 degF", water_in: "95 degF", water_out: "96 degF"}
    condenser: wrap-around                       # the condenser goes round the lower tank
    min_source: "37 degF"
  source:
    kind: room
    room:
      kind: cellar                      # garage | mechanical-room | closet | apartment | hallway
      floor_area: "3000 ft2"
  storage:
    volume: "800 gal"                   # all tanks together
    tanks: 10
    setpoint: "140 degF"
  backup:                               # the elements of all tanks
    kind: resistance
    power: "45 kW"
    setpoint: "122 degF"
"""
_GROUND = """\
  source:
    kind: ground-loop
    ground_loop:
      rows: 3
      columns: 5
      spacing: "20 ft"
      depth: "400 ft"
      ground_conductivity: "2.0 W/m/K"  # from a response test
"""
_SEWAGE = """\
  source:
    kind: wastewater
    wastewater:
      well_volume: "1500 gal"
      min_temperature: "5 degC"
"""
_HEATER = """\
  storage:
    volume: "600 gal"                   # all tanks together
    tanks: {tanks}
    setpoint: "140 degF"
  backup:                               # the heater of this plant
    kind: {kind}
    power: "{power}"
"""
# family: (what the plant is, its block)
_BODY = {
    "central-air": (
        "central air-source plant",
        _AIR + _STORE.format(setpoint="150 degF") + _BACKUP + _CONTROLS,
    ),
    "packaged": ("packaged units on one manifold", _PACKAGED),
    "split": (
        "split heat pumps",
        _SPLIT.format(modules=3, length="40 ft") + _STORE.format(setpoint="140 degF") + _BACKUP + _CONTROLS,
    ),
    "banked-split": (
        "banked split heat pumps",
        _SPLIT.format(modules=3, length="150 ft") + _STORE.format(setpoint="140 degF") + _BACKUP + _CONTROLS,
    ),
    "ground": (
        "ground-source plant",
        _WATER + _GROUND + _STORE.format(setpoint="140 degF") + _BACKUP + _CONTROLS,
    ),
    "wastewater": (
        "wastewater-source plant",
        _WATER + _SEWAGE + _STORE.format(setpoint="140 degF") + _BACKUP + _CONTROLS,
    ),
    "resistance": (
        "electric resistance store",
        _HEATER.format(tanks=2, kind="resistance", power="54 kW"),
    ),
    "gas-tank": ("gas storage water heaters", _HEATER.format(tanks=6, kind="gas", power="120 kW")),
    "gas-boiler": ("gas boiler with storage", _HEATER.format(tanks=2, kind="gas", power="60 kW")),
    "oil-boiler": ("oil boiler with storage", _HEATER.format(tanks=2, kind="oil", power="60 kW")),
    "district-steam": ("district steam", _HEATER.format(tanks=2, kind="steam", power="60 kW")),
}
_TAIL = """\
run:
  steps_per_hour: 12
"""


def template(family: str, weather: str, schema: str) -> str:
    """A scenario file to start from: valid as it stands if the weather file exists.

    Parameters
    ----------
    family : str
        A plant family.
    weather : str
        Path of a weather file, absolute or relative to where the text will be saved.
    schema : str
        Path or URI of the JSON Schema, for the editor.

    Returns
    -------
    str
        YAML with comments. Building and heat pump are invented and say so.

    Raises
    ------
    InputError
        If the family is unknown.
    """
    if family not in _BODY:
        raise InputError(f"plant.family: got {family!r}; allowed {', '.join(_BODY)}")
    plant, body = _BODY[family]
    title = f"Invented building of 20 apartments, {plant}"
    quoted = "'" + weather.replace("'", "''") + "'"
    return _HEAD.format(schema=schema, title=title, weather=quoted, family=family) + body + _TAIL
