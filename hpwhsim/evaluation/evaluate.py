"""What a modeler asks of a scenario: its year, its baseline's, and greenhouse gases, bills, savings, checks.

A baseline runs in the same year with the same building, draws and loop. A saving is the baseline less the
plant. What the machine makes its room's heating and cooling buy is booked to the plant in every comparison,
and listed apart in the plant's own figures.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from hpwhsim.account import economics, tariff
from hpwhsim.account.savings import Line
from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import WeatherYear, read_year
from hpwhsim.errors import Findings, InputError
from hpwhsim.evaluation import costs as money
from hpwhsim.evaluation import emissions as greenhouse
from hpwhsim.evaluation import site_checks as site
from hpwhsim.evaluation.against_baseline import (
    against_baseline,
    saved_lines,
    service_caution,
    upstream_caution,
    years_caution,
)
from hpwhsim.evaluation.baselines import Baselines
from hpwhsim.evaluation.emissions import Factors
from hpwhsim.evaluation.refusals import account_checks, plant_refusals
from hpwhsim.evaluation.result import Collected, Result, Side
from hpwhsim.evaluation.unusual_accounts import usual_accounts
from hpwhsim.plant.assemble import Assembly
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.reading import Loaded, baseline_of
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Ready, Record, Year, built, run_year, year_of, years_ready

BASELINE = "baseline"


_NUMBER = re.compile(r"[\d.,]+")


class Checked(NamedTuple):
    """What can be had of a scenario without a march."""

    collected: Collected
    weather: WeatherYear
    plant: Ready
    baseline: Ready | None

    @property
    def assembly(self) -> Assembly:
        """The plant as built."""
        return self.plant.assembly


def collect(loaded: Loaded, baselines: Baselines | None = None) -> Collected:
    """Read what a scenario names beside its plant: baseline, grid, prices.

    Raises
    ------
    InputError
        If one of them is wrong.
    """
    scenario, wrong = loaded.scenario, Findings()
    baseline = prices = baseline_prices = factors = None
    with wrong.step():
        baseline = baseline_of(loaded) if baselines is None else baselines.of(loaded)
    other = baseline.scenario if baseline is not None else None
    with wrong.step():
        if scenario.tariff is not None:
            prices = money.prices(scenario.tariff)
    with wrong.step():
        if other is not None and other.tariff is not None and prices is not None:
            baseline_prices = money.prices(other.tariff)
    with wrong.step():
        if scenario.carbon is not None:
            factors = greenhouse.factors(scenario.carbon)
    with wrong.step():
        if scenario.baseline is None or other is not None:
            greenhouse.check_fuel(scenario, other)
    for ask_account in account_checks(scenario):
        with wrong.step():
            ask_account()
    for ask_account in account_checks(other) if other is not None else ():
        with wrong.step(f"{BASELINE}: "):
            ask_account()
    wrong.raise_any(str(loaded.path))
    return Collected(loaded, baseline, factors, prices, baseline_prices)


def check(loaded: Loaded, baselines: Baselines | None = None, served: Sequence[Scenario] = ()) -> Checked:
    """Refuse whatever `evaluate` would refuse without a march, and build the plants.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    baselines : Baselines or None
        Those that were built before; a new one joins them.
    served : sequence of Scenario
        Buildings whose draws, added, plant and baseline serve; none: those of the scenario.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    wrong = Findings()
    collected = weather = plant = base = None
    with wrong.step():
        collected = collect(loaded, baselines)
    with wrong.step():
        weather = read_year(loaded.scenario.site.weather)
    if weather is not None:
        plant = _built(loaded, weather, wrong, served=served)
        if collected is not None and collected.baseline is not None:
            base = baselines.ready(loaded) if baselines is not None else None
            if base is None:
                base = _built(collected.baseline, weather, wrong, f"{BASELINE}: ", served)
                if base is not None and baselines is not None:
                    baselines.keep(loaded, base)
    wrong.raise_any(str(loaded.path))
    assert collected is not None  # or something was wrong
    assert weather is not None
    assert plant is not None
    return Checked(collected, weather, plant, base)


def _built(
    loaded: Loaded,
    weather: WeatherYear,
    wrong: Findings,
    where: str = "",
    served: Sequence[Scenario] = (),
) -> Ready | None:
    """The plant; where it cannot be built, what is wrong with each of its parts joins `wrong`."""
    try:
        return built(loaded, weather, served)
    except InputError as error:
        lines = (str(error), *plant_refusals(loaded.scenario, weather))
        wrong.lines += [f"{where}{line}" for line in lines]
    return None


def years_of(checked: Checked, baselines: Baselines | None = None) -> tuple[Year, Year | None]:
    """The years of a plant and of its baseline; one of `baselines` is marched once.

    Raises
    ------
    InputError
        If their accounts cannot be had.
    """
    if checked.baseline is None:
        return year_of(years_ready([checked.plant])[0]), None
    if baselines is None:
        own, its = (year_of(year) for year in years_ready([checked.plant, checked.baseline]))
        return own, its
    loaded = checked.collected.loaded
    known = baselines.year(loaded)
    if known is None:  # one after the other: who asks for many years has work for every core
        known = year_of(years_ready([checked.baseline])[0])
        baselines.keep_year(loaded, known)
    return year_of(years_ready([checked.plant])[0]), known


def evaluate(loaded: Loaded) -> Result:
    """Simulate the year of a scenario and of its baseline, and account for what was asked.

    Raises
    ------
    InputError
        If a file named in the scenario is wrong, or a plant cannot work as asked.
    """
    checked = check(loaded)
    return evaluated(checked.collected, *years_of(checked))


def evaluated(collected: Collected, own: Year, its: Year | None) -> Result:
    """Account for what was asked, of the years of plant and baseline.

    Raises
    ------
    InputError
        As `evaluate`.
    """
    loaded = collected.loaded
    block = loaded.scenario.savings
    plant = side_of(loaded, own, collected.factors, collected.prices, block.fuel_to_source)
    base = None
    if collected.baseline is not None and its is not None:
        prices, to_source = collected.baseline_prices, block.baseline_fuel_to_source
        base = side_of(collected.baseline, its, collected.factors, prices, to_source)
    scenario, record = loaded.scenario, plant.year.record
    added, hourly = _own(plant), _series(plant, base, collected)
    lines: dict[str, Line] = {}
    if base is not None:
        lines = saved_lines(scenario, plant, base)
        added |= against_baseline(plant, base, lines)
    found, costs, plant, base = _life_cycle(scenario, plant, base, lines)
    added |= costs
    charge: float | None = None
    if plant.greenhouse is not None and scenario.plant.heat_pump is not None:
        held = plant.greenhouse.record["carbon.refrigerant_charge_kg"]
        assert isinstance(held, float)
        charge = held
    if checks := site.checks_of(loaded, plant.year, charge):
        added["checks"] = [check.in_units(us=False).record() for check in checks]  # as all of the record
    unusual = usual_accounts(collected, plant.year.made)
    added |= _said(plant, base, [*unusual, *upstream_caution(lines)])
    whole = record | added
    ordered = {name: whole[name] for name in declarations() if name in whole}
    year = plant.year._replace(hourly=plant.year.hourly | hourly, record=ordered)
    return Result(collected, replace(plant, year=year, record=ordered), base, lines, found, checks)


def simulate(loaded: Loaded) -> Result:
    """Simulate the year of a scenario's plant alone: no baseline, greenhouse gases, bills or checks.

    Raises
    ------
    InputError
        If the weather file is wrong, or the plant cannot work as asked.
    """
    alone = Collected(loaded, None, None, None, None)
    return Result(alone, side_of(loaded, run_year(loaded), None, None, None), None, {}, None, [])


def side_of(
    loaded: Loaded,
    year: Year,
    factors: Factors | None,
    prices: tariff.Tariff | None,
    to_source: float | None,
) -> Side:
    """A plant's year with its greenhouse gases and bills, as far as factors and prices are given."""
    scenario = loaded.scenario
    of = greenhouse.bought(scenario, year)
    gases = None if factors is None else greenhouse.greenhouse(scenario, year, of, factors)
    bills = None if prices is None else money.bills(prices, year, of)
    side = Side(loaded, year, year.record, of, gases, prices, bills, None, to_source)
    return replace(side, record=year.record | _own(side))


def _own(plant: Side) -> Record:
    """Keys on the plant alone."""
    record: Record = {}
    if plant.greenhouse is not None:
        record |= plant.greenhouse.record
    if plant.bills is not None:
        record |= money.bill_record(plant.bills)
    return record


def _series(plant: Side, base: Side | None, collected: Collected) -> dict[str, Array]:
    """Hourly factors, prices and the baseline's energy, so that each sum can be added again."""
    size = plant.bought.electricity.size
    series: dict[str, Array] = {}
    if collected.factors is not None:
        mean = collected.factors.grid.kgco2e_per_kwh.mean(axis=0)
        series["grid_kgco2e_per_kwh"] = np.full(size, mean)
    if collected.prices is not None and collected.prices.electricity is not None:
        series["electricity_usd_per_kwh"] = collected.prices.electricity
    if base is not None:
        series["baseline_electricity_kwh"] = base.bought.electricity
        series["baseline_fuel_kwh"] = base.bought.fuel
    return series


def _life_cycle(
    scenario: Scenario, plant: Side, base: Side | None, lines: dict[str, Line]
) -> tuple[economics.LifeCycle | None, Record, Side, Side | None]:
    """The comparison of costs, its keys, and the plants with what they cost."""
    costs = scenario.costs
    if costs is None or plant.bills is None:
        return None, {}, plant, base
    capacity = plant.year.made.capacity * plant.year.made.modules / 1e3
    saved = {key: lines[key].saved if lines else 0.0 for key in ("site_mmbtu", "electricity_kwh")}
    paid = money.incentives(costs, capacity, saved["site_mmbtu"], saved["electricity_kwh"])
    record: Record = {"costs.incentives_usd": paid} if paid else {}
    by = money.terms(costs)
    gases = plant.greenhouse
    ours = money.plant_costs(
        costs, plant.bills, plant.year, sum(paid.values()), gases.in_years(by.years) if gases else 0.0
    )
    plant = replace(plant, costs=ours)
    record["costs.present_value_usd"] = economics.present_value(
        economics.cash_flow(ours, by), by.discount_rate
    )
    if base is None or base.bills is None:
        record["costs.heat_usd_per_mwh"] = economics.heat_cost(ours, by)
        return None, record, plant, base
    other = base.greenhouse
    theirs = money.plant_costs(
        costs.baseline, base.bills, base.year, 0.0, other.in_years(by.years) if other else 0.0
    )
    found = economics.life_cycle(ours, theirs, by)
    return found, record | money.life_record(found, by, gases is not None), plant, replace(base, costs=theirs)


def _said(plant: Side, base: Side | None, of_accounts: list[str]) -> Record:
    """Assumptions and cautions of the plant with those of carbon, baseline, accounts and savings."""
    assumed, cautions = list(plant.year.assumptions), list(plant.year.cautions)
    if plant.greenhouse is not None:
        worked_out = {item["key"] for item in plant.greenhouse.assumptions}
        assumed = [item for item in assumed if item["key"] not in worked_out]
        assumed += plant.greenhouse.assumptions
        cautions += plant.greenhouse.cautions
    if base is not None:
        theirs = [item for item in base.year.assumptions if item["key"].startswith("plant.")]
        if base.greenhouse is not None:
            theirs += [item for item in base.greenhouse.assumptions if item["key"] != "carbon.grid"]
            cautions += [f"baseline: {text}" for text in base.greenhouse.cautions]
        assumed += [item | {"key": f"baseline.{item['key'].removeprefix('plant.')}"} for item in theirs]
        said = {_NUMBER.sub("", text) for text in cautions}
        cautions += [f"baseline: {t}" for t in base.year.cautions if _NUMBER.sub("", t) not in said]
        cautions += service_caution(plant.year, base.year)
        cautions += years_caution(plant.scenario)
    cautions += of_accounts
    return {"assumptions": assumed, "cautions": cautions}
