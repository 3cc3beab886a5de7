"""The federal draw-pattern test on one screen."""

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from hpwhsim.io.us_units import LITRES_PER_GALLON

WIDTH = 100


def rating_text(record: Mapping[str, Any]) -> str:
    """The rating on one screen."""

    def line(label: str, value: str, note: str = "") -> str:
        return f"  {label:<34}{value:>16}   {note}".rstrip()

    def gallons(litres: float) -> str:
        return f"{litres / LITRES_PER_GALLON:.1f} gal"

    plain = record["delivered_over_purchased"]
    kwh = {key: value for key, value in record.items() if key.endswith("_kwh")}
    by = record["draw_pattern_by"]
    pattern = f"{record['draw_pattern']} draw pattern, {'as given' if by == 'given' else f'by {by}'}"
    lines = [
        str(record["title"]),
        "24-hour draw-pattern test of 10 CFR 430 Subpart B Appendix E, calculated",
        "",
        line(
            "uniform energy factor",
            f"{record['uniform_energy_factor']:.2f}",
            pattern.replace("by given", "as given"),
        ),
        line(
            "first-hour rating",
            f"{record['first_hour_rating_gal']:.1f} gal",
            f"{record['first_hour_rating_litres']:.0f} L; "
            + " + ".join(f"{v:.0f}" for v in record["first_hour_draws_litres"])
            + " L drawn",
        ),
        line("energy in a year of such days", f"{kwh['annual_energy_kwh']:,.0f} kWh"),
        "",
        line(
            "delivered",
            f"{record['delivered_litres']:.0f} L",
            f"{gallons(record['delivered_litres'])} at {record['delivered_mean_c']:.1f} degC, "
            f"{kwh['delivered_heat_kwh']:.2f} kWh",
        ),
        line("purchased energy", f"{kwh['energy_kwh']:.3f} kWh"),
    ]
    for key, label in (
        ("compressor_kwh", "  heat pump"),
        ("auxiliary_kwh", "  fans, pumps, controls"),
        ("resistance_kwh", "  resistance"),
        ("fuel_kwh", "  fuel"),
    ):
        if kwh[key] > 0.0:
            lines.append(line(label, f"{kwh[key]:.3f} kWh"))
    lines += [
        line("standby loss", f"{kwh['storage_loss_kwh']:.3f} kWh"),
        line("change in stored heat", f"{kwh['store_change_kwh']:+.3f} kWh"),
        line("delivered over purchased, as it is", "none purchased" if plain is None else f"{plain:.3f}"),
        line("recovery efficiency", f"{record['recovery_efficiency']:.3f}"),
        line(
            "standby power", f"{record['standby_w']:.1f} W", f"purchased; {record['standby_w_per_k']:.3f} W/K"
        ),
        line(
            "store",
            gallons(record["store_litres"]),
            f"set to {record['setpoint_c']:.1f} degC, mean {record['tank_mean_c']:.1f} degC",
        ),
        line("balance error", f"{record['balance_error']:.1e}"),
        "",
        f"Cautions ({len(record['assumptions'])} defaults in force are listed by --json)",
    ]
    for caution in record["cautions"]:
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"
