"""What the pages of the dossier are built with: titles, text, tables and pictures of a PDF."""

from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN = 16.0  # mm
FONT = "DejaVu"
SMALL, BODY, HEAD, TITLE = 7.0, 9.0, 12.0, 17.0  # pt
SHADE = (232, 238, 244)
PAD = 1.0  # mm between the text of a cell and its edge


def new_pdf(title: str) -> "FPDF":
    """An empty document with its title at the foot of each page."""
    import matplotlib
    from fpdf import FPDF

    class Document(FPDF):
        """Letter pages with a foot."""

        def footer(self) -> None:
            self.set_y(-11)
            self.set_font(FONT, size=SMALL)
            self.set_text_color(90)
            self.cell(0, 4, cut(self, title, 150.0))
            self.set_x(MARGIN)
            self.cell(0, 4, f"page {self.page_no()} of {{nb}}", align="R")
            self.set_text_color(0)

    pdf = Document(format="Letter")
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdf.add_font(FONT, "", fonts / "DejaVuSans.ttf")
    pdf.add_font(FONT, "B", fonts / "DejaVuSans-Bold.ttf")
    pdf.set_margins(MARGIN, MARGIN, MARGIN)
    pdf.set_auto_page_break(True, margin=MARGIN)
    pdf.set_title(title)
    pdf.set_creator("tankyear")
    pdf.set_creation_date(datetime(2001, 1, 1, tzinfo=UTC))  # the same year gives the same file
    return pdf


def cut(pdf: "FPDF", text: str, width: float) -> str:
    """The text as far as it fits into `width` [mm]."""
    while pdf.get_string_width(text) > width:
        text = text.removesuffix("…")[:-1] + "…"
    return text


def add_heading(pdf: "FPDF", text: str, new_page: bool = False) -> None:
    """A heading, on a new page where asked for or where little room is left."""
    if new_page or pdf.get_y() > pdf.h - 60.0:
        pdf.add_page()
    else:
        pdf.ln(4)
    pdf.set_font(FONT, "B", HEAD)
    pdf.multi_cell(0, 6, text, new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)


def add_text(pdf: "FPDF", text: str, size: float = BODY) -> None:
    """A paragraph; `size` in points."""
    pdf.set_font(FONT, size=size)
    step = 0.5 * size
    for line in wrapped(pdf, text, pdf.w - 2.0 * MARGIN - 2.0 * PAD):
        if pdf.get_y() + step > pdf.h - MARGIN:
            pdf.add_page()
        _put(pdf, MARGIN + PAD, pdf.get_y(), step, size, line)
        pdf.set_y(pdf.get_y() + step)
    pdf.ln(1)


def wrapped(pdf: "FPDF", text: str, width: float) -> list[str]:
    """The text in lines of at most `width` [mm] in the font in force; a word that is wider is cut."""
    known: dict[str, float] = {}

    def wide(word: str) -> float:
        if word not in known:
            known[word] = pdf.get_string_width(word)
        return known[word]

    lines: list[str] = []
    for part in text.split("\n"):
        line, length = "", 0.0
        for word in part.split(" "):
            if line and length + wide(" ") + wide(word) <= width:
                line, length = f"{line} {word}", length + wide(" ") + wide(word)
                continue
            if line:
                lines.append(line)
            while wide(word) > width and len(word) > 1:
                fits = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or wide(word[:n]) <= width)
                lines.append(word[:fits])
                word = word[fits:]
            line, length = word, wide(word)
        lines.append(line)
    return lines


def _put(pdf: "FPDF", x: float, y: float, step: float, size: float, text: str) -> None:
    """One line of text, `y` [mm] being the top of a line that is `step` [mm] high."""
    pdf.text(x, y + 0.5 * step + 0.3 * size * 25.4 / 72.0, text)


def add_table(
    pdf: "FPDF",
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    align: str,
    size: float = SMALL,
) -> None:
    """A table over the width of the page whose head is repeated on each page.

    The library's own tables lay out each character of each cell, and take ten times as long; a row that is
    higher than a page is none of theirs.

    Parameters
    ----------
    pdf : FPDF
        The document.
    heads, rows : sequence of str, sequence of those
        Cells of the head and of each row.
    widths : sequence of float
        Widths of the columns, of which the shares count.
    align : str
        l or r for each column.
    size : float
        Of the letters. [pt]
    """
    whole, step = pdf.w - 2.0 * MARGIN, 0.5 * size
    columns = [whole * width / sum(widths) for width in widths]

    def laid(cells: Sequence[str], style: str = "") -> list[list[str]]:
        pdf.set_font(FONT, style, size)
        return [wrapped(pdf, text, width - 2.0 * PAD) for text, width in zip(cells, columns, strict=True)]

    def high(cells: list[list[str]]) -> float:
        return max(map(len, cells)) * step + 2.0 * PAD

    def draw(cells: list[list[str]], style: str = "") -> None:
        pdf.set_font(FONT, style, size)
        left, top = MARGIN, pdf.get_y()
        if style:
            pdf.set_fill_color(*SHADE)
            pdf.rect(left, top, whole, high(cells), style="F")
        else:
            pdf.set_draw_color(150)
            pdf.line(left, top, left + whole, top)
        for lines, width, side in zip(cells, columns, align, strict=True):
            for n, text in enumerate(lines):
                x = left + PAD if side == "l" else left + width - PAD - pdf.get_string_width(text)
                _put(pdf, x, top + PAD + n * step, step, size, text)
            left += width
        pdf.set_y(top + high(cells))

    head, foot = laid(heads, "B"), pdf.h - MARGIN
    most = int((foot - MARGIN - high(head) - 2.0 * PAD) / step)  # lines of a row on a page of its own
    draw(head, "B")
    for row in rows:
        left = laid(row)
        while any(left):
            part, left = [lines[:most] for lines in left], [lines[most:] for lines in left]
            if pdf.get_y() + high(part) > foot:
                pdf.add_page()
                draw(head, "B")
            draw(part)
    pdf.ln(2)


def add_picture(pdf: "FPDF", caption: str, picture: bytes) -> None:
    """A PNG file as wide as the text, on a new page where it would shrink much."""
    from PIL import Image

    wide, high = Image.open(BytesIO(picture)).size
    width = pdf.w - 2 * MARGIN
    left = pdf.h - MARGIN - pdf.get_y() - 9.0  # below the caption
    height = width * high / wide
    if left < 0.7 * height:
        pdf.add_page()
        left = pdf.h - 2 * MARGIN - 9.0
    if height > left:
        width, height = width * left / height, left
    pdf.set_font(FONT, "B", BODY)
    pdf.multi_cell(0, 5, caption, new_x="LMARGIN", new_y="NEXT")
    pdf.image(BytesIO(picture), w=width, h=height)
    pdf.ln(3)
