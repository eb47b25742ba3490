"""What an entry names must be known: ids with what was probably meant, targets of marks, figures with their unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from diag.knowledge.limits import value_fault
from diag.units import QUANTITIES

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge

Fault = tuple[tuple[str | int, ...], str, str]
"""Path inside the entry, what is wrong, remedy."""


def known(names: Iterable[str], table: Mapping[str, Any], kind: str, *path: str | int) -> Iterator[Fault]:
    """Yield each name that the table lacks."""
    for name in names:
        if name not in table:
            yield path, f"{name!r} is no known {kind}.", nearest(name, table)


def nearest(name: str, table: Iterable[str]) -> str:
    """Return what was probably meant, as a remedy."""
    import difflib

    close = difflib.get_close_matches(name, list(table), n=3, cutoff=0.6)
    return f"Did you mean {' or '.join(close)}?" if close else "Add it, or name one that exists."


def targets(k: Knowledge, marks: Mapping[str, Iterable[str]], *path: str | int) -> Iterator[Fault]:
    """Yield targets of marks that are no cause and no subsystem, or marked twice."""
    yield from known(marks, k.marks, "mark word", *path)
    for word, targets in marks.items():
        causes = [t for t in targets if not t.startswith("@")]
        groups = [t[1:] for t in targets if t.startswith("@")]
        yield from known(causes, k.causes, "cause", *path, word)
        yield from known(groups, k.subsystems, "subsystem", *path, word)
    seen: dict[str, str] = {}
    for word, targets in marks.items():
        for target in targets:
            if target in seen:
                what = f"{target} is marked both {seen[target]} and {word}."
                yield (*path, word), what, "Keep one of the two."
            seen[target] = word


def figure(name: str, value: str, *path: str | int) -> Iterator[Fault]:
    """Yield why a figure cannot be of its quantity."""
    if name not in QUANTITIES:
        yield path, f"{name!r} is no known quantity.", nearest(name, QUANTITIES)
        return
    fault = value_fault(value, name)
    if fault:
        yield path, fault, "Correct number or unit."
