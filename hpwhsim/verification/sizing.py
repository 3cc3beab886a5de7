"""Checks of `sizing`'s mass curve: storage against hours of running and of supply."""

from collections.abc import Iterator

import numpy as np

from hpwhsim.sizing.mass_curve import least_recovery, least_storage
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows


def mass_curve_checks() -> Iterator[Check]:
    """The stated day with and without a bar, hours of supply, and a day by hand."""
    use = np.array([float(row["use"]) for row in rows("two_peak_day")])
    day, open_hours = use / use.sum(), ~np.isin(np.arange(24), range(16, 21))
    table = rows("mass_curve_tradeoff")
    hours = np.array([float(row["run_hours"]) for row in table])
    free, barred = least_storage(day, 1.0 / hours), least_storage(day, 1.0 / hours, open_hours)
    plain, locked = [], []
    for row, storage, held_back in zip(table, free.storage, barred.storage, strict=True):
        at = f"{row['run_hours']} h a day"
        plain.append(Point(at, float(row["storage_no_lockout"]), float(storage)))
        if row["storage_lockout_16_20"]:
            locked.append(Point(at, float(row["storage_lockout_16_20"]), float(held_back)))
    yield worst("sizing.mass_curve.run_hours", plain)
    yield worst("sizing.mass_curve.lock_out", locked)
    yield held("sizing.mass_curve.barred_draw", float(least_storage(day, 1.0 / 12.0, open_hours).storage[0]))
    yield held("sizing.mass_curve.least_recovery", 1.0 / least_recovery(day, open_hours))
    draw = np.array([float(row["ba_combined_normalised"]) for row in rows("hourly-fractions")])
    points = []
    for row in rows("supply_hours"):
        first, last = int(row["first_hour"]), int(row["last_hour"])
        supplied = (np.arange(24) >= first) & (np.arange(24) < last)
        curve = least_storage(draw / draw.sum(), 1.0 / (last - first), supplied)
        points.append(Point(f"{first} to {last} h", float(row["storage"]), float(curve.storage[0])))
    yield worst("sizing.mass_curve.supply_hours", points)
    by_hand = np.array([0.0, 6.0, 0.0, 2.0])
    curve = least_storage(by_hand, [2.0, 3.0, 5.0, 6.0])
    stated = (4.0, 3.0, 1.0, 0.0)
    yield worst(
        "sizing.mass_curve.by_hand",
        [Point(f"case {k + 1}", value, float(curve.storage[k])) for k, value in enumerate(stated)],
    )
    yield held("sizing.mass_curve.over_midnight", float(least_storage(by_hand, 4.0, [0, 1, 1, 0]).storage[0]))
