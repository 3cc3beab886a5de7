"""The user's own performance table: grids, scattered points, and every way to get it wrong."""

from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import Rating
from hpwhsim.heatpump.maps import look_up
from hpwhsim.heatpump.measured import falling_cop, read_ratings, read_table
from hpwhsim.tables.usual_ranges import UNUSUAL

pytestmark = pytest.mark.contract

HEADER = "source_c,water_in_c,water_out_c,capacity_kw,power_kw\n"


def plane(source: float, water_in: float, water_out: float) -> tuple[float, float]:
    """Capacity and power [kW], linear in each: a linear look-up must give these exactly."""
    return 20.0 + 0.4 * source - 0.05 * water_in - 0.02 * water_out, 5.0 + 0.05 * water_out + 0.02 * water_in


def write(path: Path, points: list[tuple[float, float, float]]) -> Path:
    lines = [f"{s!r},{i!r},{o!r},{plane(s, i, o)[0]!r},{plane(s, i, o)[1]!r}" for s, i, o in points]
    path.write_text("# invented for this test\n" + HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.independent
def test_rated_points_of_a_file_by_hand(tmp_path: Path) -> None:
    """24 kW from 8 kW are a COP of 3, 30 kW from 7.5 kW one of 4."""
    path = tmp_path / "points.csv"
    path.write_text(HEADER + "-5,10,55,24,8\n7,12,60,30,7.5\n", encoding="utf-8")
    assert read_ratings(path) == [Rating(-5.0, 10.0, 55.0, 24e3, 3.0), Rating(7.0, 12.0, 60.0, 30e3, 4.0)]


@pytest.mark.independent
def test_full_grid_in_any_order(tmp_path: Path) -> None:
    """A linear function comes back to rounding at nodes and between them, whatever the order of rows."""
    points = [(s, i, o) for s in (-15.0, 0.0, 7.0, 30.0) for i in (5.0, 20.0, 45.0) for o in (55.0, 65.0)]
    rng = np.random.default_rng(3)
    table = read_table(write(tmp_path / "grid.csv", [points[k] for k in rng.permutation(len(points))]))
    assert table.capacity_w.shape == (4, 3, 2)
    for s, i, o in [*points, (3.3, 12.0, 58.0), (-14.9, 44.9, 64.9), (25.0, 5.0, 60.0)]:
        capacity, power, inside = look_up(table, s, i, o)
        assert inside
        assert (capacity, power) == pytest.approx(tuple(1e3 * x for x in plane(s, i, o)), rel=1e-12)


def test_outside_gives_the_nearest_edge_and_says_so(tmp_path: Path) -> None:
    """Nothing is extrapolated: the values of the edge, and ``inside`` false; 0.1 K is allowed to rounding."""
    points = [(s, i, 60.0) for s in (-15.0, 7.0, 30.0) for i in (5.0, 20.0, 45.0)]
    table = read_table(write(tmp_path / "grid.csv", points))
    for asked, edge, inside in [
        ((-25.0, 10.0, 60.0), (-15.0, 10.0, 60.0), False),
        ((40.0, 10.0, 60.0), (30.0, 10.0, 60.0), False),
        ((7.0, 2.0, 60.0), (7.0, 5.0, 60.0), False),
        ((7.0, 60.0, 60.0), (7.0, 45.0, 60.0), False),
        ((7.0, 10.0, 65.0), (7.0, 10.0, 60.0), False),
        ((7.0, 10.0, 60.05), (7.0, 10.0, 60.0), True),
        ((-15.05, 10.0, 60.0), (-15.0, 10.0, 60.0), True),
        ((float("nan"), 10.0, 60.0), (-15.0, 10.0, 60.0), False),
    ]:
        capacity, power, found = look_up(table, *asked)
        assert bool(found) is inside
        assert (capacity, power) == pytest.approx(tuple(1e3 * x for x in plane(*edge)), rel=1e-12)


@pytest.mark.slow
@pytest.mark.independent
def test_scattered_points_inside_their_hull_only(tmp_path: Path) -> None:
    """Linear between scattered points to rounding; NaN where the corner of the box holds no measurement."""
    rng = np.random.default_rng(5)
    points = [tuple(p) for p in rng.uniform((-15.0, 5.0, 50.0), (30.0, 45.0, 70.0), (60, 3))]
    points = [(float(s), float(i), float(o)) for s, i, o in points if s / 45.0 + i / 40.0 < 1.0]
    table = read_table(write(tmp_path / "points.csv", points))
    s, i, o = np.meshgrid(table.source_c, table.water_in_c, table.water_out_c, indexing="ij")
    filled = np.isfinite(table.capacity_w)
    assert 0.1 < filled.mean() < 0.9
    np.testing.assert_array_equal(filled, np.isfinite(table.power_w))
    expected = plane(s, i, o)
    np.testing.assert_allclose(table.capacity_w[filled], 1e3 * expected[0][filled], rtol=1e-9)
    assert np.isnan(look_up(table, 29.0, 44.0, 60.0)[0])


@pytest.mark.independent
def test_grid_with_a_gap_is_scattered(tmp_path: Path) -> None:
    """A grid that lacks one corner node: NaN there, every measured node kept."""
    points = [(s, i, 60.0) for s in (-15.0, 0.0, 15.0) for i in (5.0, 20.0, 45.0) if (s, i) != (-15.0, 45.0)]
    table = read_table(write(tmp_path / "gap.csv", points))
    assert table.capacity_w.shape == (3, 3, 1)
    assert np.isnan(table.capacity_w).sum() == 1
    for p in points:
        assert look_up(table, *p)[:2] == pytest.approx(tuple(1e3 * x for x in plane(*p)), rel=1e-9)
    assert np.isnan(look_up(table, -14.0, 40.0, 60.0)[0])


def test_multi_pass_table_has_a_fixed_rise(tmp_path: Path) -> None:
    """Outlet 5 K above inlet on every row: source and inlet decide, any outlet is accepted."""
    points = [(s, i, i + 5.0) for s in (-15.0, 7.0) for i in (30.0, 40.0, 50.0)]
    table = read_table(write(tmp_path / "multi.csv", points))
    assert table.capacity_w.shape == (2, 3, 1)
    capacity, _, inside = look_up(table, -4.0, 35.0, 60.0)
    assert inside
    assert capacity == pytest.approx(1e3 * plane(-4.0, 35.0, 40.0)[0], rel=1e-12)


GOOD = "-15,10,60,12.0,6.0\n7,10,60,20.0,5.0\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("source_c,water_in_c,capacity_kw\n7,10,20\n", ("water_out_c", "power_kw")),
        (HEADER + "7,10,60,20.0,5.0\n", ("source_c", "two or more")),
        (HEADER + GOOD + "0,10,60,0.0,5.0\n", ("line 4", "capacity_kw", "above 0")),
        (HEADER + GOOD + "0,10,60,16.0,-5.0\n", ("line 4", "power_kw", "above 0")),
        (HEADER + GOOD + "0,60,50,16.0,5.0\n", ("line 4", "water_out_c", "water_in_c (60) or more")),
        (HEADER + GOOD + "0,10,60,60.0,5.0\n", ("line 4", "12.00", "limit")),
        (HEADER + GOOD + "# note\n7,10,60,21.0,5.0\n", ("line 5", "line 3", "other values")),
        (HEADER + GOOD + "0,500,600,16.0,5.0\n", ("line 4", "water_in_c", "500")),
        (HEADER + "0,10,50,20,6\n10,20,57,20,6\n20,30,70,20,6\n", ("neither fill a grid",)),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, text: str, said: tuple[str, ...]) -> None:
    """File, line and column stand in the message; nothing else but an `InputError` leaves."""
    path = tmp_path / "wrong.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_table(path)
    for part in ("wrong.csv", *said):
        assert part in str(caught.value)


def test_one_repeated_row_is_one_point(tmp_path: Path) -> None:
    """The same row twice is harmless."""
    (tmp_path / "t.csv").write_text(HEADER + GOOD + "7,10,60,20.0,5.0\n", encoding="utf-8")
    assert look_up(read_table(tmp_path / "t.csv"), 7.0, 10.0, 60.0) == pytest.approx((20e3, 5e3, 1.0))


@pytest.mark.independent
def test_lorenz_limit_admits_one_pass_from_cold_water(tmp_path: Path) -> None:
    """COP 6.5 for 10 to 60 °C at 7 °C is above Carnot at the outlet (6.29) yet possible: Lorenz is 10.7."""
    (tmp_path / "t.csv").write_text(HEADER + "0,10,60,18,4\n7,10,60,32.5,5.0\n", encoding="utf-8")
    assert look_up(read_table(tmp_path / "t.csv"), 7.0, 10.0, 60.0)[0] == pytest.approx(32.5e3)


def table_of(path: Path, rows: list[tuple[float, float, float, float, float]]) -> Path:
    path.write_text(HEADER + "\n".join(",".join(map(repr, row)) for row in rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("row", "words"),
    [
        # interchanged; power in W; capacity in MW; just below what a heater gives
        ((7.0, 10.0, 65.0, 5.0, 18.0), ["columns capacity_kw and power_kw", "COP 0.278", "interchanged"]),
        ((7.0, 10.0, 65.0, 18.0, 5000.0), ["COP 0.0036", "1 or more", "in W"]),
        ((-25.0, 10.0, 65.0, 5.0, 5.02), ["COP 0.996", "1 or more"]),
        ((7.0, 10.0, 65.0, 18000.0, 5000.0), ["column capacity_kw", "18,000 kW", "18 kW if W were written"]),
    ],
)
def test_what_no_heat_pump_gives_is_refused(
    tmp_path: Path, row: tuple[float, float, float, float, float], words: list[str]
) -> None:
    """First law: a heat pump gives at least the heat of its compressor; no module of 18 MW heats a house."""
    path = table_of(tmp_path / "wrong.csv", [(0.0, 10.0, 65.0, 15.0, 5.0), row])
    with pytest.raises(InputError) as refused:
        read_table(path)
    for word in (*words, "wrong.csv: line 3"):
        assert word in str(refused.value)


def test_a_cop_of_just_one_is_read(tmp_path: Path) -> None:
    rows = [(-25.0, 10.0, 65.0, 5.0, 5.0), (7.0, 10.0, 65.0, 18.0, 5.0)]
    assert read_table(table_of(tmp_path / "cold.csv", rows)).source_c.tolist() == [-25.0, 7.0]


@pytest.mark.parametrize(
    ("cops", "fall"),
    [
        ((2.0, 2.6, 3.2), None),
        ((2.6, 2.55, 3.2), None),  # a scatter of 2 %
        ((2.6, 2.48, 2.36), (2.6, 2.36)),  # two steps of less than 5 % are one fall of 9 %
        ((3.2, 2.6, 2.0), (3.2, 2.0)),  # the sign of the source is wrong
        ((2.0, 3.2, 2.9), (3.2, 2.9)),
    ],
)
def test_a_cop_that_falls_while_the_source_warms_is_cautioned(
    tmp_path: Path, cops: tuple[float, ...], fall: tuple[float, float] | None
) -> None:
    """Carnot: at the same water a warmer source gives a higher COP; what tests scatter is let pass."""
    rows = [(s, 10.0, 65.0, 18.0, 18.0 / cop) for s, cop in zip((-10.0, 0.0, 10.0), cops, strict=True)]
    warmer_water = [(s, 30.0, 65.0, 18.0, 9.5 - 0.1 * s) for s in (-10.0, 0.0, 10.0)]
    path = table_of(tmp_path / "table.csv", [*rows[::-1], *warmer_water])
    said = falling_cop(path, "plant.heat_pump.table")
    if fall is None:
        assert said == []
        return
    (text,) = said
    assert text.startswith(
        f"{UNUSUAL}plant.heat_pump.table (table.csv): COP falls from {fall[0]:g} to {fall[1]:g}"
    )
    assert "source_c" in text


@given(st.lists(st.floats(1.2, 3.0), min_size=2, max_size=6), st.randoms())
def test_a_rising_cop_is_never_cautioned_in_any_order_of_rows(cops: list[float], order: Random) -> None:
    rows = [(5.0 * n, 10.0, 60.0, 10.0, 10.0 / cop) for n, cop in enumerate(sorted(cops))]
    order.shuffle(rows)
    with TemporaryDirectory() as folder:
        assert falling_cop(table_of(Path(folder) / "table.csv", rows), "key") == []
