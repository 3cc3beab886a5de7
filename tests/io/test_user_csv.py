"""The rules that all CSV files of a user share; what one file wants beside them is tested with its reader."""

from pathlib import Path

import pytest

from hpwhsim.errors import InputError
from hpwhsim.io.user_csv import read_hours, read_rows

pytestmark = pytest.mark.contract

HEADER = ("name", "value")


def given(folder: Path, content: str | bytes) -> Path:
    path = folder / "given.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    "content",
    [
        "name,value\na,1\nb,2.5\n",
        "value,name\n1,a\n2.5,b",
        "\ufeffname,value\r\na,1\r\nb,2.5\r\n",
        "name,value\ra,1\rb,2.5\r",
        "# made\n\n name , value \n  # by hand, in May\na , 1\n \t\nb,+25e-1\n\n",
        '"name", "value"\n"a", "1"\nb,"2.50"\n',
    ],
)
def test_one_table_written_in_many_ways(tmp_path: Path, content: str) -> None:
    """Order of columns, byte order mark, ends of lines, blanks, comments, quotes and forms of a number."""
    rows = read_rows(given(tmp_path, content), HEADER)
    assert [(row.cells["name"], row.number("value")) for row in rows] == [("a", 1.0), ("b", 2.5)]


def test_a_quoted_cell_holds_commas_and_quotes(tmp_path: Path) -> None:
    (row,) = read_rows(given(tmp_path, 'name,value\n"a, ""b"" #c",1\n'), HEADER)
    assert row.cells["name"] == 'a, "b" #c'


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "got no header row; allowed the columns name, value or value, year"),
        ("# only a remark\n", "got no header row"),
        ("name,value\n", "got no row below the header"),
        ("name\na\n", "line 1: columns: missing value; allowed name, value or value, year"),
        ("# x\nname,valeu\na,1\n", "line 2: columns: missing value; unknown valeu"),
        ("year,value,\na,1,\n", "line 1: columns: unknown a column without a name; allowed"),
        ("name,value,value\na,1,1\n", "columns: twice value"),
        ("name;value\na;1\n", "separate cells by commas"),
        ("name,value\na,1\n\nb\n", "line 4: got 1 cells; allowed 2"),
        ("name,value\na,1,\n", "line 2: got 3 cells; allowed 2"),
        ('name,value\n"a,1\nb",2\n', "line 2: got a stray quotation mark"),
        ("name,value\n# a remark\ngood,1\nb\x07d,2\n", r"line 4: got U\+0007 \(BEL\)"),
        ("name,value\na\x0cb,1\n", r"line 2: got U\+000C"),
        ("name,value\nü,1\n".encode("latin-1"), "not UTF-8 text"),
        ("name,value\na,1\n".encode("utf-16"), "not UTF-8 text"),
    ],
)
def test_what_is_no_such_table_is_said(tmp_path: Path, content: str | bytes, message: str) -> None:
    path = given(tmp_path, content)
    with pytest.raises(InputError, match=message) as caught:
        read_rows(path, HEADER, ("value", "year"))
    assert str(caught.value).startswith(f"{path}: ")


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: there is no such file"):
        read_rows(tmp_path / "none.csv", HEADER)
    with pytest.raises(InputError, match="this is a folder"):
        read_rows(tmp_path, HEADER)


@pytest.mark.parametrize(
    "cell", ["", "nan", "inf", "-Infinity", "1e999", "1_000", '"1,000"', "1 000", "5 kW", "0x1F", "٣", "-1"]
)
def test_what_is_no_number_is_said(tmp_path: Path, cell: str) -> None:
    """No gap, nothing that is not finite, no sign between thousands, no unit, no digits but 0 to 9."""
    (row,) = read_rows(given(tmp_path, f"name,value\na,{cell}\n"), HEADER)
    got = repr(cell.strip('"')) if cell else "nothing"
    with pytest.raises(InputError) as caught:
        row.number("value")
    said = f"given.csv: line 2: column value: got {got}; allowed a finite number of 0 or more"
    assert str(caught.value).endswith(said)


def test_limits_are_said(tmp_path: Path) -> None:
    (row,) = read_rows(given(tmp_path, "value\n0\n"), ("value",))
    assert row.number("value", 0.0, 1.0) == 0.0
    with pytest.raises(InputError, match=r"a finite number of 1 to 2$"):
        row.number("value", 1.0, 2.0)
    with pytest.raises(InputError, match=r"a finite number above 0$"):
        row.number("value", above=True)


@pytest.mark.parametrize(("rows", "words"), [(8759, "8760, one for each"), (8784, "leave out 29 February")])
def test_a_year_has_8760_rows(tmp_path: Path, rows: int, words: str) -> None:
    with pytest.raises(InputError, match=f"got {rows} rows; allowed .*{words}"):
        read_hours(given(tmp_path, "value\n" + "1\n" * rows), {"value": (0.0, 1.0)})
