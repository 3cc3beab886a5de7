"""Documents of every family and of random plants: numbers are the record's, both files say the same."""

import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import docx as word
import numpy as np
import pytest
from bs4 import BeautifulSoup
from cases import ROOT
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from operation_cases import raw_plant, texts, written

from hpwhsim.account.adequacy import MOST_STARTS
from hpwhsim.account.checks import digits
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.operation.alarms import alarms
from hpwhsim.operation.document import document, values
from hpwhsim.operation.docx import docx
from hpwhsim.operation.expected import expected
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.html import html
from hpwhsim.operation.parts import Document, Table
from hpwhsim.operation.points import points
from hpwhsim.operation.ranges import NOT_SIMULATED, shown_span
from hpwhsim.scenario import families
from hpwhsim.scenario.reading import read_scenario

pytestmark = [pytest.mark.contract, pytest.mark.year]

FILES = sorted(path.stem for path in (ROOT / "scenarios").glob("*.yaml"))
ODD = ("None", "nan", "inf ", "{", "}", " .", " ,", "()", "  ")


@cache
def year(name: str) -> Result:
    """A worked file with its year."""
    return evaluate(read_scenario(ROOT / "scenarios" / f"{name}.yaml"))


def tables(found: Document) -> Iterator[Table]:
    for section in found.sections:
        yield from (part for part in section.parts if isinstance(part, Table))


def table(found: Document, caption: str) -> Table:
    (one,) = [each for each in tables(found) if each.caption.startswith(caption)]
    return one


def html_words(page: bytes) -> list[str]:
    """What a reader of the page reads, but for the links to its chapters."""
    soup = BeautifulSoup(page, "html.parser")
    for link in soup.find_all("nav"):
        link.decompose()
    names = ["h1", "h2", "h3", "p", "li", "caption", "th", "td"]
    return [one.get_text() for one in soup.main.find_all(names)]


def docx_words(data: bytes) -> list[str]:
    """What a reader of the file reads, in its order."""
    file, found = word.Document(io.BytesIO(data)), []
    for block in file.iter_inner_content():
        if isinstance(block, word.table.Table):
            found += [cell.text for row in block.rows for cell in row.cells]
        elif block.text:
            found.append(block.text)
    return found


def holds(result: Result) -> Document:
    """What is asked of every document."""
    facts = Facts(result)
    found = document(facts)
    headings = [section.heading for section in found.sections]
    assert len(headings) == len(set(headings))
    for section in found.sections:
        assert section.parts or section.heading == "Sequence of operation"
        assert section.heading
        assert section.level in (1, 2)
    for one in tables(found):
        assert one.rows, one.caption
        assert {len(row) for row in one.rows} == {len(one.heads)} == {len(one.widths)}, one.caption
    said = texts(found)
    assert [(text, odd) for text in said for odd in ODD if odd in text and "DejaVu" not in text] == []
    _of_its_parts(facts, " ".join(said))
    tags = {one.tag for one in points(facts)}
    for alarm in alarms(facts):
        for tag in alarm.tag.replace(" to ", ", ").split(", "):
            assert tag in tags or tag == "any sensor", alarm.tag
    page, file = html(found), docx(found)
    assert html_words(page) == docx_words(file)
    return found


def _of_its_parts(facts: Facts, said: str) -> None:
    """Nothing that the plant does not have is named, but for what its own cautions say."""
    scenario = facts.scenario
    chapters = said[: said.index("Cautions of the simulated year")]
    absent = {
        "loop pump": scenario.recirculation is None,
        "loop return": scenario.recirculation is None,
        "module": not facts.heats,
        "heat pump": not facts.heats,
        "refrigerant": not facts.heats,
        "compressor": not facts.heats,
        "backup": not facts.heats or not facts.backed,
        "ground loop": scenario.plant.source_kind != "ground-loop" or not facts.heats,
        "sewage": scenario.plant.source_kind != "wastewater" or not facts.heats,
        "the room": scenario.plant.source.room is None and facts.heats is False,
        "heat trace": scenario.plant.heat_pump is None or scenario.plant.heat_pump.water_lines is None,
    }
    meanings = {row[0] for row in table(document(facts), "Settings").rows}
    for meaning in meanings:  # of keys, as the schema has them for every plant
        chapters = chapters.replace(meaning, "")
    title = str(facts.record["title"])
    chapters = chapters.replace(title, "").replace("plant.backup", "")
    assert [words for words, gone in absent.items() if gone and words in chapters.lower()] == []


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_every_worked_file_has_its_documents(name: str) -> None:
    holds(year(name))


def test_the_worked_files_are_of_every_family() -> None:
    assert {year(name).loaded.scenario.plant.family for name in FILES} == set(families.FAMILIES)


RANDOM = st.fixed_dictionaries(
    {
        "modules": st.integers(1, 4),
        "condenser": st.sampled_from(["single-pass", "multi-pass"]),
        "delay": st.integers(0, 30),
        "min_off": st.integers(0, 20),
        "lock": st.booleans(),
        "boost": st.integers(0, 3),
        "backup": st.sampled_from(["none", "parallel", "series"]),
        "loop": st.sampled_from(["none", "store", "loop-tank"]),
        "valve": st.booleans(),
        "us": st.booleans(),
    }
)


def plant_of(folder: Path, drawn: dict[str, Any]) -> dict[str, Any]:
    """A random plant as a scenario."""
    heat_pump: dict[str, Any] = {"modules": drawn["modules"], "condenser": drawn["condenser"]}
    controls: dict[str, Any] = {"stage_delay": f"{drawn['delay']} min", "min_off": f"{drawn['min_off']} min"}
    if drawn["lock"]:
        controls["lock_outs"] = ["17:00-19:00"]
    if drawn["boost"]:
        controls |= {"boost": f"{drawn['boost']} K", "boost_windows": ["03:00-05:00"]}
    blocks: dict[str, Any] = {"heat_pump": heat_pump, "controls": controls}
    if drawn["backup"] != "none":
        blocks["backup"] = {"kind": "gas", "power": "40 kW", "mode": drawn["backup"]}
    if drawn["loop"] != "none":
        blocks["recirculation"] = {"loss_per_apartment": "50 W", "return_temperature": "48 degC"}
    if drawn["loop"] == "loop-tank":
        tank = {"volume": "400 L", "setpoint": "54 degC", "power": "9 kW", "connection": "parallel"}
        blocks["recirculation"] |= {"served_by": "loop-tank", "loop_tank": tank}
    if drawn["valve"]:
        blocks["hot_water"] = {"tempering_valve": "52 degC"}
    raw = raw_plant(folder, **blocks)
    if drawn["us"]:
        raw["plant"]["storage"] = {"volume": "530 gal", "setpoint": "140 degF", "height": "6 ft"}
    return raw


@pytest.mark.slow
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=RANDOM)
def test_random_plants_have_their_documents(tmp_path: Path, drawn: dict[str, Any]) -> None:
    holds(evaluate(written(tmp_path, plant_of(tmp_path, drawn))))


@pytest.mark.parametrize(
    "name", ["central-air", "packaged", "ground", "wastewater", "loop-tank", "gas-boiler"]
)
def test_ranges_are_percentiles_of_the_hours(name: str) -> None:
    """By the dataset that a user gets, in its unit; where there is no series, nothing."""
    result = year(name)
    facts = Facts(result)
    rows = {row["tag"]: row for row in values(facts)["points"]}
    for point in points(facts):
        row, series = rows[point.tag], point.series
        if not series:
            assert (row["p1"], row["p99"], row["hours"]) == (None, None, 0)
            assert shown_span(facts, point)[1] == NOT_SIMULATED
            continue
        hours = result.hourly[series].values
        there = hours[~np.isnan(hours)]
        assert row["hours"] == there.size
        assert (row["p1"], row["p99"]) == tuple(np.percentile(there, [1.0, 99.0])), point.tag
        assert (there < row["p1"]).sum() <= 0.01 * there.size + 1
        assert (there > row["p99"]).sum() <= 0.01 * there.size + 1


def test_a_range_is_shown_in_the_units_of_the_user() -> None:
    """By hand, degF = 1.8 degC + 32."""
    facts = Facts(year("central-air"))
    (air,) = [point for point in points(facts) if point.tag == "OA-T"]
    low, high = np.percentile(facts.hourly["dry_bulb_c"], [1.0, 99.0])
    assert shown_span(facts, air) == ("°F", f"{1.8 * low + 32.0:.1f} to {1.8 * high + 32.0:.1f}")


@pytest.mark.parametrize(
    "name", ["central-air", "packaged", "ground", "wastewater", "hybrid", "laundry-room"]
)
def test_numbers_of_the_year_are_those_of_the_record(name: str) -> None:
    """Each figure that the alarms and the form take from the year, read again from the record."""
    result = year(name)
    facts, record = Facts(result), dict(result.record)
    said = " ".join(one.year for one in alarms(facts))
    starts, hours = sum(record["module_starts"]), sum(record["module_run_hours"])
    backup = record["resistance_hours"] + record["fuel_hours"]
    assert f"{starts:,} starts in {digits(hours)} h of module running" in said
    assert f"mean of {starts / hours:.2f} in an hour" in said
    assert f"{digits(record['short_hours'])} h of the year with water delivered below" in said
    assert f"coldest {facts.degrees(record['source_min_c'])}" in said
    assert f"coldest {facts.degrees(record['store_min_top_c'])}" in said
    if facts.backed and backup > 0.0:
        assert f"{digits(backup)} h in the year" in said
        form = table(document(facts), "Redundant")
        assert ("backup in the simulated year, full power", f"{digits(backup)} h") in [
            row[:2] for row in form.rows
        ]
    if facts.scenario.recirculation is not None:
        (row,) = [one for one in record["hygiene"] if one["key"] == "return-guideline-12"]
        assert f"{digits(row['hours'])} h of the year colder than" in said
    assert f"{MOST_STARTS:g} starts of a module in an hour" in " ".join(
        one.condition for one in alarms(facts)
    )


def test_thresholds_of_alarms_by_hand() -> None:
    """Common practice, no source: supply 3 K under its setpoint; return 51 degC less a sensor's tolerance.

    With a valve of 52 degC the supply is that; the loop of 51.1 degC is designed above the threshold.
    """
    name = ROOT / "scenarios" / "central-air.yaml"
    facts = Facts(evaluate(read_scenario(name, ["hot_water.tempering_valve=52 degC", "baseline="])))
    by_point: dict[str, str] = {}
    for one in alarms(facts):
        by_point[one.tag] = by_point.get(one.tag, "") + one.condition + "; "
    assert f"colder than {facts.degrees(49.0)}" in by_point["HW-T"]
    assert f"hotter than {facts.degrees(55.0)}" in by_point["HW-T"]
    assert f"colder than {facts.degrees(51.0 - 0.555)}" in by_point["RC-T"]
    assert f"hotter than {facts.degrees(65.0 + 3.0)}" in by_point["HP-T-OUT"]
    assert "TP-T" not in by_point


def test_backup_of_a_month_is_that_of_the_worst_month() -> None:
    """Sums by the calendar, month by month."""
    facts = Facts(year("wastewater"))
    hours, first, months = facts.hourly["resistance_hours"], 0, []
    for days in (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31):
        months.append(float(hours[24 * first : 24 * (first + days)].sum()))
        first += days
    said = " ".join(one.condition for one in alarms(facts))
    assert f"more than {digits(max(months))} h of full power in a month" in said


@pytest.mark.parametrize("name", ["central-air", "packaged"])
def test_expected_heat_is_that_of_the_hours(name: str) -> None:
    """Plain sums over the hours of a row: all modules' heat over their time."""
    facts = Facts(year(name))
    hourly = facts.hourly
    rows = expected(facts)
    assert rows
    for row in rows:
        heat = power = time = 0.0
        for hour in range(8760):
            here = row.low_c <= hourly["source_c"][hour] < row.high_c
            if here and hourly["module_hours"][hour] >= 0.9:
                heat += hourly["heat_pump_heat_kwh"][hour]
                power += sum(hourly[key][hour] for key in ("compressor_kwh", "fan_kwh", "pump_kwh"))
                time += hourly["module_hours"][hour]
        assert row.heat_kw == pytest.approx(heat / time, rel=1e-9)
        assert row.power_kw == pytest.approx(power / time, rel=1e-9)


def test_the_same_plant_gives_the_same_bytes() -> None:
    found = document(Facts(year("packaged")))
    assert docx(found) == docx(found)
    assert html(found) == html(found)


def test_the_page_needs_nothing_else_and_is_escaped() -> None:
    found = document(Facts(year("packaged")))._replace(subtitle="<script>alert('x')</script> & co")
    page = html(found).decode()
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "http:" not in page
    assert "https:" not in page
    assert "@media print" in page


def test_the_file_has_real_headings_lists_and_tables() -> None:
    """What an engineer edits: styles of the word processor, a repeated head, lists that begin at 1."""
    found = document(Facts(year("central-air")))
    file = word.Document(io.BytesIO(docx(found)))
    headings = [p.text for p in file.paragraphs if p.style.name in ("Heading 1", "Heading 2")]
    assert headings == [section.heading for section in found.sections]
    assert len(file.tables) == len(list(tables(found)))
    assert all("w:tblHeader" in one.rows[0]._tr.xml for one in file.tables)
    of_lists = [p._p.pPr.numPr for p in file.paragraphs if p.style.name == "List Number"]
    numbers = {one.numId.val for one in of_lists}
    lists = sum(getattr(part, "numbered", False) for section in found.sections for part in section.parts)
    assert len(numbers) == lists
    assert file.core_properties.created.year == 2001
