"""Knowledge stays in YAML: no cause, check, symptom, rule, finding or caution id appears in Python."""

from __future__ import annotations

import io
import tokenize
from pathlib import Path

import diag
from diag.knowledge.base import Knowledge

KINDS = ("causes", "checks", "questions", "symptoms", "rules", "findings", "cautions")


def test_no_knowledge_id_is_a_string_in_the_code(whole: Knowledge) -> None:
    """Every string literal of the package, compared with every id; docstrings do not match an id whole."""
    ids = {key for kind in KINDS for key in getattr(whole, kind)}
    found = []
    for path in sorted(Path(diag.__file__).parent.rglob("*.py")):
        for token in tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline):
            if token.type == tokenize.STRING and token.string.strip("rbfRBF\"'") in ids:
                found.append(f"{path.name}:{token.start[0]} {token.string}")
    assert found == []
