"""Refrigerants against limits on warming potential and on charge; the code in force decides.

The limits are those of the packaged tables `refrigerant_rules` and `refrigerant_safety`. A check is 'ok' only
where the limit itself was read or restated; an unverified limit leaves it to be confirmed, met or not.
"""

import math
from collections.abc import Mapping

from hpwhsim.account.checks import BELOW, CONFIRM, FAIL, INFORMATION, LOCAL, OK, Check, amount, held
from hpwhsim.errors import OutOfRangeError
from hpwhsim.tables import read_table
from hpwhsim.tables.sources import UNVERIFIED, cited

NO_F_GAS = "no F-gas"
US, EU = "US", "EU"
COUNTRIES = {
    "USA": US,
    **dict.fromkeys(
        (
            *(
                "AUT",
                "BEL",
                "BGR",
                "HRV",
                "CYP",
                "CZE",
                "DNK",
                "EST",
                "FIN",
                "FRA",
                "DEU",
                "GRC",
                "HUN",
                "IRL",
            ),
            *("ITA", "LVA", "LTU", "LUX", "MLT", "NLD", "POL", "PRT", "ROU", "SVK", "SVN", "ESP", "SWE"),
        ),
        EU,
    ),
}
"""Region of the rules by country (ISO 3166-1, three letters); the 27 members of the European Union."""
OTHER = "other"
COVERAGE = {US: "no definition in 40 CFR 84.52 says whether the rule covers water heaters; "}
"""Rules of which it is not known whether they cover a water heater. The European one does: by Article 3(41)
of Reg. (EU) 2024/573 a heat pump is whatever takes ambient or waste heat to give heat."""


def region_of(country: str) -> str | None:
    """Region of the rules in which a country lies; 'other' for one without any here, None if not known.

    Examples
    --------
    >>> region_of("USA"), region_of("ITA"), region_of("CAN"), region_of("")
    ('US', 'EU', 'other', None)
    """
    return COUNTRIES.get(country.upper(), OTHER if country else None)


def gwp_checks(
    refrigerant: str,
    gwp: Mapping[str, float],
    *,
    fluorinated: bool,
    split: bool,
    unit_kw: float,
    unit_kg: float | None = None,
    region: str | None,
) -> list[Check]:
    """Each rule on warming potential that applies to a heat pump on its site, in force or to come.

    Parameters
    ----------
    refrigerant : str
        Name, for the rows.
    gwp : mapping of str to float
        Warming potential by region (US, EU), as its rule counts it. [kg CO2e/kg]
    fluorinated : bool
        Whether it is an F-gas.
    split : bool
        Whether refrigerant runs in lines piped on site.
    unit_kw : float
        Rated capacity of one unit. [kW]
    unit_kg : float or None
        Refrigerant of one unit; None: not known, and a rule that asks for it is listed. [kg]
    region : str or None
        Where the site is, as `region_of`; None: not known, and every rule is listed.

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite.

    Examples
    --------
    >>> gwp = {"US": 2087.5, "EU": 2087.5}
    >>> found = gwp_checks("R-410A", gwp, fluorinated=True, split=False, unit_kw=30.0, region="US")
    >>> [c.state for c in found]
    ['confirm']
    """
    numbers = [("warming potential", number) for number in gwp.values()]
    for name, number in (*numbers, ("capacity of a unit [kW]", unit_kw)):
        if not 0.0 <= number < math.inf:
            raise OutOfRangeError(f"{refrigerant}: {name}: got {number:g}; allowed 0 or more")
    found = []
    for row in read_table("refrigerant_rules"):
        above, to = float(row["above_kw"] or -1.0), float(row["to_kw"] or math.inf)
        if row["applies"] != ("split" if split else "monobloc") or not above < unit_kw <= to:
            continue
        if region is not None and row["region"] != region:
            continue
        if row["below_kg"] and unit_kg is not None and not unit_kg < float(row["below_kg"]):
            continue
        of_gas = row["gwp"] == NO_F_GAS  # no number: whether there is fluorine in it
        note = f"{COVERAGE.get(row['region'], '')}{row['note']}; {LOCAL}"
        if of_gas:
            note = f"{NO_F_GAS}: {'exceeded' if fluorinated else 'met'}; {note}"
        if region is None:
            note += "; where the site is, is not known (site.checks.region)"
        check = Check(
            name=f"GWP of {refrigerant}, {row['region']} from {row['from']}",
            value=gwp[row["region"]],
            unit="(as the rule counts it)",
            note=note,
            source=f"{row['rule']}: {row['citation']} ({row['status']})",
            state=OK if row["status"] != UNVERIFIED and region is not None else CONFIRM,
            limit_value=None if of_gas else float(row["gwp"]),
            limit_kind=BELOW,
        )
        if fluorinated if of_gas else check.beyond:
            check = check._replace(state=CONFIRM if row["region"] in COVERAGE or region is None else FAIL)
        found.append(check)
    return found


def charge_caps(lfl_kg_m3: float, *, slow_burning: bool) -> tuple[float, float, float]:
    """Charges m1, m2, m3 of EN 378 and IEC 60335-2-40, multiples of the lower flammability limit. [kg].

    Parameters
    ----------
    lfl_kg_m3 : float
        Lower flammability limit. [kg/m³]
    slow_burning : bool
        Class 2L: m1, below which no room is too small, is half as much again.

    References
    ----------
    .. [1] EN 378-1 and IEC 60335-2-40: m1 = 4 m³ LFL (2L: x 1.5), m2 = 26 m³ LFL, m3 = 130 m³ LFL;
       ``en-378-caps`` of the table of sources.

    Examples
    --------
    >>> [round(m, 3) for m in charge_caps(0.038, slow_burning=False)]
    [0.152, 0.988, 4.94]
    """
    return (6.0 if slow_burning else 4.0) * lfl_kg_m3, 26.0 * lfl_kg_m3, 130.0 * lfl_kg_m3


def occupied_room_charge(lfl_kg_m3: float, height_m: float, area_m2: float) -> float:
    """Largest charge of a heat pump for comfort in an occupied room, where it is above m1. [kg].

    Parameters
    ----------
    lfl_kg_m3 : float
        Lower flammability limit. [kg/m³]
    height_m : float
        Height at which the heat pump stands or hangs: 0.6 floor, 1.8 wall, 2.2 ceiling. [m]
    area_m2 : float
        Floor of the room. [m²]

    References
    ----------
    .. [1] IEC 60335-2-40: m = 2.5 LFL^(5/4) h0 A^(1/2); ``en-378-caps`` of the sources.

    Examples
    --------
    >>> round(occupied_room_charge(0.038, 1.8, 20.0), 3)
    0.338
    """
    return 2.5 * math.pow(lfl_kg_m3, 1.25) * height_m * math.sqrt(area_m2)


def charge_checks(
    refrigerant: str,
    safety: str,
    circuit_kg: float,
    *,
    room_m3: float | None = None,
    room_m2: float | None = None,
    region: str | None = None,
) -> list[Check]:
    """The charge of one circuit against the room it could leak into and against the caps of its class.

    Parameters
    ----------
    refrigerant, safety : str
        Name and class of ISO 817, such as R-290 and A3.
    circuit_kg : float
        Refrigerant in the largest circuit: what one leak lets out. [kg]
    room_m3 : float or None
        Air in the smallest closed room with a part of the circuit; None: none, or not known. [m³]
    room_m2 : float or None
        Floor of that room. [m²]
    region : str or None
        Where the site is; limits of European standards are left out in the US.

    Raises
    ------
    OutOfRangeError
        If a number is not above 0 (the charge may be 0), or not finite.
    """
    if not 0.0 <= circuit_kg < math.inf:
        raise OutOfRangeError(
            f"{refrigerant}: charge of a circuit [kg]: got {circuit_kg:g}; allowed 0 or more"
        )
    for name, number in (("volume [m3]", room_m3), ("floor [m2]", room_m2)):
        if number is not None and not 0.0 < number < math.inf:
            raise OutOfRangeError(f"{refrigerant}: {name} of the room: got {number:g}; allowed above 0")
    row = next((r for r in read_table("refrigerant_safety") if r["refrigerant"] == refrigerant), None)
    if row is None:
        limit = f"concentration and flammability limits of {refrigerant} are not in the table; {LOCAL}"
        name = f"charge of one circuit, {refrigerant} ({safety})"
        return [Check(name, circuit_kg, "kg", limit, "none", CONFIRM)]
    lfl, practical = (
        None if row[x] == "-" else float(row[x]) * 1e3 for x in ("lfl_kg_m3", "practical_kg_m3")
    )
    concentration = None if row["rcl_g_m3"] == "-" else float(row["rcl_g_m3"])
    limits = [
        ("refrigerant concentration limit", concentration, "rcl"),
        ("practical limit", None if region == US else practical, "practical"),
        ("a quarter of the lower flammability limit", lfl and 0.25 * lfl, "lfl"),
    ]
    found = []
    for name, most, stem in limits:
        if most is None:
            continue
        status = row[f"{stem}_status"]
        named, source = f"{name}, {refrigerant} ({safety})", f"{row[f'{stem}_citation']} ({status})"
        if room_m3 is not None:
            note = f"one circuit leaked into the room; {LOCAL}"
            value = 1e3 * circuit_kg / room_m3
            found.append(held(named, value, most, "g/m3", source, note=note, sure=status != UNVERIFIED))
        else:
            room = "minimum air volume of a closed room with a part of the circuit"
            limit = f"{room}, for {amount(most, 'g/m3')}; {LOCAL}"
            found.append(Check(named, 1e3 * circuit_kg / most, "m3", limit, source, INFORMATION))
    if lfl is not None:
        found += _flammable(refrigerant, safety, circuit_kg, lfl / 1e3, room_m2, region)
    return found


def _flammable(
    refrigerant: str, safety: str, kg: float, lfl: float, room_m2: float | None, region: str | None
) -> list[Check]:
    """Rows on the caps of a flammable refrigerant."""
    caps = charge_caps(lfl, slow_burning=safety.endswith("2L"))
    words = (
        "up to m1: no minimum room area",
        "above m1: minimum room area or ventilation",
        "above m2: stricter rules",
        "above m3: outdoors or a machinery room",
    )
    said = ", ".join(f"m{k + 1} {m:.3g} kg" for k, m in enumerate(caps))
    standard = "[ul-60335-caps]" if region == US else "[en-378-caps]"
    found = [
        Check(
            f"charge of one circuit, {refrigerant} ({safety})",
            kg,
            "kg",
            f"{said}; {words[sum(kg > m for m in caps)]}; {LOCAL}",
            str(cited(standard)),
            CONFIRM,
        )
    ]
    if room_m2 is not None:
        most = occupied_room_charge(lfl, 0.6, room_m2)
        name = f"charge of one circuit on the floor of an occupied room, {refrigerant} ({safety})"
        note = f"for comfort equipment; {LOCAL}"
        source = str(cited(f"{standard}, 2.5 LFL^1.25 h0 A^0.5 with h0 0.6 m"))
        found.append(held(name, kg, max(most, caps[0]), "kg", source, note=note, sure=False))
    return found
