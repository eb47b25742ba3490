"""Knowledge stays in YAML: no cause, check, symptom, rule, finding or caution id appears in Python."""

from __future__ import annotations

import ast
from pathlib import Path

import diag
from diag.knowledge.base import Knowledge

KINDS = ("causes", "checks", "questions", "symptoms", "rules", "findings", "cautions")


def test_no_knowledge_id_is_a_string_in_the_code(whole: Knowledge) -> None:
    """Every text constant of the package, compared with every id; docstrings do not match an id whole."""
    ids = {key for kind in KINDS for key in getattr(whole, kind)}
    found = []
    for path in sorted(Path(diag.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and node.value in ids:
                found.append(f"{path.name}:{node.lineno} {node.value}")
    assert found == []
