"""Whether there was enough hot water, and what kept the heat pump from making it."""

from collections.abc import Sequence

import numpy as np

from hpwhsim.arrays import Array

MOST_NOT_CALLED = 10.0  # h of backup in a year; tankyear default
MOST_STARTS = 6.0  # of a module in an hour of running; common practice, no source
SELDOM = 365.0  # starts in a year that wear nothing, however short the runs; tankyear default

UNMET = "unmet hot water"
OUTSIDE_MAP = "hours outside the performance map"
NOT_CALLED = "backup without a call for the heat pump"
NEVER_RUNS = "the heat pump never runs"
OVERLOADED = "the plant does not carry this load"
SHORT_RUNS = "short runs"
LIMITS_THE_YEAR = (UNMET, OVERLOADED, NEVER_RUNS, OUTSIDE_MAP, NOT_CALLED, SHORT_RUNS)
"""How cautions open that limit what the figures of the year are worth."""

SCALD = "scald: the store holds water at"
LEGIONELLA = "Legionella: storage and loop temperatures"
WEIGHT = "water and equipment are heavy and service voltage kills"
PRESSURE = "refrigerant under pressure"
USUAL = (SCALD, LEGIONELLA, WEIGHT, PRESSURE)
"""How the trade's usual safety cautions open; they hold for every plant."""


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
    """A time in hours, or in minutes below one: an event lasts minutes, and 0.0 h would read as never."""
    return f"{60.0 * hours:.1f} min" if 0.0 < hours < 1.0 else f"{hours:,.1f} h"


def cause_name(cause: str) -> str:
    """A cause of backup or unmet hot water as readers see it: "source-too-cold" is "source too cold"."""
    return {"lock-out": "lockout", "source-spent": "source exhausted"}.get(cause, cause.replace("-", " "))


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
    """Cautions on the figures of the year.

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
            f"{NOT_CALLED}: {not_called_hours:.1f} h in which the heat pump's sensors are satisfied while "
            "the backup's is cold, or in which the backup heats further than the heat pump's call; see "
            "plant.backup.setpoint and height, plant.controls.sensor_height and dead_band"
        )
    if starts is not None and module_hours is not None:
        per_hour = starts / np.maximum(module_hours, 1e-9)
        often = (per_hour > MOST_STARTS) & (starts > SELDOM)
        if often.any():
            worst = int(np.argmax(np.where(often, starts, 0.0)))
            said.append(
                f"{SHORT_RUNS}: module {worst + 1} starts {starts[worst]:,.0f} times and runs "
                f"{module_hours[worst]:,.0f} h in the year: a run lasts {60.0 / per_hour[worst]:.1f} min on "
                f"average, and more than {MOST_STARTS:g} starts an hour of running wear a compressor (common "
                "practice, no source); see plant.controls.min_run, min_off and stage_delay"
            )
    if short_hours > 0.0:
        said.append(
            f"{UNMET}: {short_litres:,.0f} L in {time_text(short_hours)} are delivered below "
            f"{minimum_c:.1f} degC"
        )
    if edge_hours > 0.0:
        said.append(
            f"{OUTSIDE_MAP}: {edge_hours:,.1f} h; there the values at the edge of the map are used, not "
            "extrapolated"
        )
    if run_hours == 0.0:
        said.append(
            f"{NEVER_RUNS}: its start sensor is never colder than the setpoint less the dead band "
            "(does the backup keep it warm?), or it is locked out all year"
        )
    if supply_min_c < 20.0:
        said.append(f"{OVERLOADED}: its supply falls to {supply_min_c:.1f} degC")
    return said


def safety(*, refrigerant: str | None, setpoint_c: float) -> list[str]:
    """The usual cautions of the trade; local codes and licensed practice decide.

    Thresholds: ASHRAE Guideline 12 (store above 60 °C), 49 °C at bathing outlets; see the sources listed
    with the scenario's defaults.
    """
    said = [
        f"{SCALD} {setpoint_c:.0f} degC; outlets need tempering valves as the local plumbing code requires",
        f"{LEGIONELLA} and a water management programme follow local codes and the responsible professional; "
        "this program only calculates heat",
        f"{WEIGHT}: floor load and electrical work need licensed practice",
    ]
    if refrigerant == "R-744":
        said.append(
            f"{PRESSURE}: R-744 works at up to 140 bar and can asphyxiate in small rooms; pressure equipment "
            "and ventilation follow local codes"
        )
    elif refrigerant is not None:
        said.append(
            f"{PRESSURE}: {refrigerant} may be flammable, toxic or asphyxiating; its safety class and charge "
            "limit follow local codes"
        )
    return said
