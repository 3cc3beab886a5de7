"""Bills against hand-worked ones, laws of prices, and what is refused."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hpwhsim.account.calendar import ALL_MONTHS, When
from hpwhsim.account.tariff import Bill, DemandCharge, Tariff, Tier, TouBlock, bill, read_prices, time_of_use
from hpwhsim.errors import InputError, OutOfRangeError

pytestmark = pytest.mark.independent

Array = NDArray[np.float64]
HOURS_OF_MONTH = np.array([744, 672, 744, 720, 744, 720, 744, 744, 720, 744, 720, 744])
NO_FUEL = np.zeros(8760)
FLAT = np.full(8760, 0.25)
SUMMER = (6, 7, 8, 9)
WINTER = (1, 2, 3, 4, 5, 10, 11, 12)
REL = 1e-12  # rounding of sums of some thousand floats


def quarters(seed: int) -> Array:
    """Lopsided power of a year: mostly small, a few high quarters. [kW]."""
    random = np.random.default_rng(seed)
    return 20.0 * random.random(35040) ** 4


def test_whole_bill_worked_by_hand() -> None:
    """January to March of a lopsided year, by hand.

    Power 2 kW all year. 10 January, 12:00-12:15: 9.5 kW, and Saturday 17 February, 17:15-17:30: 26 kW.
    Energy: January 744 * 2 + 7.5/4 = 1489.875 kWh; February 672 * 2 + 24/4 = 1350 kWh; March 1488 kWh.
    Tiers: 500 kWh at 0.10, to 1200 kWh at 0.15, the rest at 0.25 USD/kWh:
    January 50 + 105 + 289.875 * 0.25 = 227.46875; February 50 + 105 + 37.5 = 192.50; March 155 + 72 = 227.
    Anytime demand 12 USD/kW, ratchet 60 % over 2 months: January 9.5 kW; February 26 kW; March and April
    at least 0.6 * 26 = 15.6 kW; May again 2 kW.
    On-peak demand 7 USD/kW, weekdays 16-21: 2 kW in every month, for the high quarters lie outside.
    January: 227.46875 + 114 + 14 + 30 fixed = 385.46875, and 40 kWh of fuel at 0.05 = 2.00. In the last
    hour of December 10 kWh of fuel at 0.16 = 1.60.
    """
    power = np.full(35040, 2.0)
    power[(9 * 24 + 12) * 4] = 9.5
    power[((31 + 16) * 24 + 17) * 4 + 1] = 26.0
    fuel = np.zeros(8760)
    fuel[100] = 40.0
    fuel[-1] = 10.0
    on_peak = When(days="weekdays", windows=((960, 1260),))
    tariff = Tariff(
        electricity=None,
        tiers=(Tier(0.10, 500.0), Tier(0.15, 1200.0), Tier(0.25)),
        demand=(DemandCharge(12.0, ratchet=0.6, ratchet_months=2), DemandCharge(7.0, on_peak)),
        fixed=30.0,
        fuel=np.linspace(0.05, 0.16, 12),
    )
    months = bill(tariff, power, fuel)
    assert months.energy[:3] == pytest.approx([227.46875, 192.50, 227.0], rel=REL)
    assert months.billed_kw[0] == pytest.approx([9.5, 26, 15.6, 15.6, *[2] * 8], rel=REL)
    assert months.billed_kw[1] == pytest.approx([2.0] * 12, rel=REL)
    assert months.demand[:3] == pytest.approx([128.0, 326.0, 201.2], rel=REL)
    assert months.fuel == pytest.approx([2.0, *[0.0] * 10, 1.6], rel=REL)
    assert months.total[0] == pytest.approx(387.46875, rel=REL)


def test_ratchet_runs_over_the_turn_of_the_year() -> None:
    """A typical year repeats: December's 40 kW hold January at 0.5 * 40 = 20 kW, over 1 month only."""
    power = np.full(35040, 4.0)
    power[-1] = 40.0
    charge = DemandCharge(1.0, ratchet=0.5, ratchet_months=1)
    billed = bill(Tariff(FLAT, demand=(charge,)), power, NO_FUEL).billed_kw[0]
    assert billed.tolist() == [20.0, *[4.0] * 10, 40.0]


def test_demand_is_measured_all_year_and_charged_in_its_months() -> None:
    """Charged June to September, ratchet 75 % over 3 months: the 12 kW of 1 May hold June to August at 9."""
    power = np.full(35040, 1.0)
    power[120 * 96] = 12.0
    charge = DemandCharge(10.0, When(SUMMER), 0.75, 3)
    months = bill(Tariff(FLAT, demand=(charge,)), power, NO_FUEL)
    assert months.billed_kw[0].tolist() == [0, 0, 0, 0, 0, 9, 9, 9, 1, 0, 0, 0]
    assert months.demand.sum() == 280.0


def test_seasonal_tiers_beside_an_hourly_price() -> None:
    """A credit of 0.04 USD for the first 300 kWh of winter months, beside 0.25 USD/kWh: 12 USD off."""
    tiers = (Tier(-0.04, 300.0, WINTER), Tier(0.0, months=WINTER))
    power = np.ones(35040)
    less = bill(Tariff(FLAT), power, NO_FUEL).total - bill(Tariff(FLAT, tiers), power, NO_FUEL).total
    assert less == pytest.approx([0.0 if month in SUMMER else 12.0 for month in ALL_MONTHS], abs=1e-10)


def test_power_in_a_quarter_is_a_quarter_of_its_energy() -> None:
    """One quarter at 8 kW is 2 kWh, in the hour in which it lies; prices differ from hour to hour."""
    power = np.zeros(35040)
    power[4 * 5000 + 3] = 8.0
    months = bill(Tariff(np.arange(8760.0)), power, NO_FUEL)
    assert months.energy.sum() == 10000.0
    assert np.flatnonzero(months.energy).tolist() == [6]  # hour 5000 is on 28 July


@pytest.mark.law
@settings(max_examples=20)
@given(
    price=st.floats(0.01, 2.0),
    start=st.integers(0, 23),
    end=st.integers(1, 24),
    days=st.sampled_from(["all", "weekdays", "weekends"]),
    seed=st.integers(0, 99),
)
def test_blocks_at_one_price_are_flat(price: float, start: int, end: int, days: str, seed: int) -> None:
    """Law: however the hours are cut, one price in every block is a flat price."""
    windows = () if start == end else ((start * 60, end * 60),)
    blocks = [TouBlock(price, When(SUMMER, days, windows)), TouBlock(price, When())]
    tou = bill(Tariff(time_of_use(blocks)), quarters(seed), NO_FUEL)
    flat = bill(Tariff(np.full(8760, price)), quarters(seed), NO_FUEL)
    assert tou.energy == pytest.approx(flat.energy, rel=REL)


def full(scale: float, ratchet: float) -> Tariff:
    """A tariff with a bit of everything, all prices times `scale`."""
    return Tariff(
        electricity=scale * np.linspace(0.1, 0.4, 8760),
        tiers=(Tier(-0.02 * scale, 700.0), Tier(0.03 * scale)),
        demand=(
            DemandCharge(11.0 * scale, When(), ratchet, 5),
            DemandCharge(4.0 * scale, When(SUMMER, "weekdays", ((990, 1245),))),
        ),
        fixed=scale * 20.0,
        fuel=scale * np.linspace(0.04, 0.07, 12),
    )


@pytest.mark.law
@settings(max_examples=20)
@given(seed=st.integers(0, 99), scale=st.floats(0.0, 50.0), ratchet=st.floats(0.0, 1.0))
def test_laws_of_a_bill(seed: int, scale: float, ratchet: float) -> None:
    """Laws: linear in the prices; parts add to the total; the year's energy cost is that of its hours.

    The billed power is at least the measured, at most the highest of the year, and rises with the ratchet.
    """
    power, fuel = quarters(seed), quarters(seed + 100)[:8760]
    one = bill(full(1.0, ratchet), power, fuel)
    scaled = bill(full(scale, ratchet), power, fuel)
    assert scaled.total == pytest.approx(scale * one.total, rel=REL)
    assert one.total == pytest.approx(one.energy + one.demand + one.fixed + one.fuel, rel=REL)
    kwh = power.reshape(8760, 4).mean(axis=1)
    by_hour = bill(full(1.0, 0.0)._replace(tiers=()), power, fuel).energy.sum()
    assert by_hour == pytest.approx(float(np.linspace(0.1, 0.4, 8760) @ kwh), rel=REL)
    measured = bill(full(1.0, 0.0), power, fuel).billed_kw[0]
    ends = np.cumsum(HOURS_OF_MONTH)[:-1] * 4
    assert measured.tolist() == [part.max() for part in np.split(power, ends)]
    assert (one.billed_kw[0] >= measured).all()
    assert one.billed_kw[0].max() == measured.max()
    assert (one.billed_kw[0] <= bill(full(1.0, 1.0), power, fuel).billed_kw[0]).all()


@pytest.mark.law
def test_tiers_of_one_price_are_flat_and_tiers_join_without_a_step() -> None:
    """Laws: equal tiers are one price; the cost of a month is continuous where one tier meets the next."""
    power = quarters(7)
    tiers = (Tier(0.25, 100.0), Tier(0.25, 2500.0), Tier(0.25))
    flat = bill(Tariff(FLAT), power, NO_FUEL).energy
    assert bill(Tariff(None, tiers), power, NO_FUEL).energy == pytest.approx(flat, rel=REL)
    steep = Tariff(None, (Tier(0.1, 744.0), Tier(0.9)))
    below, above = (bill(steep, np.full(35040, kw), NO_FUEL).energy[0] for kw in (1.0 - 1e-9, 1.0 + 1e-9))
    assert above - below == pytest.approx(744e-9 * (0.1 + 0.9), rel=1e-4)  # difference of numbers near 74.4


@pytest.mark.contract
@pytest.mark.parametrize(
    ("blocks", "words"),
    [
        (
            [TouBlock(0.3, When(windows=((960, 1260),)))],
            ["tariff.electricity", "Mon 01 Jan 00:00", "6935 hours"],  # 19 hours of 365 days
        ),
        (
            [TouBlock(0.3, When(days="weekdays")), TouBlock(0.2, When(SUMMER))],
            ["tariff.electricity", "Sat 06 Jan 00:00", "1632 hours"],  # 104 - 36 weekend days
        ),
        (
            [TouBlock(0.2, When()), TouBlock(0.3, When(SUMMER))],
            ["tariff.electricity (item 2)", "blocks before it", "order"],
        ),
        ([], ["tariff.electricity", "Mon 01 Jan 00:00", "8760 hours"]),
    ],
)
def test_blocks_that_leave_gaps_or_never_count_are_refused(blocks: list[TouBlock], words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        time_of_use(blocks)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("tariff", "words"),
    [
        (Tariff(FLAT[:-1]), ["tariff.electricity", "8759", "8760"]),
        (Tariff(np.full(8760, np.nan)), ["tariff.electricity", "nan", "finite"]),
        (Tariff(FLAT, fuel=np.ones(1)), ["tariff.fuel", "(1,)", "(12,)"]),
        (Tariff(FLAT), ["tariff.fuel", "nothing", "fuel is burnt"]),
        (Tariff(FLAT, fixed=np.inf, fuel=np.ones(12)), ["tariff", "inf"]),
        (Tariff(None), ["tariff.tiers", "month 1"]),
        (Tariff(None, (Tier(0.1, months=WINTER),)), ["tariff.tiers", "month 6"]),
        (Tariff(FLAT, (Tier(0.1, 500.0),)), ["tariff.tiers", "500", "without up_to"]),
        (Tariff(FLAT, (Tier(0.1, 500.0), Tier(0.2, 400.0), Tier(0.3))), ["tariff.tiers", "500, 400"]),
        (Tariff(FLAT, demand=(DemandCharge(9.0, ratchet=80.0),)), ["ratchet", "80", "0 to 1"]),
        (Tariff(FLAT, demand=(DemandCharge(9.0, ratchet_months=12),)), ["ratchet_months", "12", "1 to 11"]),
    ],
)
def test_impossible_tariffs_are_refused(tariff: Tariff, words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        bill(tariff, quarters(1), np.ones(8760))
    for word in words:
        assert word in str(caught.value)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("power", "fuel", "words"),
    [
        (np.ones(8760), NO_FUEL, ["quarter_kw", "8760", "35040"]),  # hours given as quarters
        (np.full(35040, -1.0), NO_FUEL, ["quarter_kw", "-1"]),
        (np.full(35040, np.nan), NO_FUEL, ["quarter_kw", "nan"]),
        (np.ones(35040), np.full(8760, -2.0), ["fuel_kwh", "-2"]),
    ],
)
def test_impossible_energy_is_refused(power: Array, fuel: Array, words: list[str]) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        bill(Tariff(FLAT), power, fuel)
    for word in words:
        assert word in str(caught.value)


Writer = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Writer:
    def to_file(text: str) -> Path:
        path = tmp_path / "prices.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


@pytest.mark.contract
def test_prices_are_read_in_order(write: Writer) -> None:
    """Row by row as written, negative ones too; comments and blank lines are no rows."""
    prices = np.round(np.linspace(-0.05, 0.60, 8760), 6)
    lines = ["# invented", "usd_per_kwh", *(f"{price}" for price in prices[:5000]), "", "# and on"]
    path = write("\n".join([*lines, *(f"{price}" for price in prices[5000:])]))
    assert read_prices(path).tolist() == prices.tolist()


@pytest.mark.contract
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("price\n0.2\n", ["missing usd_per_kwh", "unknown price"]),
        ("usd_per_kwh\n" + "0.2\n" * 8759, ["8759 rows", "8760"]),
        ("usd_per_kwh\n" + "0.2\n" * 8784, ["8784 rows", "29 February"]),
        ("usd_per_kwh\n0.2\ncheap\n", ["line 3", "cheap", "a finite number"]),
    ],
)
def test_wrong_price_files_are_refused(write: Writer, text: str, words: list[str]) -> None:
    path = write(text)
    with pytest.raises(InputError) as caught:
        read_prices(path)
    for word in [str(path), *words]:
        assert word in str(caught.value)


@pytest.mark.law
def test_a_bill_is_a_function() -> None:
    """A, then B, then A gives the same A."""
    a, b = full(1.0, 0.5), full(3.0, 0.9)
    first: Bill = bill(a, quarters(1), NO_FUEL)
    bill(b, quarters(2), NO_FUEL)
    again = bill(a, quarters(1), NO_FUEL)
    assert all(np.array_equal(x, y) for x, y in zip(first, again, strict=True))
