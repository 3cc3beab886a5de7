"""The `plant.heat_pump` block: a rating, several, or a measured table; passes, limits and auxiliaries."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from hpwhsim.io.units import Difference, Duration, Power, Pressure, Temperature
from hpwhsim.scenario import families
from hpwhsim.scenario.lines import RefrigerantLines, WaterLines
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    Condenser,
    FilePath,
    Refrigerant,
    degrees,
    origin,
    rule,
)

COMES_BACK_AT = {"single-pass": 1.0, "multi-pass": 0.5}  # shares of the store's height
DRY_COIL = "[cfr-431-g-e]: a rating is of a dry coil, a table is taken as it stands"
RATING_COUNTS = "[cfr-431-g-e]: the rating's power counts all there is"


class Limits(Block):
    """Limits of the heat pump in place of the usual ones of its refrigerant."""

    max_discharge: Temperature | None = Field(
        None,
        ge=60,
        le=200,
        description="maximum temperature of the gas leaving the compressor",
        json_schema_extra=origin(PRACTICE, none="usual for the refrigerant"),
    )
    max_pressure: Pressure | None = Field(
        None,
        ge=5e5,
        le=200e5,
        description="maximum pressure",
        json_schema_extra=origin(PRACTICE, none="usual for the refrigerant"),
    )
    max_pressure_ratio: float | None = Field(
        None,
        ge=2,
        le=20,
        description="maximum pressure ratio of one stage",
        json_schema_extra=origin(PRACTICE, none="usual for the refrigerant"),
    )


class RatedAt(Block):
    """Where capacity and COP were measured."""

    source: Temperature = Field(
        ge=-40, le=50, description="temperature of the air or water the heat comes from"
    )
    water_in: Temperature = Field(ge=0, le=80, description="temperature of the water entering the heat pump")
    water_out: Temperature = Field(ge=20, le=95, description="temperature of the water leaving the heat pump")

    @rule
    def _heats(self) -> Iterator[Clash]:
        if self.water_out <= self.water_in:
            yield Clash("water_out", f"above rated_at.water_in ({degrees(self.water_in)})")


class HeatPump(Block):
    """The heat pump: a rating point from which its map is made, or a measured table."""

    refrigerant: Refrigerant = Field(description="ASHRAE 34 number such as R-744")
    modules: int = Field(
        1,
        ge=1,
        le=100,
        description="equal modules, staged",
        json_schema_extra=origin("[tankyear-default]: one unit"),
    )
    capacity: Power | None = Field(
        None,
        gt=0,
        le=5e6,
        description="heat of one module at rated_at",
        json_schema_extra=origin("the table gives the capacity"),
    )
    cop: float | None = Field(
        None,
        ge=1,
        le=15,
        description="heat over electricity at rated_at",
        json_schema_extra=origin("the table gives the power"),
    )
    rated_at: RatedAt | None = Field(
        None,
        description="where capacity and cop hold",
        json_schema_extra=origin("the table gives the points"),
    )
    ratings: FilePath | None = Field(
        None,
        description="CSV of rated points of one module that the cycle is fitted to; columns as table",
        json_schema_extra=origin("one rating point, or a table, was given"),
    )
    table: FilePath | None = Field(
        None,
        description="CSV with source_c, water_in_c, water_out_c, capacity_kw, power_kw of one module",
        json_schema_extra=origin("a rating point was given"),
    )
    condenser: Condenser = Field(
        "single-pass",
        description="single-pass: to the outlet temperature in one pass; multi-pass: a small rise per pass; "
        "wrap-around: on the tank's wall",
        json_schema_extra=origin("[tankyear-default]: what central plants with stratified stores use"),
    )
    rise: Difference = Field(
        5.0,
        ge=0.5,
        le=30,
        description="temperature rise of the water per pass (multi-pass)",
        json_schema_extra=origin(PRACTICE),
    )
    return_height: float | None = Field(
        None,
        ge=0,
        le=1,
        description="share of the store's height at which heated water comes back (single-pass, multi-pass)",
        json_schema_extra=origin(
            PRACTICE, none="; ".join(f"{kind} {height:g}" for kind, height in COMES_BACK_AT.items())
        ),
    )
    intake_height: float = Field(
        0.0,
        ge=0,
        lt=1,
        description="share of the store's height at which water leaves for the heat pump (single-pass, "
        "multi-pass); the store below stays unheated",
        json_schema_extra=origin(f"the bottom; {PRACTICE}"),
    )
    condenser_height: float = Field(
        0.6,
        gt=0,
        le=1,
        description="share of the store's height that the condenser covers, from the bottom (wrap-around)",
        json_schema_extra=origin(PRACTICE),
    )
    approach: Difference = Field(
        10.0,
        ge=1,
        le=30,
        description="source less evaporating temperature at the rating (one rating point)",
        json_schema_extra=origin("air coils run 8 to 12 K below the air; common practice, no source"),
    )
    injection: bool = Field(
        False,
        description="vapour injection: two stages of compression",
        json_schema_extra=origin("[tankyear-default]: one stage"),
    )
    limits: Limits = Field(
        default_factory=Limits,
        description="where the heat pump stops",
        json_schema_extra=origin("defaults of its keys"),
    )
    defrost: Literal["reverse-cycle", "none"] | None = Field(
        None,
        description="reverse-cycle: frost costs capacity, and defrost takes heat from the store",
        json_schema_extra=origin(
            DRY_COIL,
            none="reverse-cycle; with a table none",
        ),
    )
    fan_power: Power = Field(
        0.0,
        ge=0,
        le=1e5,
        description="fan of a running module that the rating's power does not count",
        json_schema_extra=origin(RATING_COUNTS),
    )
    pump_power: Power = Field(
        0.0,
        ge=0,
        le=1e5,
        description="water pump of a running module that the rating's power does not count",
        json_schema_extra=origin(RATING_COUNTS),
    )
    crankcase_power: Power = Field(
        0.0,
        ge=0,
        le=1e4,
        description="crankcase heat of an idle unit when the source is below crankcase_below",
        json_schema_extra=origin(f"{RATING_COUNTS}; 30 to 100 W is usual, {PRACTICE}"),
    )
    crankcase_below: Temperature = Field(
        15.0,
        ge=-50,
        le=60,
        description="the crankcase heater is on below this source temperature",
        json_schema_extra=origin(f"10 to 18 degC is usual; {PRACTICE}"),
    )
    standby_power: Power = Field(
        0.0,
        ge=0,
        le=1e4,
        description="power of the controls of an idle unit",
        json_schema_extra=origin(f"{RATING_COUNTS}; 5 to 20 W is usual, {PRACTICE}"),
    )
    min_speed_fraction: float = Field(
        1.0,
        ge=0.1,
        le=1,
        description="minimum speed fraction of an inverter; 1: fixed speed",
        json_schema_extra=origin("[tankyear-default]: fixed speed"),
    )
    start_loss: Duration = Field(
        0.0,
        ge=0,
        le=600,
        description="time at each start in which a module draws power and gives no heat",
        json_schema_extra=origin(f"[tankyear-default]: none; 30 to 80 s is usual, {PRACTICE}"),
    )
    outlet_temperature: Temperature | None = Field(
        None,
        ge=30,
        le=95,
        description="temperature of the water leaving the heat pump",
        json_schema_extra=origin(
            PRACTICE, none="equal to plant.storage.setpoint; multi-pass: hot enough for the charge to end"
        ),
    )
    max_outlet: Temperature | None = Field(
        None,
        ge=30,
        le=100,
        description="hottest water that the heat pump can make",
        json_schema_extra=origin("usual for the refrigerant; common practice, no source"),
    )
    max_inlet: Temperature | None = Field(
        None,
        ge=10,
        le=95,
        description="warmest water that may enter the heat pump",
        json_schema_extra=origin("limit of the heat pump's own map", none="where its map or table ends"),
    )
    min_source: Temperature | None = Field(
        None,
        ge=-50,
        le=40,
        description="source temperature below which the heat pump does not run",
        json_schema_extra=origin(
            "limit of the heat pump's own map", none="the coldest source its map or table reaches"
        ),
    )

    lines: RefrigerantLines | None = Field(
        None,
        description="refrigerant lines of a split system",
        json_schema_extra=origin("the heat pump is in one piece"),
    )
    water_lines: WaterLines | None = Field(
        None,
        description="water lines outdoors",
        json_schema_extra=origin("[tankyear-default]", none="no water lines outdoors"),
    )

    @rule
    def _one_kind_of_lines(self) -> Iterator[Clash]:
        if self.lines is not None and self.water_lines is not None:
            yield Clash("water_lines", "nothing beside plant.heat_pump.lines")

    @rule
    def _lines_in_rating(self) -> Iterator[Clash]:
        if self.lines is not None and (self.table is not None or self.ratings is not None):
            yield Clash("lines", "nothing beside a table or ratings: put what the lines cost into them")

    @rule
    def _one_rating(self) -> Iterator[Clash]:
        rating = [key for key in ("capacity", "cop", "rated_at") if getattr(self, key) is not None]
        idle = {
            "table": [*rating, *filter(self.given, ("approach", "ratings", "injection", "limits"))],
            "ratings": [*rating, *filter(self.given, ("approach",))],
        }
        other = next((key for key in idle if getattr(self, key) is not None), None)
        for key in idle[other] if other is not None else ():
            yield Clash(key, f"nothing beside plant.heat_pump.{other}")

    @rule
    def _whole_rating(self) -> Iterator[Clash]:
        for key in ("capacity", "cop", "rated_at"):
            if self.table is None and self.ratings is None and getattr(self, key) is None:
                yield Clash(key, "a value (capacity, cop and rated_at together, or ratings, or a table)")

    @rule
    def _known_refrigerant(self) -> Iterator[Clash]:
        if self.table is None and self.refrigerant not in families.REFRIGERANTS:
            yield Clash(
                "refrigerant",
                f"{', '.join(families.REFRIGERANTS)}; any other only with a plant.heat_pump.table",
            )

    @rule
    def _keys_of_condenser(self) -> Iterator[Clash]:
        for key, kinds in (
            ("rise", ("multi-pass",)),
            ("return_height", ("single-pass", "multi-pass")),
            ("intake_height", ("single-pass", "multi-pass")),
            ("condenser_height", ("wrap-around",)),
        ):
            if self.given(key) and self.condenser not in kinds:
                yield Clash(key, f"nothing unless plant.heat_pump.condenser is {' or '.join(kinds)}")

    @rule
    def _returns_above_intake(self) -> Iterator[Clash]:
        if (
            self.condenser != "wrap-around"
            and self.return_height is not None
            and self.return_height <= self.intake_height
        ):
            yield Clash("return_height", f"above plant.heat_pump.intake_height ({self.intake_height:g})")

    @property
    def defrosts_by(self) -> str:
        """How an outdoor coil defrosts, as given or usual."""
        return self.defrost or ("none" if self.table else "reverse-cycle")

    @property
    def comes_back_at(self) -> float:
        """Share of the store's height at which its water comes back: as given, else by its passes."""
        if self.return_height is not None:
            return self.return_height
        return COMES_BACK_AT.get(self.condenser, COMES_BACK_AT["multi-pass"])
