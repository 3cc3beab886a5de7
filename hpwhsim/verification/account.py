"""Checks of `account`: bills, life cycle, greenhouse gases, currents, water and burns."""

from collections.abc import Iterator

import numpy as np

from hpwhsim.account.calendar import When
from hpwhsim.account.carbon import life, lost_at_end, operational_by_year, refrigerant_kgco2e
from hpwhsim.account.economics import (
    PlantCosts,
    Terms,
    cash_flow,
    internal_rate,
    life_cycle,
    payback_years,
    present_value,
)
from hpwhsim.account.electrical import NEC_BREAKERS, amperes, least_ampacity, next_size
from hpwhsim.account.fuel import fuel, steam
from hpwhsim.account.gases import warming
from hpwhsim.account.grid import read_grid
from hpwhsim.account.hygiene import burn_seconds
from hpwhsim.account.savings import Use, saved, site_to_source
from hpwhsim.account.site import water_density
from hpwhsim.account.tariff import DemandCharge, Tariff, Tier, TouBlock, bill, time_of_use
from hpwhsim.heatpump.refrigerants import GWP_SETS, names, refrigerant
from hpwhsim.io.us_units import KWH_PER_MMBTU
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

LB_PER_MWH = 0.45359237 / 1e3  # kg/kWh; NIST SP 811 appendix B.8


def bill_checks() -> Iterator[Check]:
    """A time-of-use bill of one steady kilowatt, and a whole bill with tiers, ratchet and fuel, by hand."""
    summer = (6, 7, 8, 9)
    price = time_of_use(
        [
            TouBlock(0.40, When(summer, "weekdays", ((960, 1260),))),
            TouBlock(0.20, When(summer)),
            TouBlock(0.11, When()),
        ]
    )
    months = bill(Tariff(price), np.ones(35040), np.zeros(8760)).energy
    yield held("account.bill.july", float(months[6]))
    yield held("account.bill.june", float(months[5]))
    power = np.full(35040, 2.0)
    power[(9 * 24 + 12) * 4] = 9.5
    power[((31 + 16) * 24 + 17) * 4 + 1] = 26.0
    burnt = np.zeros(8760)
    burnt[100], burnt[-1] = 40.0, 10.0
    tariff = Tariff(
        electricity=None,
        tiers=(Tier(0.10, 500.0), Tier(0.15, 1200.0), Tier(0.25)),
        demand=(
            DemandCharge(12.0, ratchet=0.6, ratchet_months=2),
            DemandCharge(7.0, When(days="weekdays", windows=((960, 1260),))),
        ),
        fixed=30.0,
        fuel=np.linspace(0.05, 0.16, 12),
    )
    whole = bill(tariff, power, burnt)
    yield held("account.bill.tiers", float(whole.energy[0]))
    yield held("account.bill.ratchet", float(whole.billed_kw[0][2]))
    yield held("account.bill.demand", float(whole.demand[1]))
    yield held("account.bill.fuel", float(whole.fuel[11]))
    yield held("account.bill.january", float(whole.total[0]))


PLANT = PlantCosts(
    capital=9000.0,
    electricity=400.0,
    fuel=0.0,
    maintenance=50.0,
    replacements=((2, 300.0),),
    incentives=1500.0,
    heat_mwh=12.0,
    kgco2e=[100.0, 150.0, 200.0],
)
BASELINE = PlantCosts(
    capital=2000.0,
    electricity=30.0,
    fuel=2400.0,
    maintenance=200.0,
    heat_mwh=12.0,
    kgco2e=[600.0, 550.0, 500.0],
)
TERMS = Terms(years=3, discount_rate=0.10, electricity_escalation=0.05, fuel_escalation=0.02)
"""Two invented plants over three years, worked by hand."""


def life_cycle_checks() -> Iterator[Check]:
    """Interest tables, growing series, rates of return, and a case of three years by hand."""
    for rate, years in ((0.10, 10), (0.03, 20), (0.08, 25), (0.05, 30)):
        flow = np.array([0.0, *[1.0] * years])
        yield held(f"account.present_worth.{100 * rate:.0f}pct_{years}y", present_value(flow, rate))
    yield held("account.growing_series", _growing())
    found = life_cycle(PLANT, BASELINE, TERMS)
    yield held("account.life_cycle.npv", found.npv)
    yield held("account.life_cycle.payback", found.simple_payback or 0.0)
    yield held("account.life_cycle.carbon_cost", found.carbon_cost or 0.0)
    yield held("account.life_cycle.heat_cost", found.heat_cost or 0.0)
    yield held("account.rate.numpy_financial", internal_rate(np.array([-100.0, 39, 59, 55, 20]))[0] or 0.0)
    yield held("account.rate.quadratic", internal_rate(np.array([-100.0, 60.0, 60.0]))[0] or 0.0)
    capital = (1.0 - 1.05**-12) / 0.05
    yield held("account.payback.discounted", payback_years(np.array([-capital, *[1.0] * 30]), 0.05) or 0.0)


def _growing() -> float:
    """Worth of electricity of 100 growing 2.5 % and fuel of 70 falling 1 %, 4 %, over the closed form."""
    terms = Terms(25, 0.04, 0.025, -0.01)

    def factor(growth: float) -> float:
        q = (1.0 + growth) / 1.04
        return q * (1.0 - q**25) / (1.0 - q)

    worth = present_value(cash_flow(PlantCosts(0.0, 100.0, 70.0), terms), 0.04)
    return worth / (100.0 * factor(0.025) + 70.0 * factor(-0.01))


def carbon_checks() -> Iterator[Check]:
    """The worked TEWI, losses at the end, warming potentials of every refrigerant and gas."""
    found = life(operational_by_year(50_000.0, 0.35, 15), 10.0, 2255.5, 0.03, 0.2)
    yield held("account.tewi.leak", float(found.leak.sum()))
    yield held("account.tewi.end_of_life", float(found.end_of_life.sum()))
    yield held("account.tewi.operational", float(found.operational.sum()))
    yield held("account.tewi.whole", float(found.tewi))
    loss = lost_at_end(0.8, 0.95)
    yield held("account.tewi.disposal", 12.0 * refrigerant_kgco2e(10.0, 1530.0, 0.0, loss, 12.0))
    table = {row["substance"]: row for row in rows("gwp")}
    for basis in GWP_SETS:
        report, years = basis.split("-")
        column, points = f"gwp{years}_{report.lower()}", []
        for name in names():
            text, value = table[name][column], dict(refrigerant(name).gwp)[basis]
            if text and value is not None:
                points.append(Point(name, 0.0 if text.startswith("<") else float(text), value))
        points += [
            Point(gas, float(table[gas][column]), warming(basis)[gas.lower()])
            for gas in ("CH4", "N2O")
            if table[gas][column]
        ]
        yield worst(f"account.gwp.{basis}", points)


def energy_factor_checks() -> Iterator[Check]:
    """The grid of eGRID by its own CO2e and at the meter, other grids, fuels, steam, site to source."""
    own, delivered = [], []
    for row in rows("egrid"):
        if row["data_year"] != "2023":
            continue
        name = row["subregion"]
        meter = read_grid(name, basis="AR5-100").kgco2e_per_kwh[0, 0]
        delivered.append(Point(name, float(row["kgco2e_per_kWh_delivered"]), float(meter)))
        if name != "US":
            grid = read_grid(f"{name} 2023", basis="AR5-100", loss=0.0).kgco2e_per_kwh[0, 0]
            own.append(Point(name, float(row["co2e_ar5_lb_per_MWh"]) * LB_PER_MWH, float(grid)))
    yield worst("account.egrid.co2e", own)
    yield worst("account.egrid.at_the_meter", delivered)
    yield held(
        "account.egrid.united_states", float(read_grid("US 2023", basis="AR6-20").kgco2e_per_kwh[0, 0])
    )
    long, short = (float(read_grid("MROE 2023", basis=b).kgco2e_per_kwh[0, 0]) for b in ("AR5-100", "AR5-20"))
    yield held("account.egrid.methane_of_20_years", short - long)
    others = [
        Point(r["region"], float(r["kgco2e_per_kwh"]), float(read_grid(r["asked"]).kgco2e_per_kwh[0, 0]))
        for r in rows("grid_factors")
    ]
    yield worst("account.grid.others", others)
    carbon, fifth, sixth = [], [], []
    for row in rows("fuel-factors"):
        name = row["fuel"]
        known = {"natural gas (US weighted average)": "natural-gas", "LPG": "lpg"}
        of = fuel(known.get(name) or (f"fuel-oil-{name[-1]}" if "oil" in name else name))
        gases = of.gases.times(KWH_PER_MMBTU)
        carbon.append(Point(name, float(row["kgCO2_per_mmBtu"]), gases.co2))
        fifth.append(Point(name, float(row["kgCO2e_ar5_per_mmBtu"]), gases.kgco2e("AR5-100")))
        sixth.append(Point(name, float(row["kgCO2e_ar6_per_mmBtu"]), gases.kgco2e("AR6-100", fossil=True)))
    yield worst("account.fuel.co2", carbon)
    yield worst("account.fuel.co2e_ar5", fifth)
    yield worst("account.fuel.co2e_ar6", sixth)
    yield held("account.fuel.steam", steam(fuel("natural-gas"), 0.80, 0.15).gases.co2 * KWH_PER_MMBTU)
    baseline = Use(np.full(35040, 0.1), 100_000.0, site_to_source("district-steam"), 25_000.0, 9_000.0)
    plant = Use(np.full(35040, 3.0), 0.0, 1.0, 10_000.0, 5_500.0)
    lines = saved(plant, baseline, site_to_source("electricity"), {})
    yield held("account.savings.site", lines["site_mmbtu"].saved)
    yield held("account.savings.source", lines["source_mmbtu"].saved)


def building_checks() -> Iterator[Check]:
    """Currents and breakers of the code's examples, water's density, times to a burn."""
    small = amperes(4.5, 240.0, 1)
    yield held("account.electrical.amperes", small)
    yield held("account.electrical.ampacity", least_ampacity([], 0.0, small))
    yield held("account.electrical.breaker", next_size(1.5 * small, NEC_BREAKERS) or 0.0)
    density = [
        Point(f"{row['T_C']} °C", float(row["rho_kg_m3"]), water_density(float(row["T_C"])))
        for row in rows("water-properties")
        if float(row["T_C"]) >= 4.0
    ]
    yield worst("account.site.density", density)
    burns = [
        Point(
            f"{row['temperature_c']} °C",
            float(row["seconds"]),
            float(burn_seconds(float(row["temperature_c"]))),
        )
        for row in rows("burn_times")
    ]
    yield worst("account.hygiene.burns", burns)
