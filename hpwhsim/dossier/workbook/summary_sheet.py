"""The sheet of all figures: each of the annual record beside the formula that gives it."""

from collections.abc import Callable, Iterator, Mapping

from hpwhsim.account.energy import CREDITS, HEAT_PUMP
from hpwhsim.account.hygiene import WEEKS
from hpwhsim.dossier.workbook.factors import Factors
from hpwhsim.dossier.workbook.formula import Column, Formula, added, formula, letter, ratio, weighed
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns, difference, unit_of
from hpwhsim.evaluation.result import Side
from hpwhsim.results.declared import Declared, record_keys

SHEET = "Summary"
TOP = 5  # row of the first figure, counted from 0
PURCHASED = ("electricity_kwh", "fuel_kwh")
USEFUL = ("heat_to_taps_kwh", "recirculation_loss_kwh")
ROOMS_HEAT = ("room_extra_heat_kwh", "neighbours_extra_heat_kwh")
STORE = ("storage_loss_kwh", "store_change_kwh")

RATIOS: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "cop_heat_pump": (("heat_pump_heat_kwh",), (), HEAT_PUMP, ()),
    "cop_plant": (USEFUL, (), PURCHASED, ()),
    "cop_net": (USEFUL, (), (*PURCHASED, "room_heating_penalty_kwh"), CREDITS),
    "cop_net_if_resistance": (USEFUL, (), (*PURCHASED, *ROOMS_HEAT), CREDITS),
    "recirculation_share": (("recirculation_loss_kwh",), (), USEFUL, ()),
    "balance_error": (
        ("heat_pump_heat_kwh", "backup_heat_kwh", "loop_heater_heat_kwh"),
        (*USEFUL, *STORE),
        ("heat_pump_heat_kwh", "backup_heat_kwh", "loop_heater_heat_kwh"),
        (),
    ),
}
"""Keys that are sums over sums: what is over and what is taken from it, then the same of what is under."""


def _standing(air: Column, running: Column) -> Formula:
    """Hours below 0 degC in which the heat pump is idle."""
    value = float(((air.values < 0.0) * (1.0 - running.values)).sum())
    return Formula(f"SUMPRODUCT(({air.range}<0)*(1-{running.range}))", value)


FROM_HOURS: dict[str, tuple[tuple[str, ...], Callable[..., Formula]]] = {
    "peak_kw": (("power_peak_kw",), Column.highest),
    "source_min_c": (("source_c",), Column.lowest),
    "source_mean_c": (("source_c",), Column.mean),
    "room_min_c": (("room_c",), Column.lowest),
    "loop_min_c": (("loop_coldest_c",), Column.lowest),
    "loop_max_c": (("loop_warmest_c",), Column.highest),
    "store_min_top_c": (("store_top_c",), Column.lowest),
    "bore_wall_end_c": (("bore_wall_c",), lambda wall: wall.cell(-1)),
    "freeze_exposed_hours": (("dry_bulb_c",), lambda air: air.count_if("<", 0.0)),
    "freeze_standing_hours": (("dry_bulb_c", "run_hours"), _standing),
    "sewage_mean_c": (("sewage_c", "sewage_m3"), lambda warm, flow: ratio(weighed(warm, flow), flow.total())),
}
"""Keys that are another function of hourly columns than their sum."""

INSIDE = "from steps shorter than the hour, which no sheet holds"
LINES = "from the rating and the lines, before the hours"
OUTAGE = "from an outage tried in every hour of the year"
OTHER_SEWAGE = "from a year of its own with sewage of another temperature"
HEATERS = "heat of room and neighbours by another heater, whose COP is in the name of the key"
UNEXPLAINED = "no formula of this workbook gives it"
NOT_LIVE = {
    "line_charge_kg": LINES,
    "line_capacity_factor": LINES,
    "line_power_factor": LINES,
    "outage_ice_starts": OUTAGE,
    "outage_blocked_starts": OUTAGE,
    "outage_ice_share": OUTAGE,
    "store_change_kwh": "from the layers of the store at the first and the last step",
    "cop_net_source": "site-to-source factors on the purchases of this sheet",
    "cop_net_if_heat_pump": HEATERS,
    "room_penalty_if_resistance_kwh": HEATERS,
    "room_penalty_if_heat_pump_kwh": HEATERS,
    "room_heat_residual_w": INSIDE,
    "room_water_residual_kg_per_s": INSIDE,
    "module_run_hours": "of single modules; the hours hold their sum, module_hours",
    "module_starts": INSIDE,
    "sewage_min_electricity_kwh": OTHER_SEWAGE,
    "sewage_min_cop_plant": OTHER_SEWAGE,
    "sewage_max_electricity_kwh": OTHER_SEWAGE,
    "sewage_max_cop_plant": OTHER_SEWAGE,
    "valve_uncontrolled_hours": INSIDE,
    "valve_over_hours": INSIDE,
    "valve_starved_hours": INSIDE,
    "carbon.service_years": "given; it sets the rows of the sheet Carbon",
    "costs.carbon_usd_per_tonne": "no greenhouse gases are counted",
}
"""Why a key of the record is no formula."""


def summary_sheet(
    book: Book,
    sides: Mapping[str, Side],
    columns: Mapping[str, Columns],
    live: dict[str, Cells],
    factors: Factors,
) -> tuple[dict[str, Cells], Cells]:
    """Fill the sheet; returns cells by element, and the largest difference, of each by plant | baseline."""
    book.text(SHEET, 0, 0, "Every figure of the year, live and as the program wrote it", "title")
    book.text(
        SHEET,
        2,
        0,
        "Live figures are formulas on the hourly sheets and on cells of factors. Which of these may be "
        "changed, the column 'may be changed' says: they have a border, dotted where a number may replace a "
        "formula. 'engine' is what the program wrote into the record.",
    )
    heads = ["figure", "key", "what it is", "unit"]
    for name in sides:
        heads += [f"{name}, live", f"{name}, engine", "difference"]
    book.heads(SHEET, TOP - 1, [*heads, "why a figure is not live"], heads[FIGURES:])
    book.widths(SHEET, 34, 36, 46, 12, *([14, 14, 10] * len(sides)), 36, freeze=TOP, across=1)
    rows = list(_rows(sides))
    shown: dict[str, Cells] = {name: {} for name in sides}
    apart: dict[str, list[float]] = {name: [0.0] for name in sides}
    for at, (key, element, row) in enumerate(rows, start=TOP):
        book.texts(SHEET, at, [label_of(element, row), element, row.long_name, unit_of(row)], "wrap")
        for i, (name, side) in enumerate(sides.items()):
            figures = _elements(key, side.record.get(key)) if key in side.record else {}
            if element not in figures:
                continue
            place, value = FIGURES + 3 * i, figures[element]
            style = book.declared(row, value)
            content = live[name].get(element)
            if content is None:
                content = _figure(element, row, columns[name], shown[name], factors)
            if value is None:
                book.text(SHEET, at, place + 1, "none")
            else:
                shown[name][element] = engine = book.number(SHEET, at, place + 1, value, style)
            if content is None:
                book.text(SHEET, at, place, "as in the engine")
                reason = NOT_LIVE.get(key, UNEXPLAINED)
                book.text(SHEET, at, FIGURES + 3 * len(sides), reason, "wrap")
                continue
            shown[name][element] = book.live(SHEET, at, place, content, style)
            if value is not None:
                found = difference(book, (SHEET, at, place + 2), shown[name][element], engine)
                apart[name].append(found.value)
    largest = {}
    for i, name in enumerate(sides):
        column, last = letter(FIGURES + 3 * i + 2), TOP + len(rows)
        text = f"MAX('{SHEET}'!${column}${TOP + 1}:${column}${last})"
        largest[name] = Formula(text, max(apart[name]))
    return shown, largest


FIGURES = 4  # column of the first figure, counted from 0


def label_of(element: str, row: Declared) -> str:
    """What a figure is called: that of its key, and what stands in brackets behind it."""
    name = element.removeprefix(row.name).strip("[]")
    return f"{row.label}: {name}" if name else row.label


def _rows(sides: Mapping[str, Side]) -> Iterator[tuple[str, str, Declared]]:
    """Key, element and declaration of every figure that one of the plants has."""
    for row in record_keys():
        key = row.name
        if key.startswith(("savings.", "baseline.")):
            continue
        elements: dict[str, None] = {}
        for side in sides.values():
            if key in side.record:
                elements |= dict.fromkeys(_elements(key, side.record[key]))
        for element in elements:
            yield key, element, row


def _elements(key: str, value: object) -> dict[str, float | None]:
    """Figures of a value of the record: itself, or those of a mapping or of the modules; none of a text."""
    if key.startswith(("monthly.", "yearly.")):
        return {}
    if value is None or isinstance(value, float | int):
        return {key: value}
    if isinstance(value, Mapping) and all(isinstance(item, float | int) for item in value.values()):
        return {f"{key}[{name}]": float(item) for name, item in value.items()}
    if key in ("module_run_hours", "module_starts") and isinstance(value, list):
        return {f"{key}[{n}]": float(item) for n, item in enumerate(value)}
    return {}


def _figure(element: str, row: Declared, columns: Columns, shown: Cells, factors: Factors) -> Formula | None:
    """The formula of a figure; None where the hours do not give it."""
    if element in columns and row.kind == "sum":
        return columns[element].total()
    if element in FROM_HOURS:
        names, of = FROM_HOURS[element]
        return of(*(columns[name] for name in names)) if all(name in columns for name in names) else None
    if element in RATIOS:
        over, less_over, under, less_under = (
            [shown[k] for k in keys if k in shown] for keys in RATIOS[element]
        )
        return ratio(_less(over, less_over), _less(under, less_under)) if over and under else None
    key, _, name = element.rstrip("]").partition("[")
    if key in ("backup_hours_by_cause", "short_hours_by_cause"):
        return columns[f"{key.removesuffix('_by_cause')}.{name}"].total()
    if key == "pasteurised_weeks":
        return _weeks(columns["store_bottom_c"], float(name.removesuffix(" degC")))
    if (
        key == "sewage_heat_above_floor_kwh"
        and factors.water is not None
        and factors.sewage_floor is not None
    ):
        flow = columns["sewage_m3"]
        heat = weighed(columns["sewage_c"], flow) - factors.sewage_floor * flow.total()
        return heat * factors.water
    return None


def _less(parts: list[Formula], taken: list[Formula]) -> Formula:
    whole = added(parts)
    for part in taken:
        whole = whole - part
    return whole


def _weeks(bottom: Column, at: float) -> Formula:
    """Share of the weeks in which the coldest layer became that hot; 31 December counts with the last."""
    starts = [168 * week for week in range(WEEKS)]
    weeks = [slice(a, b) for a, b in zip(starts, [*starts[1:], bottom.values.size], strict=True)]
    hit = added(
        Formula(f"(MAX({bottom.rows(week)})>={formula(at).text})", float(bottom.values[week].max() >= at))
        for week in weeks
    )
    return hit / WEEKS
