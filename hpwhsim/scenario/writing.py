"""What a scenario assumes, what it should be cautioned about, and writing it back as YAML."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml
from pydantic.fields import FieldInfo

from hpwhsim.io.units import as_text
from hpwhsim.scenario.carbon import Carbon
from hpwhsim.scenario.heat_pump_first import order_cautions, worked_out
from hpwhsim.scenario.hot_water import OF_PATTERN
from hpwhsim.scenario.keys import extra_of, kind_of, show
from hpwhsim.scenario.lines import line_cautions
from hpwhsim.scenario.parts import Block, Window
from hpwhsim.scenario.plant import Plant
from hpwhsim.scenario.room import Room
from hpwhsim.scenario.schema import Scenario
from hpwhsim.tables.sources import assumption, cited


def _idle(scenario: Scenario) -> tuple[str, ...]:
    """Key paths whose defaults are not in force, because nothing in this scenario uses them."""
    idle: list[str] = ["baseline"]  # its year has its own
    if scenario.baseline is None:
        idle += ["savings", "costs.baseline"]
    if scenario.carbon is not None:
        idle += _idle_carbon(scenario.carbon, scenario.plant.heat_pump is not None)
    if scenario.hot_water.metered is not None:
        idle += [f"hot_water.{key}" for key in OF_PATTERN]
    if scenario.hot_water.tempering_valve is None:
        idle += [f"hot_water.tempering_{key}" for key in ("min_difference", "min_flow", "max_flow")]
    if scenario.hot_water.draws == "smooth":
        idle += ["hot_water.seed", "hot_water.day_spread", "sizing.day_spread"]
    if scenario.plant.heat_pump is None:
        idle += ["plant.source", "plant.controls"]
    if scenario.plant.heat_pump is not None:
        idle += _idle_heat_pump(scenario.plant)
    if scenario.plant.source.room is not None:
        idle += _idle_room(scenario.plant.source.room)
    backup = scenario.plant.backup
    if backup.kind == "none":
        idle += [f"plant.backup.{key}" for key in type(backup).model_fields if key != "kind"]
    if backup.kind in ("none", "resistance"):
        idle.append("plant.backup.efficiency")
    if backup.kind not in ("gas", "oil"):
        idle.append("plant.backup.made_on")
    if backup.mode == "series":
        idle += [f"plant.backup.{key}" for key in ("height", "dead_band", "delay", "lock_outs")]
    controls, loop = scenario.plant.controls, scenario.recirculation
    if controls.signal is None:
        idle.append("plant.controls.signal_hours")
    if not controls.demand_windows:
        idle.append("plant.controls.demand_modules")
    if loop is not None:
        if loop.loss_per_apartment is not None:
            idle += [f"recirculation.{key}" for key in ("conductivity", "bare_share", "min_flow")]
        else:
            idle += ["recirculation.loss_at", "recirculation.pump_head"]
        if loop.loss_per_apartment is not None or loop.pump_power is not None:
            idle += [f"recirculation.{key}" for key in ("fittings", "valve_drop")]
        if loop.pump_power is not None:
            idle += [f"recirculation.{key}" for key in ("pump_efficiency", "pump_head")]
        if loop.aquastat is None:
            idle.append("recirculation.aquastat_band")
        if loop.supply_drop is not None:
            idle.append("recirculation.return_temperature")
        if loop.loop_tank is not None:
            idle.append("recirculation.return_height")
    return tuple(idle)


def _idle_heat_pump(plant: Plant) -> list[str]:
    condenser = plant.heat_pump.condenser if plant.heat_pump is not None else ""
    idle = []
    if condenser == "wrap-around":
        idle += ["heat_pump.return_height", "heat_pump.intake_height"]
    else:
        idle.append("heat_pump.condenser_height")
    if condenser != "multi-pass":
        idle.append("heat_pump.rise")
    if plant.source_kind in ("ground-loop", "wastewater"):
        idle += ["heat_pump.defrost", "controls.defrosts"]
    if plant.controls.defrosts == "averaged":
        idle.append("controls.defrost_time")
    return [f"plant.{key}" for key in idle]


def _idle_room(room: Room) -> list[str]:
    idle = []
    if room.heated_by == "none":
        idle += ["heating_setpoint", "heating_efficiency"]
    if room.cooled_by == "none":
        idle += ["cooling_setpoint", "cooling_coil"]
    return [f"plant.source.room.{key}" for key in idle]


def _idle_carbon(carbon: Carbon, heat_pump: bool) -> list[str]:
    idle = ["carbon.fuel"]  # which fuel is burnt, the year's account says
    if not heat_pump:
        idle.append("carbon.refrigerant")
    if carbon.upstream_leak is None:
        idle.append("carbon.methane_share")
    if carbon.refrigerant.recovered is None:
        idle.append("carbon.refrigerant.left_at_end")
    else:
        idle.append("carbon.refrigerant.end_of_life_loss")
    if carbon.refrigerant.charge is not None:
        idle += ["carbon.refrigerant.charge_per_kw", "carbon.refrigerant.line_charge"]
    if not isinstance(carbon.grid, str) or not carbon.grid[0].isalpha():
        idle.append("carbon.grid_loss")
    return idle


def assumptions(scenario: Scenario) -> list[dict[str, str]]:
    """Every default in force.

    Returns
    -------
    list of dict
        Keys ``key`` (dotted), ``value`` (text with its unit) and ``source``, in the order of the schema.
    """
    idle = _idle(scenario)
    found = {item["key"]: item for item in worked_out(scenario)}

    def look(block: Block, prefix: str) -> Iterator[dict[str, str]]:
        for name, field in type(block).model_fields.items():
            key, value = prefix + name, getattr(block, name)
            if key in idle:
                continue
            if isinstance(value, Block):
                yield from look(value, f"{key}.")
            elif block.given(name) and isinstance(value, tuple) and value and isinstance(value[0], Block):
                for number, item in enumerate(value, start=1):
                    yield from look(item, f"{key}[{number}].")
            elif key in found:
                yield found[key]
            elif not block.given(name) and show(value, field):
                yield assumption(key, show(value, field), str(extra_of(field)["source"]))

    return list(look(scenario, ""))


def cautions(scenario: Scenario) -> list[str]:
    """What is allowed but should not pass without a word."""
    said = []
    store, series = scenario.plant.storage.setpoint, scenario.plant.backup.mode == "series"
    use, loop = scenario.hot_water.use_temperature, scenario.recirculation
    if store < use and not series:
        said.append(
            f"plant.storage.setpoint {store:.4g} degC is below hot_water.use_temperature {use:.4g} degC: "
            "taps never get water at the temperature of use"
        )
    trim = scenario.backup_setpoint
    if scenario.trims and trim < use:
        said.append(
            f"plant.backup.setpoint {trim:.4g} degC is below hot_water.use_temperature {use:.4g} degC: in "
            "series it lifts no water to the temperature of use"
        )
    valve = scenario.hot_water.tempering_valve
    if scenario.trims and valve is not None and trim < valve:
        said.append(
            f"plant.backup.setpoint {trim:.4g} degC is below hot_water.tempering_valve {valve:.4g} degC: "
            "behind a colder store the valve does not hold its setpoint"
        )
    if scenario.trims and loop is not None and loop.loop_tank is None and trim <= loop.return_temperature:
        said.append(
            f"plant.backup.setpoint {trim:.4g} degC is not above recirculation.return_temperature "
            f"{loop.return_temperature:.4g} degC: in series it cannot hold the loop"
        )
    if store < 60:
        said.append(
            f"plant.storage.setpoint {store:.4g} degC: below 60 degC (140 degF) Legionella may grow in the "
            f"store: {cited('[guideline-12-store]')}"
        )
    if loop is not None and loop.return_temperature < 51:
        said.append(
            f"recirculation.return_temperature {loop.return_temperature:.4g} degC: below 51 degC (124 degF) "
            f"Legionella may grow in the loop: {cited('[guideline-12-return]')}"
        )
    controls, dead_band = scenario.plant.controls, scenario.settings.dead_band
    if 0.0 < controls.boost < dead_band:
        said.append(
            f"plant.controls.boost {controls.boost:.4g} K is less than plant.controls.dead_band "
            f"{dead_band:.4g} K: a store that is full when a boost window begins is not charged "
            "further before hot water is drawn"
        )
    said += order_cautions(scenario)
    heat_pump = scenario.plant.heat_pump
    if heat_pump is not None:
        said += line_cautions(scenario.plant.family, heat_pump.lines or heat_pump.water_lines)
    if use > 49:
        said.append(
            f"hot_water.use_temperature {use:.4g} degC: above 49 degC (120 degF) water at the taps can scald"
        )
    return said


def dump(scenario: Scenario, folder: Path | None = None) -> dict[str, Any]:
    """What the modeler wrote, with units, ready for YAML; reading it gives an equal scenario.

    Parameters
    ----------
    scenario : Scenario
        Defaults are left out, so that they stay defaults.
    folder : Path or None
        Where relative paths should start; None writes absolute paths.

    Returns
    -------
    dict
        Text, numbers, lists and dicts only.
    """

    def plain(value: Any, field: FieldInfo) -> Any:
        kind = kind_of(field)
        if isinstance(value, Block):
            return block(value)
        if isinstance(value, Path):
            return _relative(value, folder)
        if isinstance(value, Window):  # a tuple itself
            return str(value)
        if isinstance(value, tuple):
            return [plain(item, field) for item in value]
        return as_text(value, kind) if kind is not None and value is not None else value

    def block(here: Block) -> dict[str, Any]:
        return {
            name: plain(getattr(here, name), field)
            for name, field in type(here).model_fields.items()
            if here.given(name)
        }

    return block(scenario)


def _relative(path: Path, folder: Path | None) -> str:
    if folder is not None and path.is_relative_to(folder.resolve()):
        return path.relative_to(folder.resolve()).as_posix()
    return str(path)


def dump_text(scenario: Scenario, folder: Path | None = None) -> str:
    """The YAML text of `dump`."""
    return yaml.safe_dump(dump(scenario, folder), sort_keys=False, allow_unicode=True, width=100)
