"""What code writes is read by code: fields, constants and functions that nothing in diag/ names go."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

DIAG = Path(__file__).parents[2] / "diag"
WRITTEN_WHOLE = {"File", "Exchange"}
"""Records of which every field goes into a JSON file by itself."""
BY_SECTION = {"Knowledge.machines"}
"""Read by the name of its section."""
FOR_PEOPLE = {"Transcript.invented"}
"""Said in a file for whoever opens it."""
HOOKS = {"compose", "render", "get_system_commands", "get_theme_variable_defaults", "_fatal_error", "_update_agenda"}
"""Methods that a library calls; besides those called action_ and on_ something, and what carries a decorator."""


def _read(trees: Mapping[str, ast.Module]) -> tuple[set[str], set[str]]:
    """Return (attributes that are loaded, every name that is read or stands in a short text, as for getattr)."""
    attributes, names = set(), set()
    for tree in trees.values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                attributes.add(node.attr)
            elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                names.add(node.id)
            elif isinstance(node, ast.ImportFrom):
                names.update(alias.name for alias in node.names if alias.asname)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                names.add(node.value)
    return attributes, attributes | names


def _fields(tree: ast.Module) -> Iterator[str]:
    """Yield the fields of dataclasses and named tuples, as Class.field."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and node.name not in WRITTEN_WHOLE:
            made = (*node.bases, *node.decorator_list)
            if any(word in ast.unparse(part) for part in made for word in ("NamedTuple", "dataclass")):
                yield from (f"{node.name}.{line.target.id}" for line in node.body
                            if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name))


def _constants(tree: ast.Module) -> Iterator[str]:
    for line in tree.body:
        targets = getattr(line, "targets", [getattr(line, "target", None)])
        yield from (t.id for t in targets if isinstance(t, ast.Name) and not t.id.startswith("__"))


def _functions(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        hook = isinstance(node, ast.FunctionDef) and node.name.startswith(("action_", "on_", "_on_", "__"))
        if isinstance(node, ast.FunctionDef) and not (hook or node.decorator_list or node.name in HOOKS):
            yield node.name


def _unread(trees: Mapping[str, ast.Module]) -> list[str]:
    attributes, names = _read(trees)
    found = []
    for file, tree in trees.items():
        found += [f"{file}: {f}" for f in _fields(tree) if f.partition(".")[2] not in attributes]
        found += [f"{file}: {c}" for c in _constants(tree) if c not in names]
        found += [f"{file}: {f}()" for f in _functions(tree) if f not in names and f.lstrip("_") not in names]
    return [one for one in found if one.partition(": ")[2] not in BY_SECTION | FOR_PEOPLE]


def test_what_is_written_is_read() -> None:
    """A field that no code reads, a constant or function that no code names (tests do not count) is not there."""
    trees = {f.relative_to(DIAG).as_posix(): ast.parse(f.read_text(encoding="utf-8")) for f in DIAG.rglob("*.py")}
    assert [] == _unread(trees)


def test_what_nobody_reads_is_found() -> None:
    """The finder sees a field, a constant and a function that only stand there, and leaves those that are read."""
    text = "MOST = 3\nLEAST = 1\n\n@dataclass\nclass Row:\n    low: int\n    high: int\n" \
           "def seen(r: Row) -> int:\n    return r.low + MOST\ndef unseen() -> int:\n    return seen(Row(1, 2))\n"
    assert ["x.py: Row.high", "x.py: LEAST", "x.py: unseen()"] == _unread({"x.py": ast.parse(text)})
