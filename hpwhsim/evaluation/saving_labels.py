"""What the lines of the savings are called."""

from hpwhsim.results.declared import declarations

MEASURES = {"highest_kw": "highest power", "mean_kw": "mean power"}


def saving_label(name: str) -> tuple[str, str]:
    """Label and unit of a line of the savings, such as ``fuel_mmbtu`` or ``july.highest_kw``.

    What stands in the line is a figure of plant and baseline, so the label is without "saved".
    """
    hours, dot, measure = name.rpartition(".")
    if dot:
        return f"{MEASURES[measure]}, {hours.replace('_', ' ')}", "kW"
    row = declarations()["savings.cost_usd" if name == "cost" else f"savings.{name}"]
    return row.label.replace(" saved", ""), row.screen_unit
