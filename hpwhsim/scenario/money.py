"""The `costs` and `savings` blocks: life-cycle cost, incentives, site-to-source factors, peak hours.

Money is in USD. No rate or incentive of a real program is built in.
"""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from hpwhsim.io.units import CapacityPrice, EnergyPrice, Money, YearlyMoney
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, Windows, as_tuple, origin, rule
from hpwhsim.scenario.tariff import MONTHS, NO_CHARGE, Days, Months, whole_steps
from hpwhsim.tables import read_table


class Replacement(Block):
    """A part that is purchased anew."""

    year: int = Field(ge=1, le=60, description="year at whose end the part is paid")
    cost: Money = Field(ge=0, le=1e9, description="cost of the part in money of today")


class Outlay(Block):
    """What a plant costs besides energy, in money of today."""

    capital: Money = Field(
        0.0,
        ge=0,
        le=1e9,
        description="cost to purchase and install, before incentives",
        json_schema_extra=origin("[tankyear-default]: it is there already"),
    )
    maintenance: YearlyMoney = Field(
        0.0,
        ge=0,
        le=1e7,
        description="maintenance of a year",
        json_schema_extra=origin(NO_CHARGE),
    )
    replacements: Annotated[tuple[Replacement, ...], BeforeValidator(as_tuple)] = Field(
        (),
        description="parts purchased anew: year and cost",
        json_schema_extra=origin(NO_CHARGE),
    )


class Incentive(Block):
    """What somebody else pays towards the capital: the sum of the parts given, up to max_share."""

    name: str = Field(min_length=1, max_length=100, description="name of the incentive in the reports")
    lump_sum: Money | None = Field(
        None, gt=0, le=1e9, description="a fixed amount", json_schema_extra=origin(NO_CHARGE)
    )
    per_unit: Money | None = Field(
        None, gt=0, le=1e6, description="amount for each of `units`", json_schema_extra=origin(NO_CHARGE)
    )
    units: int | None = Field(
        None,
        ge=1,
        le=100000,
        description="number of units that per_unit is paid for, such as apartments",
        json_schema_extra=origin(NO_CHARGE),
    )
    per_capacity: CapacityPrice | None = Field(
        None,
        gt=0,
        le=1e5,
        description="amount for the rated heat of the whole plant",
        json_schema_extra=origin(NO_CHARGE),
    )
    per_site_energy_saved: EnergyPrice | None = Field(
        None,
        gt=0,
        le=100,
        description="amount for the site energy (electricity and fuel) saved in a year",
        json_schema_extra=origin(NO_CHARGE),
    )
    per_electricity_saved: EnergyPrice | None = Field(
        None,
        gt=0,
        le=100,
        description="amount for the electricity saved in a year",
        json_schema_extra=origin(NO_CHARGE),
    )
    max_share: float = Field(
        1.0,
        gt=0,
        le=1,
        description="maximum that the incentive pays, as a share of the capital",
        json_schema_extra=origin("[tankyear-default]: never more than the plant costs"),
    )

    @rule
    def _units(self) -> Iterator[Clash]:
        if (self.per_unit is None) != (self.units is None):
            yield Clash("units" if self.units is None else "per_unit", "per_unit and units together")

    @rule
    def _pays(self) -> Iterator[Clash]:
        amounts = {key for key in type(self).model_fields if key.startswith("per_")} | {"lump_sum"}
        if all(getattr(self, key) is None for key in amounts):
            yield Clash("lump_sum", f"at least one of {', '.join(sorted(amounts))}")


class Costs(Outlay):
    """Life-cycle cost of the plant, and of the baseline it is compared with."""

    capital: Money = Field(ge=0, le=1e9, description="cost to purchase and install, before incentives")
    baseline: Outlay = Field(
        default_factory=Outlay,
        description="the same of the baseline",
        json_schema_extra=origin("defaults of its keys"),
    )
    incentives: Annotated[tuple[Incentive, ...], BeforeValidator(as_tuple)] = Field(
        (),
        description="what others pay towards the capital, received in year 0",
        json_schema_extra=origin(NO_CHARGE),
    )
    years: int = Field(
        20, ge=1, le=60, description="years that are counted", json_schema_extra=origin(PRACTICE)
    )
    rates: Literal["real", "nominal"] = Field(
        "real",
        description="whether all rates below are above inflation (real) or include it (nominal)",
        json_schema_extra=origin("[nist-135]: costs stay in money of today"),
    )
    discount_rate: float = Field(
        0.03,
        ge=0,
        le=0.5,
        description="discount rate per year, as a share",
        json_schema_extra=origin("[cfr-436]"),
    )
    electricity_escalation: float = Field(
        0.0,
        ge=-0.2,
        le=0.3,
        description="growth of the electricity bill per year, as a share",
        json_schema_extra=origin("[nist-135]: electricity keeps pace with all prices"),
    )
    fuel_escalation: float = Field(
        0.0,
        ge=-0.2,
        le=0.3,
        description="growth of the fuel bill per year, as a share",
        json_schema_extra=origin("[nist-135]: fuel keeps pace with all prices"),
    )
    inflation: float = Field(
        0.0,
        ge=-0.1,
        le=0.3,
        description="growth of maintenance and replacements per year (nominal rates), as a share",
        json_schema_extra=origin("[nist-135]: rates are real, costs are in money of today"),
    )

    @rule
    def _rates(self) -> Iterator[Clash]:
        if self.rates == "real" and self.given("inflation"):
            yield Clash("inflation", "nothing unless costs.rates is nominal")
        if self.rates == "nominal":
            for key in ("discount_rate", "electricity_escalation", "fuel_escalation", "inflation"):
                if not self.given(key):
                    yield Clash(key, "a share per year: defaults are real, and costs.rates is nominal")

    @rule
    def _names(self) -> Iterator[Clash]:
        names = [incentive.name for incentive in self.incentives]
        if len(set(names)) < len(names):
            yield Clash("incentives", "a name of its own for each")

    @rule
    def _own_replacements(self) -> Iterator[Clash]:
        yield from _within("replacements", self, self.years)

    @rule
    def _baseline_replacements(self) -> Iterator[Clash]:
        yield from _within("baseline.replacements", self.baseline, self.years)


def _within(key: str, outlay: Outlay, years: int) -> Iterator[Clash]:
    """The clash of replacements after the years that are counted."""
    if late := [str(one.year) for one in outlay.replacements if one.year > years]:
        yield Clash(key, f"years up to costs.years ({years}), not {', '.join(late)}")


class PeakHours(Block):
    """Hours in which the power of plant and baseline is compared."""

    name: str = Field(
        pattern="^[a-z][a-z0-9_]*$", max_length=40, description="name of these hours in the results"
    )
    months: Months = Field(description="months that count")
    days: Days = Field(description="days that count: weekdays are Monday to Friday, without holidays")
    hours: Windows = Field(
        min_length=1, description="windows of the day such as '14:00-18:00', local standard time"
    )

    def __str__(self) -> str:
        months = ", ".join(MONTHS[month - 1] for month in self.months)
        return f"{self.name} ({months}; {self.days}; {', '.join(map(str, self.hours))})"

    @rule
    def _whole_quarters(self) -> Iterator[Clash]:
        yield from whole_steps(self.hours, 15)


SUMMER = PeakHours.model_validate(
    {"name": "summer_afternoon", "months": "Jun-Sep", "days": "weekdays", "hours": ["14:00-18:00"]}
)


TO_SOURCE = {row["energy"]: row["factor"] for row in read_table("site_to_source")}
"""Packaged source energy over site energy, as text."""
FUEL_TO_SOURCE = origin(
    "[epa-source-energy]; [epa-source-energy-oil]; [doe-source-energy-steam]",
    none=", ".join(f"{TO_SOURCE[fuel]} {fuel}" for fuel in ("natural-gas", "fuel-oil", "district-steam")),
)


class Savings(Block):
    """How plant and baseline are compared."""

    electricity_to_source: float | None = Field(
        None,
        ge=1,
        le=6,
        description="source energy over site energy of electricity",
        json_schema_extra=origin(
            "[epa-source-energy]",
            none=TO_SOURCE["electricity"],
        ),
    )
    fuel_to_source: float | None = Field(
        None,
        ge=0.5,
        le=3,
        description="source energy over site energy of the plant's fuel",
        json_schema_extra=FUEL_TO_SOURCE,
    )
    baseline_fuel_to_source: float | None = Field(
        None,
        ge=0.5,
        le=3,
        description="source energy over site energy of the baseline's fuel",
        json_schema_extra=FUEL_TO_SOURCE,
    )
    peak_hours: Annotated[tuple[PeakHours, ...], BeforeValidator(as_tuple)] = Field(
        (SUMMER,),
        description="hours in which power is compared",
        json_schema_extra=origin(PRACTICE),
    )

    @rule
    def _names(self) -> Iterator[Clash]:
        names = [hours.name for hours in self.peak_hours]
        if len(set(names)) < len(names):
            yield Clash("peak_hours", "a name of its own for each")
