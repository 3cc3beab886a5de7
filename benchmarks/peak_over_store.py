"""What charging overnight, or a bar in the afternoon, leaves of the afternoon's peak, over store sizes.

    python benchmarks/peak_over_store.py --out out/

runs the shipped air-source plant (invented: 32 apartments) in Chicago, with a start sensor low in the store,
so that a charge begins as soon as it may. Only the store and the hours of charging change. Without its backup
a store that is too small shows as water delivered short; with it, as resistance in the afternoon. Standby of
the modules and the loop's pump (invented) never rest: they are what is left of the peak.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from side_by_side import put_out

from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_years, year_of

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "scenarios" / "central-air.yaml"
AFTERNOON = slice(16, 21)  # hours of the day
STANDBY_W, PUMP_W = 40.0, 180.0  # of a module, and of the loop's pump; common practice, no source
COMMON = (
    "plant.heat_pump.min_source=-25 degC",
    f"plant.heat_pump.standby_power={STANDBY_W} W",
    f"recirculation.pump_power={PUMP_W} W",
    "plant.controls.sensor_height=0.25",
)
HOURS = {
    "at any hour": ("plant.controls.lock_outs=[]",),
    "barred 16:00-21:00": ("plant.controls.lock_outs=['16:00-21:00']",),
    "only 21:00-07:00": ("plant.controls.lock_outs=[]", "plant.controls.charge_windows=['21:00-07:00']"),
}
STORES = (500, 1000, 2000, 3000, 4000, 6000, 8000, 12000)  # L


class Row(NamedTuple):
    """A row of the table; the field names are the columns of the CSV. Peaks are means of 15 minutes."""

    charging: str
    store_litres: int
    afternoon_kw: float  # without backup
    short_litres: float  # the same
    short_hours: float  # the same
    backed_afternoon_kw: float  # with the backup
    backed_afternoon_kwh: float
    backed_peak_kw: float
    backed_kwh: float


HEADS = (
    "charging",
    "store L",
    "16-21 h kW",
    "short L",
    "short h",
    "backup: 16-21 h kW",
    "16-21 h kWh",
    "peak kW",
    "kWh",
)
FORMATS = ("", ",d", ".2f", ",.0f", ",.1f", ".2f", ",.0f", ".1f", ",.0f")


def row(charging: str, litres: int, alone: Year, backed: Year) -> Row:
    """What the years without and with backup say."""
    kw, kw_backed = (year.quarter_kw.reshape(365, 24, 4) for year in (alone, backed))
    return Row(
        charging,
        litres,
        float(kw[:, AFTERNOON].max()),
        float(alone.hourly["short_litres"].sum()),
        float(alone.hourly["short_hours"].sum()),
        float(kw_backed[:, AFTERNOON].max()),
        float(kw_backed[:, AFTERNOON].sum()) / 4.0,
        float(kw_backed.max()),
        float(backed.hourly["electricity_kwh"].sum()),
    )


def study(stores: Sequence[int] = STORES, weather: Path | None = None) -> list[Row]:
    """Two years of each store by each way of charging, without the backup and with it."""
    cases = [(name, litres) for name in HOURS for litres in stores]
    years = run_years(
        read_scenario(
            DEMO, [*COMMON, *HOURS[name], *more, f"plant.storage.volume={litres} L"], weather=weather
        )
        for name, litres in cases
        for more in (("plant.backup=null",), ())
    )
    pairs = zip(cases, years[::2], years[1::2], strict=True)
    return [row(*case, year_of(alone), year_of(backed)) for case, alone, backed in pairs]


def picture(rows: Sequence[Row], path: Path) -> None:
    """Write the PNG: the afternoon's peak with backup, and the water short without, over the store."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(13.0, 5.0), layout="constrained")
    for name, color in zip(HOURS, ("tab:gray", "tab:orange", "tab:blue"), strict=True):
        mine = [r for r in rows if r.charging == name]
        stores = np.array([r.store_litres for r in mine])
        axes[0].plot(stores, [r.backed_afternoon_kw for r in mine], "o-", color=color, label=name)
        axes[1].plot(stores, [r.short_litres for r in mine], "o-", color=color, label=name)
    axes[0].set_ylabel("largest 15-minute mean, 16 to 21 h [kW]")
    axes[0].set_title("(a) The year's largest peak of the afternoon, with 30 kW of resistance as backup")
    axes[1].set_ylabel("delivered below 110 °F in the year [L]")
    axes[1].set_yscale("symlog", linthresh=10.0)
    axes[1].set_title("(b) Hot water that ran short, without backup")
    for ax in axes:
        ax.set_xlabel("store [L]")
        ax.set_ylim(bottom=-0.5)
        ax.spines[["top", "right"]].set_visible(False)
        ax.legend(title="charging", fontsize=9)
    figure.suptitle("Juniper Court (invented, 32 apartments, two 24 kW modules), Chicago")
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Peak of the afternoon and short water over store sizes: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/peak_over_store.py --out out/",
    )
    parser.add_argument("--weather", type=Path, help="weather file instead of the scenario's")
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    try:
        rows = study(weather=arguments.weather)
    except InputError as error:
        sys.exit(str(error))
    path = arguments.out / "peak_over_store.csv"
    put_out(path, HEADS, FORMATS, Row._fields, rows, lambda png: picture(rows, png))
    return 0


if __name__ == "__main__":
    sys.exit(main())
