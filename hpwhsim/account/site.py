"""What the building must carry and drain: weight, floor load, expansion, condensate, air, refrigerant lines.

Preliminary figures to talk from. Local codes, makers' data and licensed engineers decide: a row is 'ok' only
where it was held against a limit that was given, and no figure here is a design.
"""

import math
from typing import NamedTuple

from hpwhsim.account.checks import CONFIRM, Check, amount, held
from hpwhsim.errors import OutOfRangeError

PRACTICE = "common practice, no source"
STRUCTURE = "a licensed structural engineer decides"

GRAVITY = 9.80665  # m/s2
COLD_C = 10.0  # the water of a tank being filled
SHELL_KG_PER_M3 = (
    140.0  # steel tank with insulation: 96 to 180 (0.8 to 1.5 lb/gal); common practice, no source
)
MODULE_KG_PER_KW = 11.0  # about 1,100 kg (2,500 lb) for a module of 100 kW; common practice, no source
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
       quoted from memory and checked against IAPWS values.

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
    """Weights of tanks and machines, load of the floor, and the water that expands.

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite, or a volume, height, floor or number of tanks is not above 0.
    """
    _above(("store [m3]", of.volume_m3), ("height [m]", of.height_m), ("tanks", of.tanks))
    _above(
        *(
            (k, v)
            for k, v in (("footprint [m2]", of.footprint_m2), ("floor [Pa]", of.floor_pa))
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
    kg = MODULE_KG_PER_KW * of.module_kw if of.module_kg is None else of.module_kg
    module = f"{MODULE_KG_PER_KW:g} kg per rated kW; {PRACTICE}" if of.module_kg is None else "given"
    grown = of.volume_m3 * (water_density(COLD_C) / water_density(max(of.hot_c, COLD_C)) - 1.0)
    found = [
        Check("store empty", empty, "kg", STRUCTURE, shell, CONFIRM),
        Check(
            "store full of cold water",
            full,
            "kg",
            STRUCTURE,
            f"water at 10 degC and shell; shell: {shell}",
            CONFIRM,
        ),
        Check(
            "one full tank",
            full / of.tanks,
            "kg",
            f"seismic anchors scale with it; {STRUCTURE}",
            shell,
            CONFIRM,
        ),
        floor,
        Check(
            "water that expands",
            1e3 * grown,
            "L",
            f"10 to {of.hot_c:g} degC; expansion tank and relief valves by plumbing code",
            "density of water (Kell 1975)",
            CONFIRM,
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
                CONFIRM,
            )
        )
    if of.modules:
        found.append(
            Check(
                f"machines, {of.modules} of {amount(kg, 'kg')}",
                of.modules * kg,
                "kg",
                f"on a roof snow, wind and service come on top; {STRUCTURE}",
                module,
                CONFIRM,
            )
        )
    return found


def service_checks(
    *,
    trace_heating_kw: float = 0.0,
    condensate_l_per_day: float | None = None,
    source_kw: float | None = None,
    airflow: tuple[float, str] | None = None,
    opening_m2: float | None = None,
    line_m: float | None = None,
    water_line_m: float | None = None,
) -> list[Check]:
    """Emergency power, drains, air and refrigerant lines.

    Parameters
    ----------
    trace_heating_kw : float
        Heat trace that keeps pipes from freezing, as installed; 0: there is none. [kW]
    condensate_l_per_day : float or None
        Water off the coil on the wettest day; None: not known. [L/day]
    source_kw : float or None
        Most heat taken from air; None: not an air source. [kW]
    airflow : tuple of float and str, or None
        Air that all machines move and where that is from; None: worked out from the heat. [m³/s]
    opening_m2 : float or None
        Free area of the opening through which that air comes; None: outdoors or not known. [m²]
    line_m : float or None
        Refrigerant lines piped on site, one way; None: there are none. [m]
    water_line_m : float or None
        Water lines outdoors, one way; None: there are none. [m]

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
        ("line length [m]", line_m),
        ("water line length [m]", water_line_m),
        ("air flow [m3/s]", None if airflow is None else airflow[0]),
    )
    found = []
    if trace_heating_kw > 0.0:
        limit = "on emergency power, or the pipes freeze in an outage; local code decides"
        found.append(Check("heat trace", trace_heating_kw, "kW", limit, PRACTICE, CONFIRM))
    if source_kw is not None:
        limit = "trapped drain, frost-free to the sewer; on a heated path where the machine stands outdoors"
        source = "the wettest day of the year" if condensate_l_per_day is not None else PRACTICE
        found.append(Check("condensate drain", condensate_l_per_day, "L/day", limit, source, CONFIRM))
        found += _air(source_kw, airflow, opening_m2)
    if line_m is not None:
        found.append(_line(line_m))
    if water_line_m is not None:
        limit = "freeze protection, heat loss and head of the pump grow with it; the maker's limits decide"
        found.append(Check("water lines outdoors, one way", water_line_m, "m", limit, "given", CONFIRM))
    return found


def _air(source_kw: float, airflow: tuple[float, str] | None, opening_m2: float | None) -> list[Check]:
    """Air the machine moves, the opening it needs, and room around it."""
    worked_out = (source_kw / (1.2 * 1.006 * AIR_DROP_K), f"air cooled by {AIR_DROP_K:g} K")
    flow, why = airflow or worked_out
    source = f"{why}, {AIR_SPEED:g} m/s in the opening; {PRACTICE}"
    maker = "the maker's data decide"
    least = flow / AIR_SPEED
    if opening_m2 is None:
        name, limit = "free area of an opening, if indoors", f"in and out, each; {maker}"
        opening = Check(name, least, "m2", limit, source, CONFIRM)
    else:
        fits = opening_m2 >= least
        limit = f"at least {amount(least, 'm2')}: {'met' if fits else 'not met'}; {maker}"
        opening = Check("free area of the opening", opening_m2, "m2", limit, source, CONFIRM)
    usual = "usual: 0.3 to 1 m at the coil, 1 m for service, no way back for cold air"
    return [
        Check("air flow", flow, "m3/s", maker, source, CONFIRM),
        opening,
        Check("clearance", None, "m", f"{usual}; {maker}", PRACTICE, CONFIRM),
    ]


def _line(line_m: float) -> Check:
    """Class of the length of refrigerant lines."""
    classes = (
        (25.0 * 0.3048, "short: no derating or extra charge as a rule"),
        (100.0 * 0.3048, "medium: derate capacity 1 to 2 % per 8 m past the first 8, add charge"),
        (150.0 * 0.3048, "long: the maker's tables end about here; oil return, charge, derating"),
    )
    said = next((words for most, words in classes if line_m <= most), "beyond usual tables")
    return Check(
        "refrigerant lines, one way", line_m, "m", f"{said}; the maker's limits decide", PRACTICE, CONFIRM
    )


def _from_0(*pairs: tuple[str, float | None]) -> None:
    for name, value in pairs:
        if value is not None and not 0.0 <= value < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {value:g}; allowed 0 or more")


def _above(*pairs: tuple[str, float]) -> None:
    for name, value in pairs:
        if not 0.0 < value < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {value:g}; allowed above 0")
