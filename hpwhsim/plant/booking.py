"""What a while adds to its hour, and why the heat pump did not do it alone."""

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import Cause, Hourly, Plant
from hpwhsim.plant.state import Moved
from hpwhsim.storage.layers import RHO_CP

NO_HEAT_PUMP = int(Cause.NO_HEAT_PUMP)
LOCK_OUT = int(Cause.LOCK_OUT)
CAPACITY = int(Cause.CAPACITY)
STARTING = int(Cause.STARTING)
NOT_CALLED = int(Cause.NOT_CALLED)
SOURCE_SPENT = int(Cause.SOURCE_SPENT)


@kernel
def book_heat_pump(
    out: Hourly, hour: int, heat: float, drawn: float, energy: float, fan: float, pump: float, standby: float
) -> None:
    """Add heat of the machine net of what defrosts drew back, that, and its electricity. [J]"""
    out.heat_pump_heat[hour] += heat
    out.defrost_heat[hour] += drawn
    out.heat_pump_energy[hour] += energy
    out.fan_energy[hour] += fan
    out.pump_energy[hour] += pump
    out.standby_energy[hour] += standby


@kernel
def book_run(
    out: Hourly, hour: int, on: float, seconds: float, inlet: float, weight: float, inside: bool
) -> None:
    """Add `on` module-seconds in `seconds` of running with water at `inlet` °C, weighted by its volume."""
    out.module_seconds[hour] += on
    out.run_seconds[hour] += seconds
    out.water_in_sum[hour] += inlet * weight
    out.water_in_volume[hour] += weight
    if not inside:
        out.edge_seconds[hour] += seconds


@kernel
def book_water(out: Hourly, hour: int, moved: Moved) -> None:
    """Add what taps and loop took."""
    out.taps_heat[hour] += moved.taps_heat * RHO_CP
    out.loop_heat[hour] += moved.loop_heat * RHO_CP
    out.unmet[hour] += moved.missing * RHO_CP
    out.hot_volume[hour] += moved.taps
    out.short_volume[hour] += moved.short


@kernel
def book_heaters(
    out: Hourly, hour: int, backup: float, bought: float, tank_heat: float, tank_energy: float
) -> None:
    """Add heat of the backup and what it bought, and those of the heater in the loop's own tank. [J]"""
    out.backup_heat[hour] += backup
    out.backup_energy[hour] += bought
    out.loop_heater_heat[hour] += tank_heat
    out.loop_heater_energy[hour] += tank_energy


@kernel
def cause_of(
    plant: Plant,
    open_hour: bool,
    refused: int,
    share: float,
    running: int,
    most_modules: int,
    calling: bool,
) -> int:
    """Why the heat pump did not do it alone in this while.

    Parameters
    ----------
    plant : Plant
        The plant.
    open_hour : bool
        Whether the clock lets the heat pump run.
    refused : int
        Why modules that the store asks for were refused, a `Cause`; below 0 where none was.
    share : float
        Share of the time for which the source gives the heat.
    running, most_modules : int
        Modules running, and those that may run.
    calling : bool
        Whether the store calls for heat.
    """
    if plant.modules == 0:
        return NO_HEAT_PUMP
    if running == 0 and not calling:
        return NOT_CALLED
    if not open_hour or most_modules == 0:
        return LOCK_OUT
    if refused >= 0:
        return refused
    if share < 1.0:
        return SOURCE_SPENT
    if running == most_modules:
        return CAPACITY if most_modules == plant.modules else LOCK_OUT
    return STARTING if calling else NOT_CALLED
