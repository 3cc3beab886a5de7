"""Sizing on one screen, and as a picture."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from hpwhsim.account.adequacy import cause_name, time_text
from hpwhsim.io.figures import BLUE, GREEN, ORANGE, RED, head, house_style, png
from hpwhsim.results.numbers import degrees

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 100
Record = Mapping[str, Any]
UNITS = {"cost": "cost", "weight_kg": "weight, kg", "carbon_kg": "carbon, kg"}
AMOUNTS = {"cost": "cost {:,.0f}", "weight_kg": "weight {:,.0f} kg", "carbon_kg": "carbon {:,.0f} kg"}
PARTS = (
    ("cold_capacity_litres", "the heat pump's capacity on these days, not at its rating"),
    ("loop_and_loss_litres", "recirculation loss and standby loss"),
    (
        "lukewarm_litres",
        "not in a mass curve: lukewarm loop water, defrosts, backup, minimum delivery temperature",
    ),
    ("mixing_litres", "thermocline: stirring at the inlet, conduction"),
    ("sensors_litres", "already cold when the charge starts: sensor heights, dead band, stages"),
)


def _years(served: Record) -> str:
    """How many years of draws a plant serves, and what that bears."""
    years, failing = served["years"], served["failing_seeds"]
    seeds = (
        f" (not {', '.join(map(str, failing[:8]))}{' ...' if len(failing) > 8 else ''})" if failing else ""
    )
    return (
        f"design days of {years - len(failing)} of {years} years of draws pass{seeds}: "
        f"{100.0 * served['share_low']:.0f} to {100.0 * served['share_high']:.0f} % of all years, at 95 % "
        "confidence"
    )


def _causes(causes: Mapping[str, float]) -> str:
    return ", ".join(f"{cause_name(name)} {time_text(hours)}" for name, hours in causes.items())


def _short(found: Record) -> str:
    said = f"unmet {found['short_litres']:,.0f} L in {time_text(found['short_hours'])}"
    causes = _causes(found["short_hours_by_cause"])
    said += f" ({causes})" if causes else ""
    backup = (
        f", backup {100.0 * found['backup_share']:.1f} % of the heat" if found["backup_share"] > 0 else ""
    )
    hours = found["most_run_hours_in_a_day"]
    run = "the heat pump never runs" if hours is None else f"full output {hours:.1f} h for the heat of a day"
    return f"{said}; {run}{backup}"


def _litres(value: float | None) -> str:
    return "none" if value is None else f"{value:,.0f}"


def _smallest(found: Record) -> str:
    """The engine's store; the smallest that is tried may be more than is needed."""
    if found["storage_litres"] is None:
        return "none"
    least = "" if found["next_smaller_fails_litres"] else "<= "
    return least + _litres(found["storage_litres"])


def _share(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _hours(found: Record) -> str:
    """Of the smallest store; of no store where none passes."""
    hours = found["most_run_hours_in_a_day"]
    if found["storage_litres"] is None:
        return ""
    return "never" if hours is None else f"{hours:.1f}"


def _out(record: Record) -> str:
    return ", one module out" if "n-1" in record["criterion"] else ""


def _failing(found: Record) -> str:
    return f"  {', '.join(found['largest_store_fails'])}" if found["largest_store_fails"] else ""


def _plant(found: Record) -> str:
    return (
        f"{found['modules']} x {found['module_kw']:.4g} kW, {found['tanks']} x {found['tank_litres']:,.0f} L"
    )


def _amount(found: Record, by: str) -> str:
    return AMOUNTS[by].format(found[by])


def sizing_text(record: Record) -> str:
    """What `tankyear size` prints."""
    days, written, by = record["design_days"], record["as_written"], record["by"]
    limits = ", ".join(f"{key.replace('_', ' ')} at most {v:g}" for key, v in record["limits"].items())
    lines = [
        str(record["title"]),
        f"weather: {record['weather.station']}",
        f"criterion: {', '.join(record['criterion'])} ({limits})",
        f"design days: {', '.join(days['cold_days'])}, mean {days['mean_c']:.1f} degC, cold water "
        f"{days['mains_c']:.1f} degC; use {', '.join(f'{v:,.0f}' for v in days['use_litres'])} L",
    ]
    if "peak_on" in days:
        lines.append(
            f"peak use on {days['peak_on']}: {days['peak_over_mean']:.2f} of the mean day "
            f"({'as on ' if days['peak_from'] != 'handbook' else 'by the '}{days['peak_from']})"
        )
    drawn = record["draws"]
    if drawn is not None:
        lines.append(
            f"draws: {drawn['years']} years (seeds {drawn['seeds'][0]} to {drawn['seeds'][-1]}), of which "
            f"{drawn['may_fail']} may fail: a year not tried then passes with "
            f"{100.0 * drawn['chance_of_a_new_year']:.1f} % or more; days spread by "
            f"{drawn['day_spread']:g}, the largest hour at least the handbook's"
        )
    lines += [
        "",
        f"As written: {written['modules']} modules, {written['capacity_kw']:.4g} kW, "
        f"{written['storage_litres']:,.0f} L",
    ]
    for key in ("coldest-day", "coldest-three-days"):
        lines.append(f"  {key.replace('-', ' ')}: {_short(written[key])}")
        out = written[key].get("one_module_out")
        if out is not None:
            lines.append(f"    one module out: {_short(out)}")
    if "draws" in written:
        lines.append(f"  {_years(written['draws'])}")
    lines += ["", *_curve(record)]
    chosen = record.get("chosen")
    lines.append("")
    if chosen is None:
        years = record["years_tried"]
        lines.append(
            f"None of the {len(years)} cheapest plants that pass the design days passes the whole year."
            if years
            else "No plant of the steps passes the design days."
        )
        lines += [f"  tried on the year: {_tried(tried)}" for tried in years]
        if not years:
            lines += _less("largest of both", record["largest"])
    else:
        lines += _chosen(record, chosen)
        lines += [
            f"  cheaper, but fails on the whole year: {_tried(tried)}"
            for tried in record["years_tried"]
            if not tried["passes"]
        ]
        lines += ["", f"The {len(record['choices'])} cheapest that pass the design days ({UNITS[by]})"]
        lines += [f"  {found[by]:>12,.0f}  {_plant(found)}" for found in record["choices"]]
    if "seeds" in record:
        seeds = record["seeds"]
        lines += [
            "",
            f"Reliability over {seeds['years']} other years of random draws",
            f"  probability of a day with unmet hot water: {100.0 * seeds['chance_of_a_short_day']:.3f} % "
            f"({100.0 * seeds['chance_of_a_short_day_low']:.3f} to "
            f"{100.0 * seeds['chance_of_a_short_day_high']:.3f} %)",
            f"  probability of a year with such a day: {100.0 * seeds['chance_of_a_year_with_one']:.0f} % "
            f"({100.0 * seeds['chance_of_a_year_with_one_low']:.0f} to "
            f"{100.0 * seeds['chance_of_a_year_with_one_high']:.0f} %)",
        ]
        lines.append(f"  {_years(seeds['draws'])}")
    lines += ["", f"Cautions ({len(record['assumptions'])} defaults in force are listed by --json)"]
    for caution in record["cautions"]:
        lines += wrap(caution, WIDTH - 4, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _curve(record: Record) -> list[str]:
    """The curve as a table."""
    if not record["curve"]:
        return ["No curve: the heat pump cannot run on the design days (source too cold, or locked out)."]
    lines = [
        "Smallest store by capacity (L; fraction of the largest day's hot water). Hours of full output",
        "for the largest day: with cold water at the heat pump, and by the engine. Mass curve: usable"
        f"{_out(record)}",
        f"  {'cold water h':>12} {'capacity kW':>12} {'engine h':>9} {'engine L':>9} {'fract.':>6} "
        f"{'mass curve L':>13} {'fract.':>6} {'cold, loss L':>13} {'fract.':>6}",
    ]
    lines += [
        f"  {p['run_hours']:>12.0f} {p['capacity_kw']:>12.1f} {_hours(p):>9} "
        f"{_smallest(p):>9} {_share(p['storage_share']):>6} "
        f"{_litres(p['mass_curve_litres']):>13} "
        f"{_share(p['mass_curve_share']):>6} {_litres(p['mass_curve_loaded_litres']):>13} "
        f"{_share(p['mass_curve_loaded_share']):>6}{_failing(p)}"
        for p in record["curve"]
    ]
    return lines


def _tried(year: Record) -> str:
    """A plant on the whole year, with what it fails."""
    out = year.get("one_out_short_litres", 0.0)
    said = f", one module out {out:,.0f} L" if "n-1" in year["fails"] else ""
    return f"{_plant(year)} fails {', '.join(year['fails'])}: {_short(year)}{said}"


def _with(found: Record) -> str:
    """Whose draws are shown."""
    return f" with seed {found['seed']}" if found.get("seed") is not None else ""


def _less(what: str, less: Record | None) -> list[str]:
    """A neighbour on the design days."""
    if less is None:
        return [f"  {what}: there is none"]
    said = f"  {what}: {_plant(less)}"
    if less["passes"]:
        return [said + " passes the design days"]
    lines = [f"{said} fails {', '.join(less['fails'])}{_with(less)}: {_short(less)}"]
    out = less.get("one_module_out")
    return lines + ([f"    one module out: {_short(out)}"] if out is not None else [])


def _spread(chosen: Record) -> list[str]:
    """Least stores of the years of draws, one by one, at the chosen capacity."""
    found = chosen["least_storage_litres"]
    names = (("min", "minimum"), ("p10", "P10"), ("median", "median"), ("p90", "P90"), ("max", "maximum"))
    said = ", ".join(f"{name} {_litres(found[key])}" for key, name in names)
    return [f"  minimum store of each year of draws alone, L: {said}"]


def _chosen(record: Record, chosen: Record) -> list[str]:
    by, failed = record["by"], {_plant(tried) for tried in record["years_tried"] if not tried["passes"]}
    lines = [
        f"Chosen: {_plant(chosen)}, {chosen['storage_litres']:,.0f} L in all; {_amount(chosen, by)}",
        f"  design days{_with(chosen['design_days'])}: {_short(chosen['design_days'])}",
        f"  whole year{_with(chosen['year'])}: {_short(chosen['year'])}; starts of a module "
        f"{chosen['year']['starts_a_day']:.1f} a day",
    ]
    if "draws" in chosen:
        lines += [f"  {_years(chosen['draws'])}", *_spread(chosen)]
    larger = chosen["larger_stores"]
    if larger["failing"]:
        lines += [
            f"  by coincidence of timing: of {larger['tried']} stores up to "
            f"{100.0 * larger['up_to_share']:.0f} % larger {larger['failing']} fail "
            f"{', '.join(larger['fails'])};",
            "    take a larger one, or start its charge earlier (plant.controls.sensor_height)",
        ]
    for key, what in (("one_step_less_storage", "storage"), ("one_step_less_capacity", "capacity")):
        less = chosen[key]
        lines += _less(f"one step less {what}", less)
        if less is not None and less["passes"]:
            lines[-1] += ", fails the whole year" if _plant(less) in failed else ""
            lines[-1] += f", at {_amount(less, by)}"
            if key == "one_step_less_storage":
                lines += _less("next smaller store that fails", chosen["next_smaller_that_fails"])
    why = chosen["explained"]
    lines.append(
        f"  smallest store at this capacity, litres: {_smallest(why)} by the engine; usable by the mass curve"
        f"{_out(record)}: {_litres(why['mass_curve_litres'])}"
    )
    if why["mass_curve_litres"] is not None:
        lines += [f"    {round(why[key]):>+9,d} L  {what}" for key, what in PARTS if why.get(key) is not None]
    again = [
        f"{' to '.join(f'{v:,.0f}' for v in sorted({f['from_litres'], f['to_litres']}))} L "
        f"({', '.join(f['fails'])})"
        for f in why.get("larger_that_fail", ())
    ]
    if again:
        lines.append(f"  of larger stores, tried about 25 % apart, fail again: {', '.join(again)}")
    return lines


def _needs(ax: "Axes", capacity: float, spread: Record, needs: Sequence[float]) -> None:
    """Least stores of single years of draws at the chosen capacity, with their P10 to P90."""
    if spread["p10"] is not None and spread["p90"] is not None:
        ax.vlines(capacity, spread["p10"], spread["p90"], color=RED, linewidth=5.0, alpha=0.25, gid="p10-p90")
    ax.plot(
        [capacity] * len(needs),
        needs,
        "_",
        color=RED,
        markersize=9,
        label="single years of draws, P10 to P90 shaded",
        gid="years",
    )


def sizing_figure(record: Record) -> bytes:
    """The trade-off curve with the chosen point, as the bytes of a PNG file."""
    from matplotlib.figure import Figure

    with house_style():
        figure = Figure(figsize=(8.0, 5.6), layout="constrained")
        _draw(figure, record)
        return png(figure)


def _draw(figure: "Figure", record: Record) -> None:
    ax = figure.subplots()
    points: Sequence[Record] = record["curve"]
    capacity = [p["capacity_kw"] for p in points]

    def line(key: str, label: str, **look: Any) -> None:
        pairs = [(x, p[key]) for x, p in zip(capacity, points, strict=True) if p[key] is not None]
        ax.plot(*zip(*pairs, strict=True) if pairs else ((), ()), label=label, gid=key, **look)

    none = [x for x, p in zip(capacity, points, strict=True) if p["storage_litres"] is None]
    if none:
        why = sorted({name for p in points for name in p["largest_store_fails"]})
        label = f"no store passes: {', '.join(why)}"
        ax.axvspan(min(none), max(none), color="0.93", linewidth=0.0, label=label, gid="none")

    line("storage_litres", "this engine: smallest store", color=BLUE, marker="o", markersize=4, linewidth=1.8)
    line(
        "mass_curve_loaded_litres",
        f"mass curve, cold days, loop and loss{_out(record)}",
        color=ORANGE,
        linestyle="--",
    )
    line("mass_curve_litres", f"mass curve at the rating{_out(record)}", color="0.5", linestyle=":")
    written = record["as_written"]
    ax.plot(
        [written["capacity_kw"]],
        [written["storage_litres"]],
        "s",
        color="0.3",
        markerfacecolor="none",
        label="as written",
    )
    pairs = [(found["capacity_kw"], found["storage_litres"]) for found in record["choices"]]
    if pairs:
        ax.plot(*zip(*pairs, strict=True), ".", color=GREEN, markersize=6, label="catalogue steps that pass")
    chosen = record.get("chosen")
    if chosen is not None:
        spot = (chosen["capacity_kw"], chosen["storage_litres"])
        ax.plot(*spot, "*", color=RED, markersize=14, label="chosen", gid="chosen")
        spread = chosen.get("least_storage_litres")
        if spread is not None:
            needs = [need for need in spread["by_seed"].values() if need is not None]
            _needs(ax, chosen["capacity_kw"], spread, needs)
    for p in points[::2]:
        if p["storage_litres"] is not None:
            ax.annotate(
                f"{p['run_hours']:.0f} h",
                (p["capacity_kw"], p["storage_litres"]),
                xytext=(0, 5),
                textcoords="offset points",
                ha="center",
                fontsize=7,
                color=BLUE,
            )
    ax.set_xlabel("Capacity of all modules at the rating [kW]; at the curve, hours of it for the largest day")
    ax.set_ylabel("Store [L]")
    ax.set_ylim(bottom=0.0)
    ax.grid(color="0.9", linewidth=0.6)
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.12), ncols=2)
    days = record["design_days"]
    what = f"Storage against capacity on {', '.join(days['cold_days'])} (mean {degrees(days['mean_c'])})"
    choice = f"; chosen: {_plant(chosen)}" if chosen is not None else ""
    drawn = record["draws"]
    years = "" if drawn is None else f" in {drawn['years']} years of draws ({drawn['may_fail']} may fail)"
    head(figure, record, f"{what}\nCriterion: {', '.join(record['criterion'])}{years}{choice}")
