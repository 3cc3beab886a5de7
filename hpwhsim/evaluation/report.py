"""The year on one screen."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from hpwhsim.account.adequacy import time_text
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import FAIL, Check, counted, digits
from hpwhsim.account.energy import CREDITS
from hpwhsim.account.hygiene import threshold, worst_first
from hpwhsim.evaluation.draw_rows import DRAW_HEADS, draw_rows, draw_title
from hpwhsim.results.heat_flows import ELECTRIC, RESISTANCE
from hpwhsim.simulation.year import ONE_SEED

WIDTH = 100
MOST_PERCENT = 1000.0  # of a baseline that takes next to nothing no share is told
ALWAYS = ("compressor_kwh", "resistance_kwh")
"""End uses that are listed even where they are nothing."""

BILL = (
    ("electricity", "costs.electric_energy_usd"),
    ("demand charges", "costs.demand_usd"),
    ("fixed charges", "costs.fixed_usd"),
    ("fuel", "costs.fuel_usd"),
)
"""Parts of the energy bill; they add up to it."""

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


def _parts(record: Record) -> str:
    """What the resistance heat is made of, where the loop's own tank has an element."""
    backup = record["backup_resistance_kwh"]
    if record["resistance_kwh"] == backup:
        return ""
    return ", ".join(f"{label} {record[key]:,.0f}" for key, label in RESISTANCE)


def _chance(record: Record) -> str:
    """What years of random draws stand behind a peak; empty where the draws are not random."""
    if "seeds" in record:
        found = record["seeds"]["figures"]["peak_kw"]
        return f"; P10 {found['p10']:,.1f}, P90 {found['p90']:,.1f} kW"
    one = any(text.startswith(ONE_SEED) for text in record["cautions"])
    return "; one seed stands behind it" if one else ""


def _causes(causes: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {time_text(hours)}" for name, hours in causes.items())


def year_text(record: Record, everything: bool = False, *, us: bool = False) -> str:
    """Summary of an annual record.

    Parameters
    ----------
    record : mapping
        The record.
    everything : bool
        List all rows on Legionella, not only the worst.
    us : bool
        Checks in US customary units; else in SI.
    """
    checks = _in_units(record, us)
    lines = [f"{record['title']}", f"weather: {record['weather.station']}", *_failed(checks), ""]
    lines += ["Purchased energy"]
    lines += _energy(record, "electricity_kwh", "electricity")
    for key, label in ELECTRIC:
        if key in ALWAYS or record.get(key, 0.0) > 0.0:
            lines += _energy(record, key, f"  {label}", _parts(record) if key == "resistance_kwh" else "")
    if record["fuel_kwh"] > 0.0:
        lines += _energy(record, "fuel_kwh", "fuel")
    peak = f"{record['peak_kw']:,.1f} kW"
    lines.append(_line("peak power (15-minute mean)", peak, f"at {record['peak_time']}{_chance(record)}"))
    lines += ["", "Heat"]
    lines += _energy(
        record, "heat_to_taps_kwh", "to the taps", f"{record['hot_water_litres']:,.0f} L hot water"
    )
    lines += _energy(record, "recirculation_loss_kwh", "lost by the loop")
    lines += _energy(record, "storage_loss_kwh", "lost by the store")
    lines += _energy(record, "store_change_kwh", "gained by the store")
    if "heat_pump_heat_kwh" in record:
        lines += _energy(
            record,
            "heat_pump_heat_kwh",
            "from the heat pump",
            f"{record['source_heat_kwh']:,.0f} kWh of it from the source",
        )
        if record["defrost_heat_kwh"] > 0.0:
            lines += _energy(record, "defrost_heat_kwh", "  defrost heat drawn from storage")
    lines += _energy(record, "backup_heat_kwh", "from the backup")
    lines += _energy(record, "loop_heater_heat_kwh", "from the loop tank's heater")
    lines += ["", "Performance"]
    if "cop_heat_pump" in record:
        lines.append(_line("COP of the heat pump", f"{record['cop_heat_pump']:.2f}"))
    if "cop_plant" in record:
        lines.append(
            _line("COP of the plant", f"{record['cop_plant']:.2f}", "taps and loop over purchased energy")
        )
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
            time_text(record["short_hours"]),
            f"{short} {_causes(record['short_hours_by_cause'])}",
        )
    )
    lines.append(_line("balance error", f"{record['balance_error']:.1e}"))
    lines += [*_carbon(record), *_costs(record), *_savings(record), *_checks(checks)]
    lines += ["", _months("month", MONTH_NAMES)]
    lines.append(_months("kWh electric", [f"{v:,.0f}" for v in record["monthly.electricity_kwh"]]))
    lines.append(_months("peak kW", [f"{v:,.1f}" for v in record["monthly.peak_kw"]]))
    lines += _draws(record)
    lines += _hygiene(record, everything)
    lines += ["", f"Cautions ({len(record['assumptions'])} defaults in force are listed in annual.json)"]
    for caution in record["cautions"]:
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _room(record: Record) -> list[str]:
    """What the room of a heat pump purchases more and less, and what that is with other heaters."""
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
        lines.append(_line("  net of its room", f"{record['cop_net']:.2f}", ", ".join(others)))
    others = [
        f"{record[key]:,.0f} {name}"
        for key, name in (
            ("room_penalty_if_resistance_kwh", "by resistance"),
            ("room_penalty_if_heat_pump_kwh", "by a heat pump"),
        )
    ]
    lines += _energy(record, "room_heating_penalty_kwh", "  room heating penalty", ", ".join(others))
    heat = record["room_saved_cooling_kwh"] + record["neighbours_saved_cooling_kwh"]
    for key, label, note in (
        ("room_cooling_credit_kwh", "  room cooling credit", f"{heat:,.0f} kWh of heat not cooled away"),
        ("dehumidifier_credit_kwh", "  room drying credit", ""),
    ):
        if record[key]:
            lines.append(_line(label, f"{-record[key]:,.0f} kWh", note))
    whole = record["electricity_kwh"] + record["fuel_kwh"] + record["room_heating_penalty_kwh"]
    whole -= sum(record[key] for key in CREDITS)
    lines.append(_line("  purchased with the room", f"{whole:,.0f} kWh", "with penalty and credits"))
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
    theirs = record.get("baseline.upstream_kgco2e")
    note = "in no figure above" + (f"; baseline {theirs:,.0f} kg" if theirs is not None else "")
    lines += row("upstream methane, apart", "carbon.upstream_kgco2e", note)
    return lines


def _costs(record: Record) -> list[str]:
    if "energy_cost" not in record:
        return []

    def row(label: str, key: str, unit: str, form: str = ",.0f", note: str = "") -> list[str]:
        if record.get(key) is not None:
            return [_line(label, f"{record[key]:{form}} {unit}", note)]
        reasons = record.get("costs.reasons", {})
        why = reasons.get(
            {"costs.carbon_usd_per_tonne": "carbon_cost"}.get(key, key[6:].removesuffix("_years"))
        )
        return [_line(label, "none", why)] if why else []

    lines = ["", "Cost", *row("energy bill of a year", "energy_cost", "USD")]
    parts = [(label, key) for label, key in BILL if record[key]]
    for label, key in parts if len(parts) > 1 else ():
        lines += row(f"  {label}", key, "USD")
    lines += row("heating and cooling of the room", "costs.room_usd", "USD")
    lines += row("extra capital after incentives", "costs.extra_capital_usd", "USD")
    lines += row("simple payback", "costs.simple_payback_years", "years", ".1f")
    lines += row("discounted payback", "costs.discounted_payback_years", "years", ".1f")
    lines += row("net present value", "costs.npv_usd", "USD")
    rate = record.get("costs.real_discount_rate", 0.0)
    note = f"tonnes by year, discounted at {100.0 * rate:.3g} % real"
    lines += row("cost of CO2e avoided", "costs.carbon_usd_per_tonne", "USD/t", note=note)
    lines += row("levelised cost of useful heat", "costs.heat_usd_per_mwh", "USD/MWh")
    return lines


def _savings(record: Record) -> list[str]:
    if "savings.lines" not in record:
        return []
    lines = ["", f"Saved against the baseline ({record['baseline.family']}); negative: the plant takes more"]
    lines.append(f"  {'':<34}{'baseline':>12}{'plant':>12}{'saved':>12}")
    for name, line in record["savings.lines"].items():
        share = line.get("percent", MOST_PERCENT)
        percent = f"{share:8.0f} %" if abs(share) < MOST_PERCENT else ""
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


def _draws(record: Record) -> list[str]:
    """The spread over years of random draws."""
    if "seeds" not in record:
        return []
    _, _, *heads = DRAW_HEADS
    lines = ["", draw_title(record)]
    lines.append(f"  {'':<38}" + "".join(f"{head:>10}" for head in heads))
    for name, unit, *cells in draw_rows(record):
        words = f"{name} {unit}"
        lines += [f"  {words}"] if len(words) > 37 else []
        words = "" if len(words) > 37 else words
        lines.append(f"  {words:<38}" + "".join(f"{cell:>10}" for cell in cells))
    return lines


def _hygiene(record: Record, everything: bool) -> list[str]:
    """The table on Legionella, worst first; the worst row of each place, or with `everything` all."""
    rows = worst_first(record["hygiene"])
    if not rows:
        return []
    places = [row["place"] for row in rows]
    shown = [row for at, row in enumerate(rows) if everything or row["place"] not in places[:at]]
    lines = ["", "Legionella, worst first; below: by more than a sensor's tolerance, 0.6 K at 60 degC"]
    lines.append(f"  {'':<30}{'water, degC':>14}{'hours':>10}{'consecutive':>14}")
    for row in shown:
        hours, longest = f"{row['hours']:,.0f}", f"{row['longest_hours']:,.0f} h"
        lines.append(f"  {row['place']:<30}{threshold(row):>14}{hours:>10}{longest:>14}")
        if everything:
            lines += wrap(row["source"], WIDTH - 6, initial_indent=" " * 4, subsequent_indent=" " * 4)
    if len(shown) < len(rows):
        lines.append(f"  and {len(rows) - len(shown)} more; --cautions lists all with their sources")
    return lines


def _months(label: str, values: tuple[str, ...] | list[str]) -> str:
    return f"  {label:<13}" + "".join(f"{v:>7}" for v in values)
