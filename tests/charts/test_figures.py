"""Pictures: what is drawn is what was run; the same year gives the same file; nothing is loaded unasked."""

import struct
import subprocess
import sys
import warnings
from pathlib import Path
from types import ModuleType
from typing import Any

import matplotlib
import numpy as np
import pytest
from cases import CHICAGO, GREENSBORO, ROOT, central_air
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.patches import StepPatch

from hpwhsim.charts import cop_map
from hpwhsim.charts import year as figures
from hpwhsim.cli import main as cli
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.io import figures as drawing
from hpwhsim.page import page as html_page
from hpwhsim.plant.assemble import assemble
from hpwhsim.results import files
from hpwhsim.scenario.reading import Loaded, read_scenario
from hpwhsim.simulation.year import Year, run_year

pytestmark = [pytest.mark.contract, pytest.mark.year]
DEMO = ROOT / "scenarios" / "central-air.yaml"
RESISTANCE = ROOT / "scenarios" / "resistance.yaml"
Run = tuple[Year, Loaded]
OF_EVERY_PLANT = ["schematic.svg", "year.png", "weeks.png"]
OF_ANY_YEAR = {"cop_map.png", *OF_EVERY_PLANT}
IN_KIND = (  # invented overrides of the demo that change how the picture is made
    [],
    ["plant.backup.kind=gas", "plant.backup.power=8 kW", "plant.storage.volume=200 gal"],
    ["plant.heat_pump.fan_power=400 W", "plant.heat_pump.standby_power=20 W"],
    ["plant.heat_pump.pump_power=150 W", "plant.heat_pump.crankcase_power=60 W"],
)


def march(path: Path, *overrides: str) -> Run:
    loaded = read_scenario(path, overrides)
    return run_year(loaded), loaded


@pytest.fixture(scope="module")
def demo() -> Run:
    return march(DEMO)


@pytest.fixture(scope="module")
def resistance() -> Run:
    return march(RESISTANCE)


@pytest.fixture(scope="module")
def drawn(resistance: Run) -> dict[str, bytes]:
    """Pictures of the plant that has the fewest."""
    return draw(resistance)


def table_plant(folder: Path, rows: list[tuple[float, ...]], *overrides: str) -> Run:
    """The demo on an invented measured table."""
    lines = ["source_c,water_in_c,water_out_c,capacity_kw,power_kw"]
    lines += [",".join(f"{value!r}" for value in row) for row in rows]
    (folder / "machine.csv").write_text("\n".join(lines) + "\n")
    table = [f"plant.heat_pump.{key}=null" for key in ("capacity", "cop", "rated_at")]
    return march(DEMO, f"plant.heat_pump.table={folder / 'machine.csv'}", *table, *overrides)


def steps(figure: Figure, *names: str) -> dict[str, np.ndarray]:
    """Heights of the stacked steps of a figure by hourly variable."""
    found = {}
    for ax in figure.axes:
        for patch in ax.patches:
            if isinstance(patch, StepPatch) and patch.get_gid() in names:
                values, _, baseline = patch.get_data()
                key = str(patch.get_gid())
                assert key not in found, f"{key} is drawn twice"
                found[key] = values - (0.0 if baseline is None else baseline)
    return found


def draw(run: Run) -> dict[str, bytes]:
    """Draw all pictures, with every warning of the plotting library an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return figures.draw_pictures(run[0], run[1].scenario)


def chunks(png: bytes) -> list[tuple[bytes, bytes]]:
    """Chunks of a PNG file (ISO/IEC 15948, 5.3: length, type, data, check sum)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2
    found, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        found.append((png[at + 4 : at + 8], png[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


# -- files and option --------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_option_writes_and_lists_pictures(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """PNG pictures beside the results; a later run without them leaves no stale picture."""
    assert cli.main(["run", str(DEMO), "--out", str(tmp_path), "--pictures"]) == 0
    said = capsys.readouterr().out
    assert f"{files.PAGE} and {len(files.PICTURES)} pictures" in " ".join(said.split())
    for name in figures.CAPTIONS:
        kind, head = chunks((tmp_path / name).read_bytes())[0]
        assert kind == b"IHDR"
        width, height = struct.unpack(">II", head[:8])  # ISO/IEC 15948, 11.2.2
        assert width == 10 * drawing.DPI
        assert 6 * drawing.DPI <= height <= 9 * drawing.DPI
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*files.NAMES, *files.PICTURES, files.PAGE])
    assert cli.main(["run", str(RESISTANCE), "--out", str(tmp_path), "--pictures"]) == 0
    capsys.readouterr()
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*files.NAMES, *OF_EVERY_PLANT, files.PAGE])
    (tmp_path / "mine.png").write_bytes(b"not ours")
    assert cli.main(["run", str(DEMO), "--out", str(tmp_path)]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*files.NAMES, "mine.png"])


@pytest.mark.slow
def test_no_plotting_library_without_the_option(tmp_path: Path) -> None:
    """Its import alone takes longer than the march of a year (0.6 s on two cores).

    One process, which runs without the option and then, so that the test can fail, with it.
    """
    code = """
import sys
from pathlib import Path
from hpwhsim.cli.main import main
for option in ([], ["--pictures"]):
    assert main([*sys.argv[1:], *option]) == 0
    print("matplotlib" in sys.modules, Path(sys.argv[-1], "year.png").exists())
"""
    command = [sys.executable, "-c", code, "run", str(RESISTANCE), "--out", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found = [line for line in done.stdout.splitlines() if line.startswith(("True", "False"))]
    assert found == ["False False", "True True"]
    assert done.stderr == ""


def test_pictures_need_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["run", str(DEMO), "--json", "--pictures"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "--pictures" in said.err
    assert "--out" in said.err


@pytest.mark.slow
def test_a_failure_while_writing_a_picture_leaves_the_old_results(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk at the second picture: everything stays as it was and no part is left."""
    assert cli.main(["run", str(RESISTANCE), "--out", str(tmp_path)]) == 0
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    capsys.readouterr()
    write = Path.write_bytes

    def full(path: Path, data: bytes) -> int:
        if path.name == "year.png":
            raise OSError(28, "No space left on device")
        return write(path, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    changed = ["--set", "plant.storage.volume='400 gal'"]
    assert cli.main(["run", str(RESISTANCE), "--out", str(tmp_path), "--pictures", *changed]) == 2
    assert "No space left" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize(("where", "what"), [(figures, "weeks_figure"), (html_page, "page")])
def test_a_failure_while_drawing_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    where: ModuleType,
    what: str,
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("the pen broke")

    monkeypatch.setattr(where, what, fail)
    out = tmp_path / "results"
    assert cli.main(["run", str(RESISTANCE), "--out", str(out), "--pictures"]) == 3
    assert "the pen broke" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.slow
@pytest.mark.law
def test_same_year_same_bytes_whatever_the_user_set(resistance: Run, drawn: dict[str, bytes]) -> None:
    """No text chunk (software, date) is in the file, and the user's settings neither count nor change."""
    with matplotlib.rc_context({"font.size": 25.0, "axes.facecolor": "red", "savefig.dpi": 40}):
        mine = dict(matplotlib.rcParams)
        assert draw(resistance) == drawn
        assert dict(matplotlib.rcParams) == mine
    for png in [content for name, content in drawn.items() if name.endswith(".png")]:
        assert {kind for kind, _ in chunks(png)} <= {b"IHDR", b"pHYs", b"IDAT", b"IEND"}


def test_a_plant_without_heat_pump_has_no_map_of_cop(resistance: Run, drawn: dict[str, bytes]) -> None:
    assert resistance[0].machine is None
    assert list(drawn) == OF_EVERY_PLANT


# -- the map of COP ----------------------------------------------------------------------------------


def map_figure(run: Run) -> Figure:
    year, loaded = run
    assert year.machine is not None
    with drawing.house_style():
        return cop_map.cop_map_figure(year, year.machine, loaded.scenario)


def panel(figure: Figure, label: str) -> Any:
    """The axes of a mosaic by name."""
    return next(ax for ax in figure.axes if ax.get_label() == label)


@pytest.mark.independent
def test_bubbles_are_the_heat_of_the_hours(demo: Run) -> None:
    """Area and place of every bubble against sums over the hours, made here square by square."""
    year, _ = demo
    figure = map_figure(demo)
    (bubbles,) = (c for c in panel(figure, "map").collections if c.get_gid() == "hours")
    squares: dict[tuple[float, float], float] = {}
    names = ("source_c", "water_in_c", "heat_pump_heat_kwh")
    for source, inlet, heat in zip(*(year.hourly[name] for name in names), strict=True):
        if np.isfinite(inlet):
            at = tuple((np.floor(value / cop_map.BIN) + 0.5) * cop_map.BIN for value in (source, inlet))
            squares[at] = squares.get(at, 0.0) + heat
    drawn = dict(zip(map(tuple, bubbles.get_offsets().tolist()), bubbles.get_sizes(), strict=True))
    fullest = max(squares.values())
    assert drawn == pytest.approx({at: h / fullest * cop_map.BIGGEST for at, h in squares.items()}, rel=1e-9)
    total = sum(drawn.values()) * fullest / cop_map.BIGGEST
    assert total == pytest.approx(year.record["heat_pump_heat_kwh"], rel=1e-9)


@pytest.mark.law
def test_heat_beside_the_map_adds_up(demo: Run) -> None:
    """Both histograms hold the year's heat of the heat pump, the upper one that of the backup too."""
    record: dict[str, Any] = demo[0].record
    figure = map_figure(demo)
    heat = record["heat_pump_heat_kwh"]
    by_source, both = (p.get_data() for p in panel(figure, "by_source").patches)
    (by_inlet,) = (p.get_data() for p in panel(figure, "by_inlet").patches)
    assert by_source.values.sum() == pytest.approx(heat, rel=1e-9)
    assert by_inlet.values.sum() == pytest.approx(heat, rel=1e-9)
    assert both.values.sum() == pytest.approx(heat + record["backup_heat_kwh"], rel=1e-9)
    words = " ".join(text.get_text() for text in panel(figure, "text").texts)
    assert f"COP {record['cop_heat_pump']:.2f}" in words
    assert "not shown" not in words


@pytest.mark.independent
def test_contours_run_where_the_march_finds_that_cop(demo: Run) -> None:
    """Look-up of the march at the vertices of each line; the line is straight over cells of 0.5 K.

    Along an edge of a cell COP bends by less than 0.01 (power and capacity are linear there, not COP).
    """
    machine = demo[0].machine
    assert machine is not None
    (lines,) = (
        c for c in panel(map_figure(demo), "map").collections if isinstance(c, ContourSet) and not c.filled
    )
    checked = 0
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        for source, inlet in path.vertices[:: max(1, len(path.vertices) // 40)]:
            capacity, power, _ = look_up(machine, float(source), float(inlet), 65.0)
            if np.isfinite(capacity):  # a vertex on the rim of the working range rounds to either side
                assert capacity / power == pytest.approx(level, abs=0.01)
                checked += 1
    assert checked > 200


def assert_as_march(machine: PerformanceMap, run: Run) -> None:
    """`cop_surface` against the compiled look-up at random points inside and outside the axes."""
    _, loaded = run
    dice = np.random.default_rng(3)
    source, inlet = np.sort(dice.uniform(-45.0, 50.0, 60)), np.sort(dice.uniform(0.0, 70.0, 60))
    source[:2], inlet[:2] = machine.source_c[:2], machine.water_in_c[:2]  # nodes too
    source, inlet = np.sort(source), np.sort(inlet)
    leaving = cop_map.outlet_c(loaded.scenario, inlet)
    cop = cop_map.cop_surface(machine, source, inlet, leaving)
    assert cop.shape == (60, 60)
    assert np.isfinite(cop).sum() > 300
    warmest = machine.water_in_c[-1] + 0.1 if machine.water_in_c.size > 1 else np.inf
    for i, water_in in enumerate(inlet):
        for j, air in enumerate(source):
            capacity, power, _ = look_up(machine, air, water_in, leaving[i])
            stands = air < machine.source_c[0] - 0.1 or water_in > warmest or np.isnan(leaving[i])
            expected = np.nan if stands else capacity / power
            assert cop[i, j] == pytest.approx(expected, rel=1e-9, nan_ok=True)


@pytest.mark.slow
@pytest.mark.independent
def test_surface_is_the_look_up_of_the_march(demo: Run, tmp_path: Path) -> None:
    """Single pass from a cycle, passes from a table with a hole, a table with an axis of outlets."""
    assert demo[0].machine is not None
    assert_as_march(demo[0].machine, demo)
    passes = [
        (s, i, i + 6.0, 20.0 + 0.3 * s, (20.0 + 0.3 * s) / (2.6 + 0.04 * s - 0.01 * i))
        for s in (-10.0, 0.0, 7.0, 35.0)
        for i in (10.0, 30.0, 55.0, 62.0)
        if (s, i) != (-10.0, 62.0)
    ]
    run = table_plant(tmp_path, passes, "plant.heat_pump.condenser=multi-pass", "plant.heat_pump.rise=4 K")
    assert run[0].machine is not None
    assert np.isnan(run[0].machine.water_out_c).all()
    assert_as_march(run[0].machine, run)
    assert set(draw(run)) == OF_ANY_YEAR
    outlets = [
        (s, i, o, 20.0, 20.0 / (3.0 + 0.04 * s - 0.01 * i - 0.02 * (o - 60.0)))
        for s in (-10.0, 35.0)
        for i in (5.0, 58.0)
        for o in (60.0, 70.0)
    ]
    run = table_plant(tmp_path, outlets)
    assert run[0].machine is not None
    assert_as_march(run[0].machine, run)


@pytest.mark.independent
def test_the_rated_point_lies_on_its_cop(demo: Run) -> None:
    """The demo is rated COP 3.7 at 7 °C from 10 to 65 °C: the surface says so there, and a mark stands.

    To 1e-5: the search for the best pressure of R-744 ends where COP is that flat.
    """
    year, loaded = demo
    assert year.machine is not None
    inlet = np.array([10.0])
    cop = cop_map.cop_surface(year.machine, np.array([7.0]), inlet, cop_map.outlet_c(loaded.scenario, inlet))
    assert cop[0, 0] == pytest.approx(3.7, rel=1e-5)
    ax = panel(map_figure(demo), "map")
    marks = [line for line in ax.lines if str(line.get_label()).startswith("rated")]
    assert [tuple(line.get_xydata()[0]) for line in marks] == [(7.0, 10.0)]
    assert "COP 3.7" in marks[0].get_label()


@pytest.mark.independent
@pytest.mark.parametrize(
    "overrides",
    [[], ["plant.heat_pump.min_source=null"], ["plant.controls.lock_out_below=-5 degC"]],
)
def test_lowest_source_is_that_of_the_plant(overrides: list[str]) -> None:
    """Drawn from scenario and map; the plant that is marched finds it on its own."""
    scenario = read_scenario(DEMO, overrides).scenario
    plant = assemble(scenario, read_weather(CHICAGO)).plant
    assert cop_map.lowest_source_c(plant.machine, scenario) == plant.lowest_source


@pytest.mark.long
@pytest.mark.parametrize(
    "rows",
    [
        [(s, i, 65.0, 40.0, 40.0 / 3.0) for s in (-20.0, 45.0) for i in (0.0, 60.0)],
        [(s, 15.0, 65.0, 40.0, 40.0 / (3.0 + 0.03 * s)) for s in (-20.0, 0.0, 30.0)],
    ],
    ids=["one COP", "one inlet"],
)
def test_plain_tables_are_drawn(tmp_path: Path, rows: list[tuple[float, ...]]) -> None:
    """A constant has no contours, and a single inlet holds for all: drawn without a warning, with heat."""
    run = table_plant(tmp_path, rows)
    assert set(draw(run)) == OF_ANY_YEAR
    (heat,) = (p.get_data().values for p in panel(map_figure(run), "by_inlet").patches)
    assert heat.sum() == pytest.approx(run[0].record["heat_pump_heat_kwh"], rel=1e-9)


@pytest.mark.long
def test_wrapped_condenser_idle_machine_and_odd_titles_are_drawn(tmp_path: Path) -> None:
    """No inlet in the whole year, and a title that is no formula and partly beyond the font."""
    idle = march(DEMO, "plant.controls.lock_out_below=50 degC", "title='$5 {of $6_: \u6771\u4eac'")
    assert not np.isfinite(idle[0].hourly["water_in_c"]).any()
    assert set(draw(idle)) == OF_ANY_YEAR
    wrapped = march(
        DEMO,
        "plant.heat_pump.condenser=wrap-around",
        "plant.heat_pump.refrigerant=R-134a",
        "plant.storage.setpoint=60 degC",
        "plant.heat_pump.cop=2.6",
        "plant.heat_pump.rated_at.water_in=50 degC",
        "plant.heat_pump.rated_at.water_out=55 degC",
    )
    assert set(draw(wrapped)) == OF_ANY_YEAR
    assert panel(map_figure(wrapped), "map").get_ylabel() == "Water at the condenser [°C]"


# -- year and weeks ----------------------------------------------------------------------------------

MADE = ("heat_pump_heat_kwh", "backup_heat_kwh")
USED = ("heat_to_taps_kwh", "recirculation_loss_kwh", "storage_loss_kwh")


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.parametrize("overrides", IN_KIND)
def test_days_add_up_to_the_year(overrides: list[str]) -> None:
    """Each part against its figure in the record; heat made less heat used is the store's change (first law).

    What is bought must be all of it, so a new kind of electricity cannot be forgotten here.
    """
    year, _ = march(DEMO, *overrides)
    record: dict[str, Any] = year.record
    figure = figures.year_figure(year)
    heat = steps(figure, *MADE, *USED)
    for name in MADE:
        assert heat[name].sum() == pytest.approx(record[name], rel=1e-9)
    for name in USED:
        assert -heat[name].sum() == pytest.approx(record[name], rel=1e-9)
    made = sum(record[name] for name in MADE)
    change = sum(part.sum() for part in heat.values())
    assert change == pytest.approx(record["store_change_kwh"], abs=1e-6 * made)
    bought = steps(figure, *(name for name, _, _ in figures.PURCHASED))
    daily = sum(bought.values())
    everything = (year.hourly["electricity_kwh"] + year.hourly["fuel_kwh"]).reshape(365, 24).sum(axis=1)
    assert daily == pytest.approx(everything, rel=1e-9, abs=1e-9)
    (peak,) = steps(figure, "power_peak_kw").values()
    assert peak.max() == pytest.approx(record["peak_kw"], rel=1e-12)
    assert [ax.get_ylim()[0] for ax in figure.axes[2:]] == [0.0, 0.0]
    days = [line for line in figure.axes[1].lines if line.get_gid() == "lockout_hours"]
    barred = np.flatnonzero(year.hourly["lockout_hours"].reshape(365, 24).sum(axis=1) > 0.0)
    assert (days[0].get_xdata() - 0.5).tolist() == barred.tolist()


@pytest.mark.independent
def test_coldest_and_warmest_week() -> None:
    """Two invented cold periods, and both against a search over every week of two real climates."""
    air = np.full(8760, 10.0)
    air[100 * 24 : 107 * 24] = 5.0
    air[102 * 24] = -30.0
    air[358 * 24 :] = 20.0
    assert figures.coldest_and_warmest(air) == (100, 358)
    for path in (CHICAGO, GREENSBORO):
        air = np.asarray(read_weather(path)["dry_bulb_c"].values)
        means = [air[day * 24 : day * 24 + 168].mean() for day in range(359)]
        assert figures.coldest_and_warmest(air) == (int(np.argmin(means)), int(np.argmax(means)))


@pytest.mark.independent
def test_weeks_show_their_hours(demo: Run) -> None:
    """Air, store, power and marks of both columns are the run's; both columns share honest scales."""
    year, loaded = demo
    with drawing.house_style():
        figure = figures.weeks_figure(year, loaded.scenario)
    rows = np.array(figure.axes).reshape(4, 2)
    firsts = figures.coldest_and_warmest(year.hourly["dry_bulb_c"])
    for column, first in enumerate(firsts):
        hours = slice(first * 24, first * 24 + 168)
        air, store, _, bought = rows[:, column]
        lines = {str(line.get_label()): line.get_ydata() for ax in (air, store) for line in ax.lines}
        for label, name in (
            ("outdoor", "dry_bulb_c"),
            ("cold water", "mains_c"),
            ("mean", "store_mean_c"),
            ("bottom", "store_bottom_c"),
            ("at the heat pump", "water_in_c"),
        ):
            assert np.array_equal(lines[label], year.hourly[name][hours], equal_nan=True), name
        heights = {str(p.get_gid()): p.get_data() for p in bought.patches if p.get_gid()}
        peak = year.hourly["power_peak_kw"][hours]
        assert np.array_equal(heights["power_peak_kw"].values, peak)
        assert (heights["compressor_kwh"].values <= peak + 1e-9).all()
        (barred,) = (c for c in air.collections if c.get_gid() == "lockout_hours")
        (outline,) = barred.get_paths()
        x, y = outline.vertices.T
        area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))  # of a polygon: Gauss
        assert area == pytest.approx(year.hourly["lockout_hours"][hours].sum(), rel=1e-9)
        assert y.max() <= 1.0 + 1e-9
        assert bought.get_ylim()[0] == 0.0
        assert bought.get_ylim()[1] >= peak.max()
    # the shades, in shares of the panel, must not stretch its scale: it ends 5 % beyond what is drawn
    drawn = [line.get_ydata() for ax in rows[1] for line in ax.lines]
    low, high = rows[1, 0].get_ylim()
    assert low > np.nanmin(np.concatenate([np.ravel(y) for y in drawn])) - 0.06 * (high - low)
    monday = np.datetime64("2001-01-01") + firsts[0]
    text = [tick.get_text() for tick in rows[3, 0].get_xticklabels(minor=True)]
    assert text[0].split("\n")[1].split()[0] == str(monday)[-2:].lstrip("0")


@pytest.mark.independent
def test_a_constant_machine_is_drawn_at_its_cop(tmp_path: Path) -> None:
    """Electricity of the bars is heat of the bars over 3.0 (a table of one COP, no frost, no fans)."""
    import yaml

    path = tmp_path / "case.yaml"
    path.write_text(yaml.safe_dump(central_air(tmp_path)))
    year, _ = march(path)
    parts = steps(figures.year_figure(year), "heat_pump_heat_kwh", "compressor_kwh")
    assert parts["heat_pump_heat_kwh"] == pytest.approx(3.0 * parts["compressor_kwh"], rel=1e-9)
