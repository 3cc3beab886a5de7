"""A page in both systems: its figures follow the switch of units, its sentences carry both.

Cautions, checks, sources and what the modeler wrote stand in one system, and get the other one in brackets.
"""

from collections.abc import Sequence
from typing import cast

from hpwhsim.results.both_units import both
from hpwhsim.results.texts import Exact, Phrase
from hpwhsim.sections.parts import Document, Listing, Part, Picture, Table, Text, Typed


def with_both(content: Document) -> Document:
    """A document whose sentences and cells are in both systems; figures that follow the switch stay."""
    sections = [
        section._replace(parts=[_part(part) for part in section.parts]) for section in content.sections
    ]
    return content._replace(front=[cast(Text, _part(text)) for text in content.front], sections=sections)


def _cell(text: str) -> str:
    return text if isinstance(text, Exact | Phrase | Typed) else both(text)


def _row(row: Sequence[str], align: str) -> list[str]:
    return [cell if kind == "u" else _cell(cell) for cell, kind in zip(row, align, strict=True)]


def _part(part: Part) -> Part:
    match part:
        case Text():
            return part._replace(text=_cell(part.text))
        case Listing():
            return Listing([_cell(item) for item in part.items])
        case Table():
            if {"SI", "inch-pound"} <= set(part.heads):
                return part
            rows = [_row(row, part.align) for row in part.rows]
            return part._replace(rows=rows, caption=both(part.caption))
        case Picture():
            return part._replace(alternative=both(part.alternative))
    return part
