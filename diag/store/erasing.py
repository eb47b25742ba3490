"""What goes when a call is erased, beside its sealed texts: photos, machine profiles, and what cannot go."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from diag.errors import StoreError
from diag.files import reason_of
from diag.record.fields import leaves
from diag.record.graph import KINDS, Event, Sealed, erased_targets
from diag.store.kept import Erasure, Profile
from diag.text import one_line

_NAMES = ("owner", "serial", "label")


def erasure(events: Sequence[Event], sealed: Iterable[Sealed], profiles: Iterable[Profile], photos: Path) -> Erasure:
    """Return what erasing these takes away, and what it cannot."""
    texts = {(s.event, s.field) for s in sealed} - erased_targets(events)
    labels = [p.personal.get("label", "") or "without a name" for p in same_machine(events, sealed, profiles)]
    return Erasure(len(texts), len(_pictures(photos)), tuple(labels), tuple(_open_labels(events)))


def same_machine(events: Iterable[Event], sealed: Iterable[Sealed], profiles: Iterable[Profile]) -> list[Profile]:
    """Return the profiles that have owner, serial or label in common with the machine of a call."""
    machine = {e.id for e in events if e.kind == "machine"}
    told = {(s.field, s.value.casefold()) for s in sealed if s.event in machine and s.field in _NAMES}
    return [p for p in profiles if told & {(name, p.personal.get(name, "").casefold()) for name in _NAMES}]


def _open_labels(events: Iterable[Event]) -> list[str]:
    """Return the free labels that stand in the chain itself, as events of form 1 have them."""
    found = []
    for event in events:
        for leaf in leaves(KINDS[event.kind], event.body) if event.known else ():
            if leaf.type.free(leaf.value):
                name = " ".join(str(p) for p in leaf.path if isinstance(p, str)).replace("_", " ")
                found.append(f"{name} of event {event.n} ({event.kind}): {one_line(leaf.value, limit=40)}")
    return found


def _pictures(folder: Path) -> list[Path]:
    return sorted(folder.glob("*")) if folder.is_dir() else []


def delete_photos(folder: Path) -> None:
    """Delete the kept pictures of a call. Raises StoreError naming what stays."""
    try:
        if folder.is_dir():
            shutil.rmtree(folder)
    except OSError as e:
        what = f"The photos cannot be deleted: {reason_of(e)}."
        raise StoreError(what, str(folder), "Delete the folder by hand.") from None
