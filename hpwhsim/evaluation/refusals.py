"""What is wrong with a scenario and shows without a march, all of it at once.

What a plant is made of is checked part by part, each with the blocks that it needs: so a wrong heat pump does
not hide a wrong tariff, nor a wrong key of one block what is wrong with another.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, cast

import numpy as np

from hpwhsim.account.electrical import check_supply
from hpwhsim.arrays import Array
from hpwhsim.climate.typical_year import WeatherYear, read_year
from hpwhsim.demand.draws import smooth_draws
from hpwhsim.demand.patterns import hourly_use, read_metered
from hpwhsim.errors import Findings, InputError, together
from hpwhsim.evaluation import costs as money
from hpwhsim.evaluation import emissions as greenhouse
from hpwhsim.plant.assemble import cold_water, looks_of
from hpwhsim.plant.clock import make_clock
from hpwhsim.plant.loop import make_loop, make_loop_tank
from hpwhsim.plant.machine import make_machine
from hpwhsim.plant.sources import make_source
from hpwhsim.plant.use import pattern_of
from hpwhsim.scenario.reading import WrongScenario
from hpwhsim.scenario.schema import Scenario

if TYPE_CHECKING:
    import xarray as xr

Ask = Callable[[], object]

USUAL = 0.15  # m3 a day and home where none is written: it only has to be some


def all_refusals(error: WrongScenario) -> InputError:
    """What is wrong with the keys of a scenario, and what else is wrong with the blocks that can be asked."""
    wrong = Findings(error.lines)
    for ask in (*_named_files(error.sound), *account_checks(error.sound)):
        with suppress(AttributeError), wrong.step():  # it needs a block that is wrong
            ask()
    with suppress(AttributeError), wrong.step():
        year = read_year(error.sound.site.weather)
        wrong.lines += plant_refusals(error.sound, year)
    return together(error.where, wrong.lines)


def _named_files(scenario: Scenario) -> Iterator[Ask]:
    """Prices and factors with the files that they name."""
    yield lambda: money.prices(scenario.tariff) if scenario.tariff is not None else None
    yield lambda: greenhouse.factors(scenario.carbon) if scenario.carbon is not None else None


def account_checks(scenario: Scenario) -> Iterator[Ask]:
    """Whether the accounts of a plant have what they need; each raises InputError where they have not."""
    yield lambda: money.check_room_fuel(scenario)
    yield lambda: greenhouse.check_refrigerant(scenario)
    checks = getattr(getattr(scenario, "site", None), "checks", None)
    if checks is not None:
        yield lambda: check_supply(checks.voltage, checks.phases)


def plant_refusals(scenario: Scenario, weather: WeatherYear) -> list[str]:
    """What is wrong with the parts of a plant, a line each.

    Parameters
    ----------
    scenario : Scenario
        It may lack blocks: what needs them is not asked.
    weather : WeatherYear
        Its year.
    """
    wrong = Findings()
    dry_bulb = np.asarray(weather["dry_bulb_c"].values, dtype=np.float64)
    latitude = float(weather.attrs["latitude"])

    def mains() -> Array:
        return cold_water(scenario, dry_bulb, latitude, [])

    def loop() -> object:
        losses = make_loop(scenario, mains(), [], []).loss
        return make_loop_tank(scenario, float(losses.max()), dry_bulb, [], [])

    def source() -> object:
        outdoors = dry_bulb if scenario.plant.source_kind == "outdoor-air" else None
        made = make_machine(scenario, outdoors, [], [])
        year = cast("xr.Dataset", weather)  # its columns and attributes alone are asked for
        return make_source(scenario, year, _use(scenario, latitude) / 1e3, mains(), made, [], [])

    for ask in (
        lambda: _use(scenario, latitude),
        lambda: make_clock(scenario, dry_bulb, 0.0, looks_of(scenario)),
        loop,
        source,
    ):
        with suppress(AttributeError), wrong.step():  # it needs a block that is wrong
            ask()
    return list(dict.fromkeys(wrong.lines))


def _use(scenario: Scenario, latitude: float) -> Array:
    """Litres of each step, smooth."""
    hot_water, steps = scenario.hot_water, looks_of(scenario)
    if hot_water.metered is not None:
        return smooth_draws(read_metered(hot_water.metered, scenario.building.apartments), steps)
    pattern = pattern_of(scenario, latitude)
    litres = 1e3 * (hot_water.daily_use_per_apartment or USUAL)
    return smooth_draws(hourly_use(scenario.building.apartments, litres, pattern), steps)
