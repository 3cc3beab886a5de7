"""How much of the savings within reach the controls capture, as text."""

from typing import Any

from hpwhsim.control_bound.bound import EQUAL, Bounded, Schedule

SUMS = {"signal": "kWh x signal", "price": "energy charge, USD"}


def bound_record(found: Bounded) -> dict[str, Any]:
    """The figures by name, those of a schedule in a block of their own."""
    return {
        key: value._asdict() if isinstance(value, Schedule) else value
        for key, value in found._asdict().items()
    }


def bound_text(found: Bounded) -> str:
    """A few lines: the plant with its controls, without them, the best schedule, the limit of timing."""
    best, fuel = found.best, found.fuel_weight is not None
    lines = [f"  {'':<46}{SUMS[found.weight]:>20}{'kWh':>10}" + (f"{'kWh fuel':>10}" if fuel else "")]
    rows = [
        (found.control.name, found.control.weighed, found.control),
        (found.free.name, found.free.weighed, found.free),
        (f"best of {found.simulated + 2} schedules simulated", best.weighed, best),
        ("its kWh of each day in the cheapest hours", best.least_weighed, best),
    ]
    for name, weighed, of in rows:
        line = f"  {name:<46}{weighed:>20,.1f}{of.electricity_kwh:>10,.0f}"
        lines.append(line + (f"{of.fuel_kwh:>10,.0f}" if fuel else ""))
    lines += [f"  best: {best.name}", f"  {_verdict(found)}"]
    if max(found.control.unmet_litres, found.free.unmet_litres) > 0.0:
        own, free = found.control.unmet_litres, found.free.unmet_litres
        lines.append(f"  unmet hot water: {own:,.0f} L with the controls, {free:,.0f} L without")
    if fuel:
        why = "by its price" if found.weight == "price" else "as electricity at the mean signal"
        lines.append(f"  A kWh of fuel counts {found.fuel_weight:.4g}, {why}.")
    lines.append("  Standby and demand charges are left out of all. The last row is the limit of timing: no")
    lines.append("  schedule that takes the same electricity each day, at no more power, has less.")
    return "\n".join(lines) + "\n"


def _verdict(found: Bounded) -> str:
    own, free = found.control.heat_kwh, found.free.heat_kwh
    if own < EQUAL * free:
        less = 100.0 * (1.0 - own / free)
        return f"no savings stated: taps and loop get {less:.1f} % less heat with the controls than without"
    if found.share is None:
        return "no schedule saves anything"
    share, possible = 100.0 * found.share, found.free.weighed - found.best.weighed
    saved = f"the best schedule saves {100.0 * possible / abs(found.free.weighed):.1f} %"
    if share < 0.0:
        return f"{saved}; the controls cost more than none"
    return f"{saved}; the controls capture {share:.0f} % of that"
