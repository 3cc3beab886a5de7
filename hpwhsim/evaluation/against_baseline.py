"""What is saved against the baseline: the lines of savings, their keys of the record, cautions on them."""

import numpy as np

from hpwhsim.account import carbon, savings
from hpwhsim.account.savings import Line
from hpwhsim.evaluation import costs as money
from hpwhsim.evaluation.result import Side
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Record, Year

SERVICE = 0.005
"""Useful heat of plant and baseline that far apart, as a share, is no longer the same service."""
BASELINE_KEYS = (
    "electricity_kwh",
    "fuel_kwh",
    "peak_kw",
    "cop_plant",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "short_hours",
    "short_litres",
    "balance_error",
)
UPSTREAM = "carbon.upstream_kgco2e"
CARBON_KEYS = (
    "operational_kgco2e",
    "refrigerant_kgco2e",
    "total_kgco2e",
    "carbon.upstream_methane_kg",
    UPSTREAM,
)


def _use(part: Side) -> savings.Use:
    """What plant and room take in a year."""
    own, gas = float(part.bought.fuel.sum()), float(part.bought.room_fuel.sum())
    factor = part.fuel_to_source
    source = own * factor + gas * savings.site_to_source("natural-gas")
    bills = part.bills
    return savings.Use(
        quarter_kw=part.year.quarter_kw + np.repeat(part.bought.room_electricity, 4),
        fuel_kwh=own + gas,
        fuel_to_source=source / (own + gas) if own + gas else factor,
        kgco2e=part.greenhouse.yearly if part.greenhouse is not None else 0.0,
        cost=bills.electricity + bills.fuel if bills is not None else 0.0,
    )


def saved_lines(scenario: Scenario, plant: Side, base: Side) -> dict[str, Line]:
    """Each saving of a year: what the baseline takes, what the plant takes, and the difference."""
    block = scenario.savings
    electricity = block.electricity_to_source or savings.site_to_source("electricity")
    lines = savings.saved(
        _use(plant),
        _use(base),
        electricity,
        {hours.name: money.when(hours) for hours in block.peak_hours},
    )
    ours, theirs = plant.greenhouse, base.greenhouse
    if ours is None or theirs is None:
        del lines["kgco2e"]
    else:
        lines["operational_kgco2e"] = savings.line(theirs.operational, ours.operational)
        if ours.marginal is not None and theirs.marginal is not None:
            lines["marginal_kgco2e"] = savings.line(theirs.marginal, ours.marginal)
        upstream = [one.record.get(UPSTREAM) for one in (theirs, ours)]
        if isinstance(upstream[0], float) and isinstance(upstream[1], float):
            lines["upstream_kgco2e"] = savings.line(upstream[0], upstream[1])
    if plant.bills is None:
        del lines["cost"]
    return lines


def against_baseline(plant: Side, base: Side, lines: dict[str, Line]) -> Record:
    """Keys on the baseline and on what is saved."""
    record: Record = {
        "savings.lines": {
            name: {k: v for k, v in line._asdict().items() if v is not None} for name, line in lines.items()
        },
        "baseline.family": base.scenario.plant.family,
        "baseline.sha256": base.loaded.sha256,
    }
    record |= {f"savings.{name}": line.saved for name, line in lines.items() if "." not in name}
    if "savings.cost" in record:
        record["savings.cost_usd"] = record.pop("savings.cost")
    for key in BASELINE_KEYS:
        if key in base.year.record:
            record[f"baseline.{key}"] = base.year.record[key]
    ours, theirs = plant.greenhouse, base.greenhouse
    if ours is not None and theirs is not None:
        record |= {
            f"baseline.{key.removeprefix('carbon.')}": theirs.record[key]
            for key in CARBON_KEYS
            if key in theirs.record
        }
        record["baseline.cumulative_kgco2e"] = theirs.net.cumulative.tolist()
        record["carbon.turning_years"] = carbon.turning_years(ours.net, theirs.net)
    if base.bills is not None:
        record["baseline.energy_cost"] = float(base.bills.plant.total.sum())
    return record


def upstream_caution(lines: dict[str, Line]) -> list[str]:
    """The caution where methane lost upstream, in no other line, outweighs the saving of all the rest."""
    if "upstream_kgco2e" not in lines:
        return []
    apart, saved = lines["upstream_kgco2e"].saved, lines["kgco2e"].saved
    if abs(apart) <= abs(saved):
        return []
    return [
        f"methane lost upstream is in no other figure: of it {apart:,.0f} kg CO2e a year are saved, which "
        f"outweighs the {saved:,.0f} kg of all the rest"
    ]


def years_caution(scenario: Scenario) -> list[str]:
    """The caution where greenhouse gases and costs are counted over different numbers of years."""
    carbon, costs = scenario.carbon, scenario.costs
    if carbon is None or costs is None or carbon.service_years == costs.years:
        return []
    text = (
        f"greenhouse gases are counted over carbon.service_years ({carbon.service_years}), costs over "
        f"costs.years ({costs.years}): "
    )
    if carbon.service_years < costs.years:
        return [
            text + "the cost of CO2e avoided takes the last year of service for every year after it, without "
            "new losses of refrigerant at an end or a first filling"
        ]
    return [
        text + "the cost of CO2e avoided leaves out what is avoided after the years of the costs, and the "
        "refrigerant lost at the end"
    ]


def service_caution(plant: Year, base: Year) -> list[str]:
    """The caution where plant and baseline do not give the same heat: then savings compare two services."""
    ours, theirs = (
        float((year.hourly["heat_to_taps_kwh"] + year.hourly["recirculation_loss_kwh"]).sum())
        for year in (plant, base)
    )
    if theirs <= 0.0 or abs(ours - theirs) <= SERVICE * theirs:
        return []
    return [
        f"plant and baseline do not give the same service: {ours:,.0f} and {theirs:,.0f} kWh of useful heat; "
        "savings are not corrected for that"
    ]
