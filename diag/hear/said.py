"""The phrases heard in a text, and whether each thing is said, denied, only believed, or of an earlier time.

The text is data throughout: it is cut into words, compared, and quoted back cleaned, nothing else.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from diag.hear.said_words import Word, cut, that_count
from diag.knowledge.phrases import NUMBER, Phrase, Slot
from diag.knowledge.words import Lexicon
from diag.text import clean, one_line

Status = Literal["said", "believed", "earlier", "denied"]

REACH = 5  # words that a negator reaches over
WINDOW = 8  # words within which "a & b" must stand
_QUOTE = 60  # characters of the caller's words quoted back


@dataclass(frozen=True, slots=True)
class Hit:
    """A phrase heard: words `first` to `last` (not included) of the counted words."""

    phrase: Phrase
    first: int
    last: int

    @property
    def owner(self) -> str:
        """Name of the concept, or a colon and the kind of small words."""
        return self.phrase.owner


class Said:
    """A text read once: all words, the words that count, and the phrases heard in them."""

    def __init__(self, text: str, lexicon: Lexicon) -> None:
        self.text = clean(text)
        self.lexicon = lexicon
        self.words = cut(self.text, lexicon)  # everything, signs and skipped words too
        self.counted = that_count(self.words, lexicon)
        self.hits = list(_heeded(_heard(self.counted, lexicon)))
        self._by_owner: dict[str, list[Hit]] = defaultdict(list)
        for hit in self.hits:
            self._by_owner[hit.owner].append(hit)
        self._negators = list(self._find_negators())
        self._undone_at = {h.first for h in self.of(":undo_negation")}
        self._denied_at = {h.first for h in self.of(":denied_after") if self._ends_part(h)}
        self._believed = {place for belief in self.of(":beliefs") for place in self._covered_by(belief)}
        self.right_at = {h.first: h for h in self.of(":right")}  # what tells that nothing is wrong
        self.right_until = {h.last: h for h in self.of(":right")}
        self._starts = [w.start for w in self.counted]
        self._earlier = {self.counted[e.first].clause for e in self.of(":earlier")}
        self.in_clause: dict[int, set[str]] = defaultdict(set)
        self.in_sentence: dict[int, set[str]] = defaultdict(set)
        for word in self.words:
            self.in_clause[word.clause].add(word.text)
            self.in_sentence[word.sentence].add(word.text)

    def quote(self, first: int, last: int) -> str:
        """Return the caller's own words for counted words first..last, on one line."""
        return self.quote_span(self.counted[first].start, self.counted[last - 1].end)

    def quote_span(self, start: int, end: int) -> str:
        """Return the caller's own words between two places of the text, on one line."""
        return one_line(self.text[start:end], limit=_QUOTE)

    def counted_from(self, at: int) -> int:
        """Return the place among the counted words of the first one from this place among all words on."""
        return bisect_left(self._starts, self.words[at].start) if at < len(self.words) else len(self.counted)

    def of(self, owner: str) -> list[Hit]:
        """Return the hits of one owner."""
        return self._by_owner.get(owner, [])

    def status(self, hit: Hit) -> Status:
        """Tell whether what was heard is said, denied, only believed, or of an earlier time."""
        if self._is_denied(hit):
            return "denied"
        if hit.first in self._believed:
            return "believed"
        return "earlier" if self.counted[hit.first].clause in self._earlier else "said"

    def _is_denied(self, hit: Hit) -> bool:
        words = self.counted
        clauses = (words[hit.first].clause, words[hit.last - 1].clause)
        end = bisect_left(self._negators, (hit.last, 0))
        for at, until in reversed(self._negators[max(0, end - REACH - (hit.last - hit.first)) : end]):
            if self._reaches(at, until, hit) and words[at].clause in clauses:
                return self._undone_at.isdisjoint(range(at + 1, hit.last))
        return hit.last in self._denied_at and words[hit.last].part == words[hit.last - 1].part

    def _reaches(self, at: int, until: int, hit: Hit) -> bool:
        """Tell whether a negator can mean the hit: it stands before it, or inside without being named by it."""
        if at >= hit.first:
            return until == len(self.counted) and self.counted[at].stem not in hit.phrase.takes
        return hit.first - REACH <= at and hit.first < until

    def _ends_part(self, hit: Hit) -> bool:
        words = self.counted
        return hit.last == len(words) or words[hit.last].part != words[hit.last - 1].part

    def _covered_by(self, belief: Hit) -> Iterator[int]:
        """Yield the words that are only believed: what follows in the clause, else what stands before."""
        words, place = self.counted, belief.last
        clause = words[belief.last - 1].clause
        while place < len(words) and words[place].clause == clause:
            yield place
            place += 1
        if place > belief.last:
            return
        place = belief.first - 1
        while place >= 0 and words[place].clause == clause:
            yield place
            place -= 1
        alone = place == belief.first - 1
        while alone and place >= 0 and words[place].clause == clause - 1 and self._same_sentence(place, belief):
            yield place
            place -= 1

    def _same_sentence(self, place: int, hit: Hit) -> bool:
        return self.counted[place].sentence == self.counted[hit.first].sentence

    def _find_negators(self) -> Iterator[tuple[int, int]]:
        """Yield (place, end) of negators that deny what follows; one in a phrase reaches to the phrase's end."""
        negators = frozenset(self.lexicon.talk.negators)
        ends = {place: len(self.counted) for place, w in enumerate(self.counted) if w.text in negators}
        inside: dict[int, int] = {}
        for hit in (h for h in self.hits if h.owner != ":right"):  # those are told of rows, and reach as any
            for place in range(hit.first, hit.last):
                if place in ends and self.counted[place].stem in hit.phrase.takes:
                    if hit.owner == ":no_negation":
                        ends.pop(place)
                    else:
                        inside[place] = max(inside.get(place, 0), hit.last)
        for place, end in ends.items():
            yield place, inside.get(place, end)


def read(text: str, lexicon: Lexicon) -> Said:
    """Return the text cut into words with every phrase of the lexicon that is heard in it."""
    return Said(text, lexicon)


def _heeded(heard: Iterator[Hit]) -> Iterator[Hit]:
    """Leave out what stands inside a phrase that the lexicon tells to ignore."""
    hits = list(heard)
    ignored: dict[int, int] = {}
    for hit in hits:
        if hit.owner == ":ignored":
            for place in range(hit.first, hit.last):
                ignored[place] = max(ignored.get(place, 0), hit.last)
    return (h for h in hits if h.owner[0] == ":" or h.last > ignored.get(h.first, 0))


def _heard(words: list[Word], lexicon: Lexicon) -> Iterator[Hit]:
    index = lexicon.index
    stems: dict[int, set[str]] = {}
    for word in words:
        stems.setdefault(word.sentence, set()).add(word.stem)
    for at, word in enumerate(words):
        here = stems[word.sentence]
        keys = [word.stem, f"={word.text}"] if word.value is None else [word.stem, f"={word.text}", NUMBER]
        for key in keys:
            for phrase in index.get(key, ()):
                for need in phrase.needs:
                    if need.isdisjoint(here):
                        break
                else:
                    yield from _hit(phrase, words, at)


def _hit(phrase: Phrase, words: list[Word], at: int) -> Iterator[Hit]:
    """Yield the phrase if it is heard from word `at` on."""
    first = phrase.slots[0]
    last = _end(phrase.slots, 1, words, at + 1) if not first.number or _fits(first, words[at]) else -1
    if last >= 0 and phrase.others:
        yield from _any_order(phrase, words, at, last)
    elif last >= 0:
        yield Hit(phrase, at, last)


def _any_order(phrase: Phrase, words: list[Word], first: int, last: int) -> Iterator[Hit]:
    """Yield the phrase when its other words stand near the first ones, in the same part of the sentence."""
    part, start, end = words[first].part, first, last
    for slots in phrase.others:
        near = [
            (at, stop)
            for at in range(max(0, first - WINDOW), min(len(words), last + WINDOW))
            if words[at].part == part
            and not first <= at < last
            and _fits(slots[0], words[at])
            and (stop := _end(slots, 1, words, at + 1)) >= 0
        ]
        if not near:
            return
        at, stop = min(near, key=lambda place: abs(place[0] - first))
        start, end = min(start, at), max(end, stop)
    yield Hit(phrase, start, end)


def _end(slots: tuple[Slot, ...], slot: int, words: list[Word], at: int) -> int:
    """Return where the phrase ends when its slots from `slot` on are met at word `at`, else -1."""
    before = words[at - 1]
    while slot < len(slots):
        wanted = slots[slot]
        if wanted.gap:
            return _after_gap(slots, slot, words, at)
        here = at < len(words) and words[at].pause == before.pause and _fits(wanted, words[at])
        if here and wanted.optional:
            last = _end(slots, slot + 1, words, at + 1)
            if last >= 0:
                return last
        elif here:
            at += 1
        elif not wanted.optional:
            return -1
        slot += 1
    return at


def _after_gap(slots: tuple[Slot, ...], slot: int, words: list[Word], at: int) -> int:
    gap, before = slots[slot].gap, words[at - 1]
    if slot == len(slots) - 1:  # takes what follows, to the end of the clause
        last = at
        while last < min(len(words), at + gap) and words[last].clause == before.clause:
            last += 1
        return last
    for start in range(at, min(len(words), at + gap + 1)):
        if words[start].sentence != before.sentence:
            break
        if _fits(slots[slot + 1], words[start]):
            last = _end(slots, slot + 2, words, start + 1)
            if last >= 0:
                return last
    return -1


def _fits(slot: Slot, word: Word) -> bool:
    if word.stem in slot.words or word.text in slot.exact:
        return True
    return slot.number is not None and word.value is not None and slot.number[0] < word.value < slot.number[1]
