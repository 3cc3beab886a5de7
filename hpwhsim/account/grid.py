"""The grid as the user names it: kg CO2e per kWh at the meter, by the hour and by the year of service.

A factor is one number, a region of the packaged tables, or a CSV file. The packaged ones are annual averages;
a marginal factor is the user's own and is labelled so.
"""

import difflib
import math
import re
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.account.gases import Gases, warming
from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.io.units import MASS_FACTOR, read_quantity
from hpwhsim.io.user_csv import hourly, read_rows
from hpwhsim.tables import read_table
from hpwhsim.tables.sources import cited
from hpwhsim.tables.usual_ranges import refuse

KG_PER_LB = 0.45359237
FIRST_YEAR, LAST_YEAR = 1900, 2200  # of a trajectory
KINDS = ("average", "marginal")
COLUMN = "kg_per_kwh"
FACTOR = "grid factor"  # of the table of usual ranges
FORMS = "a number such as '0.39 kg/kWh', a region of the packaged tables, or a CSV file"


class Grid(NamedTuple):
    """A grid's factors and where they are from."""

    name: str  # region or file, or the number as written
    kind: str  # average | marginal
    kgco2e_per_kwh: Array  # at the meter, shape (1 or years of service, 1 or 8760)
    gases: Gases | None  # kg/kWh at the meter; None: one figure for all gases
    basis: str  # set of warming potentials; empty where one figure for all gases was given
    year: int | None  # that the figures are of; of a trajectory, the first year of service
    loss: float  # loss of the grid between generation and meter that was added, as a share
    source: str
    status: str  # of the source: verified | secondary | unverified; empty: the user's own


class _Region(NamedTuple):
    year: int
    gases: Gases | None  # kg/kWh generated
    lumped: float  # kg CO2e/kWh generated; NaN where the gases say it
    loss: float
    metered: bool  # per kWh consumed: the loss is in it
    source: str


@cache
def _regions() -> dict[str, tuple[_Region, ...]]:
    """Rows of the packaged tables by region, the latest year last."""
    found: dict[str, list[_Region]] = {}
    for row in read_table("egrid"):
        rates = [row[f"{gas}_lb_per_mwh"] for gas in Gases._fields]
        gases = Gases(*(float(x) * KG_PER_LB / 1e3 for x in rates)) if all(rates) else None
        lumped = math.nan if gases else float(row["co2e_ar5_lb_per_mwh"]) * KG_PER_LB / 1e3
        source = f"[{row['source']}]; {row['name']}"
        if gases is None:
            source += "; CO2e by AR5-100"
        elif row["gases_source"] != row["source"]:
            source += f"; [{row['gases_source']}]"
        found.setdefault(row["region"], []).append(
            _Region(int(row["year"]), gases, lumped, float(row["loss"]), False, source)
        )
    for row in read_table("grid_other"):
        metered = row["per"] == "consumed"
        held = "per kWh consumed: the grid loss is in it" if metered else "no grid loss is in it"
        source = f"[{row['source']}]; {held}"
        found.setdefault(row["region"], []).append(
            _Region(int(row["year"]), None, float(row["kgco2e_per_kwh"]), 0.0, metered, source)
        )
    return {name: tuple(sorted(rows, key=lambda r: r.year)) for name, rows in found.items()}


def _found(name: str, key: str) -> str:
    """Region meant by `name`: as in the table, or the last part alone where only one has it."""
    plain = re.sub(r"[\s_-]+", "-", name.strip()).casefold()
    held = list(_regions())
    exact = [r for r in held if r.casefold() == plain]
    last = [r for r in held if r.casefold().split("-")[-1] == plain]
    if exact or len(last) == 1:
        return (exact or last)[0]
    if last:
        raise InputError(f"{key}: got {name!r}; allowed {' or '.join(last)}")
    near = difflib.get_close_matches(plain.upper(), [r.upper() for r in held], n=1, cutoff=0.6)
    hint = f"; did you mean {next(r for r in held if r.upper() == near[0])}?" if near else ""
    codes = ", ".join(r for r in held if "-" not in r)
    groups = ", ".join(sorted({f"{r.split('-')[0]}-.." for r in held if "-" in r}))
    raise InputError(f"{key}: got {name!r}; allowed {FORMS} ({codes}, {groups}){hint}")


def read_grid(
    given: str | Path,
    *,
    kind: str = "average",
    basis: str = "AR6-100",
    loss: float | None = None,
    service_years: int = 1,
    first_year: int | None = None,
    key: str = "carbon.grid",
) -> Grid:
    """Factors of the grid the user names.

    Parameters
    ----------
    given : str or Path
        ``"0.39 kg/kWh"``; a region with or without a year, such as ``"RFCW 2023"`` (the latest without); or
        the path of a CSV file with 8760 rows of `kg_per_kwh`, or rows of `year`, `kg_per_kwh` that span the
        service life (straight between them). Numbers and files are at the meter.
    kind : str
        average | marginal, as the user labels it. The packaged regions are averages.
    basis : str
        Set of warming potentials, where the table has the gases apart.
    loss : float or None
        Loss of the grid as a share of what is generated, for a region whose factor is per kWh generated;
        None: that of the table (0 outside the US, whose tables have none). At the meter is generated over 1
        less the loss. Factors per kWh consumed (Canada's) have it in them.
    service_years : int
        Years of service.
    first_year : int or None
        First year of service; None: the first of the file.
    key : str
        Key of the scenario, for the messages.

    Raises
    ------
    InputError
        Naming the key or the file: unknown region or year, a marginal region, a loss beside a number, a file
        or a factor per kWh consumed, a column missing, rows that are not 8760, a value that is negative, no
        number or more than any grid has, years that do not rise or do not span the service life.

    Examples
    --------
    >>> grid = read_grid("RFCW 2023", basis="AR5-100")
    >>> round(float(grid.kgco2e_per_kwh[0, 0]), 4), grid.loss
    (0.4337, 0.042)
    """
    if kind not in KINDS:
        raise InputError(f"{key}: kind: got {kind!r}; allowed {', '.join(KINDS)}")
    warming(basis)
    text = str(given).strip()
    number = isinstance(given, str) and re.match(r"[-+−.\d]", text) is not None
    file = isinstance(given, Path) or text.lower().endswith(".csv")
    if loss is not None and (number or file):
        raise InputError(f"{key}: a grid loss goes with a region only: numbers and files are at the meter")
    if file:
        factors, year, source = _read_csv(Path(given), service_years, first_year)
        return Grid(Path(given).name, kind, factors, None, "", year, 0.0, source, "")
    if number:
        factor = read_quantity(text, MASS_FACTOR)
        if factor < 0.0:
            raise InputError(f"{key}: got {text!r}; allowed 0 kg/kWh or more")
        refuse(FACTOR, factor, key)
        return Grid(text, kind, np.full((1, 1), factor), None, "", None, 0.0, "as given by the user", "")
    return _of_region(text, kind, basis, loss, key)


def _of_region(text: str, kind: str, basis: str, loss: float | None, key: str) -> Grid:
    match = re.fullmatch(r"(.+?)(?:[\s,-]+((?:19|20)\d\d))?", text)
    name = _found(match[1] if match else text, key)
    wanted = int(match[2]) if match and match[2] else None
    rows = _regions()[name]
    row = next((r for r in rows if r.year == wanted), None) if wanted else rows[-1]
    if row is None:
        years = ", ".join(str(r.year) for r in rows)
        raise InputError(f"{key}: got {text!r}; allowed the year {years} for {name}")
    if kind == "marginal":
        raise InputError(
            f"{key}: got {text!r} as marginal; the packaged regions are averages: "
            "give a marginal factor as a number or a CSV file"
        )
    if row.metered and loss:
        raise InputError(
            f"{key}_loss: got {loss:g} with {name} {row.year}; allowed 0 or nothing: that factor is per kWh "
            "consumed, the loss of the grid is in it"
        )
    lost = row.loss if loss is None else loss
    if not 0.0 <= lost < 1.0:
        raise InputError(f"{key}: got a grid loss of {lost:g}; allowed 0 to below 1")
    gases = row.gases.times(1.0 / (1.0 - lost)) if row.gases else None
    factor = gases.kgco2e(basis) if gases else row.lumped / (1.0 - lost)
    stated = f"; over 1 less grid loss {lost:.3g}{'' if loss is None else ', as stated'}" if lost else ""
    source, status = cited(row.source)
    return Grid(
        name=f"{name} {row.year}",
        kind=kind,
        kgco2e_per_kwh=np.full((1, 1), factor),
        gases=gases,
        basis=basis if gases else "",
        year=row.year,
        loss=lost,
        source=source + stated,
        status=status,
    )


def _read_csv(path: Path, service_years: int, first_year: int | None) -> tuple[Array, int | None, str]:
    """Factors in the shape of `Grid.kgco2e_per_kwh`, first year of a trajectory, and source."""
    rows = read_rows(path, (COLUMN,), ("year", COLUMN))
    for row in rows:  # in this order: what is no number is said as such
        refuse(FACTOR, row.number(COLUMN), f"{path}: line {row.line}: column {COLUMN}")
    if "year" not in rows[0].cells:
        factors = hourly(rows, {COLUMN: (0.0, math.inf)})[COLUMN]
        return factors[None, :], None, f"hourly factors of {path.name}, as given by the user"
    factor = np.array([row.number(COLUMN) for row in rows])
    year = np.array([row.number("year") for row in rows])
    for row, this, above in zip(rows, year, np.concatenate(([-1.0], year)), strict=False):
        if this != np.floor(this) or this <= above or not FIRST_YEAR <= this <= LAST_YEAR:
            allowed = f"whole years of {FIRST_YEAR} to {LAST_YEAR}, each later than the one above"
            raise row.error("year", allowed)
    start = int(year[0]) if first_year is None else first_year
    served = start + np.arange(service_years)
    if served[0] < year[0] or served[-1] > year[-1]:
        raise InputError(
            f"{path}: got the years {year[0]:.0f} to {year[-1]:.0f}; allowed rows that span "
            f"the service life, {served[0]} to {served[-1]}"
        )
    source = f"yearly factors of {path.name}, as given by the user; straight between its years"
    return np.interp(served, year, factor)[:, None], start, source
