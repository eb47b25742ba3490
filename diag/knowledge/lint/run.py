"""Deeper tests of the knowledge base than its models and references: does it hang together as a whole?

`lint` reads and cross-checks the folders like `load`, then asks what a careful reader would: can every cause
be confirmed and excluded, does every check separate something, is every wording fit to be said, is every
step safe. Nothing here knows a cause, check or rule by name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Any

from diag.knowledge.base import SOURCED, Knowledge, Problem
from diag.knowledge.fields import cited
from diag.knowledge.lint import checks, found, rules, safety, shows, use
from diag.knowledge.load import knowledge_folder, read

COUNTED = ("symptoms", "causes", "checks", "rules", "cautions", "sources")


@dataclass(frozen=True)
class LintReport:
    """What stands in the knowledge and what is wrong with it."""

    counts: Mapping[str, Any]
    problems: Sequence[Problem]
    knowledge: Knowledge | None = field(default=None, repr=False, compare=False)

    def as_json(self) -> dict[str, Any]:
        """Return counts and problems as plain data, in the form of `knowledge lint --json`."""
        return {
            "counts": dict(self.counts),
            "problems": [
                {"file": p.file, "line": p.line, "id": p.id, "what": p.what, "remedy": p.remedy}
                for p in self.problems
            ],
        }


def lint(folders: Sequence[Path] = ()) -> LintReport:
    """Return counts and every problem of the knowledge in these folders (none given: the shipped one)."""
    knowledge, problems = read(folders or (knowledge_folder(),))
    if knowledge is None:
        return LintReport({}, problems)
    all_problems = [*problems, *examine(knowledge)]
    all_problems.sort(key=lambda p: (p.file, p.line, p.id, p.what))
    return LintReport(counts(knowledge), all_problems, knowledge)


def examine(knowledge: Knowledge) -> list[Problem]:
    """Return what the deeper tests find in knowledge that could be read."""
    all_tables = shows.tables(knowledge)
    faults = chain(
        *(module.flaws(knowledge) for module in (checks, rules, safety)),
        *(module.flaws(knowledge, all_tables) for module in (use, shows, found)),
    )
    return [knowledge.problem(*fault) for fault in faults]


def counts(knowledge: Knowledge) -> dict[str, Any]:
    """Return the number of entries of each kind, and how often each kind of source is named."""
    result: dict[str, Any] = {kind: len(getattr(knowledge, kind)) for kind in COUNTED}
    by_mark: Counter[str] = Counter()
    for kind in SOURCED:
        for entry in getattr(knowledge, kind).values():
            by_mark.update(knowledge.sources[s].kind for _, s in cited(entry) if s in knowledge.sources)
    result["by_mark"] = dict(sorted(by_mark.items()))
    return result
