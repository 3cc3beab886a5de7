"""The search over choices against brute force, the front against its definition, and what may be asked."""

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
import pytest

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.search.engine import Point, Searched, search
from hpwhsim.search.goals import Goals, Limit, Objective, Tried, goals_of
from hpwhsim.search.outcome import Found, outcome
from hpwhsim.search.pareto import front

pytestmark = pytest.mark.independent

SIZES = (6, 4, 3, 3)  # 216 combinations
COST, PEAK, SHORT = "costs.present_value_usd", "peak_kw", "short_litres"


def plant(point: Point) -> Tried:
    """An invented plant in place of a year: cheap ones run short, and some cannot be built."""
    modules, store, setpoint, kind = point
    if kind == 2 and setpoint == 2:
        return Tried({}, "out of reach")
    cost = 30.0 * modules + 7.0 * store + (setpoint - 1) ** 2 * 3.0 + (0.0, 11.0, 4.0)[kind]
    cost += 90.0 / (1 + modules + 0.5 * store)
    peak = 20.0 - 2.1 * modules - 1.3 * store + (0.0, -2.0, 3.0)[kind] + 0.5 * setpoint
    return Tried({COST: cost, PEAK: peak, SHORT: max(7.0 - 2.0 * modules - store, 0.0)})


def counted(asked: list[Point]) -> Callable[[Sequence[Point]], list[Tried]]:
    def evaluate(points: Sequence[Point]) -> list[Tried]:
        asked.extend(points)
        return [plant(point) for point in points]

    return evaluate


def brute(goals: Goals) -> dict[Point, Tried]:
    """Every combination that is allowed, by another way than the search."""
    every = {point: plant(point) for point in product(*(range(size) for size in SIZES))}
    return {point: one for point, one in every.items() if not one.failed and not goals.missed(one)}


def leaders(searched: Searched, goals: Goals) -> set[Point]:
    """The cases that lead, by `outcome`."""
    cases = [({"point": str(point)}, one) for point, one in searched.tried.items()]
    found: Found = outcome(goals, cases, searched.combinations, 1, 1)
    points = list(searched.tried)
    return {points[row.case - 1] for row in found.rows if row.front}


ONE = goals_of([COST], {SHORT: {"max": 0}}, "test")
TWO = goals_of([COST, PEAK], {SHORT: {"max": "0 L"}}, "test")


def dominated(goals: Goals, one: Tried, others: Sequence[Tried]) -> bool:
    """The definition, case against case."""
    mine = [objective.worth(one) for objective in goals.objectives]
    for other in others:
        its = [objective.worth(other) for objective in goals.objectives]
        if all(a <= b for a, b in zip(its, mine, strict=True)) and its != mine:
            return True
    return False


@pytest.mark.parametrize("goals", [ONE, TWO])
def test_few_choices_are_all_tried_once(goals: Goals) -> None:
    """The best, and every case of the front, as the definitions have them."""
    asked: list[Point] = []
    searched = search(SIZES, goals, counted(asked), 216, 1)
    assert len(searched.tried) == searched.combinations == 216
    assert sorted(asked) == sorted(product(*(range(size) for size in SIZES)))
    allowed = brute(goals)
    wanted = {p for p, one in allowed.items() if not dominated(goals, one, list(allowed.values()))}
    assert leaders(searched, goals) == wanted
    assert 0 < len(wanted) < len(allowed)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_many_choices_find_what_all_have(seed: int) -> None:
    """Half of 216 combinations may be tried: the optimum of all; no case twice, none beyond the budget."""
    asked: list[Point] = []
    searched = search(SIZES, ONE, counted(asked), 108, seed)
    assert len(asked) == len(set(asked)) == len(searched.tried) <= 108 < searched.combinations
    allowed = brute(ONE)
    assert leaders(searched, ONE) == {min(allowed, key=lambda p: ONE.objectives[0].worth(allowed[p]))}
    again: list[Point] = []
    search(SIZES, ONE, counted(again), 108, seed)
    assert again == asked


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_front_of_many_choices(seed: int) -> None:
    """With 150 of 216 both ends and nine of ten cases of the front; one of six seeds tried found one end."""
    searched = search(SIZES, TWO, counted([]), 150, seed)
    allowed = brute(TWO)
    wanted = {p for p, one in allowed.items() if not dominated(TWO, one, list(allowed.values()))}
    found = leaders(searched, TWO)
    for objective in TWO.objectives:
        assert min(wanted, key=lambda p: objective.worth(allowed[p])) in found
    assert len(found & wanted) >= 0.9 * len(wanted)


def test_where_nothing_is_allowed() -> None:
    """Nobody keeps a limit that nothing can: no best, and the search ends within its budget."""
    goals = goals_of([COST], {PEAK: {"max": -100}}, "test")
    searched = search(SIZES, goals, counted([]), 60, 1)
    assert len(searched.tried) == 60
    found = outcome(goals, [({}, one) for one in searched.tried.values()], 216, 1, 60)
    assert found.record["best"] == found.record["front"] == []
    assert found.record["allowed"] == 0
    assert found.record["limits"][0]["missed_by"] + found.record["failed"] == 60


@pytest.mark.parametrize("seed", range(5))
def test_front_by_its_definition(seed: int) -> None:
    """Random values with many ties: the rows that no other row dominates, all those that are alike."""
    values: Array = np.random.default_rng(seed).integers(0, 9, size=(60, 2)).astype(float)
    wanted = [
        row
        for row, one in enumerate(values)
        if not any((other <= one).all() and (other < one).any() for other in values)
    ]
    found = front(values)
    assert sorted(found) == wanted
    assert (np.diff(values[found, 0]) >= 0.0).all()


def test_which_limit_binds() -> None:
    """By hand: case 1 misses the limit on litres, case 4 that on power, case 3 both; case 2 is the best."""
    goals = goals_of([COST], {SHORT: {"max": 0}, PEAK: {"max": 10}}, "test")
    numbers = ((80.0, 5.0, 9.0), (100.0, 0.0, 9.0), (70.0, 5.0, 11.0), (120.0, 0.0, 11.0), (125.0, 0.0, 9.0))
    cases = [({}, Tried({COST: c, SHORT: s, PEAK: p})) for c, s, p in numbers]
    record = outcome(goals, cases, 5, 1, 500).record
    assert record["best"][0]["case"] == 2
    assert [(one["case"], one["behind"], one["behind_share"]) for one in record["best"][0]["next"]] == [
        (5, 25.0, 0.25)
    ]
    short, peak = record["limits"]
    assert (short["missed_by"], [one["case"] for one in short["without"]]) == (2, [1])
    assert (peak["missed_by"], peak["without"]) == (2, [])
    assert record["search"]["proven"]


@pytest.mark.contract
def test_what_is_sought_follows_the_declared_sign() -> None:
    """tables/results.csv says whether more is better; names that everybody uses; a limit in its unit."""
    assert goals_of(["cost", "cop_plant"], {}, "test").objectives == (
        Objective(COST, most=False),
        Objective("cop_plant", most=True),
    )
    assert goals_of(["co2e"], {"peak": {"max": "1,040 kW", "min": 2}}, "test").limits == (
        Limit(PEAK, 2.0, above=True),
        Limit(PEAK, 1040.0, above=False),
    )


@pytest.mark.contract
@pytest.mark.parametrize(
    ("objectives", "limits", "words"),
    [
        (["prise"], {}, ["objectives prise: unknown key"]),
        (["source_mean_c"], {}, ["source_mean_c", "neither more nor less", "cost, co2e, peak"]),
        (["peak_time"], {}, ["peak_time: got text"]),
        (["cost", "cost"], {}, ["two that differ"]),
        (["cost"], {"short_litrs": {"max": 0}}, ["did you mean short_litres?"]),
        (["cost"], {SHORT: {"max": "3 gal"}}, ["limits short_litres: got 3 gal; allowed a number in L"]),
        (["cost"], {SHORT: {}}, ["allowed min, max or both"]),
        (["cost"], {SHORT: {"min": 3, "max": 1}}, ["min above max"]),
    ],
)
def test_what_is_refused(
    objectives: list[str], limits: dict[str, dict[str, object]], words: list[str]
) -> None:
    with pytest.raises(InputError) as error:
        goals_of(objectives, limits, "test")
    assert "\n" not in str(error.value)
    assert not [word for word in ("test", *words) if word not in str(error.value)]
