"""What share of the possible saving a control reaches, as text."""

from hpwhsim.study.bound import Bounded


def bound_text(found: Bounded) -> str:
    """A few lines: the plant with its controls, without them, and the bound."""
    fuel = found.fuel_weight is not None
    names = (
        "with the scenario's controls",
        "without windows, bars, signal and boost",
        "bound by perfect foresight",
    )
    sums = found.control, found.free, found.bound
    what = "sum of kWh x weight" if fuel else "sum of kWh x signal"
    head = f"  {'':<42}{what:>20}{'kWh':>12}" + (f"{'kWh of fuel':>14}" if fuel else "")
    lines = [head]
    for name, total, kwh, burnt in zip(names, sums, found.electricity_kwh, found.fuel_kwh, strict=True):
        line = f"  {name:<42}{total:>20,.1f}{kwh:>12,.0f}"
        lines.append(line + (f"{burnt:>14,.0f}" if fuel else ""))
    if not found.converged:
        lines.append(f"  no bound was found: {found.message}")
    elif found.share is None:
        lines.append("  there is nothing to save")
    else:
        lines.append(f"  the controls reach {100.0 * found.share:.0f} % of the possible saving")
        lines.append(f"  the bound is {100.0 * found.bound / found.control:.0f} % of what they take")
    if max(found.short_litres) > 0.0:
        own, free = found.short_litres
        lines.append(f"  short: {own:,.0f} L with the controls, {free:,.0f} L without")
    if fuel:
        lines.append(f"  A kWh of fuel counts {found.fuel_weight:.4g}, as electricity at the mean signal.")
    lines.append("  The bound knows every hour in advance; standby is left out of all. It is low because")
    lines += [f"  - {text}{';' if text != found.relaxed[-1] else '.'}" for text in found.relaxed]
    return "\n".join(lines) + "\n"
