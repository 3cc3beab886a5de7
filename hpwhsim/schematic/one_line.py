"""Electrical one-line of a plant: service, transformer, panel and circuits, as the site checks have them.

Symbols follow IEC 60617 (`iec-60617` of the sources) and were not held against it.
"""

from collections.abc import Mapping
from textwrap import wrap
from typing import TYPE_CHECKING, Any, NamedTuple

from hpwhsim.io.figures import head, house_style, svg
from hpwhsim.schematic.shapes import LINE, SMALL_LINE, Box, Pen
from hpwhsim.tables.sources import cited

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Record = Mapping[str, Any]

AMPACITY = "minimum circuit ampacity, "
WIDE, COLUMN, LEFT = 88.0, 20.0, 3.0
SERVICE_AT, BUS_AT, DEVICE_AT, LOAD_AT = 44.0, 27.0, 22.0, 12.0  # heights, downwards
SINGLE = 4  # modules whose circuits are drawn one by one; of more there is one, and how many are alike
LETTER = 0.5  # width of a letter of small text


class Branch(NamedTuple):
    """A circuit that leaves the plant's panel, or some that are alike."""

    name: str
    check: Record
    circuits: int  # alike
    motor: bool
    tag: str = ""


def one_line(record: Record, modules: int) -> "Figure | None":
    """The drawing; None where the scenario asks for no electrical checks.

    Parameters
    ----------
    record : mapping
        The annual record with its ``checks``.
    modules : int
        Heat-pump modules, each on a circuit of its own.
    """
    from matplotlib.figure import Figure

    checks = {str(row["name"]): row for row in record.get("checks", ())}
    plant = checks.get(f"{AMPACITY}plant")
    if plant is None:
        return None
    branches = _branches(checks, modules)
    wide = max(WIDE, 2.0 * LEFT + COLUMN * len(branches))
    column = (wide - 2.0 * LEFT) / max(len(branches), 1)
    with house_style():
        figure = Figure()
        ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        ax.set_axis_off()
        pen = Pen(ax)
        _supply(pen, checks, plant, 0.5 * wide)
        pen.stroke((LEFT, BUS_AT), (wide - LEFT, BUS_AT), width=3.0)
        pen.text(LEFT, BUS_AT + LINE + 0.4, [f"plant panel{_voltage(checks)}"])
        lowest = [
            _branch(pen, branch, LEFT + (at + 0.5) * column, column) for at, branch in enumerate(branches)
        ]
        foot = pen.text(
            LEFT - 1.0, min([*lowest, LOAD_AT]) - 0.8, wrap(_note(checks), int(wide * 2.0)), small=True
        )
        high = (SERVICE_AT + 3.0 - foot) / 10.0
        figure.set_size_inches(wide / 10.0, high + 0.85)
        ax.set_position((0.0, 0.2 / (high + 0.85), 1.0, high / (high + 0.85)))
        ax.set(xlim=(0.0, wide), ylim=(foot, SERVICE_AT + 3.0))
        head(figure, record, "Electrical one-line: currents and protective devices of the site checks")
    return figure


def one_line_svg(record: Record, modules: int) -> bytes | None:
    """The drawing as SVG, and the same in words; None where there is none."""
    figure = one_line(record, modules)
    if figure is None:
        return None
    rows = [row for row in record["checks"] if str(row["name"]).startswith(AMPACITY)]
    words = "; ".join(
        f"{str(row['name']).removeprefix(AMPACITY)}: {_amperes(row)}, {_device(row)}" for row in rows
    )
    words = f"Electrical one-line of the plant. Minimum circuit ampacities: {words}."
    return svg(figure, str(record["title"]), words)


def _branches(checks: Mapping[str, Record], modules: int) -> list[Branch]:
    found = []
    module = checks.get(f"{AMPACITY}one module")
    if module is not None and modules <= SINGLE:
        found = [Branch("heat pump", module, 1, True, f"HP-{n}") for n in range(1, modules + 1)]
    elif module is not None:
        found = [Branch("heat pumps", module, modules, True, f"HP-1 to HP-{modules}")]
    for name in ("resistance heaters", "heat trace"):
        if f"{AMPACITY}{name}" in checks:
            found.append(Branch(name, checks[f"{AMPACITY}{name}"], 1, False))
    return found


def _voltage(checks: Mapping[str, Record]) -> str:
    """Voltage and phases of the plant, as the check of its load says them."""
    load = checks.get("connected load")
    said = "" if load is None else str(load["source"]).partition(", power")[0].removeprefix("at ")
    return f", {said}" if said else ""


def _amperes(row: Record) -> str:
    return f"{row['value']:.4g} A"


def _device(row: Record) -> str:
    """What may protect a circuit: the first thing that its check says."""
    return str(row["limit"]).partition(";")[0]


def _supply(pen: Pen, checks: Mapping[str, Record], plant: Record, x: float) -> None:
    """Service, transformer where there is one, main device and panel."""
    building, service = checks.get("voltage of the building"), checks["plant on the building's service"]
    transformer = checks.get("transformer")
    words = []
    if building is not None and building["value"] is not None:
        words.append(f"{building['value']:g} V line to line")
    if service["limit_value"] is not None:
        words.append(f"can give {service['limit_value']:.4g} A; the plant takes {service['value']:.4g} A")
    else:
        words.append(f"the plant takes {service['value']:.4g} A")
    pen.stroke((x - 3.0, SERVICE_AT), (x + 3.0, SERVICE_AT), width=2.0)
    pen.text(x + 4.0, SERVICE_AT + 1.0, ["building's service", *words])
    pen.stroke((x, SERVICE_AT), (x, BUS_AT), zorder=4.0)
    if transformer is not None:
        for y in (39.6, 38.0):
            pen.disc(x, y, 1.2, zorder=4.5)
        pen.text(x + 4.0, 40.6, [f"transformer for {transformer['value']:.4g} kVA", _device(transformer)])
    _breaker(pen, x, 33.0)
    pen.text(x + 4.0, 34.6, [f"plant: {_amperes(plant)} at least", *wrap(_device(plant), 52)])


def _breaker(pen: Pen, x: float, y: float) -> None:
    """A gap in a line downwards, a cross at its fixed contact and a blade."""
    pen.box(Box(x - 0.4, y - 1.0, x + 0.4, y + 1.0), zorder=4.9, edgecolor="none")
    for side in (-1.0, 1.0):
        pen.stroke((x - 0.45, y + 1.0 - 0.45 * side), (x + 0.45, y + 1.0 + 0.45 * side), zorder=5.0)
    pen.stroke((x, y - 1.0), (x - 1.0, y + 0.9), zorder=5.0)


def _branch(pen: Pen, branch: Branch, x: float, column: float) -> float:
    """A circuit with its device and load in its column; returns where its text ends."""
    pen.stroke((x, BUS_AT), (x, LOAD_AT + 0.9))
    _breaker(pen, x, DEVICE_AT)
    if branch.circuits > 1:  # as many alike
        pen.stroke((x - 0.8, DEVICE_AT - 4.0), (x + 0.8, DEVICE_AT - 2.6), width=0.9)
        pen.text(x + 1.1, DEVICE_AT - 2.5, [f"{branch.circuits} circuits"])
    if branch.motor:
        pen.disc(x, LOAD_AT, 1.6, zorder=5.0)
        pen.text(x, LOAD_AT + 0.8, ["M"], align="center")
    else:
        pen.element(Box(x - 2.6, LOAD_AT - 0.9, x + 2.6, LOAD_AT + 0.9))
    each = " each" if branch.circuits > 1 else ""
    if branch.tag:
        pen.tag(x + 2.2, LOAD_AT + 0.7, branch.tag)
    below = pen.text(
        x, LOAD_AT - 2.4, [branch.name, f"{_amperes(branch.check)} at least{each}"], align="center"
    )
    lines = wrap(_device(branch.check), int((column - 2.0) / LETTER))
    return pen.text(x, below, lines, align="center", small=True) - SMALL_LINE


def _note(checks: Mapping[str, Record]) -> str:
    """What stands behind the numbers, and who decides."""
    load, full = checks.get("connected load"), checks.get("full-load current")
    said = []
    if load is not None and full is not None:
        powers = f"Connected load {load['value']:.4g} kVA, full-load current {full['value']:.4g} A"
        said.append(f"{powers}, {load['source']}.")
    said.append(
        f"Pumps are in the plant's ampacity. Symbols after {cited('[iec-60617]')}. Service voltage "
        "kills: the local electrical code, the nameplates and a licensed electrician decide."
    )
    return " ".join(said)
