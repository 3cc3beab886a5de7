"""The `recirculation` block: the loop that keeps hot water near the taps, and its own tank if it has one."""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from hpwhsim.io.units import (
    POWER,
    Conductivity,
    Difference,
    Flow,
    HeatLoss,
    Length,
    Power,
    Pressure,
    Temperature,
    Volume,
)
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    FilePath,
    Loop,
    OneOf,
    Windows,
    default,
    degrees,
    origin,
    rule,
)
from hpwhsim.tables import read_table

RATED = {"refrigerant", "modules", "capacity", "cop", "rated_at", "condenser", "rise", "approach"}
"""Keys of a loop tank's heat pump."""

SIZES = tuple(row["size"] for row in read_table("copper_tubes"))
TubeSize = Annotated[str, OneOf(SIZES)]
_BY_DRAW = origin(
    "[ipc-e103]; 5 ft/s: common practice, no source",
    none="by the apartments still to serve: the smallest tube for their most probable draw at 5 ft/s",
)


class Risers(Block):
    """A building of equal risers along one main, each with its return pipe beside it."""

    risers: int = Field(ge=1, le=200, description="risers on the main")
    floors: int = Field(ge=1, le=100, description="floors that each riser serves")
    apartments_per_riser: float = Field(ge=0.5, le=1000, description="apartments on a riser, all floors")
    main_length: Length = Field(
        ge=0, le=2000, description="length of the main from the plant to the first riser"
    )
    spacing: Length = Field(
        9.0,
        ge=0,
        le=200,
        description="distance from riser to riser along the main",
        json_schema_extra=origin(PRACTICE),
    )
    floor_height: Length = Field(
        3.0, ge=2, le=10, description="height from floor to floor", json_schema_extra=origin(PRACTICE)
    )
    main_size: TubeSize | None = Field(
        None,
        description="nominal size of the supply main all along, such as '2 in' or '54 mm'",
        json_schema_extra=_BY_DRAW,
    )
    riser_size: TubeSize | None = Field(
        None,
        description="nominal size of the supply risers all along",
        json_schema_extra=_BY_DRAW,
    )
    return_main_size: TubeSize = Field(
        "1 in", description="nominal size of the return main", json_schema_extra=origin(PRACTICE)
    )
    return_riser_size: TubeSize = Field(
        "3/4 in", description="nominal size of the return risers", json_schema_extra=origin(PRACTICE)
    )
    main_insulation: Length = Field(
        0.0381,
        ge=0,
        le=0.3,
        description="insulation thickness on supply and return main; 0: bare",
        json_schema_extra=origin("[ashrae-90-1]: 1.5 in on pipes of 1-1/2 in and larger"),
    )
    riser_insulation: Length = Field(
        0.0254,
        ge=0,
        le=0.3,
        description="insulation thickness on supply and return risers; 0: bare",
        json_schema_extra=origin("[ashrae-90-1]: 1 in on pipes below 1-1/2 in"),
    )
    main_ambient: Temperature = Field(
        18.0,
        ge=-30,
        le=50,
        description="temperature of the air around the mains",
        json_schema_extra=origin(f"a cellar; {PRACTICE}"),
    )


class LoopTank(Block):
    """A tank of the loop's own, between the store and the building."""

    volume: Volume = Field(gt=0, le=200, description="volume of the loop tank")
    setpoint: Temperature = Field(ge=40, le=95, description="temperature that the loop tank's heater holds")
    connection: Literal["series", "parallel"] = Field(
        "series",
        description="series: hot water from the store runs through it to the taps; parallel: only the loop",
        json_schema_extra=origin("[tankyear-default]: the store's hot water then carries part of the loss"),
    )
    power: Power | None = Field(
        None,
        gt=0,
        le=2e6,
        description="power of the loop tank's resistance heater",
        json_schema_extra=origin("its heater is a heat pump"),
    )
    heat_pump: HeatPump | None = Field(
        None,
        description="air-source multi-pass heat pump of the loop tank, in place of a resistance heater",
        json_schema_extra=origin("its heater is a resistance") | {"only": sorted(RATED)},
    )
    dead_band: Difference = Field(
        3.0,
        gt=0,
        le=30,
        description="the loop tank's heater starts this far below its setpoint",
        json_schema_extra=origin(PRACTICE),
    )
    heat_loss: HeatLoss | None = Field(
        None,
        ge=0,
        le=500,
        description="the loop tank's standby loss per kelvin above the room",
        json_schema_extra=origin(
            "[cfr-431-110]: unfired storage tanks, R-12.5 h ft2 degF/Btu at least",
            none="surface of the tank over R-12.5",
        ),
    )

    @rule
    def _one_heater(self) -> Iterator[Clash]:
        if (self.power is None) == (self.heat_pump is None):
            yield Clash("power", f"{POWER}, or recirculation.loop_tank.heat_pump, and not both")

    @rule
    def _heat_pump_of_loop(self) -> Iterator[Clash]:
        if self.heat_pump is None:
            return
        if self.heat_pump.condenser != "multi-pass" or self.heat_pump.modules != 1:
            yield Clash("heat_pump.condenser", "multi-pass, and one module")
        for key in sorted(self.heat_pump.model_fields_set - RATED):
            yield Clash(f"heat_pump.{key}", f"{', '.join(sorted(RATED - {'modules'}))} alone")


class Recirculation(Block):
    """The loop that keeps hot water near the taps."""

    loss_per_apartment: Power | None = Field(
        None,
        gt=0,
        le=5000,
        description="heat lost by the running loop at loss_at, over the number of apartments",
        json_schema_extra=origin("the pipes were given"),
    )
    loss_at: Temperature = Field(
        55.5,
        ge=25,
        le=95,
        description="mean temperature of the loop's water at which it loses loss_per_apartment; hotter "
        "water loses more in proportion to its difference from ambient_temperature",
        json_schema_extra=origin("[guideline-12-loop]; half way from storage to return"),
    )
    sections: FilePath | None = Field(
        None,
        description="CSV of the pipes in the direction of flow: size, length_m, insulation_mm, ambient_c, "
        "side (supply or return), parallel",
        json_schema_extra=origin("the loss, or the risers, were given"),
    )
    risers: Risers | None = Field(
        None,
        description="equal risers along one main",
        json_schema_extra=origin("the loss, or the sections, were given"),
    )
    conductivity: Conductivity = Field(
        0.03606,
        ge=0.01,
        le=0.2,
        description="thermal conductivity of the pipe insulation (sections, risers)",
        json_schema_extra=origin("[ashrae-90-1]: 0.25 Btu in/h ft2 degF lies within its range"),
    )
    bare_share: float = Field(
        0.1,
        ge=0,
        le=1,
        description="share of the length that is bare: valves, fittings, hangers and gaps (sections, risers)",
        json_schema_extra=origin(PRACTICE),
    )
    ambient_temperature: Temperature = Field(
        22.0,
        ge=-30,
        le=50,
        description="temperature of the air around the pipes, or around the risers (loss_per_apartment, "
        "risers)",
        json_schema_extra=origin(f"shafts of a heated building; {PRACTICE}"),
    )
    return_temperature: Temperature = Field(
        51.0,
        ge=20,
        le=90,
        description="temperature of the water coming back",
        json_schema_extra=origin("[guideline-12-loop]"),
    )
    supply_drop: Difference | None = Field(
        None,
        gt=0,
        le=30,
        description="allowed fall of temperature from the plant and back, instead of return_temperature",
        json_schema_extra=origin("[tankyear-default]", none="what leads to return_temperature"),
    )
    min_flow: Flow = Field(
        3.1545e-5,
        ge=0,
        le=0.01,
        description="minimum flow in each branch (sections, risers)",
        json_schema_extra=origin(
            "0.5 gpm, which a balancing valve can still set; common practice, no source"
        ),
    )
    pump_power: Power | None = Field(
        None,
        ge=0,
        le=1e5,
        description="electricity of the running loop pump",
        json_schema_extra=origin(
            "[darcy-weisbach]; over the sections",
            none="from the friction in the pipes; with loss_per_apartment from pump_head",
        ),
    )
    pump_efficiency: float = Field(
        0.25,
        gt=0,
        le=0.9,
        description="efficiency of pump and motor together (pump_power from friction or pump_head)",
        json_schema_extra=origin(f"small wet-rotor pumps; {PRACTICE}"),
    )
    pump_head: Pressure = Field(
        30e3,
        ge=0,
        le=1e6,
        description="head of the loop pump at the loop's flow (pump_power with loss_per_apartment)",
        json_schema_extra=origin(f"10 ft of water; {PRACTICE}"),
    )
    fittings: float = Field(
        1.5,
        ge=1,
        le=10,
        description="friction with fittings over that of the pipes (pump_power from friction)",
        json_schema_extra=origin(PRACTICE),
    )
    valve_drop: Pressure = Field(
        15e3,
        ge=0,
        le=2e5,
        description="lost in a balancing and a check valve (pump_power from friction)",
        json_schema_extra=origin(PRACTICE),
    )
    schedule: Windows = Field(
        (),
        description="the only stretches of the day in which the pump runs, such as '05:00-23:00'",
        json_schema_extra=origin("[cdc-loop]: it runs all day"),
    )
    aquastat: Temperature | None = Field(
        None,
        ge=20,
        le=90,
        description="the pump starts when the return pipe is colder",
        json_schema_extra=origin("[tankyear-default]", none="no thermostat on the return"),
    )
    aquastat_band: Difference = Field(
        2.8,
        gt=0,
        le=20,
        description="the pump stops this far above aquastat",
        json_schema_extra=origin("[goldner-1999]; 5 degF"),
    )
    crossover: Flow = Field(
        0.0,
        ge=0,
        le=0.01,
        description="cold water that leaks through mixing valves into the loop, a fault to study",
        json_schema_extra=origin("[tankyear-default]: no fault"),
    )
    return_height: float = Field(
        0.5,
        ge=0,
        le=1,
        description="share of the store's height at which the returning water enters, above the stirred foot",
        json_schema_extra=origin(PRACTICE),
    )
    served_by: Loop = Field(
        "store",
        description="what makes up the recirculation loss",
        json_schema_extra=origin("[tankyear-default]: a loop back to the store is the plainest plant"),
    )
    loop_tank: LoopTank | None = Field(
        None,
        description="the loop's own tank",
        json_schema_extra=origin("recirculation.served_by is store"),
    )

    @rule
    def _one_loss(self) -> Iterator[Clash]:
        ways = [key for key in ("loss_per_apartment", "sections", "risers") if getattr(self, key) is not None]
        if not ways:
            yield Clash("loss_per_apartment", f"{POWER}, or recirculation.sections, or recirculation.risers")
        for key in ways[1:]:
            yield Clash(key, f"nothing beside recirculation.{ways[0]}")

    @rule
    def _keys_of_pipes(self) -> Iterator[Clash]:
        for key in ("conductivity", "bare_share", "min_flow", "fittings", "valve_drop"):
            if self.loss_per_apartment is not None and self.given(key):
                yield Clash(key, "nothing beside recirculation.loss_per_apartment")

    @rule
    def _keys_of_watts(self) -> Iterator[Clash]:
        for key in ("loss_at", "pump_head"):
            if self.loss_per_apartment is None and self.given(key):
                yield Clash(key, "nothing without recirculation.loss_per_apartment")

    @rule
    def _loss_above_ambient(self) -> Iterator[Clash]:
        if self.loss_per_apartment is not None and self.loss_at <= self.ambient_temperature:
            yield Clash(
                "loss_at",
                f"above recirculation.ambient_temperature ({degrees(self.ambient_temperature)})",
                default(self.loss_at),
            )

    @rule
    def _one_ambient(self) -> Iterator[Clash]:
        if self.sections is not None and self.given("ambient_temperature"):
            yield Clash("ambient_temperature", "nothing beside recirculation.sections, which hold it")

    @rule
    def _one_pump(self) -> Iterator[Clash]:
        for key in ("pump_efficiency", "pump_head", "fittings", "valve_drop"):
            if self.pump_power is not None and self.given(key):
                yield Clash(key, "nothing beside recirculation.pump_power")

    @rule
    def _one_return(self) -> Iterator[Clash]:
        if self.supply_drop is not None and self.given("return_temperature"):
            yield Clash("return_temperature", "nothing beside recirculation.supply_drop")

    @rule
    def _crossover_all_day(self) -> Iterator[Clash]:
        if self.crossover > 0.0 and (self.schedule or self.aquastat is not None):
            yield Clash(
                "crossover", "nothing beside recirculation.schedule or .aquastat: the pump runs all day"
            )

    @rule
    def _aquastat_keys(self) -> Iterator[Clash]:
        if self.aquastat is None and self.given("aquastat_band"):
            yield Clash("aquastat_band", "nothing without recirculation.aquastat")
        if self.aquastat is not None and self.schedule:
            yield Clash("schedule", "nothing beside recirculation.aquastat")

    @rule
    def _aquastat_above_ambient(self) -> Iterator[Clash]:
        if self.aquastat is not None and self.sections is None and self.aquastat <= self.ambient_temperature:
            yield Clash(
                "aquastat",
                f"above recirculation.ambient_temperature ({degrees(self.ambient_temperature)})",
            )

    @rule
    def _tank_as_served(self) -> Iterator[Clash]:
        if (self.served_by == "loop-tank") != (self.loop_tank is not None):
            allowed = "a block" if self.loop_tank is None else "nothing"
            yield Clash("loop_tank", f"{allowed} with recirculation.served_by {self.served_by}")

    @rule
    def _returns_to_tank(self) -> Iterator[Clash]:
        if self.loop_tank is not None and self.given("return_height"):
            yield Clash("return_height", "nothing with recirculation.served_by loop-tank")

    def running_minutes(self) -> frozenset[int]:
        """Minutes of the day (0 to 1439) in which the pump may run."""
        return frozenset({m % 1440 for w in self.schedule for m in w.minutes()} or range(1440))
