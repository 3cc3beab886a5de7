"""Refrigerant and operation over the years of service: four refrigerants on three grids, added up.

python benchmarks/carbon_years.py --out out/

scenarios/studies/cold-or-warm-inlet.yaml with the loop (warm inlet), single or multi-pass, whichever takes
less electricity; heat pumps of one quality as in refrigerant_tradeoff.py. Two grids stay as in eGRID2023.
The third starts as California and gets cleaner by an equal step each year, to a tenth (INVENTED). Filling
loses 1 % of the charge, the leak is 3 % a year (UK Defra, chillers), a fifth of the charge is lost in the
last year.
"""

from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import refrigerant_tradeoff as tradeoff
from side_by_side import main

import hpwhsim as ty
from hpwhsim.account.carbon import turning_years

NAMES = ("R-744", "R-290", "R-513A", "R-410A")
YEARS, FIRST, CLEAN, LAST_SHARE = int(tradeoff.SERVICE_YEARS), 2026, "CAMX", 0.1
FALLING = np.linspace(1.0, LAST_SHARE, YEARS) * tradeoff.GRIDS[CLEAN]
CARBON = {
    "carbon.service_years": YEARS,
    "carbon.refrigerant.annual_leak": tradeoff.USUAL_LEAK,
    "carbon.refrigerant.end_of_life_loss": tradeoff.END_OF_LIFE_LOSS,
    "carbon.refrigerant.installation_loss": 0.01,
}


def study() -> pd.DataFrame:
    """A row for each refrigerant and grid, with the years in which its order with R-744 turns. [t CO2e]"""
    with TemporaryDirectory() as folder:
        path = f"{folder}/grid.csv"
        years = pd.RangeIndex(FIRST, FIRST + YEARS, name="year")
        pd.DataFrame({"kg_per_kwh": FALLING}, index=years).to_csv(path)
        grids = {g: f"{tradeoff.GRIDS[g]} kg/kWh" for g in (tradeoff.DIRTY, CLEAN)} | {
            f"{CLEAN} falling": path
        }
        rows, lives = [], {}
        for machine in (one for one in tradeoff.MACHINES if one.name in NAMES):
            sides = ("single-pass",) if machine.name == "R-744" else ("single-pass", "multi-pass")
            keys = [tradeoff.overrides(machine, "warm", side) for side in sides]
            charge = {"carbon.refrigerant.charge_per_kw": f"{machine.charge} kg/kW"}
            for grid, factor in grids.items():
                carbon = CARBON | charge | {"carbon.grid": factor}
                found = [ty.evaluate(ty.read(tradeoff.SCENARIO, one | carbon)) for one in keys]
                result = min(found, key=lambda one: one.record["electricity_kwh"])
                life = lives[machine.name, grid] = result.plant.greenhouse.net
                energy, whole = life.operational.sum() / 1e3, life.cumulative[-1] / 1e3
                turns = ", ".join(map(str, turning_years(life, lives[NAMES[0], grid]))) or "-"
                kwh = result.record["electricity_kwh"]
                rows.append((machine.name, grid, kwh, energy, whole - energy, whole, turns))
    heads = ("refrigerant", "grid", "electricity_kwh", "t_energy", "t_refrigerant", "t_all", "turns_in_year")
    return pd.DataFrame(rows, columns=heads)


if __name__ == "__main__":
    main("carbon-years", __doc__, study)
