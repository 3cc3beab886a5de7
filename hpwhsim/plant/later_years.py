"""Years of a ground loop between two that are marched: the first year's hours, the loop as it is later.

The same weather and the same draws ask for the same heat in every hour. What changes is the bore wall, and
with it the COP: an hour of a later year takes the first year's heat to the water times ``1 - 1 / COP`` at its
own loop temperature. Run time and backup are those of the first year; the last year is marched in full, and
says how much they moved.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.heatpump.maps import look_up
from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Array, Drive, Hourly, Plant, SourceRow, SourceState
from hpwhsim.source.ground_loop import book_hour, wall_drop


class FirstYear(NamedTuple):
    """The marched year, each (hour,)."""

    drop: Array  # of the bore wall at the end of the hour by past hours, K
    met: Array  # temperature that the machine met, °C
    inlet: Array  # water at the machine, NaN where it stood, °C
    taken: Array  # heat from the ground, W
    pump: Array  # of the loop, W
    energy: Array  # of the machine, J


def first_year(plant: Plant, drive: Drive, out: Hourly) -> FirstYear:
    """What later years need of the first."""
    rows, field = out.source, plant.sources.field
    inlet = np.full(rows.shape[1], np.nan)
    np.divide(out.water_in_sum, out.water_in_volume, out=inlet, where=out.water_in_volume > 0.0)
    taken, pump = rows[SourceRow.TAKEN] / 3600.0, rows[SourceRow.PUMP] / 3600.0
    mean = taken - pump - drive.rejected
    drop = plant.sources.loop.undisturbed - rows[SourceRow.WALL] - field.hour_response * mean
    met = rows[SourceRow.MET] / 3600.0
    return FirstYear(drop, met, inlet, taken, pump, out.heat_pump_energy.copy())


@kernel
def cop_at(plant: Plant, source: float, inlet: float) -> float:
    """COP of the map; NaN where the machine cannot work."""
    outlet = plant.outlet[0] if plant.water_side == 0 else inlet + plant.rise
    capacity, power, _ = look_up(plant.machine, source, inlet, outlet)
    return capacity / power


@kernel
def later_year(
    plant: Plant, drive: Drive, state: SourceState, first: FirstYear, met: Array, energy: Array
) -> None:
    """Take the history of the ground through one more year.

    Parameters
    ----------
    plant, drive
        As in the march.
    state : SourceState
        Its history is booked here.
    first : FirstYear
        From `first_year`.
    met, energy : ndarray, shape (hour,)
        Filled: temperature met [°C] and electricity of the machine [J].
    """
    field = plant.sources.field
    for hour in range(met.size):
        met[hour] = first.met[hour] + first.drop[hour] - wall_drop(field, state.history)
        taken = first.taken[hour]
        energy[hour] = first.energy[hour]
        if taken > 0.0:
            before = cop_at(plant, first.met[hour], first.inlet[hour])
            now = cop_at(plant, met[hour], first.inlet[hour])
            if before > 1.0 and now > 1.0:  # NaN is neither
                taken *= (1.0 - 1.0 / now) / (1.0 - 1.0 / before)
                energy[hour] *= before / now
        book_hour(state.history, taken - first.pump[hour] - drive.rejected[hour])
