"""Valid inputs, mutated: readers may refuse what comes of it, in good order and within seconds.

A reader is called as the command calls it. What it may do is give an answer or raise `InputError`; a message
is of lines that are safe to print. What is drawn are edits: of bytes, lines, cells, numbers and their units,
or of nodes of YAML and JSON.
"""

import io
import json
import re
import zipfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import bad_input
import yaml
from bad_input import ROOT
from hypothesis import strategies as st

Reader = Callable[[Path], object]
Draw = Callable[[st.SearchStrategy[Any]], Any]

WORDS = (
    *(
        "",
        " ",
        "0",
        "-0",
        "-1",
        "1e300",
        "1e999",
        "-1e-320",
        "nan",
        "inf",
        "NaN",
        "null",
        "true",
        "~",
        "[]",
        "{}",
    ),
    *(
        "1,5",
        "1_000",
        "0x1F",
        "010",
        "1:30",
        "٣",
        "½",
        "9" * 400,
        "9" * 20_000,
        "x" * 300,
        "\x00",
        "\x1b[31m",
    ),
    *(
        "\u202e",
        "\ufeff",
        "\u2028",
        "\ud800",
        "\uffff",
        "é",
        "\r",
        "\t",
        '"',
        "'",
        "#",
        "&a",
        "*a",
        "<<",
        "!!int x",
    ),
    *("2024-02-29T00:00", "0001-01-01T00:00+14:00", "9999-12-31T23:00", "24:00", "22:00-06:00", "..", "../x"),
    *("5 gal", "5 m**3**3**3", "140 degF", "140 F", "1 kW/kW/kW", "3 (gal", "7 " + "gal*" * 50, "1 USD/kWh"),
)
"""What is put in the place of a cell, a number, a value or a key."""

NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


# -- edits ----------------------------------------------------------------------------------------------


def edited_bytes(draw: Draw, data: bytes) -> bytes:
    """Bytes replaced, put in, taken out, doubled, or all after a place cut off."""
    first = draw(st.integers(0, len(data)))
    last = min(first + draw(st.integers(0, 40)), len(data))
    kind = draw(st.sampled_from(["replace", "double", "cut", "drop"]))
    put = (
        draw(st.binary(max_size=8))
        if kind == "replace"
        else data[first:last] * 2
        if kind == "double"
        else b""
    )
    return data[:first] + put + (b"" if kind == "cut" else data[last:])


def edited_lines(draw: Draw, data: bytes) -> bytes:
    """A line moved, doubled, taken out, or in the place of another."""
    lines = data.split(b"\n")
    one, other = (draw(st.integers(0, len(lines) - 1)) for _ in range(2))
    kind = draw(st.sampled_from(["swap", "drop", "double", "copy", "join"]))
    if kind == "swap":
        lines[one], lines[other] = lines[other], lines[one]
    elif kind == "copy":
        lines[one] = lines[other]
    else:
        lines[one : one + 1] = {"drop": [], "double": [lines[one]] * 2, "join": [lines[one] + lines[other]]}[
            kind
        ]
    return b"\n".join(lines)


def edited_cells(draw: Draw, data: bytes) -> bytes:
    """A cell of a line replaced by a word, swapped with another, taken out or put in."""
    lines = data.split(b"\n")
    line = draw(st.integers(0, len(lines) - 1))
    cells = lines[line].split(b",")
    cell = draw(st.integers(0, len(cells) - 1))
    word = draw(st.sampled_from(WORDS)).encode("utf-8", "surrogatepass")
    kind = draw(st.sampled_from(["word", "drop", "more", "last"]))
    if kind == "last":
        cells[cell], cells[-1] = cells[-1], cells[cell]
    else:
        cells[cell : cell + 1] = {"word": [word], "drop": [], "more": [cells[cell], word]}[kind]
    lines[line] = b",".join(cells)
    return b"\n".join(lines)


def edited_numbers(draw: Draw, data: bytes) -> bytes:
    """A number replaced by another number or a word."""
    text = data.decode("latin-1")
    found = [match.span() for match in NUMBER.finditer(text[:20_000])]
    if not found:
        return data
    start, end = draw(st.sampled_from(found))
    other = st.one_of(st.integers(), st.floats()).map(str) | st.sampled_from(WORDS)
    put = draw(other).encode("utf-8", "surrogatepass").decode("latin-1")
    return (text[:start] + put + text[end:]).encode("latin-1")


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.sampled_from(WORDS) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(WORDS), inner, max_size=3),
    max_leaves=5,
)


def edited_nodes(draw: Draw, value: Any) -> Any:
    """Nested blocks and lists with a key renamed, taken out or put in, or a value replaced."""
    if isinstance(value, dict) and value and draw(st.integers(0, 9)) < 9:
        key = draw(st.sampled_from(sorted(value, key=str)))
        kind = draw(st.sampled_from(["in", "in", "in", "rename", "drop", "put"]))
        if kind == "in":
            return value | {key: edited_nodes(draw, value[key])}
        if kind == "put":
            return value | {draw(st.sampled_from(WORDS)): draw(VALUES)}
        rest = {name: item for name, item in value.items() if name != key}
        return rest | {draw(st.sampled_from(WORDS)): value[key]} if kind == "rename" else rest
    if isinstance(value, list) and value and draw(st.integers(0, 9)) < 9:
        place = draw(st.integers(0, len(value) - 1))
        return [*value[:place], edited_nodes(draw, value[place]), *value[place + 1 :]]
    return draw(VALUES)


def edited_yaml(draw: Draw, data: bytes) -> bytes:
    """A text of YAML with a node edited."""
    changed = edited_nodes(draw, yaml.safe_load(data))
    return yaml.safe_dump(changed, sort_keys=False, allow_unicode=True).encode("utf-8", "surrogatepass")


def edited_json(draw: Draw, data: bytes) -> bytes:
    """A text of JSON with a node edited."""
    return json.dumps(edited_nodes(draw, json.loads(data)), default=str).encode()


PLAIN = (edited_bytes, edited_lines, edited_numbers)
TABLE = (*PLAIN, edited_cells, edited_cells)


# -- readers --------------------------------------------------------------------------------------------


def of_case(reader: str, name: str) -> bytes:
    """What the corpus has as the good file of a reader."""
    held = yaml.safe_load((bad_input.CORPUS / f"{reader}.yaml").read_text(encoding="utf-8"))
    return bad_input.part(held["files"][name])


def _scenario(path: Path) -> object:
    from hpwhsim.evaluation.reading import read

    return read(path)


def _plant(path: Path) -> object:
    """A scenario of a plant without a heat pump, as `check` puts it together."""
    from hpwhsim.evaluation.evaluate import check

    return check(_scenario(path))


def _override(path: Path) -> object:
    from hpwhsim.scenario.reading import read_scenario

    text = path.read_bytes().decode("utf-8", "surrogateescape")
    plant = path.with_name("plant.yaml")
    plant.write_bytes(of_case("scenario_values", "plant.yaml"))
    return read_scenario(plant, [text])


def _study(path: Path) -> object:
    from hpwhsim.studies.cases import study_cases

    path.with_name("plant.yaml").write_bytes(of_case("study", "plant.yaml"))
    return study_cases(path)


def _vary(path: Path) -> object:
    from hpwhsim.studies.sweep import plan

    text = path.read_bytes().decode("utf-8", "surrogateescape")
    plant = path.with_name("plant.yaml")
    plant.write_bytes(of_case("study", "plant.yaml"))
    return plan(plant, [text[:200]], keys=None)


def _meter(path: Path) -> object:
    from hpwhsim.studies.fit_meter import read_meter

    return read_meter(path, -6.0)


def _range(path: Path) -> object:
    from hpwhsim.studies.fit_keys import ranged

    return ranged([path.read_bytes().decode("utf-8", "surrogateescape")])


def _table(path: Path) -> object:
    from hpwhsim.heatpump.measured import falling_cop, read_ratings, read_table

    return read_table(path), read_ratings(path), falling_cop(path, "table")


def _sections(path: Path) -> object:
    from hpwhsim.demand.loop_sections import read_sections

    return read_sections(path)


def _pattern(path: Path) -> object:
    from hpwhsim.demand.patterns import read_pattern

    return read_pattern(path)


def _metered(path: Path) -> object:
    from hpwhsim.demand.patterns import read_metered

    return read_metered(path, 4)


def _grid(path: Path) -> object:
    from hpwhsim.account.grid import read_grid

    return read_grid(path, service_years=20)


def _prices(path: Path) -> object:
    from hpwhsim.io.user_csv import read_hours

    return read_hours(path, {"usd_per_kwh": (-9.0, 9.0)})


def _sewer(path: Path) -> object:
    from hpwhsim.source.drains import read_sewer

    return read_sewer(path)


def _catalogue(path: Path) -> object:
    from hpwhsim.sizing.catalogue import read_steps

    return read_steps(path, "capacity_kw", 1.0)


def _tolerances(path: Path) -> object:
    from hpwhsim.results.records import read_rules

    return read_rules(path)


def _record(path: Path) -> object:
    from hpwhsim.regression.compare import compare
    from hpwhsim.results.records import read_stored

    return compare(read_stored(path), {"electricity_kwh": 1.0, "peak_kw": 2.0})


def _result(path: Path) -> object:
    from hpwhsim.diagnose.causes import why
    from hpwhsim.diagnose.report import why_text
    from hpwhsim.results.files import record_text

    path.rename(path.with_name("annual.json"))
    path.with_name("hourly.nc").write_bytes(_hourly())
    found = why(path.parent)
    return why_text(found, True).encode(), record_text(found)


def _series(path: Path) -> object:
    from hpwhsim.diagnose.causes import why
    from hpwhsim.diagnose.report import why_text

    path.rename(path.with_name("hourly.nc"))
    path.with_name("annual.json").write_bytes(of_case("result", "r/annual.json"))
    return why_text(why(path.parent), True).encode()


def _bundle(path: Path) -> object:
    from hpwhsim.dossier.archive import unpacked
    from hpwhsim.dossier.verify import opened

    unpacked(path)
    return opened(path)


def _manifest(path: Path) -> object:
    """The manifest of an archive, edited within it."""
    from hpwhsim.dossier.verify import opened

    data = path.read_bytes()
    with zipfile.ZipFile(io.BytesIO(_good_bundle())) as held:
        files = {name: held.read(name) for name in held.namelist()}
    with zipfile.ZipFile(path, "w") as out:
        for name, content in (files | {"bundle.json": data}).items():
            out.writestr(name, content)
    return opened(path)


def _study_manifest(path: Path) -> object:
    from hpwhsim.studies.study import held_manifest

    path.rename(path.with_name("study.json"))
    return held_manifest(path.parent, {"study": "a", "scenario": "b"})


def _weather(path: Path) -> object:
    from hpwhsim.climate.typical_year import read_year

    return read_year(path)


@lru_cache(maxsize=1)
def _hourly() -> bytes:
    return of_case("result", "r/hourly.nc")


@lru_cache(maxsize=1)
def _good_bundle() -> bytes:
    return bad_input.part({"bundle": {}})


@lru_cache(maxsize=1)
def _good_manifest() -> bytes:
    with zipfile.ZipFile(io.BytesIO(_good_bundle())) as held:
        return held.read("bundle.json")


@lru_cache(maxsize=4)
def _year_of(name: str) -> bytes:
    return bad_input.part({"copy": f"weather/{name}.gz"})


def _hours(header: str, row: str) -> bytes:
    return bad_input.part([header + "\n", {"rows": row, "count": 8760}])


_SECTIONS = b"""size,length_m,insulation_mm,ambient_c,side,parallel
3/4 in,3,20,20,supply,2
1 in,9,0,5,return,1
"""

_SAMPLED = b"""
scenario: plant.yaml
sample:
  count: 8
  seed: 2
  keys:
    plant.storage.volume: {normal: [200 gal, 20 gal], within: [100 gal, 300 gal]}
    hot_water.seed: {discrete: [1, 2], weights: [1, 3]}
rows: [{building.apartments: 3}, {building.apartments: 5}]
record: [electricity_kwh]
"""

READERS: dict[str, tuple[Reader, tuple[Any, ...], Callable[[], list[bytes]]]] = {
    "scenario": (
        _scenario,
        (*PLAIN, edited_yaml, edited_yaml),
        lambda: [_worked(path) for path in sorted((ROOT / "scenarios").glob("*.yaml"))],
    ),
    "plant": (_plant, (*PLAIN, edited_yaml), lambda: [of_case("scenario_text", "plant.yaml")]),
    "override": (
        _override,
        (edited_bytes, edited_numbers),
        lambda: [
            b"plant.storage.volume=200 gal",
            b"plant.storage.setpoint=140 degF",
            b"title=a b",
            b"carbon={}",
        ],
    ),
    "study": (
        _study,
        (*PLAIN, edited_yaml, edited_yaml),
        lambda: [
            of_case("study", "study.yaml"),
            _SAMPLED,
        ],
    ),
    "vary": (
        _vary,
        (edited_bytes, edited_numbers),
        lambda: [b"plant.storage.volume=200 gal,300 gal", b"plant.storage.volume=200 gal..300 gal/3"],
    ),
    "meter": (_meter, TABLE, lambda: [of_case("meter", "m.csv")]),
    "range": (
        _range,
        (edited_bytes, edited_numbers),
        lambda: [b"plant.storage.volume=40 gal..160 gal"],
    ),
    "table": (_table, TABLE, lambda: [of_case("heat_pump_table", "table.csv")]),
    "sections": (
        _sections,
        TABLE,
        lambda: [_SECTIONS],
    ),
    "pattern": (_pattern, TABLE, lambda: [bad_input.part(["hour,weekday,weekend\n", *_pattern_rows()])]),
    "metered": (_metered, TABLE, lambda: [_hours("time,litres", "{time},{a:.1f}")]),
    "grid": (_grid, TABLE, lambda: [b"year,kg_per_kwh\n2020,0.5\n2060,0.1\n", _hours("kg_per_kwh", "0.4")]),
    "prices": (_prices, TABLE, lambda: [_hours("usd_per_kwh", "0.2")]),
    "sewer": (_sewer, TABLE, lambda: [_hours("flow_m3_per_h,temperature_c", "9,12")]),
    "catalogue": (_catalogue, TABLE, lambda: [bad_input.part({"copy": "scenarios/sizing/modules.csv"})]),
    "tolerances": (
        _tolerances,
        TABLE,
        lambda: [b"key,relative,absolute\nmonthly.*,1e-6,0\npeak_time,inf,inf\n"],
    ),
    "record": (
        _record,
        (edited_bytes, edited_numbers, edited_json, edited_json),
        lambda: [bad_input.part({"copy": "scenarios/records/resistance.json"})],
    ),
    "result": (_result, (*PLAIN, edited_json), lambda: [of_case("result", "r/annual.json")]),
    "series": (_series, (edited_bytes,), lambda: [_hourly()]),
    "bundle": (_bundle, (edited_bytes,), lambda: [_good_bundle()]),
    "manifest": (_manifest, (edited_bytes, edited_json), lambda: [_good_manifest()]),
    "study manifest": (
        _study_manifest,
        (*PLAIN, edited_json),
        lambda: [b'{"finished": false, "fingerprint": {"study": "a", "scenario": "b"}, "cases": 3}'],
    ),
    "weather": (
        _weather,
        TABLE,
        lambda: [_year_of("chicago-il-725300-tmy3.epw"), _year_of("golden-co-724666-tmy3.csv")],
    ),
}
"""What reads a file, how it is edited, and the good files to begin with."""


def _worked(path: Path) -> bytes:
    """A worked scenario that can be read from any folder."""
    text = path.read_text(encoding="utf-8")
    for name in ("../weather", "sizing/", "signals/", "gas-boiler.yaml"):
        place = (path.parent / name).resolve()
        text = text.replace(name, f"{place}/" if name.endswith("/") else str(place))
    return text.encode()


def _pattern_rows() -> list[str]:
    return [f"{hour},{1 / 24:.6f},{1 / 24:.6f}\n" for hour in range(24)]


@lru_cache(maxsize=len(READERS))
def good_files(reader: str) -> list[bytes]:
    """The good files of a reader."""
    return READERS[reader][2]()


@st.composite
def mutated(draw: Draw, reader: str) -> bytes:
    """A good file of a reader with one to three edits."""
    data: bytes = draw(st.sampled_from(good_files(reader)))
    for _ in range(draw(st.integers(1, 3))):
        edit = draw(st.sampled_from(READERS[reader][1]))
        try:
            data = edit(draw, data)
        except (ValueError, yaml.YAMLError):  # of two edits the second cannot read what the first left
            data = edited_bytes(draw, data)
    return data


def fault(reader: str, data: bytes, folder: Path) -> str:
    """What is wrong with how a reader takes some bytes; empty where nothing is."""
    from hpwhsim.errors import InputError
    from hpwhsim.io.plain_text import said

    path = folder / "given"
    path.write_bytes(data)
    try:
        with bad_input.within(bad_input.LONGEST):
            READERS[reader][0](path)
    except InputError as error:
        text = said(str(error))
        unfit = [line for line in text.split("\n") if not line.isprintable() or len(line) > 700]
        return f"unfit message: {unfit[0]!r}" if unfit or not text.strip() else ""
    except bad_input.Hang as late:
        return str(late)
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return ""
