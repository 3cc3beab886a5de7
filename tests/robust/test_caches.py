"""What is kept on disk for speed: damaged, in the way or without room, it is made again."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FunctionType

import numpy as np
import pytest
from robust_cases import DAMAGES, full_disk

from hpwhsim import compiler, kernel
from hpwhsim.io import disk_cache, units, whole_files

pytestmark = pytest.mark.contract

Damage = Callable[[bytes], bytes]


@pytest.fixture(params=DAMAGES.values(), ids=DAMAGES.keys())
def damage(request: pytest.FixtureRequest) -> Damage:
    """Each that may become of a file."""
    made: Damage = request.param
    return made


def third(x: float) -> float:
    """A third of it."""
    return x / 3.0


def compiled(folder: Path) -> Callable[[float], float]:
    """`third` as a process that begins has it, with its code kept in `folder`."""
    function = FunctionType(third.__code__, third.__globals__, "third")
    function.__module__ = third.__module__
    made = kernel.announced(kernel.kernel_entry(function), "a third")
    vars(made)["_cache"].folder = folder
    return made


def said(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """What a process that begins says while it finds a third of 3."""
    assert compiled(folder)(3.0) == 1.0
    return capsys.readouterr().err.splitlines()


needs_compiler = pytest.mark.skipif(compiler.OFF, reason="nothing is compiled")
COMPILING = ["compiling a third, once on this machine ..."]


@needs_compiler
def test_damaged_code_is_compiled_again(
    damage: Damage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Kept; damaged, it is never run, and kept anew."""
    assert said(tmp_path, capsys) == COMPILING
    assert said(tmp_path, capsys) == []
    (path,) = tmp_path.iterdir()
    path.write_bytes(damage(path.read_bytes()))
    assert said(tmp_path, capsys) == COMPILING
    assert said(tmp_path, capsys) == []


@needs_compiler
def test_code_that_cannot_be_kept_is_compiled_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The folder is a file, the file is a folder, the disk is full: said, and nothing half-written."""
    (tmp_path / "file").write_text("in the way")
    lost = "cannot be written: {}; every run compiles a third"
    blocked = tmp_path / "file" / "below"
    assert said(blocked, capsys) == [*COMPILING, f"{blocked}: " + lost.format("Not a directory")]
    with full_disk(100):
        full = said(tmp_path / "full", capsys)
    assert full == [*COMPILING, f"{tmp_path / 'full'}: " + lost.format("File too large")]
    assert list((tmp_path / "full").iterdir()) == []
    said(tmp_path / "kept", capsys)
    (path,) = (tmp_path / "kept").iterdir()
    path.unlink()
    path.mkdir()
    assert said(tmp_path / "kept", capsys) == [
        *COMPILING,
        f"{tmp_path / 'kept'}: " + lost.format("Is a directory"),
    ]
    assert [one.name for one in (tmp_path / "kept").iterdir()] == [path.name]


def test_damaged_arrays_are_made_again(damage: Damage, tmp_path: Path) -> None:
    """A map, a g-function and a year of weather are kept in such files."""
    path, built = tmp_path / "x.npz", []

    def build() -> dict[str, np.ndarray]:
        built.append(1)
        return {"a": np.arange(500.0), "b": np.array("text")}

    def found() -> int:
        held = disk_cache.cached(path, 3, build)
        assert held["a"].tolist() == list(range(500))
        assert str(held["b"]) == "text"
        return len(built)

    assert (found(), found()) == (1, 1)
    path.write_bytes(damage(path.read_bytes()))
    assert (found(), found()) == (2, 2)
    assert list(tmp_path.iterdir()) == [path]
    with full_disk(100):
        disk_cache.save(tmp_path / "y.npz", build(), 3)
    assert list(tmp_path.iterdir()) == [path]


@pytest.fixture
def no_units(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Conversions of units are kept in this file alone."""
    path = tmp_path / "units.json"
    monkeypatch.setattr(units, "_place", lambda: path)
    units._kept.cache_clear()
    units._conversion.cache_clear()
    yield path
    units._kept.cache_clear()
    units._conversion.cache_clear()


def test_a_digit_changed_on_disk_is_no_other_unit(no_units: Path, damage: Damage) -> None:
    """40 gal are 0.1514 m3, whatever became of the file that has the factor."""

    def volume() -> float:
        units._kept.cache_clear()
        units._conversion.cache_clear()
        return units.read_quantity("40 gal", units.VOLUME)

    assert volume() == pytest.approx(40 * 231 * 0.0254**3, rel=1e-12)
    whole = no_units.read_bytes()
    assert b"0.003785" in whole
    for content in (damage(whole), whole.replace(b"0.003785", b"0.003786")):
        no_units.write_bytes(content)
        assert volume() == pytest.approx(40 * 231 * 0.0254**3, rel=1e-12)
    assert no_units.read_bytes() == whole


def test_what_a_killed_process_began_is_removed_in_time(tmp_path: Path) -> None:
    """Beginnings of a day ago go with the oldest files; one of now may be another process's."""
    for name, age in (("old.part", 2 * whole_files.LEFT), ("new.part", 0.0), ("a.npz", 99.0), ("b.npz", 9.0)):
        (tmp_path / name).touch()
        when = (tmp_path / name).stat().st_mtime - age
        os.utime(tmp_path / name, (when, when))
    whole_files.prune(tmp_path, ".npz", 1)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["b.npz", "new.part"]
