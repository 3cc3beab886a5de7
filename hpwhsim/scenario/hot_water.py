"""The `hot_water` block: what is drawn at the taps, and the valve that holds its temperature."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from hpwhsim.io.units import DailyVolume, Difference, Flow, Temperature
from hpwhsim.scenario.cold_water import ColdWater
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    FilePath,
    MonthFactors,
    Pattern,
    default,
    degrees,
    origin,
    rule,
)

OF_PATTERN = ("daily_use_per_apartment", "pattern", "month_factors", "weekend_factor")
"""Keys that a metered year leaves nothing to do."""


class HotWater(Block):
    """What is drawn at the taps."""

    daily_use_per_apartment: DailyVolume | None = Field(
        None,
        gt=0,
        le=5,
        description="mean daily use of one apartment, measured at use_temperature",
        json_schema_extra=origin(
            "[ashrae-hvac-building-size]; average day, taken as water of 49 degC",
            none="handbook average day for this number of apartments, taken as water of 49 degC and turned "
            "to use_temperature by heat",
        ),
    )
    use_temperature: Temperature = Field(
        49.0,
        ge=30,
        le=70,
        description="temperature at which the daily use is counted",
        json_schema_extra=origin("[chicago-10-14-21]"),
    )
    min_temperature: Temperature = Field(
        43.3,
        ge=25,
        le=70,
        description="a draw delivered below this counts as unmet",
        json_schema_extra=origin(f"110 degF (43.3 degC); {PRACTICE}"),
    )
    cold_water: ColdWater | None = Field(
        None,
        description="temperature of the cold water where it is known: monthly, or winter_low, summer_high",
        json_schema_extra=origin(
            "[burch-christensen]",
            none="the formula from the year's outdoor air",
        ),
    )
    pattern: Pattern = Field(
        "apartments",
        description="shape of the day: apartments (profile of single homes), midrise (a reference "
        "building's), multifamily (morning and evening sums of apartment buildings), or CSV with hour, "
        "weekday, weekend",
        json_schema_extra=origin("[building-america-profile]"),
    )
    month_factors: MonthFactors | None = Field(
        None,
        description="daily use of each month over daily_use_per_apartment, at use_temperature (mixing "
        "with colder mains comes on top): twelve numbers, or none, the same in every month",
        json_schema_extra=origin(
            "[gerin-2014], of which mixing is taken out; shape [sap-2012-months]",
            none="the season of metered apartments: +8 % in December to February, -9 % in June to August "
            "(half a year later south of the equator)",
        ),
    )
    weekend_factor: float = Field(
        1.0,
        gt=0,
        le=5,
        description="use of a day of the weekend over that of a weekday; the mean of the year stays",
        json_schema_extra=origin(
            "[tankyear-default]: all days alike; measured from +16 % ([chmielewska-2025]) to less than on "
            "weekdays, by country"
        ),
    )
    draws: Literal["smooth", "random"] = Field(
        "smooth",
        description="hourly means spread evenly, or random events whose mean follows the pattern",
        json_schema_extra=origin("[tankyear-default]: smooth draws need no seed"),
    )
    seed: int = Field(
        1,
        ge=0,
        le=2**32 - 1,
        description="seed of the random draws",
        json_schema_extra=origin("[tankyear-default]: any seed is as good as another"),
    )
    day_spread: float = Field(
        0.03,
        ge=0,
        le=0.5,
        description="coefficient of variation from day to day of what all homes share (weather, holidays) in "
        "random draws; each home's own days come on top; tankyear size takes sizing.day_spread",
        json_schema_extra=origin(f"{PRACTICE}: months of one building stay near their season"),
    )
    metered: FilePath | None = Field(
        None,
        description="CSV with time, litres; replaces daily use and pattern",
        json_schema_extra=origin("no metered use was given"),
    )

    tempering_valve: Temperature | None = Field(
        None,
        ge=30,
        le=70,
        description="setpoint of a mixing valve at the plant: nothing hotter reaches a tap",
        json_schema_extra=origin("[tankyear-default]", none="none: scald hours are counted"),
    )
    tempering_min_difference: Difference = Field(
        0.0,
        ge=0,
        le=40,
        description="hot water must be this far above the valve's setpoint for the valve to hold it; with"
        " colder water it passes as much cold water as at this difference",
        json_schema_extra=origin(f"[tankyear-default]: an ideal valve; 5 to 15 K are usual, {PRACTICE}"),
    )
    tempering_min_flow: Flow | None = Field(
        None,
        gt=0,
        le=1,
        description="below this flow the valve does not control and passes water as hot as the store",
        json_schema_extra=origin("[asse-1017] has one; [tankyear-default]", none="it controls at any flow"),
    )
    tempering_max_flow: Flow | None = Field(
        None,
        gt=0,
        le=1,
        description="flow above which the valve is too small",
        json_schema_extra=origin("[tankyear-default]", none="large enough for any flow"),
    )

    @rule
    def _valve_above_use(self) -> Iterator[Clash]:
        if self.tempering_valve is not None and self.tempering_valve < self.use_temperature:
            yield Clash(
                "tempering_valve", f"at least hot_water.use_temperature ({degrees(self.use_temperature)})"
            )

    @rule
    def _keys_of_valve(self) -> Iterator[Clash]:
        for key in ("tempering_min_difference", "tempering_min_flow", "tempering_max_flow"):
            if self.tempering_valve is None and self.given(key):
                yield Clash(key, "nothing without hot_water.tempering_valve")

    @rule
    def _flows_in_order(self) -> Iterator[Clash]:
        least, most = self.tempering_min_flow, self.tempering_max_flow
        if least is not None and most is not None and most <= least:
            yield Clash("tempering_max_flow", "above hot_water.tempering_min_flow")

    @rule
    def _minimum_below_use(self) -> Iterator[Clash]:
        if self.min_temperature >= self.use_temperature:
            yield Clash(
                "min_temperature",
                f"below hot_water.use_temperature ({degrees(self.use_temperature)})",
                default(self.min_temperature),
            )

    @rule
    def _metered_or_pattern(self) -> Iterator[Clash]:
        for key in (*OF_PATTERN, "day_spread"):
            if self.metered is not None and self.given(key):
                yield Clash(key, "nothing beside hot_water.metered")
        if self.metered is not None and self.draws == "random":
            yield Clash("draws", "smooth, because hot_water.metered gives the draws")
