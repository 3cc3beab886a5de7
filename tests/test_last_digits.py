"""What a year is simulated from holds no last digits, and the march calls nothing that rounds its own way."""

import ast
import math
from decimal import ROUND_HALF_EVEN, Context, Decimal
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from cases import ROOT
from hypothesis import given
from hypothesis import strategies as st

import hpwhsim
from hpwhsim import last_digits
from hpwhsim.last_digits import NUMBER_DIGITS, SERIES_DIGITS, digest, each, rounded, settled
from hpwhsim.plain_math import exponential, exponential_less_one, logarithm
from hpwhsim.plant import assemble as assembling
from hpwhsim.regression.compare import run_record
from hpwhsim.results.records import finite
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.contract

NUDGE = 1e-13
numbers = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30, max_value=1e30)


def one(value: float, digits: int) -> float:
    return float(rounded(np.array([value]), digits)[0])


@pytest.mark.law
@given(numbers, st.integers(1, 12))
def test_rounding_twice_is_rounding_once(value: float, digits: int) -> None:
    """A fixed point, and never further away than the place between two units where it turns: 0.53."""
    found = one(value, digits)
    assert one(found, digits) == found
    if abs(value) >= 1e-10:
        unit = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
        assert abs(found - value) <= 0.5301 * unit
    assert math.copysign(1.0, found) == math.copysign(1.0, value)


@pytest.mark.law
@given(st.integers(-99999, 99999), st.integers(-6, 6))
def test_a_typed_number_stays(whole: int, power: int) -> None:
    """What was written with up to five digits is the float of that text, before and after: 21.3, 45000."""
    typed = float(f"{whole}e{power}")
    assert one(typed, SERIES_DIGITS) == typed
    assert one(typed, NUMBER_DIGITS) == typed


@pytest.mark.independent
@given(numbers.filter(lambda v: 1e-9 < abs(v) < 1e9), st.sampled_from((SERIES_DIGITS, NUMBER_DIGITS)))
def test_digits_by_decimal_arithmetic(value: float, digits: int) -> None:
    """Python's decimal numbers, exact, give the same digits but where the boundary lies beside the half."""
    exact = Decimal(value)
    wanted = Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(exact)
    unit = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    off = abs(exact - wanted) / unit
    if off < Decimal("0.46"):
        assert one(value, digits) == float(wanted)


def test_halves_do_not_lie_on_a_boundary() -> None:
    """Means of round numbers end in 5 one digit further: a nudge of either sign does not part them."""
    halves = (np.arange(100000, 1000000, 7) + 0.5) / 1e4
    for sign in (-1.0, 1.0):
        assert np.array_equal(rounded(halves * (1.0 + sign * NUDGE), 6), rounded(halves, 6))


def test_what_is_no_number_stays() -> None:
    class Pair(NamedTuple):
        whole: int
        truth: bool
        text: str | None
        odd: float
        series: np.ndarray

    before = Pair(1234567890123, True, None, math.inf, np.array([np.nan, -np.inf, 0.0, 1.0 / 3.0]))
    after = settled((before, 2.0 / 3.0))
    assert after[0][:4] == before[:4]
    assert isinstance(after[0].truth, bool)
    assert after[0].series[2:].tolist() == [0.0, 0.333333333]  # a short array has the digits of a number
    assert np.isnan(after[0].series[0])
    assert after[0].series[1] == -np.inf
    assert after[1] == 0.666666667
    long = settled(np.full(last_digits.FEW + 1, 1.0 / 3.0))
    assert np.all(long == 0.333333)
    assert digest(after) != digest(settled((before, 0.666666668)))
    assert digest(after) == digest(settled((before, 2.0 / 3.0)))


@pytest.mark.independent
def test_chance_that_a_nudge_flips_a_value() -> None:
    """The module's formula, 3.9 e 10^(digits - 1), by trial at a nudge that flips enough: 3,900 of 1e6."""
    rng = np.random.default_rng(4)
    values = 10.0 ** rng.uniform(0.0, 3.0, 1_000_000)
    nudge = 1e-8
    flipped = rounded(values * (1.0 + nudge), 6) != rounded(values, 6)
    assert flipped.sum() == pytest.approx(3.9 * nudge * 1e5 * values.size, rel=0.06)


# --- the march's own exponential and logarithm


@pytest.mark.independent
@given(st.floats(-800.0, 720.0))
def test_exponential(x: float) -> None:
    """Against the C library's, which is good to one last digit: 1e-14 of it."""
    exact = math.exp(x) if x < 709.0 else math.inf
    if x < 709.0:
        assert exponential(x) == pytest.approx(exact, rel=1e-14, abs=5e-324)
        assert exponential_less_one(x) == pytest.approx(math.expm1(x), rel=1e-14)


@pytest.mark.independent
@given(st.floats(-30.0, 2.0))
def test_exponential_less_one_near_zero(power: float) -> None:
    for x in (10.0**power, -(10.0**power)):
        assert exponential_less_one(x) == pytest.approx(math.expm1(x), rel=1e-14)


@pytest.mark.independent
@given(st.floats(-300.0, 300.0))
def test_logarithm(power: float) -> None:
    x = 10.0**power
    assert logarithm(x) == pytest.approx(math.log(x), rel=1e-14, abs=1e-15)


def test_ends_of_exponentials() -> None:
    assert [exponential(x) for x in (-math.inf, 0.0, math.inf)] == [0.0, 1.0, math.inf]
    assert [exponential_less_one(x) for x in (-math.inf, 0.0, math.inf)] == [-1.0, 0.0, math.inf]
    assert math.isnan(exponential(math.nan))
    assert math.isnan(exponential_less_one(math.nan))
    assert logarithm(1.0) == 0.0


# of a C or vector library, with other last digits on another processor; sqrt is exact by IEEE 754
OWN_WAY = {
    *(
        "exp",
        "expm1",
        "exp2",
        "log",
        "log1p",
        "log2",
        "log10",
        "pow",
        "power",
        "float_power",
        "hypot",
        "cbrt",
    ),
    *("sin", "cos", "tan", "arcsin", "arccos", "arctan", "arctan2", "asin", "acos", "atan", "atan2"),
    *("sinh", "cosh", "tanh", "dot", "linalg", "einsum", "matmul"),
}


KERNELS = ("kernel", "kernel_apart", "kernel_entry")  # decorators of hpwhsim/kernel.py


def odd_calls(path: Path) -> list[str]:
    """Functions and powers in the kernels of a file that another processor may round otherwise."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FunctionDef):
            continue
        if not any(isinstance(d, ast.Name) and d.id in KERNELS for d in node.decorator_list):
            continue
        for inner in ast.walk(node):
            of = inner.value if isinstance(inner, ast.Attribute) else None
            if isinstance(of, ast.Name) and of.id in ("np", "math") and inner.attr in OWN_WAY:
                found.append(f"{path.name}: {node.name}: {inner.attr}")
            if isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.Pow | ast.MatMult):
                found.append(f"{path.name}: {node.name}: **")
    return found


def test_kernels_round_everywhere_alike() -> None:
    """No kernel calls what rounds its own way: IEEE 754 defines + - * / and roots to the last bit."""
    package = Path(hpwhsim.__file__).parent
    assert [call for path in sorted(package.rglob("*.py")) for call in odd_calls(path)] == []


def test_odd_calls_are_seen(tmp_path: Path) -> None:
    path = tmp_path / "odd.py"
    for name in KERNELS:
        text = f"@{name}\ndef f(x):\n    return np.exp(x) + x**3\n\n\ndef g(x):\n    return np.log(x)\n"
        path.write_text(text)
        assert sorted(odd_calls(path)) == ["odd.py: f: **", "odd.py: f: exp"]


# --- the same on every machine


@pytest.mark.law
@pytest.mark.year
@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_last_digits_reach_no_record(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every float of the set-up moved by +-1e-13 of itself, at random: the record is the same, bit for bit.

    Of some 2e5 values of a plant 0.01 lie so near to a boundary that they fall on its other side.
    """
    loaded = read_scenario(path)
    plain = finite(run_record(loaded))
    rng = np.random.default_rng(12)
    settle = last_digits.settled
    moved: list[int] = []

    def nudge(values: np.ndarray) -> np.ndarray:
        found = values * (1.0 + NUDGE * rng.choice([-1.0, 1.0], values.shape))
        moved.append(int((found != values).sum()))
        return found

    for name in ("settled", "settled_alike"):
        monkeypatch.setattr(assembling, name, lambda tree: settle(each(tree, nudge)))
    assert finite(run_record(loaded)) == plain
    assert sum(moved) > 20_000  # most of the hours' values, so that the test tries something
