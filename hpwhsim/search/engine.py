"""Search over choices: all of them where they are few, differential evolution where they are many.

Every choice is a whole number, the place of a value among those that a key may take. Each combination is
tried once. Limits are constraints of the optimizer: a case that keeps them goes before one that does not, and
of two that do not, the one that exceeds each less (Lampinen 2002, as scipy has it); no penalty is weighed.
Two objectives are searched by the epsilon-constraint method: each alone, then the first with the second held
to a bound in the middle of the widest gap of the front.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.search.goals import Goals, Objective, Tried
from hpwhsim.search.pareto import front

BUDGET = 500  # cases, unless the user says
BETWEEN = 6  # gaps of the front that a pass tries to fill
GENERATIONS = 200
PASSES = 20
Point = tuple[int, ...]
Evaluate = Callable[[Sequence[Point]], Sequence[Tried]]


class Searched(NamedTuple):
    """What was tried."""

    tried: dict[Point, Tried]  # in the order in which they were tried
    combinations: int  # that there are


class _Spent(Exception):
    """What may be tried has been."""


class _Memo:
    """Cases by their point, each tried once."""

    def __init__(self, evaluate: Evaluate, budget: int) -> None:
        self.evaluate, self.most = evaluate, budget
        self.tried: dict[Point, Tried] = {}

    def ask(self, points: Sequence[Point], most: int) -> list[Tried]:
        """Cases at some points; those that are not known yet are tried together.

        Raises
        ------
        _Spent
            Where more than `most` cases in all would be tried; as many as may be are.
        """
        new = [point for point in dict.fromkeys(points) if point not in self.tried]
        may = new[: max(min(most, self.most) - len(self.tried), 0)]
        if may:
            self.tried |= zip(may, self.evaluate(may), strict=True)
        if len(may) < len(new):
            raise _Spent
        return [self.tried[point] for point in points]


def search(sizes: Sequence[int], goals: Goals, evaluate: Evaluate, budget: int, seed: int) -> Searched:
    """Try combinations of choices.

    Parameters
    ----------
    sizes : sequence of int
        How many values each choice has.
    goals : Goals
        What is sought.
    evaluate : callable
        Gives a `Tried` for each of some points, whole numbers from 0 for each choice; asked once for each.
    budget : int
        Cases that may be tried. Where there are no more combinations, all are.
    seed : int
        Of the optimizer; with the same one the same cases are tried.
    """
    combinations, memo = math.prod(sizes), _Memo(evaluate, budget)
    if combinations <= budget:
        memo.ask([tuple(map(int, point)) for point in np.ndindex(*sizes)], budget)
        return Searched(memo.tried, combinations)
    before = None
    for number in range(PASSES):
        for share, objective, bound in _runs(goals, memo):
            left = budget - len(memo.tried)
            _run(
                memo, sizes, goals, objective, bound, len(memo.tried) + math.ceil(left * share), seed + number
            )
        now = _best(goals, memo)
        if len(memo.tried) == budget or now == before:
            break
        before = now
    return Searched(memo.tried, combinations)


def _runs(goals: Goals, memo: _Memo) -> Iterator[tuple[float, Objective, float]]:
    """Runs of a pass: share of what is left, the objective, and the bound that the other one must keep."""
    first, *other = goals.objectives
    if not other:
        yield 1.0, first, math.inf
        return
    yield 1.0 / 4.0, first, math.inf  # a quarter of what is left for each end, half for what is between
    yield 1.0 / 3.0, other[0], math.inf
    done = set[tuple[float, float]]()
    for place in range(BETWEEN):
        worths = sorted({other[0].worth(memo.tried[point]) for point in _best(goals, memo)})
        gaps = [gap for gap in pairwise(worths) if gap not in done]
        if not gaps:
            return
        low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
        done.add((low, high))
        yield 1.0 / (BETWEEN - place), first, 0.5 * (low + high)


def _best(goals: Goals, memo: _Memo) -> list[Point]:
    """The cases that lead: the best, or the front."""
    allowed = [point for point, one in memo.tried.items() if goals.allows(one)]
    if not allowed:
        return []
    worth = [[objective.worth(memo.tried[point]) for objective in goals.objectives] for point in allowed]
    values = np.array([[*row, *row][:2] for row in worth])
    return [allowed[row] for row in front(values)]


def _run(
    memo: _Memo, sizes: Sequence[int], goals: Goals, objective: Objective, bound: float, most: int, seed: int
) -> None:
    """One run of the optimizer for one objective, the other held to `bound`, up to `most` cases in all."""
    from scipy.optimize import Bounds, NonlinearConstraint, differential_evolution

    free = [place for place, size in enumerate(sizes) if size > 1]
    others = [one for one in goals.objectives if one is not objective]

    def ask(x: Array) -> list[Tried]:
        """Cases of some columns of places."""
        whole = np.zeros((len(sizes), x.shape[1]), dtype=int)
        whole[free] = np.rint(x).astype(int)
        return memo.ask([tuple(map(int, column)) for column in whole.T], most)

    def excess(x: Array) -> Array:
        found = [
            [
                0.0 if goals.has_year(one) else 1.0,
                *(limit.excess(one) for limit in goals.limits),
                *(max(other.worth(one) - bound, 0.0) for other in others if bound < math.inf),
            ]
            for one in ask(x.reshape(len(free), -1))
        ]
        return np.array(found).T

    def worth(x: Array) -> Any:  # vectorized: one for each column
        return np.array([objective.worth(one) for one in ask(x)])

    leaders = [[point[place] for place in free] for point in _best(goals, memo)]
    first = _first(np.array([sizes[place] for place in free]), leaders, most - len(memo.tried), seed)
    try:
        ask(first.T)
        differential_evolution(
            worth,
            Bounds(np.zeros(len(free)), np.array([sizes[place] - 1.0 for place in free])),
            integrality=np.ones(len(free), dtype=bool),
            init=first,
            constraints=NonlinearConstraint(excess, -np.inf, 0.0),
            maxiter=GENERATIONS,
            tol=0.0,
            recombination=0.9,
            polish=False,
            updating="deferred",
            vectorized=True,
            rng=seed,
        )
    except _Spent:
        pass


def _first(sizes: NDArray[np.int_], leaders: Sequence[Sequence[int]], may: int, seed: int) -> Array:
    """The first generation: evenly over the choices, and up to a third of it those that lead so far."""
    from scipy.stats import qmc

    count = max(min(10 * sizes.size, may // 8), 8)
    spread = qmc.LatinHypercube(sizes.size, rng=np.random.default_rng(seed)).random(count)
    found = np.floor(spread * sizes)
    known = np.array(leaders[: count // 3], dtype=float).reshape(-1, sizes.size)
    found[: len(known)] = known
    return found
