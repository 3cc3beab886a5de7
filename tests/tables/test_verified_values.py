"""Every packaged value that was held against a public text, against the list of what was seen there.

The list, ``verified-values.csv`` of the references, has a line for each value or group of values: what the
package had, what the text has, and how well the text is known. Nothing contradicted may be left, and no value
may claim to be better known than it is. A line without a check here fails.
"""

import csv
import math
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest

from hpwhsim.account.gases import warming
from hpwhsim.account.grid import read_grid
from hpwhsim.demand.households import GAP_SHARE, PEOPLE_PER_APARTMENT
from hpwhsim.errors import InputError
from hpwhsim.federal_test import draw_bench, first_hour, rating
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.io.us_units import GALLON
from hpwhsim.scenario.keys import known_fields
from hpwhsim.storage.fired_heaters import commercial_standard
from hpwhsim.tables import read_plain, read_table
from hpwhsim.tables.sources import OPEN, STATUSES, cited, sources, unverified_text

pytestmark = pytest.mark.contract

Row = dict[str, str]
FOLDER = Path(__file__).resolve().parent
FILE = FOLDER.parents[2] / "shared" / "references" / "verified-values.csv"
KNOWN = {"verified": "verified", "secondary": "secondary", "not found": "unverified"}
EVENTS = "study/draw_bench.py and rating.py"  # of federal_test/; the list names where they once lay
GONE = ("uef_minimums", "demand_by_fixture", "demand_by_person")  # tables that nothing used


def lines() -> list[Row]:
    if not FILE.is_file():
        return []
    text = FILE.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in text if not line.startswith("#"))
    return [row for row in rows if row["table"].removesuffix(".csv") not in GONE]


NOTHING_HELD = {
    ("heater_standards", "all standby rows"),
    ("egrid.csv", "all 28 of year 2024"),
    ("demand_patterns.csv", "months equal"),
    (EVENTS, "rounding"),
    ("test_study_mass_curve.py", "dormitory example"),
}
"""What no packaged value holds: conditions that stand in a header, withdrawn rows, a test's example."""

LINES = [line for line in lines() if (line["table"], line["row"]) not in NOTHING_HELD]


def pick(table: str, **cells: str) -> list[Row]:
    """Rows of a packaged table with those cells."""
    return [row for row in read_table(table) if all(row[key] == value for key, value in cells.items())]


def one(table: str, **cells: str) -> Row:
    (row,) = pick(table, **cells)
    return row


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"(?<![A-Za-z\d-])\.?\d[\d.]*", text)]


def named(line: Row, key: str) -> list[str]:
    """Names of a line such as 'R-32; R-134a'."""
    return [name for name in re.split(r"[;,] ", line[key]) if name]


# Statuses of the packaged values of a line, after its values were checked; by table.


def heaters(line: Row) -> set[str]:
    kind = line["row"].split()[0]
    rows = [row for row in read_table("heater_standards") if kind in ("all", "rows") or row["kind"] == kind]
    if "2026-10-06" in line["row"]:
        rows = [row for row in rows if row["effective"] == "2026-10-06"]
    assert rows, line
    return {row["status"] for row in rows}


def grid(line: Row) -> set[str]:
    place, seen = line["row"], line["value_seen"]
    if place.startswith("Canada, newest") or place.startswith("Australia, newest"):
        country = place.split(",")[0]
        pairs = re.findall(r"([A-Z]+) (\.\d+)", seen)
        year = re.match(r"\d{4}", seen)
        assert year is not None
        for state, value in pairs:
            row = one("grid_other", region=f"{country}-{state}", year=year[0])
            assert float(row["kgco2e_per_kwh"]) == float(value)
        rows = [row for row in pick("grid_other", year=year[0]) if row["region"].startswith(country)]
        assert len(rows) == len(pairs)
    elif place.startswith("Canada"):
        rows = [
            row
            for row in read_table("grid_other")
            if row["region"].startswith("Canada") and row["year"] < "2024"
        ]
        assert len(rows) == 39
    elif place.startswith("Ontario"):
        rows = pick("grid_other", region="Canada-ON", year="2023")
        assert float(rows[0]["kgco2e_per_kwh"]) == float(seen)
    elif place.startswith("Australia"):
        states = re.findall(r"[A-Z]{2,3}", place.partition(":")[2])
        rows = [one("grid_other", region=f"Australia-{state}", year="2025") for state in states]
        assert [float(row["kgco2e_per_kwh"]) for row in rows] == numbers(line["value_in_table"])
    else:
        name, year_ = place.split()
        rows = pick("grid_other", region=name, year=year_)
        assert float(rows[0]["kgco2e_per_kwh"]) == numbers(seen)[0]
    return {row["status"] for row in rows}


def gases(line: Row) -> set[str]:
    found = set()
    for name in named(line, "row"):
        row = one("gas_gwp", set=name)
        for gas in named(line, "column"):
            fossil = gas == "ch4_fossil"
            found.add(row["fossil_status" if fossil else "status"])
            assert warming(name)[gas] in numbers(line["value_seen"]) or not numbers(line["value_seen"])
    if line["status"] == "not found":  # AR4 has one methane row: its value stands twice, and is that row's
        assert all(warming(name)["ch4"] == warming(name)["ch4_fossil"] for name in named(line, "row"))
        return {"unverified"}
    return found


def fluids(line: Row) -> set[str]:
    rows = [row for row in read_table("refrigerants") if row["refrigerant"] in named(line, "row")]
    column = line["column"]
    if column == "critical_c; critical_bar":
        return {row["critical_status"] for row in read_table("refrigerants") if row["fluid"]}
    assert rows, line
    if column == "composition":
        return {row["composition_status"] for row in rows}
    if column == "safety":
        assert [row["safety"] for row in rows] == [
            dict(zip(named(line, "row"), named(line, "value_in_table"), strict=True))[row["refrigerant"]]
            for row in rows
        ]
        return {row["safety_status"] for row in rows}
    if "computed" in column:
        for part in line["value_in_table"].split(" / "):
            basis, _, values = part.partition(" ")
            for name, value in zip(named(line, "row"), values.split("; "), strict=True):
                held = dict(refrigerant(name).gwp)[basis]
                assert held is None if value == "none" else held == pytest.approx(float(value), rel=2e-3)
        return {"verified"}
    if column == "all six gwp columns":
        assert set(dict(refrigerant("R-744").gwp).values()) == {1.0}
        return {rows[0][f"{report}_status"] for report in ("ar4", "ar5", "ar6")}
    found = set()
    for name in re.findall(r"gwp\d+_ar\d", column):
        for row in rows:
            found.add(row[f"{name[-3:]}_status"])
            assert row[name] in re.split(r"[;/] ?", line["value_in_table"]), (row["refrigerant"], name)
    return found


def safety(line: Row) -> set[str]:
    stem = line["column"].split("_")[0]
    found = set()
    for row in read_table("refrigerant_safety"):
        if row["refrigerant"] in named(line, "row"):
            column = {"rcl": "rcl_g_m3", "lfl": "lfl_kg_m3", "practical": "practical_kg_m3"}[stem]
            text = line["value_seen"] if "could be added" in line["citation"] else line["value_in_table"]
            assert float(row[column]) in numbers(text), (line, row)
            found.add(row[f"{stem}_status"])
    return found


def end_uses(line: Row) -> set[str]:
    kinds = [row["kind"] for row in read_table("demand_end_uses")]
    names = kinds if line["row"] == "all" else [kind for kind in kinds if kind in named(line, "row")]
    column = line["column"].split(";")[0]
    if column == "water at 110 degF":
        column = "daily_gal"
    if column == "together":
        return {sources()["common-practice"].status}
    stem = column.split("_")[0]
    rows = [one("demand_end_uses", kind=kind) for kind in names]
    assert rows, line
    if column == "gap_minutes":
        assert float(rows[0]["gap_minutes"]) == pytest.approx(11.25, abs=0.25)
    return {
        row[f"{stem}_status"]
        for row in rows
        if not ("bath" in names and column == "flow_gpm" and row["kind"] != "bath")
    }


def tubes(line: Row) -> set[str]:
    rows = read_table("copper_tubes")
    if "B88" in line["row"]:
        return {row["status"] for row in rows if "B88" in row["standard"]}
    sizes = numbers(line["row"])
    found = [row for row in rows if row["standard"] == "EN 1057" and float(row["size"].split()[0]) in sizes]
    assert len(found) == len(sizes)
    return {row["status"] for row in found}


def hygiene(line: Row) -> set[str]:
    names = {"pasteurise-60": ("pasteurise-60", "pasteurise-65", "pasteurise-70")}
    keys = names.get(named(line, "row")[0], (line["row"],))
    rows = [one("hygiene_thresholds", key=key) for key in keys]
    assert float(rows[0]["at_c"]) == numbers(line["value_in_table"])[0]
    return {row["status"] for row in rows}


def burns(line: Row) -> set[str]:
    rows = [one("scald_times", temperature_c=f"{t:g}") for t in numbers(line["row"])]
    assert [float(row["second_degree_s"]) for row in rows] == numbers(line["value_in_table"])
    return {row["status"] for row in rows}


def rooms(line: Row) -> set[str]:
    if line["row"].startswith("mass_class"):
        return {row["mass_status"] for row in read_table("room_kinds")}
    if line["row"].startswith("all but closet"):
        rows = [row for row in read_table("room_kinds") if row["kind"] != "closet"]
        assert {row["surface_ratio"] for row in rows} == {"4.5"}
        return {row["ratio_status"] for row in rows}
    return {row["status"] for row in read_table("room_kinds")}


def bench(line: Row) -> set[str]:
    what = line["column"] if line["column"] != "-" else line["row"]
    law, formulas = sources()["cfr-430-appendix-e"].status, sources()["cfr-430-appendix-e-formulas"].status
    held: dict[str, Callable[[], bool]] = {
        "SUPPLY_C": lambda: math.isclose(draw_bench.SUPPLY_C * 1.8 + 32, 58),
        "DELIVERY_C": lambda: math.isclose(draw_bench.DELIVERY_C * 1.8 + 32, 125),
        "ROOM_C, HUMIDITY": lambda: (
            math.isclose(draw_bench.ROOM_C * 1.8 + 32, 67.5) and draw_bench.HUMIDITY == 0.5
        ),
        "TOLERANCE_K": lambda: math.isclose(first_hour.TOLERANCE_K * 1.8, 5),
        "FALL_K": lambda: math.isclose(first_hour.FALL_K * 1.8, 15),
        "SOAK_S": lambda: rating.SOAK_S == 3600.0,
        "FIRST_HOUR_LIMITS": lambda: list(draw_bench.FIRST_HOUR_LIMITS.values()) == [0.0, 18.0, 51.0, 75.0],
        "LARGEST_GAL": lambda: rating.LARGEST_GAL == 120.0,
    }
    if "credit" in what or what == "chain of corrections":
        return {formulas}
    assert held[what](), what
    return {{"FIRST_HOUR_LIMITS": sources()["cfr-305-d3"].status}.get(what, law)}


def draws(line: Row) -> set[str]:
    seen = {
        "flow_gpm (the set of flows)",
        "minute counts from the first draw",
        "first-hour limits of the patterns",
    }
    flows = {row["flow_gpm"] for row in read_table("draw_patterns_24h")}
    assert flows == {"1", "1.7", "3"}
    text = f"{line['column']} {line['row']}"
    if line["column"] in seen or "counts from" in text or "limits" in text:
        return {sources()["cfr-430-appendix-e"].status}
    return {row["status"] for row in read_table("draw_patterns_24h")}


def all_of(table: str) -> Callable[[Row], set[str]]:
    return lambda _: {row["status"] for row in read_table(table)}


def people(line: Row) -> set[str]:
    assert "0.92 N + 0.63" in str(known_fields()["building.people_per_apartment"].json_schema_extra)
    return {sources()["building-america-people"].status}


def patterns(line: Row) -> set[str]:
    held = {row["pattern"]: row["status"] for row in read_table("demand_pattern_sources")}
    return {held[line["row"].split(",")[0]]}


def rules(line: Row) -> set[str]:
    if line["status"] == "not found":
        assert "was not found in 84.52" in sources()["cfr-84-54"].citation
        return {"unverified"}
    if line["row"] == "EU missing":
        assert {row["rule"] for row in pick("refrigerant_rules", region="EU")} >= {
            f"Annex IV {point}" for point in ("8(c)", "9(a)", "9(b)", "9(d)")
        }
    region = line["row"].split()[0]
    found = {row["status"] for row in pick("refrigerant_rules", region=region)}
    point = re.search(r"point (\d\([a-f]\))", line["citation"])
    if point is not None and numbers(line["value_in_table"]):
        row = one("refrigerant_rules", rule=f"Annex IV {point[1]}")
        assert float(row["gwp"]) == numbers(line["value_in_table"])[0]
        assert row["from"] in line["value_in_table"]
    return found


def source_energy(line: Row) -> set[str]:
    row = one("site_to_source", energy=line["row"])
    assert float(row["factor"]) == float(line["value_in_table"])
    return {row["status"]}


def charge(line: Row) -> set[str]:
    if line["row"] == "hydrocarbons":
        row = one("usual_ranges", quantity="refrigerant charge", of="R-290 R-600a")
        assert row["low"] == "0.04"
        assert row["source"].split()[0] == "charge-low-2005"
        return {sources()["charge-low-2005"].status}
    return {row["status"] for row in read_table("refrigerant_charge")}


def leaks(line: Row) -> set[str]:
    return {row["status"] for row in read_table("refrigerant_leaks") if "(" in row["equipment"]}


TABLES: dict[str, Callable[[Row], set[str]]] = {
    "heater_standards": heaters,
    "grid_other": grid,
    "gas_gwp": gases,
    "refrigerants": fluids,
    "refrigerant_safety": safety,
    "refrigerant_rules": rules,
    "refrigerant_charge": charge,
    "refrigerant_leaks": leaks,
    "demand_end_uses": end_uses,
    "demand_by_building_size": all_of("demand_by_building_size"),
    "demand_patterns": patterns,
    "demand_pattern_sources": patterns,
    "draw_patterns_24h": draws,
    "copper_tubes": tubes,
    "fixture_unit_flow": all_of("fixture_unit_flow"),
    "fuel_factors": all_of("fuel_factors"),
    "site_to_source": source_energy,
    "hygiene_thresholds": hygiene,
    "scald_times": burns,
    "room_kinds": rooms,
    "scenario default": people,
    "households.py": lambda _: {sources()["ahmed-2016"].status} if PEOPLE_PER_APARTMENT == 2.2 else set(),
    EVENTS: bench,
}


@pytest.mark.published
@pytest.mark.skipif(not LINES, reason="the folder ../shared with the references is not here")
@pytest.mark.parametrize(
    "line", LINES, ids=lambda line: f"{line['table']}|{line['row']}|{line['column']}"[:70]
)
def test_every_value_is_known_as_the_list_says(line: Row) -> None:
    if line["status"].startswith("contradicted"):
        assert superseded(line) if key_of(line) in SUPERSEDED else mended(line), line
        return
    status = KNOWN["not found" if line["status"].startswith("not found") else line["status"].split()[0]]
    assert TABLES[line["table"].removesuffix(".csv") if line["table"] != "households.py" else line["table"]](
        line
    ) == {status}


MARCHED = {
    "first_hour: next draw": "test_an_element_set_low_does_not_start_a_draw",
    "first_hour: after one hour": "test_first_hour_of_a_quick_tank_is_bounded_by_its_heat",
    "first_hour: last draw": "test_first_hour_of_a_slow_tank_is_what_the_store_holds",
    "first_hour: endless hot water": "test_hot_water_that_does_not_end_ends_with_the_power",
    "recovery efficiency, immersed elements": "test_resistance_tank_without_loss_has_the_factor_one",
    "standby window start": "test_resistance_tank_has_the_factor_of_its_standby_loss",
    "standby window end": "test_resistance_tank_has_the_factor_of_its_standby_loss",
    "standby if recovery lasts to the second cluster": "test_standby_is_measured_after_a_day_of_recovery",
    "last hour of the day": "test_the_power_is_off_in_the_last_hour",
}
"""What the federal test does, by the test that marches it."""


def mended(line: Row) -> bool:
    """Whether a value that was contradicted is now the one of the text."""
    table, row, column = line["table"], line["row"], line["column"]
    if row in MARCHED:
        return f"def {MARCHED[row]}(" in (FOLDER.parent / "federal_test" / "test_rating.py").read_text(
            encoding="utf-8"
        )
    if table == "grid_other.csv" and row.startswith("EU-"):
        return grid(line) == {"secondary"}
    return MENDED[table, row, column]()


def refused(call: Callable[[], object]) -> bool:
    try:
        call()
    except InputError:
        return True
    return False


def kind_of_use(kind: str, column: str) -> float:
    return float(one("demand_end_uses", kind=kind)[column])


MENDED: dict[tuple[str, str, str], Callable[[], bool]] = {
    ("heater_standards", "gas-boiler 10 gal, 2026-10-06", "factor"): lambda: (
        float(one("heater_standards", kind="gas-boiler", least_gal="10", effective="2026-10-06")["factor"])
        == 1.0
    ),
    ("heater_standards", "electric-instantaneous 0 and 10 gal", "effective"): lambda: (
        {row["effective"] for row in pick("heater_standards", kind="electric-instantaneous")}
        == {"1994-01-01"}
        and commercial_standard("electric-instantaneous", date(1994, 1, 1), 0.0, 0.01).status == "verified"
    ),
    ("refrigerant_rules", "US", "from (installing systems)"): lambda: (
        "27 July 2026" in one("refrigerant_rules", region="US", applies="split")["note"]
    ),
    ("refrigerant_rules", "EU all", "basis AR4"): lambda: (
        dict(refrigerant("R-1234yf").legal_gwp)["EU"] == 0.501
        and dict(refrigerant("R-1234ze(E)").legal_gwp)["EU"] == 1.37
        and dict(refrigerant("R-32").legal_gwp)["EU"] == 675.0
    ),
    (EVENTS, "FIRST_HOUR_FLOW", "-"): lambda: bool(
        math.isclose(first_hour.SMALL_FLOW, first_hour.FIRST_HOUR_FLOW / 3.0)
        and math.isclose(first_hour.SMALL_STORE, 20.0 * GALLON)
    ),
    ("gas_gwp.csv", "AR5-100", "ch4_fossil"): lambda: warming("AR5-100")["ch4_fossil"] == 30.0,
    ("gas_gwp.csv", "AR5-20", "ch4_fossil"): lambda: warming("AR5-20")["ch4_fossil"] == 85.0,
    ("refrigerant_safety.csv", "R-454B", "rcl_ppm; rcl_g_m3"): lambda: (
        one("refrigerant_safety", refrigerant="R-454B")["rcl_g_m3"] == "-"
    ),
    ("egrid.csv", "header and source string, year 2024", "publisher"): lambda: (
        [row["year"] for row in read_table("egrid") if row["region"] == "US"] == ["2023"]
        and read_grid("US").year == 2023
    ),
    ("grid_other.csv", "Canada, header line and source string", "basis"): lambda: (
        {row["per"] for row in read_table("grid_other") if row["region"].startswith("Canada")} == {"consumed"}
        and refused(lambda: read_grid("Canada-ON", loss=0.05))
    ),
    ("demand_end_uses.csv", "sink", "burst"): lambda: kind_of_use("sink", "burst") == 1.87,
    ("demand_end_uses.csv", "sink", "gap_minutes"): lambda: kind_of_use("sink", "gap_minutes") == 2.6,
    ("demand_end_uses.csv", "clothes_washer", "gap_minutes"): lambda: (
        7.0 <= kind_of_use("clothes_washer", "gap_minutes") <= 8.0
    ),
    ("demand_end_uses.csv", "shower", "queue_minutes"): lambda: (
        30.0 <= kind_of_use("shower", "queue_minutes") <= 31.0 and GAP_SHARE == 1.0 / 24.0
    ),
}


class Superseded(NamedTuple):
    """A newer or better known document that stands against the text of a line."""

    by: str  # ids of the table of sources
    text: str
    value: Callable[[], tuple[float, float]]  # as packaged, and as the better document has it
    says: str  # of docs/unverified.md


def baths_per_shower() -> tuple[float, float]:
    """Table 11 for two bedrooms, over the volumes of a draw, which nobody disputes."""
    bath, shower = (kind_of_use(kind, "daily_gal") for kind in ("bath", "shower"))
    table_11 = (3.5 + 2 * 1.17) / (14.0 + 2 * 4.67)
    draw = {kind: kind_of_use(kind, "flow_gpm") * kind_of_use(kind, "minutes") for kind in ("bath", "shower")}
    return bath / shower * draw["shower"] / draw["bath"], table_11 * 2.25 * 7.81 / (4.40 * 5.65)


SUPERSEDED = {
    ("demand_end_uses.csv", "bath against shower", "draws implied by daily_gal"): Superseded(
        "building-america-table-11", "hendron-burch", baths_per_shower, "0.18 baths per shower"
    ),
}
"""Lines whose text is older and less well known than what the package follows."""


def key_of(line: Row) -> tuple[str, str, str]:
    return line["table"], line["row"], line["column"]


def superseded(line: Row) -> bool:
    """Whether a better document, named with its status, stands behind the packaged value."""
    of = SUPERSEDED[key_of(line)]
    by, text = sources()[of.by], sources()[of.text]
    years = [int(re.findall(r"\b(?:19|20)\d\d\b", source.citation)[0]) for source in (by, text)]
    better = STATUSES.index(by.status) >= STATUSES.index(text.status) and years[0] > years[1]
    ours, theirs = of.value()
    (said,) = [one for one in OPEN if of.says in one]
    named = by.status in said and all(str(year) in said for year in years)
    return better and named and by.status != "unverified" and math.isclose(ours, theirs, rel_tol=1e-3)


@pytest.mark.published
@pytest.mark.skipif(not LINES, reason="the folder ../shared with the references is not here")
def test_no_contradiction_is_left() -> None:
    """Of all lines of the list, every contradicted one is mended, or superseded by a named document."""
    contradicted = [line for line in lines() if line["status"].startswith("contradicted")]
    assert len(contradicted) == 51  # those that the list counts
    left = [key_of(line) for line in contradicted if key_of(line) not in SUPERSEDED and not mended(line)]
    assert left == []
    assert [key_of(line) for line in contradicted if key_of(line) in SUPERSEDED] == list(SUPERSEDED)


def test_every_packaged_value_names_a_source() -> None:
    """Each row of each table has a source with citation and status; `results`, `sources` hold no values."""
    folder = Path(read_plain.__code__.co_filename).parent
    for path in folder.glob("*.csv"):
        if path.stem in ("results", "sources", "demand_patterns"):
            continue
        for row in read_table(path.stem):
            found = [key for key in row if key.endswith("source")]
            assert found, path
            assert any(row[key] for key in found), (path, row)
            for key in found:
                if row[key]:
                    assert row[f"{key.removesuffix('source')}status"] in STATUSES


def test_a_text_has_the_status_of_its_weakest_source() -> None:
    both = cited("[cfr-98-c]; [ipcc-2006-v3-ch7]")
    assert both.status == "unverified"
    assert "40 CFR 98" in both.text
    assert cited("[cfr-98-c]; which fuel: common practice, no source").status == "unverified"
    with pytest.raises(KeyError):
        cited("[no-such-source]")


def test_what_is_unverified_is_listed_in_one_place(root: Path) -> None:
    """docs/unverified.md names every unverified source, and is what the tables say."""
    text = (root / "docs" / "unverified.md").read_text(encoding="utf-8")
    assert text == unverified_text()
    listed = [line[2:] for line in text.splitlines() if line.startswith("* ")]
    for source in sources().values():
        starts = [line for line in listed if line.startswith(source.citation)]
        assert bool(starts) or source.status != "unverified"
    assert len(listed) == len(OPEN) + sum(source.status == "unverified" for source in sources().values())


def test_no_source_is_a_repository_a_handle_or_a_magazine() -> None:
    """Documents, public bodies and standards alone, in tables and in what the schema says of its defaults."""
    folder = Path(read_plain.__code__.co_filename).parent
    texts = [path.read_text(encoding="utf-8") for path in folder.glob("*.csv")]
    texts += [str(field.json_schema_extra) for field in known_fields().values()]
    words = (
        r"from memory|second-hand|choice of this program|github|repositor|https?:|www\.|Home Energy|\.py\b"
    )
    assert [match for text in texts for match in re.findall(words, text, re.IGNORECASE)] == []


def test_every_id_in_the_schema_is_in_the_table() -> None:
    for key, field in known_fields().items():
        extra = field.json_schema_extra
        if isinstance(extra, dict):
            shown = cited(str(extra.get("source", "")))
            assert not re.search(r"\[[a-z]", shown.text), key


@pytest.mark.slow
def test_every_source_is_used() -> None:
    """By a table, the schema or the code beside them; none stands there for nothing."""
    folder = Path(read_plain.__code__.co_filename).parent
    files = [
        path
        for path in folder.parent.rglob("*")
        if path.suffix in (".py", ".csv") and path.name != "sources.csv"
    ]
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    assert [name for name in sources() if not re.search(rf"(?<![a-z0-9-]){name}(?![a-z0-9-])", text)] == []
