"""From text to phrases heard, and whether each thing is said, denied, only believed, or of an earlier time.

The text is data throughout: it is cut into words, compared, and quoted back cleaned, nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from diag.knowledge.words import NUMBER, Lexicon, Slot, stem
from diag.text import clean, one_line

Status = Literal["said", "believed", "earlier", "denied"]

REACH = 5  # words that a negator reaches over
_JOIN_LOOK = 5  # words after a comma in which "or" still carries a negator on
_TENS = range(20, 100, 10)
_QUOTE = 60  # characters of the caller's words quoted back
_FOLD = str.maketrans("\u2019\u2018`\u2032\u201c\u201d\u2033\u2013\u2014\u2026", "''''\"\"\"--.")  # curly marks to plain
_TOKEN = re.compile(
    r"""(?P<number>\d{1,3}(?:,\d{3})+(?:\.\d+)?(?![\d,])|\d+[.,]\d+(?!\d*[.,]\d)|\d+|(?<![\d.])\.\d+)
      | (?P<word>[^\W\d_]+(?:'[^\W\d_]+)*)
      | (?P<end>\.(?!\d)[.!?]*|[!?;][.!?;]*|\n\s*\n)
      | (?P<pause>,|:|\(|\)|\s-+\s|--+)
      | (?P<sign>["%#/+&-])""",
    re.VERBOSE,
)
_ROW_NUMBER = re.compile(r"\b(?:no|nr)\.?\s*(?=\d)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Word:
    """One word or sign of the text: as meant, its stem, its value if a number, and where it stands."""

    text: str
    stem: str
    value: float | None
    start: int
    end: int
    sentence: int  # ends at a full stop
    clause: int  # ends at a comma or a word such as "but"
    pause: int  # ends at a comma


@dataclass(frozen=True, slots=True)
class Hit:
    """A phrase heard: words `first` to `last` (not included) of the counted words."""

    owner: str
    phrase: str
    first: int
    last: int


@dataclass(slots=True)
class Said:
    """A text read once: all words, the words that count, and the phrases heard in them."""

    text: str
    lexicon: Lexicon
    words: list[Word] = field(default_factory=list)  # everything, signs and skipped words too
    counted: list[Word] = field(default_factory=list)
    hits: list[Hit] = field(default_factory=list)
    by_owner: dict[str, list[Hit]] = field(default_factory=dict)
    negators: list[tuple[int, int]] = field(default_factory=list)  # place, and where its phrase (if any) ends

    def quote(self, first: int, last: int) -> str:
        """Return the caller's own words for counted words first..last, on one line."""
        return self.quote_span(self.counted[first].start, self.counted[last - 1].end)

    def quote_span(self, start: int, end: int) -> str:
        """Return the caller's own words between two places of the text, on one line."""
        return one_line(self.text[start:end], limit=_QUOTE)

    def of(self, owner: str) -> list[Hit]:
        """Return the hits of one owner."""
        return self.by_owner.get(owner, [])

    def status(self, hit: Hit) -> Status:
        """Tell whether what was heard is said, denied, only believed, or of an earlier time."""
        if self._denied(hit):
            return "denied"
        if any(self._covers(b, hit) for b in self.of(":beliefs")):
            return "believed"
        clause = self.counted[hit.first].clause
        if any(self.counted[e.first].clause == clause for e in self.of(":earlier")):
            return "earlier"
        return "said"

    def _denied(self, hit: Hit) -> bool:
        words, clause = self.counted, self.counted[hit.first].clause
        for at, until in reversed(self.negators):
            if hit.first - REACH <= at < hit.first < until and words[at].clause == clause:
                return not any(at < u.first and u.last <= hit.first for u in self.of(":undo_negation"))
        end = words[hit.last - 1].clause
        return any(d.first == hit.last and words[d.first].clause == end for d in self.of(":denied_after"))

    def _covers(self, belief: Hit, hit: Hit) -> bool:
        words = self.counted
        clause, mine = words[belief.first].clause, words[hit.first].clause
        ends_clause = belief.last == len(words) or words[belief.last].clause != words[belief.last - 1].clause
        if not ends_clause:
            return hit.first >= belief.last and mine == words[belief.last - 1].clause
        alone = belief.first == 0 or words[belief.first - 1].clause != clause
        same_sentence = words[hit.first].sentence == words[belief.first].sentence
        return hit.last <= belief.first and same_sentence and mine == (clause - 1 if alone else clause)


def read(text: str, lexicon: Lexicon) -> Said:
    """Return the text cut into words with every phrase of the lexicon that is heard in it."""
    said = Said(clean(text), lexicon)
    said.words = list(_joined(_words(said.text, lexicon)))
    skipped = lexicon.skipped_words
    said.counted = [w for w in said.words if w.text not in skipped and (w.text[0].isalnum() or w.text == "%")]
    heard = list(_heard(said.counted, lexicon))
    spans = [h for h in heard if h.owner == ":ignored"]
    said.hits = [h for h in heard if h.owner[0] == ":" or not any(_inside(h, s) for s in spans)]
    for hit in said.hits:
        said.by_owner.setdefault(hit.owner, []).append(hit)
    said.negators = list(_negators(said))
    return said


def _negators(said: Said) -> Iterator[tuple[int, int]]:
    """Yield the negators that deny what follows; one inside a phrase reaches no further than that phrase."""
    negators, everywhere = frozenset(said.lexicon.talk.negators), len(said.counted)
    for at, word in enumerate(said.counted):
        if word.text in negators:
            around = [h for h in said.hits if h.first <= at < h.last]
            if not any(h.owner == ":no_negation" for h in around):
                yield at, max((h.last for h in around), default=everywhere)


def _inside(hit: Hit, other: Hit) -> bool:
    return other.first <= hit.first and hit.last <= other.last


def _words(text: str, lexicon: Lexicon) -> Iterator[Word]:
    folded = "".join(c.lower() if len(c.lower()) == 1 else c for c in text).translate(_FOLD)
    folded = _ROW_NUMBER.sub(lambda m: "#" + " " * (len(m[0]) - 1), folded)
    sentence = clause = pause = 0
    breaks, joins = frozenset(lexicon.talk.breaks), frozenset(lexicon.talk.joins)
    matches = list(_TOKEN.finditer(folded))
    for at, found in enumerate(matches):
        if found["end"]:
            sentence, clause, pause = sentence + 1, clause + 1, pause + 1
        elif found["pause"]:
            ahead = (m["word"] for m in matches[at + 1 : at + 1 + _JOIN_LOOK])
            clause += not any(word in joins for word in ahead)
            pause += 1
        elif found["number"]:
            yield _number(found, sentence, clause, pause)
        elif found["sign"]:
            yield Word(found[0], found[0], None, *found.span(), sentence, clause, pause)
        else:
            for word in _meant(found[0], lexicon):
                clause += word in breaks
                value = lexicon.numbers.get(word)
                yield Word(word, stem(word), value, *found.span(), sentence, clause, pause)


def _joined(words: Iterable[Word]) -> Iterator[Word]:
    """Join number words: "twenty" "nine", also over a dash, become 29."""
    waiting: list[Word] = []
    for word in words:
        tens = waiting[0] if waiting else None
        if tens and word.text == "-" and len(waiting) == 1:
            waiting.append(word)
            continue
        if tens and not word.text[0].isdigit() and word.value is not None and 0 < word.value < 10:
            total = (tens.value or 0) + word.value
            text = f"{total:.0f}"
            yield Word(text, text, total, tens.start, word.end, word.sentence, word.clause, word.pause)
            waiting = []
            continue
        yield from waiting
        waiting = []
        if not word.text[0].isdigit() and word.value is not None and word.value in _TENS:
            waiting = [word]
        else:
            yield word
    yield from waiting


def _number(found: re.Match[str], sentence: int, clause: int, pause: int) -> Word:
    figures = found[0]
    grouped = re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", figures)
    plain = figures.replace(",", "") if grouped else figures.replace(",", ".")
    return Word(plain, plain, float(plain[:15]), *found.span(), sentence, clause, pause)


def _meant(word: str, lexicon: Lexicon) -> list[str]:
    """Return the word or words meant: short forms written out, misspelt trade words put right."""
    for form in (word, word.replace("'", "")):
        if form in lexicon.spellings:
            return lexicon.spellings[form].split()
    if word.endswith("n't"):
        return [word[:-3], "not"]
    word = word.split("'")[0] or word
    if word in lexicon.spellings:
        return lexicon.spellings[word].split()
    return [word] if stem(word) in lexicon.known else [lexicon.speller(word)]


def _heard(words: list[Word], lexicon: Lexicon) -> Iterator[Hit]:
    index = lexicon.index
    for at, word in enumerate(words):
        keys = [word.stem, f"={word.text}"] if word.value is None else [word.stem, f"={word.text}", NUMBER]
        for key in keys:
            for phrase in index.get(key, ()):
                last = _end(phrase.slots, 1, words, at + 1)
                if last >= 0:
                    yield Hit(phrase.owner, phrase.text, at, last)


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
    return word.stem in slot.words or word.text in slot.exact or (slot.number and word.value is not None)
