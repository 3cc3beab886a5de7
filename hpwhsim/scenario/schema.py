"""The scenario file as frozen, strict models: every key, its bounds, its default and where that is from.

Quantities are text with a unit in the file and SI floats (temperatures in degC) in the models.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag

from hpwhsim.io.units import ENERGY_PRICE
from hpwhsim.scenario import families
from hpwhsim.scenario.carbon import Carbon, SiteChecks
from hpwhsim.scenario.heat_pump_first import LOOP_FALL, Settings, settings_of
from hpwhsim.scenario.hot_water import HotWater
from hpwhsim.scenario.money import Costs, Savings
from hpwhsim.scenario.parts import (
    Block,
    Clash,
    FilePath,
    Window,
    default,
    degrees,
    origin,
    rule,
)
from hpwhsim.scenario.plant import Plant
from hpwhsim.scenario.recirculation import Recirculation
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.scenario.tariff import Tariff


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


class Run(Block):
    """How the year is simulated."""

    steps_per_hour: int = Field(
        12,
        description="how often in an hour room, ground, sewage and signals are looked at, a multiple of 4 "
        "(more than 60 are taken as 60); the store moves from event to event between",
        json_schema_extra=origin("[tankyear-default]: every 5 minutes"),
    )
    years: int = Field(
        1,
        ge=1,
        le=50,
        description="years of the same weather; more than one for a ground loop, which remembers",
        json_schema_extra=origin("[tmy3]: one typical year"),
    )

    @rule
    def _steps(self) -> Iterator[Clash]:
        if self.steps_per_hour not in STEPS_PER_HOUR:
            yield Clash("steps_per_hour", f"one of {', '.join(map(str, STEPS_PER_HOUR))}")


def _as_written(value: object) -> object:
    """YAML reads a date as one; documents print it as text."""
    return value.isoformat() if isinstance(value, date) else value


ShortText = Annotated[str, Field(min_length=1, max_length=200), BeforeValidator(_as_written)]
NOT_PRINTED = origin("not used in the calculation; nothing is printed")


class Dossier(Block):
    """What documents say of themselves; nothing here enters the calculation."""

    prepared_by: ShortText | None = Field(
        None, description="who made the calculation", json_schema_extra=NOT_PRINTED
    )
    prepared_for: ShortText | None = Field(
        None, description="whom it was made for", json_schema_extra=NOT_PRINTED
    )
    project: ShortText | None = Field(
        None, description="name or number of the project", json_schema_extra=NOT_PRINTED
    )
    date: ShortText | None = Field(
        None,
        description="date of the documents, as it is to be printed; never that of the run",
        json_schema_extra=NOT_PRINTED,
    )
    paper: Literal["letter", "A4"] = Field(
        "letter",
        description="paper of dossier.pdf",
        json_schema_extra=origin("common practice in the United States, no source"),
    )


STEPS_PER_HOUR = tuple(n for n in range(4, 361, 4) if 3600 % n == 0)


def _baseline_kind(value: object) -> str:
    """A path where text was written, else a block."""
    return "(file)" if isinstance(value, str | Path) else "(block)"


Baseline = Annotated[
    Annotated[Plant, Tag("(block)")] | Annotated[FilePath, Tag("(file)")],
    Discriminator(_baseline_kind),
]


class Scenario(Block):
    """One plant, one building, one year: the user input."""

    title: str = Field(min_length=1, max_length=200, description="heading of the reports")
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
        description="what the plant is compared with: a block as `plant`, or a scenario file, of which "
        "the plant and its carbon.refrigerant alone are taken",
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
        description="how the year is simulated",
        json_schema_extra=origin("defaults of its keys"),
    )

    dossier: Dossier | None = Field(
        None,
        description="what page and dossier say of themselves",
        json_schema_extra=origin("not used in the calculation; the title alone heads the documents"),
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
            setpoint = max(setpoint, hot_water.tempering_valve + hot_water.tempering_min_difference)
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

    @rule
    def _store_hot_enough(self) -> Iterator[Clash]:
        least = self.hot_water.min_temperature
        if self.plant.storage.setpoint < least and self.plant.backup.mode != "series":
            yield Clash(
                "plant.storage.setpoint",
                f"at least hot_water.min_temperature ({degrees(least)}), or every draw is unmet",
            )

    @rule
    def _backup_hot_enough(self) -> Iterator[Clash]:
        backup, least = self.plant.backup.setpoint, self.hot_water.min_temperature
        if backup is not None and backup < least:
            yield Clash(
                "plant.backup.setpoint",
                f"at least hot_water.min_temperature ({degrees(least)})",
            )

    @rule
    def _years_of_ground(self) -> Iterator[Clash]:
        if self.run.years > 1 and self.plant.source_kind != "ground-loop":
            yield Clash("run.years", "1: only a ground loop remembers the years before")

    @rule
    def _loop_below_supply(self) -> Iterator[Clash]:
        supply = self.supply_setpoint
        if self.recirculation is not None and self.recirculation.return_temperature >= supply:
            store = supply == self.plant.storage.setpoint
            key = "plant.storage.setpoint" if store else "plant.backup.setpoint"
            yield Clash(
                "recirculation.return_temperature",
                f"below {key} ({degrees(supply)})",
                default(self.recirculation.return_temperature),
            )

    @rule
    def _windows_of_heat_pump(self) -> Iterator[Clash]:
        for key in ("charge_windows", "lock_outs", "demand_windows"):
            yield from self._on_steps(f"plant.controls.{key}", getattr(self.plant.controls, key))

    @rule
    def _windows_of_backup(self) -> Iterator[Clash]:
        yield from self._on_steps("plant.backup.lock_outs", self.plant.backup.lock_outs)

    def _on_steps(self, key: str, windows: Sequence[Window]) -> Iterator[Clash]:
        steps = self.run.steps_per_hour
        if steps in STEPS_PER_HOUR and any(edge * steps % 60 for window in windows for edge in window):
            step = f"{60.0 / steps:.3g} min (run.steps_per_hour {steps})"
            yield Clash(key, f"windows that start and end on steps of {step}")

    @rule
    def _heater_ahead_of_loop_tank(self) -> Iterator[Clash]:
        tank = self.recirculation.loop_tank if self.recirculation is not None else None
        if self.trims and tank is not None and tank.connection == "series":
            yield Clash("plant.backup.mode", "parallel: the taps' water runs through the loop's own tank")

    @rule
    def _charge_ends(self) -> Iterator[Clash]:
        heat_pump, found = self.plant.heat_pump, self.settings
        if heat_pump is None or heat_pump.outlet_temperature is None:
            return
        rest = "(plant.storage.setpoint less half of controls.dead_band), or the charge never ends"
        if found.outlet_temperature < found.stop_at - 1e-9:
            yield Clash("plant.heat_pump.outlet_temperature", f"at least {degrees(found.stop_at)} {rest}")
        elif (
            heat_pump.condenser == "multi-pass"
            and found.outlet_temperature - heat_pump.rise < found.stop_at - 1e-9
        ):
            yield Clash(
                "plant.heat_pump.rise",
                f"at most {found.outlet_temperature - found.stop_at:.1f} K (the outlet temperature less "
                "plant.storage.setpoint, and half of controls.dead_band), or the charge never ends",
                f"{heat_pump.rise:g} K (default)",
            )

    @rule
    def _bills_for_costs(self) -> Iterator[Clash]:
        if self.tariff is None and self.costs is not None:
            yield Clash("tariff", "a block: the bills of the year are a part of `costs`")

    @rule
    def _price_of_fuel(self) -> Iterator[Clash]:
        kind = self.plant.backup.kind
        if self.tariff is not None and kind in families.FUELLED and self.tariff.fuel is None:
            yield Clash("tariff.fuel", f"{ENERGY_PRICE}: plant.backup burns {kind}")

    @rule
    def _savings_of_baseline(self) -> Iterator[Clash]:
        if not self.given("baseline") and self.given("savings"):
            yield Clash("savings", "nothing without a baseline")

    @rule
    def _fuel_of_baseline(self) -> Iterator[Clash]:
        if not self.given("baseline") and self.tariff is not None and self.tariff.baseline_fuel is not None:
            yield Clash("tariff.baseline_fuel", "nothing without a baseline")

    @rule
    def _costs_of_baseline(self) -> Iterator[Clash]:
        if self.given("baseline") or self.costs is None:
            return
        if self.costs.given("baseline"):
            yield Clash("costs.baseline", "nothing without a baseline")
        if any(i.per_site_energy_saved or i.per_electricity_saved for i in self.costs.incentives):
            yield Clash("costs.incentives", "no incentive for energy saved without a baseline")
