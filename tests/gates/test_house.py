"""Rules of the house that no linter holds: arguments shown at calls, one name for one class, no circle of imports."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

DIAG = Path(__file__).parents[2] / "diag"
MOST_IN_PLACE = 4


def _trees(folder: Path = DIAG) -> Iterator[tuple[Path, ast.Module]]:
    for file in sorted(folder.rglob("*.py")):
        yield file.relative_to(folder), ast.parse(file.read_text(encoding="utf-8"))


def _own(trees: list[tuple[Path, ast.Module]]) -> set[str]:
    """Names of the project's functions and classes; one that takes any number of words is read as a list."""
    names, listed = set(), set()
    for _, tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                names.add(node.name)
            elif isinstance(node, ast.FunctionDef):
                (listed if node.args.vararg else names).add(node.name)
    return names - listed


def _long_calls(tree: ast.Module, own: set[str]) -> Iterator[int]:
    """Yield the lines of calls inside functions with too many arguments in place; tables of a module are no calls."""
    for function in ast.walk(tree):
        for node in ast.walk(function) if isinstance(function, ast.FunctionDef) else ():
            if isinstance(node, ast.Call) and len(node.args) > MOST_IN_PLACE:
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                if name in own and not any(isinstance(a, ast.Starred) for a in node.args):
                    yield node.lineno


def test_a_call_names_what_comes_after_its_fourth_argument() -> None:
    """A reader cannot tell five figures in a row apart."""
    trees = list(_trees())
    own = _own(trees)
    found = [f"{file.as_posix()}:{line}" for file, tree in trees for line in sorted(set(_long_calls(tree, own)))]
    assert [] == found


def test_a_long_call_is_found() -> None:
    """The finder sees a call of five, and leaves lists of words, tables and calls of others alone."""
    text = "def f(a, b, c, d, e): pass\ndef g(*a): pass\nT = f(1, 2, 3, 4, 5)\n" \
           "def h():\n    g(1, 2, 3, 4, 5)\n    other(1, 2, 3, 4, 5)\n    f(1, 2, 3, 4, e=5)\n    f(1, 2, 3, 4, 5)\n"
    tree = ast.parse(text)
    assert [8] == list(_long_calls(tree, _own([(Path("x.py"), tree)])))


def test_no_class_name_stands_twice() -> None:
    """Two public classes of one name are taken for one another."""
    places: dict[str, list[str]] = defaultdict(list)
    for file, tree in _trees():
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(file.as_posix())
    assert {} == {name: files for name, files in places.items() if len(files) > 1}


def _imports(tree: ast.Module, modules: set[str]) -> Iterator[str]:
    """Yield the modules of the project that a file imports anywhere, also late and for types only."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for name in node.names:
                whole = f"{node.module}.{name.name}"
                yield whole if whole in modules else node.module


def test_no_module_imports_itself_through_others() -> None:
    """A circle of imports is one module in several files; an import inside a function hides it, and counts here."""
    trees = {".".join(("diag", *file.with_suffix("").parts)).removesuffix(".__init__"): tree
             for file, tree in _trees()}
    arrows = {module: {*_imports(tree, set(trees))} & set(trees) - {module} for module, tree in trees.items()}
    assert len(trees) == len(list(TopologicalSorter(arrows).static_order()))


def test_a_package_can_be_looked_over() -> None:
    """No package holds more than twenty modules: what is to be found there can be read at a glance."""
    files = defaultdict(int)
    for file, _ in _trees():
        files[file.parent.as_posix()] += file.name != "__init__.py"
    assert {} == {package: n for package, n in files.items() if n > 20}


def test_no_test_waits_for_time_to_pass() -> None:
    """A sleep is too long on one machine and too short on another; what is waited for is asked for."""
    tests = Path(__file__).parents[1]
    files = [f for f in tests.rglob("*.py") if f.name.startswith("test_") or f.name in ("driving.py", "conftest.py")]
    assert [] == [f"{f.relative_to(tests).as_posix()}:{n.lineno}" for f in files
                  for n in ast.walk(ast.parse(f.read_text(encoding="utf-8")))
                  if isinstance(n, ast.Call) and getattr(n.func, "attr", "") == "sleep"]
