"""Packages import only from the layers below, and two libraries have one entry point each."""

import ast
import re
from pathlib import Path

import pytest

import hpwhsim

pytestmark = pytest.mark.contract

PACKAGE = Path(hpwhsim.__file__).parent
ROW = re.compile(r"^\| (\d+) \| (.*?) \|", re.MULTILINE)


def layers() -> dict[str, int]:
    """The layer of each package, from the table of DEVELOPERS.md: what readers see is held."""
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    return {
        name.rstrip("/").removesuffix(".py"): int(layer)
        for layer, names in ROW.findall(text)
        for name in re.findall(r"`([\w/.]+)`", names)
    }


LAYER = layers()
# used from every layer, their own included
EVERYWHERE = ("arrays", "compiler", "constants", "errors", "bounds", "io", "kernel", "last_digits")


def package_of(path: Path) -> str:
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


def others(path: Path) -> list[str]:
    """Packages that a file imports from, other than its own."""
    packages = [name.split(".")[1] for name in imported(path) if name.startswith("hpwhsim.")]
    return [package for package in packages if package != package_of(path)]


def upward(package: str, other: str) -> bool:
    """Whether an import of `other` from `package` breaks the plan."""
    if other in EVERYWHERE:
        return False
    return LAYER[other] >= LAYER[package]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_packages_import_downwards(path: Path) -> None:
    """design.md section 3: a package imports only from packages on lower layers."""
    package = package_of(path)
    if package in ("__init__", "__main__"):
        return  # the library and the command stand on everything; that importing is light is tested below
    assert package in LAYER, f"{package} has no layer in DEVELOPERS.md"
    for other in others(path):
        assert not upward(package, other), f"{path}: {package} imports {other}"


def test_the_rule_sees_an_import_upwards_or_sideways() -> None:
    assert upward("climate", "plant")
    assert upward("storage", "heatpump")
    assert not upward("plant", "storage")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("library", "entry"), [("pint", {"io/units.py"}), ("numba", {"kernel.py", "compiler.py"})]
)
def test_one_entry_point_for_a_library(library: str, entry: set[str]) -> None:
    """Units come in through io/units.py alone, the compiler through kernel.py and what it sets there."""
    users = {str(p.relative_to(PACKAGE)) for p in FILES if library in {n.split(".")[0] for n in imported(p)}}
    assert users == entry


def test_yaml_only_in_scenario() -> None:
    """Only scenario/ has heard of YAML."""
    assert {package_of(p) for p in FILES for name in imported(p) if name == "yaml"} == {"scenario"}


@pytest.mark.slow
def test_nothing_above_the_plant_compiles() -> None:
    """Nothing above plant/ has heard of the compiler."""
    users = {package_of(p) for p in FILES if "hpwhsim.kernel" in imported(p)}
    assert all(LAYER[package] <= LAYER["plant"] for package in users)


@pytest.mark.slow
def test_every_file_has_content() -> None:
    """Each package has real content or is not there: no empty file."""
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


def test_no_copy_of_a_scenario_skips_its_checks() -> None:
    """`model_copy` takes any value: 500 modules, a store of -3 m3. `changed` checks as a file is checked.

    The one place is where an approach is worked out and held to what a scenario may give.
    """
    users = {str(p.relative_to(PACKAGE)) for p in FILES if ".model_copy(" in p.read_text(encoding="utf-8")}
    assert users == {"plant/machine.py"}
