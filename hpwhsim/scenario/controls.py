"""The `plant.controls` block: when the heat pump charges the store, as frozen, strict models."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from hpwhsim.io.units import (
    Difference,
    Duration,
    Temperature,
)
from hpwhsim.scenario.heat_pump_first import START_HEIGHT, STOP_HEIGHT, USUAL_BAND
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    DayWindow,
    FilePath,
    Window,
    Windows,
    origin,
    rule,
)

WHOLE_HOURS = "whole hours, such as '02:00-05:00'"


class Pasteurise(Block):
    """A weekly heat-up of the whole store by the backup."""

    temperature: Temperature = Field(
        ge=55,
        le=90,
        description="temperature of the whole store; the backup starts here and stops its dead band above",
    )
    weekday: Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"] = Field(
        "sun", description="day on which the heat-up starts", json_schema_extra=origin(PRACTICE)
    )
    window: DayWindow = Field(
        Window(120, 300),
        description="window of the day for the heat-up, by whole hours",
        json_schema_extra=origin("at night; common practice, no source"),
    )

    @rule
    def _whole_hours(self) -> Iterator[Clash]:
        if not self.window.by_hours:
            yield Clash("window", WHOLE_HOURS)


class OutdoorReset(Block):
    """The setpoint follows the outdoor air: higher in the cold, straight between two points."""

    cold: Temperature = Field(ge=-40, le=30, description="outdoor air at which rise is added")
    mild: Temperature = Field(ge=-20, le=40, description="outdoor air from which nothing is added")
    rise: Difference = Field(gt=0, le=30, description="added to the setpoint at cold and below")

    @rule
    def _colder_than_mild(self) -> Iterator[Clash]:
        if self.cold >= self.mild:
            yield Clash("cold", "below plant.controls.outdoor_reset.mild")


class Controls(Block):
    """When the heat pump charges the store."""

    dead_band: Difference | None = Field(
        None,
        gt=0,
        le=30,
        description="a charge starts this far below the setpoint, and ends half as far below it",
        json_schema_extra=origin(
            PRACTICE,
            none=f"{USUAL_BAND:g} K, or less so that the heat pump starts before the backup and before hot "
            "water is unmet",
        ),
    )
    sensor_height: float | None = Field(
        None,
        ge=0,
        le=1,
        description="share of the height from the bottom (at least 0.01): cold water here starts a charge",
        json_schema_extra=origin(
            PRACTICE, none=f"{START_HEIGHT:g}, but not above the backup nor below stop_height"
        ),
    )
    stop_height: float | None = Field(
        None,
        ge=0,
        le=1,
        description="share of the height from the bottom: a charge ends when the water here is hot",
        json_schema_extra=origin(
            PRACTICE, none=f"{STOP_HEIGHT:g}, but not below the intake nor above sensor_height"
        ),
    )
    charge_windows: Windows = Field(
        (),
        description="the only windows of the day in which a charge may run, such as '22:00-06:00'",
        json_schema_extra=origin("[tankyear-default]: charging is allowed all day"),
    )
    lock_outs: Windows = Field(
        (),
        description="windows of the day in which the heat pump is locked out",
        json_schema_extra=origin("[tankyear-default]: no lockout"),
    )
    lock_out_below: Temperature | None = Field(
        None,
        ge=-50,
        le=50,
        description="source temperature below which the controls lock the heat pump out",
        json_schema_extra=origin(
            "[tankyear-default]", none="no lockout: only the heat pump's own limit holds"
        ),
    )
    min_run: Duration = Field(
        0.0,
        ge=0,
        le=14400,
        description="minimum time that a charge runs",
        json_schema_extra=origin("[tankyear-default]: no limit"),
    )
    min_off: Duration = Field(
        0.0,
        ge=0,
        le=14400,
        description="minimum time between charges",
        json_schema_extra=origin("[tankyear-default]: no limit"),
    )
    stage_delay: Duration = Field(
        600.0,
        ge=0,
        le=14400,
        description="still calling after this long, one module more starts",
        json_schema_extra=origin(PRACTICE),
    )

    boost: Difference = Field(
        0.0,
        ge=0,
        le=30,
        description="added to the store's setpoint in boost_windows",
        json_schema_extra=origin("[tankyear-default]: one setpoint"),
    )
    boost_windows: Windows = Field(
        (),
        description="windows of the day with the boosted setpoint, by whole hours",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    outdoor_reset: OutdoorReset | None = Field(
        None,
        description="the setpoint rises with the cold outdoors",
        json_schema_extra=origin("[tankyear-default]", none="the setpoint is constant"),
    )
    pasteurise: Pasteurise | None = Field(
        None,
        description="weekly heat-up of the whole store by the backup",
        json_schema_extra=origin("[tankyear-default]", none="none"),
    )
    lead: Literal["rotating", "fixed"] = Field(
        "rotating",
        description="the module that starts first: the next one at each start, or always the same",
        json_schema_extra=origin("run hours are evened out; common practice, no source"),
    )
    defrosts: Literal["averaged", "together", "staggered"] = Field(
        "averaged",
        description="averaged: the cost of defrosts, spread over the hour; together: all running units "
        "defrost at once; staggered: one after the other",
        json_schema_extra=origin("[tankyear-default]: a year's energy hardly depends on it"),
    )
    defrost_time: Duration = Field(
        300.0,
        ge=60,
        le=1200,
        description="duration of one defrost (together, staggered); how often they come follows the frost",
        json_schema_extra=origin("3 to 10 min are common practice, no source"),
    )
    signal: FilePath | None = Field(
        None,
        description="CSV with signal, 8760 rows (a price, or a carbon factor): charging only in the hours"
        " of each day with the lowest",
        json_schema_extra=origin("[tankyear-default]", none="no signal is followed"),
    )
    signal_hours: int = Field(
        12,
        ge=1,
        le=24,
        description="hours of each day in which the signal lets the heat pump run, and hours as low as the "
        "last of them",
        json_schema_extra=origin(PRACTICE),
    )
    reserve_height: float = Field(
        0.0,
        ge=0,
        le=1,
        description="a lockout is lifted while less of the store than this share, from the top, is as hot"
        " as the taps need; 0: never",
        json_schema_extra=origin("[tankyear-default]: lockouts hold"),
    )
    demand_windows: Windows = Field(
        (),
        description="windows of the day in which only demand_modules may run",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    demand_modules: int = Field(
        0,
        ge=0,
        le=100,
        description="modules that may run in demand_windows",
        json_schema_extra=origin("[tankyear-default]: none may"),
    )

    @rule
    def _modules_by_clock(self) -> Iterator[Clash]:
        if self.given("demand_modules") and not self.demand_windows:
            yield Clash("demand_modules", "nothing without plant.controls.demand_windows")

    @rule
    def _whole_boost(self) -> Iterator[Clash]:
        if (self.boost > 0.0) != bool(self.boost_windows):
            key = "boost_windows" if self.boost > 0.0 else "boost"
            yield Clash(key, "both plant.controls.boost and plant.controls.boost_windows, or neither")

    @rule
    def _whole_hours(self) -> Iterator[Clash]:
        if not all(window.by_hours for window in self.boost_windows):
            yield Clash("boost_windows", WHOLE_HOURS)

    @rule
    def _defrosts_as_events(self) -> Iterator[Clash]:
        if self.defrosts == "averaged" and self.given("defrost_time"):
            yield Clash("defrost_time", "nothing unless plant.controls.defrosts is together or staggered")

    @rule
    def _hours_of_signal(self) -> Iterator[Clash]:
        if self.signal is None and self.given("signal_hours"):
            yield Clash("signal_hours", "nothing without plant.controls.signal")

    @rule
    def _sensors_in_order(self) -> Iterator[Clash]:
        start, stop = self.sensor_height, self.stop_height
        if start is not None and stop is not None and stop > start:
            yield Clash("stop_height", f"at most plant.controls.sensor_height ({start:g})")

    @rule
    def _time_to_charge(self) -> Iterator[Clash]:
        if not self.charge_minutes():
            yield Clash("lock_outs", "windows that leave time to charge")

    def charge_minutes(self) -> frozenset[int]:
        """Minutes of the day (0 to 1439) in which a charge may run."""
        allowed = {m % 1440 for w in self.charge_windows for m in w.minutes()} or set(range(1440))
        return frozenset(allowed - {m % 1440 for w in self.lock_outs for m in w.minutes()})
