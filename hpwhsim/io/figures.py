"""What all pictures share: style, colours, heading and file."""

import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from io import BytesIO
from textwrap import shorten
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from hpwhsim.io.plain_text import visible

if TYPE_CHECKING:
    from matplotlib.figure import Figure


DPI = 150
# Hues of Okabe and Ito: told apart with any colour vision, and here light beside dark for a grey print.
BLUE, SKY, GREEN, YELLOW = "#0072B2", "#56B4E9", "#009E73", "#F0E442"
ORANGE, RED, PINK = "#E69F00", "#D55E00", "#CC79A7"


@contextmanager
def house_style() -> Iterator[None]:
    """The library's own defaults with our sizes; the user's settings come back at the end."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        # a title in a script that the font lacks shows as boxes, which the reader sees
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        matplotlib.rcdefaults()
        ours: dict[Any, Any] = {"font.size": 8.5, "axes.titlesize": 9, "legend.fontsize": 8}
        ours |= {"axes.spines.top": False, "axes.spines.right": False, "axes.axisbelow": True}
        matplotlib.rcParams.update(ours | {"legend.frameon": False, "hatch.linewidth": 0.6})
        yield


def head(figure: "Figure", record: Mapping[str, Any], what: str) -> None:
    """Title, what the picture shows, and which run it is."""
    title = shorten(str(record["title"]), 110, placeholder=" ...")
    text = f"{title}\n{what}\nWeather: {record['weather.station']}"
    figure.suptitle(text, x=0.01, ha="left", fontsize=10, parse_math=False)  # a $ is a dollar
    run = f"tankyear {record['tool.version']}; scenario {record['scenario.sha256'][:12]}"
    if changed := len(record["scenario.overrides"]):
        run += f", {changed} of its keys set on the command line"
    run += f"; weather {record['weather.sha256'][:12]}"
    figure.supxlabel(run, x=0.99, ha="right", fontsize=6.5, color="0.4")


def png(figure: "Figure") -> bytes:
    """The figure as the bytes of a PNG file, the same for the same figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure)
    file = BytesIO()
    figure.savefig(file, format="png", dpi=DPI, metadata={"Software": None})
    return file.getvalue()


def svg(figure: "Figure", title: str, words: str) -> bytes:
    """The figure as the bytes of an SVG file; the same for the same figure.

    Its text is text, with a title and a description: it can be searched, and read aloud.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    FigureCanvasSVG(figure)
    file = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "tankyear", "svg.fonttype": "none"}):
        figure.savefig(file, format="svg", metadata={"Date": None, "Creator": None})
    before, opening, rest = file.getvalue().decode().partition("<svg ")
    attributes, _, inside = rest.partition(">")
    named = f"<title>{escape(visible(title))}</title>\n<desc>{escape(visible(words))}</desc>"
    return f'{before}{opening}role="img" {attributes}>\n{named}{inside}'.encode()
