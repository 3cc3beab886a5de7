"""The `tariff` block: prices of electricity and fuel, demand and fixed charges.

Money is in USD. No price of a real company is built in.
"""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag

from hpwhsim.io.units import (
    ENERGY_PRICE,
    DemandPrice,
    Energy,
    EnergyPrice,
    MonthlyMoney,
)
from hpwhsim.scenario.parts import (
    PRACTICE,
    Block,
    Clash,
    FilePath,
    Form,
    Window,
    Windows,
    as_tuple,
    origin,
    rule,
)

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
ALL_MONTHS = tuple(range(1, 13))
NO_CHARGE = "[tankyear-default]: none was written"


def _months(value: object) -> object:
    """Months from a list of numbers, or from text such as "Jun-Sep" or "Nov-Feb, Apr"."""
    hint = "months such as 'Jun-Sep' or [6, 7, 8, 9]"
    if isinstance(value, str):
        found: list[int] = []
        for part in value.split(","):
            names = [name.strip().lower() for name in re.split("[-–]", part)]
            if len(names) > 2 or not set(names) <= set(MONTHS):
                raise ValueError(hint)
            first, last = MONTHS.index(names[0]), MONTHS.index(names[-1])
            found += [month % 12 + 1 for month in range(first, last + 1 + (12 if last < first else 0))]
        value = found
    if not isinstance(value, list | tuple) or not value or not all(type(item) is int for item in value):
        raise ValueError(hint)
    if not set(value) <= set(ALL_MONTHS) or len(set(value)) < len(value):
        raise ValueError(f"{hint}, each 1 to 12 and once")
    return tuple(value)


def whole_steps(windows: Sequence[Window], step: int) -> Iterator[Clash]:
    """The clash of windows that do not start and end at multiples of `step` minutes."""
    if any(window.start % step or window.end % step for window in windows):
        yield Clash("hours", f"windows that start and end at multiples of {step} min")


def _named(months: Sequence[int]) -> str:
    return ", ".join(MONTHS[month - 1] for month in months)


def _electricity_kind(value: object) -> str | None:
    """Which form of price was written; for text the ending decides."""
    if isinstance(value, list | tuple):
        return "(blocks)"
    if isinstance(value, Path) or (isinstance(value, str) and value.strip().lower().endswith(".csv")):
        return "(file)"
    return "(flat)" if isinstance(value, str | float | int) else None


def _fuel_kind(value: object) -> str:
    return "(months)" if isinstance(value, list | tuple) else "(flat)"


Months = Annotated[
    tuple[int, ...],
    BeforeValidator(_months),
    Form(
        "months such as Jun-Sep, or a list of their numbers",
        {
            "anyOf": [
                {"type": "string"},
                {"type": "array", "items": {"type": "integer", "minimum": 1, "maximum": 12}, "minItems": 1},
            ]
        },
    ),
]
AnyMonths = Annotated[
    Months,
    Field(
        description="months in which the price holds",
        json_schema_extra=origin("[tankyear-default]: every month"),
    ),
]
"""Of a field that holds all year where nobody says more."""
Days = Literal["all", "weekdays", "weekends"]


class TouBlock(Block):
    """A price of electricity and the hours in which it holds; the first block that holds an hour counts."""

    price: EnergyPrice = Field(ge=-10, le=10, description="price of electricity")
    months: AnyMonths = ALL_MONTHS
    days: Days = Field(
        "all",
        description="days in which the price holds: weekdays are Monday to Friday, without holidays",
        json_schema_extra=origin("[tankyear-default]: every day"),
    )
    hours: Windows = Field(
        (),
        description="windows of the day such as '16:00-21:00', whole hours of local standard time",
        json_schema_extra=origin("[tankyear-default]: the whole day"),
    )

    @rule
    def _whole_hours(self) -> Iterator[Clash]:
        yield from whole_steps(self.hours, 60)


class Tier(Block):
    """A price for the part of a month's energy above the tier before."""

    price: EnergyPrice = Field(ge=-10, le=10, description="price of electricity, added to tariff.electricity")
    up_to: Energy | None = Field(
        None,
        gt=0,
        le=1e9,
        description="energy of a month at which the tier ends",
        json_schema_extra=origin("[tankyear-default]", none="no end: the last tier"),
    )
    months: AnyMonths = ALL_MONTHS


class Demand(Block):
    """A charge for the highest 15-minute mean power of each month."""

    price: DemandPrice = Field(ge=0, le=500, description="price of power in each month")
    months: Months = Field(
        ALL_MONTHS,
        description="months in which the charge holds",
        json_schema_extra=origin("[tankyear-default]: every month"),
    )
    days: Days = Field(
        "all",
        description="days in which power counts: weekdays are Monday to Friday, without holidays",
        json_schema_extra=origin("[tankyear-default]: every day"),
    )
    hours: Windows = Field(
        (),
        description="windows of the day in which power counts, such as '16:00-21:00', local standard time",
        json_schema_extra=origin("[tankyear-default]: the whole day (anytime demand)"),
    )
    ratchet: float = Field(
        0.0,
        ge=0,
        le=1,
        description="minimum power billed, as a share of the highest of the months before",
        json_schema_extra=origin(NO_CHARGE),
    )
    ratchet_months: int = Field(
        11,
        ge=1,
        le=11,
        description="months the ratchet looks back; before January those at the end of the same year",
        json_schema_extra=origin(PRACTICE),
    )

    @rule
    def _whole_quarters(self) -> Iterator[Clash]:
        yield from whole_steps(self.hours, 15)

    @rule
    def _ratchet(self) -> Iterator[Clash]:
        if self.given("ratchet_months") and self.ratchet == 0.0:
            yield Clash("ratchet_months", "nothing unless ratchet is given")


Electricity = Annotated[
    Annotated[EnergyPrice, Field(ge=0, le=10), Tag("(flat)")]
    | Annotated[FilePath, Tag("(file)")]
    | Annotated[tuple[TouBlock, ...], BeforeValidator(as_tuple), Field(min_length=1), Tag("(blocks)")],
    Discriminator(
        _electricity_kind,
        custom_error_type="price_type",
        custom_error_message=f"{ENERGY_PRICE}, a list of blocks, or the path of a file *.csv",
    ),
]
Fuel = Annotated[
    Annotated[EnergyPrice, Field(ge=0, le=10), Tag("(flat)")]
    | Annotated[
        tuple[Annotated[EnergyPrice, Field(ge=0, le=10)], ...],
        BeforeValidator(as_tuple),
        Field(min_length=12, max_length=12),
        Tag("(months)"),
    ],
    Discriminator(_fuel_kind),
]


class Tariff(Block):
    """What energy costs; the clock is local standard time, without daylight saving and holidays."""

    electricity: Electricity | None = Field(
        None,
        description="price of electricity, list of time-of-use blocks, or CSV of 8760 rows with usd_per_kwh",
        json_schema_extra=origin("tariff.tiers give the price"),
    )
    tiers: Annotated[tuple[Tier, ...], BeforeValidator(as_tuple)] = Field(
        (),
        description="prices by the energy of the month, added to tariff.electricity",
        json_schema_extra=origin(NO_CHARGE),
    )
    demand: Annotated[tuple[Demand, ...], BeforeValidator(as_tuple)] = Field(
        (),
        description="charges for the highest 15-minute mean power of each month",
        json_schema_extra=origin(NO_CHARGE),
    )
    fixed: MonthlyMoney = Field(
        0.0,
        ge=0,
        le=1e6,
        description="charge for the connection",
        json_schema_extra=origin(NO_CHARGE),
    )
    fuel: Fuel | None = Field(
        None,
        description="price of fuel or steam by its higher heating value, or a list of twelve",
        json_schema_extra=origin("no price of fuel was written"),
    )
    baseline_fuel: Fuel | None = Field(
        None,
        description="price of the baseline's fuel, where it is another, in the same forms",
        json_schema_extra=origin("tariff.fuel is that of the baseline too"),
    )

    @rule
    def _some_price(self) -> Iterator[Clash]:
        if self.electricity is None and not self.tiers:
            yield Clash("electricity", f"{ENERGY_PRICE}, a list of blocks, or a file; or tariff.tiers")

    @rule
    def _tiers_of_months(self) -> Iterator[Clash]:
        missing, unordered = [], []
        for month in ALL_MONTHS if self.tiers else ():
            ends = [tier.up_to for tier in self.tiers if month in tier.months]
            if not ends and self.electricity is None:
                missing.append(month)
            rising = [end for end in ends[:-1] if end is not None]
            if ends and (
                ends[-1] is not None or len(rising) < len(ends) - 1 or rising != sorted(set(rising))
            ):
                unordered.append(month)
        if missing:
            yield Clash("tiers", f"tiers for every month (there is none for {_named(missing)})")
        if unordered:
            yield Clash("tiers", f"rising up_to and a last tier without one ({_named(unordered)})")
