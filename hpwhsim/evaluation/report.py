"""Everything on a year as text, in sections of at most 100 columns."""

from collections.abc import Callable, Mapping, Sequence
from textwrap import wrap
from typing import Any

from hpwhsim.account.adequacy import cause_name, time_text
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import counted
from hpwhsim.account.energy import CREDITS
from hpwhsim.account.hygiene import threshold, worst_first
from hpwhsim.evaluation.cautions import by_importance
from hpwhsim.evaluation.check_text import against, checks_in_units
from hpwhsim.evaluation.draw_rows import DRAW_HEADS, draw_rows, draw_title
from hpwhsim.evaluation.saving_labels import saving_label
from hpwhsim.results.declared import declared
from hpwhsim.results.heat_flows import ELECTRIC, RESISTANCE
from hpwhsim.results.numbers import amount, decimals, shown

WIDTH = 100
LABEL, VALUE = 36, 16
MOST_PERCENT = 1000.0  # of a baseline that takes next to nothing no percentage is shown
ALWAYS = ("compressor_kwh", "resistance_kwh")
"""End uses that are listed even where they are nothing."""

BILL = ("costs.electric_energy_usd", "costs.demand_usd", "costs.fixed_usd", "costs.fuel_usd")
"""Parts of the energy bill; they add up to it."""

REASONS = {
    "costs.simple_payback_years": "simple_payback",
    "costs.discounted_payback_years": "discounted_payback",
    "costs.carbon_usd_per_tonne": "carbon_cost",
    "costs.heat_usd_per_mwh": "heat_cost",
    "costs.baseline_heat_usd_per_mwh": "baseline_heat_cost",
    "costs.internal_rate": "irr",
}
"""Where the record says why a cost figure has no value."""

Record = Mapping[str, Any]


def _line(label: str, value: str, note: str = "") -> list[str]:
    start = f"  {label:<{LABEL}}{value:>{VALUE}}"
    if not note:
        return [start]
    gap = " " * (len(start) + 3)
    return wrap(note, WIDTH, initial_indent=f"{start}   ", subsequent_indent=gap)


def _row(record: Record, key: str, note: str = "", *, label: str = "") -> list[str]:
    """A value of the record under its declared label; nothing where the record does not have it."""
    if record.get(key) is None:
        return []
    return _line(label or declared(key).label, shown(key, record[key], unit=True), note)


def _resistance(record: Record) -> str:
    """What the resistance heat is made of, where the loop's own tank has an element."""
    if record["resistance_kwh"] == record["backup_resistance_kwh"]:
        return ""
    return ", ".join(f"{label} {shown(key, record[key])}" for key, label in RESISTANCE)


def _draws_behind(record: Record) -> str:
    """The spread of a peak over years of random draws."""
    if "seeds" not in record:
        return ""
    spread = record["seeds"]["figures"]["peak_kw"]
    low, high = (shown("peak_kw", spread[name]) for name in ("p10", "p90"))
    return f"; P10 {low}, P90 {high} kW"


def _causes(causes: Mapping[str, float]) -> str:
    return ", ".join(f"{cause_name(name)} {time_text(hours)}" for name, hours in causes.items())


def year_text(record: Record, parts: Sequence[str] | None = None, *, us: bool = False) -> str:
    """Sections on an annual record.

    Parameters
    ----------
    record : mapping
        The record.
    parts : sequence of str, optional
        Of `PARTS`; default all.
    us : bool
        Checks in US customary units; else in SI.
    """
    chosen = PARTS if parts is None else [part for part in PARTS if part in parts]
    sections = [lines for part in chosen for lines in _sections(part, record, us) if lines]
    return "\n\n".join("\n".join(line.rstrip() for line in lines) for lines in sections) + "\n"


def _sections(part: str, record: Record, us: bool) -> list[list[str]]:
    if part == "checks":
        return [_checks(record, us)]
    sections: dict[str, tuple[Callable[[Record], list[str]], ...]] = {
        "figures": (_energy, _heat, _performance, _carbon, _costs, _savings, _draws),
        "months": (_months,),
        "cautions": (_hygiene, _cautions),
    }
    return [section(record) for section in sections[part]]


PARTS = ("figures", "months", "checks", "cautions")
"""Parts of the text; the last three are options of the command."""


def _energy(record: Record) -> list[str]:
    lines = ["Purchased energy", *_row(record, "electricity_kwh")]
    for key, label in ELECTRIC:
        if key in ALWAYS or record.get(key, 0.0) > 0.0:
            note = _resistance(record) if key == "resistance_kwh" else ""
            lines += _row(record, key, note, label=f"  {label}")
    if record["fuel_kwh"] > 0.0:
        lines += _row(record, "fuel_kwh", "higher heating value")
    return lines + _row(record, "peak_kw", f"at {record['peak_time']}{_draws_behind(record)}")


def _heat(record: Record) -> list[str]:
    lines = ["Heat"]
    lines += _row(
        record, "heat_to_taps_kwh", shown("hot_water_litres", record["hot_water_litres"], unit=True)
    )
    for key in ("recirculation_loss_kwh", "storage_loss_kwh", "store_change_kwh"):
        lines += _row(record, key)
    if "heat_pump_heat_kwh" in record:
        source = f"{shown('source_heat_kwh', record['source_heat_kwh'])} kWh of it from the source"
        lines += _row(record, "heat_pump_heat_kwh", source)
        if record["defrost_heat_kwh"] > 0.0:
            lines += _row(record, "defrost_heat_kwh", label="  defrost heat drawn from storage")
    return [*lines, *_row(record, "backup_heat_kwh"), *_row(record, "loop_heater_heat_kwh")]


def _performance(record: Record) -> list[str]:
    lines = ["Performance", *_row(record, "cop_heat_pump")]
    lines += _row(record, "cop_plant", "useful heat over purchased energy")
    lines += _room(record)
    if "run_hours" in record:
        lines += [*_row(record, "run_hours"), *_row(record, "lockout_hours")]
    backup = record["resistance_hours"] + record["fuel_hours"]
    lines += _line("backup", time_text(backup), _causes(record["backup_hours_by_cause"]))
    litres = shown("short_litres", record["short_litres"], unit=True)
    note = f"{litres} {_causes(record['short_hours_by_cause'])}"
    lines += _line("unmet hot water", time_text(record["short_hours"]), note)
    return lines + _row(record, "balance_error")


def _room(record: Record) -> list[str]:
    """What the room of a heat pump purchases more and less, and what that is with other heaters."""
    if "room_heating_penalty_kwh" not in record:
        return []

    def others(names: Mapping[str, str]) -> str:
        return ", ".join(f"{shown(key, record[key])} {name}" for key, name in names.items() if key in record)

    nets = {
        "cop_net_if_resistance": "if resistance heated it",
        "cop_net_if_heat_pump": "a heat pump",
        "cop_net_source": "in source energy",
    }
    penalties = {
        "room_penalty_if_resistance_kwh": "by resistance",
        "room_penalty_if_heat_pump_kwh": "by a heat pump",
    }
    lines = _row(record, "cop_net", others(nets), label="  net of its room")
    lines += _row(record, "room_heating_penalty_kwh", others(penalties), label="  room heating penalty")
    heat = record["room_saved_cooling_kwh"] + record["neighbours_saved_cooling_kwh"]
    for key, label, note in (
        ("room_cooling_credit_kwh", "room cooling credit", f"{heat:,.0f} kWh of heat not cooled away"),
        ("dehumidifier_credit_kwh", "dehumidification credit", ""),
    ):
        if record[key]:
            lines += _line(f"  {label}", f"{shown(key, -record[key])} kWh", note)
    whole = record["electricity_kwh"] + record["fuel_kwh"] + record["room_heating_penalty_kwh"]
    whole -= sum(record[key] for key in CREDITS)
    return lines + _line("  purchased with the room", f"{whole:,.0f} kWh", "with penalty and credits")


def _carbon(record: Record) -> list[str]:
    if "total_kgco2e" not in record:
        return []
    years, kind = record["carbon.service_years"], record["carbon.grid_kind"]
    grid = f"{record['carbon.grid_kgco2e_per_kwh']:.3f} kg/kWh"
    lines = [f"Greenhouse gases, CO2e a year over {years} years ({record['carbon.gwp']})"]
    lines += _row(record, "operational_kgco2e", f"{record['carbon.grid']}, {kind}, {grid}")
    if "carbon.refrigerant_charge_kg" in record:
        charge, gwp = record["carbon.refrigerant_charge_kg"], record["carbon.refrigerant_gwp"]
        lines += _row(record, "refrigerant_kgco2e", f"{charge:.3g} kg of GWP {gwp:,.4g}")
    lines += [*_row(record, "carbon.room_kgco2e"), *_row(record, "total_kgco2e")]
    lines += _row(record, "carbon.marginal_kgco2e")
    theirs = record.get("baseline.upstream_kgco2e")
    note = "in no figure above" + (f"; baseline {theirs:,.0f} kg" if theirs is not None else "")
    return lines + _row(record, "carbon.upstream_kgco2e", note)


def _costs(record: Record) -> list[str]:
    if "energy_cost" not in record:
        return []

    def row(key: str, note: str = "") -> list[str]:
        if record.get(key) is not None:
            return _row(record, key, note)
        why = record.get("costs.reasons", {}).get(REASONS.get(key, key[6:].removesuffix("_years")))
        return _line(declared(key).label, "none", why) if why else []

    lines = ["Cost", *_row(record, "energy_cost", "a year")]
    parts = [key for key in BILL if record[key]]
    for key in parts if len(parts) > 1 else ():
        lines += _row(record, key, label=f"  {declared(key).label}")
    lines += [*row("costs.room_usd"), *row("costs.extra_capital_usd"), *row("costs.simple_payback_years")]
    lines += [*row("costs.discounted_payback_years"), *row("costs.npv_usd")]
    rate = record.get("costs.real_discount_rate", 0.0)
    note = f"tonnes by year, discounted at {100.0 * rate:.3g} % real"
    return lines + row("costs.carbon_usd_per_tonne", note) + row("costs.heat_usd_per_mwh")


def _savings(record: Record) -> list[str]:
    if "savings.lines" not in record:
        return []
    lines = [f"Saved against the baseline ({record['baseline.family']}); negative: the plant takes more"]
    lines.append(f"  {'':<{LABEL + 8}}{'baseline':>12}{'plant':>12}{'saved':>12}")
    for name, line in record["savings.lines"].items():
        share = line.get("percent", MOST_PERCENT)
        percent = f"{decimals(share, 0):>8} %" if abs(share) < MOST_PERCENT else ""
        values = "".join(f"{amount(line[key]):>12}" for key in ("baseline", "plant", "saved"))
        label, unit = saving_label(name)
        lines.append(f"  {label:<{LABEL}}{unit:<8}{values}{percent}")
    return lines


def _checks(record: Record, us: bool) -> list[str]:
    checks = checks_in_units(record, us)
    if not checks:
        return []
    lines = [f"Checks: {counted(check.state for check in checks)} (notes and sources in annual.json)"]
    for check in checks:
        text = f"{check.name}: {against(check)}"
        lines += wrap(text, WIDTH, initial_indent=f"  {check.state:<12}", subsequent_indent=" " * 14)
    return lines


def _draws(record: Record) -> list[str]:
    """The spread over years of random draws."""
    if "seeds" not in record:
        return []
    _, _, *heads = DRAW_HEADS
    lines = wrap(draw_title(record), WIDTH)
    lines.append(f"  {'':<38}" + "".join(f"{head:>10}" for head in heads))
    for name, unit, *cells in draw_rows(record):
        words = f"{name} {unit}"
        lines += [f"  {words}"] if len(words) > 37 else []
        words = "" if len(words) > 37 else words
        lines.append(f"  {words:<38}" + "".join(f"{cell:>10}" for cell in cells))
    return lines


def _hygiene(record: Record) -> list[str]:
    """The table on Legionella, worst first, each row with its source."""
    rows = worst_first(record["hygiene"])
    if not rows:
        return []
    lines = ["Legionella, worst first; below: by more than a sensor's tolerance, 0.6 K at 60 degC"]
    lines.append(f"  {'':<30}{'water, degC':>14}{'hours':>10}{'consecutive':>14}")
    for row in rows:
        hours, longest = f"{row['hours']:,.0f}", f"{row['longest_hours']:,.0f} h"
        lines.append(f"  {row['place']:<30}{threshold(row):>14}{hours:>10}{longest:>14}")
        lines += wrap(row["source"], WIDTH - 6, initial_indent=" " * 4, subsequent_indent=" " * 4)
    return lines


def _cautions(record: Record) -> list[str]:
    lines = [f"Cautions ({len(record['assumptions'])} defaults in force are listed in annual.json)"]
    for caution in by_importance(record["cautions"]):
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return lines


def _months(record: Record) -> list[str]:
    def row(label: str, values: Sequence[str]) -> str:
        return f"  {label:<13}" + "".join(f"{value:>7}" for value in values)

    energy = record["monthly.electricity_kwh"]
    unit, digits, size = ("kWh", 0, 1.0) if max(energy) < 99_999.5 else ("MWh", 1, 1e3)
    lines = [row("month", MONTH_NAMES)]
    lines.append(row(f"electr. {unit}", [decimals(value / size, digits) for value in energy]))
    lines.append(row("peak kW", [shown("peak_kw", value) for value in record["monthly.peak_kw"]]))
    if "monthly.cop_plant" in record:
        cops = record["monthly.cop_plant"]
        lines.append(row("COP", ["-" if cop is None else shown("cop_plant", cop) for cop in cops]))
    if "monthly.energy_cost" in record:
        lines.append(row("bill USD", [shown("energy_cost", cost) for cost in record["monthly.energy_cost"]]))
    return lines
