"""The `plant.source` block: outdoor air, a room, a ground loop or wastewater, as frozen, strict models."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from hpwhsim.io.units import (
    Conductivity,
    DailyVolume,
    Difference,
    Duration,
    Flow,
    HeatCapacity,
    HeatLoss,
    Length,
    Power,
    Pumping,
    Temperature,
    Volume,
)
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, FilePath, SourceKind, origin, rule
from hpwhsim.scenario.room import Room

FLOW_PER_WATT, SAID_FLOW = 0.054e-6, "3 gpm per ton"
"""Fluid of a ground loop for its heat from the ground, m³/s per W, and the same in the trade's words."""
ANTIFREEZE_SHARE = 0.25  # of what is mixed with the water of a ground loop
EXCHANGE_K, COOLING_K = 3.0, 4.0  # of a sewage exchanger at the rating
EXCHANGER_PA, SEWAGE_PUMP_EFFICIENCY = 50e3, 0.4  # drop on each side of a sewage exchanger
CLEANING_MONTHS = 6
TYPICAL_BORE = "typical of vertical closed loops; common practice, no source"


class GroundLoop(Block):
    """A field of vertical bores, its pipes, its fluid and its pump."""

    layout: Literal["rectangle", "L", "U", "open-box"] = Field(
        "rectangle",
        description="layout of the bores: a full rectangle (a line is one row), or its edges",
        json_schema_extra=origin("[tankyear-default]: the plainest field"),
    )
    rows: int = Field(ge=1, le=60, description="rows of bores")
    columns: int = Field(ge=1, le=60, description="bores in a row")
    spacing: Length = Field(
        6.0,
        ge=1,
        le=50,
        description="distance between neighbouring bores",
        json_schema_extra=origin("20 ft (6 m); common practice, no source"),
    )
    depth: Length = Field(ge=10, le=500, description="active length of each bore")
    buried: Length = Field(
        2.0,
        gt=0,
        le=20,
        description="depth of the top of the active length below the surface",
        json_schema_extra=origin(TYPICAL_BORE),
    )
    diameter: Length = Field(
        0.15,
        ge=0.05,
        le=0.5,
        description="diameter of a bore",
        json_schema_extra=origin(TYPICAL_BORE),
    )
    u_tubes: Literal[1, 2] = Field(
        1, description="U-tubes in a bore, in parallel", json_schema_extra=origin(TYPICAL_BORE)
    )
    pipe_outer: Length = Field(
        0.032,
        ge=0.01,
        le=0.1,
        description="outer diameter of the pipe",
        json_schema_extra=origin(TYPICAL_BORE),
    )
    pipe_inner: Length = Field(
        0.0262,
        ge=0.005,
        le=0.1,
        description="inner diameter of the pipe",
        json_schema_extra=origin(TYPICAL_BORE),
    )
    shank_spacing: Length = Field(
        0.06,
        ge=0.01,
        le=0.4,
        description="distance between the centres of the two legs of a tube",
        json_schema_extra=origin(TYPICAL_BORE),
    )
    pipe_conductivity: Conductivity = Field(
        0.40,
        gt=0,
        le=5,
        description="thermal conductivity of the pipe wall",
        json_schema_extra=origin("polyethylene; common practice, no source"),
    )
    grout_conductivity: Conductivity = Field(
        1.5,
        gt=0.1,
        le=5,
        description="thermal conductivity of the grout",
        json_schema_extra=origin("thermally enhanced grout; common practice, no source"),
    )
    ground_conductivity: Conductivity = Field(
        gt=0.2, le=8, description="thermal conductivity of the ground, from a response test or a survey"
    )
    ground_heat_capacity: HeatCapacity = Field(
        2.2e6,
        ge=5e5,
        le=5e6,
        description="heat capacity of the ground by volume",
        json_schema_extra=origin("1.8 to 2.6 MJ/m3/K for most soils and rocks; common practice, no source"),
    )
    ground_temperature: Temperature | None = Field(
        None,
        ge=-5,
        le=35,
        description="undisturbed ground temperature, mean along the bores",
        json_schema_extra=origin(
            "yearly mean of the surface wave of the weather file",
            none="mean ground temperature of the weather file",
        ),
    )
    fluid: Literal["water", "propylene-glycol", "ethylene-glycol", "methanol", "ethanol"] = Field(
        "propylene-glycol",
        description="what is mixed with the water of the loop",
        json_schema_extra=origin(PRACTICE),
    )
    fluid_share: float | None = Field(
        None,
        ge=0,
        le=0.6,
        description="mass of the antifreeze over the mass of the fluid",
        json_schema_extra=origin(PRACTICE, none=f"{ANTIFREEZE_SHARE:g} (water: 0)"),
    )
    flow: Flow | None = Field(
        None,
        gt=0,
        le=1,
        description="flow of the fluid through the whole field with all modules running",
        json_schema_extra=origin(
            f"{SAID_FLOW} of refrigeration ({1e6 * FLOW_PER_WATT:g} L/s per kW of heat from the ground); "
            f"{PRACTICE}",
            none=f"{SAID_FLOW} at the rating",
        ),
    )
    min_flow_fraction: float = Field(
        0.5,
        gt=0,
        le=1,
        description="minimum flow over full flow; between it and 1 the flow follows the modules; 1: fixed"
        " speed",
        json_schema_extra=origin(PRACTICE),
    )
    pump_power: Power | None = Field(
        None,
        ge=0,
        le=1e6,
        description="electricity of the loop pump at full flow",
        json_schema_extra=origin(
            "[darcy-weisbach]; over bores, header and heat pump", none="from the friction in the pipes"
        ),
    )
    header: Length = Field(
        60.0,
        ge=0,
        le=2000,
        description="horizontal pipe of a bore, out and back (pump_power from friction)",
        json_schema_extra=origin(PRACTICE),
    )
    pump_efficiency: float = Field(
        0.45,
        gt=0,
        le=0.9,
        description="efficiency of pump and motor together (pump_power from friction)",
        json_schema_extra=origin(PRACTICE),
    )
    rejection: FilePath | None = Field(
        None,
        description="CSV with rejection_kw: heat that chillers on the same loop put into it, 8760 rows",
        json_schema_extra=origin("[tankyear-default]", none="the field only gives heat"),
    )
    rejection_circuit: Literal["shared", "own"] = Field(
        "shared",
        description="shared: the chillers' water is the loop's own fluid, warmed before the heat pump "
        "meets it; own: a circuit of its own, which warms the ground alone (rejection)",
        json_schema_extra=origin(f"one pair of mains to the field; {PRACTICE}"),
    )

    @rule
    def _pipe_wall(self) -> Iterator[Clash]:
        if self.pipe_inner >= self.pipe_outer:
            yield Clash("pipe_inner", "less than plant.source.ground_loop.pipe_outer")

    @rule
    def _legs_in_bore(self) -> Iterator[Clash]:
        room = self.shank_spacing + self.pipe_outer
        if not self.pipe_outer <= self.shank_spacing or room > self.diameter:
            yield Clash(
                "shank_spacing",
                "at least plant.source.ground_loop.pipe_outer, and both legs within the bore's diameter",
            )

    @rule
    def _one_pump(self) -> Iterator[Clash]:
        for key in ("header", "pump_efficiency"):
            if self.pump_power is not None and self.given(key):
                yield Clash(key, "nothing beside plant.source.ground_loop.pump_power")


DRAINS = (
    *("cold_use_per_apartment", "heat_left", "cistern_pickup", "drain_loss"),
    *("lag", "screening_loss", "well_volume", "well_loss"),
)
"""Keys of the building's own drains."""


class Wastewater(Block):
    """The building's own drains with a wet well, or a street sewer given as series."""

    sewer: FilePath | None = Field(
        None,
        description="CSV of a street sewer: flow_m3_per_h, temperature_c, 8760 rows; instead of the drains",
        json_schema_extra=origin("[tankyear-default]", none="the building's own drains"),
    )
    cold_use_per_apartment: DailyVolume | None = Field(
        None,
        ge=0,
        le=5,
        description="cold water beside what the taps mix: cisterns, cold taps, laundry",
        json_schema_extra=origin(
            "[kwr-2015]",
            none="as much as brings sewage to the warmth that Dutch homes have",
        ),
    )
    heat_left: float = Field(
        0.85,
        gt=0,
        le=1,
        description="share of the heat added at the taps that goes down the drain",
        json_schema_extra=origin(
            "showers and basins cool on their way to the drain; common practice, no source"
        ),
    )
    drain_loss: HeatLoss = Field(
        27.0,
        ge=0,
        le=1e4,
        description="heat loss of stacks and drains of an apartment to rooms and soil",
        json_schema_extra=origin(
            "[tankyear-default], so that default sewage runs between 10 and 21 degC as building drains "
            "and sewers do (common practice, no source)"
        ),
    )
    cistern_pickup: Difference = Field(
        3.0,
        ge=0,
        le=20,
        description="warming of the other cold water in cisterns and pipes, at most to 20 degC",
        json_schema_extra=origin("0 to 8 K; common practice, no source"),
    )
    lag: Duration = Field(
        900.0,
        ge=0,
        le=86400,
        description="mean time of the water on its way to the pit",
        json_schema_extra=origin(PRACTICE),
    )
    screening_loss: float = Field(
        0.05,
        ge=0,
        lt=1,
        description="share of the sewage that goes past with the screenings",
        json_schema_extra=origin(PRACTICE),
    )
    well_volume: Volume | None = Field(
        None,
        gt=0,
        le=5000,
        description="working volume of the wet well",
        json_schema_extra=origin("[tankyear-default]", none="an hour of the mean flow"),
    )
    well_loss: HeatLoss = Field(
        5.0,
        ge=0,
        le=1e4,
        description="heat loss of the well to the soil",
        json_schema_extra=origin(PRACTICE),
    )
    min_temperature: Temperature = Field(
        5.0,
        ge=0,
        le=20,
        description="the sewage is cooled to no less than this",
        json_schema_extra=origin("5 to 8 degC, by law often 10 degC; common practice, no source"),
    )
    exchanger: HeatLoss | None = Field(
        None,
        gt=0,
        le=1e7,
        description="conductance of the clean exchanger, all modules",
        json_schema_extra=origin(
            f"{EXCHANGE_K:g} K of mean difference at the rating; {PRACTICE}",
            none=f"heat taken at the rating over {EXCHANGE_K:g} K",
        ),
    )
    clean_loop: bool = Field(
        True,
        description="true: a loop of clean water between exchanger and heat pump; false: sewage to the "
        "evaporator",
        json_schema_extra=origin(PRACTICE),
    )
    flow: Flow | None = Field(
        None,
        gt=0,
        le=10,
        description="flow of sewage through the exchanger with all modules running, and of the clean loop",
        json_schema_extra=origin(
            f"{COOLING_K:g} K of cooling at the rating; {PRACTICE}",
            none=f"heat at the rating over {COOLING_K:g} K",
        ),
    )
    fouling: float = Field(
        0.169,
        ge=0,
        le=0.9,
        description="share of the exchanger's conductance lost in the first month after cleaning",
        json_schema_extra=origin("[grey-water-fouling]: -16.9 % in a month"),
    )
    max_fouling: float = Field(
        0.201,
        ge=0,
        le=0.95,
        description="share of the exchanger's conductance lost at most, however long it fouls",
        json_schema_extra=origin("[grey-water-fouling]: -20.1 % after about five months"),
    )
    fouling_growth: Literal["saturating", "linear"] = Field(
        "saturating",
        description="how fouling grows from fouling to max_fouling",
        json_schema_extra=origin("[grey-water-fouling]"),
    )
    cleaning_interval: int | None = Field(
        None,
        ge=1,
        le=120,
        description="months between cleanings, the first on 1 January",
        json_schema_extra=origin(PRACTICE, none=f"{CLEANING_MONTHS} months"),
    )
    pump_power: Power | None = Field(
        None,
        ge=0,
        le=1e6,
        description="circulation pumps of sewage and clean loop with all modules running",
        json_schema_extra=origin(
            f"2 x {EXCHANGER_PA / 1e3:g} kPa at an efficiency of {SEWAGE_PUMP_EFFICIENCY:g}; {PRACTICE}",
            none="from the flow",
        ),
    )
    grinding: Pumping = Field(
        72000.0,
        ge=0,
        le=1e7,
        description="electricity to grind and lift the sewage",
        json_schema_extra=origin("20 Wh/m3; common practice, no source"),
    )
    grinder_power: Power | None = Field(
        None,
        ge=0,
        le=1e6,
        description="motor of the grinder pump, on its nameplate, for the connected load; moves no kWh",
        json_schema_extra=origin(PRACTICE, none="grinding times the flow of sewage through the exchanger"),
    )

    @rule
    def _sewer_or_drains(self) -> Iterator[Clash]:
        for key in DRAINS:
            if self.sewer is not None and self.given(key):
                yield Clash(key, "nothing beside plant.source.wastewater.sewer")

    @rule
    def _fouling(self) -> Iterator[Clash]:
        if self.fouling > self.max_fouling:
            yield Clash("fouling", f"at most plant.source.wastewater.max_fouling ({self.max_fouling:g})")


class Source(Block):
    """Where the heat comes from."""

    kind: SourceKind | None = Field(
        None,
        description="where the heat comes from",
        json_schema_extra=origin("each plant family has its own", none="that of the plant family"),
    )
    room: Room | None = Field(
        None,
        description="the room of kind room",
        json_schema_extra=origin("not of this kind"),
    )
    ground_loop: GroundLoop | None = Field(
        None,
        description="the bore field of kind ground-loop",
        json_schema_extra=origin("not of this kind"),
    )
    wastewater: Wastewater | None = Field(
        None,
        description="the sewage of kind wastewater",
        json_schema_extra=origin("not of this kind"),
    )
