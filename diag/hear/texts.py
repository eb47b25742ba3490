"""Callers' texts that people labelled: what the trained vote learns from, one file a hand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diag.errors import KnowledgeError
from diag.knowledge.yamlfile import load_yaml

_FIELDS = {"say", "right", "told"}


@dataclass(frozen=True, slots=True)
class Text:
    """What a caller says, the symptoms that are right (best first; none: no complaint of ours), and who wrote it."""

    say: str
    right: tuple[str, ...]
    hand: str
    told: dict[str, Any] = field(default_factory=dict, hash=False)
    """What the text tells: see the README beside the texts."""


def read_texts(folders: Iterable[Path], symptoms: Sequence[str]) -> list[Text]:
    """Return the texts of all `*.yaml` files in the folders, by folder and name.

    Raises KnowledgeError naming file and line of an entry that is no text or names a symptom that is not known.
    """
    known = set(symptoms)
    return [text for folder in folders for path in sorted(folder.glob("*.yaml")) for text in _read(path, known)]


def _read(path: Path, known: set[str]) -> Iterable[Text]:
    data, lines = load_yaml(path)
    if not isinstance(data, list):
        raise KnowledgeError("A list of texts is expected.", f"{path}:1", "Write `- say: ...` with `right: [...]`.")
    for number, entry in enumerate(data):
        where = f"{path}:{lines.at((number,))}"
        if not isinstance(entry, dict) or not entry.keys() <= _FIELDS or not isinstance(entry.get("say"), str):
            raise KnowledgeError("Not a text.", where, f"Fields: {', '.join(sorted(_FIELDS))}; `say` is text.")
        right = entry.get("right")
        if not isinstance(right, list) or not all(isinstance(r, str) for r in right):
            raise KnowledgeError("`right` lists symptoms.", where, "[] where it is no complaint of the list.")
        if strange := [r for r in right if r not in known]:
            raise KnowledgeError(f"No such symptom: {', '.join(strange)}.", where, "Use ids of symptoms.yaml.")
        yield Text(entry["say"], tuple(right), path.stem, dict(entry.get("told") or {}))
