"""The scenario file as frozen, strict models: every key, its bounds, its default and where that is from.

Quantities are text with a unit in the file and SI floats (temperatures in degC) in the models.
"""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Discriminator, Field, Tag, model_validator

from hpwhsim.quantities import ENERGY_PRICE, DailyVolume, Difference, Flow, Temperature
from hpwhsim.scenario import families
from hpwhsim.scenario.carbon import Carbon, SiteChecks
from hpwhsim.scenario.cold_water import ColdWater
from hpwhsim.scenario.controls import Controls
from hpwhsim.scenario.heat_pump_first import Settings, settings_of
from hpwhsim.scenario.lines import RefrigerantLines, WaterLines
from hpwhsim.scenario.machine import HeatPump, Limits, RatedAt
from hpwhsim.scenario.money import Costs, Savings
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    FilePath,
    MonthFactors,
    Pattern,
    Window,
    default,
    degrees,
    origin,
)
from hpwhsim.scenario.plant import Backup, Plant, Storage
from hpwhsim.scenario.recirculation import LoopTank, Recirculation
from hpwhsim.scenario.room import Room
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.scenario.sources import GroundLoop, Source, Wastewater
from hpwhsim.scenario.tariff import Tariff

__all__ = [
    "Backup",
    "Block",
    "Building",
    "Clash",
    "Controls",
    "GroundLoop",
    "HeatPump",
    "HotWater",
    "Limits",
    "LoopTank",
    "Plant",
    "RatedAt",
    "Recirculation",
    "RefrigerantLines",
    "Room",
    "Run",
    "Scenario",
    "Site",
    "Sizing",
    "Source",
    "Storage",
    "Wastewater",
    "WaterLines",
    "Window",
]


class Site(Block):
    """Where the building stands."""

    weather: FilePath = Field(description="typical-year weather file, TMY3 CSV or EPW")
    checks: SiteChecks | None = Field(
        None,
        description="what the building offers, for a list of site checks",
        json_schema_extra=origin("no list of site checks"),
    )


class Building(Block):
    """Who lives there."""

    apartments: int = Field(ge=1, le=5000, description="number of apartments")
    people_per_apartment: float = Field(
        2.0,
        gt=0,
        le=20,
        description="people in an average apartment",
        json_schema_extra=origin("[building-america-people]: 0.92 N + 0.63 people at N = 1.5 bedrooms"),
    )


class HotWater(Block):
    """What is drawn at the taps."""

    daily_use_per_apartment: DailyVolume | None = Field(
        None,
        gt=0,
        le=5,
        description="mean daily use of one apartment, measured at use_temperature [m3/day]",
        json_schema_extra=origin(
            "[ashrae-hvac-building-size]; average day",
            none="handbook average day for this number of apartments",
        ),
    )
    use_temperature: Temperature = Field(
        49.0,
        ge=30,
        le=70,
        description="temperature at which the daily use is counted [degC]",
        json_schema_extra=origin("[chicago-10-14-21]"),
    )
    minimum_temperature: Temperature = Field(
        43.3,
        ge=25,
        le=70,
        description="a draw below this counts as short [degC]",
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
        description="shape of the day: name of a packaged pattern, or CSV with hour, weekday, weekend",
        json_schema_extra=origin("[building-america-profile]"),
    )
    month_factors: MonthFactors | None = Field(
        None,
        description="daily use of each month over daily_use_per_apartment, twelve numbers",
        json_schema_extra=origin(PRACTICE, none="the same use in every month"),
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
    metered: FilePath | None = Field(
        None,
        description="CSV with time, litres; replaces daily use and pattern",
        json_schema_extra=origin("no metered use was given"),
    )

    tempering_valve: Temperature | None = Field(
        None,
        ge=30,
        le=70,
        description="setpoint of a mixing valve at the plant: nothing hotter reaches a tap [degC]",
        json_schema_extra=origin("[tankyear-default]", none="none: scald hours are counted"),
    )
    tempering_difference: Difference = Field(
        0.0,
        ge=0,
        le=40,
        description="least hot water above its setpoint with which the valve holds it [K]; with colder water "
        "it stays at the end of its travel and passes as much cold water as there",
        json_schema_extra=origin(f"[tankyear-default]: an ideal valve; 5 to 15 K are usual, {PRACTICE}"),
    )
    tempering_least_flow: Flow | None = Field(
        None,
        gt=0,
        le=1,
        description="with less flow the valve does not control, and water as hot as the store passes [m3/s]",
        json_schema_extra=origin("[asse-1017] has one; [tankyear-default]", none="it controls at any flow"),
    )
    tempering_most_flow: Flow | None = Field(
        None,
        gt=0,
        le=1,
        description="the valve is too small for more [m3/s]",
        json_schema_extra=origin("[tankyear-default]", none="large enough for any flow"),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.tempering_valve is not None and self.tempering_valve < self.use_temperature:
            raise Clash(
                "tempering_valve", f"at least hot_water.use_temperature ({degrees(self.use_temperature)})"
            )
        for key in ("tempering_difference", "tempering_least_flow", "tempering_most_flow"):
            if self.tempering_valve is None and self.given(key):
                raise Clash(key, "nothing without hot_water.tempering_valve")
        least, most = self.tempering_least_flow, self.tempering_most_flow
        if least is not None and most is not None and most <= least:
            raise Clash("tempering_most_flow", "above hot_water.tempering_least_flow")
        if self.minimum_temperature >= self.use_temperature:
            raise Clash(
                "minimum_temperature",
                f"below hot_water.use_temperature ({degrees(self.use_temperature)})",
                default(self.minimum_temperature),
            )
        if self.metered is not None:
            for key in ("daily_use_per_apartment", "pattern", "month_factors"):
                if self.given(key):
                    raise Clash(key, "nothing beside hot_water.metered")
            if self.draws == "random":
                raise Clash("draws", "smooth, because hot_water.metered gives the draws")
        return self


class Run(Block):
    """How the year is marched."""

    steps_per_hour: int = Field(
        12,
        description="how often in an hour room, ground, sewage and signals are looked at, a multiple of 4 (more "
        "than 60 are taken as 60); the store moves from event to event between",
        json_schema_extra=origin("[tankyear-default]: every 5 minutes"),
    )
    years: int = Field(
        1,
        ge=1,
        le=50,
        description="years of the same weather; more than one for a ground loop, which remembers",
        json_schema_extra=origin("[tmy3]: one typical year"),
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.steps_per_hour not in STEPS_PER_HOUR:
            allowed = ", ".join(map(str, STEPS_PER_HOUR))
            raise Clash("steps_per_hour", f"one of {allowed}")
        return self


LOOP_FALL = 5.0  # K from supply to return of a loop; common practice, no source
STEPS_PER_HOUR = tuple(n for n in range(4, 361, 4) if 3600 % n == 0)


def _baseline_kind(value: object) -> str:
    """A path where text was written, else a block."""
    return "(file)" if isinstance(value, str | Path) else "(block)"


Baseline = Annotated[
    Annotated[Plant, Tag("(block)")] | Annotated[FilePath, Tag("(file)")],
    Discriminator(_baseline_kind),
]


class Scenario(Block):
    """One plant, one building, one year, as the modeler wrote it."""

    title: str = Field(min_length=1, max_length=200, description="what the reports are headed with")
    notes: str | None = Field(
        None, description="free text for the reader", json_schema_extra=origin("not used in the calculation")
    )
    site: Site = Field(description="where the building stands")
    building: Building = Field(description="who lives there")
    hot_water: HotWater = Field(
        default_factory=HotWater,
        description="what is drawn at the taps",
        json_schema_extra=origin("defaults of its keys"),
    )
    recirculation: Recirculation | None = Field(
        None,
        description="the loop that keeps hot water near the taps",
        json_schema_extra=origin("[tankyear-default]", none="no recirculation loop"),
    )
    plant: Plant = Field(description="the hot-water plant")
    baseline: Baseline | None = Field(
        None,
        description="what the plant is compared with: a block as `plant`, or the path of a scenario file, "
        "whose plant (and its carbon.refrigerant) is taken and nothing else",
        json_schema_extra=origin("no baseline was given"),
    )
    carbon: Carbon | None = Field(
        None,
        description="greenhouse gases of energy and refrigerant",
        json_schema_extra=origin("greenhouse gases are not counted"),
    )
    tariff: Tariff | None = Field(
        None, description="what energy costs", json_schema_extra=origin("no cost is counted")
    )
    costs: Costs | None = Field(
        None, description="life-cycle cost", json_schema_extra=origin("no life-cycle cost is counted")
    )
    savings: Savings = Field(
        default_factory=Savings,
        description="how plant and baseline are compared",
        json_schema_extra=origin("defaults of its keys"),
    )
    sizing: Sizing | None = Field(
        None,
        description="how `tankyear size` chooses",
        json_schema_extra=origin("used by `tankyear size` alone, with the defaults of its keys"),
    )
    run: Run = Field(
        default_factory=Run,
        description="how the year is marched",
        json_schema_extra=origin("defaults of its keys"),
    )

    @property
    def settings(self) -> Settings:
        """What the controls are set to: as written, else worked out so that the heat pump is called first."""
        return settings_of(self)

    @property
    def outlet_temperature(self) -> float:
        """Water leaving the heat pump; of a multi-pass one the hottest. [degC]"""
        return self.settings.outlet_temperature

    @property
    def backup_setpoint(self) -> float:
        """What the backup heats to. [degC]"""
        return self.settings.backup_setpoint

    @property
    def trims(self) -> bool:
        """Whether a heater stands in the pipe that leaves the store."""
        return self.plant.backup.kind != "none" and self.plant.backup.mode == "series"

    @property
    def trim_setpoint(self) -> float:
        """What a heater in that pipe lifts to where nobody wrote it: taps, valve and loop need it. [degC]"""
        hot_water, loop = self.hot_water, self.recirculation
        setpoint = hot_water.use_temperature
        if hot_water.tempering_valve is not None:
            setpoint = max(setpoint, hot_water.tempering_valve + hot_water.tempering_difference)
        if loop is not None and loop.loop_tank is None and loop.supply_drop is None:
            setpoint = max(setpoint, loop.return_temperature + LOOP_FALL)
        return setpoint

    @property
    def supply_setpoint(self) -> float:
        """What leaves the plant for taps and loop, before a tempering valve. [degC]"""
        store = self.plant.storage.setpoint
        return max(store, self.backup_setpoint) if self.trims else store

    @property
    def backup_height(self) -> float:
        """Share of the height below the part that a parallel backup heats."""
        return self.settings.backup_height

    @model_validator(mode="after")
    def _check(self) -> Self:
        setpoint, series = self.plant.storage.setpoint, self.plant.backup.mode == "series"
        least = self.hot_water.minimum_temperature
        if setpoint < least and not series:
            raise Clash(
                "plant.storage.setpoint",
                f"at least hot_water.minimum_temperature ({degrees(least)}), or every draw is short",
            )
        backup = self.plant.backup.setpoint
        if backup is not None and backup < least:
            raise Clash(
                "plant.backup.setpoint",
                f"at least hot_water.minimum_temperature ({degrees(least)})",
            )
        if self.run.years > 1 and self.plant.source_kind != "ground-loop":
            raise Clash("run.years", "1: only a ground loop remembers the years before")
        supply = self.supply_setpoint
        if self.recirculation is not None and self.recirculation.return_temperature >= supply:
            key = "plant.storage.setpoint" if supply == setpoint else "plant.backup.setpoint"
            raise Clash(
                "recirculation.return_temperature",
                f"below {key} ({degrees(supply)})",
                default(self.recirculation.return_temperature),
            )
        steps = self.run.steps_per_hour
        for key in (
            "controls.charge_windows",
            "controls.lock_outs",
            "controls.demand_windows",
            "backup.lock_outs",
        ):
            block, _, name = key.partition(".")
            edges = [minute for window in getattr(getattr(self.plant, block), name) for minute in window]
            if any(minute * steps % 60 for minute in edges):
                step = f"{60.0 / steps:.3g} min (run.steps_per_hour {steps})"
                raise Clash(f"plant.{key}", f"windows that start and end on steps of {step}")
        tank = self.recirculation.loop_tank if self.recirculation is not None else None
        if series and self.plant.backup.kind != "none" and tank is not None and tank.connection == "series":
            raise Clash("plant.backup.mode", "parallel: the taps' water runs through the loop's own tank")
        self._check_end()
        self._check_money()
        return self

    def _check_end(self) -> None:
        """Refuse an outlet with which no charge ends."""
        heat_pump, found = self.plant.heat_pump, self.settings
        if heat_pump is None or heat_pump.outlet_temperature is None:
            return
        rest = "(plant.storage.setpoint less half of controls.dead_band), or the charge never ends"
        if found.outlet_temperature < found.stop_at - 1e-9:
            raise Clash("plant.heat_pump.outlet_temperature", f"at least {degrees(found.stop_at)} {rest}")
        if (
            heat_pump.condenser == "multi-pass"
            and found.outlet_temperature - heat_pump.rise < found.stop_at - 1e-9
        ):
            raise Clash(
                "plant.heat_pump.rise",
                f"at most {found.outlet_temperature - found.stop_at:.1f} K (the outlet temperature less "
                "plant.storage.setpoint, and half of controls.dead_band), or the charge never ends",
                f"{heat_pump.rise:g} K (default)",
            )

    def _check_money(self) -> None:
        """Refuse blocks on money and savings that lack what they count."""
        if self.tariff is None:
            if self.costs is not None:
                raise Clash("tariff", "a block: the bills of the year are a part of `costs`")
        elif self.plant.backup.kind in families.FUELLED and self.tariff.fuel is None:
            raise Clash("tariff.fuel", f"{ENERGY_PRICE}: plant.backup burns {self.plant.backup.kind}")
        if self.baseline is not None:
            return
        if self.given("savings"):
            raise Clash("savings", "nothing without a baseline")
        if self.tariff is not None and self.tariff.baseline_fuel is not None:
            raise Clash("tariff.baseline_fuel", "nothing without a baseline")
        if self.costs is not None:
            if self.costs.given("baseline"):
                raise Clash("costs.baseline", "nothing without a baseline")
            if any(i.per_site_energy_saved or i.per_electricity_saved for i in self.costs.incentives):
                raise Clash("costs.incentives", "no incentive for energy saved without a baseline")
