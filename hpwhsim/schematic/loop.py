"""Taps and loop of a schematic: hot water to the building, and what comes back."""

from hpwhsim.constants import HOURS
from hpwhsim.results.heat_flows import mwh
from hpwhsim.scenario.recirculation import LoopTank, Recirculation
from hpwhsim.schematic.layout import (
    BACK_LINE,
    COLD_LINE,
    HOT_LINE,
    RISING,
    Sheet,
    in_flow,
    on_tank,
    return_height,
)
from hpwhsim.schematic.shapes import BACK, COLD, ELECTRIC, HOT, Box
from hpwhsim.schematic.storage import in_litres
from hpwhsim.storage.layers import RHO_CP

TANK_IN, TANK_OUT = 22.0, 32.0  # heights of the ports of the loop's own tank


def draw_supply(sheet: Sheet) -> None:
    """Hot water from the store to the taps, through whatever stands in its way."""
    pen, at, scenario = sheet.pen, sheet.at, sheet.scenario
    storage, loop, valve = scenario.plant.storage, scenario.recirculation, scenario.hot_water.tempering_valve
    series = storage.arrangement == "series"
    start = at.tanks[-1 if series else 0].x
    if on_tank(scenario):
        start = at.tanks[0].right + 1.6
    if return_height(scenario) >= 1.0:
        start = at.charged_from + RISING
    if storage.draw_height < 1.0:
        x = at.right + 1.5
        y = sheet.port(HOT, storage.draw_height, x, inwards=False)
        if return_height(scenario) >= 1.0:  # what the machine heats goes into the top
            pen.line(HOT, (start, HOT_LINE), (at.tanks[-1].x, HOT_LINE))
        pen.line(HOT, (x, y), (x, HOT_LINE))
        start = x
    tank = loop.loop_tank if loop is not None else None
    if at.loop_tank is not None and tank is not None and tank.connection == "series":
        inlet, outlet = at.loop_tank.left - 2.0, at.loop_tank.right + 2.0
        points = (start, HOT_LINE), (inlet, HOT_LINE), (inlet, TANK_IN), (at.loop_tank.left, TANK_IN)
        pen.pipe(HOT, *points)
        pen.line(HOT, (at.loop_tank.right, TANK_OUT), (outlet, TANK_OUT), (outlet, HOT_LINE))
        start = outlet
    if at.series is not None:
        pen.pipe(HOT, (start, HOT_LINE), (at.series.left, HOT_LINE))
        start = at.series.right
    end = at.building.right - 2.5
    pen.pipe(HOT, (start, HOT_LINE), (end, HOT_LINE))
    pen.line("k", (end, HOT_LINE + 1.0), (end, HOT_LINE - 1.0), width=2.0, zorder=5.0)
    if at.valve is not None and valve is not None:
        pen.pipe(COLD, (at.mains, COLD_LINE), (at.valve, COLD_LINE), (at.valve, HOT_LINE - 1.3))
        pen.valve(at.valve, HOT_LINE, third=True, dome=True)
        tag = sheet.tag("TV", f"tempering valve, {sheet.degrees(valve)}")
        pen.tag(at.valve + 1.4, HOT_LINE + 3.4, tag, sheet.degrees(valve))
    x = at.building.left + 1.5
    sheet.sensor("TT", "hot water to the building", x, HOT_LINE + 2.6, (x, HOT_LINE))
    words = ["taps", f"mixed to {sheet.degrees(scenario.hot_water.use_temperature)}"]
    pen.text(at.building.left + 4.5, HOT_LINE - 1.2, words, bold=sheet.flow("heat_to_taps_kwh"))


def draw_loop(sheet: Sheet) -> None:
    """The loop through the building and back to the store or to its own tank."""
    pen, at, loop = sheet.pen, sheet.at, sheet.scenario.recirculation
    if loop is None:
        return
    riser, top, back = at.building.left + 3.0, HOT_LINE, BACK_LINE
    tank = loop.loop_tank
    if at.loop_tank is not None and tank is not None and tank.connection == "parallel":
        top = TANK_OUT
        pen.line(HOT, (at.loop_tank.right, top), (riser, top))
    came = f"back at {sheet.degrees(loop.return_temperature)}"
    if loop.supply_drop is not None:
        came = f"back {sheet.kelvins(loop.supply_drop)} colder"
    if at.loop_tank is not None and loop.loop_tank is not None:
        pen.pipe(BACK, (riser, back), (at.loop_tank.right, back))
        pen.text(at.loop_tank.right + 0.9, back + 3.1, [came])
        _check_valve(sheet, at.loop_tank.right + 3.4, back, upwards=False)
        _loop_tank(sheet, at.loop_tank, loop.loop_tank)
    else:
        x = at.right + 10.0
        y = sheet.port(BACK, loop.return_height, x, inwards=True)
        back = y if y < BACK_LINE + 4.0 else BACK_LINE
        pen.line(BACK, (riser, back), (x, back), (x, y))
        level = y == back
        pen.text(at.right + 0.9, y + (2.5 if level else 1.9), [came])
        _check_valve(sheet, *((at.right + 5.6, y) if level else (x, 0.5 * (back + y))), upwards=not level)
    pen.pipe(HOT, (riser, top), (riser, back))
    y = min(34.0, top - 3.5)
    pen.wave(riser + 0.3, riser + 4.0, y)
    pen.text(riser + 4.6, y + 1.7, ["loop"], bold=sheet.flow("recirculation_loss_kwh"))
    x = (at.valve or at.building.left) - 1.6
    pen.pump(x - 2.4, back, -1.0)
    pumped = sheet.flow("recirculation_pump_kwh") if sheet.record.get("recirculation_pump_kwh") else []
    tag = sheet.tag("P", f"loop pump{_loop_flow(sheet, loop)}")
    pen.text(x, back - 1.6, [f"{tag}, loop"], bold=pumped, align="right")
    x = at.building.left + 1.3
    sheet.sensor("TT", "water back from the loop", x, back + 2.5, (x, back))


def _check_valve(sheet: Sheet, x: float, y: float, *, upwards: bool) -> None:
    """No cold water flows backwards past a resting pump: not simulated (common practice, no source)."""
    tag = sheet.tag("CV", "check valve in the loop's return")
    if upwards:
        sheet.pen.check_valve(x, y)
        sheet.pen.tag(x + 1.3, y + 0.4, tag)
    else:
        sheet.pen.check_valve(x, y, -1.0, 0.0)
        sheet.pen.tag(x - 1.6, y - 1.2, tag)


def _loop_flow(sheet: Sheet, loop: Recirculation) -> str:
    """The flow that carries the loop's mean loss at its drop, as words; none before a year is run."""
    supply = sheet.scenario.hot_water.tempering_valve or sheet.scenario.plant.storage.setpoint
    drop = loop.supply_drop if loop.supply_drop is not None else supply - loop.return_temperature
    loss = mwh(sheet.record, "recirculation_loss_kwh") * 1e6 / HOURS
    return f", {in_flow(loss / (RHO_CP * drop))} for the mean loss" if loss > 0.0 and drop > 0.0 else ""


def _loop_tank(sheet: Sheet, box: Box, tank: LoopTank) -> None:
    """The loop's own tank with its element or heat pump."""
    pen, bought = sheet.pen, sheet.flow("loop_heater_kwh")
    pen.vessel(box)
    pen.tag(box.left, box.foot - 0.8, sheet.tag("LT", f"loop tank, {in_litres(tank.volume)}"))
    litres, gallons = in_litres(tank.volume).split("\N{NO-BREAK SPACE}(")
    pen.text(
        box.x,
        box.top - 4.6,
        ["loop tank", litres, f"({gallons}", sheet.degrees(tank.setpoint)],
        align="center",
    )
    x = box.left + 4.0
    if tank.heat_pump is None:
        sheet.feed(ELECTRIC, x, box.top, ["resistance", f"{(tank.power or 0.0) / 1e3:.3g} kW"], bought)
        pen.element(Box(box.left + 2.0, box.top - 3.6, box.left + 8.0, box.top - 2.0))
        tag = sheet.tag("EH", f"heater of the loop tank, {(tank.power or 0.0) / 1e3:.3g} kW")
        pen.tag(box.left + 8.6, box.top - 2.4, tag)
        return
    machine = Box(box.left, box.top + 1.2, box.right, box.top + 7.6)
    pen.box(machine)
    rated = sheet.thermal(tank.heat_pump.capacity or 0.0)
    pen.text(box.x, machine.top - 1.3, ["heat pump", tank.heat_pump.refrigerant, rated], align="center")
    pen.pipe(HOT, (box.right - 3.0, machine.foot), (box.right - 3.0, box.top))
    y = sheet.feed(ELECTRIC, x, machine.top, ["electricity"], bought)
    taken = mwh(sheet.record, "loop_heater_heat_kwh") - mwh(sheet.record, "loop_heater_kwh")
    pen.text(x + 0.8, y, ["outdoor air"], bold=sheet.value(taken))
