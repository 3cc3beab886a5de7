"""A march whose heat is all accounted for, or none: no year that does not balance leaves the program."""

import numpy as np

from hpwhsim.account.energy import balance_error
from hpwhsim.arrays import Array
from hpwhsim.constants import JOULE_PER_KWH
from hpwhsim.errors import UnbalancedError
from hpwhsim.plant.arrays import Drive, Hourly, Plant, SourceState
from hpwhsim.plant.march import march
from hpwhsim.storage.layers import RHO_CP

MOST = 1e-6  # of the heat put in


def march_balanced(plant: Plant, drive: Drive, state: SourceState, store: Array) -> Hourly:
    """`plant.march.march`, with its heat added up.

    Raises
    ------
    UnbalancedError
        If more than `MOST` of the heat put in is lost or made on the way.
    """
    start = store.copy()
    out = march(plant, drive, state, store)
    sums = {
        "heat_pump_heat_kwh": out.heat_pump_heat,
        "backup_heat_kwh": out.backup_heat,
        "loop_heater_heat_kwh": out.loop_heater_heat,
        "heat_to_taps_kwh": out.taps_heat,
        "recirculation_loss_kwh": out.loop_heat,
        "storage_loss_kwh": out.storage_loss,
    }
    kwh = {name: float(np.sum(joules)) / JOULE_PER_KWH for name, joules in sums.items()}
    refuse_unbalanced(balance_error(kwh, store_change(plant, out, start)), f"{drive.source.size} hours")
    return out


def refuse_unbalanced(error: float, what: str) -> None:
    """Refuse a march whose share `error` of the heat put in is not accounted for.

    Raises
    ------
    UnbalancedError
        If it is more than `MOST`, or not a number.
    """
    if not abs(error) <= MOST:
        raise UnbalancedError(
            f"{what} do not balance: {error:.1e} of the heat put in is not accounted for; allowed {MOST:g}"
        )


def store_change(plant: Plant, out: Hourly, start: Array) -> float:
    """Heat that store and loop tank hold more at the end of a march than at its start. [kWh]

    Parameters
    ----------
    plant, out : Plant, Hourly
        What was marched, and what that brought.
    start : ndarray, shape (slice,)
        Slices of equal volume of the store at the start. [°C]
    """
    tank = plant.loop_tank  # every march begins with it at its setpoint
    slice_kwh = RHO_CP * plant.column.volume / out.profile.size / JOULE_PER_KWH  # per kelvin
    change = float((out.profile - start).sum()) * slice_kwh
    return change + RHO_CP * tank.volume * float(out.loop_tank_end[-1] - tank.setpoint) / JOULE_PER_KWH
