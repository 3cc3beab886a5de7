"""Checks of `demand`: the shape of the day, peaks of random draws, pipes of the loop."""

from collections.abc import Iterator

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.demand.draws import bin_events
from hpwhsim.demand.households import COMMON_SPREAD, PEOPLE_PER_APARTMENT, USE_C, building_events
from hpwhsim.demand.loop_pipes import (
    GPM,
    RHO_CP,
    conductance,
    friction_per_metre,
    probable_flow,
    tubes,
    viscosity,
)
from hpwhsim.demand.loop_sections import Section
from hpwhsim.demand.patterns import average_day_litres, named_pattern, season
from hpwhsim.demand.recirculation import BARE_SHARE, design
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.scenario.sizing import Sizing
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

SEEDS = range(200, 206)  # not those the model was tuned with
INCH, FOOT = 0.0254, 0.3048


def pattern_checks() -> Iterator[Check]:
    """Shapes of the day by hour, and litres by building size."""
    table = rows("hourly-fractions")
    for name, column in (("apartments", "ba_combined_normalised"), ("midrise", "ref_midrise_normalised")):
        shares = named_pattern(name).weekday
        points = [
            Point(f"hour {row['hour']}", float(row[column]), float(shares[int(row["hour"]) - 1]))
            for row in table
        ]
        yield worst(f"demand.pattern.{name}", points)
    for apartments in (20, 35, 150, 900):
        litres = average_day_litres(apartments)[0]
        yield held(f"demand.daily_use.{apartments}", litres / LITRES_PER_GALLON)


def _draws(apartments: int, litres: float, steps_per_hour: int, seed: int, day_spread: float) -> Array:
    """Litres in each step of a year of random draws."""
    pattern = named_pattern("apartments", season())
    people = PEOPLE_PER_APARTMENT
    events = building_events(apartments, litres, pattern, seed, people, USE_C, day_spread)
    return bin_events(events, steps_per_hour)


def peak_checks() -> Iterator[Check]:
    """Largest hour and day by building size, of draws as wide as those of `size`; short peaks."""
    handbook: dict[str, dict[str, float]] = {}
    for row in rows("apartment-demand"):
        if row["table"] == "per_apartment_by_building_size":
            handbook.setdefault(row["key"].split()[0], {})[row["quantity"]] = float(row["value_gal"])
    for name, figures in handbook.items():
        size, litres = int(name), figures["average_day"] * LITRES_PER_GALLON
        wide = [_draws(size, litres, 1, seed, Sizing().day_spread) for seed in SEEDS]
        years = [litres_of / (size * LITRES_PER_GALLON) for litres_of in wide]
        hour = float(np.mean([year.max() for year in years]))
        day = float(np.mean([year.reshape(365, 24).sum(axis=1).max() for year in years]))
        yield held(f"demand.peak_hour.{size}", hour, figures["max_hour"])
        yield held(f"demand.peak_day.{size}", day, figures["max_day"])
    found: dict[int, list[float]] = {}
    for seed in SEEDS:
        minutes = _draws(60, 148.0, 60, seed, COMMON_SPREAD)
        hour = _rolling(minutes, 60)
        for row in rows("apartment-peak-ratios"):
            found.setdefault(int(row["minutes"]), []).append(_rolling(minutes, int(row["minutes"])) / hour)
    for row in rows("apartment-peak-ratios"):
        mean = float(np.mean(found[int(row["minutes"])]))
        yield held(f"demand.peak_ratio.{row['minutes']}min", mean, float(row["ratio"]))


def _rolling(minutes: Array, window: int) -> float:
    """Largest sum of so many minutes, over the turn of the year too."""
    total = np.concatenate(([0.0], np.cumsum(np.concatenate((minutes, minutes[:window])))))
    return float((total[window:] - total[:-window]).max())


def pipe_checks() -> Iterator[Check]:
    """Losses by thickness, viscosity, Poiseuille, a loop that cools, the size of a supply pipe."""
    from scipy.integrate import solve_ivp

    per_foot, warmer = 1055.05585262 / 3600.0 / FOOT, 70.0 / 1.8  # W/m in a Btu/h ft; K
    fibre = 0.25 / 12.0 * 1.730735  # W/mK, 0.25 Btu in/h ft2 degF
    table = rows("pipe_losses")
    for name, inches in (("bare", 0.0), ("0.5", 0.5), ("1", 1.0), ("1.5", 1.5), ("2", 2.0)):
        points = []
        for row in table:
            of = float(conductance(tubes()[row["size"]].outer, inches * INCH, fibre))
            points.append(Point(row["size"], float(row[f"formula_{name}"]), of * warmer / per_foot))
        yield worst(f"demand.pipe_loss.{name}", points)
    water = [
        Point(f"{r['T_C']} °C", float(r["mu_mPa_s"]), 1e3 * viscosity(float(r["T_C"])))
        for r in rows("water-properties")
        if 10.0 <= float(r["T_C"]) <= 90.0
    ]
    yield worst("demand.pipe.viscosity", water)
    slow = float(friction_per_metre(0.01, 0.02, 50.0))
    yield held("demand.pipe.poiseuille", slow, 32.0 * viscosity(50.0) * 0.01 / 0.02**2)
    yield held("demand.pipe.probable_flow", float(probable_flow(10.0)) / GPM)
    parts = [
        Section("1 in", 40.0, INCH, 20.0, "supply", ()),
        Section("3/4 in", 130.0, 0.5 * INCH, 8.0, "return", (0,)),
    ]
    found, warm = design(parts, 58.0, 7.0), 58.0
    for part in parts:
        per_metre = float(conductance(tubes()[part.size].outer, part.insulation, bare_share=BARE_SHARE))

        def slope(_: float, t: Array, u: float = per_metre, air: float = part.ambient) -> Array:
            return np.asarray(-u * (t - air) / (RHO_CP * found.loop.flow))

        warm = float(solve_ivp(slope, (0.0, part.length), [warm], rtol=1e-10, atol=1e-10).y[0, -1])
    yield held("demand.loop.return", found.loop.back, warm)
    total = RHO_CP * found.loop.flow * 7.0
    yield held("demand.loop.loss", float(found.loss.sum()), total)
