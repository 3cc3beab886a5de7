"""What a document is made of, whichever way it is written: sections of paragraphs, lists and tables."""

from typing import NamedTuple


class Paragraph(NamedTuple):
    """A paragraph; a caution stands out."""

    text: str
    caution: bool = False


class Listing(NamedTuple):
    """A list; of steps or sentences that are referred to, a numbered one."""

    items: tuple[str, ...]
    numbered: bool = False


class Table(NamedTuple):
    """A table; in a form an empty cell is filled in by hand."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]  # of the columns, of which the shares count
    form: bool = False


Part = Paragraph | Listing | Table


class Section(NamedTuple):
    """A heading with what stands under it; `level` 1 is a chapter, 2 a part of one."""

    heading: str
    parts: tuple[Part, ...]
    level: int = 1


class Document(NamedTuple):
    """A whole document."""

    title: str
    subtitle: str
    sections: tuple[Section, ...]
