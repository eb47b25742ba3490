"""What the hands say that a text tells, as labels for each number in it and for the text as a whole."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from diag.hear.ear import Ear
from diag.hear.numbers import MACHINE_ROWS, NOTHING, OTHER_ROW, ROW, places, run
from diag.hear.said_figures import unit_said
from diag.hear.said_words import Word, cut
from diag.hear.texts import Text
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
_HOW_MANY = re.compile(r"\ball (?:the )?(?!but)\S+|\S+ (?:rows?|box(?:es)?|meters?|units?)$|^one$")
"""Of rows told: how many ("four rows", "all 8"), not which."""
_OF_LISTS = {
    "row", "rows", "number", "no", "and", "or", "to", "through", "thru", "till", "until", "then", "some", "sometimes",
    "mostly", "maybe", "also", "only", "just", "all", "but", "except",
}
"""Words in a list of rows; one with others ("middle eight", "four of them") lists none by number."""
_TO = r"(?:-|to|through|thru|till|until)"
_BETWEEN = ("and", "on", "behind", "under", "through", "thru", "to", "-")


def lists_all(texts: Iterable[Text]) -> set[str]:
    """Return the hands that list every figure told: who never lists two alike does not say that there is no other."""
    found = set()
    for text in texts:
        alike = Counter((f.get("what"), f.get("role")) for f in text.told.get("figures") or ())
        if any(times > 1 for times in alike.values()):
            found.add(text.hand)
    return found


def slots_told(told: Mapping[str, Any]) -> set[str]:
    """Return the slots that a text tells, of `SLOTS`."""
    found = {f"{slot} {str(told[slot]).lower()}" for slot in ("ground", "screen", "up") if slot in told}
    return found | ({"rows all"} if _ALL.match(str(told.get("rows", "")).lower()) else set())


def numbers_told(ear: Ear, told: Mapping[str, Any]) -> dict[int, str]:
    """Return by place what each number is told for; a unit said with it stands above what the hand says."""
    words, lexicon = ear.said.words, ear.said.lexicon
    rows = rows_told(str(told.get("rows", "")), lexicon)
    wanted: dict[float, list[str]] = defaultdict(list)
    for figure in told.get("figures") or ():
        what = str(figure.get("what"))
        kinds = _KINDS.get(what, {})
        kind = kinds.get(str(figure.get("role")), kinds.get("", what))
        for value in numbers_in(str(figure.get("value")), lexicon):
            wanted[value].append(kind)
    machine = [float(v) for v in numbers_in(str(told.get("of", "")), lexicon)]
    found = {at: _told_for(words, at, (rows, wanted, machine), lexicon) for at in places(words)}
    named = {r.first: MACHINE_ROWS for r in ear.machine_rows if words[r.first].value not in rows}
    found |= {at: kind for at, kind in named.items() if not found.get(at)}
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


def numbers_in(text: str, lexicon: Lexicon) -> list[float]:
    """Return the numbers in what a hand says that is told."""
    return [w.value for w in cut(text, lexicon) if w.value is not None]


def rows_told(text: str, lexicon: Lexicon) -> set[float]:
    """Return the rows told by number, ranges written out; none where it is told how many or where they are."""
    words = cut(text, lexicon)
    known = _OF_LISTS | lexicon.ordinals.keys()
    strange = [w for w in words if w.value is None and w.text[0].isalpha() and w.text not in known]
    if strange or _HOW_MANY.search(text.lower()):
        return set()
    numbers = [w.value or lexicon.ordinals.get(w.text) for w in words]
    found = {float(v) for v in numbers if v and v == int(v)}
    spoken = " ".join(f"{v:g}" if v else w.text for v, w in zip(numbers, words, strict=True))
    for first, last in re.findall(rf"(\d+) {_TO} (\d+)", spoken):
        if int(first) < int(last) <= int(first) + 96:
            found |= {float(n) for n in range(int(first), int(last) + 1)}
    return found
