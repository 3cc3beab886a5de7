"""A document as DOCX, which an engineer edits: real headings, numbered lists and tables."""

from datetime import UTC, datetime
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from hpwhsim.operation.parts import Document, Listing, Paragraph, Table

if TYPE_CHECKING:
    from docx.document import Document as Docx

STAMP = datetime(2001, 1, 1, tzinfo=UTC)  # the same plant gives the same file
PAGE = (21.0, 29.7)  # cm, A4; the margins leave the text within Letter's width too
MARGIN, BODY, SMALL = 1.6, 10.0, 7.5  # cm, pt, pt
FONT = "Arial"
TOGETHER = 12  # rows of a table that is kept on one page
FIRST = 3  # rows that stay with the head of a longer one
PASSING, JUDGED = "pass or fail", ("pass", "fail")  # a column, and what its fields offer
BLANK, LONGEST = "\u2002" * 3, 60  # of a field that is empty, and of its name
INWARDS = 108  # of the text of a cell, in twentieths of a point
SHADE, CAUTION = "E8EEF4", "9C3D0E"


def docx(document: Document) -> bytes:
    """The bytes of the file."""
    from docx import Document as new_docx
    from docx.shared import Cm, Pt

    file = new_docx()
    core = file.core_properties
    core.title, core.subject, core.author = document.title, document.subtitle, "tankyear"
    core.created = core.modified = STAMP
    core.last_modified_by, core.comments, core.revision = "tankyear", "", 1
    page = file.sections[0]
    page.page_width, page.page_height = Cm(PAGE[0]), Cm(PAGE[1])
    page.left_margin = page.right_margin = page.top_margin = page.bottom_margin = Cm(MARGIN)
    _fonts(file)
    file.styles["Normal"].font.size = Pt(BODY)
    _foot(page.footer.paragraphs[0], document.subtitle)
    file.add_heading(document.title, level=0)
    file.add_paragraph(document.subtitle, style="Subtitle")
    for section in document.sections:
        file.add_heading(section.heading, level=section.level)
        for part, after in pairwise((*section.parts, None)):
            if isinstance(part, Paragraph):
                _paragraph(file, part, with_next=isinstance(after, Table))
            elif isinstance(part, Listing):
                _listing(file, part)
            elif part is not None:
                _table(file, part)
    return _settled(file)


def _fonts(file: "Docx") -> None:
    """One family of letters for text and headings, in place of the template's theme."""
    from docx.oxml.ns import qn

    for style in file.styles:
        fonts = style.element.find(f"{qn('w:rPr')}/{qn('w:rFonts')}")
        if fonts is None and style.name != "Normal":
            continue
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts() if fonts is None else fonts
        fonts.attrib.clear()
        for name in ("ascii", "hAnsi", "cs"):
            fonts.set(qn(f"w:{name}"), FONT)


def _foot(paragraph: Any, title: str) -> None:
    """The foot of each page: what it is about, and the number of the page as the word processor counts."""
    from docx.shared import Pt

    run = paragraph.add_run(f"{title}, page ")
    paragraph._p.append(_element("w:fldSimple", instr="PAGE"))
    run.font.size = paragraph.style.font.size = Pt(SMALL)


def _paragraph(file: "Docx", part: Paragraph, *, with_next: bool) -> None:
    from docx.shared import RGBColor

    paragraph = file.add_paragraph()
    paragraph.paragraph_format.keep_with_next = with_next
    run = paragraph.add_run(part.text)
    if part.caution:
        run.bold = True
        run.font.color.rgb = RGBColor.from_string(CAUTION)


def _listing(file: "Docx", part: Listing) -> None:
    """A list; a numbered one begins at 1."""
    number = _new_numbers(file) if part.numbered else None
    for item in part.items:
        paragraph = file.add_paragraph(item, style="List Number" if part.numbered else "List Bullet")
        if number is not None:
            properties: Any = paragraph._p.get_or_add_pPr().get_or_add_numPr()
            properties.get_or_add_ilvl().val = 0
            properties.get_or_add_numId().val = number


def _new_numbers(file: "Docx") -> int:
    """A numbering of its own on the style's definition, so that the list begins at 1."""
    numbering: Any = file.part.numbering_part.element
    style: Any = file.styles["List Number"].element
    of_style = style.pPr.numPr.numId.val
    abstract = numbering.num_having_numId(of_style).abstractNumId.val
    added = numbering.add_num(abstract)
    added.add_lvlOverride(ilvl=0).add_startOverride(1)
    return int(added.numId)


def _table(file: "Docx", part: Table) -> None:
    """A table over the width of the text, its head repeated on each page, rows kept whole.

    A short one stands on one page, and of a longer one no head stands alone.
    """
    from docx.oxml.ns import qn
    from docx.shared import Cm, Pt

    caption = file.add_paragraph()
    caption.paragraph_format.keep_with_next = True
    words = caption.add_run(part.caption)
    words.italic = True
    grid = file.add_table(rows=1 + len(part.rows), cols=len(part.heads), style="Table Grid")
    grid.autofit = False
    whole = (PAGE[0] - 2.0 * MARGIN) / sum(part.widths)
    for column, width in zip(grid.columns, part.widths, strict=True):
        column.width = Cm(whole * width)
    indent = _element("w:tblInd", w=str(INWARDS), type="dxa")  # text of a cell stands inwards of its border
    grid._tbl.tblPr.find(qn("w:tblW")).addnext(indent)
    lines: list[Any] = list(grid.rows)
    stay = len(lines) - 1 if len(part.rows) <= TOGETHER else FIRST
    for number, (line, cells) in enumerate(zip(lines, (part.heads, *part.rows), strict=True)):
        limits = line._tr.get_or_add_trPr()
        limits.append(_element("w:cantSplit"))
        if number == 0:
            limits.append(_element("w:tblHeader"))
        for at, (cell, text) in enumerate(zip(line.cells, cells, strict=True)):
            cell.width = Cm(whole * part.widths[at])
            paragraph = cell.paragraphs[0]
            paragraph.paragraph_format.space_after = Pt(1)
            if number < stay or number == len(lines) - 2:
                paragraph.paragraph_format.keep_with_next = True
            run = paragraph.add_run(text)
            run.font.size = Pt(SMALL)
            if number == 0:
                run.bold = True
                cell._tc.get_or_add_tcPr().append(_element("w:shd", val="clear", color="auto", fill=SHADE))
            elif part.form and not text:
                paragraph._p.append(_field(part.heads[at], cells[0]))
    file.add_paragraph()


def _element(name: str, **attributes: str) -> Any:
    """An element of WordprocessingML with its attributes."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    made = OxmlElement(name)
    for key, value in attributes.items():
        made.set(qn(f"w:{key}"), value)
    return made


def _field(head: str, row: str) -> Any:
    """A content control to be filled in: free text, or a choice in the column on passing."""
    field, limits, content = (_element(f"w:{name}") for name in ("sdt", "sdtPr", "sdtContent"))
    limits.append(_element("w:alias", val=f"{head}: {row}"[:LONGEST]))
    if head == PASSING:
        choice = _element("w:dropDownList")
        for word in JUDGED:
            choice.append(_element("w:listItem", displayText=word, value=word))
        limits.append(choice)
    else:
        limits.append(_element("w:text"))
    run, look, text = _element("w:r"), _element("w:rPr"), _element("w:t")
    look.append(_element("w:sz", val=str(int(2 * SMALL))))
    text.text = BLANK
    for part in (look, text):
        run.append(part)
    content.append(run)
    for part in (limits, content):
        field.append(part)
    return field


def _settled(file: "Docx") -> bytes:
    """The file with one time on every member, so that its bytes are the same on each run."""
    first, out = BytesIO(), BytesIO()
    file.save(first)
    with ZipFile(first) as raw, ZipFile(out, "w", ZIP_DEFLATED) as settled:
        for name in raw.namelist():
            member = ZipInfo(name, STAMP.timetuple()[:6])
            member.compress_type = ZIP_DEFLATED
            settled.writestr(member, raw.read(name))
    return out.getvalue()
