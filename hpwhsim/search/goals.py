"""What the best plant is: objectives and limits, keys of the annual record."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from hpwhsim.errors import Findings, InputError
from hpwhsim.results.asked import named_keys
from hpwhsim.results.declared import declared
from hpwhsim.results.records import bare
from hpwhsim.scenario.schema import Scenario

SHORT = {"cost": "costs.present_value_usd", "co2e": "total_kgco2e", "peak": "peak_kw"}
"""Names of objectives that everybody asks for."""
ACCOUNTS = {
    "costs.": "costs",
    "energy_cost": "tariff",
    "total_kgco2e": "carbon",
    "operational_kgco2e": "carbon",
    "refrigerant_kgco2e": "carbon",
    "savings.": "baseline",
}
"""Block of the scenario without which there is no such figure, by how its key begins."""
Figures = Mapping[str, float | None]


class Tried(NamedTuple):
    """What a case gave."""

    figures: Figures  # of the annual record; None: it has no such number
    failed: str = ""  # why it has no year; empty: it has one


class Objective(NamedTuple):
    """A figure to be made least, or most."""

    key: str
    most: bool

    def worth(self, tried: Tried) -> float:
        """The figure to be made least, inf where there is none."""
        value = tried.figures.get(self.key)
        return math.inf if value is None else -value if self.most else value


class Limit(NamedTuple):
    """A bound that a figure must keep."""

    key: str
    value: float
    above: bool  # the figure must be this or more

    def excess(self, tried: Tried) -> float:
        """How far the figure is beyond, in its unit; inf where there is none."""
        value = tried.figures.get(self.key)
        if value is None:
            return math.inf
        return max(self.value - value if self.above else value - self.value, 0.0)


class Goals(NamedTuple):
    """One or two objectives and the limits."""

    objectives: tuple[Objective, ...]
    limits: tuple[Limit, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys of the record that are looked at."""
        return tuple(
            dict.fromkeys([*(one.key for one in self.objectives), *(one.key for one in self.limits)])
        )

    def has_year(self, tried: Tried) -> bool:
        """Whether there is a figure for every objective."""
        return not tried.failed and all(math.isfinite(one.worth(tried)) for one in self.objectives)

    def missed(self, tried: Tried) -> tuple[Limit, ...]:
        """The limits that a case with a year does not keep."""
        return tuple(limit for limit in self.limits if limit.excess(tried) > 0.0)

    def allows(self, tried: Tried) -> bool:
        """Whether a case has a year and keeps every limit."""
        return self.has_year(tried) and not self.missed(tried)


def goals_of(objectives: Sequence[str], limits: Mapping[str, Mapping[str, Any]], where: str) -> Goals:
    """Objectives and limits as a user names them.

    Parameters
    ----------
    objectives : sequence of str
        One or two keys of the annual record, or of the names in `SHORT`. Where more is better a figure is
        made most, where it is worse least.
    limits : mapping of str to mapping
        By key of the record ``min`` and ``max``, numbers in its unit, or text with that unit.
    where : str
        What messages begin with.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    wrong, found = Findings(), list[Objective]()
    keys = [SHORT.get(name.strip(), name.strip()) for name in objectives]
    for key in keys:
        with wrong.step():
            found.append(_objective(key))
    if len(keys) not in (1, 2) or len(set(keys)) < len(keys):
        wrong.lines.append(
            f"objectives: got {', '.join(keys) or 'nothing'}; allowed one key of the annual record, or two "
            "that differ"
        )
    bounds: list[Limit] = []
    for name, block in limits.items():
        with wrong.step():
            bounds += _limits(SHORT.get(name, name), block)
    wrong.raise_any(where)
    return Goals(tuple(found), tuple(bounds))


def _objective(key: str) -> Objective:
    named_keys([key], "objectives")
    more_is = declared(bare(key)).more_is
    if more_is == "neutral":
        raise InputError(
            f"objectives {key}: neither more nor less of it is better; allowed {', '.join(SHORT)}, or "
            "another key of which it is"
        )
    return Objective(key, more_is == "better")


def _limits(key: str, block: Mapping[str, Any]) -> list[Limit]:
    named_keys([key], "limits")
    found = [
        Limit(key, _number(key, block[name]), name == "min")
        for name in ("min", "max")
        if block.get(name) is not None
    ]
    if not found:
        raise InputError(f"limits {key}: got nothing; allowed min, max or both")
    if len(found) == 2 and found[0].value > found[1].value:
        raise InputError(f"limits {key}: got min above max; allowed min at most max")
    return found


def _number(key: str, value: Any) -> float:
    """A number in the unit of the key, which may stand behind it."""
    unit = declared(bare(key)).unit
    text = str(value).strip()
    number = text.removesuffix(unit).strip() if unit not in ("", "1") else text
    try:
        found = float(number.replace(",", "")) if not isinstance(value, bool) else math.nan
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        said = f" in {unit}" if unit not in ("", "1") else ""
        raise InputError(f"limits {key}: got {value}; allowed a number{said}")
    return found


def not_accounted(goals: Goals, scenario: Scenario, chosen: Sequence[str]) -> Iterator[str]:
    """What a scenario does not account for, and no chosen key adds, a line each."""
    blocks = {key.partition(".")[0] for key in chosen}
    for key in goals.keys:
        for beginning, block in ACCOUNTS.items():
            if key.startswith(beginning) and block not in blocks and getattr(scenario, block) is None:
                yield f"{key}: the scenario has no block {block}; allowed what it accounts for"
