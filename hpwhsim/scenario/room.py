"""The `plant.source.room` block: the room that a machine stands in, and the machine's ducts."""

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from hpwhsim.io.units import Area, Flow, HeatLoss, Length, Moisture, Power, Temperature
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, RoomKind, origin, rule
from hpwhsim.tables import read_table

HOME_AREA = 75.0  # m², of one apartment of the neighbours; common practice, no source
HOME_HEATED_TO = 20.0  # °C; common practice, no source
AIR_PER_WATT = 0.07e-3  # m³/s of air per W of coil heat; common practice, no source
AIR_PER_KW = f"{1e3 * AIR_PER_WATT:g} m3/s per kW"
HEATING_EFFICIENCY = {"none": 1.0, "resistance": 1.0, "gas": 0.9, "heat-pump": 3.0}
"""Heat over purchased energy; common practice, no source."""
_KINDS = read_table("room_kinds")
HEATED_KINDS = tuple(row["kind"] for row in _KINDS if row["heat_to_c"])
COOLED_KINDS = tuple(row["kind"] for row in _KINDS if row["cool_to_c"])
FACINGS = ("north", "east", "south", "west")
HOME = "kind apartment of the packaged rooms (invented); common practice, no source"
Place = Literal["room", "outdoors", "neighbours", "elsewhere"]
KIND = "invented, plausible for ordinary buildings; common practice, no source"


def _of_kind(what: str = "usual of this kind of room") -> dict[str, Any]:
    return origin(KIND, none=what)


class Room(Block):
    """The room whose air the heat pump draws or meets; what is not written is usual for its kind."""

    kind: RoomKind = Field(description="kind of room, whose usual values stand for what is not written")
    floor_area: Area | None = Field(
        None, gt=0, le=1e5, description="floor area of the room", json_schema_extra=_of_kind()
    )
    height: Length | None = Field(
        None, gt=0.5, le=20, description="clear height of the room", json_schema_extra=_of_kind()
    )
    mass: Literal["very light", "light", "medium", "heavy", "very heavy"] | None = Field(
        None, description="class of mass of ISO 13790", json_schema_extra=_of_kind()
    )
    loss_to_outdoors: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="heat loss through opaque parts to outdoors",
        json_schema_extra=_of_kind(),
    )
    window_loss: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="heat loss through windows and light doors",
        json_schema_extra=_of_kind(),
    )
    loss_to_ground: HeatLoss | None = Field(
        None, ge=0, le=1e6, description="heat loss to the ground", json_schema_extra=_of_kind()
    )
    loss_to_neighbours: HeatLoss | None = Field(
        None,
        ge=0,
        le=1e6,
        description="heat loss through partitions to neighbouring spaces",
        json_schema_extra=_of_kind(),
    )
    neighbour_temperature: Temperature | None = Field(
        None,
        ge=-20,
        le=40,
        description="air temperature of the neighbouring spaces, the same all year",
        json_schema_extra=origin(HOME, none="floats between heating and cooling, as homes in this weather"),
    )
    neighbour_humidity: float | None = Field(
        None,
        ge=0,
        le=1,
        description="relative humidity of the neighbouring spaces, the same all year",
        json_schema_extra=origin(HOME, none="that of homes in this weather"),
    )
    neighbour_floor_area: Area | None = Field(
        None,
        gt=0,
        le=1e6,
        description="floor area of the homes from which the room draws heat and air",
        json_schema_extra=origin(HOME, none=f"{HOME_AREA:g} m2 for each apartment of the building"),
    )
    neighbour_heating: Literal["none", "resistance", "gas", "heat-pump"] = Field(
        "resistance",
        description="what heats the neighbouring spaces, which give heat to a colder room",
        json_schema_extra=origin("[tankyear-default]: the dearest"),
    )
    neighbour_heating_setpoint: Temperature | None = Field(
        None,
        ge=5,
        le=30,
        description="temperature to which the neighbouring spaces are heated",
        json_schema_extra=origin(HOME, none=f"neighbour_temperature, or {HOME_HEATED_TO:g} degC"),
    )
    neighbour_cooling: Literal["none", "air-conditioner"] = Field(
        "air-conditioner",
        description="what cools the neighbouring spaces, which give less heat to it with a colder room",
        json_schema_extra=origin(PRACTICE),
    )
    neighbour_cooling_setpoint: Temperature = Field(
        26.0,
        ge=15,
        le=40,
        description="temperature to which the neighbouring spaces are cooled",
        json_schema_extra=origin(HOME),
    )
    window_area: Area | None = Field(
        None,
        ge=0,
        le=1e5,
        description="upright glass, facing evenly north, east, south and west",
        json_schema_extra=_of_kind("usual of this kind of room, or the sum of the facing ones"),
    )
    window_north: Area | None = Field(
        None,
        ge=0,
        le=1e5,
        description="glass facing north, instead of window_area",
        json_schema_extra=origin("none unless it is given"),
    )
    window_east: Area | None = Field(
        None,
        ge=0,
        le=1e5,
        description="glass facing east",
        json_schema_extra=origin("none unless it is given"),
    )
    window_south: Area | None = Field(
        None,
        ge=0,
        le=1e5,
        description="glass facing south",
        json_schema_extra=origin("none unless it is given"),
    )
    window_west: Area | None = Field(
        None,
        ge=0,
        le=1e5,
        description="glass facing west",
        json_schema_extra=origin("none unless it is given"),
    )
    window_solar_gain: float = Field(
        0.4,
        ge=0,
        le=1,
        description="solar heat gain coefficient of the windows, met square",
        json_schema_extra=origin("[iecc-window]"),
    )
    window_shading: float = Field(
        0.3,
        ge=0,
        le=1,
        description="share of the sun kept off by shades, screens, overhangs and buildings",
        json_schema_extra=origin(PRACTICE),
    )
    airing: float | None = Field(
        None,
        ge=0,
        le=100,
        description="air changes per hour while windows are opened against heat, outdoors colder and dry",
        json_schema_extra=_of_kind(),
    )
    air_changes: float | None = Field(
        None,
        ge=0,
        le=100,
        description="infiltration from outdoors, air changes per hour",
        json_schema_extra=_of_kind(),
    )
    vent_flow: Flow | None = Field(
        None,
        ge=0,
        le=100,
        description="air flow through grilles and gaps from the neighbouring space",
        json_schema_extra=_of_kind(),
    )
    gains: Power | None = Field(
        None,
        ge=0,
        le=1e6,
        description="heat from people, lights and equipment",
        json_schema_extra=_of_kind(),
    )
    moisture: Moisture | None = Field(
        None, ge=0, le=1, description="vapour given off in the room", json_schema_extra=_of_kind()
    )
    heating: Literal["none", "resistance", "gas", "heat-pump"] | None = Field(
        None,
        description="what heats the room",
        json_schema_extra=origin(KIND, none=f"{', '.join(HEATED_KINDS)}: resistance; the others: none"),
    )
    heating_setpoint: Temperature | None = Field(
        None, ge=5, le=30, description="temperature to which the room is heated", json_schema_extra=_of_kind()
    )
    heating_efficiency: float | None = Field(
        None,
        ge=0.3,
        le=8,
        description="heat over purchased energy of the room's heating",
        json_schema_extra=origin(
            PRACTICE, none=", ".join(f"{kind} {value:g}" for kind, value in HEATING_EFFICIENCY.items())
        ),
    )
    cooling: Literal["none", "air-conditioner"] | None = Field(
        None,
        description="what cools the room",
        json_schema_extra=origin(KIND, none=f"{', '.join(COOLED_KINDS)}: air-conditioner; the others: none"),
    )
    cooling_setpoint: Temperature | None = Field(
        None,
        ge=15,
        le=40,
        description="temperature to which the room is cooled",
        json_schema_extra=_of_kind(),
    )
    cooling_cop: float = Field(
        3.0,
        ge=1,
        le=15,
        description="heat removed, sensible and latent, over electricity; of the neighbours too",
        json_schema_extra=origin(PRACTICE),
    )
    cooling_coil: Temperature | None = Field(
        None,
        ge=0,
        le=20,
        description="apparatus dew point of the air conditioner's coil",
        json_schema_extra=origin(
            PRACTICE, none="by its sensible share at the usual rating, and not near its setpoint"
        ),
    )
    dehumidifier_setpoint: float | None = Field(
        None,
        ge=0.2,
        le=0.95,
        description="relative humidity that a dehumidifier holds",
        json_schema_extra=origin("[tankyear-default]", none="no dehumidifier"),
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
        description="air flow through a running unit",
        json_schema_extra=origin(
            f"{AIR_PER_KW} of coil heat; {PRACTICE}", none=f"{AIR_PER_KW} at the rating"
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
        description="where the heat pump's air comes from",
        json_schema_extra=origin("[tankyear-default]: no ducts"),
    )
    exhaust: Place = Field(
        "room",
        description="where the heat pump's air goes to",
        json_schema_extra=origin("[tankyear-default]: no ducts"),
    )
    make_up: Literal["outdoors", "neighbours", "elsewhere"] = Field(
        "outdoors",
        description="what replaces room air that the heat pump blows elsewhere",
        json_schema_extra=origin(PRACTICE),
    )
    elsewhere_temperature: Temperature | None = Field(
        None,
        ge=-40,
        le=60,
        description="air temperature of a further space that ducts reach",
        json_schema_extra=origin("no duct goes there"),
    )
    elsewhere_humidity: float = Field(
        0.5,
        ge=0,
        le=1,
        description="relative humidity of that further space",
        json_schema_extra=origin(PRACTICE),
    )

    @rule
    def _elsewhere(self) -> Iterator[Clash]:
        reached = "elsewhere" in (self.intake, self.exhaust, self.make_up)
        if reached and self.elsewhere_temperature is None:
            yield Clash("elsewhere_temperature", "a temperature, because a duct goes elsewhere")
        for key in ("elsewhere_temperature", "elsewhere_humidity") if not reached else ():
            if self.given(key):
                yield Clash(key, "nothing unless a duct goes elsewhere")

    @rule
    def _air_made_up(self) -> Iterator[Clash]:
        if self.given("make_up") and not (self.intake == "room" and self.exhaust != "room"):
            yield Clash("make_up", "nothing unless the heat pump draws the room's air and blows it elsewhere")

    @rule
    def _keys_of_heating(self) -> Iterator[Clash]:
        for key in ("heating_setpoint", "heating_efficiency"):
            if self.heating == "none" and getattr(self, key) is not None:
                yield Clash(key, "nothing with plant.source.room.heating none")

    @rule
    def _keys_of_cooling(self) -> Iterator[Clash]:
        for key in ("cooling_setpoint", "cooling_coil"):
            if self.cooling == "none" and getattr(self, key) is not None:
                yield Clash(key, "nothing with plant.source.room.cooling none")

    @rule
    def _cop_of_cooling(self) -> Iterator[Clash]:
        if self.cooling == "none" == self.neighbour_cooling and self.given("cooling_cop"):
            yield Clash("cooling_cop", "nothing with plant.source.room.cooling none and no cooled neighbours")

    @rule
    def _neighbours_cooled(self) -> Iterator[Clash]:
        if self.neighbour_cooling == "none" and self.given("neighbour_cooling_setpoint"):
            yield Clash("neighbour_cooling_setpoint", "nothing with neighbour_cooling none")

    @rule
    def _neighbours_heated(self) -> Iterator[Clash]:
        if self.neighbour_heating_setpoint is not None:
            if self.neighbour_heating == "none":
                yield Clash("neighbour_heating_setpoint", "nothing with neighbour_heating none")
            if self.neighbour_temperature is not None:
                yield Clash("neighbour_heating_setpoint", "nothing beside neighbour_temperature")

    @rule
    def _neighbours_in_order(self) -> Iterator[Clash]:
        if self.neighbour_cooling != "none" and self.neighbour_cooling_setpoint < self.neighbours_heated_to:
            yield Clash(
                "neighbour_cooling_setpoint",
                f"at least {self.neighbours_heated_to:g} degC, to which the neighbours are heated",
                got=f"{self.neighbour_cooling_setpoint:g} degC",
            )

    @rule
    def _one_window_area(self) -> Iterator[Clash]:
        for name in FACINGS if self.window_area is not None else ():
            if getattr(self, f"window_{name}") is not None:
                yield Clash(f"window_{name}", "nothing beside plant.source.room.window_area")

    @rule
    def _dehumidifier(self) -> Iterator[Clash]:
        if self.dehumidifier_setpoint is None and self.given("dehumidifier_efficiency"):
            yield Clash("dehumidifier_efficiency", "nothing without plant.source.room.dehumidifier_setpoint")

    @property
    def heated_by(self) -> str:
        """What heats the room, as given or usual of its kind."""
        return self.heating or ("resistance" if self.kind in HEATED_KINDS else "none")

    @property
    def cooled_by(self) -> str:
        """What cools the room, as given or usual of its kind."""
        return self.cooling or ("air-conditioner" if self.kind in COOLED_KINDS else "none")

    @property
    def neighbours_heated_to(self) -> float:
        """Where the neighbours' heating holds their air; means nothing where they are not heated. [°C]"""
        for given in (self.neighbour_temperature, self.neighbour_heating_setpoint):
            if given is not None:
                return given
        return HOME_HEATED_TO

    @property
    def facing(self) -> dict[str, float] | None:
        """Glass by the way it faces, as given; None where the modeler gave none. [m²]"""
        if self.window_area is not None:
            return dict.fromkeys(FACINGS, self.window_area / len(FACINGS))
        given: dict[str, float | None] = {name: getattr(self, f"window_{name}") for name in FACINGS}
        if all(area is None for area in given.values()):
            return None
        return {name: area or 0.0 for name, area in given.items()}
