"""Whether there was enough hot water, and what kept the heat pump from making it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def hours_by_cause(seconds: Array, names: Sequence[str]) -> dict[str, float]:
    """Hours of the year by cause, largest first; causes that never held are left out.

    Parameters
    ----------
    seconds : ndarray, shape (cause, hour)
        Time booked to each cause in each hour. [s]
    names : sequence of str, length cause
        What the causes are called.
    """
    hours = seconds.sum(axis=1) / 3600.0
    return {names[i]: float(hours[i]) for i in np.argsort(-hours) if hours[i] > 0.0}


def cautions(
    *,
    short_hours: float,
    short_litres: float,
    minimum_c: float,
    edge_hours: float,
    store_min_top_c: float,
    run_hours: float | None,
) -> list[str]:
    """What the year's own numbers must not be read without."""
    said = []
    if short_hours > 0.0:
        said.append(
            f"hot water runs short: {short_litres:.0f} L in {short_hours:.1f} h are delivered below "
            f"{minimum_c:.1f} degC"
        )
    if edge_hours > 0.0:
        said.append(
            f"the heat pump runs {edge_hours:.1f} h outside its performance data; values at the edge of the "
            "data are used there, not extrapolated"
        )
    if run_hours == 0.0:
        said.append(
            "the heat pump never runs: its start sensor is never colder than the setpoint less the dead band "
            "(does the backup keep it warm?), or it is barred all year"
        )
    if store_min_top_c < 20.0:
        said.append(
            f"the top of the store falls to {store_min_top_c:.1f} degC: the plant does not carry this load"
        )
    return said


def safety(*, refrigerant: str | None, setpoint_c: float) -> list[str]:
    """The usual cautions of the trade; local codes and licensed practice decide.

    Thresholds: ASHRAE Guideline 12 (store above 60 °C), 49 °C at bathing outlets; see the sources listed
    with the scenario's defaults.
    """
    said = [
        f"scald: the store holds water at {setpoint_c:.0f} degC; outlets need tempering valves as the local "
        "plumbing code requires",
        "Legionella: storage and loop temperatures and a water management programme follow local codes and "
        "the responsible professional; this program only counts heat",
        "water and machines are heavy and service voltage kills: floor load and electrical work need "
        "licensed practice",
    ]
    if refrigerant == "R-744":
        said.append(
            "R-744 works at up to 140 bar and can asphyxiate in small rooms: pressure equipment and "
            "ventilation follow local codes"
        )
    elif refrigerant is not None:
        said.append(
            f"{refrigerant} is under pressure and may be flammable, toxic or asphyxiating: its safety class "
            "and charge limit follow local codes"
        )
    return said
