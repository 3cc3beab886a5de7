"""Events of backup and of unmet hot water on one screen."""

from collections.abc import Mapping, Sequence
from typing import Any

from hpwhsim.account.adequacy import cause_name, time_text

Record = Mapping[str, Any]
WHAT = {"backup": ("Backup", "kwh", "kWh"), "short": ("Unmet hot water", "litres", "L")}
MEANING = {
    "no-heat-pump": "the plant has none",
    "lock-out": "locked out by the schedule",
    "source-too-cold": "source below its minimum, or too cold for the outlet temperature",
    "water-too-warm": "entering water too warm for the heat pump",
    "capacity": "every module was running",
    "starting": "called, and waiting for minimum off time or the next stage",
    "not-called": "the charge sensors were satisfied",
    "source-spent": "source exhausted",
}
EMPTY = "the hot part of the store was used up; the cause is why the heat pump had not refilled it"


def why_text(record: Record, everything: bool = False) -> str:
    """What `tankyear why` prints: totals by cause, and the worst events or all."""
    lines = [str(record["title"]), f"weather: {record['weather.station']}"]
    for name, (what, key, unit) in WHAT.items():
        found = record[name]
        events: Sequence[Record] = found["events"] if everything else found["worst"]
        lines += ["", f"{what}: {time_text(found['hours'])}, {found[key]:,.0f} {unit}"]
        parts = found[f"{key}_by_cause"]
        for cause, hours in found["hours_by_cause"].items():
            row = f"  {time_text(hours):>11}{parts[cause]:>10,.0f} {unit:<3}  {cause_name(cause):<16}"
            lines.append(f"{row} {MEANING.get(cause, '')}".rstrip())
        if name == "short" and events:
            lines.append(f"  {EMPTY}")
        if not events:
            continue
        count = len(found["events"])
        title = "" if len(events) == count else f", the {len(events)} worst"
        lines += [
            f"  {count} event{'s' if count > 1 else ''}{title}",
            f"  {'start':<12}{'length':>7}{unit:>11}  {'cause':<16}  "
            "hour before: source, store top/mean/bottom, module hours, lockout",
        ]
        lines += [_row(event, key) for event in events]
    if "loop_heater_kwh" in record:
        kwh = record["loop_heater_kwh"]
        lines += ["", f"Loop tank heater: {kwh:,.0f} kWh; it holds that tank and is in no event above"]
    return "\n".join(lines) + "\n"


def _row(event: Record, key: str) -> str:
    before = event["before"]
    cause = cause_name(event["cause"])
    row = f"  {event['start']:<12}{event['length_h']:>5} h{event[key]:>11,.1f}  {cause:<16}  "
    if before is None:
        return f"{row}starts with the year"

    def number(name: str) -> str:
        value = before.get(name)
        return "-" if value is None else f"{value:.1f}"

    store = " / ".join(number(f"store_{part}_c") for part in ("top", "mean", "bottom"))
    return (
        f"{row}{number('source_c')} degC, {store} degC, {number('module_hours')}, {number('lockout_hours')} h"
    )
