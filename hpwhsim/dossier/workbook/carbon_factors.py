"""Factors of greenhouse gases: the gases of grid and fuel, their warming potentials, and the refrigerant."""

from typing import NamedTuple

import numpy as np

from hpwhsim.account.fuel import METHANE_KG_PER_SCF, MMBTU_PER_SCF, Fuel, fuel
from hpwhsim.account.gases import Gases, warming
from hpwhsim.account.grid import KG_PER_LB, Grid
from hpwhsim.dossier.workbook.factor_rows import CHANGEABLE, Page
from hpwhsim.dossier.workbook.formula import Column, Formula, added, letter, weighed
from hpwhsim.dossier.workbook.sheets import SOLID, Book, Cells, Columns, at
from hpwhsim.evaluation.emissions import NATURAL_GAS, STEAM_EFFICIENCY, STEAM_LOSS, burnt_fuel
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.io.units import MASS, MASS_FACTOR
from hpwhsim.io.us_units import KWH_PER_MMBTU
from hpwhsim.scenario.carbon import GWP_SETS, Carbon
from hpwhsim.tables.sources import cited

POTENTIALS = "Warming potentials"
GASES = {"ch4": "methane (CH4)", "ch4_fossil": "methane of fossil origin", "n2o": "nitrous oxide (N2O)"}
NOTES = (
    "kg CO2e per kg over 100 or 20 years; the set in force is picked in the sheet Factors, from those that "
    "have a value of every refrigerant that follows the set.",
    str(cited("[ipcc-ar4]; [ipcc-ar5]; [ipcc-ar6]; blends by mass of their components.")),
    f"Fossil methane: {cited('[ipcc-ar6-fossil]')}; AR4 has no figure of its own for it.",
)


class Potentials(NamedTuple):
    """The sheet of warming potentials."""

    columns: Columns  # by gas and by refrigerant; "set" holds the names of the sets
    sets: tuple[str, ...]  # in the order of the rows
    offered: Column  # names of the sets that have a value of all that follows the set


class Energy(NamedTuple):
    """What a kWh of electricity or fuel weighs."""

    by_year: tuple[Formula, ...]  # kg CO2e/kWh: one, or one for each year of service; none where hourly
    hourly: Column | None = None
    gases: tuple[Formula, ...] = ()  # kg/kWh of CO2, CH4, N2O; none where they are not told apart

    def weigh(self, column: Column, year: int) -> Formula:
        """Energy of all hours in a year of service, from 1. [kg CO2e]"""
        if self.hourly is not None:
            return weighed(column, self.hourly)
        return column.total() * self.by_year[min(year, len(self.by_year)) - 1]

    def mean(self) -> Formula:
        """Mean of hours and years. [kg CO2e/kWh]"""
        if self.hourly is not None:
            return self.hourly.mean()
        return added(self.by_year) / len(self.by_year)


class CarbonFactors(NamedTuple):
    """Cells of factors; by plant | baseline where a plant has its own."""

    grid: Energy
    marginal: Energy | None
    fuel: dict[str, Energy]  # of a plant that burns something
    room_gas: Energy | None  # of the gas that heats the room of a heat pump
    refrigerant: dict[str, Cells]  # by the fields of Refrigerant
    by_set: dict[str, Cells]  # warming potential of the refrigerant in each set. [kg CO2e/kg]
    upstream: Formula | None  # methane lost before the meter for each kWh of gas. [kg/kWh]
    fossil_methane: Formula  # its warming potential. [kg CO2e/kg]


def carbon_factors(page: Page, result: Result, outside: Columns, mmbtu: Formula) -> CarbonFactors | None:
    """Rows of the sheet of factors and the sheet of warming potentials; None where no gas is counted."""
    carbon, sides = result.plant.scenario.carbon, result.sides
    if result.grid is None or carbon is None:
        return None
    table = _potentials(page.book, sides)
    page.choice("set of warming potentials", carbon.gwp, "gwp_set", table.offered, "carbon.gwp")
    potential = {
        gas: page.follows(
            f"warming potential of {label}",
            "kg CO2e/kg",
            _picked(table, gas, carbon.gwp),
            f"gwp_{gas}",
            f"the sheet {POTENTIALS}",
        )
        for gas, label in GASES.items()
    }
    written = result.plant.written
    grid = _grid(page, result.grid, "grid", outside, potential, at(written, "carbon", "grid"))
    marginal = None
    if result.marginal is not None:
        of = at(written, "carbon", "marginal")
        marginal = _grid(page, result.marginal, "marginal", outside, potential, of)
    burnt = {name: one for name, side in sides.items() if (one := burnt_fuel(side.scenario)) is not None}
    room = any(side.room for side in sides.values())
    plain = {one.name.removeprefix("steam from ") for one in burnt.values()}
    fuels = {
        name: _combustion(page, fuel(name), mmbtu)
        for name in sorted(plain | ({NATURAL_GAS} if room else set()))
    }
    found = {}
    for name, one in burnt.items():
        gases = fuels[one.name.removeprefix("steam from ")]
        if one.name not in fuels:
            gases = _steam(page, sides[name], name, gases)
        label = f"{one.name.replace('-', ' ')} of the {name}"
        found[name] = Energy(
            (_co2e(page, label, f"{name}_fuel_factor", gases, potential, "ch4_fossil"),), None, gases
        )
    room_gas = None
    if room:
        gases, label = fuels[NATURAL_GAS], "gas that heats the room of the heat pump"
        room_gas = Energy(
            (_co2e(page, label, "room_gas_factor", gases, potential, "ch4_fossil"),), None, gases
        )
    held, by_set = {}, {}
    for name, side in sides.items():
        if side.refrigerant is not None:
            held[name], by_set[name] = _refrigerant(page, name, side, table)
    upstream = _upstream(page, carbon, mmbtu)
    return CarbonFactors(grid, marginal, found, room_gas, held, by_set, upstream, potential["ch4_fossil"])


def _potentials(book: Book, sides: dict[str, Side]) -> Potentials:
    """Fill the sheet of warming potentials."""
    sets, offered = _ordered(sides)
    names = {name for name, _ in _refrigerants(sides)}
    columns: dict[str, list[float | None]] = {gas: [warming(basis)[gas] for basis in sets] for gas in GASES}
    columns |= {name: [dict(refrigerant(name).gwp)[basis] for basis in sets] for name in sorted(names)}
    heads = ["set: assessment of the IPCC, years", *(GASES.get(name, name) for name in columns)]
    book.texts(POTENTIALS, 0, [*heads, CHANGEABLE])
    book.widths(POTENTIALS, 34, *([14] * len(columns)), 24, freeze=1, across=1)
    for row, note in enumerate(NOTES, start=len(sets) + 2):
        book.text(POTENTIALS, row, 0, note)
    found = {"set": Column(POTENTIALS, "A", np.full(len(sets), np.nan), 2)}
    for row, basis in enumerate(sets, start=1):
        book.text(POTENTIALS, row, 0, basis)
        book.text(POTENTIALS, row, len(columns) + 1, "yes, each number")
    for place, (name, values) in enumerate(columns.items(), start=1):
        for row, value in enumerate(values, start=1):
            if value is None:  # a text, so that what needs the number fails instead of taking 0
                book.text(POTENTIALS, row, place, "no value found")
            else:
                book.number(POTENTIALS, row, place, value, book.in_unit("kg CO2e/kg", SOLID))
        numbers = np.array([np.nan if value is None else value for value in values])
        found[name] = Column(POTENTIALS, letter(place), numbers, 2)
    return Potentials(found, sets, found["set"]._replace(values=np.full(offered, np.nan)))


def _refrigerants(sides: dict[str, Side]) -> list[tuple[str, bool]]:
    """Refrigerant of each plant that has one, and whether its potential follows the set."""
    found = []
    for side in sides.values():
        heat_pump, carbon = side.scenario.plant.heat_pump, side.scenario.carbon
        if heat_pump is not None:
            found.append((heat_pump.refrigerant, carbon is not None and carbon.refrigerant.gwp is None))
    return found


def _ordered(sides: dict[str, Side]) -> tuple[tuple[str, ...], int]:
    """All sets, first those with a value of every refrigerant that follows the set; how many these are."""
    followed = [dict(refrigerant(name).gwp) for name, follows in _refrigerants(sides) if follows]
    whole = [basis for basis in GWP_SETS if all(gwp[basis] is not None for gwp in followed)]
    return (*whole, *(basis for basis in GWP_SETS if basis not in whole)), len(whole)


def _picked(table: Potentials, name: str, basis: str) -> Formula:
    """The potential in the set that is picked."""
    column, row = table.columns[name], f"MATCH(gwp_set,{table.columns['set'].range},0)"
    return Formula(f"INDEX({column.range},{row})", float(column.values[table.sets.index(basis)]))


def _co2e(
    page: Page, label: str, name: str, gases: tuple[Formula, ...], potential: Cells, methane: str
) -> Formula:
    """All gases of a kWh as CO2."""
    co2, ch4, n2o = gases
    whole = co2 + potential[methane] * ch4 + potential["n2o"] * n2o
    return page.follows(label, "kg CO2e/kWh", whole, name, "gases times warming potentials")


def _grid(page: Page, grid: Grid, name: str, outside: Columns, potential: Cells, written: object) -> Energy:
    """Factors of a grid; `written` is what the modeler wrote."""
    held, unit, label = grid.kgco2e_per_kwh, "kg CO2e/kWh", f"electricity at the meter, {grid.kind}"
    if f"{name}_kg_per_kwh" in outside:
        return Energy((), outside[f"{name}_kg_per_kwh"])
    if grid.gases is not None:
        gases = _generated(page, grid, grid.gases, name)
        return Energy((_co2e(page, label, f"{name}_factor", gases, potential, "ch4"),), None, gases)
    if len(held) == 1:
        value, cell = float(held[0, 0]), f"{name}_factor"
        return Energy((page.quantity(label, unit, value, cell, grid.source, written, MASS_FACTOR),))
    years = enumerate(held[:, 0].tolist(), start=1)
    return Energy(
        tuple(
            page.given(f"{label}, year of service {year}", unit, value, f"{name}_factor_{year}", grid.source)
            for year, value in years
        )
    )


def _generated(page: Page, grid: Grid, gases: Gases, name: str) -> tuple[Formula, ...]:
    """Gases of a kWh at the meter, from those of a kWh generated and the loss of the grid. [kg/kWh]"""
    pound = page.given("pound", "kg", KG_PER_LB, "kg_per_lb", "exact by definition")
    published = gases.times((1.0 - grid.loss) * 1e3 / KG_PER_LB)
    cells = {
        gas: page.given(
            f"{gas.upper()} of electricity generated, {grid.name}",
            "lb/MWh",
            value,
            f"{name}_{gas}_lb_per_mwh",
            f"{grid.source.partition('; over 1 less')[0]} ({grid.status})",
        )
        for gas, value in published._asdict().items()
    }
    label = "loss between generation and meter, fraction of generation"
    loss = page.given(label, "1", grid.loss, f"{name}_loss", grid.source)
    return tuple(
        page.follows(
            f"{gas.upper()} of electricity at the meter",
            "kg/kWh",
            cell * pound / 1000.0 / (1.0 - loss),
            f"{name}_{gas}",
        )
        for gas, cell in cells.items()
    )


def _combustion(page: Page, of: Fuel, mmbtu: Formula) -> tuple[Formula, ...]:
    """Gases of a kWh of fuel, from the published ones of a million Btu. [kg/kWh]"""
    name = of.name.replace("-", "_")
    return tuple(
        page.given(
            f"{gas.upper()} of {of.name.replace('-', ' ')}, higher heating value",
            "kg/MMBtu",
            value,
            f"{name}_{gas}_kg_per_mmbtu",
            f"{of.source} ({of.status})",
        )
        * mmbtu
        for gas, value in of.gases.times(KWH_PER_MMBTU)._asdict().items()
    )


def _steam(page: Page, side: Side, name: str, gases: tuple[Formula, ...]) -> tuple[Formula, ...]:
    """Gases of a kWh of steam delivered. [kg/kWh]"""
    block = side.scenario.carbon.steam if side.scenario.carbon is not None else None
    shares = (STEAM_EFFICIENCY, STEAM_LOSS)
    if block is not None:
        shares = (block.plant_efficiency, block.network_loss)
    label = "heat leaving the steam plant over its fuel"
    efficiency = page.given(label, "1", shares[0], f"{name}_steam_efficiency", "carbon.steam")
    loss = page.given(
        "fraction of that heat lost in distribution", "1", shares[1], f"{name}_steam_loss", "carbon.steam"
    )
    return tuple(gas / (efficiency * (1.0 - loss)) for gas in gases)


def _refrigerant(page: Page, name: str, side: Side, table: Potentials) -> tuple[Cells, Cells]:
    """Cells by the fields of Refrigerant, and the warming potential in each set that has one."""
    carbon, heat_pump, held = side.scenario.carbon, side.scenario.plant.heat_pump, side.refrigerant
    assert carbon is not None
    assert heat_pump is not None
    assert held is not None
    label, unit = f"warming potential of the refrigerant, {name}", "kg CO2e/kg"
    rows = (
        ("annual_leak", "yearly leak, fraction of the charge", "1"),
        ("end_of_life_loss", "loss at the end, fraction of the charge", "1"),
        ("installation_loss", "loss at installation, fraction of the charge", "1"),
        ("service_loss", "yearly loss by service work, fraction of the charge", "1"),
    )
    cells = {
        "charge_kg": page.quantity(
            f"refrigerant, {name}",
            "kg",
            held.charge_kg,
            f"{name}_charge_kg",
            "carbon.refrigerant.charge",
            at(side.written, "carbon", "refrigerant", "charge"),
            MASS,
        )
    }
    if carbon.refrigerant.gwp is None:
        follows = _picked(table, heat_pump.refrigerant, carbon.gwp)
        cells["gwp"] = page.follows(label, unit, follows, f"{name}_gwp", f"the sheet {POTENTIALS}")
    else:
        cells["gwp"] = page.given(label, unit, held.gwp, f"{name}_gwp", "carbon.refrigerant.gwp")
    for key, what, of in rows:
        cells[key] = page.given(
            f"{what}, {name}", of, getattr(held, key), f"{name}_{key}", f"carbon.refrigerant.{key}"
        )
    column = table.columns[heat_pump.refrigerant]
    by_set = {
        basis: column.cell(row) for row, basis in enumerate(table.sets) if np.isfinite(column.values[row])
    }
    return cells, by_set


def _upstream(page: Page, carbon: Carbon, mmbtu: Formula) -> Formula | None:
    """Methane lost before the meter for each kWh of gas; None where no leak is given. [kg/kWh]"""
    if carbon.upstream_leak is None:
        return None
    label = "gas lost before the meter over gas delivered"
    leak = page.given(label, "1", carbon.upstream_leak, "upstream_leak", "carbon.upstream_leak")
    share = page.given(
        "methane in the gas, by volume", "1", carbon.methane_share, "methane_share", "carbon.methane_share"
    )
    label = "methane in a standard cubic foot of it"
    dense = page.given(
        label, "kg/scf", METHANE_KG_PER_SCF, "methane_kg_per_scf", "ideal gas, 60 degF, 14.696 psi"
    )
    label, source = "higher heating value of natural gas", str(cited("[cfr-98-c]"))
    heat = page.given(label, "MMBtu/scf", MMBTU_PER_SCF, "gas_mmbtu_per_scf", source)
    return leak * share * dense / heat * mmbtu
