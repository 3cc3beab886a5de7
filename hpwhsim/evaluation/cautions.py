"""Cautions in the order in which a reader needs them: what limits this year's figures first."""

from collections.abc import Iterable

from hpwhsim.account.adequacy import LIMITS_THE_YEAR, USUAL
from hpwhsim.simulation.year import ONE_SEED
from hpwhsim.tables.usual_ranges import UNUSUAL

LIMITS_THE_SAVINGS = ("plant and baseline do not give the same service", "methane lost upstream")
DEFAULT_VALUES = (ONE_SEED, "recirculation.pump_power")
"""Cautions on values that nobody gave; they hold for most scenarios."""


def importance(text: str) -> int:
    """0 what limits the figures, 1 unusual values, 2 other findings, 3 missing values, 4 safety notes."""
    plain = text.removeprefix("baseline: ")
    limits = (*LIMITS_THE_YEAR, *LIMITS_THE_SAVINGS)
    for rank, openings in ((0, limits), (1, (UNUSUAL,)), (3, DEFAULT_VALUES), (4, USUAL)):
        if plain.startswith(openings):
            return rank
    return 2


def by_importance(texts: Iterable[str]) -> list[str]:
    """Cautions, the most important first; of equal importance in the order of the record."""
    return sorted(texts, key=lambda text: (importance(text), text.startswith("baseline: ")))
