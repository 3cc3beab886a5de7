"""Grids by number, region and file: published factors, the loss of the grid, and what is refused."""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.gases import Gases
from hpwhsim.account.grid import read_grid
from hpwhsim.errors import InputError
from hpwhsim.tables import read_table
from hpwhsim.verification.shared_tables import rows

pytestmark = pytest.mark.published

LB_PER_MWH = 0.45359237 / 1e3  # kg/kWh; NIST SP 811 appendix B.8


def egrid(references: Path, year: str) -> list[dict[str, str]]:
    text = (references / "egrid.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in text if not line.startswith("#"))
    return [row for row in rows if row["data_year"] == year]


def test_all_27_regions_meet_the_co2e_of_epa(references: Path) -> None:
    """eGRID2023 revision 2: EPA prints CO2e apart from the three gases; they must meet by AR5, 28 and 265.

    Rounding: half a thousandth of a lb/MWh in each of four figures, 0.0005 (1 + 28 + 265 + 1) = 0.1475.
    """
    rows = [row for row in egrid(references, "2023") if row["subregion"] != "US"]
    assert len(rows) == 27
    for row in rows:
        grid = read_grid(f"{row['subregion']} 2023", basis="AR5-100", loss=0.0)
        published = float(row["co2e_ar5_lb_per_MWh"]) * LB_PER_MWH
        assert grid.kgco2e_per_kwh[0, 0] == pytest.approx(published, abs=0.1475 * LB_PER_MWH)
        assert grid.gases is not None
        assert grid.gases.co2 == pytest.approx(float(row["co2_lb_per_MWh"]) * LB_PER_MWH, rel=1e-12)


def test_factors_at_the_meter(references: Path) -> None:
    """Column kgco2e_per_kWh_delivered of the check table, generated over 1 less the gross loss, all rows.

    From EPA's own CO2e, so the rounding above, over 1 less the largest loss.
    """
    rows = egrid(references, "2023")
    assert len(rows) == 28
    for row in rows:
        grid = read_grid(row["subregion"], basis="AR5-100")
        assert grid.kgco2e_per_kwh[0, 0] == pytest.approx(
            float(row["kgco2e_per_kWh_delivered"]), abs=0.1475 * LB_PER_MWH / 0.956
        )
        assert grid.loss == float(row["grid_gross_loss"])
        assert grid.year == 2023


@pytest.mark.independent
def test_united_states_by_hand() -> None:
    """carbon.md section 5: 2023, 770.884 lb CO2e/MWh and 4.2 % of loss; a lumped figure stays lumped.

    770.884 x 0.45359237 / 1000 / 0.958 = 0.364997. 5e-7: its last digit.
    """
    for basis in ("AR5-100", "AR6-20"):
        grid = read_grid("US 2023", basis=basis)
        assert grid.kgco2e_per_kwh[0, 0] == pytest.approx(0.364997, abs=5e-7)
        assert grid.gases is None
        assert grid.basis == ""
        assert "AR5-100" in grid.source
    assert read_grid("us").year == 2023


@pytest.mark.parametrize(
    ("name", "region", "published"),
    [(row["asked"], row["region"], float(row["kgco2e_per_kwh"])) for row in rows("grid_factors")],
)
def test_other_countries(name: str, region: str, published: float) -> None:
    """shared/grid_factors.csv: one figure for all gases, without loss unless it is stated."""
    grid = read_grid(name)
    assert (grid.name, grid.gases, grid.loss) == (region, None, 0.0)
    assert grid.kgco2e_per_kwh[0, 0] == pytest.approx(published, rel=1e-12)
    assert "no grid loss" in grid.source
    stated = read_grid(name, loss=0.05)
    assert stated.kgco2e_per_kwh[0, 0] == pytest.approx(published / 0.95, rel=1e-12)
    assert "0.05, as stated" in stated.source


def test_a_loss_in_the_factor_is_not_counted_twice() -> None:
    """ECCC, Tables 5.1 to 5.4 are per kWh consumed: Ontario 0.030 in 2021, 0.073 in 2024, as they stand."""
    for name, published in (("Canada ON 2021", 0.030), ("Canada-ON", 0.073)):
        for loss in (None, 0.0):
            grid = read_grid(name, loss=loss)
            assert grid.kgco2e_per_kwh[0, 0] == published
            assert "loss is in it" in grid.source
        with pytest.raises(InputError, match=r"carbon.grid_loss: got 0.05 with Canada-ON .*is in it"):
            read_grid(name, loss=0.05)


@pytest.mark.independent
def test_a_number_with_its_unit() -> None:
    """860 lb/MWh x 0.45359237 kg/lb / 1000 = 0.3900894 kg/kWh."""
    assert read_grid("0.39 kg/kWh").kgco2e_per_kwh.tolist() == [[0.39]]
    grid = read_grid("860 lb/MWh", kind="marginal")
    assert grid.kgco2e_per_kwh[0, 0] == pytest.approx(0.39008943820, rel=1e-10)
    assert grid.kind == "marginal"


@pytest.mark.independent
def test_hours_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "hours.csv"
    path.write_text("# invented\nkg_per_kwh\n" + "\n".join(f"{h / 8760}" for h in range(8760)))
    grid = read_grid(path)
    assert grid.kgco2e_per_kwh.shape == (1, 8760)
    assert grid.kgco2e_per_kwh[0, 4380] == 0.5
    assert (grid.gases, grid.basis, grid.loss) == (None, "", 0.0)


@pytest.mark.independent
def test_years_from_a_file(tmp_path: Path) -> None:
    """Straight lines between the years, by hand: 0.5 in 2025 to 0.3 in 2030 is 0.04 less every year."""
    path = tmp_path / "years.csv"
    path.write_text("year,kg_per_kwh\n2025,0.5\n2030,0.3\n2040,0.1\n")
    grid = read_grid(str(path), service_years=8, first_year=2026)
    assert grid.kgco2e_per_kwh.shape == (8, 1)
    assert grid.kgco2e_per_kwh[:, 0] == pytest.approx([0.46, 0.42, 0.38, 0.34, 0.3, 0.28, 0.26, 0.24])
    assert grid.year == 2026
    assert read_grid(path, service_years=16).kgco2e_per_kwh[[0, 15], 0].tolist() == [0.5, 0.1]


@pytest.mark.contract
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("kg_per_kwh\n" + "0.4\n" * 8784, ["8784 rows", "8760", "29 February"]),
        ("kg_per_kwh\n" + "0.4\n" * 8759, ["8759 rows"]),
        ("factor\n0.4\n", ["unknown factor", "kg_per_kwh or year, kg_per_kwh"]),
        ("hour,kg_per_kwh\n0,0.4\n", ["hour", "year, kg_per_kwh"]),
        ("# head\nkg_per_kwh\n0.4\n-0.1\n", ["line 4", "-0.1"]),
        ("year,kg_per_kwh\n2030,0.4\n2025,0.5\n", ["line 3", "year", "later"]),
        ("year,kg_per_kwh\n2025.5,0.4\n", ["whole years"]),
        ("year,kg_per_kwh\n2025,0.4\n2035,0.2\n", ["2025 to 2035", "2025 to 2039"]),
    ],
)
def test_bad_files_are_refused(tmp_path: Path, text: str, words: list[str]) -> None:
    path = tmp_path / "grid.csv"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_grid(path, service_years=15)
    for word in ["grid.csv", *words]:
        assert word in str(caught.value)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("given_", "options", "words"),
    [
        ("RFCV", {}, ["RFCV", "did you mean RFC", "Canada-.."]),
        ("atlantis", {}, ["atlantis", "0.39 kg/kWh", "RFCW"]),
        ("RFCW 2024", {}, ["the year 2023"]),
        ("NT", {}, ["Canada-NT", "Australia-NT"]),
        ("RFCW", {"kind": "marginal"}, ["averages", "number or a CSV"]),
        ("RFCW", {"kind": "mean"}, ["average, marginal"]),
        ("RFCW", {"basis": "AR7-100"}, ["AR7-100", "AR6-20"]),
        ("RFCW", {"loss": 1.0}, ["loss", "below 1"]),
        ("0.39 kg/kWh", {"loss": 0.05}, ["region only"]),
        ("-0.1 kg/kWh", {}, ["-0.1", "0 kg/kWh or more"]),
        ("0.39", {}, ["unit"]),
        ("none.csv", {}, ["none.csv", "no such file"]),
    ],
)
def test_what_is_no_grid_is_refused(given_: str, options: dict[str, Any], words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        read_grid(given_, **options)
    assert "\n" not in str(caught.value)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.contract
def test_every_region_is_found_by_its_name() -> None:
    """27 eGRID subregions and the US, 27 states of the EU, UK, 13 of Canada, 8 rows of Australia."""
    rows = [*read_table("egrid"), *read_table("grid_other")]
    names = {row["region"] for row in rows}
    assert len(names) == 28 + 27 + 1 + 13 + 8
    for row in rows:
        assert read_grid(f"{row['region']} {row['year']}").name == f"{row['region']} {row['year']}"
    for name in names:
        assert 0.0 < float(read_grid(name).kgco2e_per_kwh[0, 0]) < 1.0


@pytest.mark.law
@given(st.floats(0.0, 0.9), st.sampled_from(["RFCW", "HIOA", "EU-PL"]))
def test_loss_only_adds(loss: float, region: str) -> None:
    """Law: what reaches the meter is what is generated less the loss, so factor x (1 - loss) is the same."""
    base = read_grid(region, loss=0.0).kgco2e_per_kwh
    lossy = read_grid(region, loss=loss).kgco2e_per_kwh
    assert np.allclose(lossy * (1.0 - loss), base, rtol=1e-12, atol=0.0)


@pytest.mark.law
@given(st.tuples(*[st.floats(0.0, 10.0)] * 3), st.floats(0.0, 100.0))
def test_gases_add_in_proportion(gases: tuple[float, float, float], factor: float) -> None:
    """Law: the sum is linear in the gases. 1e-12: rounding."""
    one = Gases(*gases)
    assert one.times(factor).kgco2e("AR6-20") == pytest.approx(factor * one.kgco2e("AR6-20"), rel=1e-12)
