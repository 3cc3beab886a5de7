"""A document as a PDF: the result first, then the appendix, with contents, bookmarks and numbered pages.

The same document gives the same file: the library's invariant mode, our fonts, no settings of the user's. The
module is imported where a file is written, for the library that lays out the pages is heavy.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from io import BytesIO
from math import sqrt
from pathlib import Path
from string import ascii_uppercase
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab import platypus as pl
from reportlab import rl_config
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from hpwhsim.io.plain_text import visible
from hpwhsim.sections.parts import Document, Listing, Part, Picture, Section, Table, Text

PAPER = {"letter": LETTER, "A4": A4}
MARGIN = 16.0 * mm
START = 60.0 * mm  # room for a heading and the beginning of what fits on no page
FONT, BOLD = "DejaVu", "DejaVu-Bold"
SMALL, BODY, HEAD, TITLE = 7.0, 9.0, 12.0, 17.0  # pt
PAD, ABOVE = 1.0 * mm, 0.7 * mm  # between the text of a cell and its edges
TALL = 20  # lines of a row at most
NARROW, MANY = 6.2, 10  # pt, for tables of more columns than this
SHADE, RULE = "#e8eef4", "#969696"
SHRINK = 0.7  # share of its width to which a picture is made smaller before it takes a new page
CONTENTS, LAST = "contents", "last"  # forms: sections and their pages, number of the last page
LINE, COLUMN = 4.2 * mm, 0.48  # of the contents: height of a line, share of the width
GREY = 0.35


def pdf_bytes(content: Document, pictures: Mapping[str, bytes], paper: str) -> bytes:
    """The bytes of the PDF file: `pictures` are PNG files by name, `paper` is a key of `PAPER`."""
    load_fonts()
    file = BytesIO()
    pages = Pages(file, content, PAPER[paper])
    pages.build(pages.flow(pictures))
    return file.getvalue()


class Pages(pl.BaseDocTemplate):
    """A document laid out in one pass: forms on its pages show what is known at the end."""

    def __init__(self, file: BytesIO, content: Document, paper: tuple[float, float]) -> None:
        title = visible(content.title)
        super().__init__(
            file,
            pagesize=paper,
            title=title,
            creator="tankyear",
            producer="tankyear",
            lang="en",
            invariant=1,
            pageCompression=1,
            initialFontName=FONT,
        )
        self.content, self.heading = content, title
        self.wide, self.high = paper[0] - 2.0 * MARGIN, paper[1] - 2.0 * MARGIN
        self.contents = Contents(content.sections)
        frame = pl.Frame(MARGIN, MARGIN, self.wide, self.high, 0, 0, 0, 0)
        self.addPageTemplates(pl.PageTemplate(frames=[frame], onPage=self._foot))

    def flow(self, pictures: Mapping[str, bytes]) -> list[pl.Flowable]:
        """All that stands on the pages, in order."""
        story: list[pl.Flowable] = [pl.Paragraph(marked(self.content.title), style(TITLE, BOLD))]
        for text in self.content.front:
            story += self._laid(text, pictures)
        story.append(self.contents)
        appendix = False
        for section in self.content.sections:
            if section.appendix and not appendix:
                story.append(pl.PageBreak())
            appendix = section.appendix
            block: list[pl.Flowable] = [Heading(section.anchor, self.contents)]
            for part in section.parts:
                laid = self._laid(part, pictures)
                whole = 2 if isinstance(part, Listing) else len(laid)  # a list goes on to the next page
                block += laid[:whole]
                if not isinstance(part, Text) or part is section.parts[-1]:  # a text belongs to what follows
                    story += [*self._together(block), *laid[whole:]]
                    block = []
        return [*story, End(self.contents)]

    def _together(self, block: list[pl.Flowable]) -> list[pl.Flowable]:
        """A block that begins on a new page where it fits on one and not on what is left of this one."""
        high = -block[-1].getSpaceAfter()
        for one in block:
            least = one.least if isinstance(one, Drawing) else one.wrap(self.wide, self.high)[1]
            high += one.getSpaceBefore() + least + one.getSpaceAfter()
        return [pl.CondPageBreak(high if high <= self.high else START), *block]

    def _laid(self, part: Part, pictures: Mapping[str, bytes]) -> list[pl.Flowable]:
        """What shows a part."""
        match part:
            case Text():
                return [pl.Paragraph(marked(part.text), style(SMALL if part.small else BODY))]
            case Listing():
                look = style(BODY, leftIndent=4.0 * mm)
                return [pl.Paragraph(marked(item), look, bulletText="•") for item in part.items]
            case Table():
                return [pl.Paragraph(marked(part.caption), style(SMALL, after=1.0)), table(part, self.wide)]
            case Picture():
                caption = pl.Paragraph(marked(part.caption), style(BODY, BOLD, after=1.0))
                return [caption, Drawing(pictures[part.name], self.wide, self.high - 10.0 * mm)]

    def _foot(self, canvas: Canvas, _: Any) -> None:
        canvas.saveState()
        canvas.setFont(FONT, SMALL)
        canvas.setFillGray(GREY)
        title = self.heading
        while stringWidth(title, FONT, SMALL) > 150.0 * mm:
            title = title.removesuffix("…")[:-1] + "…"
        canvas.drawString(MARGIN, 8.0 * mm, title)
        canvas.translate(MARGIN + self.wide - 8.0 * mm, 8.0 * mm)
        canvas.drawRightString(0.0, 0.0, f"page {self.page} of ")
        canvas.doForm(LAST)
        canvas.restoreState()


@cache
def load_fonts() -> None:
    """The fonts of the pictures, whose letters are embedded; compressed streams stay binary."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(FONT, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))
    rl_config.useA85 = 0


def marked(text: str) -> str:
    """Text for a paragraph, whose signs of markup are text."""
    return escape(visible(text))


def style(size: float, font: str = FONT, after: float = 3.0, **more: Any) -> ParagraphStyle:
    """How a paragraph looks; sizes and spaces in points."""
    more |= {"fontName": font, "bulletFontName": font, "leading": 1.25 * size}
    return ParagraphStyle("", fontSize=size, spaceAfter=after, **more)


class Contents(pl.Flowable):
    """Sections and their pages, the appendix in a column of its own; `End` writes the pages."""

    def __init__(self, sections: Sequence[Section]) -> None:
        super().__init__()
        main = [one for one in sections if not one.appendix]
        rest = [one for one in sections if one.appendix]
        self.columns = {"Contents": main} | ({"Appendix": rest} if rest else {})
        self.names = {one.anchor: f"{n}  {one.title}" for n, one in enumerate(main, start=1)}
        self.names |= {one.anchor: f"{ascii_uppercase[n]}  {one.title}" for n, one in enumerate(rest)}
        self.pages: dict[str, int] = {}  # by anchor, as headings are drawn

    def wrap(self, width: float, _: float) -> tuple[float, float]:
        """As wide as there is room for, with a line for each section."""
        self.width, self.height = width, LINE * (2.0 + max(map(len, self.columns.values())))
        return self.width, self.height

    def places(self) -> Iterator[tuple[str, float, float]]:
        """Anchor, or head of a column, and where it stands from the lower left corner."""
        edges = (0.0, (1.0 - COLUMN) * self.width)
        for x, (head, sections) in zip(edges, self.columns.items(), strict=False):
            for n, name in enumerate((head, *(one.anchor for one in sections)), start=2):
                yield name, x, self.height - n * LINE

    def draw(self) -> None:
        """The place of the form, and links."""
        self.canv.doForm(CONTENTS)
        for name, x, y in self.places():
            if name in self.names:
                room = (x, y - 1.0, x + COLUMN * self.width, y + SMALL)
                self.canv.linkRect("", name, room, relative=1, thickness=0)


class Heading(pl.Paragraph):
    """A heading, which bookmarks and contents name."""

    def __init__(self, anchor: str, contents: Contents) -> None:
        super().__init__(marked(contents.names[anchor]), style(HEAD, BOLD, 1.0, spaceBefore=6.0))
        self.anchor, self.contents = anchor, contents

    def draw(self) -> None:
        """The text, and what leads to it."""
        self.canv.bookmarkHorizontal(self.anchor, 0.0, self.height + HEAD)
        self.canv.addOutlineEntry(self.contents.names[self.anchor], self.anchor, 0)
        self.contents.pages[self.anchor] = self.canv.getPageNumber()
        super().draw()


class End(pl.Flowable):
    """What is known at the end, for the forms that the pages show: their number, and what begins where."""

    def __init__(self, contents: Contents) -> None:
        super().__init__()
        self.contents = contents

    def wrap(self, *_: float) -> tuple[float, float]:
        """It takes no room."""
        return 0.0, 0.0

    def draw(self) -> None:
        """Write the forms."""
        of, canvas = self.contents, self.canv
        canvas.beginForm(CONTENTS, upperx=of.width, uppery=of.height)
        for name, x, y in of.places():
            canvas.setFont(FONT if name in of.names else BOLD, 8.0)
            canvas.drawString(x, y, of.names.get(name, name))
            canvas.drawRightString(x + COLUMN * of.width, y, str(of.pages.get(name, "")))
        canvas.endForm()
        canvas.beginForm(LAST, lowery=-5, upperx=60.0, uppery=SMALL)
        canvas.setFont(FONT, SMALL)
        canvas.setFillGray(GREY)
        canvas.drawString(0.0, 0.0, str(canvas.getPageNumber()))
        canvas.endForm()


class Drawing(pl.Image):
    """A PNG file as wide as the page, or somewhat smaller where that keeps it on this one."""

    def __init__(self, picture: bytes, width: float, most: float) -> None:
        super().__init__(BytesIO(picture), lazy=0)
        scale = min(width / self.imageWidth, most / self.imageHeight)
        self.full = self.imageWidth * scale, self.imageHeight * scale
        self.least = SHRINK * self.full[1]
        self.hAlign = "LEFT"

    def wrap(self, _: float, high: float) -> tuple[float, float]:
        """Of what is left of the page at most all."""
        share = min(1.0, high / self.full[1]) if high >= self.least else 1.0
        self.drawWidth, self.drawHeight = (share * side for side in self.full)
        return self.drawWidth, self.drawHeight


def table(part: Table, whole: float) -> pl.LongTable:
    """A table over the width of the page whose head is repeated on each page.

    Cells are lines of text, three times as fast as paragraphs; a row of very many lines goes on in another.
    """
    size = NARROW if len(part.heads) > MANY else SMALL
    heads, *rows = texts = [[visible(text) for text in row] for row in (part.heads, *part.rows)]
    words = [max((stringWidth(word, BOLD, size) for word in head.split()), default=0.0) for head in heads]
    wide = [[stringWidth(text, FONT, size) for text in row] for row in rows]
    columns = list(zip(words, *wide, strict=True))
    widths = _widths([max(column) + 2.5 * PAD for column in columns], [sum(c) for c in columns], whole)
    data = []
    for n, row in enumerate(texts):
        font = FONT if n else BOLD
        cells = [_lines(text, font, size, width - 2.0 * PAD) for text, width in zip(row, widths, strict=True)]
        starts = range(0, max(map(len, cells)), TALL)
        data += [["\n".join(lines[first : first + TALL]) for lines in cells] for first in starts]
    looks: list[Any] = [
        ("FONT", (0, 0), (-1, -1), FONT, size, 1.25 * size),
        ("FONT", (0, 0), (-1, 0), BOLD, size, 1.25 * size),
        ("BACKGROUND", (0, 0), (-1, 0), SHADE),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        *((f"{side}PADDING", (0, 0), (-1, -1), PAD) for side in ("LEFT", "RIGHT")),
        *((f"{side}PADDING", (0, 0), (-1, -1), ABOVE) for side in ("TOP", "BOTTOM")),
        *(("ALIGN", (n, 0), (n, -1), "RIGHT") for n, side in enumerate(part.align) if side == "r"),
    ]
    return pl.LongTable(
        data,
        colWidths=widths,
        repeatRows=1,
        style=looks,
        spaceBefore=0,
        spaceAfter=6,
        hAlign="LEFT",
    )


def _lines(text: str, font: str, size: float, room: float) -> list[str]:
    """The text in lines that are no wider than `room`; a word that is wider is cut."""
    if stringWidth(text, font, size) <= room:
        return [text]
    lines = []
    for line in simpleSplit(text, font, size, room):
        while stringWidth(line, font, size) > room and len(line) > 1:
            fits = next(
                n for n in range(len(line) - 1, 0, -1) if n == 1 or stringWidth(line[:n], font, size) <= room
            )
            lines.append(line[:fits])
            line = line[fits:]
        lines.append(line)
    return lines


def _widths(need: Sequence[float], text: Sequence[float], whole: float) -> list[float]:
    """Widths of columns: narrow ones and those for which there is room as they need, else by their text.

    Parameters
    ----------
    need, text : sequence of float
        Width of the widest cell of each column, and of all its text in one line.
    whole : float
        Width of the table.
    """
    widths = {n: width for n, width in enumerate(need) if width <= whole / 8.0}
    while rest := {n: sqrt(text[n]) for n in range(len(need)) if n not in widths}:
        left = (whole - sum(widths.values())) / sum(rest.values())
        share = {n: weight * left for n, weight in rest.items()}
        widths |= {n: need[n] for n in rest if need[n] <= share[n]} or share
    spare = (whole - sum(widths.values())) / len(need)
    return [widths[n] + spare for n in range(len(need))]
