"""The best case, those behind it and the front, on a screen and as CSV."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from io import StringIO
from textwrap import wrap
from typing import Any

from hpwhsim.results.declared import declarations
from hpwhsim.results.files import record_text
from hpwhsim.results.numbers import MINUS
from hpwhsim.results.records import bare
from hpwhsim.search.outcome import Found, rows_of
from hpwhsim.search.picture import best_figure
from hpwhsim.search.words import chosen_text, figure

Record = Mapping[str, Any]
WIDTH = 100
MOST_FRONT = 20  # cases of the front on a screen


def best_files(found: Found) -> dict[str, bytes]:
    """Content of the files by name."""
    return {
        "best.json": record_text(found.record).encode(),
        "best.csv": best_csv(found).encode(),
        "best.png": best_figure(found),
    }


def best_screen(found: Found, json: bool) -> str:
    """What a search found as text, or as its record."""
    return record_text(found.record) if json else best_text(found.record)


def best_text(record: Record) -> str:
    """What a search found."""
    lines = [str(record["title"]), *_searched(record), ""]
    if not record["best"]:
        lines.append("No case keeps every limit")
    for best in record["best"]:
        lines += [*_best(record, best), ""]
    lines += _limits(record)
    if len(record["objectives"]) > 1 and record["front"]:
        lines += _front(record)
    for item in record["failures"]:
        lines += _wrapped(f"no year, {_cases(item['cases'])}, first {item['first']}: {item['message']}")
    for item in record["cautions"]:
        lines += _wrapped(f"caution, {_cases(item['cases'])}, first {item['first']}: {item['text']}")
    return "\n".join(lines) + "\n"


def _searched(record: Record) -> Iterator[str]:
    search = record["search"]
    many = f"{search['combinations']:,} combinations"
    if search["proven"]:
        yield f"{many}, all of them simulated: the best is proven"
    else:
        yield (
            f"{search['simulated']:,} of {many} simulated by {search['method']}, seed {search['seed']}: the "
            "best found, not proven"
        )
    missed = search["simulated"] - record["failed"] - record["allowed"]
    yield f"{record['allowed']:,} keep every limit, {missed:,} miss one, {record['failed']:,} have no year"
    yield from record["conditions"]


def _best(record: Record, best: Record) -> Iterator[str]:
    """The best by one objective."""
    key = best["objective"]
    row = next(one for one in record["objectives"] if one["key"] == key)
    yield f"{row['sought'].capitalize()} {key}: {figure(key, best['figures'][key])} (case {best['case']})"
    wide = max((len(name) for name in best["values"]), default=0)
    for name, value in best["values"].items():
        yield f"  {name:<{wide}}  {value}"
    others = [name for name in best["figures"] if name != key]
    for name in others:
        if best["figures"][name] is not None:
            yield f"  {name:<{wide}}  {figure(name, best['figures'][name])}"
    if best["alike"]:
        yield f"  as good: case {', '.join(map(str, best['alike'][:8]))}"
    if best["next"]:
        yield "  behind it"
        for other in best["next"]:
            said = chosen_text(record, other["values"])
            yield f"    {_behind(other, key):>8}  case {other['case']}: {said}"


def _behind(other: Record, key: str) -> str:
    share = other["behind_share"]
    if share is None:
        return figure(key, other["behind"])
    return f"{share:+.2%}".replace("-", MINUS)


def _limits(record: Record) -> Iterator[str]:
    for limit in record["limits"]:
        bound = "at least" if limit["bound"] == "min" else "at most"
        binds = "binds" if limit["without"] else "does not bind"
        value = figure(limit["key"], limit["value"])
        yield f"Limit {limit['key']} {bound} {value}: {binds}, missed by {limit['missed_by']:,}"
        for other in limit["without"]:
            key, said = other["objective"], chosen_text(record, other["values"])
            yield f"  without it {key} {figure(key, other['figures'][key])}, case {other['case']}: {said}"


def _front(record: Record) -> Iterator[str]:
    """Cases that no other betters, at most `MOST_FRONT` of them, evenly taken."""
    keys = [one["key"] for one in record["objectives"]]
    front: Sequence[Record] = record["front"]
    yield f"Pareto front of {keys[0]} and {keys[1]}: {_cases(len(front))}"
    count = min(len(front), MOST_FRONT)
    places = [round(place * (len(front) - 1) / max(count - 1, 1)) for place in range(count)]
    rows = [[figure(key, front[place]["figures"][key]) for key in keys] for place in places]
    wide = [max(len(row[column]) for row in rows) for column in range(2)]
    for place, row in zip(places, rows, strict=True):
        one = front[place]
        cells = "  ".join(cell.rjust(w) for cell, w in zip(row, wide, strict=True))
        yield f"  {cells}  case {one['case']}: {chosen_text(record, one['values'])}"
    if count < len(front):
        yield f"  and {len(front) - count} between them, in best.csv"


def _cases(count: int) -> str:
    return f"{count:,} case{'' if count == 1 else 's'}"


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, subsequent_indent="  ")


def best_csv(found: Found) -> str:
    """A row for each case that was tried, with units in a comment line."""
    rows = list(rows_of(found))
    keys = list(dict.fromkeys(key for row in rows for key in row))
    stream = StringIO()
    declared = [(key, declarations()[bare(key)].unit) for key in keys if bare(key) in declarations()]
    stream.write(
        "# " + "; ".join(f"{key} [{unit}]" for key, unit in declared if unit not in ("", "1")) + "\n"
    )
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(keys)
    for row in rows:
        cells = (row.get(key) for key in keys)
        writer.writerow(
            ["" if cell is None else repr(cell) if isinstance(cell, float) else cell for cell in cells]
        )
    return stream.getvalue()
