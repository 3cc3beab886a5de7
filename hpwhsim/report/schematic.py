"""A drawing of the plant of a scenario, with the year's heat at its arrows where a year was run.

Columns from left to right: source, machine, its lines, a burner, the store, a heater in series, the loop's own
tank, the building. Hot water runs along the top and cold water along the bottom; ports stand at their heights.
"""

from collections.abc import Mapping
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any, NamedTuple

from hpwhsim.plant.machine import Made
from hpwhsim.report.drawing import degrees, head, house_style
from hpwhsim.report.heat_flows import BESIDE, digits, mwh, number, sum_text, sums
from hpwhsim.report.shapes import BACK, BRINE, COLD, ELECTRIC, FUEL, HOT, LINE, LOST, REFRIGERANT, Box, Pen, Point
from hpwhsim.report.source_shapes import COLD_PORT, HOT_PORT, air_words, draw_source, source_width
from hpwhsim.scenario import families
from hpwhsim.scenario.schema import Scenario
from hpwhsim.study.year import Year

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN, GAP = 2.0, 11.5  # tenths of an inch, as all lengths here
TOP, ROOF, HOT_LINE, COLD_LINE, FLOOR = 59.5, 50.5, 46.0, 15.5, 5.5
TANK_FOOT, TANK_TOP, MACHINE_FOOT, MACHINE_TOP, BACK_LINE = 19.0, 42.0, 21.0, 43.0, 24.0
EXCHANGER = 6.0  # what a heat exchanger adds to the column of the lines
NARROWEST, BELOW = 88.0, -9.0
MOST_TANKS = {"parallel": 3, "series": 4}  # that are drawn
TANK_WIDTH = (14.0, 9.0, 8.0, 7.0)  # of each, by how many are drawn
LEGEND = {"source": BRINE, "hot": HOT, "cold": COLD, "back from the loop": BACK, "refrigerant": REFRIGERANT}
LEGEND |= {"electricity": ELECTRIC, "fuel": FUEL, "lost": LOST}
PLACES = {"outdoor-air": "outdoors", "ground-loop": "ground", "wastewater": "sewage"}


class Columns(NamedTuple):
    """Where things stand; what the plant does not have is None. Widths are those of the text in them."""

    source: Box | None
    machine: Box | None
    lines: Box | None
    burner: Box | None
    tanks: tuple[Box, ...]
    series: Box | None
    loop_tank: Box | None
    valve: float | None
    building: Box
    width: float

    @property
    def charged_from(self) -> float:
        """Where the pipes of the machine, or of its lines, begin on the side of the store."""
        last = self.lines or self.machine
        return last.right if last is not None else 0.0

    @property
    def right(self) -> float:
        """Right wall of the last tank."""
        return self.tanks[-1].right


class Sheet(NamedTuple):
    """What the parts of the drawing share."""

    pen: Pen
    scenario: Scenario
    made: Made
    at: Columns
    record: Mapping[str, Any]  # empty before a year is run
    places: int  # digits of every flow

    def flow(self, *keys: str) -> list[str]:
        """The year's heat or energy as a line of text, none before a year is run. [MWh]"""
        if not self.record:
            return []
        return [number(sum(mwh(self.record, key) for key in keys), self.places)]


def schematic(scenario: Scenario, made: Made, year: Year | None = None) -> "Figure":
    """The plant of a scenario.

    Parameters
    ----------
    scenario : Scenario
        The plant as written.
    made : Made
        Its machine as built.
    year : Year, optional
        Gives the heat of the year, in MWh in bold type, and its sums below.
    """
    from matplotlib.figure import Figure

    with house_style():
        at = _columns(scenario)
        high = TOP - BELOW + 1.0
        figure = Figure(figsize=(at.width / 10.0, high / 10.0 + 0.85))
        share = high / 10.0 / figure.get_figheight()
        ax = figure.add_axes((0.0, 0.2 / figure.get_figheight(), 1.0, share))
        ax.set(xlim=(0.0, at.width), ylim=(BELOW, TOP + 1.0))
        ax.set_axis_off()
        record: Mapping[str, Any] = year.record if year is not None else {}
        sheet = Sheet(Pen(ax), scenario, made, at, record, digits(record))
        for part in (_places, _source, _machine, _lines, _burner, _store, _elements, _supply, _loop, _foot):
            part(sheet)
        if year is not None:
            head(figure, year, "The plant; in bold the heat and energy of the year, MWh")
        else:
            title = shorten(scenario.title, 110, placeholder=" ...")
            text = f"{title}\nThe plant as described"
            figure.suptitle(text, x=0.01, ha="left", fontsize=10, parse_math=False)
    return figure


# -- where things stand ------------------------------------------------------------------------------


def on_tank(scenario: Scenario) -> bool:
    """Whether each machine stands on a tank of its own."""
    plant = scenario.plant
    machine, store = plant.heat_pump, plant.storage
    if machine is None or machine.pass_ != "wrapped" or machine.lines is not None:
        return False
    return machine.modules == store.tanks and (store.arrangement == "parallel" or store.tanks == 1)


def _burns(scenario: Scenario) -> bool:
    """Whether a burner or steam exchanger stands beside the store."""
    backup = scenario.plant.backup
    fuelled = backup.kind in families.FUELLED and backup.mode == "parallel"
    return fuelled and scenario.plant.family != "gas-tank"


def _exchanges(scenario: Scenario) -> bool:
    """Whether a condenser or an exchanger stands at the store, away from the machine."""
    pump = scenario.plant.heat_pump
    if pump is None or pump.pass_ == "wrapped":
        return False
    return pump.lines is not None or (pump.water_lines is not None and pump.water_lines.protection == "glycol")


def _columns(scenario: Scenario) -> Columns:
    plant, loop = scenario.plant, scenario.recirculation
    pump = plant.heat_pump
    x = MARGIN
    source = machine = lines = burner = series = loop_tank = valve = None

    def column(width: float, gap: float, foot: float = MACHINE_FOOT, top: float = MACHINE_TOP) -> Box:
        nonlocal x
        box = Box(x, foot, x + width, top)
        x = box.right + gap
        return box

    alone = on_tank(scenario)
    if alone:
        source = column(17.0, 4.0)
    elif pump is not None:
        source = column(source_width(scenario), 1.0)
        far = pump.lines is not None or pump.water_lines is not None
        machine = column(18.0, 1.0 if far else GAP)
        if far:
            lines = column(15.0 + (EXCHANGER if _exchanges(scenario) else 0.0), GAP)
    else:
        x += 5.0
    if _burns(scenario):
        burner = column(16.0, 9.0)
    series_tanks = plant.storage.arrangement == "series"
    drawn = min(plant.storage.tanks, MOST_TANKS[plant.storage.arrangement])
    wide, top = TANK_WIDTH[drawn - 1], TANK_TOP - 8.0 if alone else TANK_TOP
    gap = 5.0 if series_tanks else 4.0
    tanks = tuple(column(wide, gap, TANK_FOOT, top) for _ in range(drawn))
    x += 12.0 - gap
    if plant.backup.mode == "series" and plant.backup.kind != "none":
        series = column(17.0, 2.0, 41.5, 49.5)
    if loop is not None and loop.loop_tank is not None:
        loop_tank = column(14.0, 12.0, TANK_FOOT, 34.0)
    if scenario.hot_water.tempering_valve is not None:
        x += 3.0
        valve = x
        x += 5.0
    if series is None and loop_tank is None:
        x += 4.0
    building = column(16.0, MARGIN, FLOOR, ROOF)
    if (spare := NARROWEST - x) > 0.0:  # the building stands at the right margin
        building = building._replace(left=building.left + spare, right=building.right + spare)
        x = NARROWEST
    return Columns(source, machine, lines, burner, tanks, series, loop_tank, valve, building, x)


def _places(sheet: Sheet) -> None:
    """Dashed lines around the places: where the source is, the plant's room, the building."""
    at, scenario = sheet.at, sheet.scenario
    kind, left = scenario.plant.source_kind, MARGIN - 1.0
    room = scenario.plant.source.room
    name = room.kind.replace("-", " ") if room is not None else "plant room"
    if at.machine is not None and at.source is not None and room is None:
        edge = at.machine.right + 1.7 if kind == "outdoor-air" else at.source.right - 0.5
        if at.lines is not None:
            edge = at.lines.right - (EXCHANGER if _exchanges(scenario) else 0.0)
        top = 36.5 if kind == "ground-loop" else ROOF
        sheet.pen.outline(Box(left, FLOOR, edge, top), PLACES[kind])
        left = edge + 1.0
    elif room is None and at.source is not None:  # on its tank, with air of outdoors
        left = at.source.right
    sheet.pen.outline(Box(left, FLOOR, at.building.left - 1.0, ROOF), name)
    homes = scenario.building.apartments
    sheet.pen.outline(at.building, f"building, {homes:,} apartment{'s' if homes > 1 else ''}")


def _source(sheet: Sheet) -> None:
    if sheet.at.source is not None and sheet.at.machine is not None:
        heat = sheet.flow("source_heat_kwh")
        given = sheet.flow("rejected_heat_kwh") if sheet.record.get("rejected_heat_kwh") else []
        draw_source(sheet.pen, sheet.scenario, sheet.at.source, sheet.at.machine.left, heat, given)


# -- the machine --------------------------------------------------------------------------------------


def machine_words(scenario: Scenario, made: Made) -> list[str]:
    """What the machine is: refrigerant, capacity, rating, and how it heats the water."""
    pump = scenario.plant.heat_pump
    assert pump is not None  # asked of plants with one alone
    each = f"{made.capacity / 1e3:.3g} kW"
    rated = "from its table" if pump.table is not None else "fitted to its ratings"
    if pump.cop is not None:
        each += f", COP {pump.cop:.3g}"
    if pump.rated_at is not None:
        rated = f"at {degrees(pump.rated_at.source)}, water {pump.rated_at.water_in:.3g} to "
        rated += degrees(pump.rated_at.water_out)
    passes = {"single": "single pass to", "multi": f"passes of {pump.rise:.3g} K to", "wrapped": "heats to"}
    return [
        f"heat pump, {pump.refrigerant}",
        f"{pump.modules} × {each}" if pump.modules > 1 else each,
        rated.replace("water ", "") if len(rated) > 26 else rated,
        f"{passes[pump.pass_]} {degrees(scenario.plant.outlet_temperature)}",
    ]


def _machine(sheet: Sheet) -> None:
    """The heat pump with its circuit, what it buys, and its pipes to the store."""
    if on_tank(sheet.scenario):
        _machines_on_tanks(sheet)
    box, pump = sheet.at.machine, sheet.scenario.plant.heat_pump
    if box is None or pump is None:
        return
    pen = sheet.pen
    for k in range(min(pump.modules, 3) - 1, 0, -1):
        step = 0.7 * k
        pen.box(Box(box.left + step, box.foot + step, box.right + step, box.top + step), zorder=3.0 - 0.1 * k)
    pen.box(box)
    pen.text(box.x, box.top - 0.6, machine_words(sheet.scenario, sheet.made), align="center")
    _circuit(pen, box)
    y = _feed(sheet, ELECTRIC, box.x, box.top, ["electricity"], sheet.flow("compressor_kwh"))
    if _beside(sheet):
        pen.text(box.x + 0.8, y, ["fans, pumps, standing"], bold=sheet.flow(*BESIDE))
    if pump.pass_ == "wrapped":
        _refrigerant_to_tanks(sheet)
    else:
        _water_to_store(sheet)


def _beside(sheet: Sheet) -> bool:
    """Whether the machine buys anything that its rating does not count."""
    return sum(sheet.record.get(key, 0.0) for key in BESIDE) > 0.0


def _circuit(pen: Pen, box: Box) -> None:
    """Evaporator, compressor, condenser and valve of a refrigerant circuit."""
    left, right, foot, top = box.left + 2.2, box.right - 2.2, box.foot + 2.0, box.foot + 11.5
    ends = ((left, top), (right, top)), ((right, foot), (left, foot))
    for start, end in ends:
        pen.line(REFRIGERANT, start, end, width=1.2, zorder=4.4)
    for x in (left, right):
        pen.coil(REFRIGERANT, (x, foot), (x, top), width=1.0)
    pen.pump(box.x, top, 1.0)
    pen.valve(box.x, foot)


def _feed(
    sheet: Sheet, colour: str, x: float, y: float, lines: list[str], bold: list[str], side: float = 0.8
) -> float:
    """Energy bought, from above down to `y`; returns where its next line of text would be."""
    sheet.pen.pipe(colour, (x, TOP), (x, y))
    return sheet.pen.text(x + side, TOP, lines, bold=bold)


def _machines_on_tanks(sheet: Sheet) -> None:
    pen, left = sheet.pen, MARGIN
    first = sheet.at.tanks[0]
    foot, top = first.top + 1.0, first.top + 9.0
    pen.text(left, TOP, [*machine_words(sheet.scenario, sheet.made), "each on its tank"])
    pump = sheet.scenario.plant.heat_pump
    assert pump is not None  # `on_tank` saw to that
    for tank in sheet.at.tanks:
        box = Box(tank.left, foot, tank.right, top)
        pen.box(box)
        pen.pump(box.x, box.y, 1.0)
        for x in (tank.left, tank.right):
            pen.coil(REFRIGERANT, (x, tank.foot + 0.5), (x, tank.at(pump.condenser_height)), width=0.7)
        for colour, y in ((ELECTRIC, top - 2.0), (BRINE, foot + 2.0)):
            pen.pipe(colour, (left, y), (box.left, y))
    pen.used.add(REFRIGERANT)
    beside = sheet.flow(*BESIDE) if _beside(sheet) else []
    y = top - 1.7 + LINE * (1 + len(sheet.flow("compressor_kwh")) + 2 * len(beside))
    y = pen.text(left, y, ["electricity"], bold=sheet.flow("compressor_kwh"))
    if beside:
        pen.text(left, y, ["fans, pumps, standing"], bold=beside)
    heat = sheet.flow("source_heat_kwh")
    pen.text(left, foot + 1.4, air_words(sheet.scenario), bold=heat)


def _water_to_store(sheet: Sheet) -> None:
    """Hot water to the header or a port, and colder water back from the foot or a port."""
    pen, at, scenario = sheet.pen, sheet.at, sheet.scenario
    pump = scenario.plant.heat_pump
    assert pump is not None  # the caller has one
    x0, rising, falling = at.charged_from, at.charged_from + 7.8, at.charged_from + 3.6
    back = pump.return_height if pump.return_height is not None else 1.0 if pump.pass_ == "single" else 0.5
    if back >= 1.0:
        pen.line(HOT, (x0, HOT_PORT), (rising, HOT_PORT), (rising, HOT_LINE))
        pen.arrow(HOT, rising, 0.5 * (HOT_PORT + HOT_LINE) + 1.0, 0.0, 1.0)
    else:
        y = _port(sheet, HOT, back, rising, inwards=True)
        pen.line(HOT, (x0, HOT_PORT), (rising, HOT_PORT), (rising, y))
    pen.text(x0 + 3.0, HOT_PORT + 1.9, [], bold=sheet.flow("heat_pump_heat_kwh"))
    y = COLD_LINE if pump.intake_height <= 0.0 else _port(sheet, COLD, pump.intake_height, falling, False)
    pen.pipe(COLD, (falling, y), (falling, COLD_PORT), (x0, COLD_PORT))


def _refrigerant_to_tanks(sheet: Sheet) -> None:
    """A condenser around the lower tanks, away from its machine."""
    pen, at = sheet.pen, sheet.at
    pump = sheet.scenario.plant.heat_pump
    assert pump is not None  # the caller has one
    first, last = at.tanks[0], at.tanks[-1]
    high, low = first.at(pump.condenser_height) - 1.0, first.foot + 1.5
    x = at.charged_from + 7.8
    pen.line(REFRIGERANT, (at.charged_from, HOT_PORT), (x, HOT_PORT), (x, high), (last.left, high))
    pen.arrow(REFRIGERANT, first.left - 0.9, high, 1.0, 0.0)
    pen.line(REFRIGERANT, (last.left, low), (x - 4.2, low), (x - 4.2, COLD_PORT))
    pen.pipe(REFRIGERANT, (x - 4.2, COLD_PORT), (at.charged_from, COLD_PORT))
    for tank in at.tanks:
        for wall in (tank.left, tank.right):
            pen.coil(REFRIGERANT, (wall, tank.foot + 0.5), (wall, tank.at(pump.condenser_height)), width=0.7)
    pen.text(at.charged_from + 3.0, HOT_PORT + 1.9, [], bold=sheet.flow("heat_pump_heat_kwh"))


def _lines(sheet: Sheet) -> None:
    """Refrigerant or water lines between an outdoor machine and the store."""
    box, pump = sheet.at.lines, sheet.scenario.plant.heat_pump
    if box is None or pump is None or sheet.at.machine is None:
        return
    pen, block, water = sheet.pen, pump.lines, pump.water_lines
    start, ends, wet = sheet.at.machine.right, box.right, REFRIGERANT if block is not None else HOT
    if block is not None:
        words = ["refrigerant lines", f"{block.length:.3g} m, rise {block.rise:.3g} m"]
    else:
        assert water is not None  # one of them is there
        how = {"trace": "heat trace", "glycol": "glycol", "none": "no protection"}[water.protection]
        words = ["water lines", f"{water.length:.3g} m, {how}"]
    y = pen.text(box.left + 1.5, HOT_PORT + 11.0, words)
    for key, name in (("trace_heating_kwh", "its electricity"), ("line_loss_kwh", "lost outdoors")):
        if sheet.record.get(key):
            y = pen.text(box.left + 1.5, y, [name], bold=sheet.flow(key))
    if _exchanges(sheet.scenario):
        ends = box.right - 5.0
        plate = Box(ends, COLD_PORT - 1.5, box.right, HOT_PORT + 1.5)
        pen.box(plate)
        for x, colour in ((plate.left + 1.5, wet), (plate.right - 1.5, HOT)):
            pen.coil(colour, (x, COLD_PORT), (x, HOT_PORT), width=0.7)
        pen.text(plate.x, plate.foot - 0.4, ["condenser" if block is not None else "exchanger"], align="center")
    pen.line(wet, (start, HOT_PORT), (ends, HOT_PORT))
    pen.pipe(REFRIGERANT if block is not None else COLD, (ends, COLD_PORT), (start, COLD_PORT))


# -- the store ---------------------------------------------------------------------------------------


def _ports(sheet: Sheet, share: float) -> list[tuple[Box, float]]:
    """Tanks that have a port at a share of the store's height, and how high it is in them."""
    tanks = sheet.at.tanks
    if sheet.scenario.plant.storage.arrangement == "parallel":
        return [(tank, tank.at(share)) for tank in tanks]
    k = min(int(share * len(tanks)), len(tanks) - 1)
    return [(tanks[k], tanks[k].at(share * len(tanks) - k))]


def _port(sheet: Sheet, colour: str, share: float, x: float, inwards: bool) -> float:
    """A pipe between `x` and a port of every tank that has it, behind the tanks; returns its height."""
    ports = _ports(sheet, share)
    y = ports[0][1]
    from_left = x < sheet.at.tanks[0].left
    walls = [tank.left if from_left else tank.right for tank, _ in ports]
    sheet.pen.line(colour, (x, y), (walls[-1] if from_left else walls[0], y))
    if inwards:
        for wall in walls:
            sheet.pen.arrow(colour, wall, y, 1.0 if from_left else -1.0, 0.0)
    return y


def _store(sheet: Sheet) -> None:
    """Tanks, headers, cold water in, and what the store is."""
    pen, at, storage = sheet.pen, sheet.at, sheet.scenario.plant.storage
    pump = sheet.scenario.plant.heat_pump
    tanks, series = at.tanks, storage.arrangement == "series"
    for tank in tanks:
        pen.box(tank, width=1.5)
    below, above = (tanks[:1], tanks[-1:]) if series else (tanks, tanks)
    mains = max(at.right + 2.5, tanks[0].left + 19.0)
    left = tanks[0].x
    if pump is not None and pump.pass_ != "wrapped" and pump.intake_height <= 0.0:
        left = at.charged_from + 3.6
    pen.pipe(COLD, (mains, FLOOR - 2.0), (mains, COLD_LINE - 1.0))
    pen.line(COLD, (mains, COLD_LINE - 1.0), (mains, COLD_LINE), (left, COLD_LINE))
    pen.text(mains + 1.0, COLD_LINE - 2.2, ["cold water"])
    for tank in below:
        pen.line(COLD, (tank.x, COLD_LINE), (tank.x, tank.foot))
    if storage.draw_height >= 1.0:
        for tank in above:
            if on_tank(sheet.scenario):  # the machine stands in the way
                y = tank.at(0.93)
                pen.line(HOT, (tank.right, y), (tank.right + 1.6, y), (tank.right + 1.6, HOT_LINE))
            else:
                pen.line(HOT, (tank.x, tank.top), (tank.x, HOT_LINE))
    for tank, after in zip(tanks, tanks[1:], strict=False):
        if series:
            x = 0.5 * (tank.right + after.left)
            points: list[Point] = [(tank.right, tank.at(0.95)), (x, tank.at(0.95)), (x, after.at(0.05))]
            pen.pipe(HOT, *points, (after.left, after.at(0.05)))
    each = "in series" if series else "side by side"
    many = f"{storage.tanks} tanks {each}" if storage.tanks > 1 else "one tank"
    if storage.tanks > len(tanks):
        many += f", {len(tanks)} drawn"
    words = [many, _litres(storage.volume) + (" in all" if storage.tanks > 1 else "")]
    words.append(f"charged to {_both(storage.setpoint)}")
    pen.text(tanks[0].left - 1.0, COLD_LINE - 2.2, words)
    _standby(sheet)


def _litres(volume: float) -> str:
    """A volume in L and US gal; 1 US gal = 231 in³ = 3.785412 L (NIST SP 811, appendix B)."""
    return f"{volume * 1e3:,.0f} L ({volume * 1e3 / 3.785412:,.0f} gal)"


def _both(celsius: float) -> str:
    return f"{degrees(celsius)} ({1.8 * celsius + 32.0:.0f} °F)"


def _standby(sheet: Sheet) -> None:
    """The loss of the store, at its right wall where no port is near."""
    at, loop = sheet.at, sheet.scenario.recirculation
    last = at.tanks[-1]
    taken = [_ports(sheet, sheet.scenario.plant.storage.draw_height)[-1][1]]
    if loop is not None and loop.loop_tank is None:
        taken.append(_ports(sheet, loop.return_height)[-1][1])
    y = max((last.at(share) for share in (0.2, 0.35, 0.6)), key=lambda y: min(abs(y - t) for t in taken))
    sheet.pen.wave((at.right, y), (at.right + 3.6, y))
    sheet.pen.text(at.right + 4.0, y + 1.7, ["standby"], bold=sheet.flow("storage_loss_kwh"))


# -- heaters -------------------------------------------------------------------------------------------


def _heater_words(sheet: Sheet) -> list[str]:
    backup, family = sheet.scenario.plant.backup, sheet.scenario.plant.family
    names = {"resistance": "resistance", "gas": "gas heater", "oil": "oil heater", "steam": "steam exchanger"}
    name = {"gas-boiler": "gas boiler", "oil-boiler": "oil boiler", "gas-tank": "gas burners"}.get(family)
    return [f"{name or names[backup.kind]}, {(backup.power or 0.0) / 1e3:,.4g} kW"]


def _fuel_words(sheet: Sheet) -> list[str]:
    return [{"gas": "natural gas", "oil": "fuel oil", "steam": "district steam"}[sheet.scenario.plant.backup.kind]]


def _lost(sheet: Sheet) -> list[str]:
    """What the heater does not give to the water. [MWh]"""
    if not sheet.record:
        return []
    lost = mwh(sheet.record, "fuel_kwh") - mwh(sheet.record, "backup_heat_kwh")
    return [number(lost, sheet.places)]


def _burner(sheet: Sheet) -> None:
    """A boiler, heater or steam exchanger beside the store, between two of its ports."""
    if sheet.at.burner is None:
        return
    pen, tanks = sheet.pen, sheet.at.tanks
    ports = _ports(sheet, sheet.scenario.backup_height)
    low, left = ports[0][1], tanks[0].left
    high = max(low + 7.0, _ports(sheet, 0.95)[0][1]) if low < 33.0 else low + 5.0
    box = sheet.at.burner._replace(foot=min(low - 1.5, 30.0), top=max(high + 2.0, 41.0))
    pen.box(box)
    y = pen.text(box.x, box.top - 1.0, _heater_words(sheet), align="center")
    if lost := _lost(sheet):
        pen.text(box.x, y, ["loses"], bold=lost, align="center")
    _feed(sheet, FUEL, box.x, box.top, _fuel_words(sheet), sheet.flow("fuel_kwh"))
    pen.line(HOT, (box.right, high), (tanks[-1].left if len(ports) > 1 else left, high))
    pen.line(COLD, (box.right, low), (ports[-1][0].left, low))
    pen.arrow(COLD, box.right, low, -1.0, 0.0)
    for tank, _ in ports:
        pen.arrow(HOT, tank.left, high, 1.0, 0.0)
    pen.text(box.right + 0.7, high - 0.3, [], bold=sheet.flow("backup_heat_kwh"))


def _elements(sheet: Sheet) -> None:
    """Elements or burners in the tanks, and a heater in series with the taps."""
    backup, pen, at = sheet.scenario.plant.backup, sheet.pen, sheet.at
    electric = backup.kind == "resistance"
    colour = ELECTRIC if electric else FUEL
    bought = "resistance_kwh" if electric else "fuel_kwh"
    if backup.kind == "none":
        return
    words = _heater_words(sheet) + ([] if electric else _fuel_words(sheet))
    if at.series is not None:
        pen.box(at.series)
        y = pen.text(at.series.x, at.series.top - 0.9, words[:1], align="center")
        pen.text(at.series.x, y, ["in series with the taps", f"to {degrees(sheet.scenario.backup_setpoint)}"], align="center")
        y = _feed(sheet, colour, at.series.x, at.series.top, words[1:], sheet.flow(bought))
        if not electric:
            pen.text(at.series.x + 0.8, y, ["to the water"], bold=sheet.flow("backup_heat_kwh"))
    elif at.burner is None:
        x = at.tanks[0].left - 2.0
        ports = _ports(sheet, sheet.scenario.backup_height)
        y = ports[0][1] + 1.3
        pen.line(colour, (x, TOP), (x, y), (ports[-1][0].left, y))
        for tank, _ in ports:
            pen.arrow(colour, tank.left, y, 1.0, 0.0)
            pen.coil(colour, (tank.left + 0.2, y), (tank.right - 1.5, y), width=0.7)
        y = pen.text(x + 0.8, TOP, words, bold=sheet.flow(bought))
        if not electric and sheet.record:
            pen.text(x + 0.8, y, ["to the water"], bold=sheet.flow("backup_heat_kwh"))


# -- taps and loop -------------------------------------------------------------------------------------


def _supply(sheet: Sheet) -> None:
    """Hot water from the store to the taps, through whatever stands in its way."""
    pen, at, scenario = sheet.pen, sheet.at, sheet.scenario
    plant, loop = scenario.plant, scenario.recirculation
    tank = loop.loop_tank if loop is not None else None
    end = at.building.right - 2.5
    start = at.tanks[-1].x if plant.storage.arrangement == "series" else at.tanks[0].x
    if on_tank(scenario):
        start = at.tanks[0].right + 1.6
    pump = plant.heat_pump
    if pump is not None and pump.pass_ == "single" and (pump.return_height or 1.0) >= 1.0:
        start = at.charged_from + 7.8
    if plant.storage.draw_height < 1.0:
        x = at.right + 1.5
        y = _port(sheet, HOT, plant.storage.draw_height, x, inwards=False)
        if start < at.tanks[0].left:  # what the machine heats goes into the top
            pen.line(HOT, (start, HOT_LINE), (at.tanks[-1].x, HOT_LINE))
            for box in at.tanks if plant.storage.arrangement == "parallel" else at.tanks[-1:]:
                pen.pipe(HOT, (box.x, HOT_LINE), (box.x, box.top))
        pen.line(HOT, (x, y), (x, HOT_LINE))
        start = x
    if at.loop_tank is not None and tank is not None and tank.connection == "series":
        inlet, outlet = at.loop_tank.left - 2.0, at.loop_tank.right + 2.0
        pen.pipe(HOT, (start, HOT_LINE), (inlet, HOT_LINE), (inlet, 22.0), (at.loop_tank.left, 22.0))
        pen.line(HOT, (at.loop_tank.right, 32.0), (outlet, 32.0), (outlet, HOT_LINE))
        start = outlet
    pen.pipe(HOT, (start, HOT_LINE), (end, HOT_LINE))
    pen.line("k", (end, HOT_LINE + 1.0), (end, HOT_LINE - 1.0), width=2.0, zorder=5.0)
    if at.valve is not None and scenario.hot_water.tempering_valve is not None:
        mains = max(at.right + 2.5, at.tanks[0].left + 19.0)
        pen.pipe(COLD, (mains, COLD_LINE), (at.valve, COLD_LINE), (at.valve, HOT_LINE - 1.3))
        pen.valve(at.valve, HOT_LINE, third=True)
        words = ["valve", degrees(scenario.hot_water.tempering_valve)]
        pen.text(at.valve, HOT_LINE + 4.3, words, align="center")
    x = at.building.left + 4.5
    mixed = f"mixed to {degrees(scenario.hot_water.use_temperature)}"
    pen.text(x, HOT_LINE - 1.2, ["taps", mixed], bold=sheet.flow("heat_to_taps_kwh"))


def _loop(sheet: Sheet) -> None:
    """The loop through the building and back to the store or to its own tank."""
    pen, at, loop = sheet.pen, sheet.at, sheet.scenario.recirculation
    if loop is None:
        return
    riser = at.building.left + 3.0
    top = HOT_LINE
    if at.loop_tank is not None and loop.loop_tank is not None:
        if loop.loop_tank.connection == "parallel":
            top = 32.0
            pen.line(HOT, (at.loop_tank.right, top), (riser, top))
    elif at.series is not None:  # the loop's water does not pass the heater of the taps
        top = 38.5
        pen.line(HOT, (at.series.left - 1.0, HOT_LINE), (at.series.left - 1.0, top), (riser, top))
    port = _ports(sheet, loop.return_height)[-1][1]
    back = port if at.loop_tank is None and port < BACK_LINE + 4.0 else BACK_LINE
    pen.pipe(HOT, (riser, top), (riser, back))
    y = min(34.0, top - 3.5)
    pen.wave((riser + 0.3, y), (riser + 4.0, y))
    pen.text(riser + 4.6, y + 1.7, ["loop"], bold=sheet.flow("recirculation_loss_kwh"))
    words = f"back at {degrees(loop.return_temperature)}"
    if loop.supply_drop is not None:
        words = f"{loop.supply_drop:.3g} K colder"
    pumped = at.building.left - 4.0
    if at.loop_tank is not None:
        pen.pipe(BACK, (riser, BACK_LINE), (at.loop_tank.right, BACK_LINE))
        pen.text(at.building.left - 1.6, BACK_LINE + 3.4, [words], align="right")
        _loop_tank(sheet)
    else:
        x = at.right + 10.0
        y = _port(sheet, BACK, loop.return_height, x, inwards=True)
        pen.line(BACK, (riser, back), (x, back), (x, y))
        pen.text(at.right + 0.9, y + 1.9, [words])
    pen.pump(pumped, back, -1.0)
    bold = sheet.flow("recirculation_pump_kwh") if sheet.record.get("recirculation_pump_kwh") else []
    pen.text(at.building.left - 1.6, back - 1.6, ["loop pump"], bold=bold, align="right")


def _loop_tank(sheet: Sheet) -> None:
    """The loop's own tank with its element or heat pump."""
    pen, box, loop = sheet.pen, sheet.at.loop_tank, sheet.scenario.recirculation
    assert box is not None  # the caller has one
    assert loop is not None
    tank = loop.loop_tank
    assert tank is not None
    pen.box(box, width=1.5)
    litres, gallons = _litres(tank.volume).split(" (")
    pen.text(box.x, 29.2, ["loop tank", litres, f"({gallons}", degrees(tank.setpoint)], align="center")
    x = box.left + 4.0
    if tank.heat_pump is None:
        power = f"{(tank.power or 0.0) / 1e3:.3g} kW"
        _feed(sheet, ELECTRIC, x, box.top, ["resistance", power], sheet.flow("loop_heater_kwh"))
        pen.coil(ELECTRIC, (box.left + 2.0, box.top - 1.5), (box.left + 8.0, box.top - 1.5), width=0.7)
        return
    machine = Box(box.left, box.top + 1.2, box.right, box.top + 7.6)
    pen.box(machine)
    rated = f"{(tank.heat_pump.capacity or 0.0) / 1e3:.3g} kW"
    pen.text(box.x, machine.top - 1.3, ["heat pump", f"{tank.heat_pump.refrigerant}, {rated}"], align="center")
    pen.pipe(HOT, (box.right - 3.0, machine.foot), (box.right - 3.0, box.top))
    y = _feed(sheet, ELECTRIC, x, machine.top, ["electricity"], sheet.flow("loop_heater_kwh"))
    air: list[str] = []
    if sheet.record:
        taken = mwh(sheet.record, "loop_heater_heat_kwh") - mwh(sheet.record, "loop_heater_kwh")
        air = [number(taken, sheet.places)]
    pen.text(x + 0.8, y, ["outdoor air"], bold=air)


def _foot(sheet: Sheet) -> None:
    """What the colours mean, and the sums of the year."""
    pen, x = sheet.pen, MARGIN
    for name, colour in LEGEND.items():
        if colour in pen.used:
            if colour == LOST:
                pen.wave((x, 1.0), (x + 4.0, 1.0))
            else:
                pen.line(colour, (x, 1.0), (x + 4.0, 1.0))
            pen.text(x + 4.8, 1.8, [name])
            x += 7.0 + 0.72 * len(name)
    y = -1.6
    for one in sums(sheet.record) if sheet.record else ():
        for line in wrap(sum_text(one, sheet.places), int((sheet.at.width - 4.0) / 0.66)):
            y = pen.text(MARGIN, y, [line])
