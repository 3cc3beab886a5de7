"""Other ways to a plant-year, each on its own terms: C, a general-purpose solver, a spreadsheet.

None of them is the package's march over again; each says what it leaves out. Every one is checked before its
time counts: a balance that closes, or the same sums by other means.
"""

import ctypes
import os
import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from hpwhsim.plant.assemble import Assembly

Array = NDArray[np.float64]

HERE = Path(__file__).parent
GCC = ["gcc", "-O3", "-march=native", "-std=c99", "-shared", "-fPIC"]
RHO_CP = 4.13e6  # J/m3/K
CLOSES = 1e-9  # of the heat: what a year in C may leave open
SOLVED = 1e-3  # of the heat: the same of the solver, whose tolerance is 1e-4 K


class Missing(Exception):
    """A program that is not on this machine, or a result that does not hold; the message says which."""


class Timed(NamedTuple):
    """One way to a plant-year."""

    run: Callable[[], float]  # ms of processor time per plant-year, once
    note: str


# -- C -----------------------------------------------------------------------------------------------

SUMS = ("electricity", "heat", "backup", "taps", "loss", "loop", "change", "events", "layers")
SIDE, SOURCE_LOW, WATER_LOW, STEP = 32, -25.0, 0.0, 2.5


class _Plant(ctypes.Structure):
    _fields_ = [
        *((name, ctypes.c_double) for name in ("volume", "height", "loss", "room")),
        *((name, ctypes.c_double) for name in ("setpoint", "dead_band", "start", "stop")),
        *((name, ctypes.c_double) for name in ("loop_loss", "loop_return", "loop_port")),
        *((name, ctypes.c_double) for name in ("modules", "lowest_source")),
        *((name, ctypes.c_double) for name in ("backup_power", "backup_above")),
        ("most", ctypes.c_long),
    ]


class _Map(ctypes.Structure):
    _fields_ = [
        ("heat", ctypes.c_void_p),
        ("power", ctypes.c_void_p),
        *((name, ctypes.c_double) for name in ("source_low", "water_low", "step")),
        ("side", ctypes.c_long),
    ]


def in_c(assembly: "Assembly", folder: Path) -> Timed:
    """The year of `layers_year.c` with weather, cold water and draws of a plant, compiled into `folder`.

    Raises
    ------
    Missing
        Without gcc, or where the year does not close.
    """
    if shutil.which("gcc") is None:
        raise Missing("gcc is not installed")
    file = folder / "layers_year.so"
    subprocess.run([*GCC, "-o", str(file), str(HERE / "layers_year.c"), "-lm"], check=True)
    library = ctypes.CDLL(str(file))
    source_c = SOURCE_LOW + STEP * np.arange(SIDE)[:, None]
    water_c = WATER_LOW + STEP * np.arange(SIDE)[None, :]
    heat = 24e3 * np.clip(1.0 + 0.018 * (source_c - 7.0) - 0.004 * (water_c - 10.0), 0.2, 3.0)  # invented
    cop = np.clip(3.7 + 0.055 * (source_c - 7.0) - 0.045 * (water_c - 10.0), 1.2, 8.0)
    power = np.ascontiguousarray(heat / cop)
    plant, drive = assembly.plant, assembly.drive
    setpoint = float(assembly.start[0])
    made = _Plant(
        *(plant.column.volume, plant.column.volume / plant.column.area, plant.column.loss, plant.column.room),
        *(setpoint, 10.0, 0.5, 0.15),
        *(float(drive.loop_loss.max()), 51.1, 0.8),
        *(float(plant.modules), -15.0, plant.backup_power, 0.7, 28),
    )
    table = _Map(heat.ctypes.data, power.ctypes.data, SOURCE_LOW, WATER_LOW, STEP, SIDE)
    permitted = np.array([hour not in (17, 18, 19) for hour in range(24)], dtype=np.uint8)
    arrays = [ctypes.c_void_p(each.ctypes.data) for each in (drive.source, drive.mains, drive.use, permitted)]
    hours, parts = drive.source.size, drive.use.size // drive.source.size
    sums = np.zeros(len(SUMS))

    held = heat, power, permitted  # the library has their addresses

    def run(_: tuple[Array, ...] = held) -> float:
        begun = time.process_time()
        library.year(
            *(ctypes.byref(made), ctypes.byref(table), *arrays),
            *(ctypes.c_long(hours), ctypes.c_long(parts), ctypes.c_void_p(sums.ctypes.data)),
        )
        return 1e3 * (time.process_time() - begun)

    run()
    year = dict(zip(SUMS, sums.tolist(), strict=True))
    given = year["heat"] + year["backup"]
    open_share = (given - sum(year[name] for name in ("taps", "loss", "loop", "change"))) / given
    if not abs(open_share) <= CLOSES:
        raise Missing(f"the year of layers_year.c leaves {open_share:.1e} of its heat open")
    note = (
        f"{year['events']:,.0f} events, balance {open_share:.0e}; no frost, staging, timers, hourly accounts"
    )
    return Timed(run, note)


# -- a general-purpose solver ------------------------------------------------------------------------

DAYS, NODES = 3, 48


def by_solver(assembly: "Assembly") -> Timed:
    """A column of 48 nodes by `solve_ivp` of scipy: draws of a plant's winter days, conduction, standby loss.

    Each day begins hot and is not charged: what is timed is the store alone. LSODA, no step longer than a
    draw's 5 minutes, tolerance 1e-4 K.
    """
    from scipy.integrate import solve_ivp

    column, drive = assembly.plant.column, assembly.drive
    hot, size = float(assembly.start[0]), column.volume / NODES
    parts = drive.use.size // drive.source.size
    span, high = 3600.0 / parts, column.volume / column.area / NODES
    share = column.loss / NODES / (RHO_CP * size)
    along = column.diffusivity / high**2

    def day(number: int) -> float:
        """Heat left open by the day, over what was drawn."""
        first = 24 * number
        flow = drive.use[first * parts : (first + 24) * parts] / span / size  # contents a second
        cold = float(drive.mains[first : first + 24].mean())

        def change(at: float, state: Array) -> Array:
            node = state[:NODES]
            here = flow[min(int(at / span), flow.size - 1)]
            out = np.empty(NODES + 2)
            below = np.concatenate(([cold], node[:-1]))
            steps = np.diff(node)
            out[:NODES] = here * (below - node) - share * (node - column.room)
            out[: NODES - 1] += along * steps
            out[1:NODES] -= along * steps
            out[NODES] = here * (node[-1] - cold)  # drawn, K of a node
            out[NODES + 1] = share * (node - column.room).sum()  # lost
            return out

        start = np.concatenate((np.full(NODES, hot), (0.0, 0.0)))
        found = solve_ivp(
            *(change, (0.0, 86400.0), start), method="LSODA", max_step=span, rtol=1e-6, atol=1e-4
        )
        if not found.success:
            raise Missing(f"solve_ivp: {found.message}")
        end = found.y[:, -1]
        return float((start[:NODES] - end[:NODES]).sum() - end[NODES] - end[NODES + 1]) / float(end[NODES])

    def run() -> float:
        begun = time.process_time()
        open_share = max(abs(day(number)) for number in range(DAYS))
        spent = time.process_time() - begun
        if not open_share <= SOLVED:
            raise Missing(f"solve_ivp leaves {open_share:.1e} of the heat open")
        return 1e3 * spent * 365 / DAYS

    return Timed(run, f"LSODA, {NODES} nodes, {DAYS} days times 365/{DAYS}; the store alone, no machine")


# -- a spreadsheet -----------------------------------------------------------------------------------

ROWS = 8760
ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>"""
"""LibreOffice recalculates what it loads."""
HEAT_KW, SETPOINT, BAND, BACKUP_KW = 48.0, 65.0, 10.0, 30.0  # two modules, invented


def sheet(path: Path, assembly: "Assembly", rows: int) -> None:
    """A workbook of one mixed tank by the hour: a row for each, its formulas without values."""
    import xlsxwriter

    drive = assembly.drive
    litres = 1e3 * drive.use.reshape(drive.source.size, -1).sum(axis=1)
    book = xlsxwriter.Workbook(str(path))
    page = book.add_worksheet("year")
    kwh_per_k = RHO_CP * assembly.plant.column.volume / 3.6e6
    heads = ("air", "cold", "litres", "start", "on", "COP", "heat pump", "backup", "electricity", "end")
    page.write_row(0, 0, heads)
    page.write(0, len(heads), f"=SUM(I2:I{rows + 1})")
    for k in range(rows):
        n = k + 2
        page.write_row(k + 1, 0, (float(drive.source[k]), float(drive.mains[k]), float(litres[k])))
        before = f"J{n - 1}" if k else f"{SETPOINT}"
        was_on = f"E{n - 1}" if k else "0"
        drawn = f"C{n}*{RHO_CP / 3.6e9!r}*MAX(D{n}-B{n},0)+{assembly.plant.column.loss / 1e3!r}*(D{n}-20)"
        loop = f"{float(drive.loop_loss.max()) / 1e3!r}"
        page.write_formula(k + 1, 3, f"={before}", None, "")
        page.write_formula(
            k + 1, 4, f"=IF(D{n}<{SETPOINT - BAND},1,IF(D{n}>={SETPOINT - 1},0,{was_on}))", None, ""
        )
        page.write_formula(k + 1, 5, f"=MAX(1.2,MIN(8,3.7+0.055*(A{n}-7)-0.045*(D{n}-10)))", None, "")
        page.write_formula(k + 1, 6, f"=E{n}*IF(A{n}<-15,0,{HEAT_KW}*(1+0.018*(A{n}-7)))", None, "")
        page.write_formula(k + 1, 7, f"=IF(D{n}<{SETPOINT - BAND - 6},{BACKUP_KW},0)", None, "")
        page.write_formula(k + 1, 8, f"=G{n}/F{n}+H{n}", None, "")
        page.write_formula(k + 1, 9, f"=D{n}+(G{n}+H{n}-({drawn})-{loop})/{kwh_per_k!r}", None, "")
    book.close()


def sheet_kwh(assembly: "Assembly") -> float:
    """The electricity of `sheet` by the same equations in Python. [kWh]"""
    drive, column = assembly.drive, assembly.plant.column
    litres = 1e3 * drive.use.reshape(drive.source.size, -1).sum(axis=1)
    kwh_per_k, loop = RHO_CP * column.volume / 3.6e6, float(drive.loop_loss.max()) / 1e3
    now, on, bought = SETPOINT, 0.0, 0.0
    for air, cold, used in zip(drive.source.tolist(), drive.mains.tolist(), litres.tolist(), strict=True):
        on = 1.0 if now < SETPOINT - BAND else 0.0 if now >= SETPOINT - 1.0 else on
        cop = max(1.2, min(8.0, 3.7 + 0.055 * (air - 7.0) - 0.045 * (now - 10.0)))
        heat = 0.0 if air < -15.0 else on * HEAT_KW * (1.0 + 0.018 * (air - 7.0))
        backup = BACKUP_KW if now < SETPOINT - BAND - 6.0 else 0.0
        bought += heat / cop + backup
        drawn = used * (RHO_CP / 3.6e9) * max(now - cold, 0.0) + column.loss / 1e3 * (now - 20.0)
        now += (heat + backup - drawn - loop) / kwh_per_k
    return bought


def by_spreadsheet(assembly: "Assembly", folder: Path) -> Timed:
    """LibreOffice on a workbook of 8,760 rows, less the same on one row.

    Raises
    ------
    Missing
        Without LibreOffice, or where what it calculates is not the sum of the same equations in Python.
    """
    office = shutil.which("soffice") or shutil.which("libreoffice")
    if office is None:
        raise Missing("LibreOffice (soffice) is not installed")
    home = folder / "office"
    (home / "user").mkdir(parents=True)
    (home / "user" / "registrymodifications.xcu").write_text(ALWAYS)
    for name, rows in (("year", ROWS), ("row", 1)):
        sheet(folder / f"{name}.xlsx", assembly, rows)

    def convert(name: str) -> float:
        """Processor time of one conversion. [s]"""
        child = subprocess.Popen(
            [
                *(office, "--headless", f"-env:UserInstallation={home.resolve().as_uri()}"),
                *("--convert-to", "csv", "--outdir", str(folder), str(folder / f"{name}.xlsx")),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode != 0:
            raise Missing(f"{office} failed")
        return usage.ru_utime + usage.ru_stime

    convert("row")  # makes its profile
    expected = sheet_kwh(assembly)

    def run() -> float:
        spent = 1e3 * (convert("year") - convert("row"))
        first = (folder / "year.csv").read_text().splitlines()[0]
        found = float(first.rsplit(",", 1)[1])
        if not abs(found / expected - 1.0) <= 1e-6:  # the cell shows 10 digits
            raise Missing(f"LibreOffice calculates {found} kWh, the same equations in Python give {expected}")
        return spent

    return Timed(
        run,
        "8,760 rows of 7 formulas, loaded, recalculated, saved; one mixed tank by the hour, COP by formula",
    )


def version(*command: str) -> str | None:
    """The first number with points in what a program says of its version; None: not installed."""
    if shutil.which(command[0]) is None:
        return None
    with tempfile.TemporaryDirectory() as home:
        said = subprocess.run(
            command, capture_output=True, text=True, check=False, env={**os.environ, "HOME": home}
        ).stdout
    found = re.search(r"\d+(\.\d+)+", said)
    return found[0] if found else None
