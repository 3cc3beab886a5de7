"""What the tests of drawings look at: text and pipes, and whether a drawing can be read."""

from itertools import combinations, pairwise
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.text import Text
from matplotlib.transforms import Bbox


def texts(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text with its box in pixels, as the renderer measures it."""
    renderer: Any = FigureCanvasAgg(figure).get_renderer()
    found = [text for text in figure.findobj(Text) if isinstance(text, Text) and text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in found]


def meets(one: Bbox, other: Bbox) -> bool:
    """Whether two boxes share some of their inside."""
    return bool(one.x0 < other.x1 and one.x1 > other.x0 and one.y0 < other.y1 and one.y1 > other.y0)


def inside(one: Bbox, other: Bbox) -> bool:
    return bool(one.x0 > other.x0 and one.x1 < other.x1 and one.y0 > other.y0 and one.y1 < other.y1)


def pipe_lines(figure: Figure) -> list[Any]:
    """Every pipe as it was drawn."""
    found: Any = figure.findobj(lambda artist: artist.get_gid() == "pipe")
    return list(found)


def pipes(figure: Figure, colour: str | None = None) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    """Corners of each pipe, in tenths of an inch, of one colour or of all."""
    return [line.get_xydata() for line in pipe_lines(figure) if colour in (None, line.get_color())]


def assert_legible(figure: Figure) -> None:
    """No text leaves the figure, meets another text, is struck through by a pipe, or lies across a wall."""
    found = texts(figure)
    whole = figure.bbox
    for text, box in found:
        assert inside(box, whole), f"{text!r} leaves the figure"
    for (text, box), (other, theirs) in combinations(found, 2):
        assert not meets(box, theirs), f"{text!r} meets {other!r}"
    (ax,) = figure.axes
    discs = [(disc.get_window_extent(), disc.get_zorder()) for disc in ax.patches if isinstance(disc, Circle)]

    def hidden(box: Bbox, order: float) -> bool:
        """Whether what lies that deep is hidden behind a disc that the text stands on."""
        return any(above > order and inside(box, disc) for disc, above in discs)

    for line in pipe_lines(figure):
        corners = line.get_xydata()
        at = ax.transData.transform(corners)
        for start, end in pairwise(at):
            low, high = np.minimum(start, end), np.maximum(start, end)
            run = Bbox([low - 0.1, high + 0.1])
            for text, box in found:
                clear = not meets(box, run) or hidden(box, line.get_zorder())
                assert clear, f"a pipe runs through {text!r}"
    for wall in ax.patches:
        if isinstance(wall, Circle) or wall.get_gid() == "wall":
            edges = wall.get_window_extent()
            for text, box in found:
                clear = not meets(box, edges) or inside(box, edges) or hidden(box, wall.get_zorder())
                assert clear, f"{text!r} lies across a wall"
