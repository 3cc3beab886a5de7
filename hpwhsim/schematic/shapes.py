"""Symbols of a schematic: vessels, pipes, exchangers, pumps, valves, sensors, and lines of text beside them.

One unit of length is a tenth of an inch, so that text has a known size. Symbols follow EN 1861 and ISO 14617
as second-hand lists give them: `en-1861` and `iso-14617` of the sources; the shapes were not held against
the standards.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FONT, SMALL = 8.0, 6.0  # pt; of tags and of what is in a circle
LINE, SMALL_LINE = 1.7, 1.25  # from line to line of text
HOT, COLD, BACK, BRINE = RED, BLUE, PINK, SKY
REFRIGERANT, ELECTRIC, FUEL, LOST, SEWAGE = GREEN, ORANGE, "0.25", "0.55", "0.4"
DASHED = {
    BACK: (0, (7.0, 1.4)),
    BRINE: (0, (9.0, 1.2, 2.0, 1.2)),
    REFRIGERANT: (0, (1.2, 1.0)),
    ELECTRIC: (0, (4.0, 1.5)),
    FUEL: (0, (6.0, 1.5, 1.0, 1.5)),
    SEWAGE: (0, (3.0, 1.0, 1.0, 1.0, 1.0, 1.0)),
}
WIDTHS = {HOT: 2.2, COLD: 1.1}
"""Lines are told apart by dash and width too, for a print in black alone; hot is thick and cold is thin."""

DOME, INSULATION = 1.3, 0.55  # height of a vessel's end, and how far its insulation stands off

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
        small: bool = False,
    ) -> float:
        """Lines of text from `y` downwards, `bold` ones below; returns where the next line would be."""
        size, step = (SMALL, SMALL_LINE) if small else (FONT, LINE)
        for line in (*lines, *bold):
            look: dict[str, Any] = {"fontsize": size, "color": colour, "ha": align, "va": "top"}
            if line in bold:
                look["fontweight"] = "bold"
            self.ax.text(x, y, line, zorder=6, parse_math=False, **look)
            y -= step
        return y

    def tag(
        self, x: float, y: float, name: str, *lines: str, align: Literal["left", "center", "right"] = "left"
    ) -> None:
        """The tag of an item, in small bold letters from `y` downwards, and small words below it."""
        self.ax.text(x, y, name, zorder=6, fontsize=SMALL, fontweight="bold", ha=align, va="top")
        self.text(x, y - SMALL_LINE, lines, align=align, small=True)

    def box(self, box: Box, fill: str = "w", width: float = 1.2, **look: Any) -> None:
        """A rectangle that hides the pipes behind it."""
        from matplotlib.patches import Rectangle

        size = box.right - box.left, box.top - box.foot
        drawn: dict[str, Any] = {
            "facecolor": fill,
            "edgecolor": "k",
            "linewidth": width,
            "zorder": 4,
            "gid": "wall",
        } | look
        self.ax.add_patch(Rectangle((box.left, box.foot), *size, **drawn))

    def outline(self, box: Box, name: str) -> None:
        """A dashed line around a place, its name below."""
        self.box(box, "none", 0.9, edgecolor="0.5", linestyle=(0, (5, 3)), zorder=1)
        self.text(box.left, box.foot - 0.5, [name], colour="0.35")

    def vessel(self, box: Box) -> None:
        """An upright cylinder with domed ends, its insulation a dashed line; it hides the pipes behind it."""
        for out, look in (
            (0.0, {"facecolor": "w", "edgecolor": "k", "linewidth": 1.5, "zorder": 4.0}),
            (
                INSULATION,
                {
                    "facecolor": "none",
                    "edgecolor": "k",
                    "linewidth": 0.5,
                    "linestyle": (0, (3, 3)),
                    "zorder": 1.5,
                },
            ),
        ):
            self._domed(Box(box.left - out, box.foot - out, box.right + out, box.top + out), look)

    def _domed(self, box: Box, look: dict[str, Any]) -> None:
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        low, high, bend = box.foot + DOME, box.top - DOME, DOME * 1.33
        points = [
            (box.left, low), (box.left, high),
            (box.left, high + bend), (box.right, high + bend), (box.right, high),
            (box.right, low),
            (box.right, low - bend), (box.left, low - bend), (box.left, low),
        ]  # fmt: skip
        codes = [Path.MOVETO, Path.LINETO, *[Path.CURVE4] * 3, Path.LINETO, *[Path.CURVE4] * 3]
        self.ax.add_patch(PathPatch(Path(points, codes), gid="wall", **look))

    def line(self, colour: str, *points: Point, width: float | None = None, zorder: float = 2.0) -> None:
        """A line through points."""
        width = width if width is not None else WIDTHS.get(colour, 1.6)
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

    def disc(self, x: float, y: float, radius: float = 1.1, zorder: float = 4.5) -> None:
        """A circle that hides the pipe behind it."""
        from matplotlib.patches import Circle

        self.ax.add_patch(Circle((x, y), radius, facecolor="w", edgecolor="k", linewidth=1.1, zorder=zorder))

    def stroke(self, *points: Point, width: float = 1.1, zorder: float = 4.8) -> None:
        """A black line of a symbol."""
        self.ax.plot(*zip(*points, strict=True), color="k", linewidth=width, zorder=zorder)

    def pump(self, x: float, y: float, dx: float, dy: float = 0.0, radius: float = 1.1) -> None:
        """A circle; its triangle touches the rim, the apex in the direction of flow (ISO 14617, 2301)."""
        from matplotlib.patches import Polygon

        self.disc(x, y, radius)
        turned = ((1.0, 0.0), (-0.5, 0.866), (-0.5, -0.866))
        corners = [(x + radius * (u * dx - v * dy), y + radius * (u * dy + v * dx)) for u, v in turned]
        self.ax.add_patch(Polygon(corners, facecolor="none", edgecolor="k", linewidth=0.9, zorder=4.7))

    def compressor(self, x: float, y: float, dx: float, radius: float = 1.3) -> None:
        """A circle; two lines converge in the direction of flow (ISO 14617, 2302)."""
        self.disc(x, y, radius)
        for side in (-1.0, 1.0):
            back, front = (
                (x - 0.8 * radius * dx, y + 0.6 * radius * side),
                (x + 0.97 * radius * dx, y + 0.25 * radius * side),
            )
            self.stroke(back, front, width=0.9)

    def fan(self, x: float, y: float, radius: float = 0.9) -> None:
        """Two blades of a fan."""
        from matplotlib.patches import Ellipse

        for side in (-1.0, 1.0):
            blade = Ellipse((x, y + 0.55 * side * radius), 0.45 * radius, 1.1 * radius)
            blade.set(facecolor="w", edgecolor="k", linewidth=0.8, zorder=5.0)
            self.ax.add_patch(blade)

    def plates(self, box: Box) -> None:
        """A plate heat exchanger: a rectangle with parallel lines (2516)."""
        self.box(box, width=1.1, zorder=4.5)
        for share in (0.25, 0.5, 0.75):
            x = box.left + share * (box.right - box.left)
            self.stroke((x, box.foot), (x, box.top), width=0.6)

    def fins(self, box: Box) -> None:
        """A finned coil: a rectangle with a zigzag (X2505, without its fan)."""
        self.box(box, width=1.1, zorder=4.5)
        steps = 8
        points = [
            (box.left if k % 2 else box.right, box.foot + k / steps * (box.top - box.foot))
            for k in range(steps + 1)
        ]
        self.stroke(*points, width=0.6)

    def element(self, box: Box) -> None:
        """An electric heater: a box with a zigzag (X8132)."""
        self.box(box, width=1.0, zorder=4.8)
        steps = 8
        points = [
            (
                box.left + k / steps * (box.right - box.left),
                box.y + 0.6 * (0.5 if k % 2 else -0.5) * (box.top - box.foot),
            )
            for k in range(steps + 1)
        ]
        self.stroke(*points, width=0.8, zorder=4.9)

    def valve(
        self, x: float, y: float, third: bool = False, upright: bool = False, dome: bool = False
    ) -> None:
        """Two triangles, tip to tip (2101), a third below of three ways (2103), a dome for an actuator."""
        from matplotlib.patches import Arc, Polygon

        arms = ((0.0, 1.0), (0.0, -1.0)) if upright else ((-1.0, 0.0), (1.0, 0.0))
        for dx, dy in (*arms, *(((0.0, -1.0),) if third else ())):
            corners = [(x + 1.3 * dx + s * 0.8 * dy, y + 1.3 * dy + s * 0.8 * dx) for s in (-1.0, 1.0)]
            self.ax.add_patch(Polygon([(x, y), *corners], facecolor="w", edgecolor="k", zorder=4.6))
        if dome:
            self.stroke((x, y), (x, y + 1.2), width=0.9)
            self.stroke((x - 0.8, y + 1.2), (x + 0.8, y + 1.2), width=0.9)
            self.ax.add_patch(
                Arc((x, y + 1.2), 1.6, 1.6, theta1=0.0, theta2=180.0, linewidth=0.9, zorder=4.8)
            )

    def check_valve(self, x: float, y: float, dx: float = 0.0, dy: float = 1.0) -> None:
        """A bow-tie, filled on the side that water comes from; upwards, or along dx, dy (X8077)."""
        from matplotlib.patches import Polygon

        self.valve(x, y, upright=dx == 0.0)
        half = [(x - 1.3 * dx + s * 0.8 * dy, y - 1.3 * dy + s * 0.8 * dx) for s in (-1.0, 1.0)]
        self.ax.add_patch(Polygon([(x, y), *half], facecolor="k", edgecolor="k", zorder=4.7))

    def relief_valve(self, x: float, y: float) -> None:
        """An angle valve with a spring above a pipe at `y` (X2124); it blows to the right."""
        from matplotlib.patches import Polygon

        middle = y + 1.9
        self.stroke((x, y), (x, middle), width=0.9, zorder=2.5)
        for dx, dy in ((0.0, -1.0), (1.0, 0.0)):
            corners = [(x + 1.0 * dx + s * 0.6 * dy, middle + 1.0 * dy + s * 0.6 * dx) for s in (-1.0, 1.0)]
            self.ax.add_patch(Polygon([(x, middle), *corners], facecolor="w", edgecolor="k", zorder=4.6))
        spring = [(x + 0.35 * (1 if k % 2 else -1) * (0 < k < 5), middle + 0.3 * k) for k in range(6)]
        self.stroke(*spring, width=0.7)

    def expansion_vessel(self, x: float, y: float, from_x: float) -> None:
        """A circle with a membrane, on a branch from a pipe at `from_x`."""
        radius = 1.2
        self.stroke((from_x, y), (x - radius, y), width=0.9, zorder=2.5)
        self.disc(x, y, radius)
        self.stroke((x - radius, y), (x + radius, y), width=0.7)

    def sensor(self, x: float, y: float, letters: str, number: int, to: Point | None = None) -> None:
        """A circle with letters and a loop number (ISO 14617-5), on a thin lead to where it measures."""
        if to is not None:
            self.stroke((x, y), to, width=0.6, zorder=4.9)
        self.disc(x, y, 1.35, zorder=5.2)
        for line, at in ((letters, y + 0.55), (str(number), y - 0.55)):
            self.ax.text(x, at, line, fontsize=5.0, ha="center", va="center", zorder=6)

    def wave(self, x0: float, x1: float, y: float) -> None:
        """Heat that is lost: a wavy line to the right, with an arrow."""
        import numpy as np

        x = np.linspace(x0, x1 - 1.1, 40)
        self.ax.plot(x, y + 0.45 * np.sin((x - x0) * 2.4), color=LOST, linewidth=1.2, zorder=5)
        self.arrow(LOST, x1, y, 1.0, 0.0)
        self.used.add(LOST)
