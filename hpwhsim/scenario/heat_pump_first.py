"""Settings that nobody wrote, worked out so that the heat pump is called before the backup starts.

A settled store is nowhere colder above than below. So where the start sensor lies no higher than the backup's
and calls at a warmer temperature than that at which the backup starts, the store calls for the heat pump
first, however it cools. A call ends with all above the stop sensor at least as warm as the backup heats to.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from hpwhsim.io.units import DIFFERENCE, as_text
from hpwhsim.scenario import families
from hpwhsim.scenario.machine import DRY_COIL
from hpwhsim.scenario.parts import PRACTICE, degrees

if TYPE_CHECKING:
    from hpwhsim.scenario.schema import Scenario

USUAL_BAND = 10.0  # K, of the charge; common practice, no source
LEAST_BAND = 2.0  # K, that of thermostats; common practice, no source
AHEAD = 1.0  # K by which the heat pump is called before the backup, and that before hot water runs short
OVER_USE = 3.0  # K of the backup's setpoint above use temperature; common practice, no source
START_HEIGHT, STOP_HEIGHT, BACKUP_HEIGHT = 0.35, 0.15, 0.6  # common practice, no source
HIGHEST_BACKUP = 0.95  # it heats at least so much of the store
ONLY_HEATER_HEIGHT = 0.05  # of a plant without heat pump: the whole store but its foot
LOOP_FALL = 5.0  # K from supply to return of a loop; common practice, no source


class Settings(NamedTuple):
    """What the controls are set to, as written or worked out."""

    dead_band: float  # K
    sensor_height: float  # shares of the store's height
    stop_height: float
    outlet_temperature: float  # °C
    backup_setpoint: float  # °C
    backup_height: float
    start_at: float  # the heat pump is called below it, °C
    stop_at: float  # its call ends there, °C
    backup_start: float  # the backup starts below it, °C


def settings_of(scenario: "Scenario") -> Settings:
    """The settings of a scenario: what was written, and what follows from it."""
    plant, hot_water = scenario.plant, scenario.hot_water
    controls, backup, heat_pump = plant.controls, plant.backup, plant.heat_pump
    setpoint, least = plant.storage.setpoint, hot_water.min_temperature
    beside = heat_pump is not None and backup.kind != "none" and backup.mode == "parallel"

    band = controls.dead_band
    if band is None:
        band = USUAL_BAND
        if not scenario.trims:  # a heater behind the store keeps the taps warm
            band = min(band, setpoint - least - 2.0 * AHEAD)
        if beside and backup.setpoint is not None:
            gap = setpoint - backup.setpoint
            band = min(band, gap + backup.dead_band - AHEAD, 2.0 * gap)
        band = max(band, LEAST_BAND)
        if heat_pump is not None and heat_pump.outlet_temperature is not None:
            rise = heat_pump.rise if heat_pump.condenser == "multi-pass" else 0.0
            least_band = 2.0 * (setpoint + rise - heat_pump.outlet_temperature)  # or no charge ends
            band = max(band, min(least_band, USUAL_BAND))
    start_at, stop_at = setpoint - band, setpoint - 0.5 * band

    outlet = setpoint
    if heat_pump is not None and heat_pump.outlet_temperature is not None:
        outlet = heat_pump.outlet_temperature
    elif heat_pump is not None and heat_pump.condenser == "multi-pass":
        outlet = max(setpoint, stop_at + heat_pump.rise)

    target = backup.setpoint
    if target is None:
        usual = hot_water.use_temperature + OVER_USE
        target = usual
        if plant.family in families.HEATERS:
            target = setpoint
        elif scenario.trims:
            target = scenario.trim_setpoint
        elif beside:
            target = min(usual, start_at - AHEAD + backup.dead_band, stop_at)
            # but it starts before hot water runs short: by as much, or with no room for that just so
            never_short = min(least + AHEAD + backup.dead_band, max(stop_at, least + backup.dead_band))
            # a wide dead band of its own takes it above what is usual
            target = max(target, min(max(usual, least + backup.dead_band), never_short))

    stop, start, height = controls.stop_height, controls.sensor_height, backup.height
    if stop is None:
        stop = max(STOP_HEIGHT, heat_pump.intake_height if heat_pump is not None else 0.0)
        if start is not None:
            stop = min(stop, start)
    if start is None:
        start = START_HEIGHT
        if height is not None and beside:
            start = min(start, height)
        start = max(start, stop)
    if height is None:
        height = ONLY_HEATER_HEIGHT
        if plant.family not in families.HEATERS:
            height = min(max(BACKUP_HEIGHT, start), HIGHEST_BACKUP)
    return Settings(
        dead_band=band,
        sensor_height=start,
        stop_height=stop,
        outlet_temperature=outlet,
        backup_setpoint=target,
        backup_height=height,
        start_at=start_at,
        stop_at=stop_at,
        backup_start=target - backup.dead_band,
    )


def worked_out(scenario: "Scenario") -> list[dict[str, str]]:
    """What was worked out, as assumptions with value and reason."""
    plant, found = scenario.plant, settings_of(scenario)
    heat_pump, backup = plant.heat_pump, plant.backup
    items = []
    if not plant.source.given("kind") and heat_pump is not None:
        items.append(("plant.source.kind", plant.source_kind, f"what plant.family {plant.family} draws on"))
    if heat_pump is None:
        if backup.setpoint is None:
            why = "plant.storage.setpoint: the backup is the only heater"
            items.append(("plant.backup.setpoint", degrees(found.backup_setpoint), why))
        if backup.height is None:
            why = f"the whole store but its foot; {PRACTICE}"
            items.append(("plant.backup.height", f"{found.backup_height:g}", why))
        return _assumed(items)
    beside = backup.kind != "none" and backup.mode == "parallel"
    first = f"so that the heat pump starts {AHEAD:g} K before the backup"
    if plant.controls.dead_band is None:
        why = f"{USUAL_BAND:g} K, {PRACTICE}"
        if found.dead_band != USUAL_BAND:
            why += (
                f"; here {first} and that {AHEAD:g} K before hot water is unmet, or as the outlet needs; "
                f"at least {LEAST_BAND:g} K"
            )
        items.append(("plant.controls.dead_band", as_text(round(found.dead_band, 2), DIFFERENCE), why))
    for key, given, value, usual, other in (
        ("sensor_height", plant.controls.sensor_height, found.sensor_height, START_HEIGHT, "the backup"),
        ("stop_height", plant.controls.stop_height, found.stop_height, STOP_HEIGHT, "sensor and intake"),
    ):
        if given is None:
            why = PRACTICE if value == usual else f"{usual:g} is {PRACTICE}; here moved to go with {other}"
            items.append((f"plant.controls.{key}", f"{value:g}", why))
    if heat_pump.outlet_temperature is None:
        why = f"equal to plant.storage.setpoint; {PRACTICE}"
        if found.outlet_temperature != plant.storage.setpoint:
            why = "plant.storage.setpoint less half the dead band, plus the rise: or the charge never ends"
        items.append(("plant.heat_pump.outlet_temperature", degrees(found.outlet_temperature), why))
    if beside and backup.setpoint is None:
        usual_setpoint = scenario.hot_water.use_temperature + OVER_USE
        why = f"hot_water.use_temperature + {OVER_USE:g} K, {PRACTICE}"
        if found.backup_setpoint < usual_setpoint:
            why += f"; lower here {first} and goes on after it"
        elif found.backup_setpoint > usual_setpoint:
            why += "; higher here so that it starts, its dead band below, before hot water is unmet"
        items.append(("plant.backup.setpoint", degrees(found.backup_setpoint), why))
    if beside and backup.height is None:
        why = PRACTICE if found.backup_height == BACKUP_HEIGHT else "not below plant.controls.sensor_height"
        items.append(("plant.backup.height", f"{found.backup_height:g}", why))
    if heat_pump.defrost is None:
        items.append(("plant.heat_pump.defrost", heat_pump.defrosts_by, DRY_COIL))
    if heat_pump.return_height is None and heat_pump.condenser != "wrap-around":
        why = f"{heat_pump.condenser}; {PRACTICE}"
        items.append(("plant.heat_pump.return_height", f"{heat_pump.comes_back_at:g}", why))
    return _assumed(items)


def _assumed(items: Sequence[tuple[str, str, str]]) -> list[dict[str, str]]:
    return [{"key": key, "value": value, "source": source} for key, value, source in items]


def order_cautions(scenario: "Scenario") -> list[str]:
    """Where the backup may run before the heat pump is called, or after its call has ended."""
    plant, found = scenario.plant, settings_of(scenario)
    backup = plant.backup
    if plant.heat_pump is None or backup.kind == "none" or backup.mode != "parallel":
        return []
    said = []
    if found.sensor_height > found.backup_height:
        said.append(
            f"plant.controls.sensor_height {found.sensor_height:g} lies above plant.backup.height "
            f"{found.backup_height:g}: the backup may start before the heat pump is called; put the sensor "
            "no higher"
        )
    if found.backup_start >= found.start_at:
        most = found.start_at + backup.dead_band - AHEAD
        said.append(
            f"the backup starts at {found.backup_start:.1f} degC, the heat pump is called at "
            f"{found.start_at:.1f} degC: in a store that cools evenly the backup runs first; set "
            f"plant.backup.setpoint to {most:.1f} degC at most, or raise plant.storage.setpoint, or take a "
            "smaller plant.controls.dead_band"
        )
    if found.backup_setpoint > found.stop_at + 1e-9:
        said.append(
            f"the backup heats to {found.backup_setpoint:.1f} degC, the heat pump's call ends at "
            f"{found.stop_at:.1f} degC (plant.storage.setpoint less half of plant.controls.dead_band): the "
            "backup goes on alone"
        )
    return said
