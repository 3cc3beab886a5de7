"""The money blocks: what is read, what is refused and with which words, and where defaults are from."""

from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError

from hpwhsim.io.units import (
    CAPACITY_PRICE,
    DEMAND_PRICE,
    ENERGY,
    ENERGY_PRICE,
    MONEY,
    MONTHLY_MONEY,
    YEARLY_MONEY,
    Kind,
    QuantityError,
    as_text,
    read_quantity,
)
from hpwhsim.scenario.keys import block_of, extra_of, kind_of, walk
from hpwhsim.scenario.money import Costs, Incentive, Outlay, PeakHours, Replacement, Savings
from hpwhsim.scenario.parts import Block, Clashes, Window
from hpwhsim.scenario.tariff import ALL_MONTHS, Demand, Tariff, Tier, TouBlock

pytestmark = pytest.mark.contract

BLOCKS = (Tariff, TouBlock, Tier, Demand, Costs, Outlay, Replacement, Incentive, Savings, PeakHours)
BTU = 1055.05585262  # J, International Table, NIST SP 811 appendix B.8
PEAK = {"price": "0.40 USD/kWh", "months": "Jun-Sep", "days": "weekdays", "hours": ["16:00-21:00"]}


def read(block: type[Block], raw: dict[str, Any], folder: Path | None = None) -> Any:
    return block.model_validate(raw, context={"folder": str(folder or ".")})


def refusal(block: type[Block], raw: dict[str, Any], folder: Path | None = None) -> str:
    """Errors as "key: got X: words", one a line; a clash names its own key."""
    with pytest.raises(ValidationError) as caught:
        read(block, raw, folder)
    lines = []
    for error in caught.value.errors(include_url=False):
        found = error.get("ctx", {}).get("error")
        clashes = found.found if isinstance(found, Clashes) else [None]
        for clash in clashes:
            key = ".".join(str(part) for part in (*error["loc"], *([clash.key] if clash else [])))
            lines.append(f"{key}: got {error['input']!r}: {clash or error['msg']}")
    return "\n".join(lines)


@pytest.mark.published
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("0.21 USD/kWh", ENERGY_PRICE, 0.21),
        ("210 USD/MWh", ENERGY_PRICE, 0.21),
        ("21 cents/kWh", ENERGY_PRICE, 0.21),
        ("0.21 $/kWh", ENERGY_PRICE, 0.21),
        ("1.45 USD/therm", ENERGY_PRICE, 1.45 * 3.6e6 / (1e5 * BTU)),
        ("14 USD/MMBtu", ENERGY_PRICE, 14 * 3.6 / BTU),
        ("-0.02 USD/kWh", ENERGY_PRICE, -0.02),
        ("14 USD/kW", DEMAND_PRICE, 14.0),
        ("14 USD/kW/month", DEMAND_PRICE, 14.0),
        ("14 USD per kW per month", DEMAND_PRICE, 14.0),
        ("14 USD/kW-month", DEMAND_PRICE, 14.0),
        ("168 USD/kW/year", DEMAND_PRICE, 14.0),
        ("12,000 USD", MONEY, 12000.0),
        ("25 USD", MONTHLY_MONEY, 25.0),
        ("25 USD/month", MONTHLY_MONEY, 25.0),
        ("1200 USD", YEARLY_MONEY, 1200.0),
        ("100 USD/month", YEARLY_MONEY, 1200.0),
        ("450 USD/kW", CAPACITY_PRICE, 450.0),
        ("1500 USD/ton", CAPACITY_PRICE, 1500 * 3600e3 / (12e3 * BTU)),  # 12,000 Btu/h
        ("500 kWh", ENERGY, 500.0),
    ],
)
def test_money_reads_as_engineers_mean_it(text: str, kind: Kind, value: float) -> None:
    """Defined factors, NIST SP 811 (2008) appendix B.8; a year is 12 bills; rounding of floats only."""
    assert read_quantity(text, kind) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("0.21", ENERGY_PRICE, "such as '0.21 USD/kWh' (write the unit too)"),
        ("0.21 EUR/kWh", ENERGY_PRICE, "USD only"),
        ("0.21 USD/kW", ENERGY_PRICE, "does not measure a price of energy"),
        ("14 USD/kW/month", ENERGY_PRICE, "does not measure a price of energy"),
        ("14 USD/kWh", DEMAND_PRICE, "does not measure a price of power"),
        ("4 USD/gal", ENERGY_PRICE, "does not measure a price of energy"),
        ("0.8 USD/day", MONTHLY_MONEY, "does not measure an amount of money per month"),
        ("12000 kWh", MONEY, "does not measure an amount of money"),
    ],
)
def test_money_refused_says_what_to_write(text: str, kind: Kind, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, kind)
    assert words in str(caught.value)


def test_one_key_reads_price_blocks_and_file(tmp_path: Path) -> None:
    """`tariff.electricity` is a price, a list of blocks or the path of a CSV, relative to the scenario."""
    path = tmp_path / "prices.csv"
    path.write_text("usd_per_kwh\n", encoding="utf-8")
    assert read(Tariff, {"electricity": "0.21 USD/kWh"}).electricity == 0.21
    assert read(Tariff, {"electricity": "prices.csv"}, tmp_path).electricity == path
    blocks = read(Tariff, {"electricity": [PEAK, {"price": "0.15 USD/kWh"}]}).electricity
    assert [block.price for block in blocks] == [0.40, 0.15]
    assert (blocks[0].months, blocks[0].days, blocks[0].hours) == (
        (6, 7, 8, 9),
        "weekdays",
        (Window(960, 1260),),
    )
    assert (blocks[1].months, blocks[1].days, blocks[1].hours) == (ALL_MONTHS, "all", ())


def test_whole_tariff() -> None:
    """Tiers, demand and fuel as written."""
    tariff = read(
        Tariff,
        {
            "tiers": [{"price": "0.10 USD/kWh", "up_to": "500 kWh"}, {"price": "0.15 USD/kWh"}],
            "demand": [
                {"price": "12 USD/kW", "ratchet": 0.6},
                {"price": "7 USD/kW", "hours": ["16:30-21:00"]},
            ],
            "fixed": "30 USD/month",
            "fuel": ["10 USD/MMBtu"] * 5 + ["8 USD/MMBtu"] * 7,
        },
    )
    assert [(tier.price, tier.up_to) for tier in tariff.tiers] == [(0.10, 500.0), (0.15, None)]
    assert [(charge.price, charge.ratchet, charge.ratchet_months) for charge in tariff.demand] == [
        (12.0, 0.6, 11),
        (7.0, 0.0, 11),
    ]
    assert tariff.fixed == 30.0
    assert tariff.fuel[4] / tariff.fuel[5] == pytest.approx(1.25, rel=1e-14)
    assert read(Tariff, {"electricity": "0.2 USD/kWh", "fuel": "1 USD/therm"}).fuel == pytest.approx(
        0.0341214, abs=5e-8
    )  # 1 therm is 29.3071 kWh


@pytest.mark.parametrize(
    ("written", "months"),
    [
        ("Jun-Sep", (6, 7, 8, 9)),
        ("nov-feb", (11, 12, 1, 2)),
        ("Jan, Apr-May, Dec", (1, 4, 5, 12)),
        ("jul", (7,)),
        ([6, 7], (6, 7)),
    ],
)
def test_months(written: object, months: tuple[int, ...]) -> None:
    block = read(TouBlock, {"price": "0.2 USD/kWh", "months": written})
    assert block.months == months
    assert read(TouBlock, {"price": "0.2 USD/kWh", "months": list(block.months)}) == block


def test_costs_as_written() -> None:
    costs = read(
        Costs,
        {
            "capital": "90,000 USD",
            "maintenance": "600 USD/year",
            "replacements": [{"year": 12, "cost": "8000 USD"}],
            "incentives": [
                {"name": "invented rebate", "per_unit": "500 USD", "units": 20, "max_share": 0.5},
                {"name": "invented bonus", "per_site_energy_saved": "25 USD/MMBtu"},
            ],
            "baseline": {"capital": "20000 USD"},
            "rates": "nominal",
            "discount_rate": 0.06,
            "electricity_escalation": 0.03,
            "fuel_escalation": 0.025,
            "inflation": 0.02,
        },
    )
    assert (costs.capital, costs.maintenance, costs.baseline.capital) == (90e3, 600.0, 20e3)
    assert (costs.replacements[0].year, costs.replacements[0].cost) == (12, 8000.0)
    assert costs.incentives[0].units == 20
    assert costs.incentives[1].per_site_energy_saved == pytest.approx(25 * 3.6 / BTU, rel=1e-14)
    assert costs.baseline.maintenance == 0.0


BASE = {"electricity": "0.2 USD/kWh"}
TOU = {"price": "0.2 USD/kWh"}
COSTS = {"capital": "9 USD"}
NOMINAL = {**COSTS, "rates": "nominal", "discount_rate": 0.06, "inflation": 0.02, "fuel_escalation": 0.01}
HOURS = {"name": "peak", "months": "Jun-Sep", "days": "weekdays", "hours": ["14:00-18:00"]}


@pytest.mark.parametrize(
    ("block", "raw", "words"),
    [
        (Tariff, {}, ["electricity", "such as '0.21 USD/kWh'", "or tariff.tiers"]),
        (Tariff, {"electricity": 0.21}, ["electricity", "0.21", "write the unit too"]),
        (Tariff, {"electricity": "cheap"}, ["electricity", "cheap", "such as '0.21 USD/kWh'"]),
        (Tariff, {"electricity": {"price": "0.2 USD/kWh"}}, ["electricity", "a list of blocks", "*.csv"]),
        (Tariff, {"electricity": []}, ["electricity", "at least 1"]),
        (Tariff, {"electricity": "none.csv"}, ["electricity", "none.csv", "there is none at"]),
        (Tariff, {"electricity": "-0.1 USD/kWh"}, ["electricity", "-0.1", "greater than or equal to 0"]),
        (
            Tariff,
            {"electricity": "21 USD/kWh"},
            ["electricity", "21", "less than or equal to 10"],
        ),  # cents meant
        (Tariff, {"electricity": [{**TOU, "rate": 1}]}, ["electricity", "0.rate", "Extra inputs"]),
        (Tariff, {"electricity": [{"days": "all"}]}, ["electricity", "0.price", "required"]),
        (Tariff, {"electricity": [{**TOU, "days": "sunday"}]}, ["0.days", "sunday", "weekdays"]),
        (Tariff, {"electricity": [{**TOU, "months": "Juni"}]}, ["0.months", "Juni", "'Jun-Sep'"]),
        (Tariff, {"electricity": [{**TOU, "months": [0]}]}, ["0.months", "[0]", "1 to 12"]),
        (Tariff, {"electricity": [{**TOU, "months": [6, 6]}]}, ["0.months", "[6, 6]", "once"]),
        (Tariff, {"electricity": [{**TOU, "months": []}]}, ["0.months", "'Jun-Sep'"]),
        (Tariff, {"electricity": [{**TOU, "months": [True]}]}, ["0.months", "True", "'Jun-Sep'"]),
        (Tariff, {"electricity": [{**TOU, "hours": ["16-21"]}]}, ["0.hours", "16-21", "'22:00-06:00'"]),
        (
            Tariff,
            {"electricity": [{**TOU, "hours": ["16:30-21:00"]}]},
            ["0.hours", "16:30", "multiples of 60"],
        ),
        (
            Tariff,
            {**BASE, "tiers": [{**TOU, "up_to": "500 kWh"}]},
            ["tiers", "500", "last tier without one (jan, feb"],
        ),
        (Tariff, {"tiers": [{**TOU, "months": "Apr-Feb"}]}, ["tiers", "every month", "mar"]),
        (
            Tariff,
            {"tiers": [{**TOU, "up_to": "9 kWh"}, {**TOU, "up_to": "9 kWh"}, TOU]},
            ["tiers", "rising up_to"],
        ),
        (Tariff, {**BASE, "demand": "14 USD/kW"}, ["demand", "14 USD/kW", "tuple"]),
        (
            Tariff,
            {**BASE, "demand": [{"price": "14 USD/kWh"}]},
            ["demand.0.price", "14 USD/kWh", "'14 USD/kW/month'"],
        ),
        (Demand, {"price": "9 USD/kW", "ratchet": 80}, ["ratchet", "80", "less than or equal to 1"]),
        (Demand, {"price": "9 USD/kW", "ratchet_months": 6}, ["ratchet_months", "nothing unless ratchet"]),
        (Demand, {"price": "9 USD/kW", "hours": ["16:20-21:00"]}, ["hours", "16:20", "multiples of 15"]),
        (Tariff, {**BASE, "fuel": ["1 USD/therm"] * 11}, ["fuel", "at least 12"]),
        (Tariff, {**BASE, "fuel": [*["1 USD/therm"] * 11, 3]}, ["fuel", "11", "got 3", "write the unit too"]),
        (Tariff, {**BASE, "fuel": "1.2 USD"}, ["fuel", "1.2 USD", "does not measure a price of energy"]),
        (Tariff, {**BASE, "fixed": 30}, ["fixed", "30", "'25 USD/month'"]),
        (Costs, {}, ["capital", "required"]),
        (Costs, {"capital": "-9 USD"}, ["capital", "-9", "greater than or equal to 0"]),
        (
            Costs,
            {**COSTS, "discount_rate": 3},
            ["discount_rate", "3", "less than or equal to 0.5"],
        ),  # 3 % meant
        (Costs, {**COSTS, "discount_rate": "3 %"}, ["discount_rate", "3 %", "number"]),
        (Costs, {**COSTS, "inflation": 0.02}, ["inflation", "0.02", "unless costs.rates is nominal"]),
        (Costs, NOMINAL, ["electricity_escalation", "defaults are real"]),
        (Costs, {**COSTS, "replacements": [{"year": 25, "cost": "9 USD"}]}, ["replacements", "(20)", "25"]),
        (
            Costs,
            {**COSTS, "baseline": {"replacements": [{"year": 21, "cost": "9 USD"}]}},
            ["baseline.replacements", "(20)", "21"],
        ),
        (Costs, {**COSTS, "baseline": {"years": 9}}, ["baseline.years", "9", "Extra inputs"]),
        (Incentive, {"name": "invented"}, ["lump_sum", "at least one of", "per_capacity"]),
        (Incentive, {"name": "invented", "per_unit": "9 USD"}, ["units", "together"]),
        (Incentive, {"name": "invented", "units": 3, "lump_sum": "9 USD"}, ["per_unit", "together"]),
        (
            Incentive,
            {"name": "invented", "lump_sum": "9 USD", "max_share": 50},
            ["max_share", "50", "less than or equal to 1"],
        ),
        (
            Savings,
            {"electricity_to_source": 0.3},
            ["electricity_to_source", "0.3", "greater than or equal to 1"],
        ),
        (Savings, {"peak_hours": [HOURS, HOURS]}, ["peak_hours", "a name of its own"]),
        (
            Savings,
            {"peak_hours": [{**HOURS, "name": "My peak"}]},
            ["peak_hours.0.name", "My peak", "pattern"],
        ),
    ],
)
def test_wrong_input_names_key_given_and_allowed(
    block: type[Block], raw: dict[str, Any], words: list[str], tmp_path: Path
) -> None:
    message = refusal(block, raw, tmp_path)
    for word in words:
        assert word in message, message
    assert len(message.splitlines()) == 1, message


def fields() -> list[tuple[str, Any]]:
    return [(f"{block.__name__}.{key}", field) for block in BLOCKS for key, field in walk(block)]


@pytest.mark.parametrize(("path", "field"), fields(), ids=[path for path, _ in fields()])
def test_every_key_is_described_and_every_default_has_a_source_and_is_allowed(path: str, field: Any) -> None:
    """Each default fed back as it would be written must be accepted; pydantic does not check defaults."""
    assert field.description
    if field.is_required():
        return
    assert extra_of(field)["source"]
    if field.default is not None and block_of(field) is None:
        kind = kind_of(field)
        value = as_text(field.default, kind) if kind else field.default
        adapter = TypeAdapter(Annotated[field.annotation, path, *field.metadata])
        assert adapter.validate_python(value) == field.default


def test_default_peak_hours() -> None:
    """June to September, Monday to Friday, 14-18 h: common practice, no source."""
    (peak,) = read(Savings, {}).peak_hours
    assert (peak.months, peak.days, peak.hours) == ((6, 7, 8, 9), "weekdays", (Window(840, 1080),))
    assert str(peak) == "summer_afternoon (jun, jul, aug, sep; weekdays; 14:00-18:00)"


def test_blocks_are_frozen() -> None:
    tariff, name = read(Tariff, BASE), "fixed"
    with pytest.raises(ValidationError, match="frozen"):
        setattr(tariff, name, 3.0)
