"""The page as a reader meets it: in a browser, by pointer and keys, in both systems of units, on paper.

Without Chromium, its driver or the library that drives it these tests skip. What axe-core finds is asked for
where `AXE_CORE` names its folder, or `node_modules/axe-core` is there.
"""

import csv
import io
import os
import re
import struct
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import Browser

from hpwhsim.evaluation.result import Result

pytestmark = [pytest.mark.contract, pytest.mark.year, pytest.mark.slow]
ROOT = Path(__file__).resolve().parents[2]
AXE = Path(os.environ.get("AXE_CORE", ROOT / "node_modules" / "axe-core")) / "axe.min.js"
WIDTHS = (360, 768, 1280, 1900)
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm, ISO 216 and ANSI Y14.1
MARGIN = 14.0  # mm, of the page's own style


@pytest.fixture
def opened(browser: Browser, page_of_demo: Path) -> Browser:
    """The page of the demo, in SI, the whole year in its fields."""
    browser.show(page_of_demo)
    browser.js("document.querySelector('[name=units][value=si]').click()")
    browser.js("document.querySelector('[data-range=\"whole year\"]').click()")
    return browser


@pytest.fixture
def beside(browser: Browser, compared: Path) -> Browser:
    """The page of the comparison, in SI, its first scenario the base."""
    browser.show(compared / "compare.html")
    browser.js("document.querySelector('[name=units][value=si]').click()")
    choose(browser, "base", "0")
    return browser


def choose(browser: Browser, name: str, value: str) -> None:
    """Another option of a list."""
    browser.js(
        "const s = document.getElementById(arguments[0]); s.value = arguments[1];"
        "s.dispatchEvent(new Event('change'))",
        name,
        value,
    )


def number(text: str) -> float:
    found = re.search(r"[\N{MINUS SIGN}-]?[\d,]*\.?\d+", text)
    assert found, text
    return float(found[0].replace("\N{MINUS SIGN}", "-").replace(",", ""))


def table(content: bytes) -> dict[str, list[str]]:
    lines = [line for line in content.decode().splitlines() if not line.startswith("#")]
    head, *body = csv.reader(lines)
    return {name: [row[n] for row in body] for n, name in enumerate(head)}


def hourly(demo: Result, name: str) -> Any:
    return np.asarray(demo.hourly[name].values)


def test_it_asks_for_nothing_and_has_no_error(browser: Browser, page_of_demo: Path, compared: Path) -> None:
    """One request each, for the file itself, and an empty console."""
    for path in (page_of_demo, compared / "compare.html"):
        assert path.stat().st_size < 3_000_000
        browser.asked_for()
        browser.open(path)
        assert browser.asked_for() == [path.as_uri()]
        assert browser.driver.get_log("browser") == []
        assert browser.js("return document.querySelectorAll('.drawing:empty, .drawn:empty').length") == 0


FACTORS = {
    "kBtu": 3600.0 / 1055.056,
    "MMBtu": 3.6 / 1.055056,
    "therm": 36.0 / 1055.056,
    "gal": 1.0 / 3.785412,
    "lb": 1.0 / 0.4535924,
    "lb/year": 1.0 / 0.4535924,
    "lb CO2e": 1.0 / 0.4535924,
    "lb/kWh": 1.0 / 0.4535924,
    "Btu/h": 3.412141,
    "°F": 1.8,
    "°F difference": 1.8,
    "USD/short ton": 0.9071847,
    "USD/MMBtu": 1.055056 / 3.6,
}
"""NIST SP 811, B.8: Btu (IT) 1055.056 J, gal 3.785412 L, lb 0.4535924 kg, short ton 907.1847 kg."""
GALLONS = {"m3": 1000.0 / 3.785412}
FIGURES = """return [...document.querySelectorAll('data[data-key]')].map(d => {
  const row = d.closest('tr'), card = d.parentElement.querySelector('.card-unit');
  const unit = row && row.querySelector('td.unit');
  const heads = row && [row.cells[0], d.closest('table').tHead.rows[0].cells[d.closest('td, th').cellIndex]];
  const head = heads && heads.map(h => h.textContent.match(/\\[(.*)\\]$/)).find(Boolean);
  const own = d.textContent.replace(/^[^a-z]*\\d\\s?/i, '');
  return [d.dataset.key, Number(d.value), d.textContent, 'difference' in d.dataset,
    'unit' in d.dataset ? own : unit ? unit.textContent : card ? card.textContent : head ? head[1] : ''];
})"""
"""Key, value, text, whether it is a difference, and the unit beside it, of every figure with a key."""


@pytest.mark.published
@pytest.mark.parametrize("name", ["opened", "beside"])
def test_the_switch_converts_every_figure(name: str, request: pytest.FixtureRequest) -> None:
    """Every figure is its value times the factor between the units beside it; electricity stays."""
    page: Browser = request.getfixturevalue(name)
    before = page.js(FIGURES)
    page.click("[name=units][value=us]")
    after = page.js(FIGURES)
    assert len(before) == len(after) > 150
    changed = set()
    for (key, value, was, apart, metric), (_, _, text, _, unit) in zip(before, after, strict=True):
        if unit == metric or was in ("", "base"):
            assert text == was, key
            continue
        changed.add(unit)
        if unit == "MMBtu" or metric == "MMBtu":  # of savings, whose own unit that is
            mine = value * (FACTORS["MMBtu"] if key.endswith("_mwh") else 1.0)
        elif metric in GALLONS:
            mine = value * GALLONS[metric]
        else:
            mine = value * FACTORS[unit] + (32.0 if unit == "°F" and not apart else 0.0)
        assert number(text) == pytest.approx(mine, rel=6e-4, abs=1e-9), (key, was, text)
    assert changed >= {"kBtu", "therm", "lb CO2e"}
    page.click("[name=units][value=si]")
    assert page.js(FIGURES) == before


METRIC = re.compile(
    r"(?<![\d.,(])(?<!= )\d[\d.,]* (?:°C|degC|K|L|m3|m³|m2|m|mm|kg|t|MWh|kPa|bar|L/s|m3/s|W/K|W/m/K|W/m2/K)"
    r"(?![\w/²³])(?!\s?\()(?! per )|\[(?:°C|L|m3|kg|MWh)\]"
)
"""A metric figure that no inch-pound one follows, and that follows none."""
TEXTS = """return [...document.querySelectorAll('body *')]
  .filter(e => e.checkVisibility() && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
  .filter(e => !e.closest('script, style, code'))
  .map(e => [e.closest('section')?.querySelector('h2').textContent, e.textContent])"""


@pytest.mark.parametrize("name", ["opened", "beside"])
def test_no_metric_figure_stands_alone_in_inch_pound(name: str, request: pytest.FixtureRequest) -> None:
    """Drawings, axes, sentences and tables: what is not converted carries both."""
    page: Browser = request.getfixturevalue(name)
    page.click("[name=units][value=us]")
    page.js("for (const d of document.querySelectorAll('details')) d.open = true")
    texts = page.js(TEXTS)
    page.click("[name=units][value=si]")
    assert len(texts) > 300
    left = [text for where, text in texts if where != "Usual measures" and METRIC.search(text)]
    assert left == []


def test_pointer_and_keys_read_the_hour(opened: Browser, demo: Result) -> None:
    """A value beside a name, and one under a picture, is that of hourly.csv to four digits."""
    opened.js("document.querySelector('#hours').scrollIntoView()")
    opened.press("#hours", "\ue012", "\ue014", "\ue014", "\ue014")  # left and right
    read = opened.js("return document.getElementById('hour-read').textContent")
    assert read.endswith("values at Mon 1 Jan, 03:00")
    shown = opened.js("return [...document.querySelectorAll('.legend li')].map(l => l.textContent)")
    (outdoor,) = (text for text in shown if text.startswith("outdoor dry bulb"))
    assert number(outdoor) == pytest.approx(hourly(demo, "dry_bulb_c")[3], abs=0.006)
    # the pointer in the middle of the field stands at the middle of the year
    opened.js(
        "const o = document.querySelector('#hours .u-over'); o.scrollIntoView({block: 'center'});"
        "const b = o.getBoundingClientRect();"
        "o.dispatchEvent(new MouseEvent('mouseenter', {bubbles: true}));"
        "const at = {bubbles: true, clientX: b.left + b.width / 2, clientY: b.top + 20};"
        "o.dispatchEvent(new MouseEvent('mousemove', at));"
    )
    read = opened.driver.execute_async_script(
        "const done = arguments[0];"
        "setTimeout(() => done(document.getElementById('hour-read').textContent), 100)"
    )
    assert re.search(r"values at \w+ (1|2|3) Jul", read)
    place = "[data-picture=map-store_mean_c] .drawing"
    opened.press(place, "\ue014", "\ue013")
    text = opened.js("return document.querySelector('[data-picture=map-store_mean_c] .readout').textContent")
    assert text.startswith("Tue 2 Jan, 01:00: ")
    assert number(text.partition(":00: ")[2]) == pytest.approx(hourly(demo, "store_mean_c")[25], rel=5.1e-4)


def test_zoom_by_drag_keys_and_buttons(opened: Browser, demo: Result) -> None:
    def shown() -> str:
        return str(opened.js("return document.getElementById('hour-read').textContent")).partition(";")[0]

    whole = "Mon 1 Jan, 00:00 to Mon 31 Dec, 23:00"
    assert shown() == whole
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By

    opened.js("document.querySelector('#hours .u-over').scrollIntoView({block: 'center'})")
    over = opened.driver.find_element(By.CSS_SELECTOR, "#hours .u-over")
    ActionChains(opened.driver, 10).move_to_element(over).click_and_hold().move_by_offset(
        120, 0
    ).release().perform()
    dragged = shown()
    assert re.match(r"\w+ (1|2|3) Jul", dragged)
    opened.js("arguments[0].dispatchEvent(new MouseEvent('dblclick', {bubbles: true}))", over)
    assert shown() == whole
    opened.press("#hours", "+")
    assert shown() != whole
    opened.press("#hours", "\ue011")  # home
    assert shown() == whole
    opened.click("[data-range='coldest week']")
    days = hourly(demo, "dry_bulb_c").reshape(365, 24).mean(axis=1)
    first = min(range(359), key=lambda day: days[day : day + 7].mean())
    stamp = np.datetime64("2001-01-01") + first
    assert f" {stamp.astype(object).day} {stamp.astype(object):%b}, 00:00 to" in shown()


def test_saved_data_are_the_hourly_files(opened: Browser, demo: Result) -> None:
    """Seven significant digits of every value of hourly.csv, each series and each hour."""
    saved = table(opened.saved("#hours ~ .buttons [data-save=csv]", "hours.csv"))
    names = [str(name) for name in demo.hourly.data_vars]
    assert set(saved) == {"time", "cop_hour", *names}
    assert saved["time"][0] == "2001-01-01T00:00"
    assert saved["time"][-1] == "2001-12-31T23:00"
    for name in names:
        mine = np.array([float(text) if text else np.nan for text in saved[name]])
        np.testing.assert_allclose(mine, hourly(demo, name), rtol=6e-7, atol=1e-12, err_msg=name)
    heat, power = hourly(demo, "heat_pump_heat_kwh").sum(), hourly(demo, "compressor_kwh")
    cop = np.array([float(text) if text else np.nan for text in saved["cop_hour"]])
    runs = power > 0.0
    others = sum(hourly(demo, key) for key in ("fan_kwh", "pump_kwh", "standby_kwh"))
    assert np.nansum(cop * (power + others)) == pytest.approx(heat, rel=1e-6)
    assert (np.isfinite(cop) == runs).all()
    months = table(opened.saved("[data-picture=months] [data-save=csv]", "months.csv"))
    record: Any = demo.plant.record
    resistance = [float(text) for text in months["resistance_kwh"]]
    assert resistance == pytest.approx(record["monthly.resistance_kwh"], rel=1e-5, abs=1e-6)


def test_every_picture_is_saved(opened: Browser) -> None:
    """A file of its own: well-formed SVG with its colours written out, and PNG (ISO/IEC 15948, 5.2)."""
    names = opened.js(
        "return [...document.querySelectorAll('figure[data-picture]')].map(f => f.dataset.picture)"
    )
    assert len(names) >= 12
    for name in names:
        text = opened.saved(f"[data-picture='{name}'] [data-save=svg]", f"{name}.svg")
        root = ET.fromstring(text)
        assert root.tag == "{http://www.w3.org/2000/svg}svg", name
        drawn = re.sub(rb"base64,[\w+/=]+", b"", text)
        assert not re.search(rb"var\(|currentColor|undefined|NaN", drawn), name
    for name in ("cop-map", "schematic"):
        picture = opened.saved(f"[data-picture='{name}'] [data-save=png]", f"{name}.png")
        assert picture[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", picture[16:24])
        assert min(width, height) > 600


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["opened", "beside"])
def test_no_picture_is_cut_on_paper(name: str, paper: str, request: pytest.FixtureRequest) -> None:
    """Each picture with its caption is no higher and no wider than a sheet within its margins."""
    wide, high = ((side - 2.0 * MARGIN) * 96.0 / 25.4 for side in PAPERS[paper])
    opened: Browser = request.getfixturevalue(name)
    opened.resize(int(wide))
    opened.js("window.dispatchEvent(new Event('beforeprint'))")
    opened.media("print", "dark")
    boxes = opened.js(
        "return [...document.querySelectorAll('figure')].map(f => { const b = f.getBoundingClientRect();"
        "const sides = [...f.querySelectorAll('svg')].map(s => s.getBoundingClientRect().right);"
        "return [f.dataset.picture || 'hours', b.width, b.height, Math.max(0, ...sides)]; })"
    )
    assert len(boxes) >= 10
    for picture, width, height, right in boxes:
        assert height <= high, picture
        assert max(width, right) <= wide + 1.0, picture
    assert opened.js("return getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    opened.js("window.dispatchEvent(new Event('afterprint'))")
    opened.media()
    opened.resize(1280)
    pdf = opened.printed(*(side / 25.4 for side in PAPERS[paper]))
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) >= 5


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["opened", "beside", "operation"])
def test_nothing_stands_beside_the_window(name: str, width: int, request: pytest.FixtureRequest) -> None:
    """WCAG 2.2, 1.4.10: reading needs no scrolling to the side; wide tables scroll in their own boxes."""
    page: Browser = request.getfixturevalue(name)
    page.resize(width)
    page.driver.execute_async_script("setTimeout(arguments[0], 250)")
    assert page.js("return document.documentElement.scrollWidth") <= width
    code = (
        "return [...document.querySelectorAll('.wide')]"
        ".filter(b => b.scrollWidth > b.clientWidth && b.tabIndex !== 0).length"
    )
    assert page.js(code) == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["opened", "beside", "operation"])
def test_accessible(name: str, scheme: str, request: pytest.FixtureRequest) -> None:
    """The rules of axe-core for WCAG 2.2 A and AA find nothing serious."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed")
    page: Browser = request.getfixturevalue(name)
    page.media("", scheme)
    if not page.js("return 'axe' in window"):
        page.js(AXE.read_text(encoding="utf-8"))
    rules = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    if scheme == "dark":  # what else there is does not depend on the hues
        rules = {"type": "rule", "values": ["color-contrast"]}
    found = page.driver.execute_async_script(
        "const done = arguments[1];"
        "axe.run(document, {resultTypes: ['violations'], runOnly: arguments[0]}).then(r => done("
        "r.violations.map(v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 120))])))",
        rules,
    )
    assert [one for one in found if one[0] in ("serious", "critical")] == []


@pytest.mark.parametrize("name", ["opened", "beside"])
def test_every_control_is_reached_by_tab_and_shows_it(name: str, request: pytest.FixtureRequest) -> None:
    """WCAG 2.2, 2.1.1 and 2.4.7: each control takes the focus in turn, with an outline."""
    page: Browser = request.getfixturevalue(name)
    count = page.js(
        "window.got = new Map(); document.activeElement.blur(); scrollTo(0, 0);"
        "document.addEventListener('focusin', e => got.set(e.target,"
        " e.target.matches(':focus-visible') && getComputedStyle(e.target).outlineStyle !== 'none'));"
        "window.all = [...document.querySelectorAll('a[href], button, input, select, summary, [tabindex]')]"
        ".filter(e => e.checkVisibility() && !(e.type === 'radio' && !e.checked)); return all.length"
    )
    missed: list[str] = []
    for _ in range(3):  # a busy browser drops keys of a long row of them
        page.press("body", "\ue004" * (2 * count))  # boxes that scroll take the focus too
        missed = page.js("return all.filter(e => !got.has(e)).map(e => e.outerHTML.slice(0, 100))")
        if not missed:
            break
    assert missed == []
    assert page.js("return all.filter(e => !got.get(e)).map(e => e.outerHTML.slice(0, 100))") == []


@pytest.fixture(scope="module")
def in_file(compared: Path) -> dict[str, dict[str, str]]:
    """compare.csv by scenario."""
    lines = [line for line in io.StringIO((compared / "compare.csv").read_text()) if line[0] != "#"]
    return {Path(row["scenario"]).stem: row for row in csv.DictReader(lines)}


@pytest.mark.parametrize("units", ["si", "us"])
def test_a_comparison_ranks_by_what_is_chosen(
    beside: Browser, in_file: dict[str, dict[str, str]], units: str
) -> None:
    """The order of the bars is that of compare.csv in both systems, and turns where more is better."""
    beside.click(f"[name=units][value={units}]")
    for key, best in (("with_room_kwh", min), ("cop_plant", max), ("total_kgco2e", min)):
        values = {name: float(row[key]) for name, row in in_file.items()}
        choose(beside, "rank-by", key)
        saved = table(beside.saved("[data-picture=rank] [data-save=csv]", "rank.csv"))
        order = sorted(values, key=lambda n: values[n], reverse=best is max)
        assert saved["scenario"] == order
        assert [float(text) for text in saved[key]] == [values[name] for name in order]
        drawn = beside.js(
            "return [...document.querySelectorAll('[data-picture=rank] svg text')].map(t => t.textContent)"
        )
        assert [text for text in drawn if re.match(r"\d\. ", text)] == [
            f"{n}. {name}" for n, name in enumerate(order, start=1)
        ]
        unit = beside.js("return document.querySelector('#rank-by option:checked').textContent")
        assert ("kBtu" in unit or "lb" in unit) == (units == "us" and key != "cop_plant")


def test_differences_are_from_the_base_that_is_chosen(
    beside: Browser, in_file: dict[str, dict[str, str]]
) -> None:
    """Every figure less that of the base, in the table and its sentences; percent of the base."""
    names, key = list(in_file), "electricity_kwh"
    values = [float(row[key]) for row in in_file.values()]
    code = (
        "const r = document.querySelector(`tr [data-key=${arguments[0]}]`).closest('tr');"
        "return ['apart', 'percent'].map(k => [...r.querySelectorAll(`[data-${k}]`)].map(d => d.textContent))"
    )
    for base in (0, 2, 1):
        choose(beside, "base", str(base))
        apart, percent = beside.js(code, key)
        assert [text == "base" for text in apart] == [n == base for n in range(3)]
        for n, value in enumerate(values):
            if n != base:
                change = value - values[base]
                assert number(apart[n]) == pytest.approx(change, rel=6e-4), (names[n], names[base])
                assert apart[n][0] == ("+" if change > 0.0 else "\N{MINUS SIGN}")
                assert number(percent[n]) == pytest.approx(100.0 * change / values[base], rel=6e-4, abs=0.051)
        shown = beside.js(
            "return [...document.querySelectorAll('[data-base]')].filter(d => d.checkVisibility())"
            ".map(d => d.textContent)"
        )
        (said,) = shown
        assert all(f"{name} against {names[base]}" in said for n, name in enumerate(names) if n != base)
