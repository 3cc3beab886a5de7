"""A drawing of the plant of a scenario, with the year's heat at its arrows where a year was run."""

from collections.abc import Mapping
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any

from hpwhsim.io.figures import head, house_style, svg
from hpwhsim.results.heat_flows import digits, sum_text, sums
from hpwhsim.scenario.schema import Scenario
from hpwhsim.schematic.heat_pump import draw_lines, draw_machine
from hpwhsim.schematic.layout import (
    EXCHANGER,
    FLOOR,
    MARGIN,
    ROOF,
    TOP,
    Sheet,
    columns,
    exchanges,
    unit_of_heat,
)
from hpwhsim.schematic.loop import draw_loop, draw_supply
from hpwhsim.schematic.shapes import (
    BACK,
    BRINE,
    COLD,
    ELECTRIC,
    FONT,
    FUEL,
    HOT,
    LOST,
    REFRIGERANT,
    SEWAGE,
    SMALL,
    Box,
    Pen,
)
from hpwhsim.schematic.source import draw_source
from hpwhsim.schematic.storage import draw_burner, draw_elements, draw_sensors, draw_store
from hpwhsim.simulation.year import Year

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEGEND = {
    "source": BRINE,
    "sewage": SEWAGE,
    "hot": HOT,
    "cold": COLD,
    "back from the loop": BACK,
    "refrigerant": REFRIGERANT,
    "electricity": ELECTRIC,
    "fuel": FUEL,
    "lost": LOST,
}
SYMBOLS = (
    "Symbols after EN 1861 and ISO 14617, shapes not held against the standards. Check valves, expansion "
    "vessel and relief valves are usual and not simulated; the plumbing code and a licensed engineer decide."
)
PLACES = {"outdoor-air": "outdoors", "ground-loop": "ground", "wastewater": "sewage"}


def schematic(scenario: Scenario, capacity: float, year: Year | None = None, *, us: bool = False) -> "Figure":
    """The plant of a scenario: what stands where, which way water and energy go, and how much in the year.

    Parameters
    ----------
    scenario : Scenario
        The plant as written.
    capacity : float
        Heat of one module at its rating, or the median of its table. [W]
    year : Year, optional
        Gives the heat of the year at each arrow, bold, and its sums below.
    us : bool
        Heat in MMBtu and temperatures in degF, for MWh and degC.
    """
    from matplotlib.figure import Figure

    record: Mapping[str, Any] = year.record if year is not None else {}
    unit, factor = unit_of_heat(us)
    at, places = columns(scenario), digits(record, factor)
    letters = int((at.width - 2.0 * MARGIN) / 0.66)  # in a line
    said = _sums(record, places, factor, letters)
    with house_style():
        figure = Figure()  # heading and foot are text of their own
        ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        ax.set_axis_off()
        sheet = Sheet(Pen(ax), scenario, capacity, at, record, places, [], us)
        for part in PARTS:
            part(sheet)
        listed = wrap(f"{'; '.join(sheet.items)}. {SYMBOLS}", int(letters * FONT / SMALL))
        below = sheet.pen.text(MARGIN, -1.6, said)
        foot = sheet.pen.text(MARGIN, below - 0.6, listed, small=True)
        high = (TOP + 1.0 - foot) / 10.0  # in
        figure.set_size_inches(at.width / 10.0, high + 0.85)
        ax.set_position((0.0, 0.2 / (high + 0.85), 1.0, high / (high + 0.85)))
        ax.set(xlim=(0.0, at.width), ylim=(foot, TOP + 1.0))
        if year is not None:
            head(figure, record, f"The plant; in bold the heat and energy of the year, {unit}")
        else:
            title = shorten(scenario.title, 110, placeholder=" ...")
            text = f"{title}\nThe plant as described"
            figure.suptitle(text, x=0.01, ha="left", fontsize=10, parse_math=False)
    return figure


def alternative(year: Year, *, us: bool = False) -> str:
    """The drawing in words, for those who cannot see it."""
    record: Mapping[str, Any] = year.record
    unit, factor = unit_of_heat(us)
    said = [sum_text(one, digits(record, factor), factor) for one in sums(record)]
    return f"Schematic of the plant with the heat of the year in {unit}. {'. '.join(said)}."


def schematic_svg(
    scenario: Scenario, capacity: float, year: Year | None = None, *, us: bool = False
) -> bytes:
    """The drawing as SVG whose text is text, with a title and a description that can be read aloud."""
    words = alternative(year, us=us) if year is not None else "Schematic of the plant as described."
    return svg(schematic(scenario, capacity, year, us=us), scenario.title, words)


def _outlines(sheet: Sheet) -> None:
    """Dashed lines around the places: where the source is, the plant's room, the building."""
    at, scenario = sheet.at, sheet.scenario
    kind, left = scenario.plant.source_kind, MARGIN - 1.0
    room = scenario.plant.source.room
    if room is None and at.machine is not None and at.source is not None:
        edge = at.machine.right + 1.7 if kind == "outdoor-air" else at.source.right - 0.5
        if at.lines is not None:
            edge = at.lines.right - (EXCHANGER if exchanges(scenario) else 0.0)
        top = 36.5 if kind == "ground-loop" else ROOF
        sheet.pen.outline(Box(left, FLOOR, edge, top), PLACES[kind])
        left = edge + 1.0
    elif room is None and at.source is not None:  # the machine on its tank takes outdoor air
        left = at.source.right
    name = "plant room" if room is None else room.kind.replace("-", " ")
    sheet.pen.outline(Box(left, FLOOR, at.building.left - 1.0, ROOF), name)
    homes = scenario.building.apartments
    sheet.pen.outline(at.building, f"building, {homes:,} apartment{'s' if homes > 1 else ''}")


def _legend(sheet: Sheet) -> None:
    """What the colours and dashes mean."""
    pen, x, y = sheet.pen, MARGIN, 1.0
    for name, colour in LEGEND.items():
        if colour in pen.used:
            if colour == LOST:
                pen.wave(x, x + 4.0, y)
            else:
                pen.line(colour, (x, y), (x + 4.0, y))
            pen.text(x + 4.8, y + 0.8, [name])
            x += 6.6 + 0.68 * len(name)


def _sums(record: Mapping[str, Any], places: int, factor: float, letters: int) -> list[str]:
    """The sums of the year as lines of text; none before a year is run."""
    said = [sum_text(one, places, factor) for one in sums(record)] if record else []
    return [line for one in said for line in wrap(one, letters)]


PARTS = (
    _outlines,
    draw_source,
    draw_machine,
    draw_lines,
    draw_burner,
    draw_store,
    draw_elements,
    draw_sensors,
    draw_supply,
    draw_loop,
    _legend,
)
"""What draws the sheet, in this order."""
