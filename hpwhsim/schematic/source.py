"""The heat source of a schematic: air, a bore field, a wet well or a street sewer, and its pipes."""

from collections.abc import Sequence

from hpwhsim.io.us_units import BTU_H
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import GroundLoop, Wastewater
from hpwhsim.schematic.layout import COLD_PORT, FOOT, HOT_PORT, Sheet, in_flow
from hpwhsim.schematic.shapes import BRINE, LINE, SEWAGE, Box
from hpwhsim.schematic.storage import in_litres

BTU_H_FT_F = FOOT / BTU_H / 1.8
"""What a W/m/K is in Btu/h/ft/°F."""


def draw_source(sheet: Sheet) -> None:
    """The source in its column, left of its machine."""
    pen, box, scenario = sheet.pen, sheet.at.source, sheet.scenario
    if box is None or sheet.at.machine is None:
        return
    machine, heat, source = sheet.at.machine.left, sheet.flow("source_heat_kwh"), scenario.plant.source
    if source.ground_loop is not None:
        given = sheet.flow("rejected_heat_kwh") if sheet.record.get("rejected_heat_kwh") else []
        _bores(sheet, source.ground_loop, box, machine, given)
        sheet.sensor("TT", "fluid from the bores", machine - 3.0, 28.4, (machine - 3.0, HOT_PORT))
        pen.text(machine - 7.4, HOT_PORT + 1.9, [], bold=heat)
    elif scenario.plant.source_kind == "wastewater":
        _sewage(sheet, source.wastewater or Wastewater(), box, machine)
        sheet.sensor("TT", "water to the evaporator", machine - 2.6, 28.2, (machine - 2.6, HOT_PORT))
        pen.text(machine - 6.4, HOT_PORT + 1.9, [], bold=heat)
    else:
        words = air_words(scenario)
        pen.pipe(BRINE, (box.left, 28.5), (machine, 28.5))
        if source.room is not None:
            pen.pipe(BRINE, (machine, 23.5), (box.left, 23.5))
        pen.text(box.left, 29.0 + LINE * (len(words) + len(heat)), words, bold=heat)
        sheet.sensor("TT", "air to the evaporator", box.left + 1.8, 26.0, (box.left + 1.8, 28.5))


def air_words(scenario: Scenario) -> list[str]:
    """Which air the machine draws, and where it blows it to."""
    room = scenario.plant.source.room
    if room is None:
        return ["outdoor air"]
    own = room.kind.replace("-", " ")
    names = {"room": own, "outdoors": "outdoors", "neighbours": "next rooms", "elsewhere": "elsewhere"}
    if room.intake == room.exhaust == "room":
        return [f"air of the {own}"]
    return [f"air from {names[room.intake]}", f"to {names[room.exhaust]}"]


def _bores(sheet: Sheet, field: GroundLoop, box: Box, machine: float, given: Sequence[str]) -> None:
    """Bores below two headers; the fluid comes back from them warmer."""
    pen = sheet.pen
    left = box.left + 1.5
    for k in range(min(field.rows * field.columns, 3)):
        x = left + 4.5 * k
        pen.line(BRINE, (x, COLD_PORT), (x, 14.5), (x + 1.8, 14.5), (x + 1.8, HOT_PORT), width=1.2)
    pen.pipe(BRINE, (machine, COLD_PORT), (left, COLD_PORT))
    pen.pipe(BRINE, (left + 1.8, HOT_PORT), (machine, HOT_PORT))
    pen.pump(machine - 3.0, COLD_PORT, -1.0)
    flow = f", {in_flow(field.flow)}" if field.flow is not None else ""
    pen.tag(machine - 3.0, COLD_PORT - 1.5, sheet.tag("P", f"pump of the ground loop{flow}"), align="center")
    bores = field.rows * field.columns
    many = f"{field.rows} × {field.columns} bores of {sheet.metres(field.depth)}"
    if field.layout != "rectangle":
        many = f"{field.layout}, {many}"
    if bores == 1:
        many = f"one bore of {sheet.metres(field.depth)}"
    fluid = field.fluid.replace("-", " ")
    ground = f"{field.ground_conductivity:.3g} W/m/K"
    if sheet.us:
        ground = f"{field.ground_conductivity * BTU_H_FT_F:.3g} Btu/h/ft/°F"
    pen.text(box.left - 0.5, 13.3, [many, fluid, f"ground {ground}"])
    if given:
        pen.text(box.left - 0.5, 40.5, ["put in by cooling"], bold=given)


def _sewage(sheet: Sheet, block: Wastewater, box: Box, machine: float) -> None:
    """A wet well that the drains fill, or a street sewer, and the exchanger with its clean loop."""
    pen = sheet.pen
    left = box.left
    well = Box(left + 3.0, 15.0, left + 11.0, 27.0)
    if block.sewer is not None:
        pen.box(well._replace(left=left - 0.5, foot=19.5, top=26.0), edgecolor="none")
        for y in (19.5, 26.0):
            pen.line("k", (left - 0.5, y), (well.right, y), width=1.4, zorder=4.5)
        pen.pipe(SEWAGE, (left - 0.5, 21.0), (well.right - 1.0, 21.0))
        pen.text(left - 0.5, 28.5, ["street sewer"])
    else:
        pen.box(well, edgecolor="none")
        corners = (
            (well.left, well.top),
            (well.left, well.foot),
            (well.right, well.foot),
            (well.right, well.top),
        )
        pen.line("k", *corners, width=1.6, zorder=4.5)
        pen.line(SEWAGE, (well.left, 25.5), (well.right, 25.5), width=1.0, zorder=4.5)
        pen.pipe(SEWAGE, (left - 0.5, 26.3), (well.left + 1.5, 26.3))
        pen.pipe(SEWAGE, (well.left, 17.0), (left - 0.5, 17.0))
        pen.text(left - 0.5, 30.0, ["drains"])
        pen.text(left - 0.5, 14.2, ["to the sewer"])
        volume = in_litres(block.well_volume) if block.well_volume is not None else ""
        tag = sheet.tag("WW", f"wet well{f', {volume}' if volume else ''}")
        pen.text(left - 0.5, 34.6, [f"{tag} wet well", *([volume] if volume else [])])
    wall = machine
    up = well.right + 2.2
    if block.clean_loop:
        plate = Box(well.right + 4.2, COLD_PORT - 1.5, well.right + 8.2, HOT_PORT + 1.5)
        wall = plate.left
        pen.plates(plate)
        pen.tag(plate.x, plate.top + 1.6, sheet.tag("HX", "exchanger of the sewage"), align="center")
        pen.text(plate.x, plate.foot - 0.4, ["exchanger"], align="center")
        pen.pipe(BRINE, (plate.right, HOT_PORT), (machine, HOT_PORT))
        pen.pipe(BRINE, (machine, COLD_PORT), (plate.right, COLD_PORT))
    pen.pipe(SEWAGE, (well.right - 2.0, 22.0), (up, 22.0), (up, HOT_PORT), (wall, HOT_PORT))
    pen.pump(up, 27.0, 0.0, 1.0)
    pen.tag(up - 1.3, 29.4, sheet.tag("P", "sewage pump"), align="right")
    pen.pipe(SEWAGE, (wall, COLD_PORT), (well.right, COLD_PORT))
