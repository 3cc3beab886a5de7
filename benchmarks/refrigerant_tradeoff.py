"""Which refrigerant, with cold and with warm water to the machine, in energy and in carbon.

    python benchmarks/refrigerant_tradeoff.py --out out/

runs scenarios/studies/cold-or-warm-inlet.yaml with every refrigerant, with the loop (warm inlet) and without
it (cold inlet), prints a table and the points where the order in carbon turns, and writes
refrigerant-tradeoff.csv and refrigerant-tradeoff.png.

Every machine has the same capacity, store and quality: overall efficiency 0.60, evaporating 10 K below the
air, pinch 5 K, at air 7 degC and water 10 to 60 degC. The COPs there are the cycle's own (see `MACHINES`), so
that no refrigerant is handed a better compressor than another. Conventional machines cool their liquid little
(5 K below bubble); "deep" is what they could be, with liquid cooled to 5 K above the entering water.

What to expect. Cold inlet: R-744 leads the conventional machines by a tenth to a sixth, and lags the deep
ones by 5 to 8 %. Warm inlet: it loses to all of them by a sixth or more, while they lose little. In carbon
R-744 has nearly no leak to answer for: behind in energy, it is ahead where the grid is clean or the leak
large.
"""

import argparse
import csv
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from tqdm import tqdm

from hpwhsim.account.carbon import operational_kgco2e, refrigerant_kgco2e
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HERE = Path(__file__).resolve().parent
SCENARIO = HERE.parent / "scenarios" / "studies" / "cold-or-warm-inlet.yaml"


class Machine(NamedTuple):
    """A machine of the common quality."""

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
GRID_NAMES = {
    "NYUP": "NPCC Upstate NY",
    "CAMX": "WECC California",
    "SRVC": "SERC Virginia/Carolina",
    "US": "United States",
    "MROE": "MRO East",
}
CLEAN, DIRTY = "NYUP", "MROE"

GWP_BASIS = "AR6-100"
# Annual leak by UK Defra: chillers 3.0 %; heat pumps alone 0.3 %; air conditioning with heat pumps 8.5 %.
USUAL_LEAK, LEAKS = 0.03, {"heat pumps": 0.003, "chillers": 0.03, "air conditioning": 0.085}
END_OF_LIFE_LOSS = 0.20  # 80 % recovered: upper end of IPCC 2006 vol. 3 table 7.9, quoted from memory
SERVICE_YEARS = 15.0  # IPCC 2006: 10 to 20 years; quoted from memory


class Row(NamedTuple):
    """A row of the table; the field names are the columns of the CSV."""

    machine: str
    inlet: str  # cold | warm
    water_side: str  # single | multi
    electricity_kwh: float
    cop_plant: float  # heat to taps and loop over all electricity
    cop_heat_pump: float  # of the machine, whenever it ran
    cop_from_0c: float  # of the machine in hours with air of 0 °C or more, in which every one works
    water_in_c: float  # entering the machine, mean by heat
    lowest_source_c: float  # at which the machine still makes water of the outlet temperature
    resistance_kwh: float
    backup_hours: float
    short_hours: float
    balance_error: float
    charge_kg: float  # whole plant


ENERGY_HEADS = ("machine", "inlet", "pass", "kWh", "COP plant", "COP hp", "from 0 C", "water in C")
HEADS = (*ENERGY_HEADS, "lowest C", "backup kWh", "backup h", "short h", "balance", "charge kg")
FORMATS = ("", "", "", ".0f", ".2f", ".2f", ".2f", ".1f", ".1f", ".0f", ".0f", ".1f", ".0e", ".1f")


def run(
    machine: Machine,
    inlet: str,
    water_side: str = "single-pass",
    scenario: Path = SCENARIO,
    weather: Path | None = None,
    extra: Sequence[str] = (),
) -> Row:
    """One year of a machine in the study's plant; `extra` are overrides as on the command line."""
    overrides = [
        f"plant.heat_pump.refrigerant={machine.refrigerant}",
        f"plant.heat_pump.cop={machine.cop}",
        f"plant.heat_pump.condenser={water_side}",
        *(["recirculation=null"] if inlet == "cold" else []),
        *extra,
    ]
    loaded = read_scenario(scenario, overrides, weather)
    heat_pump = loaded.scenario.plant.heat_pump
    if heat_pump is None or heat_pump.capacity is None:
        raise InputError(f"{scenario}: plant.heat_pump.capacity: got nothing; allowed a rating")
    year = run_year(loaded)
    hourly, record = year.hourly, {k: v for k, v in year.record.items() if isinstance(v, float)}
    heat, inlet_c = hourly["heat_pump_heat_kwh"], hourly["water_in_c"]
    bought = sum(hourly[k] for k in ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh"))
    mild, ran = hourly["source_c"] >= 0.0, np.isfinite(inlet_c)
    plant = assemble(loaded.scenario, read_weather(loaded.scenario.site.weather)).plant
    works = np.isfinite(plant.machine.capacity_w)
    full = works[:, -1, :].any(axis=1) if water_side == "multi-pass" else works.any(axis=(1, 2))
    return Row(
        machine=machine.name,
        inlet=inlet,
        water_side=water_side,
        cop_from_0c=float(heat[mild].sum() / np.asarray(bought)[mild].sum()),
        water_in_c=float(np.average(inlet_c[ran], weights=np.maximum(heat[ran], 0.0))),
        lowest_source_c=max(plant.lowest_source, float(plant.machine.source_c[full].min())),
        backup_hours=record["resistance_hours"],
        charge_kg=machine.charge * heat_pump.modules * heat_pump.capacity / 1e3,
        **{k: record[k] for k in Row._fields if k in record},
    )


def cases() -> list[tuple[Machine, str, str]]:
    """Machine, inlet and pass of every run: multi-pass where the trade uses it, condensing and warm."""
    found = []
    for machine in MACHINES:
        found += [(machine, "cold", "single-pass"), (machine, "warm", "single-pass")]
        if machine.name != REFERENCE and "deep" not in machine.name:
            found.append((machine, "warm", "multi-pass"))
    return found


def best(rows: list[Row], machine: str, inlet: str) -> Row:
    """The run of a machine that takes the least electricity: single or multi-pass."""
    return min((r for r in rows if (r.machine, r.inlet) == (machine, inlet)), key=lambda r: r.electricity_kwh)


def gwp(row: Row) -> float:
    """Warming potential of the refrigerant of a row. [kg CO2e/kg]."""
    return refrigerant(row.machine.split()[0]).warming(GWP_BASIS)


def lost(row: Row, leak: float = USUAL_LEAK, charge: float = 1.0) -> float:
    """Refrigerant per year, at a leak and at `charge` times the usual charge. [kg CO2e/a]."""
    return refrigerant_kgco2e(row.charge_kg * charge, gwp(row), leak, END_OF_LIFE_LOSS, SERVICE_YEARS)


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


def table(rows: list[Row]) -> str:
    """The rows as text in columns."""
    cells = [HEADS, *(tuple(f"{v:{f}}" for v, f in zip(row, FORMATS, strict=True)) for row in rows)]
    wide = [max(len(line[i]) for line in cells) for i in range(len(HEADS))]
    return "\n".join(
        "  ".join(
            text.ljust(width) if i < 3 else text.rjust(width)
            for i, (text, width) in enumerate(zip(line, wide, strict=True))
        )
        for line in cells
    )


def turning_points(rows: list[Row]) -> str:
    """Where each machine and the reference are level in carbon, as text."""
    said = []
    for inlet in ("cold", "warm"):
        reference = best(rows, REFERENCE, inlet)
        said.append(
            f"\n{inlet} inlet, {REFERENCE}: {reference.electricity_kwh:.0f} kWh, refrigerant "
            f"{lost(reference):.0f} kg CO2e/a"
        )
        for machine in MACHINES[1:]:
            row = best(rows, machine.name, inlet)
            grid = turning_grid(row, reference)
            leaks = [turning_leak(row, reference, GRIDS[g]) for g in (CLEAN, DIRTY)]
            said.append(
                f"  {machine.name:<12} {row.electricity_kwh - reference.electricity_kwh:+6.0f} kWh, "
                f"{lost(row) - lost(reference):+5.0f} kg CO2e/a by refrigerant; level at "
                + ("no grid factor" if np.isnan(grid) else f"{grid:.3f} kg/kWh")
                + "; leak "
                + ", ".join(
                    f"{'none' if np.isnan(x) else f'{x:.1%}'} on {g}"
                    for x, g in zip(leaks, (CLEAN, DIRTY), strict=True)
                )
            )
    return "\n".join(said)


# -- the picture -------------------------------------------------------------------------------------

COLD, WARM, MULTI = "#4c9bd6", "#d6604d", "#f4a582"
LINES = {"R-410A": "#7b3294", "R-513A": "#1b7837", "R-454B": "#b8860b"}


def draw_cop(ax: "Axes", rows: list[Row]) -> None:
    """COP of the plant by refrigerant, and of the machine where all of them work."""
    styles = (("cold", "single-pass", COLD), ("warm", "single-pass", WARM), ("warm", "multi-pass", MULTI))
    label = {COLD: "cold inlet", WARM: "warm inlet, single pass", MULTI: "warm inlet, multi-pass"}
    for k, (inlet, side, color) in enumerate(styles):
        held = [
            (i, r)
            for i, m in enumerate(MACHINES)
            for r in rows
            if (r.machine, r.inlet, r.water_side) == (m.name, inlet, side)
        ]
        x = [i + 0.27 * (k - 1) for i, _ in held]
        ax.bar(x, [r.cop_plant for _, r in held], 0.25, color=color, label=label[color])
        for at, (_, r) in zip(x, held, strict=True):
            ax.text(at, 0.08, f"{r.cop_plant:.2f}", rotation=90, ha="center", va="bottom", fontsize=7.5)
        ax.plot(x, [r.cop_from_0c for _, r in held], "_", color="black", markersize=9, markeredgewidth=1.5)
    ax.plot([], [], "_k", markersize=9, markeredgewidth=1.5, label="machine alone, air above 0 °C")
    names = [m.name.replace(" ", "\n") for m in MACHINES]
    ax.set_xticks(range(len(MACHINES)), names, fontsize=9)
    ax.set_ylim(0.0, 5.6)
    ax.set_ylabel("COP of the plant over the year, backup included")
    ax.set_title("(a) Cold against warm water to the machine")
    ax.legend(loc="upper left", ncols=2, fontsize=8.5, frameon=False)


def draw_carbon(ax: "Axes", rows: list[Row]) -> None:
    """Operation and refrigerant of every refrigerant on a clean and a dirty grid."""
    machines = [m for m in MACHINES if "deep" not in m.name]
    bars = [(g, i) for g in (CLEAN, DIRTY) for i in ("cold", "warm")]
    for k, (grid, inlet) in enumerate(bars):
        held = [best(rows, m.name, inlet) for m in machines]
        x = [i + 0.21 * (k - 1.5) for i in range(len(machines))]
        used = [operational_kgco2e(r.electricity_kwh, GRIDS[grid]) / 1e3 for r in held]
        color, alpha = (COLD if inlet == "cold" else WARM), (0.45 if grid == CLEAN else 1.0)
        name = f"{inlet} inlet, {grid} {GRIDS[grid]:.3f} kg/kWh"
        ax.bar(x, used, 0.19, color=color, alpha=alpha, label=name)
        gone, named = [lost(r) / 1e3 for r in held], "refrigerant" if k == 3 else None
        ax.bar(x, gone, 0.19, bottom=used, color="black", label=named)
    ax.set_xticks(range(len(machines)), [m.name for m in machines], fontsize=9)
    ax.set_ylim(0.0, 39.0)
    ax.set_ylabel("t CO2e a year")
    ax.set_title(f"(b) Operation and refrigerant, {USUAL_LEAK:.0%} leak a year (warm: the better pass)")
    ax.legend(loc="upper left", ncols=2, fontsize=8.5, frameon=False)


def _level(ax: "Axes", x: float, words: str, above: bool) -> None:
    ax.plot(x, 0.0, "o", color="black", markersize=6, zorder=5)
    box = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
    where, units = (0, 9 if above else -16), "offset points"
    ax.annotate(words, (x, 0.0), where, textcoords=units, ha="center", fontsize=8.5, bbox=box, zorder=6)


def draw_leak(ax: "Axes", rows: list[Row]) -> None:
    """Total less that of R-744 over the annual leak, warm inlet."""
    reference = best(rows, REFERENCE, "warm")
    leak = np.linspace(0.0, 0.16, 50)
    for name in ("R-410A", "R-513A"):
        row = best(rows, name, "warm")
        for grid, line in ((CLEAN, "-"), (DIRTY, "--")):
            y = [(total(row, GRIDS[grid], x) - total(reference, GRIDS[grid], x)) / 1e3 for x in leak]
            name_on = f"{name} on {grid} {GRIDS[grid]:.3f} kg/kWh"
            ax.plot(100.0 * leak, y, line, color=LINES[name], label=name_on)
            turn = turning_leak(row, reference, GRIDS[grid])
            if turn <= leak[-1]:
                _level(ax, 100.0 * turn, f"{turn:.1%}", above=name == "R-410A")
    for name, x in LEAKS.items():
        ax.axvline(100.0 * x, color="gray", linewidth=0.8, linestyle=":")
        ax.text(100.0 * x + 0.1, -6.8, name, rotation=90, fontsize=8, color="gray", va="bottom")
    ax.set_xlim(0.0, 16.0)
    ax.set_ylim(-7.0, 6.8)
    ax.set_xlabel("leak a year, % of the charge (dotted: UK Defra by kind of equipment)")
    _finish(ax, "(c) Warm inlet: the order turns with the leak")


def draw_grid(ax: "Axes", rows: list[Row]) -> None:
    """Total less that of R-744 over the grid factor, warm inlet, usual leak; a band for the charge."""
    reference = best(rows, REFERENCE, "warm")
    grid = np.linspace(0.0, 0.72, 50)
    for name, color in LINES.items():
        row = best(rows, name, "warm")
        low, usual, high = (
            [(total(row, x, charge=c) - total(reference, x, charge=c)) / 1e3 for x in grid]
            for c in (0.5, 1.0, 1.5)
        )
        ax.plot(grid, usual, color=color, label=f"{name} (band: charge ± 50 %)")
        ax.fill_between(grid, low, high, color=color, alpha=0.15, linewidth=0.0)
        turn = turning_grid(row, reference)
        if turn <= grid[-1]:
            _level(ax, turn, f"{turn:.3f}", above=name != "R-513A")
    for name, x in GRIDS.items():
        ax.axvline(x, color="gray", linewidth=0.8, linestyle=":")
        ax.text(
            x + 0.004, -8.3, f"{name}, {GRID_NAMES[name]}", rotation=90, fontsize=8, color="gray", va="bottom"
        )
    ax.set_xlim(0.0, 0.72)
    ax.set_ylim(-8.5, 4.0)
    ax.set_xlabel("grid factor at the meter, kg CO2e/kWh (dotted: eGRID2023)")
    _finish(ax, f"(d) Warm inlet: the order turns with the grid, {USUAL_LEAK:.0%} leak a year")


def _finish(ax: "Axes", title: str) -> None:
    ax.axhline(0.0, color="black", linewidth=1.0)
    ax.set_ylabel("t CO2e a year, less that of R-744\n(above 0: R-744 is better)")
    ax.set_title(title)
    ax.legend(loc="upper left", fontsize=8.5, framealpha=1.0, edgecolor="none")


def picture(rows: list[Row], path: Path) -> None:
    """Write the PNG."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(2, 2, figsize=(15.0, 11.0), layout="constrained")
    for draw, ax in zip((draw_cop, draw_carbon, draw_leak, draw_grid), axes.flat, strict=True):
        draw(ax, rows)
        ax.spines[["top", "right"]].set_visible(False)
    figure.suptitle(
        "Osier Row (invented, 40 apartments): machines of one quality, 2 x 30 kW, water to 60 °C. "
        f"GWP {GWP_BASIS}, {SERVICE_YEARS:.0f} years, {END_OF_LIFE_LOSS:.0%} lost at the end",
        fontsize=12,
    )
    figure.savefig(path, dpi=150)
    plt.close(figure)


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Refrigerants with cold and warm inlet, in energy and carbon: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/refrigerant_tradeoff.py --out out/",
    )
    parser.add_argument(
        "--scenario", type=Path, default=SCENARIO, help="scenario file (default: the study's)"
    )
    parser.add_argument("--weather", type=Path, help="weather file instead of the scenario's")
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    try:
        bar = tqdm(cases(), unit="year", leave=False, disable=None)  # None: no bar in a pipe
        rows = [run(*case, scenario=arguments.scenario, weather=arguments.weather) for case in bar]
    except InputError as error:
        sys.exit(str(error))
    print(table(rows))
    print(turning_points(rows))
    arguments.out.mkdir(parents=True, exist_ok=True)
    path = arguments.out / "refrigerant-tradeoff.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(Row._fields)
        writer.writerows(rows)
    picture(rows, path.with_suffix(".png"))
    print(path, path.with_suffix(".png"), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
