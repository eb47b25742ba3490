"""What the hands say that a text tells, as labels for each number in it and for the text as a whole."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from diag.hear.ear import Ear
from diag.hear.numbers import MACHINE_ROWS, NOTHING, OTHER_ROW, ROW, places, run
from diag.hear.said_figures import unit_said
from diag.hear.said_words import Word, cut
from diag.knowledge.words import Lexicon

SLOTS = ("rows all", "ground good", "ground bad", "screen good", "screen bad", "up true")
"""What a text as a whole may tell: slot and value."""
COUNTED = "count"
_KINDS: Mapping[str, Mapping[str, str]] = {
    "vacuum": {"set": "vacuum_set", "target": "vacuum_set"},
    "population": {"set": "rate_set", "target": "rate_set", "read": "rate_screen", "": COUNTED},
    "seed_used": {"target": "seed_planned", "set": "seed_planned"},
}
"""Kind of a figure by what it is of and its role; else what it is of."""
_ALL = re.compile(r"(all|every|each|both)\b(?! but)")
_BETWEEN = ("and", "on", "behind", "under", "through", "thru", "to", "-")


def slots_told(told: Mapping[str, Any]) -> set[str]:
    """Return the slots that a text tells, of `SLOTS`."""
    found = {f"{slot} {str(told[slot]).lower()}" for slot in ("ground", "screen", "up") if slot in told}
    return found | ({"rows all"} if _ALL.match(str(told.get("rows", "")).lower()) else set())


def numbers_told(ear: Ear, told: Mapping[str, Any]) -> dict[int, str]:
    """Return by place what each number is told for; a unit said with it stands above what the hand says."""
    words, lexicon = ear.said.words, ear.said.lexicon
    rows = _rows(str(told.get("rows", "")), lexicon)
    wanted: dict[float, list[str]] = defaultdict(list)
    for figure in told.get("figures") or ():
        what = str(figure.get("what"))
        kinds = _KINDS.get(what, {})
        kind = kinds.get(str(figure.get("role")), kinds.get("", what))
        for value in _values(str(figure.get("value")), lexicon):
            wanted[value].append(kind)
    machine = [float(v) for v in _values(str(told.get("of", "")), lexicon)]
    found = {at: _told_for(words, at, (rows, wanted, machine), lexicon) for at in places(words)}
    units = {f.first: f.quantity.name for f in ear.values if unit_said(ear.said, f)}
    found |= {at: kind for at, kind in units.items() if not found[at].startswith(kind)}
    return {at: kind or _of_its_list(words, at, found) for at, kind in found.items()}


def _told_for(
    words: Sequence[Word], at: int, told: tuple[set[float], Mapping[float, Sequence[str]], Sequence[float]],
    lexicon: Lexicon,
) -> str:
    rows, wanted, machine = told
    value, before = words[at].value or 0.0, words[at - 1].text if at else ""
    kinds = [k for scale in (1, 1000, 0.001) for k in wanted.get(value * scale, ())]
    beside = before in lexicon.row_words or before in _BETWEEN
    if value in rows and (beside or not kinds):
        return ROW
    if kinds:
        return kinds[0]
    if value in machine:
        return MACHINE_ROWS
    head = run(words, at, -1)
    return OTHER_ROW if head >= 0 and words[head].text in lexicon.row_words else NOTHING


def _of_its_list(words: Sequence[Word], at: int, found: Mapping[int, str]) -> str:
    """Return what the other numbers of a list are told for, where that is one figure: "34, 34, 33, 34"."""
    others = {found[n] for n in range(run(words, at, -1) + 1, run(words, at, 1)) if found.get(n)}
    return others.pop() if len(others) == 1 and others.isdisjoint((ROW, OTHER_ROW, MACHINE_ROWS)) else NOTHING


def _values(text: str, lexicon: Lexicon) -> list[float]:
    return [w.value for w in cut(text, lexicon) if w.value is not None]


def _rows(text: str, lexicon: Lexicon) -> set[float]:
    """Return the rows told, ranges written out."""
    found = {v for v in _values(text, lexicon) if v == int(v)}
    for first, last in re.findall(r"(\d+)\s*(?:-|to|through|thru)\s*(\d+)", text):
        if int(first) < int(last) <= int(first) + 96:
            found |= {float(n) for n in range(int(first), int(last) + 1)}
    return found
