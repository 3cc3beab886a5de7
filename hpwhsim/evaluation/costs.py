"""Bills of a year and life-cycle cost, from what the modeler wrote and what plant and room purchase."""

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.account import economics, tariff
from hpwhsim.account.calendar import When
from hpwhsim.account.energy import by_month
from hpwhsim.account.savings import MMBTU_PER_KWH
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError
from hpwhsim.evaluation.emissions import Bought
from hpwhsim.scenario import money as schema
from hpwhsim.scenario import tariff as written
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Record, Year


class Bills(NamedTuple):
    """What energy costs in a year. [USD]"""

    plant: tariff.Bill
    room: tariff.Bill  # more than that of the plant alone: the room's heating less saved cooling and drying

    @property
    def electricity(self) -> float:
        """Electricity of plant and room: energy, demand and fixed charges. [USD/a]"""
        return float(sum((bill.energy + bill.demand + bill.fixed).sum() for bill in self))

    @property
    def fuel(self) -> float:
        """Fuel of plant and room. [USD/a]"""
        return float(sum(bill.fuel.sum() for bill in self))


def prices(block: written.Tariff) -> tariff.Tariff:
    """A tariff as the account reads it.

    Raises
    ------
    InputError
        If the file of prices is wrong, or time-of-use blocks leave hours without a price.
    """
    electricity: Array | None = None
    if isinstance(block.electricity, Path):
        electricity = tariff.read_prices(block.electricity)
    elif isinstance(block.electricity, tuple):
        electricity = tariff.time_of_use([tariff.TouBlock(b.price, when(b)) for b in block.electricity])
    elif block.electricity is not None:
        electricity = np.full(HOURS, block.electricity)
    return tariff.Tariff(
        electricity,
        tuple(tariff.Tier(t.price, math.inf if t.up_to is None else t.up_to, t.months) for t in block.tiers),
        tuple(tariff.DemandCharge(d.price, when(d), d.ratchet, d.ratchet_months) for d in block.demand),
        block.fixed,
        None if block.fuel is None else np.full(12, block.fuel, dtype=np.float64),
    )


def when(block: written.TouBlock | written.Demand | schema.PeakHours) -> When:
    """The hours of a block."""
    return When(block.months, block.days, tuple((window.start, window.end) for window in block.hours))


def check_room_fuel(scenario: Scenario) -> None:
    """Refuse, before any march, a room or neighbours heated by gas that has no price.

    Raises
    ------
    InputError
        Naming the key.
    """
    room, tariff_block = scenario.plant.source.room, scenario.tariff
    if room is None or tariff_block is None or tariff_block.fuel is not None:
        return
    if "gas" in (room.heating, room.neighbour_heating):
        raise InputError(
            "tariff.fuel: got nothing; allowed a price such as '1.50 USD/therm': the room of the heat pump, "
            "or what is around it, is heated by gas"
        )


def bills(by: tariff.Tariff, year: Year, of: Bought) -> Bills:
    """Bill of the plant, and what the room adds to it.

    The room's share is the bill of plant and room together less that of the plant alone; its power is even
    within the hour. Saved cooling counts as if the plant's meter were the building's.

    Raises
    ------
    InputError
        If fuel is burnt and has no price.
    """
    plant = tariff.bill(by, year.quarter_kw, of.fuel)
    power = year.quarter_kw + np.repeat(of.room_electricity, 4)
    both = tariff.bill(by, power, of.fuel + of.room_fuel, credits=True)
    room = tariff.Bill(*(together - alone for together, alone in zip(both, plant, strict=True)))
    return Bills(plant, room)


def bill_record(of: Bills) -> Record:
    """Keys of the record on the bills of a year."""
    plant = of.plant
    record: Record = {
        "energy_cost": float(plant.total.sum()),
        "costs.electric_energy_usd": float(plant.energy.sum()),
        "costs.demand_usd": float(plant.demand.sum()),
        "costs.fixed_usd": float(plant.fixed.sum()),
        "costs.fuel_usd": float(plant.fuel.sum()),
        "monthly.energy_cost": plant.total.tolist(),
    }
    if plant.billed_kw.size:
        record["costs.billed_kw"] = plant.billed_kw.tolist()
    if any(part.any() for part in of.room):
        record["costs.room_usd"] = float(of.room.total.sum())
    return record


def incentives(
    costs: schema.Costs, capacity_kw: float, site_mmbtu_saved: float, electricity_kwh_saved: float
) -> dict[str, float]:
    """What each incentive of the modeler pays, by its name. [USD]"""
    asked = [
        economics.Incentive(
            lump_sum=one.lump_sum or 0.0,
            per_unit=one.per_unit or 0.0,
            units=float(one.units or 0),
            per_kw=one.per_capacity or 0.0,
            per_mmbtu=(one.per_site_energy_saved or 0.0) / MMBTU_PER_KWH,
            per_kwh=one.per_electricity_saved or 0.0,
            cap=one.max_share,
        )
        for one in costs.incentives
    ]
    paid = economics.incentive_amounts(
        asked,
        capital=costs.capital,
        capacity_kw=capacity_kw,
        site_mmbtu_saved=site_mmbtu_saved,
        electricity_kwh_saved=electricity_kwh_saved,
    )
    return {one.name: amount for one, amount in zip(costs.incentives, paid, strict=True)}


def terms(costs: schema.Costs) -> economics.Terms:
    """Years and rates as the account reads them."""
    return economics.Terms(
        costs.years,
        costs.discount_rate,
        costs.electricity_escalation,
        costs.fuel_escalation,
        costs.inflation,
    )


def plant_costs(
    outlay: schema.Outlay, of: Bills, year: Year, paid: float, kgco2e: ArrayLike
) -> economics.PlantCosts:
    """What a plant costs over the years; `kgco2e` of each year that is counted, or one number."""
    useful = year.hourly["heat_to_taps_kwh"] + year.hourly["recirculation_loss_kwh"]
    return economics.PlantCosts(
        capital=outlay.capital,
        electricity=of.electricity,
        fuel=of.fuel,
        maintenance=outlay.maintenance,
        replacements=tuple((r.year, r.cost) for r in outlay.replacements),
        incentives=paid,
        heat_mwh=float(by_month(useful).sum()) / 1e3,
        kgco2e=kgco2e,
    )


def life_record(found: economics.LifeCycle, by: economics.Terms, counted_carbon: bool) -> Record:
    """Keys of the record on the comparison of costs; what has no value is None, with its reason."""
    reasons = dict(found.reasons)
    if not counted_carbon:
        reasons["carbon_cost"] = "greenhouse gases are not counted: there is no block carbon"
    record: Record = {
        "costs.extra_capital_usd": found.extra_capital,
        "costs.first_year_saving_usd": found.first_year_saving,
        "costs.simple_payback_years": found.simple_payback,
        "costs.discounted_payback_years": found.discounted_payback,
        "costs.npv_usd": found.npv,
        "costs.internal_rate": found.irr,
        "costs.carbon_usd_per_tonne": found.carbon_cost,
        "costs.heat_usd_per_mwh": found.heat_cost,
        "costs.baseline_heat_usd_per_mwh": found.baseline_heat_cost,
        "costs.net_flow_usd": found.net_flow.tolist(),
        "costs.reasons": reasons,
    }
    if counted_carbon:
        record["costs.real_discount_rate"] = by.real_rate
        record["costs.avoided_kgco2e"] = found.avoided.tolist()
    return record
