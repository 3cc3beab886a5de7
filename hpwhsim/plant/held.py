"""What the march carries from one window to the next: how it begins, and what a look or an hour changes."""

import numpy as np

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Drive, Plant
from hpwhsim.plant.running import WORKS
from hpwhsim.plant.state import Backup, Charge, Held, LineState, Look, LoopState, Sums, Tap
from hpwhsim.source.offer import Offer

NO_SUMS = Sums(0.0, 0.0, 0.0, 0.0)
NO_OFFER = Offer(0.0, 0.0, -np.inf, np.inf, np.inf)


@kernel
def first_held(plant: Plant, drive: Drive) -> Held:
    """The plant as the year begins: nothing runs."""
    none = plant.modules < 0  # never; the compiler takes it for a value of the march and not for a constant
    return Held(
        Charge(none, min(plant.modules, 0), WORKS, 1e9, 1e9, 1e9, 0.0),
        Tap(min(plant.modules, 0), 0.0, none, 0.0, 0.0),
        LoopState(plant.loop_tank.setpoint, none, 0.0, 0.0, 0.0),
        LineState(0.0, drive.mains[0] + plant.lines.cold_k, drive.outlet[0] + plant.lines.hot_k),
        Backup(none, 0.0, 0.0),
        Look(
            0.0,
            0.0,
            1.0,
            min(plant.modules, 1),
            0.0,
            min(plant.modules, 0),
            none,
            min(plant.modules, 0),
            none,
        ),
        NO_OFFER,
        NO_SUMS,
        0.0,
    )


@kernel
def with_charge(held: Held, charging: Charge, tap: Tap) -> Held:
    """The same with the modules and the draws of a window that begins."""
    return Held(
        charging,
        tap,
        held.loop,
        held.lines,
        held.backup,
        held.seen,
        held.offer,
        held.sums,
        held.overdrawn,
    )


@kernel
def begin_part(held: Held) -> Held:
    """The same as an hour begins: the draws are looked up anew."""
    return with_charge(held, held.charging, Tap(held.tap.at, 0.0, held.tap.by_second, 0.0, 0.0))


@kernel
def with_look(held: Held, seen: Look, offer: Offer) -> Held:
    """The same with what was seen as a step begins."""
    return Held(
        held.charging, held.tap, held.loop, held.lines, held.backup, seen, offer, NO_SUMS, held.overdrawn
    )


@kernel
def with_seen(held: Held, seen: Look, offer: Offer) -> Held:
    """The same with what was seen within a step."""
    return Held(
        held.charging, held.tap, held.loop, held.lines, held.backup, seen, offer, held.sums, held.overdrawn
    )


@kernel
def with_overdraft(held: Held, seconds: float) -> Held:
    """The same with what a step took beyond what its sewage had, or less of what earlier ones did."""
    overdrawn = max(held.overdrawn + held.sums.taken - held.offer.most * seconds, 0.0)
    return Held(
        held.charging,
        held.tap,
        held.loop,
        held.lines,
        held.backup,
        held.seen,
        held.offer,
        held.sums,
        overdrawn,
    )
