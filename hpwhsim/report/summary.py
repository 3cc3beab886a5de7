"""The year on one screen."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import FAIL, Check, counted, digits

WIDTH = 100
BESIDE_COMPRESSOR = (
    ("fan_kwh", "  fans"),
    ("pump_kwh", "  pumps"),
    ("standby_kwh", "  standing machines"),
    ("trace_heating_kwh", "  heat trace"),
    ("recirculation_pump_kwh", "  loop pump"),
    ("loop_heater_kwh", "  heater of the loop's tank"),
)

REASONS = {
    "costs.simple_payback_years": "simple_payback",
    "costs.discounted_payback_years": "discounted_payback",
    "costs.carbon_usd_per_tonne": "carbon_cost",
    "costs.heat_usd_per_mwh": "heat_cost",
}
"""Where the record says why a cost figure has no value."""

Record = Mapping[str, Any]


def _line(label: str, value: str, note: str = "") -> str:
    return f"  {label:<34}{value:>16}   {note}".rstrip()


def _energy(record: Record, key: str, label: str, note: str = "") -> list[str]:
    return [_line(label, f"{record[key]:,.0f} kWh", note)] if key in record else []


def _causes(causes: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {hours:.1f} h" for name, hours in causes.items())


def year_text(record: Record, *, us: bool = False) -> str:
    """Summary of an annual record, its checks in US customary units (`us`) or in SI."""
    checks = _in_units(record, us)
    lines = [f"{record['title']}", f"weather: {record['weather.station']}", *_failed(checks), ""]
    lines += ["Bought"]
    lines += _energy(record, "electricity_kwh", "electricity")
    if "compressor_kwh" in record:
        lines += _energy(record, "compressor_kwh", "  heat pump")
    for key, label in BESIDE_COMPRESSOR:
        if record.get(key, 0.0) > 0.0:
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
    lines += _room(record)
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
    lines += [*_carbon(record), *_costs(record), *_savings(record), *_checks(checks)]
    lines += ["", _months("month", MONTH_NAMES)]
    lines.append(_months("kWh electric", [f"{v:,.0f}" for v in record["monthly.electricity_kwh"]]))
    lines.append(_months("peak kW", [f"{v:,.1f}" for v in record["monthly.peak_kw"]]))
    lines += ["", f"Cautions ({len(record['assumptions'])} defaults in force are listed in annual.json)"]
    for caution in record["cautions"]:
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _room(record: Record) -> list[str]:
    """What the room of a machine buys more and less, and what that is with other heaters."""
    if "room_heating_penalty_kwh" not in record:
        return []
    lines = []
    if "cop_net" in record:
        others = [
            f"{record[key]:.2f} {name}"
            for key, name in (
                ("cop_net_if_resistance", "if resistance heated it"),
                ("cop_net_if_heat_pump", "a heat pump"),
                ("cop_net_source", "in source energy"),
            )
            if key in record
        ]
        lines.append(_line("  with its room booked to it", f"{record['cop_net']:.2f}", ", ".join(others)))
    lines += _energy(
        record,
        "room_heating_penalty_kwh",
        "  room and neighbours heated more",
        f"{record['room_penalty_if_resistance_kwh']:,.0f} by resistance, "
        f"{record['room_penalty_if_heat_pump_kwh']:,.0f} by a heat pump",
    )
    saved = record["room_saved_cooling_kwh"] + record["neighbours_saved_cooling_kwh"]
    lines += _energy(record, "room_cooling_credit_kwh", "  and cooled less", f"{saved:,.0f} kWh of heat")
    return lines


def _carbon(record: Record) -> list[str]:
    if "total_kgco2e" not in record:
        return []
    years, kind = record["carbon.service_years"], record["carbon.grid_kind"]
    factor = f"{record['carbon.grid']}, {kind}, {record['carbon.grid_kgco2e_per_kwh']:.3f} kg/kWh"

    def row(label: str, key: str, note: str = "") -> list[str]:
        return [_line(label, f"{record[key]:,.0f} kg", note)] if key in record else []

    lines = ["", f"Greenhouse gases, CO2e a year over {years} years ({record['carbon.gwp']})"]
    lines += row("energy", "operational_kgco2e", factor)
    if "carbon.refrigerant_charge_kg" in record:
        charge, gwp = record["carbon.refrigerant_charge_kg"], record["carbon.refrigerant_gwp"]
        lines += row("refrigerant", "refrigerant_kgco2e", f"{charge:.3g} kg of GWP {gwp:,.4g}")
    lines += row("heating and cooling of the room", "carbon.room_kgco2e")
    lines += row("all", "total_kgco2e")
    lines += row("energy by the marginal factor", "carbon.marginal_kgco2e")
    lines += row("upstream methane, apart", "carbon.upstream_kgco2e")
    return lines


def _costs(record: Record) -> list[str]:
    if "energy_cost" not in record:
        return []

    def row(label: str, key: str, unit: str, form: str = ",.0f") -> list[str]:
        if record.get(key) is not None:
            return [_line(label, f"{record[key]:{form}} {unit}")]
        reasons = record.get("costs.reasons", {})
        why = reasons.get(
            {"costs.carbon_usd_per_tonne": "carbon_cost"}.get(key, key[6:].removesuffix("_years"))
        )
        return [_line(label, "none", why)] if why else []

    lines = ["", "Cost", *row("energy bill of a year", "energy_cost", "USD")]
    lines += row("  of it demand charges", "costs.demand_usd", "USD")
    lines += row("heating and cooling of the room", "costs.room_usd", "USD")
    lines += row("extra capital after incentives", "costs.extra_capital_usd", "USD")
    lines += row("simple payback", "costs.simple_payback_years", "years", ".1f")
    lines += row("discounted payback", "costs.discounted_payback_years", "years", ".1f")
    lines += row("net present value", "costs.npv_usd", "USD")
    lines += row("cost of CO2e avoided", "costs.carbon_usd_per_tonne", "USD/t")
    lines += row("levelised cost of useful heat", "costs.heat_usd_per_mwh", "USD/MWh")
    return lines


def _savings(record: Record) -> list[str]:
    if "savings.lines" not in record:
        return []
    lines = ["", f"Saved against the baseline ({record['baseline.family']}); negative: the plant takes more"]
    lines.append(f"  {'':<34}{'baseline':>12}{'plant':>12}{'saved':>12}")
    for name, line in record["savings.lines"].items():
        percent = f"{line['percent']:8.0f} %" if "percent" in line else ""
        values = "".join(f"{_figure(line[key]):>12}" for key in ("baseline", "plant", "saved"))
        lines.append(f"  {name:<34}{values}{percent}")
    return lines


def _figure(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"


def _in_units(record: Record, us: bool) -> list[Check]:
    """The checks of a record in US customary units or in SI."""
    return [
        Check(
            row["name"],
            row["value"],
            row["unit"],
            row["limit"],
            row["source"],
            row["state"],
            row["limit_value"],
            row["limit_kind"],
        ).in_units(us)
        for row in record.get("checks", ())
    ]


def _failed(checks: Sequence[Check]) -> list[str]:
    """The checks that failed, for the head of the screen."""
    return [f"FAILED CHECK  {check.name}: {_against(check)}" for check in checks if check.state == FAIL]


def _against(check: Check) -> str:
    """Value, limit and how far from it."""
    said = "not given" if check.value is None else f"{digits(check.value)} {check.unit}".strip()
    if check.limit_value is not None:
        said += f", {check.limit_kind} {digits(check.limit_value)} {check.unit}".rstrip()
    return said if check.ratio is None else f"{said} (ratio {check.ratio:.2f})"


def _checks(checks: Sequence[Check]) -> list[str]:
    if not checks:
        return []
    lines = ["", f"Checks: {counted(check.state for check in checks)} (notes and sources in annual.json)"]
    return lines + [f"  {check.state:<12}{check.name}: {_against(check)}" for check in checks]


def _months(label: str, values: tuple[str, ...] | list[str]) -> str:
    return f"  {label:<13}" + "".join(f"{v:>7}" for v in values)
