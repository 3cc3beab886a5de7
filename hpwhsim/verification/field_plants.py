"""Measured plants as scenarios, each run over the span of what was assumed of it.

The middle of all that was assumed, each assumed input alone at its low and its high, and for each measured
result the two corners at which every input stands where it gives the least and the most. A hit says that
measurement and computation do not contradict each other, no more: the wider the span, the cheaper the hit,
so that the share of the span that lies in the measured band stands beside it.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple, cast

from hpwhsim.climate.typical_year import WeatherYear
from hpwhsim.constants import HOURS
from hpwhsim.federal_test.rating import rate
from hpwhsim.processes import cores, processes
from hpwhsim.scenario.reading import Loaded, baseline_of, read_scenario, with_keys
from hpwhsim.simulation.year import Ready, Record, built, year_of, years_ready
from hpwhsim.verification.check import Check
from hpwhsim.verification.field_tables import FIELD, HOUSE, PLANTS, WEATHER, Input, Measured, inputs, measured
from hpwhsim.verification.moved_weather import moved_year, normals

Case = tuple[tuple[str, str], ...]  # keys with other values than the middle
BASELINE = "baseline"
MIDDLE: Case = ()


class Run(NamedTuple):
    """A plant's year, and that of what it is compared with."""

    loaded: Loaded
    case: Case
    record: Record
    other: Record  # its own where it is compared with nothing

    def of(self, key: str) -> float:
        """A figure of the plant."""
        return cast("float", self.record.get(key, 0.0))

    def change(self, key: str) -> float:
        """By how much the other's figure is less."""
        return self.of(key) - cast("float", self.other.get(key, 0.0))

    def house(self, key: str) -> float:
        """An input of the measured boundary that no scenario has."""
        return float(_outside(self.loaded.path.stem, self.case, HOUSE)[HOUSE + key])


class Effect(NamedTuple):
    """What one assumed input does to a result, alone."""

    input: Input
    at_low: float
    at_high: float

    @property
    def size(self) -> float:
        """How far apart its two ends bring the result."""
        return abs(self.at_high - self.at_low)


class Result(NamedTuple):
    """A measured result beside the computed one."""

    plant: str
    check: Check
    effects: tuple[Effect, ...]  # the largest first

    @property
    def usual(self) -> tuple[float, float]:
        """Middle with the effects of all inputs in quadrature, up and down: not all go wrong at once."""
        least, most = (
            math.sqrt(
                sum(
                    max(sign * (end - self.check.obtained) for end in (*effect[1:], self.check.obtained)) ** 2
                    for effect in self.effects
                )
            )
            for sign in (-1.0, 1.0)
        )
        return self.check.obtained - least, self.check.obtained + most

    @property
    def verdict(self) -> str:
        """Hit, miss, or a hit that only corners reach."""
        least, most = self.usual
        near = least <= self.check.high and most >= self.check.low
        return self.check.verdict if near or self.check.verdict == "miss" else "hit in a corner alone"

    @property
    def inside(self) -> float:
        """Share of the computed span that lies in the measured band."""
        assert self.check.span is not None
        least, most = self.check.span
        common = min(most, self.check.high) - max(least, self.check.low)
        return max(common, 0.0) / (most - least) if most > least else float(common >= 0.0)


# -- what was measured, of a year ----------------------------------------------------------------------


def _source_factor(run: Run) -> float:
    """Seasonal performance factor of the machines with the pumps of their source."""
    parts = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "source_pump_kwh")
    return run.of("heat_pump_heat_kwh") / sum(map(run.of, parts))


def _house_factor(run: Run) -> float:
    """Heat of use over all electricity: with backup and pumps, and the loop's loss counted as lost."""
    machines = run.of("heat_pump_heat_kwh")
    backup = machines * run.house("backup_share") / (1.0 - run.house("backup_share"))
    useful = (machines + backup) * (1.0 - run.house("loop_share"))
    return useful / (run.of("electricity_kwh") + backup)


def _house_percent(run: Run) -> float:
    """Change of all energy of a house by ducts; its lights and appliances are the gains of the room."""
    room = run.loaded.scenario.plant.source.room
    assert room is not None
    assert room.gains is not None
    house = room.gains / 1e3 * HOURS + run.of("reference_room_cooling_kwh") / room.cooling_cop
    house += run.of("reference_room_heating_kwh") / HEATERS[str(room.heating)]
    house += sum(sign * run.of(key) for key, sign in OF_HOUSE.items())
    return -100.0 * sum(sign * run.change(key) for key, sign in OF_HOUSE.items()) / house


@cache
def _rating(plant: str, case: Case) -> float:
    """Uniform energy factor of a unit."""
    return cast("float", rate(loaded_as(plant, case))["uniform_energy_factor"])


def _rating_percent(run: Run) -> float:
    """The plant's COP over what its unit would be rated at."""
    unit = tuple(pair for pair in run.case if pair[0].startswith("plant."))
    return 100.0 * run.of("cop_plant") / _rating(run.loaded.path.stem, unit)


def _share_cut(key: str) -> Callable[[Run], float]:
    """By how many per cent the other's figure is less."""
    return lambda run: 100.0 * run.change(key) / run.of(key)


def _saved_percent(run: Run) -> float:
    """Electricity saved over that of the baseline."""
    return -100.0 * run.change("electricity_kwh") / cast("float", run.other["electricity_kwh"])


HEATERS = {"resistance": 1.0, "heat-pump": 3.0}  # heat over purchased energy, the defaults of a room
OF_HOUSE = {"electricity_kwh": 1.0, "room_heating_penalty_kwh": 1.0, "room_cooling_credit_kwh": -1.0}
QUANTITIES: dict[str, Callable[[Run], float]] = {
    "cop_plant": lambda run: run.of("cop_plant"),
    "cop_heat_pump": lambda run: run.of("cop_heat_pump"),
    "source_factor": _source_factor,
    "house_factor": _house_factor,
    "loop_percent": lambda run: 100.0 * run.of("recirculation_share"),
    "electricity_kwh": lambda run: run.of("electricity_kwh"),
    "saved_kwh": lambda run: -run.change("electricity_kwh"),
    "saved_percent": _saved_percent,
    "fuel_cut_percent": _share_cut("fuel_kwh"),
    "loop_cut_percent": _share_cut("recirculation_loss_kwh"),
    "house_percent": _house_percent,
    "rating_percent": _rating_percent,
}
"""What is read from the years of a plant and of what it is compared with."""


# -- the span ------------------------------------------------------------------------------------------


def checks() -> Iterator[Check]:
    """One check for each measured result."""
    return (result.check for result in results())


@cache
def results() -> tuple[Result, ...]:
    """Every measured result beside the computed one, in the order of the table."""
    by_plant: dict[str, list[Measured]] = {}
    for one in measured():
        by_plant.setdefault(one.plant, []).append(one)
    with processes(min(cores(), len(by_plant)), [__name__]) as pool:
        found = list(pool.map(_of_plant, by_plant, by_plant.values()))
    return tuple(result for its in found for result in its)


def _of_plant(plant: str, its: Sequence[Measured]) -> list[Result]:
    """The results of one plant."""
    spans = [one for one in inputs()[plant] if one.low or one.high]
    alone: list[Case] = [((one.key, end),) for one in spans for end in (one.low, one.high)]
    found = _run(plant, its, [MIDDLE, *alone])
    corners = {one.name: [_corner(spans, found, one.name, sign) for sign in (-1.0, 1.0)] for one in its}
    for one in its:
        at_corners = _run(plant, [one], corners[one.name])
        found |= {case: found.get(case, {}) | at_corners[case] for case in corners[one.name]}
    beside: list[Result] = []
    for one in its:
        values = [found[case][one.name] for case in [MIDDLE, *alone, *corners[one.name]]]
        effects = [
            Effect(key, found[((key.key, key.low),)][one.name], found[((key.key, key.high),)][one.name])
            for key in spans
        ]
        check = Check(
            one.name,
            FIELD,
            "measured plant",
            one.says,
            one.unit,
            one.expected,
            one.low,
            one.high,
            one.tolerance,
            found[MIDDLE][one.name],
            (min(values), max(values)),
            one.source,
        )
        effects.sort(key=lambda effect: -effect.size)
        beside.append(Result(plant, check, tuple(effects)))
    return beside


def _corner(spans: Iterable[Input], found: dict[Case, dict[str, float]], name: str, sign: float) -> Case:
    """Every input where it alone gives the most of a result, or with a sign of -1 the least."""
    chosen: list[Case] = []
    for one in spans:
        cases: list[Case] = [MIDDLE, ((one.key, one.low),), ((one.key, one.high),)]
        chosen.append(max(cases, key=lambda case: sign * found[case][name]))
    return tuple(pair for case in chosen for pair in case)


def _run(plant: str, its: Sequence[Measured], cases: Sequence[Case]) -> dict[Case, dict[str, float]]:
    """The results of some cases, all their years marched at once."""
    ready: list[Ready] = []
    alike: dict[tuple[object, ...], int] = {}  # an input of one side leaves the other as it was
    places: dict[tuple[Case, str], int] = {}
    for case in cases:
        weather = _weather(plant, case)
        for against in dict.fromkeys(("", *(one.against for one in its))):
            loaded = loaded_as(plant, case, against)
            known = (loaded.overrides, against == BASELINE, id(weather))
            if known not in alike:
                alike[known] = len(ready)
                ready.append(built(loaded, weather))
            places[case, against] = alike[known]
    years = [year_of(year).record for year in years_ready(ready)]

    def value(case: Case, one: Measured) -> float:
        own, other = places[case, ""], places[case, one.against]
        return QUANTITIES[one.quantity](Run(ready[own].loaded, case, years[own], years[other]))

    return {case: {one.name: value(case, one) for one in its} for case in cases}


def loaded_as(plant: str, case: Case, against: str = "") -> Loaded:
    """A plant's scenario with other inputs, or that of what it is compared with."""
    other = dict(text.strip().split("=", 1) for text in against.split(";")) if "=" in against else {}
    scenario = read_scenario(PLANTS / f"{plant}.yaml")
    changes = {key: value for key, value in case if not key.startswith((WEATHER, HOUSE))}
    if own := {key: value for key, value in changes.items() if _has(scenario.written, key)}:
        scenario = with_keys(scenario, own)
    if against == BASELINE:
        baseline = baseline_of(scenario)
        assert baseline is not None
        return baseline
    if other:
        scenario = with_keys(scenario, other | {key: changes[key] for key in other if key in changes})
    return scenario


def _has(written: Mapping[str, Any], key: str) -> bool:
    """Whether a scenario was written with a key."""
    here: Any = written
    for part in key.split("."):
        if not isinstance(here, Mapping) or part not in here:
            return False
        here = here[part]
    return True


def _weather(plant: str, case: Case) -> WeatherYear:
    asked = _outside(plant, case, WEATHER)
    return _moved(asked[f"{WEATHER}place"], float(asked.get(f"{WEATHER}warmer_k", "0")))


def _outside(plant: str, case: Case, start: str) -> dict[str, str]:
    """Inputs of a case that are no keys of its scenario, by how they begin."""
    middle = {one.key: one.middle for one in inputs()[plant] if one.key.startswith(start)}
    return middle | {key: value for key, value in case if key.startswith(start)}


@cache
def _moved(place: str, warmer_k: float) -> WeatherYear:
    return moved_year(normals()[place], warmer_k)
