"""The one table of sources: what stands behind packaged values, defaults and cautions, and how it is known.

A text names sources by their ids in square brackets, such as ``"[cfr-431-110]; made 2020-01-01"``. What a
reader sees is the citation, and its status beside it.
"""

import re
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from hpwhsim.tables import read_plain

VERIFIED, SECONDARY, UNVERIFIED = "verified", "secondary", "unverified"
STATUSES = (UNVERIFIED, SECONDARY, VERIFIED)
"""From the weakest."""

NO_DOCUMENT = ("tankyear-default", "common-practice", "invented")
"""Sources that are no documents; a text may name them by their words too."""

_ID = re.compile(r"\[([a-z][a-z0-9-]+)\]")


class Source(NamedTuple):
    """One row of the table."""

    id: str
    citation: str
    status: str  # verified | secondary | unverified
    how: str  # it is known
    licence: str


class Cited(NamedTuple):
    """A text with its citations spelt out."""

    text: str
    status: str  # the weakest of its sources; empty where it names none

    def __str__(self) -> str:
        return f"{self.text} ({self.status})" if self.status else self.text


@cache
def sources() -> dict[str, Source]:
    """Rows of the table by id.

    Raises
    ------
    ValueError
        If an id comes twice or a status is not one of `STATUSES`.
    """
    found: dict[str, Source] = {}
    for row in read_plain("sources"):
        source = Source(**row)
        if source.id in found or source.status not in STATUSES:
            raise ValueError(f"sources.csv: {source.id}: an id that comes twice, or a status that is none")
        found[source.id] = source
    return found


def cited(text: str) -> Cited:
    """A text with the ids in it replaced by citations, and the weakest status of them.

    Raises
    ------
    KeyError
        If the table has no such id.

    Examples
    --------
    >>> cited("[gwp-definition]")
    Cited(text='by definition of the warming potential', status='verified')
    >>> str(cited("5 W/ft; [common-practice]"))
    '5 W/ft; common practice, no source (unverified)'
    >>> str(cited("found from the rating"))
    'found from the rating'
    """
    table = sources()
    found = [table[name] for name in _ID.findall(text)]
    found += [table[name] for name in NO_DOCUMENT if table[name].citation in text]
    spelt = _ID.sub(lambda match: table[match[1]].citation, text)
    return Cited(spelt, min((source.status for source in found), key=STATUSES.index, default=""))


def assumption(key: str, value: str, source: str, status: str = "") -> dict[str, str]:
    """A row of the list of assumptions: key, value, citation and status.

    Parameters
    ----------
    key, value : str
        As in the scenario, with its unit.
    source : str
        A text with ids of the table.
    status : str
        Of a citation that is spelt out already.

    Examples
    --------
    >>> assumption("plant.storage.tanks", "1", "[tankyear-default]: one tank")["status"]
    'unverified'
    """
    found = cited(source)
    return {"key": key, "value": value, "source": found.text, "status": status or found.status}


OPEN = (
    "demand_end_uses: 0.18 baths per shower follow from the daily volumes of the Building America House "
    "Simulation Protocols, 2010, Table 11 (secondary, several restatements), which supersede the 0.079 of "
    "the event schedules of the same publisher of 2007 (secondary, one lineage). The counts of those "
    "schedules are not met.",
    "demand_by_building_size: the temperature of its litres was not found; they are taken as water of 49 "
    "degC.",
    "demand_patterns: of multifamily the clock hours of morning and evening, the course within them and the "
    "weekend were not seen, and are filled in.",
    "demand_season: the metered factors are of dwellings in general; the metered size is of apartments in "
    "one cool country, whose mains were not seen.",
    "refrigerant_safety: the concentration limit of R-454B was withdrawn as an error; the new one was not "
    "read.",
    "refrigerants: the US rule's own figures of R-1234ze(E), R-600a and R-717 were not read; AR4 stands for "
    "them.",
    "heater_standards: whether the rows of 6 October 2026 are in force is before the courts.",
)
"""What is known to be open, beside sources that were not read."""


def unverified_text() -> str:
    """The page docs/unverified.md: packaged values whose source was not read, by source, and what is open."""
    users: dict[str, dict[str, None]] = {}
    for path in sorted(files("hpwhsim.tables").iterdir(), key=lambda path: path.name):
        name = path.name.removesuffix(".csv")
        if not path.name.endswith(".csv") or name == "sources":
            continue
        rows = read_plain(name)
        for column in [column for column in rows[0] if column.endswith("source")]:
            for row in rows:
                for one in row[column].split():
                    part = column.removesuffix("_source")
                    user = name if part == "source" else f"{name} ({part})"
                    users.setdefault(one, {})[user] = None
    lines = [
        "# What is unverified",
        "",
        "Values whose document was not read, by source, with the packaged tables that rest on them. Defaults",
        "of the scenario that rest on them say so in the record, in the column `status` of the assumptions.",
        "`hpwhsim.tables.sources.unverified_text()` writes this page; a test holds it.",
        "",
        *(
            f"* {source.citation}{': ' if source.id in users else ''}{', '.join(users.get(source.id, ()))}"
            for source in sources().values()
            if source.status == UNVERIFIED
        ),
        "",
        "Open beside that:",
        "",
        *(f"* {text}" for text in OPEN),
    ]
    return "\n".join(lines) + "\n"
