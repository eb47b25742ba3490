"""Nothing in the knowledge is mute: every field is read by code, every analysis by a check, no default is written."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

import diag
from diag.analyses.catalogue import CATALOGUE
from diag.knowledge import condition, fields, model, story_terms, vocabulary, words
from diag.knowledge import machines as machine_groups
from diag.knowledge.base import SECTIONS, Knowledge
from diag.knowledge.load import ENTRY_FOLDERS, knowledge_folder
from diag.knowledge.yamlfile import load_yaml

MODULES = (condition, fields, machine_groups, model, story_terms, vocabulary, words)


def models() -> list[type[BaseModel]]:
    """Every model of the knowledge files."""
    found = {m for module in MODULES for m in vars(module).values() if isinstance(m, type) and issubclass(m, BaseModel)}
    return sorted(found - {BaseModel}, key=lambda m: m.__name__)


@cache
def read_in_code() -> frozenset[str]:
    """Attributes that the package loads, and phrase lists of the lexicon that it asks for as ":name"."""
    found = set()
    for path in Path(diag.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                found.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith(":"):
                found.add(node.value[1:])
    return frozenset(found)


def mute(of: list[type[BaseModel]]) -> list[str]:
    """Fields that no code reads."""
    return [f"{m.__name__}.{name}" for m in of for name in m.model_fields if name not in read_in_code()]


class Odd(fields.FrozenModel):
    """A model with a field nobody reads."""

    label: str
    nobody_reads_this_one: str


def test_every_field_of_every_model_is_read() -> None:
    """A field that no code reads misleads whoever fills it in; the walk itself is tried on one."""
    assert ["Odd.nobody_reads_this_one"] == mute([Odd])
    assert [] == mute(models())


def test_every_analysis_is_asked_for(whole: Knowledge) -> None:
    """An analysis that neither a check names nor `diag measure` runs is never carried out."""
    by_command = ast.walk(ast.parse((Path(diag.__file__).parent / "analyses" / "cli.py").read_text(encoding="utf-8")))
    named = {node.value for node in by_command if isinstance(node, ast.Constant)}
    by_check = {name for check in whole.checks.values() for name in check.compute}
    assert [] == [name for name in CATALOGUE if name not in by_check and name not in named]


def defaults(entry: BaseModel, raw: dict[str, Any], place: str) -> Iterator[str]:
    """Fields of an entry as written that only repeat what holds anyhow, also inside its parts."""
    for name, field in type(entry).model_fields.items():
        written = raw.get(field.alias or name)
        if written is None:
            continue
        if not field.is_required() and getattr(entry, name) == field.get_default(call_default_factory=True):
            yield f"{place} {name}"
        yield from inside(getattr(entry, name), written, f"{place} {name}")


def inside(value: Any, written: Any, place: str) -> Iterator[str]:
    """The same for parts that are models themselves."""
    if isinstance(value, machine_groups.Applies):
        return
    if isinstance(value, BaseModel) and isinstance(written, dict):
        yield from defaults(value, written, place)
    elif isinstance(value, dict) and isinstance(written, dict):
        for key, part in value.items():
            yield from inside(part, written.get(key), f"{place} {key}")
    elif isinstance(value, tuple) and isinstance(written, list):
        for number, (part, raw) in enumerate(zip(value, written, strict=False)):
            yield from inside(part, raw, f"{place} {number}")


def test_no_default_is_written(whole: Knowledge) -> None:
    """What holds anyhow is not written: the reader sees only what is special."""
    found: list[str] = []
    for folder in ENTRY_FOLDERS:
        for path in sorted((knowledge_folder() / folder).glob("*.yaml")):
            for raw in load_yaml(path)[0]:
                found += defaults(getattr(whole, folder)[raw["id"]], raw, f"{path.name} {raw['id']}")
    for path in sorted(knowledge_folder().glob("*.yaml")):
        data = load_yaml(path)[0]
        for section in SECTIONS.keys() & data.keys():
            for raw in data[section]:
                key = raw.get("id", raw.get("name"))
                found += defaults(getattr(whole, section)[key], raw, f"{path.name} {key}")
    assert [] == found
