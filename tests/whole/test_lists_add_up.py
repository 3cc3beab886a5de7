"""Every list that is printed of a worked year adds up to its total: record, screen, page, months, events.

The law is the first law of thermodynamics on the meter and on the plant's water; a printed figure may be half
of its last digit off, a list of n figures by n halves.
"""

import re
from collections.abc import Callable
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import ROOT

from hpwhsim.account.energy import CREDITS, END_USES
from hpwhsim.diagnose.causes import why
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.report import year_text
from hpwhsim.evaluation.result import Result
from hpwhsim.page.page import page
from hpwhsim.results.files import write_results
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.sections.rows import headline, month_rows
from hpwhsim.simulation.year import ONE_SEED, to_dataset

pytestmark = [pytest.mark.law, pytest.mark.year]

FILES = sorted((ROOT / "scenarios").glob("*.yaml"))
NAMES = [path.stem for path in FILES]
HALF = 0.5 + 1e-9  # of the last digit printed
ROW = re.compile(r"^ {2}(?P<label>( {2})?\S.*?) {2,}(?P<value>\N{MINUS SIGN}?[\d,.]+) (?P<unit>kWh|kg|USD)\b")


@pytest.fixture(scope="session")
def papers_of() -> Callable[[str], Result]:
    """What a worked file gives, calculated once."""
    return cache(lambda name: evaluate_over(read_scenario(ROOT / "scenarios" / f"{name}.yaml")))


def section(text: str, head: str) -> dict[str, float]:
    """Figures of a block of the screen by label, its indent kept."""
    lines = text[text.index(head) :].split("\n\n")[0].splitlines()[1:]
    rows = [found for line in lines if (found := ROW.match(line))]
    return {row["label"]: float(row["value"].replace(",", "").replace("\N{MINUS SIGN}", "-")) for row in rows}


def indented(rows: dict[str, float]) -> list[float]:
    return [value for label, value in rows.items() if label.startswith("  ")]


class Tables(HTMLParser):
    """Rows of the tables of a page, by caption."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.rows: list[list[str]] = []
        self.inside, self.caption = "", ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        """Begin a table, a row or a cell."""
        del attrs
        if tag == "table":
            self.rows, self.caption = [], ""
        elif tag == "tr":
            self.rows.append([])
        elif tag in ("th", "td"):
            self.rows[-1].append("")
        if tag in ("th", "td", "caption"):
            self.inside = tag

    def handle_endtag(self, tag: str) -> None:
        """End a cell or a table."""
        if tag == self.inside:
            self.inside = ""
        if tag == "table":
            self.tables[self.caption] = self.rows

    def handle_data(self, data: str) -> None:
        """Text of a cell or caption."""
        if self.inside == "caption":
            self.caption += data
        elif self.inside:
            self.rows[-1][-1] += data


def numbers(cells: list[str]) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([float(cell.replace(",", "").replace("\N{MINUS SIGN}", "-")) for cell in cells])


@pytest.mark.parametrize("name", NAMES)
def test_end_uses_are_all_the_electricity(papers_of: Callable[[str], Result], name: str) -> None:
    """Each kilowatt-hour in one end use, hour by hour; the same floats in another order: 1e-9."""
    for side in papers_of(name).sides.values():
        record: Any = side.record
        hourly = side.year.hourly
        used = sum((hourly[key] for key in END_USES if key in hourly), np.zeros(8760))
        np.testing.assert_allclose(used, hourly["electricity_kwh"], rtol=1e-9, atol=1e-9)
        assert sum(record.get(key, 0.0) for key in END_USES) == pytest.approx(record["electricity_kwh"], 1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_resistance_is_backup_and_the_element_of_the_loop_tank(
    papers_of: Callable[[str], Result], name: str
) -> None:
    """Read from the file itself; an element gives the heat that it takes (first law), a heat pump more."""
    raw = yaml.safe_load((ROOT / "scenarios" / f"{name}.yaml").read_text())
    tank = (raw.get("recirculation") or {}).get("loop_tank")
    record: Any = papers_of(name).plant.record
    parts = [record["backup_resistance_kwh"]]
    if raw["plant"].get("backup", {}).get("kind") != "resistance":
        assert parts == [0.0]
    if tank is not None and "heat_pump" not in tank:
        assert record["loop_heater_heat_kwh"] == pytest.approx(record["loop_heater_kwh"], rel=1e-9)
        assert record["loop_heater_kwh"] > 0.0
        assert "loop_heat_pump_kwh" not in record
        parts.append(record["loop_heater_kwh"])
    assert record["resistance_kwh"] == pytest.approx(sum(parts), rel=1e-9)
    assert sum(record["monthly.resistance_kwh"]) == pytest.approx(record["resistance_kwh"], rel=1e-9)
    assert sum(record["monthly.electricity_kwh"]) == pytest.approx(record["electricity_kwh"], rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_the_screen_adds_up(papers_of: Callable[[str], Result], name: str) -> None:
    record: Any = papers_of(name).plant.record
    text = year_text(record)
    bought = section(text, "Purchased energy")
    assert bought["electricity"] == pytest.approx(record["electricity_kwh"], abs=HALF)
    assert sum(indented(bought)) == pytest.approx(bought["electricity"], abs=HALF * (len(bought) + 1))
    heat = section(text, "Heat")
    given = sum(value for label, value in heat.items() if label.startswith("heat from"))
    taken = sum(v for k, v in heat.items() if not k.startswith(("heat from", " ")))
    assert given == pytest.approx(taken, abs=HALF * len(heat) + 1e-6 * given)
    if "total_kgco2e" in record:
        gases = section(text, "Greenhouse gases")
        kinds = ("CO2e of energy", "CO2e of refrigerant", "CO2e of the room")
        added = sum(gases.get(kind, 0.0) for kind in kinds)
        assert added == pytest.approx(gases["CO2e, total"], abs=HALF * 4)
    if "energy_cost" in record:
        bill = section(text, "Cost")
        assert sum(indented(bill)) == pytest.approx(bill["energy bill"], abs=HALF * 5)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_page_adds_up(papers_of: Callable[[str], Result], name: str) -> None:
    """Months of each plant, with their year; the sums of heat; the PDF prints the same rows of months."""
    result = papers_of(name)
    tables = Tables(page(result).decode()).tables
    for which, side in result.sides.items():
        rows = tables[f"Months of the {which}"]
        shown = {row[0]: numbers(row[1:]) for row in rows[1:] if "[kWh]" in row[0]}
        assert [row[0] for row in month_rows(side)] == [row[0] for row in rows[1:]]
        whole = shown["electricity [kWh]"]
        parts = [values for label, values in shown.items() if label.startswith("  ")]
        if whole[-1] > 0.0:
            assert np.abs(sum(parts) - whole).max() <= HALF * (len(parts) + 1)
        for label, values in shown.items():
            assert values[:-1].sum() == pytest.approx(values[-1], abs=HALF * 13), label
    heat = tables["The heat of the year: what goes in comes out"][1:]
    ends = [at for at, row in enumerate(heat) if row[0].endswith(": sum")]
    for first, last_row in zip([-1, *ends[:-1]], ends, strict=True):
        rows = heat[first + 1 : last_row + 1]
        summed = rows[-1]
        for side_of in (1, 3):
            figures = numbers([row[side_of] for row in rows if row is not summed and row[side_of]])
            last = 10.0 ** -len(summed[side_of].partition(".")[2])
            total = numbers([summed[side_of]])[0]
            assert figures.sum() == pytest.approx(total, abs=0.5 * last * (figures.size + 1) + 1e-9)
        assert numbers([summed[1]])[0] == pytest.approx(numbers([summed[3]])[0], abs=1.001 * last)


@pytest.mark.parametrize("name", NAMES)
def test_spells_of_the_backup_and_the_heater_of_the_loop_tank_are_all_resistance(
    papers_of: Callable[[str], Result], name: str, tmp_path: Path
) -> None:
    year = papers_of(name).plant.year
    write_results(tmp_path, year.record, to_dataset(year), {})
    found: Any = why(tmp_path)
    record: Any = year.record
    beside = 0.0 if "loop_heat_pump_kwh" in record else record.get("loop_heater_kwh", 0.0)
    everything = record["resistance_kwh"] + record["fuel_kwh"]
    assert found["backup"]["kwh"] + beside == pytest.approx(everything, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_the_first_screen_and_the_answer_say_the_net_cop(
    papers_of: Callable[[str], Result], name: str
) -> None:
    """Where a heat pump cools a room: useful heat over purchases with penalty and credits, re-added."""
    result = papers_of(name)
    record: Any = result.plant.record
    text, rows = year_text(record), {row[0]: row[2] for row in headline(result)}
    if "room_heating_penalty_kwh" not in record:
        assert "net of its room" not in text
        return
    purchased = record["electricity_kwh"] + record["fuel_kwh"] + record["room_heating_penalty_kwh"]
    purchased -= sum(record[key] for key in CREDITS)
    net = (record["heat_to_taps_kwh"] + record["recirculation_loss_kwh"]) / purchased
    assert f"{net:.2f}" in next(line for line in text.splitlines() if "net of its room" in line)
    shown = section(text, "Performance")
    assert shown["  purchased with the room"] == pytest.approx(purchased, abs=HALF)
    assert shown["  room heating penalty"] == pytest.approx(record["room_heating_penalty_kwh"], abs=HALF)
    credits = -shown.get("  room cooling credit", 0.0) - shown.get("  dehumidification credit", 0.0)
    assert credits == pytest.approx(sum(record[key] for key in CREDITS), abs=2 * HALF)
    assert float(rows["COP net of the room"]) == pytest.approx(net, abs=0.01)
    assert "room heating penalty" in rows


@pytest.mark.contract
@pytest.mark.parametrize("name", NAMES)
def test_one_seed_behind_a_peak_is_said(papers_of: Callable[[str], Result], name: str) -> None:
    """In every worked file with random draws, read from the file itself."""
    raw = yaml.safe_load((ROOT / "scenarios" / f"{name}.yaml").read_text())
    hot_water = raw["hot_water"]
    chance = hot_water.get("draws") == "random" and "metered" not in hot_water
    said = [text for text in papers_of(name).plant.year.cautions if ONE_SEED in text]
    assert len(said) == int(chance)
    if chance:
        assert f"hot_water.seed {hot_water.get('seed', 1)}" in said[0]
