"""Several scenarios on one page of HTML: figures with differences, what drives them, one set of axes."""

from collections.abc import Iterator, Sequence
from typing import Any, Self, cast

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.comparison.drivers import sentences, signed
from hpwhsim.comparison.report import PARTS, Line, figure, lines_of, more
from hpwhsim.evaluation.result import Result
from hpwhsim.evaluation.site_checks import writes_us_units
from hpwhsim.page.both_units import with_both
from hpwhsim.page.frame import Against, Chart, Choice, Details, Hours, PagePart, html
from hpwhsim.page.hours import packed
from hpwhsim.page.year_data import NAMED, READ, meanings, run_words, stretches
from hpwhsim.results.declared import declarations, record_keys
from hpwhsim.results.inch_pound import ALL_KWH, ALL_MWH, QUANTITIES, TONNES
from hpwhsim.results.numbers import amount
from hpwhsim.results.texts import Exact
from hpwhsim.sections.parts import Document, Listing, Part, Section, Table, Text, Typed

SCRIPTS = ("tools.js", "drawing.js", "pictures.js", "series.js", "compare.js", "page.js")
HUES = ("blue", "red", "green", "orange", "pink", "sky", "dark", "grey")
"""Hues of the scenarios, in their order; of more than eight the ninth begins again, dashed."""
SERIES = ("electricity_kwh", "fuel_kwh", "heat_to_taps_kwh", "backup_heat_kwh", "store_top_c", "source_c")
"""Hourly series that are held beside each other."""
RANKED = (
    "with_room_kwh",
    "electricity_kwh",
    "peak_kw",
    "cop_plant",
    "short_hours",
    "total_kgco2e",
    "energy_cost",
)
"""What may be chosen to rank by, where all scenarios have it."""
ABOUT = (
    "One typical year of each scenario, simulated hour by hour. They are calculations with the assumptions "
    "of each scenario, not certified ratings and not guarantees; where the accounts of the scenarios are not "
    "alike, the cautions say so."
)


SIGNS = (
    "Every difference is a scenario less the base: a plus says that the scenario has more than the base, a "
    "minus that it has less. The first scenario is the base until another one is chosen."
)


def comparison_page(
    names: Sequence[str], results: Sequence[Result], cautions: Sequence[str], command: str
) -> bytes:
    """The bytes of ``compare.html``.

    Parameters
    ----------
    names : sequence of str
        What the scenarios are called.
    results : sequence of Result
        Their years.
    cautions : sequence of str
        In what their accounts are not alike.
    command : str
        What is typed to repeat it.
    """
    records: list[dict[str, Any]] = [dict(one.record) for one in results]
    lines = [
        line for line in lines_of(records) if any(_value(record, line.key) is not None for record in records)
    ]
    by_key = {line.key: line for line in lines}
    ranked = {
        key: f"{by_key[key].label.strip()}{f' [{by_key[key].unit}]' if by_key[key].unit else ''}"
        for key in RANKED
        if key in by_key and all(_value(record, key) is not None for record in records)
    }
    data = _data(names, results, lines)
    bases = {str(at): name for at, name in enumerate(names)}
    drives: list[PagePart] = [Choice("base", "Base of all differences", bases), Text(SIGNS)]
    drives += [_against(at, names, records) for at in range(len(names))]
    keys = [Line(row.label, row.screen_unit, row.name) for row in record_keys()]
    sections: dict[str, list[PagePart]] = {
        "What drives the difference": drives,
        "Key figures": [
            Table(*_table(names, records, lines), "The year in figures, and differences from the base"),
            Details(
                "All figures of the records", Table(*_table(names, records, keys, full=True), "All figures")
            ),
        ],
        "Rank": [
            Choice("rank-by", "Rank by", ranked),
            Chart(
                "rank",
                "Rank by the chosen figure",
                f"The best stands first. {READ}",
            ),
        ],
        "Cautions": [Listing(list(cautions) or ["The accounts are alike in weather, building and use."])],
        "Parts that add up": [
            Chart(f"panel-{at}", panel["title"], f"{_bars_words(panel)}{READ}")
            for at, panel in enumerate(data["panels"])
        ],
        "Months": [Chart("months", "Purchased energy by month, fuel by its higher heating value", READ)],
        "Load duration": [
            Chart(
                "duration",
                "Load duration of electricity",
                f"Hours of the year in which it is exceeded. {READ}",
            )
        ],
        "Hour by hour": [Hours()],
        "Day by hour": [
            Chart(
                f"map-{at}",
                f"{name}: electricity, days across and hours up",
                f"One scale of colours for all. {READ}",
            )
            for at, name in enumerate(names)
        ],
    }
    if data["carbon"]:
        sections["Greenhouse gases"] = [Chart("carbon", "Greenhouse gases over the years of service", READ)]
    said = [(name, str(record["title"])) for name, record in zip(names, records, strict=True)]
    said += [(f"{name}, run", run_words(record)) for name, record in zip(names, records, strict=True)]
    said.append(("command", Typed(command)))
    sections["How to repeat it"] = [Table(("what", "value"), said, "ll", "Scenarios and command")]
    content = [Section(title, cast("Sequence[Part]", parts)) for title, parts in sections.items() if parts]
    title = f"Side by side: {', '.join(names)}"
    return html(with_both(Document(title, [Text(ABOUT)], content)), {}, data, SCRIPTS)


def _against(base: int, names: Sequence[str], records: Sequence[dict[str, Any]]) -> Against:
    """What drives the difference of each scenario from one of them."""
    parts: list[Part] = []
    for at, (name, record) in enumerate(zip(names, records, strict=True)):
        if at != base:
            parts.append(Text(f"{name} against {names[base]}"))
            parts.append(Listing(sentences((names[base], name), records[base], record)))
    return Against(base, parts)


def _bars_words(panel: dict[str, Any]) -> str:
    """How a panel of bars is read."""
    rows = [values for values in panel["values"].values() if any(values)]
    said = "Parts follow each other in a bar. " if len(rows) > 1 else ""
    return (
        f"{said}What is less than 0 goes left. " if any((v or 0.0) < 0.0 for r in rows for v in r) else said
    )


def _value(record: dict[str, Any], key: str) -> float | None:
    value = (record | more(record)).get(key)
    return value if isinstance(value, float | int) else None


def _table(
    names: Sequence[str], records: Sequence[dict[str, Any]], lines: Sequence[Line], full: bool = False
) -> tuple[list[str], list[list[str]], str]:
    """Heads, rows and alignments: label, unit, each scenario, and its difference from the base."""
    heads = ["", "unit"]
    for name in names:
        heads += [name, "difference", "%"]
    rows = []
    for line in lines:
        values = [_value(record, line.key) for record in records]
        if all(value is None for value in values):
            continue
        key = line.key if line.key in declarations() or line.key in QUANTITIES else ""
        cells = [line.label.strip() if not full else f"{line.label} ({line.key})", line.unit]
        for at, value in enumerate(values):
            shown = "" if value is None else amount(value) if full else figure(line, value)
            if value is None:
                cells += ["", "", ""]
            else:
                cells += [_Value(shown, value, key, at), *_difference(values[0], value, key, at)]
        rows.append(cells)
    return heads, rows, "lu" + "rrr" * len(names)


def _difference(base: float | None, value: float, key: str, at: int) -> list[str]:
    """Difference and percentage as they stand while the first is the base."""
    if base is None or at == 0:
        return [_Apart("base" if at == 0 else "", 0.0, key, at), _Percent("", 0.0, "", at)]
    change = value - base
    percent = round(100.0 * change / base, 1) if base else 0.0
    said = signed(percent) if base else ""
    return [_Apart(signed(change), change, key, at), _Percent(said, percent, "", at)]


class _Value(Exact):
    """A figure of one of the scenarios."""

    role, at = "value", 0

    def __new__(cls, text: str, value: float, key: str = "", at: int = 0) -> Self:
        """A figure as it stands in the page's table; `at` is the number of its scenario."""
        made = super().__new__(cls, text, value, key)
        made.at = at
        return made


class _Apart(_Value):
    """Its difference from the base, which the script makes anew for another base."""

    role, difference = "apart", True


class _Percent(_Value):
    """The same in percent of the base."""

    role = "percent"


def _data(names: Sequence[str], results: Sequence[Result], lines: Sequence[Line]) -> dict[str, Any]:
    """All that the script reads."""
    records: list[dict[str, Any]] = [dict(one.record) | more(one.record) for one in results]
    declared_keys = [line.key for line in lines if line.key in declarations()]
    keys = meanings(dict.fromkeys([*declared_keys, *SERIES, *(row.name for row in record_keys())]))
    for line in lines:
        keys.setdefault(
            line.key, {"label": line.label.strip(), "unit": line.unit, "long": line.label.strip()}
        )
    if not any(record["fuel_kwh"] for record in records):  # electricity alone is kWh in both systems
        for name in (ALL_KWH, ALL_MWH):
            del keys[name]["us"]
    panels = []
    for title, (size, parts) in PARTS.items():
        name, _, unit = title.removesuffix("]").partition(" [")
        rows = [[name, label, NAMED[colour]] for label, name, colour in parts]
        values = {
            name: [None if (value := record.get(name)) is None else value / size for record in records]
            for name, _, _ in rows
        }
        if any(any(of) for of in values.values()):
            quantity = {"MWh": ALL_MWH, "t": TONNES}.get(unit, "")
            panels.append(
                {"title": name, "unit": unit, "quantity": quantity, "parts": rows, "values": values}
            )
    hours: dict[str, Any] = {}
    for at, result in enumerate(results):
        for name in SERIES:
            if name in result.plant.year.hourly:
                hours[f"{at}:{name}"] = result.plant.year.hourly[name]
                keys[f"{at}:{name}"] = keys[name] | {"label": f"{names[at]}: {keys[name]['label']}"}
    return {
        "kind": "comparison",
        "title": "; ".join(names),
        "run": run_words(records[0]),
        "us": writes_us_units(results[0].loaded.written),
        "months": MONTH_NAMES,
        "keys": keys,
        "plants": [
            {"name": name, "colour": HUES[at % len(HUES)], "dash": "5 3" if at >= len(HUES) else "none"}
            for at, name in enumerate(names)
        ],
        "fields": list(_fields(names, hours, keys)),
        "values": {
            line.key: [record.get(line.key) for record in records] for line in lines if line.key in RANKED
        },
        "better": [
            key for key in RANKED if key in declarations() and declarations()[key].more_is == "better"
        ],
        "panels": panels,
        "hours": packed(hours),
        "stretches": stretches(results[0].plant.year.hourly),
        "carbon": _carbon(names, records),
    }


def _fields(names: Sequence[str], hours: dict[str, Any], keys: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Fields of the hourly series: one for each name, a line for each scenario that has it."""
    for name in SERIES:
        parts = [
            [f"{at}:{name}", each, HUES[at % len(HUES)]]
            for at, each in enumerate(names)
            if np.nan_to_num(hours.get(f"{at}:{name}", np.zeros(1))).any()
        ]
        if parts:
            power = keys[name]["unit"] == "kWh"
            yield {
                "name": keys[name]["label"].capitalize(),
                "key": parts[0][0],
                "parts": parts,
                "power": power,
            }


def _carbon(names: Sequence[str], records: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Cumulative CO2e of each scenario that counts it, over the years that all of them have. [kg]"""
    key = "carbon.cumulative_kgco2e"
    years = min((len(record[key]) for record in records if key in record), default=0)
    return [
        {"label": name, "colour": HUES[at % len(HUES)], "values": [0.0, *record[key][:years]]}
        for at, (name, record) in enumerate(zip(names, records, strict=True))
        if key in record
    ]
