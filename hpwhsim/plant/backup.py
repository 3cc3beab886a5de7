"""A heater in the upper store: its thermostat, its delay, its heat."""

from hpwhsim.kernel import kernel
from hpwhsim.plant.state import Backup, Hour, Scene
from hpwhsim.storage.heating import coldest_foot, heat_upper
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.storage.order import settle


@kernel
def back_up(scene: Scene, hour: Hour, backup: Backup, allowed: bool, seconds: float) -> Backup:
    """Heat the upper store for a window where it is cold; `allowed` by the clock."""
    plant, layers = scene.plant, scene.layers
    on, waited, column = backup.on, backup.waited, plant.column
    cold_at = coldest_foot(layers, column, hour.backup_level)
    if not allowed or cold_at >= hour.backup_at:
        on, waited = False, 0.0
    elif cold_at < hour.backup_at - plant.backup_dead_band:
        on = waited >= plant.backup_delay
        waited += seconds
    if not on:
        return Backup(False, waited, 0.0)
    asked = plant.backup_power * seconds / RHO_CP
    heat = heat_upper(layers, column, hour.backup_level, asked, hour.backup_at)
    settle(layers, column)
    return Backup(heat >= asked, waited, heat)  # less: it reached its setpoint
