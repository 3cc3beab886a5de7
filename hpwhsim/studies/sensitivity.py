"""Sensitivity of the results to each assumption, one at a time, everything else as it is."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from hpwhsim.account.grid import Grid
from hpwhsim.account.tariff import Tariff
from hpwhsim.errors import InputError
from hpwhsim.evaluation.emissions import Factors
from hpwhsim.evaluation.evaluate import collect, side_of
from hpwhsim.evaluation.result import Collected
from hpwhsim.io.units import DAILY_VOLUME, HEAT_LOSS, POWER, Kind, as_text
from hpwhsim.scenario.files import without_folders
from hpwhsim.scenario.reading import Loaded, changed
from hpwhsim.simulation.year import Year, run_years, year_of

USE, LOSS, COP, LEAK, GRID = 0.2, 0.5, 0.1, 0.5, 0.2
"""How far each is moved down and up, as a share of its value; choices of this program."""


class Figures(NamedTuple):
    """What is looked at; None where it was not collected for."""

    electricity_kwh: float
    fuel_kwh: float
    kgco2e: float | None  # per year of service, energy, refrigerant and room
    cost: float | None  # USD a year, energy, room included
    saved_kgco2e: float | None  # against the baseline
    saved_cost: float | None  # USD a year


class Sensitivity(NamedTuple):
    """One assumption at a low and a high value."""

    name: str
    key: str  # of the scenario
    low_value: str
    high_value: str
    low: Figures
    high: Figures


class Sensitivities(NamedTuple):
    """The answer as it is, and with each assumption moved."""

    base: Figures
    rows: tuple[Sensitivity, ...]
    left_out: dict[str, str]  # name of an assumption that cannot be moved so far, and why


class _Case(NamedTuple):
    """A scenario and the years of its plants."""

    collected: Collected
    plant: Year
    baseline: Year | None


def sensitivities(loaded: Loaded, plant: Year, baseline: Year | None) -> Sensitivities:
    """Move each assumption down and up and evaluate again.

    Use, loop and store losses and COP are simulated anew; leak and grid factor only weigh the same years
    anew. An assumption that the scenario does not have is left out: the rated COP where the heat pump is
    measured, the use where it is metered. The years are simulated at once, a thread for each core.

    Parameters
    ----------
    loaded : Loaded
        A scenario that runs.
    plant, baseline : Year
        Its year, and that of its baseline if it has one.

    Raises
    ------
    InputError
        If the scenario does not run as it is. Where a moved value is outside what its key allows, or the
        plant cannot work with it, the assumption is left out with the reason.
    """
    base = _Case(collect(loaded), plant, baseline)
    moved = list(_moved(base))
    found = iter(_with(base, [(key, value) for _, key, values in moved for value in values]))
    rows, left_out = [], {}
    for (name, key, values), low, high in zip(moved, found, found, strict=True):
        if isinstance(low, InputError) or isinstance(high, InputError):
            reason = str(low if isinstance(low, InputError) else high)
            left_out[name] = without_folders(reason, loaded)
        else:
            rows.append(Sensitivity(name, key, _short(values[0]), _short(values[1]), low, high))
    for name, key, share in (
        ("refrigerant leak", "carbon.refrigerant.annual_leak", LEAK),
        ("grid factor", "carbon.grid", GRID),
    ):
        row = _weighed(base, name, key, share)
        rows += [row] if row is not None else []
    return Sensitivities(_result(base), tuple(rows), left_out)


def _short(value: str) -> str:
    """A value with its unit to four digits, for the reader."""
    number, _, unit = value.partition(" ")
    return f"{float(number):.4g} {unit}".strip()


def _moved(base: _Case) -> Iterator[tuple[str, str, tuple[str, str]]]:
    """Assumptions that are marched anew: name, key, low and high value as they would be written."""
    loaded, record = base.collected.loaded, base.plant.record
    scenario = loaded.scenario
    assert isinstance(record["assumptions"], list)
    found = {item["key"]: item["value"] for item in record["assumptions"]}

    def pair(key: str, value: float | None, share: float, kind: Kind | None) -> tuple[str, str] | None:
        """Low and high; a default that was worked out stands in the record, number first."""
        text = found.get(key, "") if value is None else as_text(value, kind) if kind else repr(value)
        number, _, unit = text.partition(" ")
        if not number:
            return None
        low, high = (f"{float(number) * factor!r} {unit}".strip() for factor in (1.0 - share, 1.0 + share))
        return low, high

    heat_pump, loop = scenario.plant.heat_pump, scenario.recirculation
    rows = []
    if scenario.hot_water.metered is None:
        key = "hot_water.daily_use_per_apartment"
        rows.append(
            ("hot-water use", key, pair(key, scenario.hot_water.daily_use_per_apartment, USE, DAILY_VOLUME))
        )
    if loop is not None:
        key = "recirculation.loss_per_apartment"
        rows.append(("recirculation loss", key, pair(key, loop.loss_per_apartment, LOSS, POWER)))
    key = "plant.storage.heat_loss"
    rows.append(("standby loss", key, pair(key, scenario.plant.storage.heat_loss, LOSS, HEAT_LOSS)))
    if heat_pump is not None and heat_pump.cop is not None:
        rows.append(("rated COP", "plant.heat_pump.cop", pair("", heat_pump.cop, COP, None)))
    for name, key, values in rows:
        if values is not None:
            yield name, key, values


def _with(base: _Case, changes: Sequence[tuple[str, str]]) -> list[Figures | InputError]:
    """The result with each key changed alone, or why there is none.

    A key of the plant alone leaves the baseline's year as it is.
    """
    loaded = base.collected.loaded
    read: list[tuple[Collected, int, int | None] | InputError] = []  # with the places of its years in jobs
    jobs: list[Loaded] = []
    for key, value in changes:
        try:
            scenario = changed(loaded.scenario, [f"{key}={value}"], loaded.path.parent)
            one = collect(loaded._replace(scenario=scenario))
        except InputError as error:
            read.append(error)
            continue
        own, its = len(jobs), None
        jobs.append(one.loaded)
        if one.baseline is not None and not key.startswith("plant."):
            its = len(jobs)
            jobs.append(one.baseline)
        read.append((one, own, its))
    years = run_years(jobs)
    found: list[Figures | InputError] = []
    for item in read:
        if isinstance(item, InputError):
            found.append(item)
            continue
        one, own, its = item
        try:
            baseline = base.baseline if its is None else year_of(years[its])
            found.append(_result(_Case(one, year_of(years[own]), baseline)))
        except InputError as error:
            found.append(error)
    return found


def _weighed(base: _Case, name: str, key: str, share: float) -> Sensitivity | None:
    """A factor of the greenhouse gases moved; the years stay as they are."""
    collected = base.collected
    carbon, factors = collected.loaded.scenario.carbon, collected.factors
    if carbon is None or factors is None:
        return None
    if key == "carbon.grid":
        mean = float(factors.grid.kgco2e_per_kwh.mean())
        moved = []
        for factor in (1.0 - share, 1.0 + share):
            by = factors._replace(grid=_scaled(factors.grid, factor))
            moved.append(_result(base._replace(collected=collected._replace(factors=by))))
        texts = [f"{mean * factor:.4g} kg/kWh" for factor in (1.0 - share, 1.0 + share)]
        return Sensitivity(name, key, texts[0], texts[1], moved[0], moved[1])
    if collected.loaded.scenario.plant.heat_pump is None:
        return None
    leaks = [carbon.refrigerant.annual_leak * f for f in (1.0 - share, 1.0 + share)]
    results = []
    for leak in leaks:
        scenario = changed(collected.loaded.scenario, [f"{key}={leak!r}"], collected.loaded.path.parent)
        loaded = collected.loaded._replace(scenario=scenario)
        results.append(_result(base._replace(collected=collected._replace(loaded=loaded))))
    return Sensitivity(name, key, f"{leaks[0]:.3g}", f"{leaks[1]:.3g}", results[0], results[1])


def _scaled(grid: Grid, factor: float) -> Grid:
    gases = grid.gases.times(factor) if grid.gases is not None else None
    return grid._replace(kgco2e_per_kwh=grid.kgco2e_per_kwh * factor, gases=gases)


def _result(case: _Case) -> Figures:
    collected = case.collected
    ours = _figures(collected.loaded, case.plant, collected.factors, collected.prices)
    saved: list[float | None] = [None, None]
    if collected.baseline is not None and case.baseline is not None:
        theirs = _figures(collected.baseline, case.baseline, collected.factors, collected.baseline_prices)
        saved = [
            their - our if their is not None and our is not None else None
            for their, our in zip(theirs[2:], ours[2:], strict=True)
        ]
    return Figures(*ours, *saved)


def _figures(
    loaded: Loaded, year: Year, factors: Factors | None, prices: Tariff | None
) -> tuple[float, float, float | None, float | None]:
    """Electricity [kWh], fuel [kWh], greenhouse gases [kg CO2e/a] and cost [USD/a], the room included."""
    side = side_of(loaded, year, factors, prices, None)
    of, bills = side.bought, side.bills
    gases = side.greenhouse.yearly if side.greenhouse is not None else None
    cost = bills.electricity + bills.fuel if bills is not None else None
    electricity = float(of.electricity.sum() + of.room_electricity.sum())
    return electricity, float(of.fuel.sum() + of.room_fuel.sum()), gases, cost
