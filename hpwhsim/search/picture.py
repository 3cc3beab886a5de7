"""The cases of a search as a picture: the front of two objectives, or one objective from the best on."""

from collections.abc import Sequence
from textwrap import fill, shorten
from typing import TYPE_CHECKING, Any

from hpwhsim.io.figures import BLUE, ORANGE, house_style, png
from hpwhsim.results.declared import declared
from hpwhsim.results.records import bare
from hpwhsim.search.outcome import Found, Row
from hpwhsim.search.words import chosen_text, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LETTERS = "ABCDEFGHIJKL"  # cases that are named in the picture, at most
LINE = 44  # letters of a line beside the picture


def best_figure(found: Found) -> bytes:
    """What was tried, which keep the limits, and which lead; PNG."""
    from matplotlib.figure import Figure

    record = found.record
    with house_style():
        made = Figure(figsize=(10.0, 5.6), layout="constrained")
        left, right = made.subplots(1, 2, width_ratios=(1.9, 1.0))
        named = _front(left, found) if len(found.goals.objectives) > 1 else _ranked(left, found)
        _beside(right, found, named)
        title = shorten(str(record["title"]), 100, placeholder=" ...")
        search = record["search"]
        said = (
            f"all {search['combinations']:,} combinations simulated"
            if search["proven"]
            else f"{search['simulated']:,} of {search['combinations']:,} combinations simulated, best found"
        )
        run = f"tankyear {record['tool.version']}; scenario {record['scenario.sha256'][:12]}"
        made.suptitle(f"{title}\n{said}; {run}", x=0.01, ha="left", fontsize=9, parse_math=False)
        return png(made)


def _label(key: str) -> str:
    row = declared(bare(key))
    return f"{row.label[:1].upper()}{row.label[1:]} [{row.unit}]" if row.unit not in ("", "1") else row.label


def _split(found: Found) -> tuple[list[Row], list[Row]]:
    """Cases that keep every limit, and those with a year that do not."""
    others = [row for row in found.rows if not row.allowed and found.goals.has_year(row.tried)]
    return [row for row in found.rows if row.allowed], others


def _values(rows: Sequence[Row], key: str) -> list[float]:
    return [value for row in rows if (value := row.tried.figures[key]) is not None]


def _front(ax: "Axes", found: Found) -> list[Row]:
    """Two objectives against each other; the cases that are named."""
    first, second = found.goals.objectives
    allowed, others = _split(found)
    for rows, style in ((others, CROSS), (allowed, DOT)):
        if rows:
            ax.plot(_values(rows, first.key), _values(rows, second.key), **style)
    lead = sorted((row for row in allowed if row.front), key=lambda row: first.worth(row.tried))
    named = _some(lead)
    if lead:
        x, y = _values(lead, first.key), _values(lead, second.key)
        ax.plot(x, y, "o-", color=BLUE, linewidth=1.2, drawstyle="steps-post", label="Pareto front")
        _name(ax, found, named)
    ax.set_xlabel(_label(first.key))
    ax.set_ylabel(_label(second.key))
    _finish(ax)
    return named


def _ranked(ax: "Axes", found: Found) -> list[Row]:
    """One objective, from the best case on; the cases that are named."""
    (objective,) = found.goals.objectives
    allowed, others = _split(found)
    order = sorted([*allowed, *others], key=lambda row: (objective.worth(row.tried), row.case))
    places = {row.case: place for place, row in enumerate(order, 1)}
    for rows, style in ((others, CROSS), (allowed, DOT)):
        if rows:
            ax.plot([places[row.case] for row in rows], _values(rows, objective.key), **style)
    best = sorted(allowed, key=lambda row: places[row.case])[:6]
    if best:
        ax.plot(places[best[0].case], _values(best[:1], objective.key), "o", color=BLUE, label="best")
    for letter, row in zip(LETTERS, best, strict=False):
        value = row.tried.figures[objective.key]
        assert value is not None  # it is allowed
        ax.annotate(letter, (places[row.case], value), xytext=(0, -12), ha="center", **TEXT)
    ax.set_xlabel("place of the case by " + declared(bare(objective.key)).label)
    ax.set_ylabel(_label(objective.key))
    _finish(ax)
    return best


CROSS: dict[str, Any] = {
    "marker": "x",
    "linestyle": "",
    "color": ORANGE,
    "markersize": 5,
    "label": "misses a limit",
}
DOT: dict[str, Any] = {
    "marker": "o",
    "linestyle": "",
    "color": "0.72",
    "markersize": 4,
    "label": "keeps every limit",
}
TEXT: dict[str, Any] = {"textcoords": "offset points", "fontsize": 8.5, "fontweight": "bold"}


def _some(lead: Sequence[Row]) -> list[Row]:
    """At most as many as there are letters, the ends among them, evenly taken."""
    count = min(len(lead), len(LETTERS))
    places = {round(place * (len(lead) - 1) / max(count - 1, 1)) for place in range(count)}
    return [lead[place] for place in sorted(places)]


def _name(ax: "Axes", found: Found, named: Sequence[Row]) -> None:
    """Letters at the cases, on the side of the front where nothing lies."""
    first, second = found.goals.objectives
    right, up = (5 if first.most else -5), (4 if second.most else -10)
    for letter, row in zip(LETTERS, named, strict=False):
        x, y = (row.tried.figures[one.key] for one in found.goals.objectives)
        assert x is not None
        assert y is not None
        ax.annotate(letter, (x, y), xytext=(right, up), ha="left" if first.most else "right", **TEXT)


def _finish(ax: "Axes") -> None:
    from matplotlib.ticker import StrMethodFormatter

    ax.grid(color="0.9", linewidth=0.6)
    ax.margins(0.08)
    for axis in (ax.xaxis, ax.yaxis):
        ends = axis.get_view_interval()
        if max(map(abs, ends)) >= 1000.0:
            axis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    ax.legend(loc="best", frameon=True, framealpha=0.9, edgecolor="0.8")


def _beside(ax: "Axes", found: Found, named: Sequence[Row]) -> None:
    """What the letters stand for."""
    ax.axis("off")
    lines = []
    for letter, row in zip(LETTERS, named, strict=False):
        figures = ", ".join(figure(one.key, row.tried.figures[one.key]) for one in found.goals.objectives)
        said = chosen_text(found.record, row.values)
        lines.append(fill(f"{letter}  {figures}: {said}", LINE, subsequent_indent="    "))
    if not lines:
        lines.append("no case keeps every limit")
    lines.append("")
    for limit in found.goals.limits:
        bound = "at least" if limit.above else "at most"
        lines.append(fill(f"limit: {limit.key} {bound} {figure(limit.key, limit.value)}", LINE))
    ax.text(0.0, 1.0, "\n".join(lines), va="top", fontsize=7.5, transform=ax.transAxes, parse_math=False)
