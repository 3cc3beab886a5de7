"""Shipped weather files for the tests, a bench that edits copies of them, and what its tests start from."""

import gzip
from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.io import disk_cache

SHIPPED = {
    "greensboro-nc-723170-tmy3.csv.gz": "TMY3",
    "sand-point-ak-703165-tmy3.csv.gz": "TMY3",
    "golden-co-724666-tmy3.csv.gz": "TMY3",
    "chicago-il-725300-tmy3.epw.gz": "EPW",
}
CSV, EPW = "greensboro-nc-723170-tmy3.csv.gz", "chicago-il-725300-tmy3.epw.gz"
# cell of each column: its place in an EPW row (data dictionary, from 0), its header word in a TMY3 CSV
EPW_CELL = {"dry": 6, "dew": 7, "rh": 8, "pressure": 9, "ghi": 13, "dni": 14, "dhi": 15, "wind": 21}
CSV_WORD = {
    "dry": "Dry-bulb (C)",
    "dew": "Dew-point (C)",
    "rh": "RHum (%)",
    "pressure": "Pressure (mbar)",
    "ghi": "GHI (W/m^2)",
    "dni": "DNI (W/m^2)",
    "dhi": "DHI (W/m^2)",
    "wind": "Wspd (m/s)",
}
Edit = Callable[[list[str]], list[str]]


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing kept by an earlier run may answer a test."""
    monkeypatch.setattr(disk_cache, "folder", lambda kind: tmp_path / "cache")


@pytest.fixture(scope="session")
def lines(root: Path) -> dict[str, list[str]]:
    """Raw lines of the shipped files, without line ends."""
    text = {name: gzip.decompress((root / "weather" / name).read_bytes()).decode("ascii") for name in SHIPPED}
    return {name: body.replace("\r\n", "\n").rstrip("\n").split("\n") for name, body in text.items()}


class Bench:
    """Edits a shipped file and reads the result."""

    def __init__(self, folder: Path, lines: dict[str, list[str]]) -> None:
        self.folder, self.lines = folder, lines

    def file(self, name: str, edit: Edit, end: str = "\n") -> Path:
        """Path of an edited copy of the shipped file `name`."""
        path = self.folder / name.removesuffix(".gz")
        path.write_bytes((end.join(edit(list(self.lines[name]))) + end).encode("latin-1"))
        return path

    def read(self, name: str, edit: Edit) -> xr.Dataset:
        """Dataset of an edited copy."""
        return read_weather(self.file(name, edit))

    def first(self, name: str) -> int:
        """List index of the first hourly row."""
        return 8 if SHIPPED[name] == "EPW" else 2

    def cell(self, name: str, column: str) -> int:
        """Place of a column in the rows of a file."""
        return (
            EPW_CELL[column]
            if SHIPPED[name] == "EPW"
            else self.lines[name][1].split(",").index(CSV_WORD[column])
        )

    def put(self, name: str, column: str, hours: range | list[int], value: str) -> Edit:
        """Edit that writes `value` in a column for some hours of the year."""

        def edit(text: list[str]) -> list[str]:
            for hour in hours:
                row = text[self.first(name) + hour].split(",")
                row[self.cell(name, column)] = value
                text[self.first(name) + hour] = ",".join(row)
            return text

        return edit

    def swap(self, name: str, one: str, two: str) -> Edit:
        """Edit that exchanges the cells of two columns in every row, under an unchanged header."""

        def edit(text: list[str]) -> list[str]:
            i, j = self.cell(name, one), self.cell(name, two)
            for at in range(self.first(name), len(text)):
                row = text[at].split(",")
                row[i], row[j] = row[j], row[i]
                text[at] = ",".join(row)
            return text

        return edit


@pytest.fixture
def bench(tmp_path: Path, lines: dict[str, list[str]]) -> Bench:
    return Bench(tmp_path, lines)


def keep(text: list[str]) -> list[str]:
    return text
