"""The frame of a page: a document, what its script adds, style and scripts in one file."""

import json
import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple, cast

from hpwhsim.io.plain_text import visible
from hpwhsim.sections.parts import Document, Part, Picture, Section, Table

HERE = Path(__file__).parent
KINDS = {"l": "words", "r": "number", "u": "unit"}
"""Classes of cells by the alignment of their column."""


class Chart(NamedTuple):
    """A picture that the script draws."""

    name: str
    caption: str
    words: str  # what it shows and how it is read


class Hours(NamedTuple):
    """The hourly series, to be zoomed and read."""

    words: str = (
        "Drag over a field to zoom into all of them, double-click for the whole year. Keys: left and right "
        "move by an hour, with Shift by a day; plus and minus zoom; Page Up and Page Down move; Home shows "
        "the whole year. Energy of an hour is shown as its mean power."
    )
    stretches: Sequence[str] = ("whole year", "coldest week", "warmest week", "peak-use day")
    keys: Mapping[str, str] = {"+": "zoom in", "-": "zoom out", "PageUp": "earlier", "PageDown": "later"}


class Card(NamedTuple):
    """A figure that stands first."""

    label: str
    unit: str
    key: str
    value: float
    text: str


class Cards(NamedTuple):
    """Figures that stand first."""

    cards: Sequence[Card]


class Choice(NamedTuple):
    """A choice that the script follows."""

    name: str
    label: str
    options: Mapping[str, str]  # value and what it is called


class Against(NamedTuple):
    """Paragraphs that stand there while a scenario is the base."""

    base: int
    parts: Sequence[Part]


class Details(NamedTuple):
    """A table that is opened by who wants it."""

    caption: str
    table: Table


PagePart = Part | Chart | Hours | Cards | Choice | Against | Details


def with_parts(
    content: Document,
    before: Mapping[str, Sequence[PagePart]],
    new: Mapping[str, Sequence[PagePart]],
    after: str,
) -> Document:
    """A document with parts before those of its sections, and new sections behind the one named."""
    sections: list[Section] = []
    for section in content.sections:
        parts = [*before.get(section.title, ()), *section.parts]
        sections.append(section._replace(parts=cast("Sequence[Part]", parts)))
        if section.title == after:
            sections += [
                Section(title, cast("Sequence[Part]", parts)) for title, parts in new.items() if parts
            ]
    return content._replace(sections=sections)


def html(
    content: Document,
    pictures: Mapping[str, bytes],
    data: Mapping[str, Any] | None = None,
    scripts: Sequence[str] = (),
    inch_pound: Mapping[str, tuple[bytes, str]] | None = None,
) -> bytes:
    """A document as HTML; whatever it says is text, and is escaped.

    Parameters
    ----------
    content : Document
        What is said.
    pictures : mapping of str to bytes
        Drawings as SVG by the names under which the document shows them.
    data : mapping, optional
        What the scripts read; without it nothing runs on the page.
    scripts : sequence of str
        Names of our scripts, which run as one.
    inch_pound : mapping of str to (bytes, str), optional
        Drawings that are another one in inch-pound units, with their words.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    def safe(value: object) -> object:
        return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    def kind(part: Part) -> str:
        return type(part).__name__

    def drawings(part: Picture) -> list[tuple[str, str, Markup]]:
        """In which units, in which words, and the drawing itself."""
        name, other = part.name.partition(".")[0], (inch_pound or {}).get(part.name)
        both = Markup(themed(pictures[part.name].decode(), name))
        if other is None:
            return [("", part.alternative, both)]
        us = Markup(themed(other[0].decode(), f"{name}-us"))
        return [("si", part.alternative, both), ("us", other[1], us)]

    frames = Environment(
        loader=FileSystemLoader(HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=safe,
    )
    style = _packaged("page.css")
    run: list[str] = []
    if data is not None:
        style = _packaged("uplot/uPlot.min.css") + style
        licence = _packaged("uplot/LICENSE")
        run = [f"/*\n{licence}*/\n{_packaged('uplot/uPlot.iife.min.js')}"]
        run.append("\n".join(_packaged(name) for name in scripts))
    sums = " ".join(f"'sha256-{b64encode(sha256(one.encode()).digest()).decode()}'" for one in run)
    frame = frames.get_template("page.html.jinja")
    text = frame.render(
        content=content,
        kind=kind,
        drawings=drawings,
        kinds=KINDS,
        style=Markup(style),
        units="us" if data is not None and data["us"] else "si",
        scripts=[Markup(one) for one in run],
        allowed=Markup(f"; script-src {sums}" if run else ""),
        data=Markup(json_text(data)) if data is not None else "",
    )
    return f"{text}\n".encode()


def json_text(data: Mapping[str, Any]) -> str:
    """Data as JSON that may stand between the tags of a script."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def themed(svg: str, name: str) -> str:
    """A drawing to stand within a page: colours of ink and paper follow the page, its ids are its own."""
    inside = svg[svg.index("<svg") :]
    inside = re.sub(r"<metadata>.*?</metadata>|<style[^>]*>.*?</style>", "", inside, flags=re.DOTALL)
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', inside))
    inside = re.sub(r' id="([^"]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", inside)
    inside = re.sub(r'(href="#|url\(#)', rf"\1{name}-", inside)
    for colour, ours in THEME.items():
        inside = re.sub(rf"{colour}\b", f"var(--{ours})", inside, flags=re.IGNORECASE)
    return re.sub(r'(<svg\b[^>]*?) role="img"', r'\1 aria-hidden="true"', inside, count=1)


THEME = {
    "#000000": "ink",
    "#ffffff": "paper",
    "#595959": "dim",
    "#666666": "dim",
    "#808080": "grey",
    "#8c8c8c": "grey",
    "#0072B2": "blue",
    "#D55E00": "red",
}
"""Colours of a drawing that dark paper has otherwise."""


def _packaged(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")
