"""Calls written down by hand, for playing: what the caller says, what is wrong, and what each check then shows.

A file is a YAML list. Two forms, told apart by their fields: `ans` (check -> outcome) or `shows` (check -> {outcome:
chance}, where symptoms may carry chances too). What is not listed comes out as on a sound machine.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.yamlfile import load_yaml
from diag.units import Measured

MOST_SYMPTOMS = 3
LIKELY_TOLD = 0.5
"""Chance from which a symptom is taken to be told when none are drawn."""
FORM = "See `diag knowledge play --help` for the form of a call."


@dataclass(frozen=True)
class Scripted:
    """One call of a file."""

    id: str
    channel: str
    axes: Mapping[str, str]
    """Crop among them."""
    rows: int | None
    trouble: str
    """Rows in trouble as typed ("3, 7-9", "all"); "" when nobody said."""
    words: str
    symptoms: Mapping[str, float]
    """Symptom -> chance that it is told; 1 where the file lists them without chances."""
    changes: tuple[str, ...]
    flags: tuple[str, ...]
    target: str
    speed: str
    book: Mapping[str, Mapping[str, str]]
    truth: tuple[str, ...]
    shows: Mapping[str, Mapping[str, float]]
    """Check -> outcome -> chance; the rest is the normal outcome."""
    by_chance: bool
    """True in the `shows` form: what is not listed is normal even where the fault would speak."""

    def told(self, rng: random.Random | None) -> tuple[str, ...]:
        """Return the symptoms of the call, best first: the likely ones, or drawn by their chances; at least one."""
        if not self.symptoms:
            return ()
        best = sorted(self.symptoms, key=lambda s: -self.symptoms[s])
        if rng is None:
            named = [s for s in best if self.symptoms[s] >= LIKELY_TOLD]
        else:
            named = [s for s in best if rng.random() < self.symptoms[s]]
        return tuple((named or best[:1])[:MOST_SYMPTOMS])


def read_calls(path: Path, channel: str | None = None) -> list[Scripted]:
    """Return the calls of a file, or of all `*.yaml` of a folder; `channel` stands above their own.

    Raises UsageError naming the place.
    """
    files = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
    if not files:
        raise UsageError("No files of calls here.", str(path), "Put `*.yaml` into it, or name a file.")
    calls = [(call, file) for file in files for call in _of_file(file, channel)]
    first: dict[str, Path] = {}
    for call, file in calls:
        if call.id in first:
            what = f"Several calls are called {call.id!r}."
            places = ", ".join(dict.fromkeys(map(str, (first[call.id], file))))
            raise UsageError(what, places, "Give each an id of its own.")
        first[call.id] = file
    return [call for call, _ in calls]


def _of_file(path: Path, channel: str | None) -> list[Scripted]:
    found, lines = load_yaml(path, error=UsageError)
    if not isinstance(found, list) or not all(isinstance(entry, dict) for entry in found):
        raise UsageError("Expected a list of calls.", str(path), FORM)
    return [_call(entry, f"{path}:{lines.at((n,))}", channel) for n, entry in enumerate(found)]


def not_known(knowledge: Knowledge, call: Scripted) -> list[str]:
    """Return what the call names and this knowledge does not have; it moves nothing."""
    lost = [f"symptom {s}" for s in call.symptoms if s not in knowledge.symptoms]
    for check, outcomes in call.shows.items():
        if check not in knowledge.questions:
            lost.append(f"check {check}")
            continue
        lost += [f"outcome {check}: {o}" for o in outcomes if o not in knowledge.questions[check].outcomes]
    lost += [f"axis {a}: {v}" for a, v in call.axes.items() if v not in _values(knowledge, a)]
    return lost + [f"change {c}" for c in call.changes if c not in knowledge.changes]


def _values(knowledge: Knowledge, axis: str) -> set[str]:
    return {v.name for v in knowledge.axes[axis].values} if axis in knowledge.axes else set()


def _call(entry: Mapping[str, Any], where: str, channel: str | None) -> Scripted:
    name = str(entry.get("id") or entry.get("cause") or "")
    where = f"{where}: {name}" if name else where
    if not name:
        raise UsageError("A call needs an id.", where, FORM)
    if ("ans" in entry) == ("shows" in entry):
        raise UsageError("A call needs either `ans` or `shows`.", where, FORM)
    if not entry.get("words") and not entry.get("symptoms"):
        raise UsageError("A call needs `words` or `symptoms`.", where, FORM)
    where_it_is = str(channel or entry.get("channel") or "phone")
    if where_it_is not in ("phone", "site"):
        raise UsageError(f"No channel is called {where_it_is!r}.", where, "Say phone or site.")
    rows = entry.get("rows")
    truth = [entry["cause"]] if "cause" in entry else _listed(entry, "truth", where)
    return Scripted(
        id=name, channel=where_it_is, axes=_texts(entry.get("axes") or entry.get("machine") or {}, "axes", where),
        rows=rows if isinstance(rows, int) else None, trouble=_trouble(entry.get("trouble")),
        words=str(entry.get("words") or ""), symptoms=_chances(entry.get("symptoms") or {}, "symptoms", where),
        changes=tuple(_listed(entry, "changes", where)), flags=tuple(_listed(entry, "flags", where)),
        target=str(entry.get("target") or ""), speed=str(entry.get("speed") or ""),
        book=_book(entry.get("book") or {}, where), truth=tuple(truth), shows=_shows(entry, where),
        by_chance="shows" in entry,
    )


def _listed(entry: Mapping[str, Any], field: str, where: str) -> list[str]:
    value = entry.get(field) or []
    if not isinstance(value, list):
        raise UsageError(f"{field}: expected a list.", where, FORM)
    return [str(v) for v in value]


def _texts(value: Any, field: str, where: str) -> dict[str, str]:
    if not isinstance(value, dict):
        raise UsageError(f"{field}: expected `name: value` pairs.", where, FORM)
    return {str(k): str(v) for k, v in value.items()}


def _trouble(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value or "")


def _chances(value: Any, field: str, where: str) -> dict[str, float]:
    if isinstance(value, list):
        return {str(name): 1.0 for name in value}
    return {str(name): _chance(p, f"{field}.{name}", where) for name, p in _pairs(value, field, where)}


def _pairs(value: Any, field: str, where: str) -> Iterable[tuple[Any, Any]]:
    if not isinstance(value, dict):
        raise UsageError(f"{field}: expected `name: value` pairs.", where, FORM)
    return value.items()


def _chance(value: Any, field: str, where: str) -> float:
    if isinstance(value, str) and re.fullmatch(r"\.\d+", value):
        value = float(value)  # ".5": text to our YAML, a number to whoever writes chances
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        raise UsageError(f"{field}: expected a chance from 0 to 1, got {value!r}.", where, FORM)
    return float(value)


def _shows(entry: Mapping[str, Any], where: str) -> dict[str, dict[str, float]]:
    if "ans" in entry:
        return {c: {o: 1.0} for c, o in _texts(entry["ans"] or {}, "ans", where).items()}
    return {str(c): _chances(os, f"shows.{c}", where) for c, os in _pairs(entry["shows"] or {}, "shows", where)}


def _book(value: Any, where: str) -> dict[str, dict[str, str]]:
    return {
        str(name): Measured.from_json(_texts(given, f"book.{name}", where)).as_json()
        for name, given in _pairs(value, "book", where)
    }
