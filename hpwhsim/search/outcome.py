"""What a search found: the best case, the front, how far the others are, and which limit binds."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.results.declared import declared
from hpwhsim.results.records import bare
from hpwhsim.search.goals import Figures, Goals, Limit, Objective, Tried
from hpwhsim.search.pareto import front

NEXT = 5  # cases behind the best in the record
MOST_REASONS = 8
NUMBER = re.compile(r"\d+(?:[.,]\d+)*")  # texts that differ in one are alike
Record = dict[str, Any]


class Row(NamedTuple):
    """A case that was tried."""

    case: int  # from 1, in the order in which they were tried
    values: Mapping[str, str]  # by key of the scenario, what was chosen
    tried: Tried
    missed: tuple[Limit, ...]
    allowed: bool  # it has a year and keeps all limits
    front: bool  # none betters it; of one objective: it is the best


class Found(NamedTuple):
    """All cases, and what is said of them."""

    rows: tuple[Row, ...]
    goals: Goals
    record: Record
    changes: tuple[Mapping[str, Any], ...] = ()  # of each case, as `with_changes` takes them


def outcome(
    goals: Goals, cases: Sequence[tuple[Mapping[str, str], Tried]], combinations: int, seed: int, budget: int
) -> Found:
    """What was found.

    Parameters
    ----------
    goals : Goals
        What was sought.
    cases : sequence of (mapping, Tried)
        Values by key and what they gave, in the order in which they were tried.
    combinations : int
        That there are.
    seed, budget : int
        Of the search.
    """
    rows = [
        Row(number, values, tried, goals.missed(tried), goals.allows(tried), False)
        for number, (values, tried) in enumerate(cases, 1)
    ]
    leading = {row.case for row in _leading(goals, rows)}
    rows = [row._replace(front=row.case in leading) for row in rows]
    record: Record = {
        "objectives": [_objective(one) for one in goals.objectives],
        "limits": [_limit(goals, limit, rows) for limit in goals.limits],
        "search": {
            "method": "enumeration" if combinations <= budget else "differential evolution",
            "combinations": combinations,
            "simulated": len(rows),
            "proven": combinations == len(rows),
            "budget": budget,
            "seed": seed,
        },
        "allowed": sum(row.allowed for row in rows),
        "failed": sum(not goals.has_year(row.tried) for row in rows),
        "failures": _failures(goals, rows),
        "best": [_best(goals, place, rows) for place in range(len(goals.objectives))] if leading else [],
        "front": [_said(goals, row) for row in _by(goals.objectives[0], [r for r in rows if r.front])],
    }
    return Found(tuple(rows), goals, record)


def _leading(goals: Goals, rows: Sequence[Row]) -> list[Row]:
    """The front; of one objective the best, the first of those that are alike."""
    allowed = [row for row in rows if row.allowed]
    if not allowed:
        return []
    if len(goals.objectives) == 1:
        return _by(goals.objectives[0], allowed)[:1]
    values = np.array([[one.worth(row.tried) for one in goals.objectives] for row in allowed])
    return [allowed[place] for place in front(values)]


def _by(objective: Objective, rows: Sequence[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: (objective.worth(row.tried), row.case))


def _objective(objective: Objective) -> Record:
    row = declared(bare(objective.key))
    return {
        "key": objective.key,
        "unit": row.unit,
        "long_name": row.long_name,
        "sought": "most" if objective.most else "least",
    }


def _limit(goals: Goals, limit: Limit, rows: Sequence[Row]) -> Record:
    """A limit, how many miss it, and what each objective would be without it."""
    free = goals._replace(limits=tuple(one for one in goals.limits if one is not limit))
    found: Record = {
        "key": limit.key,
        "unit": declared(bare(limit.key)).unit,
        "bound": "min" if limit.above else "max",
        "value": limit.value,
        "missed_by": sum(limit in row.missed for row in rows if goals.has_year(row.tried)),
        "without": [],
    }
    allowed = [row for row in rows if row.allowed]
    without = [row for row in rows if free.allows(row.tried)]
    for objective in goals.objectives:
        if not without:
            continue
        other = _by(objective, without)[0]
        if not allowed or objective.worth(other.tried) < objective.worth(_by(objective, allowed)[0].tried):
            found["without"].append({"objective": objective.key, **_said(free, other)})
    return found


def _failures(goals: Goals, rows: Sequence[Row]) -> list[Record]:
    """Why cases have no year, alike reasons together."""
    found: dict[str, Record] = {}
    for row in rows:
        if not goals.has_year(row.tried):
            text = row.tried.failed or _lacking(goals, row)
            held = found.setdefault(NUMBER.sub("0", text), {"message": text, "first": row.case, "cases": 0})
            held["cases"] += 1
    return list(found.values())[:MOST_REASONS]


def _lacking(goals: Goals, row: Row) -> str:
    keys = [one.key for one in goals.objectives if row.tried.figures.get(one.key) is None]
    return f"the record has no {', '.join(keys)}"


def _best(goals: Goals, place: int, rows: Sequence[Row]) -> Record:
    """The best by one objective, with those next to it, and how far they are."""
    objective = goals.objectives[place]
    first, *others = _by(objective, [row for row in rows if row.allowed])
    alike = [row.case for row in others if objective.worth(row.tried) == objective.worth(first.tried)]
    return {
        "objective": objective.key,
        **_said(goals, first),
        "alike": alike,
        "next": [
            {**_said(goals, row), **_far(objective, first.tried.figures, row.tried.figures)}
            for row in others[:NEXT]
        ],
    }


def _far(objective: Objective, best: Figures, other: Figures) -> Record:
    """How far a case is behind the best; both have the figure."""
    here, there = best[objective.key], other[objective.key]
    assert here is not None
    assert there is not None
    return {"behind": there - here, "behind_share": (there - here) / abs(here) if here else None}


def _said(goals: Goals, row: Row) -> Record:
    return {"case": row.case, "values": dict(row.values), "figures": dict(row.tried.figures)}


def rows_of(found: Found) -> Iterator[Record]:
    """Every case as a row of a table."""
    for row in found.rows:
        yield {
            "case": row.case,
            **row.values,
            **row.tried.figures,
            "allowed": int(row.allowed),
            "missed": " ".join(dict.fromkeys(limit.key for limit in row.missed))
            if not row.tried.failed
            else "",
            "front" if len(found.goals.objectives) > 1 else "best": int(row.front),
            "failed": row.tried.failed
            or ("" if found.goals.has_year(row.tried) else _lacking(found.goals, row)),
        }
