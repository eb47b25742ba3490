"""How well callers are heard, on texts of hands that taught nothing: shares with their 95 % intervals.

Facts are judged item by item against `told`: a number of a kind, the rows, what ground and screen show. What a hand
worked out ("two less") or what does not stand in the words is no item. Hands do not list all that they say: a number
with its unit behind it is right by what stands there, and hands that list one figure of a kind only are judged by what
is found of what they list, not by what else is offered.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diag.hear.complaint import Match
from diag.hear.ear import Ear
from diag.hear.fact import FactFound
from diag.hear.said_figures import unit_said
from diag.hear.texts import Text
from diag.hear.told import numbers_in, rows_told
from diag.knowledge.words import Lexicon
from diag.measure.counting import wilson

FIRST = (1, 3, 9)
FIGURES = {
    "vacuum": "vacuum", "speed": "speed", "population": "rates", "rate": "rates", "count": "counts", "skips": "counts",
    "doubles": "counts", "seed_used": "counts", "seed_planned": "counts",
}
"""Name that a figure is judged under, by what it is of."""
_OF_MACHINES = ("crop", "drive", "fill")
"""What few hands list: judged where one does."""
_SEEDS = {"rates", "counts"}
"""How many seeds there are, whatever it is called."""
_DIFFERENCE = re.compile(
    r"\b(less|under|over|below|above|lower|higher|down|up|more|los\w+|drop\w*|off|short|percent|pct|difference)\b|%"
)
"""Words in a figure told that make it a difference, which no reading is."""
_TO = ("-", "to", "through", "until")


@dataclass(frozen=True, slots=True)
class Share:
    """`k` of `n`, with its Wilson interval."""

    k: int
    n: int

    def __str__(self) -> str:
        if not self.n:
            return "none to judge"
        low, high = wilson(self.k, self.n)
        return f"{100 * self.k / self.n:.1f} % ({100 * low:.0f}-{100 * high:.0f})"

    def as_json(self) -> dict[str, Any]:
        """Return counts, share and interval."""
        low, high = wilson(self.k, self.n) if self.n else (0.0, 1.0)
        return {"k": self.k, "n": self.n, "share": round(self.k / self.n, 4) if self.n else None,
                "interval": [round(low, 4), round(high, 4)]}


def judge(texts: Sequence[Text], hear: Callable[[str], Match]) -> dict[str, Share]:
    """Return by name how the texts were heard.

    `first`, `first_3`, `first_9`: a right symptom is among so many; `ticked`: what is ticked by itself is right;
    `taken`: complaints whose best symptom is ticked; `turned_away`: complaints called none; `false_alarms`: texts that
    are no complaint and are taken for one.
    """
    heard = [(text, hear(text.say)) for text in texts]
    complaints = [(set(t.right), m) for t, m in heard if t.right]
    others = [m for t, m in heard if not t.right]
    ticked = [(s in right) for right, m in complaints for s in m.ticked] + [False for m in others for _ in m.ticked]
    found = {
        f"first_{most}": _share(bool(right & {p.symptom for p in m.proposals[:most]}) for right, m in complaints)
        for most in FIRST
    }
    return found | {
        "ticked": _share(ticked),
        "taken": _share(bool(right & set(m.ticked)) for right, m in complaints),
        "turned_away": _share(bool(m.none) for _, m in complaints),
        "false_alarms": _share(not m.none for m in others),
    }


def together(several: Iterable[dict[str, Share]]) -> dict[str, Share]:
    """Return the sums of several judgements."""
    found: dict[str, Share] = {}
    for one in several:
        for name, share in one.items():
            before = found.get(name, Share(0, 0))
            found[name] = Share(before.k + share.k, before.n + share.n)
    return found


Items = Mapping[str, set[Any]]


def judge_facts(
    texts: Sequence[Text], hear: Callable[[str], Match], lexicon: Lexicon, *, thorough: bool
) -> dict[str, Share]:
    """Return by kind how many facts told are offered, and how many of those offered and ticked are right.

    `thorough`: the hand lists every figure that it tells (`told.lists_all`); else none is judged wrong.
    """
    found: dict[str, list[bool]] = defaultdict(list)
    for text in (t for t in texts if t.right):
        ear, facts = Ear(text.say, lexicon), hear(text.say).facts
        told, offered = _told(text, ear), _offered(facts)
        for kind, items in told.items():
            found[f"{kind} heard"] += [_among(item, kind, offered) for item in items]
        units = {FIGURES.get(f.quantity.name, ""): {float(f.value.value)} for f in ear.values if unit_said(ear.said, f)}
        for fact in facts:
            for kind, items in _offered([fact]).items():
                if (kind in FIGURES.values() and not thorough) or (kind in _OF_MACHINES and not told[kind]):
                    continue
                right = all(_among(item, kind, told) or item in units.get(kind, ()) for item in items)
                for share in ("offered", *(["ticked"] if fact.ticked else [])):
                    found[f"{kind} {share} and right"].append(right)
    return {name: _share(good) for name, good in sorted(found.items())}


def _told(text: Text, ear: Ear) -> dict[str, set[Any]]:
    """Return what a hand says that a text tells, as far as it stands in the words."""
    told, words, lexicon = text.told, ear.said.words, ear.said.lexicon
    said = {w.value for w in words if w.value is not None}
    found: dict[str, set[Any]] = defaultdict(set)
    for figure in told.get("figures") or ():
        kind, value = FIGURES.get(str(figure.get("what"))), str(figure.get("value")).lower()
        if kind and not _DIFFERENCE.search(value):
            found[kind] |= {v for v in numbers_in(value, lexicon) if any(_alike(v, s) for s in said)}
    rows = rows_told(str(told.get("rows", "")), lexicon)
    if rows and rows <= said | set(_spoken_rows(ear)):
        found["rows"] = {tuple(sorted(rows))}
    found["rows of the planter"] = {v for v in numbers_in(str(told.get("of", "")), lexicon) if v in said}
    for slot in ("ground", "screen", *_OF_MACHINES):
        found[slot] = {str(told[slot])} if slot in told else set()
    return found


def _spoken_rows(ear: Ear) -> Iterator[float]:
    """Yield the rows of ranges and ordinals that stand in a text."""
    words = ear.said.words
    yield from (float(n) for w in words if (n := ear.said.lexicon.ordinals.get(w.text)))
    for first, between, last in zip(words, words[1:], words[2:], strict=False):
        if first.value and last.value and between.text in _TO:
            yield from (float(n) for n in range(int(first.value), int(min(last.value, first.value + 96)) + 1))


def _offered(facts: Iterable[FactFound]) -> Items:
    """Return what facts tell, by the kinds that are judged."""
    found: dict[str, set[Any]] = defaultdict(set)
    for fact in facts:
        kind = FIGURES.get(fact.kind) or FIGURES.get(fact.kind.partition("_")[0])
        if kind and not fact.kind.endswith("_measured"):
            numbers = fact.value.split(" of ") if " of " in fact.value else fact.value.split(" ")[:1]
            found[kind] |= {float(n) for n in numbers}
        elif fact.kind == "rows" and fact.value[0].isdigit():
            ends = [part.split("-") for part in fact.value.split(", ")]
            found["rows"].add(tuple(float(n) for e in ends for n in range(int(e[0]), int(e[-1]) + 1)))
        elif fact.kind == "machine_rows":
            found["rows of the planter"].add(float(fact.value))
        elif fact.kind in ("ground", "screen"):
            found[fact.kind].add(fact.value)
        for offer in fact.offers:
            if offer.slot == "axis" and offer.name in _OF_MACHINES:
                found[offer.name].add(offer.value)
    return found


def _among(item: Any, kind: str, others: Items) -> bool:
    """Tell whether an item stands among others: numbers up to thousands, rows where all of them do."""
    several = [o for k in (_SEEDS if kind in _SEEDS else (kind,)) for o in others.get(k, ())]
    if kind == "rows":
        return set(item) <= {row for rows in several for row in rows}
    return any(_alike(item, o) if isinstance(item, float) else item == o for o in several)


def _alike(a: float, b: float) -> bool:
    return any(abs(a - b * scale) < 1e-6 * max(1.0, abs(a)) for scale in (1.0, 1000.0, 0.001))


def _share(good: Iterable[bool]) -> Share:
    counted = list(good)
    return Share(sum(counted), len(counted))
