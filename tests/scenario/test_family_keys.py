"""Wrong input of every key of rooms, ground loops, sewage, lines and heaters, through the command."""

from pathlib import Path

import pytest
from cases import ROOT

from hpwhsim.cli import main as cli
from hpwhsim.scenario.keys import key_paths

pytestmark = pytest.mark.contract

SOURCE, MACHINE = "plant.source", "plant.heat_pump"
BLOCKS = (
    f"{SOURCE}.room",
    f"{SOURCE}.ground_loop",
    f"{SOURCE}.wastewater",
    f"{MACHINE}.lines",
    f"{MACHINE}.water_lines",
)
FILE_OF = dict(zip(BLOCKS, ("packaged", "ground", "wastewater", "banked-split", "split"), strict=True))

# block: key: (what is given, words of what is allowed)
WRONG: dict[str, dict[str, tuple[str, str]]] = {
    f"{SOURCE}.room": {
        "kind": ("attic", "cellar, garage, mechanical-room, closet, apartment, hallway"),
        "floor_area": ("0 m2", "more than 0 m2"),
        "height": ("0.4 m", "more than 0.5 m"),
        "mass": ("massive", "very light, light, medium, heavy, very heavy"),
        "loss_to_outdoors": ("-1 W/K", "at least 0 W/K"),
        "window_loss": ("-1 W/K", "at least 0 W/K"),
        "loss_to_ground": ("-1 W/K", "at least 0 W/K"),
        "loss_to_neighbours": ("5 W", "a heat loss with its unit"),
        "neighbour_temperature": ("20 C", "write degC"),
        "neighbour_humidity": ("40", "at most 1"),
        "neighbour_heating": ("oil", "none, resistance, gas, heat-pump"),
        "neighbour_floor_area": ("0 m2", "more than 0 m2"),
        "neighbour_heating_setpoint": ("4 degC", "at least 5 degC"),
        "neighbour_cooling": ("fan", "none, air-conditioner"),
        "neighbour_cooling_setpoint": ("14 degC", "at least 15 degC"),
        "window_area": ("-1 m2", "at least 0 m2"),
        "window_north": ("-1 m2", "at least 0 m2"),
        "window_east": ("5", "such as"),
        "window_south": ("5 m", "such as"),
        "window_west": ("-1 m2", "at least 0 m2"),
        "window_solar_gain": ("1.2", "at most 1"),
        "window_shading": ("40", "at most 1"),
        "airing": ("-1", "at least 0"),
        "cooling_coil": ("25 degC", "at most 20 degC"),
        "air_changes": ("-0.1", "at least 0"),
        "vent_flow": ("101 m3/s", "at most 100 m3/s"),
        "gains": ("-5 W", "at least 0 W"),
        "moisture": ("3 kg", "such as"),
        "heating": ("stove", "none, resistance, gas, heat-pump"),
        "heating_setpoint": ("31 degC", "at most 30 degC"),
        "heating_efficiency": ("9", "at most 8"),
        "cooling": ("fan", "none, air-conditioner"),
        "cooling_setpoint": ("14 degC", "at least 15 degC"),
        "cooling_cop": ("0.5", "at least 1"),
        "dehumidifier_setpoint": ("50", "at most 0.95"),
        "dehumidifier_efficiency": ("0.1", "at least 0.2"),
        "airflow": ("0 cfm", "more than 0 m3/s"),
        "bypass": ("1", "at most 0.9"),
        "intake": ("attic", "room, outdoors, neighbours, elsewhere"),
        "exhaust": ("attic", "room, outdoors, neighbours, elsewhere"),
        "make_up": ("room", "outdoors, neighbours, elsewhere"),
        "elsewhere_temperature": ("20 degC", "nothing unless a duct goes elsewhere"),
        "elsewhere_humidity": ("2", "at most 1"),
    },
    f"{SOURCE}.ground_loop": {
        "layout": ("circle", "rectangle, L, U, open-box"),
        "rows": ("0", "at least 1"),
        "columns": ("2.5", "a whole number"),
        "spacing": ("0.5 m", "at least 1 m"),
        "depth": ("5 m", "at least 10 m"),
        "buried": ("0 m", "more than 0 m"),
        "diameter": ("1 m", "at most 0.5 m"),
        "u_tubes": ("3", "1, 2"),
        "pipe_outer": ("0.2 m", "at most 0.1 m"),
        "pipe_inner": ("40 mm", "less than plant.source.ground_loop.pipe_outer"),
        "shank_spacing": ("14 cm", "both legs within the bore's diameter"),
        "pipe_conductivity": ("0 W/m/K", "more than 0 W/m/K"),
        "grout_conductivity": ("0.1 W/m/K", "more than 0.1 W/m/K"),
        "ground_conductivity": ("2.2 W/K", "W/m/K"),
        "ground_heat_capacity": ("2 MJ/kg/K", "such as"),
        "ground_temperature": ("40 degC", "at most 35 degC"),
        "fluid": ("brine", "water, propylene-glycol, ethylene-glycol, methanol, ethanol"),
        "fluid_share": ("0.7", "at most 0.6"),
        "flow": ("0 gpm", "more than 0 m3/s"),
        "min_flow_fraction": ("1.5", "at most 1"),
        "pump_power": ("-1 W", "at least 0 W"),
        "header": ("-1 m", "at least 0 m"),
        "pump_efficiency": ("0.95", "at most 0.9"),
        "rejection": ("none.csv", "a file that exists"),
        "rejection_circuit": ("mixed", "shared, own"),
    },
    f"{SOURCE}.wastewater": {
        "sewer": ("none.csv", "a file that exists"),
        "cold_use_per_apartment": ("-1 gal", "at least 0"),
        "heat_left": ("0", "more than 0"),
        "cistern_pickup": ("3 degC", "delta_degC or K"),
        "drain_loss": ("-1 W/K", "at least 0"),
        "lag": ("2 days", "at most 86400 s"),
        "screening_loss": ("1", "less than 1"),
        "well_volume": ("0 gal", "more than 0 m3"),
        "well_loss": ("-1 W/K", "at least 0 W/K"),
        "min_temperature": ("-1 degC", "at least 0 degC"),
        "exchanger": ("0 W/K", "more than 0 W/K"),
        "clean_loop": ("2", "true or false"),
        "flow": ("0 gpm", "more than 0 m3/s"),
        "fouling": ("0.5", "at most plant.source.wastewater.max_fouling"),
        "max_fouling": ("0.99", "at most 0.95"),
        "fouling_growth": ("fast", "saturating, linear"),
        "cleaning_interval": ("0", "at least 1"),
        "pump_power": ("-1 W", "at least 0 W"),
        "grinding": ("20 W", "such as"),
        "grinder_power": ("-1 W", "at least 0 W"),
    },
    f"{MACHINE}.lines": {
        "length": ("501 m", "at most 500 m"),
        "rise": ("300 ft", "at most plant.heat_pump.lines.length"),
        "gas_diameter": ("0 mm", "more than 0 m"),
        "liquid_diameter": ("0.5 m", "at most 0.3 m"),
        "compressor": ("roof", "outdoors, indoors"),
        "rated_length": ("60 m", "at most 50 m"),
        "max_length": ("0 ft", "more than 0 m"),
        "max_height": ("0 ft", "more than 0 m"),
    },
    f"{MACHINE}.water_lines": {
        "length": ("301 m", "at most 300 m"),
        "rise": ("201 m", "at most 200 m"),
        "max_length": ("0 ft", "more than 0 m"),
        "max_height": ("0 ft", "more than 0 m"),
        "inner_diameter": ("1 mm", "at least 0.005 m"),
        "outer_diameter": ("10 mm", "at least plant.heat_pump.water_lines.inner_diameter"),
        "insulation": ("-1 mm", "at least 0 m"),
        "protection": ("salt", "none, trace, glycol"),
        "trace_rating": ("9 W", "a power per length with its unit"),
        "trace_hold": ("0 degC", "at least 1 degC"),
        "trace_control": ("timer", "self-regulating, on-off"),
        "glycol_share": ("0.3", "nothing unless plant.heat_pump.water_lines.protection is glycol"),
        "exchanger": ("900 W/K", "nothing unless plant.heat_pump.water_lines.protection is glycol"),
        "outage": ("8 days", "at most 604800 s"),
    },
}


def fails(capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, *overrides: str) -> str:
    """`run` must end with exit 2 and a line for each thing that is wrong, and write nothing."""
    words = [word for pair in overrides for word in ("--set", pair)]
    out = tmp_path / "out"
    code = cli.main(["run", str(ROOT / "scenarios" / f"{name}.yaml"), "--out", str(out), *words])
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    head, *lines = said.err.splitlines()
    assert head.startswith("tankyear: ")
    assert not lines or head.endswith(f": {len(lines)} things are wrong")
    assert all(line.startswith("  ") for line in lines)
    assert not out.exists()
    return said.err


def test_no_key_is_left_out() -> None:
    """A key added to one of these blocks needs its wrong input here."""
    for block, keys in WRONG.items():
        assert {path for path in key_paths() if path.startswith(f"{block}.")} == {
            f"{block}.{key}" for key in keys
        }


@pytest.mark.parametrize(
    ("block", "key", "given", "allowed"),
    [(block, key, *pair) for block, keys in WRONG.items() for key, pair in keys.items()],
    ids=[f"{block.rpartition('.')[2]}.{key}" for block, keys in WRONG.items() for key in keys],
)
def test_a_wrong_value_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, block: str, key: str, given: str, allowed: str
) -> None:
    """The plan, section on errors: exit 2; the key, what was given and what is allowed, in one line."""
    said = fails(capsys, tmp_path, FILE_OF[block], f"{block}.{key}={given}")
    assert said.count("\n") == 1
    assert f"{block}.{key}" in said
    assert given.split(" ")[0] in said
    assert allowed in said


@pytest.mark.parametrize(
    ("name", "overrides", "words"),
    [
        ("packaged", ["plant.source.room=null"], ["plant.source.room", "source of kind room needs"]),
        ("packaged", ["plant.source.kind=ground-loop"], ["plant.source.kind", "room or outdoor-air"]),
        ("ground", ["plant.source.ground_loop=null"], ["plant.source.ground_loop", "ground-loop needs"]),
        (
            "ground",
            ["plant.source.room.kind=cellar"],
            ["plant.source.room", "the source of this plant is ground"],
        ),
        ("ground", ["run.years=0"], ["run.years", "at least 1"]),
        ("packaged", ["run.years=2"], ["run.years", "only a ground loop remembers"]),
        (
            "wastewater",
            ["plant.source.wastewater.sewer=none.csv"],
            ["plant.source.wastewater.sewer", "none.csv"],
        ),
        ("split", ["plant.family=ground"], ["plant.source.ground_loop", "a block"]),
        (
            "banked-split",
            ["plant.family=central-air"],
            ["plant.heat_pump.lines", "nothing with plant.family"],
        ),
        ("gas-boiler", ["plant.backup.kind=oil"], ["plant.backup.kind", "gas with plant.family gas-boiler"]),
        ("gas-boiler", ["plant.backup.efficiency=1.1"], ["plant.backup.efficiency", "at most 1"]),
        ("gas-boiler", ["plant.backup.made_on=soon"], ["plant.backup.made_on", "soon"]),
        ("resistance", ["plant.backup.made_on=2026-01-01"], ["plant.backup.made_on", "gas or oil"]),
        ("district-steam", ["plant.backup.made_on=2026-01-01"], ["plant.backup.made_on", "gas or oil"]),
        (
            "gas-tank",
            ["plant.backup.mode=series"],
            ["plant.backup.mode", "parallel with plant.family gas-tank"],
        ),
        ("gas-tank", ["plant.controls.dead_band=5 K"], ["plant.controls", "nothing: plant.family gas-tank"]),
        (
            "packaged",
            ["plant.source.room.exhaust=elsewhere"],
            ["plant.source.room.elsewhere_temperature", "a duct goes elsewhere"],
        ),
        (
            "packaged",
            ["plant.source.room.window_area=4 m2", "plant.source.room.window_south=4 m2"],
            ["plant.source.room.window_south", "nothing beside plant.source.room.window_area"],
        ),
        (
            "packaged",
            [
                "plant.source.room.neighbour_temperature=18 degC",
                "plant.source.room.neighbour_heating_setpoint=19 degC",
            ],
            ["plant.source.room.neighbour_heating_setpoint", "nothing beside"],
        ),
        (
            "packaged",
            ["plant.source.room.neighbour_temperature=28 degC"],
            ["plant.source.room.neighbour_cooling_setpoint", "26 degC", "at least 28 degC"],
        ),
        (
            "packaged",
            [
                "plant.source.room.neighbour_cooling=none",
                "plant.source.room.neighbour_cooling_setpoint=25 degC",
            ],
            ["plant.source.room.neighbour_cooling_setpoint", "nothing with neighbour_cooling none"],
        ),
        (
            "packaged",
            [
                "plant.source.room.neighbour_heating=none",
                "plant.source.room.neighbour_heating_setpoint=20 degC",
            ],
            ["plant.source.room.neighbour_heating_setpoint", "nothing with neighbour_heating none"],
        ),
        (
            "packaged",
            ["plant.source.room.cooling=none", "plant.source.room.cooling_coil=12 degC"],
            ["plant.source.room.cooling_coil", "nothing with plant.source.room.cooling none"],
        ),
        (
            "packaged",
            [
                "plant.source.room.kind=apartment",
                "plant.source.room.cooling_setpoint=18 degC",
                "plant.source.room.cooling_coil=18 degC",
                "plant.source.room.heating_setpoint=17 degC",
            ],
            ["cooling coil", "at least 1 K below"],
        ),
        (
            "packaged",
            ["plant.source.room.make_up=outdoors"],
            ["plant.source.room.make_up", "blows it elsewhere"],
        ),
        (
            "packaged",
            ["plant.source.room.heating=none", "plant.source.room.heating_setpoint=20 degC"],
            ["plant.source.room.heating_setpoint", "nothing with plant.source.room.heating none"],
        ),
        (
            "ground",
            ["plant.source.ground_loop.pump_power=500 W", "plant.source.ground_loop.header=10 m"],
            ["plant.source.ground_loop.header", "nothing beside plant.source.ground_loop.pump_power"],
        ),
    ],
)
def test_values_that_do_not_go_together(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, overrides: list[str], words: list[str]
) -> None:
    said = fails(capsys, tmp_path, name, *overrides)
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("name", "key", "text", "words"),
    [
        ("ground", "plant.source.ground_loop.rejection", "rejection_kw\n1\n", ["1 rows", "8760"]),
        ("ground", "plant.source.ground_loop.rejection", "kw\n1\n", ["rejection_kw", "kw"]),
        ("ground", "plant.source.ground_loop.rejection", "rejection_kw\n" + "-1\n" * 8760, ["line 2", "-1"]),
        (
            "wastewater",
            "plant.source.wastewater",
            "flow_m3_per_h,temperature_c\n" + "1,warm\n" * 8760,
            ["line 2", "temperature_c", "warm"],
        ),
        ("wastewater", "plant.source.wastewater", "flow,temperature_c\n1,12\n", ["flow_m3_per_h", "flow"]),
    ],
)
def test_a_wrong_file_names_file_line_and_column(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, key: str, text: str, words: list[str]
) -> None:
    path = tmp_path / "hours.csv"
    path.write_text(text)
    value = str(path) if key.endswith("rejection") else f"{{sewer: {path}}}"
    said = fails(capsys, tmp_path, name, f"{key}={value}")
    for word in ("hours.csv", *words):
        assert word in said
