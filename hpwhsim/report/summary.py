"""The year on one screen."""

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

WIDTH = 100
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
AUXILIARIES = (("fan_kwh", "  fans"), ("pump_kwh", "  pumps"), ("standby_kwh", "  standing machines"))

Record = Mapping[str, Any]


def _line(label: str, value: str, note: str = "") -> str:
    return f"  {label:<34}{value:>16}   {note}".rstrip()


def _energy(record: Record, key: str, label: str, note: str = "") -> list[str]:
    return [_line(label, f"{record[key]:,.0f} kWh", note)] if key in record else []


def _causes(causes: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {hours:.1f} h" for name, hours in causes.items())


def year_text(record: Record) -> str:
    """Summary of an annual record."""
    lines = [f"{record['title']}", f"weather: {record['weather.station']}", ""]
    lines += ["Bought"]
    lines += _energy(record, "electricity_kwh", "electricity")
    if "compressor_kwh" in record:
        lines += _energy(record, "compressor_kwh", "  heat pump")
        for key, label in (
            ("fan_kwh", "  fans"),
            ("pump_kwh", "  pumps"),
            ("standby_kwh", "  standing machines"),
        ):
            if record[key] > 0.0:
                lines += _energy(record, key, label)
    lines += _energy(record, "resistance_kwh", "  resistance")
    if record["fuel_kwh"] > 0.0:
        lines += _energy(record, "fuel_kwh", "fuel")
    lines.append(
        _line("peak power (15-minute mean)", f"{record['peak_kw']:,.1f} kW", f"at {record['peak_time']}")
    )
    lines += ["", "Heat"]
    lines += _energy(
        record, "heat_to_taps_kwh", "to the taps", f"{record['hot_water_litres']:,.0f} L hot water"
    )
    lines += _energy(record, "recirculation_loss_kwh", "lost by the loop")
    lines += _energy(record, "storage_loss_kwh", "lost by the store")
    if "heat_pump_heat_kwh" in record:
        lines += _energy(
            record,
            "heat_pump_heat_kwh",
            "from the heat pump",
            f"{record['source_heat_kwh']:,.0f} kWh of it from the source",
        )
        if record["defrost_heat_kwh"] > 0.0:
            lines += _energy(record, "defrost_heat_kwh", "drawn back by defrosts")
    lines += _energy(record, "backup_heat_kwh", "from the backup")
    lines += ["", "Performance"]
    if "cop_heat_pump" in record:
        lines.append(_line("COP of the heat pump", f"{record['cop_heat_pump']:.2f}"))
    if "cop_plant" in record:
        lines.append(_line("COP of the plant", f"{record['cop_plant']:.2f}", "taps and loop over all bought"))
    if "run_hours" in record:
        lines.append(_line("heat pump runs", f"{record['run_hours']:,.0f} h"))
        lines.append(_line("called for heat, but barred", f"{record['lockout_hours']:,.1f} h"))
    backup = record["resistance_hours"] + record["fuel_hours"]
    lines.append(_line("backup runs", f"{backup:,.1f} h", _causes(record["backup_hours_by_cause"])))
    short = f"{record['short_litres']:,.0f} L"
    lines.append(
        _line(
            "hot water short",
            f"{record['short_hours']:,.1f} h",
            f"{short} {_causes(record['short_hours_by_cause'])}",
        )
    )
    lines.append(_line("balance error", f"{record['balance_error']:.1e}"))
    lines += ["", _months("month", MONTHS)]
    lines.append(_months("kWh electric", [f"{v:,.0f}" for v in record["monthly.electricity_kwh"]]))
    lines.append(_months("peak kW", [f"{v:,.1f}" for v in record["monthly.peak_kw"]]))
    lines += ["", f"Cautions ({len(record['assumptions'])} defaults in force are listed in annual.json)"]
    for caution in record["cautions"]:
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _months(label: str, values: tuple[str, ...] | list[str]) -> str:
    return f"  {label:<13}" + "".join(f"{v:>7}" for v in values)
