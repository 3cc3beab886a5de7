"""The blocks on carbon and on site checks: grid, fuel, refrigerant; floor, service and room."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, ValidationInfo

from hpwhsim.io.units import (
    MASS_FACTOR,
    Area,
    Current,
    FloorLoad,
    Mass,
    MassPerLength,
    MassPerPower,
    Voltage,
    Volume,
    read_quantity,
)
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, Form, OneOf, existing_file, origin, rule
from hpwhsim.tables import read_table

GWP_SETS = tuple(row["set"] for row in read_table("gas_gwp"))
FUELS = tuple(row["fuel"] for row in read_table("fuel_factors"))


def _grid(value: object, info: ValidationInfo) -> str | Path:
    """A number with its unit (kept as it was written), the name of a region, or the path of a CSV file."""
    if isinstance(value, Path) or (isinstance(value, str) and value.lower().endswith(".csv")):
        return existing_file(value, info)
    if isinstance(value, str) and re.fullmatch(r"\s*[A-Za-z][A-Za-z -]*([ ,-]\d{4})?\s*", value):
        return value.strip()
    try:
        factor = read_quantity(value, MASS_FACTOR)
    except ValueError as error:
        raise ValueError(f"{error}, a region such as 'RFCW 2023', or the path of a file *.csv") from None
    if factor < 0.0:
        raise ValueError("0 kg/kWh or more")
    return str(value).strip()


def _gwp(value: object) -> str | float:
    """A set of warming potentials, or a number."""
    if isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value <= 20_000.0:
        return float(value)
    if isinstance(value, str) and value in GWP_SETS:
        return value
    raise ValueError(f"{', '.join(GWP_SETS)}, or a number of kg CO2e per kg from 0 to 20000")


GridFactor = Annotated[
    str | Path,
    BeforeValidator(_grid),
    Form("a mass per energy with its unit, a region, or the path of a file *.csv", {"type": "string"}),
]
Gwp = Annotated[
    str | float,
    BeforeValidator(_gwp),
    Form(
        f"{', '.join(GWP_SETS)}, or a number from 0 to 20000",
        {"anyOf": [{"enum": list(GWP_SETS)}, {"type": "number", "minimum": 0, "maximum": 20000}]},
    ),
]
GwpSet = Annotated[str, OneOf(GWP_SETS)]
FuelName = Annotated[str, OneOf(FUELS)]


class Steam(Block):
    """District or central steam instead of a fuel burnt in the building."""

    fuel: FuelName = Field(description="what the steam plant burns")
    plant_efficiency: float = Field(gt=0.1, le=1, description="heat leaving the steam plant over its fuel")
    network_loss: float = Field(ge=0, lt=0.9, description="share of that heat lost on the way")


class RefrigerantCarbon(Block):
    """The refrigerant of the whole plant and what is lost of it."""

    charge: Mass | None = Field(
        None,
        ge=0,
        le=1e4,
        description="refrigerant in the whole plant",
        json_schema_extra=origin(
            PRACTICE, none="charge_per_kw times rated heat, and what the lines piped on site hold"
        ),
    )
    charge_per_kw: MassPerPower | None = Field(
        None,
        gt=0,
        le=5,
        description="refrigerant per kW of rated heat, without lines piped on site",
        json_schema_extra=origin(PRACTICE, none="usual for the refrigerant's class, as listed with a range"),
    )
    line_charge: MassPerLength | None = Field(
        None,
        ge=0,
        le=5,
        description="refrigerant in both lines piped on site, per metre one way",
        json_schema_extra=origin("worked out from the lines", none="what the lines hold"),
    )
    annual_leak: float = Field(
        0.03,
        ge=0,
        le=1,
        description="share of the charge that leaks in a year and is topped up",
        json_schema_extra=origin(
            "[defra-leaks]: chillers 3.0 %; heat pumps alone 0.3 %, air conditioning with heat pumps 8.5 %"
        ),
    )
    end_of_life_loss: float = Field(
        0.2,
        ge=0,
        le=1,
        description="share of the charge lost when the heat pump is scrapped",
        json_schema_extra=origin("[ipcc-2006-v3-ch7]: at most 80 % is recovered"),
    )
    recovered: float | None = Field(
        None,
        ge=0,
        le=1,
        description="share recovered of what is left at the end, instead of end_of_life_loss",
        json_schema_extra=origin("end_of_life_loss says it"),
    )
    left_at_end: float = Field(
        1.0,
        ge=0,
        le=1,
        description="share of the charge left at the end (with recovered)",
        json_schema_extra=origin("[en-378-tewi]: leaks are topped up, so the heat pump ends full"),
    )
    installation_loss: float = Field(
        0.0,
        ge=0,
        le=1,
        description="share of the charge lost at the first filling; not in TEWI, listed apart",
        json_schema_extra=origin("[en-378-tewi]: has no such term; [defra-leaks]: 1 %"),
    )
    service_loss: float = Field(
        0.0,
        ge=0,
        le=1,
        description="share of the charge lost in a year by service work; not in TEWI, listed apart",
        json_schema_extra=origin("[en-378-tewi]: has no such term"),
    )
    gwp: Gwp | None = Field(
        None,
        description="warming potential of the refrigerant: a set such as AR6-100, or a number of kg CO2e "
        "per kg",
        json_schema_extra=origin("[tankyear-default]", none="by the set of carbon.gwp"),
    )

    @property
    def lost_at_end(self) -> float:
        """Share of the charge lost at the end, whichever way it was written."""
        if self.recovered is None:
            return self.end_of_life_loss
        return self.left_at_end * (1.0 - self.recovered)

    @rule
    def _one_charge(self) -> Iterator[Clash]:
        for key in ("charge_per_kw", "line_charge"):
            if self.charge is not None and self.given(key):
                yield Clash(key, "nothing beside carbon.refrigerant.charge")

    @rule
    def _end_of_life(self) -> Iterator[Clash]:
        if self.recovered is not None and self.given("end_of_life_loss"):
            yield Clash("end_of_life_loss", "nothing beside carbon.refrigerant.recovered")
        if self.recovered is None and self.given("left_at_end"):
            yield Clash("left_at_end", "nothing without carbon.refrigerant.recovered")


class Carbon(Block):
    """What a kWh and a kilogram of refrigerant weigh."""

    grid: GridFactor = Field(
        "US 2023",
        description="electricity at the meter: '0.39 kg/kWh', a region such as 'RFCW 2023', or CSV: "
        "8760 rows of kg_per_kwh, or year, kg_per_kwh",
        json_schema_extra=origin("[egrid-2023]: United States, over 1 less grid loss; name your own grid"),
    )
    grid_kind: Literal["average", "marginal"] = Field(
        "average",
        description="what the factor of carbon.grid is",
        json_schema_extra=origin("[egrid-2023]: annual averages are what is published"),
    )
    marginal: GridFactor | None = Field(
        None,
        description="marginal factor reported beside that of carbon.grid: a number or a CSV, as there",
        json_schema_extra=origin("no marginal factor was given"),
    )
    grid_loss: float | None = Field(
        None,
        ge=0,
        lt=0.5,
        description="loss between generation and meter, as a share of generation, for a region whose factor "
        "is per kWh generated",
        json_schema_extra=origin(
            "[egrid-2023]", none="that of the packaged table; none outside the US, or for a number or a file"
        ),
    )
    gwp: GwpSet = Field(
        "AR6-100",
        description="warming potentials of the refrigerant, and of CH4 and N2O where they are apart",
        json_schema_extra=origin("[ipcc-ar6]: 100 years, the latest assessment; EPA's own sums are AR5-100"),
    )
    service_years: int = Field(
        15,
        ge=1,
        le=60,
        description="years of service",
        json_schema_extra=origin("[ipcc-2006-v3-ch7]: heat pumps 10 to 20 years"),
    )
    first_year: int | None = Field(
        None,
        ge=2000,
        le=2100,
        description="first year of service (with yearly factors)",
        json_schema_extra=origin("[tankyear-default]", none="the first year of the file, if it has years"),
    )
    fuel: FuelName = Field(
        "natural-gas",
        description="what a gas backup or a boiler burns",
        json_schema_extra=origin(f"[cfr-98-c]; which fuel: {PRACTICE}"),
    )
    steam: Steam | None = Field(
        None,
        description="steam in place of a fuel",
        json_schema_extra=origin("no steam was given"),
    )
    upstream_leak: float | None = Field(
        None,
        ge=0,
        lt=0.5,
        description="gas lost before the meter over gas delivered; reported apart, in no other figure",
        json_schema_extra=origin("no leak was given"),
    )
    methane_share: float = Field(
        0.93,
        ge=0.5,
        le=1,
        description="methane in the gas by volume (with upstream_leak)",
        json_schema_extra=origin(f"pipeline gas 0.87 to 0.97; {PRACTICE}"),
    )
    refrigerant: RefrigerantCarbon = Field(
        default_factory=RefrigerantCarbon,
        description="charge and losses of refrigerant",
        json_schema_extra=origin("defaults of its keys"),
    )

    @rule
    def _one_marginal(self) -> Iterator[Clash]:
        if self.marginal is not None and self.grid_kind == "marginal":
            yield Clash("marginal", "nothing: carbon.grid_kind says that carbon.grid is marginal")

    @rule
    def _loss_of_region(self) -> Iterator[Clash]:
        if self.grid_loss is not None and not (isinstance(self.grid, str) and self.grid[0].isalpha()):
            yield Clash("grid_loss", "nothing: the number or file of carbon.grid is at the meter")

    @rule
    def _steam_or_fuel(self) -> Iterator[Clash]:
        if self.steam is not None and self.given("fuel"):
            yield Clash("fuel", "nothing beside carbon.steam")

    @rule
    def _methane(self) -> Iterator[Clash]:
        if self.given("methane_share") and self.upstream_leak is None:
            yield Clash("methane_share", "nothing without carbon.upstream_leak")

    @rule
    def _leak_of_gas(self) -> Iterator[Clash]:
        if self.upstream_leak is not None and (self.steam is not None or self.fuel != "natural-gas"):
            yield Clash("upstream_leak", "nothing unless carbon.fuel is natural-gas")


class SiteChecks(Block):
    """What the building offers, for the list of site checks; nothing here moves a kWh."""

    region: Literal["US", "EU", "other"] | None = Field(
        None,
        description="whose rules on refrigerants the plant is held against",
        json_schema_extra=origin(
            "country in the header of the weather file", none="that of the weather file"
        ),
    )
    voltage: Voltage = Field(
        208.0,
        ge=100,
        le=690,
        description="supply of the plant, between lines where there are three phases",
        json_schema_extra=origin(f"208Y/120 V is usual in US apartment houses; {PRACTICE}"),
    )
    phases: Literal[1, 3] = Field(3, description="phases of that supply", json_schema_extra=origin(PRACTICE))
    building_voltage: Voltage | None = Field(
        None,
        ge=100,
        le=690,
        description="service of the building, line to line",
        json_schema_extra=origin("not given: to be confirmed"),
    )
    available_current: Current | None = Field(
        None,
        ge=0,
        le=2e4,
        description="what that service can still give, at building_voltage",
        json_schema_extra=origin("not given: to be confirmed"),
    )
    power_factor: float = Field(
        0.9,
        ge=0.5,
        le=1,
        description="power factor of compressors, fans and pumps",
        json_schema_extra=origin(f"0.85 to 0.95; {PRACTICE}"),
    )
    module_mca: Current | None = Field(
        None,
        gt=0,
        le=2e4,
        description="minimum circuit ampacity (MCA) on the nameplate of one module",
        json_schema_extra=origin("not given: worked out from the greatest power"),
    )
    module_mop: Current | None = Field(
        None,
        gt=0,
        le=2e4,
        description="maximum overcurrent protection (MOP, MOCP) on the nameplate of one module",
        json_schema_extra=origin("not given: worked out from the greatest power"),
    )
    max_floor_load: FloorLoad | None = Field(
        None,
        gt=0,
        le=1e6,
        description="live load that the floor under the store carries",
        json_schema_extra=origin("not given: to be confirmed"),
    )
    footprint: Area | None = Field(
        None,
        gt=0,
        le=1e4,
        description="floor under all tanks, with spreaders",
        json_schema_extra=origin(PRACTICE, none="store over height of the water"),
    )
    tank_mass: Mass | None = Field(
        None,
        gt=0,
        le=1e6,
        description="all tanks, empty",
        json_schema_extra=origin(PRACTICE, none="140 kg per m3 held (0.8 to 1.5 lb/gal)"),
    )
    module_mass: Mass | None = Field(
        None,
        gt=0,
        le=1e5,
        description="one module of the heat pump",
        json_schema_extra=origin(PRACTICE, none="11 kg per kW of rated heat: 1,100 kg at 100 kW"),
    )
    module_footprint: Area | None = Field(
        None,
        gt=0,
        le=1e3,
        description="what one module of the heat pump stands on, with its frame",
        json_schema_extra=origin(PRACTICE, none="0.025 m2 per kW of rated heat: 2.5 m2 at 100 kW"),
    )
    max_roof_load: FloorLoad | None = Field(
        None,
        gt=0,
        le=1e6,
        description="load that the roof or slab under outdoor modules carries, snow taken off",
        json_schema_extra=origin("not given: to be confirmed"),
    )
    room_volume: Volume | None = Field(
        None,
        gt=0,
        le=1e5,
        description="air of the smallest closed room with a part of a refrigerant circuit",
        json_schema_extra=origin("not given: the least room is listed instead"),
    )
    room_area: Area | None = Field(
        None,
        gt=0,
        le=1e5,
        description="floor of that room, if people stay in it",
        json_schema_extra=origin("not given"),
    )
    air_opening: Area | None = Field(
        None,
        gt=0,
        le=1e3,
        description="free area through which an indoor air-source heat pump draws its air",
        json_schema_extra=origin("not given: the least opening is listed instead"),
    )

    @rule
    def _nameplate(self) -> Iterator[Clash]:
        if self.module_mca is not None and self.module_mop is not None and self.module_mop < self.module_mca:
            yield Clash("module_mop", f"at least site.checks.module_mca ({self.module_mca:g} A)")
