"""A text heard once: its words, rows and figures, and the concepts heard in it with how far each counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.hear.numbers import MACHINE_ROWS, RIGHT_ROW, ROW, Leads, around
from diag.hear.plain import plain_readings
from diag.hear.said import REACH, Hit, Said, Status, read
from diag.hear.said_figures import Figure, differences, figures
from diag.hear.said_rows import Rows, bare_rows, machine_rows, rows
from diag.hear.said_words import Word
from diag.knowledge.words import Concept, Lexicon

COUNTS: dict[Status, float] = {"said": 1.0, "believed": 0.5, "earlier": 0.25, "denied": 0.0}
"""What a thing heard counts, by whether it is said, believed, of an earlier time, or denied."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A concept heard once, with the caller's words for it."""

    concept: Concept
    status: Status
    sentence: int
    quote: str
    onset: bool = False
    """Told as what came just before the trouble: "since we folded"."""


class Ear:
    """A text read once: words, rows, figures, and what was heard, the strongest first."""

    def __init__(self, text: str, lexicon: Lexicon) -> None:
        self.said = read(text, lexicon)
        self.rows = rows(self.said)
        self.machine_rows = machine_rows(self.said, self.rows)
        self.bare_rows = bare_rows(self.said, self.rows)
        self.values = figures(self.said, self.rows)
        self.plain = plain_readings(self.said, self.values, (*self.rows, *self.machine_rows))
        heard = _phrases(self.said, self.plain) + _from_figures(self.said, self.rows, self.values)
        self.heard = heard + _contradictions(heard, lexicon)
        self.evidence = _strongest(self.heard)
        self.denied = {name for name, best in self.evidence.items() if best[0].status == "denied"}

    @property
    def names_planter(self) -> bool:
        """Tell whether a row or another word of the trade stands in the text."""
        return bool(self.rows or self.said.of(":planter"))

    @property
    def of_a_planter(self) -> bool:
        """Tell whether anything in the text belongs to a planter: a word of the trade or a complaint."""
        return self.names_planter or any(h.concept.kind == "seen" for h in self.heard)

    def described(self) -> list[Word]:
        """Return the words that describe: not those denied or only believed, nor when, what was tried and measured."""
        return _described(self.said, self.values, self.plain)

    def instead(self) -> dict[int, str]:
        """Return by place of a word what it tells instead of itself: a row, something denied, "" for nothing wrong."""
        words = self.said.words
        found = {at: f"not {words[at].stem}" for at in _denied(self.said)} | dict.fromkeys(self.plain, "")
        return found | {at: "#row" for r in self.rows for at in range(r.first, r.last) if words[at].value is not None}

    def numbers(self, leads: Leads) -> dict[int, dict[int, float]]:
        """Return by place the features of each number; `leads`: what the text is likeliest about."""
        words = self.said.words
        ruled = {at: MACHINE_ROWS for r in self.machine_rows for at in range(r.first, r.last)}
        ruled |= {f.first: f"{f.quantity.name} {f.role}" for f in self.values}
        ruled |= {at: ROW for r in self.rows for at in range(r.first, r.last)}
        right = [r for r in (*self.rows, *self.bare_rows) if r.right]
        ruled |= {at: RIGHT_ROW for r in right for at in range(r.first, r.last)}
        ruled = {at: kind for at, kind in ruled.items() if words[at].value is not None}
        return around(words, ruled, leads)


def _described(said: Said, values: Sequence[Figure], plain: frozenset[int]) -> list[Word]:
    """Return the words that describe: not those denied or only believed, nor when, what was tried and measured."""
    concepts = said.lexicon.by_name
    figures_at = {said.words[i].start for f in values for i in range(f.first, f.last)}
    figures_at |= {said.words[i].start for i in plain}
    hidden = {
        place
        for h in said.hits
        if (concept := concepts.get(h.owner)) and (concept.keeps_words or said.status(h) in ("denied", "believed"))
        for place in range(h.first, h.last)
    }
    return [w for place, w in enumerate(said.counted) if place not in hidden and w.start not in figures_at]


def _denied(said: Said) -> list[int]:
    """Return the places of words that only tell what is not wrong: denied, and in nothing else that is said."""
    told: dict[bool, set[int]] = {True: set(), False: set()}
    for hit in said.hits:
        if (concept := said.lexicon.by_name.get(hit.owner)) and concept.kind == "seen":
            told[said.status(hit) == "denied"].update(range(hit.first, hit.last))
    starts = {said.counted[at].start for at in told[True] - told[False]}
    return [at for at, word in enumerate(said.words) if word.start in starts]


def _phrases(said: Said, plain: frozenset[int]) -> list[Heard]:
    """Return the concepts heard in phrases; what stands inside a longer phrase of something seen is that.

    A plain reading names parts without a complaint: what is seen is not heard in it.
    """
    lexicon, found = said.lexicon, []
    told = {said.words[at].start for at in plain}
    hits = [
        h for h in said.hits
        if (concept := lexicon.by_name.get(h.owner))
        and (concept.kind != "seen" or any(w.start not in told for w in said.counted[h.first : h.last]))
    ]
    covering: dict[int, list[Hit]] = {}
    for hit in hits:
        concept = lexicon.by_name[hit.owner]
        if hit.phrase.whole and concept.kind == "seen" and not concept.keeps_parts:
            for place in range(hit.first, hit.last):
                covering.setdefault(place, []).append(hit)
    for hit in hits:
        concept = lexicon.by_name[hit.owner]
        if concept.kind == "seen" and any(_covered(hit, c) for c in covering.get(hit.first, ())):
            continue
        sentence, quote, status = said.counted[hit.first].sentence, said.quote(hit.first, hit.last), said.status(hit)
        found.append(Heard(concept, status, sentence, quote, onset=_is_onset(said, hit)))
        if concept.pattern and (general := lexicon.patterns[concept.pattern].concept) != concept.name:
            found.append(Heard(lexicon.by_name[general], status, sentence, quote))
    return found


def _is_onset(said: Said, hit: Hit) -> bool:
    """Tell whether a word such as "since" stands in the phrase, or closely before it in its clause."""
    words, clause = said.counted, said.counted[hit.first].clause
    before = words[max(0, hit.first - REACH) : hit.last]
    return any(w.text in said.lexicon.talk.onset and w.clause == clause for w in before)


def _covered(hit: Hit, by: Hit) -> bool:
    longer = by.last - by.first > hit.last - hit.first
    return longer and by.owner != hit.owner and by.first <= hit.first and hit.last <= by.last


def _from_figures(said: Said, named: Sequence[Rows], values: Sequence[Figure]) -> list[Heard]:
    lexicon, found = said.lexicon, []
    for row in named:
        if not row.right and (pattern := lexicon.patterns.get(row.pattern)):
            concept = lexicon.by_name[pattern.concept]
            found.append(Heard(concept, "said", said.words[row.first].sentence, quote(said, row.first, row.last)))
    for name, a, b in differences(values, lexicon):
        words = f"{quote(said, a.first, a.last)} ... {quote(said, b.first, b.last)}"
        found.append(Heard(lexicon.by_name[name], "said", said.words[a.first].sentence, words))
    return found


def _contradictions(heard: Sequence[Heard], lexicon: Lexicon) -> list[Heard]:
    """Return what it means that something is said in one place and denied in another (screen against ground)."""
    found = []
    denied = {h.concept.name: h for h in reversed(heard) if h.status == "denied"}
    for name, yes in {h.concept.name: h for h in reversed(heard) if h.status == "said"}.items():
        no, other = denied.get(name), yes.concept.contradicted
        if no and other:
            words = f"{yes.quote} ... not {no.quote}"
            found.append(Heard(lexicon.by_name[other], "said", yes.sentence, words))
    return found


def quote(said: Said, first: int, last: int) -> str:
    """Return the caller's own words for words first..last of all, on one line."""
    return said.quote_span(said.words[first].start, said.words[last - 1].end)


def _strongest(heard: Sequence[Heard]) -> dict[str, list[Heard]]:
    """Return by concept what counts most, the longest quote first; said outweighs denied elsewhere in the text."""
    found: dict[str, list[Heard]] = {}
    for one in heard:
        found.setdefault(one.concept.name, []).append(one)
    for several in found.values():
        several.sort(key=lambda h: (-COUNTS[h.status], -len(h.quote), h.sentence, h.quote))
        best = COUNTS[several[0].status]
        several[:] = [h for h in several if COUNTS[h.status] == best]
    return found
