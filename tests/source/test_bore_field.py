"""The field's response against published g-functions, the cylinder source, and a worked sizing."""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pygfunction.borefield import Borefield
from pygfunction.gfunction import gFunction
from scipy.special import exp1

from hpwhsim.arrays import Array
from hpwhsim.climate.ground import SurfaceWave, ground_temperature
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.source.bore_field import (
    LONGEST_YEARS,
    Bores,
    Layout,
    Response,
    cylinder_g,
    g_function,
    make_field,
    undisturbed_ground,
)
from hpwhsim.verification.ground import ALPHA, FIELDS, RADIUS, ROCK, SPANS, YEAR

pytestmark = pytest.mark.published


def bores(rows: int, columns: int, spacing: float, length: float = 100.0) -> Bores:
    return Bores("rectangle", rows, columns, spacing, length, 2.0, RADIUS)


def read(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def at(response: Response, hours: float | list[float]) -> Array:
    """The g-function at whole hours, by way of the field's hourly steps."""
    one = make_field(bores(1, 1, 6.0), response, ROCK)
    return one.step[np.asarray(hours, dtype=np.int64)] * 2.0 * np.pi * ROCK * 100.0


def short_time(hours: float | list[float]) -> Array:
    """What a cylinder's surface answers beyond a line, in endless ground."""
    fourier = ALPHA * 3600.0 * np.atleast_1d(hours) / RADIUS**2
    return cylinder_g(fourier) - 0.5 * exp1(0.25 / fourier)


@pytest.fixture(scope="module")
def responses() -> dict[str, Response]:
    return {name: g_function(bores(*field), ALPHA) for name, field in FIELDS.items()}


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.parametrize("name", FIELDS)
def test_walls_at_one_temperature_fall_less(
    name: str, references: Path, responses: dict[str, Response]
) -> None:
    """Law: the even rate (own quadrature in ground_g_values.csv) over-predicts. 1e-4: five decimals."""
    rows = [r for r in read(references / "ground_g_values.csv") if r["field"] == name]
    even = {r["time"]: float(r["g"]) for r in rows if r["method"] == "own quadrature UHTR"}
    assert set(even) == set(SPANS)
    for time, rate in even.items():
        assert float(at(responses[name], SPANS[time])) <= (rate + float(short_time(SPANS[time])[0])) * 1.0001


@pytest.mark.slow
@pytest.mark.law
@pytest.mark.parametrize("name", ["4x4 B=6", "10x10 B=6"])
def test_settled_in_the_times_solved(name: str, responses: dict[str, Response]) -> None:
    """Half again as many times, starting elsewhere, change g by less than 0.1 % (asked: 1 %, 10 x 10 2 %).

    Few times bias the method: asking for the target years alone takes 3.6 % off 10 x 10 (ground-loop.md,
    section 3).
    """
    rows, columns, spacing = FIELDS[name]
    hours = np.geomspace(2.0, LONGEST_YEARS * YEAR, 300)
    field = Borefield.rectangle_field(columns, rows, spacing, spacing, 100.0, 2.0, RADIUS)
    options = {"nSegments": 12, "kClusters": 3}
    finer = gFunction(field, ALPHA, time=3600.0 * hours, method="equivalent", options=options).gFunc
    years = np.array([1.0, 5.0, 10.0, 20.0, 30.0, 49.0]) * YEAR
    found = at(responses[name], list(years)) - short_time(list(years))
    assert found == pytest.approx(np.interp(np.log(years), np.log(hours), finer), rel=1e-3)


@pytest.mark.independent
@pytest.mark.long
@pytest.mark.parametrize(("layout", "rows", "columns"), [("L", 2, 4), ("U", 3, 3), ("open-box", 3, 4)])
def test_other_layouts_bore_by_bore(layout: Layout, rows: int, columns: int) -> None:
    """Every bore solved by itself instead of in groups of like ones (method of similarities), at 100 times.

    0.2 %: 0.1 % for the times, as much for the grouping; asked is 1 %.
    """
    field = Bores(layout, rows, columns, 5.0, 120.0, 1.0, 0.06)
    build = {
        "L": Borefield.L_shaped_field,
        "U": Borefield.U_shaped_field,
        "open-box": Borefield.box_shaped_field,
    }
    single = build[layout](columns, rows, 5.0, 5.0, 120.0, 1.0, 0.06)
    hours = np.geomspace(24.0, 30 * YEAR, 60)
    right = gFunction(single, 0.8e-6, time=3600.0 * hours, method="similarities").gFunc
    fourier = 0.8e-6 * 3600.0 * hours / 0.06**2
    right += cylinder_g(fourier) - 0.5 * exp1(0.25 / fourier)
    whole = np.array([1.0, 10.0, 30.0]) * YEAR
    found = at(g_function(field, 0.8e-6), list(whole))
    assert found == pytest.approx(np.interp(np.log(whole), np.log(hours), right), rel=2e-3)


@pytest.mark.independent
@pytest.mark.parametrize("layout", ["rectangle", "L", "U", "open-box"])
@pytest.mark.parametrize("rows", [1, 2, 3, 5])
@pytest.mark.parametrize("columns", [1, 2, 4])
def test_count(layout: Layout, rows: int, columns: int) -> None:
    """The library's own layout, bore by bore."""
    build = {
        "rectangle": Borefield.rectangle_field,
        "L": Borefield.L_shaped_field,
        "U": Borefield.U_shaped_field,
        "open-box": Borefield.box_shaped_field,
    }
    assert Bores(layout, rows, columns, 5.0, 90.0, 1.0, 0.06).count == len(
        build[layout](columns, rows, 5.0, 5.0, 90.0, 1.0, 0.06)
    )


@pytest.mark.slow
def test_field_from_response(responses: dict[str, Response]) -> None:
    """K per W: g over 2 pi k and all metres. ground-loop.md: 4 x 4 after 30 y, k 2: 1.534 K per W/m.

    1 % as for g. More of steady heat always lowers the wall more.
    """
    layout = bores(4, 4, 6.0)
    field = make_field(layout, responses["4x4 B=6"], ROCK)
    assert field.step[int(30 * YEAR)] * layout.total_length == pytest.approx(1.534, rel=0.01)
    assert field.step.size == LONGEST_YEARS * YEAR + 2
    assert field.step[0] == 0.0
    assert field.hour_response == field.step[1]
    assert np.all(np.diff(field.step) > 0.0)
    assert make_field(layout, responses["4x4 B=6"], 4.0).step == pytest.approx(0.5 * field.step)


@pytest.mark.independent
def test_undisturbed_ground_hardly_swings() -> None:
    """Mean over the bore, day by day, from Kusuda and Achenbach's formula: steady to 0.15 K.

    A surface that swings by 12 K each way, 100 m of bore from 2 m down. Integrating the damped wave by hand
    gives a swing of 12 d exp(-2/d) / (sqrt(2) 100) K, d = sqrt(2 alpha / omega), met to 1 % (days two apart).
    """
    depth = np.linspace(2.0, 102.0, 20001)
    steady = undisturbed_ground(bores(4, 4, 6.0), SurfaceWave(10.0, 12.0, 35.0))
    along = [
        ground_temperature(depth, float(day), 10.0, 12.0, 35.0, ALPHA).mean() for day in range(0, 365, 2)
    ]
    damping = np.sqrt(2.0 * ALPHA / (2.0 * np.pi / (365.0 * 86400.0)))
    swing = np.abs(np.array(along) - steady).max()
    assert swing == pytest.approx(12.0 * damping * np.exp(-2.0 / damping) / (np.sqrt(2.0) * 100.0), rel=0.01)
    assert swing < 0.15


@pytest.mark.independent
def test_undisturbed_ground_with_a_gradient() -> None:
    """Mean of a straight line is its middle, by a fine sum (1e-9 for rounding)."""
    field = bores(4, 4, 6.0)
    depth = np.linspace(2.0, 102.0, 10001)
    rising = undisturbed_ground(field, SurfaceWave(10.0, 12.0, 35.0), gradient=0.025)
    assert rising == pytest.approx(float(np.mean(10.0 + 0.025 * depth)), abs=1e-9)


@pytest.mark.contract
def test_bad_input_is_named(responses: dict[str, Response]) -> None:
    ring: Any = "ring"
    with pytest.raises(InputError, match="layout 'ring'"):
        Bores(ring, 1, 1, 6.0, 100.0, 2.0, 0.075)
    with pytest.raises(OutOfRangeError, match="0 rows"):
        bores(0, 4, 6.0)
    with pytest.raises(OutOfRangeError, match=r"spacing of 0\.1"):
        bores(4, 4, 0.1)
    with pytest.raises(OutOfRangeError, match="length nan"):
        bores(4, 4, 6.0, np.nan)
    with pytest.raises(OutOfRangeError, match="diffusivity"):
        g_function(bores(1, 1, 6.0), 0.0)
    with pytest.raises(OutOfRangeError, match="conductivity"):
        make_field(bores(1, 1, 6.0), responses["1x1 B=6"], -2.0)
