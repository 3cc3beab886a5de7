"""The store of a schematic: tanks, headers, cold water, standby loss, and heaters that are no heat pump."""

from itertools import pairwise

from hpwhsim.io.us_units import GALLON
from hpwhsim.results.heat_flows import mwh
from hpwhsim.schematic.layout import (
    COLD_LINE,
    FALLING,
    FLOOR,
    HOT_LINE,
    TOP,
    Sheet,
    on_tank,
    return_height,
)
from hpwhsim.schematic.shapes import COLD, ELECTRIC, FUEL, HOT, Box, Pen

FUEL_NAMES = {"gas": "natural gas", "oil": "fuel oil", "steam": "district steam"}
HEATERS = {"resistance": "resistance", "gas": "gas heater", "oil": "oil heater", "steam": "steam exchanger"}
BY_FAMILY = {"gas-boiler": "gas boiler", "oil-boiler": "oil boiler", "gas-tank": "gas burners"}
LONGEST = 24  # letters of a line in the box of a burner


def in_litres(volume: float) -> str:
    """A volume [m³] in L and US gal."""
    return f"{volume * 1e3:,.0f} L\N{NO-BREAK SPACE}({volume / GALLON:,.0f} gal)"


def each(count: int) -> str:
    """What follows a size of one of several."""
    return " each" if count > 1 else ""


def draw_store(sheet: Sheet) -> None:
    """Tanks with their headers, cold water in at the foot, and what the store is."""
    pen, at, scenario = sheet.pen, sheet.at, sheet.scenario
    storage, heat_pump = scenario.plant.storage, scenario.plant.heat_pump
    tanks, series = at.tanks, storage.arrangement == "series"
    for tank in tanks:
        pen.vessel(tank)
    first = sheet.tag(
        "ST", f"store, {in_litres(storage.volume / storage.tanks)}{each(storage.tanks)}", storage.tanks
    )
    for number, tank in enumerate(tanks, start=int(first.rpartition("-")[2])):
        pen.tag(tank.left, tank.foot - 0.8, f"ST-{number}")
    pen.pipe(COLD, (at.mains, FLOOR - 2.0), (at.mains, COLD_LINE - 1.0))
    _safety(sheet)
    left = tanks[0].x
    if return_height(scenario) > 0.0 and heat_pump is not None and heat_pump.intake_height <= 0.0:
        left = at.charged_from + FALLING  # the machine draws from the same header
    pen.line(COLD, (at.mains, COLD_LINE - 1.0), (at.mains, COLD_LINE), (left, COLD_LINE))
    for tank in tanks[:1] if series else tanks:
        pen.line(COLD, (tank.x, COLD_LINE), (tank.x, tank.foot))
    if storage.draw_height >= 1.0 or return_height(scenario) >= 1.0:
        for tank in tanks[-1:] if series else tanks:
            if on_tank(scenario):  # the machine stands in the way
                y, x = tank.at(0.93), tank.right + 1.6
                pen.line(HOT, (tank.right, y), (x, y), (x, HOT_LINE))
            else:
                pen.line(HOT, (tank.x, tank.top), (tank.x, HOT_LINE))
    if series:
        for tank, after in pairwise(tanks):
            x, top, foot = (
                0.5 * (tank.right + after.left),
                tank.at(0.95),
                after.at(0.13),
            )  # clear of a port at the foot
            pen.pipe(HOT, (tank.right, top), (x, top), (x, foot), (after.left, foot))
    pen.text(at.mains + 1.0, COLD_LINE - 2.2, ["cold water"])
    _words(sheet)
    _standby(sheet)


def _safety(sheet: Sheet) -> None:
    """Check valve and expansion vessel in the cold water, relief valve on the hot header: not simulated."""
    pen, x, hot = sheet.pen, sheet.at.mains, sheet.at.right + 4.0
    pen.check_valve(x, 7.2)
    pen.tag(x + 1.3, 7.6, sheet.tag("CV", "check valve"))
    pen.expansion_vessel(x + 3.6, 10.2, x)
    pen.tag(x + 5.2, 10.9, sheet.tag("EV", "expansion vessel"))
    pen.relief_valve(hot, HOT_LINE)
    pen.tag(
        hot + 1.3, HOT_LINE + 2.5, sheet.tag("SV", "temperature and pressure relief valve, one on each tank")
    )


def draw_sensors(sheet: Sheet) -> None:
    """What calls the heat pump and the backup, at their heights in the first tank that has them."""
    plant, settings = sheet.scenario.plant, sheet.scenario.settings
    found: list[tuple[float, str]] = []
    if plant.heat_pump is not None:
        found = [
            (settings.sensor_height, f"calls the heat pump below {sheet.degrees(settings.start_at)}"),
            (settings.stop_height, f"ends its call at {sheet.degrees(settings.stop_at)}"),
        ]
    if plant.backup.kind != "none" and plant.backup.mode == "parallel":
        found.append(
            (settings.backup_height, f"calls the heater below {sheet.degrees(settings.backup_start)}")
        )
    for slot, (share, what) in enumerate(found):
        tank, y = sheet.ports(share)[0]
        x = tank.left + (0.2 + 0.3 * slot) * (tank.right - tank.left)
        sheet.sensor("TT", what, x, y, (tank.left, y))


def _words(sheet: Sheet) -> None:
    """What the store is."""
    storage, drawn = sheet.scenario.plant.storage, len(sheet.at.tanks)
    many = "one tank"
    if storage.tanks > 1:
        many = f"{storage.tanks} tanks {'in series' if storage.arrangement == 'series' else 'side by side'}"
    if storage.tanks > drawn:
        many += f", {drawn} drawn"
    whole = in_litres(storage.volume) + (" in all" if storage.tanks > 1 else "")
    charged = f"charged to {sheet.degrees(storage.setpoint)}"
    sheet.pen.text(sheet.at.tanks[0].left - 1.0, COLD_LINE - 2.2, [many, whole, charged])


def _standby(sheet: Sheet) -> None:
    """The loss of the store, at its right wall where no port is near."""
    at, loop = sheet.at, sheet.scenario.recirculation
    last = at.tanks[-1]
    taken = [sheet.ports(sheet.scenario.plant.storage.draw_height)[-1][1]]
    if loop is not None and loop.loop_tank is None:
        taken.append(sheet.ports(loop.return_height)[-1][1])
    y = max((last.at(share) for share in (0.2, 0.35, 0.6)), key=lambda y: min(abs(y - t) for t in taken))
    sheet.pen.wave(at.right, at.right + 3.6, y)
    sheet.pen.text(at.right + 4.0, y + 1.7, ["standby"], bold=sheet.flow("storage_loss_kwh"))


# -- heaters -------------------------------------------------------------------------------------------


def _heater(sheet: Sheet) -> str:
    """Name and power of the second heater, or of the only one."""
    plant = sheet.scenario.plant
    name = BY_FAMILY.get(plant.family, HEATERS[plant.backup.kind])
    power = plant.backup.power or 0.0
    return f"{name}, {power / 1e3:,.4g} kW" if name == "resistance" else f"{name}, {sheet.thermal(power)}"


def draw_burner(sheet: Sheet) -> None:
    """A boiler, heater or steam exchanger beside the store, between two of its ports."""
    if sheet.at.burner is None:
        return
    pen, ports = sheet.pen, sheet.ports(sheet.scenario.backup_height)
    (last, low), top = ports[-1], sheet.ports(0.95)
    high = top[0][1]
    if (
        0.0 < return_height(sheet.scenario) < 1.0
        and abs(sheet.ports(return_height(sheet.scenario))[0][1] - low) < 2.0
    ):
        low -= 2.0  # clear of the pipe from the machine
    box = sheet.at.burner._replace(foot=min(low - 1.5, 30.0))
    pen.box(box)
    steam = sheet.scenario.plant.backup.kind == "steam"
    pen.tag(box.left + 0.5, box.foot + 1.7, sheet.tag("HX" if steam else "B", _heater(sheet)))
    if steam:
        pen.plates(Box(box.x - 1.6, box.foot + 2.4, box.x + 1.6, box.top - 7.4))
    else:
        _flames(pen, box, box.foot + 2.6)
    words = _heater(sheet)
    lines = [words] if len(words) < LONGEST else words.split(", ")
    y = pen.text(box.x, box.top - 1.0, lines, align="center")
    lost = mwh(sheet.record, "fuel_kwh") - mwh(sheet.record, "backup_heat_kwh")
    pen.text(box.x, y, ["loses"] if sheet.record else [], bold=sheet.value(lost), align="center")
    fuel = FUEL_NAMES[sheet.scenario.plant.backup.kind]
    sheet.feed(FUEL, box.x, box.top, [fuel], sheet.flow("fuel_kwh"))
    pen.line(HOT, (box.right, high), (top[-1][0].left, high))
    for tank, _ in top:
        pen.arrow(HOT, tank.left, high, 1.0, 0.0)
    pen.pipe(COLD, (last.left, low), (box.right, low))
    pen.text(box.right + 0.9, high - 0.3, [], bold=sheet.flow("backup_heat_kwh"))


def draw_elements(sheet: Sheet) -> None:
    """Elements or burners in the tanks, or a heater in the pipe that leaves the store."""
    backup, pen, at = sheet.scenario.plant.backup, sheet.pen, sheet.at
    if backup.kind == "none" or at.burner is not None:
        return
    electric = backup.kind == "resistance"
    colour, bought = (ELECTRIC, "backup_resistance_kwh") if electric else (FUEL, "fuel_kwh")
    words, x = [FUEL_NAMES.get(backup.kind, "electricity")], at.tanks[0].left - 2.0
    if at.series is not None:
        x = at.series.x
        pen.box(at.series)
        tag = sheet.tag("EH" if electric else "B", f"{_heater(sheet)}, in the pipe to taps and loop")
        pen.tag(at.series.right - 0.5, at.series.foot + 1.7, tag, align="right")
        to = f"to {sheet.degrees(sheet.scenario.backup_setpoint)}"
        pen.text(x, at.series.top - 0.9, [_heater(sheet), "for taps and loop", to], align="center")
        y = sheet.feed(colour, x, at.series.top, words, sheet.flow(bought))
    else:
        _in_tanks(sheet, colour, x)
        y = pen.text(x + 0.8, TOP, [_heater(sheet), *words[electric:]], bold=sheet.flow(bought))
    if not electric and sheet.record:
        pen.text(x + 0.8, y, ["to the water"], bold=sheet.flow("backup_heat_kwh"))


def _flames(pen: Pen, box: Box, y: float) -> None:
    """Three flames side by side, their tips at `y`."""
    for k in range(3):
        pen.arrow("k", box.left + (k + 1) * 0.25 * (box.right - box.left), y, 0.0, 1.0)


def _in_tanks(sheet: Sheet, colour: str, x: float) -> None:
    """Energy from above at `x` to a heater in each tank that has one."""
    pen, ports = sheet.pen, sheet.ports(sheet.scenario.backup_height)
    if sheet.scenario.plant.storage.arrangement == "series":  # what is above that height is heated
        ports += [(tank, tank.at(0.06)) for tank in sheet.at.tanks if tank.left > ports[0][0].left]
    heaters = [(tank, min(y + 2.4, tank.top - 2.4)) for tank, y in ports]  # clear of the sensor
    pen.line(colour, (x, TOP), (x, min(y for _, y in heaters)))
    for level in {y for _, y in heaters}:
        pen.line(colour, (x, level), (max(tank.left for tank, y in heaters if y == level), level))
    storage = sheet.scenario.plant.storage
    count = storage.tanks if storage.arrangement == "parallel" else len(heaters)
    whole = " in all" if count > 1 else ""
    tag = sheet.tag("EH" if colour == ELECTRIC else "B", f"{_heater(sheet)}{whole}", count)
    pen.tag(x - 0.6, TOP, tag, align="right")
    for tank, y in heaters:
        pen.arrow(colour, tank.left, y, 1.0, 0.0)
        if colour == FUEL:
            _flames(pen, tank, y + 1.6)
        else:
            pen.element(Box(tank.left + 0.4, y - 0.8, tank.right - 0.8, y + 0.8))
