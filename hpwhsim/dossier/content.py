"""What a dossier is made of: the answer to a scenario with the factors its accounts used, and its inputs."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, When, mask
from hpwhsim.account.economics import PlantCosts, Terms
from hpwhsim.account.grid import Grid
from hpwhsim.account.savings import site_to_source
from hpwhsim.account.tariff import Tariff
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.evaluate import costs as money
from hpwhsim.evaluate.draw_years import answer_over
from hpwhsim.evaluate.emissions import Bought, Greenhouse, bought, burnt_fuel
from hpwhsim.evaluate.evaluation import Answer, ask
from hpwhsim.scenario.reading import Loaded, dump
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulate.year import FUELS, Record, Year


class Refrigerant(NamedTuple):
    """Refrigerant of a whole plant and what is lost of it, as shares of the charge."""

    charge_kg: float
    gwp: float  # kg CO2e/kg
    annual_leak: float
    end_of_life_loss: float
    installation_loss: float
    service_loss: float


class Side(NamedTuple):
    """One of the two plants that a dossier shows."""

    scenario: Scenario
    written: Mapping[str, Any]  # its keys as they stand in the file
    year: Year
    record: Record  # the annual record; of the baseline, that of its own year
    bought: Bought
    fuel_kgco2e_per_kwh: float  # of its fuel, all gases; 0 where it burns none
    fuel_source: str
    fuel_to_source: float  # source energy over site energy of its fuel
    refrigerant: Refrigerant | None
    tariff: Tariff | None
    costs: PlantCosts | None

    @property
    def room(self) -> bool:
        """Whether the plant makes its room purchase more or less."""
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


class Papers(NamedTuple):
    """All that goes into a dossier."""

    loaded: Loaded
    answer: Answer
    plant: Side
    baseline: Side | None
    grid: Grid | None
    marginal: Grid | None
    service_years: int
    electricity_to_source: float
    peak_hours: dict[str, When]
    terms: Terms | None

    @property
    def sides(self) -> dict[str, Side]:
        """The plants by the name that the papers give them."""
        return {"plant": self.plant} | ({"baseline": self.baseline} if self.baseline is not None else {})


def gather(loaded: Loaded, seeds: int = 0) -> Papers:
    """Answer a scenario, over so many years of random draws, and keep what its papers need.

    Raises
    ------
    InputError
        As `hpwhsim.evaluate.draw_years.answer_over`.
    """
    scenario, found, asked = loaded.scenario, answer_over(loaded, seeds), ask(loaded)
    carbon, savings, costs = scenario.carbon, scenario.savings, scenario.costs
    paid: Any = found.year.record.get("costs.incentives_usd", {})
    ours = None
    if costs is not None and found.bill is not None:
        ours = money.plant_costs(costs, found.bill, found.year, sum(paid.values()), 0.0)
    plant = _side(
        loaded,
        found.year,
        found.year.record,
        found.greenhouse,
        savings.fuel_to_source,
        asked.prices,
        ours,
    )
    baseline = None
    if found.baseline is not None and asked.baseline is not None:
        gases, bill, theirs = found.baseline_greenhouse, found.baseline_bill, None
        record = dict(found.baseline.record)
        if gases is not None:
            record |= gases.record
        if bill is not None:
            record |= money.bill_record(bill)
            if costs is not None:
                theirs = money.plant_costs(costs.baseline, bill, found.baseline, 0.0, 0.0)
        baseline = _side(
            asked.baseline,
            found.baseline,
            record,
            gases,
            savings.baseline_fuel_to_source,
            asked.baseline_prices,
            theirs,
        )
    return Papers(
        loaded=loaded,
        answer=found,
        plant=plant,
        baseline=baseline,
        grid=asked.factors.grid if asked.factors is not None else None,
        marginal=asked.factors.marginal if asked.factors is not None else None,
        service_years=carbon.service_years if carbon is not None else 1,
        electricity_to_source=savings.electricity_to_source or site_to_source("electricity"),
        peak_hours={hours.name: money.when(hours) for hours in savings.peak_hours},
        terms=money.terms(costs) if costs is not None else None,
    )


def _side(
    loaded: Loaded,
    year: Year,
    record: Record,
    gases: Greenhouse | None,
    fuel_to_source: float | None,
    tariff: Tariff | None,
    costs: PlantCosts | None,
) -> Side:
    scenario = loaded.scenario
    carbon, burnt, kind = scenario.carbon, burnt_fuel(scenario), scenario.plant.backup.kind
    refrigerant = None
    if gases is not None and carbon is not None and scenario.plant.heat_pump is not None:
        charge, gwp = (gases.record[f"carbon.refrigerant_{key}"] for key in ("charge_kg", "gwp"))
        assert isinstance(charge, float)
        assert isinstance(gwp, float)
        block = carbon.refrigerant
        refrigerant = Refrigerant(
            charge, gwp, block.annual_leak, block.lost_at_end, block.installation_loss, block.service_loss
        )
    if fuel_to_source is None:
        fuel_to_source = site_to_source(FUELS[kind]) if kind in FUELS else 1.0
    return Side(
        scenario,
        loaded.written,
        year,
        record,
        bought(scenario, year),
        burnt.kgco2e_per_kwh(carbon.gwp) if burnt is not None and carbon is not None else 0.0,
        burnt.source if burnt is not None else "",
        fuel_to_source,
        refrigerant,
        tariff,
        costs,
    )


class Input(NamedTuple):
    """An input of the calculation and where it is from."""

    key: str
    value: str  # as the modeler wrote it, and in the units of the calculation where these are others
    origin: str  # given | given on the command line | default | derived
    source: str
    status: str  # of the source: verified | secondary | unverified; empty where none is needed


def inputs(papers: Papers) -> list[Input]:
    """What the modeler gave, every default in force, and what follows from both."""
    rows: list[Input] = []
    set_keys = {text.partition("=")[0].strip() for text in papers.loaded.overrides}

    def look(value: Any, written: Any, path: str) -> None:
        if isinstance(value, dict):
            for key, item in value.items():
                theirs = written.get(key) if isinstance(written, Mapping) else None
                look(item, theirs, f"{path}.{key}" if path else str(key))
        elif isinstance(value, list | tuple) and any(isinstance(item, dict) for item in value):
            theirs = written if isinstance(written, list) else [written] * len(value)
            for number, (item, one) in enumerate(zip(value, theirs, strict=True), start=1):
                look(item, one, f"{path}[{number}]")
        else:
            text = _text(value)
            if Path(text).is_absolute() and Path(text).is_file():
                text = Path(text).name  # no folder of this machine
            elif isinstance(value, list | tuple) and written is not None:
                text = _text(written)
            elif written is not None:
                text = _as_written(text, " ".join(str(written).split()))
            given = any(f"{path}.".startswith(f"{key}.") for key in set_keys)
            rows.append(Input(path, text, "given on the command line" if given else "given", "the user", ""))

    look(dump(papers.loaded.scenario), papers.plant.written, "")
    if isinstance(papers.loaded.scenario.baseline, Path) and papers.baseline is not None:
        theirs = dump(papers.baseline.scenario)["plant"]  # as its own file has it
        look(theirs, papers.baseline.written["plant"], "baseline")
    record: Any = papers.plant.record
    written = {row.key for row in rows}
    for item in record["assumptions"]:
        derived = item["key"] in written or item["key"] in DERIVED
        rows.append(
            Input(
                item["key"],
                item["value"],
                "derived" if derived else "default",
                item["source"],
                item["status"],
            )
        )
    return rows


def _text(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _as_written(text: str, written: str) -> str:
    """What the modeler wrote, and what the program makes of it where that reads otherwise.

    Examples
    --------
    >>> _as_written("3.4068706055999995 m3", "900 gal"), _as_written("148000 USD", "148,000 USD")
    ('900 gal = 3.40687 m3', '148,000 USD')
    """
    number, space, unit = text.partition(" ")
    try:
        short = f"{float(f'{float(number):.6g}'):.12g}{space}{unit}"  # six digits, no exponent
    except ValueError:
        return text.strip()
    same = written.replace(",", "") in (text, short)
    return written if same else f"{written} = {short}"


DERIVED = (
    "carbon.grid",
    "carbon.fuel",
    "carbon.fuel (heating of the room)",
    "carbon.refrigerant.gwp",
    "carbon.refrigerant.charge",
    "baseline.carbon.fuel",
)
"""Assumptions that follow from a choice and a table."""
