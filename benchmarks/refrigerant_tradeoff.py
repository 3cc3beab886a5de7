"""Which refrigerant, with cold and with warm water to the heat pump, in energy and in carbon.

python benchmarks/refrigerant_tradeoff.py --out out/

scenarios/studies/cold-or-warm-inlet.yaml with every refrigerant, with the loop (warm inlet) and without it
(cold inlet). Every heat pump has the same capacity, store and quality: overall efficiency 0.60, evaporating
10 K below the air, pinch 5 K, at air 7 degC and water 10 to 60 degC; the COPs are the cycle's own there.
Conventional ones cool their liquid little (5 K below bubble); "deep" is what they could be, with liquid
cooled to 5 K above the water.

What to expect. Cold inlet: R-744 leads the conventional by a tenth to a sixth, and lags the deep ones by 5
to 8 %. Warm inlet: it loses to all of them. In carbon R-744 has nearly no leak to answer for.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
from side_by_side import SCENARIOS, main

import hpwhsim as ty
from hpwhsim.account.carbon import operational_kgco2e, refrigerant_kgco2e
from hpwhsim.heatpump.refrigerants import refrigerant

SCENARIO = SCENARIOS / "studies" / "cold-or-warm-inlet.yaml"


class Machine(NamedTuple):
    """A heat pump of the common quality."""

    name: str
    refrigerant: str
    cop: float  # at air 7 °C, water 10 to 60 °C
    charge: float  # kg per kW of rated heat


# COP: shared/cycle_grid.csv, variant D; R-454B, which it lacks, and the deep ones by the cycle of this
# program with the same numbers (see the tests). Charge: common practice, no source; outdoor fin coils.
MACHINES = (
    Machine("R-744", "R-744", 3.92, 0.20),
    Machine("R-290", "R-290", 3.06, 0.10),
    Machine("R-134a", "R-134a", 3.09, 0.28),
    Machine("R-513A", "R-513A", 2.94, 0.28),
    Machine("R-454B", "R-454B", 3.30, 0.22),
    Machine("R-410A", "R-410A", 3.26, 0.25),
    Machine("R-290 deep", "R-290", 3.80, 0.10),
    Machine("R-410A deep", "R-410A", 3.88, 0.25),
)
REFERENCE = "R-744"
# US EPA eGRID2023 (revision 2), total output, CO2e with GWPs of AR5, delivered: over 1 less the gross loss of
# the grid. NYUP and MROE are the cleanest and the dirtiest of the mainland. [kg CO2e/kWh]
GRIDS = {"NYUP": 0.114949, "CAMX": 0.203375, "SRVC": 0.282348, "US": 0.364997, "MROE": 0.66522}
CLEAN, DIRTY = "NYUP", "MROE"
GWP_BASIS = "AR6-100"
# Annual leak by UK Defra: chillers 3.0 %; heat pumps alone 0.3 %; air conditioning with heat pumps 8.5 %.
USUAL_LEAK, LEAKS = 0.03, {"heat pumps": 0.003, "chillers": 0.03, "air conditioning": 0.085}
END_OF_LIFE_LOSS = 0.20  # 80 % recovered: upper end of IPCC 2006 vol. 3 table 7.9 (unverified)
SERVICE_YEARS = 15.0  # IPCC 2006: 10 to 20 years (unverified)


class Row(NamedTuple):
    """A row of the table."""

    machine: str
    inlet: str  # cold | warm
    water_side: str  # single-pass | multi-pass
    electricity_kwh: float
    cop_plant: float
    cop_from_0c: float  # of the heat pump in hours with air of 0 °C or more, in which every one works
    water_in_c: float  # entering the heat pump, mean by heat
    resistance_kwh: float
    short_hours: float
    balance_error: float
    charge_kg: float  # whole plant


def overrides(machine: Machine, inlet: str, water_side: str = "single-pass") -> dict[str, object]:
    """Keys that put a heat pump into the study's plant."""
    keys: dict[str, object] = {
        "plant.heat_pump.refrigerant": machine.refrigerant,
        "plant.heat_pump.cop": machine.cop,
        "plant.heat_pump.condenser": water_side,
    }
    return keys | ({"recirculation": None} if inlet == "cold" else {})


def run(machine: Machine, inlet: str, water_side: str = "single-pass") -> Row:
    """One year of a heat pump in the study's plant."""
    plant = ty.read(SCENARIO, overrides(machine, inlet, water_side))
    result = ty.simulate(plant)
    hourly, record = result.hourly, result.record
    heat, water_in, mild = hourly["heat_pump_heat_kwh"], hourly["water_in_c"], hourly["source_c"] >= 0.0
    used = sum(hourly[key] for key in ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh"))
    weight = heat.where(water_in.notnull(), 0.0).clip(min=0.0)
    return Row(
        machine.name,
        inlet,
        water_side,
        cop_from_0c=float(heat.where(mild).sum() / used.where(mild).sum()),
        water_in_c=float((weight * water_in.fillna(0.0)).sum() / weight.sum()),
        charge_kg=machine.charge * plant["plant.heat_pump.modules"] * plant["plant.heat_pump.capacity"] / 1e3,
        **{key: record[key] for key in Row._fields if key in record},
    )


def cases() -> list[tuple[Machine, str, str]]:
    """Heat pump, inlet and pass of every run: multi-pass where the trade uses it, condensing and warm."""
    both = [(machine, inlet, "single-pass") for machine in MACHINES for inlet in ("cold", "warm")]
    usual = [one for one in MACHINES if one.name != REFERENCE and "deep" not in one.name]
    return both + [(machine, "warm", "multi-pass") for machine in usual]


def best(rows: Sequence[Row], machine: str, inlet: str) -> Row:
    """The run of a heat pump that takes the least electricity: single or multi-pass."""
    return min((r for r in rows if (r.machine, r.inlet) == (machine, inlet)), key=lambda r: r.electricity_kwh)


def lost(row: Row, leak: float = USUAL_LEAK, charge: float = 1.0) -> float:
    """Refrigerant per year, at a leak and at `charge` times the usual charge. [kg CO2e/a]."""
    gwp = refrigerant(row.machine.split()[0]).warming(GWP_BASIS)
    return refrigerant_kgco2e(row.charge_kg * charge, gwp, leak, END_OF_LIFE_LOSS, SERVICE_YEARS)


def total(row: Row, grid: float, leak: float = USUAL_LEAK, charge: float = 1.0) -> float:
    """Operation and refrigerant of a year. [kg CO2e/a]."""
    return operational_kgco2e(row.electricity_kwh, grid) + lost(row, leak, charge)


def turning_grid(row: Row, reference: Row, leak: float = USUAL_LEAK, charge: float = 1.0) -> float:
    """Grid factor at which both are level [kg CO2e/kWh]; NaN where none of 0 or more is."""
    saved = reference.electricity_kwh - row.electricity_kwh
    grid = (lost(row, leak, charge) - lost(reference, leak, charge)) / saved if saved else np.nan
    return grid if grid >= 0.0 else np.nan


def turning_leak(row: Row, reference: Row, grid: float, charge: float = 1.0) -> float:
    """Annual leak of both at which they are level; NaN where none of 0 to 1 is."""
    at_none, at_all = (total(row, grid, x, charge) - total(reference, grid, x, charge) for x in (0.0, 1.0))
    if at_none * at_all > 0.0 or at_none == at_all:
        return np.nan
    return at_none / (at_none - at_all)


def table(rows: Sequence[Row]) -> pd.DataFrame:
    """The rows, with where each is level with the reference of the same inlet."""

    def level(row: Row) -> Mapping[str, float]:
        other = best(rows, REFERENCE, row.inlet)
        leaks = {f"level_leak_{g}": turning_leak(row, other, GRIDS[g]) for g in (CLEAN, DIRTY)}
        return {"level_grid": turning_grid(row, other)} | leaks

    return pd.DataFrame([row._asdict() | level(row) for row in rows])


def study() -> pd.DataFrame:
    """Every case."""
    return table([run(*case) for case in cases()])


if __name__ == "__main__":
    main("refrigerant-tradeoff", __doc__, study)
