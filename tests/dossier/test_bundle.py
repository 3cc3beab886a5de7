"""The archive of a dossier: it repeats in any folder and names none; every fault seeded into it shows."""

import io
import json
import re
import shlex
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from hpwhsim.cli import main as cli
from hpwhsim.dossier.archive import packed, unpacked
from hpwhsim.dossier.verify import verify
from hpwhsim.errors import InputError
from hpwhsim.scenario.files import files_of, named_anew, overrides_anew, short_overrides
from hpwhsim.scenario.reading import read_scenario

pytestmark = [pytest.mark.contract, pytest.mark.year]
WEATHER = "inputs/chicago-il-725300-tmy3.epw.gz"


def said(path: Path, capsys: pytest.CaptureFixture[str], code: int) -> list[str]:
    """Lines of the verdict on an archive, whose exit code is `code`."""
    assert cli.main(["dossier", "--verify", str(path)]) == code
    return capsys.readouterr().out.splitlines()


def repacked(path: Path, name: str, change: Callable[[bytes], bytes]) -> None:
    """An archive with one of its files changed, all else and the list of hashes as it was."""
    held = unpacked(path)
    before = held[name]
    held[name] = change(before)
    assert held[name] != before
    path.write_bytes(packed(held))


# -- what holds --------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_verify_says_what_it_compared(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Documents, every file of the archive, factors and record: each has its line, the last says same."""
    lines = said(copy / "bundle.zip", capsys, 0)
    assert lines[-1] == "same"
    for what in (
        "dossier.xlsx beside the archive",
        "dossier.pdf beside the archive",
        "inputs/demo.yaml in the archive",
        "inputs/gas-boiler.yaml in the archive",
        f"{WEATHER} in the archive",
        "factors.json in the archive",
        "record.json in the archive",
        "factors against the fresh run",
        "record against the fresh run",
        "versions",
    ):
        assert sum(line.strip().startswith(what) for line in lines) == 1, what


def test_the_archive_alone_is_enough(
    written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In an empty folder: verified, unpacked by another program, run by the command that its README gives."""
    shutil.copy(written / "bundle.zip", tmp_path)
    monkeypatch.chdir(tmp_path)
    lines = said(Path("bundle.zip"), capsys, 0)
    assert lines[-1].startswith("same (not compared: dossier.xlsx")
    with zipfile.ZipFile("bundle.zip") as held:
        held.extractall("unpacked")
    monkeypatch.chdir(tmp_path / "unpacked")
    command = re.search(r"^    tankyear (run .*)$", Path("README.txt").read_text(), re.MULTILINE)
    assert command is not None
    assert cli.main([*shlex.split(command[1]), "--json"]) == 0
    fresh = json.loads(capsys.readouterr().out)
    kept = json.loads(Path("record.json").read_text())
    assert fresh["scenario.sha256"] == sha256(Path("inputs/demo.yaml").read_bytes()).hexdigest()
    for record in (fresh, kept):  # the file's own, and that of its baseline, whose file names are others
        del record["scenario.sha256"], record["baseline.sha256"]
    assert fresh == kept


def test_no_folder_of_the_machine_is_named(written: Path) -> None:
    """Archive, workbook and PDF, as bytes and as text: neither a folder nor a way up to one."""
    contents = dict(unpacked(written / "bundle.zip"))
    with zipfile.ZipFile(written / "dossier.xlsx") as book:
        contents |= {f"xlsx/{name}": book.read(name) for name in book.namelist()}
    if shutil.which("pdftotext"):
        done = subprocess.run(["pdftotext", written / "dossier.pdf", "-"], capture_output=True, check=True)
        contents["pdf"] = done.stdout
    inside = written.parent
    for name, data in contents.items():
        for folder in (inside, inside.parent, inside.parent.parent, Path.home()):
            assert str(folder).encode() not in data, (name, folder)
        assert b"secret-place" not in data, name
        assert b"below/" not in data, name
        if not name.endswith(".gz"):
            for known in (b"../_rels", b"../drawings", b"$schema=../"):  # of the workbook; for editors alone
                data = data.replace(known, b"")
            assert b"../" not in data, name


@pytest.mark.law
def test_the_same_year_gives_the_same_archive(written: Path) -> None:
    """Times of files do not enter it: packing what was unpacked gives the same bytes."""
    path = written / "bundle.zip"
    assert packed(unpacked(path)) == path.read_bytes()


# -- seeded faults -----------------------------------------------------------------------------------------


def test_a_swapped_workbook_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (copy / "dossier.xlsx").write_bytes((copy / "dossier.xlsx").read_bytes()[:-1] + b"\x01")
    lines = said(copy / "bundle.zip", capsys, 1)
    assert any("dossier.xlsx" in line and "has changed" in line for line in lines)
    assert lines[-1] == "differs: dossier.xlsx beside the archive"


def test_a_changed_byte_of_the_pdf_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = bytearray((copy / "dossier.pdf").read_bytes())
    data[len(data) // 2] ^= 1
    (copy / "dossier.pdf").write_bytes(data)
    assert said(copy / "bundle.zip", capsys, 1)[-1] == "differs: dossier.pdf beside the archive"


def test_a_changed_factor_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its file is another, and the value is held against that of the fresh run, in words."""
    path = copy / "bundle.zip"

    def change(data: bytes) -> bytes:
        held = json.loads(data)
        held["grid"]["kgco2e_per_kwh"][0] = 0.123
        return json.dumps(held).encode()

    repacked(path, "factors.json", change)
    lines = said(path, capsys, 1)
    assert lines[-1] == "differs: factors.json in the archive; factors against the fresh run"
    assert any("grid.kgco2e_per_kwh[1] is 0.123 in the bundle, 0." in line for line in lines)


def test_a_changed_factor_shows_when_its_hash_was_changed_too(copy: Path) -> None:
    """Whoever changes the list of hashes as well still meets the fresh run."""
    path, held = copy / "bundle.zip", unpacked(copy / "bundle.zip")
    held["factors.json"] = held["factors.json"].replace(b'"set": "AR6-100"', b'"set": "AR5-100"')
    manifest = json.loads(held["bundle.json"])
    (row,) = (row for row in manifest["files"] if row["name"] == "factors.json")
    assert row["sha256"] != sha256(held["factors.json"]).hexdigest()
    row["sha256"] = sha256(held["factors.json"]).hexdigest()
    held["bundle.json"] = json.dumps(manifest).encode()
    path.write_bytes(packed(held))
    found = verify(path)
    assert [one.what for one in found.findings if one.same is False] == ["factors against the fresh run"]


def test_changed_weather_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Chicago's year under the name of Chicago, with another place's hours."""
    other = Path(__file__).parents[2] / "weather" / "golden-co-724666-tmy3.csv.gz"
    repacked(copy / "bundle.zip", WEATHER, lambda _: other.read_bytes())
    lines = said(copy / "bundle.zip", capsys, 1)
    assert lines[-1] == f"differs: {WEATHER} in the archive; record against the fresh run"
    assert any("weather.station is 'Chicago" in line for line in lines)
    assert any(re.match(r"compressor_kwh +\d", line) for line in lines)


def test_weather_that_is_none_shows_too(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The year cannot be repeated then: said as such, with the name in the archive and no other folder."""
    repacked(copy / "bundle.zip", WEATHER, lambda _: b"no weather")
    lines = said(copy / "bundle.zip", capsys, 1)
    assert lines[-1] == f"differs: {WEATHER} in the archive; calculation"
    (line,) = (line for line in lines if "cannot be repeated" in line)
    assert re.search(rf"bundle\.zip: inputs/[\w-]+\.yaml: {re.escape(WEATHER)}: ", line), line
    assert "tankyear-" not in line


def test_a_changed_record_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def change(data: bytes) -> bytes:
        held = json.loads(data)
        held["electricity_kwh"] *= 1.01
        held["title"] = "another title"
        return json.dumps(held).encode()

    repacked(copy / "bundle.zip", "record.json", change)
    lines = said(copy / "bundle.zip", capsys, 1)
    assert lines[-1] == "differs: record.json in the archive; record against the fresh run"
    assert any(re.match(r"electricity_kwh +\d", line) for line in lines)


def test_a_record_with_signs_that_steer_a_terminal_is_refused(
    copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def change(data: bytes) -> bytes:
        return json.dumps(json.loads(data) | {"title": "another \x1b[31m title"}).encode()

    repacked(copy / "bundle.zip", "record.json", change)
    assert cli.main(["dossier", "--verify", str(copy / "bundle.zip")]) == 2
    said = capsys.readouterr()
    assert "U+001B" in said.err
    assert "\x1b" not in said.out + said.err


@pytest.mark.slow
def test_a_changed_scenario_or_baseline_shows(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    repacked(copy / "bundle.zip", "inputs/demo.yaml", lambda data: data.replace(b"cop: 3.7", b"cop: 3.5"))
    lines = said(copy / "bundle.zip", capsys, 1)
    assert lines[-1] == "differs: inputs/demo.yaml in the archive; record against the fresh run"
    repacked(copy / "bundle.zip", "inputs/gas-boiler.yaml", lambda data: data.replace(b'"80 kW"', b'"60 kW"'))
    assert "inputs/gas-boiler.yaml in the archive" in said(copy / "bundle.zip", capsys, 1)[-1]


def test_files_too_many_and_too_few_show(copy: Path) -> None:
    held = unpacked(copy / "bundle.zip")
    del held["README.txt"]
    held["inputs/extra.csv"] = b"x"
    (copy / "bundle.zip").write_bytes(packed(held))
    found = verify(copy / "bundle.zip")
    differs = {one.what: one.said for one in found.findings if one.same is False}
    assert set(differs) == {"README.txt in the archive", "inputs/extra.csv in the archive"}
    assert differs["README.txt in the archive"] == "is gone"


@pytest.mark.parametrize("at", [0.02, 0.5, 0.97])
def test_a_damaged_archive_is_refused(copy: Path, capsys: pytest.CaptureFixture[str], at: float) -> None:
    """A hundred bytes of it overwritten: one line, exit 2, and nothing is calculated."""
    path = copy / "bundle.zip"
    data = bytearray(path.read_bytes())
    start = int(at * len(data))
    data[start : start + 100] = bytes(100)
    path.write_bytes(data)
    assert cli.main(["dossier", "--verify", str(path)]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.count("\n") == 1
    assert "damaged" in streams.err


def test_a_torn_archive_is_refused(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = copy / "bundle.zip"
    path.write_bytes(path.read_bytes()[:-2000])
    assert cli.main(["dossier", "--verify", str(path)]) == 2
    assert "damaged" in capsys.readouterr().err


def archive(**contents: object) -> bytes:
    """An archive of files of JSON, ``_json`` standing for the dot."""
    return packed({name.replace("_json", ".json"): json.dumps(c).encode() for name, c in contents.items()})


def escaping(name: str) -> bytes:
    """An archive with a file whose name leads out of it."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as out:
        out.writestr(name, b"x")
    return held.getvalue()


GOOD = {
    "kind": "tankyear dossier bundle, 2",
    "versions": {},
    "scenario": {"name": "inputs/a.yaml", "overrides": []},
    "files": [],
    "documents": [],
}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (None, "there is no such file"),
        (b"", "no archive"),
        (b"{}", "no archive"),
        (archive(), "no bundle of a dossier"),
        (archive(bundle_json=[]), "allowed a block of keys"),
        (archive(bundle_json={"kind": 3}), "allowed a str named 'kind'"),
        (archive(bundle_json=GOOD | {"kind": "other"}), "kind: got 'other'"),
        (archive(bundle_json=GOOD | {"scenario": {}}), "lack keys"),
        (archive(bundle_json=GOOD | {"files": [{"name": 1}]}), "lack keys"),
        (archive(bundle_json=GOOD | {"documents": [{"name": "../a", "sha256": ""}]}), "'../a'"),
        (archive(bundle_json=GOOD), "inputs/a.yaml is not in the archive"),
        (escaping("../out.txt"), "'../out.txt'"),
        (escaping("/out.txt"), "'/out.txt'"),
    ],
)
def test_a_wrong_bundle_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, data: bytes | None, words: str
) -> None:
    path = tmp_path / "bundle.zip"
    if data is not None:
        path.write_bytes(data)
    assert cli.main(["dossier", "--verify", str(path)]) == 2
    streams = capsys.readouterr()
    assert words in streams.err
    assert streams.err.count("\n") == 1
    assert [one.name for one in tmp_path.iterdir()] == (["bundle.zip"] if data is not None else [])


# -- names of files ------------------------------------------------------------------------------------------

BASE = """title: invented  # weather: ../w/a.epw is no value
site: {{weather: {weather}}}
building: {{apartments: 4}}
plant:
  family: resistance
  storage: {{volume: 600 L, setpoint: 58 degC}}
  backup: {{kind: resistance, power: 9 kW}}
"""


def test_only_values_that_are_files_get_other_names(tmp_path: Path) -> None:
    """Comments, anchors, quotes and line ends stay; two files of one name stay two; a circle ends."""
    for folder in ("w", "s", "b"):
        (tmp_path / folder).mkdir()
    (tmp_path / "w" / "a.epw").write_text("x")
    (tmp_path / "b" / "a.epw").write_text("y")
    (tmp_path / "s" / "my use.csv").write_text("z")
    one = BASE.format(weather="&here ../w/a.epw")
    one += "hot_water:\r\n  metered: >-\r\n    my use.csv\r\nbaseline: '../b/main.yaml'\r\n"
    (tmp_path / "s" / "main.yaml").write_bytes(one.encode())
    two = BASE.format(weather=tmp_path / "b" / "a.epw") + "baseline: ../s/main.yaml\n"
    (tmp_path / "b" / "main.yaml").write_text(two)
    loaded = read_scenario(tmp_path / "s" / "main.yaml")
    files = files_of(loaded)
    assert [(f.key, f.path.parent.name) for f in files] == [
        ("scenario", "s"),
        ("site.weather", "w"),
        ("hot_water.metered", "s"),
        ("baseline", "b"),
        ("baseline: site.weather", "b"),
    ]
    names = {
        f.path: name
        for f, name in zip(files, ("main.yaml", "a.epw", "my use.csv", "2/main.yaml", "2/a.epw"), strict=True)
    }
    first, second = (named_anew(f.loaded, names) for f in files if f.loaded is not None)
    expected = one.replace("../w/a.epw}", "a.epw}").replace(">-\r\n    my use.csv", "'my use.csv'")
    assert first == expected.replace("'../b/main.yaml'", "2/main.yaml")
    assert second == two.replace(str(tmp_path / "b" / "a.epw"), "a.epw").replace("../s/main", "../main")


def test_overrides_name_files_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another weather file, a file in a block, and a value that only looks like one."""
    for name in ("a.epw", "b.epw", "use.csv"):
        (tmp_path / name).write_text("x")
    (tmp_path / "main.yaml").write_text(BASE.format(weather="a.epw"))
    (tmp_path / "deep").mkdir()
    monkeypatch.chdir(tmp_path / "deep")
    given = [f"hot_water={{metered: {tmp_path / 'use.csv'}}}", "title=use.csv"]
    loaded = read_scenario(tmp_path / "main.yaml", given, Path("../b.epw"))
    short = ("hot_water={metered: use.csv}", "title=use.csv", "site.weather=b.epw")
    assert short_overrides(loaded) == short
    names = {f.path: f"x/{f.path.name}" for f in files_of(loaded)}
    assert set(names.values()) == {"x/main.yaml", "x/b.epw", "x/use.csv"}
    assert overrides_anew(loaded, names) == short
    assert "weather: a.epw}" in named_anew(loaded, names)


def test_a_scenario_with_a_date_is_read_from_the_archive(written: Path, tmp_path: Path) -> None:
    """YAML makes a date of 2020-01-01; the text goes into the archive, so it stays one there."""
    held = unpacked(written / "bundle.zip")
    assert b"made_on: 2020-01-01" in held["inputs/gas-boiler.yaml"]
    for name, data in held.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    loaded = read_scenario(tmp_path / "inputs" / "gas-boiler.yaml")
    assert loaded.scenario.plant.backup.made_on.isoformat() == "2020-01-01"


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is a folder"):
        unpacked(tmp_path)
