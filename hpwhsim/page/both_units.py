"""A page in both systems: its figures follow the switch of units, its sentences carry both.

Cautions, checks, sources and what the modeler wrote stand in one system, and get the other one in brackets.
"""

from collections.abc import Sequence
from typing import cast

from hpwhsim.page.frame import Details, PagePart
from hpwhsim.results.both_units import AIR, both
from hpwhsim.results.texts import Exact, Phrase
from hpwhsim.sections.parts import Document, Listing, Part, Picture, Table, Text, Typed


def with_both(content: Document) -> Document:
    """A document whose sentences and cells are in both systems; figures that follow the switch stay."""
    sections = [
        one._replace(parts=cast("Sequence[Part]", [_part(part) for part in one.parts]))
        for one in content.sections
    ]
    front = [text._replace(text=_cell(text.text)) for text in content.front]
    return content._replace(front=front, sections=sections)


def _cell(text: str, *, air: bool = False) -> str:
    return text if isinstance(text, Exact | Phrase | Typed) else both(text, air=air)


def _row(row: Sequence[str], align: str) -> list[str]:
    air = row[0].endswith(AIR)  # a row of a key begins with it
    return [cell if kind == "u" else _cell(cell, air=air) for cell, kind in zip(row, align, strict=True)]


def _part(part: PagePart) -> PagePart:
    match part:
        case Text():
            return part._replace(text=_cell(part.text))
        case Listing():
            return Listing([_cell(item) for item in part.items])
        case Table():
            return _table(part)
        case Details():
            return part._replace(table=_table(part.table))
        case Picture():
            return part._replace(alternative=both(part.alternative))
    return part


def _table(table: Table) -> Table:
    if {"SI", "inch-pound"} <= set(table.heads):
        return table
    rows = [_row(row, table.align) for row in table.rows]
    return table._replace(rows=rows, caption=both(table.caption))
