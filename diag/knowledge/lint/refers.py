"""What an entry names must be known: ids with what was probably meant, targets of marks, figures with their unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diag.knowledge.base import At, Fault, Knowledge
from diag.knowledge.limits import value_fault
from diag.units import QUANTITIES


def known(names: Iterable[str], table: Iterable[str], kind: str, at: At) -> Iterator[Fault]:
    """Yield each name that the table lacks."""
    for name in names:
        if name not in table:
            yield at, f"{name!r} is no known {kind}.", nearest(name, table)


def nearest(name: str, table: Iterable[str]) -> str:
    """Return what was probably meant, as a remedy."""
    import difflib

    close = difflib.get_close_matches(name, list(table), n=3, cutoff=0.6)
    return f"Did you mean {' or '.join(close)}?" if close else "Add it, or name one that exists."


def targets(k: Knowledge, marks: Mapping[str, Iterable[str]], at: At) -> Iterator[Fault]:
    """Yield targets of marks that are no cause and no subsystem, or marked twice."""
    yield from known(marks, k.marks, "mark word", at)
    seen: dict[str, str] = {}
    for word, targets in marks.items():
        yield from known([t for t in targets if t[0] != "@"], k.causes, "cause", (*at, word))
        yield from known([t[1:] for t in targets if t[0] == "@"], k.subsystems, "subsystem", (*at, word))
        for target in targets:
            if target in seen:
                yield (*at, word), f"{target} is marked both {seen[target]} and {word}.", "Keep one of the two."
            seen[target] = word


def figure(name: str, value: str, at: At) -> Iterator[Fault]:
    """Yield why a figure cannot be of its quantity."""
    if name not in QUANTITIES:
        yield at, f"{name!r} is no known quantity.", nearest(name, QUANTITIES)
    elif fault := value_fault(value, name):
        yield at, fault, "Correct number or unit."
