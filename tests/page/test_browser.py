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

pytestmark = [pytest.mark.contract, pytest.mark.year]
ROOT = Path(__file__).resolve().parents[2]
AXE = Path(os.environ.get("AXE_CORE", ROOT / "node_modules" / "axe-core")) / "axe.min.js"
WIDTHS = (360, 768, 1280, 1900)
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm, ISO 216 and ANSI Y14.1
MARGIN = 14.0  # mm, of the page's own style


@pytest.fixture
def opened(browser: Browser, page_of_demo: Path) -> Browser:
    """The page of the demo, in SI, freshly opened."""
    browser.media()
    browser.open(page_of_demo)
    browser.js("document.querySelector('[name=units][value=si]').click()")
    return browser


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


@pytest.mark.published
def test_the_switch_converts_every_figure(opened: Browser, demo: Result) -> None:
    """NIST SP 811, B.8: Btu (IT) 1055.056 J, gal 3.785412 L, lb 0.4535924 kg; electricity stays kWh."""
    code = (
        "return [...document.querySelectorAll('data[data-key]')]"
        ".map(d => [d.dataset.key, d.value, d.textContent])"
    )
    before = opened.js(code)
    opened.click("[name=units][value=us]")
    after = opened.js(code)
    factors = {
        "heat_to_taps_kwh": 3600.0 / 1055.056,
        "source_heat_kwh": 3600.0 / 1055.056,
        "fuel_kwh": 36.0 / 1055.056,
        "hot_water_litres": 1.0 / 3.785412,
        "total_kgco2e": 1.0 / 0.4535924,
        "electricity_kwh": 1.0,
        "cop_plant": 1.0,
    }
    seen = set()
    for (key, value, _), (_, _, text) in zip(before, after, strict=True):
        if key in factors:
            seen.add(key)
            assert number(text) == pytest.approx(float(value) * factors[key], rel=6e-4, abs=0.51), key
        if key in ("source_min_c", "store_min_top_c"):
            seen.add(key)
            assert number(text) == pytest.approx(1.8 * float(value) + 32.0, abs=0.06), key
    assert seen == {*factors, "source_min_c", "store_min_top_c"}
    units = opened.js("return [...document.querySelectorAll('.legend output')].map(o => o.textContent)")
    assert any(text.endswith("°F") for text in units)
    assert not any(text.endswith("°C") for text in units)
    opened.click("[name=units][value=si]")
    assert opened.js(code) == before


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
@pytest.mark.parametrize("name", ["year", "comparison"])
def test_no_picture_is_cut_on_paper(opened: Browser, compared: Path, paper: str, name: str) -> None:
    """Each picture with its caption is no higher and no wider than a sheet within its margins."""
    wide, high = ((side - 2.0 * MARGIN) * 96.0 / 25.4 for side in PAPERS[paper])
    if name == "comparison":
        opened.open(compared / "compare.html")
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
def test_nothing_stands_beside_the_window(opened: Browser, compared: Path, width: int) -> None:
    """WCAG 2.2, 1.4.10: reading needs no scrolling to the side; wide tables scroll in their own boxes."""
    for path in (None, compared / "compare.html"):
        if path is not None:
            opened.open(path, width)
        opened.resize(width)
        opened.driver.execute_async_script("setTimeout(arguments[0], 250)")
        assert opened.js("return document.documentElement.scrollWidth") <= width
        code = (
            "return [...document.querySelectorAll('.wide')]"
            ".filter(b => b.scrollWidth > b.clientWidth && b.tabIndex !== 0).length"
        )
        assert opened.js(code) == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_accessible(opened: Browser, compared: Path, scheme: str) -> None:
    """The rules of axe-core for WCAG 2.2 A and AA find nothing serious."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed")
    for path in (None, compared / "compare.html"):
        if path is not None:
            opened.open(path)
        opened.media("", scheme)
        opened.js(AXE.read_text(encoding="utf-8"))
        found = opened.driver.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations.map("
            "v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 120))])))"
        )
        opened.media()
        assert [one for one in found if one[0] in ("serious", "critical")] == []


def test_a_comparison_ranks_by_what_is_chosen(browser: Browser, compared: Path) -> None:
    """The order of the bars is that of compare.csv, and turns where more is better."""
    browser.media()
    browser.open(compared / "compare.html")
    rows = list(
        csv.DictReader(line for line in io.StringIO((compared / "compare.csv").read_text()) if line[0] != "#")
    )
    names = [Path(row["scenario"]).stem for row in rows]
    for key, best in (("with_room_kwh", min), ("cop_plant", max), ("total_kgco2e", min)):
        values = dict(zip(names, (float(row[key]) for row in rows), strict=True))
        browser.js(
            "const s = document.getElementById('rank-by'); s.value = arguments[0];"
            "s.dispatchEvent(new Event('change'))",
            key,
        )
        saved = table(browser.saved("[data-picture=rank] [data-save=csv]", "rank.csv"))
        assert saved["scenario"] == sorted(values, key=lambda n: values[n], reverse=best is max)
        assert [float(text) for text in saved[key]] == [values[name] for name in saved["scenario"]]
