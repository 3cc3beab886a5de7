"""Maps built from ratings: exact at the rating, close to the cycle between nodes, refused when impossible."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
import pytest

from hpwhsim.errors import InputError
from hpwhsim.heatpump import rated
from hpwhsim.heatpump.anchor import Rating, anchor_many, anchor_one, lorenz_cop
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.evaporator import coil_at, solve_with_coil, taken
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.heatpump.rated import fit_one, map_from_ratings

pytestmark = pytest.mark.law


def map_from_cycle(*args: Any, **options: Any) -> PerformanceMap:
    """The map alone of a fit."""
    return fit_one(*args, **options).machine


class Forgetful(dict[str, object]):
    """Holds nothing, so that what is asked for again is read from the disk."""

    def __setitem__(self, key: str, value: object) -> None:
        pass


@pytest.fixture
def empty_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own; other tests have maps as those of years do, kept by the text of what made them."""
    monkeypatch.setattr(platformdirs, "user_cache_dir", lambda name: str(tmp_path / name))
    monkeypatch.setattr(rated, "_latest", Forgetful())
    return tmp_path / "tankyear" / "maps"


@pytest.mark.slow
def test_rating_is_reproduced_exactly() -> None:
    """Off the nodes, too: the map is scaled so that the linear look-up gives the rating to rounding.

    1e-8: maps are kept with 9 significant digits, and four corners of one stand behind a look-up.
    """
    for refrigerant, cop, point in (
        ("R-744", 4.2, (6.7, 9.3, 65.0)),
        ("R-290", 3.4, (7.2, 14.9, 65.0)),
        ("R-454B", 3.3, (7.0, 10.0, 65.0)),
    ):
        m = map_from_cycle(refrigerant, 18.6e3, cop, *point, 65.0)
        capacity, power, inside = look_up(m, *point)
        assert inside
        assert capacity == pytest.approx(18.6e3, rel=1e-8)
        assert capacity / power == pytest.approx(cop, rel=1e-8)


@pytest.mark.slow
@pytest.mark.independent
def test_other_outlet_than_rated() -> None:
    """Rated at 60 °C, run at 80 °C: COP and inlet as the cycle says, and lower than at the rating."""
    m = map_from_cycle("R-744", 20e3, 4.2, 7.0, 10.0, 60.0, 80.0)
    assert not look_up(m, 7.0, 10.0, 60.0)[2]
    capacity, power, inside = look_up(m, 7.0, 10.0, 80.0)
    assert inside
    assert 3.3 < capacity / power < 4.2


@pytest.mark.slow
@pytest.mark.independent
@pytest.mark.parametrize(
    ("refrigerant", "cop", "outlet"),
    [
        pytest.param("R-744", 4.2, 50.0, marks=pytest.mark.long),
        ("R-744", 4.2, 60.0),
        pytest.param("R-744", 3.4, 65.0, marks=pytest.mark.long),
        ("R-744", 4.2, 80.0),
        ("R-134a", 3.2, 60.0),
        ("R-290", 3.2, 65.0),
        ("R-410A", 3.2, 55.0),
    ],
)
def test_interpolation_error(refrigerant: str, cop: float, outlet: float) -> None:
    """Linear look-up against the cycle at 1500 random points: at most 0.5 %, and 0.1 % for 99 of 100.

    The points have 60 evaporating temperatures; the source follows from the heat that the coil takes there.

    The requirement on the map is 0.5 %. Fewer than 2 of 100 working points are lost in cells at a limit, none
    is gained.
    """
    machine = rated._machine(refrigerant, 10.0, 5.0, False, None, "test")
    rating = Rating(7.0, 10.0, 60.0, 1.0, cop)
    high_side = sample(machine)
    anchored = anchor_one(machine, high_side, rating, "test")
    m = rated._map(anchored, high_side, (outlet,), "single-pass", 5.0, rating, "test")
    rng = np.random.default_rng(11)
    evaporating = rng.choice(rng.uniform(-45.0, machine.limits.highest_evaporating_c, 60), 1500)
    inlet = rng.uniform(0.0, outlet - 3.0, 1500)
    exact = solve(replace(anchored.machine, approach_k=0.0), high_side, evaporating, inlet, outlet)
    coil = anchored.coil
    source = evaporating + coil.approach_k / coil.heat * taken(anchored.machine, exact)
    works = np.isfinite(source)
    # where it cannot work evaporating at this, a source no warmer than that leaves it colder still
    source = np.where(works, source, evaporating)
    inside = (source >= -40.0) & (source <= 45.0)
    capacity, power = np.array([look_up(m, s, i, outlet)[:2] for s, i in zip(source, inlet, strict=True)]).T
    mapped = np.isfinite(capacity)
    assert not (mapped & ~works & inside).any()
    assert (works & ~mapped & inside).sum() < 0.02 * (works & inside).sum()
    mapped &= inside & works
    for error in (
        np.abs(capacity / (anchored.swept * exact.volumetric) - 1.0)[mapped],
        np.abs(capacity / power / exact.cop - 1.0)[mapped],
    ):
        assert error.max() < 5e-3
        assert np.quantile(error, 0.99) < 1e-3


@pytest.mark.slow
@pytest.mark.parametrize("refrigerant", ["R-744", "R-290", "R-407C"])
def test_laws_over_the_whole_map(refrigerant: str) -> None:
    """COP rises with source, falls with inlet, capacity rises with source, and nothing exceeds Lorenz.

    1e-4: resolution of the solver's searches. Above the highest evaporating temperature all is constant.
    """
    m = map_from_cycle(
        refrigerant, 20e3, 3.8 if refrigerant == "R-744" else 3.2, 7.0, 10.0, 60.0, [55.0, 60.0]
    )
    cop = m.capacity_w / m.power_w
    both = np.isfinite(cop[1:]) & np.isfinite(cop[:-1])
    assert (cop[1:] / cop[:-1])[both].min() > 1.0 - 1e-4
    assert (m.capacity_w[1:] / m.capacity_w[:-1])[both].min() > 1.0 - 1e-4
    both = np.isfinite(cop[:, 1:]) & np.isfinite(cop[:, :-1])
    assert (cop[:, 1:] / cop[:, :-1])[both].max() < 1.0 + 1e-4
    both = np.isfinite(cop[:, :, 1]) & np.isfinite(cop[:, :, 0])
    assert (cop[:, :, 1] / cop[:, :, 0])[both].max() < 1.0 + 1e-4
    for k, outlet in enumerate(m.water_out_c):
        for i, s in enumerate(m.source_c[::10]):
            for j, inlet in enumerate(m.water_in_c[::10]):
                found = cop[i * 10, j * 10, k]
                assert np.isnan(found) or found < lorenz_cop(s, inlet, outlet)


@pytest.mark.slow
@pytest.mark.published
@pytest.mark.parametrize(
    ("refrigerant", "cop", "low", "high"),
    [("R-744", 3.6, 0.48, 0.56), ("R-134a", 2.7, 0.88, 0.93), ("R-134a", 4.0, 0.76, 0.88)],
)
def test_warm_inlet_hurts_r744_most(refrigerant: str, cop: float, low: float, high: float) -> None:
    """Inlet 10 to 45 °C: R-744 -47 % at source 0 °C, R-134a -9 %, or -24 % with full subcooling.

    That is cycles.md section 6. At source 7 °C, outlet 60 °C, its grid gives 0.50, 0.91 (B) and 0.76 (A).
    R-134a of COP 4.0 has better exchangers than the first and not yet all the subcooling of the second, so
    it lies between. Some points each way for the other efficiency and approach of these machines.
    """
    m = map_from_cycle(refrigerant, 20e3, cop, 7.0, 10.0, 60.0, 60.0)
    cold, warm = (look_up(m, 7.0, i, 60.0) for i in (10.0, 45.0))
    assert low < (warm[0] / warm[1]) / (cold[0] / cold[1]) < high


@pytest.mark.long
def test_better_rating_means_better_exchangers_without_a_jump() -> None:
    """COP rated in steps of 1 %: COP away from the rating moves with it, never down, by 3 % at most at once.

    3 %: where cold water is what the better exchanger lives on, a rated 1 % is worth up to that elsewhere.
    """
    machine = rated._machine("R-134a", 10.0, 5.0, False, None, "test")
    high_side = sample(machine)
    away = []
    for cop in 1.8 * 1.01 ** np.arange(95):
        anchored = anchor_one(machine, high_side, Rating(7.0, 10.0, 60.0, 1.0, float(cop)), "test")
        assert abs(anchored.cop_residual[0]) < 1e-4
        there = (anchored.coil, [0.0, 20.0, 7.0], [10.0, 10.0, 45.0], 60.0)
        away.append(solve_with_coil(anchored.machine, high_side, *there)[0].cop)
    step = np.diff(np.log(away), axis=0)
    assert step.min() > -1e-4  # resolution of the search for the evaporating temperature
    assert step.max() < 0.03


@pytest.mark.slow
@pytest.mark.contract
def test_multi_pass_and_wrapped() -> None:
    """The outlet follows from the inlet: any outlet is accepted, and COP falls as the tank warms."""
    for side in ("multi-pass", "wrap-around"):
        m = map_from_cycle("R-290", 10e3, 3.0, 7.0, 45.0, 50.0, 60.0, water_side=side)
        found = [look_up(m, 7.0, i, 60.0) for i in (20.0, 35.0, 50.0)]
        assert all(inside for _, _, inside in found)
        cop = [c / p for c, p, _ in found]
        assert cop[0] > cop[1] > cop[2]
        assert not look_up(m, 7.0, 62.0, 67.0)[2]
    multi = map_from_cycle("R-290", 10e3, 3.0, 7.0, 45.0, 50.0, 60.0, water_side="multi-pass")
    capacity, power, _ = look_up(multi, 7.0, 45.0, 50.0)
    assert capacity / power == pytest.approx(
        3.0, rel=1e-3
    )  # 45 to 50 °C is on a node, the cycle is exact there


@pytest.mark.slow
@pytest.mark.independent
def test_several_points_are_met_by_least_squares() -> None:
    """Ratings made with a known machine are found again; with noise, residuals stay near the noise."""
    truth = rated._machine("R-290", 7.3, 5.0, False, None, "test").with_scale(0.83)
    places = [(-7.0, 10.0, 60.0), (2.0, 10.0, 60.0), (7.0, 10.0, 55.0), (20.0, 15.0, 65.0)]
    coil = coil_at(truth, sample(truth), places[0])
    at, _ = solve_with_coil(truth, sample(truth), coil, *np.array(places).T)
    ratings = [
        Rating(*p, float(v) / 100.0, float(c)) for p, v, c in zip(places, at.volumetric, at.cop, strict=True)
    ]
    usual = rated._machine("R-290", 10.0, 5.0, False, None, "test")
    anchored = anchor_many(usual, sample(usual), ratings, "test")
    assert anchored.machine.compressor.scale == pytest.approx(0.83, abs=0.003)
    fitted = map_from_ratings("R-290", ratings, 60.0)
    assert fitted.approach_k == pytest.approx(7.3, abs=0.05)  # the search ends 0.02 K wide
    assert np.abs(fitted.cop_residual).max() < 2e-3
    assert look_up(fitted.machine, 2.0, 10.0, 60.0)[0] == pytest.approx(ratings[1].capacity_w, rel=3e-3)
    noisy = [r._replace(cop=r.cop * f) for r, f in zip(ratings, (1.04, 0.96, 1.04, 0.96), strict=True)]
    other = map_from_ratings("R-290", noisy, 60.0)
    assert 0.01 < np.abs(other.cop_residual).max() < 0.08


@pytest.mark.slow
def test_a_fitted_map_is_kept_with_its_residuals(empty_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second call builds nothing and gives the same; another rating is another machine."""
    ratings = [Rating(-7.0, 10.0, 60.0, 8e3, 2.4), Rating(7.0, 10.0, 60.0, 11e3, 3.2)]
    first = map_from_ratings("R-290", ratings, 60.0)
    build = rated.anchor_many
    monkeypatch.setattr(rated, "anchor_many", None)
    again = map_from_ratings("R-290", ratings, 60.0)
    assert same(first.machine, again.machine)
    assert again.approach_k == first.approach_k
    np.testing.assert_array_equal(first.cop_residual, again.cop_residual)
    np.testing.assert_array_equal(first.capacity_residual, again.capacity_residual)
    monkeypatch.setattr(rated, "anchor_many", build)
    other = map_from_ratings("R-290", [ratings[0], ratings[1]._replace(cop=3.3)], 60.0)
    assert other.cop_residual[1] != first.cop_residual[1]


@pytest.mark.slow
@pytest.mark.contract
@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"refrigerant": "R-22"}, ("refrigerant", "R-22", "not known")),
        ({"cop": 12.0}, ("cop", "12", "Lorenz", "11.")),
        ({"cop": 9.0}, ("cop", "9", "beyond reach", "perfect")),
        ({"cop": 0.0}, ("cop", "above 0")),
        ({"capacity_w": float("nan")}, ("capacity", "above 0")),
        ({"rated_water_in_c": 60.0}, ("rated_at", "above water_in")),
        (
            {"refrigerant": "R-410A", "cop": 2.5, "outlet_c": 80.0, "water_side": "multi-pass"},
            ("outlet_temperature", "R-410A", "80", "71.34"),
        ),
        (
            {"refrigerant": "R-134a", "cop": 2.2, "rated_source_c": -25.0},
            ("rated_at", "pressure ratio", "limit of 8"),
        ),
        ({"refrigerant": "R-717", "cop": 1.5}, ("cop", "1.5", "too low", "50%")),
        ({"outlet_c": 140.0}, ("outlet_temperature", "15 to 100")),
        ({"outlet_c": [65.0, 60.0]}, ("outlet_temperature", "ascend")),
        ({"injection": True}, ("injection", "R-744")),
        ({"water_side": "multi-pass", "rise_k": 0.0}, ("rise",)),
        ({"approach_k": -1.0}, ("approach",)),
    ],
)
def test_impossible_ratings_are_refused(changed: dict[str, object], said: tuple[str, ...]) -> None:
    """One line that names the key, what was given and what is allowed. Lorenz at 7 °C, 10 to 60 °C: 11.1."""
    given: dict[str, object] = {
        "refrigerant": "R-744",
        "capacity_w": 20e3,
        "cop": 4.2,
        "rated_source_c": 7.0,
        "rated_water_in_c": 10.0,
        "rated_water_out_c": 60.0,
        "outlet_c": 60.0,
    }
    with pytest.raises(InputError) as caught:
        map_from_cycle(**(given | changed))
    for part in ("plant.heat_pump", *said):
        assert part in str(caught.value)
    assert "\n" not in str(caught.value)


def same(a: PerformanceMap, b: PerformanceMap) -> bool:
    return all(np.array_equal(x, y, equal_nan=True) for x, y in zip(a, b, strict=True))


@pytest.mark.slow
def test_cache_gives_the_same_map_and_survives_damage(
    empty_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Built, loaded, damaged and rebuilt, and built where nothing can be written: one and the same map."""
    first = map_from_cycle("R-134a", 20e3, 3.2, 7.0, 10.0, 60.0, 60.0)
    (held,) = empty_cache.glob("*")
    built: list[int] = []
    monkeypatch.setattr(rated, "sample", lambda machine: built.append(1) or sample(machine))
    assert same(first, map_from_cycle("R-134a", 20e3, 3.2, 7.0, 10.0, 60.0, 60.0))
    assert not built
    whole = held.read_bytes()
    for damage in (b"", b"not an archive", whole[: len(whole) // 2]):
        held.write_bytes(damage)
        assert same(first, map_from_cycle("R-134a", 20e3, 3.2, 7.0, 10.0, 60.0, 60.0))
    assert len(built) == 3
    double = map_from_cycle("R-134a", 40e3, 3.2, 7.0, 10.0, 60.0, 60.0)
    assert len(built) == 3  # capacity only scales
    np.testing.assert_allclose(double.capacity_w, 2.0 * first.capacity_w, rtol=1e-15)
    assert not same(first, map_from_cycle("R-134a", 20e3, 3.1, 7.0, 10.0, 60.0, 60.0))
    assert len(built) == 4
    file = empty_cache.parent / "file"
    file.write_text("no folder can be made below a file")
    monkeypatch.setattr(platformdirs, "user_cache_dir", lambda name: str(file / name))
    assert same(first, map_from_cycle("R-134a", 20e3, 3.2, 7.0, 10.0, 60.0, 60.0))


@pytest.mark.slow
@pytest.mark.contract
def test_import_and_cached_map_leave_heavy_libraries_alone(empty_cache: Path) -> None:
    """Neither module nor cached map imports CoolProp or scipy."""
    map_from_cycle("R-290", 20e3, 3.2, 7.0, 10.0, 60.0, 60.0)
    code = (
        "import sys, platformdirs\n"
        f"platformdirs.user_cache_dir = lambda name: {str(empty_cache.parent.parent)!r} + '/' + name\n"
        "from hpwhsim.heatpump.rated import fit_one\n"
        "fit_one('R-290', 20e3, 3.2, 7.0, 10.0, 60.0, 60.0)\n"
        "sys.exit('CoolProp' in sys.modules or 'scipy.interpolate' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
