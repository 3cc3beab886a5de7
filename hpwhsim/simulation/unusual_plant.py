"""How a plant and its year stand to what is usual: cautions on what lies outside of the packaged ranges."""

from collections.abc import Iterator

from hpwhsim.constants import DAYS
from hpwhsim.heatpump.measured import falling_cop
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.machine import Made
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.schema import Scenario
from hpwhsim.tables.usual_ranges import MODULE, unusual

PER_KW = 1e3  # W
LITRES = 1e3  # in a m³


def usual_cautions(scenario: Scenario, assembly: Assembly) -> list[str]:
    """Cautions on what is known without a march: draws, loop, heat pump, backup and store.

    Raises
    ------
    InputError
        If a table of the heat pump is wrong.
    """
    return [*_draws(scenario, assembly), *_heaters(scenario, assembly.made), *_store(scenario)]


def usual_year(scenario: Scenario, share: float | None, performance: object) -> list[str]:
    """Cautions on what the march gave.

    Parameters
    ----------
    scenario : Scenario
        What was simulated.
    share : float or None
        Heat of the loop over the useful heat; None: there is none.
    performance : object
        Useful heat over what was purchased, a float; anything else: nothing was purchased.
    """
    said = []
    if scenario.recirculation is not None and share is not None:
        said += unusual("loop share", share, "recirculation")
    family, backup = scenario.plant.family, scenario.plant.backup.kind
    if isinstance(performance, float):
        if scenario.plant.heat_pump is None:
            said += unusual("annual efficiency", performance, "plant", family)
        elif backup in ("none", "resistance"):  # of heat pump and fuel together nothing is usual
            said += unusual("annual COP", performance, "plant", family)
    return said


def _draws(scenario: Scenario, assembly: Assembly) -> Iterator[str]:
    """Hot water and loop by apartment and person."""
    building, hot_water, loop = scenario.building, scenario.hot_water, scenario.recirculation
    litres = LITRES * float(assembly.drive.use.sum()) / DAYS / building.apartments
    where = "hot_water.daily_use_per_apartment"
    if hot_water.metered is not None:
        where = f"hot_water.metered ({hot_water.metered.name}, column litres)"
    yield from unusual("hot water per apartment", litres, where)
    yield from unusual("hot water per person", litres / building.people_per_apartment, where)
    if loop is None:
        return
    if loop.loss_per_apartment is not None:
        watts, where = loop.loss_per_apartment, "recirculation.loss_per_apartment"
    else:
        watts, where = float(assembly.drive.loop_loss.mean()) / building.apartments, "recirculation"
    yield from unusual("loop loss per apartment", watts, where)


def _heaters(scenario: Scenario, made: Made) -> Iterator[str]:
    """Heat pump and backup by module and apartment."""
    heat_pump, loop = scenario.plant.heat_pump, scenario.recirculation
    apartments, power = scenario.building.apartments, scenario.plant.backup.power
    key = "plant.heat_pump"
    if heat_pump is not None:
        yield from _rating(heat_pump, key)
        if heat_pump.table is not None:
            yield from falling_cop(heat_pump.table, f"{key}.table")
        file = heat_pump.table or heat_pump.ratings
        where = f"{key}.capacity" if file is None else f"{key} ({file.name}, column capacity_kw)"
        yield from unusual(MODULE, made.capacity / PER_KW, where)
        whole = made.capacity * made.modules / PER_KW
        yield from unusual("capacity per apartment", whole / apartments, where)
    tank = loop.loop_tank if loop is not None else None
    if tank is not None and tank.heat_pump is not None:
        yield from _rating(tank.heat_pump, "recirculation.loop_tank.heat_pump")
    if power is not None:
        yield from unusual("backup power per apartment", power / PER_KW / apartments, "plant.backup.power")


def _rating(heat_pump: HeatPump, key: str) -> list[str]:
    return [] if heat_pump.cop is None else unusual("rated COP", heat_pump.cop, f"{key}.cop")


def _store(scenario: Scenario) -> Iterator[str]:
    """Volume of the store by apartment, and its standby loss by volume."""
    storage, apartments = scenario.plant.storage, scenario.building.apartments
    kind = "home" if apartments == 1 else "building"
    litres = LITRES * storage.volume / apartments
    yield from unusual("store per apartment", litres, "plant.storage.volume", kind)
    if storage.heat_loss is not None and scenario.plant.family != "gas-tank":  # whose flue loses more
        loss = storage.heat_loss / storage.volume
        yield from unusual("storage loss per volume", loss, "plant.storage.heat_loss")
