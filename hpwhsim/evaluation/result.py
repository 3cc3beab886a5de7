"""What a scenario gives: its plant and its baseline, and what stands between them, as one tree."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, When, mask
from hpwhsim.account.checks import Check
from hpwhsim.account.economics import LifeCycle, PlantCosts, Terms
from hpwhsim.account.grid import Grid
from hpwhsim.account.savings import Line, site_to_source
from hpwhsim.account.tariff import Tariff
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.evaluation import costs as money
from hpwhsim.evaluation.costs import Bills
from hpwhsim.evaluation.emissions import Bought, Factors, Greenhouse, burnt_fuel
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Record, Year, fuel_factor, to_dataset

if TYPE_CHECKING:
    import xarray as xr


class Collected(NamedTuple):
    """A scenario with the files it names read, before any year is simulated."""

    loaded: Loaded
    baseline: Loaded | None
    factors: Factors | None  # of carbon
    prices: Tariff | None
    baseline_prices: Tariff | None


class Refrigerant(NamedTuple):
    """Refrigerant of a whole plant and what is lost of it, as shares of the charge."""

    charge_kg: float
    gwp: float  # kg CO2e/kg
    annual_leak: float
    end_of_life_loss: float
    installation_loss: float
    service_loss: float


@dataclass(frozen=True)
class Side:
    """A plant with its year and what follows from it; what was not asked for is None."""

    loaded: Loaded
    year: Year
    record: Record  # the annual record; of a baseline, that of its own year
    bought: Bought
    greenhouse: Greenhouse | None
    tariff: Tariff | None
    bills: Bills | None
    costs: PlantCosts | None
    to_source: float | None  # source energy over site energy of its fuel, as given

    @property
    def scenario(self) -> Scenario:
        """Its scenario."""
        return self.loaded.scenario

    @property
    def written(self) -> Mapping[str, Any]:
        """Its keys as they stand in the file."""
        return self.loaded.written

    @cached_property
    def hourly(self) -> "xr.Dataset":
        """Its 8,760 hours over ``time``, each variable with ``units`` and ``long_name``."""
        return to_dataset(self.year)

    @property
    def fuel_kgco2e_per_kwh(self) -> float:
        """All gases of its fuel; 0 where it burns none or none are counted."""
        burnt, carbon = burnt_fuel(self.scenario), self.scenario.carbon
        return burnt.kgco2e_per_kwh(carbon.gwp) if burnt is not None and carbon is not None else 0.0

    @property
    def fuel_source(self) -> str:
        """Where the factor of its fuel is from."""
        burnt = burnt_fuel(self.scenario)
        return burnt.source if burnt is not None else ""

    @property
    def fuel_to_source(self) -> float:
        """Source energy over site energy of its fuel, as given or packaged; 1 where it burns none."""
        return fuel_factor(self.scenario, self.to_source)

    @property
    def refrigerant(self) -> Refrigerant | None:
        """Its refrigerant; None without one, or where greenhouse gases are not counted."""
        carbon = self.scenario.carbon
        if self.greenhouse is None or carbon is None or self.scenario.plant.heat_pump is None:
            return None
        charge, gwp = (self.greenhouse.record[f"carbon.refrigerant_{key}"] for key in ("charge_kg", "gwp"))
        assert isinstance(charge, float)
        assert isinstance(gwp, float)
        block = carbon.refrigerant
        return Refrigerant(
            charge, gwp, block.annual_leak, block.lost_at_end, block.installation_loss, block.service_loss
        )

    @property
    def room(self) -> bool:
        """Whether the plant makes its room buy more or less."""
        return bool(self.bought.room_electricity.any() or self.bought.room_fuel.any())

    def power_kw(self, with_room: bool) -> Array:
        """Mean power of each quarter of an hour, shape (35040,). [kW]"""
        if not with_room:
            return self.year.quarter_kw
        return self.year.quarter_kw + np.repeat(self.bought.room_electricity, 4)

    def measured_kw(self, with_room: bool) -> list[Array]:
        """Highest power in each hour that each demand charge measures, each (8760,); 0 outside. [kW]"""
        power = self.power_kw(with_room)
        charges = self.tariff.demand if self.tariff is not None else ()
        masks = [mask(charge.when._replace(months=ALL_MONTHS), 4) for charge in charges]
        return [np.where(counts, power, 0.0).reshape(HOURS, 4).max(axis=1) for counts in masks]

    def in_hours(self, when: When) -> dict[str, Array]:
        """Highest ``kw``, ``kwh`` and ``hours`` of each hour within `when`, room included; NaN outside."""
        power = np.where(mask(when, 4), self.power_kw(self.room), np.nan).reshape(HOURS, 4)
        inside = ~np.isnan(power).all(axis=1)
        found = {name: np.full(HOURS, np.nan) for name in ("kw", "kwh", "hours")}
        found["kw"][inside] = np.nanmax(power[inside], axis=1)
        found["kwh"][inside] = np.nansum(power[inside], axis=1) * 0.25
        found["hours"][inside] = 0.25 * (~np.isnan(power[inside])).sum(axis=1)
        return found


@dataclass(frozen=True)
class Result:
    """Everything that was asked of a scenario; what was not is None or empty."""

    collected: Collected
    plant: Side  # its record has all keys, its hourly series the factors and prices that were used
    baseline: Side | None
    savings: dict[str, Line]
    life_cycle: LifeCycle | None
    checks: list[Check]  # what failed first, in the units that the user writes

    @property
    def loaded(self) -> Loaded:
        """The scenario that was read."""
        return self.collected.loaded

    @property
    def record(self) -> Record:
        """The annual record, by the keys of tables/results.csv, in their order."""
        return self.plant.record

    @property
    def hourly(self) -> "xr.Dataset":
        """The plant's 8,760 hours over ``time``, with the factors, prices and baseline that were used."""
        return self.plant.hourly

    @property
    def assumptions(self) -> list[dict[str, str]]:
        """Every default in force, with its source."""
        return cast("list[dict[str, str]]", self.record["assumptions"])

    @property
    def cautions(self) -> list[str]:
        """What the result must not be read without."""
        return cast("list[str]", self.record["cautions"])

    @property
    def sides(self) -> dict[str, Side]:
        """The plants by the name that documents give them."""
        return {"plant": self.plant} | ({"baseline": self.baseline} if self.baseline is not None else {})

    @property
    def grid(self) -> Grid | None:
        """Mean factors of the grid; None where greenhouse gases are not counted."""
        factors = self.collected.factors
        return factors.grid if factors is not None else None

    @property
    def marginal(self) -> Grid | None:
        """Marginal factors of the grid, where given."""
        factors = self.collected.factors
        return factors.marginal if factors is not None else None

    @property
    def service_years(self) -> int:
        """Years over which greenhouse gases are counted; 1 where they are not."""
        carbon = self.loaded.scenario.carbon
        return carbon.service_years if carbon is not None else 1

    @property
    def electricity_to_source(self) -> float:
        """Source energy over site energy of electricity, as given or packaged."""
        return self.loaded.scenario.savings.electricity_to_source or site_to_source("electricity")

    @property
    def peak_hours(self) -> dict[str, When]:
        """The hours for which power is compared, by name."""
        return {hours.name: money.when(hours) for hours in self.loaded.scenario.savings.peak_hours}

    @property
    def terms(self) -> Terms | None:
        """Rates and years of the life-cycle cost; None where it was not asked for."""
        costs = self.loaded.scenario.costs
        return money.terms(costs) if costs is not None else None

    def write(self, folder: Path | str) -> list[Path]:
        """Write annual.json, hourly.csv and hourly.nc; all of them or none.

        Returns
        -------
        list of Path
            The files.

        Raises
        ------
        InputError
            If the folder cannot be written.
        """
        from hpwhsim.results.files import write_results

        return write_results(Path(folder), self.record, self.hourly, {})
