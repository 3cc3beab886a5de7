"""Refrigerant a plant holds and loses where the modeler does not know: estimates with their range."""

import math
from typing import NamedTuple

from hpwhsim.account.carbon import lost_at_end, refrigerant_kgco2e
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.tables import read_table
from hpwhsim.tables.usual_ranges import usual

USUAL_CHARGE = "refrigerant charge"  # of the table of usual ranges


class Charge(NamedTuple):
    """Refrigerant in the whole plant. [kg]."""

    kg: float
    low_kg: float
    high_kg: float
    source: str


class Published(NamedTuple):
    """A plant's refrigerant carbon by a published set of losses."""

    equipment: str
    installation_loss: float  # share of the charge; not in `kgco2e`
    annual_leak: float  # share of the charge
    end_of_life_loss: float  # share of the charge
    kgco2e: float  # per year of service, as `carbon.refrigerant_kgco2e`
    source: str
    status: str  # verified | secondary | unverified


def estimated_charge(
    refrigerant: str,
    rated_kw: float,
    *,
    kg_per_kw: float | None = None,
    line_kg_per_m: float = 0.0,
    line_m: float = 0.0,
) -> Charge:
    """Charge of a plant from its rated heat, and of its field-run lines.

    Parameters
    ----------
    refrigerant : str
        Name as in the table of refrigerants, such as R-744.
    rated_kw : float
        Rated heat of all modules. [kW]
    kg_per_kw : float or None
        The modeler's own charge per kW, without range; None: that of the refrigerant's class.
    line_kg_per_m, line_m : float
        Charge of both lines per metre one way, and length one way, of all runs together. [kg/m], [m]

    Raises
    ------
    InputError
        If the packaged table has no class for the refrigerant.
    OutOfRangeError
        If a number is negative or not finite.

    Examples
    --------
    >>> charge = estimated_charge("R-410A", 60.0, line_kg_per_m=0.05, line_m=30.0)
    >>> charge.kg, charge.low_kg, round(charge.high_kg, 6)
    (16.5, 7.5, 33.3)
    """
    for name, value in (
        ("rated heat [kW]", rated_kw),
        ("line charge", line_kg_per_m),
        ("line length", line_m),
    ):
        if not 0.0 <= value < math.inf:
            raise OutOfRangeError(f"refrigerant charge: {name}: got {value:g}; allowed 0 or more")
    lines = line_kg_per_m * line_m
    with_lines = f", and {lines:.3g} kg in lines of {line_m:g} m" if lines else ""
    if kg_per_kw is not None:
        if not 0.0 <= kg_per_kw < math.inf:
            raise OutOfRangeError(f"carbon.refrigerant.charge_per_kw: got {kg_per_kw:g}; allowed 0 or more")
        kg = kg_per_kw * rated_kw + lines
        return Charge(kg, kg, kg, f"{kg_per_kw:g} kg per rated kW as given{with_lines}")
    span = usual(USUAL_CHARGE, refrigerant)
    for row in read_table("refrigerant_charge"):
        if refrigerant in row["refrigerants"].split() and span is not None:
            kg, low, high = (x * rated_kw + lines for x in (float(row["kg_per_kw"]), span.low, span.high))
            source = (
                f"{row['kg_per_kw']} kg per rated kW of {row['class']} ({span.low:g} to {span.high:g} for "
                f"{refrigerant}); {row['citation']}{with_lines}"
            )
            return Charge(kg, low, high, source)
    raise InputError(
        f"carbon.refrigerant.charge: got nothing; allowed a mass such as '12 kg': "
        f"no usual charge is known for {refrigerant}"
    )


def published_losses(charge_kg: float, gwp: float, service_years: float) -> list[Published]:
    """What the refrigerant would weigh by each published set of losses, to see a plant's own figure in.

    Raises
    ------
    OutOfRangeError
        As `carbon.refrigerant_kgco2e`.

    Examples
    --------
    >>> rows = published_losses(10.0, 2088.0, 15.0)
    >>> rows[0].equipment, round(rows[0].kgco2e), round(rows[2].kgco2e)
    ('heat pumps alone', 74, 1830)
    """
    found = []
    for row in read_table("refrigerant_leaks"):
        installation, leak, left, recovered = (
            float(row[x]) / 100.0 for x in ("installation", "annual_leak", "left", "recovered")
        )
        lost = lost_at_end(left, recovered)
        yearly = refrigerant_kgco2e(charge_kg, gwp, leak, lost, service_years)
        found.append(
            Published(row["equipment"], installation, leak, lost, yearly, row["citation"], row["status"])
        )
    return found
