"""Greenhouse gases of energy and refrigerant against worked examples, and what is refused."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from hpwhsim.account.carbon import operational_kgco2e, refrigerant_kgco2e
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.contract


@pytest.mark.published
def test_gwp_of_the_worked_example_is_the_published_one(references: Path) -> None:
    """The 2255.5 of the worked example is the mass-weighted sum of IPCC AR6 Table 7.SM.7 (gwp.csv)."""
    text = (references / "gwp.csv").read_text(encoding="utf-8").splitlines()
    rows = {row["substance"]: row for row in csv.DictReader(x for x in text if not x.startswith("#"))}
    half = [0.5 * float(rows[name]["gwp100_ar6"]) for name in ("R-32", "R-125")]
    assert sum(half) == float(rows["R-410A"]["gwp100_ar6"]) == 2255.5


@pytest.mark.law
def test_energy_by_the_hour_meets_energy_by_the_year() -> None:
    """Law: with one factor all year the hours add to the year; and dirty hours count by their own use."""
    kwh = np.linspace(0.0, 3.0, 8760)
    assert operational_kgco2e(kwh, 0.4) == pytest.approx(0.4 * kwh.sum(), rel=1e-12)
    assert operational_kgco2e(kwh, np.full(8760, 0.4)) == pytest.approx(0.4 * kwh.sum(), rel=1e-12)
    factors = np.zeros(8760)
    factors[-1] = 0.7
    assert operational_kgco2e(kwh, factors) == pytest.approx(0.7 * 3.0, rel=1e-12)


@pytest.mark.law
@given(
    charge=st.floats(0.0, 1e3),
    gwp=st.floats(0.0, 1e4),
    leak=st.floats(0.0, 1.0),
    loss=st.floats(0.0, 1.0),
    years=st.floats(1.0, 40.0),
)
def test_nothing_is_lost_that_was_never_bought(
    charge: float, gwp: float, leak: float, loss: float, years: float
) -> None:
    """Law: over the service life the loss is at most the first charge and all the top-ups.

    1e-12, of the sum and of a kilogram: rounding, also of numbers that are next to nothing.
    """
    lost = years * refrigerant_kgco2e(charge, gwp, leak, loss, years)
    assert 0.0 <= lost <= charge * gwp * (1.0 + leak * years) * (1.0 + 1e-12) + 1e-12


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((-1.0, 1430.0, 0.03, 0.2, 15.0), ["charge", "-1"]),
        ((10.0, -1.0, 0.03, 0.2, 15.0), ["gwp", "-1"]),
        ((10.0, 1430.0, -0.01, 0.2, 15.0), ["annual_leak", "-0.01", "0 to 1"]),
        ((10.0, 1430.0, 3.0, 0.2, 15.0), ["annual_leak", "3", "0 to 1"]),  # 3 % written as 3
        ((10.0, 1430.0, 0.03, 1.2, 15.0), ["end_of_life_loss", "1.2", "0 to 1"]),
        ((10.0, 1430.0, 0.03, -0.2, 15.0), ["end_of_life_loss", "-0.2"]),
        ((10.0, 1430.0, 0.03, 0.2, 0.0), ["service_years", "0"]),
        ((float("nan"), 1430.0, 0.03, 0.2, 15.0), ["charge", "nan"]),
        ((10.0, 1430.0, 0.03, 0.2, float("inf")), ["service_years", "inf"]),
    ],
)
def test_impossible_refrigerant_is_refused(values: tuple[float, ...], words: list[str]) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        refrigerant_kgco2e(*values)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("kwh", "factor", "words"),
    [
        (-1.0, 0.4, ["energy", "-1"]),
        (1.0, -0.4, ["carbon.grid", "-0.4"]),
        ([1.0, float("nan")], 0.4, ["energy", "nan"]),
        ([1.0, 2.0], [0.4, float("inf")], ["carbon.grid", "inf"]),
        (100.0, [0.4, 0.5], ["carbon.grid", "2 factors", "1 values"]),  # a year's sum by two factors
        ([1.0, 2.0, 3.0], [0.4], ["carbon.grid", "1 factors", "3 values"]),
    ],
)
def test_impossible_energy_is_refused(kwh: ArrayLike, factor: ArrayLike, words: list[str]) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        operational_kgco2e(kwh, factor)
    for word in words:
        assert word in str(caught.value)
