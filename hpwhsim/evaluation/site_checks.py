"""The list of site checks of a plant: service, structure, drains and air, lines, refrigerant."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from hpwhsim.account.checks import INFORMATION, Check, worst_first
from hpwhsim.account.electrical import Service, electrical_checks
from hpwhsim.account.refrigerant_rules import charge_checks, gwp_checks, region_of
from hpwhsim.account.site import PRACTICE, Lines, Structure, service_checks, structural_checks
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.plant.room_source import AIRFLOW_SOURCE, module_airflow
from hpwhsim.scenario.carbon import SiteChecks
from hpwhsim.scenario.lines import USUAL, WaterLines
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.recirculation import LoopTank
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.connected_load import Connected
from hpwhsim.simulation.year import Year

AIR = ("outdoor-air", "room")
_US = re.compile(
    r"\d[\d.,eE+-]*\s*(gal|ft|foot|feet|in|inch|inches|lb|lbs|psf|degF|delta_degF|k?Btu|MBH|gpm|cfm)\b"
)
_SI = re.compile(r"\d[\d.,eE+-]*\s*(L|l|m|mm|cm|m2|m3|kg|t|k?Pa|k?N|degC|K)\b")


def checks_of(loaded: Loaded, year: Year, charge_kg: float | None) -> list[Check]:
    """Every check that was asked for, what failed first, in the units that the user writes.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    year : Year
        Its year.
    charge_kg : float or None
        Refrigerant of the whole plant; None: carbon is not counted, and the refrigerant not checked. [kg]

    Raises
    ------
    InputError
        If the voltage is none of that number of phases.
    """
    scenario, found = loaded.scenario, []
    if scenario.site.checks is not None:
        found += site_checks(scenario, year)
    if charge_kg is not None and scenario.plant.heat_pump is not None:
        found += refrigerant_checks(scenario, year, charge_kg)
    us = writes_us_units(loaded.written)
    return worst_first(check.in_units(us) for check in found)


def writes_us_units(written: Mapping[str, Any]) -> bool:
    """Whether most quantities that stand in the file have US customary units.

    Examples
    --------
    >>> writes_us_units({"plant": {"storage": {"volume": "500 gal", "setpoint": "140 degF"}}})
    True
    """

    def texts(value: Any) -> Iterator[str]:
        if isinstance(value, Mapping):
            for one in value.values():
                yield from texts(one)
        elif isinstance(value, list | tuple):
            for one in value:
                yield from texts(one)
        elif isinstance(value, str):
            yield value

    found = list(texts(written))
    return sum(bool(_US.match(t)) for t in found) > sum(bool(_SI.match(t)) for t in found)


def site_checks(scenario: Scenario, year: Year) -> list[Check]:
    """Rows on what the building must carry, feed and drain.

    Raises
    ------
    InputError
        If the voltage is none of that number of phases.
    """
    block = scenario.site.checks
    assert block is not None  # asked for by the caller
    return [
        *electrical_checks(_service(scenario, year, block)),
        *_structure(scenario, year, block),
        *_group(scenario),
    ]


def _service(scenario: Scenario, year: Year, block: SiteChecks) -> Service:
    most = year.connected
    return Service(
        worst_quarter_kw=float(year.quarter_kw.max()),
        modules=year.made.modules,
        compressor_kw=most.compressor / 1e3,
        beside_kw=most.beside / 1e3,
        resistance_kw=most.resistance / 1e3,
        element_kw=_element_kw(scenario),
        trace_kw=_trace_kw(scenario),
        other_kw=(most.other + _grinder(scenario, most)) / 1e3,
        power_factor=block.power_factor,
        volts=block.voltage,
        phases=block.phases,
        building_volts=block.building_voltage,
        spare_amperes=block.available_current,
        module_mca=block.module_mca,
        module_mop=block.module_mop,
    )


def _grinder(scenario: Scenario, most: Connected) -> float:
    """Motor of the grinder pump of a sewage plant: as given, else what its grinding takes. [W]"""
    sewage = scenario.plant.source.wastewater
    given = sewage.grinder_power if sewage is not None else None
    return most.grinder if given is None else given


def _element_kw(scenario: Scenario) -> float:
    """Resistance element that stands in each packaged unit; 0 where it stands apart. [kW]"""
    plant = scenario.plant
    if plant.family != "packaged" or plant.heat_pump is None or plant.backup.kind != "resistance":
        return 0.0
    inside = plant.backup.mode == "parallel" and plant.storage.tanks == plant.heat_pump.modules
    return (plant.backup.power or 0.0) / plant.heat_pump.modules / 1e3 if inside else 0.0


def _group(scenario: Scenario) -> list[Check]:
    """How many apartments share a packaged unit."""
    heat_pump, apartments = scenario.plant.heat_pump, scenario.building.apartments
    if scenario.plant.family != "packaged" or heat_pump is None or heat_pump.modules < 2:
        return []
    note = (
        f"{heat_pump.modules} units for {apartments} apartments; commonly a unit serves one or two "
        "apartments, and up to a dozen share a manifold; the year's unmet hot water says whether it holds"
    )
    return [
        Check("apartments per grouped unit", apartments / heat_pump.modules, "", note, PRACTICE, INFORMATION)
    ]


def _loop_tank(scenario: Scenario) -> LoopTank | None:
    return scenario.recirculation.loop_tank if scenario.recirculation is not None else None


def _trace_kw(scenario: Scenario) -> float:
    """Heat trace on both water lines as installed: what a service must feed whatever the year asks of it."""
    heat_pump = scenario.plant.heat_pump
    lines = heat_pump.water_lines if heat_pump is not None else None
    return lines.trace_power / 1e3 if lines is not None else 0.0


def _airflow(scenario: Scenario, year: Year) -> tuple[float, str] | None:
    """Air that the heat pumps in a room move, all together [m³/s], and where that is from."""
    room = scenario.plant.source.room
    if room is None:
        return None
    source = "air flow of the units as given" if room.airflow is not None else AIRFLOW_SOURCE
    return module_airflow(room, year.made) * year.made.modules, source


def _structure(scenario: Scenario, year: Year, block: SiteChecks) -> list[Check]:
    storage, heat_pump, hourly = scenario.plant.storage, scenario.plant.heat_pump, year.hourly
    tank, outdoors = _loop_tank(scenario), scenario.plant.source_kind == "outdoor-air"
    found = structural_checks(
        Structure(
            volume_m3=storage.volume,
            tanks=storage.tanks,
            height_m=storage.height,
            hot_c=storage.setpoint,
            empty_kg=block.tank_mass,
            footprint_m2=block.footprint,
            floor_pa=block.max_floor_load,
            modules=year.made.modules,
            module_kw=year.made.capacity / 1e3,
            module_kg=block.module_mass,
            module_m2=block.module_footprint,
            under_pa=block.max_roof_load if outdoors else block.max_floor_load,
            outdoors=outdoors,
            on_tanks=scenario.plant.family == "packaged",
            loop_tank_m3=tank.volume if tank is not None else 0.0,
        )
    )
    air = heat_pump is not None and scenario.plant.source_kind in AIR
    condensate = hourly.get("condensate_litres")
    return found + service_checks(
        trace_heating_kw=_trace_kw(scenario),
        condensate_l_per_day=(
            float(condensate.reshape(365, 24).sum(axis=1).max()) if condensate is not None else None
        ),
        source_kw=year.made.source_heat * year.made.modules / 1e3 if air else None,
        airflow=_airflow(scenario, year) if air else None,
        indoors=scenario.plant.source_kind == "room",
        opening_m2=block.air_opening,
        lines=_lines(scenario),
    )


def _lines(scenario: Scenario) -> Lines | None:
    """Lines between an outdoor heat pump and the store."""
    heat_pump = scenario.plant.heat_pump
    lines = None if heat_pump is None else heat_pump.lines or heat_pump.water_lines
    if lines is None:
        return None
    usual = USUAL.get(scenario.plant.family)
    return Lines(
        name="water lines outdoors" if isinstance(lines, WaterLines) else "refrigerant lines",
        length=lines.length,
        height=abs(lines.rise),
        max_length=lines.max_length,
        max_height=lines.max_height,
        usual_length=usual.long if usual is not None else None,
        usual_height=usual.height if usual is not None else None,
    )


def refrigerant_checks(scenario: Scenario, year: Year, charge_kg: float) -> list[Check]:
    """Rows on warming potential and charge; `charge_kg` is that of the whole plant."""
    heat_pump = scenario.plant.heat_pump
    if heat_pump is None:
        return []
    block, room = scenario.site.checks, scenario.plant.source.room
    held = refrigerant(heat_pump.refrigerant)
    volume = block.room_volume if block is not None else None
    area = block.room_area if block is not None else None
    region = block.region if block is not None and block.region is not None else region_of(year.country)
    if volume is None and room is not None and room.floor_area is not None and room.height is not None:
        volume = room.floor_area * room.height
    return [
        *gwp_checks(
            held.name,
            dict(held.legal_gwp),
            fluorinated=held.fluorinated,
            split=heat_pump.lines is not None,
            unit_kw=year.made.capacity / 1e3,
            unit_kg=charge_kg / year.made.modules,
            region=region,
        ),
        *charge_checks(
            held.name,
            held.safety,
            charge_kg / year.made.modules,
            room_m3=volume,
            room_m2=area,
            region=region,
        ),
    ]
