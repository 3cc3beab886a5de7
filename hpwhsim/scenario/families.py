"""Plant families and what each needs."""

from typing import NamedTuple

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

CONDENSERS = ("single-pass", "multi-pass", "wrap-around")
SOURCE_KINDS = ("outdoor-air", "room", "ground-loop", "wastewater")
ROOM_KINDS = tuple(row["kind"] for row in read_table("room_kinds"))
LOOPS = ("store", "loop-tank")
REFRIGERANTS = tuple(
    row["refrigerant"]
    for row in read_table("refrigerants")
    if row["refrigerant"] != "R-125"  # in blends only
)
