"""Where the parts of a schematic stand, and what they share.

Columns from left to right: source, machine, its lines, a burner, the store, a heater in series, the loop's
own tank, a valve, the building. Hot water runs along the top and cold water along the bottom; ports of the
store stand at their heights. All lengths are tenths of an inch.
"""

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

from hpwhsim.io.us_units import BTU_H, GALLON, KWH_PER_MMBTU
from hpwhsim.results.heat_flows import mwh
from hpwhsim.results.numbers import MINUS, decimals, degrees
from hpwhsim.scenario import families
from hpwhsim.scenario.schema import Scenario
from hpwhsim.schematic.shapes import Box, Pen

MARGIN, NARROWEST = 2.0, 88.0
TOP, ROOF, HOT_LINE, COLD_LINE, FLOOR = 59.5, 50.5, 46.0, 15.5, 5.5  # heights, downwards
TANK_FOOT, TANK_TOP, MACHINE_FOOT, MACHINE_TOP = 19.0, 42.0, 21.0, 43.0
HOT_PORT, COLD_PORT, BACK_LINE = 31.0, 24.0, 24.0  # of a machine on both sides; of the loop
FOOT = 0.3048  # m
GAP, RISING, FALLING = 11.5, 7.8, 3.6  # from machine to store; its hot and its cold pipe within
EXCHANGER = 8.0  # what a heat exchanger adds to the column of the lines
MOST_TANKS = {"parallel": 3, "series": 4}  # that are drawn
TANK_WIDTH = (14.0, 9.0, 8.0, 7.0)  # of each, by how many are drawn
SOURCE_WIDTH = {"outdoor-air": 10.0, "room": 14.0, "ground-loop": 20.0, "wastewater": 25.0}


class Columns(NamedTuple):
    """Where things stand; what the plant does not have is None. Widths are those of the text in them."""

    source: Box | None
    machine: Box | None  # None too where each machine stands on its tank
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

    @property
    def mains(self) -> float:
        """Where cold water comes up, right of the words on the store."""
        return max(self.right + 2.5, self.tanks[0].left + 19.0)


class Sheet(NamedTuple):
    """What the parts of the drawing share."""

    pen: Pen
    scenario: Scenario
    capacity: float  # of a module, W
    at: Columns
    record: Mapping[str, Any]  # empty before a year is run
    places: int  # digits of every flow
    items: list[str]  # tag and what it is, in the order of drawing; the parts add theirs
    us: bool = False  # inch-pound units; volumes and flows of water stand in both

    def tag(self, letters: str, what: str, count: int = 1) -> str:
        """The next tag of its kind, or the first of `count`; it joins the list of items."""
        there = [re.match(rf"{letters}-(\d+)(?: to {letters}-(\d+))? ", item) for item in self.items]
        first = 1 + max((int(one[2] or one[1]) for one in there if one), default=0)
        name = f"{letters}-{first}"
        self.items.append(f"{name}{f' to {letters}-{first + count - 1}' if count > 1 else ''} {what}")
        return name

    def sensor(
        self, letters: str, what: str, x: float, y: float, to: tuple[float, float] | None = None
    ) -> None:
        """A sensor with the next number of its kind."""
        number = self.tag(letters, what).rpartition("-")[2]
        self.pen.sensor(x, y, letters, int(number), to)

    def flow(self, *keys: str) -> list[str]:
        """The year's heat or energy as a line of text; none before a year is run. [MWh]"""
        return self.value(sum(mwh(self.record, key) for key in keys))

    def value(self, flow: float) -> list[str]:
        """A flow of the year [MWh] as a line of text; none before a year is run."""
        return [decimals(flow * unit_of_heat(self.us)[1], self.places)] if self.record else []

    def degrees(self, celsius: float) -> str:
        """A temperature for a label, three digits."""
        return f"{1.8 * celsius + 32.0:.3g} °F".replace("-", MINUS) if self.us else degrees(celsius)

    def kelvins(self, difference: float) -> str:
        """A difference of temperatures."""
        return f"{1.8 * difference:.3g} °F" if self.us else f"{difference:.3g} K"

    def thermal(self, watts: float) -> str:
        """A power of heat."""
        return f"{watts / BTU_H / 1e3:,.3g} kBtu/h" if self.us else f"{watts / 1e3:,.3g} kW"

    def metres(self, length: float) -> str:
        """A length."""
        return f"{length / FOOT:.3g} ft" if self.us else f"{length:.3g} m"

    def feed(self, colour: str, x: float, y: float, lines: list[str], bold: list[str]) -> float:
        """Energy bought, from above down to `y`; returns where its next line of text would be."""
        self.pen.pipe(colour, (x, TOP), (x, y))
        return self.pen.text(x + 0.8, TOP, lines, bold=bold)

    def ports(self, share: float) -> list[tuple[Box, float]]:
        """Tanks that have a port at a share of the store's height, and how high it is in them.

        No port is drawn on the rim of a tank.
        """
        tanks = self.at.tanks
        whole = self.scenario.plant.storage.arrangement == "parallel"
        k = min(int(share * len(tanks)), len(tanks) - 1)
        within = min(max(share if whole else share * len(tanks) - k, 0.06), 0.94)
        return [(tank, tank.at(within)) for tank in (tanks if whole else tanks[k : k + 1])]

    def port(self, colour: str, share: float, x: float, inwards: bool) -> float:
        """A pipe between `x` and a port of every tank that has it, behind the tanks; returns its height."""
        ports = self.ports(share)
        y = ports[0][1]
        from_left = x < self.at.tanks[0].left
        walls = [tank.left if from_left else tank.right for tank, _ in ports]
        self.pen.line(colour, (x, y), (walls[-1] if from_left else walls[0], y))
        if inwards:
            for wall in walls:
                self.pen.arrow(colour, wall, y, 1.0 if from_left else -1.0, 0.0)
        return y


def unit_of_heat(us: bool) -> tuple[str, float]:
    """The unit of the year's heat and energy, and what a MWh is in it."""
    return ("MMBtu", 1e3 / KWH_PER_MMBTU) if us else ("MWh", 1.0)


def on_tank(scenario: Scenario) -> bool:
    """Whether each machine stands on a tank of its own."""
    machine, store = scenario.plant.heat_pump, scenario.plant.storage
    if machine is None or machine.condenser != "wrap-around" or machine.lines is not None:
        return False
    return machine.modules == store.tanks and (store.arrangement == "parallel" or store.tanks == 1)


def in_flow(flow: float) -> str:
    """A design flow [m³/s] in L/s and gpm."""
    return f"{flow * 1e3:.3g} L/s\N{NO-BREAK SPACE}({flow / GALLON * 60.0:.3g} gpm)"


def return_height(scenario: Scenario) -> float:
    """Share of the store's height at which the machine's water comes back; 0 where none goes to it."""
    machine = scenario.plant.heat_pump
    return 0.0 if machine is None or machine.condenser == "wrap-around" else machine.comes_back_at


def exchanges(scenario: Scenario) -> bool:
    """Whether a condenser or an exchanger stands at the store, away from the machine."""
    machine = scenario.plant.heat_pump
    if machine is None or machine.condenser == "wrap-around":
        return False
    water = machine.water_lines
    return machine.lines is not None or (water is not None and water.protection == "glycol")


def burns(scenario: Scenario) -> bool:
    """Whether a burner or steam exchanger stands beside the store."""
    backup = scenario.plant.backup
    beside = backup.kind in families.FUELLED and backup.mode == "parallel"
    return beside and scenario.plant.family != "gas-tank"


def columns(scenario: Scenario) -> Columns:
    """Where the parts of a plant stand."""
    plant, loop = scenario.plant, scenario.recirculation
    heat_pump, storage = plant.heat_pump, plant.storage
    x = MARGIN

    def column(width: float, gap: float, foot: float = MACHINE_FOOT, top: float = MACHINE_TOP) -> Box:
        nonlocal x
        box = Box(x, foot, x + width, top)
        x = box.right + gap
        return box

    source = machine = lines = burner = series = loop_tank = valve = None
    alone = on_tank(scenario)
    if alone:
        source = column(17.0, 4.0)
    elif heat_pump is not None:
        source = column(SOURCE_WIDTH[plant.source_kind], 1.0)
        far = heat_pump.lines is not None or heat_pump.water_lines is not None
        machine = column(18.0, 1.0 if far else GAP)
        if far:
            lines = column(15.0 + (EXCHANGER if exchanges(scenario) else 0.0), GAP)
    else:
        x += 5.0
    if burns(scenario):
        burner = column(16.0, 9.0)
    drawn = min(storage.tanks, MOST_TANKS[storage.arrangement])
    top, gap = TANK_TOP - 8.0 if alone else TANK_TOP, 5.0 if storage.arrangement == "series" else 4.0
    tanks = tuple(column(TANK_WIDTH[drawn - 1], gap, TANK_FOOT, top) for _ in range(drawn))
    x += 12.0 - gap
    if plant.backup.mode == "series" and plant.backup.kind != "none":
        series = column(17.0, 2.0, 40.5, 49.5)
    if loop is not None and loop.loop_tank is not None:
        loop_tank = column(14.0, 12.0, TANK_FOOT, 34.0)
    if scenario.hot_water.tempering_valve is not None:
        valve = x + 3.0
        x += 8.0
    if series is None and loop_tank is None:
        x += 4.0
    x = max(x, NARROWEST - 18.0)
    building = column(16.0, MARGIN, FLOOR, ROOF)
    return Columns(source, machine, lines, burner, tanks, series, loop_tank, valve, building, x)
