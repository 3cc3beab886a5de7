"""What is said of a block: totals, peaks by month and in named hours, each entry, ranks and cautions."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

import hpwhsim
from hpwhsim.account.calendar import MONTH_NAMES, hour_name
from hpwhsim.account.energy import MONTH_STARTS
from hpwhsim.arrays import Array
from hpwhsim.blocks.entries import Buildings, Entry
from hpwhsim.blocks.sums import ADDS, ASKED, MONTHLY, Block, Part, Power
from hpwhsim.errors import InputError
from hpwhsim.evaluation.draw_years import is_random
from hpwhsim.results.declared import declared, record_keys
from hpwhsim.simulation.year import ONE_SEED

Record = dict[str, Any]

PER_APARTMENT = "/apartment"
SHOWN = (
    "electricity_kwh",
    "fuel_kwh",
    "heat_to_taps_kwh",
    "recirculation_loss_kwh",
    "unmet_kwh",
    "short_litres",
)
"""Sums that a record has even where all of them are 0."""
RANKED = (
    "total_kgco2e/apartment",
    "electricity_kwh/apartment",
    "energy_cost/apartment",
    "peak_kw/apartment",
    "at_peak_kw",
    "cop_plant",
    "short_hours",
    "savings.kgco2e",
    "savings.cost_usd",
    "total_kgco2e",
    "electricity_kwh",
    "peak_kw",
)
"""Figures that the page offers to rank by; the first that all entries have is taken unless one is named."""


def block_record(buildings: Buildings, block: Block, rank_by: str | None = None) -> Record:
    """The block as one record, as `tankyear block --json` prints it.

    Parameters
    ----------
    buildings : Buildings
        What was read.
    block : Block
        What was simulated.
    rank_by : str or None
        Figure of the rows to rank by, with `PER_APARTMENT` behind it over the number of apartments.

    Raises
    ------
    InputError
        If no entry could be simulated, or not all have the figure to rank by.
    """
    entries = [entry for entry in buildings.entries if entry.name in block.parts]
    if not entries:
        why = next(iter(block.failed.values()))
        raise InputError(f"{buildings.path}: no building could be simulated: {why}")
    parts = [block.parts[entry.name] for entry in entries]
    places = {name: at for at, name in enumerate(block.parts)}
    peak = int(np.argmax(block.power.quarter_kw))
    at_peak = block.series(slice(peak, peak + 1))[:, 0]
    adds = [key for key in ADDS if any(part.figures.get(key) for part in parts) or key in SHOWN]
    rows = [
        _row(entry, part, float(at_peak[places[entry.name]]), adds)
        for entry, part in zip(entries, parts, strict=True)
    ]
    return {
        "title": f"Block of buildings: {buildings.path.stem}",
        "tool.version": hpwhsim.__version__,
        "table": buildings.path.name,
        "table.sha256": buildings.sha256,
        "overrides": list(buildings.overrides),
        "weather.stations": list(dict.fromkeys(str(part.record["weather.station"]) for part in parts)),
        "buildings": sum(entry.buildings for entry in entries),
        "plants": sum(entry.plants for entry in entries),
        "apartments": sum(entry.apartments for entry in entries),
        "totals": _totals(rows, adds),
        "peak": _peak(block.power.quarter_kw, block.power.peaks, block.baseline, slice(None)),
        "months": list(_months(block, parts)),
        "hours": list(_named(block)),
        "peak_day": _peak_day(block, entries, peak),
        "fields": list(block.fields.values()),
        "rank": rank(rows, rank_by),
        "rows": rows,
        "failed": [{"building": name, "message": text} for name, text in block.failed.items()],
        "cautions": list(_cautions(entries, parts, block, rows)),
    }


# -- rows and totals -----------------------------------------------------------------------------------


def _row(entry: Entry, part: Part, at_peak_kw: float, adds: Sequence[str]) -> Record:
    """What an entry gave."""
    figures, power = part.figures, part.power
    bought = figures["electricity_kwh"] + figures.get("fuel_kwh", 0.0)
    useful = figures["heat_to_taps_kwh"] + figures["recirculation_loss_kwh"]
    return {
        "building": entry.name,
        "scenario": entry.lines[0].scenario.name,
        "serves": [line.name for line in entry.lines] if entry.shared else [],
        "field": entry.field,
        "buildings": entry.buildings,
        "plants": entry.plants,
        "apartments": entry.apartments,
        "seeds": entry.seeds(),
        "peak_kw": part.peak_kw,
        "peaks_kw": power.peaks,
        "at_peak_kw": at_peak_kw,
        "cop_plant": useful / bought if bought > 0.0 else None,
        "short_hours": part.short_hours,
        **{key: figures.get(key, 0.0) for key in adds},
        **{key: figures.get(key) for key in ASKED},
    }


def _totals(rows: Sequence[Record], adds: Sequence[str]) -> Record:
    """Sums over all rows; None where a row has no such figure."""
    found: Record = {key: sum(row[key] for row in rows) for key in adds}
    for key in ASKED:
        values = [row[key] for row in rows]
        found[key] = None if None in values else sum(values)
    bought = found["electricity_kwh"] + found["fuel_kwh"]
    useful = found["heat_to_taps_kwh"] + found["recirculation_loss_kwh"]
    found["cop_plant"] = useful / bought if bought > 0.0 else None
    return found


def figure(row: Mapping[str, Any], key: str) -> float | None:
    """A figure of a row, over its apartments where its key says so."""
    value = row.get(key.removesuffix(PER_APARTMENT))
    if not isinstance(value, int | float):
        return None
    return value / row["apartments"] if key.endswith(PER_APARTMENT) else value


def more_is_better(key: str) -> bool:
    """Whether the best has the most of a figure."""
    bare = key.removesuffix(PER_APARTMENT)
    return bare not in ("peaks_kw", "at_peak_kw") and declared(bare).more_is == "better"


def refuse_rank(by: str | None) -> None:
    """Refuse to rank by what no record has, before any year is simulated.

    Raises
    ------
    InputError
        Naming the figure.
    """
    known = {one.name for one in record_keys()} | {key.removesuffix(PER_APARTMENT) for key in RANKED}
    if by is not None and by.removesuffix(PER_APARTMENT) not in known:
        raise InputError(
            f"--rank {by}: unknown figure; allowed one that every row has, such as {', '.join(RANKED)}; "
            f"{PER_APARTMENT} behind it divides by the apartments"
        )


def rank(rows: Sequence[Record], by: str | None) -> Record:
    """The entries in the order of a figure, the best first.

    Raises
    ------
    InputError
        If a row has no such figure.
    """
    numbers = [key for key, value in rows[0].items() if isinstance(value, int | float)]
    had = [key for key in RANKED if all(figure(row, key) is not None for row in rows)]
    if by is None:
        by = had[0]
    elif by.removesuffix(PER_APARTMENT) not in numbers or any(figure(row, by) is None for row in rows):
        raise InputError(
            f"--rank {by}: allowed a figure that every row has, such as {', '.join(had)}; {PER_APARTMENT} "
            "behind it divides by the apartments"
        )
    better = more_is_better(by)
    values = [(figure(row, by) or 0.0, row["building"]) for row in rows]
    values.sort(key=lambda pair: -pair[0] if better else pair[0])
    return {
        "by": by,
        "best": "most" if better else "least",
        "order": [{"building": name, "value": value} for value, name in values],
    }


# -- power ---------------------------------------------------------------------------------------------


def _time(quarter: int) -> str:
    """Month-day hour:minute at which a quarter of an hour starts: the year is nominal."""
    time = np.datetime64("2001-01-01T00:00") + np.timedelta64(15 * quarter, "m")
    return str(time)[5:].replace("T", " ")


def _peak(quarter_kw: Array, peaks: float, baseline: Power | None, of: Any) -> Record:
    """The coincident peak of some quarters, beside the sum of what each plant peaks at in them."""
    quarters = np.arange(quarter_kw.size)[of]
    at = int(quarters[np.argmax(quarter_kw[of])])
    kw = float(quarter_kw[at])
    theirs = None if baseline is None else float(baseline.quarter_kw[of].max())
    return {
        "coincident_kw": kw,
        "time": _time(at),
        "weekday": hour_name(at // 4)[:3],
        "sum_kw": peaks,
        "diversity_factor": peaks / kw if kw > 0.0 else None,
        "mean_kw": float(quarter_kw[of].mean()),
        "baseline_coincident_kw": theirs,
        "saved_kw": None if theirs is None else theirs - kw,
    }


def _peak_day(block: Block, entries: Sequence[Entry], peak: int) -> Record:
    """Power of every entry by the quarter of an hour on the day of the peak. [kW]"""
    first = peak // 96 * 96
    places = {name: at for at, name in enumerate(block.parts)}
    day = block.series(slice(first, first + 96))
    return {"day": _time(first)[:5], "kw": {one.name: day[places[one.name]].tolist() for one in entries}}


def _months(block: Block, parts: Sequence[Part]) -> Iterator[Record]:
    starts = [*(4 * MONTH_STARTS).tolist(), block.power.quarter_kw.size]
    for month, name in enumerate(MONTH_NAMES):
        of = slice(starts[month], starts[month + 1])
        sums = {key: float(sum(part.monthly[key][month] for part in parts)) for key in MONTHLY}
        peaks = float(block.power.months[month])
        yield {"month": name, **sums, **_peak(block.power.quarter_kw, peaks, block.baseline, of)}


def _named(block: Block) -> Iterator[Record]:
    for hours, peaks in zip(block.hours, block.power.named, strict=True):
        found = _peak(block.power.quarter_kw, float(peaks), block.baseline, hours.mask)
        yield {"name": hours.name, "hours": hours.words, **found}


# -- cautions ------------------------------------------------------------------------------------------


def _cautions(
    entries: Sequence[Entry], parts: Sequence[Part], block: Block, rows: Sequence[Record]
) -> Iterator[Record]:
    """What the block must not be read without, each with the entries that it is said of; empty: of all."""

    def said(text: str, names: Sequence[str] = ()) -> Record:
        return {"text": text, "buildings": list(names)}

    if block.failed:
        yield said("could not be simulated, and the totals are without them", list(block.failed))
    for key in ("total_kgco2e", "energy_cost", "savings.kgco2e"):
        without = [row["building"] for row in rows if row[key] is None]
        if 0 < len(without) < len(rows):
            yield said(f"{declared(key).label}: no total, because these do not ask for it", without)
    stations = dict.fromkeys(str(part.record["weather.station"]) for part in parts)
    if len(stations) > 1:
        yield said(
            f"{len(stations)} weather files: typical years of different places do not have their cold days "
            f"together, and the coincident peak is that of these years: {'; '.join(stations)}"
        )
    smooth = [entry.name for entry in entries if not is_random(entry.loaded[0].scenario)]
    if smooth:
        yield said(
            "smooth draws: plants that do the same at once; peaks of buildings with random draws are higher "
            "and the diversity factor is larger",
            smooth,
        )
    if len(smooth) < len(entries):
        yield said(
            "one year of random draws of each building gives the coincident peak; --set hot_water.seed=N "
            "gives another one of the whole block"
        )
    yield from (said(text, names) for text, names in _same_seeds(entries))
    for found in block.fields.values():
        if not found["settled"]:
            yield said(
                f"bore field {found['field']}: after {found['passes']} passes the monthly mean of the fluid "
                f"still moves by {found['month_moved_k']:.2f} K"
            )
    yield from _alike(entries, parts)


def _same_seeds(entries: Sequence[Entry]) -> Iterator[tuple[str, list[str]]]:
    """Seeds that rows were given twice: their draws are not independent."""
    names: dict[int, list[str]] = {}
    for entry in entries:
        for seed in entry.seeds():
            names.setdefault(seed, []).append(entry.name)
    for seed, owners in names.items():
        if len(owners) > 1:
            yield f"the same seed {seed}: their draws are not independent of each other", owners


def _alike(entries: Sequence[Entry], parts: Sequence[Part]) -> Iterator[Record]:
    """Cautions of the plants; those that differ in numbers alone are one, in the words of the first."""
    found: dict[str, Record] = {}
    for entry, part in zip(entries, parts, strict=True):
        for text in part.cautions:
            if text.startswith(ONE_SEED):
                continue  # said of the block
            alike = re.sub(r"\d+(?:[.,]\d+)*", "0", text)
            row = found.setdefault(alike, {"text": text, "buildings": []})
            if entry.name not in row["buildings"]:
                row["buildings"].append(entry.name)
    for row in found.values():
        yield row | {"buildings": row["buildings"] if len(row["buildings"]) < len(entries) else []}
