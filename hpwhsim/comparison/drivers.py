"""What drives the difference between two scenarios: sentences made of their accounts, term by term."""

from collections.abc import Mapping
from math import log
from typing import Any, NamedTuple

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.energy import END_USES
from hpwhsim.comparison.report import more
from hpwhsim.results.declared import declared
from hpwhsim.results.inch_pound import ALL_KWH, CO2E_KG
from hpwhsim.results.numbers import amount, decimals
from hpwhsim.results.texts import Change, Figure, Phrase, joined

Record = Mapping[str, Any]

NAMED = 3  # terms that a sentence names
SMALL = 0.02  # of the largest, below which a term is not named


class Term(NamedTuple):
    """A part of a difference."""

    name: str
    value: float
    key: str = ""  # of the record, where it says in which units the term reads


GASES = "total_kgco2e"


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
        Term(name, other.get(key, 0.0) - one.get(key, 0.0), key if key == "fuel_kwh" else "electricity_kwh")
        for key, name in labels.items()
        if key in one or key in other
    ]
    room = [more(record).get("room_net_kwh", 0.0) for record in (one, other)]
    if any(room):
        terms.append(Term("room, heating less credits", room[1] - room[0], ALL_KWH))
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
    by_cop = bought[1] - bought[0] - by_heat
    return [Term("useful heat", by_heat, ALL_KWH), Term("COP of the plant", by_cop, ALL_KWH)]


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
    terms = [Term(name, change(key), CO2E_KG) for name, key in parts.items()]
    gases = [float(record["carbon.electricity_kgco2e"]) for record in (one, other)]
    used = [float(record["electricity_kwh"]) for record in (one, other)]
    if min(*gases, *used) > 0.0:
        by_use = logarithmic_mean(gases[0], gases[1]) * log(used[1] / used[0])
        terms.append(Term("electricity used", by_use, CO2E_KG))
        terms.append(Term("factor of the electricity in its hours", gases[1] - gases[0] - by_use, CO2E_KG))
    else:
        terms.append(Term("electricity", gases[1] - gases[0], CO2E_KG))
    return sorted(terms, key=lambda term: -abs(term.value))


def logarithmic_mean(one: float, other: float) -> float:
    """Mean of two positive numbers by which a ratio becomes a difference.

    Examples
    --------
    >>> logarithmic_mean(2.0, 2.0), round(logarithmic_mean(1.0, 2.718281828), 6)
    (2.0, 1.718282)
    """
    return one if one == other else (other - one) / log(other / one)


def sentences(names: tuple[str, str], one: Record, other: Record) -> list[Phrase]:
    """What drives the difference of `other` from `one`, energy first; the same records, the same words."""
    base, name = names
    found = [_purchases(base, name, one, other), *_reasons(one, other), *_backup(base, one, other)]
    return [*found, *_loop(one, other), *_gases(one, other), *_bill(one, other)]


def listed(terms: list[Term], unit: str) -> Phrase:
    """The largest terms in words; the rest as one, so that what is named adds up."""
    most = max(abs(term.value) for term in terms)
    named = [term for term in terms[:NAMED] if abs(term.value) >= SMALL * most and term.value != 0.0]
    rest = sum(term.value for term in terms) - sum(term.value for term in named)
    said = list(named)
    if abs(rest) >= SMALL * most and rest != 0.0:
        keys = {term.key for term in terms if term not in named}
        said.append(Term("all others", rest, keys.pop() if len(keys) == 1 else ALL_KWH))
    words = [Phrase(f"{term.name} ", _change(term.value, unit, term.key)) for term in said]
    return joined(words, ", ") if words else Phrase("no term differs")


def _change(value: float, unit: str, key: str) -> Change:
    return Change(signed(value, unit), value, key)


def _figure(value: float, unit: str, key: str) -> Figure:
    return Figure(amount(value, unit), value, key)


def _percent(change: float, of: float) -> str:
    return f" ({signed(round(100.0 * change / of, 1))} %)" if of else ""


def _purchases(base: str, name: str, one: Record, other: Record) -> Phrase:
    whole = [more(record)[ALL_KWH] for record in (one, other)]
    change = whole[1] - whole[0]
    if abs(change) < 0.5:
        return Phrase(f"{name} purchases as much energy as {base}.")
    much = _figure(abs(change), "kWh", ALL_KWH)
    than = f" {'more' if change > 0.0 else 'less'} than {base}{_percent(change, whole[0])}: "
    return Phrase(f"{name} purchases ", much, than, listed(purchase_terms(one, other), "kWh"), ".")


def _reasons(one: Record, other: Record) -> list[Phrase]:
    """Useful heat and COP, and what stands behind the COP."""
    found = []
    if terms := heat_and_cop(one, other):
        words = [Phrase(_change(t.value, "kWh", t.key), f" come from its {t.name}") for t in terms]
        cops = f" ({amount(other['cop_plant'])} against {amount(one['cop_plant'])})."
        found.append(Phrase("Of the difference without a room, ", joined(words, " and "), cops))
    said_of: list[Phrase] = []
    for key, unit in (("cop_heat_pump", ""), ("source_mean_c", "°C"), ("peak_kw", "kW")):
        values = [float(record[key]) for record in (one, other) if record.get(key) is not None]
        if len(values) == 2 and values[0] != values[1]:
            texts = [f"{decimals(v)} °C" if unit == "°C" else amount(v, unit) for v in values]
            was, now = (Figure(text, value, key) for text, value in zip(texts, values, strict=True))
            label = declared(key).label
            label = label if said_of else f"{label[0].upper()}{label[1:]}"
            said_of.append(Phrase(f"{label} ", now, " against ", was))
    if said_of:
        found.append(Phrase(joined(said_of, "; "), "."))
    return found


def _backup(base: str, one: Record, other: Record) -> list[Phrase]:
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
        changed = any(term.value for term in terms)
        found.append(Phrase(f"{text}: ", listed(terms, "h"), ".") if changed else Phrase(f"{text}."))
    return found


def _loop(one: Record, other: Record) -> list[Phrase]:
    """Recirculation and standby loss where they differ."""
    said = []
    for key in ("heat_to_taps_kwh", "recirculation_loss_kwh", "storage_loss_kwh"):
        values = [float(record[key]) for record in (one, other)]
        if abs(values[1] - values[0]) >= 0.01 * max(*values, 1.0):
            said.append(Phrase(f"{declared(key).label} ", _change(values[1] - values[0], "kWh", key)))
    return [Phrase("Heat that the plant has to give: ", joined(said, ", "), ".")] if said else []


def _gases(one: Record, other: Record) -> list[Phrase]:
    """Greenhouse gases where both sides count them."""
    terms = gas_terms(one, other)
    if not terms:
        return []
    change = other[GASES] - one[GASES]
    pieces = ["CO2e ", _change(change, "kg", CO2E_KG), f" a year{_percent(change, one[GASES])}: "]
    pieces += [listed(terms, "kg"), "."]
    key = "carbon.grid_kgco2e_per_kwh"
    factors = [record.get(key) for record in (one, other)]
    if all(factors) and factors[0] != factors[1]:
        was, now = (_figure(float(factor or 0.0), "kg/kWh", key) for factor in factors)
        pieces += [" The grid factor is ", now, " against ", was, "."]
    return [Phrase(*pieces)]


def _bill(one: Record, other: Record) -> list[Phrase]:
    """The energy bill where both sides have one."""
    if one.get("energy_cost") is None or other.get("energy_cost") is None:
        return []
    change = other["energy_cost"] - one["energy_cost"]
    keys = ("costs.electric_energy_usd", "costs.demand_usd", "costs.fixed_usd", "costs.fuel_usd")
    bills = [Term(declared(k).label, other.get(k, 0.0) - one.get(k, 0.0)) for k in keys]
    bills.sort(key=lambda term: -abs(term.value))
    text = f"Energy bill {signed(change, 'USD a year')}{_percent(change, one['energy_cost'])}"
    if not any(term.value for term in bills):
        return [Phrase(f"{text}.")]
    return [Phrase(f"{text}: ", listed(bills, "USD"), ".")]
