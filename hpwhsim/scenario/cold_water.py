"""The `hot_water.cold_water` block: temperature of the cold water where it is known."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import BeforeValidator, Field

from hpwhsim.io.units import TEMPERATURE, Temperature
from hpwhsim.scenario.parts import Block, Clash, as_tuple, origin, rule

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
        description="mean of each month, January to December, twelve temperatures",
        json_schema_extra=origin("[tankyear-default]", none="winter_low or summer_high was given"),
    )
    winter_low: Temperature | None = Field(
        None,
        ge=COLDEST_C,
        le=WARMEST_C,
        description="coldest day of the year; the formula's wave is stretched about its mean to it",
        json_schema_extra=origin("[tankyear-default]", none="what the formula or summer_high leads to"),
    )
    summer_high: Temperature | None = Field(
        None,
        ge=COLDEST_C,
        le=WARMEST_C,
        description="warmest day, the same way; with winter_low the wave lies between them",
        json_schema_extra=origin("[tankyear-default]", none="what the formula or winter_low leads to"),
    )

    @rule
    def _one_way(self) -> Iterator[Clash]:
        ends = [key for key in ("winter_low", "summer_high") if getattr(self, key) is not None]
        if self.monthly is None and not ends:
            yield Clash("monthly", f"twelve of {TEMPERATURE}; or winter_low, summer_high or both")
        for key in ends if self.monthly is not None else ():
            yield Clash(key, "nothing beside hot_water.cold_water.monthly")

    @rule
    def _ends_in_order(self) -> Iterator[Clash]:
        low, high = self.winter_low, self.summer_high
        if self.monthly is None and low is not None and high is not None and low >= high:
            yield Clash("winter_low", "below hot_water.cold_water.summer_high")
