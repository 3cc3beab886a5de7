"""Whole years of machines that draw a room's air: what the room pays, where the machine is best sited."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from cases import GREENSBORO, cautions, number, worked
from room_cases import independent

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.evaluation.report import year_text
from hpwhsim.simulation.year import Year
from hpwhsim.source.room_setup import room_kind

pytestmark = [pytest.mark.law, pytest.mark.year]
ROOM = "plant.source.room."
# Matched houses: the same building, draws, machine and room size; only where it stands and breathes changes.
HEATED = (ROOM + "kind=apartment",)
SITINGS = {
    "heated": HEATED,
    "cellar": (),
    "ducted": (*HEATED, ROOM + "intake=outdoors", ROOM + "exhaust=outdoors"),
    "exhaust-only": (*HEATED, ROOM + "exhaust=outdoors"),
    "closet": (ROOM + "kind=closet", ROOM + "floor_area=2 m2"),
    "sealed-closet": (ROOM + "kind=closet", ROOM + "floor_area=2 m2", ROOM + "vent_flow=0 m3/s"),
}
# A zone whose heating runs in every hour of the year: it loses heat to the ground alone, which is colder than
# its setpoint all year, has neither gains nor sun nor fresh air, and its coil is so large that it stays dry.
HELD = (
    ROOM + "kind=apartment",
    ROOM + "cooling=none",
    ROOM + "heating_setpoint=30 degC",
    ROOM + "loss_to_outdoors=0 W/K",
    ROOM + "window_loss=0 W/K",
    ROOM + "loss_to_neighbours=0 W/K",
    ROOM + "loss_to_ground=1000 W/K",
    ROOM + "air_changes=0",
    ROOM + "vent_flow=0 m3/s",
    ROOM + "moisture=0 g/h",
    ROOM + "gains=0 W",
    ROOM + "window_area=0 m2",
    ROOM + "airflow=0.5 m3/s",
)


@pytest.fixture(scope="session")
def siting() -> Callable[[str], Year]:
    """The packaged plant on one of `SITINGS`, marched once."""
    return cache(lambda name: worked("packaged", *SITINGS[name]))


def useful(year: Year) -> float:
    """Heat to the taps and into the store: what the year's purchases became. [kWh]"""
    return number(year, "heat_to_taps_kwh") + number(year, "store_change_kwh")


def net(year: Year) -> float:
    """What was bought, with the room's heating and cooling booked to it. [kWh]"""
    return number(year, "heat_to_taps_kwh") / number(year, "cop_net")


# -- held rooms: closed forms ------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(
    ("heating", "efficiency", "changes"),
    [
        ("resistance", 1.0, ()),
        ("gas", 0.9, ()),
        ("heat-pump", 3.0, ()),
        ("resistance", 1.0, (ROOM + "loss_to_neighbours=200 W/K",)),  # a held room draws no more from them
    ],
)
def test_a_held_room_pays_what_the_first_law_says(
    heating: str, efficiency: float, changes: tuple[str, ...]
) -> None:
    """First law over room and plant: bought + (delivered - bought) / efficiency, for any machine.

    System COP = 1 / [1/COP + (1 - 1/COP) / efficiency]; with resistance heating it is 1 exactly, whatever the
    machine does. The heat in the store at the end of the year counts as delivered. Tolerance: rounding of
    sums over 105,120 steps.
    """
    year = worked("packaged", *HELD, *changes, f"{ROOM}heating={heating}")
    assert year.hourly["room_c"] == pytest.approx(30.0, abs=1e-9)
    assert number(year, "coil_latent_kwh") == pytest.approx(0.0, abs=1e-9)
    assert number(year, "neighbours_extra_heat_kwh") == pytest.approx(0.0, abs=1e-6)
    assert number(year, "cop_plant") > 2.0
    bought = number(year, "electricity_kwh")
    assert net(year) == pytest.approx(bought + (useful(year) - bought) / efficiency, rel=1e-9)
    if heating == "resistance":
        assert useful(year) / net(year) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.slow
def test_vapour_brings_heat_that_no_heater_made() -> None:
    """A held room with humid air from its neighbours: less is bought, by exactly the latent heat.

    The neighbours have no air conditioner that would save that drying too.
    """
    year = worked(
        "packaged",
        *HELD,
        ROOM + "airflow=0.1 m3/s",
        ROOM + "vent_flow=0.05 m3/s",
        ROOM
        + "neighbour_temperature=20 degC",  # as they float, they would be damp enough for dew in the room
        ROOM + "neighbour_humidity=0.95",
        ROOM + "neighbour_cooling=none",
    )
    latent = number(year, "coil_latent_kwh")
    assert latent > 100.0
    assert net(year) == pytest.approx(useful(year) - latent, rel=1e-9)


def test_hours_without_heating_are_free() -> None:
    """A zone that floats in summer gives heat that nobody bought: cop_net between 1 and the machine's own."""
    year = worked(
        "packaged",
        *HELD,
        ROOM + "loss_to_ground=0 W/K",
        ROOM + "loss_to_outdoors=200 W/K",
        ROOM + "heating_setpoint=20 degC",
    )
    assert (year.hourly["reference_room_c"] > 20.5).sum() > 500
    assert 1.02 < useful(year) / net(year) < number(year, "cop_plant")


def test_a_tank_that_overheats_its_room_wastes_its_loss() -> None:
    """A zone that hardly loses heat: between charges the tank's loss lifts its air above the setpoint.

    That heat was bought and serves nobody: cop_net falls below 1, by less than the tank's whole loss.
    """
    year = worked("packaged", *HELD, ROOM + "loss_to_ground=30 W/K", ROOM + "heating_setpoint=18 degC")
    assert (year.hourly["room_c"] > 18.01).sum() > 500
    wasted = net(year) - useful(year)
    assert 0.0 < wasted < number(year, "storage_loss_kwh")


# -- sitings -----------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.published
def test_the_order_of_the_sitings(siting: Callable[[str], Year]) -> None:
    """Measured in matched houses (PNNL-23526, 2014, highlight): fully ducted -4.2 %, exhaust-only +2.9 %
    energy of the house against no ducts; here the signs, in Chicago. A cellar stands between the two.
    """
    cop = {name: number(siting(name), "cop_net") for name in SITINGS}
    assert cop["exhaust-only"] < cop["heated"] < cop["cellar"] < cop["ducted"]
    assert cop["exhaust-only"] == min(cop.values())
    # by its own meter the order is another: warm room air looks best
    assert number(siting("heated"), "cop_plant") > number(siting("cellar"), "cop_plant")


@pytest.mark.independent
def test_make_up_air_costs_its_heating(siting: Callable[[str], Year]) -> None:
    """Exhaust-only: outdoor air for the machine's flow while it runs, 1200 J/m3K to room temperature.

    The penalty without ducts is the coil's sensible heat; with them the make-up air. Both against sums of
    hourly results, in hours with the heating on all hour in both rooms. Within 3 %: air is exchanged by mass
    and the site's pressure, and the tank's loss goes to the room in both.
    """
    year = siting("exhaust-only")
    flow = next(
        float(str(item["value"]).split()[0])
        for item in assumptions(year)
        if item["key"] == "plant.source.room.airflow"
    )
    outdoors = year.hourly["dry_bulb_c"]
    reference = year.hourly["reference_room_heating_kwh"]
    both = (reference > 0.0) & (reference + year.hourly["room_extra_heat_kwh"] > 0.0)
    cold = (outdoors < 5.0) & both
    made_up = 1200.0 * 0.977 * flow * (20.0 - outdoors) * year.hourly["module_hours"] / 1000.0
    paid = year.hourly["room_heating_penalty_kwh"] - year.hourly["neighbours_extra_heat_kwh"]
    saved_by_tank = year.hourly["storage_loss_kwh"] + year.hourly["standby_kwh"]
    assert (paid + saved_by_tank)[cold].sum() == pytest.approx(made_up[cold].sum(), rel=0.03)


def assumptions(year: Year) -> list[dict[str, str]]:
    listed = year.record["assumptions"]
    assert isinstance(listed, list)
    return listed


def test_a_cellar_is_heated_by_its_neighbours(siting: Callable[[str], Year]) -> None:
    """An unheated cellar gets colder and draws heat through its ceiling, which heated homes make up."""
    year = siting("cellar")
    colder = year.hourly["reference_room_c"] - year.hourly["room_c"]
    assert colder.mean() > 1.0
    penalty = number(year, "neighbours_extra_heat_kwh")
    assert 0.0 < penalty < number(year, "coil_sensible_kwh")
    # 60 m2 x 0.6 W/m2K per floor area of room_kinds.csv, 111.5 m2: conductance times how much colder the
    # room is, over the hours in which the homes are at their heating setpoint; 10 %: the partitions meet the
    # mass, not the air, and what is drawn while they float is partly made up later
    season = year.hourly["neighbours_c"] < 20.0 + 1e-9
    assert 3000 < season.sum() < 7000
    expected = 0.6 * 1200.0 * 0.09290304 * colder[season].sum() / 1000.0
    assert penalty == pytest.approx(expected, rel=0.10)
    assert "cools its own cellar" in cautions(year)


@pytest.mark.parametrize("name", list(SITINGS))
def test_every_room_closes(siting: Callable[[str], Year], name: str) -> None:
    """Residuals of heat [W] and water [kg/s] of a step at rounding: 1e-12 of 1e4 W, and of 1e-2 kg/s."""
    year = siting(name)
    assert abs(number(year, "balance_error")) <= 1e-6
    assert number(year, "room_heat_residual_w") <= 1e-7
    assert number(year, "room_water_residual_kg_per_s") <= 1e-13
    assert (year.hourly["room_relative_humidity"] >= 0.0).all()


@pytest.mark.independent
def test_a_sealed_closet_cuts_out(siting: Callable[[str], Year]) -> None:
    """A 1 kW sink behind 20 W/K of partitions would settle 50 K below: the machine stands, resistance heats.

    With grilles (0.05 m3/s, 60 W/K more) it works most of the time, colder than with more air.
    """
    sealed, vented = siting("sealed-closet"), siting("closet")
    assert number(sealed, "backup_heat_kwh") > 0.95 * number(sealed, "heat_to_taps_kwh")
    assert number(sealed, "lockout_hours") > 8000.0
    assert number(sealed, "cop_plant") < 1.0  # tank loss and standby
    assert "the closet is too small or unvented" in cautions(sealed)
    assert number(vented, "backup_heat_kwh") < 0.2 * number(vented, "heat_to_taps_kwh")
    assert "recirculated air" in cautions(vented)
    airy = worked("packaged", *SITINGS["closet"], ROOM + "vent_flow=0.4 m3/s")
    assert number(airy, "lockout_hours") <= number(vented, "lockout_hours")
    assert number(airy, "room_min_c") > number(vented, "room_min_c") + 3.0
    assert number(airy, "cop_plant") > number(vented, "cop_plant")


@pytest.mark.independent
def test_a_machine_with_outdoor_ducts_is_a_machine_outdoors(siting: Callable[[str], Year]) -> None:
    """Source temperature of a fully ducted machine is the file's dry bulb, hour by hour."""
    year = siting("ducted")
    assert year.hourly["source_c"] == pytest.approx(year.hourly["dry_bulb_c"], abs=1e-9)
    run = year.hourly["run_hours"] > 0.0
    assert year.hourly["dry_bulb_c"][run].min() >= (37.0 - 32.0) / 1.8 - 1e-9  # its lowest source


@pytest.mark.independent
def test_condensate_is_latent_heat(siting: Callable[[str], Year]) -> None:
    """2.45 to 2.51 MJ/kg of vapour between 0 and 25 degC (steam tables, quoted from memory), to liquid
    water at the coil; frost adds 0.33.
    """
    year = siting("heated")
    per_litre = 3.6 * number(year, "coil_latent_kwh") / number(year, "condensate_litres")
    assert 2.44 < per_litre < 2.52


def test_a_dehumidifier_is_credited() -> None:
    """A damp heated room: what the coil dries the dehumidifier need not; at most condensate over L/kWh.

    Less, because in winter outdoor air keeps the room below the setpoint by itself. The room is held at one
    temperature all year: a warmer room would be let more water by the same relative humidity.
    """
    year = worked(
        "packaged",
        *HELD,
        ROOM + "heating_setpoint=20 degC",
        ROOM + "air_changes=0.3",
        ROOM + "airflow=0.1 m3/s",
        ROOM + "moisture=400 g/h",
        ROOM + "dehumidifier_setpoint=0.5",
        ROOM + "dehumidifier_efficiency=1.6",
    )
    credit = number(year, "dehumidifier_credit_kwh")
    assert 100.0 < credit <= number(year, "condensate_litres") / 1.6
    bought = number(year, "electricity_kwh") + number(year, "room_heating_penalty_kwh")
    assert net(year) == pytest.approx(bought - number(year, "room_cooling_credit_kwh") - credit, rel=1e-9)


@pytest.mark.slow
@pytest.mark.independent
def test_neighbours_and_elsewhere_feed_the_intake() -> None:
    """Air of a further space at a constant 25 degC: the machine meets exactly that in every hour."""
    year = worked(
        "packaged",
        ROOM + "intake=elsewhere",
        ROOM + "exhaust=outdoors",
        ROOM + "elsewhere_temperature=25 degC",
    )
    assert year.hourly["source_c"] == pytest.approx(25.0, abs=1e-9)
    ducts = (ROOM + "intake=neighbours", ROOM + "exhaust=outdoors", "hot_water.draws=smooth")
    year = worked("packaged", *ducts, ROOM + "neighbour_temperature=20 degC")
    assert year.hourly["source_c"] == pytest.approx(20.0, abs=1e-9)
    year = worked("packaged", *ducts)  # homes that are heated to 20 and cooled to 26 degC
    assert year.hourly["source_c"] == pytest.approx(year.hourly["neighbours_c"], rel=5e-6)  # six digits
    assert year.hourly["source_c"].min() == pytest.approx(20.0, abs=1e-9)
    assert year.hourly["source_c"].max() == pytest.approx(26.0, abs=1e-9)


# -- cooling, and what each energy weighs ---------------------------------------------------------------

ONE = (  # a home with its own unit
    "building.apartments=1",
    "plant.heat_pump.modules=1",
    "plant.storage.volume=75 gal",
    "plant.storage.tanks=1",
    "plant.backup.power=4.5 kW",
)
HOME = (ROOM + "kind=apartment", ROOM + "floor_area=75 m2")
WARM = f"site.weather={GREENSBORO}"


@pytest.fixture(scope="module")
def cooled() -> Year:
    """A home of its own in Greensboro, North Carolina."""
    return worked("packaged", WARM, *ONE, *HOME)


def test_saved_cooling_is_bought_by_its_cop(cooled: Year) -> None:
    """Twice the COP of the air conditioner: the same heat saved, half the credit, and cop_net by it."""
    better = worked("packaged", WARM, *ONE, *HOME, ROOM + "cooling_cop=6")
    heat = [
        number(y, "room_saved_cooling_kwh") + number(y, "neighbours_saved_cooling_kwh")
        for y in (cooled, better)
    ]
    assert heat[0] == heat[1] > 100.0
    assert number(cooled, "room_cooling_credit_kwh") == pytest.approx(heat[0] / 3.0, rel=1e-12)
    assert number(better, "room_cooling_credit_kwh") == pytest.approx(heat[0] / 6.0, rel=1e-12)
    for year, credit in ((cooled, heat[0] / 3.0), (better, heat[0] / 6.0)):
        bought = number(year, "electricity_kwh") + number(year, "room_heating_penalty_kwh")
        assert net(year) == pytest.approx(bought - credit, rel=1e-9)


def test_a_machine_in_a_cooled_home_saves_cooling_and_drying(cooled: Year) -> None:
    """No more is saved than the machine took, by kind and by the first law.

    Sensible saved and made up: at most what the coil took less tank loss and standby. Latent saved: at most
    the coil's condensate, and less, because a drier room lets in more water from outdoors.
    """
    taken = (
        number(cooled, "coil_sensible_kwh")
        - number(cooled, "storage_loss_kwh")
        - number(cooled, "standby_kwh")
    )
    drying = number(cooled, "room_saved_drying_kwh")
    sensible = number(cooled, "room_saved_cooling_kwh") - drying
    made_up = number(cooled, "room_extra_heat_kwh") + number(cooled, "neighbours_extra_heat_kwh")
    assert 0.3 * taken < made_up < 0.8 * taken
    assert 0.1 * taken < sensible < taken - made_up
    assert 0.3 * number(cooled, "coil_latent_kwh") < drying < number(cooled, "coil_latent_kwh")


@pytest.mark.independent
def test_penalty_and_credit_by_an_independent_zone() -> None:
    """A home alone, windows shut: what the machine takes each hour put into `room_cases.independent`.

    Extra heating and saved sensible cooling of the year, and the room's own heating. 3 %: the engine switches
    in steps of five minutes what the other zone sees as hourly means.
    """
    alone = (ROOM + "loss_to_neighbours=0 W/K", ROOM + "airing=0")
    year = worked("packaged", WARM, *ONE, *HOME, *alone)
    hourly, zone = year.hourly, replace(room_kind("apartment", 75.0), neighbours=0.0, airing=0.0)
    weather = read_weather(GREENSBORO)
    outdoors, pressure = hourly["dry_bulb_c"], float(weather["pressure_pa"].mean())
    given = hourly["storage_loss_kwh"] + hourly["standby_kwh"] + hourly["machine_loss_kwh"]
    sink = 1000.0 * (hourly["coil_sensible_kwh"] - given)
    sun = 1000.0 * hourly["room_sun_kwh"]
    _, heating, cooling = independent(zone, outdoors, sun, 0.0 * sink, pressure)
    _, more, less = independent(zone, outdoors, sun, sink, pressure)
    drying = number(year, "room_saved_drying_kwh")
    assert number(year, "reference_room_heating_kwh") == pytest.approx(heating.sum() / 1000.0, rel=0.01)
    assert number(year, "room_extra_heat_kwh") == pytest.approx((more - heating).sum() / 1000.0, rel=0.03)
    sensible = number(year, "room_saved_cooling_kwh") - drying
    assert sensible == pytest.approx((cooling - less).sum() / 1000.0, rel=0.03)
    assert sensible > 50.0


def test_sun_and_windows_lessen_what_a_machine_costs(cooled: Year) -> None:
    """Without windows the same home is heated longer and cooled less: more is made up, less is saved."""
    dark = worked("packaged", WARM, *ONE, *HOME, ROOM + "window_area=0 m2", ROOM + "window_loss=26.25 W/K")
    assert number(dark, "room_sun_kwh") == 0.0
    assert number(cooled, "room_sun_kwh") > 1000.0
    assert number(dark, "reference_room_heating_kwh") > 1.15 * number(cooled, "reference_room_heating_kwh")
    assert number(dark, "room_extra_heat_kwh") > 1.05 * number(cooled, "room_extra_heat_kwh")
    assert number(dark, "room_saved_cooling_kwh") < 0.8 * number(cooled, "room_saved_cooling_kwh")
    facing = [ROOM + f"window_{name}=2.625 m2" for name in ("north", "east", "south", "west")]
    even = worked("packaged", WARM, *ONE, *HOME, *facing)
    assert number(even, "room_sun_kwh") == pytest.approx(number(cooled, "room_sun_kwh"), rel=1e-12)
    south = worked("packaged", WARM, *ONE, *HOME, ROOM + "window_south=10.5 m2")
    winter = slice(0, 1416)
    assert south.hourly["room_sun_kwh"][winter].sum() > 1.5 * cooled.hourly["room_sun_kwh"][winter].sum()


def test_a_closet_pays_by_the_rule_of_the_home_it_stands_in(cooled: Year) -> None:
    """A closet draws its heat from the home: penalty and credit per heat taken are those of the home itself.

    Within a fifth: the closet's air is colder, so that its coil takes more water and less sensible heat.
    """
    closet = worked("packaged", WARM, *ONE, ROOM + "kind=closet", ROOM + "floor_area=2 m2")
    shares = []
    for year in (cooled, closet):
        taken = (
            number(year, "coil_sensible_kwh") - number(year, "storage_loss_kwh") - number(year, "standby_kwh")
        )
        heat = number(year, "room_extra_heat_kwh") + number(year, "neighbours_extra_heat_kwh")
        saved = number(year, "room_saved_cooling_kwh") + number(year, "neighbours_saved_cooling_kwh")
        shares.append((heat / taken, saved / number(year, "source_heat_kwh")))
    assert shares[1] == pytest.approx(shares[0], rel=0.2)
    assert shares[1][1] > 0.1
    # nobody pays for heat drawn in weeks without heating, nor saves in weeks without cooling
    summer, winter = slice(4344, 5832), slice(0, 744)
    assert closet.hourly["neighbours_extra_heat_kwh"][summer].sum() == pytest.approx(0.0, abs=0.5)
    assert closet.hourly["neighbours_saved_cooling_kwh"][winter].sum() < 5.0


@pytest.mark.independent
def test_each_heater_and_each_energy_is_shown() -> None:
    """A gas-heated home: cop_net in site energy, in source energy by hand, and with other heaters.

    Factors of tables/site_to_source.csv: 2.80 and 1.05; the neighbours' homes have heat pumps of COP 3.
    """
    gas = worked("packaged", WARM, *ONE, *HOME, ROOM + "heating=gas", ROOM + "neighbour_heating=heat-pump")
    useful_kwh = number(gas, "heat_to_taps_kwh")
    own, theirs = number(gas, "room_extra_heat_kwh"), number(gas, "neighbours_extra_heat_kwh")
    credit, bought = number(gas, "room_cooling_credit_kwh"), number(gas, "electricity_kwh")
    assert number(gas, "room_penalty_gas_kwh") == pytest.approx(own / 0.9, rel=1e-9)
    electric = bought + theirs / 3.0 - credit
    assert number(gas, "cop_net") == pytest.approx(useful_kwh / (electric + own / 0.9), rel=1e-9)
    assert number(gas, "cop_net_source") == pytest.approx(
        useful_kwh / (2.8 * electric + 1.05 * own / 0.9), rel=1e-9
    )
    heat = own + theirs
    assert number(gas, "cop_net_if_resistance") == pytest.approx(
        useful_kwh / (bought - credit + heat), rel=1e-9
    )
    assert number(gas, "cop_net_if_heat_pump") == pytest.approx(
        useful_kwh / (bought - credit + heat / 3.0), rel=1e-9
    )
    assert number(gas, "room_penalty_if_heat_pump_kwh") == pytest.approx(heat / 3.0, rel=1e-12)
    assert (
        number(gas, "cop_net_if_resistance")
        < number(gas, "cop_net_if_heat_pump")
        < number(gas, "cop_plant") * 1.3
    )
    said = year_text(gas.record)
    assert "net of its room" in said
    assert "if resistance heated it" in said
