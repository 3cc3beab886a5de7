"""A document as a PDF: the result first, then the appendix, with contents, bookmarks and numbered pages.

The same document gives the same file: the library's invariant mode, our fonts, no settings of the user's. The
module is imported where a file is written, for the library that lays out the pages is heavy.
"""

from collections.abc import Mapping
from io import BytesIO
from typing import Any

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageBreak,
    PageTemplate,
    Paragraph,
)

from hpwhsim.dossier.flowables import (
    BODY,
    BOLD,
    FONT,
    GREY,
    LAST,
    SMALL,
    TITLE,
    Contents,
    Drawing,
    End,
    Heading,
    load_fonts,
    marked,
    style,
    table,
)
from hpwhsim.io.plain_text import visible
from hpwhsim.sections.parts import Document, Listing, Part, Picture, Table, Text

PAPER = {"letter": LETTER, "A4": A4}
MARGIN = 16.0 * mm
START = 60.0 * mm  # room for a heading and the beginning of what fits on no page


def pdf_bytes(content: Document, pictures: Mapping[str, bytes], paper: str) -> bytes:
    """The bytes of the PDF file.

    Parameters
    ----------
    content : Document
        What is said.
    pictures : mapping of str to bytes
        PNG files by the names that the document has.
    paper : str
        A key of `PAPER`.
    """
    load_fonts()
    file = BytesIO()
    pages = Pages(file, content, PAPER[paper])
    pages.build(pages.flow(pictures))
    return file.getvalue()


class Pages(BaseDocTemplate):
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
        frame = Frame(MARGIN, MARGIN, self.wide, self.high, 0, 0, 0, 0)
        self.addPageTemplates(PageTemplate(frames=[frame], onPage=self._foot))

    def flow(self, pictures: Mapping[str, bytes]) -> list[Flowable]:
        """All that stands on the pages, in order."""
        story: list[Flowable] = [Paragraph(marked(self.content.title), style(TITLE, BOLD))]
        for text in self.content.front:
            story += self._laid(text, pictures)
        story.append(self.contents)
        appendix = False
        for section in self.content.sections:
            if section.appendix and not appendix:
                story.append(PageBreak())
            appendix = section.appendix
            block: list[Flowable] = [Heading(section.anchor, self.contents)]
            for part in section.parts:
                block += self._laid(part, pictures)
                if not isinstance(part, Text) or part is section.parts[-1]:  # a text belongs to what follows
                    story += self._together(block)
                    block = []
        return [*story, End(self.contents)]

    def _together(self, block: list[Flowable]) -> list[Flowable]:
        """A block that begins on a new page where it fits on one and not on what is left of this one."""
        high = -block[-1].getSpaceAfter()
        for one in block:
            least = one.least if isinstance(one, Drawing) else one.wrap(self.wide, self.high)[1]
            high += one.getSpaceBefore() + least + one.getSpaceAfter()
        return [CondPageBreak(high if high <= self.high else START), *block]

    def _laid(self, part: Part, pictures: Mapping[str, bytes]) -> list[Flowable]:
        """What shows a part."""
        match part:
            case Text():
                return [Paragraph(marked(part.text), style(SMALL if part.small else BODY))]
            case Listing():
                look = style(BODY, indent=4.0 * mm)
                return [Paragraph(marked(item), look, bulletText="•") for item in part.items]
            case Table():
                return [Paragraph(marked(part.caption), style(SMALL, after=1.0)), table(part, self.wide)]
            case Picture():
                caption = Paragraph(marked(part.caption), style(BODY, BOLD, after=1.0))
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
