"""Greenhouse gases of a year and of the service life: energy, refrigerant, the room's heating and cooling."""

from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.account.carbon import Life, life, operational_by_year
from hpwhsim.account.charge import Charge, estimated_charge, published_losses
from hpwhsim.account.fuel import Fuel, fuel, steam, upstream_methane
from hpwhsim.account.gases import warming
from hpwhsim.account.grid import Grid, read_grid
from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.scenario.carbon import Carbon, RefrigerantCarbon
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Record, Year
from hpwhsim.tables.sources import assumption

Assumption = dict[str, str]

NATURAL_GAS = "natural-gas"
# Fuels that a kind of backup may burn; the first where carbon.fuel names another kind's.
BURNT = {
    "gas": (NATURAL_GAS, "propane", "lpg"),
    "oil": ("fuel-oil-2", "fuel-oil-1", "fuel-oil-4", "fuel-oil-5", "fuel-oil-6", "kerosene"),
}
STEAM_EFFICIENCY, STEAM_LOSS = 0.8, 0.15
"""Of a steam plant nothing is known of: heat out over fuel, and share lost on the way; no source."""


LOSSES = ("leak", "end_of_life", "installation", "service")
"""Parts of the refrigerant's life."""


class Bought(NamedTuple):
    """What a plant purchases, and what its room and the neighbours purchase more; each (8760,). [kWh]"""

    electricity: Array
    fuel: Array
    room_electricity: Array  # heating less saved cooling and drying; negative where more is saved
    room_fuel: Array  # gas of the room's heating


class Factors(NamedTuple):
    """Grid factors of a scenario."""

    grid: Grid
    marginal: Grid | None


class Greenhouse(NamedTuple):
    """Greenhouse gases of a plant; arrays have shape (service_years,). [kg CO2e]"""

    life: Life  # the plant: purchased energy and refrigerant lost
    electricity: Array
    fuel: Array
    room: Array  # of the room's heating, less saved cooling and drying
    marginal: float | None  # a year's energy, room included, by the marginal factor
    record: Record
    assumptions: list[Assumption]
    cautions: list[str]

    @property
    def net(self) -> Life:
        """The life with the room's share booked to its energy."""
        return self.life._replace(operational=self.life.operational + self.room)

    def in_years(self, years: int) -> Array:
        """Everything in each of so many years, shape (years,), counted from the first of service.

        After the service life the last year goes on without what is lost once, at its end and at the first
        filling.
        """
        net = self.net
        found = np.sum(net, axis=0)
        after = found[-1] - net.end_of_life[-1] - net.installation[-1]
        return np.concatenate((found, np.full(max(years - found.size, 0), after)))[:years]

    @property
    def operational(self) -> float:
        """Energy of a year, mean of the service life, room included."""
        return float(self.net.operational.mean())

    @property
    def yearly(self) -> float:
        """Everything, per year of the service life."""
        return float(self.net.cumulative[-1]) / self.room.size


def bought(scenario: Scenario, year: Year) -> Bought:
    """Energy that plant and room purchase in each hour."""
    hourly, none = year.hourly, np.zeros(year.hourly["electricity_kwh"].size)
    electric, gas = none.copy(), none.copy()
    if scenario.plant.source.room is not None and "room_heating_penalty_kwh" in hourly:
        gas = hourly["room_penalty_gas_kwh"]
        electric = hourly["room_heating_penalty_kwh"] - gas
        electric = electric - (hourly["room_cooling_credit_kwh"] + hourly["dehumidifier_credit_kwh"])
    return Bought(hourly["electricity_kwh"], hourly["fuel_kwh"], electric, gas)


def factors(carbon: Carbon) -> Factors:
    """Grid factors, average and marginal.

    Raises
    ------
    InputError
        As `account.grid.read_grid`.
    """

    def read(given: str | Path, kind: str, loss: float | None, key: str) -> Grid:
        return read_grid(
            given,
            kind=kind,
            basis=carbon.gwp,
            loss=loss,
            service_years=carbon.service_years,
            first_year=carbon.first_year,
            key=key,
        )

    grid = read(carbon.grid, carbon.grid_kind, carbon.grid_loss, "carbon.grid")
    other = None if carbon.marginal is None else read(carbon.marginal, "marginal", None, "carbon.marginal")
    return Factors(grid, other)


def burnt_fuel(scenario: Scenario) -> Fuel | None:
    """What the plant burns, or the steam it purchases; None where it purchases electricity alone."""
    carbon, kind = scenario.carbon, scenario.plant.backup.kind
    if carbon is None or kind in ("none", "resistance"):
        return None
    if kind == "steam":
        if carbon.steam is None:
            return steam(fuel(NATURAL_GAS), STEAM_EFFICIENCY, STEAM_LOSS)
        block = carbon.steam
        return steam(fuel(block.fuel), block.plant_efficiency, block.network_loss)
    return fuel(carbon.fuel if carbon.fuel in BURNT[kind] else BURNT[kind][0])


def check_fuel(scenario: Scenario, baseline: Scenario | None) -> None:
    """Refuse a fuel or steam that neither plant nor baseline burns.

    Raises
    ------
    InputError
        Naming the key.
    """
    carbon = scenario.carbon
    if carbon is None:
        return
    plants = [one for one in (scenario, baseline) if one is not None]
    if carbon.steam is not None and all(one.plant.backup.kind != "steam" for one in plants):
        raise InputError("carbon.steam: got a block; allowed nothing unless plant or baseline takes steam")
    names = {burnt.name for one in plants if (burnt := burnt_fuel(one)) is not None}
    if carbon.given("fuel") and carbon.fuel not in names:
        allowed = ", ".join(sorted(names)) or "nothing: neither plant nor baseline burns fuel"
        raise InputError(f"carbon.fuel: got {carbon.fuel!r}; allowed {allowed}")


def check_refrigerant(scenario: Scenario) -> None:
    """Refuse a refrigerant of which warming potential or charge is not known, before any march.

    Raises
    ------
    InputError
        Naming the key.
    """
    carbon, heat_pump = scenario.carbon, scenario.plant.heat_pump
    if carbon is None or heat_pump is None:
        return
    block = carbon.refrigerant
    basis = block.gwp if block.gwp is not None else carbon.gwp
    if isinstance(basis, str):
        refrigerant(heat_pump.refrigerant).warming(basis)
    if block.charge is not None:
        return
    if block.line_charge is not None and heat_pump.lines is None:
        raise InputError(
            "carbon.refrigerant.line_charge: got a charge; allowed nothing unless plant.heat_pump.lines "
            "is given"
        )
    estimated_charge(heat_pump.refrigerant, 0.0, kg_per_kw=block.charge_per_kw)


def greenhouse(scenario: Scenario, year: Year, of: Bought, by: Factors) -> Greenhouse:
    """Greenhouse gases of a year that was simulated, over the service life.

    Every year of service purchases the energy of this one. Grid factors may change from year to year; those
    of fuel do not.

    Raises
    ------
    InputError
        If a warming potential or the charge is not known.
    """
    carbon = scenario.carbon
    assert carbon is not None  # asked for by the caller
    found: list[Assumption] = []
    cautions: list[str] = []
    years, burnt, gas = carbon.service_years, burnt_fuel(scenario), fuel(NATURAL_GAS)
    per_fuel = burnt.kgco2e_per_kwh(carbon.gwp) if burnt is not None else 0.0
    per_gas = gas.kgco2e_per_kwh(carbon.gwp)
    electricity = operational_by_year(of.electricity, by.grid.kgco2e_per_kwh, years)
    fuel_kgco2e = np.full(years, float(of.fuel.sum()) * per_fuel)
    room = _net(of.room_electricity, by.grid, years) + float(of.room_fuel.sum()) * per_gas
    marginal = None
    if by.marginal is not None:
        energy = of.electricity + of.room_electricity
        marginal = float(_net(energy, by.marginal, years).mean() + fuel_kgco2e[0])
        marginal += float(of.room_fuel.sum()) * per_gas
    charge, gwp = _refrigerant(scenario, year, found)
    block = carbon.refrigerant
    whole = life(
        electricity + fuel_kgco2e,
        charge.kg,
        gwp,
        block.annual_leak,
        block.lost_at_end,
        block.installation_loss,
        block.service_loss,
    )
    found += _sources(scenario, of, by.grid, burnt)
    record = _energy_record(carbon, of, by.grid, burnt)
    assumed = [assumption(**item) for item in found]
    result = Greenhouse(whole, electricity, fuel_kgco2e, room, marginal, record, assumed, cautions)
    lost = whole.leak + whole.end_of_life + whole.installation + whole.service
    record |= {
        "operational_kgco2e": float(whole.operational.mean()),
        "refrigerant_kgco2e": float(lost.mean()),
        "total_kgco2e": result.yearly,
        "carbon.electricity_kgco2e": float(electricity.mean()),
        "carbon.fuel_kgco2e": float(fuel_kgco2e.mean()),
        "carbon.tewi_kgco2e": whole.tewi,
        "carbon.cumulative_kgco2e": result.net.cumulative.tolist(),
        "carbon.cumulative_operational_kgco2e": np.cumsum(result.net.operational).tolist(),
        "carbon.cumulative_refrigerant_kgco2e": np.cumsum(lost).tolist(),
    }
    if of.room_electricity.any() or of.room_fuel.any():
        record["carbon.room_kgco2e"] = float(room.mean())
    if marginal is not None:
        record["carbon.marginal_kgco2e"] = marginal
    if scenario.plant.heat_pump is not None:
        record |= _refrigerant_record(scenario.plant.heat_pump.refrigerant, charge, gwp, whole, block)
        if charge.low_kg < charge.high_kg:
            cautions.append(
                f"the charge of refrigerant is an estimate: {charge.kg:.3g} kg, plausible are "
                f"{charge.low_kg:.3g} to {charge.high_kg:.3g} kg, and refrigerant_kgco2e goes with it"
            )
    loop = scenario.recirculation
    if loop is not None and loop.loop_tank is not None and loop.loop_tank.heat_pump is not None:
        cautions.append(
            "refrigerant_kgco2e leaves out the refrigerant of recirculation.loop_tank.heat_pump "
            f"({loop.loop_tank.heat_pump.refrigerant})"
        )
    return result


def _sources(scenario: Scenario, of: Bought, grid: Grid, burnt: Fuel | None) -> list[Assumption]:
    """Where the factors of grid and fuel are from."""
    carbon = scenario.carbon
    assert carbon is not None  # asked for by the caller
    found = [
        {
            "key": "carbon.grid",
            "value": f"{grid.name}: {grid.kgco2e_per_kwh.mean():.4g} kg CO2e/kWh at the meter, {grid.kind}",
            "source": grid.source,
            "status": grid.status,
        }
    ]
    fuels = [("carbon.fuel", burnt)] if burnt is not None else []
    if scenario.plant.backup.kind == "steam" and carbon.steam is None:
        value = f"{NATURAL_GAS}, efficiency {STEAM_EFFICIENCY:g}, network loss {STEAM_LOSS:g}"
        source = "nothing is known of the steam plant; common practice, no source"
        found.append({"key": "carbon.steam", "value": value, "source": source})
    if of.room_fuel.any():
        fuels.append(("carbon.fuel (heating of the room)", fuel(NATURAL_GAS)))
    for key, one in fuels:
        value = f"{one.name}: {one.kgco2e_per_kwh(carbon.gwp):.4g} kg CO2e/kWh"
        found.append({"key": key, "value": value, "source": one.source, "status": one.status})
    return found


def _energy_record(carbon: Carbon, of: Bought, grid: Grid, burnt: Fuel | None) -> Record:
    """Keys of the record on factors, the three gases and methane upstream."""
    record: Record = {
        "carbon.service_years": carbon.service_years,
        "carbon.gwp": carbon.gwp,
        "carbon.grid": grid.name,
        "carbon.grid_kind": grid.kind,
        "carbon.grid_kgco2e_per_kwh": float(grid.kgco2e_per_kwh.mean()),
    }
    for name, gases, kwh in (
        ("electricity", grid.gases, float(of.electricity.sum())),
        ("fuel", burnt.gases if burnt is not None else None, float(of.fuel.sum())),
    ):
        if gases is not None:
            masses = gases.times(kwh)._asdict()
            record |= {f"carbon.{name}_{gas}_kg": mass for gas, mass in masses.items()}
    if carbon.upstream_leak is not None:
        through = float(of.room_fuel.sum())
        if burnt is not None and burnt.name == NATURAL_GAS:
            through += float(of.fuel.sum())
        methane = upstream_methane(carbon.upstream_leak, carbon.methane_share) * through
        record["carbon.upstream_methane_kg"] = methane
        record["carbon.upstream_kgco2e"] = methane * warming(carbon.gwp)["ch4_fossil"]
    return record


def _refrigerant_record(
    name: str, charge: Charge, gwp: float, whole: Life, block: RefrigerantCarbon
) -> Record:
    """Keys of the record on the refrigerant: its parts, other sets of potentials, published losses."""
    years = whole.leak.size
    once = block.lost_at_end + block.installation_loss
    lost_kg = charge.kg * (block.annual_leak + block.service_loss + once / years)
    return {
        "carbon.refrigerant_gwp": gwp,
        "carbon.refrigerant_charge_kg": charge.kg,
        **{f"carbon.{part}_kgco2e": float(getattr(whole, part).mean()) for part in LOSSES},
        "carbon.refrigerant_by_gwp": {
            basis: lost_kg * value for basis, value in refrigerant(name).gwp if value is not None
        },
        "carbon.published_losses": [
            {"name": row.equipment, "kgco2e": row.kgco2e, "source": row.source, "status": row.status}
            for row in published_losses(charge.kg, gwp, float(years))
        ],
    }


def _net(kwh: Array, grid: Grid, years: int) -> Array:
    """Greenhouse gases of hourly energy of either sign in each year of service. [kg CO2e]"""
    rows = np.atleast_2d(grid.kgco2e_per_kwh)
    return np.full(years, (rows * kwh).sum(axis=1))


def _refrigerant(scenario: Scenario, year: Year, found: list[Assumption]) -> tuple[Charge, float]:
    """Charge of the whole plant, and its warming potential [kg CO2e/kg]; nothing without a heat pump."""
    carbon, heat_pump = scenario.carbon, scenario.plant.heat_pump
    if carbon is None or heat_pump is None:
        return Charge(0.0, 0.0, 0.0, ""), 0.0
    block, made = carbon.refrigerant, year.made
    basis = block.gwp if block.gwp is not None else carbon.gwp
    if isinstance(basis, str):
        of = refrigerant(heat_pump.refrigerant)
        gwp = of.warming(basis)
        source = f"{basis}: {dict(of.gwp_sources)[basis]}"
        found.append({"key": "carbon.refrigerant.gwp", "value": f"{gwp:g} kg CO2e/kg", "source": source})
    else:
        gwp = basis
    if block.charge is not None:
        return Charge(block.charge, block.charge, block.charge, "given"), gwp
    metres = heat_pump.lines.length * made.modules if heat_pump.lines is not None else 0.0
    if block.line_charge is not None:
        per_metre = block.line_charge
    else:
        held = made.lines.charge_kg * made.modules if made.lines is not None else 0.0
        per_metre = held / metres if metres > 0.0 else 0.0
    charge = estimated_charge(
        heat_pump.refrigerant,
        made.capacity * made.modules / 1e3,
        kg_per_kw=block.charge_per_kw,
        line_kg_per_m=per_metre,
        line_m=metres,
    )
    found.append(
        {"key": "carbon.refrigerant.charge", "value": f"{charge.kg:.3g} kg", "source": charge.source}
    )
    return charge, gwp
