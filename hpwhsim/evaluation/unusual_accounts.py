"""How grid factors, prices and refrigerant stand to what is usual: cautions on what lies outside."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from hpwhsim.account.charge import USUAL_CHARGE
from hpwhsim.account.grid import COLUMN as GRID_COLUMN
from hpwhsim.account.grid import FACTOR
from hpwhsim.account.tariff import COLUMN as PRICE_COLUMN
from hpwhsim.account.tariff import Tariff
from hpwhsim.evaluation.emissions import burnt_fuel
from hpwhsim.evaluation.result import Collected
from hpwhsim.plant.machine import Made
from hpwhsim.scenario.schema import Scenario
from hpwhsim.tables.usual_ranges import unusual

PRICE = "electricity price"


def usual_accounts(collected: Collected, made: Made) -> list[str]:
    """Cautions on what a scenario names beside its plant: grid, fuel, refrigerant and prices.

    Parameters
    ----------
    collected : Collected
        What was read.
    made : Made
        The heat pump as built.
    """
    scenario = collected.loaded.scenario
    said = [*_carbon(collected, scenario), *_refrigerant(scenario, made), *_prices(collected, scenario)]
    return list(dict.fromkeys(said))  # plant and baseline may burn the same


def _named(key: str, given: object, column: str) -> str:
    """A key, with file and column where it names a file."""
    file = Path(str(given)) if str(given).lower().endswith(".csv") else None
    return key if file is None else f"{key} ({file.name}, column {column})"


def _carbon(collected: Collected, scenario: Scenario) -> Iterator[str]:
    carbon, factors = scenario.carbon, collected.factors
    if carbon is None or factors is None:
        return
    for key, given, grid in (
        ("carbon.grid", carbon.grid, factors.grid),
        ("carbon.marginal", carbon.marginal, factors.marginal),
    ):
        if grid is not None:
            mean = float(grid.kgco2e_per_kwh.mean())
            yield from unusual(FACTOR, mean, _named(key, given, GRID_COLUMN))
    for one in (scenario, collected.baseline.scenario if collected.baseline is not None else None):
        burnt = burnt_fuel(one) if one is not None else None
        if one is not None and burnt is not None:
            key = "carbon.steam" if one.plant.backup.kind == "steam" else "carbon.fuel"
            yield from unusual("fuel factor", burnt.kgco2e_per_kwh(carbon.gwp), key)


def _refrigerant(scenario: Scenario, made: Made) -> Iterator[str]:
    """Charge without what the lines piped on site hold, and what is lost of it."""
    carbon, heat_pump = scenario.carbon, scenario.plant.heat_pump
    if carbon is None or heat_pump is None:
        return
    block, rated = carbon.refrigerant, made.capacity * made.modules / 1e3
    name, key = heat_pump.refrigerant, "carbon.refrigerant"
    if block.charge is not None:
        lines = made.lines.charge_kg * made.modules if made.lines is not None else 0.0
        per_kw = max(block.charge - lines, 0.0) / rated
        yield from unusual(USUAL_CHARGE, per_kw, f"{key}.charge", name)
    elif block.charge_per_kw is not None:
        yield from unusual(USUAL_CHARGE, block.charge_per_kw, f"{key}.charge_per_kw", name)
    yield from unusual("annual leak", block.annual_leak, f"{key}.annual_leak")
    yield from unusual("end-of-life loss", block.lost_at_end, f"{key}.end_of_life_loss")


def _prices(collected: Collected, scenario: Scenario) -> Iterator[str]:
    block, by = scenario.tariff, collected.prices
    if block is None or by is None:
        return
    if by.electricity is not None:
        where = _named("tariff.electricity", block.electricity, PRICE_COLUMN)
        yield from unusual(PRICE, float(by.electricity.mean()), where)
    else:
        for number, tier in enumerate(by.tiers, start=1):
            yield from unusual(PRICE, tier.price, f"tariff.tiers (item {number})")
    yield from _fuel("tariff.fuel", by)
    if collected.baseline_prices is not None and block.baseline_fuel is not None:
        yield from _fuel("tariff.baseline_fuel", collected.baseline_prices)


def _fuel(key: str, by: Tariff) -> list[str]:
    return [] if by.fuel is None else unusual("fuel price", float(np.mean(by.fuel)), key)
