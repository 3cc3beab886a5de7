"""Whether there was enough hot water, and what kept the heat pump from making it."""

from collections.abc import Sequence

import numpy as np

from hpwhsim.arrays import Array

MOST_NOT_CALLED = 10.0  # h of backup in a year; tankyear default
MOST_STARTS = 6.0  # of a module in an hour of running; common practice, no source
SELDOM = 365.0  # starts in a year that wear nothing, however short the runs; tankyear default


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


def time_text(hours: float) -> str:
    """A time in hours, or in minutes below one: taps run short for minutes, and 0.0 h would say never."""
    return f"{60.0 * hours:.1f} min" if 0.0 < hours < 1.0 else f"{hours:,.1f} h"


def cautions(
    *,
    short_hours: float,
    short_litres: float,
    minimum_c: float,
    edge_hours: float,
    supply_min_c: float,
    run_hours: float | None,
    not_called_hours: float = 0.0,
    starts: Array | None = None,
    module_hours: Array | None = None,
) -> list[str]:
    """What the year's own numbers must not be read without.

    Parameters
    ----------
    short_hours, short_litres, minimum_c, edge_hours, run_hours
        As in the annual record; `run_hours` is None without a heat pump.
    supply_min_c : float
        Coldest water of an hour that left the plant, after a heater in series. [°C]
    not_called_hours : float
        Hours of backup in which the store did not call for the heat pump.
    starts, module_hours : ndarray, shape (module,), or None
        Starts of each module in the year, and hours that it ran.
    """
    said = []
    if not_called_hours > MOST_NOT_CALLED:
        said.append(
            f"the backup runs {not_called_hours:.1f} h in which the heat pump is not called: its sensors are "
            "satisfied while the backup's is cold, or the backup heats further than the heat pump's call; "
            "see plant.backup.setpoint and height, plant.controls.sensor_height and dead_band"
        )
    if starts is not None and module_hours is not None:
        per_hour = starts / np.maximum(module_hours, 1e-9)
        often = (per_hour > MOST_STARTS) & (starts > SELDOM)
        if often.any():
            worst = int(np.argmax(np.where(often, starts, 0.0)))
            said.append(
                f"module {worst + 1} starts {starts[worst]:.0f} times and runs {module_hours[worst]:.0f} h "
                f"in the year: a run lasts {60.0 / per_hour[worst]:.1f} min on average, and more than "
                f"{MOST_STARTS:g} starts an hour of running wear a compressor (common practice, no source); "
                "see plant.controls.min_run, min_off and stage_delay"
            )
    if short_hours > 0.0:
        said.append(
            f"hot water runs short: {short_litres:.0f} L in {time_text(short_hours)} are delivered below "
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
    if supply_min_c < 20.0:
        said.append(
            f"what leaves the plant falls to {supply_min_c:.1f} degC: the plant does not carry this load"
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
