"""Every form of incentive from the words of a file to the amount, by hand: in the engine and in the workbook.

A plant of 36 kW and 90,000 USD that saves 34,121.4163 kWh of site energy, which are 116.4271 MMBtu at
3412.14163 Btu/kWh (International Table, NIST SP 811), and 21,000 kWh of electricity.
"""

from typing import Any

import pytest

from hpwhsim.dossier.workbook.factor_rows import Page
from hpwhsim.dossier.workbook.formula import formula
from hpwhsim.dossier.workbook.life_cycle_sheet import SHEET
from hpwhsim.dossier.workbook.outlays import incentives as incentive_cells
from hpwhsim.dossier.workbook.sheets import Book
from hpwhsim.evaluation.costs import incentives
from hpwhsim.scenario.money import Costs

pytestmark = pytest.mark.independent

CAPITAL, KW, SITE_KWH, KWH = 90_000.0, 36.0, 34_121.4163, 21_000.0
SITE_MMBTU = SITE_KWH * 3412.14163 / 1e6
FORMS: list[tuple[dict[str, Any], float]] = [
    ({"lump_sum": "2,500 USD"}, 2500.0),
    ({"per_unit": "300 USD", "units": 12}, 3600.0),
    ({"per_capacity": "180 USD/kW"}, 6480.0),  # 180 x 36
    ({"per_capacity": "0.18 USD/W"}, 6480.0),
    ({"per_electricity_saved": "0.10 USD/kWh"}, 2100.0),
    ({"per_electricity_saved": "100 USD/MWh"}, 2100.0),
    ({"per_site_energy_saved": "25 USD/MMBtu"}, 25.0 * SITE_MMBTU),  # 2910.68 USD
    ({"per_site_energy_saved": "0.05 USD/kWh"}, 0.05 * SITE_KWH),  # 1706.07 USD
    ({"per_site_energy_saved": "2.5 USD/therm"}, 25.0 * SITE_MMBTU),  # ten therms in an MMBtu
    (
        {"lump_sum": "90,000 USD", "max_share": 0.3},
        27_000.0,
    ),  # a share of the capital, as a tax credit is written
    ({"lump_sum": "1000 USD", "per_unit": "50 USD", "units": 20, "per_capacity": "10 USD/kW"}, 2360.0),
    ({"per_site_energy_saved": "2000 USD/MMBtu", "max_share": 0.5}, 45_000.0),
    ({"per_electricity_saved": "90 USD/kWh"}, 90_000.0),  # never more than the capital
]


def costs(*written: dict[str, Any]) -> Costs:
    named = [{"name": f"invented {n}", **one} for n, one in enumerate(written)]
    return Costs.model_validate({"capital": f"{CAPITAL} USD", "incentives": named})


def in_workbook(of: Costs, site_mmbtu: float, kwh: float) -> list[float]:
    """What the formulas of the sheet come to."""
    page = Page(Book("invented", [SHEET], "letter"), SHEET)
    saved = {"site_mmbtu": formula(site_mmbtu), "electricity_kwh": formula(kwh)}
    return [cell.value for cell in incentive_cells(page, of, formula(CAPITAL), KW, saved)]


@pytest.mark.parametrize(("form", "amount"), FORMS, ids=lambda v: str(v)[:60])
def test_each_form_by_hand(form: dict[str, Any], amount: float) -> None:
    """1e-8: the nine digits of Btu in a kWh given above."""
    of = costs(form)
    (paid,) = incentives(of, KW, SITE_MMBTU, KWH).values()
    assert paid == pytest.approx(amount, rel=1e-8)
    assert in_workbook(of, SITE_MMBTU, KWH) == [pytest.approx(amount, rel=1e-8)]


@pytest.mark.law
@pytest.mark.parametrize("form", [form for form, _ in FORMS[4:9]], ids=str)
def test_twice_the_energy_saved_pays_twice(form: dict[str, Any]) -> None:
    of = costs(form)
    one, two = (sum(incentives(of, KW, n * SITE_MMBTU, n * KWH).values()) for n in (1, 2))
    assert two == pytest.approx(2.0 * one, rel=1e-12)
    assert one > 0.0
    assert sum(incentives(of, KW, -SITE_MMBTU, -KWH).values()) == 0.0
    assert in_workbook(of, -SITE_MMBTU, -KWH) == [0.0]


@pytest.mark.law
def test_all_together_pay_no_more_than_the_capital() -> None:
    """The first four and a credit of 30 %, in order: 2500 + 3600 + 6480 + 2100 + 27,000; then the rest."""
    of = costs(FORMS[0][0], FORMS[1][0], FORMS[2][0], FORMS[4][0], FORMS[9][0], {"lump_sum": "80,000 USD"})
    by_hand = [2500.0, 3600.0, 6480.0, 2100.0, 27_000.0, 48_320.0]
    assert list(incentives(of, KW, SITE_MMBTU, KWH).values()) == pytest.approx(by_hand, rel=1e-12)
    assert in_workbook(of, SITE_MMBTU, KWH) == pytest.approx(by_hand, rel=1e-12)
    assert sum(by_hand) == CAPITAL


def test_the_sheet_says_the_price_of_energy_as_it_is_quoted() -> None:
    """A cell that may be changed holds 25 USD/MMBtu where the file says so, or its like in USD/kWh."""
    for written in ("25 USD/MMBtu", f"{25.0 * 3412.14163e-6!r} USD/kWh"):
        book = Book("invented", [SHEET], "letter")
        given: dict[str, float] = {}
        page = Page(book, SHEET)
        put = page.given

        def noted(
            label: str,
            unit: str,
            value: float,
            name: str,
            source: str = "",
            put: Any = put,
            given: dict[str, float] = given,
        ) -> Any:
            given[f"{name} {unit}"] = value
            return put(label, unit, value, name, source)

        page.given = noted
        saved = {"site_mmbtu": formula(SITE_MMBTU), "electricity_kwh": formula(KWH)}
        incentive_cells(page, costs({"per_site_energy_saved": written}), formula(CAPITAL), KW, saved)
        assert given["incentive_1_per_site_mmbtu USD/MMBtu"] == pytest.approx(25.0, rel=1e-8)
