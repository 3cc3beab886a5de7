"""The fraction of the theoretical savings that the controls capture, as text."""

from hpwhsim.control_bound.bound import EQUAL, Bounded

SUMS = {"signal": "sum of kWh x signal", "price": "energy charge, USD", "none": "kWh, all equal"}


def bound_text(found: Bounded) -> str:
    """A few lines: the plant with its controls, without them, and the bound."""
    fuel = found.fuel_weight is not None
    names = (
        "with the scenario's controls",
        "without windows, lockouts, signal and boost",
        "bound by perfect foresight",
    )
    sums = found.control, found.free, found.bound
    what = SUMS[found.weight]
    head = f"  {'':<42}{what:>20}{'kWh':>12}" + (f"{'kWh of fuel':>14}" if fuel else "")
    lines = [head]
    for name, total, kwh, burnt in zip(names, sums, found.electricity_kwh, found.fuel_kwh, strict=True):
        line = f"  {name:<42}{total:>20,.1f}{kwh:>12,.0f}"
        lines.append(line + (f"{burnt:>14,.0f}" if fuel else ""))
    if not found.converged:
        lines.append(f"  no bound was found: {found.message}")
    else:
        lines.append(f"  {_verdict(found)}")
        lines.append(f"  the bound is {100.0 * found.bound / found.control:.0f} % of what they take")
    if max(found.short_litres) > 0.0:
        own, free = found.short_litres
        lines.append(f"  unmet hot water: {own:,.0f} L with the controls, {free:,.0f} L without")
    if fuel:
        why = "by its price" if found.weight == "price" else "as electricity at the mean signal"
        lines.append(f"  A kWh of fuel counts {found.fuel_weight:.4g}, {why}.")
    lines.append("  The bound knows every hour in advance; standby is left out of all. It is low because")
    lines += [f"  - {text}{';' if text != found.relaxed[-1] else '.'}" for text in found.relaxed]
    return "\n".join(lines) + "\n"


def _verdict(found: Bounded) -> str:
    own, free = found.heat_kwh
    if own < EQUAL * free:
        less = 100.0 * (1.0 - own / free)
        return f"savings cannot be compared: {less:.1f} % less useful heat with the controls than without"
    if found.share is None:
        return "there is nothing to save"
    share = 100.0 * found.share
    if share < 0.0:
        return f"the controls take more than the plant without them: {share:.0f} % of the theoretical savings"
    return f"the controls capture {share:.0f} % of the theoretical savings"
