"""The plan of the house: rooms import only from the floors below, and two libraries have one door each."""

import ast
from pathlib import Path

import pytest

import hpwhsim

PACKAGE = Path(hpwhsim.__file__).parent
FLOOR = {
    "cli": 6,
    "arguments": 5,
    "report": 5,
    "study": 4,
    "plant": 3,
    "scenario": 2,
    "demand": 2,
    "heatpump": 2,
    "source": 2,
    "storage": 2,
    "account": 2,
    "climate": 1,
    "tables": 1,
    "quantities": 1,
    "kernel": 1,
    "errors": 1,
    "bounds": 1,
    "disk_cache": 1,
    "user_csv": 1,
    "plain_text": 1,
    "pipe_friction": 1,
    "us_units": 1,
    "last_digits": 1,
    "plain_math": 1,
}
# used from every floor, their own included
EVERYWHERE = ("errors", "bounds", "disk_cache", "kernel", "last_digits", "plain_text")
KERNEL_DOOR = "kernel"


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path) -> list[str]:
    """Every module that a file imports, wherever in the file."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [name.name for name in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found += [node.module or ""]
            if node.module == "hpwhsim":
                found += [f"hpwhsim.{name.name}" for name in node.names]
    return found


FILES = sorted(PACKAGE.rglob("*.py"))


def arrows(path: Path) -> list[str]:
    """Rooms that a file imports from, other than its own."""
    rooms = [name.split(".")[1] for name in imported(path) if name.startswith("hpwhsim.")]
    return [room for room in rooms if room != room_of(path)]


def goes_up(room: str, other: str) -> bool:
    """Whether an import of `other` from `room` breaks the plan."""
    if other in EVERYWHERE:
        return False
    return FLOOR[other] >= FLOOR[room]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_rooms_import_downwards(path: Path) -> None:
    """design.md section 3: a room imports only from rooms on lower floors."""
    room = room_of(path)
    if room == "__init__":
        assert arrows(path) == []
        return
    assert room in FLOOR, f"{room} has no floor"
    for other in arrows(path):
        assert not goes_up(room, other), f"{path}: {room} imports {other}"


def test_the_rule_sees_an_arrow_that_runs_up_or_sideways() -> None:
    assert goes_up("climate", "plant")
    assert goes_up("storage", "heatpump")
    assert not goes_up("plant", "storage")


@pytest.mark.parametrize(("library", "door"), [("pint", "quantities"), ("numba", "kernel")])
def test_one_door_for_a_library(library: str, door: str) -> None:
    """Units come in through quantities.py alone, the compiler through kernel.py alone."""
    users = {room_of(p) for p in FILES for name in imported(p) if name.split(".")[0] == library}
    assert users == {door}


def test_yaml_only_in_scenario() -> None:
    """Only scenario/ has heard of YAML."""
    assert {room_of(p) for p in FILES for name in imported(p) if name == "yaml"} == {"scenario"}


def test_nothing_above_the_plant_compiles() -> None:
    """Nothing above plant/ has heard of the compiler."""
    users = {room_of(p) for p in FILES if "hpwhsim.kernel" in imported(p)}
    assert all(FLOOR[room] <= FLOOR["plant"] for room in users)


def test_every_file_has_content() -> None:
    """Each room has real content or is not there: no empty file."""
    for path in FILES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert ast.get_docstring(tree), path
        if path.name != "__init__.py":
            assert len(tree.body) > 1, path
    for folder in {p.parent for p in FILES} - {PACKAGE, PACKAGE / "tables"}:
        assert any(p.name != "__init__.py" for p in folder.glob("*.py")), folder


def test_importing_the_package_is_light() -> None:
    """`import hpwhsim` reads no data and loads no heavy library (style.md habit 9)."""
    import subprocess
    import sys

    code = "import sys, hpwhsim; print(sorted({'numpy','pandas','numba','xarray','pint'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
