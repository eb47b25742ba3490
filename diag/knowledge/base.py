"""The knowledge as one frozen object: every entry by kind and id, with the place it was read from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from diag.knowledge import machines as machine_groups
from diag.knowledge import model, story_terms, vocabulary
from diag.knowledge.words import Lexicon, OtherWords, Symptom
from diag.knowledge.yamlfile import Lines

SECTIONS: Mapping[str, type[BaseModel]] = {
    "marks": vocabulary.Mark,
    "likelihoods": vocabulary.Likelihood,
    "observers": vocabulary.Observer,
    "axes": vocabulary.Axis,
    "machines": machine_groups.Machines,
    "states": vocabulary.MachineState,
    "subsystems": vocabulary.Subsystem,
    "looks": vocabulary.Look,
    "preparations": vocabulary.Named,
    "parts": vocabulary.Named,
    "tools": vocabulary.Named,
    "kinds": vocabulary.Named,
    "seasons": vocabulary.Named,
    "changes": vocabulary.Named,
    "flags": vocabulary.Flag,
    "hazards": vocabulary.Hazard,
    "cautions": vocabulary.Caution,
    "sources": vocabulary.Source,
    "findings": vocabulary.Finding,
    "limits": vocabulary.Limit,
    "book": vocabulary.BookValue,
    "symptoms": Symptom,
    "verifications": model.Verification,
    "completeness": story_terms.CompletenessRule,
    "details": story_terms.Detail,
    "categories": story_terms.Category,
    "failure_modes": story_terms.FailureMode,
    "causes": model.Cause,
    "checks": model.Check,
    "rules": model.Rule,
    "answers": OtherWords,
}
SOURCED = tuple(kind for kind, entry in SECTIONS.items() if "source" in entry.model_fields)
"""Kinds of entries that name their source."""

At = tuple[str | int, ...]
"""A way into an entry: field, key or number, and so on."""
Fault = tuple[At, str, str]
"""Where something is wrong, what, and the remedy."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong in the knowledge base."""

    file: str
    line: int
    id: str
    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.id}: {self.what} {self.remedy}".rstrip()


@dataclass(frozen=True)
class Place:
    """Where an entry stands."""

    file: str
    line: int
    lines: Lines | None = field(default=None, compare=False, repr=False)
    path: tuple[str | int, ...] = ()

    def within(self, *path: str | int) -> int:
        """Return the line of a field inside the entry."""
        return self.lines.at((*self.path, *path)) if self.lines else self.line


@dataclass(frozen=True)
class Knowledge:
    """Everything known, by kind and id, in the order written; with the place of each entry."""

    version: str
    digest: str
    settings: vocabulary.Settings
    write_up: story_terms.WriteUp
    """Terms of the shop's own contracts."""
    marks: Mapping[str, vocabulary.Mark]
    likelihoods: Mapping[str, vocabulary.Likelihood]
    observers: Mapping[str, vocabulary.Observer]
    axes: Mapping[str, vocabulary.Axis]
    machines: Mapping[str, machine_groups.Machines]
    states: Mapping[str, vocabulary.MachineState]
    subsystems: Mapping[str, vocabulary.Subsystem]
    looks: Mapping[str, vocabulary.Look]
    preparations: Mapping[str, vocabulary.Named]
    parts: Mapping[str, vocabulary.Named]
    tools: Mapping[str, vocabulary.Named]
    kinds: Mapping[str, vocabulary.Named]
    seasons: Mapping[str, vocabulary.Named]
    changes: Mapping[str, vocabulary.Named]
    flags: Mapping[str, vocabulary.Flag]
    hazards: Mapping[str, vocabulary.Hazard]
    cautions: Mapping[str, vocabulary.Caution]
    sources: Mapping[str, vocabulary.Source]
    findings: Mapping[str, vocabulary.Finding]
    limits: Mapping[str, vocabulary.Limit]
    book: Mapping[str, vocabulary.BookValue]
    symptoms: Mapping[str, Symptom]
    verifications: Mapping[str, model.Verification]
    completeness: Mapping[str, story_terms.CompletenessRule]
    details: Mapping[str, story_terms.Detail]
    categories: Mapping[str, story_terms.Category]
    failure_modes: Mapping[str, story_terms.FailureMode]
    causes: Mapping[str, model.Cause]
    checks: Mapping[str, model.Check]
    """As written; `several` checks still whole."""
    rules: Mapping[str, model.Rule]
    answers: Mapping[str, OtherWords]
    """By check: how people say its outcomes."""
    lexicon: Lexicon
    questions: Mapping[str, model.Check]
    """Checks as asked: each item of a `several` check is a yes/no check `check.item` of its own."""
    places: Mapping[tuple[str, str], Place]
    callers: tuple[Path, ...] = ()
    """Folders of callers' texts and of what was learnt from them; the weights of the last one count."""

    def place(self, kind: str, key: str) -> str:
        """Return "file:line" of an entry."""
        place = self.places.get((kind, key))
        return f"{place.file}:{place.line}" if place else kind

    def problem(self, at: At, what: str, remedy: str) -> Problem:
        """Return what is wrong at a place that begins with kind and id, with its file and line."""
        kind, key = map(str, at[:2])
        place = self.places.get((kind, key), Place("knowledge.yaml", 1))
        return Problem(place.file, place.within(*at[2:]), key, what, remedy=remedy)

    def find(self, key: str) -> list[tuple[str, Any]]:
        """Return (kind, entry) of everything with that id or name."""
        return [(kind, getattr(self, kind)[key]) for kind in SECTIONS if key in getattr(self, kind)]
