"""What the documents ask of a plant: its settings with their origin, its parts, and its year."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.evaluation.result import Result
from hpwhsim.evaluation.site_checks import writes_us_units
from hpwhsim.io.units import DIFFERENCE, FLOW, TEMPERATURE, read_quantity
from hpwhsim.operation.words import air_flow, as_written, in_si, quantity, windows_text
from hpwhsim.plant.loop import loop_supply
from hpwhsim.plant.machine import water_side
from hpwhsim.plant.running import SMALLEST_LIFT
from hpwhsim.results.both_units import AIR
from hpwhsim.scenario import families
from hpwhsim.scenario.heat_pump_first import Settings
from hpwhsim.scenario.keys import kind_of, known_fields, show
from hpwhsim.scenario.parts import Window
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import Wastewater

GIVEN, DEFAULT, DERIVED = "given", "default", "worked out"
MARK = "*"  # behind a value that nobody gave
WHERE = {
    "outdoor-air": "outdoor air",
    "room": "air at the heat pump",
    "ground-loop": "ground loop fluid entering the heat pump",
    "wastewater": "source water entering the heat pump",
}


class Setting(NamedTuple):
    """A setting in force."""

    key: str
    text: str  # as a sentence has it
    si: str
    origin: str  # given | default | worked out


@dataclass(frozen=True)
class Facts:
    """A plant with its year, as the documents read it."""

    result: Result

    @property
    def scenario(self) -> Scenario:
        """What was asked."""
        return self.result.plant.scenario

    @property
    def record(self) -> Mapping[str, Any]:
        """The annual record."""
        return self.result.plant.record

    @property
    def hourly(self) -> Mapping[str, Array]:
        """Hourly series by name, each (8760,)."""
        return self.result.plant.year.hourly

    @cached_property
    def us(self) -> bool:
        """Whether the user writes US customary units."""
        return writes_us_units(self.result.plant.written)

    @cached_property
    def settings(self) -> Settings:
        """Settings in force."""
        return self.scenario.settings

    @cached_property
    def assumed(self) -> dict[str, str]:
        """Values that nobody gave, by key."""
        return {item["key"]: item["value"] for item in self.record["assumptions"]}

    @property
    def heats(self) -> bool:
        """Whether there is a heat pump."""
        return self.scenario.plant.heat_pump is not None

    @property
    def modules(self) -> int:
        """Modules of the heat pump."""
        heat_pump = self.scenario.plant.heat_pump
        return heat_pump.modules if heat_pump is not None else 0

    @property
    def backed(self) -> str:
        """How the backup, or the only heater, heats: parallel, series, or empty without one."""
        backup = self.scenario.plant.backup
        return "" if backup.kind == "none" else backup.mode

    @property
    def heater(self) -> str:
        """What the second heater is called; without a heat pump it backs nothing up."""
        return "heater" if self.scenario.plant.family in families.HEATERS else "backup"

    @property
    def sensor(self) -> str:
        """Tag of the sensor by which a heater in the store starts."""
        return "ST-T-BACKUP" if self.heats else "ST-T-HEATER"

    @property
    def tag(self) -> str:
        """How the tags of the second heater begin, or of the only one."""
        return "BU" if self.heats else "HT"

    @property
    def source(self) -> str:
        """What the heat pump's source temperature is measured in."""
        return WHERE[self.scenario.plant.source_kind]

    @property
    def lowest_source(self) -> float:
        """Source below which the heat pump is locked out. [°C]"""
        return self.result.plant.year.made.lowest

    @cached_property
    def hottest_inlet(self) -> float:
        """Hottest water that may enter the heat pump, as the march takes it. [°C]"""
        scenario, year = self.scenario, self.result.plant.year
        heat_pump = scenario.plant.heat_pump
        assert heat_pump is not None
        assert year.machine is not None
        draw_port = scenario.plant.storage.draw_height * scenario.plant.storage.volume
        highest = float(water_side(scenario, year.machine, draw_port)["highest_inlet"])
        outlet = self.settings.outlet_temperature
        less = {"single-pass": SMALLEST_LIFT, "multi-pass": heat_pump.rise}.get(heat_pump.condenser, 1.0)
        return min(outlet - less, highest)

    @cached_property
    def supply(self) -> float:
        """Water that leaves for the building: after the tempering valve where there is one. [°C]"""
        valve = self.scenario.hot_water.tempering_valve
        if self.scenario.recirculation is not None:
            return loop_supply(self.scenario)[0]
        supply = self.scenario.supply_setpoint
        return supply if valve is None else min(supply, valve)

    @property
    def loop_back(self) -> float:
        """Water that comes back from the running loop. [°C]"""
        block = self.scenario.recirculation
        assert block is not None
        return block.return_temperature if block.supply_drop is None else self.supply - block.supply_drop

    @property
    def loop_flow(self) -> str:
        """Flow of the running loop; empty without one."""
        text = self.assumed.get("recirculation.flow")
        return quantity(read_quantity(text, FLOW), FLOW, self.us) if text is not None else ""

    def value(self, key: str) -> Any:
        """A value of the scenario, in the units of the program; None where its block is not there."""
        here: Any = self.scenario
        for name in key.split("."):
            if name == "wastewater" and here is not None and here.wastewater is None:
                here = Wastewater()  # sewage needs no block of its own
            else:
                here = getattr(here, name, None)
        return here

    def written(self, key: str) -> Any:
        """What the user wrote at a key; None where nothing."""
        here: Any = self.result.plant.written
        for name in key.split("."):
            here = here.get(name) if isinstance(here, Mapping) else None
        return here

    def origin(self, key: str) -> str:
        """Where a value is from."""
        if self.written(key) is not None:
            return GIVEN
        return DEFAULT if self.value(key) is not None else DERIVED

    def number(self, key: str) -> float:
        """A number in force: given, a default, or worked out. In the unit of its kind."""
        value = self.value(key)
        if value is None and key in SETTLED:
            value = getattr(self.settings, SETTLED[key])
        if value is None:
            kind = kind_of(known_fields()[key])
            text = self.assumed[key]
            value = read_quantity(text, kind) if kind is not None else float(text.split()[0])
        return float(value)

    def has_number(self, key: str) -> bool:
        """Whether there is a number in force: an assumption may be words, such as 'where its map ends'."""
        try:
            self.number(key)
        except (InputError, KeyError, ValueError):
            return False
        return True

    def setting(self, key: str) -> Setting:
        """A setting in force, for a table and for a sentence."""
        field, value, origin = known_fields()[key], self.value(key), self.origin(key)
        kind = kind_of(field)
        if kind is not None:
            number, us = self.number(key), self.us and origin != GIVEN
            plain, written = in_si(number, kind), as_written(str(self.written(key)))
            usual = air_flow(number, us) if key.endswith(AIR) else quantity(number, kind, us)
            text = f"{written} ({plain})" if written else usual
            return Setting(key, text, plain, origin)
        if isinstance(value, Path):
            text = value.name
        elif isinstance(value, Window):
            text = windows_text([value])
        elif isinstance(value, tuple):
            text = windows_text(value)
        elif isinstance(value, bool):
            text = "yes" if value else "no"
        elif value is None and self.has_number(key):
            text = f"{self.number(key):g}"
        elif value is None:
            text = self.assumed.get(key, "")
        else:
            text = f"{value:g}" if isinstance(value, float | int) else show(value, field)
        return Setting(key, text, text, origin)

    def said(self, key: str) -> str:
        """A value for a sentence, marked where nobody gave it."""
        setting = self.setting(key)
        return setting.text + (MARK if setting.origin != GIVEN else "")

    def degrees(self, value: float) -> str:
        """A temperature that follows from others, in the user's units. [°C]"""
        return quantity(value, TEMPERATURE, self.us)

    def kelvin(self, value: float) -> str:
        """A temperature difference that follows from others, in the user's units. [K]"""
        return quantity(value, DIFFERENCE, self.us)


SETTLED = {
    "plant.controls.dead_band": "dead_band",
    "plant.controls.sensor_height": "sensor_height",
    "plant.controls.stop_height": "stop_height",
    "plant.heat_pump.outlet_temperature": "outlet_temperature",
    "plant.backup.setpoint": "backup_setpoint",
    "plant.backup.height": "backup_height",
}
"""Settings that are worked out where nobody wrote them, by the field of `Settings`."""
