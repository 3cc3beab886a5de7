"""Every public function, class and constant of hpwhsim is reached from the command or the library's contract.

A walk over the syntax: what `hpwhsim.__main__`, the command and the names that `hpwhsim` exports refer to,
then what that refers to, and so on. A method counts as reached where its class is and its name is read as an
attribute; validators and what Python itself calls come with their class.
"""

import ast
from collections.abc import Iterable, Iterator
from functools import cache
from itertools import chain
from pathlib import Path

import pytest

import hpwhsim

pytestmark = pytest.mark.contract

PACKAGE = Path(hpwhsim.__file__).parent
ROOTS = {
    ("hpwhsim.__main__", "*"),
    ("hpwhsim.cli.main", "main"),
    ("hpwhsim.compiler", "KeptCode"),  # the compiler calls its methods
}

# What the program itself does not reach, and why it stands there.
EXCEPTIONS = {
    "hpwhsim.tables.sources.unverified_text": "writes docs/unverified.md; tests/tables holds the page",
    "hpwhsim.verification.field_page.tables": "the manual's page of field results is made of it",
}

IMPORTS = ast.Import | ast.ImportFrom
Name = tuple[str, str]  # module, name at its top level; "*" for the statements that are no definition


def module_name(path: Path) -> str:
    parts = [PACKAGE.name, *path.relative_to(PACKAGE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


class Module:
    """The top level of a file: what it defines, and where the names that it uses come from."""

    def __init__(self, path: Path, name: str) -> None:
        self.name = name
        tree = ast.parse(path.read_text(encoding="utf-8"))
        self.parts: dict[str, list[ast.AST]] = {"*": []}
        for node in tree.body:
            for name in defined(node) or ["*"]:
                self.parts.setdefault(name, []).append(node)
        self.imported: dict[str, Name | str] = {}  # a module has no name in it
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                for alias in node.names:
                    self.imported[alias.asname or alias.name] = (node.module, alias.name)
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    self.imported[alias.asname or alias.name] = alias.name


def defined(node: ast.AST) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    targets = node.targets if isinstance(node, ast.Assign) else []
    targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
    return [part.id for target in targets for part in ast.walk(target) if isinstance(part, ast.Name)]


def plain_methods(node: ast.AST, module: Module) -> list[ast.FunctionDef]:
    """Methods that are reached by their name alone; a library may call those of a class made from its own."""
    if not isinstance(node, ast.ClassDef) or any(foreign(base, module) for base in node.bases):
        return []
    plain = ("property", "classmethod", "staticmethod", "cached_property")
    return [
        part
        for part in node.body
        if isinstance(part, ast.FunctionDef)
        and not part.name.startswith("__")
        and all(isinstance(mark, ast.Name) and mark.id in plain for mark in part.decorator_list)
    ]


def foreign(base: ast.expr, module: Module) -> bool:
    """Whether a base is a class of another library that calls methods, which a tuple does not."""
    root = base
    while isinstance(root, ast.Attribute):
        root = root.value
    found = module.imported.get(root.id) if isinstance(root, ast.Name) else None
    origin = found[0] if isinstance(found, tuple) else found or ""
    return bool(origin) and not origin.startswith((PACKAGE.name, "typing", "enum"))


def walked(node: ast.AST, module: Module) -> Iterator[ast.AST]:
    """The node and all below it, but for the methods of a class, which are reached by their names."""
    apart = plain_methods(node, module)
    if not apart:
        return ast.walk(node)
    rest = (child for child in ast.iter_child_nodes(node) if child not in apart)
    return chain([node], chain.from_iterable(map(ast.walk, rest)))


def unreached(modules: dict[str, Module], exceptions: Iterable[str] = ()) -> list[str]:
    """What no way leads to, as ``module.name`` and ``module.Class.method``."""
    reached: set[Name] = set()
    attributes: set[str] = set()
    methods: dict[ast.FunctionDef, tuple[str, Module]] = {}
    todo: list[tuple[ast.AST, Module]] = []
    handed: set[str] = set()  # modules that are values, such as the verbs of the command

    def reach(name: Name) -> None:
        module = modules.get(name[0])
        if name in reached or module is None:
            return
        reached.add(name)
        found = module.imported.get(name[1])
        if isinstance(found, tuple):
            reach(found)
        for node in module.parts.get(name[1], []):
            todo.append((node, module))
            for method in plain_methods(node, module):
                methods[method] = (f"{module.name}.{name[1]}.{method.name}", module)

    def look(node: ast.AST, module: Module) -> None:
        bases = set()
        for part in walked(node, module):
            if isinstance(part, ast.Name):
                found = module.imported.get(part.id)
                whole = found if isinstance(found, str) else ".".join(found or ())
                if whole in modules and part not in bases:
                    handed.add(whole)
                reach(found if isinstance(found, tuple) else (module.name, part.id))
            elif isinstance(part, ast.Attribute):
                attributes.add(part.attr)
                bases.add(part.value)
                if isinstance(part.value, ast.Name):
                    found = module.imported.get(part.value.id)
                    if found is not None:  # a module is imported as one, or from its package
                        reach((found if isinstance(found, str) else ".".join(found), part.attr))

    starts = [modules[PACKAGE.name].imported.get(name) for name in hpwhsim.__all__]
    starts += [tuple(name.rsplit(".", 1)) for name in exceptions]
    for start in [*ROOTS, *(start for start in starts if isinstance(start, tuple))]:
        reach((start[0], start[1]))
        for node in modules[start[0]].parts[start[1]]:  # of a class, its methods are open to all
            attributes.update(method.name for method in plain_methods(node, modules[start[0]]))
    for module in modules.values():
        todo += [(node, module) for node in module.parts["*"] if not isinstance(node, IMPORTS)]
    while todo:
        while todo:
            look(*todo.pop())
        for name in handed:
            for attribute in attributes & modules[name].parts.keys():
                reach((name, attribute))
        for method, (_, module) in list(methods.items()):
            if method.name in attributes:
                del methods[method]
                todo.append((method, module))
    missed = {
        f"{module.name}.{name}"
        for module in modules.values()
        for name in module.parts
        if not name.startswith("__") and name != "*" and (module.name, name) not in reached
    }
    return sorted(missed | {name for name, _ in methods.values()})


@cache
def all_modules() -> dict[str, Module]:
    found = [Module(path, module_name(path)) for path in sorted(PACKAGE.rglob("*.py"))]
    return {module.name: module for module in found}


@pytest.mark.slow
def test_every_function_class_and_constant_is_reached() -> None:
    """Dead code is deleted with its tests; a formula that tests compare with stands in the test."""
    assert unreached(all_modules(), EXCEPTIONS) == []


def test_every_exception_is_one() -> None:
    assert set(EXCEPTIONS) <= set(unreached(all_modules()))


DEAD = """
A = 1
B = 2

def living():
    return A + Kind().said()

def dead():
    return of_dead() + B

def of_dead():
    return dead()

class Kind:
    def said(self):
        return 1

    def never_said_by_anyone(self):
        return 2

living()
"""


def test_what_is_dead_is_found(tmp_path: Path) -> None:
    """A function, a constant and a method beside the living, and one that only the dead call."""
    modules = dict(all_modules())
    file = tmp_path / "dead.py"
    file.write_text(DEAD)
    modules["hpwhsim.dead"] = Module(file, "hpwhsim.dead")
    found = [name for name in unreached(modules, EXCEPTIONS) if ".dead." in name]
    names = ("B", "Kind.never_said_by_anyone", "dead", "of_dead")
    assert found == [f"hpwhsim.dead.{name}" for name in names]


def test_names_are_imported_from_where_they_are_defined() -> None:
    """One thing has one name: no module passes on what it imported, and only `hpwhsim` has an ``__all__``."""
    modules = all_modules()
    passed_on = [
        f"{module.name} takes {name} from {origin}"
        for module in modules.values()
        for origin, name in (found for found in module.imported.values() if isinstance(found, tuple))
        if origin in modules and name not in modules[origin].parts and f"{origin}.{name}" not in modules
    ]
    assert passed_on == []
    assert [name for name, module in modules.items() if "__all__" in module.parts] == ["hpwhsim"]
