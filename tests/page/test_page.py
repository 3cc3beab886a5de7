"""The page of HTML: well formed, complete in itself, legible without pictures, and equal to the record."""

import base64
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator
from hashlib import sha256
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from cases import ROOT

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.energy import by_month
from hpwhsim.charts.year import ONE_LINE, SCHEMATIC, draw_plant
from hpwhsim.cli import main as cli
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.page.frame import html, json_text
from hpwhsim.page.page import page
from hpwhsim.results.files import NAMES, PAGE
from hpwhsim.results.heat_flows import sums as sums_of
from hpwhsim.results.numbers import amount
from hpwhsim.results.texts import Exact
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.sections.parts import Document, Listing, Picture, Section, Table, Text, Typed
from hpwhsim.sections.rows import SAVED

pytestmark = [pytest.mark.contract, pytest.mark.year]
DEMO = ROOT / "scenarios" / "central-air.yaml"
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
"""Elements without an end tag: WHATWG HTML, 13.1.2."""
ODD = """Rue de l'Eau <script>alert("1 & 2")</script> & </title> 5 > 4 $x$ \N{GREEK SMALL LETTER DELTA}"""


class Node:
    """An element with its attributes, and what it holds: texts and elements."""

    def __init__(self, name: str, attributes: dict[str, str]) -> None:
        self.name, self.attributes = name, attributes
        self.inside: list[Node | str] = []

    def all(self, *names: str) -> Iterator["Node"]:
        """Elements of these names, in the order of the page."""
        for one in self.inside:
            if isinstance(one, Node):
                if one.name in names:
                    yield one
                yield from one.all(*names)

    @property
    def text(self) -> str:
        """All that it holds, without tags."""
        return "".join(one if isinstance(one, str) else one.text for one in self.inside)


class Strict(HTMLParser):
    """Builds the tree; a tag that is not closed, or closed out of order, is an error."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("", {})
        self.open = [self.root]
        self.doctype = ""

    def handle_decl(self, decl: str) -> None:
        """First of all."""
        assert self.root.inside in ([], ["\n"])
        self.doctype = decl

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """An element begins, and holds what follows."""
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"<{tag}> has an attribute twice"
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_endtag(self, tag: str) -> None:
        """The last that began ends."""
        assert tag not in VOID
        assert self.open[-1].name == tag, f"</{tag}> closes <{self.open[-1].name}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        """Text."""
        self.open[-1].inside.append(data)

    def handle_comment(self, data: str) -> None:
        """None is written."""
        raise AssertionError(f"a comment: {data}")


def parse(content: bytes) -> Node:
    reader = Strict()
    reader.feed(content.decode("utf-8"))
    reader.close()
    assert reader.doctype == "DOCTYPE html"
    assert reader.open == [reader.root], f"<{reader.open[-1].name}> is not closed"
    return reader.root


def rows(node: Node) -> list[list[str]]:
    return [[cell.text for cell in row.all("th", "td")] for row in node.all("tr")]


def metric(text: str) -> str:
    """A sentence without the inch-pound values in brackets."""
    number = r"[-\N{MINUS SIGN}]?[\d,.]+(?:e-?\d+)?"
    return re.sub(rf" \({number}(?:(?: to | and |-){number})? {INCH_POUND}\)", "", text)


INCH_POUND = r"(?:degF|°F(?: difference)?|gal|ft[23²³]?|in|lb(?:/kWh|/ft3)?|psi|gpm|Btu/h/\S+?)"


def section(root: Node, heading: str) -> Node:
    return next(s for s in root.all("section") if next(s.all("h2")).text == heading)


def assert_sound(content: bytes) -> Node:
    """What every page must be."""
    root = parse(content)
    (html,) = root.all("html")
    assert html.attributes["lang"] == "en"
    assert len([node for head in root.all("head") for node in head.all("title")]) == 1
    levels = [int(node.name[1]) for node in root.all("h1", "h2", "h3", "h4", "h5", "h6")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper <= level + 1 for level, deeper in pairwise(levels))
    for picture in root.all("figure"):
        named = [node for node in every(picture) if node.attributes.get("role") in ("img", "group")]
        assert any(len(node.attributes["aria-label"]) > 20 for node in named)
        assert next(picture.all("figcaption")).text
    for one in root.all("table"):
        assert next(one.all("caption")).text
        heads = list(next(one.all("thead")).all("th", "td"))
        assert all(
            head.attributes["scope"] == "col" if head.name == "th" else not head.text for head in heads
        )
        for row in next(one.all("tbody")).all("tr"):
            first, *rest = [cell for cell in row.inside if isinstance(cell, Node)]
            assert (first.name, first.attributes["scope"]) == ("th", "row")
            assert {cell.name for cell in rest} == {"td"}
            assert len(rest) + 1 == len(heads)
    names = [node.attributes["id"] for node in root.all("h2")]
    assert len(set(names)) == len(names)
    links = [node.attributes["href"] for node in root.all("a")]
    assert links == [f"#{name}" for name in names]
    ids = [node.attributes["id"] for node in every(root) if "id" in node.attributes]
    assert len(set(ids)) == len(ids)
    # nothing is fetched, and nothing runs but what the policy names by its checksum (CSP 3, 6.7.3.3)
    assert not list(root.all("link", "iframe", "object", "embed", "form", "base", "img"))
    drawn = [node for svg in root.all("svg") for node in every(svg)]
    nodes = [node for node in every(root) if node not in drawn]
    assert not [n for n in every(root) if any(key.startswith("on") for key in n.attributes)]
    assert not [n for n in nodes if "style" in n.attributes]
    assert all(
        n.attributes[key].startswith("#") for n in drawn for key in n.attributes if key.endswith("href")
    )
    (style,) = root.all("style")
    assert not re.search(r"url\(|@import|expression", style.text)
    policy = next(n for n in root.all("meta") if n.attributes.get("http-equiv") == "Content-Security-Policy")
    assert policy.attributes["content"].startswith("default-src 'none'")
    scripts = [node for node in root.all("script") if node.attributes.get("type") != "application/json"]
    assert not [node for node in scripts if node.attributes]
    sums = {base64.b64encode(sha256(node.text.encode()).digest()).decode() for node in scripts}
    assert set(re.findall(r"'sha256-([^']+)'", policy.attributes["content"])) == sums
    return root


def every(node: Node) -> Iterator[Node]:
    for one in node.inside:
        if isinstance(one, Node):
            yield one
            yield from every(one)


# -- parts ---------------------------------------------------------------------------------------------


@pytest.mark.published
def test_what_is_not_html_is_escaped() -> None:
    """WHATWG HTML 13.3: & < > in text, quotes in attributes; a reader gives back what was written."""
    drawing = Picture("x.svg", ODD, f"in words: {ODD}")
    parts = [Text(ODD), Listing([ODD]), Table((ODD, "kW"), [(ODD, ODD)], "lr", ODD), drawing]
    content = Document(ODD, [Text(ODD)], [Section("Odd", parts)])
    root = assert_sound(html(content, {"x.svg": b"<svg><title>a &amp; b</title></svg>"}))
    found = root.all("h1", "p", "li", "caption", "td", "figcaption")
    assert [node.text for node in found] == [ODD, ODD, "Odd", ODD, ODD, ODD, ODD, ODD]
    assert [node.text for node in root.all("title")] == [ODD, "a & b"]
    (picture,) = (node for node in root.all("div") if node.attributes["role"] == "img")
    assert picture.attributes["aria-label"] == f"in words: {ODD}"
    assert json.loads(json_text({"x": ODD})) == {"x": ODD}
    assert "<" not in json_text({"x": ODD})
    bell = parse(html(Document("a bell \a", [], []), {}))
    assert next(bell.all("h1")).text == r"a bell \x07"


def test_a_table_names_its_rows_and_columns() -> None:
    """What a cell knows besides its text is kept: a value in full, and what is typed."""
    given = [("<b>", Exact("1.2", 1.23456789)), ("command", Typed("tankyear run 'a b.yaml'"))]
    root = parse(html(Document("x", [], [Section("One", [Table(("", "kW"), given, "lr", "All")])]), {}))
    assert rows(root) == [["", "kW"], ["<b>", "1.2"], ["command", "tankyear run 'a b.yaml'"]]
    cells = [cell.attributes.get("class") for body in root.all("tbody") for cell in body.all("td")]
    assert cells == ["number", "number"]
    assert [node.attributes["value"] for node in root.all("data")] == ["1.23456789"]
    assert [node.text for node in root.all("code")] == ["tankyear run 'a b.yaml'"]


# -- the page of a year --------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_page_is_sound_and_complete(demo: Result) -> None:
    """Every part that was asked for is there, and every picture is the one that was drawn."""
    root = assert_sound(page(demo))
    assert [node.text for node in root.all("h2")] == [
        "Summary",
        "The plant",
        "Hour by hour",
        "Day by hour",
        "Coldest week and peak-use day",
        "Load duration",
        "Map of COP",
        "Cautions",
        "Savings",
        "Cost",
        "Months",
        "Usual measures",
        "Backup and unmet hot water",
        "Greenhouse gases",
        "Checks",
        "Legionella",
        "Method",
        "User inputs",
        "Assumptions",
        "All numbers",
        "How to repeat it",
    ]
    year, scenario = demo.plant.year, demo.loaded.scenario
    si, us = (draw_plant(year, scenario, us=us) for us in (False, True))
    held = list(root.all("svg"))
    for found, drawn in zip(held, (si[SCHEMATIC], us[SCHEMATIC], si[ONE_LINE]), strict=True):
        texts = [n.text for n in ET.fromstring(drawn).iter("{http://www.w3.org/2000/svg}text")]
        assert [n.text for n in found.all("text")] == texts
    names = [n.attributes["data-picture"] for n in root.all("figure") if "data-picture" in n.attributes]
    assert names == [
        *(
            "schematic",
            "one_line",
            "map-source_c",
            "map-cop_hour",
            "map-electricity_kwh",
            "map-backup_heat_kwh",
        ),
        *("map-store_mean_c", "coldest-week", "peak-use-day", "duration", "cop-map", "months", "causes"),
        "carbon",
    ]
    record: Any = demo.plant.record
    assert [metric(n.text) for n in section(root, "Cautions").all("li")] == record["cautions"]
    assumed = {row[0]: row for row in rows(section(root, "Assumptions"))}
    for item in record["assumptions"]:
        assert metric(assumed[item["key"]][1]) == metric(item["value"])
        assert metric(assumed[item["key"]][3]) == metric(item["source"])
        assert assumed[item["key"]][4] == item["status"]
    checks = rows(section(root, "Checks"))
    assert len(checks) == 1 + 2 + len(record["checks"])  # a head, and the heat balance of both plants
    repeat = dict(rows(section(root, "How to repeat it"))[1:])
    assert repeat["command, typed in the folder of the scenario"] == "tankyear run central-air.yaml --page"
    assert record["scenario.sha256"] in repeat["scenario"]
    assert record["weather.sha256"] in repeat["weather"]
    assert repeat["tool"] == f"tankyear {record['tool.version']}"
    cost = {row[0]: row[2] for row in rows(section(root, "Cost"))}
    assert cost["Extra capital over the first year's saving"] == "none: nothing is saved in a year"
    assert cost["Internal rate of return"].startswith("none: the money laid out")


@pytest.mark.slow
def test_numbers_are_those_of_the_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of the files that the command wrote: each number of annual.json in full, and as it is read."""
    argv = ["run", str(DEMO), "--out", str(tmp_path), "--page", "--set", "baseline=null"]
    assert cli.main([*argv, "--set", "costs=null", "--set", f"title={ODD}"]) == 0
    assert PAGE in capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted((*NAMES, PAGE))
    root = assert_sound((tmp_path / PAGE).read_bytes())
    record = json.loads((tmp_path / "annual.json").read_text(encoding="utf-8"))
    assert record["title"] == ODD
    assert next(root.all("h1")).text == next(root.all("title")).text == ODD
    shown = {next(row.all("th")).text: row for row in section(root, "All numbers").all("tr")}
    numbers = {key: value for key, value in record.items() if isinstance(value, float | int)}
    assert len(numbers) > 50
    for key, value in numbers.items():
        (exact,) = shown[key].all("data")
        assert float(exact.attributes["value"]) == value, key
        assert exact.text == amount(value), key
    months = {row[0]: row[1:] for row in rows(section(root, "Months"))}
    for name, key in (
        ("electricity [kWh]", "monthly.electricity_kwh"),
        ("hot water delivered [kWh]", "monthly.heat_to_taps_kwh"),
    ):
        assert months[name][:12] == [f"{value:,.0f}" for value in record[key]]
    *_, by_cause = section(root, "Backup and unmet hot water").all("table")
    causes = {row[0]: row[1:] for row in rows(by_cause)[1:]}
    total = causes.pop("all")
    assert total == [amount(record["resistance_hours"]), amount(record["short_hours"])]
    assert {name: row[0] for name, row in causes.items()} == {
        cause_name(cause): amount(hours) for cause, hours in record["backup_hours_by_cause"].items()
    }
    assert "Savings" not in [n.text for n in root.all("h2")]
    repeat = dict(rows(section(root, "How to repeat it"))[1:])
    assert repeat["set on the command line"] == f"baseline=null; costs=null; title={ODD}"
    # the drawings hold no script either
    inside = {node.name for svg in root.all("svg") for node in every(svg)}
    assert not inside & {"script", "foreignobject", "image"}


class Unread:
    """The numbers of a page that have not been held against the result yet."""

    def __init__(self, demo: Result) -> None:
        self.root = parse(page(demo))
        plain = [c for c in self.root.all("td") if c.attributes.get("class") == "number"]
        self.left = [*self.root.all("data"), *(cell for cell in plain if not list(cell.all("data")))]

    def read(self, node: Node, expected: float | str) -> None:
        """The node says it: in full where it knows its value, and within half of its last digit as read."""
        self.left.remove(node)
        if isinstance(expected, str):
            assert node.text == expected
            return
        if node.name == "data":
            assert float(node.attributes["value"]) == pytest.approx(expected, rel=1e-12, abs=1e-12), node.text
        number = node.text.split()[0].replace(",", "").replace("\N{MINUS SIGN}", "-")
        shown, (mantissa, _, exponent) = float(number), number.partition("e")
        places = len(mantissa.partition(".")[2]) - int(exponent or 0)
        assert shown == pytest.approx(expected, rel=1e-12, abs=0.5001 * 10.0**-places), node.text

    def drop(self, nodes: Iterable[Node]) -> None:
        """Numbers that were looked at otherwise."""
        gone = {id(node) for node in nodes}
        self.left = [node for node in self.left if id(node) not in gone]

    def tables(self, name: str) -> list[Node]:
        """The tables of a section."""
        return list(section(self.root, name).all("table"))

    def cells(self, table: Node) -> Iterator[tuple[str, list[Node]]]:
        """The first cell of each row, and the nodes of its numbers."""
        for row in next(table.all("tbody")).all("tr"):
            found = [c for c in row.all("td") if c.attributes.get("class") == "number"]
            yield next(row.all("th")).text, [next(c.all("data"), c) for c in found]


OF_ENERGY = {"site energy": "site_mmbtu", "source energy": "source_mmbtu"}


def read_summary(unread: Unread, demo: Result, sides: list[Any]) -> None:
    """Cards, the figures of both plants with what is saved, and the savings."""
    for node in next(section(unread.root, "Summary").all("dl")).all("data"):
        unread.read(node, sides[0][node.attributes["data-key"]])
    for label, nodes in unread.cells(unread.tables("Summary")[0]):
        key = nodes[0].attributes.get("data-key", "")
        line = demo.savings.get(OF_ENERGY.get(label, SAVED.get(key, "")))
        if label.startswith("peak power in "):
            line = demo.savings["summer_afternoon.highest_kw"]
        values = [side.get(key) for side in sides]
        if None in values:
            assert line is not None, label
            values = [line.plant, line.baseline]
        unread.drop(node for node in nodes if not node.text)
        for node, value in zip(nodes, [*values, values[1] - values[0]], strict=True):
            if node.text:
                unread.read(node, value)
    lines = zip(unread.cells(unread.tables("Savings")[0]), demo.savings.values(), strict=True)
    for (_, (*nodes, percent)), line in lines:
        for node, value in zip(nodes, line[:3], strict=True):
            unread.read(node, value)
        of = "" if line.percent is None else amount(line.percent, "%")
        many = line.percent is not None and abs(line.percent) >= 1000.0
        unread.read(percent, amount(round((line.percent or 0.0) / 100.0), "times") if many else of)


def read_records(unread: Unread, sides: list[Any]) -> None:
    """Cost, greenhouse gases, and every number of both records."""
    for name in ("Cost", "Greenhouse gases"):
        for _, (node,) in unread.cells(unread.tables(name)[0]):
            if node.name == "data":
                unread.read(node, sides[0][node.attributes["data-key"]])
            else:  # a text, or that there is none and why
                assert node.text.startswith("none: ") or node.text in sides[0].values()
                unread.drop([node])
    for key, nodes in unread.cells(unread.tables("All numbers")[0]):
        for node, side in zip(nodes, sides, strict=True):
            value = side.get(key)
            none = side is sides[0] and key in side and value is None
            number = isinstance(value, float | int)
            unread.read(node, value if number else "none" if none else value or "")


def read_months(unread: Unread, demo: Result) -> None:
    """Months and year of both plants, by their hours and by the record."""
    keys = {"peak": "peak_kw", "COP of the plant": "cop_plant", "energy cost": "energy_cost"}
    for table, side in zip(unread.tables("Months"), demo.sides.values(), strict=True):
        for label, nodes in unread.cells(table):
            key = nodes[0].attributes.get("data-key")
            if key is not None:
                months = by_month(side.year.hourly[key])
                values = [*months, months.sum()]
            else:
                record: Any = side.record
                name = keys[label.partition(" [")[0]]
                values = [*record[f"monthly.{name}"], record[name]]
            for node, value in zip(nodes, values, strict=True):
                unread.read(node, float(value))


def read_sums(unread: Unread, record: Any) -> None:
    """The heat of the year, each side of each sum."""
    rows_of: list[list[Node]] = []
    expected = iter(sums_of(record))
    for label, nodes in unread.cells(unread.tables("The plant")[0]):
        rows_of.append(nodes)
        if label.endswith(": sum"):
            one = next(expected)
            for place, terms in enumerate((one.left, one.right)):
                found = [row[place] for row in rows_of if row[place].text]
                for node, value in zip(found, [*terms.values(), sum(terms.values())], strict=True):
                    unread.read(node, value)
            unread.drop(node for row in rows_of for node in row)
            rows_of = []
    assert next(expected, None) is None


def read_backup(unread: Unread, demo: Result) -> None:
    """What was missing, the events of backup, and hours by cause."""
    record: Any = demo.plant.record
    paragraphs = section(unread.root, "Backup and unmet hot water").all("p")
    missing = [node for paragraph in paragraphs for node in paragraph.all("data")]
    for node, key in zip(missing, ("short_litres", "unmet_kwh"), strict=True):
        unread.read(node, record[key])
    *_, of_events, by_cause = unread.tables("Backup and unmet hot water")
    events = [nodes for _, nodes in unread.cells(of_events)]
    heat = sum(float(node.attributes["value"]) for _, node in events)
    assert heat == pytest.approx(record["backup_heat_kwh"])
    runs = demo.plant.year.hourly["backup_heat_kwh"] > 0.0
    assert sum(int(hours.text) for hours, _ in events) == runs.sum()
    unread.drop(node for nodes in events for node in nodes)
    causes = record["backup_hours_by_cause"], record["short_hours_by_cause"]
    named = {cause_name(cause): cause for side in causes for cause in side}
    totals = record["resistance_hours"] + record["fuel_hours"], record["short_hours"]
    for label, nodes in unread.cells(by_cause):
        for node, side, total in zip(nodes, causes, totals, strict=True):
            unread.read(node, total if label == "all" else side.get(named[label], 0.0))


@pytest.mark.slow
def test_every_number_of_the_page_is_one_of_the_result(demo: Result) -> None:
    """Every cell of numbers of every table, every card and every figure of a sentence; none is left unread.

    Usual measures and the hours of Legionella have tests of their own.
    """
    unread = Unread(demo)
    assert len(unread.left) > 600
    sides: list[Any] = [side.record for side in demo.sides.values()]
    read_summary(unread, demo, sides)
    read_records(unread, sides)
    read_months(unread, demo)
    read_sums(unread, sides[0])
    read_backup(unread, demo)
    for label, (ratio,) in unread.cells(unread.tables("Checks")[0]):
        said = {"" if c.ratio is None else f"{c.ratio:.2f}" for c in demo.checks if c.state == label}
        assert ratio.text in {*said, "0.00"}
        unread.drop([ratio])
    for name in ("Legionella", "Usual measures"):
        unread.drop(node for table in unread.tables(name) for node in every(table))
    assert [node.text for node in unread.left] == []


def test_legionella_hours_are_those_of_the_record(demo: Result) -> None:
    root, record = parse(page(demo)), dict(demo.plant.record)
    (table, *_) = section(root, "Legionella").all("table")
    found = sorted((row[0], row[2], row[3]) for row in rows(table)[1:])
    counted: Any = [r for r in record["hygiene"] if r["hours"] > 0.0 and r["kind"] in ("below", "within")]
    expected = [(r["place"], f"{r['hours']:,.0f}", f"{r['longest_hours']:,.0f}") for r in counted]
    assert found == sorted(expected)


@pytest.mark.law
def test_sums_of_the_page_are_equal_on_both_sides(demo: Result) -> None:
    """First law: what the table of flows calls in equals what it calls out, within rounding."""
    found = rows(section(parse(page(demo)), "The plant"))[1:]
    names = [row[0].partition(":")[0] for row in found if row[0].endswith(": sum")]
    assert names == ["Water", "Heat pump", "Purchased"]
    ends = [at for at, row in enumerate(found) if row[0].endswith(": sum")]
    for first, last in zip([-1, *ends[:-1]], ends, strict=True):
        part = [(row[1], row[3]) for row in found[first + 1 : last + 1]]
        *terms, whole = [[float(c.replace("\N{MINUS SIGN}", "-") or 0.0) for c in row] for row in part]
        for side in (0, 1):
            assert whole[side] == pytest.approx(sum(t[side] for t in terms), abs=0.005 * (len(terms) + 1))
        assert whole[0] == pytest.approx(whole[1], abs=0.0101)


@pytest.mark.published
def test_units_of_both_systems_agree(demo: Result) -> None:
    """NIST SP 811, B.8: gal 3.785412 L, Btu (IT) 1055.056 J, degF."""
    (measures,) = section(parse(page(demo)), "Usual measures").all("table")
    found = {
        row[0]: [
            float(re.sub(r"[^\d.\N{MINUS SIGN}]", "", c.split()[0]).replace("\N{MINUS SIGN}", "-"))
            for c in row[1:]
            if c
        ]
        for row in rows(measures)[1:]
    }
    for name, factor in {
        "hot water from the plant, a day and apartment": 1.0 / 3.785412,
        "hot water delivered": 3600.0 / 1055.056,
        "recirculation loss, mean": 3600.0 / 1055.056,
        "standby loss, mean": 3600.0 / 1055.056,
        "purchased energy for the hot water": 3.785412,
        "heat pump, rated capacity": 3600.0 / 1055.056,
        "store": 1.0 / 3.785412,
    }.items():
        here, there = found[name]
        assert there == pytest.approx(here * factor, rel=1e-3), name
    for name in ("coldest source", "mean source", "store is charged to", "coldest top of the store"):
        here, there = found[name]
        assert there == pytest.approx(1.8 * here + 32.0, abs=0.15), name
    assert found["store is charged to"] == [65.0, 149.0]
    assert found["store"] == pytest.approx([2839.0, 750.0], rel=1e-3)
    # 85 W of water at 55.5 °C, as the scenario has it: this store is 65 °C hot, and 52 °C by its backup
    coldest, hottest = (85.0 * (supply - 22.0) / (55.5 - 22.0) for supply in (51.9, 65.0))
    assert coldest < found["recirculation loss, mean"][0] < hottest


@pytest.mark.parametrize("name", ["packaged-test", "gas-boiler", "electric-tank-test"])
def test_plants_without_the_rest_have_a_sound_page(name: str) -> None:
    """No heat pump, no loop, no carbon, no tariff: their parts are left out."""
    result = evaluate_over(read_scenario(ROOT / "scenarios" / f"{name}.yaml"))
    root = assert_sound(page(result))
    heads = {n.text for n in root.all("h2")}
    assert heads & {"Savings", "Greenhouse gases", "Cost"} == set()
    assert heads > {"Summary", "The plant", "Checks", "Cautions"}


def test_check_draws_the_plant_without_a_year(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check --out` writes the drawing alone; without it nothing."""
    assert cli.main(["check", str(DEMO), "--out", str(tmp_path / "x")]) == 0
    assert str(tmp_path / "x" / "schematic.svg") in capsys.readouterr().out
    assert [p.name for p in (tmp_path / "x").iterdir()] == ["schematic.svg"]
    ET.fromstring((tmp_path / "x" / "schematic.svg").read_bytes())
    (tmp_path / "file").write_text("")
    assert cli.main(["check", str(DEMO), "--out", str(tmp_path / "file")]) == 2
    assert "cannot be written" in capsys.readouterr().err
