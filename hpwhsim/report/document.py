"""What the pages of the dossier are built with: titles, text, tables and pictures of a PDF."""

from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.report.drawing import MINUS

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN = 16.0  # mm
FONT = "DejaVu"
SMALL, BODY, HEAD, TITLE = 7.0, 9.0, 12.0, 17.0  # pt
SHADE = (232, 238, 244)


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
    pdf.multi_cell(0, size * 0.5, text, new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(1)


def add_table(
    pdf: "FPDF",
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    align: str,
    size: float = SMALL,
) -> None:
    """A table whose head is repeated on each page; `align` has l or r for each column."""
    from fpdf.fonts import FontFace

    pdf.set_font(FONT, size=size)
    with pdf.table(
        col_widths=tuple(widths),
        text_align=tuple({"l": "LEFT", "r": "RIGHT"}[letter] for letter in align),
        line_height=size * 0.5,
        headings_style=FontFace(emphasis="BOLD", fill_color=SHADE),
        borders_layout="HORIZONTAL_LINES",
        padding=0.7,
    ) as written:
        for row in (heads, *rows):
            written.row(list(row))
    pdf.ln(2)


def amount(value: object, unit: str = "") -> str:
    """A number for reading: four digits or whole."""
    if not isinstance(value, float | int):
        return "" if value is None else str(value)
    text = f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"
    return f"{text.replace('-', MINUS)} {unit}".strip()


def decimals(value: object, digits: int = 1) -> str:
    """A number for reading with `digits` behind the point; nothing for what is no number."""
    return f"{value:.{digits}f}".replace("-", MINUS) if isinstance(value, float | int) else ""


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
