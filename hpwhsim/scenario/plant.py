"""The `plant` block: machine, source, store and backup, as frozen, strict models."""

from collections.abc import Sequence
from datetime import date
from typing import Literal, Self

from pydantic import Field, model_validator

from hpwhsim.quantities import (
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
)
from hpwhsim.scenario.sources import Source

HOTTEST = 95.0  # of a store without pressure to speak of, degC; as for plant.storage.setpoint


class Storage(Block):
    """The store: equal tanks side by side, one level of hot water through all of them."""

    volume: Volume = Field(gt=0, le=5000, description="the whole store, all tanks together [m3]")
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
    setpoint: Temperature = Field(ge=40, le=95, description="temperature the store is charged to [degC]")
    heat_loss: HeatLoss | None = Field(
        None,
        ge=0,
        le=5000,
        description="heat loss of the whole store per kelvin above the room [W/K]",
        json_schema_extra=origin(
            "[cfr-431-110]: unfired storage tanks, R-12.5 h ft2 degF/Btu at least",
            none="surface of the tanks over R-12.5",
        ),
    )
    height: Length = Field(
        1.5,
        ge=0.2,
        le=20,
        description="height of the water in a tank [m]",
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
        description="effective vertical conductivity [W/m/K]",
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
        description="air around the tanks [degC]",
        json_schema_extra=origin(PRACTICE),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.draw_height <= self.inlet_mixing:
            raise Clash("draw_height", f"above plant.storage.inlet_mixing ({self.inlet_mixing:g})")
        return self


class Backup(Block):
    """The second heater, or the only one of a resistance plant."""

    kind: Literal["none", "resistance", "gas", "oil", "steam"] = Field(
        "none",
        description="what it uses: electricity, natural gas, fuel oil or district steam",
        json_schema_extra=origin("no backup was written"),
    )
    power: Power | None = Field(
        None,
        gt=0,
        le=2e7,
        description="heat it gives to the water [W]",
        json_schema_extra=origin("no backup was written"),
    )
    mode: Literal["parallel", "series"] = Field(
        "parallel",
        description="parallel: heats the upper store; series: a trim heater in the pipe that leaves the "
        "store, ahead of the branch of the loop, which lifts what taps and loop take",
        json_schema_extra=origin("[tankyear-default]: an element in the store is the plainest backup"),
    )
    setpoint: Temperature | None = Field(
        None,
        ge=30,
        le=95,
        description="it heats to this temperature [degC]",
        json_schema_extra=origin(
            f"{PRACTICE}; in series what leaves the plant is held hot enough for taps and loop",
            none="hot_water.use_temperature + 3 K, or less so that the heat pump starts first and stops last "
            "(in a plant without one, plant.storage.setpoint); in series the hottest of "
            "hot_water.use_temperature, tempering_valve + tempering_difference, and, where the store serves "
            "the loop, recirculation.return_temperature + 5 K",
        ),
    )
    height: float | None = Field(
        None,
        ge=0,
        lt=1,
        description="share of the store's height below the part it heats (parallel)",
        json_schema_extra=origin(
            PRACTICE,
            none="0.6, but not below plant.controls.sensor_height (in a plant without heat pump 0.05: the "
            "whole store but its foot)",
        ),
    )
    dead_band: Difference = Field(
        3.0,
        gt=0,
        le=30,
        description="it starts this far below its setpoint [K]",
        json_schema_extra=origin(PRACTICE),
    )
    efficiency: float | None = Field(
        None,
        ge=0.3,
        le=1,
        description="heat to the water over fuel, higher heating value, or over heat bought as steam",
        json_schema_extra=origin(
            "[cfr-431-110]: least thermal efficiency of heaters made at made_on; steam: common practice",
            none="least thermal efficiency of 10 CFR 431.110; steam 0.857",
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
        description="it waits so long after its thermostat calls (parallel) [s]",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    lock_outs: Windows = Field(
        (),
        description="stretches of the day in which it is barred (parallel)",
        json_schema_extra=origin("[tankyear-default]: none"),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if len(covered(self.lock_outs)) == 1440:
            raise Clash("lock_outs", "windows that leave time to heat")
        if self.mode == "series":
            for key in ("delay", "lock_outs"):
                if self.given(key):
                    raise Clash(key, "nothing unless plant.backup.mode is parallel")
        if self.kind == "none":
            for key in sorted(self.model_fields_set - {"kind"}):
                raise Clash(key, "nothing unless plant.backup.kind is resistance, gas, oil or steam")
        elif self.power is None:
            raise Clash("power", str(POWER))
        if self.kind in ("none", "resistance") and self.given("efficiency"):
            raise Clash("efficiency", "nothing unless plant.backup.kind is gas, oil or steam")
        if self.kind not in ("gas", "oil") and self.given("made_on"):
            raise Clash("made_on", "nothing unless plant.backup.kind is gas or oil")
        if self.mode == "series" and self.given("height"):
            raise Clash("height", "nothing unless plant.backup.mode is parallel")
        return self


class Plant(Block):
    """The hot-water plant."""

    family: Family = Field(description="plant family: " + " | ".join(families.FAMILIES))
    heat_pump: HeatPump | None = Field(
        None, description="the machine", json_schema_extra=origin("the family has no heat pump")
    )
    source: Source = Field(
        default_factory=Source,
        description="where its heat comes from",
        json_schema_extra=origin("defaults of its keys"),
    )
    storage: Storage = Field(description="the store")
    backup: Backup = Field(
        default_factory=Backup,
        description="the second heater",
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

    @model_validator(mode="after")
    def _check(self) -> Self:
        family = families.FAMILIES[self.family]
        for key in family.needs:
            if not self.given(key):
                raise Clash(key, f"a block, which plant.family {self.family} needs")
        for key in family.forbids:
            if self.given(key):
                raise Clash(key, f"nothing: plant.family {self.family} does not use it")
        _among(self, "backup.kind", self.backup.kind, family.backup_kinds)
        _among(self, "backup.mode", self.backup.mode, family.backup_modes)
        kind = self.source_kind
        _among(self, "source.kind", kind, family.source_kinds)
        for key, of in (("room", "room"), ("ground_loop", "ground-loop"), ("wastewater", "wastewater")):
            block = getattr(self.source, key)
            if block is not None and kind != of:
                raise Clash(f"source.{key}", f"nothing: the source of this plant is {kind}")
            if block is None and kind == of and of != "wastewater":
                raise Clash(f"source.{key}", f"a block, which a source of kind {of} needs")
        heat_up, backup = self.controls.pasteurise, self.backup
        if heat_up is not None:
            if backup.kind == "none" or backup.mode == "series":
                raise Clash("controls.pasteurise", "nothing without a backup that heats the store (parallel)")
            if not covered((heat_up.window,)) - covered(backup.lock_outs):
                raise Clash("controls.pasteurise.window", "hours outside plant.backup.lock_outs")
            if heat_up.temperature + backup.dead_band > HOTTEST:
                raise Clash(
                    "controls.pasteurise.temperature",
                    f"with plant.backup.dead_band above it at most {degrees(HOTTEST)}",
                )
        if self.heat_pump is not None:
            intake = self.heat_pump.intake_height
            stop, start = self.controls.stop_height, self.controls.sensor_height
            if start is not None and intake > start:
                raise Clash(
                    "heat_pump.intake_height",
                    f"at most plant.controls.sensor_height ({start:g}), or the charge never ends",
                )
            if stop is not None and intake > stop:
                raise Clash(
                    "heat_pump.intake_height",
                    f"at most plant.controls.stop_height ({stop:g}), or the charge never ends",
                )
            if intake >= self.storage.draw_height:
                raise Clash("storage.draw_height", f"above plant.heat_pump.intake_height ({intake:g})")
            if self.controls.defrosts != "averaged" and (
                kind != "outdoor-air" or self.heat_pump.defrost == "none"
            ):
                raise Clash("controls.defrosts", "averaged: no outdoor coil defrosts")
            for key in ("lines", "water_lines"):
                if getattr(self.heat_pump, key) is not None and key not in family.lines:
                    raise Clash(f"heat_pump.{key}", f"nothing with plant.family {self.family}")
        return self


def _among(plant: Plant, key: str, value: str, allowed: Sequence[str]) -> None:
    if value not in allowed:
        raise Clash(key, f"{' or '.join(allowed)} with plant.family {plant.family}", default(value))
