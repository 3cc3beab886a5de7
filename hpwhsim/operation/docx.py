"""A document as DOCX, which an engineer edits: real headings, numbered lists and tables."""

from datetime import UTC, datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from hpwhsim.operation.parts import Document, Listing, Paragraph, Table

if TYPE_CHECKING:
    from docx.document import Document as Docx

STAMP = datetime(2001, 1, 1, tzinfo=UTC)  # the same plant gives the same file
PAGE = (21.0, 29.7)  # cm, A4; the margins leave the text within Letter's width too
MARGIN, BODY, SMALL = 1.6, 10.0, 7.5  # cm, pt, pt
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
    file.styles["Normal"].font.size = Pt(BODY)
    _foot(page.footer.paragraphs[0], document.subtitle)
    file.add_heading(document.title, level=0)
    file.add_paragraph(document.subtitle, style="Subtitle")
    for section in document.sections:
        file.add_heading(section.heading, level=section.level)
        for part in section.parts:
            if isinstance(part, Paragraph):
                _paragraph(file, part)
            elif isinstance(part, Listing):
                _listing(file, part)
            else:
                _table(file, part)
    return _settled(file)


def _foot(paragraph: Any, title: str) -> None:
    """The foot of each page: what it is about, and the number of the page as the word processor counts."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn
    from docx.shared import Pt

    run = paragraph.add_run(f"{title}, page ")
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), "PAGE")
    paragraph._p.append(field)
    run.font.size = Pt(SMALL)


def _paragraph(file: "Docx", part: Paragraph) -> None:
    from docx.shared import RGBColor

    run = file.add_paragraph().add_run(part.text)
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
    """A table over the width of the text, its head repeated on each page, rows kept whole."""
    from docx.oxml import OxmlElement
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
    lines: list[Any] = list(grid.rows)
    for number, (line, cells) in enumerate(zip(lines, (part.heads, *part.rows), strict=True)):
        limits = line._tr.get_or_add_trPr()
        limits.append(OxmlElement("w:cantSplit"))
        if number == 0:
            limits.append(OxmlElement("w:tblHeader"))
        for cell, text, width in zip(line.cells, cells, part.widths, strict=True):
            cell.width = Cm(whole * width)
            paragraph = cell.paragraphs[0]
            paragraph.paragraph_format.space_after = Pt(1)
            run = paragraph.add_run(text)
            run.font.size = Pt(SMALL)
            if number == 0:
                run.bold = True
                shade = OxmlElement("w:shd")
                for name, value in (("val", "clear"), ("color", "auto"), ("fill", SHADE)):
                    shade.set(qn(f"w:{name}"), value)
                cell._tc.get_or_add_tcPr().append(shade)
    file.add_paragraph()


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
