"""What a document is made of, as data: sections of paragraphs, lists, tables and pictures."""

from collections.abc import Sequence
from typing import NamedTuple


class Typed(str):
    """What is typed as it stands: a command."""

    typed = True


class Text(NamedTuple):
    """A paragraph."""

    text: str
    small: bool = False


class Listing(NamedTuple):
    """A list of paragraphs."""

    items: Sequence[str]


class Table(NamedTuple):
    """A table whose first column names the rows."""

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: str  # for each column l, r if it holds numbers, or u if it holds units
    caption: str


class Picture(NamedTuple):
    """A picture by the name of its file."""

    name: str
    caption: str
    alternative: str  # in words, for those who cannot see it


Part = Text | Listing | Table | Picture


class Section(NamedTuple):
    """A part of a document under a heading; what stands in the appendix is looked up and not read through."""

    title: str
    parts: Sequence[Part]
    appendix: bool = False

    @property
    def anchor(self) -> str:
        """What a link names it by."""
        return self.title.lower().replace(",", "").replace(" ", "-")


class Document(NamedTuple):
    """A title, what stands below it, and sections, those of the appendix last."""

    title: str
    front: Sequence[Text]
    sections: Sequence[Section]
