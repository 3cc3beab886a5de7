"""The `hot_water.cold_water` block: temperature of the cold water where it is known."""

from typing import Annotated, Self

from pydantic import BeforeValidator, Field, model_validator

from hpwhsim.quantities import TEMPERATURE, Temperature
from hpwhsim.scenario.parts import Block, Clash, as_tuple, origin

COLDEST_C, WARMEST_C = 0.0, 40.0
Twelve = Annotated[
    tuple[Annotated[Temperature, Field(ge=COLDEST_C, le=WARMEST_C)], ...],
    BeforeValidator(as_tuple),
    Field(min_length=12, max_length=12),
]


class ColdWater(Block):
    """Cold water by month, or the ends of its year, in place of the formula's from the outdoor air."""

    monthly: Twelve | None = Field(
        None,
        description="mean of each month, January to December, twelve temperatures [degC]",
        json_schema_extra=origin("[tankyear-default]", none="winter_low or summer_high was given"),
    )
    winter_low: Temperature | None = Field(
        None,
        ge=COLDEST_C,
        le=WARMEST_C,
        description="coldest day of the year; the formula's wave is stretched about its mean to it [degC]",
        json_schema_extra=origin("[tankyear-default]", none="what the formula or summer_high leads to"),
    )
    summer_high: Temperature | None = Field(
        None,
        ge=COLDEST_C,
        le=WARMEST_C,
        description="warmest day, the same way; with winter_low the wave lies between them [degC]",
        json_schema_extra=origin("[tankyear-default]", none="what the formula or winter_low leads to"),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        ends = [key for key in ("winter_low", "summer_high") if getattr(self, key) is not None]
        if self.monthly is None and not ends:
            raise Clash("monthly", f"twelve of {TEMPERATURE}; or winter_low, summer_high or both")
        if self.monthly is not None and ends:
            raise Clash(ends[0], "nothing beside hot_water.cold_water.monthly")
        if len(ends) > 1 and not (self.winter_low or 0.0) < (self.summer_high or 0.0):
            raise Clash("winter_low", "below hot_water.cold_water.summer_high")
        return self
