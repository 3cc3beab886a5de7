"""The lists of the manual made from the code, as Markdown: keys, results, verbs, sources, ranges, checks."""

import hashlib
import json
import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from itertools import groupby
from pathlib import Path

import seeded_faults

from hpwhsim.cli.main import VERBS, parser
from hpwhsim.climate.typical_year import read_year
from hpwhsim.io import disk_cache
from hpwhsim.results.declared import Declared, declarations
from hpwhsim.scenario.key_list import Key, key_list
from hpwhsim.simulation.year import built, year_of, years_ready
from hpwhsim.tables.sources import sources as source_table
from hpwhsim.tables.usual_ranges import usual_ranges
from hpwhsim.verification import all_checks, shared_tables
from hpwhsim.verification.check import Check
from hpwhsim.verification.field_page import Table, tables
from hpwhsim.verification.field_plants import loaded_as
from hpwhsim.verification.moved_weather import moved_year, normals_of
from hpwhsim.verification.report import figure

WIDTH = 100  # columns of a help text
WEATHER = Path(__file__).parents[1] / "weather"
SHIPPED = (
    "greensboro-nc-723170-tmy3.csv.gz",
    "sand-point-ak-703165-tmy3.csv.gz",
    "golden-co-724666-tmy3.csv.gz",
)


def cell(text: str) -> str:
    """Text for a table of Markdown."""
    return re.sub(r"([|<>$*_\[\]`\\])", r"\\\1", " ".join(text.split()))


def table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> Iterator[str]:
    """The lines of a table."""
    names = list(heads)
    yield f"| {' | '.join(names)} |"
    yield "|---" * len(names) + "|"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""


def keys() -> Iterator[str]:
    """Every scenario key, by block."""

    def block(key: Key) -> str:
        return key.key.rpartition(".")[0]

    def default(key: Key) -> str:
        if key.required:
            return "must be written"
        return cell(f"{key.default} ({key.source})" if key.default and key.source else key.default)

    def kind(key: Key) -> str:
        return cell(f"{key.type}: {key.allowed}" if key.allowed else key.type)

    listed = {}
    for key in key_list():
        listed.setdefault(block(key), []).append(key)
    for name, members in listed.items():
        yield f"## {name or 'Top of the file'}\n"
        rows = ((f"`{key.key}`", kind(key), default(key), cell(key.meaning)) for key in members)
        yield from table(("key", "what may be written", "default", "meaning"), rows)


def results() -> Iterator[str]:
    """Every hourly variable and key of the annual record."""
    places = {
        "hourly": "Hourly only",
        "both": "Hourly, and in the annual record",
        "record": "The annual record only",
    }

    def row(one: Declared) -> tuple[str, ...]:
        said = f"{one.long_name}. Positive: {one.sign}" if one.sign else one.long_name
        return f"`{one.name}`", cell(one.unit), one.kind, cell(one.label), cell(said)

    ordered = sorted(declarations().values(), key=lambda one: list(places).index(one.where))
    for where, members in groupby(ordered, key=lambda one: one.where):
        yield f"## {places[where]}\n"
        yield from table(("name", "unit", "kind", "label", "meaning"), map(row, members))


def verbs() -> Iterator[str]:
    """The help of every verb."""
    os.environ["COLUMNS"] = str(WIDTH)
    command = parser()
    (choices,) = (action.choices for action in command._actions if isinstance(action.choices, dict))
    for verb in VERBS:
        yield from (f"## {verb.name}\n", "```text", choices[verb.name].format_help().rstrip(), "```", "")


def sources() -> Iterator[str]:
    """Every source of a packaged table or default."""
    rows = ((f"`{one.id}`", one.status, cell(one.citation)) for one in source_table().values())
    yield from table(("id", "status", "citation"), rows)


def ranges() -> Iterator[str]:
    """Every range that cautions are made of."""
    heads = ("quantity", "of", "usual", "refused above", "what it is of", "sources")
    rows = (
        (
            cell(one.quantity),
            cell(" ".join(one.of)),
            cell(f"{one.low:g} to {one.high:g}{one.unit_text}"),
            "" if one.refused_above is None else f"{one.refused_above:g}",
            cell(one.note),
            cell(one.sources_text),
        )
        for one in usual_ranges()
    )
    yield from table(heads, rows)


def kept_checks() -> list[Check]:
    """Every outside check: computed once for a text of the program and of its tables, and kept on disk."""
    digest = hashlib.sha256(disk_cache.sources_hash().encode())
    plants = Path(all_checks.__file__).parent / "plants"
    for path in sorted([*shared_tables.folder().glob("*.csv"), *plants.iterdir()]):
        digest.update(path.read_bytes())
    path = disk_cache.folder("verification") / f"{digest.hexdigest()[:32]}.json"
    if not path.is_file():
        checks = [check for name in all_checks.packages() for check in all_checks.of_package(name)]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps([list(check) for check in checks]), encoding="utf-8")
    return [Check(*fields) for fields in json.loads(path.read_text(encoding="utf-8"))]


def verification() -> Iterator[str]:
    """Every outside check, by package, with what it gave; the known misses with their reason."""

    def row(check: Check) -> tuple[str, ...]:
        room = f"{figure(check.low)} to {figure(check.high)}: {check.tolerance}"
        obtained = figure(check.obtained)
        if check.span is not None:
            obtained += f" ({figure(check.span[0])} to {figure(check.span[1])})"
        verdict = "hit" if check.verdict == "hit" else "**miss**"
        held = (check.says, f"{figure(check.expected)} {check.unit}", room, obtained)
        return f"`{check.name}`", *map(cell, held), verdict, cell(f"{check.kind}: {check.source}")

    checks = kept_checks()
    misses = [check for check in checks if check.verdict == "miss"]
    yield f"{len(checks)} checks, {len(checks) - len(misses)} hits, {len(misses)} misses.\n"
    for check in misses:
        reason = all_checks.known_misses().get(check.name, "not explained")
        yield f"* `{check.name}` misses: {cell(reason)}."
    heads = ("check", "what is held", "expected", "a hit within", "obtained", "verdict", "source")
    for package, members in groupby(checks, key=lambda check: check.package):
        yield f"\n## {package}\n"
        yield from table(heads, map(row, members))


field_tables: Callable[[], dict[str, Table]] = cache(tables)  # a minute of marches


def field(name: str) -> Iterator[str]:
    """A table of the field results."""
    heads, rows = field_tables()[name]
    yield from table(heads, (map(cell, row) for row in rows))


def field_weather() -> Iterator[str]:
    """Two measured plants in real years and in the packaged year moved to the normals of these."""

    def rows() -> Iterator[tuple[str, ...]]:
        for plant in ("tower-seattle", "students-davis"):
            scenario = loaded_as(plant, ())
            for name in SHIPPED:
                real = read_year(WEATHER / name)
                moved = moved_year(normals_of(real, name))
                pair = [
                    year_of(year).record
                    for year in years_ready([built(scenario, one) for one in (real, moved)])
                ]
                kwh, cop = (
                    [float(str(record[key])) for record in pair]
                    for key in ("electricity_kwh", "cop_heat_pump")
                )
                yield (
                    f"`{plant}`",
                    cell(str(real.attrs["station"])),
                    f"{kwh[0]:,.0f}",
                    f"{kwh[1]:,.0f} ({100.0 * (kwh[1] / kwh[0] - 1.0):+.1f} %)",
                    f"{cop[0]:.2f}",
                    f"{cop[1]:.2f}",
                )

    heads = ("plant", "file", "kWh, real", "kWh, moved", "COP of the heat pump, real", "moved")
    yield from table(heads, rows())


def faults() -> Iterator[str]:
    """What came of the seeded faults: by package, by kind, what was missed, and every one."""
    listed, kept = seeded_faults.faults(), seeded_faults.outcomes()
    pairs = [(fault, kept[fault.id]) for fault in listed if fault.id in kept]
    caught = [fault for fault, outcome in pairs if outcome.verdict == "caught"]
    yield f"{len(pairs)} faults tried, {len(caught)} caught, {len(pairs) - len(caught)} missed.\n"
    tests = (*seeded_faults.TEST_KINDS, "stop")

    def rows(name: str) -> Iterator[tuple[str, ...]]:
        for of in dict.fromkeys(getattr(fault, name) for fault, _ in pairs):
            its = [outcome for fault, outcome in pairs if getattr(fault, name) == of]
            by = Counter(outcome.kind for outcome in its)
            missed = sum(outcome.verdict == "missed" for outcome in its)
            yield of, str(len(its)), *(str(by[kind] or "") for kind in tests), str(missed or "")

    for name in ("package", "kind"):
        yield f"\n## By {name}\n"
        yield from table((name, "faults", *tests, "missed"), rows(name))
    yield "\n## Missed\n"
    missed = [fault for fault, outcome in pairs if outcome.verdict == "missed"]
    for fault in missed:
        yield f"* `{fault.id}`, {fault.kind}, {fault.file}: {cell(fault.wrong)}."
    if not missed:
        yield "None."
    yield "\n## All of them\n"
    heads = ("fault", "kind", "file", "right", "wrong", "seen first by")
    all_rows = (
        (
            f"`{fault.id}`",
            fault.kind,
            cell(fault.file),
            cell(fault.right),
            cell(fault.wrong),
            cell(outcome.test.removeprefix("tests/")) or "**missed**",
        )
        for fault, outcome in pairs
    )
    yield from table(heads, all_rows)


LISTS: dict[str, Callable[[], Iterator[str]]] = {
    "keys": keys,
    "results": results,
    "verbs": verbs,
    "sources": sources,
    "ranges": ranges,
    "verification": verification,
    "faults": faults,
    **{
        f"field{name}": partial(field, name)
        for name in ("results", "explained", "charge", "skipped", "inputs")
    },
    "fieldweather": field_weather,
}
