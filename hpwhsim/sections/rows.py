"""Rows of the tables of a document, as text."""

import os
import shlex
from collections.abc import Iterator, Mapping, Sequence
from math import isclose
from pathlib import Path
from typing import Any

import numpy as np

from hpwhsim.account.checks import FAIL, OK, STATES
from hpwhsim.account.energy import by_month
from hpwhsim.account.hygiene import threshold, worst_first
from hpwhsim.account.savings import line as saving
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.evaluation.saving_labels import saving_label
from hpwhsim.results.declared import declarations, declared, record_keys
from hpwhsim.results.heat_flows import ELECTRIC
from hpwhsim.results.inch_pound import MMBTU
from hpwhsim.results.numbers import amount, decimals
from hpwhsim.results.texts import Exact
from hpwhsim.scenario.files import WEATHER

SAVED = {
    "electricity_kwh": "electricity_kwh",
    "fuel_kwh": "fuel_kwh",
    "operational_kgco2e": "operational_kgco2e",
    "total_kgco2e": "kgco2e",
    "carbon.upstream_kgco2e": "upstream_kgco2e",
    "energy_cost": "cost",
}
"""Lines of the savings by key of the record; they include what the room of a heat pump purchases."""
PLAIN = ("peak_kw", "refrigerant_kgco2e")
"""Keys of which the savings have no line: the plants' own, one less the other."""
HEADLINE = {
    "electricity_kwh": "{}",
    "resistance_kwh": "of it {}",
    "fuel_kwh": "{} (higher heating value)",
    "peak_kw": "{}",
    "cop_plant": "{}",
    "cop_net": "{}",
    "cop_net_if_resistance": "{}",
    "cop_net_if_heat_pump": "{}",
    "cop_net_source": "{}",
    "room_heating_penalty_kwh": "{}",
    "room_cooling_credit_kwh": "{}",
    "dehumidifier_credit_kwh": "{}",
    "resistance_hours": "{}",
    "short_hours": "{}",
    "short_litres": "{}",
    "operational_kgco2e": "{}, a year",
    "refrigerant_kgco2e": "{}, a year",
    "total_kgco2e": "{}, a year",
    "carbon.upstream_kgco2e": "{}, a year",
    "energy_cost": "{}, a year",
}
"""Keys of the summary, and what stands around their labels."""
ENERGIES = {"site_mmbtu": "site energy", "source_mmbtu": "source energy"}
ROOMS = ", rooms included"
SAVING_HEADS = ("figure", "unit", "baseline", "plant", "saved", "of the baseline")
CHECK_HEADS = ("state", "check", "value", "limit", "ratio", "source")


def origins(result: Result) -> list[tuple[str, str]]:
    """Program, scenario and weather with their checksums."""
    record: Any = result.plant.record
    overrides = record["scenario.overrides"]
    return [
        ("tool", f"tankyear {record['tool.version']}"),
        ("scenario", f"{result.loaded.path.name}, SHA-256 {record['scenario.sha256']}"),
        *([("set on the command line", "; ".join(overrides))] if overrides else []),
        ("weather", f"{result.loaded.scenario.site.weather.name}, SHA-256 {record['weather.sha256']}"),
    ]


def exact(value: object, key: str) -> str:
    """A figure of a key as it is read, with its value in full; as text what is no number."""
    return Exact(amount(value), value, key) if isinstance(value, float | int) else amount(value)


def headline(result: Result) -> Iterator[list[str]]:
    """Rows of the summary: label, unit, each plant, saved."""
    record: Any = result.plant.record
    other: Any = result.baseline.record if result.baseline is not None else {}
    for key in HEADLINE:
        label, unit = declared(key).label, declared(key).screen_unit
        label = HEADLINE[key].format(label)
        if key not in record and key not in other:
            continue
        if key == "cop_plant":
            yield from _lines(result)
        cells = [label, unit, exact(record.get(key), key)]
        if result.baseline is not None:
            cells.append(exact(other.get(key), key))
            line = result.savings.get(SAVED.get(key, ""))
            if line is None and key in PLAIN:
                line = saving(other[key], record[key])
            same = line is None or (isclose(line.plant, record[key]) and isclose(line.baseline, other[key]))
            if line is not None and not same:
                yield [*cells, ""]
                cells = [f"{label}{ROOMS}", unit, exact(line.plant, key), exact(line.baseline, key)]
            cells.append(exact(line.saved, key) if line is not None else "")
        yield cells


def _lines(result: Result) -> Iterator[list[str]]:
    """Rows of savings that are no key of a record: energies in MMBtu, power in the hours that are named."""
    named = result.loaded.scenario.savings.peak_hours
    hours = {one.name: f"peak power in {one}".replace("_", " ") for one in named}
    for key, line in result.savings.items():
        if key in ENERGIES:
            label, unit, quantity = ENERGIES[key], "MMBtu", MMBTU
        elif key.endswith(".highest_kw"):
            label, unit, quantity = hours[key.removesuffix(".highest_kw")], "kW", ""
        else:
            continue
        label += ROOMS if any(side.room for side in result.sides.values()) else ""
        values = line.plant, line.baseline, line.saved
        yield [label, unit, *(exact(value, quantity) for value in values)]


def result_rows(result: Result) -> list[list[str]]:
    """Every number of the record: key, what it is, unit, value in full, and that of the baseline."""
    rows = []
    for row in record_keys():
        if row.name.startswith(("savings.", "baseline.")):
            continue
        value: Any = result.plant.record.get(row.name)
        theirs: Any = result.baseline.record.get(row.name) if result.baseline is not None else None
        none = row.name in result.plant.record and value is None
        numbers = isinstance(value, float | int) or isinstance(theirs, float | int)
        if none or numbers or row.name == "peak_time":
            cells = [row.name, row.long_name, row.unit, "none" if none else exact(value, row.name)]
            rows.append([*cells, exact(theirs, row.name)] if result.baseline is not None else cells)
    return rows


def saving_rows(result: Result) -> list[list[str]]:
    """Every line of the savings, as text below `SAVING_HEADS`."""
    rows = []
    for name, line in result.savings.items():
        key = f"savings.{'cost_usd' if name == 'cost' else name}"
        key = key if key in declarations() else ""
        rows.append([*saving_label(name), *(exact(x, key) for x in line[:3]), _of_baseline(line.percent)])
    return rows


def _of_baseline(percent: float | None) -> str:
    """A saving as share of the baseline, in times where a share no longer says anything."""
    if percent is None or abs(percent) < 1000.0:
        return amount(percent, "%")
    return amount(round(percent / 100.0), "times")


HYGIENE_HEADS = ("place", "water", "hours", "consecutive", "source")
HYGIENE = (
    "Legionella: hours of the year at temperatures of published guidance, ranges of growth first. Below "
    "counts what is colder by more than the tolerance of a sensor (0.6 K at 60 °C). Local codes, the water "
    "management programme and licensed practice decide."
)


def hygiene_rows(record: Mapping[str, Any]) -> list[list[str]]:
    """Thresholds on Legionella that the year touched, worst first, as text below `HYGIENE_HEADS`."""
    return [
        [
            row["place"],
            f"{threshold(row)} °C",
            f"{row['hours']:,.0f}",
            f"{row['longest_hours']:,.0f}",
            f"{row['source']} ({row['status']})",
        ]
        for row in worst_first(record["hygiene"])
    ]


def month_rows(side: Side) -> list[list[str]]:
    """Figures of a plant by month, as text: what, twelve months, the year."""
    record: Any = side.record
    used = {f"  {label}": key for key, label in ELECTRIC if side.year.hourly.get(key, np.zeros(1)).any()}
    series = {"electricity": "electricity_kwh", **used, "fuel": "fuel_kwh"}
    for key in ("heat_to_taps_kwh", "recirculation_loss_kwh", "storage_loss_kwh"):
        series[declared(key).label] = key
    rows = []
    for label, key in series.items():
        months = by_month(side.year.hourly[key])
        if key in ("fuel_kwh", "recirculation_loss_kwh") and not months.any():
            continue
        values = (*map(float, months), float(months.sum()))
        rows.append([f"{label} [kWh]", *(Exact(decimals(v, 0), v, key) for v in values)])
    for label, key, places in (
        ("peak [kW]", "peak_kw", 1),
        ("COP of the plant", "cop_plant", 2),
        ("energy cost [USD]", "energy_cost", 0),
    ):
        if f"monthly.{key}" in record:
            values = (*record[f"monthly.{key}"], record.get(key))
            rows.append([label, *(decimals(v, places) for v in values)])
    return rows


def check_rows(result: Result) -> list[Sequence[str]]:
    """The heat balance, and every check of site and refrigerant, as text below `CHECK_HEADS`."""
    rows: list[Sequence[str]] = []
    for name, side in result.sides.items():
        balance: Any = side.record["balance_error"]
        state = OK if abs(balance) <= 1e-6 else FAIL
        said = (f"heat balance of the year, {name}", f"{balance:.1e}", "at most 1e-6")
        rows.append((state, *said, f"{abs(balance) / 1e-6:.2f}", "first law"))
    rows += [
        (c.state, c.name, c.text, c.limit, "" if c.ratio is None else f"{c.ratio:.2f}", c.source)
        for c in result.checks
    ]
    return sorted(rows, key=lambda row: STATES.index(row[0]))


def command_of(result: Result, verb: str = "dossier") -> str:
    """The command that repeats the calculation, to be typed in the folder of the scenario."""
    loaded = result.loaded
    words = ["tankyear", verb, loaded.path.name]
    for override in loaded.overrides:
        if override.startswith(f"{WEATHER}="):  # --weather, from wherever the command was typed
            weather = os.path.relpath(loaded.scenario.site.weather, loaded.path.parent)
            words += ["--weather", Path(weather).as_posix()]
        else:
            words += ["--set", override]
    found: Any = result.plant.record.get("seeds")
    if found is not None:
        words += ["--seeds", str(found["count"])]
    return shlex.join(words)
