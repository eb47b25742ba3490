"""What a linter finds about an entry, and what several linters share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

SOURCED = ("causes", "checks", "rules", "cautions", "limits", "symptoms", "verifications", "completeness")
"""Kinds of entries that name their source."""


@dataclass(frozen=True)
class Flaw:
    """One finding about an entry; `path` leads to the field inside it."""

    kind: str
    key: str
    what: str
    remedy: str
    path: tuple[str | int, ...] = ()


def repeated(texts: Iterable[tuple[str, str, str | None]]) -> Iterator[tuple[str, str, str]]:
    """Yield (kind, key, first key) for every text already used; texts come as (kind, key, text or None)."""
    seen: dict[str, str] = {}
    for kind, key, text in texts:
        if text is None:
            continue
        folded = " ".join(text.casefold().split()).rstrip(".?!")
        if folded in seen and seen[folded] != key:
            yield kind, key, seen[folded]
        seen.setdefault(folded, key)
