"""The `plant.source.room` block: the room that a machine stands in, and the machine's ducts."""

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from hpwhsim.quantities import Area, Flow, HeatLoss, Length, Moisture, Power, Temperature
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, RoomKind, origin

Place = Literal["room", "outdoors", "neighbours", "elsewhere"]
KIND = "invented, plausible for ordinary buildings; common practice, no source"


def _of_kind(what: str = "usual of this kind of room") -> dict[str, Any]:
    return origin(KIND, none=what)


class Room(Block):
    """The room whose air the machine draws or meets; what is not written is usual for its kind."""

    kind: RoomKind = Field(description="cellar | garage | mechanical-room | closet | apartment | hallway")
    floor_area: Area | None = Field(
        None, gt=0, le=1e5, description="floor [m2]", json_schema_extra=_of_kind()
    )
    height: Length | None = Field(
        None, gt=0.5, le=20, description="clear height [m]", json_schema_extra=_of_kind()
    )
    mass: Literal["very light", "light", "medium", "heavy", "very heavy"] | None = Field(
        None, description="class of mass of ISO 13790", json_schema_extra=_of_kind()
    )
    loss_to_outdoors: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="through opaque parts to outdoors [W/K]",
        json_schema_extra=_of_kind(),
    )
    window_loss: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="through windows and light doors [W/K]",
        json_schema_extra=_of_kind(),
    )
    loss_to_ground: HeatLoss | None = Field(
        None, ge=0, le=1e6, description="to the ground [W/K]", json_schema_extra=_of_kind()
    )
    loss_to_neighbours: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="through partitions to neighbouring spaces [W/K]",
        json_schema_extra=_of_kind(),
    )
    neighbour_temperature: Temperature = Field(
        20.0,
        ge=-20,
        le=40,
        description="air of the neighbouring spaces [degC]",
        json_schema_extra=origin(PRACTICE),
    )
    neighbour_humidity: float = Field(
        0.4,
        ge=0,
        le=1,
        description="its relative humidity",
        json_schema_extra=origin(PRACTICE),
    )
    neighbour_heating: Literal["none", "resistance", "gas", "heat-pump"] = Field(
        "resistance",
        description="what heats the neighbouring spaces, which give heat to a colder room",
        json_schema_extra=origin("choice of this program: the dearest"),
    )
    air_changes: float | None = Field(
        None, ge=0, le=100, description="infiltration from outdoors [1/h]", json_schema_extra=_of_kind()
    )
    vent_flow: Flow | None = Field(
        None,
        ge=0,
        le=100,
        description="air through grilles and gaps from the neighbouring space [m3/s]",
        json_schema_extra=_of_kind(),
    )
    gains: Power | None = Field(
        None,
        ge=0,
        le=1e6,
        description="people, lights and equipment [W]",
        json_schema_extra=_of_kind(),
    )
    moisture: Moisture | None = Field(
        None, ge=0, le=1, description="vapour given off in the room [kg/s]", json_schema_extra=_of_kind()
    )
    heating: Literal["none", "resistance", "gas", "heat-pump"] | None = Field(
        None,
        description="what heats the room",
        json_schema_extra=origin(KIND, none="apartment and hallway: resistance; the others: none"),
    )
    heating_setpoint: Temperature | None = Field(
        None, ge=5, le=30, description="heated to [degC]", json_schema_extra=_of_kind()
    )
    heating_efficiency: float | None = Field(
        None,
        ge=0.3,
        le=8,
        description="heat over energy bought",
        json_schema_extra=origin(PRACTICE, none="resistance 1, gas 0.9, heat-pump 3"),
    )
    cooling: Literal["none", "air-conditioner"] | None = Field(
        None,
        description="what cools the room",
        json_schema_extra=origin(KIND, none="apartment: air-conditioner; the others: none"),
    )
    cooling_setpoint: Temperature | None = Field(
        None, ge=15, le=40, description="cooled to [degC]", json_schema_extra=_of_kind()
    )
    cooling_cop: float = Field(
        3.0,
        ge=1,
        le=15,
        description="heat removed over electricity",
        json_schema_extra=origin(PRACTICE),
    )
    dehumidifier_setpoint: float | None = Field(
        None,
        ge=0.2,
        le=0.95,
        description="relative humidity that a dehumidifier holds",
        json_schema_extra=origin("choice of this program", none="no dehumidifier"),
    )
    dehumidifier_efficiency: float = Field(
        1.6,
        ge=0.2,
        le=10,
        description="litres of water per kWh",
        json_schema_extra=origin(PRACTICE),
    )
    airflow: Flow | None = Field(
        None,
        gt=0,
        le=100,
        description="air through a running module [m3/s]",
        json_schema_extra=origin(
            "0.07 m3/s per kW of coil heat; common practice, no source", none="0.07 m3/s per kW at the rating"
        ),
    )
    bypass: float = Field(
        0.2,
        ge=0,
        le=0.9,
        description="bypass factor of the coil",
        json_schema_extra=origin(PRACTICE),
    )
    intake: Place = Field(
        "room",
        description="where the machine's air comes from",
        json_schema_extra=origin("choice of this program: no ducts"),
    )
    exhaust: Place = Field(
        "room",
        description="where it goes to",
        json_schema_extra=origin("choice of this program: no ducts"),
    )
    make_up: Literal["outdoors", "neighbours", "elsewhere"] = Field(
        "outdoors",
        description="what replaces room air that the machine blows elsewhere",
        json_schema_extra=origin(PRACTICE),
    )
    elsewhere_temperature: Temperature | None = Field(
        None,
        ge=-40,
        le=60,
        description="air of a further space that ducts reach [degC]",
        json_schema_extra=origin("no duct goes there"),
    )
    elsewhere_humidity: float = Field(
        0.5,
        ge=0,
        le=1,
        description="its relative humidity",
        json_schema_extra=origin(PRACTICE),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        reached = "elsewhere" in (self.intake, self.exhaust, self.make_up)
        if reached and self.elsewhere_temperature is None:
            raise Clash("elsewhere_temperature", "a temperature, because a duct goes elsewhere")
        if not reached and (self.elsewhere_temperature is not None or self.given("elsewhere_humidity")):
            key = "elsewhere_humidity" if self.elsewhere_temperature is None else "elsewhere_temperature"
            raise Clash(key, "nothing unless a duct goes elsewhere")
        if self.given("make_up") and not (self.intake == "room" and self.exhaust != "room"):
            raise Clash("make_up", "nothing unless the machine draws the room's air and blows it elsewhere")
        if self.heating == "none" and (self.heating_setpoint or self.heating_efficiency):
            key = "heating_efficiency" if self.heating_setpoint is None else "heating_setpoint"
            raise Clash(key, "nothing with plant.source.room.heating none")
        if self.cooling == "none" and (self.cooling_setpoint or self.given("cooling_cop")):
            key = "cooling_cop" if self.cooling_setpoint is None else "cooling_setpoint"
            raise Clash(key, "nothing with plant.source.room.cooling none")
        if self.dehumidifier_setpoint is None and self.given("dehumidifier_efficiency"):
            raise Clash("dehumidifier_efficiency", "nothing without plant.source.room.dehumidifier_setpoint")
        return self
