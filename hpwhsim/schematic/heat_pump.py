"""The heat pump of a schematic: its circuit, what it buys, and its lines and pipes to the store."""

from hpwhsim.results.heat_flows import BESIDE
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.scenario.schema import Scenario
from hpwhsim.schematic.layout import (
    COLD_LINE,
    COLD_PORT,
    FALLING,
    HOT_LINE,
    HOT_PORT,
    MARGIN,
    RISING,
    TOP,
    Sheet,
    exchanges,
    in_flow,
    return_height,
)
from hpwhsim.schematic.shapes import BRINE, COLD, ELECTRIC, HOT, LINE, REFRIGERANT, Box, Point
from hpwhsim.schematic.source import air_words
from hpwhsim.schematic.storage import each
from hpwhsim.storage.layers import RHO_CP


def draw_machine(sheet: Sheet) -> None:
    """The heat pump beside the store, or one on each tank."""
    box, heat_pump = sheet.at.machine, sheet.scenario.plant.heat_pump
    if heat_pump is None:
        return
    if box is None:
        _on_tanks(sheet, heat_pump)
        return
    pen = sheet.pen
    for k in range(min(heat_pump.modules, 3) - 1, 0, -1):  # others stand behind
        step = 0.7 * k
        shade = Box(box.left + step, box.foot + step, box.right + step, box.top + step)
        pen.box(shade, zorder=3.0 - 0.1 * k)
    pen.box(box)
    tag = _tag(sheet, heat_pump)
    pen.text(box.x, box.top - 0.6, _words(sheet, heat_pump), align="center")
    _circuit(sheet, box)
    pen.tag(box.left, box.foot - 0.5, tag)
    y = sheet.feed(ELECTRIC, box.x, box.top, ["electricity"], sheet.flow("compressor_kwh"))
    if beside := _beside(sheet):
        pen.text(box.x + 0.8, y, ["fans, pumps, standby"], bold=beside)
    if heat_pump.condenser == "wrap-around":
        _refrigerant(sheet, heat_pump)
    else:
        _water(sheet, heat_pump)
    pen.text(sheet.at.charged_from + 3.0, HOT_PORT + 1.9, [], bold=sheet.flow("heat_pump_heat_kwh"))


def _words(sheet: Sheet, heat_pump: HeatPump) -> list[str]:
    """What the machine is: refrigerant, capacity, rating, and how it heats the water."""
    each = sheet.thermal(sheet.capacity)
    if heat_pump.cop is not None:
        each += f", COP {heat_pump.cop:.3g}"
    rated = "from its table" if heat_pump.table is not None else "fitted to its ratings"
    if (at := heat_pump.rated_at) is not None:
        first = sheet.degrees(at.water_in).partition(" ")[0]
        rated = f"at {sheet.degrees(at.source)}, {first} to {sheet.degrees(at.water_out)}"
    passes = {
        "single-pass": "single pass",
        "multi-pass": f"{sheet.kelvins(heat_pump.rise)} a pass",
        "wrap-around": "heats",
    }
    return [
        f"heat pump, {heat_pump.refrigerant}",
        f"{heat_pump.modules} × {each}" if heat_pump.modules > 1 else each,
        rated,
        f"{passes[heat_pump.condenser]} to {sheet.degrees(sheet.scenario.outlet_temperature)}",
    ]


def _beside(sheet: Sheet) -> list[str]:
    """What the machine buys that its rating does not count, where that is anything. [MWh]"""
    return sheet.flow(*BESIDE) if any(sheet.record.get(key) for key in BESIDE) else []


def _tag(sheet: Sheet, heat_pump: HeatPump) -> str:
    """The tag of the first module; all join the list of items."""
    return sheet.tag(
        "HP", f"heat pump, {sheet.thermal(sheet.capacity)}{each(heat_pump.modules)}", heat_pump.modules
    )


def _circuit(sheet: Sheet, box: Box) -> None:
    """Evaporator, compressor, condenser and expansion valve of a refrigerant circuit."""
    pen, kind = sheet.pen, sheet.scenario.plant.source_kind
    left, right, foot, top = box.left + 3.4, box.right - 3.4, box.foot + 2.6, box.foot + 11.0
    low, high = foot + 1.9, top - 1.6
    for y in (foot, top):
        pen.line(REFRIGERANT, (left, y), (right, y), width=1.2, zorder=4.4)
    for x, at in ((left, low), (left, high), (right, low), (right, high)):
        pen.line(REFRIGERANT, (x, foot if at == low else top), (x, at), width=1.2, zorder=4.4)
    evaporator, condenser = (Box(x - 1.2, low, x + 1.2, high) for x in (left, right))
    if kind in ("outdoor-air", "room"):
        pen.fins(evaporator)
        pen.fan(evaporator.right + 1.1, evaporator.y)
    else:
        pen.plates(evaporator)
    heat_pump = sheet.scenario.plant.heat_pump
    if heat_pump is not None and (heat_pump.condenser == "wrap-around" or heat_pump.lines is not None):
        pen.line(
            REFRIGERANT, (right, low), (right, high), width=1.2, zorder=4.4
        )  # the condenser is at the store
    else:
        pen.plates(condenser)
    pen.compressor(box.x, top, 1.0)
    pen.valve(box.x, foot, dome=True)


def _on_tanks(sheet: Sheet, heat_pump: HeatPump) -> None:
    """A machine on each tank, its condenser around the tank's lower part."""
    pen, left = sheet.pen, MARGIN
    foot, top = sheet.at.tanks[0].top + 1.0, sheet.at.tanks[0].top + 9.0
    pen.text(
        left, TOP, [*_words(sheet, heat_pump), "each on its tank" if heat_pump.modules > 1 else "on its tank"]
    )
    for tank in sheet.at.tanks:
        box = Box(tank.left, foot, tank.right, top)
        pen.box(box)
        pen.compressor(box.x, box.y, 1.0)
        for colour, y in ((ELECTRIC, top - 2.0), (BRINE, foot + 2.0)):
            pen.pipe(colour, (left, y), (box.left, y))
    _wraps(sheet, heat_pump)
    _tag(sheet, heat_pump)
    for number, tank in enumerate(sheet.at.tanks, start=1):
        pen.tag(tank.left + 0.4, top - 0.4, f"HP-{number}")
    bought, beside = sheet.flow("compressor_kwh"), _beside(sheet)
    y = top - 1.6 + LINE * (1 + len(bought) + 2 * len(beside))  # the last line stands on the arrow
    y = pen.text(left, y, ["electricity"], bold=bought)
    if beside:
        pen.text(left, y, ["fans, pumps, standby"], bold=beside)
    pen.text(left, foot + 1.4, air_words(sheet.scenario), bold=sheet.flow("source_heat_kwh"))
    pen.text(
        left, foot - 6.0, ["to the water"] if sheet.record else [], bold=sheet.flow("heat_pump_heat_kwh")
    )


def _wraps(sheet: Sheet, heat_pump: HeatPump) -> None:
    """Condensers around the lower part of the tanks."""
    for tank in sheet.at.tanks:
        top = tank.at(heat_pump.condenser_height)
        for wall in (tank.left, tank.right):
            sheet.pen.coil(REFRIGERANT, (wall, tank.foot + 0.5), (wall, top), width=0.7)
    sheet.pen.used.add(REFRIGERANT)


def _refrigerant(sheet: Sheet, heat_pump: HeatPump) -> None:
    """Refrigerant between a machine and the condensers around the tanks."""
    pen, at = sheet.pen, sheet.at
    first, last, start = at.tanks[0], at.tanks[-1], at.charged_from
    high, low = first.at(heat_pump.condenser_height) - 1.0, first.foot + 1.5
    to, back = start + RISING, start + FALLING
    pen.line(REFRIGERANT, (start, HOT_PORT), (to, HOT_PORT), (to, high), (last.left, high))
    pen.arrow(REFRIGERANT, first.left - 0.9, high, 1.0, 0.0)
    pen.pipe(REFRIGERANT, (last.left, low), (back, low), (back, COLD_PORT), (start, COLD_PORT))
    _wraps(sheet, heat_pump)


def _water(sheet: Sheet, heat_pump: HeatPump) -> None:
    """Hot water to the header or a port of the store, and colder water from its foot or a port."""
    pen, start = sheet.pen, sheet.at.charged_from
    to, back, height = start + RISING, start + FALLING, return_height(sheet.scenario)
    points: list[Point] = [(start, HOT_PORT), (to, HOT_PORT)]
    if height >= 1.0:
        pen.line(HOT, *points, (to, HOT_LINE))
        pen.arrow(HOT, to, 0.5 * (HOT_PORT + HOT_LINE) + 1.0, 0.0, 1.0)
    else:
        if sheet.at.burner is not None:  # below the burner
            points += [(to, COLD_LINE + 1.8), (sheet.at.tanks[0].left - 2.5, COLD_LINE + 1.8)]
        x = points[-1][0]
        pen.line(HOT, *points, (x, sheet.port(HOT, height, x, inwards=True)))
    y = COLD_LINE
    if heat_pump.intake_height > 0.0:
        y = sheet.port(COLD, heat_pump.intake_height, back, inwards=False)
    pen.pipe(COLD, (back, y), (back, COLD_PORT), (start, COLD_PORT))
    # in the upright part of the pipe, or below the machine's port where there is none
    middle = 0.5 * (y + COLD_PORT) if abs(y - COLD_PORT) > 3.0 else COLD_PORT
    up = 1.0 if y < COLD_PORT else -1.0
    across = middle == COLD_PORT
    pen.pump(back - 0.4 if across else back, middle, -1.0 if across else 0.0, 0.0 if across else up)
    flow = design_flow(sheet.scenario, sheet.capacity)
    several = heat_pump.modules > 1
    rated = f", {in_flow(flow * heat_pump.modules)}{' in all' if several else ''}" if flow is not None else ""
    tag = sheet.tag("P", f"charging pump{'s' if several else ''}{rated}")
    pen.tag(back + 1.5, middle + 0.6, tag)


def design_flow(scenario: Scenario, capacity: float) -> float | None:
    """Water through one module at its rating; None where its rating says none. [m3/s]"""
    heat_pump = scenario.plant.heat_pump
    if heat_pump is None:
        return None
    if heat_pump.condenser == "multi-pass":
        return capacity / (RHO_CP * heat_pump.rise)
    at = heat_pump.rated_at
    return None if at is None else capacity / (RHO_CP * (at.water_out - at.water_in))


def draw_lines(sheet: Sheet) -> None:
    """Refrigerant or water lines between an outdoor machine and the store."""
    box, machine, heat_pump = sheet.at.lines, sheet.at.machine, sheet.scenario.plant.heat_pump
    if box is None or machine is None or heat_pump is None:
        return
    pen, block, water = sheet.pen, heat_pump.lines, heat_pump.water_lines
    words = ["water lines"]
    if block is not None:
        words = ["refrigerant lines", f"{sheet.metres(block.length)}, rise {sheet.metres(block.rise)}"]
    elif water is not None:
        how = {"trace": "heat trace", "glycol": "glycol", "none": "unprotected"}[water.protection]
        words.append(f"{sheet.metres(water.length)}, {how}")
    y = pen.text(machine.right + 2.5, HOT_PORT + 11.0, words)
    for key, name in (("trace_heating_kwh", "its electricity"), ("line_loss_kwh", "lost outdoors")):
        if sheet.record.get(key):
            y = pen.text(machine.right + 2.5, y, [name], bold=sheet.flow(key))
    to, back = (REFRIGERANT, REFRIGERANT) if block is not None else (HOT, COLD)
    end = box.right
    if exchanges(sheet.scenario):
        plate = Box(box.right - 5.0, COLD_PORT - 1.5, box.right, HOT_PORT + 1.5)
        end = plate.left
        pen.plates(plate)
        pen.used.add(to)
        tag = sheet.tag(
            "HX", "condenser at the store" if block is not None else "exchanger of the water lines"
        )
        pen.tag(plate.x, plate.top + 1.6, tag, align="center")
        pen.text(
            plate.x, plate.foot - 0.4, ["condenser" if block is not None else "exchanger"], align="center"
        )
    pen.pipe(to, (machine.right, HOT_PORT), (end, HOT_PORT))
    pen.pipe(back, (end, COLD_PORT), (machine.right, COLD_PORT))
