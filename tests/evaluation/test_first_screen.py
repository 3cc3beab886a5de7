"""The first screen of `tankyear run`: small, whole, and of the record's own figures."""

from pathlib import Path
from typing import Any

import pytest

from hpwhsim.account import adequacy
from hpwhsim.account.energy import END_USES
from hpwhsim.cli.main import main
from hpwhsim.evaluation.cautions import by_importance, importance
from hpwhsim.evaluation.first_screen import LINES, WIDTH, first_screen
from hpwhsim.evaluation.report import year_text
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import shown
from hpwhsim.results.records import read_stored

pytestmark = pytest.mark.contract

RECORDS = sorted((Path(__file__).parents[2] / "scenarios" / "records").glob("*.json"))
FILES = [Path("out/plant") / name for name in ("annual.json", "hourly.csv", "hourly.nc", "schematic.svg")]
FILES += [
    Path("out/plant") / name for name in ("cop_map.png", "year.png", "weeks.png", "carbon.png", "page.html")
]


def record_of(path: Path) -> dict[str, Any]:
    stored = read_stored(path)
    return {**stored.context, **stored.record}


def crowded(record: dict[str, Any]) -> dict[str, Any]:
    """The record with every end use, failed checks, many causes, costs and savings: the fullest screen."""
    full = (
        dict(record) | {key: 123_456.0 for key in END_USES} | {"fuel_kwh": 234_567.0, "fuel": "natural-gas"}
    )
    full |= {"title": "A plant with a long name " * 8, "weather.station": "A station " * 20}
    full |= {"room_heating_penalty_kwh": 9e4, "room_cooling_credit_kwh": 8e4, "dehumidifier_credit_kwh": 7e3}
    full |= {"cop_net": 1.234, "short_litres": 123_456.0, "short_hours": 234.5}
    full["short_hours_by_cause"] = full["backup_hours_by_cause"] = {
        name: 1234.5 for name in ("source-too-cold", "water-too-warm", "capacity", "starting", "source-spent")
    }
    checks = [dict(row, state="fail", name=f"{row['name']} {n}") for n, row in enumerate(record["checks"])]
    return full | {"checks": checks, "cautions": [f"caution {n} {'word ' * 60}" for n in range(40)]}


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_it_is_at_most_25_lines_of_80_columns(path: Path) -> None:
    record = record_of(path)
    for us in (False, True):
        lines = first_screen(record, FILES, us=us).splitlines()
        assert len(lines) <= LINES == 25
        assert max(map(len, lines)) <= WIDTH == 80


def test_the_fullest_screen_fits_too_and_still_warns() -> None:
    record = crowded(record_of(next(path for path in RECORDS if path.stem == "laundry-room")))
    text = first_screen(record, FILES)
    assert len(text.splitlines()) <= LINES
    assert max(map(len, text.splitlines())) <= WIDTH
    for words in (
        "FAILED",
        "Cautions: 40",
        "--all",
        "Files: out/plant/",
        "annual.json",
        "page.html and 5 pictures",
    ):
        assert words in text
    for key in END_USES:  # no part of what the plant takes is left out
        assert f"{declared(key).label} {shown(key, record[key])}" in " ".join(text.split())


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_its_figures_are_the_records(path: Path) -> None:
    record = record_of(path)
    text = first_screen(record)
    rows = {line[:21].strip(): line[21:].split() for line in text.splitlines() if line[:1].isalpha()}
    keys = {
        "Purchased electricity": "electricity_kwh",
        "Peak power": "peak_kw",
        "COP of the plant" if "cop_heat_pump" in record else "Plant efficiency": "cop_plant",
    }
    keys |= {"Purchased fuel": "fuel_kwh", "CO2e a year": "total_kgco2e", "COP net of the room": "cop_net"}
    keys |= {"Energy bill a year": "energy_cost", "Net present value": "costs.npv_usd"}
    for label, key in keys.items():
        expected = record.get(key) is not None and not (key == "fuel_kwh" and record[key] == 0.0)
        expected &= key != "cop_net" or "room_heating_penalty_kwh" in record
        assert (label in rows) == expected, label
        if expected:
            assert rows[label][0] == shown(key, record[key])
    assert f"Cautions: {len(record['cautions'])}," in text
    for name in record.get("savings.lines", {}):
        if name in ("source_mmbtu", "kgco2e"):
            assert shown(f"savings.{name}", record[f"savings.{name}"]) in text


@pytest.mark.law
@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_the_end_uses_on_it_add_up(path: Path) -> None:
    """Each is rounded to whole kWh, or two digits below that: half a kWh a term, and that of the sum."""
    record = record_of(path)
    lines = first_screen(record).splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith("  = "))
    end = next(n for n in range(start, len(lines)) if not lines[n].startswith(" "))
    terms = " ".join(lines[start:end]).replace("=", "").split(" + ")
    found = [float(term.split()[-1].replace(",", "")) for term in terms]
    assert sum(found) == pytest.approx(record["electricity_kwh"], abs=0.5 * (len(found) + 1))
    assert len(found) == sum(record.get(key, 0.0) > 0.0 for key in END_USES)


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_the_rest_is_within_100_columns_and_lists_everything(path: Path) -> None:
    record = record_of(path)
    text = year_text(record)
    assert max(map(len, text.splitlines())) <= 100
    plain = " ".join(text.split())
    for caution in record["cautions"]:
        assert " ".join(caution.split()) in plain
    for check in record.get("checks", ()):
        assert check["name"] in plain
    alone = {part: year_text(record, [part]) for part in ("months", "checks", "cautions")}
    assert all(part.strip() in text for part in alone.values())
    assert "Cautions" not in alone["months"] + alone["checks"]


def test_what_limits_the_year_comes_before_what_holds_for_every_plant() -> None:
    found = adequacy.cautions(
        short_hours=3.0, short_litres=40.0, minimum_c=43.0, edge_hours=5.0, supply_min_c=15.0, run_hours=0.0
    )
    usual = adequacy.safety(refrigerant="R-744", setpoint_c=65.0)
    assert {importance(text) for text in found} == {0}
    assert {importance(text) for text in usual} == {4}
    assert {importance(text) for text in adequacy.safety(refrigerant="R-32", setpoint_c=65.0)} == {4}
    mixed = [*usual, "baseline: another", *found, "one of its own"]
    assert by_importance(mixed) == [*found, "one of its own", "baseline: another", *usual]


@pytest.mark.year
def test_options_of_the_command_show_the_rest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without an option the first screen alone; each option adds its part, and --all everything."""
    path = str(Path(__file__).parents[2] / "scenarios" / "packaged-test.yaml")
    heads = {"months": "  month ", "cautions": "Legionella, worst first", "figures": "Performance"}
    for option, expected in {
        "": set(),
        "--months": {"months"},
        "--checks": set(),  # none were requested
        "--cautions": {"cautions"},
        "--all": set(heads),
    }.items():
        assert main(["run", path, "--out", str(tmp_path), *([option] if option else [])]) == 0
        out = capsys.readouterr().out
        assert out.index("Purchased electricity") < out.index("Files: ")
        assert {part for part, head in heads.items() if f"\n{head}" in out} == expected, option
        if not option:
            assert len(out.splitlines()) <= LINES
