"""The drawing of the plant: every arrangement is legible, pipes meet the ports asked for, heat adds up."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import ROOT
from drawing_cases import assert_legible, pipes, texts
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.text import Text

from hpwhsim.io.figures import house_style
from hpwhsim.results.heat_flows import digits
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.schema import Scenario
from hpwhsim.schematic.layout import HOT_LINE, columns
from hpwhsim.schematic.shapes import (
    BACK,
    BRINE,
    COLD,
    DASHED,
    ELECTRIC,
    FUEL,
    HOT,
    REFRIGERANT,
    SEWAGE,
    WIDTHS,
    Pen,
)
from hpwhsim.schematic.sheet import alternative, schematic, schematic_svg
from hpwhsim.simulation.year import Year, run_year
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

SCENARIOS = ROOT / "scenarios"
FILES = sorted([*SCENARIOS.glob("*.yaml"), *(SCENARIOS / "studies").glob("*.yaml")])
NUMBER = re.compile(r" (\N{MINUS SIGN}?[\d,.]+)(?= [+=] |$)")

LOOP_TANK = ("recirculation.served_by=loop-tank", "recirculation.loop_tank.setpoint=55 degC")
LOOP_TANK = (*LOOP_TANK, "recirculation.loop_tank.volume=450 L", "recirculation.return_height=null")
LOOP_PUMP = tuple(
    f"recirculation.loop_tank.heat_pump.{key}"
    for key in (
        "refrigerant=R-513A",
        "capacity=12 kW",
        "cop=3.1",
        "condenser=multi-pass",
        "rated_at={source: 7 degC, water_in: 50 degC, water_out: 55 degC}",
    )
)
MULTI = ("plant.heat_pump.condenser=multi-pass", "plant.heat_pump.return_height=0.6")
GAS = ("plant.backup.kind=gas", "plant.backup.power=120 kW", "tariff.fuel=1 USD/therm")
ROOM = ("plant.family=packaged", "plant.source.kind=room", "plant.source.room.kind=mechanical-room")
GLYCOL = ("plant.heat_pump.water_lines.length=22 m", "plant.heat_pump.water_lines.protection=glycol")
VALVE = "hot_water.tempering_valve=50 degC"
SERIES = ("plant.storage.arrangement=series", "plant.storage.tanks=4")

ARRANGEMENTS: dict[str, tuple[str, Sequence[str]]] = {
    "series-2": ("central-air", ["plant.storage.arrangement=series"]),
    "series-4": ("central-air", [*SERIES, VALVE]),
    "series-6-multi": (
        "central-air",
        [*SERIES, "plant.storage.tanks=6", *MULTI, "recirculation.return_height=0"],
    ),
    "ports": ("central-air", ["plant.heat_pump.intake_height=0.1", "plant.storage.draw_height=0.9", VALVE]),
    "series-draw": ("central-air", [*SERIES, "plant.storage.draw_height=0.7"]),
    "multi-pass": ("central-air", [*MULTI, "recirculation.return_height=1"]),
    "multi-gas": ("central-air", [*MULTI, *GAS]),
    "return-0.3": ("central-air", ["recirculation.return_height=0.3"]),
    "return-0.42": ("central-air", ["recirculation.return_height=0.42", "recirculation.pump_power=90 W"]),
    "in-series": ("central-air", ["plant.backup.mode=series", VALVE]),
    "gas-in-series": ("central-air", ["plant.backup.mode=series", *GAS]),
    "steam": (
        "central-air",
        ["plant.backup.kind=steam", "tariff.fuel=1 USD/therm", "plant.backup.height=0.1"],
    ),
    "no-backup": ("central-air", ["plant.backup={kind: none}", "recirculation=null"]),
    "loop-tank": ("central-air", [*LOOP_TANK, "recirculation.loop_tank.power=9 kW", VALVE]),
    "loop-tank-apart": (
        "central-air",
        [*LOOP_TANK, "recirculation.loop_tank.power=9 kW", "recirculation.loop_tank.connection=parallel"],
    ),
    "loop-pump": ("central-air", [*LOOP_TANK, *LOOP_PUMP]),
    "loop-pump-apart": (
        "central-air",
        [
            *LOOP_TANK,
            *LOOP_PUMP,
            "recirculation.loop_tank.connection=parallel",
            "plant.backup.mode=series",
            *GAS,
            VALVE,
            *GLYCOL,
        ],
    ),
    "room-on-tank": (
        "packaged",
        ["plant.source.room.exhaust=outdoors", "plant.storage.tanks=1", "plant.heat_pump.modules=1"],
    ),
    "room-apart": ("packaged", ["plant.source.room.intake=neighbours", "plant.storage.tanks=12"]),
    "room-single-pass": ("central-air", [*ROOM, "plant.source.room.exhaust=outdoors"]),
    "glycol": ("central-air", [*GLYCOL]),
    "bare-lines": ("central-air", [*GLYCOL[:1], "plant.heat_pump.water_lines.protection=none"]),
    "lines-multi": ("banked-split", [*MULTI, "plant.heat_pump.lines.rise=-6 m", *GAS[:2]]),
    "lines-wrapped": (
        "split",
        [
            "plant.heat_pump.water_lines=null",
            "plant.heat_pump.lines.length=8 m",
            "plant.heat_pump.condenser=wrap-around",
        ],
    ),
    "wrapped-two": ("packaged-test", ["plant.storage.tanks=2", "plant.backup={kind: none}"]),
    "edges": ("ground", ["plant.source.ground_loop.layout=open-box", VALVE]),
    "one-bore": ("ground", ["plant.source.ground_loop.rows=1", "plant.source.ground_loop.columns=1"]),
    "no-exchanger": ("wastewater", ["plant.source.wastewater.clean_loop=false"]),
    "electric-in-series": ("resistance", [*SERIES, VALVE]),
    "gas-boiler-series": ("gas-boiler", [*SERIES]),
    "supply-drop": (
        "central-air",
        ["recirculation.return_temperature=null", "recirculation.supply_drop=5 K"],
    ),
    "many": (
        "sizing",
        ["plant.heat_pump.modules=100", "building.apartments=5000", "plant.storage.volume=4000 m3"],
    ),
}
"""Scenarios and overrides that between them draw every part; the values are invented."""


def scenario_of(name: str, overrides: Sequence[str]) -> Scenario:
    return read_scenario(SCENARIOS / f"{name}.yaml", [*overrides, "baseline=null", "costs=null"]).scenario


def year_of_all(value: float, record: dict[str, Any]) -> Year:
    """A year in which every flow has the same size: what counts here is that its numbers have room."""
    flows = {row["name"]: value for row in read_table("results") if row["name"].endswith("_kwh")}
    none: Any = None
    return Year({}, record | flows | {"fuel": "natural-gas"}, None, np.zeros(35040), none, none, "USA")


HEADED = {
    "title": "An invented plant",
    "weather.station": "Nowhere",
    "tool.version": "0",
    "scenario.sha256": "0" * 64,
    "scenario.overrides": [],
    "weather.sha256": "0" * 64,
}


@pytest.mark.slow
@pytest.mark.parametrize("name", ARRANGEMENTS)
@pytest.mark.parametrize(
    "flow",
    [0.0, pytest.param(9.5e3, marks=pytest.mark.long), -9.6e5],  # fewer digits than the last, and no minus
    ids=["none", "small", "large"],
)
def test_every_arrangement_is_legible(name: str, flow: float) -> None:
    """With no year, with numbers of a home, and with those of a block, a minus before each."""
    scenario = scenario_of(*ARRANGEMENTS[name])
    year = year_of_all(flow, HEADED) if flow else None
    assert_legible(schematic(scenario, 24e3, year))


def test_a_sewer_is_legible(tmp_path: Path) -> None:
    """A street sewer in place of the drains, with a machine of a table."""
    rows = ["flow_m3_per_h,temperature_c", *["4.0,15.0"] * 8760]
    (tmp_path / "sewer.csv").write_text("\n".join(rows) + "\n")
    blocks = [f"plant.source.wastewater={{sewer: {tmp_path / 'sewer.csv'}}}"]
    figure = schematic(scenario_of("wastewater", blocks), 24e3, year_of_all(9.6e5, HEADED))
    assert_legible(figure)
    assert "street sewer" in [text for text, _ in texts(figure)]


@pytest.mark.slow
def test_what_cannot_be_read_is_found() -> None:
    """The check above fails where it must: a text on another, on a pipe, on a wall, beyond the rim."""
    for x, y, words in ((2.0, 59.0, "meets"), (60.0, HOT_LINE + 0.5, "runs through"), (15.0, 21.7, "wall")):
        figure = schematic(scenario_of("central-air", []), 24e3)
        with house_style():
            (ax,) = figure.axes
            ax.text(x, y, "electricity and more", fontsize=8, va="top", clip_on=False)
            ax.text(2.0, 59.0, "twice" if words == "meets" else "", fontsize=8, va="top")
        with pytest.raises(AssertionError, match=words):
            assert_legible(figure)
    figure = schematic(scenario_of("central-air", []), 24e3)
    figure.axes[0].text(80.0, 30.0, "much too far to the right of it all")
    with pytest.raises(AssertionError, match="leaves"):
        assert_legible(figure)


# -- pipes ---------------------------------------------------------------------------------------------


def tips(figure: Figure, colour: str) -> list[tuple[float, float]]:
    """Where the arrows of a colour point to, in tenths of an inch."""
    from matplotlib.colors import to_rgba

    heads = [p for p in figure.axes[0].patches if isinstance(p, Polygon)]
    return [tuple(p.get_xy()[0]) for p in heads if p.get_facecolor() == to_rgba(colour)]


def ends(figure: Figure, colour: str) -> set[tuple[float, float]]:
    """Both ends of every pipe of a colour."""
    return {tuple(np.round(corner, 6)) for one in pipes(figure, colour) for corner in (one[0], one[-1])}


def near(points: Sequence[tuple[float, float]] | set[tuple[float, float]], x: float, y: float) -> bool:
    return any(abs(px - x) < 1e-6 and abs(py - y) < 1e-6 for px, py in points)


@pytest.mark.parametrize("share", [0.3, 0.42, 0.8])
def test_the_loop_returns_where_the_scenario_says(share: float) -> None:
    """recirculation.return_height is a share of the store's height; each of two tanks side by side has it."""
    scenario = scenario_of("central-air", [f"recirculation.return_height={share}"])
    at, figure = columns(scenario), schematic(scenario, 24e3)
    for tank in at.tanks:
        assert near(tips(figure, BACK), tank.right, tank.foot + share * (tank.top - tank.foot))


def test_in_series_the_loop_meets_the_tank_that_holds_the_height() -> None:
    """Of four tanks from cold to hot, a share of 0.6 lies 0.4 up the third."""
    scenario = scenario_of("central-air", [*SERIES, "recirculation.return_height=0.6"])
    third = columns(scenario).tanks[2]
    assert [(x, y) for x, y in tips(schematic(scenario, 24e3), BACK) if x == third.right] == [
        (third.right, pytest.approx(third.foot + 0.4 * (third.top - third.foot)))
    ]


@pytest.mark.parametrize("arrangement", ["parallel", "series"])
def test_cold_water_enters_at_the_foot_and_hot_water_leaves_at_the_top(arrangement: str) -> None:
    """All tanks side by side; in series the first at its foot and the last at its top."""
    scenario = scenario_of("central-air", [f"plant.storage.arrangement={arrangement}"])
    at, figure = columns(scenario), schematic(scenario, 24e3)
    cold, hot = ends(figure, COLD), ends(figure, HOT)
    feet = [near(cold, tank.x, tank.foot) for tank in at.tanks]
    tops = [near(hot, tank.x, tank.top) for tank in at.tanks]
    whole = arrangement == "parallel"
    assert feet == [True, whole]
    assert tops == [whole, True]
    assert at.machine is not None
    # cold water to the machine, hot water away from it and to the taps
    assert any(x == at.machine.right for x, _ in tips(figure, COLD))
    assert any(x > at.building.left and y == HOT_LINE for x, y in tips(figure, HOT))
    assert any(at.machine.right < x < at.tanks[0].left for x, _ in tips(figure, HOT))


def test_a_loop_tank_in_series_takes_the_water_of_the_taps() -> None:
    """In series an arrow of hot water enters it, and none in parallel: there it serves the loop alone."""
    for connection, fed in (("series", True), ("parallel", False)):
        own = ["recirculation.loop_tank.power=9 kW", f"recirculation.loop_tank.connection={connection}"]
        scenario = scenario_of("central-air", [*LOOP_TANK, *own])
        at, figure = columns(scenario), schematic(scenario, 24e3)
        assert at.loop_tank is not None
        left, right = at.loop_tank.left, at.loop_tank.right
        assert any(x == left for x, _ in tips(figure, HOT)) == fed
        assert any(x == right for x, _ in tips(figure, BACK))
        assert not any(x == at.right for x, _ in tips(figure, BACK))


def test_heaters_stand_in_the_part_that_they_heat() -> None:
    """plant.backup.height 0.6 of four tanks in series: the third above 0.4 of it, and all of the fourth."""
    scenario = scenario_of("central-air", [*SERIES, "plant.backup.height=0.6"])
    at, figure = columns(scenario), schematic(scenario, 24e3)
    walls = {x: y for x, y in tips(figure, ELECTRIC) if x in [tank.left for tank in at.tanks]}
    third, fourth = at.tanks[2:]
    assert set(walls) == {third.left, fourth.left}
    assert walls[third.left] > third.foot + 0.4 * (third.top - third.foot)
    assert walls[fourth.left] < fourth.foot + 0.2 * (fourth.top - fourth.foot)


# -- items, sensors, text ---------------------------------------------------------------------------------


TAG = re.compile(r"^(?:HP|ST|LT|P|HX|EH|B|TV|CV|EV|SV|WW)-\d+")


@pytest.mark.slow
@pytest.mark.parametrize("name", ARRANGEMENTS)
def test_every_tag_is_in_the_list_of_items_and_every_item_is_on_the_drawing(name: str) -> None:
    """Tags are counted from 1 in each kind; of many alike the first ones are drawn."""
    figure = schematic(scenario_of(*ARRANGEMENTS[name]), 24e3)
    written = [text for text, _ in texts(figure)]
    listed = " ".join(written[-6:])
    drawn = {found[0] for text in written for found in [TAG.match(text)] if found and ";" not in text}
    items = set(re.findall(r"(?:HP|ST|LT|P|HX|EH|B|TV|CV|EV|SV|WW)-1\b", listed))
    assert {tag for tag in drawn if tag.endswith("-1")} >= items - {"EH-1"}
    for tag in drawn:
        letters = tag.rpartition("-")[0]
        assert f"{letters}-1 " in listed, tag
    for must in ("ST-1", "CV-1", "EV-1", "SV-1"):
        assert must in drawn, must


@pytest.mark.parametrize("name", ["district-steam", "oil-boiler"])
def test_a_burner_is_legible_in_inch_pound_units(name: str) -> None:
    """Its name and power, in kBtu/h longer than in kW, stay in its box."""
    assert_legible(schematic(scenario_of(name, []), 24e3, year_of_all(9.6e5, HEADED), us=True))


@pytest.mark.parametrize("name", ["loop-tank", "loop-tank-apart", "return-0.3", "series-4", "no-backup"])
def test_a_loop_has_a_check_valve_in_its_return(name: str) -> None:
    """It keeps cold water from passing the resting pump backwards; common practice, no source."""
    scenario = scenario_of(*ARRANGEMENTS[name])
    written = [text for text, _ in texts(schematic(scenario, 24e3))]
    assert ("CV-2" in written) == (scenario.recirculation is not None)


def test_the_filled_half_of_a_check_valve_is_where_water_comes_from() -> None:
    """Towards the foot of one that passes upwards, towards the right of one that passes to the left."""
    from matplotlib.figure import Figure
    from matplotlib.patches import Polygon

    for dx, dy in ((0.0, 1.0), (-1.0, 0.0)):
        pen = Pen(Figure().add_subplot())
        pen.check_valve(10.0, 20.0, dx, dy)
        half = next(
            one for one in pen.ax.patches if isinstance(one, Polygon) and one.get_facecolor()[:3] == (0, 0, 0)
        )
        middle = half.get_xy()[:3].mean(axis=0) - (10.0, 20.0)
        assert middle @ (dx, dy) < 0.0
        assert abs(middle @ (dy, dx)) < 1e-9


def sensors(figure: Figure) -> list[tuple[float, float]]:
    """Where the circles of sensors stand, in tenths of an inch."""
    from matplotlib.patches import Circle

    found = [patch for patch in figure.axes[0].patches if isinstance(patch, Circle)]
    return [tuple(disc.center) for disc in found if disc.radius == pytest.approx(1.35)]


@pytest.mark.parametrize(("start", "stop", "heater"), [(0.5, 0.15, 0.6), (0.4, 0.1, 0.8), (0.9, 0.3, 0.92)])
def test_sensors_stand_at_their_height(start: float, stop: float, heater: float) -> None:
    keys = ("plant.controls.sensor_height", "plant.controls.stop_height", "plant.backup.height")
    values = (start, stop, heater)
    scenario = scenario_of("central-air", [f"{key}={value}" for key, value in zip(keys, values, strict=True)])
    tank = columns(scenario).tanks[0]
    heights = [y for x, y in sensors(schematic(scenario, 24e3)) if tank.left < x < tank.right]
    shares = [(y - tank.foot) / (tank.top - tank.foot) for y in heights]
    assert shares == pytest.approx(values)


def test_design_flows_carry_the_capacity(tmp_path: Path) -> None:
    """24 kW from 10 to 65 °C: 24 / (4.18 x 55) = 0.104 L/s of a module, by hand, of two 0.209."""
    figure = schematic(scenario_of("central-air", []), 24e3)
    listed = " ".join(text for text, _ in texts(figure))
    found = re.search(r"charging pumps?, ([\d.]+) L/s\s\(([\d.]+) gpm\) in all", listed)
    assert found is not None
    assert float(found[1]) == pytest.approx(0.209, rel=0.02)
    assert float(found[2]) == pytest.approx(0.209 * 60.0 / 3.785, rel=0.02)


def test_the_svg_can_be_searched_and_read_aloud() -> None:
    """Text is text, with a title and a description (W3C, SVG 1.1, section 5.4), safe in XML."""
    from xml.etree import ElementTree

    scenario = scenario_of("central-air", ["title=Elm & <Oak>, invented"])
    root = ElementTree.fromstring(schematic_svg(scenario, 24e3))
    name = "{http://www.w3.org/2000/svg}"
    assert root.attrib["role"] == "img"
    title, description = root.find(f"{name}title"), root.find(f"{name}desc")
    assert title is not None
    assert title.text == "Elm & <Oak>, invented"
    assert description is not None
    assert description.text
    words = {"".join(text.itertext()).strip() for text in root.iter(f"{name}text")}
    assert {"HP-1", "ST-1", "ST-2", "heat pump, R-744", "cold water"} <= words


def test_lines_are_told_apart_without_colour() -> None:
    """No two kinds have the same dash and width."""
    looks = [
        (DASHED.get(colour), WIDTHS.get(colour)) for colour in (HOT, COLD, BACK, BRINE, SEWAGE, ELECTRIC)
    ]
    looks += [(DASHED[colour], None) for colour in (REFRIGERANT, FUEL)]
    assert len(set(map(str, looks))) == len(looks)


# -- the heat of a year --------------------------------------------------------------------------------


def read_number(text: str) -> float:
    return float(text.replace("\N{MINUS SIGN}", "-").replace(",", ""))


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.year
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_the_year_of_every_scenario(path: Path) -> None:
    """Legible, and first law as the reader adds it: into the water = out of it + change of the store.

    Every figure is read off the drawing; the year's own hours, summed here, are the reference.
    """
    loaded = read_scenario(path)
    year = run_year(loaded)
    figure = schematic(loaded.scenario, year.made.capacity, year)
    assert_legible(figure)
    record: Any = year.record
    places = digits(record)
    rounding = 0.5 * 10.0**-places
    lines: dict[str, str] = {}
    for words, _ in texts(figure):
        name, colon, rest = words.partition(": ")
        if colon and " = " in rest and name in ("Water", "Heat pump", "Fuel", "Purchased"):
            lines[name] = rest
    assert ("Heat pump" in lines) == (loaded.scenario.plant.heat_pump is not None)
    assert ("Fuel" in lines) == (record["fuel_kwh"] > 0.0)
    for line in lines.values():
        sides = [[read_number(n) for n in NUMBER.findall(f" {side}")] for side in line.split(" = ")]
        slack = rounding * (sum(map(len, sides)) + 3)  # and up to three terms that read as zero
        assert sum(sides[0]) == pytest.approx(sum(sides[1]), abs=slack), line

    def mwh(*keys: str) -> float:
        return sum(float(year.hourly[key].sum()) for key in keys if key in year.hourly) / 1e3

    heat_in = mwh("heat_pump_heat_kwh", "backup_heat_kwh", "loop_heater_heat_kwh")
    heat_out = mwh("heat_to_taps_kwh", "recirculation_loss_kwh", "storage_loss_kwh")
    assert heat_in == pytest.approx(heat_out + record["store_change_kwh"] / 1e3, rel=1e-6)
    drawn = [read_number(n) for n in NUMBER.findall(f" {lines['Water'].split(' = ')[0]}")]
    assert sum(drawn) == pytest.approx(heat_in, abs=rounding * 4)
    # and at the arrows
    found = [t for t in figure.findobj(Text) if isinstance(t, Text) and t.get_fontweight() == "bold"]
    bold = [text for text in found if not TAG.match(text.get_text())]
    numbers = [read_number(t.get_text()) for t in bold]
    machine = ["source_heat_kwh", "compressor_kwh", "heat_pump_heat_kwh"]
    for key in (*machine, "heat_to_taps_kwh", "storage_loss_kwh", "backup_resistance_kwh", "fuel_kwh"):
        if mwh(key) != 0.0:
            assert any(abs(n - mwh(key)) <= rounding * 1.001 for n in numbers), key
    if loaded.scenario.recirculation is not None:
        assert any(abs(n - mwh("recirculation_loss_kwh")) <= rounding * 1.001 for n in numbers)
    assert all(f"{name}: {line}" in alternative(year) for name, line in lines.items())
    drawn = schematic_svg(loaded.scenario, year.made.capacity, year)
    assert drawn == schematic_svg(loaded.scenario, year.made.capacity, year)
