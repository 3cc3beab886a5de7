"""The first screen of a year: at most 25 lines of 80 columns, whatever the plant."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import shorten, wrap
from typing import Any

from hpwhsim.account.adequacy import cause_name, time_text
from hpwhsim.account.checks import FAIL, Check, counted
from hpwhsim.account.energy import CREDITS
from hpwhsim.evaluation.cautions import by_importance
from hpwhsim.evaluation.check_text import against, checks_in_units
from hpwhsim.results.heat_flows import ELECTRIC
from hpwhsim.results.numbers import decimals, shown
from hpwhsim.simulation.year import ONE_SEED

LINES, WIDTH = 25, 80
LABEL, VALUE = 21, 15  # columns of a label and of a figure with its unit
NOTE = WIDTH - LABEL - VALUE - 2
FAILED_LINES = 2
PICTURES = (".svg", ".png")  # files that are counted, not named
CAUTIONS, CAUTION_LINES = 4, 2  # at most shown, and of how many lines each
MOST_PERCENT = 1000.0  # of a baseline that takes next to nothing no percentage is shown
TOGETHER = "\N{NO-BREAK SPACE}"
MORE = "--months, --checks, --cautions or --all show the rest"

BILL = {
    "costs.electric_energy_usd": "electricity",
    "costs.demand_usd": "demand",
    "costs.fixed_usd": "fixed",
    "costs.fuel_usd": "fuel",
}
"""Parts of the energy bill; they add up to it."""

GASES = {
    "operational_kgco2e": "energy",
    "refrigerant_kgco2e": "refrigerant",
    "carbon.room_kgco2e": "room",
}
"""Parts of the greenhouse gases of a year; they add up to them."""

SAVINGS = {
    "electricity_kwh": ("electricity", "savings.electricity_kwh", "kWh"),
    "fuel_kwh": ("fuel", "savings.fuel_kwh", "kWh"),
    "source_mmbtu": ("source energy", "savings.source_mmbtu", "MMBtu"),
    "kgco2e": ("CO2e", "savings.kgco2e", "kg"),
    "cost": ("bill", "savings.cost_usd", "USD"),
}
"""Lines of the savings: what they are called, the key of what is saved, and its unit."""

Record = Mapping[str, Any]


def first_screen(record: Record, files: Sequence[Path] = (), *, us: bool = False) -> str:
    """The figures of a year that a reader needs first; every one is a value of the record.

    Parameters
    ----------
    record : mapping
        The annual record.
    files : sequence of Path
        Where the results went.
    us : bool
        Checks in US customary units; else in SI.
    """
    checks = checks_in_units(record, us)
    lines = [_fit(record["title"]), _fit(f"Weather: {record['weather.station']}")]
    lines += _failed([check for check in checks if check.state == FAIL])
    lines += ["", *_energy(record), *_service(record), *_carbon(record), *_costs(record), *_savings(record)]
    if checks:
        lines.append(f"Checks: {counted(check.state for check in checks)}")
    end = [MORE, *_files(files)]
    lines += _cautions(record["cautions"], LINES - len(lines) - len(end))
    return "\n".join([*lines, *end]) + "\n"


def _fit(text: str) -> str:
    return shorten(text, WIDTH, placeholder=" ...")


def _row(label: str, value: str, note: str = "") -> str:
    return f"{label:<{LABEL}}{value:>{VALUE}}  {shorten(note, NOTE, placeholder=' ...')}".rstrip()


def _figure(record: Record, key: str, label: str, note: str = "") -> list[str]:
    """A row of a value of the record; none where the record has no such key."""
    if record.get(key) is None:
        return []
    return [_row(label, shown(key, record[key], unit=True), note)]


def _parts(record: Record, parts: Mapping[str, str]) -> str:
    """The parts of a figure that are not zero; nothing where one part is all."""
    found = [f"{name} {shown(key, record[key])}" for key, name in parts.items() if record.get(key)]
    return ", ".join(found) if len(found) > 1 else ""


def _failed(failed: Sequence[Check]) -> list[str]:
    """The checks that failed: with value and limit where there are few, else their names."""
    if len(failed) <= FAILED_LINES:
        return [_fit(f"FAILED {check.name}: {against(check)}") for check in failed]
    names = "; ".join(check.name for check in failed)
    room = FAILED_LINES * (WIDTH - 8)
    more = "" if len(names) <= room else f" ({len(failed)} in all, --checks)"
    kept = shorten(names, room - len(more), placeholder=" ...") + more
    return wrap(f"FAILED {kept}", WIDTH, subsequent_indent="  ")[:FAILED_LINES]


def _energy(record: Record) -> list[str]:
    """What the plant purchases: electricity with all its end uses, which add up to it, and fuel."""
    lines = _figure(record, "electricity_kwh", "Purchased electricity")
    uses = [f"{name} {shown(key, record[key])}" for key, name in ELECTRIC if record.get(key, 0.0) > 0.0]
    lines += wrap(" + ".join(uses), WIDTH, initial_indent="  = ", subsequent_indent="    ")
    if record["fuel_kwh"] > 0.0:
        fuel = str(record.get("fuel", "")).replace("-", " ")
        lines += _figure(record, "fuel_kwh", "Purchased fuel", f"{fuel}, higher heating value".lstrip(", "))
    lines += _figure(
        record, "peak_kw", "Peak power", f"{record['peak_time']}, 15-minute mean{_draws(record)}"
    )
    alone = record.get("cop_heat_pump")
    note = (
        "useful heat over purchased energy"
        if alone is None
        else f"heat pump alone {shown('cop_heat_pump', alone)}"
    )
    lines += _figure(record, "cop_plant", "Plant efficiency" if alone is None else "COP of the plant", note)
    if "room_heating_penalty_kwh" in record:
        penalty = shown("room_heating_penalty_kwh", record["room_heating_penalty_kwh"])
        credit = decimals(sum(record[key] for key in CREDITS), 0)
        lines += _figure(record, "cop_net", "COP net of the room", f"penalty {penalty}, credits {credit} kWh")
    return lines


def _draws(record: Record) -> str:
    """What random draws stand behind a peak; empty where the draws are not random."""
    if "seeds" in record:
        spread = record["seeds"]["figures"]["peak_kw"]
        return f"; P90 {shown('peak_kw', spread['p90'])}"
    return "; one seed" if any(text.startswith(ONE_SEED) for text in record["cautions"]) else ""


def _service(record: Record) -> list[str]:
    """Hot water that was not met, and the backup, with what caused them."""
    litres = shown("short_litres", record["short_litres"], unit=True)
    unmet = _causes([litres], record["short_hours_by_cause"])
    lines = [_row("Unmet hot water", time_text(record["short_hours"]), unmet)]
    hours = time_text(record["resistance_hours"] + record["fuel_hours"])
    if "heat_pump_heat_kwh" not in record:
        return [*lines, _row("Heater", hours, "full-power equivalent")]
    return [*lines, _row("Backup", hours, _causes([], record["backup_hours_by_cause"]))]


def _causes(first: Sequence[str], causes: Mapping[str, float]) -> str:
    """Hours by cause, the largest first, as many as the note of a row has room for."""
    items = [*first, *(f"{cause_name(name)} {time_text(hours)}" for name, hours in causes.items())]
    for count in range(len(items), 0, -1):
        text = ", ".join([*items[:count], *(["..."] if count < len(items) else [])])
        if len(text) <= NOTE:
            return text
    return ""


def _carbon(record: Record) -> list[str]:
    return _figure(record, "total_kgco2e", "CO2e a year", _parts(record, GASES))


def _costs(record: Record) -> list[str]:
    lines = _figure(record, "energy_cost", "Energy bill a year", _parts(record, BILL))
    payback = record.get("costs.simple_payback_years")
    note = "" if payback is None else shown("costs.simple_payback_years", payback, unit=True)
    reason = record.get("costs.reasons", {}).get("simple_payback", "none")
    return lines + _figure(record, "costs.npv_usd", "Net present value", f"simple payback: {note or reason}")


def _savings(record: Record) -> list[str]:
    """What is saved against the baseline; negative where the plant takes more."""
    if "savings.lines" not in record:
        return []
    found = []
    for name, (label, key, unit) in SAVINGS.items():
        line = record["savings.lines"].get(name)
        if line is None or not (line["plant"] or line["baseline"]):
            continue
        share = line.get("percent", MOST_PERCENT)
        percent = f" ({decimals(share, 0)}{TOGETHER}%)" if abs(share) < MOST_PERCENT else ""
        found.append(f"{label} {shown(key, record[key])} {unit}{percent}")
    text = f"Saved against {record['baseline.family']}: {', '.join(found)}"
    lines = wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)
    return [line.replace(TOGETHER, " ") for line in lines]


def _cautions(texts: Sequence[str], room: int) -> list[str]:
    """How many cautions there are, and as many of the most important as have room."""
    lines = [f"Cautions: {len(texts)}, the most important first"]
    for text in by_importance(texts)[:CAUTIONS]:
        left = min(room - len(lines), CAUTION_LINES)
        if left < 1:
            break
        if left < CAUTION_LINES and len(lines) > 1 and len(text) > WIDTH - 4:
            break
        kept = shorten(text, WIDTH - 6 if left == 1 else left * (WIDTH - 4) - 12, placeholder=" ...")
        lines += wrap(kept, WIDTH, initial_indent="  - ", subsequent_indent="    ")[:left]
    return lines


def _files(files: Sequence[Path]) -> list[str]:
    """Where the files went: their folder and names, one line unless the folder's name is long."""
    if not files:
        return []
    pictures = [path for path in files if path.suffix in PICTURES]
    names = ", ".join(path.name for path in files if path not in pictures)
    more = f" and {len(pictures)} pictures" if pictures else ""
    text = f"Files: {files[0].parent}/ {names}{more}"
    return wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False)
