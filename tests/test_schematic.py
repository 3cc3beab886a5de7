"""The drawing of the plant: every arrangement is legible, pipes meet the ports that are asked for, heat adds up."""

import re
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import ROOT, central_air
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from hpwhsim.report import shapes
from hpwhsim.report.drawing import png, svg
from hpwhsim.report.heat_flows import digits, number, sums
from hpwhsim.report.schematic import alternative, schematic
from hpwhsim.report.schematic_layout import columns
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.schema import Scenario
from hpwhsim.study.answer import answer
from hpwhsim.study.year import Year
from hpwhsim.tables import read_table

SCENARIOS = ROOT / "scenarios"
FILES = sorted([*SCENARIOS.glob("*.yaml"), *(SCENARIOS / "studies").glob("*.yaml")])
NUMBER = r"[\d,.\N{MINUS SIGN}]+"

LOOP_TANK = ("recirculation.served_by=loop-tank", "recirculation.loop_tank.setpoint=55 degC")
LOOP_TANK = (*LOOP_TANK, "recirculation.loop_tank.volume=450 L", "recirculation.return_height=null")
LOOP_PUMP = tuple(
    f"recirculation.loop_tank.heat_pump.{key}"
    for key in (
        "refrigerant=R-513A",
        "capacity=12 kW",
        "cop=3.1",
        "pass=multi",
        "rated_at={source: 7 degC, water_in: 50 degC, water_out: 55 degC}",
    )
)
MULTI = ("plant.heat_pump.pass=multi", "plant.heat_pump.return_height=0.6")
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
    "multi": ("central-air", [*MULTI, "recirculation.return_height=1"]),
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
            "plant.heat_pump.pass=wrapped",
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
    made: Any = None
    return Year({}, record | flows | {"fuel": "natural-gas"}, None, np.zeros(35040), made)


HEADED = {
    "title": "An invented plant",
    "weather.station": "Nowhere",
    "tool.version": "0",
    "scenario.sha256": "0" * 64,
    "scenario.overrides": [],
    "weather.sha256": "0" * 64,
}


def texts(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text with its box in pixels, as the renderer measures it."""
    renderer: Any = FigureCanvasAgg(figure).get_renderer()
    found = [text for text in figure.findobj(Text) if isinstance(text, Text) and text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in found]


def meets(one: Bbox, other: Bbox) -> bool:
    """Whether two boxes share some of their inside."""
    return bool(one.x0 < other.x1 and one.x1 > other.x0 and one.y0 < other.y1 and one.y1 > other.y0)


def inside(one: Bbox, other: Bbox) -> bool:
    return bool(one.x0 > other.x0 and one.x1 < other.x1 and one.y0 > other.y0 and one.y1 < other.y1)


def pipes(figure: Figure, colour: str | None = None) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    """Corners of each pipe, in tenths of an inch, of one colour or of all."""
    lines: Any = figure.findobj(lambda artist: artist.get_gid() == "pipe")
    return [line.get_xydata() for line in lines if colour in (None, line.get_color())]


def assert_legible(figure: Figure) -> None:
    """No text leaves the figure, meets another text, is struck through by a pipe, or lies across a wall."""
    found = texts(figure)
    whole = figure.bbox
    for text, box in found:
        assert inside(box, whole), f"{text!r} leaves the figure"
    for (text, box), (other, theirs) in combinations(found, 2):
        assert not meets(box, theirs), f"{text!r} meets {other!r}"
    (ax,) = figure.axes
    for corners in pipes(figure):
        at = ax.transData.transform(corners)
        for start, end in zip(at, at[1:], strict=False):
            low, high = np.minimum(start, end), np.maximum(start, end)
            run = Bbox([low - 0.1, high + 0.1])
            for text, box in found:
                assert not meets(box, run), f"a pipe runs through {text!r}"
    for wall in ax.patches:
        if isinstance(wall, Rectangle | Circle):
            edges = wall.get_window_extent()
            for text, box in found:
                assert not meets(box, edges) or inside(box, edges), f"{text!r} lies across a wall"


@pytest.mark.parametrize("name", ARRANGEMENTS)
@pytest.mark.parametrize("flow", [0.0, 9.5e3, 9.6e5, -9.6e5], ids=["none", "small", "large", "negative"])
def test_every_arrangement_is_legible(name: str, flow: float) -> None:
    """With no year, with numbers of a home, of a block, and with a minus before each."""
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
