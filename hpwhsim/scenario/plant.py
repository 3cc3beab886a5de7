"""The `plant` block: machine, source, store and backup, as frozen, strict models."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Literal

from pydantic import Field

from hpwhsim.io.units import (
    POWER,
    Conductivity,
    Difference,
    Duration,
    HeatLoss,
    Length,
    Power,
    Temperature,
    Volume,
)
from hpwhsim.scenario import families
from hpwhsim.scenario.controls import Controls
from hpwhsim.scenario.heat_pump_first import BACKUP_HEIGHT, LOOP_FALL, ONLY_HEATER_HEIGHT, OVER_USE
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    Family,
    Windows,
    covered,
    default,
    degrees,
    origin,
    rule,
)
from hpwhsim.scenario.sources import Source

HOTTEST = 95.0  # of a store without pressure to speak of, degC; as for plant.storage.setpoint


class Storage(Block):
    """The store: equal tanks side by side, one level of hot water through all of them."""

    volume: Volume = Field(gt=0, le=5000, description="the whole store, all tanks together")
    tanks: int = Field(
        1,
        ge=1,
        le=100,
        description="equal tanks side by side",
        json_schema_extra=origin("[tankyear-default]: one tank"),
    )
    arrangement: Literal["parallel", "series"] = Field(
        "parallel",
        description="parallel: side by side, one level of hot water through all; series: from the top of one "
        "to the bottom of the next",
        json_schema_extra=origin("[tankyear-default]: side by side"),
    )
    setpoint: Temperature = Field(ge=40, le=95, description="temperature the store is charged to")
    heat_loss: HeatLoss | None = Field(
        None,
        ge=0,
        le=5000,
        description="standby loss of the whole store per kelvin above the room",
        json_schema_extra=origin(
            "[cfr-431-110]: unfired storage tanks, R-12.5 h ft2 degF/Btu at least",
            none="surface of the tanks over R-12.5",
        ),
    )
    height: Length = Field(
        1.5,
        ge=0.2,
        le=20,
        description="height of the water in a tank",
        json_schema_extra=origin(PRACTICE),
    )
    draw_height: float = Field(
        1.0,
        ge=0.1,
        le=1,
        description="share of the store's height from which taps and loop draw",
        json_schema_extra=origin(f"the top; {PRACTICE}"),
    )
    conductivity: Conductivity = Field(
        0.64,
        gt=0,
        le=20,
        description="effective vertical conductivity",
        json_schema_extra=origin("[iapws]"),
    )
    inlet_mixing: float = Field(
        0.1,
        ge=0,
        le=0.5,
        description="share of the height stirred by what flows in",
        json_schema_extra=origin("[tankyear-default], after [musser-bahnfleth]"),
    )
    room_temperature: Temperature = Field(
        20.0,
        ge=-20,
        le=50,
        description="temperature of the air around the tanks",
        json_schema_extra=origin(PRACTICE),
    )

    @rule
    def _draws_above_mixing(self) -> Iterator[Clash]:
        if self.draw_height <= self.inlet_mixing:
            yield Clash("draw_height", f"above plant.storage.inlet_mixing ({self.inlet_mixing:g})")


class Backup(Block):
    """The second heater, or the only one of a resistance plant."""

    kind: Literal["none", "resistance", "gas", "oil", "steam"] = Field(
        "none",
        description="energy of the backup: electricity, natural gas, fuel oil or district steam",
        json_schema_extra=origin("no backup was written"),
    )
    power: Power | None = Field(
        None,
        gt=0,
        le=2e7,
        description="heat that the backup gives to the water",
        json_schema_extra=origin("no backup was written"),
    )
    mode: Literal["parallel", "series"] = Field(
        "parallel",
        description="parallel: heats the upper store; series: a trim heater in the pipe that leaves the "
        "store, ahead of the branch of the loop",
        json_schema_extra=origin("[tankyear-default]: an element in the store is the plainest backup"),
    )
    setpoint: Temperature | None = Field(
        None,
        ge=30,
        le=95,
        description="temperature that the backup heats to",
        json_schema_extra=origin(
            f"{PRACTICE}; in series what leaves the plant is held hot enough for taps and loop",
            none=f"hot_water.use_temperature + {OVER_USE:g} K, or less so that the heat pump starts first "
            "and stops last (in a plant without one, plant.storage.setpoint); in series the hottest of "
            "hot_water.use_temperature, tempering_valve + tempering_min_difference, and, where the store "
            f"serves the loop, recirculation.return_temperature + {LOOP_FALL:g} K",
        ),
    )
    height: float | None = Field(
        None,
        ge=0,
        lt=1,
        description="share of the store's height below the part it heats (parallel)",
        json_schema_extra=origin(
            PRACTICE,
            none=f"{BACKUP_HEIGHT:g}, but not below plant.controls.sensor_height (in a plant without heat "
            f"pump {ONLY_HEATER_HEIGHT:g}: the whole store but its foot)",
        ),
    )
    dead_band: Difference = Field(
        3.0,
        gt=0,
        le=30,
        description="the backup starts this far below its setpoint",
        json_schema_extra=origin(PRACTICE),
    )
    efficiency: float | None = Field(
        None,
        ge=0.3,
        le=1,
        description="heat to the water over fuel, higher heating value, or over purchased steam heat",
        json_schema_extra=origin(
            "[cfr-431-110]: least thermal efficiency of heaters made at made_on; steam: common practice",
            none="minimum thermal efficiency of 10 CFR 431.110; steam: with its condensate to the drain",
        ),
    )
    made_on: date = Field(
        date(2026, 1, 1),
        description="date of manufacture, which says what standard holds (gas, oil)",
        json_schema_extra=origin("[cfr-431-110]: before the gas rule of 6 October 2026"),
    )

    delay: Duration = Field(
        0.0,
        ge=0,
        le=86400,
        description="the backup waits so long after its thermostat calls (parallel)",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    lock_outs: Windows = Field(
        (),
        description="windows of the day in which the backup is locked out (parallel)",
        json_schema_extra=origin("[tankyear-default]: none"),
    )

    @rule
    def _none_has_no_keys(self) -> Iterator[Clash]:
        for key in sorted(self.model_fields_set - {"kind"}) if self.kind == "none" else ():
            yield Clash(key, "nothing unless plant.backup.kind is resistance, gas, oil or steam")

    @rule
    def _power(self) -> Iterator[Clash]:
        if self.kind != "none" and self.power is None:
            yield Clash("power", str(POWER))

    @rule
    def _time_to_heat(self) -> Iterator[Clash]:
        if self.kind != "none" and len(covered(self.lock_outs)) == 1440:
            yield Clash("lock_outs", "windows that leave time to heat")

    @rule
    def _keys_of_parallel(self) -> Iterator[Clash]:
        for key in ("delay", "lock_outs", "height"):
            if self.kind != "none" and self.mode == "series" and self.given(key):
                yield Clash(key, "nothing unless plant.backup.mode is parallel")

    @rule
    def _keys_of_fuels(self) -> Iterator[Clash]:
        if self.kind == "resistance" and self.given("efficiency"):
            yield Clash("efficiency", "nothing unless plant.backup.kind is gas, oil or steam")
        if self.kind in ("resistance", "steam") and self.given("made_on"):
            yield Clash("made_on", "nothing unless plant.backup.kind is gas or oil")


class Plant(Block):
    """The hot-water plant."""

    family: Family = Field(description="plant family")
    heat_pump: HeatPump | None = Field(
        None, description="the heat pump", json_schema_extra=origin("the family has no heat pump")
    )
    source: Source = Field(
        default_factory=Source,
        description="where the heat pump's heat comes from",
        json_schema_extra=origin("defaults of its keys"),
    )
    storage: Storage = Field(description="the store")
    backup: Backup = Field(
        default_factory=Backup,
        description="the second heater, or the only one of a plant without a heat pump",
        json_schema_extra=origin("defaults of its keys"),
    )
    controls: Controls = Field(
        default_factory=Controls,
        description="when the heat pump runs",
        json_schema_extra=origin("defaults of its keys"),
    )

    @property
    def source_kind(self) -> str:
        """Kind of the source: as given, else the usual one of the family."""
        return self.source.kind or families.FAMILIES[self.family].source_kinds[0]

    @rule
    def _blocks_of_family(self) -> Iterator[Clash]:
        family = families.FAMILIES[self.family]
        for key in family.needs:
            if not self.given(key):
                yield Clash(key, f"a block, which plant.family {self.family} needs")
        for key in family.forbids:
            if self.given(key):
                yield Clash(key, f"nothing: plant.family {self.family} does not use it")

    @rule
    def _backup_of_family(self) -> Iterator[Clash]:
        family = families.FAMILIES[self.family]
        if not self.given("backup") and "backup" in family.needs:
            return  # which is what is wrong
        yield from self._among("backup.kind", self.backup.kind, family.backup_kinds)
        if self.backup.kind != "none":
            yield from self._among("backup.mode", self.backup.mode, family.backup_modes)

    @rule
    def _source_of_family(self) -> Iterator[Clash]:
        family = families.FAMILIES[self.family]
        yield from self._among("source.kind", self.source_kind, family.source_kinds)

    @rule
    def _blocks_of_source(self) -> Iterator[Clash]:
        kind, family = self.source_kind, families.FAMILIES[self.family]
        if kind not in family.source_kinds or ("source" in family.forbids and self.given("source")):
            return  # which is what is wrong
        for key, of in (("room", "room"), ("ground_loop", "ground-loop"), ("wastewater", "wastewater")):
            block = getattr(self.source, key)
            if block is not None and kind != of:
                yield Clash(f"source.{key}", f"nothing: the source of this plant is {kind}")
            if block is None and kind == of and of != "wastewater":
                yield Clash(f"source.{key}", f"a block, which a source of kind {of} needs")

    @rule
    def _heat_up_needs_backup(self) -> Iterator[Clash]:
        if self.controls.pasteurise is not None and (
            self.backup.kind == "none" or self.backup.mode == "series"
        ):
            yield Clash("controls.pasteurise", "nothing without a backup that heats the store (parallel)")

    @rule
    def _heat_up_has_time(self) -> Iterator[Clash]:
        heat_up = self.controls.pasteurise
        if heat_up is not None and not covered((heat_up.window,)) - covered(self.backup.lock_outs):
            yield Clash("controls.pasteurise.window", "hours outside plant.backup.lock_outs")

    @rule
    def _heat_up_within_reach(self) -> Iterator[Clash]:
        heat_up = self.controls.pasteurise
        if heat_up is not None and heat_up.temperature + self.backup.dead_band > HOTTEST:
            yield Clash(
                "controls.pasteurise.temperature",
                f"with plant.backup.dead_band above it at most {degrees(HOTTEST)}",
            )

    @rule
    def _intake_below_sensors(self) -> Iterator[Clash]:
        if self.heat_pump is None:
            return
        intake = self.heat_pump.intake_height
        for name in ("sensor_height", "stop_height"):
            height = getattr(self.controls, name)
            if height is not None and intake > height:
                yield Clash(
                    "heat_pump.intake_height",
                    f"at most plant.controls.{name} ({height:g}), or the charge never ends",
                )

    @rule
    def _draws_above_intake(self) -> Iterator[Clash]:
        intake = self.heat_pump.intake_height if self.heat_pump is not None else 0.0
        if self.heat_pump is not None and intake >= self.storage.draw_height:
            yield Clash("storage.draw_height", f"above plant.heat_pump.intake_height ({intake:g})")

    @rule
    def _coil_defrosts(self) -> Iterator[Clash]:
        if self.heat_pump is None or self.controls.defrosts == "averaged":
            return
        if self.source_kind != "outdoor-air" or self.heat_pump.defrost == "none":
            yield Clash("controls.defrosts", "averaged: no outdoor coil defrosts")

    @rule
    def _lines_of_family(self) -> Iterator[Clash]:
        for key in ("lines", "water_lines") if self.heat_pump is not None else ():
            if getattr(self.heat_pump, key) is not None and key not in families.FAMILIES[self.family].lines:
                yield Clash(f"heat_pump.{key}", f"nothing with plant.family {self.family}")

    def _among(self, key: str, value: str, allowed: Sequence[str]) -> Iterator[Clash]:
        if value not in allowed:
            yield Clash(key, f"{' or '.join(allowed)} with plant.family {self.family}", default(value))
