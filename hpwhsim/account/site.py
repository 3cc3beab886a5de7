"""What the building must carry and drain: weight, floor load, expansion, condensate, air, refrigerant lines.

Preliminary figures to talk from. Local codes, makers' data and licensed engineers decide: a row is 'ok' or
'fail' only where it was held against a limit that was given, and no figure here is a design.
"""

import math
from typing import NamedTuple

from hpwhsim.account.checks import AT_LEAST, CONFIRM, INFORMATION, Check, amount, held
from hpwhsim.errors import OutOfRangeError
from hpwhsim.tables.sources import cited

PRACTICE = "common practice, no source"
STRUCTURE = "a licensed structural engineer decides"

GRAVITY = 9.80665  # m/s2
COLD_C = 10.0  # the water of a tank being filled
SHELL_KG_PER_M3 = (
    140.0  # steel tank with insulation: 96 to 180 (0.8 to 1.5 lb/gal); common practice, no source
)
MODULE_KG_PER_KW = 11.0  # about 1,100 kg (2,500 lb) for a module of 100 kW; common practice, no source
MODULE_M2_PER_KW = 0.025  # about 2.5 m2 for a module of 100 kW; common practice, no source
USUAL_ROOF_PA = 957.6  # 20 lb/ft2, live load of ordinary flat roofs: `asce-7` of the sources
AIR_DROP_K = 6.0  # air cooled by an evaporator; common practice, no source
AIR_SPEED = 2.5  # m/s through the free area of an opening; common practice, no source


class Structure(NamedTuple):
    """What stands on the floor; None: not given."""

    volume_m3: float  # the whole store
    tanks: int
    height_m: float  # of the water in a tank
    hot_c: float  # the store's setpoint
    empty_kg: float | None  # all tanks
    footprint_m2: float | None  # all tanks
    floor_pa: float | None  # what the floor carries
    modules: int
    module_kw: float  # rated heat of one module
    module_kg: float | None
    module_m2: float | None = None  # footprint of one module on its frame
    under_pa: float | None = None  # what carries the modules: the roof outdoors, else the floor
    outdoors: bool = False  # whether the modules stand there
    on_tanks: bool = False  # whether they are one with the tanks
    loop_tank_m3: float = 0.0  # a tank of the loop's own; 0: there is none


def water_density(temperature_c: float) -> float:
    """Density of water at one atmosphere. [kg/m³].

    Parameters
    ----------
    temperature_c : float
        0 to 100. [°C]

    Raises
    ------
    OutOfRangeError
        If it is outside 0 to 100 °C or NaN.

    References
    ----------
    .. [1] G. S. Kell, J. Chem. Eng. Data 20(1), 97-105, 1975, eq. 16, doi:10.1021/je60064a005; coefficients
       unverified, and checked against IAPWS values.

    Examples
    --------
    >>> round(water_density(60.0), 2)
    983.2
    """
    t = temperature_c
    if not 0.0 <= t <= 100.0:
        raise OutOfRangeError(f"water must be 0 to 100 °C, got {t:g}")
    rise = 16.945176 - t * (7.9870401e-3 + t * (46.170461e-6 - t * (105.56302e-9 - t * 280.54253e-12)))
    return (999.83952 + t * rise) / (1.0 + 16.879850e-3 * t)


def structural_checks(of: Structure) -> list[Check]:
    """Weights of tanks and heat pumps, load of the floor, and the water that expands.

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite, or a volume, height, floor or number of tanks is not above 0.
    """
    _above(("store [m3]", of.volume_m3), ("height [m]", of.height_m), ("tanks", of.tanks))
    _above(
        *(
            (k, v)
            for k, v in (
                ("footprint [m2]", of.footprint_m2),
                ("floor [Pa]", of.floor_pa),
                ("module footprint [m2]", of.module_m2),
                ("under the modules [Pa]", of.under_pa),
            )
            if v is not None
        )
    )
    _from_0(("empty tanks [kg]", of.empty_kg), ("module [kg]", of.module_kg), ("module [kW]", of.module_kw))
    water = of.volume_m3 * water_density(COLD_C)
    empty = SHELL_KG_PER_M3 * of.volume_m3 if of.empty_kg is None else of.empty_kg
    shell = (
        f"{SHELL_KG_PER_M3:g} kg per m3 held (0.8 to 1.5 lb/gal); {PRACTICE}"
        if of.empty_kg is None
        else "given"
    )
    full = water + empty
    area = of.volume_m3 / of.height_m if of.footprint_m2 is None else of.footprint_m2
    under = (
        "given" if of.footprint_m2 is not None else "store over height of the water, no insulation or feet"
    )
    pressure = GRAVITY * full / area / 1e3
    if of.floor_pa is None:
        rooms = f"common floors carry {amount(4.8, 'kPa')} to {amount(7.2, 'kPa')}; {PRACTICE}; {STRUCTURE}"
        rooms += "; what this floor carries is not given (site.checks.max_floor_load)"
        floor = Check("floor load of the full store", pressure, "kPa", rooms, f"footprint: {under}", CONFIRM)
    else:
        floor = held(
            "floor load of the full store",
            pressure,
            of.floor_pa / 1e3,
            "kPa",
            f"footprint: {under}",
            note=STRUCTURE,
        )
    grown = of.volume_m3 * (water_density(COLD_C) / water_density(max(of.hot_c, COLD_C)) - 1.0)
    found = [
        Check("store empty", empty, "kg", STRUCTURE, shell, INFORMATION),
        Check(
            "store full of cold water",
            full,
            "kg",
            STRUCTURE,
            f"water at 10 degC and shell; shell: {shell}",
            INFORMATION,
        ),
        Check(
            "one full tank",
            full / of.tanks,
            "kg",
            f"seismic anchors scale with it; {STRUCTURE}",
            shell,
            INFORMATION,
        ),
        floor,
        Check(
            "water that expands",
            1e3 * grown,
            "L",
            f"10 to {of.hot_c:g} degC; expansion tank and relief valves by plumbing code",
            str(cited("[kell-1975]")),
            INFORMATION,
        ),
    ]
    if of.loop_tank_m3:
        found.append(
            Check(
                "loop tank full of cold water",
                of.loop_tank_m3 * (water_density(COLD_C) + SHELL_KG_PER_M3),
                "kg",
                STRUCTURE,
                f"water at 10 degC and shell; shell: {SHELL_KG_PER_M3:g} kg per m3 held; {PRACTICE}",
                INFORMATION,
            )
        )
    return found + (_module_checks(of) if of.modules else [])


def _module_checks(of: Structure) -> list[Check]:
    """Weight of the modules, and the load of one over its footprint."""
    kg = MODULE_KG_PER_KW * of.module_kw if of.module_kg is None else of.module_kg
    mass = f"{MODULE_KG_PER_KW:g} kg per rated kW; {PRACTICE}" if of.module_kg is None else "given"
    on_top = "on a roof snow, wind and service come on top; " if of.outdoors else ""
    found = [
        Check("one module", kg, "kg", STRUCTURE, mass, INFORMATION),
        Check("all modules", of.modules * kg, "kg", f"{on_top}{STRUCTURE}", mass, INFORMATION),
    ]
    area = MODULE_M2_PER_KW * of.module_kw if of.module_m2 is None else of.module_m2
    if of.on_tanks or area <= 0.0:
        return found
    foot = f"{MODULE_M2_PER_KW:g} m2 per rated kW; {PRACTICE}" if of.module_m2 is None else "given"
    load, source = GRAVITY * kg / area / 1e3, f"footprint: {foot}; mass: {mass}"
    name = f"load of one module on the {'roof or slab' if of.outdoors else 'floor'}, over its footprint"
    found.append(Check("footprint of one module", area, "m2", STRUCTURE, foot, INFORMATION))
    if of.under_pa is not None:
        note = f"{on_top}{STRUCTURE}"
        return [*found, held(name, load, of.under_pa / 1e3, "kPa", source, note=note)]
    key = "max_roof_load" if of.outdoors else "max_floor_load"
    usual = (
        f"ordinary flat roofs carry {amount(USUAL_ROOF_PA / 1e3, 'kPa')} of live load ({cited('[asce-7]')}): "
        "dunnage spreads the load of a unit to the structure; "
        if of.outdoors
        else ""
    )
    note = f"{on_top}{usual}what carries it is not given (site.checks.{key}); {STRUCTURE}"
    return [*found, Check(name, load, "kPa", note, source, CONFIRM)]


class Lines(NamedTuple):
    """Lines between an outdoor heat pump and the store, one way; None: no limit. [m]"""

    name: str
    length: float
    height: float  # of the store above or below the outdoor unit
    max_length: float | None  # of this machine, as given
    max_height: float | None
    usual_length: float | None  # at which such lines commonly end
    usual_height: float | None


def service_checks(
    *,
    trace_heating_kw: float = 0.0,
    condensate_l_per_day: float | None = None,
    source_kw: float | None = None,
    airflow: tuple[float, str] | None = None,
    indoors: bool = False,
    opening_m2: float | None = None,
    lines: Lines | None = None,
) -> list[Check]:
    """Emergency power, drains, air, and lines between heat pump and store.

    Parameters
    ----------
    trace_heating_kw : float
        Heat trace that keeps pipes from freezing, as installed; 0: there is none. [kW]
    condensate_l_per_day : float or None
        Water off the coil on the wettest day; None: not known. [L/day]
    source_kw : float or None
        Heat taken from air at the rating; None: not an air source. [kW]
    airflow : tuple of float and str, or None
        Air that all heat pumps move and where that is from; None: worked out from the heat. [m³/s]
    indoors : bool
        Whether the heat pumps stand there, so that their air needs an opening.
    opening_m2 : float or None
        Free area of the opening through which that air comes; None: not known. [m²]
    lines : Lines or None
        Refrigerant lines, or water lines outdoors; None: there are none.

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite.
    """
    _from_0(
        ("heat trace [kW]", trace_heating_kw),
        ("condensate [L/day]", condensate_l_per_day),
        ("heat from air [kW]", source_kw),
        ("opening [m2]", opening_m2),
        ("length of lines [m]", None if lines is None else lines.length),
        ("height of lines [m]", None if lines is None else lines.height),
        ("air flow [m3/s]", None if airflow is None else airflow[0]),
    )
    found = []
    if trace_heating_kw > 0.0:
        note = "on emergency power, or the pipes freeze in an outage; local code decides"
        found.append(Check("heat trace", trace_heating_kw, "kW", note, PRACTICE, INFORMATION))
    if source_kw is not None:
        note = "trapped drain, frost-free to the sewer; on a heated path where the unit is outdoors"
        source = "the wettest day of the year" if condensate_l_per_day is not None else PRACTICE
        found.append(Check("condensate drain", condensate_l_per_day, "L/day", note, source, INFORMATION))
        found += _air(source_kw, airflow, indoors or opening_m2 is not None, opening_m2)
    return found + (_lines(lines) if lines is not None else [])


def _air(
    source_kw: float, airflow: tuple[float, str] | None, indoors: bool, opening_m2: float | None
) -> list[Check]:
    """Air the heat pump moves, the opening it needs indoors, and room around it."""
    worked_out = (source_kw / (1.2 * 1.006 * AIR_DROP_K), f"air cooled by {AIR_DROP_K:g} K at the rating")
    flow, why = airflow or worked_out
    maker = "the maker's data decide"
    found = [Check("air flow", flow, "m3/s", maker, f"{why}; {PRACTICE}", INFORMATION)]
    if indoors:
        least, source = flow / AIR_SPEED, f"{why}, {AIR_SPEED:g} m/s in the opening; {PRACTICE}"
        note = f"in and out, each; {maker}"
        if opening_m2 is None:
            note += "; what there is, is not given (site.checks.air_opening)"
            found.append(
                Check("free area of the opening", None, "m2", note, source, CONFIRM, least, AT_LEAST)
            )
        else:
            name = "free area of the opening"
            found.append(
                held(name, opening_m2, least, "m2", source, note=note, sure=False, limit_kind=AT_LEAST)
            )
    usual = "usual: 0.3 to 1 m at the coil, 1 m for service, no way back for cold air"
    return [*found, Check("clearance", None, "m", f"{usual}; {maker}", PRACTICE, INFORMATION)]


def _lines(of: Lines) -> list[Check]:
    """Length and height of lines against the heat pump's own limits, else against what is common."""
    found = []
    for what, value, own, usual in (
        ("one way", of.length, of.max_length, of.usual_length),
        ("height", of.height, of.max_height, of.usual_height),
    ):
        name, maker = f"{of.name}, {what}", "the maker's limits decide"
        if own is not None:
            found.append(held(name, value, own, "m", "limit of the unit as given", note=maker))
        elif usual is not None:
            note = f"where such lines commonly end; {maker}"
            found.append(Check(name, value, "m", note, PRACTICE, CONFIRM, usual))
        else:
            found.append(Check(name, value, "m", maker, "given", INFORMATION))
    return found


def _from_0(*pairs: tuple[str, float | None]) -> None:
    for name, value in pairs:
        if value is not None and not 0.0 <= value < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {value:g}; allowed 0 or more")


def _above(*pairs: tuple[str, float]) -> None:
    for name, value in pairs:
        if not 0.0 < value < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {value:g}; allowed above 0")
