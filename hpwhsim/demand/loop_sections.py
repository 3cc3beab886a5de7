"""The sections of a hot-water loop: a user's list, or a building's risers.

A loop is a list of sections, each fed by others or by the plant. A section may stand for several alike in
parallel, each with its share of the loop's flow: the flow is taken as balanced, as balancing valves make it.
"""

from pathlib import Path
from typing import Literal, NamedTuple

from hpwhsim.demand.loop_pipes import supply_size, tubes
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.user_csv import read_rows

MOST_SECTIONS = 1000
Side = Literal["supply", "return"]


class Section(NamedTuple):
    """A stretch of pipe, or several alike in parallel."""

    size: str  # nominal, as in tables/copper_tubes.csv
    length: float  # of one of them, m
    insulation: float  # thickness, m; 0: bare
    ambient: float  # air around it, °C
    side: Side
    fed_by: tuple[int, ...]  # sections, by their place in the list, whose water it carries; empty: the plant
    share: float = 1.0  # of the loop's flow in one of them
    parallel: int = 1  # alike, side by side


def read_sections(path: str | Path) -> list[Section]:
    """Sections of a loop from the user's CSV file, one after the other in the direction of flow.

    Columns: ``size`` (such as 3/4 in or 22 mm), ``length_m`` (of one pipe), ``insulation_mm`` (0: bare),
    ``ambient_c``, ``side`` (supply or return) and ``parallel`` (pipes alike, side by side, that share the
    flow evenly). Lines that start with ``#`` are comments.

    Raises
    ------
    InputError
        If the file or a value is wrong, or a supply section follows one of the return.
    """
    found: list[Section] = []
    rows = read_rows(path, ("size", "length_m", "insulation_mm", "ambient_c", "side", "parallel"))
    if len(rows) > MOST_SECTIONS:
        allowed = f"allowed at most {MOST_SECTIONS}: pipes alike side by side are one, counted as parallel"
        raise InputError(f"{path}: got {len(rows):,} sections; {allowed}")
    for row in rows:
        if row.cells["size"] not in tubes():
            raise row.error("size", ", ".join(tubes()))
        if row.cells["side"] not in ("supply", "return"):
            raise row.error("side", "supply or return")
        side: Side = "supply" if row.cells["side"] == "supply" else "return"
        if found and found[-1].side == "return" and side == "supply":
            raise row.error("side", "sections in the direction of flow: no supply after a return")
        parallel = row.number("parallel", 1.0, 10_000.0)
        if parallel != int(parallel):
            raise row.error("parallel", "a whole number")
        found.append(
            Section(
                size=row.cells["size"],
                length=row.number("length_m", 0.0, 10_000.0),
                insulation=row.number("insulation_mm", 0.0, 300.0) / 1e3,
                ambient=row.number("ambient_c", -50.0, 60.0),
                side=side,
                fed_by=(len(found) - 1,) if found else (),
                share=1.0 / parallel,
                parallel=int(parallel),
            )
        )
    return found


def riser_sections(
    *,
    risers: int,
    floors: int,
    apartments_per_riser: float,
    main_length: float,
    riser_spacing: float,
    floor_height: float,
    main_insulation: float,
    riser_insulation: float,
    main_ambient: float,
    riser_ambient: float,
    main_size: str | None = None,
    riser_size: str | None = None,
    return_main_size: str = "1 in",
    return_riser_size: str = "3/4 in",
) -> list[Section]:
    """Sections of a building with equal risers along one main, each riser with its return pipe beside it.

    The return main runs back along the supply main, so that the last riser has the longest way (direct
    return). Supply pipes without a size get thinner with the apartments still to serve (`supply_size`).

    Parameters
    ----------
    risers, floors : int
        Risers on the main, and floors that each serves.
    apartments_per_riser : float
        Spread evenly over the floors.
    main_length, riser_spacing, floor_height : float
        Plant to first riser, riser to riser, floor to floor. [m]
    main_insulation, riser_insulation : float
        Thickness, of supply and return alike; 0: bare. [m]
    main_ambient, riser_ambient : float
        Air around mains and risers. [°C]
    main_size, riser_size : str or None
        One nominal size all along; None: by the apartments still to serve.
    return_main_size, return_riser_size : str
        Nominal sizes.

    Returns
    -------
    list of Section
        In the direction of flow; the last one ends at the plant.

    Raises
    ------
    OutOfRangeError
        If there is no riser or floor, or a pipe has more apartments than the packaged table of flows.
    """
    if risers < 1 or floors < 1:
        raise OutOfRangeError(f"loop: got {risers} risers of {floors} floors; allowed 1 or more of each")
    found: list[Section] = []

    def add(
        size: str, length: float, side: Side, fed_by: tuple[int, ...], left: float, riser: bool = False
    ) -> int:
        insulation, ambient = (riser_insulation, riser_ambient) if riser else (main_insulation, main_ambient)
        found.append(Section(size, length, insulation, ambient, side, fed_by, left / risers))
        return len(found) - 1

    lengths = [main_length] + [riser_spacing] * (risers - 1)
    mains: list[int] = []
    for first, length in enumerate(lengths):
        left = risers - first
        size = main_size or supply_size(max(left * apartments_per_riser, 1.0))
        mains.append(add(size, length, "supply", (mains[-1],) if mains else (), left))
    served = [apartments_per_riser * (floors - floor) / floors for floor in range(floors)]
    sizes = [riser_size or supply_size(max(apartments, 1.0)) for apartments in served]
    feet = []  # of the return risers
    for main in mains:
        last = main
        for size in sizes:
            last = add(size, floor_height, "supply", (last,), 1, riser=True)
        feet.append(add(return_riser_size, floors * floor_height, "return", (last,), 1, riser=True))
    behind: tuple[int, ...] = ()
    for first in reversed(range(risers)):
        fed_by = (feet[first], *behind)
        behind = (add(return_main_size, lengths[first], "return", fed_by, risers - first),)
    return found
