"""The table of buildings: faults are said by row and column, and a spreadsheet is a table too."""

from pathlib import Path

import openpyxl
import pytest
from block_cases import HEAD, SHARED, table
from cases import refusal

from hpwhsim.blocks.block import of_buildings, ready
from hpwhsim.blocks.entries import read_buildings
from hpwhsim.blocks.hours import named_hours
from hpwhsim.blocks.table import COLUMNS, SHEET
from hpwhsim.cli.main import main
from hpwhsim.errors import InputError
from hpwhsim.scenario.plant import Backup

pytestmark = pytest.mark.contract


def checked(path: Path) -> None:
    """Read a table and build its plants."""
    buildings, _ = of_buildings(path, (), None, ())
    ready(buildings, None, lambda _: None)


def lines(path: Path) -> list[str]:
    """What is wrong with a table, a line for each fault."""
    with pytest.raises(InputError) as error:
        checked(path)
    first, *rest = str(error.value).splitlines()
    if not rest:
        return [first.removeprefix(f"{path}: ")]
    assert first == f"{path}: {len(rest)} things are wrong"
    return [line.strip() for line in rest]


def test_every_fault_has_its_line(tmp_path: Path) -> None:
    """Row, column, what was given, what is allowed; those of cells before those of scenarios."""
    path = table(
        tmp_path,
        "A,plant.yaml,1.5,,x",
        "A,nowhere.yaml,4,,",
        "B,plant.yaml,4,wild,",
        head="building,scenario,count,hot_water.draws,distribution_loss",
    )
    assert lines(path) == [
        "row 2 (A): column count: got '1.5'; allowed a whole number from 1 to 1000",
        "row 2 (A): column distribution_loss: got 'x'; allowed nothing without a name in the column plant",
        "row 3 (A): column scenario: got 'nowhere.yaml'; allowed the path of a file that is there, seen from "
        "the folder of this table",
        "row 3: column building: got 'A'; allowed a name of its own: row 2 has it already",
    ]
    path = table(tmp_path, "A,plant.yaml,0,random,1", "B,plant.yaml,4,wild,-1")
    assert lines(path) == [
        "row 2 (A): column building.apartments: got 0; allowed at least 1",
        "row 3 (B): column hot_water.draws: got 'wild'; allowed smooth, random",
        "row 3 (B): column hot_water.seed: got -1; allowed at least 0",
    ]


def test_wrong_columns(tmp_path: Path) -> None:
    path = table(tmp_path, "A,4", head="building,building.apartment")
    assert lines(path) == [
        "columns: missing scenario; allowed " + ", ".join(COLUMNS) + ", and keys of a scenario",
        "column building.apartment: unknown key; did you mean building.apartments?",
    ]
    path = table(tmp_path, "A,plant.yaml,2", head="building,scenario,counts")
    assert lines(path) == ["column counts: did you mean count?"]


def test_what_a_plant_refuses_is_said_before_any_march(tmp_path: Path) -> None:
    """A fault that shows only when the plant is put together, beside a good row."""
    path = table(
        tmp_path,
        "A,plant.yaml,none",
        "B,plant.yaml,90 degC",
        head="building,scenario,recirculation.return_temperature",
    )
    assert any("row 3 (B)" in line for line in lines(path))


def test_rows_of_one_plant_agree(tmp_path: Path) -> None:
    head = f"{SHARED},hot_water.seed"
    rows = ("E,plant.yaml,P,,7,smooth,3 m3,", "W,plant.yaml,P,,5,random,2 m3,", "P,plant.yaml,,,1,,,")
    assert lines(table(tmp_path, *rows, head=head)) == [
        "row 3 (W): column hot_water.draws: got random; allowed smooth, as in row 2 of the same plant",
        "row 3 (W): column plant.storage.volume: got 2 m3; allowed 3 m3, as in row 2 of the same plant",
    ]
    rows = ("E,plant.yaml,P,,7,,,", "P,plant.yaml,,,1,,,")
    assert lines(table(tmp_path, *rows, head=head)) == [
        "row 2 (E): column plant: got P; allowed another name: row 3 is a building of this name"
    ]


def test_only_ground_loops_share_a_field(tmp_path: Path) -> None:
    path = table(tmp_path, "A,plant.yaml,Yard", head="building,scenario,field")
    assert lines(path) == [
        "row 2 (A): column field: got Yard; allowed nothing: plant.source.kind is no ground-loop"
    ]


def test_a_seed_is_not_for_several(tmp_path: Path) -> None:
    path = table(tmp_path, "A,plant.yaml,3,4,random,5", head=HEAD.replace("scenario,", "scenario,count,"))
    assert lines(path) == [
        "row 2 (A): column hot_water.seed: got 5; allowed nothing with a count above 1: each of equal "
        "buildings has draws of its own"
    ]


def test_an_override_is_no_column(tmp_path: Path) -> None:
    path = table(tmp_path, "A,plant.yaml,4,smooth,")
    with pytest.raises(InputError, match=r"--set building\.apartments: the table has the column"):
        read_buildings(path, ["building.apartments=5"])
    assert (
        read_buildings(path, ["plant.storage.volume=3 m3"]).entries[0].plant.scenario.plant.storage.volume
        == 3.0
    )


def test_a_spreadsheet_is_a_table_too(tmp_path: Path) -> None:
    """Numbers as numbers, an empty row, a remark, another sheet first: the same buildings."""
    path = table(tmp_path, "A,plant.yaml,6,random,11", "B,plant.yaml,4,smooth,")
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet(SHEET)
    for cells in (
        HEAD.split(","),
        ["A", "plant.yaml", 6, "random", 11],
        [],
        ["# a remark"],
        ["B", "plant.yaml", 4.0],
    ):
        sheet.append(cells)
    book.save(tmp_path / "buildings.xlsx")
    ours, theirs = (read_buildings(tmp_path / f"buildings.{kind}").entries for kind in ("xlsx", "csv"))
    assert [one.plant.scenario for one in ours] == [one.plant.scenario for one in theirs]
    assert [one.lines[0].row for one in ours] == [2, 5]
    sheet["C2"] = "six"
    book.save(tmp_path / "buildings.xlsx")
    (tmp_path / "no.xlsx").write_text("no spreadsheet")
    assert lines(tmp_path / "buildings.xlsx") == [
        "row 2 (A): column building.apartments: got 'six'; allowed a whole number"
    ]
    assert "allowed a spreadsheet (XLSX) or a CSV file" in lines(tmp_path / "no.xlsx")[0]
    assert path.exists()


def test_the_template_is_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A filled row of it is read, its lists are those of the schema, and it replaces no file."""
    table(tmp_path, "A,plant.yaml,4,smooth,")
    path = tmp_path / "template.xlsx"
    assert main(["block", "--template", str(path)]) == 0
    capsys.readouterr()
    book = openpyxl.load_workbook(path)
    sheet = book[SHEET]
    heads = [cell.value for cell in sheet[1]]
    assert heads[: len(COLUMNS)] == list(COLUMNS)
    lists = {str(rule.sqref): rule.formula1 for rule in sheet.data_validations.dataValidation}
    kind = heads.index("plant.backup.kind")
    where = sheet.cell(2, kind + 1).column_letter
    (source,) = [formula for area, formula in lists.items() if area.startswith(f"{where}2:")]
    listed = [cell.value for (cell,) in book["Lists"][source.partition("!")[2].replace("$", "")]]
    assert listed == list(Backup.model_fields["kind"].annotation.__args__)
    for column, value in (("building", "A"), ("scenario", "plant.yaml"), ("plant.backup.kind", "resistance")):
        sheet.cell(2, heads.index(column) + 1, value)
    book.save(path)
    (entry,) = read_buildings(path).entries
    assert entry.plant.scenario.plant.backup.kind == "resistance"
    assert "there is such a file" in refusal(["block", "--template", str(path)], capsys)
    assert "allowed a file *.xlsx" in refusal(["block", "--template", str(tmp_path / "t.csv")], capsys)
    assert "got no table" in refusal(["block"], capsys)


@pytest.mark.parametrize(
    ("text", "quarters"),
    [
        ("system=07-18 08-02 17:00-18:00", 8),
        ("evening=Dec-Feb weekdays 17:00-20:00", 12 * 64),
        ("all=00:00-24:00", 35040),
        ("two=Jan Mar 00:00-01:00", 4 * 62),
    ],
)
def test_named_hours(text: str, quarters: int) -> None:
    """Counted by hand: December to February have 64 weekdays in the nominal year."""
    assert int(named_hours(text).mask.sum()) == quarters


@pytest.mark.parametrize(
    "text", ["evening", "=17:00-18:00", "a=Jan", "a=02-29 17:00-18:00", "a=May 01-02 17:00-18:00"]
)
def test_hours_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match=f"--hours {text}: "):
        named_hours(text)
