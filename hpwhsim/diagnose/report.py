"""Spells of backup and of short hot water on one screen."""

from collections.abc import Mapping, Sequence
from typing import Any

from hpwhsim.account.adequacy import time_text

Record = Mapping[str, Any]
WHAT = {"backup": ("Backup", "kwh", "kWh"), "short": ("Hot water short", "litres", "L")}
MEANING = {
    "no-heat-pump": "the plant has none",
    "lock-out": "barred by the hour",
    "source-too-cold": "the source was below the lowest that is allowed, or too cold for the outlet",
    "water-too-warm": "the water at the machine was too warm for it",
    "capacity": "every module was running",
    "starting": "called, and waiting for minimum off time or the next stage",
    "not-called": "the charge sensors were satisfied",
    "source-spent": "the source had no more heat to give",
}
EMPTY = "the hot part of the store was used up; the cause says what kept the heat pump from refilling it"


def why_text(record: Record, everything: bool = False) -> str:
    """What `tankyear why` prints: totals by cause, and the worst spells or all."""
    lines = [str(record["title"]), f"weather: {record['weather.station']}"]
    for name, (what, key, unit) in WHAT.items():
        found = record[name]
        spells: Sequence[Record] = found["spells"] if everything else found["worst"]
        lines += ["", f"{what}: {time_text(found['hours'])}, {found[key]:,.0f} {unit}"]
        parts = found[f"{key}_by_cause"]
        for cause, hours in found["hours_by_cause"].items():
            row = f"  {time_text(hours):>11}{parts[cause]:>10,.0f} {unit:<3}  {cause:<16}"
            lines.append(f"{row} {MEANING.get(cause, '')}".rstrip())
        if name == "short" and spells:
            lines.append(f"  {EMPTY}")
        if not spells:
            continue
        count = len(found["spells"])
        title = "" if len(spells) == count else f", the {len(spells)} worst"
        lines += [
            f"  {count} spell{'s' if count > 1 else ''}{title}",
            f"  {'start':<12}{'length':>7}{unit:>11}  {'cause':<16}  "
            "the hour before: source, store top / mean / bottom, module hours, barred",
        ]
        lines += [_row(spell, key) for spell in spells]
    if "loop_heater_kwh" in record:
        kwh = record["loop_heater_kwh"]
        lines += ["", f"Heater of the loop tank: {kwh:,.0f} kWh; it holds that tank and is in no event above"]
    return "\n".join(lines) + "\n"


def _row(spell: Record, key: str) -> str:
    before = spell["before"]
    row = f"  {spell['start']:<12}{spell['length_h']:>5} h{spell[key]:>11,.1f}  {spell['cause']:<16}  "
    if before is None:
        return f"{row}it begins with the year"

    def number(name: str) -> str:
        value = before.get(name)
        return "-" if value is None else f"{value:.1f}"

    store = " / ".join(number(f"store_{part}_c") for part in ("top", "mean", "bottom"))
    return (
        f"{row}{number('source_c')} degC, {store} degC, {number('module_hours')}, {number('lockout_hours')} h"
    )
