"""Plain shapes of a schematic: boxes, pipes with arrows, coils, pumps, and lines of text beside them.

One unit of length is a tenth of an inch, so that text has a known size.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FONT = 8.0  # pt
LINE = 1.7  # from line to line of text
HOT, COLD, BACK, BRINE = RED, BLUE, PINK, SKY
REFRIGERANT, ELECTRIC, FUEL, LOST, SEWAGE = GREEN, ORANGE, "0.25", "0.55", "0.4"
DASHED = {REFRIGERANT: (0, (1.2, 1.0)), ELECTRIC: (0, (4.0, 1.5)), FUEL: (0, (6.0, 1.5, 1.0, 1.5))}
"""What is no water is told apart by its dashes too, for a grey print."""

Point = tuple[float, float]


class Box(NamedTuple):
    """A rectangle."""

    left: float
    foot: float
    right: float
    top: float

    @property
    def x(self) -> float:
        """Middle of its width."""
        return 0.5 * (self.left + self.right)

    @property
    def y(self) -> float:
        """Middle of its height."""
        return 0.5 * (self.foot + self.top)

    def at(self, share: float) -> float:
        """Height of a share of it."""
        return self.foot + share * (self.top - self.foot)


class Pen:
    """Draws on axes whose unit is a tenth of an inch; what was used is kept for the legend."""

    def __init__(self, ax: "Axes") -> None:
        self.ax = ax
        self.used: set[str] = set()

    def text(
        self,
        x: float,
        y: float,
        lines: Sequence[str],
        *,
        align: Literal["left", "center", "right"] = "left",
        colour: str = "k",
        bold: Sequence[str] = (),
    ) -> float:
        """Lines of text from `y` downwards, `bold` ones below; returns where the next line would be."""
        for line in (*lines, *bold):
            look: dict[str, Any] = {"fontsize": FONT, "color": colour, "ha": align, "va": "top"}
            if line in bold:
                look["fontweight"] = "bold"
            self.ax.text(x, y, line, zorder=6, parse_math=False, **look)
            y -= LINE
        return y

    def box(self, box: Box, fill: str = "w", width: float = 1.2, **look: Any) -> None:
        """A rectangle that hides the pipes behind it."""
        from matplotlib.patches import Rectangle

        size = box.right - box.left, box.top - box.foot
        drawn: dict[str, Any] = {"facecolor": fill, "edgecolor": "k", "linewidth": width, "zorder": 4} | look
        self.ax.add_patch(Rectangle((box.left, box.foot), *size, **drawn))

    def outline(self, box: Box, name: str) -> None:
        """A dashed line around a place, its name below."""
        self.box(box, "none", 0.9, edgecolor="0.5", linestyle=(0, (5, 3)), zorder=1)
        self.text(box.left, box.foot - 0.5, [name], colour="0.35")

    def line(self, colour: str, *points: Point, width: float = 1.6, zorder: float = 2.0) -> None:
        """A line through points."""
        look: dict[str, Any] = {"color": colour, "linewidth": width, "zorder": zorder, "gid": "pipe"}
        if colour in DASHED:
            look["linestyle"] = DASHED[colour]
        x, y = zip(*points, strict=True)
        self.ax.plot(x, y, solid_joinstyle="miter", **look)
        self.used.add(colour)

    def pipe(self, colour: str, *points: Point) -> None:
        """A line that ends in an arrow."""
        self.line(colour, *points)
        (x, y), (x0, y0) = points[-1], points[-2]
        self.arrow(colour, x, y, x - x0, y - y0)

    def arrow(self, colour: str, x: float, y: float, dx: float, dy: float, zorder: float = 5.0) -> None:
        """The head of an arrow with its tip at a point, in a direction along an axis."""
        from matplotlib.patches import Polygon

        dx, dy = ((dx > 0) - (dx < 0), 0) if abs(dx) > abs(dy) else (0, (dy > 0) - (dy < 0))
        back = [(x - 1.1 * dx + side * 0.5 * dy, y - 1.1 * dy + side * 0.5 * dx) for side in (-1.0, 1.0)]
        look: dict[str, Any] = {"facecolor": colour, "edgecolor": colour, "linewidth": 0.3}
        self.ax.add_patch(Polygon([(x, y), *back], zorder=zorder, **look))

    def coil(self, colour: str, start: Point, end: Point, turns: int = 4, width: float = 0.8) -> None:
        """A zigzag from one point to another, along an axis: a heat exchanger or an element."""
        (x0, y0), (x1, y1) = start, end
        points = [start]
        for k in range(2 * turns):
            share, side = (k + 0.5) / (2 * turns), width * (1 if k % 2 else -1)
            points.append(
                (x0 + share * (x1 - x0), y0 + side) if y0 == y1 else (x0 + side, y0 + share * (y1 - y0))
            )
        self.ax.plot(*zip(*points, end, strict=True), color=colour, linewidth=1.3, zorder=5)

    def disc(self, x: float, y: float, radius: float = 1.1) -> None:
        """A circle that hides the pipe behind it."""
        from matplotlib.patches import Circle

        self.ax.add_patch(Circle((x, y), radius, facecolor="w", edgecolor="k", linewidth=1.1, zorder=4.5))

    def pump(self, x: float, y: float, dx: float, dy: float = 0.0) -> None:
        """A circle with a triangle in the direction of flow."""
        self.disc(x, y)
        self.arrow("k", x + 0.8 * dx, y + 0.8 * dy, dx, dy)

    def valve(self, x: float, y: float, third: bool = False) -> None:
        """Two triangles, tip to tip; a third one below where three pipes meet."""
        from matplotlib.patches import Polygon

        for dx, dy in ((-1.0, 0.0), (1.0, 0.0), (0.0, -1.0))[: 3 if third else 2]:
            corners = [(x + 1.3 * dx + s * 0.8 * dy, y + 1.3 * dy + s * 0.8 * dx) for s in (-1.0, 1.0)]
            self.ax.add_patch(Polygon([(x, y), *corners], facecolor="w", edgecolor="k", zorder=4.6))

    def wave(self, x0: float, x1: float, y: float) -> None:
        """Heat that is lost: a wavy line to the right, with an arrow."""
        import numpy as np

        x = np.linspace(x0, x1 - 1.1, 40)
        self.ax.plot(x, y + 0.45 * np.sin((x - x0) * 2.4), color=LOST, linewidth=1.2, zorder=5)
        self.arrow(LOST, x1, y, 1.0, 0.0)
        self.used.add(LOST)
