"""The `sizing` block: what a plant must do on its design days, and the machines and tanks to choose from."""

from collections.abc import Iterator
from math import ceil, floor
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from hpwhsim.io.units import Duration, Temperature, Volume
from hpwhsim.scenario.parts import PRACTICE, Block, Clash, FilePath, Form, origin, rule

CRITERIA = ("short-litres", "n-1", "run-hours", "backup-share")
ALWAYS = CRITERIA[0]  # a plant that runs short meets no other criterion
ROUNDING = 1e-9  # of a number of years
LIMITS = {"max_run_hours": "run-hours", "max_backup_share": "backup-share"}  # the criterion that reads each


def _criteria(value: object) -> object:
    given = [value] if isinstance(value, str) else value
    if not isinstance(given, list | tuple) or not given or any(item not in CRITERIA for item in given):
        raise ValueError(f"{', '.join(CRITERIA)}, one or a list of them")
    return tuple(dict.fromkeys((ALWAYS, *given)))


Criteria = Annotated[
    tuple[str, ...],
    BeforeValidator(_criteria),
    Form(
        f"{', '.join(CRITERIA)}: one or a list of them",
        {
            "anyOf": [
                {"enum": list(CRITERIA)},
                {"type": "array", "items": {"enum": list(CRITERIA)}, "minItems": 1},
            ]
        },
    ),
]


class Sizing(Block):
    """How `tankyear size` chooses."""

    criterion: Criteria = Field(
        (ALWAYS,),
        description="short-litres: unmet hot water within max_unmet_volume, which holds beside every other; "
        "n-1: the same with one module out; run-hours: full output for the heat of a day within "
        "max_run_hours; backup-share: heat of the backup within max_backup_share; one or a list, all of "
        "which must hold on the design days",
        json_schema_extra=origin("[tankyear-default]: hot water on the coldest days"),
    )
    max_unmet_volume: Volume = Field(
        0.0,
        ge=0,
        le=1000,
        description="water that the design days may deliver below hot_water.min_temperature",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    max_run_hours: Duration = Field(
        72000.0,
        gt=0,
        le=86400,
        description="maximum hours of full output for the heat of a day, in the air of that day (run-hours)",
        json_schema_extra=origin("16 to 20 h a day on the design day is usual; common practice, no source"),
    )
    max_backup_share: float = Field(
        0.0,
        ge=0,
        le=1,
        description="maximum share of the heat that the backup may give (backup-share)",
        json_schema_extra=origin("[tankyear-default]: none"),
    )
    days: Literal["coldest-day", "coldest-three-days"] = Field(
        "coldest-three-days",
        description="days of the weather file, by daily mean dry bulb",
        json_schema_extra=origin(PRACTICE),
    )
    design_temperature: Temperature | None = Field(
        None,
        ge=-60,
        le=40,
        description="mean outdoor air of the coldest design day: the air of all design days moves by what "
        "brings it there, and the cold water is that of the year's coldest day",
        json_schema_extra=origin("[tankyear-default]", none="the days as the weather file has them"),
    )
    design_frequency: float | None = Field(
        None,
        ge=0.9,
        lt=1,
        description="design_temperature by the share of the file's hours that are warmer, such as 0.99 or"
        " 0.996",
        json_schema_extra=origin(
            "[ashrae-climate]; annual cumulative frequency of occurrence",
            none="design_temperature, or the days as the weather file has them",
        ),
    )
    peak_day: Literal["drawn", "handbook", "none"] | None = Field(
        None,
        description="use on the coldest of them: drawn, the largest day of the year's draws; handbook, the "
        "mean day times maximum over average day; none, its own",
        json_schema_extra=origin(
            "[ashrae-hvac-peak-day]",
            none="drawn with random draws or metered use, else handbook",
        ),
    )
    day_spread: float = Field(
        0.15,
        ge=0,
        le=0.5,
        description="hot_water.day_spread of the random draws of the design days, where that is less: the "
        "handbook's largest day is a design envelope over many buildings, wider than one building's year",
        json_schema_extra=origin(
            "[ashrae-hvac-building-size]: set so that the largest days and hours of random draws come near "
            "its maximum day and hour"
        ),
    )
    seeds: int = Field(
        20,
        ge=1,
        le=1000,
        description="years of random draws whose design days are tried: hot_water.seed and those after it",
        json_schema_extra=origin("[tankyear-default]: the fewest that bear 95 %, and one more"),
    )
    min_probability: float = Field(
        0.95,
        gt=0,
        lt=1,
        description="minimum probability that a year of random draws that was not tried meets the criterion "
        "on its design days: of n years tried so few may fail that (failing + 1) / (n + 1) is "
        "no more than the rest",
        json_schema_extra=origin("[tankyear-default]"),
    )
    by: Literal["cost", "weight", "carbon"] = Field(
        "cost",
        description="what the choice minimizes",
        json_schema_extra=origin("[tankyear-default]"),
    )
    modules: FilePath | None = Field(
        None,
        description="CSV of modules: capacity_kw (at rated_at), cost, weight_kg, carbon_kg of one",
        json_schema_extra=origin(
            "[invented]: round numbers, use your own",
            none="modules of plant.heat_pump and their invented cost, weight and carbon",
        ),
    )
    tanks: FilePath | None = Field(
        None,
        description="CSV of tanks: litres, cost, weight_kg (filled), carbon_kg of one",
        json_schema_extra=origin(
            "[invented]: round numbers, use your own",
            none="usual sizes, with invented cost, weight and carbon",
        ),
    )
    max_modules: int = Field(
        6,
        ge=1,
        le=100,
        description="maximum number of modules in the plant",
        json_schema_extra=origin(PRACTICE),
    )
    max_tanks: int = Field(
        4,
        ge=1,
        le=100,
        description="maximum number of equal tanks in the plant",
        json_schema_extra=origin(PRACTICE),
    )

    @rule
    def _one_design_day(self) -> Iterator[Clash]:
        if self.design_temperature is not None and self.design_frequency is not None:
            yield Clash("design_frequency", "nothing beside sizing.design_temperature")

    @rule
    def _limits_of_criteria(self) -> Iterator[Clash]:
        for key, criterion in LIMITS.items():
            if self.given(key) and criterion not in self.criterion:
                yield Clash(key, f"nothing unless sizing.criterion holds {criterion}")

    @rule
    def _years_for_probability(self) -> Iterator[Clash]:
        if allowed_failures(self.seeds, self.min_probability) >= 0:
            return
        if self.given("seeds"):
            fewest = ceil(1.0 / (1.0 - self.min_probability) - ROUNDING) - 1
            allowed = f"at least {fewest} with sizing.min_probability {self.min_probability:g}"
            yield Clash("seeds", allowed, str(self.seeds))
        else:
            allowed = f"at most {self.seeds / (self.seeds + 1.0):.4g} with {self.seeds} sizing.seeds"
            yield Clash("min_probability", allowed, str(self.min_probability))


def allowed_failures(seeds: int, probability: float) -> int:
    """Most of `seeds` years of draws that may fail; -1: too few years to bear the probability.

    The chance that a year not tried needs more than what the (k+1)-th neediest of n tried years needs is
    (k + 1) / (n + 1), whatever the spread of needs is: all n + 1 places in the order are alike likely.

    Examples
    --------
    >>> [allowed_failures(n, 0.95) for n in (18, 19, 20, 39, 100)]
    [-1, 0, 0, 1, 4]
    """
    return floor((seeds + 1) * (1.0 - probability) + ROUNDING) - 1
