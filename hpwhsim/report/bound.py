"""What share of the possible saving a control reaches, as text."""

from hpwhsim.study.bound import Bounded


def bound_text(found: Bounded) -> str:
    """A few lines: the plant with its controls, without them, and the bound."""
    rows = (
        ("with the scenario's controls", found.control, found.electricity_kwh[0]),
        ("without windows, bars, signal and boost", found.free, found.electricity_kwh[1]),
        ("bound by perfect foresight", found.bound, found.electricity_kwh[2]),
    )
    lines = [f"  {'':<42}{'sum of kWh x signal':>20}{'kWh':>12}"]
    lines += [f"  {name:<42}{total:>20,.1f}{kwh:>12,.0f}" for name, total, kwh in rows]
    if not found.converged:
        lines.append(f"  no bound was found: {found.message}")
    elif found.share is None:
        lines.append("  there is nothing to save")
    else:
        lines.append(f"  the controls reach {100.0 * found.share:.0f} % of the possible saving")
    if max(found.short_litres) > 0.0:
        own, free = found.short_litres
        lines.append(f"  short: {own:,.0f} L with the controls, {free:,.0f} L without")
    lines.append(
        "  The bound knows every hour in advance and has a perfect store; standby power is left out of all."
    )
    return "\n".join(lines) + "\n"
