"""What drives the difference between two scenarios: sentences made of their accounts, term by term."""

from collections.abc import Mapping
from math import log
from typing import Any, NamedTuple

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.energy import END_USES
from hpwhsim.comparison.report import more
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import amount, decimals

Record = Mapping[str, Any]

NAMED = 3  # terms that a sentence names
SMALL = 0.02  # of the largest, below which a term is not named


class Term(NamedTuple):
    """A part of a difference."""

    name: str
    value: float


def signed(value: float, unit: str = "") -> str:
    """A difference with its sign.

    Examples
    --------
    >>> signed(12.0, "h"), signed(-3456.7), signed(0.0)
    ('+12 h', '\N{MINUS SIGN}3,457', '0')
    """
    return f"{'+' if value > 0.0 else ''}{amount(value, unit)}"


def purchase_terms(one: Record, other: Record) -> list[Term]:
    """Purchased energy of `other` less that of `one` by end use, fuel and room, largest first. [kWh]

    The terms add up to the difference of what is purchased with the room.
    """
    labels = {key: declared(key).label for key in (*END_USES, "fuel_kwh")}
    terms = [
        Term(name, other.get(key, 0.0) - one.get(key, 0.0))
        for key, name in labels.items()
        if key in one or key in other
    ]
    room = [more(record).get("room_net_kwh", 0.0) for record in (one, other)]
    if any(room):
        terms.append(Term("room, heating less credits", room[1] - room[0]))
    return sorted(terms, key=lambda term: -abs(term.value))


def heat_and_cop(one: Record, other: Record) -> list[Term]:
    """Purchased energy of `other` less that of `one` as what useful heat and what the COP brings. [kWh]

    Purchased is useful heat over the COP of the plant. The logarithmic mean of the two purchases splits
    their difference without a remainder; none where a plant purchases nothing or gives no heat.
    """
    heat = [record["heat_to_taps_kwh"] + record["recirculation_loss_kwh"] for record in (one, other)]
    bought = [record["electricity_kwh"] + record["fuel_kwh"] for record in (one, other)]
    if min(*heat, *bought) <= 0.0:
        return []
    mean = logarithmic_mean(bought[0], bought[1])
    by_heat = mean * log(heat[1] / heat[0])
    return [Term("useful heat", by_heat), Term("COP of the plant", bought[1] - bought[0] - by_heat)]


def gas_terms(one: Record, other: Record) -> list[Term]:
    """CO2e of `other` less that of `one`: electricity, its factor, fuel, refrigerant, room. [kg/year]

    The factor is that of the electricity in the hours in which it is used. Electricity and factor split the
    difference of their product by the logarithmic mean; where one is 0 it stands as one term. The terms add
    up. None where greenhouse gases are not counted on both sides.
    """
    if any(record.get("total_kgco2e") is None for record in (one, other)):
        return []

    def change(key: str) -> float:
        return float(other.get(key) or 0.0) - float(one.get(key) or 0.0)

    parts = {"fuel": "carbon.fuel_kgco2e", "refrigerant": "refrigerant_kgco2e", "room": "carbon.room_kgco2e"}
    terms = [Term(name, change(key)) for name, key in parts.items()]
    gases = [float(record["carbon.electricity_kgco2e"]) for record in (one, other)]
    used = [float(record["electricity_kwh"]) for record in (one, other)]
    if min(*gases, *used) > 0.0:
        by_use = logarithmic_mean(gases[0], gases[1]) * log(used[1] / used[0])
        terms.append(Term("electricity used", by_use))
        terms.append(Term("factor of the electricity in its hours", gases[1] - gases[0] - by_use))
    else:
        terms.append(Term("electricity", gases[1] - gases[0]))
    return sorted(terms, key=lambda term: -abs(term.value))


def logarithmic_mean(one: float, other: float) -> float:
    """Mean of two positive numbers by which a ratio becomes a difference.

    Examples
    --------
    >>> logarithmic_mean(2.0, 2.0), round(logarithmic_mean(1.0, 2.718281828), 6)
    (2.0, 1.718282)
    """
    return one if one == other else (other - one) / log(other / one)


def sentences(names: tuple[str, str], one: Record, other: Record) -> list[str]:
    """What drives the difference of `other` from `one`, energy first; the same records, the same words."""
    base, name = names
    found = [_purchases(base, name, one, other), *_reasons(one, other), *_backup(base, one, other)]
    found += _loop(one, other)
    if terms := gas_terms(one, other):
        change = other["total_kgco2e"] - one["total_kgco2e"]
        percent = _percent(change, one["total_kgco2e"])
        said = f"CO2e {signed(change, 'kg a year')}{percent}: {listed(terms, 'kg')}."
        factors = [record.get("carbon.grid_kgco2e_per_kwh") for record in (one, other)]
        if all(factors) and factors[0] != factors[1]:
            grid = f"{amount(factors[1], 'kg/kWh')} against {amount(factors[0])}"
            said += f" The grid factor is {grid}."
        found.append(said)
    if one.get("energy_cost") is not None and other.get("energy_cost") is not None:
        change = other["energy_cost"] - one["energy_cost"]
        keys = ("costs.electric_energy_usd", "costs.demand_usd", "costs.fixed_usd", "costs.fuel_usd")
        bills = [Term(declared(k).label, other.get(k, 0.0) - one.get(k, 0.0)) for k in keys]
        bills.sort(key=lambda term: -abs(term.value))
        text = f"Energy bill {signed(change, 'USD a year')}{_percent(change, one['energy_cost'])}"
        found.append(f"{text}: {listed(bills, 'USD')}." if any(t.value for t in bills) else f"{text}.")
    return found


def listed(terms: list[Term], unit: str) -> str:
    """The largest terms in words; the rest as one, so that what is named adds up."""
    most = max(abs(term.value) for term in terms)
    named = [term for term in terms[:NAMED] if abs(term.value) >= SMALL * most and term.value != 0.0]
    rest = sum(term.value for term in terms) - sum(term.value for term in named)
    said = [f"{term.name} {signed(term.value, unit)}" for term in named]
    if abs(rest) >= SMALL * most and rest != 0.0:
        said.append(f"all others {signed(rest, unit)}")
    return ", ".join(said) or "no term differs"


def _percent(change: float, of: float) -> str:
    return f" ({signed(round(100.0 * change / of, 1))} %)" if of else ""


def _purchases(base: str, name: str, one: Record, other: Record) -> str:
    whole = [more(record)["with_room_kwh"] for record in (one, other)]
    change = whole[1] - whole[0]
    if abs(change) < 0.5:
        return f"{name} purchases as much energy as {base}."
    text = f"{name} purchases {amount(abs(change), 'kWh')} {'more' if change > 0.0 else 'less'} than {base}"
    return f"{text}{_percent(change, whole[0])}: {listed(purchase_terms(one, other), 'kWh')}."


def _reasons(one: Record, other: Record) -> list[str]:
    """Useful heat and COP, and what stands behind the COP."""
    found = []
    if terms := heat_and_cop(one, other):
        said = " and ".join(f"{signed(term.value, 'kWh')} come from its {term.name}" for term in terms)
        cops = f"{amount(other['cop_plant'])} against {amount(one['cop_plant'])}"
        found.append(f"Of the difference without a room, {said} ({cops}).")
    said_of = []
    for key, words in (("cop_heat_pump", amount), ("source_mean_c", _temperature), ("peak_kw", _power)):
        values = [float(record[key]) for record in (one, other) if record.get(key) is not None]
        if len(values) == 2 and values[0] != values[1]:
            said_of.append(f"{declared(key).label} {words(values[1])} against {words(values[0])}")
    if said_of:
        text = "; ".join(said_of)
        found.append(f"{text[0].upper()}{text[1:]}.")
    return found


def _temperature(value: float) -> str:
    return f"{decimals(value)} °C ({decimals(1.8 * value + 32.0)} °F)"


def _power(value: float) -> str:
    return amount(value, "kW")


def _backup(base: str, one: Record, other: Record) -> list[str]:
    """Hours of backup and unmet hours, and the causes that differ most."""
    found = []
    for key, word in (("backup_hours_by_cause", "Backup"), ("short_hours_by_cause", "Unmet hot water")):
        causes = [record.get(key, {}) for record in (one, other)]
        hours = [sum(of.values()) for of in causes]
        if not any(hours):
            continue
        text = f"{word} {amount(hours[1], 'h')} against {amount(hours[0], 'h')} of {base}"
        terms = [
            Term(cause_name(cause), causes[1].get(cause, 0.0) - causes[0].get(cause, 0.0))
            for cause in dict.fromkeys((*causes[0], *causes[1]))
        ]
        terms.sort(key=lambda term: -abs(term.value))
        found.append(f"{text}: {listed(terms, 'h')}." if any(t.value for t in terms) else f"{text}.")
    return found


def _loop(one: Record, other: Record) -> list[str]:
    """Recirculation and standby loss where they differ."""
    keys = ("heat_to_taps_kwh", "recirculation_loss_kwh", "storage_loss_kwh")
    said = []
    for key in keys:
        values = [float(record[key]) for record in (one, other)]
        if abs(values[1] - values[0]) >= 0.01 * max(*values, 1.0):
            said.append(f"{declared(key).label} {signed(values[1] - values[0], 'kWh')}")
    return [f"Heat that the plant has to give: {', '.join(said)}."] if said else []
