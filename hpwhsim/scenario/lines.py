"""Lines between an outdoor machine and the store indoors, as frozen, strict models."""

from collections.abc import Iterator
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from hpwhsim.io.units import Duration, HeatLoss, Length, LinePower, Temperature
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, origin, rule

FOOT = 0.3048  # m
USUAL_UNITS = 4.0  # transfer units of a glycol exchanger


class Usual(NamedTuple):
    """How far the lines of a class of plant commonly go, one way. [m]"""

    short: float  # the shortest of the usual limits
    long: float  # the longest of them
    height: float  # above or below the outdoor unit, from which makers ask for oil traps or refuse


USUAL = {
    "split": Usual(25.0 * FOOT, 50.0 * FOOT, 30.0 * FOOT),
    "banked-split": Usual(100.0 * FOOT, 300.0 * FOOT, 100.0 * FOOT),
}
"""By family; common practice, no source."""

_OWN = origin("not given: what is common stands in its place", none="")
MaxLength = Annotated[
    Length | None,
    Field(
        gt=0,
        le=500,
        description="maximum length of the lines, one way, that the maker allows",
        json_schema_extra=_OWN,
    ),
]
MaxHeight = Annotated[
    Length | None,
    Field(
        gt=0,
        le=200,
        description="maximum height of the store above or below the outdoor unit that the maker allows",
        json_schema_extra=_OWN,
    ),
]


class RefrigerantLines(Block):
    """Refrigerant lines of a split system, whose condenser stands at the store."""

    length: Length = Field(gt=0, le=500, description="length of the lines, one way")
    rise: Length = Field(
        0.0,
        ge=-200,
        le=200,
        description="height of the store above the outdoor unit; negative: below it",
        json_schema_extra=origin("[tankyear-default]: level"),
    )
    gas_diameter: Length | None = Field(
        None,
        gt=0,
        le=0.3,
        description="inside diameter of the gas line",
        json_schema_extra=origin("[astm-b280]; common practice, no source", none="the smallest usual tube"),
    )
    liquid_diameter: Length | None = Field(
        None,
        gt=0,
        le=0.3,
        description="inside diameter of the liquid line",
        json_schema_extra=origin("[astm-b280]; common practice, no source", none="the smallest usual tube"),
    )
    compressor: Literal["outdoors", "indoors"] = Field(
        "outdoors",
        description="outdoors: the lines carry hot gas and liquid; indoors: suction gas and liquid",
        json_schema_extra=origin(PRACTICE),
    )
    rated_length: Length = Field(
        0.0,
        ge=0,
        le=50,
        description="length, one way and level, of the lines that the rating was measured with",
        json_schema_extra=origin("[tankyear-default]: the rating leaves lines out"),
    )
    max_length: MaxLength = None
    max_height: MaxHeight = None


class WaterLines(Block):
    """Water lines outdoors between heat pump and store: supply and return."""

    length: Length = Field(gt=0, le=300, description="length of the lines outdoors, one way")
    rise: Length = Field(
        0.0,
        ge=-200,
        le=200,
        description="height of the store above the outdoor unit, held against max_height alone; negative:"
        " below it",
        json_schema_extra=origin("[tankyear-default]: level"),
    )
    max_length: MaxLength = None
    max_height: MaxHeight = None
    inner_diameter: Length = Field(
        0.0266,
        ge=0.005,
        le=0.5,
        description="inside diameter of a pipe",
        json_schema_extra=origin("1 inch; common practice, no source"),
    )
    outer_diameter: Length = Field(
        0.0286,
        ge=0.005,
        le=0.6,
        description="outside diameter of the bare pipe",
        json_schema_extra=origin("1 inch; common practice, no source"),
    )
    insulation: Length = Field(
        0.025,
        ge=0,
        le=0.3,
        description="insulation thickness",
        json_schema_extra=origin(PRACTICE),
    )
    protection: Literal["none", "trace", "glycol"] = Field(
        "trace",
        description="against freezing: heat trace, or glycol outdoors with an exchanger at the store",
        json_schema_extra=origin(PRACTICE),
    )
    trace_rating: LinePower = Field(
        15.0,
        gt=0,
        le=200,
        description="rating of the heat trace per metre of pipe",
        json_schema_extra=origin("5 W/ft; common practice, no source"),
    )
    trace_hold: Temperature = Field(
        5.0,
        ge=1,
        le=30,
        description="the heat trace holds standing water at this temperature, and is on in colder air",
        json_schema_extra=origin(PRACTICE),
    )
    trace_control: Literal["self-regulating", "on-off"] = Field(
        "self-regulating",
        description="self-regulating: gives what the pipe loses; on-off: its rating whenever the air is cold",
        json_schema_extra=origin(PRACTICE),
    )
    glycol_share: float = Field(
        0.4,
        ge=0.1,
        le=0.6,
        description="mass of propylene glycol over that of the mixture (glycol)",
        json_schema_extra=origin(PRACTICE),
    )
    exchanger: HeatLoss | None = Field(
        None,
        gt=0,
        le=1e6,
        description="conductance of the exchanger, all modules (glycol)",
        json_schema_extra=origin(PRACTICE, none=f"{USUAL_UNITS:g} transfer units at the rating"),
    )
    outage: Duration = Field(
        14400.0,
        gt=0,
        le=7 * 86400,
        description="length of an outage that is tried in every hour of the year",
        json_schema_extra=origin("[tankyear-default]: 4 h"),
    )

    @property
    def trace_power(self) -> float:
        """Heat trace on both pipes as installed; 0 without one. [W]"""
        return 2.0 * self.length * self.trace_rating if self.protection == "trace" else 0.0

    @rule
    def _pipe_wall(self) -> Iterator[Clash]:
        if self.outer_diameter < self.inner_diameter:
            yield Clash("outer_diameter", "at least plant.heat_pump.water_lines.inner_diameter")

    @rule
    def _keys_of_protection(self) -> Iterator[Clash]:
        for protection, keys in (
            ("trace", ("trace_rating", "trace_hold", "trace_control")),
            ("glycol", ("glycol_share", "exchanger")),
        ):
            for key in keys:
                if self.protection != protection and self.given(key):
                    yield Clash(key, f"nothing unless plant.heat_pump.water_lines.protection is {protection}")


def line_cautions(family: str, lines: RefrigerantLines | WaterLines | None) -> Iterator[str]:
    """What is said of lines that are longer or higher than the machine, or what is common, allows."""
    if lines is None:
        return
    key = f"plant.heat_pump.{'water_lines' if isinstance(lines, WaterLines) else 'lines'}"
    usual, height = USUAL.get(family), abs(lines.rise)
    for name, value, own, common in (
        ("length", lines.length, lines.max_length, usual and usual.long),
        ("rise", height, lines.max_height, usual and usual.height),
    ):
        limit = "max_length" if name == "length" else "max_height"
        if own is not None and value > own:
            yield f"{key}.{name} {_feet(value)} is beyond {key}.{limit} {_feet(own)} of this heat pump"
        elif own is None and common is not None and value > common:
            span = f" ({_feet(usual.short)} to {_feet(usual.long)})" if usual and name == "length" else ""
            yield (
                f"{key}.{name} {_feet(value)} is more than the {_feet(common)} at which lines of "
                f"plant.family {family} commonly end{span}; common practice, no source: ask the maker about "
                f"capacity, charge and oil, and write its limit as {key}.{limit}"
            )


def _feet(metres: float) -> str:
    return f"{metres:.1f} m ({metres / FOOT:.0f} ft)"
